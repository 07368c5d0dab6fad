#!/usr/bin/env python3
"""The page of a refused scan in headless Chromium.

usage: check_refused.py PROGRAM [--shots DIR]
"""
import pathlib
import subprocess
import sys
import tempfile

import numpy

from browser import Browser

PROGRAM = pathlib.Path(sys.argv[1]).resolve()
SHOTS = sys.argv[sys.argv.index("--shots") + 1] if "--shots" in sys.argv else None
NAME = "a <b>board</b>"
PIXELS = """(() => { const c = document.querySelector('%s'), d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, seen = {};
for (let i = 0; i < d.length; i += 4) if (d[i + 3]) { const k = d.slice(i, i + 3).join(); seen[k] = (seen[k] || 0) + 1; }
return Object.values(seen).filter(n => n > 8).length; })()"""


def scans():
    """Points of which no deck can be made."""
    random = numpy.random.default_rng(5)
    ball = random.normal(size=(20000, 3))
    yield "ball", 120 * ball / numpy.linalg.norm(ball, axis=1)[:, None]
    yield "five", random.normal(size=(5, 3))
    yield "plane", random.uniform(-1, 1, size=(20000, 3)) * [400, 100, 0]
    yield "place", numpy.ones((2000, 3))


def check(browser, folder, name, points):
    numpy.savetxt(folder / "scan.xyz", points, fmt="%.4f")
    board = folder / "board.toml"
    board.write_text(f"[scan]\nfile = 'scan.xyz'\n[tape]\nwidth = '210 mm'\n[deck]\nname = '{NAME}'\n")
    ran = subprocess.run([PROGRAM, "build", board, "--out", folder / name], capture_output=True, text=True)
    assert ran.returncode == 5 and "refused.html" in ran.stderr, ran.stderr
    for width, height, scheme in [(1400, 900, "light"), (390, 844, "dark")]:
        browser.screen(width, height, scheme)
        browser.open(folder / name / "refused.html")
        assert browser.ask("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0, (name, width)
        assert browser.ask("document.querySelector('h1').textContent") == NAME
        assert browser.ask("document.querySelectorAll('#refusal h2').length") == 2
        assert browser.ask("[...document.querySelectorAll('#points .key li')].every(l => /: \\d+ points/.test(l.textContent))")
        assert browser.ask("[...document.querySelectorAll('#points canvas')].every(c => c.className === 'copy' || c.width > 1 && c.height > 1)")
        # the ground and the points
        assert browser.ask(PIXELS % "#points .stage canvas") >= 2, (name, width)
        browser.ask("document.querySelector('#points .stage canvas').focus()")
        browser.key("ArrowLeft")
        browser.key("+")
        browser.shot(f"refused-{name}-{width}.png")
    assert not browser.complaints, browser.complaints


chromium = Browser(shots=SHOTS)
try:
    with tempfile.TemporaryDirectory() as told:
        for kind, places in scans():
            check(chromium, pathlib.Path(told), kind, places)
finally:
    chromium.close()
print("pages of refused scans are sound")
