#!/usr/bin/env python3
"""Packs the engine, the front end and the report's drawing modules into one page.

usage: pack.py ENGINE.wasm PAGE.html
Same input, same bytes.
"""
import base64
import gzip
import pathlib
import re
import sys

HERE = pathlib.Path(__file__).resolve().parent
REPORT = HERE.parent / "src/report/page"
# in the order in which report.html has them, without the part that starts it
SHARED = ["data", "colour", "zones", "solid", "plan", "plot", "parts", "view", "cloud", "photo", "main"]
OWN = ["table", "footprint", "bend", "engine", "keep", "form", "plan", "rail", "app"]
# most bytes of the page: some seconds on a slow line, and small enough to send to a friend
MOST = 6_000_000


def joined(name):
    """A module without its imports and exports: all stand in one scope."""
    text = (HERE / "web" / f"{name}.js").read_text()
    text = re.sub(r"^import [^;]*;\n", "", text, flags=re.M)
    return re.sub(r"^export ", "", text, flags=re.M)


def main():
    engine, page = map(pathlib.Path, sys.argv[1:3])
    parts = {
        "STYLE": (REPORT / "style.css").read_text() + (HERE / "web/tool.css").read_text(),
        "ENGINE": base64.b64encode(gzip.compress(engine.read_bytes(), 9, mtime=0)).decode(),
        "WORKER": (HERE / "web/worker.js").read_text(),
        "REPORT": "".join((REPORT / f"{n}.js").read_text() for n in SHARED),
        "SCRIPT": "".join(joined(n) for n in OWN),
    }
    for name, text in parts.items():
        assert "</script" not in text.lower() and "</style" not in text.lower(), f"{name} would end its own element"
    text = re.sub(r"@([A-Z]+)@", lambda m: parts[m[1]], (HERE / "web/index.html").read_text())
    data = text.encode()
    if len(data) > MOST:
        raise SystemExit(f"the page has {len(data)} bytes, more than {MOST}")
    page.parent.mkdir(parents=True, exist_ok=True)
    page.write_bytes(data)
    print(f"{page}: {len(data)} bytes, the engine {engine.stat().st_size} bytes unpacked")


main()
