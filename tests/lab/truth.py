"""Puts together what is known of a run apart from the capture: logs, answers, what was done and when."""

import datetime

import daemon as daemons_of
import wire

TOLERANCE_S = 2.0
# Followers give a dead leader up after announceReceiptTimeout (3) announce intervals of 1 s.
# Source: ptp4l 3.1.1 default.cfg.
GIVEN_UP_AFTER_S = 3.0
# ptp4l names the state of a port that leads GRAND_MASTER when a decision of the election put it there
# straight away; to a question over pmc it answers MASTER for both.
LEADING = ("MASTER", "GRAND_MASTER")


def stamp(nanos):
    """RFC 3339 with nine decimals, UTC."""
    seconds, rest = divmod(nanos, 1_000_000_000)
    whole = datetime.datetime.fromtimestamp(seconds, datetime.timezone.utc)
    return f"{whole:%Y-%m-%dT%H:%M:%S}.{rest:09d}Z"


def leading_periods(daemon, changes, end):
    """When a node's ports led by its own log: (from, until, port, ended by)."""
    marks = [(at, port, after, event) for at, port, _, after, event, _ in changes]
    marks += [(at, None, None, what) for at, what in daemon.events if what == "killed"]
    since, periods = {}, []
    for at, port, after, event in sorted(marks, key=lambda mark: mark[0]):
        ending = [p for p in since if port in (None, p) and after not in LEADING]
        for ended in ending:
            periods.append((since.pop(ended), at, ended, event))
        if after in LEADING:
            since.setdefault(port, at)
    periods += [(start, end, port, "capture end") for port, start in since.items()]
    return sorted(periods)


def tenures(nodes, periods, start, end):
    """Per domain, the best clock that led at each moment of the capture, as spans.

    Best is the lowest (priority1, clock identity): all else that the election compares is equal in the lab.
    """
    domains = {}
    for node in nodes:
        rank = (node.options.get("priority1", 128), node.clock_identity)
        for since, until, _, why in periods[node.name]:
            span = (max(since, start), min(until, end), rank, node, why)
            if span[0] < span[1] and node.role != "boundary":
                domains.setdefault(node.options.get("domainNumber", 0), []).append(span)
    found = []
    for domain, spans in sorted(domains.items()):
        edges = sorted({edge for span in spans for edge in span[:2]})
        row = []
        for left, right in zip(edges, edges[1:]):
            leading = [s for s in spans if s[0] <= left and s[1] >= right]
            if not leading:
                continue
            best = min(leading, key=lambda s: s[2])
            if row and row[-1][0] is best[3] and row[-1][2] == left:
                row[-1][2] = right
            else:
                row.append([best[3], left, right])
        for node, left, right in row:
            killed = any(s[3] is node and s[1] == right and s[4] == "killed" for s in spans)
            ended_by = "announce-timeout" if killed else "capture-end" if right == end else "better-clock"
            found.append({"domain": domain, "node": node.name, "clock": node.clock_identity,
                          "from": stamp(left), "until": stamp(right),
                          "from_at_s": round((left - start) / 1e9, 3),
                          "until_at_s": round((right - start) / 1e9, 3),
                          "ended_by": ended_by, "shorter_than_tolerance": right - left < TOLERANCE_S * 1e9,
                          "tolerance_s": TOLERANCE_S,
                          "until_tolerance_s": TOLERANCE_S + (GIVEN_UP_AFTER_S if killed else 0.0)})
    return found


def statistics_delta(before, after, restarted):
    """What each port sent and received between the two questions, by its own counters (zeros left out).

    Where nobody was asked earlier, since the daemon's start; None for a daemon that was started again in between.
    """
    rows = {name: None for name in restarted}
    for name, sets in after.items():
        if name in restarted:
            continue
        earlier = {row.get("portIdentity"): row for row in before.get(name, {}).get("PORT_STATS_NP", [])}
        for row in sets.get("PORT_STATS_NP", []):
            old = earlier.get(row.get("portIdentity"), {})
            change = {key: int(value) - int(old.get(key, 0))
                      for key, value in row.items() if value.isdigit()}
            rows.setdefault(name, {})[row.get("portIdentity")] = {k: v for k, v in change.items() if v}
    return rows


def querier(scenario, run, start):
    """Who asks for group members, and whom the bridge passed the groups on to, by its own word."""
    asking = scenario.querier
    if asking is None:
        return {"querier": None, "bridge_members": []}
    def at(nanos):
        return {"at": stamp(nanos), "at_s": round((nanos - start) / 1e9, 3)}
    return {
        "querier": {"name": asking.name, "mac": asking.link.mac, "ip": run.addresses[asking.name][0], "version": "IGMPv3",
                    "interval_s": asking.interval_s, "response_s": asking.response_s, "robustness": asking.robustness,
                    "membership_s": asking.membership_s,
                    "silenced": None if run.silenced_at is None else at(run.silenced_at)},
        "bridge_members": [{**at(nanos), "node": node, "group": group, "is_member": is_member}
                           for nanos, node, group, is_member in run.forwarding]}


