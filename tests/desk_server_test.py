#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""proveout desk through sockets: every route for every role, sign-in, what must be refused, live events, how it ends.

usage: desk_server_test.py PROVEOUT SHOP DESK_ACT"""
import contextlib
import gzip
import http.client
import json
import os
import re
import resource
import shutil
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import threading
import time
import warnings

from desk_kit import Desk, run_tests

warnings.simplefilter("ignore", DeprecationWarning)  # of old TLS, which is tried to be refused
desk = Desk(sys.argv[1], sys.argv[2])
ACT = os.path.abspath(sys.argv[3])
ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
SLOW = "ASAN_OPTIONS" in os.environ  # sanitizers: fewer of what is the same code
WORDS = {"k1": "keeper of Quayside", "d1": "desk of Quayside", "d2": "another at the desk", "m1": "member of Quayside"}
HEX = "ab" * 32
KEPT = {}  # what tests hand on to later ones


class Server:
    def __init__(self, *options, book=None):
        env = dict(desk.env, **({"PROVEOUT_LEDGER": book} if book else {}))
        self.log_path = os.path.join(desk.where, f"log-{time.monotonic_ns()}")
        with open(self.log_path, "wb") as log:
            self.process = subprocess.Popen([desk.proveout, "desk", "--listen", "127.0.0.1:0", *options], env=env, stderr=log,
                                            stdout=subprocess.PIPE, cwd=desk.where)
        line = self.process.stdout.readline().decode()
        assert line.startswith("The desk answers at http"), (line, open(self.log_path).read())
        self.port = int(re.search(r":(\d+)/", line)[1])
        os.set_blocking(self.process.stdout.fileno(), False)
        time.sleep(0.02)
        rest = (self.process.stdout.read() or b"").decode()
        self.word = (re.findall(r"#first=([0-9a-f]{64})\n", rest) or [None])[0]

    def log(self):
        with open(self.log_path) as f:
            return [json.loads(line) for line in f]

    def stop(self, how=signal.SIGTERM):
        self.process.send_signal(how)
        status = self.process.wait(30)
        self.process.stdout.close()
        return status


class Reply:
    def __init__(self, response):
        self.status, self.headers, self.data = response.status, response.headers, response.read()

    def json(self):
        return json.loads(self.data)


class Client:
    """A browser's side: keeps the cookie and the token."""

    def __init__(self, server):
        self.server, self.cookie, self.token, self.connection = server, None, None, None

    def ask(self, method, path, body=None, headers=None, raw=None):
        given = {"Cookie": self.cookie} if self.cookie else {}
        if method == "POST":
            given["Content-Type"] = "application/json"
            if self.token:
                given["X-Proveout-Token"] = self.token
        given.update(headers or {})
        given = {k: v for k, v in given.items() if v is not None}
        data = raw if raw is not None else json.dumps(body).encode() if body is not None else b"{}" if method == "POST" else None
        for once_more in (True, False):
            if not self.connection:
                self.connection = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=20)
            try:
                self.connection.request(method, path, data, given)
                reply = Reply(self.connection.getresponse())
                break
            except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError):
                self.connection.close()
                self.connection = None
                if not once_more:
                    raise
        if reply.headers.get("Connection", "").lower() == "close":
            self.connection.close()
            self.connection = None
        for name, value in (("X-Content-Type-Options", "nosniff"), ("Referrer-Policy", "no-referrer"), ("Cache-Control", "no-store")):
            if path in ("/", "/today") and name == "Cache-Control":
                value = reply.headers[name] if reply.headers[name] in ("no-cache", "no-store") else value  # the page: asked for anew
            assert reply.headers[name] == value, (method, path, name, reply.headers[name])
        policy = reply.headers["Content-Security-Policy"]
        assert "frame-ancestors 'none'" in policy and "unsafe-inline" not in policy and "*" not in policy, policy
        if reply.status >= 400:
            assert reply.headers["Content-Type"] == "application/problem+json", (path, reply.headers["Content-Type"])
            if method != "HEAD":
                problem = reply.json()
                assert problem["status"] == reply.status and problem["title"] and problem["type"], problem
        cookie = reply.headers.get("Set-Cookie")
        if cookie:
            assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Path=/" in cookie, cookie
            self.cookie = cookie.split(";")[0]
            if cookie.split("=")[1].startswith(";"):
                self.cookie = self.token = None
        if path.startswith("/api/1/session") and reply.status == 200 and method != "HEAD":
            self.token = reply.json().get("token")
        return reply

    def sign_in(self, member):
        reply = self.ask("POST", "/api/1/session", {"member": member, "password": WORDS[member]})
        assert reply.status == 200, reply.data
        return self

    def act(self, name, status=200, **body):
        reply = self.ask("POST", f"/api/1/acts/{name}", body)
        assert reply.status == status, (name, reply.status, reply.data)
        return reply.json()


def events(book=None):
    with contextlib.closing(sqlite3.connect(book or desk.book)) as b:
        return b.execute("SELECT count(*) FROM events").fetchone()[0]


def raw(data, wait=5, server=None, half=False):
    """Bytes as they are; what comes back until the end, or until half is enough."""
    with socket.create_connection(("127.0.0.1", (server or main).port), timeout=wait) as s:
        s.sendall(data)
        got = b""
        try:
            while True:
                one = s.recv(65536)
                if not one or half:
                    return got + one
                got += one
        except (TimeoutError, ConnectionResetError):
            return got


def refused(data, *statuses):
    got = raw(data, half=True)
    assert got == b"" or int(got.split()[1]) in statuses, (data[:200], got[:300])


def setting_up():
    for member, role in (("d1", "desk"), ("d2", "desk"), ("m1", "member"), ("m2", "member")):
        desk.run("member", "enrol", member, "--role", role, by="keeper")
    desk.run("desk", "password", "m1", given=b"short\n", status=4)
    desk.run("desk", "password", "nobody", given=b"long enough for it\n", status=2)
    for member in ("d1", "d2", "m1"):
        desk.run("desk", "password", member, given=WORDS[member].encode() + b"\n")
    with contextlib.closing(sqlite3.connect(desk.book)) as b:
        hashes = [row[0] for row in b.execute("SELECT password FROM secrets")]
    assert len(set(hashes)) == 3 and all(h.startswith("$argon2id$") for h in hashes)
    global main
    main = Server("--request-seconds", "1")


