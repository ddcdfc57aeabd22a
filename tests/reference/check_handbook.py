# SPDX-License-Identifier: Apache-2.0
"""Checks the reference itself against handbook values and closed forms. Run: python3 tests/reference/check_handbook.py

Each check names its source. Ends with 'N passed, N failed'; a check is one compared number or word.
"""

import math
import os
import sys

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import beads  # noqa: E402
import deposit  # noqa: E402
import interpret  # noqa: E402
import measure  # noqa: E402
import motion  # noqa: E402
import raster  # noqa: E402
import shopfile  # noqa: E402
import words  # noqa: E402

PASSED = FAILED = 0


def check(name, got, want, tolerance=0.0):
    global PASSED, FAILED
    ok = got == want or (isinstance(want, float) and abs(got - want) <= tolerance)
    PASSED, FAILED = PASSED + ok, FAILED + (not ok)
    if not ok:
        print("FAILED %s: got %r, want %r" % (name, got, want))


# A shop of its own, with every form the reader knows, so that these checks need no other file.
SHOP = """
# the checks' shop
rules: {overhang_limit_deg: 45, support_gap_mm: 0.5}
materials:
  petg: {density_g_cm3: 1.27, diameter: 1.75, house: true}
  pla:  {density_g_cm3: 1.24, diameter: 1.75}
machines:
  - &one
    name: Step
    bed: {shape: rectangle, x: 200, y: 200}
    height: 200
    home: {x: 0, y: 0, z: 0}
    nozzles: [{diameter: 0.4}]
    materials: [petg, pla]
    e_follows_g90: true
    retract: {mm: 1, mm_s: 40, extra_mm: 0.1}
    motion:
      feed_mm_s:   {x: 200, y: 200, z: 10, e: 60}   # comment
      accel_mm_s2: {x: 3000, y: 3000, z: 100, e: 5000}
      print_mm_s2: 1000
      travel_mm_s2: 1000
      retract_mm_s2: 2000
      corner: {rule: step, x: 8, y: 8, z: 0.4, e: 5}
    heat: {nozzle_c_per_s: 2, bed_c_per_s: 0.5, room_c: 20, home_seconds: 30, probe_seconds: 60}
  - {<<: *one, name: "Free", e_follows_g90: false}
"""
SHOP_READ = shopfile.Shop(SHOP)
STEP, FREE = SHOP_READ.machine("Step"), SHOP_READ.machine("Free")
PI = math.pi


def job(text, machine=STEP):
    return interpret.Job(text.encode("latin-1"), machine)


def seconds(text, machine=STEP):
    return motion.Timeline(job(text, machine).events, machine)


def shop_file():
    check("shop: merge keeps what stands here", (FREE.name, FREE.e_follows_g90, FREE.feed[2]), ("Free", False, 10.0))
    check("shop: quotes, lists, comments", shopfile.parse("a: [\"1:2\", 'b', 3] # c\nb:\n- 1\n- x: {y: -2}\n"),
          {"a": ["1:2", "b", 3], "b": [1, {"x": {"y": -2}}]})


def checksums():  # handbook 4.3
    for text, want in (("N3 T0", 57), ("N1 G28", 18), ("N4 G92 E0", 67), ("N5 G28", 22), ("N0 M110", 35),
                       ("N10 M104 S200", 86), ("N6 G1 F1500.0", 82), ("N123 G1 X10 Y5 F3000", 120),
                       ("N1 G1 X10 Y10 E1.5", 103), ("G1 X10", 15)):
        check("4.3 checksum of " + text, words.checksum(text.encode()), want)
        check("4.3 a good sum is taken", words.Reader().line(b"%s*%d" % (text.encode(), want), 1).damage, None)
        check("4.3 a bad sum is damage",
              bool(words.Reader().line(b"%s*%d" % (text.encode(), want ^ 1), 1).damage), True)


