#!/usr/bin/env python3
"""Exports of the demo captures as pandas 2.3.3 (CSV) and DuckDB 1.4.1 (Parquet and CSV) read them, both from PyPI.

    python3 tests/peers/exported_tables.py --check

Of every table: the same rows in CSV and Parquet, column by column, exact; and against the JSON report of the same capture:
messages, missing intervals, exchanges, offsets, octets and packets of every stream, the fullest second of link and streams,
devices, events, findings. Nothing is stored: both sides are made anew. The program is built first.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

import duckdb
import pandas

ROOT = Path(__file__).resolve().parent.parent.parent
CAPTURES = sorted((ROOT / "captures").glob("playhouse-*")) + [
    ROOT / "captures" / "media" / "media.pcap.gz",
    ROOT / "captures" / "lab" / "peer-delay-ethernet.pcap",
]
KINDS = {"Sync": "sync", "Announce": "announce", "Delay_Req": "delay_req", "Delay_Resp": "delay_resp",
         "Pdelay_Req": "pdelay_req"}
MESSAGES = {"Sync": "sync", "Follow_Up": "follow_up", "Delay_Req": "delay_req", "Delay_Resp": "delay_resp",
            "Pdelay_Req": "pdelay_req", "Pdelay_Resp": "pdelay_resp",
            "Pdelay_Resp_Follow_Up": "pdelay_resp_follow_up", "Announce": "announce", "Signaling": "signaling",
            "Management": "management"}

checks = 0


def same(what, ours, theirs):
    """Counts a comparison, and ends where it fails."""
    global checks
    checks += 1
    if ours != theirs:
        sys.exit(f"{what}: {ours!r} is not {theirs!r}")


def run(program, *arguments):
    done = subprocess.run([program, *arguments], capture_output=True, check=False)
    if done.returncode not in (0, 1, 3):
        sys.exit(f"{arguments}: {done.stderr.decode()}")
    return done.stdout


def tables(folder, manifest):
    """Every table as rows of plain values, from CSV by pandas; the same from Parquet and CSV by DuckDB."""
    read = {}
    for entry in manifest["files"]:
        if entry["format"] != "csv":
            continue
        kinds = {"integer": "Int64", "number": "float64", "text": "string"}
        types = {column["name"]: kinds[column["kind"]] for column in entry["columns"]}
        frame = pandas.read_csv(folder / entry["file"], dtype=types, keep_default_na=False, na_values=[""],
                                float_precision="round_trip")
        name = entry["table"]
        same(f"{name}: columns", list(frame.columns), [column["name"] for column in entry["columns"]])
        same(f"{name}: rows", len(frame), entry["rows"])
        parquet = duckdb.sql(f"SELECT * FROM read_parquet('{folder / name}.parquet')")
        same(f"{name}: columns of Parquet", parquet.columns, list(frame.columns))
        wanted = {"integer": "BIGINT", "number": "DOUBLE", "text": "VARCHAR"}
        same(f"{name}: types of Parquet", [str(t) for t in parquet.types],
             [wanted[column["kind"]] for column in entry["columns"]])
        rows = [tuple(None if value is pandas.NA or value != value else value for value in row)
                for row in frame.astype(object).where(frame.notna(), None).itertuples(index=False, name=None)]
        others = parquet.fetchall()
        same(f"{name}: rows of Parquet", len(others), len(rows))
        for number, (ours, theirs) in enumerate(zip(rows, others)):
            # CSV alone marks text that could be a formula.
            ours = tuple(v[1:] if isinstance(v, str) and v[:1] == "'" and v[1:2] in tuple("=+-@") else v
                         for v in ours)
            same(f"{name}: row {number}", ours, theirs)
        # DuckDB on its own adds up what it finds in both files.
        for column in entry["columns"]:
            if column["kind"] == "integer" and rows:
                quoted = '"' + column["name"] + '"'
                ask = f"SELECT sum({quoted}::HUGEINT), count({quoted}) FROM "
                both = [duckdb.sql(ask + source).fetchone() for source in (
                    f"read_parquet('{folder / name}.parquet')",
                    f"read_csv('{folder / name}.csv', header=true, all_varchar=true)")]
                same(f"{name}: sum and count of {column['name']}", both[0], both[1])
        frame = pandas.DataFrame(rows, columns=frame.columns, dtype=object)
        read[name] = frame
    return read


def median(values):
    """The lower or the mean of the two in the middle: both are accepted where they differ by less than a nanosecond."""
    ordered = sorted(values)
    middle = len(ordered) // 2
    low = ordered[middle - 1] if len(ordered) % 2 == 0 else ordered[middle]
    return low, ordered[middle]


def scaled(frame, column):
    """Exact values of a pair of columns, ns."""
    whole, over = frame[column + "_ns"], frame[column + "_65536ths"]
    return [Fraction(int(a)) + Fraction(int(b), 65536) for a, b in zip(whole, over) if a is not None]


def fullest(rates, mean_bps):
    """The fullest second; some second holds the mean, though none that begins with a whole one may."""
    return max(int(rates["wire_bps"].max()), mean_bps or 0)


def hold_against_report(read, report, capture):
    same("captures", [(c["packets"], c["octets"]) for c in report["captures"]],
         list(zip(read["captures"]["packets"], read["captures"]["octets"])))
    messages, exchanges, offsets = read["messages"], read["delay-exchanges"], read["offset-samples"]
    for domain in report["domains"]:
        key = domain["key"]
        ours = messages[messages["domain"] == key]
        for kind, name in MESSAGES.items():
            same(f"{capture} {key} {kind}", int((ours["message"] == kind).sum()), domain["messages"][name])
        for clock in domain["clocks"]:
            sent = ours[ours["port"] == f"{clock['clock']}/{clock['port']}"]
            for kind, name in KINDS.items():
                cadence = clock[name]
                of_kind = sent[sent["message"] == kind]
                same(f"{capture} {key} {clock['clock']} {kind}", len(of_kind), cadence["count"] if cadence else 0)
                gaps = [int(gap) for gap in of_kind["interval_ns"] if gap is not None]
                if cadence and cadence["median_s"] is not None and gaps:
                    low, high = median(gaps)
                    # The report keeps intervals of long series by classes of a sixteenth.
                    told = cadence["median_s"] * 1e9
                    same(f"{capture} {key} {kind} median {told} {low} {high}",
                         low * 15 / 16 - 1 <= told <= high * 17 / 16 + 1, True)
        of_domain = exchanges[exchanges["domain"] == key]
        same(f"{capture} {key} exchanges", len(of_domain), domain["answers"]["answered"])
        for requester in domain["requesters"]:
            asked = of_domain[(of_domain["requester"] == requester["port"])
                              & (of_domain["mechanism"] == requester["mechanism"])]
            same(f"{capture} {key} {requester['port']}", len(asked), requester["answered"])
        path = domain["path"]
        if path and path["exchanges"] and not path["stretch"]:
            ours = offsets[(offsets["domain"] == key) & (offsets["port"] == path["port"])]
            same(f"{capture} {key} offsets", len(ours), path["exchanges"])
            for column, name in (("capture_less_port", "offset_ns"), ("mean_path_delay", "mean_path_delay_ns")):
                values = scaled(ours, column)
                low, high = median(values)
                told = path[name]
                same(f"{capture} {key} {name} count", len(values), told["count"])
                same(f"{capture} {key} {name} median", low - 1 <= told["median"] <= high + 1, True)
                same(f"{capture} {key} {name} ends", (abs(min(values) - told["min"]) <= 1,
                                                      abs(max(values) - told["max"]) <= 1), (True, True))
    rates = read["stream-rates"]
    same(f"{capture} streams", list(read["streams"]["stream"]), [stream["key"] for stream in report["streams"]])
    for stream in report["streams"]:
        ours = rates[rates["stream"] == stream["key"]]
        same(f"{capture} {stream['key']}", (int(ours["packets"].sum()), int(ours["wire_octets"].sum())),
             (stream["packets"], stream["octets"]))
        if stream["peak_1s_bps"] is not None:
            same(f"{capture} {stream['key']} peak", fullest(ours, stream["mean_bps"]), stream["peak_1s_bps"])
    link = read["link-rates"]
    same(f"{capture} link", int(link["packets"].sum()), report["span"]["frames"])
    if report["link"]["peak_1s_bps"] is not None:
        same(f"{capture} link peak", fullest(link, report["link"]["mean_bps"]), report["link"]["peak_1s_bps"])
    same(f"{capture} devices", list(zip(read["devices"]["device"], read["devices"]["state"])),
         [(device["key"], device["state"]) for device in report["devices"]])
    same(f"{capture} events", list(zip(read["events"]["kind"], read["events"]["text"])),
         [(event["kind"], event["text"]) for event in report["events"]])
    same(f"{capture} findings", list(zip(read["findings"]["id"], read["findings"]["severity"])),
         [(finding["id"], finding["severity"]) for finding in report["findings"]])
    same(f"{capture} evidence", len(read["evidence"]), sum(len(f["evidence"]) for f in report["findings"]))
    states = read["device-states"]
    same(f"{capture} tenures", int((states["state"] == "leading").sum()),
         sum(len(domain["tenures"]) for domain in report["domains"]))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare; there is nothing else to do")
    parser.parse_args()
    subprocess.run(["cargo", "build", "--locked", "--quiet"], cwd=ROOT, check=True)
    program = ROOT / "target" / "debug" / "downbeat"
    for capture in CAPTURES:
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch) / "export"
            manifest = json.loads(run(program, "export", capture, "--to", folder, "--write", "csv,parquet",
                                      "--format", "json"))
            report = json.loads(run(program, "check", capture, "--format", "json"))
            hold_against_report(tables(folder, manifest), report, capture.name)
    print(f"exported tables: {len(CAPTURES)} captures, {checks} comparisons agree")


if __name__ == "__main__":
    main()
