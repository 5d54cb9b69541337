#!/usr/bin/env python3
"""How fast this project reads captures, against copying them, an empty libpcap loop, and Python libraries.

    cargo build --release && benches/compare.py video.pcap audio.pcap control.pcap

Runs go in turns, each round in another order, so that what else the machine does meets all alike; what is printed are
medians, and medians of each round's ratios. Times are of the whole process; `cpu` is user and system time together, which
says more than the clock where the machine is busy. Files should be in the page cache: a first round is not counted.

`--python` adds dpkt and scapy on the first frames, if they are installed (`pip install dpkt scapy`), as time a frame.
"""

import argparse
import itertools
import os
import shutil
import statistics
import struct
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
DOWNBEAT = os.path.join(HERE, "..", "target", "release", "downbeat")

DPKT = """
import dpkt, sys
with open(sys.argv[1], 'rb') as file:
    for _, octets in dpkt.pcap.Reader(file):
        dpkt.ethernet.Ethernet(octets)
"""
SCAPY = """
import sys
from scapy.utils import PcapReader
for packet in PcapReader(sys.argv[1]):
    pass
"""


def compile_tool(name, folder, libraries=()):
    compiler = shutil.which("cc")
    target = os.path.join(folder, name)
    source = os.path.join(HERE, name + ".c")
    built = compiler and subprocess.run([compiler, "-O2", "-o", target, source, *libraries]).returncode == 0
    return target if built else None


class Launcher:
    """Runs programs from a small process, whose memory a child begins with."""

    def __init__(self, path):
        self.path = path

    def run(self, command):
        said = subprocess.run([self.path, *command], stdout=subprocess.PIPE, check=True, text=True).stdout.split()
        wall, user, system = (float(word) for word in said[:3])
        if int(said[4]) not in (0, 1, 3):
            sys.exit(f"{' '.join(command)}: exit status {said[4]}")
        return wall, user + system, int(said[3])


def rounds(launcher, commands, count):
    """Wall, cpu and memory of each command in each round."""
    taken = {name: [] for name in commands}
    order = list(commands)
    for number in range(count + 1):
        for name in order:
            result = launcher.run(commands[name])
            if number > 0:
                taken[name].append(result)
        order = order[1:] + order[:1]
    return taken


def ratio(taken, one, other, column):
    pairs = zip(taken[one], taken[other])
    return statistics.median(a[column] / b[column] for a, b in pairs if b[column] > 0)


def show(path, taken):
    octets = os.path.getsize(path)
    print(f"\n{os.path.basename(path)}: {octets / 2**30:.2f} GiB")
    print(f"{'':24}{'wall s':>9}{'cpu s':>8}{'MiB':>7}{'GiB/s':>7}{'÷ cat':>8}{'÷ loop':>8}{'cpu ÷ cat':>11}{'cpu ÷ loop':>11}")
    for name in taken:
        wall, cpu, memory = (statistics.median(column) for column in zip(*taken[name]))
        line = f"{name:24}{wall:9.3f}{cpu:8.3f}{memory / 1024:7.1f}{octets / 2**30 / wall:7.2f}"
        for column, other in itertools.product((0, 1), ("cat", "empty loop")):
            known = other in taken and statistics.median(run[column] for run in taken[other]) > 0
            width = 8 if column == 0 else 11
            line += f"{ratio(taken, name, other, column):{width}.2f}" if known else " " * (width - 1) + "-"
        print(line)


def first_frames(path, count, folder):
    """The first frames of a little-endian pcap file, and how many they are."""
    target = os.path.join(folder, "head.pcap")
    with open(path, "rb") as source, open(target, "wb") as out:
        out.write(source.read(24))
        frames = 0
        while frames < count and len(head := source.read(16)) == 16:
            out.write(head + source.read(struct.unpack_from("<I", head, 8)[0]))
            frames += 1
    return target, frames


def show_python(launcher, path, folder):
    for module, program, count in (("dpkt", DPKT, 100_000), ("scapy", SCAPY, 20_000)):
        if subprocess.run([sys.executable, "-c", f"import {module}"], stderr=subprocess.DEVNULL).returncode != 0:
            print(f"{module}: passed over, it is not installed")
            continue
        head, frames = first_frames(path, count, folder)
        nothing = min(launcher.run([sys.executable, "-c", f"import {module}"])[1] for _ in range(3))
        commands = {
            module: [sys.executable, "-c", program, head],
            "1 thread": [DOWNBEAT, "check", "--threads", "1", "--fail-on", "never", head],
        }
        taken = rounds(launcher, commands, 3)
        theirs = statistics.median(run[1] for run in taken[module]) - nothing
        ours = statistics.median(run[1] for run in taken["1 thread"])
        print(f"{module}: {theirs / frames * 1e6:.1f} µs a frame, here {ours / frames * 1e6:.2f} µs, {theirs / ours:.0f} times")


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("captures", nargs="+")
    arguments.add_argument("--rounds", type=int, default=7)
    arguments.add_argument("--threads", type=int, nargs="+", default=[1, 2])
    arguments.add_argument("--python", action="store_true")
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        launcher = compile_tool("launch", folder)
        if launcher is None:
            sys.exit("a C compiler is needed")
        launcher = Launcher(launcher)
        loop = compile_tool("empty_loop", folder, ["-lpcap"])
        if loop is None:
            print("empty loop: passed over, libpcap's headers are not installed")
        for path in given.captures:
            commands = {"cat": ["cat", path]}
            if loop is not None:
                commands["empty loop"] = [loop, path]
            for threads in given.threads:
                name = f"{threads} thread{'s' if threads > 1 else ''}"
                commands[name] = [DOWNBEAT, "check", "--threads", str(threads), "--fail-on", "never", path]
            show(path, rounds(launcher, commands, given.rounds))
            if given.python:
                show_python(launcher, path, folder)


main()
