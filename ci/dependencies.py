#!/usr/bin/env python3
"""Every dependency of Cargo.toml is used by the sources it is for: python ci/dependencies.py"""
import pathlib
import re
import sys
import tomllib

ROOT = pathlib.Path(__file__).resolve().parent.parent
# names under which crates are used that are not their package's
NAMES = {"kamadak-exif": "exif"}


def sources(*folders):
    files = (p for f in folders for p in (ROOT / f).rglob("*.rs"))
    return "\n".join(p.read_text() for p in files)


manifest = tomllib.loads((ROOT / "Cargo.toml").read_text())
unused = []
for table, folders in [("dependencies", ["src"]), ("dev-dependencies", ["src", "tests", "benches", "examples"])]:
    text = sources(*folders)
    for package in manifest[table]:
        name = NAMES.get(package, package).replace("-", "_")
        if not re.search(rf"\b{name}::|\buse {name}\b", text):
            unused.append(f"{package} in [{table}]")
if unused:
    sys.exit("no source uses " + ", ".join(unused))
print(f"all {len(manifest['dependencies'])} dependencies are used")
