#!/usr/bin/env python3
"""Tries the whole tool as one page in headless Chromium, as a builder would, and compares its files with the command line's.

usage: check_tool_page.py PAGE.html FAYDECK DEMO_FOLDER [--shots FOLDER] [--measure]
DEMO_FOLDER is what `faydeck demo` writes. Needs `chromium` and the packages of ci/requirements.txt.
"""
import base64
import io
import json
import pathlib
import re
import struct
import subprocess
import sys
import tempfile
import time
import zipfile

import trimesh

from browser import Browser

# an engine on two busy cores: far above what is measured (DEVELOPERS.md), so that only a page that hangs fails
PATIENCE_S = 180
# coordinates may differ by this much: the sines and powers of the two programs' platforms differ in their last digits
CLOSE_MM = 1e-3
NUMBER = re.compile(rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


class Page(Browser):
    def until(self, what, patience=PATIENCE_S):
        end = time.time() + patience
        while not self.ask(what):
            assert time.time() < end, f"never: {what}; it says {self.said()!r}; {self.complaints}"
            time.sleep(0.02)

    def said(self):
        return self.ask("[...document.querySelectorAll('.said, #needs, #busy')].map(e => e.textContent).join(' | ')")

    def settled(self):
        time.sleep(0.6)
        self.until("!document.documentElement.hasAttribute('data-busy')")

    def step(self, name):
        self.ask(f"document.querySelector('[data-step={name}]').click()")

    def give(self, selector, *paths):
        root = self.call("DOM.getDocument")["root"]["nodeId"]
        node = self.call("DOM.querySelector", nodeId=root, selector=selector)["nodeId"]
        self.call("DOM.setFileInputFiles", nodeId=node, files=[str(pathlib.Path(p).resolve()) for p in paths])

    def type(self, key, value):
        self.ask(f"""(() => {{ const i = document.querySelector('[data-key="{key}"]'); i.value = {json.dumps(value)}; i.dispatchEvent(new Event('change', {{ bubbles: true }})); }})()""")

    def middle(self, selector):
        self.ask(f"document.querySelector({json.dumps(selector)}).scrollIntoView({{ block: 'center' }})")
        return self.ask(f"(() => {{ const b = document.querySelector({json.dumps(selector)}).getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; }})()")

    def drag(self, place, by, touch=False, moves=6):
        x, y = place
        points = [(x + by[0] * k / moves, y + by[1] * k / moves) for k in range(moves + 1)]
        if touch:
            self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
            for u, v in points[1:]:
                self.call("Input.dispatchTouchEvent", type="touchMove", touchPoints=[{"x": u, "y": v}])
            self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
            return
        self.call("Input.dispatchMouseEvent", type="mousePressed", x=x, y=y, button="left", clickCount=1)
        for u, v in points[1:]:
            self.call("Input.dispatchMouseEvent", type="mouseMoved", x=u, y=v, button="left", buttons=1)
        self.call("Input.dispatchMouseEvent", type="mouseReleased", x=points[-1][0], y=points[-1][1], button="left", clickCount=1)

    def downloads(self, folder):
        self.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(folder))

    def downloaded(self, folder, name):
        end = time.time() + PATIENCE_S
        while not any(p.name == name or (name.startswith("*") and p.name.endswith(name[1:])) for p in folder.iterdir() if not p.name.endswith(".crdownload")):
            assert time.time() < end, f"{name} never came: {list(folder.iterdir())}; {self.said()}"
            time.sleep(0.1)
        time.sleep(0.3)
        return next(p for p in folder.iterdir() if p.name == name or (name.startswith("*") and p.name.endswith(name[1:])))

    def table(self):
        """The board file as the page would write it."""
        return self.ask("document.querySelector('#board-toml').disabled")

    def sound(self):
        assert not self.complaints, self.complaints
        outside = [r for r in self.requests if not r.startswith(("file:", "blob:", "data:"))]
        assert not outside, f"the page asked for {outside}"


# Triangles: a side is halved where its chord is off by more than a limit, and the last digits of two platforms may fall on either side
# of that limit. So meshes are compared by what they enclose and how far they reach; the numbers of triangles by this share.
TRIANGLES = 0.02
# of area and volume: those of two meshes of one surface within 0.02 mm
SHARE = 1e-4


