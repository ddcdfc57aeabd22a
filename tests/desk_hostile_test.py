#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Every operation that the server describes, asked wrongly in each way: what it refuses is refused by the right status, nothing is booked and
nothing is kept. The list is the server's own description, so that no new route can be forgotten.

usage: desk_hostile_test.py PROVEOUT SHOP"""
import contextlib
import http.client
import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time

sys.dont_write_bytecode = True
from desk_kit import Desk, run_tests  # noqa: E402

desk = Desk(sys.argv[1], sys.argv[2])
WORD = "keeper of Quayside"
KEPT = {}
SHA = "ab" * 32
REFUSED = (400, 404, 405, 409, 413, 415, 422)


class Line:
    """One connection of one who is signed in (or not): cookie, token."""

    def __init__(self):
        self.connection, self.cookie, self.token = None, None, None

    def ask(self, method, path, body=None, headers=None):
        """Status, header fields, bytes. headers: a value None takes a field out."""
        given = {"Cookie": self.cookie} if self.cookie else {}
        if method == "POST":
            given.update({"Content-Type": "application/json"}, **({"X-Proveout-Token": self.token} if self.token else {}))
        given.update(headers or {})
        data = body if isinstance(body, bytes) else json.dumps(body).encode() if body is not None else None
        for last in (False, True):
            if not self.connection:
                self.connection = http.client.HTTPConnection("127.0.0.1", KEPT["port"], timeout=20)
            try:
                self.connection.request(method, path, data, {k: v for k, v in given.items() if v is not None})
                reply = self.connection.getresponse()
                got = reply.status, reply.headers, reply.read()
                break
            except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError):
                self.close()
                if last:
                    raise
        if got[1].get("Connection", "").lower() == "close":
            self.close()
        assert got[0] < 500, (method, path, body if not isinstance(body, bytes) else body[:80], got[0], got[2][:300])
        assert got[1].get("X-Evil") is None and (got[1].get("Set-Cookie") is None or "evil" not in got[1]["Set-Cookie"]), (path, got[1])
        if got[0] >= 400:
            assert got[1]["Content-Type"] == "application/problem+json", (path, got[1]["Content-Type"])
            said = json.loads(got[2])
            assert said["status"] == got[0] and said["title"] and said["type"], said
        return got

    def close(self):
        if self.connection:
            self.connection.close()
            self.connection = None

    def sign_in(self, member):
        status, head, data = self.ask("POST", "/api/1/session", {"member": member, "password": WORD})
        assert status == 200, data
        self.cookie, self.token = head["Set-Cookie"].split(";")[0], json.loads(data)["token"]
        return self


def state():
    """What must not change: the book's last event with its hash, all rows of each table, what lies beside the book."""
    with contextlib.closing(sqlite3.connect(desk.book)) as b:
        tables = [r[0] for r in b.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        rows = {t: b.execute(f"SELECT count(*) FROM \"{t}\"").fetchone()[0] for t in tables if t not in ("sqlite_stat1", "secrets")}
        last = b.execute("SELECT seq, hash FROM events ORDER BY seq DESC LIMIT 1").fetchone()
    folder = desk.book + ".files"
    return last, rows, sorted(n for n in os.listdir(folder) if not n.startswith("in-")) if os.path.isdir(folder) else []


def nothing_changed(test):
    def run():
        before = state()
        test()
        after = state()
        assert after == before, [(a, b) for a, b in zip(before, after) if a != b]
        assert Line().ask("GET", "/health")[0] == 200
    run.__name__ = test.__name__
    return run


def address(path, place="x"):
    return re.sub(r"\{.*?\}", place, path)


def operations(method):
    """(address, operation) of the description; places in the address stand for something that is not there."""
    for path, item in KEPT["paths"].items():
        if method.lower() in item and path != "/api/1/events":
            yield path, item[method.lower()]


def schema_of(operation):
    return operation.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema")


THE_SHOPS = {"run_limit_um", "any_of", "desk_limit_um", "no_shows_most", "no_show_days", "machines"}  # fields that come from the shop file
USUAL = {"currency": "EUR"}


def right(schema):
    """A value that the description allows."""
    kind = schema["type"]
    if "enum" in schema:
        return schema["enum"][0]
    if kind == "string":
        return SHA if "pattern" in schema else "x" * max(1, schema.get("minLength", 1))
    if kind == "array":
        return [right(schema["items"])]
    if kind == "object" and "minProperties" in schema:
        return {"x": right(schema["additionalProperties"])}
    return {"integer": 1, "boolean": False, "object": {"act": "nothing-like-it", "body": {}} if "required" in schema else {}}[kind]


def wrong(schema):
    """Values that it does not allow."""
    kind = schema["type"]
    if kind == "string":
        yield from (1, True, [], {}, 1.5)
        if "enum" in schema or "pattern" in schema:
            yield from ("", "nothing like it", SHA.upper() if "pattern" in schema else "GOOD")
        elif "maxLength" in schema:
            yield from ("", "a\nb", "a\x7fb", "x" * (schema["maxLength"] + 1), "\u00e9" * (schema["maxLength"] // 2 + 1))
    elif kind == "integer":
        yield from ("1", 1.5, -1, True, [], {}, -(2**63), *([schema["maximum"] + 1] if "maximum" in schema else []))
    elif kind == "boolean":
        yield from (0, 1, "true", [], {})
    elif kind == "array":
        yield from (1, "a", {}, [], [None], [[]], [{}], [right(schema["items"])] * (schema["maxItems"] + 1))
    else:
        yield from (1, "a", [], True)
        if "minProperties" in schema:
            yield from ({}, {"x": "1"}, {"x": 1.5}, {"X Y": 1}, {"x%d" % i: 1 for i in range(schema["maxProperties"] + 1)})


def setting_up():
    desk.run("member", "enrol", "k1", "--role", "keeper", by="keeper")
    desk.run("member", "enrol", "m1", by="keeper")
    for member in ("k1", "m1"):
        desk.run("desk", "password", member, given=WORD.encode() + b"\n")
    KEPT["log"] = open(os.path.join(desk.where, "log"), "w+b")
    KEPT["server"] = subprocess.Popen([desk.proveout, "desk", "--listen", "127.0.0.1:0", "--request-seconds", "1"], env=desk.env,
                                      stdout=subprocess.PIPE, stderr=KEPT["log"], cwd=desk.where)
    KEPT["port"] = int(re.search(r":(\d+)/", KEPT["server"].stdout.readline().decode())[1])
    KEPT["k1"], KEPT["m1"], KEPT["other"], KEPT["nobody"] = Line().sign_in("k1"), Line().sign_in("m1"), Line().sign_in("k1"), Line()
    over = Line().sign_in("k1")
    KEPT["replayed"] = over.cookie, over.token
    assert over.ask("POST", "/api/1/session/end", {})[0] == 200
    KEPT["paths"] = json.loads(KEPT["k1"].ask("GET", "/api/1/openapi.json")[2])["paths"]
    assert len(KEPT["paths"]) > 120
    new = ("files", "proofs", "slips/{slip}", "today", "hand-out", "take-back", "round", "screen", "tickets", "mine", "findings")
    assert all("/api/1/" + name in KEPT["paths"] for name in new)
    KEPT["slow"] = []
    for path in ("proofs", "hand-out", "take-back/confirm", "round/failure", "shelf/put", "tickets/take", "files"):
        s = socket.create_connection(("127.0.0.1", KEPT["port"]), timeout=15)
        kind = "application/octet-stream" if path == "files" else "application/json"
        s.sendall(f"POST /api/1/{path} HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {KEPT['k1'].cookie}\r\nX-Proveout-Token: {KEPT['k1'].token}\r\n"
                  f"Content-Type: {kind}\r\nContent-Length: 100\r\n\r\n{{".encode())
        KEPT["slow"].append((path, s))
    KEPT["slow since"] = time.monotonic()


@nothing_changed
def who_is_not_signed_in_or_only_seems_to_be():
    """Forged cookies, no token, another session's token, both of a session that has ended."""
    k = KEPT["k1"]
    for path, o in operations("POST"):
        if "security" not in o:
            continue
        for cookie, token, status in ((None, None, 401), ("proveout=" + "0" * 64, k.token, 401), ("proveout=' OR 1=1 --", k.token, 401), (k.cookie + "0", k.token, 401),
                                      (*KEPT["replayed"], 401), (k.cookie, None, 403), (k.cookie, "0" * 64, 403), (k.cookie, KEPT["other"].token, 403),
                                      (k.cookie, KEPT["replayed"][1], 403), (k.cookie, k.token[:-1], 403)):
            got = KEPT["nobody"].ask("POST", address(path), {}, {"Cookie": cookie, "X-Proveout-Token": token})
            assert got[0] == status, (path, cookie, token, got)
    for path, o in operations("GET"):
        if "security" in o:
            for cookie in (None, "proveout=" + "0" * 64, KEPT["replayed"][0]):
                assert KEPT["nobody"].ask("GET", address(path), headers={"Cookie": cookie})[0] == 401, path


@nothing_changed
def from_pages_elsewhere():
    for path, o in operations("POST"):
        for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"}):
            assert KEPT["k1"].ask("POST", address(path), {}, headers)[0] == 403, (path, headers)
        assert KEPT["k1"].ask("POST", address(path), {}, {"Host": "evil.example"})[0] == 421, path


@nothing_changed
def bodies_that_are_none():
    """Not JSON, not an object, another type, a query where a body is wanted, too much."""
    k = KEPT["k1"]
    n = 0
    for path, o in operations("POST"):
        if not schema_of(o):
            continue
        at = address(path)
        for body in (b"", b"{", b"[]", b"1", b"null", b"{}x", b"\xff\xfe", b"{\"a\":\"\xff\"}", b"{\"a\":1,\"a\":1}", b"{\"a\":\"\\u0000\"}",
                     b"{\"a\":\"\\ud800\"}", b"[" * 3000, b"{\"a\":1e999}"):
            got = k.ask("POST", at, body)
            assert got[0] in ((400,) if "{" not in path else (400, 404)) or (got[0] == 422 and body == b"{\"a\":1e999}"), (path, body[:20], got)
            n += 1
        for kind in (None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json, text/plain"):
            assert k.ask("POST", at, {}, {"Content-Type": kind})[0] == 415, (path, kind)
        assert k.ask("POST", at + "?a=b", {})[0] == 400, path
        s = socket.create_connection(("127.0.0.1", KEPT["port"]), timeout=10)
        s.sendall(f"POST {at} HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {k.cookie}\r\nX-Proveout-Token: {k.token}\r\nContent-Type: application/json\r\n"
                  "Content-Length: 20000000\r\n\r\n".encode())
        assert b" 413 " in s.recv(4096), path
        s.close()
    assert n > 900, n


@nothing_changed
def fields_of_the_wrong_kind():
    """One field wrong, all others as described: the field is named, or (its kind being right) nothing is found."""
    n, said = 0, set()
    for path, o in operations("POST"):
        schema = schema_of(o)
        if not schema:
            continue
        assert schema["additionalProperties"] is False, path
        named = {n for n, p in schema["properties"].items() if "shop file" in p.get("description", "")}  # may be told first: the shop has no "x"
        good = {name: USUAL.get(name, right(schema["properties"][name])) for name in schema.get("required", [])}
        for name, one in schema["properties"].items():
            for value in wrong(one):
                status, _, data = KEPT["k1"].ask("POST", address(path), {**good, name: value})
                if path.startswith(("/api/1/session", "/api/1/password", "/api/1/pin")) and isinstance(value, str):
                    assert status in (401, 422, 429), (path, name, status, data)  # any text may be a password, and a wrong one
                    continue
                where = json.loads(data).get("where", "").split("[")[0].split(".")[0]
                if name in THE_SHOPS:
                    assert 400 <= status < 500, (path, name, status)  # whatever is sent, the shop's own stands there
                elif not (status == 422 and where in {name, "body"} | named) and not (status == 404 and "{" in path):
                    said.add((path, name, str(value)[:20], status, where))
                n += 1
        status, _, data = KEPT["k1"].ask("POST", address(path), {**good, "more-than-this": 1})
        assert status == 422 or (status == 404 and "{" in path), (path, status, data)
        for name in schema.get("required", []):
            rest = {k: v for k, v in good.items() if k != name}
            assert KEPT["k1"].ask("POST", address(path), rest)[0] in (422, 404), (path, name)
            assert KEPT["k1"].ask("POST", address(path), {**good, name: None})[0] in (422, 404), (path, name)
    assert not said, sorted(said, key=str)
    assert n > 2000, n


@nothing_changed
def questions_of_the_wrong_kind():
    """Queries: unknown, twice, of the wrong type, with line ends and bytes that are no UTF-8."""
    for path, o in operations("GET"):
        at, places = address(path), [p for p in o.get("parameters", []) if p["in"] == "query"]
        tries = ["nothing-like-it=1", "%00=1", "a%0d%0aX-Evil:%201=1"] if path.startswith("/api/1/") and path not in OPEN else []
        for p in places:
            kind = p.get("schema", {"type": "object"})
            name, type_ = p["name"], kind["type"]
            tries += [f"{name}=%00", f"{name}=%ff", f"{name}=%zz", f"{name}=%0d%0aX-Evil:%201", f"{name}=a&{name}=a", f"{name}[]=1"]
            if type_ == "integer":
                tries += [f"{name}={v}" for v in ("x", "-1", "1e3", "9" * 20, "0x1", "")]
            elif type_ == "boolean":
                tries += [f"{name}={v}" for v in ("yes", "1", "TRUE")]
            elif "enum" in kind or kind.get("pattern"):
                tries += [f"{name}=nothing-like-it"]
            elif type_ == "string":
                tries += [f"{name}=" + "x" * (kind.get("maxLength", 1000) + 1)]
        for query in tries:
            got = KEPT["k1"].ask("GET", f"{at}?{query}")
            assert got[0] in (400, 404, 422), (path, query[:80], got[0], got[2][:200])
            assert got[0] != 404 or "{" in path, (path, query, got[2])


OPEN = ("/api/1/openapi.json", "/api/1/shop", "/api/1/session")  # take no query and do not look at one


@nothing_changed
def tricks_with_addresses():
    k = KEPT["k1"]
    for method in ("GET", "POST"):
        for path, _ in operations(method):
            at = address(path)
            if at in ("/", "/health"):
                continue
            for trick in (at + "/", "/" + at, at.replace("/api/1/", "/api/1/./"), at.replace("/api/1/", "/api/1/x/../"), at.replace("/api/1/", "/api/1//"),
                          at.replace("/api/1/", "/api/%31/"), at.replace("/api/", "/API/"), at + "%00", at + ";a=b", at + "\\", at + "%20", at + "%0d%0aX-Evil:1"):
                got = k.ask(method, trick, {} if method == "POST" else None)
                assert got[0] in (400, 404), (method, trick, got[0])
            if "{" in path:
                for place in ("..", "%2e%2e", "..%2f..%2fetc%2fpasswd", "a%0d%0aX-Evil:%201", "%00", "%ff", "x" * 300, "a/b", "A", "-'--", "{x}"):
                    got = k.ask(method, address(path, place), {} if method == "POST" else None)
                    assert got[0] in (400, 404, 422), (method, path, place, got)


@nothing_changed
def answers_are_what_is_described():
    """Whatever can be asked without a parameter: 200 or 404, of the type that is described; HEAD has the same header fields and no body."""
    n = 0
    for path, o in operations("GET"):
        if "{" in path or any(p.get("required") for p in o.get("parameters", [])):
            continue
        status, head, data = KEPT["k1"].ask("GET", path)
        types = o["responses"]["200"]["content"]
        assert status == 200 or "/ask/" in path and status in (404, 409, 422), (path, status, data[:200])
        if status != 200:
            continue
        assert head["Content-Type"].split(";")[0] in types, (path, head["Content-Type"], types)
        if "application/json" in types:
            assert isinstance(json.loads(data), dict), path
        n += 1
        again, other, nothing = KEPT["k1"].ask("HEAD", path)
        assert again == 200 and nothing == b"" and other["Content-Type"] == head["Content-Type"], path
    assert n > 30, n


@nothing_changed
def names_for_files():
    """Files: their name, type and length; the part's and slip's routes of a proof that is not there."""
    for name in ("%", "%zz", "%00", "%0d%0aX-Evil:1", "%ff", "a" * 256, "%C2%85", "%E2%80%A8" * 100):
        assert KEPT["nobody"].ask("POST", "/api/1/files", b"G1 X1", {"Content-Type": "application/octet-stream", "X-Proveout-Name": name})[0] == 400, name
    for kind in (None, "application/json", "multipart/form-data", "application/octet-stream; x"):
        assert KEPT["nobody"].ask("POST", "/api/1/files", b"G1 X1", {"Content-Type": kind})[0] == 415, kind
    assert KEPT["nobody"].ask("POST", "/api/1/files", b"", {"Content-Type": "application/octet-stream"})[0] == 422


def slow_ones_are_cut_off():
    for path, s in KEPT["slow"]:
        with contextlib.suppress(ConnectionResetError):
            while s.recv(4096):
                pass
        s.close()
    assert time.monotonic() - KEPT["slow since"] > 1
    assert not [n for n in os.listdir(desk.book + ".files") if n.startswith("in-")]


def it_ends_in_order():
    assert KEPT["k1"].ask("GET", "/api/1/session")[0] == 200
    KEPT["server"].send_signal(signal.SIGTERM)
    assert KEPT["server"].wait(20) == 0
    KEPT["server"].stdout.close()
    KEPT["log"].seek(0)
    text = KEPT["log"].read().decode()
    assert "runtime error" not in text and "Sanitizer" not in text, text[-3000:]
    KEPT["log"].close()


try:
    run_tests(desk, [setting_up, who_is_not_signed_in_or_only_seems_to_be, from_pages_elsewhere, bodies_that_are_none, fields_of_the_wrong_kind,
                     questions_of_the_wrong_kind, tricks_with_addresses, answers_are_what_is_described, names_for_files, slow_ones_are_cut_off, it_ends_in_order])
finally:
    if "server" in KEPT and KEPT["server"].poll() is None:
        KEPT["server"].kill()
