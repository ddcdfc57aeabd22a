#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""check in the light of the book: permission, allowance and waivers, spool, machine, gap, nozzle, what runs really took.

usage: desk_check_test.py PROVEOUT SHOP DEMO_JOBS
Metres and grams are held against each other by the handbook's section 1.2: 1 m of 1.75 mm is 2.40528 cm3; petg 1.27 g/cm3."""
import os
import subprocess
import sys

from desk_kit import Desk, run_tests

PROVEOUT, SHOP, DEMO_JOBS = sys.argv[1:4]
desk = Desk(PROVEOUT, SHOP)
subprocess.run([os.path.abspath(DEMO_JOBS), desk.where], check=True, capture_output=True)
BRACKET, PLINTH = "01-bracket.gcode", "09-plinth-over-allowance.gcode"


def check(*words, status=0, job=BRACKET, machine="Alder", **more):
    return desk.js("check", job, "--machine", machine, *words, status=status, **more)


def found(proof, name):
    of_name = [f for f in proof["findings"] if f["name"] == name]
    assert len(of_name) < 2, of_name
    return of_name[0] if of_name else None


def permission():
    desk.run("member", "enrol", "10041")
    proof = check("--member", "10041", status=2)
    assert found(proof, "not-permitted")["grade"] == "stop" and proof["verdict"] == "stop"
    desk.run("permit", "grant", "10041", "two-material")  # brings starter along
    assert check("--member", "10041")["verdict"] == "clear"
    assert "there is no member 10042" in desk.run("check", BRACKET, "--member", "10042", status=2)
    desk.run("member", "suspend", "10041", "--reason", "left a watch")
    assert found(check("--member", "10041", status=2), "not-permitted")
    desk.run("member", "resume", "10041")
    assert check("--member", "10041")["verdict"] == "clear"


def allowance_and_waivers():
    desk.run("term", "open", "autumn-2026", by="keeper")
    proof = check("--member", "10041", job=PLINTH, status=1)
    need = proof["facts"]["filament_mm"] / 1000
    assert need > 30, "the demo's plinth is above the allowance for one run"
    assert found(proof, "over-allowance")["grade"] == "ask"
    desk.run("waive", "give", "10041", "5", "--reason", "r", "--job", PLINTH)
    says = found(check("--member", "10041", job=PLINTH, status=1), "over-allowance")["says"]
    assert "by waiver" in says and "%.1f m" % (need - 35) in says, says
    desk.run("waive", "give", "10041", "5", "--reason", "r", "--job", BRACKET)  # another job's does not help
    assert found(check("--member", "10041", job=PLINTH, status=1), "over-allowance")
    desk.run("waive", "give", "10041", "%.2f" % (need - 35 + 0.01), "--reason", "r")
    assert not found(check("--member", "10041", job=PLINTH), "over-allowance")


def spools():
    # of the 9.6 g that the bracket takes, and the 5 g at a spool's end that the shop does not rely on
    need = check()["facts"]["filament_g"]
    assert abs(need - check()["facts"]["filament_mm"] / 1000 * 2.40528 * 1.27) < 0.01
    for name, left in [("S1", need + 4), ("S2", need * 1.1 + 6), ("S3", need - 1)]:
        desk.run("spool", "add", name, "--material", "petg", "--tare", "230", "--gross", "%.3f" % (230 + left))
    assert "can't be relied on" in found(check("--spool", "S1", status=1), "spool-short")["says"]
    assert not found(check("--spool", "S2"), "spool-short")
    assert "are missing" in found(check("--spool", "S3", status=1), "spool-short")["says"]
    desk.run("machine", "fit", "Alder", "--spool", "S3")  # what is loaded counts where no spool is named
    assert found(check(status=1), "spool-short")
    assert not found(check("--spool", "S2"), "spool-short")
    desk.run("machine", "fit", "Alder", "--spool", "S2")
    assert not found(check(), "spool-short")
    assert "no spool S9" in desk.run("check", BRACKET, "--machine", "Alder", "--spool", "S9", status=2)
    desk.run("spool", "add", "P1", "--material", "pla", "--net", "1000", "--tare", "230", "--gross", "1230")
    assert check("--spool", "P1", status=1)["materials"] == ["pla"]  # the spool says what it would be printed in
    assert check("--spool", "P1", "--material", "petg")["materials"] == ["petg"]