def same_mesh(name, a, b):
    p, q = (trimesh.load(io.BytesIO(v), file_type=name.rsplit(".", 1)[1], process=False, force="mesh") for v in (a, b))
    assert abs(len(p.faces) - len(q.faces)) <= TRIANGLES * len(p.faces), f"{name}: {len(p.faces)} and {len(q.faces)} triangles"
    assert abs(p.area - q.area) <= SHARE * p.area, f"{name}: areas {p.area} and {q.area}"
    return float(abs(p.bounds - q.bounds).max())


def same(name, a, b):
    """How two files differ: None where not at all, else the greatest distance of numbers that stand for the same, mm."""
    if a == b:
        return None
    if name.endswith((".3mf", ".stl", ".ply")):
        return same_mesh(name, a, b)
    if name.endswith(".html"):
        # the report's page packs the very numbers that the other files hold
        assert abs(len(a) - len(b)) < 0.01 * len(a), f"{name}: {len(a)} and {len(b)} bytes"
        return 0.0
    if name == "report.json":
        a, b = (json.dumps({**json.loads(v), "seconds": {}}).encode() for v in (a, b))
        if a == b:
            return None
    if name.endswith(".step"):
        # entities are numbered in the order of their coordinates: last digits may change it
        a, b = (re.sub(rb"#\d+", b"#", v) for v in (a, b))
    words = [re.sub(rb"#+", b"#", NUMBER.sub(b"#", v)) for v in (a, b)]
    x, y = ([float(v) for v in NUMBER.findall(v)] for v in (a, b))
    if name.endswith(".step"):
        assert sorted(words[0].split(b";")) == sorted(words[1].split(b";")), f"{name}: entities differ"
        x, y = sorted(x), sorted(y)
    else:
        assert words[0] == words[1], f"{name}: words differ"
    assert len(x) == len(y), f"{name}: {len(x)} and {len(y)} numbers"
    return max((abs(s - t) / max(1.0, abs(s) / 1e4) for s, t in zip(x, y)), default=0.0)


def compare(page_zip, faydeck, demo, folder):
    """Every file of the page beside those of the command line for the same board file."""
    inside = zipfile.ZipFile(page_zip)
    here = pathlib.Path(folder, "same")
    here.mkdir()
    for name in ["scan.ply", "photo.jpg"]:
        (here / name).write_bytes((demo / name).read_bytes())
    for name in inside.namelist():
        if name == "board.toml" or name.startswith("rail-"):
            (here / name).write_bytes(inside.read(name))
    subprocess.run([faydeck, "build", here / "board.toml", "--out", here / "out", "--quiet"], check=True, stdout=subprocess.DEVNULL)
    ours = {p.name: p.read_bytes() for p in (here / "out").iterdir() if p.is_file()}
    theirs = {n: inside.read(n) for n in inside.namelist() if n != "board.toml" and not n.startswith("rail-")}
    theirs = {n: b for n, b in theirs.items() if not n.startswith(("gap-", "gaps")) and n not in ("scan.ply", "photo.jpg", "draft-enclosure.stl")}
    assert set(ours) == set(theirs), set(ours) ^ set(theirs)
    differ = {n: d for n in sorted(ours) if (d := same(n, ours[n], theirs[n])) is not None}
    for n, d in differ.items():
        print(f"  {n}: differs by {d:.2g}")
    worst = {n: d for n, d in differ.items() if not d <= CLOSE_MM}
    assert not worst, worst
    print(f"{len(ours)} files of the page are the command line's: {len(ours) - len(differ)} byte for byte, {len(differ)} within {CLOSE_MM} mm")