def describe(scenario, run):
    """The JSON document of a run."""
    counts = {name: wire.count(path) for name, path in run.captures.items()}
    start = min(c["first_ns"] for c in counts.values())
    end = max(c["last_ns"] for c in counts.values())
    nodes, changes, periods, selections, surprises = [], [], {}, [], []
    for daemon in run.daemons:
        node = daemon.node
        lines = daemon.lines(run.offset_ns)
        own = list(daemons_of.state_changes(lines))
        surprises += [f"{node.name}: {text}" for _, _, _, after, _, text in own if after == "FAULTY"]
        periods[node.name] = leading_periods(daemon, own, end)
        changes += [(at, node.name, port, before, after, text) for at, port, before, after, _, text in own]
        selections += [(at, node.name, text) for at, text in lines if "best master" in text]
        answer = run.answers.get(node.name, {})
        states = [row.get("portState") for row in answer.get("PORT_DATA_SET", [])]
        if not states or any(state not in node.port_states for state in states):
            surprises.append(f"{node.name}: final port states {states}, expected of {list(node.port_states)}")
        nodes.append({
            "name": node.name, "role": node.role, "mac": node.links[0].mac,
            "macs": [link.mac for link in node.links],
            "ip": run.addresses[node.name][0] if run.addresses[node.name] else None,
            "ips": run.addresses[node.name], "clock_identity": node.clock_identity,
            "domain": node.options.get("domainNumber", 0),
            "priority1": node.options.get("priority1", 128),
            "slave_only": bool(node.options.get("slaveOnly", 0)),
            "final_port_state": states[0] if states else None, "final_port_states": states,
            "grandmaster_by_own_word": (answer.get("PARENT_DATA_SET") or [{}])[0].get("grandmasterIdentity"),
            "steps_removed_by_own_word": (answer.get("CURRENT_DATA_SET") or [{}])[0].get("stepsRemoved"),
            "reported": daemons_of.offsets(lines), "event_datagrams_blocked": run.blocked.get(node.name),
            "options": node.options})
    restarted = {d.node.name for d in run.daemons if sum(what == "started" for _, what in d.events) > 1}
    spans = tenures(scenario.nodes, periods, start, end)
    leaders = {}
    for span in spans:
        leaders[str(span["domain"])] = span["clock"]
    site = max(leaders, key=lambda d: sum(n["domain"] == int(d) for n in nodes), default=None)
    # A question without an answer is no zero.
    asked = [("first", run.answers_before)] * bool(scenario.settle_s) + [("last", run.answers)]
    for which, answers in asked:
        for daemon in run.daemons:
            missing = sorted(set(daemons_of.QUESTIONS) - set(answers.get(daemon.node.name, ())))
            if missing:
                surprises.append(f"{daemon.node.name}: no answer to the {which} question for {', '.join(missing)}")
    for name, counts_of in run.tcpdump.items():
        if counts_of["dropped"] != 0:
            surprises.append(f"{name}: tcpdump dropped {counts_of['dropped']} frames")
    return {
        "scenario": scenario.name, "shows": scenario.shows,
        "daemon": {"name": "linuxptp ptp4l", "version": run.version},
        "time": {"realtime_minus_monotonic_ns": run.offset_ns, "change_over_the_run_ns": run.offset_change_ns,
                 "log_resolution_ms": 1,
                 "asked_before_at": None if run.asked_before_at is None else stamp(run.asked_before_at),
                 "asked_at": stamp(run.asked_at), "answered_at": stamp(run.answered_at)},
        "captures": [{"file": path.name, "bridge": name, **run.tcpdump[name],
                      **{k: v for k, v in counts[name].items() if not k.endswith("_ns")},
                      "first": stamp(counts[name]["first_ns"]), "last": stamp(counts[name]["last_ns"])}
                     for name, path in run.captures.items()],
        "nodes": nodes,
        **querier(scenario, run, start),
        "actions": [{"at": stamp(at), "at_s": round((at - start) / 1e9, 3), "node": d.node.name, "did": what}
                    for d in run.daemons for at, what in d.events],
        "state_changes": [{"at": stamp(at), "at_s": round((at - start) / 1e9, 3), "node": node, "port": port,
                           "from": before, "to": after, "text": text}
                          for at, node, port, before, after, text in sorted(changes)],
        "best_master_lines": [{"at": stamp(at), "node": node, "text": text}
                              for at, node, text in sorted(selections)],
        "leading_by_own_log": [{"node": name, "port": port, "from": stamp(a), "until": stamp(b), "ended_by": why}
                               for name, rows in periods.items() for a, b, port, why in rows],
        "port_counters": statistics_delta(run.answers_before, run.answers, restarted),
        "expected": {"site_domain": None if site is None else int(site),
                     "leader": leaders.get(site), "leaders": leaders, "tenures": spans,
                     "states": {n.name: {"any_of": list(n.states), "why": n.why} for n in scenario.nodes}},
        "surprises": surprises}
