#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Hand-out and take-back over the network: offers, decisions, the stick, keys sent twice, a server that is killed.

usage: desk_hand_out_test.py PROVEOUT SHOP"""
import fcntl
import hashlib
import http.client
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time

from desk_kit import Desk, run_tests, tube

PROVEOUT, SHOP = (os.path.abspath(a) for a in sys.argv[1:3])
STICKS = os.path.realpath(tempfile.mkdtemp(prefix="sticks-"))
desk = Desk(PROVEOUT, SHOP, change=tuple((f"mount: /media/{n}", f"mount: {STICKS}/{n}") for n in ("a1", "b1", "c1", "d1", "e1")))
WORDS = {"k1": "keeper of Quayside", "d1": "desk of Quayside", "m1": "member of Quayside"}
JOB = tube().encode()
SHA = hashlib.sha256(JOB).hexdigest()
KEPT = {}


class Server:
    def __init__(self, port=0, env=None):
        self.process = subprocess.Popen([PROVEOUT, "desk", "--listen", f"127.0.0.1:{port}"], cwd=desk.where, stdout=subprocess.PIPE,
                                        stderr=subprocess.DEVNULL, env=dict(desk.env, PROVEOUT_CLOCK=desk.clock, **(env or {})))
        line = self.process.stdout.readline().decode()
        assert line.startswith("The desk answers at http"), line
        self.port = int(re.search(r":(\d+)/", line)[1])

    def stop(self, how=signal.SIGTERM):
        self.process.send_signal(how)
        status = self.process.wait(30)
        self.process.stdout.close()
        return status


class Client:
    def __init__(self, server, member=None):
        self.server, self.cookie, self.token = server, None, None
        if member:
            reply = self.ask("POST", "/api/1/session", {"member": member, "password": WORDS[member]})
            assert reply.status == 200, reply.data
            self.cookie, self.token = reply.getheader("Set-Cookie").split(";")[0], json.loads(reply.data)["token"]

    def ask(self, method, path, body=None, raw=None, headers=None):
        given = {"Cookie": self.cookie} if self.cookie else {}
        if method == "POST":
            given["Content-Type"] = "application/json"
            if self.token:
                given["X-Proveout-Token"] = self.token
        given.update(headers or {})
        c = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=60)
        c.request(method, path, raw if raw is not None else json.dumps(body or {}).encode() if method == "POST" else None, given)
        reply = c.getresponse()
        reply.data = reply.read()
        c.close()
        return reply

    def post(self, path, status=200, **body):
        reply = self.ask("POST", path, body)
        assert reply.status == status, (path, body, reply.status, reply.data[:600])
        return json.loads(reply.data)

    def get(self, path, status=200):
        reply = self.ask("GET", path)
        assert reply.status == status, (path, reply.status, reply.data[:600])
        return json.loads(reply.data)

    def send(self, data, name="tube.gcode"):
        reply = self.ask("POST", "/api/1/files", raw=data, headers={"Content-Type": "application/octet-stream", "X-Proveout-Name": name})
        assert reply.status == 200, reply.data
        return json.loads(reply.data)["file"]

    def offers(self, sha=SHA, member="m1", status=200, **more):
        for _ in range(4):
            got = self.post("/api/1/hand-out", status, member=member, file=sha, **more)
            if got.get("state", "done") == "done":
                return got
        raise AssertionError(got)

    def confirm(self, key, machine="Alder", sha=SHA, member="m1", status=200, **more):
        return self.post("/api/1/hand-out/confirm", status, key=key, member=member, file=sha, machine=machine, **more)


def last_event():
    return desk.js("ledger", "events", "--limit", "1000")["events"][-1]["event"]


def offer(got, machine):
    return next(o for o in got["offers"] if o["machine"] == machine)


def setting_up():
    for member, role in (("k1", "keeper"), ("d1", "desk"), ("m1", "member"), ("m2", "member")):
        desk.run("member", "enrol", member, "--role", role, by="keeper")
    for member, word in WORDS.items():
        desk.run("desk", "password", member, given=word.encode() + b"\n")
    desk.run("permit", "grant", "m1", "starter", by="k1")
    desk.run("term", "open", "autumn-2026", "--allowance", "120", by="k1")
    desk.run("spool", "add", "p1", "--material", "petg", "--net", "900", by="k1")
    desk.run("machine", "fit", "Alder", "--spool", "p1", by="k1")
    for stick, machine in (("A1", "Alder"), ("B1", "Birch")):
        desk.run("stick", "add", stick, machine, by="k1")
        os.mkdir(os.path.join(STICKS, stick.lower()))
    global main
    main = Server()
    KEPT["desk"], KEPT["keeper"], KEPT["member"], KEPT["kiosk"] = Client(main, "d1"), Client(main, "k1"), Client(main, "m1"), Client(main)
    assert KEPT["kiosk"].send(JOB) == SHA


def roles():
    before = last_event()
    routes = [("POST", "/api/1/hand-out"), ("POST", "/api/1/hand-out/confirm"), ("GET", "/api/1/hand-out/k?machine=Alder"),
              ("GET", "/api/1/stick-look?machine=Alder"), ("POST", "/api/1/stick-write"), ("POST", "/api/1/take-back"),
              ("POST", "/api/1/take-back/confirm")]
    for method, path in routes:
        assert KEPT["kiosk"].ask(method, path).status == 401, path
        assert KEPT["member"].ask(method, path).status == 403, path
        for role in ("desk", "keeper"):
            assert KEPT[role].ask(method, path).status not in (401, 403, 404, 500), path
        if method == "POST":
            assert KEPT["desk"].ask(method, path, headers={"X-Proveout-Token": "0" * 64}).status == 403, path
    assert last_event() == before


def what_is_refused():
    c, before = KEPT["desk"], last_event()
    c.offers(sha="0" * 64, status=404)
    c.offers(member="nobody", status=404)
    c.offers(sha="zz", status=422)
    part = KEPT["kiosk"].send(b"solid s\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 9 0 0\nvertex 0 9 0\nendloop\nendfacet\nendsolid s\n", "a.stl")
    assert c.offers(sha=part, status=422)["where"] == "file"
    assert c.confirm("k", machine="None", status=422)["where"] == "machine"
    for body in ({"um": 5}, {"seconds": 5}, {"verdict": "clear"}, {"any_of": ["x"]}):  # figures are the server's own
        assert c.confirm("k", status=422, **body)["where"] == "body", body
    assert c.offers(member="m2")["offers"][0]["may"] is False  # without the permission
    assert c.confirm("k", member="m2", status=409)["where"] == "any_of"
    assert last_event() == before


def the_offers():
    """Alder has spool and stick by the book, so it comes first; who may not be used come last, each with why."""
    got = KEPT["desk"].offers()
    assert got["state"] == "done" and got["name"] == "tube.gcode" and len(got["slip"]) == 9
    names = [o["machine"] for o in got["offers"]]
    assert names[0] == "Alder" and sorted(names) == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"], names
    alder = got["offers"][0]
    assert alder["may"] and alder["stick"] == "A1" and alder["spool_known"] and not alder["mounted"], alder
    assert alder["spools"][0]["spool"] == "p1" and alder["spools"][0]["left_mg"] == 900000, alder["spools"]
    may = [o["may"] for o in got["offers"]]
    assert may == sorted(may, reverse=True) and all(o["says"] for o in got["offers"] if not o["may"])
    proved = desk.js("check", desk.write("tube.gcode", JOB)[0], "--machine", "Alder", "--member", "m1", status=0 if alder["verdict"] == "clear" else 1)
    assert abs(alder["um"] / 1000 - proved["facts"]["filament_mm"]) < 0.01 and alder["need_um"] == 0
    assert got["who"]["balance"]["left_um"] == 120000000


def decision(o):
    return {"yes": True, "reason": "looked at it"} if "verdict" in o["asks"] else {}


def the_stick_first():
    """An ordinary folder is no stick unless a person says so; a faulty one books nothing."""
    c, before = KEPT["desk"], last_event()
    yes = decision(offer(c.offers(), "Alder"))
    KEPT["yes"] = yes
    said = c.confirm("k1", status=409, **yes)
    assert said["where"] == "stick" and "ordinary folder" in said["detail"], said
    folder = os.path.join(STICKS, "a1")
    os.rmdir(folder)
    assert "no stick shows" in c.confirm("k1", status=409, **yes)["detail"]
    assert c.confirm("k1", status=409, folder=True, **yes)["where"] == "stick"  # pulled out
    with open(folder, "w"):
        pass
    assert c.confirm("k1", status=409, folder=True, **yes)["where"] == "stick"  # something else
    os.remove(folder)
    os.symlink("/dev/full", folder)
    assert c.confirm("k1", status=409, folder=True, **yes)["where"] == "stick"
    os.remove(folder)
    os.mkdir(folder)
    os.mkdir(os.path.join(folder, ".proveout-new"))  # what is in its way can't be taken away
    said = c.confirm("k1", status=409, folder=True, **yes)
    assert said["where"] == "stick" and "nothing is booked" in said["detail"], said
    os.rmdir(os.path.join(folder, ".proveout-new"))
    assert last_event() == before and os.listdir(folder) == []


def mounts():
    """A file system of its own that is full, read-only or gone: where this may be mounted (as root, in a container that lets one)."""
    c, folder, before = KEPT["desk"], os.path.join(STICKS, "a1"), last_event()
    tried = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8k", "tmpfs", folder], capture_output=True)
    if tried.returncode != 0:
        print("mounts: nothing may be mounted here, so full and read-only sticks are not tried")
        return
    try:
        assert offer(c.offers(), "Alder")["mounted"]
        said = c.confirm("k1", status=409, **KEPT["yes"])
        assert said["where"] == "stick" and "No space left" in said["detail"], said
        assert os.listdir(folder) == []
        subprocess.run(["mount", "-o", "remount,ro,size=8m", folder], check=True, capture_output=True)
        said = c.confirm("k1", status=409, **KEPT["yes"])
        assert said["where"] == "stick" and "Read-only" in said["detail"], said
        assert last_event() == before
    finally:
        subprocess.run(["umount", folder], capture_output=True)


def booked_once():
    c, folder = KEPT["desk"], os.path.join(STICKS, "a1")
    with open(os.path.join(folder, "tube.gcode"), "w") as f:
        f.write("somebody else's\n")
    before = last_event()
    assert c.get("/api/1/hand-out/k1?machine=Alder") == {"format": "proveout/handed-out/1", "booked": False}
    replies = []

    def go():
        replies.append(c.confirm("k1", folder=True, **KEPT["yes"]))

    both = [threading.Thread(target=go) for _ in range(3)]  # the page sent it more than once
    for t in both:
        t.start()
    for t in both:
        t.join()
    assert len(replies) == 3 and len({r["run"]["run"] for r in replies}) == 1, replies
    assert sum(not r["again"] for r in replies) == 1
    run = replies[0]["run"]
    events = desk.js("ledger", "events", "--after", str(before))["events"]
    assert [e["act"] for e in events] == ["proof-keep", "run-hand-out"] and events[1]["by"] == "d1", events
    body = events[1]["body"]
    assert body["key"] == "k1" and body["stick"] == "A1" and body["spool"] == "p1" and body["um"] == run["reserved_um"]
    assert (body["verdict"] == "ask") == bool(KEPT["yes"]) and body.get("leave") == KEPT["yes"].get("reason")
    with open(os.path.join(folder, "tube.gcode")) as f:
        assert f.read() == "somebody else's\n"  # no other job's place is taken
    with open(os.path.join(folder, "tube-2.gcode"), "rb") as f:
        assert hashlib.sha256(f.read()).hexdigest() == SHA
    assert sorted(os.listdir(folder)) == ["tube-2.gcode", "tube.gcode"]
    stick = next(r["stick"] for r in replies if not r["again"])
    assert stick["written"] and stick["name"] == "tube-2.gcode" and stick["released"] == "flushed", stick
    again = c.get("/api/1/hand-out/k1?machine=Alder")
    assert again["booked"] and again["run"]["run"] == run["run"]
    said = c.confirm("another", status=409, folder=True, **KEPT["yes"])
    assert said["where"] == "machine", said  # another key, the machine is out
    KEPT["run"] = run["run"]
    look = c.get("/api/1/stick-look?machine=Alder")
    states = {f["name"]: f["state"] for f in look["files"]}
    assert states == {"tube.gcode": "no-job", "tube-2.gcode": "proved"}, states
    os.remove(os.path.join(folder, "tube-2.gcode"))
    assert c.post("/api/1/stick-write", 409, run=KEPT["run"])["where"] == "stick"
    assert c.post("/api/1/stick-write", run=KEPT["run"], folder=True)["stick"]["written"]
    assert sorted(os.listdir(folder)) == ["tube-2.gcode", "tube.gcode"]


def nobody_waits_for_a_stick_that_is_slow():
    """More wait for their turn at a stick than there are who answer: all others are answered all the same."""
    c, replies = KEPT["desk"], []
    turn = os.open(os.path.join(STICKS, "a1"), os.O_RDONLY | os.O_DIRECTORY)
    fcntl.flock(turn, fcntl.LOCK_EX)
    waiting = [threading.Thread(target=lambda: replies.append(c.post("/api/1/stick-write", run=KEPT["run"], folder=True))) for _ in range(6)]
    for t in waiting:
        t.start()
    time.sleep(0.5)
    began = time.monotonic()
    assert c.get("/health")["state"] == "ok" and time.monotonic() - began < 5
    assert not replies
    os.close(turn)
    assert c.post("/api/1/stick-write", run=KEPT["run"], folder=True)["stick"]["written"]
    for t in waiting:
        t.join()
    assert [r["stick"]["written"] for r in replies] == [True] * 6, replies


def taken_back():
    c = KEPT["desk"]
    assert c.post("/api/1/take-back", 422)["where"] == "run"
    assert c.post("/api/1/take-back", 409, stick="B1")["where"] == "stick"
    assert c.post("/api/1/take-back", 409, machine="Birch")["where"] == "machine"
    for said in ({"stick": "A1"}, {"stick": "alder"}, {"machine": "ALDER"}, {"run": KEPT["run"]}):
        got = c.post("/api/1/take-back", **said)
        assert got["run"] == KEPT["run"] and got["place"] == 1 and got["part_on_bed"] and got["symptoms"], got
    before = last_event()
    assert c.post("/api/1/take-back/confirm", 422, run=KEPT["run"], outcome="failed", figure="counter")["where"] == "used_um"
    done = c.post("/api/1/take-back/confirm", run=KEPT["run"], outcome="good", to="shelf", stick_there=True)
    assert [a["act"] for a in done["done"]] == ["run-ended", "run-off", "run-take-back", "run-outcome"], done
    assert done["place"] == 1 and last_event() == before + 4
    assert c.post("/api/1/take-back/confirm", 409, run=KEPT["run"], outcome="good")["where"] == "run"
    assert desk.js("machine", "show", "Alder")["state"] == "free"
    assert c.post("/api/1/take-back", 409, stick="A1")["where"] == "stick"


def a_failure_taken_back():
    c = KEPT["desk"]
    run = c.confirm("k2", folder=True, **KEPT["yes"])["run"]["run"]
    done = c.post("/api/1/take-back/confirm", run=run, outcome="failed", z_um=10000, symptom="it came loose", cause="handling", to="waste")
    assert [a["act"] for a in done["done"]] == ["run-failed", "run-outcome", "run-off", "run-take-back"], done
    row = desk.js("run", "show", run)
    assert 0.45 < row["used_um"] / row["reserved_um"] < 0.55 and row["outcome"] == "failed" and row["cause"] == "handling", row
    run = c.confirm("k3", folder=True, **KEPT["yes"])["run"]["run"]
    c.post("/api/1/take-back/confirm", run=run, outcome="stopped", z_um=5000, cause="file", figure="counter", used_um=700000)
    row = desk.js("run", "show", run)
    assert (row["outcome"], row["used_um"], row["figure"]) == ("stopped", 700000, "counter"), row
    assert any(m["run"] == run for m in desk.js("machine", "list")["machines"] if m["machine"] == "Alder" and m.get("run")) is False


def allowance():
    """What nobody has left is asked for; a waiver within the desk's limit goes with it, all or none."""
    c = KEPT["desk"]
    desk.run("run", "off", str(desk.js("run", "list", "--machine", "Alder")["runs"][0]["run"]), "--to", "waste", by="d1")
    data = tube(size=60, height=40).encode()
    sha = KEPT["kiosk"].send(data, "large.gcode")
    desk.run("term", "close", "autumn-2026", "--anyway", by="k1")
    desk.run("term", "open", "short", "--from", "2026-11-26", "--until", "2026-12-31", "--allowance", "1", by="k1")
    o = offer(c.offers(sha), "Alder")
    assert "allowance" in o["asks"] and o["need_um"] > 0, o
    yes, before = decision(o), last_event()
    said = c.confirm("k4", sha=sha, folder=True, status=409, **yes)
    assert said["where"] == "waive_um", said
    need = o["need_um"]
    assert c.confirm("k4", sha=sha, folder=True, status=409, waive_um=need - 10000, waive_reason="x", **yes)["where"] == "waive_um"
    assert c.confirm("k4", sha=sha, folder=True, status=422, waive_um=need, **yes)["where"] == "reason"  # the book wants one
    assert last_event() == before
    c.confirm("k4", sha=sha, folder=True, waive_um=need, waive_reason="for the open day", **yes)
    assert [e["act"] for e in desk.js("ledger", "events", "--after", str(before))["events"]] == ["waiver-give", "proof-keep", "run-hand-out"]
    KEPT["sha"] = sha
    run = desk.js("machine", "show", "Alder")["run"]
    c.post("/api/1/take-back/confirm", run=run, outcome="good", to="member")