def work(page, path, faydeck, demo, folder):
    """Scan, photo, tape, rail, footprint's end, a part, all files."""
    page.screen(1400, 900, "light")
    page.open(path)
    page.shot("1-empty.png")
    page.give("#pick-any", demo / "scan.ply", demo / "photo.jpg")
    page.until("document.querySelectorAll('#files-in li').length === 2")
    page.settled()
    assert "step 2" in page.said(), page.said()
    page.shot("1-scan-raw.png")
    page.step("measure")
    for key, value in [("tape.width", "226"), ("tape.length", "88.4 cm"), ("deck.thickness", "12 mm")]:
        page.type(key, value)
    page.until("document.documentElement.dataset.state === 'deck'")
    page.settled()
    page.step("scan")
    page.shot("1-scan.png")
    page.step("measure")
    page.until("document.querySelectorAll('#readings tbody tr').length >= 2")
    page.shot("2-measure.png")
    # a length is put right at once
    page.step("deck")
    page.until("document.querySelectorAll('#pictures figure').length > 4")
    page.shot("3-deck.png")
    # the rail, dragged and settled
    page.step("measure")
    before = page.ask("document.querySelector('svg.over .dark').getAttribute('d')")
    x, y = page.ask("""(() => { const s = document.querySelector('svg.over'); s.scrollIntoView({ block: 'center' }); const p = s.querySelector('.dark'), q = p.getPointAtLength(p.getTotalLength() * 0.62).matrixTransform(s.getScreenCTM()); return [q.x, q.y]; })()""")
    page.drag((x, y), (0, 3))
    page.until("!document.querySelector('#untrace').hidden")
    page.settled()
    page.until("document.documentElement.dataset.state === 'deck'")
    assert page.ask("document.querySelector('svg.over .dark').getAttribute('d')") != before
    page.shot("2-dragged.png")
    # the enclosure
    page.step("enclosure")
    assert not page.ask("document.querySelector('#no-enclosure').hidden")
    page.ask("document.querySelector('#make-enclosure').click()")
    page.settled()
    page.until("document.querySelectorAll('#facts div').length > 3")
    page.shot("4-enclosure.png")
    length = page.ask("document.querySelector('[data-key=\"enclosure.length\"]').value")
    place = page.middle("[data-handle='nose end'] rect")
    page.drag(place, (24, 0))
    page.settled()
    longer = page.ask("document.querySelector('[data-key=\"enclosure.length\"]').value")
    assert float(longer) > float(length) + 5, (length, longer)
    page.ask("document.querySelector('#add-part').click()")
    page.settled()
    page.until("document.querySelectorAll('#plan .part').length === 1")
    place = page.middle("#plan .part .box")
    page.drag(place, (-40, 0))
    page.settled()
    page.shot("4-part.png")
    # what cannot be is said where it is
    page.type("enclosure.length", "2000 mm")
    page.settled()
    assert "does not fit" in page.ask("document.querySelector('#said-enclosure').textContent"), page.said()
    page.shot("4-fault.png")
    page.type("enclosure.length", f"{longer} mm")
    page.settled()
    page.step("files")
    page.until("document.querySelectorAll('#files-all li').length > 20")
    page.shot("5-files.png")
    page.ask("document.querySelector('#zip').click()")
    packed = page.downloaded(folder, "*.zip")
    page.sound()
    if page.shots:
        pathlib.Path(page.shots, "page.zip").write_bytes(packed.read_bytes())
    compare(packed, faydeck, demo, folder)


def second_visit(page, path):
    page.open(path)
    page.until("document.documentElement.dataset.state === 'deck'")
    page.settled()
    assert page.ask("document.querySelectorAll('#files-in li').length") == 2
    page.ask("document.querySelector('#forget').click()")
    page.settled()
    page.open(path)
    page.settled()
    assert page.ask("document.querySelectorAll('#files-in li').length") == 0
    page.sound()


