#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""care rates and care trend through the binary, on a book made here. usage: care_cli_test.py PROVEOUT SHOP DESK_ACT
Failures are put at hours worked out beforehand: NIST/SEMATECH e-Handbook 8.2.3.4's set of ten failures to 1500 hours (from memory), so that
Laplace's figure and the military handbook's are its."""
import json
import math
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


def next_failure():
    # steady: watched hours over 10.5 times F on 2 and 21 degrees; the median of F(2, m) is m/2 (2^(2/m) - 1)
    low, middle, high = desk.js("care", "trend", "Birch")["next_h"]
    assert abs(middle - 1500 * (2 ** (2 / 21) - 1)) < 1e-6 and low < middle < high, (low, middle, high)
    says(desk.run("care", "trend", "Birch"), "The next comes after", "half of the time within")
    assert desk.js("care", "trend", "Alder")["next_h"] == [None] * 3


def chart():
    out = desk.js("care", "chart")
    assert out["format"] == "proveout/care-chart/1" and out["each"] == "week", out
    assert sum(r["runs"] for r in out["rows"]) == 23 and sum(r["failed"] for r in out["rows"]) == 11, out
    assert abs(out["centre"] - 11 / 23) < 1e-12
    for r in out["rows"]:  # limits by each week's own number of runs
        half = 3 * math.sqrt(out["centre"] * (1 - out["centre"]) / r["runs"])
        assert abs(r["limits"][1] - min(1, out["centre"] + half)) < 1e-9 and abs(r["limits"][0] - max(0, out["centre"] - half)) < 1e-9
    assert len(desk.js("care", "chart", "--each", "month")["rows"]) < len(out["rows"])
    one = desk.js("care", "chart", "--machine", "alder")
    assert [sum(r[k] for r in one["rows"]) for k in ("failed", "runs")] == [1, 12], one
    picture = os.path.join(desk.where, "chart.svg")
    says(desk.run("care", "chart", "--machine", "Birch", "--picture", picture), "Birch: nothing that chance would not do")
    with open(picture, encoding="utf-8") as f:
        says(f.read(), "<svg", "Birch: failed runs by week", "nothing that chance would not do")
    says(desk.run("care", "chart", "--each", "day", status=4), "--each day: expected week or month")
    says(desk.run("care", "chart", "--picture", "chart.gif", status=4), ".svg, .png or .pdf")
    says(desk.run("care", "chart", "--from", "2027-05-01", status=2), "no run in the book came out good or failed")


def compare():
    out = desk.js("care", "compare")
    rows = {r["machine"]: r for r in out["rows"]}
    assert out["format"] == "proveout/care-compare/1" and out["left_out"] == 1, out
    assert (rows["Birch"]["failed"], rows["Birch"]["runs"], rows["Alder"]["failed"], rows["Alder"]["runs"]) == (10, 11, 0, 11), rows
    # Birch's long runs are a kind of its own, with nobody to be compared with: it is not blamed for those
    assert rows["Birch"]["verdict"] == "few" and rows["Birch"]["failed"] - rows["Birch"]["expected"] < 2, rows
    assert desk.js("care", "compare", "--any-cause")["left_out"] == 0
    says(desk.run("care", "compare"), "Birch: 10 of 11 runs failed", "too few to tell", "Left out: 1 failed by file")
    says(desk.run("care", "compare", "--from", "2027-05-01", status=2), "no run in the book")


def life():
    hours = "54,187,216,240,244,335,361,373,375,386," + ",".join(["500+"] * 10)  # e-Handbook 8.2.2.1; 8.4.1.2's scale (from memory)
    out = desk.js("care", "life", hours)
    assert out["failed"] == 10 and out["running"] == 10 and abs(out["scale_h"] - 606.528) < 1e-3 and out["verdict"] == "no-wear", out
    says(desk.run("care", "life", hours), "fails about as often old as new", "keep one in hand", "switched off")
    says(desk.run("care", "life", "--part", "A nozzle", "90,95,100,105,110,102"), "A nozzle wears out", "a tenth have failed by 9")
    says(desk.run("care", "life", "10,20+"), "1 failed and 1 still runs: too few to tell")
    says(desk.run("care", "life", "10,-3", status=4), "-3 is no number of hours")
    says(desk.run("care", "life", "10,0", status=4), "part 2 ran for 0 h")


def kept():
    """What tram and tune find goes into the history, and comes out with what changed; nothing is kept unasked."""
    desk.at("2030-01-07T10:00")
    says(desk.run("care", "measured", "Alder"), "Nothing was measured of it yet")
    desk.run("tune", "gap", "0.26,0.27,0.25,0.26,0.26", status=1)
    says(desk.run("tune", "gap", "--book", "0.26,0.25", status=4), "--book wants --machine")
    says(desk.run("tune", "gap", "--machine", "Aldr", "--book", "0.26,0.25,0.26", status=4), "the nearest is")
    says(desk.run("care", "measured", "Alder"), "Nothing was measured of it yet")
    desk.run("tune", "gap", "--machine", "Alder", "--book", "0.26,0.27,0.25,0.26,0.26", status=1)
    bed = os.path.join(desk.where, "bed.txt")
    with open(bed, "w", encoding="utf-8") as f:
        f.write("".join("%d %d %.3f\n" % (x, y, 0.05 + 0.001 * x) for x, y in ((30, 30), (190, 30), (110, 110), (30, 190), (190, 190))))
    desk.run("tram", "--machine", "Alder", "--screws", "30,30,M3;190,30,M3;110,190,M3", "--book", bed, status=1)
    desk.at("2030-01-08T10:00")
    says(desk.run("tune", "gap", "--machine", "Alder", "--book", "--note", "after the turn", "0.21,0.2,0.21,0.2,0.2"), "Kept in the history of Alder")
    said = desk.run("care", "measured", "Alder", "--kind", "gap")
    says(said, "gap: after the turn", "layer 204 um (-56)", "correction -4 um (+56)", "layer 260 um")
    assert "tram" not in said
    rows = desk.js("care", "measured", "Alder")["measures"]
    assert [r["kind"] for r in rows] == ["gap", "tram", "gap"], rows
    tram = rows[1]
    assert tram["figures"]["before_um"] == 160 and abs(tram["figures"]["after_um"]) <= 1, tram  # 160 mm at 1 um each
    assert tram["figures"]["tilt_mdeg"] == round(1000 * math.degrees(math.atan(0.001))), tram
    assert tram["readings"][1] == [190000, 30000, 240], tram
    says(desk.run("care", "measured", "Alder", "--kind", "level", status=4), "--kind level")


make()
run_tests(desk, [trend, rates, next_failure, chart, compare, life, kept])
