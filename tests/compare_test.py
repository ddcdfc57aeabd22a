# SPDX-License-Identifier: Apache-2.0
"""Holds the program against the slow reference (tests/reference): random programs from a seed, small shaped jobs, and
the demo's jobs where they have been written. Prints what disagrees; ends with 'N passed, N failed' (compared numbers).

    python3 tests/compare_test.py [PROVEOUT] [--shop FILE] [--seed N] [--programs N] [--only NAME] [--demo] [--folder JOBS]
                                        [--bands]

The program's path: argument, else the environment's PROVEOUT. Without one, or without a shop file, the test is skipped
(status 77). --demo takes the demo's jobs in (minutes of work in Python). Tolerances: lengths 1e-6 of the value, seconds
1e-3, areas 1 % (rasters differ by where beads' ends fall), counts equal; see BAND below.
"""

import argparse
import gzip
import json
import math
import os
import random
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "reference"))

import measure  # noqa: E402
import shapefiles  # noqa: E402
import shapes  # noqa: E402
import shopfile  # noqa: E402

# How close each fact must be: (relative, absolute). A fact that is missing on one side alone is a disagreement.
LENGTH, SECONDS, SHARE, EXACT = (1e-6, 1e-6), (0, 1e-3), (1e-6, 1e-6), (0, 0)
RASTER = (0.02, 0.3)      # lengths that were found on a raster: mm of bead, a few cells at each end
NOTED = (0.25, 20)        # only noted: both sides read "over fill" and "across a gap" a little differently (README, 33 to 37)
BAND = {
    "moves": EXACT, "retractions": EXACT, "lines": EXACT,
    "filament_mm": LENGTH, "filament_net_mm": LENGTH, "filament_g": LENGTH, "volume_mm3": LENGTH,
    "extruding_mm": LENGTH, "travel_mm": LENGTH,
    "seconds": SECONDS, "motion_seconds": SECONDS, "heat_seconds": SECONDS, "wait_seconds": SECONDS,
    "bounds_all_mm": (0, 1e-4), "travel_bounds_mm": (0, 1e-4),
    "nozzle_c": SHARE, "bed_c": SHARE, "fan_percent": (0, 1e-3), "tools": LENGTH,
}
# Null on one side: measures.md leaves room, and neither reading is wrong.
READ_OTHERWISE = {
    ("fill_fraction", "spiral"),              # nothing encloses a gap: no fill, or a fill of 0
    ("walls", "leaning in a draft wall"),     # open fins inside a loop that is no part
}
BAND_LAID = {
    "layers": EXACT, "layer_height_mm": (0.01, 0.002), "first_layer_height_mm": (0.01, 0.002),
    "bead_width_mm": (0.01, 0.002), "continuous": EXACT, "bounds_mm": (0, 1e-4), "first_bead_seconds": SECONDS,
    "first_layer_seconds": SECONDS, "later_first_layers": SECONDS, "peak_flow_mm3_s": (1e-3, 0),
    "sustained_flow_mm3_s": (0.01, 0), "foothold_mm2": (0.01, 0.1), "footholds": EXACT, "parts": (0.02, 0.1),
    "on_air_mm": RASTER, "across_gap_mm": NOTED, "over_fill_mm": NOTED, "overhang_mm": RASTER, "bridges": RASTER,
    "fill_fraction": (0, 0.03), "walls": EXACT, "by_height": (1e-3, 1e-2),
}


