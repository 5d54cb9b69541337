#!/usr/bin/env python3
"""Streams and members of captures/media/media.pcap.gz as scapy 2.8.0 (from PyPI) reads them.

    python3 tests/peers/scapy_streams.py            writes tests/data/scapy-streams.json
    python3 tests/peers/scapy_streams.py --check    counts again and compares

Of each RTP stream: packets, octets on the wire (original length and 24: frame check 4, preamble 8, gap 12; at least 84),
mean and peaks, loss by extended sequence numbers (RFC 3550 appendix A.3), timestamps, marking. Of each host: joins and
leaves in IGMPv3 reports (RFC 3376 section 4.2). Sums are exact integers. tests/integration/media_lab.rs holds our report
against them.
"""

import argparse
import gzip
import json
import sys
from collections import Counter
from pathlib import Path

import scapy
from scapy.contrib.igmpv3 import IGMPv3, IGMPv3mq, IGMPv3mr
from scapy.layers.inet import IP, UDP
from scapy.layers.l2 import Ether
from scapy.layers.rtp import RTP
from scapy.utils import RawPcapReader

VERSION = "2.8.0"
ROOT = Path(__file__).resolve().parent.parent.parent
CAPTURE = ROOT / "captures" / "media" / "media.pcap.gz"
OUTPUT = ROOT / "tests" / "data" / "scapy-streams.json"
PORTS = (5004, 5006, 5008, 5010)
JOINS, LEAVES = 4, 3
WIDTHS = {"peak_1s_bps": 10**9, "peak_100ms_bps": 10**8, "peak_10ms_bps": 10**7, "peak_1ms_bps": 10**6}


class Stream:
    """One RTP stream in the making."""

    def __init__(self):
        self.times, self.sizes, self.sequence, self.stamps = [], [], [], []
        self.payload_types, self.tos, self.ttl, self.markers = set(), set(), set(), 0

    def add(self, at, length, ip, rtp):
        self.times.append(at)
        self.sizes.append(max(length, 60) + 24)
        self.sequence.append(rtp.sequence)
        self.stamps.append(rtp.timestamp)
        self.payload_types.add(rtp.payload_type)
        self.tos.add(ip.tos >> 2)
        self.ttl.add(ip.ttl)
        self.markers += rtp.marker

    def lost(self):
        """Numbers from the first to the highest that never came; and how many came again or late."""
        extended, cycles, highest = [], 0, self.sequence[0]
        for number in self.sequence:
            step = (number - highest) % 65536
            if step < 32768:
                cycles += 65536 if number < highest else 0
                highest = number
                extended.append(cycles + number)
            else:
                extended.append(cycles + number - (65536 if number > highest else 0))
        again = len(extended) - len(set(extended))
        late = sum(after < before for before, after in zip(extended, extended[1:]))
        return max(extended) - extended[0] + 1 - len(set(extended)), again, late

    def document(self):
        lost, again, late = self.lost()
        span = self.times[-1] - self.times[0]
        found = {"packets": len(self.times), "octets": sum(self.sizes), "lost": lost, "duplicated": again,
                 "out_of_order": late, "first_ns": self.times[0], "last_ns": self.times[-1],
                 # Octets after the first packet, over the time they took.
                 "mean_bps": (sum(self.sizes) - self.sizes[0]) * 8 * 10**9 // span,
                 "payload_types": sorted(self.payload_types), "dscp": sorted(self.tos), "ttl": sorted(self.ttl),
                 "markers": self.markers, "timestamps": len(set(self.stamps))}
        for key, width in WIDTHS.items():
            bins = Counter()
            for at, size in zip(self.times, self.sizes):
                bins[at // width] += size
            found[key] = max(bins.values()) * 8 * 10**9 // width
        return found


def members(events, igmp, ip, at):
    """Adds what an IGMPv3 message says to the events."""
    if igmp.haslayer(IGMPv3mq):
        events["queries"].append({"from": ip.src, "at_ns": at, "group": igmp[IGMPv3mq].gaddr})
    if igmp.haslayer(IGMPv3mr):
        for record in igmp[IGMPv3mr].records:
            if record.rtype in (JOINS, LEAVES):
                kind = "joins" if record.rtype == JOINS else "leaves"
                events[kind].append({"host": ip.src, "at_ns": at, "group": record.maddr})


def count():
    streams, frames, link = {}, 0, 0
    events = {"queries": [], "joins": [], "leaves": []}
    with gzip.open(CAPTURE) as file:
        for octets, meta in RawPcapReader(file):
            at, frames = meta.sec * 10**9 + meta.usec, frames + 1
            link += max(meta.wirelen, 60) + 24
            frame = Ether(octets)
            if IP not in frame:
                continue
            ip = frame[IP]
            if ip.proto == 2:
                members(events, IGMPv3(bytes(ip.payload)) if IGMPv3 not in ip else ip, ip, at)
            elif UDP in ip and ip[UDP].dport in PORTS:
                stream = streams.setdefault(f"{ip.dst}:{ip[UDP].dport}", Stream())
                stream.add(at, meta.wirelen, ip, RTP(bytes(ip[UDP].payload)))
    return {"scapy": VERSION, "file": CAPTURE.name, "frames": frames, "octets_on_the_wire": link,
            "streams": {key: stream.document() for key, stream in sorted(streams.items())}, "igmp": events}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare with the committed file")
    asked = parser.parse_args()
    if scapy.__version__ != VERSION:
        print(f"scapy is {scapy.__version__}, not {VERSION}", file=sys.stderr)
        return 2
    text = json.dumps(count(), indent=1) + "\n"
    if asked.check:
        same = OUTPUT.read_text(encoding="ascii") == text
        print(f"{OUTPUT.name}: {'the same' if same else 'differs'}")
        return 0 if same else 1
    OUTPUT.write_text(text, encoding="ascii")
    return 0


if __name__ == "__main__":
    sys.exit(main())
