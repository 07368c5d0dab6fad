#!/usr/bin/env python3
"""Opens report pages in headless Chromium by its DevTools protocol and tries them as a reader would.

usage: check_page.py PAGE.html ... [--shots FOLDER]
Needs `chromium` (or the program named in CHROMIUM) and the packages of ci/requirements.txt.
"""
import base64
import json
import math
import pathlib
import re
import sys
import tempfile

import pypdfium2

from browser import Browser

# colours of the large view: how many pixels differ from the corner's, and a sum that tells two pictures apart
PIXELS = """(() => {
  const c = document.querySelector('.stage canvas'), o = document.createElement('canvas');
  o.width = c.width; o.height = c.height;
  const g = o.getContext('2d'); g.drawImage(c, 0, 0);
  const d = g.getImageData(0, 0, o.width, o.height).data, seen = new Set();
  let board = 0, sum = 0, left = o.width, right = 0;
  for (let i = 0; i < d.length; i += 4) {
    if (Math.abs(d[i] - d[0]) + Math.abs(d[i + 1] - d[1]) + Math.abs(d[i + 2] - d[2]) > 24) {
      board++; const x = (i / 4) % o.width; left = Math.min(left, x); right = Math.max(right, x);
      seen.add((d[i] >> 4) * 256 + (d[i + 1] >> 4) * 16 + (d[i + 2] >> 4));
    }
    sum = (sum * 31 + d[i] + 3 * d[i + 1] + 7 * d[i + 2]) % 2147483647;
  }
  return { share: board / (d.length / 4), width: (right - left) / o.width, colours: seen.size, sum };
})()"""
# severe colour blindness (Machado, Oliveira, Fernandes 2009, doi 10.1109/TVCG.2009.113, table 1, severity 1.0), on linear RGB
BLIND = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    "none": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
}
# the lowest row of every scale: patterns and all
BARS = """Object.fromEntries([...document.querySelectorAll('#maps figure')].filter(f => !f.querySelector('.key')).map(f => {
  const b = f.querySelector('canvas.bar');
  return [f.querySelector('figcaption b').textContent, [...b.getContext('2d').getImageData(0, 0, b.width, 1).data]];
}))"""


# of linear RGB, over the white of D65 (IEC 61966-2-1)
XYZ = [[0.4124 / 0.9505, 0.3576 / 0.9505, 0.1805 / 0.9505], [0.2126, 0.7152, 0.0722], [0.0193 / 1.089, 0.1192 / 1.089, 0.9505 / 1.089]]
# Colours a reader must tell apart lie this far apart: twice a just noticeable difference in CIE 1976 L*a*b* (2.3: Mahy, Van Eycken and
# Oosterlinck 1994, from memory).
APART = 4.6


