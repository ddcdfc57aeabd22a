#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How dense strips are packed, beside the best of the literature, and how fast no-fit polygons are made, beside CGAL.

usage: bench/nest.py [BUILD_FOLDER] [NAME...]     (NAME: only these instances)
BENCH_SECONDS: for each instance, 60 without it. Instances and their best known densities: ../shared/data/nesting, or
PO_SHARED/data/nesting; rectangles: squared ones, and such as
were cut from one, so that the optimum is known."""
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
from parts import Missing, answer, row  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
FOLDER = os.path.join(os.environ.get("PO_SHARED", os.path.join(ROOT, "..", "shared")), "data", "nesting")
SECONDS = float(os.environ.get("BENCH_SECONDS", "60"))
SHORT_OF, TIMES, PAIRS, OVER = 3.0, 30, 200, 8.0


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


def pack(build, name, width, length, sizes, turns=(0.0,)):
    """The length that rectangles take in a strip that they fill without a gap at `length`; the strip is a hair wider, as they may not touch."""
    scratch = tempfile.mkdtemp(prefix="proveout-bench-")
    try:
        with open(os.path.join(scratch, name + ".json"), "w", encoding="utf-8") as f:
            json.dump({"strip_height": width * 1.0002, "items": [
                {"demand": 1, "allowed_orientations": list(turns), "shape": {"data": [[0, 0], [w, 0], [w, h], [0, h]]}} for w, h in sizes]}, f)
        with open(os.path.join(scratch, "best-known.tsv"), "w", encoding="utf-8") as f:
            f.write("%s\t%d\t%g\t%g\t100\t100\t100\t100\n" % (name, len(sizes), width, length))
        return answer([build_of(build, "bench_nest"), scratch, "%g" % min(SECONDS, 10), name])["length"]
    finally:
        shutil.rmtree(scratch)


def cut(seed, length, width, n):
    """A rectangle cut to n pieces, each cut from edge to edge of what it cuts, largest piece first, on whole units."""
    chance, pieces = random.Random(seed), [(length, width)]
    while len(pieces) < n:
        w, h = pieces.pop(max(range(len(pieces)), key=lambda i: pieces[i][0] * pieces[i][1]))
        at = chance.randint(max(1, max(w, h) // 4), max(1, max(w, h) - max(w, h) // 4))
        pieces += [(at, h), (w - at, h)] if w >= h else [(w, at), (w, h - at)]
    return pieces


def squares(build):
    """Strips that are filled without a gap: squared rectangles (Moron 1925; Duijvestijn 1978, from memory: the areas add up), and
    rectangles cut to pieces, of the sizes that Hopper and Turton (2001) took, from memory."""
    found = pack(build, "moron", 32, 33, [(s, s) for s in (18, 15, 14, 10, 9, 8, 7, 4, 1)])
    row("squared rectangle 33 x 32 (Moron 1925), nine squares: length", found, "33 is best", found < 33.5)
    sides = [2, 4, 6, 7, 8, 9, 11, 15, 16, 17, 18, 19, 24, 25, 27, 29, 33, 35, 37, 42, 50]
    assert sum(s * s for s in sides) == 112 * 112
    over = [100 * (pack(build, "duijvestijn", 112, 112, [(s, s) for s in sides]) / 112 - 1)]
    print("  squared square of 112 (Duijvestijn 1978), 21 squares: %.1f %% over" % over[0], flush=True)
    for n, length, width in ((16, 20, 20), (25, 15, 40), (28, 30, 60), (49, 60, 60)):
        pieces = cut(n, length, width, n)
        assert sum(w * h for w, h in pieces) == length * width and len(pieces) == n
        over.append(100 * (pack(build, "cut%d" % n, width, length, pieces, (0.0, 90.0)) / length - 1))
        print("  %d x %d cut to %d rectangles, turned by quarters: %.1f %% over" % (length, width, n, over[-1]), flush=True)
    row("rectangles that fill a strip: %% longer than the optimum, mean of %d" % len(over), sum(over) / len(over), "<= %.0f" % OVER,
        sum(over) / len(over) <= OVER)


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