def machines():
    assert not found(check(machine="Birch"), "machine-taken")
    desk.run("run", "hand-out", "10041", BRACKET, "--machine", "Birch")
    run = desk.js("machine", "show", "Birch")
    run = run.get("run") or run["machines"][0]["run"]
    taken = found(check(machine="Birch", status=1), "machine-taken")
    assert taken["grade"] == "ask" and "run %d" % run in taken["says"], taken
    desk.run("run", "take-back", "--machine", "Birch")
    assert not found(check(machine="Birch"), "machine-taken")
    desk.run("machine", "tag", "Birch", "--reason", "the nozzle leaks")
    taken = found(check(machine="Birch", status=2), "machine-taken")
    assert taken["grade"] == "stop" and "the nozzle leaks" in taken["says"]
    rows = {m["machine"]: m["verdict"] for m in desk.js("check", BRACKET)["machines"]}
    assert rows["Birch"] == "stop" and rows["Cedar"] == "clear", rows
    desk.run("machine", "clear", "Birch")


def gap_and_nozzle():
    assert not found(check(machine="Cedar"), "gap-unverified")  # the book has never heard of a change
    desk.run("machine", "fit", "Cedar", "--nozzle", "0.25")
    assert found(check(machine="Cedar", status=1), "gap-unverified")
    desk.run("machine", "gap", "Cedar")
    proof = check(machine="Cedar", status=1)
    assert not found(proof, "gap-unverified")
    # a first layer of 0.25 mm is too high for a nozzle of 0.25 mm: that one is proved, not the shop file's 0.4
    assert "0.25 mm nozzle" in found(proof, "first-layer-too-thick")["says"], proof["findings"]
    desk.run("machine", "fit", "Cedar", "--nozzle", "0.4")
    desk.run("machine", "gap", "Cedar")
    assert check(machine="Cedar")["verdict"] == "clear"


def ranges_that_learn():
    desk.run("spool", "add", "S4", "--material", "petg", "--tare", "230", "--gross", "1230")
    desk.run("machine", "fit", "Alder", "--spool", "S4")
    model, seconds = check()["ranges"], check()["facts"]["seconds"]
    assert model["from"] == "model"
    for i in range(8):  # every run takes a quarter longer than the model says
        desk.at("2026-11-27T%02d:00" % (10 + i))
        desk.run("run", "hand-out", "10041", BRACKET, "--machine", "Alder", "--yes")
        at = desk.js("machine", "show", "Alder")
        number = at.get("run") or at["machines"][0]["run"]
        desk.run("run", "start", number, "--all-good")
        minutes = round(seconds * 1.25 / 60)
        desk.at("2026-11-27T%02d:58" % (10 + i))
        desk.run("run", "ended", number, "--took", "%d:%02d" % (minutes // 60, minutes % 60))
        desk.run("run", "take-back", "--machine", "Alder")
        desk.run("run", "outcome", number, "good")
    learned = check("--material", "petg")["ranges"]
    low, high = learned["seconds"]
    assert learned["from"] == "this machine's runs", learned
    assert low < 1.25 * seconds < high and low > 1.15 * seconds and high < 1.36 * seconds, (low, high, seconds)
    assert learned["filament_mm"] == model["filament_mm"], "nobody weighed anything"
    other = check(machine="Elm", status=2)["ranges"]
    assert other["from"] in ("all machines' runs", "model"), other


def without_a_book():
    env = dict(desk.env)
    del desk.env["PROVEOUT_LEDGER"]
    try:
        assert not found(check(machine="Birch"), "machine-taken")
        assert "no book" in desk.run("check", BRACKET, "--member", "10041", status=4)
    finally:
        desk.env = env


run_tests(desk, [permission, allowance_and_waivers, spools, machines, gap_and_nozzle, ranges_that_learn, without_a_book])
