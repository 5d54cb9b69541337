"""The scenarios: who is there, what is done to them and what an analysis should say of them."""

from dataclasses import dataclass

LEADS = ("MASTER",)
# With `free_running 1` the daemon's servo never locks, so a following port stays UNCALIBRATED.
FOLLOWS = ("UNCALIBRATED", "SLAVE")


@dataclass(frozen=True)
class Link:
    """One interface of a node on a bridge."""

    interface: str
    number: int
    bridge: str = "br0"
    isolated: bool = False

    @property
    def mac(self):
        """A locally administered address of the lab's own range."""
        return f"02:00:5e:20:00:{self.number:02x}"


@dataclass(frozen=True)
class Node:
    """A clock: its options for ptp4l, the port states it should end in, the states a report may give it."""

    name: str
    role: str
    links: tuple
    options: dict
    port_states: tuple
    states: tuple
    why: str
    deaf: bool = False

    @property
    def clock_identity(self):
        """The EUI-64 form of the first interface's MAC address, as the daemon builds it."""
        octets = self.links[0].mac.split(":")
        return "-".join(octets[:3] + ["ff", "fe"] + octets[3:])


@dataclass(frozen=True)
class Querier:
    """A switch that asks for group members (IGMPv3) and snoops itself; it has no clock.

    The interval is short, so that memberships run out within a capture. A usual one is 125 s, and 10 s for the answers
    (RFC 3376 sections 8.2 and 8.3).
    """

    link: Link
    name: str = "core-switch"
    interval_s: int = 5
    response_s: int = 2
    robustness: int = 2

    @property
    def membership_s(self):
        """How long a membership lasts without an answer (RFC 3376 section 8.4)."""
        return self.robustness * self.interval_s + self.response_s


@dataclass(frozen=True)
class Scenario:
    """`settle_s` passes before the capture starts; `steps` are (seconds of capture, action, node name).

    With a querier the bridge snoops: it passes groups on to members only, and forgets them in the querier's time.
    """

    name: str
    shows: str
    nodes: tuple
    duration_s: int = 20
    settle_s: int = 10
    steps: tuple = ()
    ipv6: bool = False
    addressed: bool = True
    bridges: tuple = ("br0",)
    querier: Querier | None = None


def leader(number=1, name="stage-rack", *, isolated=False, deaf=False, states=("leading",),
           why="the best clock of its domain", **options):
    """A clock that wins the election."""
    return Node(name, "leader", (Link("eth0", number, isolated=isolated),),
                {"priority1": 100, **options}, LEADS, states, why, deaf)


def standby(number=2, name="booth-rack", *, port_states=FOLLOWS, states=("following", "standing-by"),
            why="lost the election; as clock class 248 it follows meanwhile and asks like any follower", **options):
    """A clock that may lead and loses the election."""
    return Node(name, "standby", (Link("eth0", number),), {"priority1": 110, **options},
                port_states, states, why)


def follower(number, name, *, port_states=FOLLOWS, states=("following",),
             why="its requests are answered", bridge="br0", **options):
    """A clock that may not lead."""
    return Node(name, "follower", (Link("eth0", number, bridge),), {"slaveOnly": 1, **options},
                port_states, states, why)


def cameras(count=3, **options):
    """The followers of the demo site."""
    names = ("stage-left-camera", "stage-right-camera", "foyer-display")
    return tuple(follower(3 + i, names[i], **options) for i in range(count))


FAST = {"logSyncInterval": -3, "logAnnounceInterval": 0}
PEER = {"network_transport": "L2", "delay_mechanism": "P2P", **FAST}
SIX = {"network_transport": "UDPv6", **FAST}
HYBRID = {"hybrid_e2e": 1, **FAST}
QUERIER = Querier(Link("eth0", 9))

