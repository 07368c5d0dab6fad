"""The same work by general-purpose libraries, as ratios: python benches/reference.py STAGES.txt

STAGES.txt is what `cargo bench` printed on the same machine. Packages: benches/requirements.txt. A ratio above 1 says that
faydeck is faster. The libraries do a part of what the stage does, which is named beside the figure.
"""
import io
import re
import sys
import time

import cv2
import numpy as np
import trimesh
from scipy.interpolate import LSQBivariateSpline
from scipy.spatial import cKDTree

UNITS = {"s": 1.0, "ms": 1e-3, "µs": 1e-6, "ns": 1e-9}


def stages(text):
    """Median seconds by stage and number of points, out of the benchmark's table."""
    found, stage = {}, None
    for line in text.splitlines():
        m = re.match(r"^([│ ]*)[├╰]─ (\w+)(.*)", line)
        if not m:
            continue
        cells = [c.split() for c in m[3].split("│")]
        times = [float(c[0]) * UNITS[c[1]] for c in cells[:4] if len(c) == 2 and c[1] in UNITS] if len(cells) > 2 else []
        # the first cell holds the fastest
        first = m[3].split("│")[0].split()
        if m[1] == "":
            stage = m[2]
        key = (stage, int(m[2]) if m[2].isdigit() else None)
        if len(first) == 2:
            found[key] = times[2] if len(times) > 2 else times[-1]
    return found


def median(work, repeat=3):
    seconds = []
    for _ in range(repeat):
        begun = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - begun)
    return sorted(seconds)[repeat // 2]


def points(n):
    r = np.random.default_rng(1)
    x, y = r.uniform(-400, 400, n), r.uniform(-100, 100, n)
    return np.column_stack([x, y, 10 * np.cos(x / 200) - (y / 40) ** 2 + r.normal(0, 0.4, n)])


def ply(n):
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {n}\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
    return head.encode() + points(n).astype("<f4").tobytes()


def reading(kind, data):
    return lambda: trimesh.load(io.BytesIO(data), file_type=kind)


def normals(p):
    """Neighbours and plane fits of the thinned cloud, the costliest part of isolation."""
    _, at = cKDTree(p).query(p, 17)
    q = p[at]
    d = q - q.mean(axis=1, keepdims=True)
    np.linalg.eigh(np.einsum("nki,nkj->nij", d, d))


def photo():
    """A photo as the benchmark's: a board's shape on a floor, 2,000 x 1,500 pixels, as JPEG."""
    r = np.random.default_rng(2)
    picture = r.integers(120, 150, (1500, 2000, 3), dtype=np.uint8)
    cv2.ellipse(picture, (1000, 750), (850, 240), 5, 0, 360, (60, 70, 150), -1)
    return cv2.imencode(".jpg", picture)[1]


def outline(jpeg):
    """The board parted from the floor by colour, and its border to a pixel: no camera, no scan."""
    picture = cv2.imdecode(jpeg, cv2.IMREAD_COLOR)
    mask = np.zeros(picture.shape[:2], np.uint8)
    h, w = mask.shape
    cv2.grabCut(picture, mask, (w // 20, h // 20, w * 9 // 10, h * 9 // 10), np.zeros((1, 65)), np.zeros((1, 65)), 2, cv2.GC_INIT_WITH_RECT)
    cv2.findContours((mask & 1), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)


def height_field(nx, ny):
    """A board-like height field as triangles."""
    x, y = np.meshgrid(np.linspace(-400, 400, nx), np.linspace(-100, 100, ny), indexing="ij")
    i = np.arange(nx * ny).reshape(nx, ny)
    a, b, c, d = i[:-1, :-1].ravel(), i[1:, :-1].ravel(), i[1:, 1:].ravel(), i[:-1, 1:].ravel()
    p = np.column_stack([x.ravel(), y.ravel(), (10 * np.cos(x / 200) - (y / 40) ** 2).ravel()])
    return trimesh.Trimesh(p, np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])]), process=False)


def exports(mesh):
    for kind in ("stl", "ply", "3mf"):
        mesh.export(file_type=kind)


def main():
    ours = stages(open(sys.argv[1], encoding="utf-8").read())
    rows = []
    for n in (10_000, 100_000, 1_000_000, 10_000_000):
        rows.append(("read_ply", n, "trimesh", median(reading("ply", ply(n)))))
    for n in (10_000, 100_000, 1_000_000):
        p = points(n)
        t = np.column_stack([np.arange(n - 2), np.arange(1, n - 1), np.arange(2, n)])
        stl = trimesh.Trimesh(p, t, process=False).export(file_type="stl")
        rows.append(("read_stl", n, "trimesh, corners joined", median(reading("stl", stl))))
        text = io.StringIO()
        np.savetxt(text, p, fmt="%.6f")
        rows.append(("read_text", n, "numpy.loadtxt", median(lambda: np.loadtxt(io.StringIO(text.getvalue())), 1)))
    for n in (100_000, 1_000_000):
        rows.append(("isolate", n, "scipy: neighbours and plane fits of 25,000 points", median(lambda: normals(points(25_000)))))
    p = points(30_000)
    knots = np.linspace(-400, 400, 46)[1:-1], np.linspace(-100, 100, 13)[1:-1]
    rows.append(("fit", None, "scipy: one least-squares spline, no smoothing", median(lambda: LSQBivariateSpline(*p.T, *knots))))
    jpeg = photo()
    rows.append(("outline_from_photo", None, "OpenCV: decoding, GrabCut and border, of 3 megapixels", median(lambda: outline(jpeg))))
    deck, rim = height_field(200, 60), points(5000) + [0, 0, 2]
    rows.append(("gap", None, "trimesh: nearest places of 5,000 points on 24,000 triangles", median(lambda: trimesh.proximity.closest_point(deck, rim))))
    solid = height_field(250, 60)
    rows.append(("export", None, "trimesh: STL, PLY and 3MF of 30,000 triangles", median(lambda: exports(solid))))
    print("| stage | points | faydeck s | library s | ratio | library |\n|---|---|---|---|---|---|")
    for stage, n, library, theirs in rows:
        mine = ours.get((stage, n))
        if mine:
            print(f"| {stage} | {n or ''} | {mine:.4g} | {theirs:.4g} | {theirs / mine:.2g} | {library} |")


main()