def wrong_files(page, path, demo, folder):
    """Whatever is dropped, a sentence comes back and the page works on."""
    page.open(path)
    (folder / "notes.txt").write_text("a shopping list\nscrews, foam, glue\n")
    (folder / "empty.ply").write_bytes(b"")
    (folder / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0 cut short")
    (folder / "cut.ply").write_bytes(b"ply\nformat binary_little_endian 1.0\nelement vertex 1000000\nproperty float x\nproperty float y\nproperty float z\nend_header\n1234")
    laz = bytearray(400)
    laz[0:4], laz[24:26], laz[94:96], laz[96:100], laz[104], laz[105:107] = b"LASF", b"\x01\x02", struct.pack("<H", 227), struct.pack("<I", 300), 0x80, struct.pack("<H", 20)
    laz[107:111] = struct.pack("<I", 5)
    (folder / "scan.laz").write_bytes(laz)
    for name, words in [("notes.txt", ""), ("empty.ply", "empty"), ("cut.ply", ""), ("scan.laz", "LAZ")]:
        page.give("#pick-any", folder / name)
        page.until("document.querySelectorAll('#said-scan .bad').length === 1")
        page.settled()
        said = page.ask("document.querySelector('#said-scan').textContent")
        assert words in said and "Try:" in said, (name, said)
        assert page.ask("document.querySelectorAll('#files-in li').length") == 0, name
    page.shot("1-wrong.png")
    # a photo that cannot serve: the scan works on, and what is wrong with the photo is said
    page.give("#pick-any", demo / "scan.ply", folder / "photo.jpg")
    page.until("document.querySelectorAll('#files-in li').length === 2")
    page.type("tape.width", "226 mm")
    page.until("document.querySelectorAll('.said.bad').length > 0")
    page.settled()
    said = page.ask("[...document.querySelectorAll('.said.bad')].map(e => e.textContent).join(' ')")
    assert "photo" in said and "Try:" in said, said
    page.sound()


def demo_by(page, path, touch):
    """The demo by touch or by keyboard alone: from the button to a moved end."""
    page.screen(*((390, 844) if touch else (1400, 900)), "light")
    page.call("Emulation.setTouchEmulationEnabled", enabled=touch)
    page.open(path)
    page.shot("phone-1-empty.png" if touch else "keys-1.png")
    if touch:
        x, y = page.middle("#demo")
        page.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
        page.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
    else:
        page.ask("document.querySelector('#demo').focus()")
        page.key("Enter", text="\r")
    page.until("document.documentElement.dataset.state === 'deck'")
    page.settled()
    for step in ["scan", "measure", "deck", "enclosure", "files"]:
        if touch:
            x, y = page.middle(f"[data-step={step}]")
            page.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
            page.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
        else:
            page.ask(f"document.querySelector('[data-step={step}]').focus()")
            page.key("Enter", text="\r")
        page.settled()
        assert not page.ask(f"document.querySelector('#step-{step}').hidden"), step
        if touch:
            page.shot(f"phone-{step}.png")
            wide = page.ask("document.documentElement.scrollWidth")
            assert wide <= 390, f"step {step} is {wide} pixels wide on a phone"
    page.step("enclosure")
    page.settled()
    offset = "document.querySelector('[data-key=\"enclosure.offset\"]').value"
    before = page.ask(offset)
    if touch:
        page.drag(page.middle("[data-handle='nose end'] rect"), (0, -12), touch=True)
    else:
        page.ask("document.querySelector(\"[data-handle='nose end']\").focus()")
        for _ in range(3):
            page.key("ArrowRight")
    page.settled()
    assert page.ask(offset) != before, "the end did not move"
    page.call("Emulation.setTouchEmulationEnabled", enabled=False)
    page.sound()


def measure(page, path):
    page.screen(1400, 900, "light")
    page.open(path)
    page.ask("document.querySelector('#forget').click()")
    begun = time.time()
    page.open(path)
    print(f"page ready: {time.time() - begun:.2f} s")
    begun = time.time()
    page.ask("document.querySelector('#demo').click()")
    page.until("document.documentElement.dataset.state === 'deck'")
    page.settled()
    print(f"demo board made and built with its enclosure: {time.time() - begun:.2f} s")
    page.step("enclosure")
    page.settled()
    times = []
    for k in range(6):
        page.ask("document.documentElement.dataset.housed = ''")
        place = page.middle("[data-handle='nose end'] rect")
        page.drag(place, (6 if k % 2 else -6, 0), moves=1)
        page.until("document.documentElement.dataset.housed")
        times.append(int(page.ask("document.documentElement.dataset.housed")))
        page.settled()
    print(f"a drag of the footprint's end to everything redrawn: {sorted(times)} ms")
    fps = page.ask("""(async () => { const c = document.querySelector('#solid'); let n = 0; const end = performance.now() + 1500;
      c.focus(); while (performance.now() < end) { c.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowLeft' })); n++; await new Promise(requestAnimationFrame); } return n / 1.5; })()""")
    print(f"3-D by software: {fps:.0f} frames a second")
    page.step("files")
    page.until("document.documentElement.dataset.filed")
    print(f"every file: {page.ask('document.documentElement.dataset.filed')} ms")


def main():
    arguments = sys.argv[1:]
    shots = arguments[arguments.index("--shots") + 1] if "--shots" in arguments else None
    path, faydeck, demo = pathlib.Path(arguments[0]), pathlib.Path(arguments[1]).resolve(), pathlib.Path(arguments[2])
    page = Page(shots=shots)
    try:
        with tempfile.TemporaryDirectory() as name:
            folder = pathlib.Path(name)
            page.downloads(folder)
            if "--measure" in arguments:
                return measure(page, path)
            work(page, path, faydeck, demo, folder)
            second_visit(page, path)
            wrong_files(page, path, demo, folder)
            demo_by(page, path, touch=False)
            demo_by(page, path, touch=True)
    finally:
        page.close()
    print("the tool's page is sound")


main()
