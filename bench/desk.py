#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How quick the desk's server says what is due today: the first answer from a book, and requests a second beside a bare handler of the same
library that sends as many bytes, in the same run.

usage: bench/desk.py BUILD_FOLDER [BOOK]      (BOOK: such as bench/make_book writes; without it an empty one is made)
It needs wrk. Figures are medians of three runs of 3 s each, server and yardstick in turn."""
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
PASSWORD = "keeper of the bench"


def load(url, headers):
    words = ["wrk", "-t1", "-c16", "-d3s"]
    for name, value in headers.items():
        words += ["-H", "%s: %s" % (name, value)]
    said = subprocess.run(words + [url], stdout=subprocess.PIPE, check=True).stdout.decode()
    if "Non-2xx" in said or "Socket errors" in said:
        sys.exit("bench/desk.py: not all was answered: " + said)
    return float(re.search(r"Requests/sec:\s+([\d.]+)", said).group(1))


def measured(build, book=None):
    """The figures as an object; what fails is an OSError, a CalledProcessError or SystemExit with its sentence."""
    program = os.path.join(os.path.abspath(build), "src/cli/proveout")
    with tempfile.TemporaryDirectory(prefix="bench-desk-") as scratch:
        env = dict(os.environ, PROVEOUT_SHOP=os.path.join(ROOT, "demo/shop.yaml"), PROVEOUT_LEDGER=os.path.join(scratch, "book.db"))
        if book:
            env["PROVEOUT_LEDGER"] = os.path.abspath(book)
        else:
            subprocess.run([program, "ledger", "new"], env=env, check=True, stdout=subprocess.DEVNULL)
        subprocess.run([program, "member", "enrol", "bench-k", "--role", "keeper", "--by", "keeper"], env=env, check=False,
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        subprocess.run([program, "desk", "password", "bench-k"], env=env, check=True, input=PASSWORD.encode() + b"\n",
                       stdout=subprocess.DEVNULL)
        log = open(os.path.join(scratch, "log"), "w+")
        server = subprocess.Popen([program, "desk", "--listen", "127.0.0.1:0"], env=env, stdout=subprocess.PIPE, stderr=log)
        bare = None
        try:
            url = re.search(r"answers at (\S+?)/?\n", server.stdout.readline().decode()).group(1)
            ask = urllib.request.Request(url + "/api/1/session", json.dumps({"member": "bench-k", "password": PASSWORD}).encode(),
                                         {"Content-Type": "application/json"})
            cookie = urllib.request.urlopen(ask).headers["Set-Cookie"].split(";")[0]
            begun = time.monotonic()
            body = urllib.request.urlopen(urllib.request.Request(url + "/api/1/today", headers={"Cookie": cookie})).read()
            first_ms = (time.monotonic() - begun) * 1000
            bare = subprocess.Popen([os.path.join(build, "bench/bare_server"), str(len(body))], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
            port = int(bare.stdout.readline())
            rates = {"bare": [], "today": []}
            for _ in range(3):
                rates["bare"].append(load("http://127.0.0.1:%d/" % port, {}))
                rates["today"].append(load(url + "/api/1/today", {"Cookie": cookie, "X-Proveout-Background": "1"}))
            with open(log.name, encoding="utf-8") as f:
                lines = [json.loads(line) for line in f if '"/api/1/today"' in line]
            own, yard = statistics.median(rates["today"]), statistics.median(rates["bare"])
            return {"what": "today over HTTP", "bytes": len(body), "first_ms": round(first_ms, 1),
                              "first_server_ms": round(lines[0]["us"] / 1000, 1), "today_per_s": round(own), "bare_per_s": round(yard),
                              "share": round(own / yard, 3)}
        finally:
            server.terminate()
            server.wait(30)
            if bare:
                bare.stdin.close()
                bare.wait(10)
            log.close()


def rows(build):
    """Prints the row of today over HTTP; the number of targets that were missed or could not be measured."""
    try:
        got = measured(build)
    except (OSError, subprocess.CalledProcessError) as e:
        print("desk: not measured: %s" % e)
        return 1
    met = got["share"] >= 0.6
    print("%-64s %8.2f   %-16s %s" % ("today over HTTP beside a bare handler, requests a second", got["share"], "0.60 at least", "met" if met else "MISSED"))
    return not met


if __name__ == "__main__":
    print(json.dumps(measured(*sys.argv[1:3])))
