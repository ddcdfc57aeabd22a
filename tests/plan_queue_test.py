#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""plan queue, add, promise, moved and without through the binary, at the invented Quayside Workshop.

usage: plan_queue_test.py PROVEOUT SHOP DESK_ACT
Thursday 26 November 2026, from 10:00; the desk is open until 20:00. Alder, Birch and Cedar are alike and take the permission starter."""
import datetime
import json
import os
import subprocess
import sys
from zoneinfo import ZoneInfo

from desk_kit import Desk, run_tests, tube

ACT = os.path.abspath(sys.argv[3])
LONDON = ZoneInfo("Europe/London")
desk = Desk(sys.argv[1], sys.argv[2], change=[("rules:\n", "outbox: {command: \"true\", on: true}\nrules:\n  plan_wait_points_h: 2\n")])
SHORT, _ = desk.write("short.gcode", tube(30, 4))
LONG, LONG_SHA = desk.write("long.gcode", tube(40, 20).replace("F1500", "F90"))  # some 9 h
MEMBERS = ["10041", "10042", "10043", "10044"]


def ms(clock):
    return int(datetime.datetime.fromisoformat(clock).replace(tzinfo=LONDON).timestamp() * 1000)


def wall(at):
    return datetime.datetime.fromtimestamp(at / 1000, LONDON).strftime("%Y-%m-%dT%H:%M")


def queue(status=0, *words):
    q = desk.js("plan", "queue", *words, status=status)
    assert q["format"] == "proveout/plan-queue/1" and q["points_1000"]["best"], q
    assert q["points_1000"]["bound"] == q["points_1000"]["cost"]
    return {r["run"]: r for r in q["runs"]}, q


def add(file, member, *words, **more):
    return desk.js("plan", "add", file, "--member", member, *words, **more)["run"]


def nobody_waits():
    assert desk.run("plan", "queue") == "Nobody waits."
    for m in MEMBERS:
        desk.run("member", "enrol", m)
        desk.run("permit", "grant", m, "starter")


def a_queue():
    # a member without permission for any machine is named, not planned
    desk.run("member", "enrol", "10049")
    other = add(SHORT, "10049")
    runs, q = queue()
    assert not runs and [r["run"] for r in q["left_out"]] == [other] and "permission" in q["left_out"][0]["says"], q
    desk.run("run", "drop", other)
    first = [add(LONG, m) for m in MEMBERS[:3]]
    last = add(SHORT, MEMBERS[3])
    runs, q = queue()
    # three machines, four runs: the short one first where it holds nobody up for long, all today
    assert set(runs) == {*first, last} and all(r["placed"] and r["machine"] in ("Alder", "Birch", "Cedar") for r in runs.values()), runs
    starts = sorted(wall(r["start_ms"]) for r in runs.values())
    assert starts[:3] == ["2026-11-26T10:00"] * 3 and starts[3].startswith("2026-11-26"), starts
    assert runs[last]["start_ms"] == ms("2026-11-26T10:00")
    for r in runs.values():
        assert r["end_range_ms"][0] < r["end_ms"] < r["end_range_ms"][1] and r["off_ms"] >= r["end_ms"] and 0 <= r["start_kept"] <= 1
    said = desk.run("plan", "queue")
    assert "No plan is better" in said and f"{last} {MEMBERS[3]}" in said, said


def one_machine_each():
    # a second run of a member waits while others do, though a machine were free for it
    before, _ = queue()
    second = add(SHORT, MEMBERS[0])
    runs, _ = queue()
    mine = [r for r in runs.values() if r["member"] == MEMBERS[0]]
    a, b = sorted(mine, key=lambda r: r["start_ms"])
    waits = [r for r in runs.values() if r["member"] != MEMBERS[0] and r["start_ms"] > b["start_ms"]]
    assert b["start_ms"] >= a["free_ms"] or not waits, runs
    assert len(runs) == len(before) + 1
    desk.run("run", "drop", second)


def promises():
    runs, _ = queue()
    told = desk.js("plan", "promise", *[str(r) for r in runs])["promises"]
    assert {p["run"]: (p["machine"], p["promised_ms"]) for p in told} == {n: (r["machine"], r["start_ms"]) for n, r in runs.items()}
    after, _ = queue()
    assert all(r["stays"] and not r["moved"] for r in after.values())
    assert {n: (r["machine"], r["start_ms"]) for n, r in after.items()} == {n: (r["machine"], r["start_ms"]) for n, r in runs.items()}
    box = desk.js("outbox", "list")["messages"]
    assert len(box) == len(runs) and all("can start on" in m["text"] and not any(x in m["text"] for x in MEMBERS) for m in box), box
    assert desk.run("plan", "moved") == "Every promise stands."
    # more runs leave the promised ones where they are
    more = add(SHORT, MEMBERS[1])
    again, _ = queue()
    assert all(again[n]["start_ms"] == r["start_ms"] for n, r in after.items()) and again[more]["start_ms"] > ms("2026-11-26T10:00")
    # one that can't be had is refused with what could be
    said = desk.run("plan", "promise", more, "--machine", "Birch", "--start", "03:00", status=2)
    assert "can't start on Birch" in said, said
    assert "shop has no machine" in desk.run("plan", "promise", more, "--machine", "Brich", status=4)
    desk.run("run", "drop", more)


def a_machine_out():
    runs, _ = queue()
    on_birch = {n for n, r in runs.items() if r["machine"] == "Birch"}
    assert on_birch
    out = desk.js("plan", "without", "Birch", status=1)
    assert out["format"] == "proveout/plan-without/1" and out["costs_1000"] > 0
    assert all(r["machine"] != "Birch" for r in out["runs"] if r["placed"])
    assert {r["run"] for r in out["runs"] if r["moved"]} == on_birch, out["runs"]
    assert "Nothing was booked" in desk.run("plan", "without", "Birch", status=1)
    assert queue()[0][min(on_birch)]["machine"] == "Birch"
    desk.run("machine", "tag", "Birch", "--reason", "jammed")
    moved = desk.js("plan", "moved", status=1)
    assert {m["run"] for m in moved["moved"]} == on_birch and not moved["booked"]
    assert all(m["why"] == "Birch is out of use" and m["machine"] != "Birch" for m in moved["moved"]), moved
    now, _ = queue(1)
    assert all(now[n]["start_ms"] == runs[n]["start_ms"] and now[n]["machine"] == runs[n]["machine"] for n in runs if n not in on_birch)
    before = len(desk.js("outbox", "list")["messages"])
    kept = desk.js("plan", "moved", "--keep")
    assert kept["kept"] == len(on_birch) and len(desk.js("outbox", "list")["messages"]) == before + len(on_birch)
    assert desk.run("plan", "moved") == "Every promise stands."
    shown = desk.js("run", "show", min(on_birch))
    assert shown["machine"] != "Birch" and shown["promised_ms"] == now[min(on_birch)]["start_ms"]


def what_cannot_be_met():
    late = add(LONG, MEMBERS[3], "--due", "2026-11-26T12:00")
    _, q = queue(1)
    lack = [x for x in q["cannot_be_met"] if x["run"] == late]
    assert len(lack) == 1 and not lack[0]["alone"] and lack[0]["earliest_off_ms"] > ms("2026-11-26T12:00"), q["cannot_be_met"]
    assert "Even with the shop to itself" in desk.run("plan", "queue", status=1)
    desk.run("run", "drop", late)
    # a course: nothing is booked by asking
    tried = desk.js("plan", "add", "--try", "--copies", "12", "--due", "2026-12-18", LONG)
    assert tried["format"] == "proveout/plan-try/1" and tried["copies"] == 12 and tried["late"] == 0
    assert tried["last_off_nine_of_ten_ms"] >= tried["last_off_ms"] > ms("2026-11-27T10:00")
    assert late not in {r["run"] for r in tried["runs"]}
    assert "would be late" in desk.run("plan", "add", "--try", "--copies", "12", "--due", "2026-11-27", LONG, status=1)
    assert "--copies goes with --try" in desk.run("plan", "add", "--copies", "12", "--member", MEMBERS[0], LONG, status=4)
    assert "--member is missing" in desk.run("plan", "add", LONG, status=4)


def what_is_on_a_machine():
    runs, _ = queue()
    n, r = min(((n, r) for n, r in runs.items() if r["machine"] == "Alder"), key=lambda x: x[1]["start_ms"])
    desk.run("run", "hand-out", r["member"], SHORT if r["file"] == "short.gcode" else LONG, "--run", n, "--machine", "Alder", "--yes")
    q = json.loads(desk.raw("plan", "queue", "--json", status=desk_status())[0])
    assert n not in {x["run"] for x in q["runs"]}
    alder = [m for m in q["machines"] if m["machine"] == "Alder"][0]
    assert alder["free_ms"] > ms("2026-11-26T10:00"), alder
    assert all(x["start_ms"] >= alder["free_ms"] or x["stays"] for x in q["runs"] if x["placed"] and x["machine"] == "Alder")


def desk_status():
    done = subprocess.run([desk.proveout, "plan", "queue"], capture_output=True, env=dict(desk.env, PROVEOUT_CLOCK=desk.clock), timeout=60, check=False)
    return done.returncode


def acts():
    runs = json.loads(desk.raw("plan", "queue", "--json", status=desk_status())[0])["runs"]
    run = runs[0]["run"]

    def act(**body):
        return subprocess.run([ACT, desk.book, str(ms(desk.clock)), "run-promise", "desk", json.dumps(body)], capture_output=True, timeout=60, check=False)

    assert act(run=run, promised=ms("2026-11-27T11:00"), machine="Cedar").returncode == 0
    assert desk.js("run", "show", run)["promised_ms"] == ms("2026-11-27T11:00")
    assert b"passed already" in act(run=run, promised=ms("2026-11-25T11:00")).stdout
    assert b"with a start" in act(run=run, machine="Cedar").stdout
    assert b"does not wait any more" in act(run=next(n for n in range(1, 500) if state(n) == "dropped"), promised=ms("2026-11-27T11:00")).stdout
    assert act(run=run).returncode == 0 and desk.js("run", "show", run).get("promised_ms") is None


def state(n):
    done = subprocess.run([desk.proveout, "run", "show", str(n), "--json"], capture_output=True, env=dict(desk.env, PROVEOUT_CLOCK=desk.clock), timeout=60, check=False)
    return json.loads(done.stdout).get("state") if done.returncode == 0 else None


def pictures():
    svg = desk.raw("plan", "queue", "--picture", "-", status=desk_status())[0]
    assert svg.startswith("<svg") and "Alder" in svg and "out of use" in svg and "promised" in svg
    for name, head in (("q.svg", b"<svg"), ("q.png", b"\x89PNG"), ("q.pdf", b"%PDF")):
        path = os.path.join(desk.where, name)
        desk.raw("plan", "when", SHORT, "--picture", path)
        with open(path, "rb") as f:
            assert f.read(4) == head[:4], name
    assert "expected a name that ends in" in desk.run("plan", "when", SHORT, "--picture", "q.bmp", status=4)
    assert "--steps 0" in desk.run("plan", "queue", "--steps", "0", status=4)


run_tests(desk, [nobody_waits, a_queue, one_machine_each, promises, a_machine_out, what_cannot_be_met, what_is_on_a_machine, acts, pictures])
