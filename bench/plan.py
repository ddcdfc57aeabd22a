#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How fast the calendar says when a job can start: the rows that bench/run prints of it.

usage: bench/plan.py [BUILD_FOLDER]"""
import os
import subprocess
import sys

sys.dont_write_bytecode = True
from parts import Missing, answer, row  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
LIMIT_MS = 10


def rows(build):
    """Prints the rows; the number of those that could not be measured."""
    try:
        done = subprocess.run(["ninja", "-C", build, "--quiet", "bench/bench_plan"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        if done.returncode != 0:
            raise Missing("it was not built: " + done.stdout.decode(errors="replace").strip()[-200:])
        found = answer([os.path.join(build, "bench", "bench_plan"), os.path.join(ROOT, "demo", "shop.yaml"), "31"])
        row("plan when, beside measuring the job, %d machines: ms" % found["machines"], found["look_up_ms"], "< %d" % LIMIT_MS,
            found["look_up_ms"] < LIMIT_MS, "slowest %.1f ms; by trying every minute %.0f ms" % (found["slowest_ms"], found["by_the_minute_ms"]))
    except Missing as e:
        print("plan when: %s" % e)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(rows(sys.argv[1] if len(sys.argv) > 1 else os.path.join(ROOT, "build")))
