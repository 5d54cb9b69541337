#!/usr/bin/env python3
"""Makes small mistakes in a copy of the crate and counts those that its tests find. README.md beside says what counts.

    run.py prepare COPY N SEED...        copies the project to COPY, lists the mistakes, builds the tests with those drawn with
                                         any of the seeds, N in each area
    run.py reach COPY [PART]             runs each test alone and writes down which mistakes it comes past; only those with
                                         PART in their names, where they are new
    run.py sample COPY N SEED            runs tests against those drawn with SEED; goes on where it was
    run.py whole COPY SEED               those not found against all tests that come past them
    run.py again COPY SEED FROM          those that were not found in the results of COPY/FROM, as in a sample
    run.py sum COPY SEED                 says what came of it, and names what was not found
    run.py one COPY NAME                 runs all tests that come past one mistake, named as in the list
"""

import hashlib
import json
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
AREAS = {
    "decoders": ["src/ptp"],
    "elections": ["src/domains"],
    "timing": ["src/timing", "src/statistics", "src/clock"],
    "findings": ["src/findings"],
}
COPIED = ["src", "tests", "captures", "docs", "benches", "fuzz", "proptest-regressions", "Cargo.toml", "Cargo.lock",
          "README.md", "deny.toml", "LICENSE-MIT", "LICENSE-APACHE", "SECURITY.md", "DEVELOPERS.md"]
# Functions of rules that give a fixed text decide nothing, and every one is compared with its page: they would only raise the share.
TEXTS = {"-> &'static str", "-> &'static[&'static str]"}
# Tests that look at whole reports, and so are likely to find what they come past.
BROAD = re.compile(r"snapshots::|truth_lab::|truth_demo::|thinned::")
# Seconds of a test that is left for `whole`.
SLOW = 4.0
# Seconds' worth of tests that run in one process; the first few are quick, as most mistakes are found at once.
PORTIONS = [1.0, 3.0, 6.0, 10.0]
# Seconds' worth of tests against one mistake: what is not found by then is left for `whole`.
ENOUGH = 20.0
AT_ONCE = 2
MEMORY = 6 << 30


def area(file):
    return next(name for name, places in AREAS.items() if any(file.startswith(place + "/") for place in places))


def is_counted(mistake):
    if mistake["genre"] != "FnValue":
        return True
    # Another iterator in the same function is another type, which only a build of its own could have.
    gives = mistake["function"]["return_type"]
    return "impl " not in gives and not (area(mistake["file"]) == "findings" and gives in TEXTS)


def listed(copy):
    """cargo-mutants' own list of the copy, which has no mistakes in it yet."""
    places = [part for of in AREAS.values() for place in of for part in ("-f", f"{place}/**")]
    said = subprocess.run(["cargo", "mutants", "--list", "--json", *places], cwd=copy, check=True, capture_output=True, text=True)
    every = [mistake for mistake in json.loads(said.stdout) if is_counted(mistake)]
    for number, mistake in enumerate(every, 1):
        mistake.pop("diff")
        mistake["number"] = number
    return every


def cargo(copy, *arguments):
    # Lints are for what people write; a constant function that asks at run time needs what is unstable.
    environment = {**os.environ, "RUSTC_WORKSPACE_WRAPPER": str(HERE / "rustc"), "CARGO_TARGET_DIR": str(copy / "target")}
    return subprocess.run(["cargo", *arguments], cwd=copy, text=True, capture_output=True, check=False, env=environment)


def put_in(copy, without):
    """The mistakes into the files of the copy, which are fresh ones each time."""
    shutil.rmtree(copy / "src", ignore_errors=True)
    shutil.copytree(ROOT / "src", copy / "src")
    (copy / "without.txt").write_text("".join(f"{number}\n" for number in sorted(without)))
    tool = HERE / "target" / "debug" / "downbeat-mutants"
    subprocess.run([tool, "list.json", "without.txt", "placed.json", "src/lib.rs"], cwd=copy, check=True)
    return json.loads((copy / "placed.json").read_text())


def inside(span, at):
    return tuple(span[0]) <= at <= tuple(span[1])


