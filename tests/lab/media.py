#!/usr/bin/env python3
"""Captures real media senders and receivers behind a bridge that snoops and queries. See README.md."""

import sys

sys.dont_write_bytecode = True

import argparse
import gzip
import json
import os
import pathlib
import platform
import shutil
import signal
import struct
import subprocess
import tempfile
import time

from network import Mirror, Network, call

NEEDED = ("ip", "bridge", "ethtool", "nft", "tcpdump", "ffmpeg", "gst-launch-1.0")
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
BRIDGE = "br0"
SWITCH = "192.168.22.1"
# Seconds; a real querier asks every 125 s (RFC 3376 section 8.2), too slow for a short capture.
QUERY_INTERVAL, RESPONSE_INTERVAL = 10, 5
LENGTH_S = 32
# One packet of so many of the audio is lost on its way into the bridge, beginning with this one.
LOST_OF, LOST_FIRST = 97, 50
# Octets that are kept of media frames: as far as into the payload headers.
SNAP = 68

AUDIO, PICTURE, RAW, HEVC = (f"239.20.{number}.1" for number in range(1, 5))
# Node: number in addresses, and what it sends, if anything.
PLAYER = ("gst-launch-1.0 -q audiotestsrc is-live=true samplesperbuffer=48 num-buffers=22000 ! "
          "audio/x-raw,format=S24BE,rate=48000,channels=2 ! rtpL24pay pt=97 mtu=1400 min-ptime=1000000 "
          f"max-ptime=1000000 ! udpsink host={AUDIO} port=5004 ttl-mc=15 qos-dscp=34 auto-multicast=false")
CAMERA = ("ffmpeg -nostdin -loglevel error -re -f lavfi -i testsrc=size=320x180:rate=25 -t 22 -c:v libx264 "
          "-preset ultrafast -tune zerolatency -g 25 -b:v 300k -f sap "
          f"sap://{PICTURE}:5006?announce_addr=239.255.255.255&ttl=15")
STORE = ("ffmpeg -nostdin -loglevel error -re -f lavfi -i testsrc=size=160x90:rate=25 -t 22 -c:v libx265 "
         "-preset ultrafast -x265-params log-level=none -g 25 -b:v 100k -f rtp "
         f"rtp://{HEVC}:5010?ttl=15&pkt_size=600")
ENCODER = ("gst-launch-1.0 -q videotestsrc is-live=true num-buffers=110 ! "
           "video/x-raw,format=UYVY,width=320,height=64,framerate=5/1 ! rtpvrawpay pt=98 mtu=1000 ! "
           f"udpsink host={RAW} port=5008 ttl-mc=15 auto-multicast=false")
NODES = {"player": (11, PLAYER), "camera": (12, CAMERA), "encoder": (13, ENCODER), "store": (14, STORE),
         "desk": (21, None), "display": (22, None), "recorder": (23, None)}
# At which second who joins or leaves what.
STEPS = [(2, "desk", "join", AUDIO), (2, "display", "join", PICTURE), (8, "recorder", "join", AUDIO),
         (9, "recorder", "join", RAW), (15, "desk", "leave", AUDIO), (20, "display", "join", AUDIO),
         (24, "recorder", "leave", AUDIO)]
SENDERS_START = 3
MDB_AT = (14, 19, 23, 29)
PORTS = {AUDIO: 5004, PICTURE: 5006, RAW: 5008, HEVC: 5010}