def the_first_keeper():
    """No default password: a word that is printed, good once."""
    assert main.word
    c = Client(main)
    before = events()
    body = {"word": "0" * 64, "member": "k1", "password": WORDS["k1"]}
    assert c.ask("POST", "/api/1/session/first", body).status == 401
    body["word"] = main.word
    assert c.ask("POST", "/api/1/session/first", dict(body, password="short")).status == 422  # and it is not used up
    assert c.ask("POST", "/api/1/session/first", dict(body, member="a\"b")).status == 422
    assert events() == before
    assert c.ask("POST", "/api/1/session/first", body).json()["role"] == "keeper"
    assert events() == before + 1
    assert Client(main).ask("POST", "/api/1/session/first", body).status == 401  # replayed
    assert events() == before + 1
    KEPT["keeper"] = c
    for member, role in (("d1", "desk"), ("m1", "member")):
        KEPT[role] = Client(main).sign_in(member)
    KEPT["kiosk"] = Client(main)
    KEPT["idle"] = Server("--idle", "1")
    KEPT["idler"] = Client(KEPT["idle"]).sign_in("d2")
    assert KEPT["idle"].word is None
    KEPT["idle since"] = time.monotonic()
    KEPT["polled"] = []

    def poll():  # a page that asks by itself keeps nobody signed in
        own = Client(KEPT["idle"])
        own.cookie = KEPT["idler"].cookie
        while not KEPT["polled"] or KEPT["polled"][-1] == 200 and time.monotonic() - KEPT["idle since"] < 15:
            KEPT["polled"].append(own.ask("GET", "/api/1/ask/today", headers={"X-Proveout-Background": "1"}).status)
            time.sleep(0.2)

    KEPT["poller"] = threading.Thread(target=poll)
    KEPT["poller"].start()


# Who may at least, route by route; of questions and acts see below. Written down here once more, not taken from the program.
ROLES = ["kiosk", "member", "desk", "keeper"]
ROUTES = [
    ("GET", "/", "kiosk"), ("GET", "/health", "kiosk"), ("GET", "/api/1/openapi.json", "kiosk"), ("GET", "/api/1/shop", "kiosk"),
    ("GET", "/api/1/session", "kiosk"), ("POST", "/api/1/session", "kiosk"), ("POST", "/api/1/session/code", "kiosk"),
    ("POST", "/api/1/session/first", "kiosk"), ("POST", "/api/1/session/pin", "desk"), ("POST", "/api/1/password", "member"),
    ("POST", "/api/1/pin", "desk"), ("POST", "/api/1/code", "desk"), ("POST", "/api/1/acts", "desk"),
    ("HEAD", "/api/1/events", "member"), ("POST", "/api/1/files", "kiosk"), ("POST", "/api/1/proofs", "kiosk"),
    ("GET", "/api/1/proofs/{proof}", "kiosk"), ("POST", "/api/1/proofs/{proof}/cancel", "kiosk"),
    *(("GET", "/api/1/proofs/{proof}/" + what, "kiosk") for what in
      ("slip.html", "slip.pdf", "slip.txt", "slip.json", "pictures", "picture.svg", "picture.png")),
    *(("GET", "/api/1/proofs/{proof}/part" + what, "kiosk") for what in ("", "/mesh", "/classes", "/scales", "/view.svg", "/part.3mf")),
    ("POST", "/api/1/proofs/{proof}/part/pose", "kiosk"),
    ("GET", "/api/1/slips/{slip}", "desk"),
    ("GET", "/api/1/today", "desk"),
    ("GET", "/api/1/plan", "desk"), ("POST", "/api/1/plan/try", "desk"), ("POST", "/api/1/plan/keep", "desk"),
    ("POST", "/api/1/bedfuls", "desk"), ("GET", "/api/1/bedfuls/{bedfuls}", "desk"), ("POST", "/api/1/bedfuls/{bedfuls}/stop", "desk"),
    ("GET", "/api/1/bedfuls/{bedfuls}/picture.svg", "desk"), ("GET", "/api/1/bedfuls/{bedfuls}/bedful.3mf", "desk"),
    ("GET", "/api/1/round", "desk"), ("POST", "/api/1/round/failure", "desk"), ("POST", "/api/1/round/failure/confirm", "desk"),
    ("POST", "/api/1/shelf/put", "desk"), ("GET", "/api/1/shelf/labels", "desk"), ("GET", "/api/1/tickets", "desk"),
    ("POST", "/api/1/tickets/take", "desk"), ("POST", "/api/1/tickets/call", "desk"), ("GET", "/api/1/screen", "kiosk"),
    ("GET", "/api/1/findings", "kiosk"), ("GET", "/api/1/findings/{finding}", "kiosk"), ("GET", "/api/1/findings/{finding}/drawing.svg", "kiosk"),
    ("POST", "/api/1/hand-out", "desk"), ("POST", "/api/1/hand-out/confirm", "desk"), ("GET", "/api/1/hand-out/{key}", "desk"),
    ("GET", "/api/1/stick-look", "desk"), ("POST", "/api/1/stick-write", "desk"), ("POST", "/api/1/take-back", "desk"),
    ("POST", "/api/1/take-back/confirm", "desk"),
    ("GET", "/api/1/studies", "kiosk"), ("GET", "/api/1/studies/{study}", "kiosk"), ("GET", "/api/1/studies/{study}/picture", "kiosk"),
    ("GET", "/api/1/papers", "member"), ("POST", "/api/1/papers", "member"), ("GET", "/api/1/papers/{paper}", "member"),
    *(("POST", "/api/1/papers/{paper}/" + what, "member") for what in ("answer", "hand-in", "teach")),
    ("GET", "/api/1/signoff", "desk"), ("POST", "/api/1/signoff", "desk"), ("GET", "/api/1/care", "desk"),
    ("GET", "/api/1/why/symptoms", "desk"), ("GET", "/api/1/why/symptoms/{symptom}/drawing.svg", "kiosk"), ("GET", "/api/1/why/{trouble}", "desk"),
    *(("GET", "/api/1/room/" + what, "desk") for what in ("air", "power", "cool")), ("GET", "/api/1/room/cards.html", "kiosk"),
    ("GET", "/api/1/today", "desk"), ("GET", "/api/1/mine", "member"), ("POST", "/api/1/import/members", "desk"), ("GET", "/api/1/export.json", "keeper"),
    ("GET", "/api/1/export.zip", "keeper"), ("POST", "/api/1/verify", "keeper"), ("GET", "/api/1/backups", "keeper"), ("POST", "/api/1/backups", "keeper"),
]
MEMBERS_OWN = {"balance", "runs", "run"}
KEEPERS_QUESTIONS = {"events"}
OTHER_PLACES = {"/api/1/session/end", "/api/1/events"}  # tried elsewhere


