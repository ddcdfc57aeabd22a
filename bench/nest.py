#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How dense strips are packed, beside the best of the literature, and how fast no-fit polygons are made, beside CGAL.

usage: bench/nest.py [BUILD_FOLDER] [NAME...]     (NAME: only these instances)
BENCH_SECONDS: for each instance, 60 without it. Instances and their best known densities: ../shared/data/nesting, or
PO_SHARED/data/nesting; the squared rectangle: Z. Moron, 1925."""
import json
import os
import shutil
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
from parts import Missing, answer, row  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
FOLDER = os.path.join(os.environ.get("PO_SHARED", os.path.join(ROOT, "..", "shared")), "data", "nesting")
SECONDS = float(os.environ.get("BENCH_SECONDS", "60"))
SHORT_OF, TIMES, PAIRS = 3.0, 30, 200


def build_of(build, name):
    done = subprocess.run(["ninja", "-C", build, "--quiet", "bench/" + name], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
    if done.returncode != 0:
        raise Missing("it was not built: " + done.stdout.decode(errors="replace").strip()[-200:])
    return os.path.join(build, "bench", name)


def strips(build, names):
    program = build_of(build, "bench_nest")
    if not os.path.exists(os.path.join(FOLDER, "best-known.tsv")):
        raise Missing("the instances are not there: " + FOLDER)
    print("strips, %.0f s each on %d cores (load %.1f)" % (SECONDS, os.cpu_count(), os.getloadavg()[0]))
    with subprocess.Popen([program, FOLDER, "%g" % SECONDS, *names], stdout=subprocess.PIPE) as process:
        for line in process.stdout:
            found = json.loads(line)
            if "instance" in found:
                print("  %-12s density %6.2f %%   best known %6.2f   %+6.2f   moves %d"
                      % (found["instance"], found["density"], found["best_known"], found["density"] - found["best_known"], found["moves"]), flush=True)
            else:
                row("strips: points short of the best known, mean of %d" % found["instances"], found["short_of"], "<= %.0f" % SHORT_OF,
                    found["short_of"] <= SHORT_OF)
    if process.returncode != 0:
        raise Missing("bench_nest ended with status %d" % process.returncode)


def squares(build):
    """Nine squares fill 33 x 32 without a gap; the strip is a hair wider, as the pieces may not touch."""
    sides = [18, 15, 14, 10, 9, 8, 7, 4, 1]
    scratch = tempfile.mkdtemp(prefix="proveout-bench-")
    try:
        with open(os.path.join(scratch, "moron.json"), "w", encoding="utf-8") as f:
            json.dump({"strip_height": 32.005, "items": [
                {"demand": 1, "allowed_orientations": [0.0], "shape": {"data": [[0, 0], [s, 0], [s, s], [0, s]]}} for s in sides]}, f)
        with open(os.path.join(scratch, "best-known.tsv"), "w", encoding="utf-8") as f:
            f.write("moron\t9\t32\t33\t100\t100\t100\t100\n")
        found = answer([build_of(build, "bench_nest"), scratch, "%g" % min(SECONDS, 10), "moron"])
        row("squared rectangle 33 x 32 (Moron 1925), nine squares: length", found["length"], "33 is best", found["length"] < 33.5)
    finally:
        shutil.rmtree(scratch)


def sums(build):
    """Areas have to be equal; the time is of the processor, each pair by itself."""
    scratch = tempfile.mkdtemp(prefix="proveout-bench-")
    try:
        pairs = os.path.join(scratch, "pairs")
        ours = answer([build_of(build, "bench_nfp"), str(PAIRS), pairs])
        other = os.path.join(scratch, "cgal_nfp")
        source = os.path.join(ROOT, "bench", "outside", "cgal_nfp.cpp")
        done = subprocess.run(["g++", "-O2", "-std=c++17", source, "-o", other, "-lgmp", "-lmpfr"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        if done.returncode != 0:
            raise Missing("CGAL is not there (tools/setup --outside); ours take %.3f ms" % ours["ms_each"])
        theirs = answer([other, pairs])
        alike = abs(ours["area"] - theirs["area"]) < 1e-6 * theirs["area"]
        times = theirs["ms_each"] / ours["ms_each"]
        row("no-fit polygons of 30 corners: times as fast as CGAL", times, ">= %d" % TIMES, alike and times >= TIMES,
            "%.3f ms; areas %s" % (ours["ms_each"], "equal" if alike else "DIFFER"))
    finally:
        shutil.rmtree(scratch)


def rows(build, names=()):
    """Prints the rows; the number of those that could not be measured."""
    failed = 0
    for what, make in (("strips", lambda: strips(build, names)), ("squares", lambda: squares(build)), ("no-fit polygons", lambda: sums(build))):
        try:
            make()
        except Missing as e:
            print("%s: %s" % (what, e))
            failed += 1
    return failed


if __name__ == "__main__":
    sys.exit(rows(sys.argv[1] if len(sys.argv) > 1 else os.path.join(ROOT, "build"), sys.argv[2:]))
