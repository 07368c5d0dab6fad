"""Builds a board on A3 and Letter paper too, and re-measures the templates of each.

usage: check_papers.py FAYDECK DEMO_FOLDER
"""
import pathlib
import subprocess
import sys
import tempfile

import check_lines
import check_paper

PAPERS = {"A3": (297, 420), "Letter": (215.9, 279.4)}

assert len(sys.argv) == 3, __doc__
faydeck, demo = sys.argv[1], pathlib.Path(sys.argv[2])
board = (demo / "board.toml").read_text()
for paper, size in PAPERS.items():
    # beside the demo's own board file, whose paths are relative
    with tempfile.NamedTemporaryFile("w", suffix=".toml", dir=demo) as f, tempfile.TemporaryDirectory() as out:
        f.write(f'{board}\n[output]\npaper = "{paper}"\n')
        f.flush()
        only = ["--only", "pdf,svg,report.json,underside.step,sections.step,drill.csv"]
        subprocess.run([faydeck, "build", f.name, "--out", out, "--quiet", *only], check=True, stdout=subprocess.DEVNULL)
        check_paper.check(out, size)
        check_lines.check(out)
    print(f"{paper} is true to size")
