"""Network namespaces, bridges and the mirror: everything made here is removed again by `close`."""

import datetime
import os
import re
import signal
import subprocess
import time

# Multicast to 01-80-C2-00-00-0E (peer delay) is not forwarded by a bridge unless bit 14 of its
# group forward mask is set. Source: IEEE 802.1Q table of reserved addresses (from memory);
# Linux, Documentation/ABI/testing/sysfs-class-net, group_fwd_mask (from memory).
FORWARD_PEER_DELAY = "0x4000"
# Lines of `bridge -timestamp monitor mdb` (iproute2 6.1); entries without a port are the bridge's own.
STAMP = re.compile(r"^Timestamp: (.*) (\d+) usec$")
MEMBER = re.compile(r"^(Deleted )?dev \S+ port (port\d+) grp (\S+)")
# The bridge of a node that asks for group members.
ASKING = "asking"


def call(*words, timeout=20):
    """Runs a command and returns what it printed; a failure carries the command and its own words."""
    done = subprocess.run(words, capture_output=True, text=True, timeout=timeout, check=False)
    if done.returncode != 0:
        raise RuntimeError(f"{' '.join(words)}: {done.stderr.strip() or done.stdout.strip()}")
    return done.stdout


class Network:
    """Bridges in one namespace, one namespace per node, joined by veth pairs."""

    def __init__(self, ipv6):
        self.prefix = f"dblab{os.getpid()}"
        self.ipv6 = ipv6
        self.namespaces = []
        self.switch = None
        self.ports = 0
        self.nodes_by_port = {}

    def open(self):
        """Makes the switch's namespace; apart from `__init__`, so that `close` can undo a half-made one."""
        self.switch = self._namespace("switch")

    def _namespace(self, name):
        full = f"{self.prefix}-{name}"
        self.namespaces.append(full)
        call("ip", "netns", "add", full)
        self._sysctl(full, "net/ipv6/conf/default/accept_dad", "0")
        if name == "switch" or not self.ipv6:
            for scope in ("all", "default"):
                self._sysctl(full, f"net/ipv6/conf/{scope}/disable_ipv6", "1")
        call("ip", "-n", full, "link", "set", "lo", "up")
        return full

    @staticmethod
    def _sysctl(namespace, key, value):
        call("ip", "netns", "exec", namespace, "sh", "-c", f"echo {value} > /proc/sys/{key}")

    def bridge(self, name, snooping=()):
        """A bridge whose own interface sees every frame. It floods multicast, or snoops with the options told."""
        call("ip", "-n", self.switch, "link", "add", name, "address", "02:00:5e:20:00:fe",
             "type", "bridge", "stp_state", "0", "group_fwd_mask", FORWARD_PEER_DELAY,
             *(("mcast_snooping", "1", *snooping) if snooping else ("mcast_snooping", "0")))
        call("ip", "-n", self.switch, "link", "set", name, "promisc", "on", "up")

    def node(self, name):
        """A namespace for one node."""
        return self._namespace(name)

    def attach(self, namespace, interface, mac, addresses, bridge, isolated=False):
        """Joins a node to a bridge; an isolated port does not hear other isolated ports."""
        self.ports += 1
        port = f"port{self.ports}"
        self.nodes_by_port[port] = namespace.removeprefix(f"{self.prefix}-")
        call("ip", "-n", self.switch, "link", "add", port, "type", "veth",
             "peer", "name", interface, "address", mac, "netns", namespace)
        # Without this the captured frames hold half-made UDP checksums.
        call("ip", "netns", "exec", namespace, "ethtool", "-K", interface, "tx", "off")
        call("ip", "-n", self.switch, "link", "set", port, "master", bridge, "up")
        if isolated:
            call("bridge", "-n", self.switch, "link", "set", "dev", port, "isolated", "on")
        for address in addresses:
            nodad = ["nodad"] if ":" in address else []
            call("ip", "-n", namespace, "address", "add", address, "dev", interface, *nodad)
        call("ip", "-n", namespace, "link", "set", interface, "up")

    def querier(self, querier, address, bridge):
        """A bridge of its own that asks for group members, joined to `bridge`."""
        namespace = self._namespace(querier.name)
        self.attach(namespace, querier.link.interface, querier.link.mac, [], bridge)
        hundredths = str(querier.interval_s * 100)
        call("ip", "-n", namespace, "link", "add", ASKING, "address", querier.link.mac, "type", "bridge",
             "stp_state", "0", "mcast_snooping", "1", "mcast_querier", "1", "mcast_igmp_version", "3",
             "mcast_query_use_ifaddr", "1", "mcast_query_interval", hundredths,
             "mcast_query_response_interval", str(querier.response_s * 100),
             "mcast_startup_query_interval", hundredths)
        call("ip", "-n", namespace, "address", "add", address, "dev", ASKING)
        call("ip", "-n", namespace, "link", "set", querier.link.interface, "master", ASKING)
        call("ip", "-n", namespace, "link", "set", ASKING, "up")
        return namespace

    @staticmethod
    def silence(namespace):
        """Ends the asking, and nothing else."""
        call("ip", "-n", namespace, "link", "set", ASKING, "type", "bridge", "mcast_querier", "0")

    def block_event_port(self, namespace):
        """Drops what comes in for the PTP event port, and counts it."""
        rules = ("table inet deaf { chain in { type filter hook input priority 0; "
                 "udp dport 319 counter drop; }; }")
        subprocess.run(["ip", "netns", "exec", namespace, "nft", "-f", "-"],
                       input=rules, text=True, check=True, timeout=20)

    @staticmethod
    def blocked(namespace):
        """How many datagrams `block_event_port` has dropped."""
        text = call("ip", "netns", "exec", namespace, "nft", "list", "table", "inet", "deaf")
        found = re.search(r"counter packets (\d+)", text)
        return int(found.group(1)) if found else None

    def close(self):
        """Removes every namespace this object made and what still runs in them; links go with them."""
        for namespace in reversed(self.namespaces):
            left = subprocess.run(["ip", "netns", "pids", namespace],
                                  capture_output=True, text=True, check=False, timeout=20)
            for process in left.stdout.split():
                try:
                    os.kill(int(process), signal.SIGKILL)
                except ProcessLookupError:
                    pass
            subprocess.run(["ip", "netns", "del", namespace],
                           stderr=subprocess.DEVNULL, check=False, timeout=20)
        self.namespaces = []