def verdicts():
    """ask takes a yes and a reason, stop a keeper and a reason; nothing else opens them."""
    c, k = KEPT["desk"], KEPT["keeper"]
    paid = {"folder": True, "waive_um": 10000000, "waive_reason": "again"}
    hot, cold = (KEPT["kiosk"].send(tube(nozzle=n).encode(), f"at-{n}.gcode") for n in (262, 150))
    before = last_event()
    o = offer(c.offers(hot), "Alder")
    assert o["verdict"] == "ask" and "verdict" in o["asks"] and any(f["grade"] == "ask" for f in o["findings"]), o
    assert c.confirm("v1", sha=hot, status=409, **paid)["where"] == "verdict"
    assert c.confirm("v1", sha=hot, status=409, yes=True, **paid)["where"] == "reason"
    assert c.confirm("v1", sha=hot, status=422, yes=True, reason="", **paid)["where"] == "reason"
    o = offer(c.offers(cold), "Alder")
    assert o["verdict"] == "stop" and "leave" in o["asks"], o
    for more in ({}, {"yes": True, "reason": "I say so"}):
        assert c.confirm("v2", sha=cold, status=409, **paid, **more)["where"] == "verdict", more
    assert k.confirm("v2", sha=cold, status=409, yes=True, **paid)["where"] == "reason"
    assert last_event() == before
    for who, key, sha, verdict in ((c, "v1", hot, "ask"), (k, "v2", cold, "stop")):
        run = who.confirm(key, sha=sha, yes=True, reason="the keeper looked", **paid)["run"]
        assert (run["verdict"], run["leave"]) == (verdict, "the keeper looked"), run
        c.post("/api/1/take-back/confirm", run=run["run"], outcome="good", to="member")