def the_page():
    """Where it was built in: one tag, files that never change, inflated for whoever does not take gzip, 404 for who looks."""
    c = Client(main)
    plain = c.ask("GET", "/")
    if not plain.headers["Content-Type"].startswith("text/html"):
        return  # built without it
    zipped = c.ask("GET", "/today", headers={"Accept-Encoding": "gzip"})
    assert zipped.headers["Content-Encoding"] == "gzip" and gzip.decompress(zipped.data) == plain.data
    assert c.ask("GET", "/", headers={"Accept-Encoding": "gzip;q=0, br"}).headers["Content-Encoding"] is None
    again = c.ask("GET", "/", headers={"If-None-Match": plain.headers["ETag"]})
    assert again.status == 304 and again.data == b"" and again.headers["ETag"] == plain.headers["ETag"]
    names = re.findall(rb'"(/a/[^"]+)"', plain.data)
    assert len(names) >= 3, plain.data
    for name in names:
        got = raw(b"GET " + name + b" HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        head, body = got.split(b"\r\n\r\n", 1)
        assert head.startswith(b"HTTP/1.1 200") and b"immutable" in head and body, head
    assert c.ask("GET", "/nowhere").status == 404
    for path in ("/a/", "/a/../manifest", "/a/app.js", "/a/%2e%2e/index.html", "/machine//", "/machine/a/b", "/api/1/nowhere"):
        assert c.ask("GET", path).status == 404, path
    assert c.ask("POST", "/today", {}).status == 404
    refused(b"GET /today HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n", 421)


def every_route_for_every_role():
    before = events()
    described = KEPT["kiosk"].ask("GET", "/api/1/openapi.json").json()
    table = list(ROUTES)
    with open(os.path.join(ROOT, "docs", "ledger.md"), encoding="utf-8") as f:
        text = f.read()
    acts, questions = text.split("<!-- acts -->")[1].split("<!-- questions -->")
    for name, role in re.findall(r"^- `([a-z-]+)`, (\w+):", acts.split("<!-- end -->")[0], re.M):
        table.append(("POST", "/api/1/acts/" + name, role))
    for name in re.findall(r"^- `([a-z-]+)`:", questions.split("<!-- end -->")[0], re.M):
        least = "member" if name in MEMBERS_OWN else "keeper" if name in KEEPERS_QUESTIONS else "desk"
        table.append(("GET", "/api/1/ask/" + name, least))
    places = {path for _, path, _ in table}
    assert set(described["paths"]) == places | OTHER_PLACES, set(described["paths"]) ^ (places | OTHER_PLACES)
    assert len(table) > 100
    for method, path, least in table:
        for role in ROLES:
            status = KEPT[role].ask(method, re.sub(r"\{.*?\}", "x", path)).status
            may = ROLES.index(role) >= ROLES.index(least)
            wanted = 401 if not may and role == "kiosk" else 403
            if path == "/api/1/pin" and role == "keeper":
                assert status == 422  # of its empty body; a keeper gets no PIN, which is tried elsewhere
            else:
                assert (status not in (401, 403)) if may else status == wanted, (method, path, role, status)
        if method != "HEAD":
            said = described["paths"][path][method.lower()]["x-least-role"]
            assert said == least, (path, said, least)
    assert events() == before


def the_description():
    """OpenAPI 3.1: each operation once, what it takes typed; docs/api.md names each route."""
    described = KEPT["kiosk"].ask("GET", "/api/1/openapi.json").json()
    assert described["openapi"].startswith("3.1.") and described["info"]["title"] and described["info"]["version"]
    with open(os.path.join(ROOT, "docs", "api.md"), encoding="utf-8") as f:
        page = f.read()
    ids = []
    for path, item in described["paths"].items():
        for method, o in item.items():
            ids.append(o["operationId"])
            assert o["responses"]["default"]["$ref"] == "#/components/responses/problem" and o["summary"]
            assert (method == "post") == ("requestBody" in o) and (o["x-least-role"] != "kiosk") == ("security" in o), path
            for p in o.get("parameters", []):
                assert p["in"] in ("query", "header" if path == "/api/1/files" else "path") and ("schema" in p) != ("content" in p), (path, p)
            assert ("{" in path) == any(p["in"] == "path" for p in o.get("parameters", [])), path
        if path != "/" and not path.startswith(("/api/1/ask/", "/api/1/acts/")) and not path.endswith(".json"):
            assert f"{method.upper()} {path}`" in page, path
    assert len(ids) == len(set(ids))
    note = described["paths"]["/api/1/acts/note-leave"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    assert note["required"] == ["text"] and note["properties"]["text"]["type"] == "string" and note["additionalProperties"] is False
    assert described["components"]["responses"]["problem"]["content"]["application/problem+json"]


def a_token_is_needed():
    before = events()
    for role in ("desk", "keeper"):
        c = KEPT[role]
        for token in (None, "", "0" * 64, c.token[:-1], c.token + "0", KEPT["member"].token):
            reply = c.ask("POST", "/api/1/acts/note-leave", {"text": "forged"}, {"X-Proveout-Token": token})
            assert (reply.status, reply.json()["where"]) == (403, "X-Proveout-Token"), token
    assert events() == before


def pages_of_others():
    before = events()
    c = KEPT["desk"]
    own = f"http://127.0.0.1:{main.port}"
    body = {"text": "from elsewhere"}
    for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": own + ".evil.example"},
                    {"Origin": "http://127.0.0.1:1"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}):
        assert c.ask("POST", "/api/1/acts/note-leave", body, headers).status == 403, headers
        assert Client(main).ask("POST", "/api/1/session", {"member": "m1", "password": WORDS["m1"]}, headers).status == 403
    for host in ("evil.example", f"evil.example:{main.port}", "127.0.0.1.evil.example", "[::1", "127.0.0.1:80:80"):
        assert c.ask("POST", "/api/1/acts/note-leave", body, {"Host": host}).status == 421, host
    reply = c.ask("GET", "/api/1/shop", headers={"Origin": "http://evil.example"})
    assert reply.headers.get("Access-Control-Allow-Origin") is None
    reply = c.ask("OPTIONS", "/api/1/acts", headers={"Origin": "http://evil.example", "Access-Control-Request-Method": "POST"})
    assert reply.status == 204 and reply.headers["Allow"] == "POST, OPTIONS"
    assert reply.headers.get("Access-Control-Allow-Origin") is None
    assert events() == before
    c.act("note-leave", text="from here")
    assert c.ask("POST", "/api/1/acts/note-leave", body, {"Origin": own, "Sec-Fetch-Site": "same-origin"}).status == 200
    assert events() == before + 2


def wrong_bodies():
    before = events()
    c = KEPT["desk"]
    path = "/api/1/acts/note-leave"
    for kind in (None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "application/jsonx",
                 "application/json; charset=latin1", "application/json, text/plain"):
        assert c.ask("POST", path, {"text": "a"}, {"Content-Type": kind}).status == 415, kind
    for body in (b"{", b"[]", b"1", b"null", b"{\"text\":\"a\",\"text\":\"b\"}", b"{\"text\":\"a\"}x", b"\xff\xfe", b"{\"text\":\"\xff\"}",
                 b"{\"text\":\"a\\u0000b\"}", b"", b"{" * 5000, b"[" * 100000):
        assert c.ask("POST", path, raw=body).status == 400, body[:30]
    for body in ({}, {"text": ""}, {"text": 1}, {"text": "a", "more": 1}, {"text": "a\nb"}, {"text": "x" * 1001}):
        reply = c.ask("POST", path, body)
        assert reply.status == 422 and reply.json()["where"] in ("text", "more"), (body, reply.data)
    assert c.ask("POST", path, {"text": "a" * 300000}).status == 413
    assert c.ask("POST", path + "?text=a", {"text": "a"}).status == 400
    head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {c.cookie}\r\nX-Proveout-Token: {c.token}\r\nContent-Type: application/json\r\n"
    refused((head + "Transfer-Encoding: chunked\r\n\r\nc\r\n{\"text\":\"a\"}\r\n0\r\n\r\n").encode(), 411)
    refused((head + "Content-Length: 12\r\nContent-Length: 2\r\n\r\n{\"text\":\"a\"}").encode(), 400)
    refused((head + "Content-Length: -1\r\n\r\n{\"text\":\"a\"}").encode(), 400)
    refused((head + "Content-Length: 99999999999999999999\r\n\r\n").encode(), 400, 413)
    refused((head + "Content-Length: 4000000000\r\n\r\n").encode(), 413)
    refused((head + "Content-Length: 12\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n").encode(), 400, 411)
    refused((head.replace("\r\nCookie", "\r\nHost: 127.0.0.1\r\nCookie") + "Content-Length: 12\r\n\r\n{\"text\":\"a\"}").encode(), 400)
    refused(b"GET /api/1/shop HTTP/1.1\r\n\r\n", 400, 421)  # no Host
    refused(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n" + b"".join(b"X-%d: a\r\n" % i for i in range(100)) + b"\r\n", 431)
    refused(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + b"a" * 60000 + b"\r\n\r\n", 400, 413, 431, 494)
    refused(b"GET /" + b"a" * 8000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 404, 414)
    refused(b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(64) + b"\r\n\r\n", 400, 404, 421)
    # before anybody is known no large body is taken
    assert Client(main).ask("POST", "/api/1/acts", raw=b" " * 100000).status == 401
    assert Client(main).ask("POST", "/api/1/session", raw=b" " * 100000).status == 413
    assert events() == before
    assert Client(main).ask("GET", "/health").status == 200


def tricks_with_paths():
    before = events()
    for path in ("/api/1/../1/shop", "/api/1/./shop", "/api/1//shop", "//api/1/shop", "/api/1/shop/", "/api/1/%73hop", "/api/1/shop%00",
                 "/%2e%2e/%2e%2e/etc/passwd", "/../../etc/passwd", "/api/1/ask/", "/api/1/ask/member/x", "/api/1/ask/..%2fmember",
                 "/api/1/acts/note%2dleave", "/api/1/acts/NOTE-LEAVE", "/api/2/shop", "/api/1/shop;a=b", "/index.html", "/api/1/ask/{question}",
                 "/api/1/shop\\", "/api/1/ask/" + "a" * 200):
        assert KEPT["keeper"].ask("GET", path).status == 404, path
    for target in (b"/api/1/shop\x00x", b"/api/1/shop\r\nX: y", b"http://evil.example/api/1/shop", b"*", b"api/1/shop", b"/api/1/shop#a", b""):
        got = raw(b"GET " + target + b" HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n", half=True)
        # a NUL or a line end may end the target for the parser; nothing but the shop, which all may see, is behind it
        assert got == b"" or got.split()[1] in (b"404", b"400", b"405", b"505") or (
            target[:11] == b"/api/1/shop" and got.split()[1] == b"200"), (target, got[:100])
    for method, path in (("DELETE", "/api/1/session"), ("PUT", "/api/1/acts"), ("GET", "/api/1/acts"), ("POST", "/api/1/shop"), ("TRACE", "/")):
        reply = KEPT["keeper"].ask(method, path)
        assert reply.status == 405 and "OPTIONS" in reply.headers["Allow"], (method, path)
    assert KEPT["keeper"].ask("HEAD", "/api/1/shop").data == b""
    assert events() == before


def headers_can_not_be_slipped_in():
    c = KEPT["keeper"]
    for query in ("member=a%0d%0aSet-Cookie:%20x=y", "search=%0d%0aX-Evil:1", "member=%00", "search=%ff", "search=%4", "search=%zz"):
        name = "members" if query[0] == "s" else "member"
        reply = c.ask("GET", f"/api/1/ask/{name}?{query}")
        assert reply.status in (400, 422), (query, reply.status)
        assert reply.headers.get("X-Evil") is None and reply.headers.get("Set-Cookie") is None
    for query in ("limit=1&limit=2", "limit=-1", "limit=1e3", "limit=99999999999999999999", "nothing=1", "limit", "run=x"):
        assert c.ask("GET", "/api/1/ask/runs?" + query).status == 400, query
    assert c.ask("GET", "/api/1/ask/tickets?public=yes").status == 400
    assert c.ask("GET", "/api/1/ask/tickets?public=true").status == 200
    assert c.ask("GET", "/api/1/ask/member?member=d1&implies=" + "%7B%22starter%22:[]%7D").status == 200
    assert c.ask("GET", "/api/1/ask/run-sums?by=month&edges_ms=1,2,3").status == 200
    assert c.ask("GET", "/api/1/ask/members?search=d%31&limit=5").json()["members"][0]["member"] == "d1"


def forged_cookies():
    before = events()
    good, token = KEPT["desk"].cookie, KEPT["desk"].token
    bad = [good[:-1] + ("0" if good[-1] != "0" else "1"), good + "0", good.upper(), "proveout=", "proveout=" + "0" * 64, "proveout=' OR 1=1 --",
           good + "; " + good, "proveout=" + "0" * 64 + "; " + good, "Proveout=" + good[9:], "x" + good]
    for cookie in bad:
        reply = KEPT["kiosk"].ask("POST", "/api/1/acts/note-leave", {"text": "x"}, {"Cookie": cookie, "X-Proveout-Token": token})
        assert reply.status == 401, (cookie, reply.status)
    assert events() == before


def a_member_sees_their_own():
    keeper, member = KEPT["keeper"], KEPT["member"]
    keeper.act("permit-grant", member="m1", permission="starter")
    keeper.act("permit-grant", member="m2", permission="starter")
    mine = keeper.act("run-reserve", member="m1", um=1000000)["answer"]["run"]
    other = keeper.act("run-reserve", member="m2", um=1000000)["answer"]["run"]
    assert [r["run"] for r in member.ask("GET", "/api/1/ask/runs").json()["runs"]] == [mine]
    assert [r["run"] for r in member.ask("GET", "/api/1/ask/runs?member=m1").json()["runs"]] == [mine]
    assert member.ask("GET", "/api/1/ask/runs?member=m2").status == 403
    assert member.ask("GET", "/api/1/ask/balance?member=m2").status == 403
    assert member.ask("GET", "/api/1/ask/balance").json()["member"] == "m1"
    own = member.ask("GET", f"/api/1/ask/run?run={mine}").json()
    assert own["member"] == "m1" and "events" not in own
    a, b = member.ask("GET", f"/api/1/ask/run?run={other}"), member.ask("GET", "/api/1/ask/run?run=99999")
    assert a.status == b.status == 404 and a.data == b.data  # not even that there is one
    text = KEPT["kiosk"].ask("GET", "/api/1/shop").data.decode()
    assert "Alder" in text and "m1" not in re.findall(r'"(\w+)"', text) and "/media" not in text


def the_shop_decides():
    """Limits come from the shop file, whatever the page sends (10 m: desk_may_waive_m of the demo shop)."""
    c = KEPT["desk"]
    waiver = {"member": "m1", "reason": "a test", "asked_by": "m1", "desk_limit_um": 10**12}
    c.act("term-open", 403, term="t")
    KEPT["keeper"].act("term-open", term="t", **{"from": 0}, until=253402300000000, allowance_um=150000000)
    c.act("waiver-give", 409, um=10000001, **waiver)
    c.act("waiver-give", um=10000000, **waiver)
    run = {"member": "m1", "um": 1000000, "sha256": HEX, "verdict": "clear"}
    before = events()
    assert c.act("run-hand-out", 403, machine="alder", **run)["where"] == "act"  # figures that are stated: a keeper's
    assert c.ask("POST", "/api/1/acts", {"acts": [{"act": "run-hand-out", "body": dict(run, machine="alder")}]}).status == 403
    assert events() == before
    c = KEPT["keeper"]
    said = c.act("run-hand-out", 409, machine="dogwood", any_of=["starter"], **run)  # needs more than the page says
    assert "permission" in said["detail"] or "two-material" in said["detail"] or "large-format" in said["detail"], said
    c.act("run-hand-out", 422, machine="none", **run)
    c.act("run-hand-out", 409, machine="alder", **dict(run, um=200000000), run_limit_um=10**12)  # more than a run may take
    assert c.act("run-hand-out", machine="alder", **run)["answer"]["run"] > 0


def several_acts():
    c = KEPT["desk"]
    before = events()
    note = {"act": "note-leave", "body": {"text": "a"}}
    reply = c.ask("POST", "/api/1/acts", {"acts": [note, {"act": "permit-grant", "body": {"member": "nobody", "permission": "starter"}}]})
    assert (reply.status, reply.json()["act"]) == (404, 1)
    assert c.ask("POST", "/api/1/acts", {"acts": [note, {"act": "term-close", "body": {"term": "t"}}]}).status == 403
    for wrong in ({"acts": []}, {"acts": {}}, {"acts": [1]}, {"acts": [{"act": "note-leave"}]}, {"acts": [note], "more": 1},
                  {"acts": [note] * 1001}, {"acts": [dict(note, by="keeper")]}):
        assert c.ask("POST", "/api/1/acts", wrong).status == 422
    assert events() == before
    done = c.ask("POST", "/api/1/acts", {"acts": [note, note]}).json()["done"]
    assert [d["event"] for d in done] == [before + 1, before + 2]
    with contextlib.closing(sqlite3.connect(desk.book)) as b:
        assert b.execute("SELECT by FROM events WHERE seq = ?", (before + 2,)).fetchone()[0] == "d1"


def codes_pins_and_passwords():
    d, m = KEPT["desk"], Client(main)
    assert d.ask("POST", "/api/1/code", {"member": "d2"}).status == 403  # by a keeper only
    assert d.ask("POST", "/api/1/code", {"member": "nobody"}).status == 404
    code = d.ask("POST", "/api/1/code", {"member": "m2"}).json()["code"]
    stale, code = code, d.ask("POST", "/api/1/code", {"member": "m2"}).json()["code"]
    assert Client(main).ask("POST", "/api/1/session/code", {"code": stale}).status == 401
    reply = m.ask("POST", "/api/1/session/code", {"code": code.lower().replace("-", " ")})
    assert reply.json()["member"] == "m2" and reply.json()["role"] == "member", reply.data
    assert Client(main).ask("POST", "/api/1/session/code", {"code": code}).status == 401  # replayed
    assert m.ask("POST", "/api/1/password", {"new": "a new one for m2"}).status == 200  # no old one after a code
    assert m.ask("POST", "/api/1/password", {"new": "another for m2"}).status == 401  # but now
    # PIN: within a desk session, for a desk person, never for a keeper
    assert KEPT["keeper"].ask("POST", "/api/1/pin", {"password": WORDS["k1"], "pin": "1234"}).status == 403
    for pin in ("123", "12345a", "1" * 13):
        assert d.ask("POST", "/api/1/pin", {"password": WORDS["d1"], "pin": pin}).status == 422
    assert d.ask("POST", "/api/1/pin", {"password": "not the password", "pin": "4711"}).status == 401
    assert d.ask("POST", "/api/1/pin", {"password": WORDS["d1"], "pin": "4711"}).status == 200
    shared = Client(main).sign_in("d2")
    old = shared.cookie
    assert shared.ask("POST", "/api/1/session/pin", {"member": "d1", "pin": "4712"}).status == 401
    assert shared.ask("POST", "/api/1/session/pin", {"member": "d1", "pin": "4711"}).json()["member"] == "d1"
    assert shared.cookie != old
    assert shared.ask("GET", "/api/1/session", headers={"Cookie": old}).json()["role"] == "kiosk"  # the old session is over
    shared.token = shared.ask("GET", "/api/1/session").json()["token"]
    assert shared.ask("POST", "/api/1/session/end").json()["role"] == "kiosk"
    # a role that is taken away counts at once, and a new password ends sessions
    KEPT["keeper"].act("member-suspend", member="m2", reason="a test")
    assert m.ask("GET", "/api/1/ask/balance").status == 401
    desk.run("desk", "password", "m1", given=WORDS["m1"].encode())
    assert KEPT["member"].ask("GET", "/api/1/ask/balance").status == 401


def back_off():
    """After three misses a member waits, also with the right password; the address does only after twenty."""
    c = Client(main)
    body = {"member": "d2", "password": "wrong " * 3}
    first = c.ask("POST", "/api/1/session", body)
    nobody = c.ask("POST", "/api/1/session", dict(body, member="none"))
    assert first.status == nobody.status == 401 and first.data == nobody.data
    for _ in range(2):
        assert c.ask("POST", "/api/1/session", body).status == 401
    reply = c.ask("POST", "/api/1/session", dict(body, password=WORDS["d2"]))
    assert reply.status == 429 and int(reply.headers["Retry-After"]) >= 1, reply.data
    for _ in range(20):
        reply = c.ask("POST", "/api/1/session/code", {"code": "2222-2222-222"})
    assert reply.status == 429


def behind_a_proxy():
    """What the shop's own proxy says counts, and the last of it alone; nobody else is believed."""
    tries = lambda server, field: [Client(server).ask("POST", "/api/1/session/code", {"code": "2222-2222-222"}, {"Forwarded": field()}).status
                                   for _ in range(24)]
    server = Server("--proxy", "127.0.0.1")
    try:
        numbers = iter(range(1, 99))
        assert set(tries(server, lambda: f"for=192.0.2.{next(numbers)}")) == {401}
        assert tries(server, lambda: f"for=192.0.2.{next(numbers)}, for=198.51.100.7")[-1] == 429
        c = Client(server)
        assert c.ask("POST", "/api/1/session/code", {"code": "2222-2222-222"}, {"Forwarded": "for=198.51.100.8"}).status == 401
        assert c.ask("GET", "/api/1/screen").status == 403
    finally:
        assert server.stop() == 0
    server = Server("--proxy", "192.0.2.200,2001:db8::7")
    try:
        assert tries(server, lambda: f"for=192.0.2.{next(numbers)};proto=https")[-1] == 429
    finally:
        assert server.stop() == 0


def tls_before_the_proxy():
    """Who came to the proxy by TLS has the cookie of TLS, in, on and out; nobody can ask for it, or for the other one, from farther away."""
    server = Server("--proxy", "192.0.2.200,127.0.0.1")
    body = json.dumps({"member": "d1", "password": WORDS["d1"]})
    def ask(method, path, forwarded, cookie=None, token=None, source="127.0.0.1", send=None):
        c = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10, source_address=(source, 0))
        fields = {"Content-Type": "application/json", "Host": "127.0.0.1", "Origin": "https://127.0.0.1", "Forwarded": forwarded, "Cookie": cookie, "X-Proveout-Token": token}
        c.request(method, path, send, {name: value for name, value in fields.items() if value})
        reply = c.getresponse()
        data = reply.read()
        c.close()
        return reply.status, reply.headers["Set-Cookie"] or "", json.loads(data or b"{}")
    try:
        status, cookie, who = ask("POST", "/api/1/session", "for=198.51.100.20;proto=https", send=body)
        assert status == 200 and cookie.startswith("__Host-proveout=") and "; Secure" in cookie, (status, cookie)
        held = cookie.split(";")[0]
        https = "for=6.6.6.6;proto=http, for=198.51.100.20;proto=https"
        for path in ("/api/1/ask/machines", "/api/1/today", "/api/1/today"):  # the second today is answered without a worker
            assert ask("GET", path, https, held)[0] == 200, path
            assert ask("GET", path, "for=198.51.100.20;proto=http", held)[0] == 401, path
        assert ask("GET", "/api/1/today", https, held, source="127.0.0.2")[0] == 401
        plain = held.replace("__Host-", "")
        assert ask("GET", "/api/1/today", https, plain)[0] == 401
        status, cookie, _ = ask("POST", "/api/1/session/end", https, held, who["token"], send="{}")
        assert status == 200 and cookie.startswith("__Host-proveout=;") and "Max-Age=0" in cookie and "; Secure" in cookie, (status, cookie)
        two = raw(b"POST /api/1/session HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nForwarded: for=198.51.100.23;proto=https\r\n"
                  b"Forwarded: for=192.0.2.200;proto=http\r\nConnection: close\r\nContent-Length: %d\r\n\r\n%s" % (len(body), body.encode()), server=server)
        assert b"__Host-proveout=" in two, two  # the two are one list, and 192.0.2.200 is a proxy, too
        for field, source in (("for=198.51.100.21;proto=https", "127.0.0.2"), ("for=198.51.100.21;proto=https, for=198.51.100.22", "127.0.0.1")):
            status, cookie, _ = ask("POST", "/api/1/session", field, source=source, send=body)
            assert status == 200 and cookie.startswith("proveout=") and "Secure" not in cookie, (field, status, cookie)
    finally:
        assert server.stop() == 0


def a_proxy_has_many_connections():
    """The limit of one address is not the proxy's; for others it stands as it was, and one that ends makes room."""
    server = Server("--proxy", "127.0.0.1", "--each", "3")
    get = b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    def well(source):
        s = socket.create_connection(("127.0.0.1", server.port), timeout=5, source_address=(source, 0))
        try:
            s.sendall(get)
            if s.recv(200).startswith(b"HTTP/1.1 200"):
                return s
        except ConnectionError:
            pass
        s.close()
        return None
    try:
        held = [well("127.0.0.1") for _ in range(8)]
        assert all(held), held
        own = [well("127.0.0.2") for _ in range(5)]
        assert [s is not None for s in own] == [True] * 3 + [False] * 2, own
        own[0].close()
        until, again = time.monotonic() + 5, None
        while not again and time.monotonic() < until:
            again = well("127.0.0.2")
        assert again
        for s in held + own[1:3] + [again]:
            s.close()
    finally:
        assert server.stop() == 0


class Stream:
    def __init__(self, client, last=None, server=None):
        self.socket = socket.create_connection(("127.0.0.1", (server or main).port), timeout=5)
        line = f"Last-Event-ID: {last}\r\n" if last is not None else ""
        self.socket.sendall(f"GET /api/1/events HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {client.cookie}\r\n{line}\r\n".encode())
        self.got = b""

    def until(self, piece):
        while piece not in self.got:
            one = self.socket.recv(65536)
            assert one, self.got[-300:]
            self.got += one
        return self.got

    def close(self):
        self.socket.close()


def live_events():
    c, other = KEPT["keeper"], Client(main)
    other.cookie, other.token = KEPT["desk"].cookie, KEPT["desk"].token  # two desks at once
    last = events()
    a, b = Stream(c), Stream(other)
    a.until(b"retry:"), b.until(b"retry:")
    assert b"text/event-stream" in a.got and b"nosniff" in a.got
    from_here = time.monotonic()
    other.act("note-leave", text="from the other desk")
    a.until(b'data: {"event":%d,"act":"note-leave"}' % (last + 1))
    b.until(b"id: %d\n" % (last + 1))
    assert time.monotonic() - from_here < 1
    from_here = time.monotonic()  # an act of another process
    subprocess.run([ACT, desk.book, str(int(time.time() * 1000)), "note-leave", "desk", '{"text": "by the command line"}'],
                   check=True, capture_output=True)
    a.until(b"id: %d\n" % (last + 2))
    assert time.monotonic() - from_here < 1.2
    b.close()
    again = Stream(other, last)  # resumed after a break: nothing is missing, nothing comes twice
    again.until(b"id: %d\n" % (last + 2))
    assert again.got.count(b"id: %d\n" % (last + 1)) == 1 and b"id: %d\n" % last not in again.got
    ahead = Stream(other, last + 10**6)  # of another book: all anew
    ahead.until(b"event: reload\n")
    assert other.ask("HEAD", "/api/1/events", headers={"Last-Event-ID": "x"}).status == 400
    for s in (a, again, ahead):
        s.close()


def members_hear_numbers_only():
    KEPT["member code"] = KEPT["desk"].ask("POST", "/api/1/code", {"member": "m1"}).json()["code"]
    last = events()
    s = Stream(KEPT["member"], last - 1)
    s.until(b'id: %d\ndata: {"event":%d}\n\n' % (last, last))
    assert b'"act"' not in s.got and b"note-leave" not in s.got
    s.close()


def five_hundred_streams():
    n = 50 if SLOW else 500
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, max(soft, 2000)), hard))
    c = KEPT["desk"]
    streams = [Stream(c) for _ in range(n)]
    for s in streams:
        s.until(b"retry:")
    with open(f"/proc/{main.process.pid}/status") as f:
        threads = int(re.search(r"Threads:\s+(\d+)", f.read())[1])
    assert threads < 20, threads
    number = c.act("note-leave", text="for all")["event"]
    from_here = time.monotonic()
    for s in streams:
        s.until(b"id: %d\n" % number)
        s.close()
    assert time.monotonic() - from_here < (5 if SLOW else 1)
    assert c.ask("GET", "/health").status == 200