class SnoopingNetwork(Network):
    """A bridge that passes groups on to members only, and asks for them itself."""

    def bridge(self, name):
        call("ip", "-n", self.switch, "link", "add", name, "address", "02:00:5e:20:00:fe", "type", "bridge",
             "stp_state", "0", "mcast_snooping", "1", "mcast_querier", "1", "mcast_igmp_version", "3",
             "mcast_query_use_ifaddr", "1", "mcast_query_interval", str(QUERY_INTERVAL * 100),
             "mcast_query_response_interval", str(RESPONSE_INTERVAL * 100),
             "mcast_startup_query_interval", str(QUERY_INTERVAL * 100))
        call("ip", "-n", self.switch, "address", "add", f"{SWITCH}/24", "dev", name)
        call("ip", "-n", self.switch, "link", "set", name, "promisc", "on", "up")

    def lose(self, port):
        """Drops one in LOST_OF of what comes in for the audio port, and counts it."""
        rules = (f'table bridge lossy {{ chain in {{ type filter hook prerouting priority 0; '
                 f'iifname "{port}" udp dport 5004 numgen inc mod {LOST_OF} {LOST_FIRST} counter drop; }}; }}')
        subprocess.run(["ip", "netns", "exec", self.switch, "nft", "-f", "-"],
                       input=rules, text=True, check=True, timeout=20)

    def lost(self):
        """How many packets `lose` has dropped."""
        rules = json.loads(call("ip", "netns", "exec", self.switch, "nft", "-j", "list", "table", "bridge", "lossy"))
        counters = [part["counter"]["packets"] for entry in rules["nftables"] if "rule" in entry
                    for part in entry["rule"]["expr"] if "counter" in part]
        return sum(counters)

    def members(self, hosts):
        """What the bridge holds: node names by group."""
        entries = json.loads(call("bridge", "-n", self.switch, "-j", "mdb", "show"))[0]["mdb"]
        held = {}
        for entry in entries:
            if entry["grp"] in PORTS and entry["port"] in hosts:
                held.setdefault(entry["grp"], []).append(hosts[entry["port"]])
        return {group: sorted(names) for group, names in sorted(held.items())}


# Joins and leaves on command, and counts the datagrams of each group while it is a member.
RECEIVER = r"""
import json, select, socket, sys
own, ports = sys.argv[1], json.loads(sys.argv[2])
open_, counts = {}, {}
while True:
    ready, _, _ = select.select([sys.stdin, *open_.values()], [], [])
    for source in ready:
        if source is sys.stdin:
            words = sys.stdin.readline().split()
            if not words:
                print(json.dumps(counts)); sys.exit()
            action, group = words
            if action == "join":
                s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
                s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
                s.bind((group, ports[group]))
                s.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP,
                             socket.inet_aton(group) + socket.inet_aton(own))
                open_[group] = s
                counts.setdefault(group, 0)
            else:
                open_.pop(group).close()
        else:
            source.recv(65536)
            group = next(name for name, each in open_.items() if each is source)
            counts[group] += 1
"""


def address(name):
    return f"192.168.22.{NODES[name][0]}"


def version(*words):
    done = subprocess.run(words, capture_output=True, text=True, timeout=20, check=False)
    return (done.stdout or done.stderr).splitlines()[0]


def build(network):
    network.bridge(BRIDGE)
    hosts, spaces = {}, {}
    for name, (number, _) in NODES.items():
        spaces[name] = network.node(name)
        mac = f"02:00:5e:20:22:{number:02x}"
        network.attach(spaces[name], "eth0", mac, [f"{address(name)}/24"], BRIDGE)
        hosts[f"port{network.ports}"] = name
        call("ip", "-n", spaces[name], "route", "add", "224.0.0.0/4", "dev", "eth0")
    network.lose(next(port for port, name in hosts.items() if name == "player"))
    return hosts, spaces