def grammar():  # measures.md, Interpreter; handbook 4.1, 4.3
    def read(raw):
        ln = words.Reader().line(raw, 1)
        return "damage" if ln.damage else ln.words

    check("case, no blanks", read(b"g1x+.5y-0Z5.f1800"), [("G", 1), ("X", .5), ("Y", 0), ("Z", 5), ("F", 1800)])
    check("comments", read(b"G1 (X9) X2 ; Y3"), [("G", 1), ("X", 2)])
    check("flags", read(b"G28 X Y"), [("G", 28), ("X", None), ("Y", None)])
    check("no exponents", read(b"G1 X1e3"), [("G", 1), ("X", 1), ("E", 3)])
    check("text", read(b"M117 X1 X2 1.2.3"), [("M", 117)])
    for bad in (b"G1 X1 X2", b"G1 X1.2.3", b"G1 X--1", b"G1 X\0", b"G1 X1e3 E4", b"G1 X-", b"G1 *", b"G1 (X1"):
        check("damaged: %r" % bad, read(bad), "damage")
    check("NUL and high bytes in a comment", read(b"G1 X1 ; \0\xff"), [("G", 1), ("X", 1)])
    for data, n in ((b"", 0), (b"a", 1), (b"a\n", 1), (b"a\r\nb\rc\nd", 4), (b"\xef\xbb\xbfG1\n\n", 2)):
        check("lines of %r" % data, len(words.split_lines(data)), n)


def arcs():  # handbook 4.2
    short = 10 * PI / 3
    for r, clockwise, cy, length in ((10, False, 8.660254, 10.471976), (10, True, -8.660254, 10.471976),
                                     (-10, True, 8.660254, 52.359878), (-10, False, -8.660254, 52.359878)):
        arc = interpret.arc_by_radius((0, 0), (10, 0), r, clockwise)
        name = "4.2 G%d R%d" % (2 if clockwise else 3, r)
        check(name + " centre", math.hypot(arc.cx - 5, arc.cy - cy), 0.0, 1e-6)
        check(name + " length", abs(arc.sweep) * arc.r, length, 1e-6)
        check(name + " ends at its end", math.dist(arc.at(1), (10, 0)), 0.0, 1e-12)
        check(name + " direction", arc.sweep < 0, clockwise)
    m = job("G3 X10 Y0 R10 E1").moves[0]
    check("4.2 60 degree arc", m.length, short, 1e-12)
    check("3.3 quarter of r 10", job("G1 X10\nG3 X0 Y10 I-10").moves[1].length, 15.707963, 1e-6)
    check("3.3 helix, one turn, r 10, dz 0.2", job("G2 I10 Z0.2").moves[0].length, 62.832171, 1e-6)
    check("a full turn with its end named", job("G2 X0 Y0 I10").moves[0].length, 20 * PI, 1e-9)
    check("bounds of an arc", [round(v, 9) for v in job("G3 X10 Y0 I5 J0").moves[0].bounds()[0]], [0, -5, 0])
    check("measures.md: radii that differ by 0.01 pass", len(job("G2 X10.01 Y0 I5").bad_arcs), 0)
    check("measures.md: radii that differ by 0.06 do not", len(job("G2 X10.06 Y0 I5").bad_arcs), 1)
    check("an arc in another plane", job("G18\nG2 X10 Z1 I5").bad_arcs[0][1], "an arc in another plane: G18")


def modes():  # measures.md, Interpreter
    check("G20", job("G20\nG1 X1 Y2 E1 F60").moves[0].end, (25.4, 50.8, 0.0))
    check("G20 scales feed and E", (job("G20\nG1 X1 E1 F60").moves[0].feed, job("G20\nG1 X1 E1 F60").moves[0].de),
          (25.4, 25.4))
    both = "G91\nG1 X5 E1\nG1 X5 E1\n"
    check("G91 and E, machine follows", [m.de for m in job(both).moves], [1.0, 1.0])
    check("G91 and E, machine does not", [m.de for m in job(both, FREE).moves], [1.0, 0.0])
    check("the later word wins", [m.de for m in job("M83\nG90\nG1 X1 E2\nG1 X2 E2").moves], [2.0, 0.0])
    check("G92 undone", job("G1 X10\nG92 X0\nG1 X5").moves[1].end[0], 15.0)
    check("G92 without letters", job("G1 X10 Y10 E5\nG92\nG1 X1 E1").moves[1].de, 1.0)
    check("G28 X only", job("G1 X9 Y9\nG28 X\nG1 X1").moves[1].start, (0.0, 9.0, 0.0))
    text = "M83\nG1 E5\nG92 E0\nG1 E-2\nG1 E4\nG1 E-1"
    check("net feed: highest and last", interpret.net_feed(job(text).moves)[0], (7.0, 6.0))
    j = job("G11\nG10\nG10\nG10 S0\nG11\nG11")
    check("G10, G11 once each", [round(m.de, 9) for m in j.moves], [-1.0, 1.1])
    check("G10 counts as retraction, not as move", (j.retractions, j.n_moves), (1, 0))
    check("G10 with P moves nothing", len(job("G10 P0 S200 R150").moves), 0)
    check("M200", job("M200 D1.75\nG1 X10 E2.405281875").moves[0].de, 1.0, 1e-9)
    check("M220, M221", (job("M220 S50\nM221 S90\nG1 X10 E1 F600").moves[0].feed,
                         job("M221 S90\nG1 X10 E1").moves[0].de), (5.0, 0.9))
    check("kinds", [m.kind for m in job("M83\nG1 X1 E1\nG1 X2\nG1 E1\nG1 Z1 E-1\nG1 X3 E-1\nG1 Z2").moves],
          ["bead", "travel", "feed", "feed", "travel", "travel"])
    check("retractions", job("M83\nG1 X1 E1\nG1 E-1\nG1 X5 E-1\nG10").retractions, 3)
    check("a tool of none feeds nothing", len(job("T-1\nM83\nG1 E5").moves), 0)
    check("feed mode doubtful", interpret.feed_mode_ratio(b"M82\nG91\n" + b"G1 X1 E1\n" * 10, STEP), 10.0)