def slow_senders_begin():
    KEPT["slow"] = []
    for data in (b"", b"GET /health HT", b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ",
                 b"POST /api/1/session HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{"):
        s = socket.create_connection(("127.0.0.1", main.port), timeout=0.01)
        s.sendall(data)
        KEPT["slow"].append(s)
    KEPT["slow since"] = time.monotonic()
    KEPT["drips"] = True

    def drip():
        while KEPT["drips"]:
            for s in KEPT["slow"][1:]:
                with contextlib.suppress(OSError):
                    s.send(b"a")
            time.sleep(0.2)

    KEPT["dripper"] = threading.Thread(target=drip)
    KEPT["dripper"].start()


def slow_senders_are_cut_off():
    """However regularly their drops come (--request-seconds 1); the time here is for a busy computer."""
    for s in KEPT["slow"]:
        s.settimeout(15)
        with contextlib.suppress(ConnectionResetError):
            while s.recv(4096):
                pass
    assert time.monotonic() - KEPT["slow since"] > 1
    KEPT["drips"] = False
    KEPT["dripper"].join()
    for s in KEPT["slow"]:
        s.close()


def whoever_sits_idle_is_signed_out():
    KEPT["poller"].join()
    assert KEPT["polled"][0] == 200 and KEPT["polled"][-1] == 401, KEPT["polled"]
    assert KEPT["idler"].ask("GET", "/api/1/ask/today").status == 401
    assert KEPT["idle"].stop(signal.SIGINT) == 0