# --- random programs ----------------------------------------------------------------------------------------------
class Program:
    """A program that any machine of the shop can run, of everything that the interpreter knows."""

    def __init__(self, seed, machine):
        self.r = random.Random(seed)
        self.machine = machine
        self.out = []
        span = min(machine.bed) / 2 - 25
        cx, cy = (0.0, 0.0) if machine.centred else (machine.bed[0] / 2, machine.bed[1] / 2)
        self.room = (cx - span, cy - span, cx + span, cy + span)
        self.at = [cx, cy, 0.3]
        self.inch = False
        self.relative = self.e_relative = False
        self.e = 0.0

    def u(self, mm):
        return mm / 25.4 if self.inch else mm

    def number(self, v):
        text = "%.*f" % (6 if self.inch else self.r.choice((5, 6)), v)
        if self.r.random() < 0.1 and text.startswith("0."):
            text = text[1:]
        return text

    def emit(self, *words):
        line = self.r.choice((" ", " ", " ", "", "  ")).join(words)
        if self.r.random() < 0.05:
            line = line.lower()
        if self.r.random() < 0.05:
            line += " ; X1 Y2 (c)"
        self.out.append(line)

    def xy(self, x, y, force=False):
        words = []
        for i, (c, v) in enumerate((("X", x), ("Y", y))):
            if force or abs(v - self.at[i]) > 1e-9:
                words.append(c + self.number(self.u(v - self.at[i] if self.relative else v)))
                shown = float(words[-1][1:]) * (25.4 if self.inch else 1.0)
                self.at[i] = self.at[i] + shown if self.relative else shown
        return words

    def e_word(self, advance):
        self.e += advance
        return "E" + self.number(self.u(advance if self.e_relative else self.e))

    def feed(self):
        return "F" + self.number(self.u(self.r.choice((600, 1200, 1800, 3000, 4500, 9000))))

    def target(self):
        x0, y0, x1, y1 = self.room
        near = self.r.choice((0.05, 0.5, 3, 20, 60))
        pick = lambda v, lo, hi: min(hi, max(lo, v + self.r.uniform(-near, near)))
        return pick(self.at[0], x0, x1), pick(self.at[1], y0, y1)

    def move(self):
        kind = self.r.choices(("bead", "travel", "z", "arc", "turn", "radius", "retract", "wipe"),
                              (40, 12, 4, 10, 2, 6, 6, 2))[0]
        feed = [self.feed()] if self.r.random() < 0.4 else []
        if kind in ("bead", "travel", "wipe"):
            x, y = self.target()
            d = math.hypot(x - self.at[0], y - self.at[1])
            e = [self.e_word(0.034 * d)] if kind == "bead" else [self.e_word(-0.4)] if kind == "wipe" else []
            self.emit(self.r.choice(("G1", "G01", "G1", "G0")), *self.xy(x, y, force=True), *e, *feed)
        elif kind == "z":
            z = min(20.0, max(0.2, self.at[2] + self.r.choice((-0.6, 0.2, 0.6, 1.0))))
            z_word = "Z" + self.number(self.u(z - self.at[2] if self.relative else z))
            self.at[2] = z if not self.relative else self.at[2] + float(z_word[1:]) * (25.4 if self.inch else 1.0)
            self.emit("G1", z_word, *feed)
        elif kind == "retract":
            back = self.r.choice((0.4, 0.8, 2.0))
            self.emit("G1", self.e_word(-back), "F2100")
            self.emit("G1", self.e_word(back + self.r.choice((0, 0.05))), "F1200")
        else:
            self.arc(kind, feed)

    def arc(self, kind, feed):
        """An arc whose words are exact enough that both radii agree to about 1e-5 mm."""
        r, a0, sweep = self.r.uniform(1, 15), self.r.uniform(0, 6.28), self.r.uniform(0.2, 5.5)
        x0, y0, x1, y1 = self.room
        i, j = r * math.cos(a0), r * math.sin(a0)
        cx, cy = self.at[0] + i, self.at[1] + j
        if not (x0 + r < cx < x1 - r and y0 + r < cy < y1 - r):
            return
        clockwise = self.r.random() < 0.5
        start = math.atan2(-j, -i)
        end = start - sweep if clockwise else start + sweep
        e = [self.e_word(0.034 * r * sweep)] if self.r.random() < 0.8 else []
        g = "G2" if clockwise else "G3"
        if kind == "turn":
            self.emit(g, "I" + self.number(self.u(i)), "J" + self.number(self.u(j)), *e, *feed)
            return
        words = self.xy(cx + r * math.cos(end), cy + r * math.sin(end), force=True)
        if kind == "radius":
            words.append("R" + self.number(self.u(r if sweep <= math.pi else -r)))
        else:
            words += ["I" + self.number(self.u(i)), "J" + self.number(self.u(j))]
        self.emit(g, *words, *e, *feed)

    def other(self):
        r = self.r
        kind = r.choice(("dwell", "heat", "bed", "fan", "limits", "modes", "g92", "factor", "rest", "gten", "tool",
                         "inch", "probe", "volume", "text", "sum"))
        if kind == "dwell":
            self.emit("G4", r.choice(("P250", "S1", "S0.5", "P0")))
        elif kind == "heat":
            self.emit(r.choice(("M104", "M109", "M109")), r.choice("SR" if r.random() < .5 else "S") +
                      str(r.choice((205, 215, 225, 240))))
            if self.out[-1].upper().startswith("M104"):
                self.out[-1] = self.out[-1].upper().replace("R2", "S2")
        elif kind == "bed":
            self.emit(r.choice(("M140", "M190")), "S%d" % r.choice((60, 65, 75, 85)))
        elif kind == "fan":
            self.emit(*r.choice((("M106", "S127"), ("M106", "S255"), ("M107",), ("M106", "S64"))))
        elif kind == "limits":
            self.emit(*r.choice((("M204", "P800", "T1000"), ("M204", "S700"), ("M204", "P9000", "R900", "T9000"),
                                 ("M201", "X900", "Y1000", "Z80", "E3000"), ("M203", "X120", "Y130", "E40"),
                                 ("M205", "X6", "Y7", "E3"), ("M205", "J0.012"), ("M205", "X20", "J0.9"))))
        elif kind == "modes":
            self.relative = r.random() < 0.5
            self.emit("G91" if self.relative else "G90")
            self.e_relative = r.random() < 0.5
            self.emit("M83" if self.e_relative else "M82")
        elif kind == "g92":
            self.e = r.choice((0.0, 0.0, 5.0))
            self.emit("G92", "E" + self.number(self.u(self.e)))
        elif kind == "factor":
            self.emit(r.choice(("M220", "M221")), "S%d" % r.choice((50, 90, 100, 100, 110)))
        elif kind == "rest":
            self.emit("M400")
        elif kind == "gten":
            self.emit(r.choice(("G10", "G10", "G10 S1", "G10 P0 S220 R150")))
            self.emit("G11")
        elif kind == "tool" and len(self.machine.nozzles) > 1:
            t = r.randrange(len(self.machine.nozzles))
            self.emit("T%d" % t)
            self.emit("M109", "S%d" % r.choice((225, 235)))
        elif kind == "inch":
            self.inch = r.random() < 0.3
            self.emit("G20" if self.inch else "G21")
        elif kind == "probe":
            self.emit(r.choice(("G29", "M600", "M0 wait here")))
        elif kind == "volume" and r.random() < 0.3:
            self.emit("M200", "D1.75")
            self.e += 5.0
            self.emit("G1", "E" + self.number(self.u(5.0 if self.e_relative else self.e)))
            self.emit("M200", "D0")
        elif kind == "text":
            self.emit("M117 X1 1.2.3 layer")
        elif kind == "sum":
            line = "N1 G4 P100"
            x = 0
            for c in line.encode():
                x ^= c
            self.out.append("N0 M110*%d" % 35)
            self.out.append("%s*%d" % (line, x))

    def text(self, length):
        self.out += ["G28", "G21", "G90", "M82", "M140 S70", "M104 S235", "M190 S70", "M109 S235", "G92 E0"]
        self.emit("G1", "Z0.3", "F600")
        self.emit("G1", *self.xy(*self.target(), force=True), "F6000")
        for _ in range(length):
            if self.r.random() < 0.2:
                self.other()
            else:
                self.move()
        end = self.r.choice((b"\n", b"\r\n", b"\r"))
        return end.join(line.encode() for line in self.out + ["M104 S0", "M140 S0", "M84"]) + end