SCENARIOS = {s.name: s for s in (
    Scenario("healthy", "one leader, one standby, three followers; end to end over UDP/IPv4",
             (leader(**FAST), standby(**FAST), *cameras(**FAST)), duration_s=25),
    Scenario("passive-standby", "both leaders are of clock class 6, so the loser is passive and asks for nothing",
             (leader(clockClass=6, **FAST),
              standby(clockClass=6, port_states=("PASSIVE",), states=("standing-by",),
                      why="announced for a moment, lost the election, then quiet", **FAST),
              *cameras(1, **FAST)), duration_s=20, settle_s=0),
    Scenario("failover", "the leader loses power, the standby takes over, the leader comes back and takes back",
             (leader(**FAST),
              standby(**FAST, states=("standing-by", "following"),
                      why="has led for a while, lost to the returned leader, then follows and asks"),
              *cameras(2, **FAST)),
             duration_s=46, steps=((14, "kill", "stage-rack"), (28, "start", "stage-rack"))),
    Scenario("wrong-domain", "one clock that may lead stands in domain 5 and leads nobody there",
             (leader(**FAST), standby(**FAST), *cameras(2, **FAST),
              Node("rehearsal-room", "stray", (Link("eth0", 6),), {"domainNumber": 5, **FAST}, LEADS,
                   ("astray",), "the only clock of domain 5; the site's domain is 0")),
             duration_s=25, settle_s=0),
    Scenario("wrong-domain-slave-only", "one clock that may only follow stands in domain 5, where nobody leads",
             (leader(**FAST), standby(**FAST), *cameras(2, **FAST),
              follower(6, "rehearsal-room", port_states=("LISTENING",), states=("unproven",),
                       why="sends no PTP at all: its domain cannot be seen, only its group memberships",
                       domainNumber=5, **FAST)),
             duration_s=25, settle_s=0),
    Scenario("two-leaders", "two leaders that cannot hear one another (isolated switch ports), heard by all others",
             (leader(isolated=True, **FAST),
              leader(2, "booth-rack", isolated=True, states=("rival",),
                     why="keeps leading beside a better clock it cannot hear", **{**FAST, "priority1": 110}),
              *cameras(**FAST)), duration_s=20),
    Scenario("deaf-leader", "the leader's incoming event port is blocked: no Delay_Req is ever answered",
             (leader(deaf=True, **FAST),
              *cameras(**FAST, states=("unanswered",), why="asks, and the leader never hears it")),
             duration_s=25),
    Scenario("peer-delay-ethernet", "peer delay over Ethernet between two clocks, as many as it allows on one link",
             (leader(**PEER), *cameras(1, why="its peer delay requests are answered", **PEER)),
             duration_s=25, addressed=False),
    Scenario("ipv6", "one leader, one standby, two followers; end to end over UDP/IPv6",
             (leader(**SIX), standby(**SIX), *cameras(2, **SIX)), duration_s=20, ipv6=True),
    Scenario("hybrid", "delay requests and answers are unicast, the rest multicast; mirror sees both",
             (leader(**HYBRID), standby(**HYBRID), *cameras(2, **HYBRID)), duration_s=20),
    Scenario("boundary", "a boundary clock between two switches; one capture of each side",
             (leader(**FAST),
              Node("patch-room", "boundary", (Link("eth0", 7), Link("eth1", 8, "br1")),
                   {"priority1": 120, **FAST}, FOLLOWS + LEADS,
                   ("relaying",), "follows on one port and leads on the other; one side alone shows half of it"),
              follower(3, "stage-left-camera", **FAST),
              follower(4, "stage-right-camera", bridge="br1", **FAST)),
             duration_s=15, bridges=("br0", "br1")),
    Scenario("snooping", "the bridge passes multicast to members only, and a switch asks for them again and again",
             (leader(**FAST), standby(**FAST), *cameras(2, **FAST)), duration_s=25, querier=QUERIER),
    Scenario("querier-lost", "the bridge passes multicast to members only, and the switch that asks for them stops",
             (leader(**FAST),
              standby(**FAST, port_states=LEADS, states=("rival",),
                      why="hears the leader no more, and leads beside it"),
              *cameras(2, **FAST, port_states=(*FOLLOWS, "LISTENING"), states=("unanswered",),
                       why="joins anew each time it loses the leader, who hears no request")),
             duration_s=45, steps=((10, "silence", "core-switch"),), querier=QUERIER),
)}
