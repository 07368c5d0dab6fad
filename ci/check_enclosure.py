"""Reads a build's enclosure with programs that share nothing with faydeck and exits non-zero when it is not sound.

Solids by an independent geometry kernel (see check_step.py), meshes by a general-purpose mesh library, volumes of both alike;
the seat's distance to the deck solid is the squeezed gasket; the parts put together again make up the body with room for
glue and no clash; every row of drill.csv is a hole in the solid.
usage: check_enclosure.py FOLDER [GAP OF A GROOVED RIM'S LANDS, mm]
"""
import csv
import glob
import json
import math
import os
import re
import sys

import trimesh
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.OCP.collections import List_TopoDS_Shape
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.TopAbs import TopAbs_IN, TopAbs_OUT
from OCP.gp import gp_Pnt

import check_step

GAP_MM = 0.05
# between parts, as halves are made
GLUE_MM = 0.2
# distances measured: enough to meet every side and corner of the rim, few enough to take seconds
SAMPLES = 400
# lines of a cross on the template are shorter than this, and its places are written to 0.001 mm on a paper developed in strips
CROSS_MM = 20.0
PAPER_MM = 0.3

folder = sys.argv[1]
lands = [float(a) for a in sys.argv[2:]]
at = lambda name: os.path.join(folder, name)
for path in sorted(glob.glob(at("enclosure*.step"))):
    faults, area, volume = check_step.inspect(path)
    assert not faults, f"{path}: {'; '.join(faults)}"
    for end in (".stl", ".3mf"):
        m = trimesh.load(path[:-5] + end, force="mesh")
        assert m.is_watertight and m.is_winding_consistent, f"{path[:-5] + end} is not closed"
        assert abs(m.volume / volume - 1) < 1e-3 and abs(m.area / area - 1) < 1e-3, f"{path[:-5] + end} differs from {path}"

report = json.load(open(at("report.json")))
standoff = report["mating"]["standoff_mm"]
deck = check_step.read(at("deck.step"), True)
solid = check_step.read(at("enclosure.step"), True)

# the parts put together again, in the deck frame: nothing of one in another, glue all round, and no material but the body's
pieces = {os.path.basename(p)[:-5]: check_step.read(p, True) for p in sorted(glob.glob(at("enclosure-[ps]*.step")))}
names = sorted(pieces)
volume = check_step.volume
for i, a in enumerate(names):
    for b in names[i + 1 :]:
        clash = volume(BRepAlgoAPI_Common(pieces[a], pieces[b]).Shape())
        apart = BRepExtrema_DistShapeShape(pieces[a], pieces[b]).Value()
        assert clash < 1e-3 and apart > GLUE_MM - 0.02, f"{a} and {b}: {clash:.4f} mm3 in each other, {apart:.3f} mm apart"
        if apart < 2 * GLUE_MM:
            print(f"{a} and {b} meet with {apart:.3f} mm for glue and no clash")
parts = [n for n in names if n.startswith("enclosure-part")]
for n in parts:
    # the part's outer faces are the body's own: without a tolerance the kernel may find no common volume at all
    common, [one, other] = BRepAlgoAPI_Common(), [List_TopoDS_Shape(), List_TopoDS_Shape()]
    one.Append(pieces[n])
    other.Append(solid)
    common.SetArguments(one)
    common.SetTools(other)
    common.SetFuzzyValue(1e-5)
    common.Build()
    inside = volume(common.Shape())
    own = volume(pieces[n])
    assert abs(inside / own - 1) < 1e-4, f"{n} has {own - inside:.1f} mm3 outside of the body"
lost = 1 - sum(volume(pieces[n]) for n in parts) / volume(solid)
assert not parts or 0 <= lost < 0.01 * len(parts), f"the joints take {100 * lost:.2f} % of the body"
print(f"{len(parts)} parts make up the body but for {100 * lost:.2f} % of glue and pins")
for f in report["enclosure"]["prints"]:
    part = trimesh.load(at(f["name"] + ".stl"), force="mesh")
    low, high = part.bounds
    assert abs(low).max() < 1e-3 and abs(high - f["size_mm"]).max() < 1e-2, f"{f['name']} does not lie on the bed"
    on_bed = part.area_faces[(part.face_normals[:, 2] < -0.99) & (part.triangles[:, :, 2].max(axis=1) < 0.02)].sum()
    assert abs(on_bed - f["bed_contact_mm2"]) < 0.01 * on_bed, f"{f['name']}: {on_bed:.0f} mm2 lie on the bed"
