"""Looks for slivers in meshes with a general-purpose mesh library.

A triangle is a sliver when its height is below a fiftieth of its longest side. On a flat face it does no harm; beside a smooth
bend it shows as a scratch and spoils what is measured on the mesh.
usage: slivers.py MESHES...
"""
import os
import sys

import numpy
import trimesh

LEAST = 0.02
# the angle between neighbouring triangles of a bent face: above rounding, below any sharp edge
SMOOTH = numpy.radians([0.05, 20])
# where parts and pieces are cut or holes cross a bend a few are left, and beside a wall's corner strips a tenth of a mm wide: as many on a small
# box as on a large one: a part of the demo's box of 250 mm has 2.1e-3. They are 0.03 to 0.4 mm high, and a print shows none of them
MOST_SHARE = 3e-3


def slender(m):
    """Height over longest side of every triangle: 0.87 for one of equal sides."""
    longest = numpy.linalg.norm(m.triangles - numpy.roll(m.triangles, -1, axis=1), axis=2).max(axis=1)
    return 2 * m.area_faces / longest**2


def check(path):
    m = trimesh.load(path, force="mesh")
    s = slender(m)
    bent = numpy.zeros(len(m.faces), bool)
    angles = m.face_adjacency_angles
    bent[m.face_adjacency[(angles > SMOOTH[0]) & (angles < SMOOTH[1])].ravel()] = True
    found = bent & (s < LEAST)
    print(f"{os.path.basename(path)}: {len(s)} triangles, median {numpy.median(s):.2f}, {(s < LEAST).sum()} slivers, {found.sum()} of them on bends")
    assert bent.any() or len(s) < 10_000, f"{path}: nothing bends"
    assert found.sum() <= MOST_SHARE * len(s), f"{path}: {found.sum()} slivers where it bends"
    if os.path.basename(path).startswith(("deck", "underside", "mating")):
        assert s.min() > LEAST, f"{path}: a triangle of {s.min():.4f}"


if __name__ == "__main__":
    for path in sys.argv[1:]:
        check(path)
