"""Re-measures the lines of the templates with other programs and exits non-zero beyond 0.1 mm.

What each line should be is worked out from the build's STEP files alone, parsed plainly and evaluated by a spline library:
a rib is its section, the rocker the centre line, both with the card's straight sides; the footprint is the mating face's
border, laid on the underside by integrals along centre line and sections; holes come from drill.csv. Lines are read from the
PDF by a PDF library and from the SVG by an XML parser.
usage: check_lines.py FOLDER
"""
import csv
import os
import re
import sys

import lxml.etree
import numpy
import pypdfium2
from scipy.integrate import simpson

import check_paper
import check_parsed

LIMIT_MM = 0.1
# height of a card over the highest place of its curve
CARD_MM = 30
SAMPLES = 4001


def wires(folder):
    """Points along every named curve of sections.step, mm."""
    shapes = check_parsed.Geometry(check_parsed.p21.readfile(os.path.join(folder, "sections.step")).data[0].instances)
    out = {}
    for ref, i in shapes.instances.items():
        if check_parsed.p21.is_simple_entity_instance(i) and i.entity.name == "B_SPLINE_CURVE_WITH_KNOTS":
            c = shapes.curve(ref)
            out[str(i.entity.params[0])] = c(numpy.linspace(c.t[0], c.t[-1], SAMPLES))
    return out


def underside(folder):
    shapes = check_parsed.Geometry(check_parsed.p21.readfile(os.path.join(folder, "underside.step")).data[0].instances)
    face = next(r for r, i in shapes.instances.items() if check_parsed.p21.is_simple_entity_instance(i) and i.entity.name == "B_SPLINE_SURFACE_WITH_KNOTS")
    # the surface's parameters are x and y
    return shapes.surface(face)


def laid(at, x, y):
    """Where a paper pressed onto the underside shows the plan place (x, y), mm."""
    out = []
    for axis, to in ((0, x), (1, y)):
        s = numpy.linspace(0, to, 401)
        line = numpy.zeros((len(s), 2))
        line[:, axis] = s
        if axis == 1:
            line[:, 0] = x
        p = at(line)
        slope = numpy.gradient(p[:, 2], s, edge_order=2) if to else numpy.zeros(len(s))
        out.append(simpson(numpy.hypot(1, slope), x=s) if to else 0.0)
    return out


def length(points, closed=False):
    points = numpy.asarray(points)
    whole = numpy.linalg.norm(numpy.diff(points, axis=0), axis=1).sum()
    return whole + (numpy.linalg.norm(points[0] - points[-1]) if closed else 0)


def figures(points, closed):
    """Length of a line, and the sides of its box."""
    return (length(points, closed), *numpy.ptp(numpy.asarray(points), axis=0))


def card(points):
    """Figures of a card whose lower edge runs through `points`."""
    top = points[:, 1].max() + CARD_MM
    return figures(numpy.vstack([points, [points[-1, 0], top], [points[0, 0], top]]), True)


def expected(folder):
    """Figures of the lines by template and what they are; then the middles of the holes from the middle of the border's box."""
    curves = wires(folder)
    drawn = set(re.findall(r"rib at x = ([+-]?[0-9.]+) mm", open(os.path.join(folder, "ribs.svg"), encoding="utf-8").read()))
    # a section drawn beside a rib's station may be called alike
    sections = {float(n.split()[3]): c for n, c in curves.items() if n.startswith("section x = ")}
    ribs = {f"rib at {x} mm": sections[float(x)] for x in drawn}
    assert ribs, "no rib is drawn"
    out = {"ribs": {n: card(c[:, 1:]) for n, c in ribs.items()}, "rocker": {"centre line": card(curves["centre line"][:, [0, 2]])}}
    border = numpy.vstack([c[:-1] for n, c in curves.items() if n.startswith("footprint")])[::8]
    at = underside(folder)
    border = numpy.array([laid(at, x, y) for x, y, _ in border])
    out["footprint"] = {"border": figures(border, True)}
    holes = {}
    for i, row in enumerate(csv.DictReader(open(os.path.join(folder, "drill.csv"), encoding="utf-8"))):
        d = float(row["flange_hole_mm"])
        out["footprint"][f"hole {i + 1}"] = (numpy.pi * d, d, d)
        holes[f"hole {i + 1}"] = numpy.array(laid(at, float(row["x_mm"]), float(row["y_mm"]))) - middle(border)
    return out, holes


def middle(points):
    return (points.min(axis=0) + points.max(axis=0)) / 2


def pdf_lines(path):
    """The lines of every page: points, y upwards, and whether closed."""
    for page in pypdfium2.PdfDocument(path):
        yield [(p, closed) for p, closed in check_paper.lines(page) if len(p) > 1]


def svg_lines(path):
    out = []
    for p in lxml.etree.parse(path).getroot().iter("{*}path"):
        d = p.get("d")
        points = numpy.array([float(v) for v in re.findall(r"-?[0-9.]+", d)]).reshape(-1, 2)
        if len(points) > 1:
            out.append((points * [1, -1], d.rstrip().upper().endswith("Z")))
    yield out


def near(lines, want):
    """How far the lines are from the figures wanted, mm; the nearest first."""
    off = [(numpy.abs(numpy.subtract(figures(*l), want)).max(), k) for k, l in enumerate(lines)]
    return sorted(off)


def check(folder):
    templates, holes = expected(folder)
    for stem, wanted in templates.items():
        for end, read in (("pdf", pdf_lines), ("svg", svg_lines)):
            pages = list(read(os.path.join(folder, f"{stem}.{end}")))
            for what, want in wanted.items():
                off, lines = min(((near(lines, want)[0][0], lines) for lines in pages if lines), key=lambda p: p[0])
                best = figures(*lines[near(lines, want)[0][1]])
                what.startswith("hole") or print(f"{stem}.{end} {what}: {best[0]:.3f} mm long, expected {want[0]:.3f} mm, {best[1]:.3f} x {best[2]:.3f} mm, expected {want[1]:.3f} x {want[2]:.3f} mm")
                assert off <= LIMIT_MM, f"{stem}.{end} {what}: no line of {want} mm, the nearest is {best}"
            if stem == "footprint":
                off = max(misplaced(pages, wanted["border"], wanted[what], place) for what, place in holes.items())
                print(f"{stem}.{end}: {len(holes)} holes, at most {off:.3f} mm off their places")
                assert off <= LIMIT_MM, f"{stem}.{end}: a hole"


def misplaced(pages, border, hole, place):
    """How far the nearest line of a hole's figures lies from `place`, from the middle of the border's box, mm."""
    out = numpy.inf
    for lines in pages:
        o = near(lines, border)
        if o and o[0][0] <= LIMIT_MM:
            frame = middle(lines[o[0][1]][0])
            found = [middle(lines[k][0]) for off, k in near(lines, hole) if off <= LIMIT_MM]
            out = min([out] + [numpy.linalg.norm(p - frame - place) for p in found])
    return out


if __name__ == "__main__":
    check(sys.argv[1])
    print("all lines are true to size")