# --- cases that measures.md settles by name -------------------------------------------------------------------------
HEAD = "G28\nG21\nG90\nM83\nM104 S230\nM109 S230\nG1 X60 Y60 Z0.2 F6000\n"
CASES = {
    "second G10 does nothing": HEAD + "G1 X70 E0.4 F1800\nG10\nG10\nG1 X80 F6000\nG11\nG11\nG1 X90 E0.4 F1800\n",
    "G10 with S0": HEAD + "G1 X70 E0.4 F1800\nG10 S0\nG1 X80 F6000\nG11 S0\nG1 X90 E0.4\n",
    "G10 sets a tool": HEAD + "G10 P0 S240 R170\nM109 S240\nG1 X70 E0.4 F1800\nG10 L2 X1\nG1 X80 E0.4\n",
    "home one axis": HEAD + "G1 X70 E0.4 F1800\nG28 X\nG1 X70 E0.4\nG28 Y X\nG1 X60 Y60\nG1 X70 E0.4\n",
    "G92 moves nothing": HEAD + "G1 X70 E0.4 F1800\nG92 X0 Y0\nG1 X10 E0.4\nG92\nG1 X5 Y5 Z0.1 E0.2\n",
    "G92 of the filament": "M82\n" + HEAD + "M82\nG92 E0\nG1 X70 E5 F900\nG92 E0\nG1 E-2 F2100\nG1 X80 F6000\nG1 E0\nG1 X90 E4\n",
    "inches": HEAD + "G20\nG1 X2.8 E0.02 F70\nG2 X3.2 I0.2 E0.03\nG21\nG1 X90 E0.4 F1800\n",
    "text is no word": HEAD + "M117 G1 X90 E50\nM118 E1 E2 1.2.3\nM0 take out the insert\nG1 X70 E0.4 F1800\n",
    "lower case, no blanks": HEAD.lower() + "g1x70e0.4f1800\ng1y+70.e.4\n",
    "comments": HEAD + "G1 (X1 E9) X70 E0.4 ; E5\n(G1 E5)\n;G1 E5\nG1 X80 E0.4 F1800\n",
    "carriage returns": (HEAD + "G1 X70 E0.4 F1800\n").replace("\n", "\r"),
    "byte order mark, no last end": "\ufeff" + HEAD + "G1 X70 E0.4 F1800",
    "no feed": "G28\nG90\nM83\nM109 S230\nG1 X60 Y60 Z0.2\nG1 X70 E0.4\nG1 X80 E0.4 F0\n",
    "M200": HEAD + "M200 D1.75\nG1 X70 E0.9 F1800\nM200 D0\nG1 X80 E0.4\n",
    "factors": HEAD + "M220 S50\nM221 S95\nG1 X70 E0.4 F1800\nG1 E-1 F2100\nG1 E1\nM220 S100\nG1 X80 E0.4\n",
    "limits go down and back": HEAD + "M204 S300 T400 R500\nG1 X80 E0.8 F6000\nG1 Y80\nG1 E-1 F2400\nM204 S9000 T9000 R9000\n"
                               "G1 X60 E0.8\nM203 X20 Y20\nG1 X90 E1.2\nM203 X900 Y900\nM201 X200 Y200\nG1 X60\n",
    "no tool": HEAD + "G1 X70 E0.4 F1800\nT-1\nG1 X60\nT0\nG1 X80 E0.4\n",
    "large arc by radius": HEAD + "G2 X70 Y60 R-8 E1 F1800\nG3 X60 Y60 R8 E0.5\nG3 X60.0 Y70 R5 E0.6\n",
    "a helix": HEAD + "G2 I5 Z0.6 E1.2 F1800\nG3 X70 Y60 I5 J0 Z0.8 E0.6\n",
    "feed mode doubtful": "G28\nM109 S230\nG1 Z0.2 X60 Y60 F6000\nM82\nG91\n" + "G1 X2 E0.1 F1800\n" * 40,
    "feed mode plain": "G28\nM109 S230\nG1 Z0.2 X60 Y60 F6000\nG91\nM83\n" + "G1 X2 E0.1 F1800\n" * 40,
    "heat while it homes": "M140 S70\nM104 S230\nG28\nG29\nM190 S70\nM109 S230\nG4 S5\nM109 S240\nM109 S220\nM109 R240\n"
                           "G90\nM83\nG1 X60 Y60 Z0.2 F6000\nG1 X70 E0.4 F1800\n",
    "short moves in a row": HEAD + "".join("G1 X%.3f Y%.3f E0.01 F4800\n" % (60 + i * 0.3, 60 + 0.02 * i * i)
                                          for i in range(60)),
    "back and forth": HEAD + "".join("G1 X%d E0.3 F9000\n" % (60 + 10 * (i % 2)) for i in range(9)),
}


