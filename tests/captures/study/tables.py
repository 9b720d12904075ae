#!/usr/bin/env python3
"""tables.py PROGRAM WORK SEED: replays WORK/traces without and with expected bands and prints the tables of the study.

Main mix: everything but `light_finger` and `lean`, which no single instrument can see. An expected band stands for what a
work order knows: 2 % around a target that is off the part by up to 1 %, one band for each part of the trace.
"""
import json
import math
import os
import random
import subprocess
import sys

from score import q, score_trace

UNSEEN = ("light_finger", "lean")
QUIET = ("quiet_drop", "gentle_lower")


def replay(program, work, truth, bands):
    instruments = {}
    for name, trace in truth.items():
        instruments[name] = dict(trace["instrument"])
        if bands:
            draw = random.Random(name)
            # From here on masses are rounded like targets are: the band knows the part, not its error.
            targets = sorted({round(hold["mass"], 1) for hold in trace["holds"]})
            centres = [target * (1 + draw.uniform(-0.01, 0.01)) for target in targets]
            instruments[name]["expect_g"] = [[0.98 * centre, 1.02 * centre] for centre in centres]
    path = os.path.join(work, "instruments.json")
    with open(path, "w") as file:
        json.dump(instruments, file)
    lines = subprocess.run([program, "replay", "--instruments", path, os.path.join(work, "traces")], check=True, capture_output=True, text=True).stdout
    return {answer["trace"]: answer["events"] for answer in map(json.loads, lines.splitlines())}


def coverage(truth, answers, kinds):
    """Share of right captures whose error is within two standard uncertainties."""
    within = of = 0
    for name, trace in truth.items():
        if not kinds(trace):
            continue
        for event in answers.get(name, []):
            if event["kind"] != "Captured":
                continue
            near = [hold for hold in trace["holds"] if hold["t_touch"] <= event["t"] <= hold["t_off"] + 0.8 and abs(event["value"] - hold["mass"]) <= trace["tol_g"]]
            if near:
                of += 1
                within += abs(event["value"] - near[0]["mass"]) <= 2 * event["u"]
    return 100 * within / max(1, of)


def interval(count):
    """95 % interval of a Poisson mean (Ulm 1990, from the chi-squared distribution, Wilson-Hilferty approximation)."""
    def chi(p_z, k):
        return 0.0 if k == 0 else k * (1 - 2 / (9 * k) + p_z * math.sqrt(2 / (9 * k))) ** 3
    return chi(-1.96, 2 * count) / 2, chi(1.96, 2 * count + 2) / 2


def row(label, truth, answers, kinds):
    results = [score_trace(trace, answers.get(name, [])) for name, trace in truth.items() if kinds(trace)]
    total = lambda key: sum(result[key] for result in results)
    holds = max(1, total("required"))
    times = [time for result in results for time, _ in result["lat"]]
    errors = [abs(error) for result in results for error in result["err"]]
    low, high = (1000 * bound / holds for bound in interval(total("false")))
    quantiles = lambda values, digits: " / ".join(f"{q(values, p):.{digits}f}" for p in (0.5, 0.95, 0.99))
    print(
        f"| {label} | {total('required')} | {1000 * total('false') / holds:.1f} ({low:.1f}-{high:.1f}) | {1000 * total('missed') / holds:.1f} |"
        f" {1000 * total('double') / holds:.1f} | {quantiles(times, 2)} | {quantiles(errors, 3)} | {coverage(truth, answers, kinds):.1f} % |"
    )


def main():
    program, work, seed = sys.argv[1:4]
    truth = json.load(open(os.path.join(work, "traces", "truth.json")))
    print(f"{len(truth)} synthetic traces from seed {seed}; wrong, missed and double per 1000 required holds\n")
    head = "| | holds | wrong (95 %) | missed | double | s after release p50 / p95 / p99 | error g p50 / p95 / p99 | within 2u |\n|--|--|--|--|--|--|--|--|"
    main_mix = lambda trace: trace["kind"] not in UNSEEN
    for label, bands in (("without expectation", False), ("with expected bands", True)):
        answers = replay(program, work, truth, bands)
        print(f"### {label}\n{head}")
        row("main mix", truth, answers, main_mix)
        row("scales", truth, answers, lambda trace: main_mix(trace) and trace["instrument"]["kind"] == "scale")
        row("beams", truth, answers, lambda trace: main_mix(trace) and trace["instrument"]["kind"] == "beam")
        row("quiet", truth, answers, lambda trace: trace["kind"] in QUIET)
        row("hands", truth, answers, lambda trace: trace["kind"] in ("late_release", "hand_touch", "hold_shy"))
        for kind in sorted({trace["kind"] for trace in truth.values()}):
            row(kind, truth, answers, lambda trace, kind=kind: trace["kind"] == kind)
        print()


if __name__ == "__main__":
    main()
