"""Gives a build's STEP files to a second, independent geometry kernel (ci/second_kernel) and exits non-zero when one is refused.

Volumes are those of report.json, or of the first kernel where it states none. Planes and cylinders are read back as such, and every
hole of drill.csv is found by its diameter and axis.
usage: check_second.py FOLDER
"""
import glob
import json
import os
import re
import subprocess
import sys
import tempfile

import check_step

# curves alone are no shell
WIRES = "sections.step"
# several shells, one of them open: taken whole, but without a volume
ASSEMBLY = "assembly.step"
# every hole of the list is asked for here
DRILLED = "enclosure.step"

folder = sys.argv[1]
stated = {s["file"]: s["volume_mm3"] for s in json.load(open(os.path.join(folder, "report.json")))["shapes"]}
args = []
for path in sorted(glob.glob(os.path.join(folder, "*.step"))):
    name = os.path.basename(path)
    if name == WIRES:
        continue
    if name == ASSEMBLY:
        # this kernel's parser does not know an apostrophe in a string (ISO 10303-21 doubles it): a board's name may have one
        copy = tempfile.NamedTemporaryFile("w", suffix=".step")
        copy.write(re.sub(r"(?<=\w)''(?=\w)", "", open(path).read()))
        copy.flush()
        path = copy.name
    args.append(path)
    if name != ASSEMBLY:
        volume = stated[name] if name in stated else check_step.inspect(path)[2]
        if volume:
            args.append(str(volume))
    if name == DRILLED:
        args.append(os.path.join(folder, "drill.csv"))
manifest = os.path.join(os.path.dirname(os.path.abspath(__file__)), "second_kernel", "Cargo.toml")
target = os.path.join(os.path.dirname(manifest), "..", "..", "target", "second-kernel")
sys.exit(subprocess.run(["cargo", "run", "--quiet", "--manifest-path", manifest, "--target-dir", target, "--", *args]).returncode)