def seen_as(pixel, matrix):
    """CIE 1976 L*a*b* of what an eye sees of a pixel."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in pixel)]
    seen = [max(0.0, min(1.0, sum(m * c for m, c in zip(row, linear)))) for row in matrix]
    x, y, z = (t ** (1 / 3) if t > 0.008856 else 7.787 * t + 16 / 116 for t in (sum(m * c for m, c in zip(row, seen)) for row in XYZ))
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def check_colours(browser):
    """Scales read by lightness alone, for every kind of eye: rising all the way, or to the middle and down again. Eighths of a scale
    are told from their neighbours."""
    for name, data in browser.ask(BARS).items():
        pixels = [data[i:i + 3] for i in range(0, len(data), 4)][::16]
        for kind, matrix in BLIND.items():
            colours = [seen_as(p, matrix) for p in pixels]
            steps = [c[0] for c in colours]
            eighths = colours[::len(colours) // 8]
            nearest = min(math.dist(a, b) for a, b in zip(eighths, eighths[1:]))
            assert nearest > APART, (name, kind, nearest)
            middle = len(steps) // 2
            up = all(b > a - 0.3 for a, b in zip(steps, steps[1:])) and steps[-1] - steps[0] > 60
            peak = (all(b > a - 0.3 for a, b in zip(steps[:middle], steps[1:middle]))
                    and all(b < a + 0.3 for a, b in zip(steps[middle:], steps[middle + 1:]))
                    and min(steps[middle] - steps[0], steps[middle] - steps[-1]) > 45)
            assert up or peak, (name, kind, [round(s) for s in steps])


def show_blind(browser, stem):
    """Pictures of the page as colour-blind readers see it; SVG filters work on linear RGB."""
    for kind in ["protan", "deutan"] if SHOTS else []:
        values = " ".join(" ".join(f"{v}" for v in [*row, 0, 0]) for row in BLIND[kind]) + " 0 0 0 1 0"
        browser.ask(f"""document.body.insertAdjacentHTML('beforeend', `<svg id="blind" width="0" height="0"><filter id="{kind}">"""
                    f"""<feColorMatrix values="{values}"/></filter></svg>`); document.body.style.filter = 'url(#{kind})'""")
        browser.shot(f"{stem}-{kind}.png")
        browser.ask("document.getElementById('blind').remove(); document.body.style.filter = ''")


def check_paper(browser, stem):
    """Printed: pages with words on them, and pictures that are not blank."""
    pdf = base64.b64decode(browser.call("Page.printToPDF", printBackground=True)["data"])
    if SHOTS:
        pathlib.Path(SHOTS, f"{stem}.pdf").write_bytes(pdf)
    document = pypdfium2.PdfDocument(pdf)
    # letters are compared without the white space that readers of PDF put between them
    words = "".join("".join(page.get_textpage().get_text_range() for page in document).split())
    for needed in ["Theboard", "Maps", "Sections", "Numbers", "Cautions", "mm"]:
        assert needed in words, f"{needed} is not on paper"
    first = document[0].render(scale=1).to_numpy()
    assert (first.min(axis=2) < 200).mean() > 0.03, "the first printed page is nearly blank"
    assert (first[:5, :, :].min() > 240), "printed on a dark ground"
    assert 4 <= len(document) <= 30, f"{len(document)} printed pages"


def check_cited(browser, path):
    """Every picture and every figure names the file it comes from, and that file lies beside the page."""
    told = browser.ask("[...document.querySelectorAll('figure, dl.numbers div')].map(f => f.textContent)")
    assert len(told) > 20
    for words in told:
        names = re.findall(r"[\w-]+\.(?:step|json|csv|svg|png)", words)
        assert names, f"no file is named: {words[:80]}"
        missing = [n for n in names if not path.with_name(n).exists()]
        assert not missing, f"{missing} do not lie beside the page"


SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def check(browser, path):
    stem = path.stem
    assert path.stat().st_size < 10e6, f"{path}: {path.stat().st_size} bytes"
    browser.screen(1280, 900, "light")
    browser.open(path)
    assert browser.ask("document.documentElement.dataset.ready") == "solid", "no 3-D view"
    first = browser.ask(PIXELS)
    assert 0.05 < first["share"] < 0.8 and first["width"] > 0.4 and first["colours"] > 20, first
    browser.shot(f"{stem}-desktop-light.png")

    # every layer is another picture, chosen by its button
    keys = browser.ask("[...document.querySelectorAll('input[name=layer]')].map(i => i.value)")
    sums = []
    for key in keys:
        browser.ask(f"document.querySelector('input[value={key}]').click()")
        assert browser.ask("document.querySelector('.stage canvas').dataset.layer") == key
        sums.append(browser.ask(PIXELS)["sum"])
    assert len(keys) >= 4 and len(set(sums)) == len(keys), dict(zip(keys, sums))

    check_cited(browser, path)
    check_colours(browser)
    show_blind(browser, stem)
    # by keyboard: turn, zoom, next layer, back; the view is reached by Tab
    browser.ask("document.querySelector(`input[value=${document.querySelector('input[name=layer]').value}]`).click()")
    browser.ask("document.activeElement.blur(); document.body.scrollTo(0, 0)")
    for _ in range(20):
        browser.key("Tab")
        if browser.ask("document.activeElement.matches('.stage canvas')"):
            break
    else:
        raise AssertionError("the 3-D view cannot be reached by Tab")
    before = browser.ask(PIXELS)
    browser.key("ArrowLeft")
    turned = browser.ask(PIXELS)
    assert turned["sum"] != before["sum"], "arrow keys do not turn"
    browser.key("0", "Digit0", "0")
    assert browser.ask(PIXELS)["sum"] == before["sum"], "0 does not reset"
    browser.key("-", "Minus", "-")
    assert browser.ask(PIXELS)["share"] < before["share"], "minus does not zoom out"
    browser.key("0", "Digit0", "0")
    browser.key("l", "KeyL", "l")
    assert browser.ask("document.querySelector('.stage canvas').dataset.layer") == keys[1]
    browser.ask(f"document.querySelector('input[value={keys[0]}]').click()")

    # by pointer: a value under the mouse, with its unit; a drag turns
    middle = browser.ask("(() => { const c = document.querySelector('.stage canvas'); c.scrollIntoView({block: 'center'});"
                         " const b = c.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; })()")
    browser.ask("document.querySelector('input[value=height]').click()")
    browser.call("Input.dispatchMouseEvent", type="mouseMoved", x=middle[0], y=middle[1])
    said = browser.ask("document.querySelector('#board .readout').textContent")
    assert said.startswith("x ") and "height" in said and said.endswith("mm"), said
    still = browser.ask(PIXELS)["sum"]
    browser.call("Input.dispatchMouseEvent", type="mousePressed", x=middle[0], y=middle[1], button="left", clickCount=1)
    browser.call("Input.dispatchMouseEvent", type="mouseMoved", x=middle[0] + 80, y=middle[1], button="left", buttons=1)
    browser.call("Input.dispatchMouseEvent", type="mouseReleased", x=middle[0] + 80, y=middle[1], button="left", clickCount=1)
    assert browser.ask(PIXELS)["sum"] != still, "a drag does not turn"
    # plots answer to the arrow keys
    browser.ask("document.querySelector('#sections svg.plot').focus()")
    browser.key("ArrowRight")
    said = browser.ask("document.querySelector('#sections .readout').textContent")
    assert "height" in said and "mm" in said, said

    # maps are read by keyboard, and nothing on the page moves by itself
    browser.ask("document.querySelector('#maps canvas.plan').focus()")
    browser.key("ArrowRight")
    said = browser.ask("document.querySelector('#maps .readout').textContent")
    assert said.startswith("x 5 mm, y 0 mm: "), said
    moving = browser.ask("document.getAnimations().length + [...document.querySelectorAll('*')].filter(e => getComputedStyle(e).transitionDuration !== '0s').length")
    assert moving == 0, f"{moving} animated parts"
    # lines over a photo can be taken off
    for k in range(browser.ask("document.querySelectorAll('#photo .lines input').length")):
        hidden = browser.ask(f"(() => {{ const i = document.querySelectorAll('#photo .lines input')[{k}]; i.click();"
                             f" const g = i.closest('figure').querySelectorAll('.photo svg g');"
                             f" const n = [...g].filter(e => e.style.display === 'none').length; i.click(); return n; }})()")
        assert hidden == 1, hidden
    # the photo is cut to the board, and shown whole when asked, its lines with it
    for k in range(browser.ask("document.querySelectorAll('#photo .photo').length")):
        boxes = browser.ask(f"(() => {{ const p = document.querySelectorAll('#photo .photo')[{k}], i = p.closest('figure').querySelector('.tools input');"
                            " const at = () => { const [a, b] = ['img', 'svg'].map(t => p.querySelector(t).getBoundingClientRect());"
                            " return [a.width / p.clientWidth, b.width / p.clientWidth, a.height * p.clientWidth / (a.width * p.clientHeight)]; };"
                            " const cut = at(); i.click(); const whole = at(); i.click(); return [...cut, ...whole]; })()")
        assert boxes[0] >= boxes[1] > 0.99 and all(abs(v - 1) < 0.01 for v in boxes[3:]), boxes

    # a phone: nothing to scroll sideways, text not below what a thumb's length away shows
    for width, scheme in [(360, "light"), (390, "light"), (390, "dark")]:
        browser.screen(width, 740, scheme)
        browser.open(path)
        assert browser.ask(SIDEWAYS) <= 0, f"{browser.ask(SIDEWAYS)} px to scroll sideways at {width} px"
        assert 0.03 < browser.ask(PIXELS)["share"] < 0.9
        browser.shot(f"{stem}-phone-{scheme}.png")
    browser.screen(1280, 900, "dark")
    browser.open(path)
    ground = browser.ask("getComputedStyle(document.body).backgroundColor.match(/[0-9]+/g).map(Number)")
    assert max(ground) < 60, f"dark mode is {ground}"
    browser.shot(f"{stem}-desktop-dark.png")
    check_paper(browser, stem)

    outside = [u for u in browser.requests if not u.startswith(("file:", "data:", "about:"))]
    own = [u for u in browser.requests if u.startswith("file:")]
    assert not outside and len(own) == 1, (outside, own)
    assert not browser.complaints, browser.complaints
    print(f"{path}: {path.stat().st_size} bytes, layers {', '.join(keys)}, board over {100 * first['share']:.0f} % of the view")


def opened(path):
    """A page as what comes before its data, the data, and what comes after."""
    head, rest = path.read_text().split('id="data">', 1)
    data, tail = rest.split("</script>", 1)
    return head, json.loads(data), tail


def closed(head, data, tail):
    return head + 'id="data">' + json.dumps(data).replace("<", "\\u003c") + "</script>" + tail


HOSTILE = """</script><script>window.pwned = 1</script><img src=x onerror="window.pwned = 1"><!-- "'`&amp; \u202e\u0000 \u540d \U0001f6f9"""


