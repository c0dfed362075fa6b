#!/usr/bin/python3
"""Judges every session of a fleet again on many workers, and answers questions about it.

Dask distributed hands the partitions' files to its workers; each runs `pushback judge` over a
file and puts its lines, whole or not at all, into OUT under the file's own name. A file that is
judged twice, because a worker died, so leaves the same lines once; a session that two laptops
exported is counted once, by its records, sensor and way of forcing. What is in OUT is not judged
again: name OUT after the program's version.

  judge.py DIR OUT [--workers N] [--scheduler ADDRESS] [--month 2026-03] [--kill]

Without --scheduler it starts a scheduler and N workers on this machine.
"""

import argparse
import collections
import glob
import json
import os
import signal
import subprocess
import sys
import tempfile
import time

from distributed import Client, LocalCluster, as_completed


def judge(pushback, path, out):
    """Judges a file into out; returns (lines, seconds)."""
    began = time.monotonic()
    if os.path.exists(out):  # a run that was broken off goes on
        with open(out, "rb") as f:
            return sum(1 for _ in f), 0.0
    os.makedirs(os.path.dirname(out), exist_ok=True)
    fd, temporary = tempfile.mkstemp(dir=os.path.dirname(out), prefix=".part-")
    try:
        with os.fdopen(fd, "wb") as f:
            subprocess.run([pushback, "judge", path], stdout=f, check=True)
        with open(temporary, "rb") as f:
            lines = sum(1 for _ in f)
        os.rename(temporary, out)
    except BaseException:
        os.unlink(temporary)
        raise
    return lines, time.monotonic() - began


def tally(paths):
    """Reads files of verdicts; returns ({what makes a session one: its line}, lines)."""
    sessions, lines = {}, 0
    for path in paths:
        with open(path) as f:
            for text in f:
                line = json.loads(text)
                lines += 1
                del line["file"]
                sessions.setdefault((line["records_sha256"], line["watching"], line["by"]), line)
    return sessions, lines


def run(args, workers, out):
    """Judges all; returns seconds, lines, and the files of verdicts."""
    months = "month=" + (args.month or "*")
    parts = sorted(glob.glob(os.path.join(args.dir, months, "shop=*", "part-*.parquet")))
    if not parts:
        sys.exit(f"judge.py: no month=…/shop=…/part-….parquet in {args.dir}")
    outs = [os.path.join(out, os.path.relpath(p, args.dir))[: -len("parquet")] + "jsonl" for p in parts]
    local = None
    if not args.scheduler:
        local = LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50)
    with Client(local or args.scheduler) as client:
        pids = client.run(os.getpid)
        began = time.monotonic()
        todo = client.map(judge, [args.pushback] * len(parts), parts, outs, pure=False, retries=2)
        lines = 0
        for n, (_, (count, _)) in enumerate(as_completed(todo, with_results=True)):
            lines += count
            if args.kill and local and n == len(parts) // 3:
                dies = sorted(pids.values())[0]
                os.kill(dies, signal.SIGKILL)
                print(f"  killed worker {dies} after {n} of {len(parts)} files", flush=True)
        seconds = time.monotonic() - began
    if local:
        local.close()
    return seconds, lines, outs


def answers(sessions):
    """Prints what a fleet is asked."""

    def most(counted, n=None):
        return ", ".join(f"{what} {count}" for what, count in collections.Counter(counted).most_common(n)) or "none"

    all_of_them = sessions.values()
    faults = ("sensor_dead", "sensor_slow", "sensor_skewed", "input_dead", "no_command", "no_delivery", "wrong_bank")
    print("conclusions:", most(s["conclusion"] for s in all_of_them))
    print("judged otherwise today:", most(f"{s['stored']} → {s['conclusion']}" for s in all_of_them if s.get("differs")))
    print("the step that would decide:", most(s["decide"] for s in all_of_them if s.get("decide")))
    print("cars with most faults:", most((s.get("vehicle", "?") for s in all_of_them if s["conclusion"] in faults), 3))


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("dir", metavar="DIR")
    a.add_argument("out", metavar="OUT")
    a.add_argument("--workers", default="2", help="how many here; with commas one run each")
    a.add_argument("--scheduler", help="the address of one that runs, such as tcp://host:8786")
    a.add_argument("--pushback", default="pushback", help="the program, where the workers find it")
    a.add_argument("--month", help="only this partition")
    a.add_argument("--kill", action="store_true", help="kill a worker on the way in the last run")
    a.add_argument("--alone", action="store_true", help="judge once more without workers, and compare")
    args = a.parse_args()
    if not args.scheduler and os.path.exists(args.pushback):
        args.pushback = os.path.abspath(args.pushback)
    runs = [int(n) for n in args.workers.split(",")]
    kill, all_of_them = args.kill, []
    print(f"load before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    for i, n in enumerate(runs):
        args.kill = kill and i == len(runs) - 1
        seconds, lines, outs = run(args, n, os.path.join(args.out, f"run-{i + 1}"))
        sessions, written = tally(outs)
        print(f"{n} workers{', one killed' if args.kill else ''}: {seconds:.1f} s, {len(outs)} files, {lines} lines, {written} written, "
              f"{len(sessions)} sessions, load {os.getloadavg()[0]:.1f}", flush=True)
        all_of_them.append((sessions, lines, written))
    if args.alone:
        began = time.monotonic()
        text = subprocess.run([args.pushback, "judge"] + sorted(glob.glob(os.path.join(args.dir, "month=" + (args.month or "*"), "shop=*", "*.parquet"))),
                              stdout=subprocess.PIPE, check=True).stdout
        with tempfile.NamedTemporaryFile() as f:
            f.write(text)
            f.flush()
            sessions, lines = tally([f.name])
        print(f"one process, no engine: {time.monotonic() - began:.1f} s, {lines} lines, {len(sessions)} sessions")
        all_of_them.append((sessions, lines, lines))
    answers(all_of_them[0][0])
    if any(r != all_of_them[0] or r[1] != r[2] for r in all_of_them):
        sys.exit("judge.py: the runs differ")
    print("every run: the same sessions, the same verdicts, nothing lost or counted twice")


if __name__ == "__main__":
    main()