def uncompilable(copy, placed):
    """Numbers of the mistakes in which an error of the compiler lies, or in whose choice where it lies in none."""
    done = cargo(copy, "check", "--lib", "--message-format", "json")
    by_file, found, unknown = {}, set(), []
    for stands in placed:
        by_file.setdefault(stands["file"], []).append(stands)
    for line in done.stdout.splitlines():
        message = json.loads(line)
        if message.get("reason") != "compiler-message" or message["message"]["level"] != "error":
            continue
        spans = sorted(message["message"]["spans"], key=lambda span: not span["is_primary"])
        blamed = None
        for part in ("mistaken", "choice"):
            for span in spans:
                at = (span["line_start"], span["column_start"] - 1)
                around = [stands for stands in by_file.get(span["file_name"], []) if inside(stands[part], at)]
                if around:
                    # The innermost begins last.
                    blamed = max(around, key=lambda stands: stands[part][0])["number"]
                    break
            if blamed:
                break
        if blamed:
            found.add(blamed)
        elif spans:
            unknown.append(message["message"]["rendered"])
    if done.returncode and (unknown or not found):
        print(*unknown, sep="\n", flush=True)
    if done.returncode and not found:
        sys.exit("\n".join(unknown) or done.stderr[-4000:])
    return found


def drawn(copy, count, seed):
    """A sample of each area."""
    possible = json.loads((copy / "possible.json").read_text())
    chosen = []
    for name in AREAS:
        of_it = [mistake for mistake in possible if area(mistake["file"]) == name]
        chosen += random.Random(f"{seed} {name}").sample(of_it, min(count, len(of_it)))
    # Areas in turn, so that what is stopped early is a smaller sample of each.
    return [chosen[index] for index in sorted(range(len(chosen)), key=lambda index: (index % count, index))]


def put_drawn_in(copy, count, seeds):
    """Those of the samples, unless they are there already: then only the tests are new."""
    mark = f"{count} {seeds}" + "".join(hashlib.sha256(file.read_bytes()).hexdigest() for place in (ROOT / "src", HERE / "src")
                   for file in sorted(place.rglob("*.*")))
    if (copy / "mark.txt").exists() and (copy / "mark.txt").read_text() == mark:
        return
    (copy / "mark.txt").unlink(missing_ok=True)
    shutil.rmtree(copy / "src", ignore_errors=True)
    shutil.copytree(ROOT / "src", copy / "src")
    every = listed(copy)
    (copy / "list.json").write_text(json.dumps(every))
    without, known = set(), copy / "uncompilable.json"
    if known.exists():
        names = set(json.loads(known.read_text()))
        without = {mistake["number"] for mistake in every if mistake["name"] in names}
    while True:
        placed = put_in(copy, without)
        more = uncompilable(copy, placed) - without
        print(f"{len(without)} left out, {len(more)} more do not compile", flush=True)
        without |= more
        known.write_text(json.dumps([mistake["name"] for mistake in every if mistake["number"] in without]))
        if not more:
            break
    numbers = {stands["number"] for stands in placed}
    (copy / "possible.json").write_text(json.dumps([mistake for mistake in every if mistake["number"] in numbers]))
    print(f"{len(every)} listed, {len(without)} of them do not compile, {len(numbers)} can be put in", flush=True)
    # What is built has those of the samples only: the tests' build would take much longer with all.
    numbers = {mistake["number"] for seed in seeds for mistake in drawn(copy, count, seed)}
    put_in(copy, {mistake["number"] for mistake in every} - numbers)
    print(f"{len(numbers)} put in", flush=True)
    (copy / "mark.txt").write_text(mark)


def prepare(copy, count, seeds):
    subprocess.run(["cargo", "build", "--quiet"], cwd=HERE, check=True)
    copy.mkdir(parents=True, exist_ok=True)
    for name in COPIED[1:]:
        source, target = ROOT / name, copy / name
        if source.is_dir():
            shutil.copytree(source, target, dirs_exist_ok=True, ignore=shutil.ignore_patterns("target", "node_modules"))
        else:
            shutil.copy2(source, target)
    manifest = (copy / "Cargo.toml").read_text()
    (copy / "Cargo.toml").write_text(re.split(r"(?m)^\[lints", manifest)[0])
    put_drawn_in(copy, count, seeds)
    done = cargo(copy, "test", "--no-run", "--lib", "--test", "integration", "--message-format", "json")
    if done.returncode:
        sys.exit(done.stderr[-4000:])
    messages = [json.loads(line) for line in done.stdout.splitlines()]
    suites = {"unit" if "lib" in message["target"]["kind"] else message["target"]["name"]: message["executable"]
              for message in messages if message.get("executable") and message["profile"]["test"]}
    (copy / "suites.json").write_text(json.dumps(suites, indent=1))
    print(suites)


