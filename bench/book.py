#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How fast the book of the desk is: acts a second beside bare SQLite, on an empty book and on one of ten busy years; what is
asked of that, and whole programs that ask it. The rows that bench/run prints last.

usage: bench/book.py [BUILD_FOLDER] [--quick]
The large book (200,000 runs, 3,000,000 events; with --quick a tenth of it) is generated into a scratch folder (TMPDIR; about
1 GB, some minutes), which is taken away at the end. The folder should be on a disk, not in memory: syncs are what is measured."""
import os
import shutil
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
from parts import Missing, answer, row  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
SHOP = os.path.join(ROOT, "demo", "shop.yaml")
LIMIT_MS = 20
# What the desk and a check ask again and again; the rest is for reports and lists.
QUICK = ("today", "member", "machines", "spools", "run", "runs of a member", "ratios", "shelf", "tickets")


def acts(found, where):
    row("acts a second, one caller%s: share of bare SQLite's" % where, found["one_to_bare"], ">= 0.8", found["one_to_bare"] >= 0.8,
        "bare %.0f/s, one caller %.0f/s, eight callers %.0f/s" % (found["bare_per_s"], found["one_caller_per_s"],
                                                                 found["eight_callers_per_s"]))
    row("  eight callers at once: times bare SQLite's", found["eight_to_bare"], ">= 4", found["eight_to_bare"] >= 4)


def rows(build, quick):
    """Prints all rows about the book; the number of those that could not be measured."""
    scratch = tempfile.mkdtemp(prefix="proveout-book-")
    try:
        need = ["bench/make_book", "bench/bench_ledger", "bench/bench_ledger_big", "src/cli/proveout"]
        done = subprocess.run(["ninja", "-C", build, "--quiet"] + need, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        if done.returncode != 0:
            raise Missing("it was not built: " + done.stdout.decode(errors="replace").strip()[-200:])
        make, bench, big, proveout = (os.path.join(build, n) for n in need)
        turns = "5" if quick else "9"
        acts(answer([bench, scratch, "300", turns]), "")
        book, begun = os.path.join(scratch, "book.db"), time.monotonic()
        made = answer([make, "--runs", "20000" if quick else "200000", book])
        seconds = time.monotonic() - begun
        print("a book of %d runs, %d members, %d events: %.0f MB, made in %.0f s"
              % (made["runs"], made["members"], made["events"], os.path.getsize(book) * 1e-6, seconds))
        found = answer([big, book, proveout, SHOP, "31"])
        slowest = max(QUICK, key=lambda name: found["questions_ms"][name])
        row("what the desk asks of it, the slowest (%s): ms" % slowest, found["questions_ms"][slowest], "< %d" % LIMIT_MS,
            found["questions_ms"][slowest] < LIMIT_MS,
            ", ".join("%s %.1f" % (name, ms) for name, ms in found["questions_ms"].items()))
        row("today as a whole program: ms", found["today_ms"], "< %d" % LIMIT_MS, found["today_ms"] < LIMIT_MS,
            "times a process that opens it and asks SELECT 1 (%.1f ms): %.1f; the program's mere start %.1f ms"
            % (found["bare_ms"], found["today_to_bare"], found["start_ms"]))
        row("what the book adds to a check: ms", found["look_ups_ms"], "< %d" % LIMIT_MS, found["look_ups_ms"] < LIMIT_MS,
            "times that process: %.1f; a check of a few lines with the book %.1f ms, without %.1f ms"
            % (found["look_ups_to_bare"], found["check_ms"], found["check_without_ms"]))
        found = answer([bench, scratch, "300", turns, book])
        acts(found, ", large book")
        row("  all the acts of runs, one caller: share of bare", found["runs_one_to_bare"], "", None)
        row("  all the acts of runs, eight callers: times bare", found["runs_eight_to_bare"], "", None)
    except Missing as why:
        print("%-64s not measured: %s" % ("the book", why))
    except (RuntimeError, subprocess.CalledProcessError, KeyError, ValueError) as why:
        print("%-64s FAILED: %s" % ("the book", why))
        return 1
    finally:
        shutil.rmtree(scratch)
    return 0


def main():
    folders = [a for a in sys.argv[1:] if not a.startswith("--")]
    load = os.getloadavg()[0]
    print("%d cores, load %.1f%s" % (os.cpu_count(), load, ": not quiet, ratios are less sure" if load > 0.5 else ""))
    return rows(folders[0] if folders else os.path.join(ROOT, "build"), "--quick" in sys.argv)


if __name__ == "__main__":
    sys.exit(main())