def killed():
    """kill -9 at random moments of a confirmation: afterwards it is booked once or not at all, and the same key settles it."""
    global main
    c = KEPT["desk"]
    for turn in range(4):
        key, before = f"kill-{turn}", last_event()
        request = json.dumps({"key": key, "member": "m1", "file": SHA, "machine": "Alder", "folder": True, "waive_um": 10000000,
                              "waive_reason": "again", **KEPT["yes"]}).encode()
        head = (f"POST /api/1/hand-out/confirm HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {c.cookie}\r\nX-Proveout-Token: {c.token}\r\n"
                f"Content-Type: application/json\r\nContent-Length: {len(request)}\r\n\r\n").encode()
        c.offers()
        with socket.create_connection(("127.0.0.1", main.port), timeout=20) as s:
            s.sendall(head + request)
            if turn == 3:
                s.recv(100)  # answered: it must be there
            else:
                time.sleep((0.0005, 0.004, 0.02)[turn])
            main.stop(signal.SIGKILL)
        main = Server()
        c = KEPT["desk"] = Client(main, "d1")
        told = c.get(f"/api/1/hand-out/{key}?machine=Alder")
        n = last_event() - before
        assert n in (0, 3) and told["booked"] == (n == 3), (turn, n, told)
        assert turn < 3 or n == 3
        done = c.confirm(key, folder=True, waive_um=10000000, waive_reason="again", **KEPT["yes"])
        assert done["again"] == (n == 3) and last_event() == before + 3
        c.post("/api/1/take-back/confirm", run=done["run"]["run"], outcome="good", to="member")
    desk.run("ledger", "verify")


def the_end():
    assert main.stop() == 0
    shutil.rmtree(STICKS, ignore_errors=True)


run_tests(desk, [setting_up, roles, what_is_refused, the_offers, the_stick_first, mounts, booked_once, nobody_waits_for_a_stick_that_is_slow, taken_back, a_failure_taken_back,
                 allowance, verdicts, killed, the_end])
