"""Reads a build's files with programs that share nothing with faydeck and exits non-zero when one is not sound.

STEP by an independent geometry kernel (with and without its healing, edge tolerance within 0.01 mm), meshes by a
general-purpose mesh library; areas and volumes of both must agree.
usage: check_files.py FOLDER
"""
import os
import sys

import trimesh

import check_parsed
import check_step


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
    print(f"{n}: {check_parsed.inspect(at(n))} entities, parsed by a second reader")
print("all files are sound")
