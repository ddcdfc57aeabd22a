# SPDX-License-Identifier: Apache-2.0
"""A kit for tests of the desk's verbs: a shop file and a book in a folder of their own, verbs run on them at a set time.

    desk = Desk(sys.argv[1], sys.argv[2])           # the binary, the shop file; a new book is made
    desk.at("2026-11-26T15:10")                     # from now on the clock stands there
    desk.run("member", "enrol", "m1001", by="keeper")            # words for people, blanks and lines folded
    desk.js("member", "show", "m1001")["role"]                   # the same with --json, parsed
    said = desk.run("run", "drop", "99", status=2)               # a refusal: what stands on standard error is in it
    run_tests(desk, [one, two])                                  # says "N passed, N failed" and ends"""
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import traceback

KEPT = ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LSAN_OPTIONS", "TMPDIR")


class Desk:
    """change: pairs (text of the shop file, what stands there instead); each must be found."""

    def __init__(self, proveout, shop, change=(), clock="2026-11-26T10:00"):
        self.proveout = os.path.abspath(proveout)
        self.where = os.path.realpath(tempfile.mkdtemp(prefix="desk-"))
        self.shop, self.book = os.path.join(self.where, "shop.yaml"), os.path.join(self.where, "book.db")
        with open(shop, encoding="utf-8") as f:
            text = f.read()
        for old, new in change:
            assert old in text, f"the shop file has no {old!r}"
            text = text.replace(old, new)
        with open(self.shop, "w", encoding="utf-8") as f:
            f.write(text)
        self.env = {"PATH": os.environ["PATH"], "PROVEOUT_SHOP": self.shop, "PROVEOUT_LEDGER": self.book}
        self.env.update({name: os.environ[name] for name in KEPT if name in os.environ})
        self.at(clock)
        self.raw("ledger", "new")

    def at(self, clock):
        """The clock stands at this time of the shop's zone: "2026-11-26T15:10", or "16:30" of the same day."""
        self.clock = clock if "T" in clock else self.clock[:11] + clock

    def raw(self, *words, status=0, by=None, at=None, given=None):
        """One call as it is; at: for this call only; given: standard input. (standard output, standard error)"""
        clock = self.clock if at is None else at if "T" in at else self.clock[:11] + at
        env = dict(self.env, PROVEOUT_CLOCK=clock, **({"PROVEOUT_BY": by} if by else {}))
        done = subprocess.run([self.proveout, *[str(w) for w in words]], capture_output=True, cwd=self.where, timeout=60,
                              env=env, input=given)
        out, err = done.stdout.decode(), done.stderr.decode()
        assert done.returncode == status, f"{' '.join(map(str, words))}: exit {done.returncode}, not {status}\n{out}{err}"
        return out, err

    def run(self, *words, status=0, **more):
        """What it says, blanks and line ends as one blank; with a refusal what stands on standard error as well."""
        out, err = self.raw(*words, status=status, **more)
        return fold(out if status in (0, 1) else out + err)

    def table(self, *words, **more):
        """The lines of standard output as they are."""
        return self.raw(*words, **more)[0].splitlines()

    def js(self, *words, **more):
        """The answer as an object; of a refusal the one that it prints beside its sentence."""
        return json.loads(self.raw(*words, "--json", **more)[0])

    def write(self, name, data):
        """A file in the desk's folder; its path and its SHA-256 by Python's hashlib."""
        path = os.path.join(self.where, name)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        data = data if isinstance(data, bytes) else data.encode()
        with open(path, "wb") as f:
            f.write(data)
        return path, hashlib.sha256(data).hexdigest()

    def close(self):
        shutil.rmtree(self.where, ignore_errors=True)


def fold(text):
    return re.sub(r"\s+", " ", text).strip()


def says(text, *pieces):
    """Each piece stands in the text."""
    for piece in pieces:
        assert piece in text, f"{piece!r} is not in {text!r}"


def run_tests(desk, tests):
    """In turn; a later one may rest on an earlier one. Ends the program, with the folder removed."""
    passed = failed = 0
    try:
        for test in tests:
            try:
                test()
                passed += 1
            except Exception as e:
                failed += 1
                lines = [f.lineno for f in traceback.extract_tb(e.__traceback__) if f.filename == sys.argv[0]]
                print(f"{test.__name__}: line {lines[-1] if lines else '?'}: {type(e).__name__}: {e}")
    finally:
        desk.close()
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)