class Forwarding:
    """What a bridge that snoops says of whom it passes groups on to, as it changes."""

    def __init__(self, network, path):
        self.path = path
        with open(path, "wb") as out:
            # Its output has to be complete at any time, and its stamps are local times.
            self.process = subprocess.Popen(
                ["stdbuf", "-oL", "bridge", "-n", network.switch, "-timestamp", "monitor", "mdb"],
                stdout=out, stderr=subprocess.DEVNULL, env={**os.environ, "LC_ALL": "C", "TZ": "UTC"})

    def close(self):
        """Ends the watching."""
        self.process.kill()
        self.process.wait(timeout=10)

    def changes(self, nodes_by_port):
        """(time in ns, node, group, whether it is a member now), for each change; what is only said again is left out."""
        at, held = None, set()
        with open(self.path, encoding="ascii") as lines:
            for line in lines:
                if found := STAMP.match(line):
                    second = datetime.datetime.strptime(found[1], "%a %b %d %H:%M:%S %Y")
                    second = second.replace(tzinfo=datetime.timezone.utc)
                    at = int(second.timestamp()) * 1_000_000_000 + int(found[2]) * 1_000
                elif found := MEMBER.match(line):
                    node, group = nodes_by_port[found[2]], found[3]
                    is_member = found[1] is None
                    if not is_member:
                        held.discard((node, group))
                    elif (node, group) in held:
                        continue
                    else:
                        held.add((node, group))
                    yield at, node, group, is_member


class Mirror:
    """A capture on a bridge's own interface: what a mirror port of the whole switch would show.

    Each slot of the kernel's buffer takes `snap` octets, 256 KiB where it is 0: bursts of media need smaller ones.
    """

    def __init__(self, network, bridge, path, snap="0"):
        self.process = subprocess.Popen(
            ["ip", "netns", "exec", network.switch, "tcpdump", "-i", bridge, "-n", "-U", "-Z", "root",
             "-s", snap, "-B", "16384", "--immediate-mode", "--time-stamp-precision=nano", "-w", str(path)],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        line = self.process.stderr.readline()
        if "listening on" not in line:
            self.process.kill()
            raise RuntimeError(f"tcpdump: {line.strip()}")

    def close(self):
        """Ends the capture and returns {captured, dropped} as tcpdump tells them."""
        if self.process.poll() is None:
            time.sleep(0.2)
            self.process.send_signal(signal.SIGINT)
        try:
            _, said = self.process.communicate(timeout=10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            _, said = self.process.communicate()
        counts = {}
        for key, pattern in (("captured", r"(\d+) packets? captured"),
                             ("dropped", r"(\d+) packets? dropped by kernel")):
            found = re.search(pattern, said or "")
            counts[key] = int(found.group(1)) if found else None
        return counts
