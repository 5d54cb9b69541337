#!/usr/bin/env python3
"""Every committed capture frame by frame, as scapy 2.8.0 and dpkt 1.9.8 (both from PyPI) read it, against our tables.

    python3 tests/peers/capture_frames.py --check

Of each capture: its frames, their octets, first and last stamp (scapy); its frames, and of each flow of UDP the packets (dpkt).
Of each PTP message by number of frame: version, kind, domain, sender, sequence number, declared interval and stamp (scapy, which
finds UDP and the message; version 1, which it does not model, is taken apart here by IEEE 1588-2002 clause 8, from memory). What
scapy finds and our table lacks must be a copy by a mirror, octet for octet, and as many as the report counts.

Captures of more than 20,000 frames go through dpkt and scapy's reader whole; every fourth frame of them is dissected by scapy, so
that all of it takes well under a minute. Captures beside the project (../shared/captures) take part where they are there.

Nothing is stored. That the comparison can fail is shown each time: our side is changed by one number at a time, and each such
change has to be found. The program is built first.
"""

import argparse
import csv
import gzip
import json
import re
import subprocess
import sys
import tempfile
from collections import Counter
from ipaddress import ip_address
from pathlib import Path

import dpkt
import scapy
from scapy.contrib.ptp_v2 import PTP
from scapy.layers.inet import UDP
from scapy.layers.l2 import Dot1Q, Ether
from scapy.utils import RawPcapReader

VERSIONS = {"scapy": "2.8.0", "dpkt": "1.9.8"}
ROOT = Path(__file__).resolve().parent.parent.parent
FOLDERS = [ROOT / "captures", ROOT / "captures" / "lab", ROOT / "captures" / "media", ROOT / "tests" / "data",
           ROOT.parent / "shared" / "captures"]
LARGE, EVERY = 20_000, 4
ETHERTYPE, PORTS = 0x88F7, (319, 320)
KINDS = {0: "Sync", 1: "Delay_Req", 2: "Pdelay_Req", 3: "Pdelay_Resp", 8: "Follow_Up", 9: "Delay_Resp",
         0xA: "Pdelay_Resp_Follow_Up", 0xB: "Announce", 0xC: "Signaling", 0xD: "Management"}
V1_KINDS = {0: "Sync", 1: "Delay_Req", 2: "Follow_Up", 3: "Delay_Resp", 4: "Management"}
NOT_GIVEN = 0x7F
# A mirror's copy comes at once (chosen; ours looks back less far).
COPY_NS = 1_000_000_000


class Differs(Exception):
    """What ours and theirs do not agree on."""


checks = 0


def same(name, what, ours, theirs):
    global checks
    checks += 1
    if ours != theirs:
        raise Differs(f"{name}: {' '.join(str(part) for part in what)}: {ours!r} is not {theirs!r}")


def opened(capture):
    return gzip.open(capture) if capture.suffix == ".gz" else open(capture, "rb")


def signed(octet):
    return octet - 256 if octet > 127 else octet


def v1_message(octets):
    """Version 1: subdomain 4..20, sourceUuid 22..28, sourcePortId 28..30, sequenceId 30..32, control 32."""
    kind = V1_KINDS[octets[32]]
    # Of a Delay_Resp, our table gives the number of the request, requestingSourceSequenceId.
    at = 58 if kind == "Delay_Resp" else 30
    return {"version": 1, "message": kind, "domain": octets[4:20].rstrip(b"\0").decode("ascii"),
            "port": f"{octets[22:28].hex(':')}/{int.from_bytes(octets[28:30], 'big')}",
            "sequence_id": int.from_bytes(octets[at:at + 2], "big"), "log_interval": None}


def v2_message(octets):
    read = PTP(octets)
    interval = signed(read.logMessageInterval & 0xFF)
    identity = read.clockIdentity.to_bytes(8, "big").hex("-")
    return {"version": 2, "message": KINDS[read.messageType], "domain": read.domainNumber,
            "port": f"{identity}/{read.portNumber}", "sequence_id": read.sequenceId,
            "log_interval": None if interval == NOT_GIVEN else interval}


