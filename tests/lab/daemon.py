"""One ptp4l in one namespace, its log read back, and questions to it through pmc."""

import os
import re
import signal
import statistics
import subprocess
import time

LOG_LINE = re.compile(r"^ptp4l\[(\d+)\.(\d{3})\]: (.*)$")
STATE_CHANGE = re.compile(r"^port (\d+)[^:]*: (\w+) to (\w+) on (\S+)")
OFFSET = re.compile(r"^master offset\s+(-?\d+) s(\d) freq\s+[-+]?\d+ path delay\s+(-?\d+)")
PMC_ANSWER = re.compile(r"^\t(\S+) seq \d+ RESPONSE MANAGEMENT (\w+)")
PMC_FIELD = re.compile(r"^\t\t(\S+)\s+(.*\S)\s*$")

QUESTIONS = ("DEFAULT_DATA_SET", "CURRENT_DATA_SET", "PARENT_DATA_SET", "PORT_DATA_SET",
             "PORT_STATS_NP")


def clock_offset_ns():
    """CLOCK_REALTIME minus CLOCK_MONOTONIC: turns a stamp of the daemon's log into capture time."""
    before = time.clock_gettime_ns(time.CLOCK_MONOTONIC)
    real = time.clock_gettime_ns(time.CLOCK_REALTIME)
    after = time.clock_gettime_ns(time.CLOCK_MONOTONIC)
    return real - (before + after) // 2


def version():
    """What `ptp4l -v` says."""
    done = subprocess.run(["ptp4l", "-v"], capture_output=True, text=True, timeout=10, check=True)
    return (done.stdout + done.stderr).strip()


class Daemon:
    """A node's ptp4l. It never touches the machine's clock: `free_running 1` is always set."""

    def __init__(self, node, namespace, folder):
        self.node = node
        self.namespace = namespace
        self.socket = os.path.join(folder, f"{node.name}.uds")
        self.config = os.path.join(folder, f"{node.name}.conf")
        self.log = os.path.join(folder, f"{node.name}.log")
        self.process = None
        self.events = []
        # Where both processors are busy, the stamp of a sent message may be late; after 10 ms, the default, the daemon takes
        # that for a fault of the port and begins anew (ptp4l 3.1.1).
        options = {"time_stamping": "software", "free_running": 1, "verbose": 1,
                   "tx_timestamp_timeout": 1000, "use_syslog": 0, "logging_level": 6, "uds_address": self.socket,
                   "summary_interval": node.options.get("logSyncInterval", 0), **node.options}
        with open(self.config, "w", encoding="ascii") as out:
            out.write("[global]\n")
            out.writelines(f"{key} {value}\n" for key, value in options.items())

    def start(self):
        """Starts the daemon; the log of an earlier run is kept and continued."""
        if os.path.exists(self.socket):
            os.unlink(self.socket)
        words = ["ip", "netns", "exec", self.namespace, "ptp4l", "-f", self.config]
        for link in self.node.links:
            words += ["-i", link.interface]
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen(words, stdout=log, stderr=subprocess.STDOUT)
        self.events.append((time.time_ns(), "started"))

    def kill(self):
        """Ends the daemon without a goodbye, as a power cut would."""
        self.process.kill()
        self.process.wait(timeout=10)
        self.events.append((time.time_ns(), "killed"))

    def stop(self):
        """Ends the daemon in good order, if it still runs."""
        if self.process is None or self.process.poll() is not None:
            return
        self.process.send_signal(signal.SIGTERM)
        try:
            self.process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(timeout=5)

    def running(self):
        """Whether the process is alive."""
        return self.process is not None and self.process.poll() is None

    def lines(self, offset_ns):
        """The log as (capture time in ns, text); stamps have a resolution of one millisecond."""
        found = []
        with open(self.log, encoding="ascii", errors="replace") as log:
            for line in log:
                match = LOG_LINE.match(line.rstrip("\n"))
                if match:
                    seconds, millis, text = match.groups()
                    at = int(seconds) * 1_000_000_000 + int(millis) * 1_000_000 + offset_ns
                    found.append((at, text))
        return found


def state_changes(lines):
    """The port state changes of a log: (time, port, from, to, event, text). Port 0 is the local socket."""
    for at, text in lines:
        match = STATE_CHANGE.match(text)
        if match and match.group(1) != "0":
            port, before, after, event = match.groups()
            yield at, int(port), before, after, event, text


def offsets(lines):
    """Offset and path delay as the daemon reports them, or None where it reported none."""
    rows = [(int(m.group(1)), int(m.group(3)), m.group(2))
            for m in (OFFSET.match(text) for _, text in lines) if m]
    if not rows:
        return None
    def spread(values):
        return {"median": int(statistics.median(values)), "min": min(values), "max": max(values)}
    return {"count": len(rows), "offset_ns": spread([r[0] for r in rows]),
            "path_delay_ns": spread([r[1] for r in rows]),
            "servo_states": sorted({f"s{r[2]}" for r in rows})}


def ask(daemons, folder):
    """Asks all daemons at once over their local sockets: {name: {data set: [fields]}}.

    `-b 0` sets boundaryHops to 0, so that no question is passed on to the wire. On a busy machine pmc may end before the last
    answer is there: who has not answered all is asked again.
    """
    answers = {}
    for _ in range(3):
        left = [d for d in daemons if d.running() and set(answers.get(d.node.name, ())) < set(QUESTIONS)]
        if not left:
            break
        answers |= ask_once(left, folder)
    return answers


def ask_once(daemons, folder):
    """The same of running daemons, each asked one time."""
    running = []
    for number, daemon in enumerate(daemons):
        own = os.path.join(folder, f"pmc{number}.uds")
        domain = str(daemon.node.options.get("domainNumber", 0))
        words = ["pmc", "-u", "-b", "0", "-d", domain, "-s", daemon.socket, "-i", own]
        words += [f"GET {question}" for question in QUESTIONS]
        running.append((daemon.node.name, subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)))
    answers = {}
    for name, process in running:
        try:
            text, _ = process.communicate(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            text, _ = process.communicate()
        answers[name] = parse_answers(text)
    return answers


def parse_answers(text):
    """pmc's output as {data set: [{field: value}]}, one entry per answering port."""
    sets = {}
    current = None
    for line in text.splitlines():
        answer = PMC_ANSWER.match(line)
        if answer:
            current = {}
            sets.setdefault(answer.group(2), []).append(current)
            continue
        field = PMC_FIELD.match(line)
        if field and current is not None:
            current[field.group(1)] = field.group(2)
    return sets