def times():  # handbook 3.1, 3.2; measures.md, Motion time
    for d, v, a, v0, want, top in ((100, 100, 1000, 0, 1.1, 100), (100, 150, 1000, 0, .8166667, 150),
                                   (10, 100, 500, 0, .2828427, 70.710678), (5, 100, 1000, 0, .1414214, 70.710678),
                                   (1, 60, 500, 0, .0894427, 22.360680), (20, 60, 500, 0, .4533333, 60),
                                   (50, 60, 500, 10, .9166667, 60), (200, 200, 3000, 0, 1.0666667, 200)):
        t, peak = motion.trapezoid(d, v, a, v0, v0)
        check("3.1 time of %g at %g" % (d, v), t, float(want), 1e-7)
        check("3.1 peak of %g at %g" % (d, v), peak, float(top), 1e-6)
    x = (1, 0, 0, 0)
    turn = lambda deg: (math.cos(math.radians(deg)), math.sin(math.radians(deg)), 0, 0)
    check("3.2 step, 90 degrees", motion.corner_step(x, turn(90), [8] * 4), 8.0, 1e-9)
    check("3.2 step, 45 degrees", motion.corner_step(x, turn(45), [8] * 4), 11.3137, 1e-4)
    for theta, a, d, want in ((90, 500, .013, 3.96136), (90, 1000, .013, 5.60221), (90, 1000, .05, 10.98684),
                              (60, 1000, .05, 7.07107), (120, 1000, .05, 17.97791), (135, 1000, .05, 24.63439),
                              (150, 1000, .05, 37.64820), (170, 1000, .05, 114.40962)):
        check("3.2 deviation %d" % theta, motion.corner_deviation(x, turn(180 - theta), a, d), want, 1e-4)
    check("straight on: no limit", motion.corner_deviation(x, x, 1000, .05), math.inf)
    check("with and without XYZ", motion.corner_deviation(x, (0, 0, 0, 1), 1000, .05), 0.0)
    check("reversal", motion.corner_deviation(x, turn(180), 1000, .05), 0.0, 1e-6)
    # whole programs, by hand. One move: d/v + v/a = 1.1 s.
    check("3.1 a program", seconds("G1 X100 F6000").motion, 1.1, 1e-9)
    check("two halves straight on are one", seconds("G1 X50 F6000\nG1 X100").motion, 1.1, 1e-9)
    check("a rest between them costs", seconds("G1 X50 F6000\nM400\nG1 X100").motion, 1.2, 1e-9)
    # a square corner at 8 mm/s, J of the rule: each leg speeds up over v^2 / 2a and slows down to 8
    leg = lambda j: 100 / 1000 + (100 - j) / 1000 + (50 - 100 ** 2 / 2000 - (100 ** 2 - j ** 2) / 2000) / 100
    check("3.2 a square corner", seconds("G1 X50 F6000\nG1 Y50").motion, 2 * leg(8), 1e-9)
    check("axis limits: Z", seconds("G1 Z10 F60000").motion, 10 / 10 + 10 / 100, 1e-9)
    check("no feed: the machine's limits", seconds("G0 X200").motion, 200 / 200 + 200 / 1000, 1e-9)
    check("arc speed sqrt(a r)", seconds("G2 I1 F60000").motion, motion.trapezoid(
        2 * PI, math.sqrt(1000), 1000, 0, 0)[0], 1e-9)
    check("retraction", seconds("G1 E-1 F2400").motion, motion.trapezoid(1, 40, 2000, 0, 0)[0], 1e-9)
    check("G4 P and S", seconds("G4 P500\nG4 S2\nG1 X1").wait, 2.5, 1e-9)
    check("G28 by thirds, G29", seconds("G28\nG28 X\nG29\nG1 X1").wait, 30 + 10 + 60.0, 1e-9)
    check("M109 from room", seconds("M109 S220\nG1 X1").heat, 100.0, 1e-9)
    check("all heaters warm at once", seconds("M140 S60\nM109 S220\nM190 S60\nG1 X1").heat, 100.0, 1e-9)
    check("they warm while it homes", seconds("M104 S220\nG28\nM109 S220\nG1 X1").heat, 70.0, 1e-9)
    check("no cooling", seconds("M109 S220\nM109 S180\nM109 S220\nG1 X1").heat, 100.0, 1e-9)
    check("M204 lowers", seconds("M204 T500\nG1 X100 F6000").motion, 1.2, 1e-9)
    check("M204 never raises", seconds("M204 T9000\nG1 X100 F6000").motion, 1.1, 1e-9)
    check("M203 lowers", seconds("M203 X50\nG1 X100 F6000").motion, 2.05, 1e-9)
    check("M205 lowers", seconds("M205 X4\nG1 X50 F6000\nG1 Y50").motion, 2 * leg(4), 1e-9)
    j = job("M83\nG1 X100 E10 F6000\nG1 X0 E10")
    motion.Timeline(j.events, STEP)
    area = {id(m): 0.1 for m in j.moves}
    check("sustained flow over a stop", motion.sustained(j.moves, area), 20 / 3.0, 1e-9)
    long = job("M83\nG1 X190 E10 F600")
    motion.Timeline(long.events, STEP)
    check("sustained flow at cruise", motion.sustained(long.moves, {id(long.moves[0]): 0.1}), 1.0, 1e-9)