def message(octets):
    """What PTP message a frame holds, as scapy finds it, with the message's octets."""
    frame = Ether(octets)
    inner = frame[Dot1Q] if Dot1Q in frame else frame
    if inner.fields.get("type") == ETHERTYPE:
        payload = bytes(inner.payload)
    elif UDP in frame and frame[UDP].dport in PORTS:
        payload = bytes(frame[UDP].payload)
    else:
        return None
    # versionPTP is the low half of the second octet in both versions.
    read = v1_message(payload) if payload[1] & 0xF == 1 else v2_message(payload)
    return read, payload


def by_scapy(capture):
    frames, octets, stamps, messages, looked_at = 0, 0, [], {}, set()
    with opened(capture) as file:
        reader = RawPcapReader(file)
        total = sum(1 for _ in reader)
    step = EVERY if total > LARGE else 1
    with opened(capture) as file:
        reader = RawPcapReader(file)
        for data, meta in reader:
            frames, octets = frames + 1, octets + meta.wirelen
            if hasattr(meta, "tsresol"):
                stamp = ((meta.tshigh << 32) + meta.tslow) * 10**9 // meta.tsresol
            else:
                stamp = meta.sec * 10**9 + meta.usec * (1 if reader.nano else 1000)
            stamps.append(stamp)
            if frames % step == 0:
                looked_at.add(frames)
                found = message(data)
                if found:
                    messages[frames] = {**found[0], "time_ns": stamp, "octets": found[1]}
    return {"frames": frames, "octets": octets, "first": min(stamps), "last": max(stamps), "messages": messages,
            "looked_at": looked_at}


def by_dpkt(capture):
    frames, flows, ptp = 0, Counter(), 0
    with opened(capture) as file:
        for _, data in dpkt.pcap.UniversalReader(file):
            frames += 1
            frame = dpkt.ethernet.Ethernet(data)
            packet = frame.data
            if frame.type == ETHERTYPE:
                ptp += 1
            elif isinstance(packet, (dpkt.ip.IP, dpkt.ip6.IP6)) and isinstance(packet.data, dpkt.udp.UDP):
                flows[(ip_address(packet.src), ip_address(packet.dst), packet.data.dport)] += 1
                ptp += packet.data.dport in PORTS
    return {"frames": frames, "flows": flows, "ptp": ptp}


def run(program, *arguments):
    done = subprocess.run([program, *arguments], capture_output=True, check=False)
    if done.returncode not in (0, 1, 3):
        sys.exit(f"{arguments}: {done.stderr.decode()}")
    return json.loads(done.stdout)


def number(text):
    return int(text) if text else None