def killed_in_the_middle():
    book = os.path.join(desk.where, "killed.db")
    subprocess.run([desk.proveout, "ledger", "new", "--ledger", book], env=desk.env, check=True, capture_output=True)
    server = Server(book=book)
    c = Client(server)
    assert c.ask("POST", "/api/1/session/first", {"word": server.word, "member": "k1", "password": WORDS["k1"]}).status == 200
    acknowledged = []

    def book_on():
        own = Client(server)
        own.cookie, own.token = c.cookie, c.token
        with contextlib.suppress(OSError, http.client.HTTPException):
            while True:
                acknowledged.append(own.act("note-leave", text="one more")["event"])

    threads = [threading.Thread(target=book_on) for _ in range(4)]
    for t in threads:
        t.start()
    time.sleep(0.25)
    server.stop(signal.SIGKILL)
    for t in threads:
        t.join()
    assert len(acknowledged) > 10, len(acknowledged)
    done = subprocess.run([ACT, book, "1796000000000", "verify", "keeper", "{}"], capture_output=True)
    assert done.returncode == 0, done.stdout
    assert events(book) >= max(acknowledged)  # what was acknowledged is there
    with contextlib.closing(sqlite3.connect(book)) as b:
        seen = {row[0] for row in b.execute("SELECT seq FROM events WHERE act = 'note-leave'")}
    assert set(acknowledged) <= seen


