"""Reads a build's assembly.step back with an independent geometry kernel and exits non-zero when it is not sound.

Products by name, each with a colour and a valid closed solid (the mating face: an open face), volumes those of the single
files; every screw of drill.csv stands on its axis, its head away from the deck. The schema is that of ISO 10303-242.
usage: check_assembly.py FOLDER
"""
import csv
import glob
import os
import re
import sys

import numpy
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.Quantity import Quantity_Color
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDF import TDF_Label
from OCP.TDataStd import TDataStd_Name
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_SOLID
from OCP.XCAFDoc import XCAFDoc_ColorSurf, XCAFDoc_ColorTool, XCAFDoc_DocumentTool, XCAFDoc_ShapeTool
from OCP.collections import Sequence_TDF_Label as Labels
from OCP.gp import gp_Pnt, gp_Vec

import check_step

SCHEMA = "FILE_SCHEMA(('AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF { 1 0 10303 442 1 1 4 }'));"
PROTOCOL = "APPLICATION_PROTOCOL_DEFINITION('international standard','ap242_managed_model_based_3d_engineering',2014,"
# drill.csv is rounded to 0.001 mm
PLACE_MM = 0.002
# ISO 4762: greatest diameter and height of a socket head
HEAD_MM = {3: (5.5, 3.0), 4: (7.0, 4.0), 5: (8.5, 5.0), 6: (10.0, 6.0)}


def name_of(label):
    found = TDataStd_Name()
    return found.Get().ToExtString() if label.FindAttribute(TDataStd_Name.GetID_s(), found) else ""


def components(path):
    """Name of the use, name of the product, location, shape in its own frame, colour."""
    document = TDocStd_Document(TCollection_ExtendedString("XmlXCAF"))
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    reader.SetColorMode(True)
    assert str(reader.ReadFile(path)).endswith("RetDone"), path
    assert reader.Transfer(document), path
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots = Labels()
    shapes.GetFreeShapes(roots)
    assert roots.Length() == 1, f"{roots.Length()} roots"
    uses = Labels()
    XCAFDoc_ShapeTool.GetComponents_s(roots.Value(1), uses)
    out = []
    for i in range(1, uses.Length() + 1):
        use, product = uses.Value(i), TDF_Label()
        XCAFDoc_ShapeTool.GetReferredShape_s(use, product)
        shape = XCAFDoc_ShapeTool.GetShape_s(product)
        colour = Quantity_Color()
        # a style of a solid stands on the product or on its only sub-shape
        parts = Labels()
        XCAFDoc_ShapeTool.GetSubShapes_s(product, parts)
        at = [product, *(parts.Value(k) for k in range(1, parts.Length() + 1))]
        has = any(XCAFDoc_ColorTool.GetColor_s(l, XCAFDoc_ColorSurf, colour) for l in at)
        place = XCAFDoc_ShapeTool.GetLocation_s(use).Transformation()
        out.append((name_of(use), name_of(product), place, shape, colour if has else None))
    return name_of(roots.Value(1)), out


def main(folder):
    at = lambda name: os.path.join(folder, name)
    text = open(at("assembly.step")).read()
    assert SCHEMA in text and PROTOCOL in text, "schema or application protocol"
    whole, uses = components(at("assembly.step"))
    assert whole, "the assembly has a name"
    assert len(uses) == text.count("=NEXT_ASSEMBLY_USAGE_OCCURRENCE(") > 0
    products, shades = {}, {}
    for use, product, place, shape, colour in uses:
        assert use and product and colour is not None, f"'{use}' of '{product}' without a name or colour"
        assert BRepCheck_Analyzer(shape).IsValid(), f"{product} is not valid"
        solids = len(list(check_step.parts(shape, TopAbs_SOLID)))
        assert solids == (0 if product == "mating face" else 1), f"{product}: {solids} solids"
        products.setdefault(product, []).append((use, place, shape))
        shades.setdefault((colour.Red(), colour.Green(), colour.Blue()), set()).add(product)
    for product, placed in sorted(products.items()):
        volume = check_step.volume(placed[0][2])
        print(f"{product}: {len(placed)} times, {volume:.1f} mm3")
    # wood, the face, foam, plastic, straps and steel are told apart
    kinds = [{re.sub(r"(part|strap)-\d+$", r"\1", p).split(" M")[0] for p in of_it} for of_it in shades.values()]
    assert all(len(k) == 1 for k in kinds) and len({next(iter(k)) for k in kinds}) == len(kinds), kinds
    drilled = os.path.exists(at("deck-drilled.step"))
    parts = sorted(os.path.basename(p)[:-5] for p in glob.glob(at("enclosure-[ps]*.step")))
    singles = {"deck": "deck-drilled.step" if drilled else "deck.step"}
    if len([p for p in parts if p.startswith("enclosure-part")]) > 1:
        singles |= {p: p + ".step" for p in parts}
    elif os.path.exists(at("enclosure.step")):
        singles["enclosure"] = "enclosure.step"
    for product, single in singles.items():
        assert product in products, f"no {product} in the assembly"
        [(_, place, shape)] = products[product]
        assert place.TranslationPart().Modulus() == 0 and abs(place.GetRotation().GetRotationAngle()) < 1e-12, product
        own, alone = check_step.volume(shape), check_step.volume(check_step.read(at(single), True))
        assert abs(own / alone - 1) < 1e-9, f"{product}: {own} mm3, {alone} mm3 in {single}"
    if not os.path.exists(at("drill.csv")):
        return
    rows = list(csv.DictReader(open(at("drill.csv"))))
    screws = {u: (p, place, shape) for p, placed in products.items() for u, place, shape in placed if p.startswith("screw")}
    assert len(screws) == len(rows), f"{len(screws)} screws, {len(rows)} rows in drill.csv"
    worst = 0.0
    for r in rows:
        product, place, shape = screws[f"screw {r['screw']}"]
        size, length = map(int, re.fullmatch(r"screw M(\d) x (\d+)", product).groups())
        head, height = HEAD_MM[size]
        want = numpy.pi / 4 * (head**2 * height + size**2 * length)
        assert abs(check_step.volume(shape) / want - 1) < 1e-6, product
        axis = numpy.array([float(r[k]) for k in ("axis_x", "axis_y", "axis_z")])
        axis /= numpy.linalg.norm(axis)
        foot = numpy.array([float(r[k]) for k in ("x_mm", "y_mm", "deck_z_mm")])
        origin = gp_Pnt(0, 0, 0).Transformed(place)
        way = gp_Vec(0, 0, 1).Transformed(place)
        seat, way = numpy.array([origin.X(), origin.Y(), origin.Z()]), numpy.array([way.X(), way.Y(), way.Z()])
        assert way @ axis > 1 - 1e-9 and (seat - foot) @ axis > 0, f"screw {r['screw']} looks the wrong way"
        assert (seat - foot) @ axis < length, f"screw {r['screw']} does not reach the deck"
        worst = max(worst, numpy.linalg.norm(numpy.cross(seat - foot, axis)))
    assert worst < PLACE_MM, worst
    print(f"{len(rows)} screws stand on the holes' axes, within {worst:.4f} mm")


if __name__ == "__main__":
    assert len(sys.argv) == 2, __doc__
    main(sys.argv[1])
