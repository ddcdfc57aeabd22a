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
import math
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
        studies = os.path.join(os.path.dirname(os.path.abspath(shop)), "training")
        if os.path.isdir(studies):  # the shop file names the folder from its own place
            os.symlink(studies, os.path.join(self.where, "training"))
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


def tube(size=30, height=20, x=120, y=100, taper=0, nozzle=235, bed=75, fan=90, hands_at=None, tools=(0,)):
    """A job of our own: a square tube of three wall loops of 0.45 mm in layers of 0.2 mm, on the bed's middle of the small
    machines. taper: mm that each side moves inwards by a layer; fan: of 255; hands_at: mm at which it stops for a person
    (M600); tools: layers in turn. Metres of filament follow from the bead's area: w h - h^2 (1 - pi / 4)."""
    layer, width = 0.2, 0.45
    each = (width * layer - layer ** 2 * (1 - math.pi / 4)) / (math.pi / 4 * 1.75 ** 2)
    out = ["; a square tube", "G21", "G90", "M83", f"M140 S{bed}", *[f"M104 T{t} S{nozzle}" for t in tools], f"M190 S{bed}",
           *[f"M109 T{t} S{nozzle}" for t in tools], "G28", "G29", f"T{tools[0]}", "G92 E0", "G1 X10 Y4 Z0.25 F3000",
           "G1 X60 Y4 E2.2 F900", "G1 E-0.9 F2100"]
    for n in range(round(height / layer)):
        z = (n + 1) * layer
        if hands_at and z - layer < hands_at <= z:
            out.append("M600")
        if n == 3:
            out.append(f"M106 S{fan}")
        if len(tools) > 1:
            out.append(f"T{tools[n % len(tools)]}")
        for k in range(3):
            half = size / 2 - n * taper - width / 2 - k * (width - layer * (1 - math.pi / 4))
            side = 2 * half
            out.append(f"G1 X{x - half:.3f} Y{y - half:.3f} Z{z:.3f} F9000")
            out.append("G1 E0.9 F2100" if k == 0 else "")
            for dx, dy in ((1, -1), (1, 1), (-1, 1), (-1, -1)):
                out.append(f"G1 X{x + dx * half:.3f} Y{y + dy * half:.3f} E{side * each:.5f} F{1200 if n == 0 else 1500}")
        out.append("G1 E-0.9 F2100")
    return "\n".join([*[line for line in out if line], f"G1 Z{height + 10:.2f} F600", "G1 X5 Y190 F6000", "M104 S0", "M140 S0", "M107",
                      "M84", ""])


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
                lines = [f.lineno for f in traceback.extract_tb(e.__traceback__) if os.path.abspath(f.filename) == os.path.abspath(sys.argv[0])]
                print(f"{test.__name__}: line {lines[-1] if lines else '?'}: {type(e).__name__}: {str(e)[:2000]}")
    finally:
        desk.close()
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)
