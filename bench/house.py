#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How fast triage and the statistics of ten years are: the rows that bench/run prints of them.

usage: bench/house.py [BUILD_FOLDER]"""
import os
import shutil
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
from parts import Missing, answer, row  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def rows(build):
    """Prints the rows; the number of those that could not be measured."""
    scratch = tempfile.mkdtemp(prefix="proveout-bench-")
    try:
        done = subprocess.run(["ninja", "-C", build, "--quiet", "bench/bench_house", "bench/make_book"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        if done.returncode != 0:
            raise Missing("it was not built: " + done.stdout.decode(errors="replace").strip()[-200:])
        book = os.path.join(scratch, "book.db")
        subprocess.run([os.path.join(build, "bench", "make_book"), book], check=True, stdout=subprocess.DEVNULL)
        found = answer([os.path.join(build, "bench", "bench_house"), book])
        row("triage, one step: ms", found["why_ms"], "< 5", found["why_ms"] < 5, "with the net built anew %.2f ms" % found["why_anew_ms"])
        row("rates, who differs, trends of %d runs: ms" % found["runs"], found["statistics_ms"], "< 300", found["statistics_ms"] < 300,
            "only counting them page by page %.0f ms" % found["pages_ms"])
    except (Missing, subprocess.CalledProcessError) as e:
        print("house: %s" % e)
        return 1
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    return 0


if __name__ == "__main__":
    sys.exit(rows(sys.argv[1] if len(sys.argv) > 1 else os.path.join(ROOT, "build")))
