#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How fast the calendar says when a job can start, and how good and fast plans are: the rows that bench/run prints of them. Beside the plans:
the same queues as time-indexed models, solved by CBC where it is installed (tools/setup --outside).

usage: bench/plan.py [BUILD_FOLDER]"""
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
from parts import Missing, answer, row  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
LIMIT_MS = 10
SHORT_SEEDS, LONG_STEPS = range(1, 9), 4000000


def rows(build):
    """Prints the rows; the number of those that could not be measured."""
    try:
        done = subprocess.run(["ninja", "-C", build, "--quiet", "bench/bench_plan"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        if done.returncode != 0:
            raise Missing("it was not built: " + done.stdout.decode(errors="replace").strip()[-200:])
        found = answer([os.path.join(build, "bench", "bench_plan"), os.path.join(ROOT, "demo", "shop.yaml"), "31"])
        row("plan when, beside measuring the job, %d machines: ms" % found["machines"], found["look_up_ms"], "< %d" % LIMIT_MS,
            found["look_up_ms"] < LIMIT_MS, "slowest %.1f ms; by trying every minute %.0f ms" % (found["slowest_ms"], found["by_the_minute_ms"]))
        schedules(build)
    except Missing as e:
        print("plan: %s" % e)
        return 1
    return 0


def cbc(model, seconds, relaxed=False):
    """Seconds, and the cost that CBC found within so many seconds (None: none), of the model or of its relaxation."""
    begun = time.monotonic()
    args = ["initialSolve"] if relaxed else ["sec", str(seconds), "solve"]
    try:
        out = subprocess.run(["cbc", model] + args + ["quit"], capture_output=True, timeout=seconds + 60, check=False).stdout.decode(errors="replace")
    except subprocess.TimeoutExpired:
        return time.monotonic() - begun, None
    found = re.search(r"Optimal objective ([\d.e+]+)" if relaxed else r"Objective value:\s+([\d.]+)", out)
    return time.monotonic() - begun, float(found[1]) if found else None


def beside(model, cost, seconds):
    """What CBC makes of the same model; the model of a queue with changes leaves them out, so it may cost less."""
    if not shutil.which("cbc"):
        return "cbc is not there"
    took, least = cbc(model, seconds)
    return "cbc: nothing in %.0f s" % took if least is None else "cbc: %.1f points in %.1f s, here %.1f" % (least / 1000, took, cost / 1000)


def schedules(build):
    done = subprocess.run(["ninja", "-C", build, "--quiet", "bench/bench_schedule"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
    if done.returncode != 0:
        raise Missing("it was not built: " + done.stdout.decode(errors="replace").strip()[-200:])
    bench = os.path.join(build, "bench", "bench_schedule")
    with tempfile.TemporaryDirectory(prefix="proveout-bench-") as where:
        model = os.path.join(where, "queue.lp")
        found = [answer([bench, "short", str(seed), "0"]) for seed in SHORT_SEEDS]
        slowest = max(found, key=lambda f: f["seconds"])
        proved = sum(f["best"] for f in found)
        row("12 runs on 4 machines, the slowest of %d queues: s" % len(found), slowest["seconds"], "< 2", proved == len(found) and slowest["seconds"] < 2,
            "%d of %d proved best" % (proved, len(found)))
        one = answer([bench, "middling", "2", "0", model])
        row("9 runs on 3 machines, against the model: s", one["seconds"], "", one["best"], beside(model, one["cost"], 60))
        for kind, what in (("long", "200 runs on 20 machines"), ("changes", "the same with two materials to change")):
            f = answer([bench, kind, "1", str(LONG_STEPS), model])
            row(what + ": % above the bound", f["gap_percent"], "<= 3, in 10 s" if kind == "long" else "", kind != "long" or (f["gap_percent"] <= 3 and f["seconds"] <= 10),
                "%.1f s; %s" % (f["seconds"], beside(model, f["cost"], 30) if kind == "long" else "the bound knows no changes"))


if __name__ == "__main__":
    sys.exit(rows(sys.argv[1] if len(sys.argv) > 1 else os.path.join(ROOT, "build")))
