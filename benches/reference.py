"""The benchmark's stages beside the same work by general-purpose libraries, and beside what limits each: python benches/reference.py

Runs the compiled `benches/stages.rs` and the libraries (benches/requirements.txt) one after another, and prints one table. All
times are processor times, which other work on the machine disturbs less. A ratio above 1 says that faydeck takes less. The
libraries do a part of what the stage does, which is named beside the figure; the limit is the least that the same bytes ask for.
"""
import io
import json
import resource
import subprocess
import time
import zlib

import cv2
import numpy as np
import trimesh
from scipy.interpolate import LSQBivariateSpline
from scipy.spatial import cKDTree

# a stage is repeated until about this many points have gone through, or this many times
POINTS_IN_ALL, REPEATS = 6_000_000, 60


def benchmark():
    """The compiled benchmark."""
    told = subprocess.run(
        ["cargo", "bench", "--bench", "stages", "--no-run", "--message-format=json"], check=True, text=True, stdout=subprocess.PIPE
    ).stdout
    made = [m for m in map(json.loads, told.splitlines()) if m.get("executable")]
    return next(m["executable"] for m in made if m["target"]["name"] == "stages")


def stage_seconds(program, stage, n):
    """One run of a stage: the difference between many runs and one, so that what is made ready for them falls out."""

    def of(samples):
        name = f"stages::{stage}" + (f"::{n}" if n else "")
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        words = [program, "--bench", "--exact", name, "--sample-size", "1", "--sample-count", str(samples)]
        told = subprocess.run(words, check=True, text=True, stdout=subprocess.PIPE).stdout
        assert f"{samples} " in told.replace("│", " "), f"{name} did not run:\n{told}"
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    more = max(2, min(REPEATS, POINTS_IN_ALL // n)) if n else 4
    return (of(1 + more) - of(1)) / more


def seconds(work, repeat=3):
    """The median of a library's processor times."""
    found = []
    for _ in range(repeat):
        begun = time.process_time()
        work()
        found.append(time.process_time() - begun)
    return sorted(found)[repeat // 2]


def points(n):
    r = np.random.default_rng(1)
    x, y = r.uniform(-400, 400, n), r.uniform(-100, 100, n)
    return np.column_stack([x, y, 10 * np.cos(x / 200) - (y / 40) ** 2 + r.normal(0, 0.4, n)])


def ply(n):
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {n}\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
    return head.encode() + points(n).astype("<f4").tobytes()


def reading(kind, data):
    return lambda: trimesh.load(io.BytesIO(data), file_type=kind)


def copying(n, to):
    """Coordinates of `n` points from one size of number to the other: memory bandwidth."""
    a = np.ones(3 * n, "f4" if to == "f8" else "f8")
    return lambda: a.astype(to)


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


def cases():
    """Stage, points, library's name and work or nothing, limit's name and work or nothing."""
    widen, floats = "memory: the coordinates widened to 64 bits", lambda n: copying(n, "f8")
    for n in (10_000, 100_000, 1_000_000, 10_000_000, 30_000_000):
        yield "read_ply", n, "trimesh", reading("ply", ply(n)), widen, floats(n)
    for n in (10_000, 100_000, 1_000_000):
        p = points(n)
        t = np.column_stack([np.arange(n - 2), np.arange(1, n - 1), np.arange(2, n)])
        stl = trimesh.Trimesh(p, t, process=False).export(file_type="stl")
        yield "read_stl", n, "trimesh, corners joined", reading("stl", stl), "memory: the corners widened", floats(3 * n)
        out = io.StringIO()
        np.savetxt(out, p, fmt="%.6f")
        text = out.getvalue()
        loaded = lambda: np.loadtxt(io.StringIO(text))
        yield "read_text", n, "numpy.loadtxt", loaded, "decoding: strtod over the text", lambda: np.fromstring(text, sep=" ")
    parted = lambda: normals(points(25_000))
    for n in (10_000, 100_000, 1_000_000, 10_000_000, 30_000_000):
        library = ("scipy: neighbours and plane fits of 25,000 points", parted) if n in (100_000, 1_000_000) else (None, None)
        a = np.ones((n, 3))
        yield "isolate", n, *library, "memory: the points copied", a.copy
    p = points(30_000)
    knots = np.linspace(-400, 400, 46)[1:-1], np.linspace(-100, 100, 13)[1:-1]
    solved = lambda: LSQBivariateSpline(*p.T, *knots)
    yield "fit", None, "scipy: one least-squares spline, no smoothing", solved, None, None
    jpeg = photo()
    decoded = lambda: cv2.imdecode(jpeg, cv2.IMREAD_COLOR)
    split = "OpenCV: decoding, GrabCut and border, of 3 megapixels"
    yield "outline_from_photo", None, split, lambda: outline(jpeg), "decoding: the JPEG by OpenCV", decoded
    deck, rim = height_field(200, 60), points(5000) + [0, 0, 2]
    nearest = lambda: trimesh.proximity.closest_point(deck, rim)
    yield "gap", None, "trimesh: nearest places of 5,000 points on 24,000 triangles", nearest, None, None
    solid = height_field(250, 60)
    flat = solid.export(file_type="stl")
    packed = "deflate: zlib over the 1.5 MB of those triangles"
    yield "export", None, "trimesh: STL, PLY and 3MF of 30,000 triangles", lambda: exports(solid), packed, lambda: zlib.compress(flat)
    for n in (100_000, 1_000_000):
        cloud = trimesh.PointCloud(points(n))
        yield "write_points", n, "trimesh", lambda: cloud.export(file_type="ply"), "memory: the coordinates narrowed", copying(n, "f4")


def main():
    program = benchmark()
    print("| stage | points | faydeck s | ns a point | library s | ratio | library | limit s | times the limit | limit |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for stage, n, library, theirs, limit, least in cases():
        ours = stage_seconds(program, stage, n)
        row = [stage, f"{n:,}" if n else "", f"{ours:.3g}", f"{ours / n * 1e9:.3g}" if n else ""]
        for name, work in ((library, theirs), (limit, least)):
            s = seconds(work) if work else None
            factor = None if s is None else s / ours if name == library else ours / s
            row += [f"{s:.3g}", f"{factor:.2g}", name] if work else ["", "", ""]
        print("| " + " | ".join(row) + " |", flush=True)


main()
