"""Counts the PTP messages of a capture from its octets alone, apart from any other decoder.

Layouts: pcap file header, Ethernet II, IPv4 (RFC 791, section 3.1), IPv6 (RFC 8200, section 3), UDP (RFC 768),
PTP header (IEEE 1588-2008 13.3, from memory; agrees with what tcpdump 4.99.3 prints for these files).
"""

import struct

TYPES = {0: "sync", 1: "delay_req", 2: "pdelay_req", 3: "pdelay_resp", 8: "follow_up", 9: "delay_resp",
         10: "pdelay_resp_follow_up", 11: "announce", 12: "signaling", 13: "management"}
NANOSECOND_MAGIC = 0xA1B23C4D


def frames(path):
    """Yields (time in ns, octets) of a little-endian nanosecond pcap file."""
    with open(path, "rb") as file:
        header = file.read(24)
        magic, _, _, _, _, _, link = struct.unpack("<IHHiIII", header)
        if magic != NANOSECOND_MAGIC or link != 1:
            raise ValueError(f"{path}: not a nanosecond Ethernet pcap")
        while record := file.read(16):
            seconds, nanos, captured, length = struct.unpack("<IIII", record)
            if captured != length:
                raise ValueError(f"{path}: a frame is cut")
            yield seconds * 1_000_000_000 + nanos, file.read(captured)


def ptp_payload(frame):
    """(transport, PTP octets) of a frame, or None."""
    ethertype = int.from_bytes(frame[12:14], "big")
    if ethertype == 0x88F7:
        return "ethernet", frame[14:]
    if ethertype == 0x0800 and frame[23] == 17:
        start, transport = 14 + (frame[14] & 15) * 4, "udp4"
    elif ethertype == 0x86DD and frame[20] == 17:
        start, transport = 54, "udp6"
    else:
        return None
    if int.from_bytes(frame[start + 2:start + 4], "big") not in (319, 320):
        return None
    return transport, frame[start + 8:]


def count(path):
    """Frames, times and messages: per domain and type, and per source MAC address, domain and type."""
    total, other, first, last = 0, 0, None, None
    domains, sources, transports, versions = {}, {}, set(), set()
    for at, frame in frames(path):
        total += 1
        first = at if first is None else first
        last = at
        found = ptp_payload(frame)
        if found is None:
            other += 1
            continue
        transport, ptp = found
        kind, domain = TYPES.get(ptp[0] & 15, "reserved"), str(ptp[4])
        transports.add(transport)
        versions.add(f"{ptp[1] & 15}.{ptp[1] >> 4}")
        mac = frame[6:12].hex(":")
        for table in (domains.setdefault(domain, {}),
                      sources.setdefault(mac, {}).setdefault(domain, {})):
            table[kind] = table.get(kind, 0) + 1
    return {"frames": total, "other_frames": other, "first_ns": first, "last_ns": last,
            "transports": sorted(transports), "ptp_versions": sorted(versions),
            "messages": {k: dict(sorted(v.items())) for k, v in sorted(domains.items())},
            "messages_by_source": {m: {d: dict(sorted(t.items())) for d, t in sorted(v.items())}
                                   for m, v in sorted(sources.items())}}
