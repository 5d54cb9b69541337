#!/usr/bin/env python3
"""Instructions a frame, counted by callgrind on generated captures, against those written down in instructions.txt.

Counts do not depend on what else the machine does, so they tell a change of some per cent where times do not. A short and
a longer capture are counted and their difference taken, so that starting and reporting do not count. `--record` writes
the counts down; without it, a count that has grown by more than a tenth fails.
"""

import os
import re
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
KNOWN = os.path.join(HERE, "instructions.txt")
TARGET = os.path.join(HERE, "..", "target")
KINDS = {"video": ("8M", "40M"), "audio": ("4M", "16M"), "control": ("4M", "16M")}
GROWTH = 1.10


def counted(kind, octets, folder):
    """Instructions, and frames."""
    path = os.path.join(folder, f"{kind}-{octets}.pcap")
    generator = os.path.join(TARGET, "debug", "examples", "generate")
    said = subprocess.run([generator, kind, "--octets", octets, "--out", path], check=True, capture_output=True, text=True)
    frames = int(said.stderr.split()[0])
    tool = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null"]
    program = [os.path.join(TARGET, "release", "downbeat"), "check", "--threads", "1", "--fail-on", "never", path]
    said = subprocess.run(tool + program, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    found = re.search(r"Collected : (\d+)", said.stderr)
    if said.returncode not in (0, 3) or found is None:
        sys.exit(f"{kind}: {said.stderr}")
    return int(found[1]), frames


def a_frame(kind, folder):
    (less, few), (more, many) = (counted(kind, octets, folder) for octets in KINDS[kind])
    return round((more - less) / (many - few))


def known():
    if not os.path.exists(KNOWN):
        return {}
    with open(KNOWN) as file:
        rows = (line.split() for line in file if line.strip() and not line.startswith("#"))
        return {kind: int(count) for kind, count in rows}


def main():
    with tempfile.TemporaryDirectory() as folder:
        now = {kind: a_frame(kind, folder) for kind in KINDS}
    if "--record" in sys.argv[1:]:
        with open(KNOWN, "w") as file:
            file.write("# Instructions a frame on one thread, as instructions.py counts them with the bench profile.\n")
            file.writelines(f"{kind} {count}\n" for kind, count in now.items())
    before = known()
    for kind, count in now.items():
        print(f"{kind}: {count} instructions a frame, {before.get(kind, 'none')} written down")
    grown = [kind for kind, count in now.items() if kind in before and count > before[kind] * GROWTH]
    if grown:
        sys.exit(f"grown by more than a tenth: {', '.join(grown)}; find out why, or --record what is meant to be")


main()
