"""Reads STEP files with a plain parser of ISO 10303-21 that shares nothing with the geometry kernel: every reference
resolves, the unit is the millimetre, every B-spline obeys the counting rule of ISO 10303-42, and every edge and wireframe
curve carries a name.
"""
from steputils import p21


def refs(value):
    if isinstance(value, p21.Reference):
        yield value
    elif isinstance(value, (list, tuple, p21.ParameterList)):
        for v in value:
            yield from refs(v)


def inspect(path):
    """Number of entities; raises for a file that is not sound."""
    data = p21.readfile(path).data[0]
    instances = data.instances
    names = set(instances)
    kinds = []
    for i in instances.values():
        for e in i.entities if p21.is_complex_entity_instance(i) else [i.entity]:
            kinds.append((e.name, e.params))
            for r in refs(e.params):
                assert r in names, f"{path}: {r} is not in the file"
    assert ("SI_UNIT", ".MILLI.") in [(n, str(p[0])) for n, p in kinds if n == "SI_UNIT" and len(p)], path
    for n, p in kinds:
        if n == "B_SPLINE_CURVE_WITH_KNOTS":
            assert sum(p[6]) == p[1] + len(p[2]) + 1 and len(p[6]) == len(p[7]), f"{path}: knots of a curve"
            assert p[0], f"{path}: a curve without a name"
        if n == "B_SPLINE_SURFACE_WITH_KNOTS":
            assert sum(p[8]) == p[1] + len(p[3]) + 1 and sum(p[9]) == p[2] + len(p[3][0]) + 1, f"{path}: knots of a surface"
            assert p[0], f"{path}: a surface without a name"
        if n in ("EDGE_CURVE", "ADVANCED_FACE", "PRODUCT"):
            assert p[0], f"{path}: {n} without a name"
    return len(instances)
