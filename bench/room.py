#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How fast a room's year is reckoned, beside plain steps: the row that bench/run prints of it.

usage: bench/room.py [BUILD_FOLDER]"""
import os
import subprocess
import sys

sys.dont_write_bytecode = True
from parts import Missing, answer, row  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
LIMIT_MS = 100


def rows(build):
    """Prints the row; 1 where it could not be measured."""
    try:
        done = subprocess.run(["ninja", "-C", build, "--quiet", "bench/bench_room"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        if done.returncode != 0:
            raise Missing("it was not built: " + done.stdout.decode(errors="replace").strip()[-200:])
        f = answer([os.path.join(build, "bench", "bench_room")])
        row("a room's air over a year, minute by minute: ms", f["year_ms"], "< %d" % LIMIT_MS, f["year_ms"] < LIMIT_MS,
            "Euler's steps, %d a minute: %.0f ms, off by %.2f %% of the peak; one a minute: %.1f ms, off by %.1f %%"
            % (f["euler_steps"], f["euler_ms"], 100 * f["euler_off"], f["euler_one_ms"], 100 * f["euler_one_off"]))
    except Missing as e:
        print("room: %s" % e)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(rows(sys.argv[1] if len(sys.argv) > 1 else os.path.join(ROOT, "build")))
