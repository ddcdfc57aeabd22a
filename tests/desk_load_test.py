#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The desk's server with many at once: 500 live pages stay open and hear all, 50 files of 5 MB come in, and reads beside them are answered; its memory
stays where it was. No absolute time is looked at here: bench/desk.py measures.

usage: desk_load_test.py PROVEOUT SHOP [--long MINUTES]     (--long: reads and files go on for so long, figures once a minute)"""
import concurrent.futures
import hashlib
import http.client
import json
import os
import re
import resource
import signal
import socket
import statistics
import subprocess
import sys
import time

sys.dont_write_bytecode = True
from desk_kit import Desk, run_tests  # noqa: E402

SLOW = "ASAN_OPTIONS" in os.environ
STREAMS, FILES, BYTES, READERS = (50, 10, 500_000, 4) if SLOW else (500, 50, 5_000_000, 8)
LONG = float(sys.argv[sys.argv.index("--long") + 1]) * 60 if "--long" in sys.argv else 0
desk = Desk(sys.argv[1], sys.argv[2], change=(("rules:\n", "rules:\n  keep_files_gb: 0.3\n"),))
WORD = "keeper of Quayside"
KEPT = {}


def ask(connection, path):
    connection.request("GET", path, headers={"Cookie": KEPT["cookie"], "X-Proveout-Background": "1"})
    reply = connection.getresponse()
    return reply.status, reply.read()


def memory_kb():
    with open(f"/proc/{KEPT['server'].pid}/status") as f:
        return int(re.search(r"VmRSS:\s+(\d+)", f.read())[1])


def setting_up():
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, max(soft, 4000)), hard))
    desk.run("member", "enrol", "k1", "--role", "keeper", by="keeper")
    desk.run("desk", "password", "k1", given=WORD.encode() + b"\n")
    KEPT["log"] = open(os.path.join(desk.where, "log"), "wb")
    KEPT["server"] = subprocess.Popen([desk.proveout, "desk", "--listen", "127.0.0.1:0"], env=desk.env, stdout=subprocess.PIPE, stderr=KEPT["log"], cwd=desk.where)
    KEPT["port"] = int(re.search(r":(\d+)/", KEPT["server"].stdout.readline().decode())[1])
    c = http.client.HTTPConnection("127.0.0.1", KEPT["port"], timeout=30)
    c.request("POST", "/api/1/session", json.dumps({"member": "k1", "password": WORD}), {"Content-Type": "application/json"})
    reply = c.getresponse()
    KEPT["cookie"], KEPT["token"] = reply.headers["Set-Cookie"].split(";")[0], json.loads(reply.read())["token"]
    c.close()


def live_pages_are_open():
    KEPT["streams"] = []
    for i in range(STREAMS):
        s = socket.create_connection(("127.0.0.1", KEPT["port"]), timeout=30)
        s.sendall(f"GET /api/1/events HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {KEPT['cookie']}\r\n\r\n".encode())
        KEPT["streams"].append(s)
    for s in KEPT["streams"]:
        got = b""
        while b"retry:" not in got:
            one = s.recv(4096)
            assert one, got
            got += one


def send(n):
    """One file from an address of its own, as from a computer of its own: the answer is its hash."""
    data = hashlib.sha256(f"{n}".encode()).digest() * (BYTES // 32)
    c = http.client.HTTPConnection("127.0.0.1", KEPT["port"], timeout=120, source_address=(f"127.0.{3 + n // 250 % 200}.{1 + n % 250}", 0))
    c.request("POST", "/api/1/files", data, {"Content-Type": "application/octet-stream"})
    reply = c.getresponse()
    said = reply.status, json.loads(reply.read()).get("file")
    c.close()
    return said == (200, hashlib.sha256(data).hexdigest()) or said


def read(until):
    """Reads one after another while until() is false: seconds of each."""
    paths, took, n = ("/api/1/today", "/api/1/ask/machines", "/api/1/shop", "/api/1/ask/runs?limit=20"), [], 0
    c = http.client.HTTPConnection("127.0.0.1", KEPT["port"], timeout=60)
    while not until():
        begun = time.monotonic()
        status, data = ask(c, paths[n % len(paths)])
        took.append(time.monotonic() - begun)
        assert status == 200 and json.loads(data), (paths[n % len(paths)], status)
        n += 1
    c.close()
    return took


def files_come_in_and_reads_are_answered():
    """Nothing fails, and the median read is not a hundred times slower than without."""
    end = time.monotonic() + 0.3
    alone = read(lambda: time.monotonic() > end)
    with concurrent.futures.ThreadPoolExecutor(FILES + READERS) as pool:
        files = [pool.submit(send, n) for n in range(FILES)]
        readers = [pool.submit(read, lambda: all(f.done() for f in files)) for _ in range(READERS)]
        assert [f.result() for f in files] == [True] * FILES, [f.result() for f in files if f.result() is not True][:5]
        took = sorted(t for r in readers for t in r.result())
    assert len(took) >= READERS and statistics.median(took) < 100 * max(statistics.median(alone), 0.001), (statistics.median(alone), statistics.median(took))
    KEPT["took"] = alone, took


def live_pages_hear_of_it():
    c = http.client.HTTPConnection("127.0.0.1", KEPT["port"], timeout=30)
    c.request("POST", "/api/1/acts/note-leave", json.dumps({"text": "for all"}),
              {"Content-Type": "application/json", "Cookie": KEPT["cookie"], "X-Proveout-Token": KEPT["token"]})
    number = json.loads(c.getresponse().read())["event"]
    for s in KEPT["streams"]:
        got = b""
        while b"id: %d\n" % number not in got:
            one = s.recv(65536)
            assert one, "a live page was closed"
            got += one
    c.close()


def memory_stays():
    """After the same load again, what the server holds has not grown by the size of a file."""
    def once(first):
        with concurrent.futures.ThreadPoolExecutor(8) as pool:
            assert all(x is True for x in pool.map(send, range(first, first + 16)))
        end = time.monotonic() + 0.2
        return read(lambda: time.monotonic() > end)
    once(1000)
    before, begun, n = memory_kb(), time.monotonic(), 2000
    while n < 2048 or time.monotonic() - begun < LONG:
        took = sorted(once(n))
        n += 16
        if LONG and n % 512 == 0:
            print(f"{time.monotonic() - begun:.0f} s: {n - 2000} files, {memory_kb()} kB, read p50 {took[len(took) // 2] * 1000:.1f} ms, p99 {took[len(took) * 99 // 100] * 1000:.1f} ms", flush=True)
    grown = memory_kb() - before
    assert SLOW or grown < 5000, grown


def it_ends():
    for s in KEPT["streams"]:
        s.close()
    KEPT["server"].send_signal(signal.SIGTERM)
    assert KEPT["server"].wait(30) == 0
    KEPT["server"].stdout.close()
    KEPT["log"].close()
    if LONG:
        with open(os.path.join(desk.where, "log"), encoding="utf-8") as f:
            us = sorted(line["us"] for line in map(json.loads, f) if line["what"] == "request" and line["method"] == "GET" and "events" not in line["route"])
        print(f"by the server's log: {len(us)} reads, p50 {us[len(us) // 2] / 1000:.2f} ms, p99 {us[len(us) * 99 // 100] / 1000:.2f} ms")
        for name, took in zip(("alone", "beside the files"), KEPT["took"]):
            took = sorted(took)
            print(f"{name}: {len(took)} reads, p50 {took[len(took) // 2] * 1000:.1f} ms, p99 {took[len(took) * 99 // 100] * 1000:.1f} ms")


try:
    run_tests(desk, [setting_up, live_pages_are_open, files_come_in_and_reads_are_answered, live_pages_hear_of_it, memory_stays, it_ends])
finally:
    if "server" in KEPT and KEPT["server"].poll() is None:
        KEPT["server"].kill()
