# SPDX-License-Identifier: Apache-2.0
"""GET /api/1/today: the same as the verb `today` says, with acts that do what they say, the day as strips, and an answer that is held only as
long as it is true. usage: desk_today_test.py PROVEOUT SHOP DESK_ACT"""
import concurrent.futures
import json
import math
import os
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request

sys.dont_write_bytecode = True
from desk_kit import Desk, run_tests, says  # noqa: E402

desk = Desk(sys.argv[1], sys.argv[2], clock="2026-11-26T14:00")
ACT = os.path.abspath(sys.argv[3])
SHA = "cd" * 32
KEPT = {}


class Server:
    """One at the desk's clock, which stands still."""

    def __init__(self):
        env = dict(desk.env, PROVEOUT_CLOCK=desk.clock)
        self.process = subprocess.Popen([desk.proveout, "desk", "--listen", "127.0.0.1:0"], env=env, stdout=subprocess.PIPE,
                                        stderr=subprocess.PIPE, cwd=desk.where)
        self.url = re.search(r"answers at (\S+?)/?\n", self.process.stdout.readline().decode())[1]
        self.said = []
        self.reader = threading.Thread(target=lambda: self.said.extend(self.process.stderr), daemon=True)
        self.reader.start()

    def ask(self, path, body=None, headers=None):
        """Status, header, object or None."""
        headers = dict(headers or {}, **({"Content-Type": "application/json"} if body is not None else {}))
        request = urllib.request.Request(self.url + path, None if body is None else json.dumps(body).encode(), headers)
        try:
            with urllib.request.urlopen(request, timeout=20) as got:
                text = got.read()
                return got.status, got.headers, json.loads(text) if text else None
        except urllib.error.HTTPError as e:
            text = e.read()
            return e.code, e.headers, json.loads(text) if text else None

    def sign_in(self, member, password):
        status, head, said = self.ask("/api/1/session", {"member": member, "password": password})
        assert status == 200, said
        return {"Cookie": head["Set-Cookie"].split(";")[0], "X-Proveout-Token": said["token"]}

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        assert self.process.wait(30) == 0
        self.reader.join(10)
        self.process.stdout.close()
        self.process.stderr.close()


def act(name, wait=True, **body):
    if "ms" not in KEPT:
        KEPT["ms"] = str(desk.js("today")["at_ms"])
    done = subprocess.run([ACT, desk.book, KEPT["ms"], name, body.pop("by", "keeper"), json.dumps(body)], capture_output=True, timeout=20,
                          env=desk.env)
    assert done.returncode == 0, done.stdout.decode() + done.stderr.decode()
    time.sleep(0.3 if "server" in KEPT and wait else 0)  # what other programs book is seen a quarter of a second later at most
    return json.loads(done.stdout)


def day(who="d1"):
    status, head, said = KEPT["server"].ask("/api/1/today", headers=KEPT[who])
    assert status == 200, said
    return said


def lines(kind):
    return [d for d in day()["due"] if d["kind"] == kind]


def press(row, word):
    """What the page does: the act as it was offered."""
    a = next(a for a in row["acts"] if a["word"] == word)
    status, _, said = KEPT["server"].ask("/api/1/acts/" + a["act"], a["body"], KEPT["d1"])
    assert status == 200, said
    return said


def a_house():
    for member, role in (("k1", "keeper"), ("d1", "desk"), ("m1", "member"), ("m2", "member")):
        desk.run("member", "enrol", member, "--role", role, by="keeper")
    for member in ("d1", "m1"):
        desk.raw("desk", "password", member, given=b"a word of Quayside\n")
    desk.run("term", "open", "autumn-2026", by="keeper")
    act("permit-grant", member="m1", permission="two-material")
    act("proof-keep", sha256=SHA, machine="Alder", verdict="clear", um=2_000_000, seconds=7200, first_bead_seconds=240,
        first_layer_seconds=840, hands=[5040], materials=["petg"])
    KEPT["run"] = act("run-hand-out", member="m1", machine="Alder", um=2_000_000, seconds=7200, sha256=SHA)["run"]
    KEPT["server"] = Server()
    for member in ("d1", "m1"):
        KEPT[member] = KEPT["server"].sign_in(member, "a word of Quayside")


def whose_it_is():
    assert KEPT["server"].ask("/api/1/today")[0] == 401
    assert KEPT["server"].ask("/api/1/today", headers=KEPT["m1"])[0] == 403
    got = KEPT["server"].ask("/api/1/today?x=1", headers=KEPT["d1"])
    assert got[0] == 400, got[0]
    assert KEPT["server"].ask("/api/1/today", {}, KEPT["d1"])[0] == 405


def the_same_as_the_verb():
    said = day()
    verb = desk.js("today")
    bare = [{k: v for k, v in d.items() if k != "acts"} for d in said["due"]]
    assert bare == verb["due"], (bare, verb["due"])
    assert said["days"][0]["hours"] == verb["hours"] and len(said["days"]) == 7
    assert said["format"] == "proveout/day/1" and said["at_ms"] == verb["at_ms"], (said["at_ms"], verb["at_ms"])
    # 29 November 2026 is a Sunday, on which the demo's shop is closed
    assert [len(d["hours"]) > 0 for d in said["days"]] == [True, True, True, False, True, True, True] or said["days"][3]["hours"] == []
    assert [s["machine"] for s in said["strips"]] == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]


