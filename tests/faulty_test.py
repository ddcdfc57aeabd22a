#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""For each finding one file that must trip it: by name, grade and a sensible place, and little else.

usage: faulty_test.py PROVEOUT FAULTY_JOBS SHOP [NAME]
Files with a fault of geometry come from FAULTY_JOBS; faults of words are made here, by changing one good file."""
import json
import os
import re
import subprocess
import sys
import tempfile


class Lines(list):
    """Lines of the good file, with the places that the changes need."""

    def index_of(self, start):
        return next(i for i, line in enumerate(self) if line.startswith(start))

    def layers(self):
        return [i for i, line in enumerate(self) if line.startswith("; next height")]

    def middle(self):
        return self.layers()[len(self.layers()) // 2] + 1

    def first_bead(self):
        return self.layers()[0] + 1

    def beads(self, start, stop):
        return [i for i in range(start, stop) if re.match(r"G1 X[-.\d]+ Y[-.\d]+ E", self[i])]


def put(start, *new):
    """Lines before the first that starts so ('middle', 'layer0', 'end', a word)."""
    def change(l):
        at = {"middle": l.middle, "layer0": l.first_bead, "end": lambda: len(l)}.get(start, lambda: l.index_of(start))()
        l[at:at] = new
        return at + 1
    return change


def swap(start, new):
    def change(l):
        i = l.index_of(start)
        l[i:i + 1] = [new] if new is not None else []
        return i + 1
    return change


def every(pattern, make):
    def change(l):
        for i, line in enumerate(l):
            l[i] = re.sub(pattern, make, line)
        return None
    return change


def lift_above(mm):
    """All that lies above the middle stands that much higher: a gap that still carries."""
    def change(l):
        at = l.middle()
        for i in range(at, len(l)):
            if re.match(r"G[01] ", l[i]):
                l[i] = re.sub(r" Z(-?[.\d]+)", lambda m: " Z%.3f" % (float(m.group(1)) + mm), l[i])
        return at + 1
    return change


def scale_e(factor):
    return every(r" E(-?[.\d]+)", lambda m: " E%.5f" % (float(m.group(1)) * factor))


def scale_beads(factor, pick=lambda k: True):
    def change(l):
        for k, i in enumerate(l.beads(l.layers()[1], len(l))):
            if pick(k):
                l[i] = re.sub(r" E([.\d]+)", lambda m: " E%.5f" % (float(m.group(1)) * factor), l[i])
        return None
    return change


def both(*changes):
    def change(l):
        at = None
        for c in changes:
            at = c(l) or at
        return at
    return change


def cut_short(l):
    at = l.beads(0, len(l))[len(l.beads(0, len(l))) * 2 // 3]
    del l[at + 1:]
    l[-1] = l[-1][:-3]
    return at + 1


def drop_layers(l):
    marks = l.layers()
    del l[marks[8]:marks[15]]
    return None


def nowhere(change):
    def made(l):
        change(l)
        return None
    return made


def lift_all(l):
    for i in range(l.index_of("M107"), len(l)):
        l[i] = re.sub(r" Z([.\d]+)", lambda m: " Z%.3f" % (float(m.group(1)) + 3), l[i])
    return None


def no_beads(l):
    l[:] = [re.sub(r" E-?[.\d]+", "", line) for line in l if not re.match(r"G1 E", line)]
    return None


def twice(l):
    l.extend(list(l))
    return None


def slip_back(l):
    at = l.middle() + 20
    l[at:at] = ["G1 E-0.8 F2100", "G1 E0.8"] * 60
    return at + 1


def damaged(l):
    i = l.beads(l.middle(), len(l))[5]
    l[i] = re.sub(r"X(\d+)\.(\d+)", r"X\1.\2.7", l[i])
    return i + 1


def height_before(l, at):
    return next(m.group(1) for m in (re.search(r" Z([.\d]+)", l[i]) for i in range(at - 1, -1, -1)) if m)


def aside(*moves):
    """In the middle, between two beads: moves that come back to where they began, in height too."""
    def change(l):
        at = l.beads(l.middle(), len(l))[4] + 1
        back = re.search(r"X[-.\d]+ Y[-.\d]+", l[at - 1]).group(0)
        l[at:at] = ["G0 Z9 F600", "G0 X80 Y80 F8400", *moves, "G0 Z9 F600", "G0 %s F8400" % back,
                    "G0 Z%s F600" % height_before(l, at)]
        return at + 3
    return change


def no_lift(l):
    """No lift and no parking: the nozzle stays where the last bead ended."""
    at = max(l.beads(0, len(l)))
    l[at + 1:] = ["G1 E-0.8 F2100", "M107", "M104 S0", "M140 S0", "M84"]
    return None


ANY = -1
# finding: (change or None = own file, grade, further findings that may come with it, options)
CASES = {
    "reaches-too-far": (put("middle", "G0 X262 Y100 F8400", "G0 X100 Y100"), "stop", set(), {}),
    "below-the-bed": (aside("G0 Z-0.4 F600"), "stop", set(), {}),
    "runs-into-part": (aside("G0 Z0.4 F600", "G0 X120 Y102 F8400", "G0 X160 Y80"), "stop", set(), {}),
    "homes-into-part": (put("middle", "G28 Z"), "stop", {"runs-into-part"}, {}),
    "pushes-cold": (put("middle", "M104 S120"), "stop", {"nozzle-out-of-band"}, {}),
    "beyond-rating": (put("middle", "M104 S280", "M104 S235"), "stop", {"nozzle-out-of-band"}, {}),
    "not-homed": (swap("G28", None), "stop", set(), {}),
    "damaged-file": (damaged, "stop", set(), {}),
    "cut-short": (cut_short, "stop", {"leaves-heat-on", "damaged-file", "parks-on-part", "few-roofs"}, {}),
    "stores-settings": (put("layer0", "M500"), "stop", set(), {}),
    "needs-tool": (put("middle", "T3"), "stop", {"pushes-cold"}, {}),
    "no-print": (no_beads, "stop", set(), {}),
    "missing-layers": (drop_layers, "stop", {"prints-on-air", "few-roofs"}, {}),
    "starts-in-the-air": (lift_all, "stop", {"missing-layers", "prints-on-air", "small-foothold", "few-roofs"}, {}),
    "wrong-material": (None, "stop", {"nozzle-out-of-band", "bed-out-of-band", "fan-out-of-band", "off-recipe"},
                       {"file": "good", "material": "tpu"}),
    "not-permitted": (None, "stop", set(), {"file": "elm-good", "permission": "starter"}),
    "wrong-filament": (scale_e((1.75 / 2.85) ** 2), "stop", {"bead-too-thin", "wrong-nozzle"}, {}),
    "leaves-the-bed": (None, "stop", {"reaches-too-far"}, {}),
    "hits-keep-out": (None, "stop", set(), {}),
    "too-tall": (None, "stop", {"tips-over", "small-foothold", "reaches-too-far"}, {}),
    "prints-on-air": (None, "stop", {"steep-overhang", "long-bridge"}, {}),
    "wrong-nozzle": (None, "stop", {"first-layer-too-thick", "layer-too-thick", "bead-too-wide"}, {}),

    "nozzle-out-of-band": (both(every(r"^(M104|M109) S235", r"\1 S214")), "ask", set(), {}),
    "bed-out-of-band": (every(r"^(M140|M190) S75", r"\1 S40"), "ask", set(), {}),
    "fan-out-of-band": (every(r"^M106 S102", "M106 S255"), "ask", set(), {}),
    "no-heat-wait": (both(swap("M104 S235", None), swap("M109", "M104 S235")), "ask", set(), {}),
    "leaves-heat-on": (swap("M104 S0", None), "ask|stop", set(), {}),
    "sits-hot": (put("layer0", "G4 S1500"), "ask", set(), {}),
    "needs-hands": (put("middle", "M600"), "ask", set(), {}),
    "loosens-limits": (put("layer0", "M201 X9000 Y9000", "M203 X500 Y500"), "ask", set(), {}),
    "shifts-origin": (put("M84", "G92 X0 Y0"), "ask", set(), {}),
    "unknown-word": (put("middle", "M7777 S3"), "ask", set(), {}),
    "bad-arc": (put("; next height, 5", "G2 X100 Y100 I3 J1 F3000"), "ask", {"runs-into-part"}, {}),
    "feed-mode-doubtful": (both(swap("M83", None), swap("G90", "M83"), put("M140", "G90")), "ask",
                           {"off-recipe", "wrong-filament", "bead-too-thin", "small-foothold", "no-print", "retracts-too-far"},
                           {"machine": "Alder"}),
    "two-jobs-in-one": (twice, "ask", {"runs-into-part", "homes-into-part", "few-roofs"}, {}),
    "melts-too-fast": (nowhere(put("layer0", "M220 S400", "M221 S130")), "ask|stop", {"bead-too-wide", "first-layer-too-fast",
                       "layer-too-quick"}, {}),
    "bead-too-thin": (scale_beads(0.46, lambda k: k % 3 == 0), "ask", {"wrong-nozzle", "wrong-filament"}, {}),
    "bead-too-wide": (scale_beads(2.9, lambda k: k % 4 == 0), "ask", {"melts-too-fast", "wrong-nozzle"}, {}),
    "grinds-filament": (slip_back, "ask", set(), {}),
    "retracts-too-far": (put("middle", "G1 E-30 F2100", "G1 E30 F2100"), "ask", set(), {}),
    "parks-on-part": (no_lift, "ask", set(), {}),
    "made-for-other-machine": (None, "ask", {"leaves-the-bed", "reaches-too-far"}, {"file": "elm-good", "machine": "Alder"}),
    "over-allowance": (None, "ask", set(), {}),
    "spool-short": (None, "ask", set(), {"file": "good", "spool_g": "2"}),
    "too-long": (both(every(r" F(\d+)$", lambda m: " F%.1f" % (int(m.group(1)) / 10)), put("layer0", "M220 S1")), "ask",
                 {"sits-hot"}, {}),
    "layer-too-thick": (None, "ask", set(), {}),
    "layer-too-quick": (None, "ask", {"small-foothold", "melts-too-fast"}, {}),
    "first-layer-too-thick": (None, "ask", set(), {}),
    "first-layer-too-thin": (None, "ask", set(), {}),
    "first-layer-too-fast": (None, "ask", set(), {}),
    "small-foothold": (None, "ask", {"layer-too-quick", "tips-over"}, {}),
    "tips-over": (None, "ask", {"layer-too-quick", "small-foothold"}, {}),
    "may-lift": (None, "ask", set(), {}),
    "long-bridge": (None, "ask", {"steep-overhang"}, {}),
    "steep-overhang": (None, "ask", {"tips-over"}, {}),
    "few-roofs": (None, "ask", set(), {}),

    "off-recipe": (None, "note", {"layer-too-thick"}, {"file": "layer-too-thick"}),
    "over-fill": (None, "note", set(), {"file": "good"}),
    "across-gap": (lift_above(0.45), "note", set(), {}),
    "skips-probe": (swap("G29", None), "note", set(), {}),
    "no-feed": (every(r" F\d+$", ""), "note", {"first-layer-too-fast", "melts-too-fast", "grinds-filament", "layer-too-quick"}, {}),
}


def check(proveout, shop, folder, rows, name):
    change, grade, also, how = CASES[name]
    file = how.get("file", name if change is None else "good")
    machine, materials, z = rows[file]
    path = os.path.join(folder, file + ".gcode")
    line = None
    if change:
        with open(path, encoding="utf-8") as f:
            lines = Lines(f.read().split("\n")[:-1])
        line = change(lines)
        path = os.path.join(folder, "changed-" + name + ".gcode")
        with open(path, "w", encoding="utf-8") as f:
            f.write("\n".join(lines) + ("" if name == "cut-short" else "\n"))
    args = [proveout, "check", path, "--shop", shop, "--machine", how.get("machine", machine), "--material",
            how.get("material", materials), "--json"]
    if "permission" in how:
        args += ["--permission", how["permission"]]
    if "spool_g" in how:
        args += ["--spool-g", how["spool_g"]]
    run = subprocess.run(args, capture_output=True, text=True, timeout=300)
    if run.returncode > 2:
        return "ended with status %d: %s" % (run.returncode, run.stderr.strip())
    proof = json.loads(run.stdout)
    found = {f["name"]: f for f in proof["findings"]}
    loud = {n for n, f in found.items() if f["grade"] in ("ask", "stop")}
    if name not in found:
        return "not found; found are %s" % sorted(found)
    f = found[name]
    if f["grade"] not in grade.split("|"):
        return "grade %s, expected %s" % (f["grade"], grade)
    if not f["says"] or (f["grade"] != "note" and not f["do"]):
        return "without a sentence"
    if loud - also - {name}:
        return "also trips %s" % {n: found[n]["says"] for n in sorted(loud - also - {name})}
    want = {"clear": 0, "ask": 1, "stop": 2}[proof["verdict"]]
    if run.returncode != want:
        return "status %d for verdict %s" % (run.returncode, proof["verdict"])
    where, worst = f.get("where") or {}, f.get("worst") or {}
    if line is not None and where.get("line") is not None and not line - 1 <= where["line"] <= line + 400:
        return "line %s, expected %d or a little after" % (where["line"], line)
    heights = [p["z"] for p in (where, worst) if p.get("z") is not None]
    if float(z) >= 0 and change is None and heights and all(abs(h - float(z)) > 0.35 for h in heights):
        return "z %s, expected about %s" % (heights, z)
    return None


AGAINST = {"other-part", "scaled", "mirrored", "incomplete"}  # a job and a part make these: against_test.py


# What no file trips by itself: the book (desk_check_test.py) and the clock (plan_test.py) do.
OF_THE_BOOK = {"machine-taken", "gap-unverified"}
OF_THE_CLOCK = {"watch-past-closing", "ends-unstaffed", "runs-alone", "hands-when-closed", "off-late"}


def of_parts_alone(proveout, name):
    """Those have faulty parts: part_cli_test.py."""
    told = subprocess.run([proveout, "explain", name], capture_output=True, text=True).stdout
    return re.search(r"^  of parts;", told, re.M) is not None


def main():
    proveout, generator, shop = sys.argv[1:4]
    names = [n for n in CASES if len(sys.argv) < 5 or n == sys.argv[4]]
    bad = 0
    listed = subprocess.run([proveout, "explain"], capture_output=True, text=True, check=True).stdout
    for name in sorted(set(re.findall(r"^  ([a-z]+(?:-[a-z]+)+)$", listed, re.M)) ^ set(CASES)):
        if name in AGAINST or name in OF_THE_BOOK | OF_THE_CLOCK or (name not in CASES and of_parts_alone(proveout, name)):
            continue
        bad += 1
        print("%s: %s" % (name, "no such finding" if name in CASES else "a finding without a faulty file"))
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([generator, folder], check=True)
        rows = {}
        with open(os.path.join(folder, "faults.tsv"), encoding="utf-8") as f:
            for row in f:
                name, machine, materials, z = row.rstrip("\n").split("\t")
                rows[name] = (machine, materials, z)
        for name in names:
            why = check(proveout, shop, folder, rows, name)
            if why:
                bad += 1
                print("%s: %s" % (name, why))
    print("%d passed, %d failed (findings, each with its own faulty file)" % (max(0, len(names) - bad), bad))
    return 1 if bad or not names else 0


if __name__ == "__main__":
    sys.exit(main())