# --- comparing ----------------------------------------------------------------------------------------------------
class Table:
    def __init__(self, few=False):
        self.passed = self.failed = self.runs = 0
        self.few = few
        self.rows, self.worst = [], {}

    def one(self, job, machine, name, want, got, band):
        if isinstance(want, dict):
            for k in want:
                self.one(job, machine, name + "." + k, want[k], got.get(k) if isinstance(got, dict) else None, band)
            return
        if isinstance(want, list) and isinstance(got, list) and len(want) == len(got):
            for n, (a, b) in enumerate(zip(want, got)):
                self.one(job, machine, "%s[%d]" % (name, n), a, b, band)
            return
        if isinstance(want, (int, float)) and isinstance(got, (int, float)):
            off = abs(want - got)
            ok = off <= max(band[1], band[0] * abs(want))
            key = name.split("[")[0].split(".")[0]
            self.worst[key] = max(self.worst.get(key, 0.0), off)
        else:
            ok = want == got or (name, job) in READ_OTHERWISE
        if ok:
            self.passed += 1
        else:
            self.failed += 1
            self.rows.append((job, machine, name, want, got))

    def show(self, bands):
        if self.rows:
            print("%-26s %-8s %-34s %-22s %s" % ("job", "machine", "fact", "reference", "program"))
        short = lambda v: ("%.9g" % v if isinstance(v, float) else str(v))[:40]
        for job, machine, name, want, got in self.rows[:200]:
            print("%-26s %-8s %-34s %-22s %s" % (job, machine, name, short(want), short(got)))
        if len(self.rows) > 200:
            print("... and %d more" % (len(self.rows) - 200))
        if bands:
            for name, off in sorted(self.worst.items()):
                print("largest difference of %-24s %.3g" % (name, off))
        print("%d passed, %d failed" % (self.passed, self.failed))


