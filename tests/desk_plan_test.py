#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The plan at the desk's server: the same as the verb's, what a change costs, what is kept of it; bedfuls; a calendar that changes.

usage: desk_plan_test.py PROVEOUT SHOP DESK_ACT
Thursday 26 November 2026, 10:00; the desk is open until 20:00. Alder, Birch and Cedar are alike and take the permission starter."""
import concurrent.futures
import datetime
import http.client
import json
import os
import re
import signal
import struct
import subprocess
import sys
import time
import zoneinfo

from desk_kit import Desk, run_tests

PROVEOUT, SHOP, ACT = (os.path.abspath(a) for a in sys.argv[1:4])
desk = Desk(PROVEOUT, SHOP, change=[("rules:\n", "outbox: {command: \"true\", on: true}\nrules:\n"),
                                    ("  closed:    [", "  calendars: [house.ics]\n  closed:    [")], clock="2026-11-26T10:00")
WORDS = {"d1": "desk of Quayside", "m1": "member of Quayside"}
RUNS, SERVER = {}, {}


def house(event=""):
    """The shop's calendar, as it is from now on."""
    with open(os.path.join(desk.where, "house.ics.new"), "w", encoding="utf-8", newline="") as f:
        f.write("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:test\r\n" + event + "END:VCALENDAR\r\n")
    os.rename(f.name, os.path.join(desk.where, "house.ics"))


house()


def ms(clock):
    return int(datetime.datetime.fromisoformat(clock).replace(tzinfo=zoneinfo.ZoneInfo("Europe/London")).timestamp() * 1000)


class Client:
    def __init__(self, port, member):
        self.port, self.cookie, self.token = port, None, None
        self.token = self.ask("POST", "/api/1/session", {"member": member, "password": WORDS[member]})["token"]

    def ask(self, method, path, body=None, status=200):
        c = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        headers = {"Content-Type": "application/json"} if method == "POST" else {}
        headers.update({"Cookie": self.cookie} if self.cookie else {}, **({"X-Proveout-Token": self.token} if self.token else {}))
        c.request(method, path, json.dumps(body or {}) if method == "POST" else None, headers)
        reply = c.getresponse()
        data = reply.read()
        if reply.getheader("Set-Cookie"):
            self.cookie = reply.getheader("Set-Cookie").split(";")[0]
        assert reply.status == status, (path, body, reply.status, data)
        return json.loads(data)

    def plan(self):
        plan = self.ask("GET", "/api/1/plan")
        return {r["run"]: r for r in plan["runs"]}, plan


def served(f):
    """One server for all tests: a sign-in costs a hash, and the clock stands."""
    def test():
        if "port" not in SERVER:
            with open(os.path.join(desk.where, "log"), "ab") as log:
                SERVER["process"] = subprocess.Popen([PROVEOUT, "desk", "--listen", "127.0.0.1:0"], env=dict(desk.env, PROVEOUT_CLOCK=desk.clock), stderr=log,
                                                     stdout=subprocess.PIPE, cwd=desk.where)
            SERVER["port"] = int(re.search(r":(\d+)/", SERVER["process"].stdout.readline().decode())[1])
            SERVER["client"] = Client(SERVER["port"], "d1")
        f(SERVER["client"])
    test.__name__ = f.__name__
    return test


def it_stops():
    SERVER["process"].send_signal(signal.SIGTERM)
    assert SERVER["process"].wait(30) == 0
    SERVER["process"].stdout.close()


def book(name, **body):
    done = subprocess.run([ACT, desk.book, str(ms(desk.clock)), name, "keeper", json.dumps(body)], capture_output=True, timeout=30, check=False)
    assert done.returncode == 0, (name, done.stdout, done.stderr)


def reserve(member, seconds, **more):
    book("run-reserve", member=member, um=1000000, seconds=seconds, **more)
    return max(r["run"] for r in desk.js("run", "list")["runs"])


def about(points_1000, hoped):
    """Steps of 5 minutes are weighed in whole thousandths of a point."""
    return abs(points_1000 - hoped) <= abs(hoped) * 0.006


def last_event(c):
    return c.ask("GET", "/api/1/plan")["event"]


def setting_up():
    desk.run("term", "open", "t1", "--from", "2026-09-21", "--until", "2027-02-28", "--allowance", "500", by="keeper")
    for member, role in (("d1", "desk"), ("m1", "member"), ("m2", "member"), ("m3", "member"), ("m4", "member")):
        desk.run("member", "enrol", member, "--role", role, by="keeper")
        desk.run("permit", "grant", member, "starter")
        if member in WORDS:
            desk.raw("desk", "password", member, given=(WORDS[member] + "\n").encode())


