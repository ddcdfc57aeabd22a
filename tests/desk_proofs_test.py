#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Files sent to the desk's server and proved there: what it takes and refuses, the queue, slips and their codes, restarts.

usage: desk_proofs_test.py PROVEOUT SHOP DEMO_JOBS DEMO_PARTS"""
import base64
import contextlib
import glob
import hashlib
import http.client
import itertools
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.parse

from desk_kit import Desk, run_tests

PROVEOUT, SHOP, DEMO_JOBS, DEMO_PARTS = (os.path.abspath(a) for a in sys.argv[1:5])
MOST = 6_000_000  # bytes of a file, by the shop file of this test
desk = Desk(PROVEOUT, SHOP, change=(("rules:\n", "rules:\n  most_upload_gb: 0.006\n  keep_files_gb: 0.03\n  keep_files_days: 3\n"),))
subprocess.run([DEMO_JOBS, desk.where, "01", "11"], check=True, capture_output=True)
subprocess.run([DEMO_PARTS, desk.where], check=True, capture_output=True)
SLOW = "ASAN_OPTIONS" in os.environ
BRACKET, HOOK = "01-bracket.gcode", "11-hook-on-air.gcode"
WORDS = {"d1": "desk of Quayside", "m1": "member of Quayside", "m2": "another of Quayside"}


class Kept(dict):
    """What tests hand on to later ones; at the kiosk each time somebody else, for clients have limits."""

    def __getitem__(self, key):
        return Client(main, f"127.0.2.{next(NUMBERS)}") if key == "kiosk" else super().__getitem__(key)


NUMBERS = itertools.count(1)
KEPT = Kept()


class Server:
    def __init__(self, *options, book=None):
        env = dict(desk.env, PROVEOUT_CLOCK=desk.clock)
        self.log_path = os.path.join(desk.where, f"log-{time.monotonic_ns()}")
        with open(self.log_path, "wb") as log:
            self.process = subprocess.Popen([PROVEOUT, "desk", "--listen", "127.0.0.1:0", *options], env=env, stderr=log,
                                            stdout=subprocess.PIPE, cwd=desk.where)
        line = self.process.stdout.readline().decode()
        assert line.startswith("The desk answers at http"), (line, open(self.log_path).read())
        self.port = int(re.search(r":(\d+)/", line)[1])

    def stop(self, how=signal.SIGTERM):
        self.process.send_signal(how)
        status = self.process.wait(30)
        self.process.stdout.close()
        return status


class Client:
    def __init__(self, server, address="127.0.0.1"):
        self.server, self.address, self.cookie, self.token = server, address, None, None

    def ask(self, method, path, body=None, headers=None, raw=None):
        given = {"Cookie": self.cookie} if self.cookie else {}
        if method == "POST":
            given["Content-Type"] = "application/json"
            if self.token:
                given["X-Proveout-Token"] = self.token
        given.update(headers or {})
        given = {k: v for k, v in given.items() if v is not None}
        data = raw if raw is not None else json.dumps(body if body is not None else {}).encode() if method == "POST" else None
        c = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=60, source_address=(self.address, 0))
        c.request(method, path, data, given)
        reply = c.getresponse()
        reply.data = reply.read()
        c.close()
        if reply.status >= 400:
            assert reply.headers["Content-Type"] == "application/problem+json", (path, reply.headers["Content-Type"])
            assert reply.status == json.loads(reply.data)["status"]
        return reply

    def get(self, path, status=200):
        reply = self.ask("GET", path)
        assert reply.status == status, (path, reply.status, reply.data[:400])
        return json.loads(reply.data)

    def post(self, path, status=200, **body):
        reply = self.ask("POST", path, body)
        assert reply.status == status, (path, reply.status, reply.data[:400])
        return json.loads(reply.data)

    def sign_in(self, member):
        said = self.ask("POST", "/api/1/session", {"member": member, "password": WORDS[member]})
        assert said.status == 200, said.data
        self.cookie, self.token = said.headers["Set-Cookie"].split(";")[0], json.loads(said.data)["token"]
        return self

    def send(self, data, name=None, status=200, headers=None):
        given = {"Content-Type": "application/octet-stream"}
        if name is not None:
            given["X-Proveout-Name"] = urllib.parse.quote(name, safe="")
        given.update(headers or {})
        reply = self.ask("POST", "/api/1/files", raw=data, headers=given)
        assert reply.status == status, (name, reply.status, reply.data[:400])
        return json.loads(reply.data)

    def send_file(self, name):
        with open(os.path.join(desk.where, name), "rb") as f:
            return self.send(f.read(), name)

    def prove(self, name, wait=60, **settings):
        file = self.send_file(name) if os.path.exists(os.path.join(desk.where, name)) else {"file": name}
        return self.wait(self.post("/api/1/proofs", file=file["file"], **settings)["proof"], wait)

    def wait(self, proof, seconds=60):
        until = time.monotonic() + seconds
        while True:
            said = self.get(f"/api/1/proofs/{proof}?wait=5")
            if said["state"] not in ("waits", "works"):
                return said
            assert time.monotonic() < until, said


def folder():
    return os.path.join(desk.where, "book.db.files")


def left_over():
    return [n for n in os.listdir(folder()) if n.startswith(("in-", "note-"))]


def until(true, seconds=10):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.02)


def long_job(n, seed=0):
    """A job that takes long to prove: n short moves in rings."""
    lines = [f"; {seed}", "G21", "G90", "M83", "G28", "M190 S60", "M109 S215"]
    for i in range(n):
        z = 0.2 + 0.2 * (i // 4000)
        x, y = 60 + (i * 37 % 101), 60 + (i * 53 % 97)
        lines.append(f"G1 X{x}.{i % 10} Y{y}.{seed % 10} Z{z:.1f} E0.5 F3000")
    return ("\n".join(lines) + "\nM104 S0\nM140 S0\n").encode()


def setting_up():
    for member, role in (("d1", "desk"), ("m1", "member"), ("m2", "member")):
        desk.run("member", "enrol", member, "--role", role, by="keeper")
        desk.run("desk", "password", member, given=WORDS[member].encode() + b"\n")
    global main
    main = Server("--request-seconds", "2", "--provers", "1")
    assert os.stat(folder()).st_mode & 0o777 == 0o700
    for role, member in (("desk", "d1"), ("member", "m1"), ("other", "m2")):
        KEPT[role] = Client(main).sign_in(member)


def a_file_is_kept_under_its_hash():
    c = KEPT["kiosk"]
    with open(os.path.join(desk.where, BRACKET), "rb") as f:
        data = f.read()
    said = c.send(data, "Über die Brücke.gcode")
    assert said == {"format": "proveout/file/1", "file": hashlib.sha256(data).hexdigest(), "kind": "job", "bytes": len(data),
                    "name": "Über die Brücke.gcode"}, said
    with open(os.path.join(folder(), said["file"]), "rb") as f:
        assert f.read() == data
    again = c.send(data)  # without a name it keeps the one it had
    assert again["name"] == "Über die Brücke.gcode" and len(glob.glob(folder() + "/" + said["file"])) == 1
    assert c.send(data, "../../etc/pass wd")["name"] == "pass wd"
    assert c.send(data, r"C:\jobs\bracket.gcode")["name"] == "bracket.gcode"
    assert c.send(b"PK\3\4 an archive" * 10, "a.zip")["kind"] == "neither"
    assert c.send(b"G1 X1 ; no more than this\n")["kind"] == "job"
    part = sorted(glob.glob(os.path.join(desk.where, "*.stl")))[0]
    assert c.send_file(os.path.basename(part))["kind"] == "part"
    assert not left_over()


def what_is_refused_leaves_nothing():
    c = KEPT["kiosk"]
    before = sorted(os.listdir(folder()))
    plain = {"Content-Type": "application/octet-stream"}
    assert c.send(b"", status=422)["where"] == "body"
    assert "6 MB" in c.send(b"x" * (MOST + 1), status=413)["detail"]
    assert c.send(b"G1 X1", headers={"Content-Type": "application/json"}, status=415)["where"] == "Content-Type"
    assert c.send(b"G1 X1", headers={"Content-Type": "application/octet-stream; x=y"}, status=415)
    assert c.send(b"G1 X1", headers={"Content-Type": None}, status=415)
    for name in ("%", "%zz", "%00", "%ff", "%0a", "a" * 256, "%C2%85"):
        assert c.ask("POST", "/api/1/files", raw=b"G1 X1", headers=dict(plain, **{"X-Proveout-Name": name})).status == 400, name
    assert c.send(b"G1 X1", headers={"Origin": "http://evil.example"}, status=403)
    assert c.ask("POST", "/api/1/files?x=1", raw=b"G1 X1", headers=plain).status == 400
    for head in (b"Transfer-Encoding: chunked\r\n", b""):
        with socket.create_connection(("127.0.0.1", main.port), timeout=10) as s:
            s.sendall(b"POST /api/1/files HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/octet-stream\r\n" + head + b"\r\n")
            assert b" 411 " in s.recv(4096)
    assert sorted(os.listdir(folder())) == before


def cut_lines_and_slow_senders():
    before = sorted(os.listdir(folder()))
    head = b"POST /api/1/files HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/octet-stream\r\nContent-Length: 5000000\r\n\r\n"
    s = socket.create_connection(("127.0.0.1", main.port), timeout=10)
    s.sendall(head + b"G1 X1\n" * 1000)
    until(left_over)
    s.close()
    until(lambda: not left_over())
    slow = socket.create_connection(("127.0.0.1", main.port), timeout=15)  # drop by drop: closed after --request-seconds
    slow.sendall(head)
    until(left_over)
    began = time.monotonic()
    with contextlib.suppress(OSError):
        while time.monotonic() - began < 12:
            slow.sendall(b"G")
            time.sleep(0.1)
    assert time.monotonic() - began < 11
    slow.close()
    until(lambda: not left_over())
    assert sorted(os.listdir(folder())) == before


def so_many_at_once_and_no_more():
    head = b"POST /api/1/files HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/octet-stream\r\nContent-Length: 1000\r\n\r\n"
    held = []
    for _ in range(4):
        s = socket.create_connection(("127.0.0.1", main.port), timeout=10, source_address=("127.0.0.3", 0))
        s.sendall(head)
        held.append(s)
    until(lambda: len(left_over()) == 4)
    other = Client(main, "127.0.0.3")
    reply = other.ask("POST", "/api/1/files", raw=b"G1 X1", headers={"Content-Type": "application/octet-stream"})
    assert reply.status == 429 and int(reply.headers["Retry-After"]) > 0
    assert Client(main, "127.0.0.4").send(b"G1 X1")["kind"] == "job"  # nobody else is kept waiting
    for s in held:
        s.close()
    until(lambda: not left_over())
    big = Client(main, "127.0.0.5")  # twice the most for a file in a minute
    statuses = [big.ask("POST", "/api/1/files", raw=bytes([i]) * MOST, headers={"Content-Type": "application/octet-stream"}).status
                for i in range(1, 5)]
    assert statuses[:2] == [200, 200] and statuses[3] == 429, statuses


def a_proof_says_what_check_says():
    c = KEPT["kiosk"]
    for name in (BRACKET, HOOK):
        done = c.prove(name)
        assert done["state"] == "done", done
        out = subprocess.run([PROVEOUT, "check", name, "--json"], cwd=desk.where, capture_output=True,
                             env=dict(desk.env, PROVEOUT_CLOCK=desk.clock)).stdout
        assert done["result"] == json.loads(out), name
        rows = done["machines"]
        assert [r["machine"] for r in rows] == ["Alder", "Birch", "Cedar", "Dogwood", "Elm"]
        for row, one in zip(rows, done["result"]["machines"]):
            assert row["verdict"] == one["verdict"] and abs(row["filament_mm"] - one["facts"]["filament_mm"]) < 0.01
            assert row["reads"] and "need" not in row
            if one["verdict"] != "clear":
                assert row["obstacle"]["name"] == one["findings"][0]["name"]
            if one["verdict"] != "stop":
                assert row["start_ms"] <= row["start_by_ms"] and row["end_ms"] > row["start_ms"] and row["off_bed_ms"] >= row["end_ms"], row
    one = c.prove(BRACKET, machine="birch", materials=["petg"], recipe="everyday")
    out = desk.raw("check", BRACKET, "--machine", "Birch", "--material", "petg", "--recipe", "everyday", "--json")[0]
    assert one["result"] == json.loads(out) and len(one["machines"]) == 1


def last_starts_are_the_calendars():
    """Whoever starts at the time that is said is watched; five minutes later it is not so (or it is worse)."""
    done = KEPT["kiosk"].prove(BRACKET)
    row = done["machines"][0]
    said = json.loads(desk.raw("plan", "when", BRACKET, "--machine", "Alder", "--json")[0])
    assert row["start_ms"] == said["machines"][0]["best"]["start_ms"] if "best" in said["machines"][0] else True, said


def the_same_again_is_at_once():
    c = KEPT["kiosk"]
    first = c.prove(HOOK)
    began = time.monotonic()
    again = c.post("/api/1/proofs", file=first["file"])
    assert again["proof"] == first["proof"] and again["state"] == "done"
    assert time.monotonic() - began < (1 if SLOW else 0.2)
    assert c.post("/api/1/proofs", file=first["file"], machine="Alder")["proof"] != first["proof"]
    desk.run("machine", "tag", "Alder", "--reason", "a test", by="keeper")  # the book is another: so is the proof
    other = c.wait(c.post("/api/1/proofs", file=first["file"])["proof"])
    assert other["proof"] != first["proof"]
    assert "tagged out" in json.dumps(other["result"]["machines"][0]["findings"])
    desk.run("machine", "clear", "Alder", by="keeper")


def wrong_settings():
    c = KEPT["kiosk"]
    file = c.send_file(BRACKET)["file"]
    for settings, where in (({"machine": "Adler"}, "machine"), ({"materials": ["gold"]}, "materials"), ({"recipe": "x"}, "recipe"),
                            ({"permissions": ["x"]}, "permissions"), ({"materials": []}, "materials"), ({"materials": "petg"}, "materials"),
                            ({"start": "now"}, "start"), ({"file": "0" * 63}, "file"), ({"file": 1}, "file"), ({"more": 1}, "body"),
                            ({"machine": "Birch", "materials": ["petg", "petg", "petg"]}, "materials")):
        said = c.post("/api/1/proofs", status=422, **dict({"file": file}, **settings))
        assert said["where"] == where, said
    assert c.post("/api/1/proofs", file="0" * 64, status=404)["where"] == "file"
    assert c.post("/api/1/proofs", file=file, machine=None)["proof"]
    for path in ("/api/1/proofs/nothing", "/api/1/proofs/" + "0" * 32, "/api/1/proofs/" + "0" * 32 + "/slip.html",
                 "/api/1/proofs/../x/slip.html", "/api/1/proofs//slip.html"):
        assert c.ask("GET", path).status == 404, path
    assert c.ask("GET", "/api/1/proofs/" + "0" * 32 + "?wait=x").status == 400
    assert c.ask("POST", "/api/1/proofs/" + "0" * 32 + "/cancel").status == 404


def what_is_no_job_says_so():
    c = KEPT["kiosk"]
    for data in (b"PK\3\4 an archive" * 10, b"a letter to somebody\n" * 50):
        done = c.wait(c.post("/api/1/proofs", file=c.send(data, "letter.txt")["file"])["proof"])
        assert done["state"] == "failed" and done["no_job"] and done["says"], done
        assert c.ask("GET", f"/api/1/proofs/{done['proof']}/slip.html").status == 409


def parts_are_proved_too():
    c = KEPT["kiosk"]
    part = os.path.basename(sorted(glob.glob(os.path.join(desk.where, "*.stl")))[0])
    done = c.prove(part, machine="Alder")
    assert done["state"] == "done" and done["result"]["format"] == "proveout/part-proof/1", done
    out = subprocess.run([PROVEOUT, "check", part, "--machine", "Alder", "--json"], cwd=desk.where, capture_output=True,
                         env=dict(desk.env, PROVEOUT_CLOCK=desk.clock)).stdout
    assert done["result"] == json.loads(out)
    assert done["machines"][0]["reads"]
    p = f"/api/1/proofs/{done['proof']}"
    assert b"<html" in c.ask("GET", p + "/slip.html").data
    assert [x["name"] for x in c.get(p + "/pictures")["pictures"]] == ["sheet"]
    assert c.ask("GET", p + "/picture.svg?picture=sheet").data.startswith(b"<svg")


def slips_and_pictures():
    c = KEPT["kiosk"]
    done = c.prove(HOOK)
    p, code = f"/api/1/proofs/{done['proof']}", done["slip"]
    assert re.fullmatch("[2-9A-HJ-KM-NP-TV-Y]{4}-[2-9A-HJ-KM-NP-TV-Y]{4}", code), code
    page = c.ask("GET", p + "/slip.html")
    text = page.data.decode()
    assert page.headers["Content-Type"].startswith("text/html") and code in text and "Code of the slip" in text
    style = text.split("<style>")[1].split("</style>")[0]
    assert "sha256-" + base64.b64encode(hashlib.sha256(style.encode()).digest()).decode() in page.headers["Content-Security-Policy"]
    assert "unsafe" not in page.headers["Content-Security-Policy"] and " style=" not in text and "<script" not in text
    for path, type_, begin in (("slip.pdf?machine=Alder", "application/pdf", b"%PDF"), ("slip.txt", "text/plain; charset=utf-8", b""),
                               ("slip.json", "application/json", b"{"), ("picture.svg?picture=time", "image/svg+xml", b"<svg"),
                               ("picture.png?picture=height-1&machine=Birch", "image/png", b"\x89PNG"),
                               ("picture.svg?picture=code", "image/svg+xml", b"<svg")):
        reply = c.ask("GET", f"{p}/{path}")
        assert reply.status == 200 and reply.headers["Content-Type"] == type_ and reply.data.startswith(begin), (path, reply.status)
    assert code in c.ask("GET", p + "/slip.txt").data.decode()
    assert json.loads(c.ask("GET", p + "/slip.json").data) == done["result"]
    saved = c.ask("GET", p + "/slip.pdf?save=true")
    assert saved.headers["Content-Disposition"] == f'attachment; filename="slip-{code}.pdf"'
    pictures = c.get(p + "/pictures?machine=Alder")["pictures"]
    names = [x["name"] for x in pictures]
    assert names[:2] == ["time", "height-1"] and "front" in names and len(names) == len(set(names))
    findings = done["result"]["machines"][0]["findings"]
    worst = pictures[1]
    assert worst["flags"] and all(1 <= n <= len(findings) for n in worst["flags"]), worst
    assert findings[worst["flags"][0] - 1]["name"] in worst["description"]
    for x in pictures:
        assert c.ask("GET", f"{p}/picture.svg?picture={x['name']}&machine=Alder").data.startswith(b"<svg"), x["name"]
    assert c.ask("GET", p + "/picture.svg?picture=height-99").status == 404
    assert c.ask("GET", p + "/picture.svg?picture=x&machine=Nobody").status == 404
    assert c.ask("GET", p + "/picture.svg").status == 422
    KEPT["slip"] = (code, done["proof"])


def codes_are_for_the_desk():
    code, proof = KEPT["slip"]
    for spelling in (code, code.lower(), code.replace("-", "").lower()):
        got = KEPT["desk"].get("/api/1/slips/" + spelling.lower())
        assert got["proof"] == proof and got["state"] == "done"
    assert KEPT["kiosk"].ask("GET", "/api/1/slips/" + code.lower()).status == 401
    assert KEPT["member"].ask("GET", "/api/1/slips/" + code.lower()).status == 403
    plain, letters = code.replace("-", ""), "23456789ABCDEFGHJKMNPQRSTVWXY"
    for i in range(8):  # one wrong character, or two neighbours swapped, is told from a code that is not there
        for other in letters:
            if other != plain[i]:
                wrong = plain[:i] + other + plain[i + 1:]
                if other == letters[0] or i == 7:
                    said = KEPT["desk"].get("/api/1/slips/" + wrong.lower(), status=404)
                    assert "no code of a slip" in said["detail"], wrong
        if i < 7 and plain[i] != plain[i + 1]:
            swapped = plain[:i] + plain[i + 1] + plain[i] + plain[i + 2:]
            assert "no code of a slip" in KEPT["desk"].get("/api/1/slips/" + swapped.lower(), status=404)["detail"]


def whose_proof_it_is():
    """What the book knows of a member is for them and the desk; to others such a proof is not there."""
    file = KEPT["kiosk"].send_file(BRACKET)["file"]
    assert KEPT["kiosk"].post("/api/1/proofs", file=file, member="m1", status=401)
    assert KEPT["other"].post("/api/1/proofs", file=file, member="m1", status=403)
    own = KEPT["member"].post("/api/1/proofs", file=file, member="m1", machine="Alder")["proof"]
    done = KEPT["member"].wait(own)
    assert "permission" in json.dumps(done["result"]["findings"]), done["result"]["findings"]
    assert KEPT["desk"].get("/api/1/proofs/" + own)["state"] == "done"
    for c in (KEPT["kiosk"], KEPT["other"]):
        assert c.ask("GET", "/api/1/proofs/" + own).status == 404
        assert c.ask("GET", f"/api/1/proofs/{own}/slip.txt").status == 404
        assert c.ask("POST", f"/api/1/proofs/{own}/cancel").status == 404


def the_queue_is_fair_and_cancel_frees_it():
    """One worker: a long proof, then many of one client, one of another. Cancelled, the long one gives way at once; the other
    client's goes before the rest."""
    a, b = Client(main, "127.0.0.6"), Client(main, "127.0.0.7")
    long = a.send(long_job(25000))["file"]
    began = time.monotonic()
    running = a.post("/api/1/proofs", file=long)["proof"]
    until(lambda: a.get("/api/1/proofs/" + running)["state"] == "works")
    mine = [a.post("/api/1/proofs", file=a.send(long_job(300, i))["file"]) for i in range(5)]
    his = b.post("/api/1/proofs", file=b.send(long_job(301, 9))["file"])
    assert [m["position"] for m in mine] == [1, 2, 3, 4, 5] and his["position"] == 1, (mine, his)
    assert [a.get("/api/1/proofs/" + m["proof"])["position"] for m in mine] == [2, 3, 4, 5, 6]
    seen = a.get("/api/1/proofs/" + running)
    assert 0 <= seen["progress"] <= 1 and seen["doing"]
    assert a.post(f"/api/1/proofs/{mine[4]['proof']}/cancel")
    assert a.get("/api/1/proofs/" + mine[4]["proof"])["state"] == "cancelled"
    assert b.post(f"/api/1/proofs/{running}/cancel")  # not theirs: nothing happens
    assert a.get("/api/1/proofs/" + running)["state"] == "works"
    cancelled = time.monotonic()
    a.post(f"/api/1/proofs/{running}/cancel")
    end = a.wait(running)
    assert end["state"] == "cancelled" and time.monotonic() - cancelled < 20, (end["state"], time.monotonic() - cancelled)
    assert b.wait(his["proof"], 60)["state"] == "done"
    for m in mine[:4]:
        assert a.wait(m["proof"], 60)["state"] == "done"
    assert time.monotonic() - began < 60


