"""Reads STEP files a second time, with a plain parser of ISO 10303-21 and a spline library (FITPACK's family) that share
nothing with the geometry kernel: every reference resolves, the unit is the millimetre, every B-spline obeys the counting
rule of ISO 10303-42, every edge and wireframe curve carries a name; loops close, edges end in their vertices, and each edge
lies on all its faces: on a plane anywhere, else where its curve in the face's parameters says.
"""
import math

import numpy
from scipy.interpolate import BSpline
from steputils import p21

EDGE_MM = 0.01
# parts of a knot span at whose ends an edge is looked at, and of an edge without knots
SAMPLES = 4
WHOLE_SAMPLES = 32


def refs(value):
    if isinstance(value, p21.Reference):
        yield value
    elif isinstance(value, (list, tuple, p21.ParameterList)):
        for v in value:
            yield from refs(v)


class Geometry:
    """The shapes of a file, evaluated by the spline library."""

    def __init__(self, instances):
        self.instances = instances

    def params(self, ref):
        return self.instances[ref].entity.params

    def name(self, ref):
        return self.instances[ref].entity.name

    def point(self, ref):
        return [float(v) for v in self.params(ref)[1]]

    def curve(self, ref):
        _, degree, points, _, _, _, counts, knots, _ = self.params(ref)
        at = numpy.array([self.point(p) for p in points])
        return BSpline(numpy.repeat([float(k) for k in knots], list(counts)), at, int(degree))

    def placement(self, ref):
        """Origin, x, y and axis of a frame; they are unit vectors square to each other."""
        _, origin, axis, x = self.params(ref)
        origin, axis, x = (numpy.array(self.point(r)) for r in (origin, axis, x))
        assert abs(numpy.linalg.norm(axis) - 1) < 1e-12 and abs(numpy.linalg.norm(x) - 1) < 1e-12 and abs(axis @ x) < 1e-12
        return origin, x, numpy.cross(axis, x), axis

    def line(self, ref):
        """A line by its own parameter."""
        _, origin, vector = self.params(ref)
        _, way, length = self.params(vector)
        origin, way = numpy.array(self.point(origin)), numpy.array(self.point(way))
        assert abs(numpy.linalg.norm(way) - 1) < 1e-12
        return lambda t: origin + numpy.outer(t, way * float(length))

    def edge_curve(self, ref, start, end):
        """The edge's curve by its own parameter, and the parameters to look at from its start to its end."""
        kind = self.name(ref)
        if kind == "LINE":
            length = float(self.params(self.params(ref)[2])[2])
            return self.line(ref), numpy.linspace(0, numpy.linalg.norm(end - start) / length, WHOLE_SAMPLES + 1)
        if kind == "CIRCLE":
            _, frame, radius = self.params(ref)
            origin, x, y, _ = self.placement(frame)
            angle = [math.atan2((p - origin) @ y, (p - origin) @ x) for p in (start, end)]
            sweep = (angle[1] - angle[0]) % (2 * math.pi) or 2 * math.pi
            on = lambda t: origin + float(radius) * (numpy.outer(numpy.cos(t), x) + numpy.outer(numpy.sin(t), y))
            return on, numpy.linspace(angle[0], angle[0] + sweep, WHOLE_SAMPLES + 1)
        c = self.curve(ref)
        knots = numpy.unique(c.t)
        return c, numpy.unique(numpy.concatenate([numpy.linspace(a, b, SAMPLES + 1) for a, b in zip(knots, knots[1:])]))

    def in_face(self, ref, t):
        """Where an edge lies in a face's parameters, at its own parameters `t`."""
        if self.name(ref) == "LINE":
            return self.line(ref)(t)
        flat = self.curve(ref)
        share = (t - t[0]) / (t[-1] - t[0])
        return flat(flat.t[0] + share * (flat.t[-1] - flat.t[0]))

    def surface(self, ref):
        if self.name(ref) == "CYLINDRICAL_SURFACE":
            _, frame, radius = self.params(ref)
            origin, x, y, axis = self.placement(frame)
            return lambda uv: origin + float(radius) * (
                numpy.outer(numpy.cos(uv[:, 0]), x) + numpy.outer(numpy.sin(uv[:, 0]), y)
            ) + numpy.outer(uv[:, 1], axis)
        p = self.params(ref)
        net = numpy.array([[self.point(q) for q in row] for row in p[3]])
        u, v = (numpy.repeat([float(k) for k in p[k]], list(p[m])) for m, k in ((8, 10), (9, 11)))

        def at(uv):
            a = BSpline.design_matrix(clip(uv[:, 0], u), u, int(p[1])).toarray()
            b = BSpline.design_matrix(clip(uv[:, 1], v), v, int(p[2])).toarray()
            return numpy.einsum("ni,nj,ijk->nk", a, b, net)

        return at

    def faces_of_edges(self):
        """The surfaces of the faces that use each edge."""
        out = {}
        for i in list(self.instances.values()):
            if p21.is_simple_entity_instance(i) and i.entity.name == "ADVANCED_FACE":
                _, bounds, surface, _ = i.entity.params
                for bound in bounds:
                    for use in self.params(self.params(bound)[1])[1]:
                        out.setdefault(self.params(use)[3], []).append(surface)
        return out

    def edges(self):
        """Greatest distance of an edge from its faces and its vertices, mm."""
        surfaces, worst, of_edge = {}, 0.0, {}
        faces = self.faces_of_edges()
        for ref in [r for r, i in self.instances.items() if p21.is_simple_entity_instance(i) and i.entity.name == "EDGE_CURVE"]:
            _, start, end, both, _ = self.params(ref)
            shape, pcurves = both, []
            if self.name(both) == "SURFACE_CURVE":
                _, shape, pcurves, _ = self.params(both)
            ends = [numpy.array(self.point(self.params(v)[1])) for v in (start, end)]
            c, t = self.edge_curve(shape, *ends)
            on = c(t)
            for vertex, p in zip(ends, (on[0], on[-1])):
                worst = max(worst, numpy.linalg.norm(vertex - p))
            for face in faces[ref]:
                if self.name(face) == "PLANE":
                    origin, _, _, axis = self.placement(self.params(face)[1])
                    worst = max(worst, abs((on - origin) @ axis).max())
                else:
                    assert face in [self.params(p)[1] for p in pcurves], f"{ref} has no curve in the parameters of {face}"
            for pcurve in pcurves:
                _, surface, representation = self.params(pcurve)
                if surface not in surfaces:
                    surfaces[surface] = self.surface(surface)
                uv = self.in_face(self.params(representation)[1][0], t)
                worst = max(worst, numpy.linalg.norm(surfaces[surface](uv) - on, axis=1).max())
            of_edge[ref] = (start, end)
        return worst, of_edge

    def loops_close(self, of_edge):
        for i in list(self.instances.values()):
            if not p21.is_simple_entity_instance(i) or i.entity.name != "EDGE_LOOP":
                continue
            ends = []
            for use in i.entity.params[1]:
                _, _, _, edge, forward = self.params(use)
                ends.append(of_edge[edge] if str(forward) == ".T." else of_edge[edge][::-1])
            assert all(a[1] == b[0] for a, b in zip(ends, ends[1:] + ends[:1])), "a loop is not closed"


def clip(values, knots):
    return numpy.clip(values, knots[0], knots[-1])


def inspect(path):
    """Number of entities and the edges' greatest distance from their faces in mm; raises for a file that is not sound."""
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
        if n in ("EDGE_CURVE", "ADVANCED_FACE", "PRODUCT", "LINE", "CIRCLE", "PLANE", "CYLINDRICAL_SURFACE"):
            assert p[0], f"{path}: {n} without a name"
    shapes = Geometry(instances)
    worst, of_edge = shapes.edges()
    shapes.loops_close(of_edge)
    assert worst <= EDGE_MM, f"{path}: an edge lies {worst:.4f} mm off its face or vertex"
    return len(instances), worst