@served
def nobody_waits(c):
    runs, plan = c.plan()
    assert not runs and plan["format"] == "proveout/plan-now/1" and plan["points_1000"]["best"], plan


@served
def one_run_by_hand(c):
    """One that waits alone, 1 h long: an hour later is one hour of waiting more, 1 point (docs/schedule.md), and nothing else."""
    for machine in ("Alder", "Birch", "Cedar"):
        book("proof-keep", sha256="ab" * 32, machine=machine, verdict="clear", um=1000000, seconds=3600, file="hook.gcode")
    run = RUNS["a"] = reserve("m1", 3600, sha256="ab" * 32, file="hook.gcode")
    runs, plan = c.plan()
    assert runs[run]["start_ms"] == ms("2026-11-26T10:00") and runs[run]["machines"] == ["Alder", "Birch", "Cedar"], runs
    here = runs[run]["machine"]
    as_it_is = c.ask("POST", "/api/1/plan/try", {"run": run})
    assert (as_it_is["costs_1000"], as_it_is["as_planned"], as_it_is["moves"], as_it_is["plan"]) == (0, True, [], plan["plan"]), as_it_is
    later = c.ask("POST", "/api/1/plan/try", {"run": run, "machine": here, "at": ms("2026-11-26T11:00")})
    assert later["costs_1000"] == later["points_1000"]["wait"] and about(later["costs_1000"], 1000) and later["start_ms"] == ms("2026-11-26T11:00"), later
    assert not later["as_planned"] and later["says"] == f"Run {run} on {here} at 11:00 costs 1.0 points more.", later["says"]
    closed = c.ask("POST", "/api/1/plan/try", {"run": run, "at": ms("2026-11-27T03:00")})  # nobody is there: the next good one
    assert closed["start_ms"] > closed["asked_ms"] and closed["start_ms"] >= ms("2026-11-27T08:00"), closed


@served
def the_same_as_the_verb(c):
    RUNS.update(b=reserve("m2", 3 * 3600, machine="Alder"), c=reserve("m3", 2 * 3600, machine="Alder"), d=reserve("m4", 3600, machine="Birch"))
    runs, plan = c.plan()
    verb = desk.js("plan", "queue")
    own = [{k: v for k, v in r.items() if k != "machines"} for r in plan["runs"]]
    assert own == verb["runs"] and plan["points_1000"] == verb["points_1000"] and plan["desk"] == verb["desk"], (own, verb["runs"])
    assert c.plan()[1]["plan"] == plan["plan"], "made once for all who ask"
    book("machine-tag", machine="Elm", reason="jammed")
    after = c.plan()[1]
    assert after["plan"] != plan["plan"] and after["event"] == plan["event"] + 1, (plan["plan"], after["plan"])
    with concurrent.futures.ThreadPoolExecutor(8) as pool:  # many at once: one plan, and each trial its own
        starts = [ms(f"2026-11-26T{h}:00") for h in (11, 12, 13, 14, 15, 16, 17, 18)]
        told = list(pool.map(lambda at: c.ask("POST", "/api/1/plan/try", {"run": RUNS["d"], "machine": "Birch", "at": at}), starts))
    assert [t["start_ms"] for t in told] == starts and {t["plan"] for t in told} == {after["plan"]}
    # only hours of waiting, for the desk is there at its end
    assert all(about(t["costs_1000"], 1000 * (i + 1)) for i, t in enumerate(told)), [t["costs_1000"] for t in told]


@served
def what_else_moves(c):
    runs, plan = c.plan()
    first, second = sorted((runs[RUNS["b"]], runs[RUNS["c"]]), key=lambda r: r["start_ms"])
    assert first["run"] == RUNS["c"] and second["start_ms"] >= first["free_ms"], "the short one first"
    said = c.ask("POST", "/api/1/plan/try", {"run": second["run"], "machine": "Alder", "at": ms("2026-11-26T10:00")})
    moved = [m for m in said["moves"] if m["run"] == first["run"]][0]
    assert said["start_ms"] == ms("2026-11-26T10:00") and moved["was_ms"] == first["start_ms"] < moved["start_ms"] >= said["free_ms"], said
    assert said["costs_1000"] > 0 and f"run {first['run']} then starts on Alder at" in said["says"], said["says"]
    # it waits longer by the hours that it moves, the other one is as much sooner
    hours = ((moved["start_ms"] - moved["was_ms"]) - (second["start_ms"] - said["start_ms"])) / 3600000
    assert hours > 0 and about(said["points_1000"]["wait"], 1000 * hours), (said["points_1000"], hours)
    RUNS["event"] = last_event(c)
    assert RUNS["event"] == plan["event"], "nothing is booked by trying"


