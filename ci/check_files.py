"""Reads a build's files with programs that share nothing with faydeck and exits non-zero when one is not sound.

STEP by an independent geometry kernel (with and without its healing, edge tolerance within 0.01 mm), meshes by a
general-purpose mesh library; areas and volumes of both must agree, and those that report.json states must be the kernel's.
Planes, cylinders and holes are read back as such (check_shapes.py), and the assembly with its names and colours (check_assembly.py).
No mesh holds slivers where it bends. The fit check's pieces are closed, lie on the printer's bed, each on a flat side, and
print in minutes.
usage: check_files.py FOLDER
"""
import json
import os
import sys

import numpy
import trimesh

import check_assembly
import check_parsed
import check_shapes
import check_step
import slivers


# the most that a piece printed before the real part may take, an estimate
PIECE_MIN = 15
# the printer of the demo's board file
BED_MM = (220, 220, 250)
# a board of 884 x 226 mm in chords of 0.02 mm
MOST_TRIANGLES = 60_000


def step(path):
    faults, area, volume = check_step.inspect(path)
    assert not faults, f"{path}: {'; '.join(faults)}"
    return area, volume


def mesh(path, closed):
    m = trimesh.load(path, force="mesh")
    assert m.is_watertight == closed, f"{path}: watertight is {m.is_watertight}"
    assert m.is_winding_consistent, f"{path}: facets are not oriented alike"
    print(f"{os.path.basename(path)}: {len(m.faces)} triangles, area {m.area:.1f} mm2")
    return m


def close(what, a, b):
    # chords of 0.02 mm change areas and volumes by less than this
    assert abs(a / b - 1) < 1e-3, f"{what}: {a} against {b}"


def agree(what, ours, kernel, relative):
    print(f"{what}: {ours:.3f}, the kernel's {kernel:.3f}, relative difference {abs(ours / kernel - 1):.1e}")
    assert abs(ours / kernel - 1) < relative, what


folder = sys.argv[1]
at = lambda name: os.path.join(folder, name)
area, volume = step(at("deck.step"))
for name in ("deck.stl", "deck.ply", "deck.3mf"):
    m = mesh(at(name), True)
    close(name + " volume", m.volume, volume)
    close(name + " area", m.area, area)
close("underside", mesh(at("underside.stl"), False).area, step(at("underside.step"))[0])
close("mating face", mesh(at("mating-face.stl"), False).area, step(at("mating-face.step"))[0])
assert step(at("mating-tool.step"))[1] > 0
wires = at("sections.step")
curves = open(wires).read().count("=B_SPLINE_CURVE_WITH_KNOTS('")
edges = len(list(check_step.parts(check_step.read(wires, False), check_step.TopAbs_EDGE)))
assert edges == curves > 0, f"{wires}: {edges} edges read, {curves} curves written"
second_reader = [n for n in sorted(os.listdir(folder)) if n.endswith(".step")]
for n in second_reader:
    entities, off = check_parsed.inspect(at(n))
    print(f"{n}: {entities} entities, edges within {off:.4f} mm of their faces, by a second reader")
check_shapes.main(folder)
check_assembly.main(folder)
report = json.load(open(at("report.json")))
for shape in report["shapes"]:
    area, volume = step(at(shape["file"]))
    agree(shape["file"] + " area in mm2", shape["area_mm2"], area, 1e-6)
    assert (shape["volume_mm3"] is None) == (shape["file"] in ("underside.step", "mating-face.step")), shape
    if shape["volume_mm3"] is not None:
        agree(shape["file"] + " volume in mm3", shape["volume_mm3"], volume, 1e-6)

for name in sorted(os.listdir(folder)):
    if name.endswith((".stl", ".3mf", ".ply")) and not name.startswith("gap-"):
        slivers.check(at(name))
deck = trimesh.load(at("deck.stl"), force="mesh")
assert len(deck.faces) < MOST_TRIANGLES, len(deck.faces)

assert report["fit_check"], "the demo has a fit check"
for piece in report["fit_check"]:
    assert piece["print_estimate_min"] < PIECE_MIN, piece
    for end in (".3mf", ".stl"):
        m = mesh(at(piece["name"] + end), True)
        size = m.extents
        assert numpy.abs(m.bounds[0]).max() < 1e-4 and numpy.abs(size - piece["size_mm"]).max() < 1e-3, piece
        close(piece["name"] + " volume", m.volume, piece["volume_mm3"])
        assert max(size[:2]) <= max(BED_MM[:2]) and min(size[:2]) <= min(BED_MM[:2]) and size[2] <= BED_MM[2], size
        flat = m.area_faces[(m.triangles[:, :, 2] < 1e-4).all(axis=1)].sum()
        # a strip no higher than it is long lies on its base; nothing hangs over
        assert flat > 0.3 * m.volume / size[2], f"{piece['name']}: {flat} mm2 on the bed"
print("all files are sound")
