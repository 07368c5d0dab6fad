"""Builds the demo's board with rounded rails and truck holes, and exits non-zero when its deck is not sound.

By an independent geometry kernel: valid, edges within 0.01 mm, area and volume those that report.json states, the rounds bent
with their radius across the rail, holes open along the deck's normal. By a plain parser with a spline library, and meshes by a
general-purpose mesh library, as check_files.py does.
usage: check_rounded.py FAYDECK DEMO_FOLDER
"""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import numpy
import trimesh
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.BRepLProp import BRepLProp_SLProps
from OCP.GeomAbs import GeomAbs_BSplineSurface
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_IN, TopAbs_OUT
from OCP.TopoDS import TopoDS
from OCP.gp import gp_Pnt

import check_lines
import check_parsed
import check_step
import slivers

THICKNESS_MM = 12
# half the thickness rounds all of the rail
RADII_MM = [6.0, 4.0, 2.0]
TRUCKS_MM = [(-330, (63.5, 41.275)), (330, (53.975, 41.275))]
# of the whole solid: the sharp one of this board has some 3000
MOST_POINTS = 12_000
# of 1 / radius: a cubic along a right angle's arc is within 0.03 % in its places, some per cent in its bend
BEND = 0.06


def bends(shape, radius):
    """How many of the round's places, 0.1 to 0.9 across it, are bent with `radius`."""
    face = TopoDS.Face_s if hasattr(TopoDS, "Face_s") else TopoDS.Face
    good = all_ = 0
    for f in check_step.parts(shape, TopAbs_FACE):
        s = BRepAdaptor_Surface(face(f))
        if s.GetType() != GeomAbs_BSplineSurface or s.VDegree() != 3 or s.NbVKnots() != 2:
            continue
        for i in range(1, 20):
            for v in (0.1, 0.5, 0.9):
                u = s.FirstUParameter() + (s.LastUParameter() - s.FirstUParameter()) * i / 20
                p = BRepLProp_SLProps(s, u, v, 2, 1e-9)
                all_ += 1
                assert p.IsCurvatureDefined()
                good += abs(max(abs(p.MinCurvature()), abs(p.MaxCurvature())) * radius - 1) < BEND
    return good, all_


def main(faydeck, demo):
    board = (demo / "board.toml").read_text()
    thickness = f'thickness = "{THICKNESS_MM} mm"'
    assert thickness in board
    holes = "".join(f'[[deck.hole]]\nat = ["{x} mm", "0 mm"]\npattern = "{a} x {b} mm"\n' for x, (a, b) in TRUCKS_MM)
    for radius in RADII_MM:
        with tempfile.NamedTemporaryFile("w", suffix=".toml", dir=demo) as f, tempfile.TemporaryDirectory() as out:
            f.write(board.replace(thickness, f'{thickness}\nrail_radius = "{radius} mm"\n{holes}'))
            f.flush()
            only = ["--only", "deck,underside.step,outline.svg,report.json"]
            subprocess.run([faydeck, "build", f.name, "--out", out, "--quiet", *only], check=True, stdout=subprocess.DEVNULL)
            at = lambda name: os.path.join(out, name)
            faults, area, volume = check_step.inspect(at("deck.step"))
            assert not faults, faults
            stated = next(s for s in json.load(open(at("report.json")))["shapes"] if s["file"] == "deck.step")
            for what, ours, kernel in (("area", stated["area_mm2"], area), ("volume", stated["volume_mm3"], volume)):
                print(f"radius {radius} mm, {what}: relative difference {abs(ours / kernel - 1):.1e}")
                assert abs(ours / kernel - 1) < 1e-6, what
            entities, off = check_parsed.inspect(at("deck.step"))
            points = open(at("deck.step")).read().count("=CARTESIAN_POINT(")
            print(f"radius {radius} mm: {entities} entities, {points} points, edges within {off:.4f} mm by a second reader")
            assert points < MOST_POINTS, points
            shape = check_step.read(at("deck.step"), True)
            good, all_ = bends(shape, radius)
            print(f"radius {radius} mm: {good} of {all_} places of the rounds bent with it")
            assert all_ and good == all_
            solid = BRepClass3d_SolidClassifier(shape)
            height = check_lines.underside(out)
            for x, (a, b) in TRUCKS_MM:
                for dx, dy in ((a, b), (-a, b), (-a, -b), (a, -b)):
                    # the normal leans: half a thickness down the hole is up to 1.2 mm beside its place
                    for beside, want in ((0.0, TopAbs_OUT), (6.0, TopAbs_IN)):
                        place = [x + dx / 2 + beside, dy / 2]
                        z = height(numpy.array([place]))[0, 2] - THICKNESS_MM / 2
                        solid.Perform(gp_Pnt(*place, z), 1e-6)
                        assert solid.State() == want, (place, z)
            for name in ("deck.stl", "deck.3mf", "deck.ply"):
                m = trimesh.load(at(name), force="mesh")
                assert m.is_watertight and m.is_winding_consistent, name
                assert abs(m.volume / volume - 1) < 1e-3 and abs(m.area / area - 1) < 1e-3, name
                s = slivers.slender(m)
                # the walls of holes are as high as the deck is thick
                tall = (abs(m.face_normals[:, 2]) < 0.3) & (m.triangles[:, :, 1].max(axis=1) < 60) & (m.triangles[:, :, 1].min(axis=1) > -60)
                print(f"{name}: {len(s)} triangles, least {s[~tall].min():.3f} of the faces and rails, {s[tall].min():.3f} of the holes")
                assert s[~tall].min() > slivers.LEAST, name
    print("rounded rails and truck holes are sound")


if __name__ == "__main__":
    assert len(sys.argv) == 3, __doc__
    main(sys.argv[1], pathlib.Path(sys.argv[2]))