def stops_cleanly():
    c = KEPT["desk"]
    stream = Stream(c)
    stream.until(b"retry:")
    got = []
    code = KEPT["member code"]
    t = threading.Thread(target=lambda: got.append(c.ask("POST", "/api/1/password", {"old": WORDS["d1"], "new": "a later word for d1"}).status))
    t.start()
    time.sleep(0.03)  # the hash is under way
    assert main.stop() == 0
    t.join()
    assert got == [200], got
    end = stream.until(b"0\r\n\r\n")  # the stream ended in order
    assert end.endswith(b"0\r\n\r\n")
    stream.close()
    with contextlib.suppress(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", main.port), timeout=1)
        raise AssertionError("it still listens")
    log = main.log()
    assert log[0]["what"] == "started" and log[-1]["what"] == "stopped"
    text = json.dumps(log)
    for private in (*WORDS, *WORDS.values(), "m2", "127.0.0.1", "evil", code, c.token):
        assert not re.search(rf'\b{re.escape(private)}\b', text), private
    assert {"request"} == {line["what"] for line in log[1:-1]} and all(isinstance(line["us"], int) for line in log[1:-1])
    said = subprocess.run([ACT, desk.book, str(int(time.time() * 1000)), "verify", "keeper", "{}"], capture_output=True)
    assert said.returncode == 0, said.stdout


def over_tls():
    """A certificate of our own, made for the test; where there is no openssl to make it, said and passed over."""
    if not shutil.which("openssl"):
        print("no openssl here: TLS was not tried")
        return
    cert, key = os.path.join(desk.where, "cert.pem"), os.path.join(desk.where, "key.pem")
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-keyout", key,
                    "-out", cert, "-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1"], check=True, capture_output=True)
    server = Server("--cert", cert, "--key", key)
    trusted = ssl.create_default_context(cafile=cert)
    c = http.client.HTTPSConnection("127.0.0.1", server.port, timeout=10, context=trusted)
    c.request("POST", "/api/1/session", json.dumps({"member": "d2", "password": WORDS["d2"]}),
              {"Content-Type": "application/json", "Origin": f"https://127.0.0.1:{server.port}"})
    reply = c.getresponse()
    cookie = reply.headers["Set-Cookie"]
    assert reply.status == 200 and cookie.startswith("__Host-proveout=") and "; Secure" in cookie, cookie
    reply.read()
    c.request("GET", "/api/1/ask/machines", headers={"Cookie": cookie.split(";")[0]})
    assert c.getresponse().status == 200
    c.close()
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.load_verify_locations(cert)
    with contextlib.suppress(ValueError):
        old.maximum_version = ssl.TLSVersion.TLSv1_1
        try:
            with socket.create_connection(("127.0.0.1", server.port), timeout=5) as s, old.wrap_socket(s, server_hostname="127.0.0.1"):
                raise AssertionError("TLS 1.1 was taken")
        except (ssl.SSLError, ConnectionResetError):
            pass
    got = raw(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", server=server, half=True)
    assert b"200" not in got, got
    assert server.stop() == 0
    _, err = desk.raw("desk", "--listen", "127.0.0.1:0", "--cert", key, "--key", cert, status=4)
    assert "certificate and its key" in err, err


def wrong_options():
    for options, word in ((("--listen", "nowhere"), "ADDRESS:PORT"), (("--listen", "127.0.0.1:99999"), "port"),
                          (("--listen", "name.example:80"), "not a name"), (("--cert", "x.pem"), "key"), (("--proxy", "quay"), "--proxy"), (("--proxy", "10.0.0.1,10.0.0.0/8"), "--proxy"), (("--idle", "0"), "--idle"),
                          (("--cert", "no.pem", "--key", "no.pem"), "--cert")):
        _, err = desk.raw("desk", *options, status=4)
        assert word in err, (options, err)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        _, err = desk.raw("desk", "--listen", f"127.0.0.1:{taken.getsockname()[1]}", status=4)
        assert "another program listens there" in err, err


try:
    run_tests(desk, [setting_up, the_first_keeper, slow_senders_begin, the_page, every_route_for_every_role, the_description, a_token_is_needed, pages_of_others, wrong_bodies,
                     tricks_with_paths, headers_can_not_be_slipped_in, forged_cookies, a_member_sees_their_own, the_shop_decides, several_acts,
                     live_events, members_hear_numbers_only, five_hundred_streams, codes_pins_and_passwords, whoever_sits_idle_is_signed_out,
                     back_off, behind_a_proxy, tls_before_the_proxy, a_proxy_has_many_connections, killed_in_the_middle, over_tls, wrong_options, slow_senders_are_cut_off, stops_cleanly])
finally:
    for one in (globals().get("main"), KEPT.get("idle")):
        if one and one.process.poll() is None:
            one.process.kill()
    KEPT["drips"] = False