def filament():  # handbook 1.2
    facts = measure.measure(b"M83\nM109 S220\nG1 E12500 F300\n", STEP, [SHOP_READ.materials["pla"]], {}, False)
    check("1.2 12.5 m of PLA", facts["filament_g"], 37.28187, 1e-5)
    facts = measure.measure(b"M83\nG1 X1 E1000 F300\n", STEP, [SHOP_READ.materials["petg"]], {}, False)
    check("measures.md: 1 m of 1.75", facts["volume_mm3"], 2405.28, 5e-3)
    for name, want in (("pla", 2.9825), ("petg", 3.0547)):
        facts = measure.measure(b"M83\nG1 X1 E1000 F300\n", STEP, [SHOP_READ.materials[name]], {}, False)
        check("1.2 g per m of " + name, facts["filament_g"], want, 5e-5)


def stadium():  # handbook 2.1
    for w, h, area, e in ((.45, .2, .081416, .033849), (.48, .2, .087416, .036343), (.42, .2, .075416, .031354),
                          (.40, .2, .071416, .029691), (.44, .3, .112686, .046849), (.60, .3, .160686, .066805),
                          (.68, .3, .184686, .076783)):
        check("2.1 area of %g x %g" % (w, h), beads.stadium_area(w, h), area, 1e-6)
        check("2.1 width back", beads.width(beads.stadium_area(w, h), h)[0], w, 1e-12)
        check("2.1 advance", beads.stadium_area(w, h) / (PI / 4 * 1.75 ** 2), e, 1e-6)
    check("2.1 e 0.035, h 0.2", beads.width(.035 * PI / 4 * 1.75 ** 2, .2)[0], .463845, 1e-6)
    check("measures.md: a thin strand is round", beads.width(PI * .01, .3), (.2, False))
    check("measures.md: over a gap a strand is round", beads.width(PI * .01, None), (.2, False))


def main():
    for f in (shop_file, checksums, grammar, arcs, modes, times, filament, stadium):
        f()
    shapes()
    print("%d passed, %d failed" % (PASSED, FAILED))
    return FAILED > 0


def shapes():
    """Closed forms on shaped jobs: see shapes.py."""
    import shapes as made
    made.run(check, SHOP_READ, STEP)


if __name__ == "__main__":
    sys.exit(main())
