"""Reads OpenMetrics text with the parser of prometheus_client: openmetrics.py FILE; one JSON line a sample."""
import json
import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families

for family in text_string_to_metric_families(open(sys.argv[1], encoding="utf-8").read()):
    for sample in family.samples:
        print(json.dumps({"family": family.name, "type": family.type, "unit": family.unit, "name": sample.name, "labels": sample.labels, "value": sample.value}))