def by_us(program, capture):
    report = run(program, "check", capture, "--format", "json")
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "export"
        run(program, "export", capture, "--to", folder, "--write", "csv", "--format", "json")
        with open(folder / "messages.csv", encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        with open(folder / "captures.csv", encoding="utf-8", newline="") as file:
            (whole,) = csv.DictReader(file)
    messages = {}
    for row in rows:
        key = re.fullmatch(r"v(\d) (?:sdo 0x\w+ )?(?:domain )?(\S+)(?: vlan \d+)?", row["domain"])
        version = int(key[1])
        messages[int(row["frame"])] = {
            "version": version, "message": row["message"], "domain": key[2] if version == 1 else int(key[2]),
            "port": row["port"].lower(), "sequence_id": int(row["sequence_id"]),
            "log_interval": number(row["log_interval"]) if version == 2 else None, "time_ns": int(row["time_ns"])}
    flows = Counter()
    for stream in report["streams"]:
        group = ip_address(stream["group"])
        flows[(ip_address(stream["source_ip"]), group, stream["port"])] += stream["packets"]
    return {"frames": int(whole["packets"]), "octets": int(whole["octets"]), "first": int(whole["first_ns"]),
            "last": int(whole["last_ns"]), "messages": messages, "flows": flows, "rows": len(rows),
            "ptp": report["span"]["ptp_messages"], "copies": report["span"]["mirror_copies"],
            "kinds": Counter({kind: sum(domain["messages"][kind.lower()] for domain in report["domains"])
                              for kind in KINDS.values()})}


def hold(name, ours, theirs, others):
    """Ours against scapy's and dpkt's."""
    for key in ("frames", "octets", "first", "last"):
        same(name, (key,), ours[key], theirs[key])
    same(name, ("frames by dpkt",), ours["frames"], others["frames"])
    same(name, ("PTP messages by dpkt",), ours["ptp"], others["ptp"])
    same(name, ("messages told once a frame",), ours["rows"], len(ours["messages"]))
    same(name, ("messages told",), ours["rows"] + ours["copies"], ours["ptp"])
    for flow, packets in ours["flows"].items():
        same(name, ("packets by dpkt", *flow), packets, others["flows"][flow])
    for flow, packets in others["flows"].items():
        if flow[1].is_multicast and flow[2] not in PORTS:
            same(name, ("packets to a group by dpkt", *flow), ours["flows"][flow], packets)
    copies, before = 0, {}
    for frame, theirs_of_it in theirs["messages"].items():
        octets, stamp = theirs_of_it["octets"], theirs_of_it["time_ns"]
        ours_of_it = ours["messages"].get(frame)
        if ours_of_it is None:
            copies += 1
            same(name, ("frame", frame, "is a copy"), stamp - before.get(octets, -COPY_NS) < COPY_NS, True)
        else:
            for key, value in ours_of_it.items():
                same(name, ("frame", frame, key), value, theirs_of_it[key])
        before[octets] = stamp
    without = [frame for frame in ours["messages"] if frame in theirs["looked_at"] and frame not in theirs["messages"]]
    same(name, ("frames with PTP by us alone",), without, [])
    if len(theirs["looked_at"]) == theirs["frames"]:
        same(name, ("copies",), ours["copies"], copies)
        same(name, ("kinds",), +ours["kinds"], Counter(read["message"] for read in theirs["messages"].values()))


def changes(ours):
    """Ours with one number changed, each in its turn, and what was changed."""
    for key in ("frames", "octets", "first", "last", "ptp"):
        yield key, {**ours, key: ours[key] + 1}
    if ours["flows"]:
        flow = sorted(ours["flows"])[len(ours["flows"]) // 2]
        yield f"packets of {flow}", {**ours, "flows": ours["flows"] + Counter([flow])}
        yield f"{flow} left out", {**ours, "flows": Counter({k: v for k, v in ours["flows"].items() if k != flow})}
    if ours["messages"]:
        frames = sorted(ours["messages"])
        middle = frames[len(frames) // 2]
        for key, value in ours["messages"][middle].items():
            # The interval may be absent, names are of letters.
            changed = value + 1 if isinstance(value, int) else 5 if value is None else value + "1"
            with_it = {**ours["messages"], middle: {**ours["messages"][middle], key: changed}}
            yield f"{key} of frame {middle}", {**ours, "messages": with_it}
        less = {frame: row for frame, row in ours["messages"].items() if frame != middle}
        yield f"frame {middle} left out", {**ours, "messages": less, "rows": len(less)}
        kind = ours["messages"][middle]["message"]
        yield f"count of {kind}", {**ours, "kinds": ours["kinds"] + Counter([kind])}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="compare; there is nothing else to do")
    parser.parse_args()
    here = {"scapy": scapy.__version__, "dpkt": dpkt.__version__}
    if here != VERSIONS:
        sys.exit(f"{VERSIONS} are wanted, {here} are here")
    subprocess.run(["cargo", "build", "--locked", "--quiet"], cwd=ROOT, check=True)
    program = ROOT / "target" / "debug" / "downbeat"
    captures = sorted(file for folder in FOLDERS for file in folder.glob("*.pcap*"))
    frames, messages, found = 0, 0, 0
    for capture in captures:
        ours, theirs, others = by_us(program, capture), by_scapy(capture), by_dpkt(capture)
        try:
            hold(capture.name, ours, theirs, others)
        except Differs as difference:
            sys.exit(str(difference))
        frames, messages = frames + ours["frames"], messages + len(theirs["messages"])
        for what, changed in changes(ours):
            try:
                hold(capture.name, changed, theirs, others)
            except Differs:
                found += 1
            else:
                sys.exit(f"{capture.name}: {what} was changed, and nobody noticed")
    print(f"{len(captures)} captures, {frames} frames, {messages} PTP messages: {checks} comparisons agree, "
          f"and each of {found} changed numbers is found")


if __name__ == "__main__":
    main()
