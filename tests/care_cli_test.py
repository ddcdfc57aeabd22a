#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""care rates and care trend through the binary, on a book made here. usage: care_cli_test.py PROVEOUT SHOP DESK_ACT
Failures are put at hours worked out beforehand: NIST/SEMATECH e-Handbook 8.2.3.4's set of ten failures to 1500 hours (from memory), so that
Laplace's figure and the military handbook's are its."""
import json
import os
import subprocess
import sys

from desk_kit import Desk, run_tests, says

ACT = os.path.abspath(sys.argv[3])
desk = Desk(sys.argv[1], sys.argv[2], clock="2026-09-21T10:00")
SET_A = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
T0 = 1790000000000


def act(at, name, **body):
    done = subprocess.run([ACT, desk.book, str(at), name, "keeper", json.dumps(body)], capture_output=True, timeout=60)
    assert done.returncode == 0, (name, body, done.stdout.decode())
    return json.loads(done.stdout)


def run_of(at, machine, hours, good, cause=None):
    """One run of so many hours; the time after it."""
    run = act(at, "run-hand-out", member="m1", machine=machine, um=1000, seconds=int(hours * 3600), sha256="ab" * 32)["run"]
    at += int(hours * 3600) * 1000
    act(at, "run-ended", run=run, seconds=int(hours * 3600))
    act(at + 1, "run-off", run=run, to="waste")
    act(at + 2, "run-take-back", run=run, figure="proof")
    act(at + 3, "run-outcome", run=run, outcome="good" if good else "failed", counts=False, **({"cause": cause} if cause else {}))
    return at + 1000


def make():
    act(T0, "member-enrol", member="m1")
    at = T0 + 1000
    before = 0
    for t in SET_A:  # each run ends with a failure at that hour
        at = run_of(at, "Birch", t - before, False, "machine")
        before = t
    at = run_of(at, "Birch", 1500 - before, True)
    for k in range(12):
        at = run_of(at, "Alder", 1, k > 0, None if k else "file")
    desk.at("2027-06-01T10:00")


def trend():
    out = desk.js("care", "trend", "Birch")
    assert out["format"] == "proveout/care-trend/1" and out["failures"] == 10 and abs(out["hours"] - 1500) < 1e-9, out
    assert abs(out["laplace"] + 1.32695) < 1e-5 and abs(out["chi2"] - 37.2281) < 1e-4 and out["growing_gaps"] == [33, 45], out
    assert out["way"] == "unsure", out
    says(desk.run("care", "trend", "birch"), "10 failures by its own fault in 1500 hours", "One test sees a trend to the better", "watch it")
    says(desk.run("care", "trend", "Alder"), "0 failures by its own fault in 12 hours of running: too few")
    says(desk.run("care", "trend", "Alder", "--any-cause"), "1 failure in 12 hours")
    says(desk.run("care", "trend", "Cedar", status=2), "no run in the book that is over")
    says(desk.run("care", "trend", "Oak", status=4), 'no machine "Oak"')
    says(desk.run("care", "trend", "Birch", "--from", "soon", status=4), "--from soon")
    says(desk.run("care", "trend", "Birch", "--from", "2027-05-31", status=2), "in that time")


def rates():
    out = desk.js("care", "rates")
    rows = {r["key"]: r for r in out["rows"]}
    assert out["format"] == "proveout/care-rates/1" and (rows["Birch"]["failed"], rows["Birch"]["runs"]) == (10, 11), out
    assert rows["Birch"]["differs"] and rows["Birch"]["p"] < 0.001 and not rows["Birch"]["few"], out
    assert abs(rows["Alder"]["share"] - 1 / 12) < 1e-12
    says(desk.run("care", "rates"), "Birch fails more often: 10 of 11, all others 8 %", "Look at what was printed there")
    says(desk.run("care", "rates", "--of", "recipe"), "None differs", "11 of 23")
    says(desk.run("care", "rates", "--from", "2027-05-01"), "No run has come out")
    says(desk.run("care", "rates", "--of", "colour", status=4), "--of colour: expected machine")


make()
run_tests(desk, [trend, rates])
