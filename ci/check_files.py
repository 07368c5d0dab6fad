"""Reads a build's files with programs that share nothing with faydeck and exits non-zero when one is not sound.

STEP by an independent geometry kernel (with and without its healing, edge tolerance within 0.01 mm), meshes by a
general-purpose mesh library; areas and volumes of both must agree.
usage: check_files.py FOLDER
"""
import os
import sys

import trimesh
from OCP.BRep import BRep_Tool
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.STEPControl import STEPControl_Reader
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

HEALING = """FixFreeShellMode FixFreeFaceMode FixFreeWireMode FixSameParameterMode FixSolidMode FixShellOrientationMode
CreateOpenSolidMode FixShellMode FixFaceOrientationMode FixFaceMode FixWireMode FixOrientationMode FixAddNaturalBoundMode
FixMissingSeamMode FixSmallAreaWireMode RemoveSmallAreaFaceMode FixIntersectingWiresMode FixLoopWiresMode FixSplitFaceMode
AutoCorrectPrecisionMode FixReorderMode FixSmallMode FixConnectedMode FixEdgeCurvesMode FixDegeneratedMode FixLackingMode
FixSelfIntersectionMode FixReversed2dMode FixRemovePCurveMode FixRemoveCurve3dMode FixAddPCurveMode FixAddCurve3dMode
FixSeamMode FixShiftedMode FixEdgeSameParameterMode FixNotchedEdgesMode FixTailMode FixSelfIntersectingEdgeMode
FixIntersectingEdgesMode FixNonAdjacentIntersectingEdgesMode FixVertexPositionMode FixVertexToleranceMode""".split()


def read(path, heal):
    reader = STEPControl_Reader()
    status = reader.ReadFile(path)
    assert str(status).endswith("RetDone"), f"{path}: {status}"
    if not heal:
        from OCP.TCollection import TCollection_AsciiString as Text
        from OCP.collections import DataMap_TCollection_AsciiString_TCollection_AsciiString as Map
        off = Map()
        for key in HEALING:
            off.Bind(Text("FixShape." + key), Text("0"))
        reader.SetShapeFixParameters(off)
    reader.TransferRoots()
    return reader.OneShape()


def step(path):
    shape = read(path, heal=False)
    assert BRepCheck_Analyzer(shape).IsValid(), f"{path}: not valid without healing"
    assert BRepCheck_Analyzer(read(path, heal=True)).IsValid(), f"{path}: not valid with healing"
    edges, worst = TopExp_Explorer(shape, TopAbs_EDGE), 0.0
    while edges.More():
        edge = edges.Current()
        edge = TopoDS.Edge_s(edge) if hasattr(TopoDS, "Edge_s") else TopoDS.Edge(edge)
        worst = max(worst, BRep_Tool.Tolerance_s(edge))
        edges.Next()
    assert worst <= 0.01, f"{path}: edge tolerance {worst} mm"
    area, volume = GProp_GProps(), GProp_GProps()
    BRepGProp.SurfaceProperties_s(shape, area, 1e-4)
    BRepGProp.VolumeProperties_s(shape, volume, 1e-4, False, False)
    print(f"{os.path.basename(path)}: valid, edge tolerance {worst:.4f} mm, area {area.Mass():.1f} mm2")
    return area.Mass(), volume.Mass()


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
for name in ("deck.stl", "deck.3mf"):
    m = mesh(at(name), True)
    close(name + " volume", m.volume, volume)
    close(name + " area", m.area, area)
close("underside", mesh(at("underside.stl"), False).area, step(at("underside.step"))[0])
close("mating face", mesh(at("mating-face.stl"), False).area, step(at("mating-face.step"))[0])
assert step(at("mating-tool.step"))[1] > 0
print("all files are sound")