def a_queue_that_is_full_for_one():
    a = Client(main, "127.0.0.8")
    long = a.send(long_job(25000, 3))["file"]
    answers = [a.ask("POST", "/api/1/proofs", {"file": long, "start": 1796000000000 + 60000 * i}) for i in range(17)]
    assert [x.status for x in answers] == [200] * 16 + [429] and int(answers[16].headers["Retry-After"]) > 0
    for x in answers[:16]:
        a.post(f"/api/1/proofs/{json.loads(x.data)['proof']}/cancel")


def a_restart_goes_on():
    """SIGTERM breaks the running proof off; it and what waits are there after the start, and slips with their codes are."""
    global main
    a = Client(main, "127.0.0.9")
    running = a.post("/api/1/proofs", file=a.send(long_job(25000, 7))["file"], machine="Alder")["proof"]
    waiting = a.post("/api/1/proofs", file=a.send(long_job(200, 8))["file"])["proof"]
    until(lambda: a.get("/api/1/proofs/" + running)["state"] == "works")
    began = time.monotonic()
    assert main.stop() == 0
    assert time.monotonic() - began < 5
    with open(os.path.join(folder(), "in-left"), "wb") as f:  # as a crash leaves it
        f.write(b"half a file")
    main = Server("--request-seconds", "2")
    assert not left_over()
    a.server = main
    KEPT["desk"] = Client(main).sign_in("d1")
    assert a.get("/api/1/proofs/" + running)["state"] in ("waits", "works")
    a.post(f"/api/1/proofs/{running}/cancel")
    code, proof = KEPT["slip"]
    assert KEPT["desk"].get("/api/1/slips/" + code.lower())["proof"] == proof
    slip = KEPT["desk"].ask("GET", f"/api/1/proofs/{proof}/slip.txt")  # computed again for its paper
    assert slip.status == 200 and code in slip.data.decode(), slip.data
    assert a.wait(waiting, 60)["state"] == "done"
    assert a.wait(running, 60)["state"] == "cancelled"