def begin(copy, suite, arguments, worker, **environment):
    suites = json.loads((copy / "suites.json").read_text())
    scratch = copy / "scratch" / str(worker)
    shutil.rmtree(scratch, ignore_errors=True)
    scratch.mkdir(parents=True)
    environment = {**os.environ, "INSTA_UPDATE": "no", "INSTA_WORKSPACE_ROOT": str(copy), "TMPDIR": str(scratch),
                   "CARGO_MANIFEST_DIR": str(copy), "RUST_BACKTRACE": "0", **environment}
    return subprocess.Popen([suites[suite], "--test-threads", "1", *arguments], cwd=copy, env=environment, text=True,
                            errors="replace", stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                            start_new_session=True,
                            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY)))


def run(copy, suite, number, tests, limit, worker):
    """The first test that fails, or how else it ends; nothing where all pass."""
    process = begin(copy, suite, ["--exact", *tests], worker, DOWNBEAT_MUTANT=str(number))
    ended = threading.Event()

    def stop():
        ended.set()
        os.killpg(process.pid, 9)

    watch = threading.Timer(limit, stop)
    watch.start()
    how, last = None, None
    for line in process.stdout:
        named = re.match(r"test (\S+) ", line)
        last = named[1] if named else last
        if re.search(r"\.\.\. FAILED$|^FAILED$", line):
            how = last
            break
    if how:
        os.killpg(process.pid, 9)
    process.stdout.close()
    code = process.wait()
    watch.cancel()
    if how is None and code:
        how = "takes too long" if ended.is_set() else "ends early"
    return how


def reach(copy, part=None):
    """Which mistakes each test comes past, and how long it takes; of tests whose names have a part, beside what is known."""
    names = [(suite, line.removesuffix(": test"))
             for suite, file in json.loads((copy / "suites.json").read_text()).items()
             for line in subprocess.run([file, "--list", "--format", "terse"], cwd=copy, check=True, capture_output=True,
                                        text=True).stdout.splitlines() if line.endswith(": test")]
    tests, failed, lock = json.loads((copy / "tests.json").read_text()) if part else {}, [], threading.Lock()
    names = [(suite, name) for suite, name in names if not part or part in name]

    def alone(workers, suite, name):
        with lock:
            worker = workers.pop()
        file = copy / f"reached-{worker}.txt"
        file.unlink(missing_ok=True)
        begun = time.monotonic()
        process = begin(copy, suite, ["--exact", name], worker, DOWNBEAT_REACHED=str(file))
        said = process.communicate()[0]
        seconds = time.monotonic() - begun
        past = sorted({int(line) for line in file.read_text().split()}) if file.exists() else []
        with lock:
            workers.append(worker)
            if process.returncode:
                failed.append((name, said[-600:]))
            else:
                tests[f"{suite} {name}"] = {"seconds": round(seconds, 3), "past": past}

    workers = list(range(AT_ONCE))
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for done in [pool.submit(alone, workers, suite, name) for suite, name in names]:
            done.result()
    (copy / "tests.json").write_text(json.dumps(tests))
    reached = {number for test in tests.values() for number in test["past"]}
    print(f"{len(tests)} tests of {sum(test['seconds'] for test in tests.values()):.0f} s, {len(reached)} mistakes reached")
    for name, said in failed:
        print(f"passed over, as it fails without a mistake: {name}\n{said}")


def portions(tests, mistake, kills, whole):
    """Tests that come past a mistake; those first that find much in little time, or are about what it is in by their names."""
    past = [(name, test["seconds"]) for name, test in tests.items() if mistake["number"] in test["past"]]
    about = {mistake["file"].split("/")[-2], Path(mistake["file"]).stem} - {"src", "mod", "domains"}
    about |= {"rules::"} if area(mistake["file"]) == "findings" else set()
    past = [(name, seconds) for name, seconds in past if whole or seconds <= SLOW]
    past.sort(key=lambda test: (test[1] + 0.01) / (1 + kills[test[0]] + 4 * bool(BROAD.search(test[0]))
                                                   + 9 * any(word in test[0] for word in about)))
    budget, portion, together, left = iter(PORTIONS), [], 0.0, ENOUGH
    most = next(budget)
    for name, seconds in past:
        left -= seconds
        if left < 0 and not whole:
            break
        portion.append(name)
        together += seconds
        if together > most:
            yield portion, together
            portion, together, most = [], 0.0, next(budget, PORTIONS[-1])
    if portion:
        yield portion, together


