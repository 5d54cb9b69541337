"""Network namespaces, bridges and the mirror: everything made here is removed again by `close`."""

import os
import re
import signal
import subprocess
import time

# Multicast to 01-80-C2-00-00-0E (peer delay) is not forwarded by a bridge unless bit 14 of its
# group forward mask is set. Source: IEEE 802.1Q table of reserved addresses (from memory);
# Linux, Documentation/ABI/testing/sysfs-class-net, group_fwd_mask (from memory).
FORWARD_PEER_DELAY = "0x4000"


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

    def bridge(self, name):
        """A bridge that floods all multicast, so that its own interface sees every frame."""
        call("ip", "-n", self.switch, "link", "add", name, "address", "02:00:5e:20:00:fe",
             "type", "bridge", "stp_state", "0", "mcast_snooping", "0",
             "group_fwd_mask", FORWARD_PEER_DELAY)
        call("ip", "-n", self.switch, "link", "set", name, "promisc", "on", "up")

    def node(self, name):
        """A namespace for one node."""
        return self._namespace(name)

    def attach(self, namespace, interface, mac, addresses, bridge, isolated=False):
        """Joins a node to a bridge; an isolated port does not hear other isolated ports."""
        self.ports += 1
        port = f"port{self.ports}"
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