def a_damaged_file_is_found_out():
    c = KEPT["kiosk"]
    data = long_job(250, 5)
    file = c.send(data)["file"]
    with open(os.path.join(folder(), file), "r+b") as f:
        f.truncate(len(data) // 2)
    done = c.wait(c.post("/api/1/proofs", file=file)["proof"])
    assert done["state"] == "failed" and "damaged" in done["says"], done
    assert not os.path.exists(os.path.join(folder(), file))


def room_is_made_by_removing_what_was_used_least():
    """keep_files_gb 0.03: the oldest of use go, and what is older than keep_files_days."""
    old = KEPT["kiosk"].send(b"G1 X1 ; old")["file"]
    days = time.time() - 4 * 86400
    os.utime(os.path.join(folder(), old + ".json"), (days, days))
    files = [Client(main, f"127.0.1.{i}").send(bytes([65 + i]) * 5_900_000)["file"] for i in range(6)]
    assert not os.path.exists(os.path.join(folder(), old))
    there = [f for f in files if os.path.exists(os.path.join(folder(), f))]
    assert files[-1] in there and files[0] not in there, len(there)
    total = sum(os.path.getsize(os.path.join(folder(), n)) for n in os.listdir(folder()) if len(n) == 64)
    assert total <= 30_000_000, total


def the_log_holds_no_names():
    main.stop()
    with open(main.log_path) as f:
        text = f.read()
    for private in ("m1", "bracket", "127.0.", KEPT["slip"][0], KEPT["slip"][1]):
        assert private not in text, private


TESTS = [setting_up, a_file_is_kept_under_its_hash, what_is_refused_leaves_nothing, cut_lines_and_slow_senders, so_many_at_once_and_no_more,
         a_proof_says_what_check_says, last_starts_are_the_calendars, the_same_again_is_at_once, wrong_settings, what_is_no_job_says_so,
         parts_are_proved_too, slips_and_pictures, codes_are_for_the_desk, whose_proof_it_is, the_queue_is_fair_and_cancel_frees_it,
         a_queue_that_is_full_for_one, a_restart_goes_on, a_damaged_file_is_found_out, room_is_made_by_removing_what_was_used_least, the_log_holds_no_names]
try:
    run_tests(desk, TESTS)
finally:
    if "main" in globals() and main.process.poll() is None:
        main.process.kill()
