#!/usr/bin/env python3
"""Holds a report.json against schema/report.schema.json with a general-purpose validator.

usage: check_report.py REPORT.json ..."""
import json
import pathlib
import sys

import jsonschema

schema = json.loads((pathlib.Path(__file__).parent.parent / "schema" / "report.schema.json").read_text())
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
assert sys.argv[1:], __doc__
for name in sys.argv[1:]:
    faults = [f"{e.json_path}: {e.message}" for e in validator.iter_errors(json.loads(pathlib.Path(name).read_text()))]
    assert not faults, "\n".join([name, *faults])
    print(f"{name}: as its schema says")