def a_run_by_what_is_offered():
    run = KEPT["run"]
    row, = lines("start")
    assert row["about"]["machine"] == "Alder" and row["now"]
    press(row, "start")
    watch, = lines("watch")
    # the shop's 30 minutes, for the first layer takes (840 - 240) s = 10 min
    assert watch["at_ms"] == watch["about"]["until_ms"] == day()["at_ms"] + 30 * 60000 and not watch["now"]
    strip = next(s for s in day()["strips"] if s["machine"] == "Alder")
    assert [s["kind"] for s in strip["spans"]] == ["run", "watch"], strip
    # hands at 5040 s of the job, 4800 s after the first bead, while somebody is there
    assert strip["hands"] == [{"at_ms": day()["at_ms"] + 4800 * 1000, "run": run, "staffed": True}]
    # the end: (7200 - 240) s after the first bead, before anything was learned
    assert lines("end")[0]["at_ms"] == day()["at_ms"] + 6960 * 1000
    undo = press(watch, "good")["event"]
    assert not lines("watch")
    assert KEPT["server"].ask("/api/1/acts/undo", {"event": undo}, KEPT["d1"])[0] == 200
    assert len(lines("watch")) == 1
    press(lines("watch")[0], "good")
    press(lines("end")[0], "ended")
    off, = lines("off")
    with open(desk.shop, encoding="utf-8") as f:
        shop = f.read()
    petg = re.search(r"^  petg:.*?bed_c: \[(\d+), (\d+)\]", shop, re.S | re.M)
    room, tau = float(re.search(r"room_c: ([\d.]+)", shop)[1]), float(re.search(r"bed_tau_minutes: ([\d.]+)", shop)[1])
    below = float(re.search(r"collect_below_bed_c: ([\d.]+)", shop)[1])
    # Newton's law of cooling (handbook 7.6), from as hot as petg's bed may be
    minutes = tau * math.log((float(petg[2]) - room) / (below - room))
    assert abs(off["about"]["cool_ms"] - off["about"]["ended_ms"] - minutes * 60000) < 2, (off, minutes)
    assert off["at_ms"] == off["about"]["cool_ms"] and not off["now"]
    assert [a["word"] for a in off["acts"]] == ["shelf", "member", "waste"] and off["acts"][0]["body"]["place"] == 1
    press(off, "shelf")
    assert len(lines("back")) == 1 and not lines("off")


def tickets_by_what_is_offered():
    act("run-take-back", run=KEPT["run"], figure="proof", used_um=2_000_000)
    act("run-outcome", run=KEPT["run"], outcome="good", counts=True)
    act("ticket-take", member="m2")
    assert len(lines("ticket-next")) == 1, day()["due"]
    row, = lines("ticket-next")
    assert row["about"]["machine"] == "Alder"
    press(row, "call")
    row, = lines("ticket-called")
    assert row["about"]["offered"] == "Alder" and row["at_ms"] > day()["at_ms"]
    press(row, "declined")
    assert not lines("ticket-called")


def what_others_book_is_seen():
    before = day()
    act("note-leave", wait=False, text="The post comes at ten")  # by another program
    until = time.monotonic() + 1
    while day()["event"] == before["event"] and time.monotonic() < until:
        time.sleep(0.02)
    assert day()["note"]["text"] == "The post comes at ten"


def what_is_booked_here_is_seen_at_once():
    """No answer older than the act before it, however many ask: acts and questions of eight desks in turn."""
    def one(n):
        for k in range(6):
            status, _, done = KEPT["server"].ask("/api/1/acts/note-leave", {"text": f"note {n}.{k}"}, KEPT["d1"])
            assert status == 200
            got = day()
            assert got["event"] >= done["event"], (got["event"], done["event"])
    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        list(pool.map(one, range(8)))


def the_tag():
    status, head, said = KEPT["server"].ask("/api/1/today", headers=KEPT["d1"])
    assert head["Cache-Control"] == "no-store" and head["X-Content-Type-Options"] == "nosniff" and head["Content-Security-Policy"]
    again = KEPT["server"].ask("/api/1/today", headers=dict(KEPT["d1"], **{"If-None-Match": head["ETag"]}))
    assert again[0] == 304 and again[2] is None
    act("note-leave", text="something new")
    assert KEPT["server"].ask("/api/1/today", headers=dict(KEPT["d1"], **{"If-None-Match": head["ETag"]}))[0] == 200


def who_may_no_longer_is_out_at_once():
    """Also where the answer stands ready: the same is asked until it is answered without a worker, then the role goes."""
    for _ in range(20):
        day()
    status, _, _ = KEPT["server"].ask("/api/1/session/end", {}, KEPT["d1"])
    assert status == 200 and KEPT["server"].ask("/api/1/today", headers=KEPT["d1"])[0] == 401
    KEPT["d1"] = KEPT["server"].sign_in("d1", "a word of Quayside")
    for _ in range(20):
        day()
    desk.run("member", "suspend", "d1", "--reason", "away", by="keeper")  # by another program: within a second
    until, status = time.monotonic() + 1.2, 200
    while status == 200 and time.monotonic() < until:
        status = KEPT["server"].ask("/api/1/today", headers=KEPT["d1"])[0]
    assert status == 401, status


def nothing_personal_in_the_log():
    KEPT["server"].stop()
    text = b"".join(KEPT["server"].said).decode()
    rows = [json.loads(line) for line in text.splitlines()]
    mine = [r for r in rows if r.get("route") == "/api/1/today" and r["status"] == 200]
    assert len(mine) > 60 and all(r["role"] == "desk" and r["bytes"] > 500 and r["us"] >= 0 for r in mine), mine[:3]
    assert "d1" not in text and "m1" not in text


run_tests(desk, [a_house, whose_it_is, the_same_as_the_verb, a_run_by_what_is_offered, tickets_by_what_is_offered, what_others_book_is_seen,
                 what_is_booked_here_is_seen_at_once, the_tag, who_may_no_longer_is_out_at_once, nothing_personal_in_the_log])
