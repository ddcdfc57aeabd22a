#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The demo's book: the same time and seed give the same events, the book is in order, and its present is as told.

usage: demo_seed_test.py PROVEOUT SEED DEMO_JOBS SHOP"""
import json
import os
import subprocess
import sys
import tempfile

proveout, seed, demo_jobs, shop = (os.path.abspath(a) for a in sys.argv[1:5])
passed = failed = 0
NOW = "2026-12-01T14:20"


def check(well, what):
    global passed, failed
    passed += bool(well)
    failed += not well
    if not well:
        print("FAILED:", what)


with tempfile.TemporaryDirectory() as where:
    subprocess.run([demo_jobs, where], check=True, stdout=subprocess.DEVNULL)

    def make(name, now, *more):
        return subprocess.Popen([seed, "--now", now, "--jobs", where, "--shop", shop, *more, os.path.join(where, name)])

    def ask(name, *verb, now=NOW):
        env = dict(os.environ, PROVEOUT_SHOP=shop, PROVEOUT_LEDGER=os.path.join(where, name), PROVEOUT_CLOCK=now)
        return subprocess.run([proveout, *verb], env=env, capture_output=True, text=True)

    pair = [make("a.db", NOW), make("b.db", NOW)]
    check([p.wait(60) for p in pair] == [0, 0], "the book is written")
    night = make("night.db", "2026-12-06T02:40", "--seed", "7")  # a Sunday: nobody is at the desk
    check(night.wait(60) == 0, "the book is written at night, too")
    for name, now in (("a.db", NOW), ("night.db", "2026-12-06T02:40")):
        verify = ask(name, "ledger", "verify", now=now)
        check(verify.returncode == 0, verify.stdout + verify.stderr)
    a, b, n = (json.loads(ask(x, "today", "--json", now=t).stdout)
               for x, t in (("a.db", NOW), ("b.db", NOW), ("night.db", "2026-12-06T02:40")))
    check(a == b, "the same time and seed give the same day")
    check(a != n, "another time gives another")
    for today in (a, n):
        states = sorted((r["machine"], r["state"]) for r in today["runs"])
        check(states == [("Alder", "out"), ("Birch", "out"), ("Dogwood", "ended")], f"runs: {states}")
        machines = {m["machine"]: m for m in today["machines"]}
        check(machines["Cedar"]["free"] and machines["Elm"]["state"] == "tagged-out" and machines["Elm"]["reason"], f"machines: {machines}")
        check(len(today["tickets"]) == 3, "three wait")
        check(today["spools"], "a spool is low")
        check(len(today["overdue"]) >= 1, "parts lie on the shelf past their days")
        check(len(today["permits"]) == 2, "permissions are about to lapse")
    due = [d for d in a["due"] if "is watched until then" in d["says"]]
    check(len(due) == 1 and due[0]["at_ms"] == 1796134800000 + 6 * 60000, f"a watch ends in six minutes: {due}")

print(f"{passed} passed, {failed} failed")
sys.exit(1 if failed else 0)
