#!/usr/bin/env python3
"""Every STL of boxes drawn at random on the demo's deck is a manifold, by a mesh library.

usage: check_manifold.py PROGRAM DEMO_FOLDER [COUNT]
"""
import pathlib
import re
import subprocess
import sys
import tempfile

import numpy
import trimesh

PROGRAM, DEMO = (pathlib.Path(a).resolve() for a in sys.argv[1:3])
COUNT = int(sys.argv[3]) if len(sys.argv) > 3 else 12
# surfaces by themselves: a border, but no edge of three triangles
OPEN = {"underside.stl", "mating-face.stl"}


def check(path):
    """Corners are joined where they are the same numbers in the file."""
    raw = numpy.frombuffer(path.read_bytes(), offset=84, dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])["v"]
    assert len(raw) and numpy.isfinite(raw).all(), path
    corners, faces = numpy.unique(raw.reshape(-1, 3), axis=0, return_inverse=True)
    faces = faces.reshape(-1, 3)
    mesh = trimesh.Trimesh(corners, faces, process=False)
    alike = (faces == numpy.roll(faces, 1, axis=1)).any()
    assert not alike, f"{path.name}: a triangle with two corners in one place"
    shared = numpy.unique(numpy.sort(mesh.edges, axis=1), axis=0, return_counts=True)[1]
    assert shared.max() == 2, f"{path.name}: {(shared > 2).sum()} edges of more than two triangles"
    assert mesh.is_winding_consistent, f"{path.name}: not oriented alike"
    if path.name not in OPEN:
        assert shared.min() == 2, f"{path.name}: {(shared < 2).sum()} edges of one triangle"
        assert mesh.is_watertight and mesh.volume > 0, f"{path.name}: volume {mesh.volume}"
    return len(faces)


def drawn(random, text):
    """The demo's board file without its enclosure and what belongs to it, and one drawn at random."""
    pick = lambda *of: of[random.integers(len(of))]
    mm = lambda a, b: f'"{random.uniform(a, b):.2f} mm"'
    head = text[:text.index("[enclosure]")]
    lines = ["[enclosure]", f"length = {mm(180, 420)}", f"inset = {mm(12, 22)}", f"flange = {mm(17, 26)}", f"offset = {mm(-60, 60)}",
             f"gasket = {mm(2, 8)}", 'squeeze = "35 %"', f"depth = {mm(20, 45)}", f'draft = "{random.uniform(0, 8):.1f} deg"',
             f"wall = {mm(2.8, 5)}", f"floor = {mm(2.8, 5)}", f"flange_thickness = {mm(4, 8)}"]
    lines += [f"flange_chamfer = {mm(0.5, 4)}"] * pick(0, 1) + [f"corner_radius = {mm(12, 40)}"] * pick(0, 1)
    lines += ['[screws]', f'size = "{pick("M3", "M4", "M5")}"', f"pitch = {mm(60, 130)}"] + [f"slip = {mm(0.2, 2)}"] * pick(0, 1)
    lines += pick([], ["boss = true"], ['along = "deck"'])
    lines += ["[[opening]]", "name = 'port'", "through = 'floor'", "at = ['20 mm', '10 mm']", f"diameter = {mm(4, 16)}"] * pick(0, 1)
    lines += ["[printer]", f'bed = "{random.uniform(120, 260):.0f} x {random.uniform(200, 260):.0f} x 250 mm"',
              f'joint = "{pick("tongue", "butt")}"'] * pick(0, 1, 1)
    return head + "\n".join(lines) + "\n"


text = (DEMO / "board.toml").read_text()
random = numpy.random.default_rng(23)
made = refused = files = 0
while made < COUNT:
    with tempfile.TemporaryDirectory() as told:
        folder = pathlib.Path(told)
        for name in ("scan.ply", "photo.jpg"):
            (folder / name).symlink_to(DEMO / name)
        (folder / "board.toml").write_text(drawn(random, text))
        ran = subprocess.run([PROGRAM, "build", "-q", folder / "board.toml", "--out", folder / "out", "--only", "stl"], capture_output=True, text=True)
        if ran.returncode == 5 and refused < 3 * COUNT:
            # settings that no box has are told
            refused += 1
            print("refused:", re.sub(r"\s+", " ", ran.stderr)[:160])
            continue
        assert ran.returncode == 0, ran.stderr + (folder / "board.toml").read_text()
        paths = sorted((folder / "out").glob("*.stl"))
        assert {"enclosure.stl", "deck.stl"} <= {p.name for p in paths}
        try:
            triangles = sum(check(p) for p in paths)
        except AssertionError:
            print((folder / "board.toml").read_text())
            raise
        made, files = made + 1, files + len(paths)
        print(f"{len(paths)} files, {triangles} triangles")
print(f"{files} files of {made} boxes are manifolds; {refused} settings were refused")