@served
def refusals(c):
    _, plan = c.plan()
    for body, status, where in (({"run": 9999}, 404, "run"), ({"run": RUNS["b"], "machine": "Brich"}, 404, "machine"),
                                ({"run": RUNS["b"], "machine": "Birch"}, 409, "machine"), ({}, 422, "run")):
        said = c.ask("POST", "/api/1/plan/try", body, status=status)
        assert said["where"] == where, (body, said)
    at = ms("2026-11-26T12:00")
    good = {"plan": plan["plan"], "run": RUNS["d"], "machine": "Birch", "start": at}
    for change, status, where in (({"plan": "1-2"}, 409, "plan"), ({"start": ms("2026-11-27T03:00")}, 409, "start"), ({"machine": "Alder"}, 409, "machine"),
                                  ({"run": 9999}, 404, "run"), ({"start": "noon"}, 422, "start")):
        said = c.ask("POST", "/api/1/plan/keep", {**good, **change}, status=status)
        assert said["where"] == where, (change, said)
    Client(c.port, "m1").ask("GET", "/api/1/plan", status=403)
    assert last_event(c) == RUNS["event"]


@served
def kept_and_undone(c):
    runs, plan = c.plan()
    body = {"plan": plan["plan"], "run": RUNS["d"], "machine": "Birch", "start": ms("2026-11-26T12:00")}
    kept = c.ask("POST", "/api/1/plan/keep", body)
    assert [d["act"] for d in kept["done"]] == ["run-promise"] and kept["promised_ms"] == body["start"], kept
    again, _ = c.plan()
    r = again[RUNS["d"]]
    assert (r["promised_ms"], r["promised_machine"], r["stays"], r["start_ms"], r["machine"]) == (body["start"], "Birch", True, body["start"], "Birch"), r
    box = desk.js("outbox", "list")["messages"]
    assert len(box) == 1 and f"Your run {RUNS['d']} can start on Birch at 12:00" in box[0]["text"], box
    assert c.ask("POST", "/api/1/plan/keep", body, status=409)["where"] == "plan", "once"
    c.ask("POST", "/api/1/acts/undo", {"event": kept["done"][0]["event"]})
    assert c.plan()[0][RUNS["d"]]["promised_ms"] is None
    assert desk.js("outbox", "list")["messages"] == [], "the message goes with it"
    quiet = c.ask("POST", "/api/1/plan/keep", {**body, "plan": c.plan()[1]["plan"], "quiet": True})
    assert desk.js("outbox", "list")["messages"] == [] and quiet["done"][0]["act"] == "run-promise"


@served
def a_promise_that_moves_with_it(c):
    """Birch is jammed: what was promised there is planned elsewhere; who goes before it now moves it once more, and it is told."""
    book("run-promise", run=RUNS["a"], promised=ms("2026-11-26T12:00"), machine="Cedar")
    book("machine-tag", machine="Cedar", reason="jammed")
    book("machine-tag", machine="Birch", reason="jammed")
    book("machine-tag", machine="Dogwood", reason="jammed")
    runs, plan = c.plan()
    a = runs[RUNS["a"]]
    assert a["moved"] and a["why_moved"] == "Cedar is out of use" and a["placed"] and a["machine"] == "Alder", a
    said = c.ask("POST", "/api/1/plan/try", {"run": RUNS["b"], "machine": "Alder", "at": a["start_ms"]})
    moves = {m["run"]: m for m in said["moves"]}
    assert moves[RUNS["a"]]["promised"] and moves[RUNS["a"]]["start_ms"] > a["start_ms"], said
    before = last_event(c)
    kept = c.ask("POST", "/api/1/plan/keep", {"plan": said["plan"], "run": RUNS["b"], "machine": "Alder", "start": said["start_ms"]})
    assert [d["act"] for d in kept["done"]] == ["run-promise", "run-promise"] and last_event(c) == before + 2, kept
    told = desk.js("run", "show", RUNS["a"])
    assert told["promised_ms"] == moves[RUNS["a"]]["start_ms"] and told["machine"] == "Alder", told
    box = [m["text"] for m in desk.js("outbox", "list")["messages"]]
    assert len(box) == 2 and any(f"Your run {RUNS['a']}" in t and "not as promised before" in t for t in box), box
    assert desk.run("plan", "moved", status=1).count("Run ") == 1  # only what Birch was promised


