"""Re-measures the templates with another program (PDFium, SVG by an XML parser) and exits non-zero beyond 0.1 mm.

Of every PDF page: the page's size, the foot's 50 mm bar (the first page's 100 mm bars, both ways) in a 600 dpi picture, and
of the outline the length and width of the line itself against report.json.
usage: check_paper.py FOLDER
"""
import ctypes
import json
import os
import re
import sys

import lxml.etree
import numpy
import pypdfium2
import pypdfium2.raw as raw

LIMIT_MM = 0.1
DPI = 600
MM = 25.4 / DPI
SIZES = [(210, 297), (297, 420), (215.9, 279.4)]
MARGIN_MM = 10
TITLES = {"outline": "outline template", "footprint": "footprint and drill template", "ribs": "rib templates", "rocker": "rocker template"}


def close(what, got, want):
    print(f"{what}: {got:.3f} mm, expected {want:.3f} mm")
    assert abs(got - want) <= LIMIT_MM, f"{what}: {got} mm against {want} mm"


def run(dark):
    """Length in mm of the first run of dark pixels."""
    at = numpy.flatnonzero(dark)
    assert len(at), "no bar"
    gaps = numpy.flatnonzero(numpy.diff(at) > 1)
    end = at[gaps[0]] if len(gaps) else at[-1]
    return (end - at[0] + 1) * MM


def page_bars(name, page, first):
    w, h = (v * 25.4 / 72 for v in page.get_size())
    assert any(abs(min(w, h) - s[0]) < LIMIT_MM and abs(max(w, h) - s[1]) < LIMIT_MM for s in SIZES), (name, w, h)
    dark = numpy.array(page.render(scale=DPI / 72, grayscale=True).to_numpy()).squeeze() < 128
    close(f"{name} picture's height", dark.shape[0] * MM, h)
    row = dark[int(round((h - MARGIN_MM - 0.75) / MM))]
    close(f"{name} bar across", run(row[: int(115 / MM)]), 100 if first else 50)
    if first:
        column = dark[:, int(round((MARGIN_MM + 0.75) / MM))]
        # from below: the bar begins 5 mm above the lying one
        close(f"{name} bar upwards", run(column[::-1][int((MARGIN_MM + 3) / MM):]), 100)


def lines(page):
    """Points of each path, without the pen's width, on the page in mm, and whether the path is closed."""
    for o in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
        points, closed = [], False
        for i in range(raw.FPDFPath_CountSegments(o.raw)):
            x, y = ctypes.c_float(), ctypes.c_float()
            segment = raw.FPDFPath_GetPathSegment(o.raw, i)
            assert raw.FPDFPathSegment_GetPoint(segment, x, y)
            points.append(o.get_matrix().on_point(x.value, y.value))
            closed |= bool(raw.FPDFPathSegment_GetClose(segment))
        yield numpy.array(points) * 25.4 / 72, closed


def paths(page):
    """Box of each path on the page in mm."""
    for points, _ in lines(page):
        yield tuple(numpy.ptp(points, axis=0))


def words(page):
    """All words of a page, spaces and line breaks as one space."""
    return " ".join(page.get_textpage().get_text_range().split())


def check(folder, paper=None):
    """Every template of a build; of the size `paper` (width, height in mm) where one is named."""
    report = json.load(open(os.path.join(folder, "report.json")))
    length, width = report["outline"]["length_mm"], report["outline"]["width_mm"]
    for stem in ("outline", "footprint", "ribs", "rocker"):
        pdf = pypdfium2.PdfDocument(os.path.join(folder, stem + ".pdf"))
        assert raw.FPDF_VIEWERREF_GetPrintScaling(pdf.raw) == 0, f"{stem}.pdf lets a printer scale it"
        for i in range(len(pdf)):
            page_bars(f"{stem}.pdf page {i + 1}", pdf[i], i == 0)
            if paper:
                w, h = sorted(v * 25.4 / 72 for v in pdf[i].get_size())
                assert abs(w - paper[0]) < LIMIT_MM and abs(h - paper[1]) < LIMIT_MM, (stem, w, h)
            # the board's name, what the drawing is, and where the page belongs
            said = words(pdf[i])
            assert report["name"] in said and TITLES[stem] in said, (stem, i, said)
            assert i == 0 or f"page {i + 1} of {len(pdf)}" in said, (stem, i, said)
        first = words(pdf[0])
        # the map numbers every page but the first
        assert all(re.search(rf"\b{i}\b", first) for i in range(2, len(pdf) + 1)), (stem, first)
        if stem == "outline":
            for i in range(1, len(pdf)):
                whole = max(paths(pdf[i]))
                close(f"outline.pdf page {i + 1} outline's length", whole[0], length)
                close(f"outline.pdf page {i + 1} outline's width", whole[1], width)
        svg = lxml.etree.parse(os.path.join(folder, stem + ".svg")).getroot()
        box = [float(v) for v in svg.get("viewBox").split()]
        assert svg.get("width") == f"{box[2]:.3f}mm" and svg.get("height") == f"{box[3]:.3f}mm", stem
        boxes = []
        for p in svg.iter("{*}path"):
            n = numpy.array([float(v) for v in re.findall(r"-?[0-9.]+", p.get("d"))]).reshape(-1, 2)
            boxes.append(numpy.ptp(n, axis=0))
        assert any(abs(b[0] - 100) < 1e-3 and b[1] == 0 for b in boxes), f"{stem}.svg has no 100 mm bar"
        if stem == "outline":
            close("outline.svg length", max(b[0] for b in boxes), length)
            close("outline.svg width", max(b[1] for b in boxes), width)


if __name__ == "__main__":
    check(sys.argv[1])
    print("all paper is true to size")
