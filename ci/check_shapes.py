"""Reads the elementary shapes of STEP files back with an independent geometry kernel and exits non-zero where they are not what
the build says: every hole of drill.csv is two cylinders with its diameter and axis, the enclosure's floor is a plane square to z,
the joints between parts are planes square to x, no face is a spline that lies on a plane. Prints how many faces of each kind there are.
usage: check_shapes.py FOLDER
"""
import csv
import glob
import math
import os
import re
import sys

import numpy
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
from OCP.TopoDS import TopoDS

import check_step

# what faces and edges may be off the elementary shape they are taken for, and as much again for where drill.csv is rounded
PLACE_MM = 0.005
# 0.001 mm over a hole through a flange of 5 mm
AXIS = 2e-4
# radii are written to a tenth of what an edge may be off
RADIUS_MM = 0.001


def vector(p):
    return numpy.array([p.X(), p.Y(), p.Z()])


def kind(adaptor):
    return re.sub(r".*GeomAbs_", "", str(adaptor.GetType())).split(":")[0].rstrip(">")


def faces(shape):
    face = TopoDS.Face_s if hasattr(TopoDS, "Face_s") else TopoDS.Face
    return [BRepAdaptor_Surface(face(f)) for f in check_step.parts(shape, TopAbs_FACE)]


def counts(adaptors):
    out = {}
    for a in adaptors:
        out[kind(a)] = out.get(kind(a), 0) + 1
    return dict(sorted(out.items()))


def is_flat(surface):
    """Whether a spline is a plane: its poles lie on one within a millionth of a mm."""
    s = surface.BSpline()
    poles = numpy.array([vector(s.Pole(i, j)) for i in range(1, s.NbUPoles() + 1) for j in range(1, s.NbVPoles() + 1)])
    return numpy.linalg.svd(poles - poles.mean(axis=0))[1][2] < 1e-6


def check_holes(name, surfaces, rows, diameter_of, slot_of):
    """Every row is two cylinders of its diameter, along its axis, half a slot to either side of it."""
    cylinders = []
    for s in surfaces:
        if kind(s) == "Cylinder":
            c = s.Cylinder()
            cylinders.append((c.Radius(), vector(c.Axis().Location()), vector(c.Axis().Direction())))
    worst = [0.0, 0.0, 0.0]
    for r in rows:
        at = numpy.array([float(r[k]) for k in ("x_mm", "y_mm", "deck_z_mm")])
        axis = numpy.array([float(r[k]) for k in ("axis_x", "axis_y", "axis_z")])
        axis /= numpy.linalg.norm(axis)
        mine = []
        for radius, place, way in cylinders:
            from_axis = numpy.linalg.norm(numpy.cross(place - at, axis))
            lean = numpy.linalg.norm(numpy.cross(way, axis))
            off = [abs(radius - diameter_of(r) / 2), abs(from_axis - slot_of(r) / 2), lean]
            if off[0] < RADIUS_MM and off[1] < PLACE_MM and lean < AXIS:
                mine.append(off)
        assert len(mine) == 2, f"{name}: screw {r['screw']} has {len(mine)} cylinders of its diameter and axis"
        worst = [max(w, *(m[k] for m in mine)) for k, w in enumerate(worst)]
    print(
        f"{name}: {len(rows)} holes have their diameter within {2 * worst[0]:.5f} mm, their axis within {worst[1]:.5f} mm and "
        f"{math.degrees(worst[2]):.5f} degrees"
    )


def main(folder):
    at = lambda name: os.path.join(folder, name)
    edge = TopoDS.Edge_s if hasattr(TopoDS, "Edge_s") else TopoDS.Edge
    for path in sorted(glob.glob(at("*.step"))):
        name = os.path.basename(path)
        if name in ("sections.step", "assembly.step"):
            continue
        shape = check_step.read(path, True)
        surfaces = faces(shape)
        curves = [BRepAdaptor_Curve(edge(e)) for e in check_step.parts(shape, TopAbs_EDGE)]
        print(f"{name}: faces {counts(surfaces)}, edges of faces {counts(curves)}")
        flat = sum(kind(s) == "BSplineSurface" and is_flat(s) for s in surfaces)
        assert flat == 0, f"{name}: {flat} flat faces are splines"
        # a cut between parts lies square to x
        across = sum(kind(s) == "Plane" and abs(s.Plane().Axis().Direction().X()) > 1 - 1e-12 for s in surfaces)
        assert across > 0 or not name.startswith(("enclosure-part", "enclosure-strap")), f"{name}: no plane where it is cut"
    if not os.path.exists(at("enclosure.step")):
        return
    body = faces(check_step.read(at("enclosure.step"), True))
    rows = list(csv.DictReader(open(at("drill.csv"))))
    check_holes("enclosure.step", body, rows, lambda r: float(r["flange_hole_mm"]), lambda r: float(r["slot_mm"]))
    if os.path.exists(at("deck-drilled.step")):
        drilled = faces(check_step.read(at("deck-drilled.step"), True))
        check_holes("deck-drilled.step", drilled, rows, lambda r: float(r["flange_hole_mm"]), lambda r: 0.0)
    up = [s.Plane() for s in body if kind(s) == "Plane" and abs(s.Plane().Axis().Direction().Z()) > 1 - 1e-12]
    heights = sorted({round(p.Location().Z(), 6) for p in up})
    assert len(heights) >= 2, f"the floor's inside and outside are planes square to z, heights {heights}"
    print(f"enclosure.step: planes square to z at {heights} mm")


if __name__ == "__main__":
    assert len(sys.argv) == 2, __doc__
    main(sys.argv[1])
