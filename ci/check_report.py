#!/usr/bin/env python3
"""Holds report.json and gaps.json against schema/*.schema.json with a general-purpose validator.

usage: check_report.py REPORT.json|GAPS.json ..."""
import json
import pathlib
import sys

import jsonschema


def validator(kind):
    schema = json.loads((pathlib.Path(__file__).parent.parent / "schema" / f"{kind}.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


assert sys.argv[1:], __doc__
for path in map(pathlib.Path, sys.argv[1:]):
    against = validator("gaps" if path.stem.endswith("gaps") else "report")
    faults = [f"{e.json_path}: {e.message}" for e in against.iter_errors(json.loads(path.read_text()))]
    assert not faults, "\n".join([str(path), *faults])
    print(f"{path}: as its schema says")
