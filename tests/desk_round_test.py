#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Routes of the desk's pages: the round, a failure in one go, the shelf, tickets, the public screen; the same as the verbs say.

usage: desk_round_test.py PROVEOUT SHOP DESK_ACT"""
import datetime
import http.client
import json
import os
import re
import signal
import subprocess
import sys
import zoneinfo

from desk_kit import Desk, run_tests

PROVEOUT, SHOP, ACT = (os.path.abspath(a) for a in sys.argv[1:4])
desk = Desk(PROVEOUT, SHOP, clock="2026-11-25T21:00")
with open(desk.shop, encoding="utf-8") as f:
    text = f.read()
text = re.sub(r"(?m)^outbox:\n(?:[ #].*\n)*", "", text) + "\noutbox:\n  on: true\n  command: /bin/true\n"
with open(desk.shop, "w", encoding="utf-8") as f:
    f.write(text)
SHA = "ab" * 32
ZONE = re.search(r"(?m)^\s*time_zone:\s*(\S+)", text)[1].strip("\"'")
MACHINES = ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]
WORDS = {"d1": "desk of Quayside", "m1": "member of Quayside"}
KEPT = {}


class Server:
    def __init__(self, *options):
        with open(os.path.join(desk.where, "log"), "ab") as log:
            self.process = subprocess.Popen([PROVEOUT, "desk", "--listen", "127.0.0.1:0", *options], env=dict(desk.env, PROVEOUT_CLOCK=desk.clock),
                                            stderr=log, stdout=subprocess.PIPE, cwd=desk.where)
        line = self.process.stdout.readline().decode()
        self.port = int(re.search(r":(\d+)/", line)[1])

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        assert self.process.wait(30) == 0
        self.process.stdout.close()


class Client:
    def __init__(self, server, member=None):
        self.server, self.cookie, self.token = server, None, None
        if member:
            reply = self.ask("POST", "/api/1/session", {"member": member, "password": WORDS[member]})
            self.token = reply["token"]

    def ask(self, method, path, body=None, status=200, host=None):
        c = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=30)
        headers = {"Content-Type": "application/json"} if method == "POST" else {}
        if self.cookie:
            headers["Cookie"] = self.cookie
        if self.token:
            headers["X-Proveout-Token"] = self.token
        if host:
            headers["Host"] = host
        c.request(method, path, json.dumps(body or {}) if method == "POST" else None, headers)
        reply = c.getresponse()
        data = reply.read()
        if reply.getheader("Set-Cookie"):
            self.cookie = reply.getheader("Set-Cookie").split(";")[0]
        assert reply.status == status, (path, body, reply.status, data)
        return json.loads(data)


def ms(clock):
    return int(datetime.datetime.fromisoformat(clock).replace(tzinfo=zoneinfo.ZoneInfo(ZONE)).timestamp() * 1000)


def book(name, by="keeper", **body):
    """An act as it is, at the desk's clock; its answer."""
    done = subprocess.run([ACT, desk.book, str(ms(desk.clock)), name, by, json.dumps(body)], capture_output=True, timeout=30)
    assert done.returncode == 0, (name, done.stdout, done.stderr)
    return json.loads(done.stdout)


def served(f):
    def test():
        server = Server()
        try:
            f(Client(server, "d1"), server)
        finally:
            server.stop()
    test.__name__ = f.__name__
    return test


TABLE = [[0, 0, 300], [10000, 4000000, 1300], [30000, 12500000, 3300], [40000, 20000000, 4400]]


def out(machine, member="m1", spool="P1"):
    """A run out on a machine, started at the clock; its number is the event's."""
    book("run-hand-out", member=member, machine=machine, um=20000000, seconds=4400, sha256=SHA, file="hook.gcode", recipe="everyday", **({"spool": spool} if spool else {}))
    run = desk.js("machine", "list")["machines"]
    run = [m["run"] for m in run if m["machine"] == machine][0]
    book("run-start", run=run, heated=True, stream_steady=True, bed_clean=True, gap_good=True, spool_right=True)
    return run


