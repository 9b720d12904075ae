"""Validates an AsyncAPI document against the published JSON Schema of AsyncAPI: asyncapi.py SCHEMA DOCUMENT"""
import json
import sys

from jsonschema import Draft7Validator

schema, document = (json.load(open(name, encoding="utf-8")) for name in sys.argv[1:3])
assert schema["$schema"] == "http://json-schema.org/draft-07/schema", schema["$schema"]
errors = Draft7Validator(schema).iter_errors(document)
faults = [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:300]}" for error in errors for e in [error, *(error.context or [])]]
print("\n".join(faults) or "valid")
sys.exit(1 if faults else 0)
