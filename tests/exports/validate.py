"""Validates records against the published schema with jsonschema: validate.py SCHEMA RECORDS [strict]

RECORDS has one JSON record a line. With `strict` a field that the schema does not name is a mistake, too.
"""
import json
import sys

from jsonschema import Draft202012Validator, FormatChecker


def closed(schema):
    if isinstance(schema, dict):
        out = {key: closed(value) for key, value in schema.items()}
        if out.get("type") == "object" and "properties" in out:
            out["additionalProperties"] = False
        return out
    if isinstance(schema, list):
        return [closed(value) for value in schema]
    return schema


schema = json.load(open(sys.argv[1], encoding="utf-8"))
Draft202012Validator.check_schema(schema)
if "strict" in sys.argv[3:]:
    schema = closed(schema)
validator = Draft202012Validator(schema, format_checker=FormatChecker())
lines = open(sys.argv[2], encoding="utf-8").read().splitlines()
faults = [
    f"{number}: {'/'.join(map(str, error.path))}: {error.message}"
    for number, line in enumerate(lines, 1)
    for error in validator.iter_errors(json.loads(line))
]
print("\n".join(faults) or f"{len(lines)} valid")
sys.exit(1 if faults or not lines else 0)