def setting_up():
    desk.run("term", "open", "t1", "--from", "2026-09-21", "--until", "2027-02-28", "--allowance", "500", by="keeper")
    for member, role in (("d1", "desk"), ("m1", "member"), ("m2", "member")):
        desk.run("member", "enrol", member, "--role", role, by="keeper")
        if member in WORDS:
            desk.raw("desk", "password", member, given=(WORDS[member] + "\n").encode())
    for permission in re.findall(r"(?m)^  ([a-z-]+):", text.split("\npermissions:")[1].split("\n\n")[0]):
        book("permit-grant", member="m2", permission=permission)
    book("spool-add", spool="P1", material="petg", diameter_um=1750, density_mg_cm3=1270, tare_mg=230000, gross_mg=1230000)
    book("spool-add", spool="P2", material="petg", diameter_um=1750, density_mg_cm3=1270, tare_mg=230000, gross_mg=275000)
    for machine in MACHINES:
        book("proof-keep", sha256=SHA, machine=machine, verdict="clear", um=20000000, seconds=4400, file="hook.gcode", by_height=TABLE)
    desk.at("2026-11-25T22:00")
    KEPT["alder"], KEPT["birch"] = out("Alder"), out("Birch")
    desk.at("2026-11-26T09:10")


@served
def a_failure_in_one_go(c, server):
    """Worked by hand: 12.5 m + (20 - 12.5) * (34 - 30) / (40 - 30) = 15.5 m; 3300 s + 1100 s * 0.4 = 3740 s, of them 300 s before the first bead."""
    run = KEPT["alder"]
    said = c.ask("POST", "/api/1/round/failure", {"run": run, "z_um": 34000})
    assert (said["used_um"], said["used_seconds"], said["z_um"], said["height_um"]) == (15500000, 3740, 34000, 40000), said
    assert abs(said["used_mg"] - 15.5e3 * 3.14159265 * 0.875 ** 2 * 1.27) < 2, said["used_mg"]  # pi r^2 l rho
    assert said["at_ms"] == ms("2026-11-25T22:00") + 3440000 and said["at_from"] == "start", said
    assert said["at_low_ms"] < said["at_ms"] < said["at_high_ms"], said  # the model's own range
    assert (said["cause"], said["why"]) == ("unknown", "none"), said
    assert "Alder" in said["message"] and said["sends"] is True, said
    assert desk.js("run", "show", run)["state"] == "out"  # nothing was booked
    loose = c.ask("POST", "/api/1/round/failure", {"run": run, "z_um": 34000, "symptom": "loose"})
    assert (loose["cause"], loose["why"], loose["symptom"]) == ("handling", "symptom", "loose"), loose
    high = c.ask("POST", "/api/1/round/failure", {"run": run, "z_um": 40001}, status=422)
    assert high["where"] == "z_um" and "40.000 mm" in high["detail"], high
    assert c.ask("POST", "/api/1/round/failure", {"run": run}, status=422)["where"] in ("z_um", "at")
    assert c.ask("POST", "/api/1/round/failure", {"run": 999999, "z_um": 1}, status=404)
    assert c.ask("POST", "/api/1/round/failure", {"run": run, "z_um": 34000, "figure": 1}, status=422)["where"] == "body"
    # one that holds for all or none: no such place
    bad = {"run": run, "z_um": 34000, "at": said["at_ms"], "cause": "machine", "to": "shelf", "place": 9999, "back": True}
    assert c.ask("POST", "/api/1/round/failure/confirm", bad, status=422)["where"] == "place"
    assert desk.js("run", "show", run)["state"] == "out"
    good = {"run": run, "z_um": 34000, "at": said["at_ms"], "cause": "machine", "to": "waste", "recycled_mg": 47000, "back": True, "symptom": "shifted"}
    done = c.ask("POST", "/api/1/round/failure/confirm", good)["done"]
    assert [d["act"] for d in done] == ["run-failed", "run-outcome", "run-off", "run-take-back"], done
    told = desk.js("run", "show", run)
    assert (told["state"], told["failed_um"], told["cause"], told["ended_ms"]) == ("back", 15500000, "machine", said["at_ms"]), told
    assert told["symptom"] == "the layers are shifted sideways" and told["messages"][0]["text"] == said["message"], told
    assert c.ask("POST", "/api/1/round/failure/confirm", good, status=409)["where"] == "run"  # a second try books nothing
    KEPT["failed"] = told


def the_verb_says_the_same():
    """run failed on the command line, of a run like the one above: the same figures, causes, message."""
    run = KEPT["birch"]
    desk.run("run", "failed", run, "--height", "34", "--at", "2026-11-25T22:57", "--cause", "machine", "--to", "waste", "--recycled-g", "47", "--back")
    told, other = desk.js("run", "show", run), KEPT["failed"]
    for key in ("state", "failed_um", "failed_seconds", "used_um", "used_mg", "cause", "counts", "rerun_first"):
        assert told[key] == other[key], (key, told[key], other[key])
    assert told["messages"][0]["text"].replace("Birch", "Alder").replace(str(run), str(other["run"])) == other["messages"][0]["text"]


