"""Reads STEP files with an independent geometry kernel and exits non-zero when one is not sound.

A file is sound when its shape is valid with the kernel's healing on and with it off, no edge's tolerance is above 0.01 mm,
its area is positive, and, where it holds solids, its volume is too. check_files.py uses it on a whole build.
usage: check_step.py FILES...
"""
import os
import sys

from OCP.BRep import BRep_Tool
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.STEPControl import STEPControl_Reader
from OCP.TCollection import TCollection_AsciiString as Text
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.collections import DataMap_TCollection_AsciiString_TCollection_AsciiString as Map

EDGE_MM = 0.01
# the kernel's own quadrature then repeats to about a billionth; its default is a thousandth off on a trimmed spline
QUADRATURE = 1e-8
HEALING = """FixFreeShellMode FixFreeFaceMode FixFreeWireMode FixSameParameterMode FixSolidMode FixShellOrientationMode
CreateOpenSolidMode FixShellMode FixFaceOrientationMode FixFaceMode FixWireMode FixOrientationMode FixAddNaturalBoundMode
FixMissingSeamMode FixSmallAreaWireMode RemoveSmallAreaFaceMode FixIntersectingWiresMode FixLoopWiresMode FixSplitFaceMode
AutoCorrectPrecisionMode FixReorderMode FixSmallMode FixConnectedMode FixEdgeCurvesMode FixDegeneratedMode FixLackingMode
FixSelfIntersectionMode FixReversed2dMode FixRemovePCurveMode FixRemoveCurve3dMode FixAddPCurveMode FixAddCurve3dMode
FixSeamMode FixShiftedMode FixEdgeSameParameterMode FixNotchedEdgesMode FixTailMode FixSelfIntersectingEdgeMode
FixIntersectingEdgesMode FixNonAdjacentIntersectingEdgesMode FixVertexPositionMode FixVertexToleranceMode""".split()


def read(path, heal):
    reader = STEPControl_Reader()
    if not str(reader.ReadFile(path)).endswith("RetDone"):
        return None
    if not heal:
        off = Map()
        for key in HEALING:
            off.Bind(Text("FixShape." + key), Text("0"))
        reader.SetShapeFixParameters(off)
    reader.TransferRoots()
    return reader.OneShape()


def parts(shape, kind):
    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def volume(shape):
    """Volume of a shape, mm3."""
    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, found, QUADRATURE, False, False)
    return found.Mass()


def inspect(path):
    """Prints a line about the file; returns its faults in words, its area in mm2 and its volume in mm3."""
    shape = read(path, heal=False)
    if shape is None or shape.IsNull():
        return ["cannot be read"], 0.0, 0.0
    out = []
    for heal in (False, True):
        s = read(path, heal)
        if s is None or s.IsNull() or not BRepCheck_Analyzer(s).IsValid():
            out.append(f"not valid with healing {'on' if heal else 'off'}")
    edge = TopoDS.Edge_s if hasattr(TopoDS, "Edge_s") else TopoDS.Edge
    worst = max((BRep_Tool.Tolerance_s(edge(e)) for e in parts(shape, TopAbs_EDGE)), default=0.0)
    if not worst <= EDGE_MM:
        out.append(f"edge tolerance {worst:.4f} mm, the limit is {EDGE_MM} mm")
    area = GProp_GProps()
    BRepGProp.SurfaceProperties_s(shape, area, QUADRATURE)
    inside_mm3 = volume(shape)
    solids = len(list(parts(shape, TopAbs_SOLID)))
    if not area.Mass() > 0:
        out.append("no area")
    if solids and not inside_mm3 > 0:
        out.append(f"volume {inside_mm3:.3f} mm3")
    faces = len(list(parts(shape, TopAbs_FACE)))
    inside = f", volume {inside_mm3:.1f} mm3" if solids else ""
    print(f"{os.path.basename(path)}: {solids} solids, {faces} faces, edges {worst:.4f} mm, area {area.Mass():.1f} mm2{inside}")
    return out, area.Mass(), inside_mm3


def main(paths):
    bad = 0
    for path in paths:
        for fault in inspect(path)[0]:
            print(f"{os.path.basename(path)}: {fault}")
            bad += 1
    return 1 if bad or not paths else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
