#!/usr/bin/env python3
"""Holds a demo's gap map against a geometry kernel, and finds its enclosure again from random poses.

usage: check_gaps.py FAYDECK DEMO_FOLDER"""
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import trimesh
from OCP.BRep import BRep_Tool
from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf
from OCP.gp import gp_Pnt
from OCP.IFSelect import IFSelect_RetDone
from OCP.STEPControl import STEPControl_Reader
from OCP.TopAbs import TopAbs_FACE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

assert len(sys.argv) == 3, __doc__
faydeck, demo = sys.argv[1], pathlib.Path(sys.argv[2])
out = demo / "out"

# every sample's distance to the underside's surface, by an independent geometry kernel
rows = np.genfromtxt(out / "gap-map.csv", delimiter=",", names=True)
places = np.column_stack([rows["x_mm"], rows["y_mm"], rows["z_mm"]])[::37]
gap = rows["gap_mm"][::37]
reader = STEPControl_Reader()
assert reader.ReadFile(str(out / "underside.step")) == IFSelect_RetDone
reader.TransferRoots()
faces = TopExp_Explorer(reader.OneShape(), TopAbs_FACE)
surface = BRep_Tool.Surface_s(TopoDS.Face(faces.Current()))
distance = np.array([GeomAPI_ProjectPointOnSurf(gp_Pnt(*map(float, p)), surface).LowerDistance() for p in places])
worst = np.abs(distance - np.abs(gap)).max()
assert len(gap) > 300 and worst < 0.01, worst
print(f"{len(gap)} gaps within {worst:.4f} mm of the kernel's distances")

enclosure = trimesh.load(out / "enclosure.stl")
rng = np.random.default_rng(20)
for k in range(3):
    pose = trimesh.transformations.random_rotation_matrix(rng.random(3))
    pose[:3, 3] = rng.uniform(-800, 800, 3)
    with tempfile.TemporaryDirectory() as folder:
        there = pathlib.Path(folder) / "there.stl"
        enclosure.copy().apply_transform(pose).export(there)
        subprocess.run(
            [faydeck, "gaps", "-q", demo / "board.toml", there, "--register", "--out", folder],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        found = json.loads((pathlib.Path(folder) / "gaps.json").read_text())["registration"]
    ends = [found["enclosure_to_deck"]] + ([found["alternative"]["enclosure_to_deck"]] if found["alternative"] else [])
    miss = [np.abs(trimesh.transform_points(enclosure.vertices, np.array(e) @ pose) - enclosure.vertices).max() for e in ends]
    # the demo board is nearly alike at both ends: its rim may come back end for end, and then the other way is told
    assert min(miss) < 0.1, miss
    print(f"pose {k}: found again within {min(miss):.3f} mm, {'and' if len(ends) > 1 else 'no'} another way round told")