def three_go_out():
    KEPT["three"] = out("Alder"), out("Birch"), out("Cedar", spool="P2")
    desk.at("09:50")
    book("run-failed", run=KEPT["three"][0], z_um=10000, at=ms("2026-11-26T09:26"))


@served
def why_a_run_stopped(c, server):
    one, two, dry = KEPT["three"]
    # 4 m at 10 mm; started 09:10, first bead after 300 s, there after 1000 s: 09:26:40, with the other within ten minutes
    power = c.ask("POST", "/api/1/round/failure", {"run": two, "z_um": 10000})
    assert (power["cause"], power["why"], power.get("why_run"), power.get("why_machine")) == ("power", "power", one, "Alder"), power
    # 45 g on the spool, and at 34 mm 47 g are used
    spool = c.ask("POST", "/api/1/round/failure", {"run": dry, "z_um": 34000})
    assert (spool["cause"], spool["why"], spool["why_spool"], spool["why_mg"]) == ("material", "spool", "P2", 45000), spool
    assert c.ask("POST", "/api/1/round/failure", {"run": dry, "z_um": 10000, "symptom": "shifted"})["cause"] == "machine"
    said = c.ask("POST", "/api/1/round/failure", {"run": dry, "z_um": 10000, "cause": "file"})
    assert (said["cause"], said["why"], said["counts"]) == ("file", "said", said["rules"]["file"]["counts"]), said


@served
def the_round(c, server):
    now = c.ask("GET", "/api/1/round")
    assert now["round"] is None and now["due"] == "opening" and len(now["machines"]) == len(MACHINES), now["due"]
    by = {m["machine"]: m for m in now["machines"]}
    assert (by["Alder"]["expected"], by["Birch"]["expected"], by["Dogwood"]["expected"]) == ("failed", "running", "free"), by
    assert by["Birch"]["ended"]["act"] == "run-ended" and "Birch" in by["Birch"]["ended"]["body"]["message"], by["Birch"]
    assert "ended" not in by["Alder"]
    round_ = c.ask("POST", "/api/1/acts/round-begin", {"kind": "opening"})["event"]
    body = {"round": round_, "machine": "Birch", "found": "finished", **now["good"]["finished"]}
    assert now["good"]["finished"] == {"bed_clear": False, "stick_there": True, "nozzle_clean": True, "spool_on": True, "heaters_off": True}
    assert now["good"]["running"]["heaters_off"] is False and now["good"]["free"]["bed_clear"] is True
    c.ask("POST", "/api/1/acts/round-machine", body)
    now = c.ask("GET", "/api/1/round")
    by = {m["machine"]: m for m in now["machines"]}
    assert by["Birch"]["against"] == "book-ended" and by["Birch"]["found"]["at_ms"] == ms(desk.clock), by["Birch"]
    assert now["left"] == [m for m in MACHINES if m != "Birch"], now["left"]
    # whatever a page leaves out, the shop file says which machines should have been seen
    refused = c.ask("POST", "/api/1/acts/round-done", {"round": round_, "machines": ["Birch"]}, status=409)
    assert refused["where"] == "unseen" and "Dogwood" in refused["detail"], refused
    for machine in now["left"]:
        c.ask("POST", "/api/1/acts/round-machine", {"round": round_, "machine": machine, "found": "free", **now["good"]["free"]})
    by = {m["machine"]: m["against"] for m in c.ask("GET", "/api/1/round")["machines"]}
    assert (by["Alder"], by["Birch"], by["Cedar"], by["Dogwood"]) == ("still-there", "book-ended", "still-going", None), by
    c.ask("POST", "/api/1/acts", {"acts": [{"act": "run-ended", "body": {"run": KEPT["three"][1]}},
                                           {"act": "run-take-back", "body": {"run": KEPT["three"][1], "figure": "proof"}}]})
    by = {m["machine"]: m["against"] for m in c.ask("GET", "/api/1/round")["machines"]}
    assert by["Birch"] is None, by  # what was booked since is no contradiction
    c.ask("POST", "/api/1/acts/round-done", {"round": round_})
    assert c.ask("GET", "/api/1/round")["due"] == "closing"