def program_facts(proveout, path, shop, machine, materials):
    run = subprocess.run([proveout, "check", path, "--shop", shop, "--machine", machine, "--material",
                          ",".join(materials), "--json"], capture_output=True, timeout=600)
    if run.returncode not in (0, 1, 2):
        raise RuntimeError("status %d: %s" % (run.returncode, run.stderr.decode(errors="replace").strip()[:300]))
    return json.loads(run.stdout)


def flat_pairs(value):
    out = []
    for v in value or []:
        out += list(v) if isinstance(v, (list, tuple)) else [v.get("start"), v.get("end")] if isinstance(v, dict) else [v]
    return out


def compare(table, proveout, shop_path, shop, name, data, machine, laid, materials=None):
    materials = shop.materials_for(machine, materials)
    table.runs += 1
    only_run = table.few and table.runs % 6 != 1  # reckoning in Python is what takes long
    want = None if only_run else measure.measure(data, machine, materials, shop.rules, laid)
    with tempfile.NamedTemporaryFile(suffix=".gcode") as f:
        f.write(data)
        f.flush()
        try:
            proof = program_facts(proveout, f.name, shop_path, machine.name, [m.name for m in materials])
        except Exception as e:  # a program that fails is a disagreement, told like one
            table.failed += 1
            table.rows.append((name, machine.name, "the program itself", "facts", str(e)))
            return
    got = proof["facts"]
    if only_run:
        table.one(name, machine.name, "facts that are there", True, got.get("moves", 0) > 0 and proof["lines"] > 0, EXACT)
        return
    got["lines"] = proof["lines"]
    for fact, band in list(BAND.items()) + (list(BAND_LAID.items()) if laid else []):
        a, b = want.get(fact), got.get(fact)
        if fact == "tools":
            keys = ("filament_mm", "filament_net_mm", "filament_g", "volume_mm3")
            a = {str(t["tool"]): {k: t[k] for k in keys} for t in a}
            b = {str(t["tool"]): t for t in b or []}
        elif fact == "later_first_layers":
            a, b = flat_pairs(a), flat_pairs(b)
        elif fact == "parts":
            pick = lambda parts: [[p.get(k) for k in ("aid", "footholds", "g", "foothold_mm2")] for p in parts or []]
            a, b = sorted(pick(a)), sorted(pick(b))  # the order within one height is a matter of taste
            if len(a) != len(b):
                a, b = len(a), len(b)
        elif fact == "bridges":
            table.one(name, machine.name, "bridges.count", a["count"], (b or {}).get("count"), EXACT)
            a, b = a["longest_mm"], (b or {}).get("longest_mm")
        elif fact == "by_height":
            if want["continuous"]:
                continue  # heights of turns are a matter of taste
            at = {round(r["z"], 2): r for r in b or []}
            b = [at.get(round(r["z"], 2)) for r in a]
        table.one(name, machine.name, fact, a, b, band)
    ratio = want["feed_mode_ratio"]
    if ratio > 5.5 or ratio < 4.5:
        names = {f["name"] for f in proof["findings"]}
        table.one(name, machine.name, "finding feed-mode-doubtful", ratio > 5, "feed-mode-doubtful" in names, EXACT)


