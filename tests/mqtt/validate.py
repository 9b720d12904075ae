"""Validates messages against an AsyncAPI 3.0 document with jsonschema: validate.py DOCUMENT MESSAGES ANSWERS

ANSWERS is the topic that commands named for their answers. MESSAGES has a topic, a tab and a payload on each line. Each must be described by exactly one channel of the document, and a
member that its schema does not name is a mistake. Prints how many messages each channel had.
"""
import collections
import json
import re
import sys

from jsonschema import Draft7Validator, Draft202012Validator, FormatChecker


def closed(schema):
    if isinstance(schema, dict):
        out = {key: closed(value) for key, value in schema.items()}
        if out.get("type") == "object" and "properties" in out:
            out["additionalProperties"] = False
        return out
    if isinstance(schema, list):
        return [closed(value) for value in schema]
    return schema


document = json.load(open(sys.argv[1], encoding="utf-8"))


def found(reference):
    assert reference.startswith("#/"), reference
    place = document
    for key in reference[2:].split("/"):
        place = place[key]
    return place


def validator(payload):
    if "schemaFormat" in payload:
        assert payload["schemaFormat"] == "application/schema+json;version=draft-2020-12", payload["schemaFormat"]
        schema, kind = closed(payload["schema"]), Draft202012Validator
    else:
        # An AsyncAPI schema is one of draft 7; what an event holds besides its envelope depends on its kind.
        parts = {name: part if name == "Event" or name == "Command" else closed(part) for name, part in document["components"]["schemas"].items()}
        schema, kind = {"allOf": [payload], "components": {"schemas": parts}}, Draft7Validator
    kind.check_schema(schema)
    return kind(schema, format_checker=FormatChecker())


channels = []
for name, channel in document["channels"].items():
    # The channel without an address is that of the answers.
    parts = re.split(r"\{(\w+)\}", channel["address"] or sys.argv[3])
    assert set(parts[1::2]) == set(channel.get("parameters", {})), name
    address = "".join(re.escape(part) if at % 2 == 0 else "[^/]+" for at, part in enumerate(parts))
    (message,) = (found(message["$ref"]) for message in channel["messages"].values())
    channels.append((name, re.compile(address), validator(message["payload"])))

def causes(error):
    """An error and, of alternatives, what was wrong in each."""
    yield error
    for inner in error.context or []:
        yield from causes(inner)


counts, faults = collections.Counter(), []
for number, line in enumerate(open(sys.argv[2], encoding="utf-8").read().splitlines(), 1):
    topic, payload = line.split("\t", 1)
    fitting = [(name, check) for name, address, check in channels if address.fullmatch(topic)]
    if len(fitting) != 1:
        faults.append(f"{number}: {topic}: {len(fitting)} channels describe it")
        continue
    ((name, check),) = fitting
    counts[name] += 1
    if name == "record" and payload == "":
        continue
    try:
        message = json.loads(payload)
    except ValueError as error:
        faults.append(f"{number}: {topic}: {error}")
        continue
    for error in check.iter_errors(message):
        for cause in causes(error):
            faults.append(f"{number}: {topic}: {'/'.join(map(str, cause.absolute_path))}: {cause.message[:300]}")
print("\n".join(faults) or "\n".join(f"{name} {count}" for name, count in sorted(counts.items())))
sys.exit(1 if faults else 0)