@served
def a_calendar_that_changes(c):
    """What its file says from then on counts without a new start; what can't be read changes nothing, and the log says so."""
    def hours():
        time.sleep(1.05)  # it is looked at once a second at most
        c.ask("POST", "/api/1/acts/note-leave", {"text": "look again"})
        return [(s["from_ms"], s["until_ms"]) for s in c.plan()[1]["desk"]]

    def event(start, end):
        return f"BEGIN:VEVENT\r\nUID:1\r\nDTSTAMP:20261101T000000Z\r\nSUMMARY:Closed\r\nDTSTART;TZID=Europe/London:{start}\r\nDTEND;TZID=Europe/London:{end}\r\nEND:VEVENT\r\n"

    assert c.plan()[1]["desk"][0]["until_ms"] == ms("2026-11-26T20:00")
    house(event("20261126T120000", "20261126T133000"))
    cut = [(ms("2026-11-26T10:00"), ms("2026-11-26T12:00")), (ms("2026-11-26T13:30"), ms("2026-11-26T20:00"))]
    assert cut == hours()[:2]
    house("BEGIN:VEVENT\r\nDTSTART:20261340\r\nEND:VEVENT\r\n")
    assert cut == hours()[:2]
    with open(os.path.join(desk.where, "log"), encoding="utf-8") as f:
        assert any("hours stay as they were" in line and "house.ics" in line for line in f)
    house()
    assert (ms("2026-11-26T10:00"), ms("2026-11-26T20:00")) in hours()


def raw(c, method, path, body=None, **headers):
    line = http.client.HTTPConnection("127.0.0.1", c.port, timeout=60)
    line.request(method, path, body, {"Cookie": c.cookie, "X-Proveout-Token": c.token, **{k.replace("_", "-"): v for k, v in headers.items()}})
    reply = line.getresponse()
    return reply.status, reply.read()


@served
def bedfuls(c):
    """Laid out apart from those who answer: to its end, and stopped with the best so far kept."""
    p = [(60 * (i & 1), 40 * (i >> 1 & 1), 30 * (i >> 2)) for i in range(8)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    triangles = [t for a, b, k, d in faces for t in ((p[a], p[b], p[k]), (p[a], p[k], p[d]))]
    stl = b"part".ljust(80) + struct.pack("<I", 12) + b"".join(struct.pack("<12fH", 0, 0, 0, *t[0], *t[1], *t[2], 0) for t in triangles)
    status, said = raw(c, "POST", "/api/1/files", stl, Content_Type="application/octet-stream", X_Proveout_Name="bracket.stl")
    assert status == 200, said
    file = json.loads(said)["file"]

    def until(now, done):
        while not done(now):
            now = c.ask("GET", f"/api/1/bedfuls/{now['bedfuls']}?wait=1")
        return now

    asked = {"machine": "Alder", "files": [file], "copies": [20], "turns": "quarter"}
    end = until(c.ask("POST", "/api/1/bedfuls", asked), lambda a: a["state"] in ("done", "failed"))
    assert end["state"] == "done" and len(end["result"]["bedfuls"]) == end["result"]["at_least"] == end["files"] == 2, end
    assert sum(len(b["places"]) for b in end["result"]["bedfuls"]) == 20 and end["result"]["parts"][0]["file"] == "bracket.stl"
    for path, begins in (("picture.svg", b"<"), ("bedful.3mf?bedful=2", b"PK")):
        status, body = raw(c, "GET", f"/api/1/bedfuls/{end['bedfuls']}/{path}")
        assert status == 200 and body.startswith(begins), (path, status, body[:50])
    assert raw(c, "GET", f"/api/1/bedfuls/{end['bedfuls']}/bedful.3mf?bedful=3")[0] == 404
    # no layout takes fewer than 5 by area alone, which is not to be had in a moment: it would go on for its 100 seconds
    first = until(c.ask("POST", "/api/1/bedfuls", {**asked, "copies": [71], "seconds": 100, "clearance_um": 8000}), lambda a: a["result"])
    began = time.monotonic()
    c.ask("POST", f"/api/1/bedfuls/{first['bedfuls']}/stop")
    end = until(first, lambda a: a["state"] in ("done", "failed"))
    assert time.monotonic() - began < 20 and end["state"] == "done" and end["stopped"] and end["files"] == len(end["result"]["bedfuls"]), end
    assert sum(len(b["places"]) for b in end["result"]["bedfuls"]) == 71
    c.ask("POST", "/api/1/bedfuls", {**asked, "copies": [0]}, status=422)
    c.ask("POST", "/api/1/bedfuls", {**asked, "machine": "Elm", "finish_each": True}, status=422)
    c.ask("GET", "/api/1/bedfuls/" + "0" * 32, status=404)


run_tests(desk, [setting_up, bedfuls, a_calendar_that_changes, nobody_waits, one_run_by_hand, the_same_as_the_verb, what_else_moves, refusals, kept_and_undone, a_promise_that_moves_with_it,
                 it_stops])