def main():
    args = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    args.add_argument("proveout", nargs="?", default=os.environ.get("PROVEOUT"))
    args.add_argument("--shop")
    args.add_argument("--seed", type=int, default=1)
    args.add_argument("--programs", type=int, default=12)
    args.add_argument("--few", action="store_true",
                      help="hold every sixth run against the reference; the others have to end well and to be told as facts")
    args.add_argument("--only", default="")
    args.add_argument("--demo", action="store_true")
    args.add_argument("--folder", help="jobs with a manifest.tsv of file, machine, materials; minutes of work in Python")
    args.add_argument("--bands", action="store_true", help="print the largest difference of each fact")
    a = args.parse_args()
    shop_path = a.shop or shapefiles.shop_file(HERE)
    if not a.proveout or not os.path.exists(a.proveout) or not shop_path:
        print("skipped: no program or no shop file to hold against the reference")
        return 77
    shop = shopfile.read(shop_path)
    table = Table(a.few)
    for machine in [m for m in shop.machines if m.name in ("Alder", "Dogwood", "Elm")]:
        for n in range(a.programs):
            name = "random %d" % (a.seed + n)
            if a.only in name:
                data = Program((a.seed + n) * 1000 + len(machine.name), machine).text(150)
                compare(table, a.proveout, shop_path, shop, name, data, machine, False)
        for name, text in CASES.items():
            if a.only in name:
                compare(table, a.proveout, shop_path, shop, name, text.encode("utf-8"), machine, False)
    for name, data in shapes.all_shapes().items():
        if a.only in name:
            compare(table, a.proveout, shop_path, shop, name, data, shop.machine("Alder"), True)
    if a.demo:
        for path in shapefiles.demo_jobs(HERE):
            name = os.path.basename(path)
            if a.only in name:
                with open(path, "rb") as f:
                    data = f.read()
                compare(table, a.proveout, shop_path, shop, name, data, shop.machine(shapefiles.machine_of(name)),
                        len(data) < 4000000)
    if a.folder:
        with open(os.path.join(a.folder, "manifest.tsv"), encoding="utf-8") as f:
            rows = [line.rstrip("\n").split("\t")[:3] for line in f if not line.startswith("#") and "\t" in line]
        for name, machine, materials in rows:
            if a.only in name:
                with open(os.path.join(a.folder, name), "rb") as f:
                    data = f.read()
                if data[:2] == b"\x1f\x8b":
                    data = gzip.decompress(data)
                compare(table, a.proveout, shop_path, shop, name, data, shop.machine(machine), True,
                        materials.split(","))
    table.show(a.bands)
    return 1 if table.failed else 0


if __name__ == "__main__":
    sys.exit(main())
