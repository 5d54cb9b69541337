#!/usr/bin/env python3
"""Stability measures of a seeded series as allantools 2024.06 (from PyPI) computes them.

    python3 tests/peers/allantools_stability.py            writes tests/data/allantools-stability.json
    python3 tests/peers/allantools_stability.py --check    makes it again and compares, numbers to 1e-12

The series is a time error in whole nanoseconds at eight samples a second: a constant, a rate, white noise, a
wandering rate and rare late samples, as a capture of Sync messages shows them. All of it is integer arithmetic
from Python's seeded generator, so it is the same on every machine; the measures are floating point, so --check
leaves them room. tests/integration/allantools_agreement.rs compares them with ours to 1e-9.
"""

import argparse
import json
import random
import sys
from pathlib import Path

import allantools
import numpy

VERSION = "2024.6"
SEED = 10651065
SAMPLES = 1200
RATE_HZ = 8
FACTORS = [1, 2, 3, 4, 8, 10, 16, 32, 64, 100, 128, 256]
OUTPUT = Path(__file__).resolve().parent.parent / "data" / "allantools-stability.json"

MEASURES = {
    "ADEV": allantools.adev,
    "OADEV": allantools.oadev,
    "MDEV": allantools.mdev,
    "TDEV": allantools.tdev,
    "HDEV": allantools.hdev,
    "OHDEV": allantools.ohdev,
    "TOTDEV": allantools.totdev,
    "MTIE": allantools.mtie,
}


def time_error_ns():
    """The series, whole nanoseconds."""
    source = random.Random(SEED)
    rate, value, series = 2500, 40_000_000, []
    for _ in range(SAMPLES):
        rate += source.randrange(-20, 21)
        value += rate // RATE_HZ
        late = source.randrange(5_000, 90_000) if source.randrange(60) == 0 else 0
        series.append(value // 1000 + source.randrange(-400, 401) + late)
    return series


def measured(name, measure, phase_s):
    """Rows [factor, value, terms]; allantools leaves out factors it finds too long."""
    taus = [factor / RATE_HZ for factor in FACTORS]
    used, values, _, terms = measure(phase_s, rate=RATE_HZ, data_type="phase", taus=taus)
    rows = []
    for tau, value, count in zip(used, values, terms):
        factor = round(float(tau) * RATE_HZ)
        if factor not in FACTORS:
            sys.exit(f"{name}: factor {factor} was not asked for")
        rows.append([factor, float(value), int(count)])
    if len(rows) < 8:
        sys.exit(f"{name}: only {len(rows)} factors came back")
    return rows


def document():
    series = time_error_ns()
    phase_s = numpy.array(series, dtype=float) * 1e-9
    return {
        "made_by": "tests/peers/allantools_stability.py",
        "allantools": allantools.__version__,
        "seed": SEED,
        "rate_hz": RATE_HZ,
        "time_error_ns": series,
        "measures": {name: measured(name, measure, phase_s) for name, measure in MEASURES.items()},
    }


def as_text(made):
    """One line a measure."""
    rows = ",\n".join(f"  {json.dumps(name)}: {json.dumps(rows)}" for name, rows in made["measures"].items())
    head = "".join(f" {json.dumps(key)}: {json.dumps(made[key])},\n" for key in made if key != "measures")
    return "{\n" + head + ' "measures": {\n' + rows + "\n }\n}\n"


def same(made, kept):
    if {key: made[key] for key in made if key != "measures"} != {key: kept[key] for key in kept if key != "measures"}:
        return False
    if made["measures"].keys() != kept["measures"].keys():
        return False
    for name, rows in made["measures"].items():
        theirs = kept["measures"][name]
        if [(row[0], row[2]) for row in rows] != [(row[0], row[2]) for row in theirs]:
            return False
        if any(abs(ours[1] - other[1]) > 1e-12 * abs(other[1]) for ours, other in zip(rows, theirs)):
            return False
    return True


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare with the committed file, write nothing")
    arguments = parser.parse_args()
    if allantools.__version__ not in (VERSION, "2024.06"):
        sys.exit(f"allantools {VERSION} is wanted, {allantools.__version__} is here")
    made = document()
    if not arguments.check:
        OUTPUT.write_text(as_text(made), encoding="ascii")
        print(f"{OUTPUT.name}: {len(made['measures'])} measures of {SAMPLES} samples")
    elif not same(made, json.loads(OUTPUT.read_text(encoding="ascii"))):
        sys.exit(f"{OUTPUT.name} differs from what allantools {VERSION} makes with seed {SEED}")
    else:
        print(f"{OUTPUT.name} is what allantools {VERSION} makes with seed {SEED}")


if __name__ == "__main__":
    main()