def try_one(copy, tests, mistake, kills, worker, whole=False):
    ran = 0
    for names, seconds in portions(tests, mistake, kills, whole):
        for suite in ("unit", "integration"):
            of_it = [name.split(" ", 1)[1] for name in names if name.startswith(suite + " ")]
            if not of_it:
                continue
            ran += len(of_it)
            how = run(copy, suite, mistake["number"], of_it, 25 + 6 * seconds, worker)
            if how:
                kills[f"{suite} {how}"] += 1
                return suite, how, ran
    return None, None, ran


def read_tests(copy):
    tests = json.loads((copy / "tests.json").read_text())
    for test in tests.values():
        test["past"] = set(test["past"])
    return tests


def read_results(file):
    return [json.loads(line) for line in file.read_text().splitlines()] if file.exists() else []


def work(copy, file, mistakes, whole=False):
    tests, results = read_tests(copy), read_results(file)
    kills = Counter(f"{result['suite']} {result['how']}" for result in results if result["suite"])
    lock, workers = threading.Lock(), list(range(AT_ONCE))

    def one(mistake):
        with lock:
            worker = workers.pop()
        begun = time.monotonic()
        suite, how, ran = try_one(copy, tests, mistake, kills, worker, whole)
        took = round(time.monotonic() - begun, 1)
        with lock:
            workers.append(worker)
            result = {**mistake, "suite": suite, "how": how, "ran": ran, "seconds": took, "whole": whole}
            with file.open("a") as results:
                results.write(json.dumps(result) + "\n")
            print(f"{mistake['name']}: {how or 'NOT FOUND'} ({ran} tests, {took} s)", flush=True)

    with ThreadPoolExecutor(AT_ONCE) as pool:
        for done in [pool.submit(one, mistake) for mistake in mistakes]:
            done.result()


def in_place(copy):
    there = {stands["number"] for stands in json.loads((copy / "placed.json").read_text())}
    return [mistake for mistake in json.loads((copy / "list.json").read_text()) if mistake["number"] in there]


def sample(copy, count, seed):
    file = copy / f"results-{seed}.jsonl"
    known = {result["name"] for result in read_results(file)}
    work(copy, file, [mistake for mistake in drawn(copy, count, seed) if mistake["name"] not in known])


def last_of_each(file):
    return {result["name"]: result for result in read_results(file) if is_counted(result)}


def total(file):
    results = last_of_each(file).values()
    for name in [*AREAS, None]:
        of_it = [result for result in results if name in (None, area(result["file"]))]
        found = sum(result["suite"] is not None for result in of_it)
        early = sum(result["how"] in ("takes too long", "ends early") for result in of_it)
        share = 100 * found / len(of_it) if of_it else 0
        print(f"{name or 'all':16} {found:4} of {len(of_it):4} found, {share:.1f} %; {early} of them by not ending well")
    for result in results:
        if result["suite"] is None:
            print(f"{result['name']} ({result['number']}, {result['ran']} tests come past)")


def main():
    command, copy, *more = sys.argv[1:]
    copy = Path(copy).resolve()
    file = copy / f"results-{more[-1] if command == 'sample' else more[0]}.jsonl" if more else None
    if command == "sample":
        sample(copy, int(more[0]), more[1])
    elif command == "prepare":
        prepare(copy, int(more[0]), more[1:])
    elif command == "reach":
        reach(copy, *more)
    elif command in ("whole", "again"):
        before = last_of_each(copy / more[1]) if command == "again" else last_of_each(file)
        there = {mistake["name"]: mistake for mistake in in_place(copy)}
        cost = Counter()
        for test in json.loads((copy / "tests.json").read_text()).values():
            cost.update({number: test["seconds"] for number in test["past"]})
        missed = [name for name, result in before.items() if result["suite"] is None and name in there]
        missed.sort(key=lambda name: cost[there[name]["number"]])
        work(copy, file, [there[name] for name in missed], command == "whole")
    elif command == "sum":
        total(file)
    elif command == "one":
        for mistake in in_place(copy):
            if mistake["name"] == more[0]:
                print(try_one(copy, read_tests(copy), mistake, Counter(), "one", True))
    else:
        sys.exit(__doc__)


if __name__ == "__main__":
    main()