@served
def shelf_and_labels(c, server):
    run = out("Dogwood")
    book("run-ended", run=run)
    book("run-off", run=run, to="shelf", place=1)
    moved = c.ask("POST", "/api/1/shelf/put", {"run": run})["done"][0]  # the next free one
    assert moved["act"] == "shelf-put" and moved["answer"]["place"] == 2, moved
    told = desk.js("run", "show", run)
    assert told["part"]["place"] == 2 and "2" in told["messages"][-1]["text"], told["messages"]
    n = len(told["messages"])
    c.ask("POST", "/api/1/shelf/put", {"run": run, "place": 3, "quiet": True})
    assert len(desk.js("run", "show", run)["messages"]) == n
    assert c.ask("POST", "/api/1/shelf/put", {"run": run, "place": 9999}, status=422)["where"] == "place"
    assert c.ask("POST", "/api/1/shelf/put", {"run": 999999}, status=404)
    label = c.ask("GET", f"/api/1/shelf/labels?runs={run}")["labels"][0]
    assert (label["run"], label["place"], label["member"], label["code"]) == (run, 3, "m1", str(run)), label
    assert sum(label["bars"]["widths"]) == label["bars"]["modules"] and "file" not in label
    assert label["squares"] is None or len(label["squares"]["rows"]) == label["squares"]["size"] == len(label["squares"]["rows"][0])
    assert c.ask("GET", "/api/1/shelf/labels?runs=999999", status=404)
    assert c.ask("GET", "/api/1/shelf/labels", status=422)["where"] == "runs"
    assert c.ask("GET", "/api/1/shelf/labels?runs=" + ",".join(["1"] * 61), status=422)["where"] == "runs"
    book("run-take-back", run=run, figure="proof")
    desk.at("10:30")  # the desk is open


@served
def tickets_and_the_screen(c, server):
    taken = c.ask("POST", "/api/1/tickets/take", {"member": "m2", "seconds": 3600})
    assert taken["turn"].get("free_now") is True and taken["done"][0]["answer"]["ticket"] == 1, taken
    now = c.ask("GET", "/api/1/tickets")
    assert now["tickets"][0]["free_now"] is True and "Dogwood" in now["free"], now
    assert c.ask("POST", "/api/1/tickets/take", {"member": "m2"}, status=409)["where"] == "member"
    called = c.ask("POST", "/api/1/tickets/call", {"ticket": 1, "machine": "Dogwood"})["done"][0]
    assert called["act"] == "ticket-call", called
    now = c.ask("GET", "/api/1/tickets")
    minutes = now["claim_minutes"]
    assert now["tickets"][0]["until_ms"] == ms(desk.clock) + minutes * 60000 and "Dogwood" not in now["free"], now
    waits = desk.js("outbox", "list")["messages"]
    assert waits[-1]["kind"] == "ticket" and "Dogwood" in waits[-1]["text"], waits[-1]
    wall = Client(server)  # nobody is signed in
    text = json.dumps(wall.ask("GET", "/api/1/screen"))
    screen = json.loads(text)
    assert screen["called"] == [{"ticket": 1, "machine": "Dogwood", "until_ms": now["tickets"][0]["until_ms"]}], screen
    states = {m["machine"]: m["state"] for m in screen["machines"]}
    assert states["Dogwood"] == "kept" and states["Alder"] == "cools" and states["Birch"] == "free" and states["Cedar"] in ("prints", "ends"), states
    for word in ("m1", "m2", "d1", "hook", "member", "file", "sha256", "symptom", "reason"):
        assert f'"{word}' not in text, (word, text)


def who_may_see_the_screen():
    """To this computer alone as it comes; another name than a loopback one (a proxy's callers) is not this computer."""
    for options, here, there in (((), 200, 403), (("--screen", "yes"), 200, 200), (("--screen", "no"), 403, 403)):
        server = Server("--host", "desk.quay.example", *options)
        try:
            kiosk, member = Client(server), Client(server, "m1")
            kiosk.ask("GET", "/api/1/screen", status=here)
            kiosk.ask("GET", "/api/1/screen", status=there, host="desk.quay.example")
            member.ask("GET", "/api/1/screen", host="desk.quay.example")
        finally:
            server.stop()
    said = desk.run("desk", "--screen", "perhaps", status=4)
    assert "expected yes or no" in said, said


run_tests(desk, [setting_up, a_failure_in_one_go, the_verb_says_the_same, three_go_out, why_a_run_stopped, the_round, shelf_and_labels, tickets_and_the_screen,
                 who_may_see_the_screen])