def hostile(value, key=""):
    """Every word that a board file or a file name may bring, with markup behind it."""
    if isinstance(value, dict):
        return {k: hostile(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [hostile(v, key) for v in value]
    return value + HOSTILE if isinstance(value, str) and key in ("title", "name", "about", "what", "from", "message") else value


def check_hostile(browser, path):
    """Words that look like markup stay words: nothing of them runs, no picture is asked for, and they can be read."""
    head, data, tail = opened(path)
    with tempfile.TemporaryDirectory() as folder:
        page = pathlib.Path(folder, "hostile.html")
        page.write_text(closed(head, hostile(data), tail))
        browser.screen(390, 740, "light")
        browser.open(page)
        assert browser.ask("window.pwned") is None
        assert browser.ask("[...document.images].every(i => i.src.startsWith('data:'))")
        assert browser.ask("document.querySelectorAll('script').length") == 2
        assert browser.ask("document.querySelector('#maps figcaption').textContent.includes('window.pwned')")
        assert browser.ask(SIDEWAYS) <= 0, "a long name pushes the page sideways"
        assert [u for u in browser.requests if not u.startswith(("data:", "about:"))] == [page.resolve().as_uri()], browser.requests
    assert not browser.complaints, browser.complaints


def check_parts(browser, path):
    """Parts that a build may lack: a gap round the rim with zones, screws and a band of uncertainty."""
    head, data, tail = opened(path)
    curve = dict(data["profiles"][0]["curves"][0])
    curve["band"] = {"least": 0.3, "step": 0, "data": base64.b64encode(bytes(len(base64.b64decode(curve["x"]["data"])))).decode()}
    data["rim"] = {**data["profiles"][0], "title": "Gap round the rim", "up": "gap", "along": "round the rim, mm", "curves": [curve],
                   "zones": [{"name": "sealed", "above": None, "below": 0.0}, {"name": "open", "above": 0.0, "below": None}],
                   "marks": [{"name": "screw 1", "at": 0.0}]}
    with tempfile.TemporaryDirectory() as folder:
        page = pathlib.Path(folder, "parts.html")
        page.write_text(closed(head, data, tail))
        browser.screen(1280, 900, "light")
        browser.open(page)
        words = browser.ask("[...document.querySelectorAll('#rim svg.plot text')].map(t => t.textContent)")
        assert {"sealed", "open", "screw 1"} <= set(words), words
        assert browser.ask("document.querySelectorAll('#rim svg.plot .band').length") == 1
        browser.ask("document.querySelector('#rim svg.plot').focus()")
        browser.key("ArrowRight")
        said = browser.ask("document.querySelector('#rim .readout').textContent")
        assert "± 0.30 mm" in said, said
        if SHOTS:
            browser.ask("document.querySelector('#rim').scrollIntoView()")
            browser.shot("parts.png", whole=False)
    assert not browser.complaints, browser.complaints


def check_flat(path):
    """Without WebGL the board is drawn in plan, and values are still read."""
    browser = Browser(["--disable-3d-apis"], shots=SHOTS)
    try:
        browser.screen(1280, 900, "light")
        browser.open(path)
        assert browser.ask("document.documentElement.dataset.ready") == "plan"
        assert 0.05 < browser.ask(PIXELS)["share"] < 0.9
        browser.shot(f"{path.stem}-flat.png")
        assert not browser.complaints, browser.complaints
    finally:
        browser.close()


arguments = sys.argv[1:]
SHOTS = arguments[arguments.index("--shots") + 1] if "--shots" in arguments else None
pages = [pathlib.Path(a) for a in arguments if a.endswith(".html")]
assert pages, __doc__
chromium = Browser(shots=SHOTS)
try:
    for page in pages:
        check(chromium, page)
    check_parts(chromium, pages[0])
    for page in pages:
        check_hostile(chromium, page)
finally:
    chromium.close()
check_flat(pages[0])
print("pages are sound")