mesh = trimesh.load(at("enclosure.stl"), force="mesh")
# facets that look at the deck and are not the floor's inside; of a grooved rim they lie at the lands or at the groove's floor
high = mesh.triangles_center[:, 2] < mesh.bounds[1][2] - report["enclosure"]["depth_mm"] / 2
seat = mesh.triangles_center[(mesh.face_normals[:, 2] < -0.7) & high]
at_strip = 0
worst = 0.0
for p in seat[:: max(1, len(seat) // SAMPLES)]:
    d = BRepExtrema_DistShapeShape(BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, p))).Vertex(), deck).Value()
    off = min([standoff, *lands], key=lambda wanted: abs(d - wanted))
    at_strip += off == standoff
    worst = max(worst, abs(d - off))
print(f"seat: {len(seat)} facets, at most {worst:.4f} mm off the squeezed gasket's {standoff:.2f} mm")
assert worst < GAP_MM and at_strip > 50

rows = list(csv.DictReader(open(at("drill.csv"))))
assert len(rows) == len(report["enclosure"]["screws"])
inside = BRepClass3d_SolidClassifier(solid)
for r in rows:
    x, y, hole, slot = (float(r[k]) for k in ("x_mm", "y_mm", "flange_hole_mm", "slot_mm"))
    axis = [float(r[k]) for k in ("axis_x", "axis_y", "axis_z")]
    # the middle of the flange's thickness over the deck there, along the hole
    x, y, z = (p + (standoff + 2.5) * a for p, a in zip((x, y, float(r["deck_z_mm"])), axis))
    # x and y brought square to the axis
    along = math.sqrt(1 - axis[0] ** 2)
    e = (along, -axis[0] * axis[1] / along, -axis[0] * axis[2] / along)
    f = (0.0, axis[2] / along, -axis[1] / along)
    for angle in range(0, 360, 45):
        c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        ends = [(1 if c > 0 else -1) * slot / 2 if abs(c) > 1e-9 else 0.0]
        for radius, want in ((hole / 2 - 0.1, TopAbs_OUT), (hole / 2 + 0.1, TopAbs_IN)):
            for end in ends:
                place = [p + (end + radius * c) * u + radius * s * v for p, u, v in zip((x, y, z), e, f)]
                inside.Perform(gp_Pnt(*place), 1e-6)
                assert inside.State() == want, f"screw {r['screw']}: hole and list differ"
print(f"{len(rows)} screws agree with the holes")

# the paper's crosses, in the list's order, lie as far apart as the holes along the deck: no nearer than straight through it
lines = [[float(v) for v in m] for m in re.findall(r'd="M([\d.]+) ([\d.]+) L([\d.]+) ([\d.]+)"', open(at("footprint.svg")).read())]
crosses = [((a + c) / 2, (b + d) / 2) for a, b, c, d in lines if b == d and abs(c - a) < CROSS_MM]
crosses = crosses[: len(rows)]
holes = [[float(r[k]) for k in ("x_mm", "y_mm", "deck_z_mm")] for r in rows]
assert len(crosses) == len(holes), f"{len(crosses)} crosses on the template, {len(holes)} rows in the list"
worst = 0.0
for i in range(len(holes)):
    for j in range(i):
        straight, paper = math.dist(holes[i], holes[j]), math.dist(crosses[i], crosses[j])
        assert paper > straight - PAPER_MM, f"holes {i + 1} and {j + 1}: {paper:.2f} mm on paper, {straight:.2f} mm in the list"
        worst = max(worst, paper - straight)
assert worst < 0.01 * max(math.dist(a, b) for a in holes for b in holes), f"the template is {worst:.2f} mm longer than the list"
print(f"the template's {len(crosses)} crosses agree with the list, longer by at most {worst:.2f} mm along the curved deck")