def play(network, spaces, hosts, path):
    """Everything at its second; returns what receivers, bridge and firewall counted."""
    receivers, senders, done, mdb = {}, [], [], {}
    for name, (_, sends) in NODES.items():
        if sends is None:
            receivers[name] = subprocess.Popen(
                ["ip", "netns", "exec", spaces[name], sys.executable, "-c", RECEIVER, address(name), json.dumps(PORTS)],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
    mirror = Mirror(network, BRIDGE, path, snap="2000")
    began = time.monotonic()
    happenings = [(at, 0, (name, action, group)) for at, name, action, group in STEPS]
    happenings += [(at, 1, None) for at in MDB_AT] + [(SENDERS_START, 2, None)]
    try:
        for at, kind, what in sorted(happenings, key=lambda each: each[:2]):
            time.sleep(max(0.0, began + at - time.monotonic()))
            if kind == 0:
                name, action, group = what
                done.append({"at_ns": time.time_ns(), "node": name, "host": address(name), "action": action,
                             "group": group})
                receivers[name].stdin.write(f"{action} {group}\n")
            elif kind == 1:
                mdb[str(at)] = network.members(hosts)
            else:
                senders = [subprocess.Popen(["ip", "netns", "exec", spaces[name], *sends.split()],
                                            stdout=subprocess.DEVNULL)
                           for name, (_, sends) in NODES.items() if sends]
        time.sleep(max(0.0, began + LENGTH_S - time.monotonic()))
        ended = [sender.poll() for sender in senders]
    finally:
        tcpdump = mirror.close()
        for sender in senders:
            if sender.poll() is None:
                sender.kill()
    counted = {}
    for name, receiver in receivers.items():
        out, _ = receiver.communicate(timeout=10)
        counted[name] = json.loads(out)
    return {"tcpdump": tcpdump, "exit_statuses": ended, "steps": done, "received": counted, "bridge_members": mdb,
            "dropped_by_firewall": network.lost()}


def snap(source, target):
    """Cuts media frames to SNAP octets, as a second tap would, and compresses; the rest stays whole."""
    groups = {bytes(map(int, group.split("."))) for group in PORTS}
    with open(source, "rb") as file, gzip.GzipFile(target, "wb", 9, mtime=0) as out:
        out.write(file.read(24))
        while record := file.read(16):
            seconds, nanos, captured, length = struct.unpack("<IIII", record)
            octets = file.read(captured)
            if octets[12:14] == b"\x08\x00" and octets[23] == 17 and octets[30:34] in groups:
                octets = octets[:SNAP]
            out.write(struct.pack("<IIII", seconds, nanos, len(octets), length) + octets)


def counts(path):
    """What tcpdump counts in the committed file."""
    filters = {group: f"dst {group} and udp port {port}" for group, port in PORTS.items()}
    filters |= {"sap": "udp port 9875", "igmp": "igmp"}
    found = {}
    with tempfile.NamedTemporaryFile(suffix=".pcap") as plain:
        with gzip.open(path) as file:
            shutil.copyfileobj(file, plain)
        plain.flush()
        for name, words in filters.items():
            out = call("tcpdump", "-n", "-r", plain.name, "--count", *words.split())
            found[name] = int(out.split()[0])
    return found


def end_tidily(number, _frame):
    """Turns a signal into an exception, so that every `finally` runs."""
    raise SystemExit(128 + number)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out_dir", type=pathlib.Path, help="where media.pcap.gz and media.json go")
    asked = parser.parse_args()
    missing = [tool for tool in NEEDED if shutil.which(tool) is None]
    if missing or os.geteuid() != 0:
        print(f"needs root and these programs: {' '.join(NEEDED)} (missing: {' '.join(missing) or 'none'})",
              file=sys.stderr)
        return 2
    for number in SIGNALS:
        signal.signal(number, end_tidily)
    asked.out_dir.mkdir(parents=True, exist_ok=True)
    network = SnoopingNetwork(ipv6=False)
    work = tempfile.mkdtemp(prefix="dblab-")
    try:
        network.open()
        hosts, spaces = build(network)
        told = play(network, spaces, hosts, f"{work}/media.pcap")
        snap(f"{work}/media.pcap", asked.out_dir / "media.pcap.gz")
    finally:
        for number in SIGNALS:
            signal.signal(number, signal.SIG_IGN)
        network.close()
        shutil.rmtree(work, ignore_errors=True)
    document = {
        "file": "media.pcap.gz",
        "programs": {"ffmpeg": version("ffmpeg", "-version"), "gstreamer": version("gst-launch-1.0", "--version"),
                     "tcpdump": version("tcpdump", "--version"), "kernel": platform.release()},
        "querier": {"ip": SWITCH, "interval_s": QUERY_INTERVAL, "version": "IGMPv3"},
        "senders": {name: {"ip": address(name), "command": sends} for name, (_, sends) in NODES.items() if sends},
        "lost": {"group": AUDIO, "one_of": LOST_OF, "packets": told.pop("dropped_by_firewall")},
        **told,
        "counted_by_tcpdump": counts(asked.out_dir / "media.pcap.gz"),
    }
    (asked.out_dir / "media.json").write_text(json.dumps(document, indent=1) + "\n", encoding="ascii")
    print(json.dumps(document["counted_by_tcpdump"]), document["lost"], document["exit_statuses"])
    return 0


if __name__ == "__main__":
    sys.exit(main())
