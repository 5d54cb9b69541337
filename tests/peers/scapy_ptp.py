#!/usr/bin/env python3
"""PTPv2 messages as scapy 2.8.0 (scapy.contrib.ptp_v2, from PyPI) builds and reads them.

    python3 tests/peers/scapy_ptp.py            writes tests/data/scapy-ptp-v2.json
    python3 tests/peers/scapy_ptp.py --check    makes it again and compares

Each message is built by scapy from seeded values, then dissected by scapy again; the values written beside
the octets are those of the dissection. tests/integration/scapy_agreement.rs compares them with ours.

scapy 2.8.0 models the header, and the bodies of Sync, Delay_Req, Follow_Up and Announce whole. Of Pdelay_Req,
Pdelay_Resp, Delay_Resp and Pdelay_Resp_Follow_Up it models the timestamp alone: the last ten octets are given
to it as payload and stand apart in the file. Signaling and Management have no body in scapy, so only their
headers would be compared: they are left out, as are the reserved types.
"""

import argparse
import json
import random
import sys
from pathlib import Path

import scapy
from scapy.contrib.ptp_v2 import PTP

VERSION = "2.8.0"
SEED = 15882008
PER_TYPE = 25
OUTPUT = Path(__file__).resolve().parent.parent / "data" / "scapy-ptp-v2.json"

# messageType: its timestamp in scapy's spelling, and the octets that scapy does not model.
TYPES = {
    0x0: ("originTimestamp", 0),
    0x1: ("originTimestamp", 0),
    0x2: ("originTimestamp", 10),
    0x3: ("requestReceiptTimestamp", 10),
    0x8: ("preciseOriginTimestamp", 0),
    0x9: ("receiveTimestamp", 10),
    0xA: ("responseOriginTimestamp", 10),
    0xB: ("originTimestamp", 0),
}

ANNOUNCE = {
    "currentUtcOffset": 16,
    "reserved4": 8,
    "grandmasterPriority1": 8,
    "grandmasterClockClass": 8,
    "grandmasterClockAccuracy": 8,
    "grandmasterClockVariance": 16,
    "grandmasterPriority2": 8,
    "grandmasterIdentity": 64,
    "stepsRemoved": 16,
    "timeSource": 8,
}

HEADER = {
    "transportSpecific": 4,
    "reserved1": 4,
    "domainNumber": 8,
    "reserved2": 8,
    "flags": 16,
    "correctionField": 64,
    "reserved3": 32,
    "clockIdentity": 64,
    "portNumber": 16,
    "sequenceId": 16,
    "controlField": 8,
    "logMessageInterval": 8,
}

HEADER_OCTETS = 34
TIMESTAMP_OCTETS = 10
ANNOUNCE_OCTETS = 20


def bits(random_source, width):
    """A value of `width` bits; the ends of the range come up more often than chance would have it."""
    kind = random_source.randrange(8)
    if kind == 0:
        return 0
    if kind == 1:
        return (1 << width) - 1
    if kind == 2:
        return 1 << (width - 1)
    return random_source.getrandbits(width)


def message(random_source, message_type):
    """One message and what scapy reads in it."""
    stamp, unmodelled = TYPES[message_type]
    values = {name: bits(random_source, width) for name, width in HEADER.items()}
    values["messageType"] = message_type
    values[stamp + "_seconds"] = bits(random_source, 48)
    # Legal nanoseconds only: scapy has no opinion on 10^9 and more.
    values[stamp + "_nanoseconds"] = min(bits(random_source, 32), 999_999_999)
    length = HEADER_OCTETS + TIMESTAMP_OCTETS + unmodelled
    if message_type == 0xB:
        values.update({name: bits(random_source, width) for name, width in ANNOUNCE.items()})
        length += ANNOUNCE_OCTETS
    # Left to itself, scapy counts its own fields and forgets the payload.
    values["messageLength"] = length
    tail = bytes(random_source.getrandbits(8) for _ in range(unmodelled))
    octets = bytes(PTP(**values)) + tail
    if len(octets) != length:
        sys.exit(f"scapy built {len(octets)} octets, {length} expected")
    read = PTP(octets)
    # `read.fields` holds what was in the octets; getfieldval() would add defaults for the other types' fields.
    fields = {field.name: int(read.fields[field.name]) for field in read.fields_desc if field.name in read.fields}
    if bytes(read.payload) != tail:
        sys.exit(f"scapy left {bytes(read.payload).hex()}, {tail.hex()} expected")
    return {"octets": octets.hex(), "fields": fields, "unmodelled": tail.hex()}


def document():
    """The whole file as text, one message a line."""
    random_source = random.Random(SEED)
    messages = [message(random_source, kind) for kind in TYPES for _ in range(PER_TYPE)]
    head = {"made_by": "tests/peers/scapy_ptp.py", "scapy": scapy.__version__, "seed": SEED}
    lines = [f" {json.dumps(name)}: {json.dumps(value)}," for name, value in head.items()]
    rows = ",\n".join("  " + json.dumps(row, separators=(",", ":")) for row in messages)
    return "{\n" + "\n".join(lines) + '\n "messages": [\n' + rows + "\n ]\n}\n"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare with the committed file, write nothing")
    arguments = parser.parse_args()
    if scapy.__version__ != VERSION:
        sys.exit(f"scapy {VERSION} is wanted, {scapy.__version__} is here")
    text = document()
    if not arguments.check:
        OUTPUT.parent.mkdir(parents=True, exist_ok=True)
        OUTPUT.write_text(text, encoding="ascii")
        print(f"{OUTPUT.name}: {len(text)} octets")
    elif OUTPUT.read_text(encoding="ascii") != text:
        sys.exit(f"{OUTPUT.name} differs from what scapy {VERSION} makes with seed {SEED}")
    else:
        print(f"{OUTPUT.name} is what scapy {VERSION} makes with seed {SEED}")


if __name__ == "__main__":
    main()
