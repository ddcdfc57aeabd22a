# SPDX-License-Identifier: Apache-2.0
"""Small shaped jobs whose measures are known by hand, written as job files; and the checks of the reference on them."""

import math

import measure

AREA = math.pi / 4 * 1.75 ** 2


class Job:
    """Writes a job: beads of a wanted width and height, travels with retraction."""

    def __init__(self, h=0.2, w=0.45, feed=1800, x=0.0, y=0.0):
        self.h, self.w, self.feed, self.dx, self.dy = h, w, feed, x, y
        self.out = ["G21", "G90", "M83", "G28", "M140 S75", "M104 S240", "M190 S75", "M109 S240", "M106 S102"]
        self.z = 0.0

    def level(self, z):
        self.z = z
        self.out.append("G1 Z%.3f F600" % z)

    def advance(self, length, w=None, h=None):
        w, h = w or self.w, h or self.h
        return ((w - h) * h + math.pi * h * h / 4) * length / AREA

    def line(self, points, w=None, h=None):
        """A chain of beads through points."""
        self.out.append("G1 X%.4f Y%.4f F7200" % (points[0][0] + self.dx, points[0][1] + self.dy))
        for p, q in zip(points, points[1:]):
            self.out.append("G1 X%.4f Y%.4f E%.6f F%d" % (q[0] + self.dx, q[1] + self.dy,
                                                        self.advance(math.dist(p, q), w, h), self.feed))

    def ring(self, x0, y0, x1, y1):
        self.line([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])

    def walls(self, x0, y0, x1, y1, n):
        """n nested loops whose outermost bead's edge follows the rectangle."""
        for k in range(n):
            d = self.w / 2 + k * self.w
            self.ring(x0 + d, y0 + d, x1 - d, y1 - d)

    def solid(self, x0, y0, x1, y1, along_x=True):
        """A rectangle filled from edge to edge with parallel beads, as one zigzag."""
        wide, long = (y1 - y0, x1 - x0) if along_x else (x1 - x0, y1 - y0)
        n = max(1, round(wide / self.w))
        points = []
        for k in range(n):
            at, a, b = (k + 0.5) * wide / n, self.w / 2, long - self.w / 2
            if k % 2:
                a, b = b, a
            points += [(x0 + a, y0 + at), (x0 + b, y0 + at)] if along_x else [(x0 + at, y0 + a), (x0 + at, y0 + b)]
        self.line(points)

    def text(self):
        return ("\n".join(self.out + ["M104 S0", "M140 S0", "M107", "G1 X0 Y150 F7200", "M84"]) + "\n").encode()


def block(n=6, skirt=False, size=12.0, fill=None, walls=2):
    """A block with walls and a solid or sparse inside."""
    j = Job(x=60, y=60)
    for k in range(n):
        j.level(0.2 * (k + 1))
        if skirt and k == 0:
            j.ring(-6, -6, size + 6, size + 6)
        j.walls(0, 0, size, size, walls)
        d = walls * j.w
        if fill and 1 < k < n - 2:
            for i in range(int((size - 2 * d) / fill)):
                at = d + (i + 0.5) * (size - 2 * d) / int((size - 2 * d) / fill)
                j.line([(at, d), (at, size - d)] if k % 2 else [(d, at), (size - d, at)])
        else:
            j.solid(d, d, size - d, size - d, k % 2 == 0)
    return j.text()


def gate(span=8.0, pillar=4.0, n=10, loose=False):
    """Two solid pillars and one layer of beads across; loose: a bar beside them that lies on nothing."""
    j = Job(x=80, y=80)
    for k in range(n):
        j.level(0.2 * (k + 1))
        j.solid(0, 0, pillar, pillar, k % 2 == 0)
        j.solid(pillar + span, 0, 2 * pillar + span, pillar, k % 2 == 0)
    j.level(0.2 * (n + 1))
    for k in range(4):
        j.line([(0.3, 0.5 + k), (2 * pillar + span - 0.3, 0.5 + k)])
    if loose:
        j.line([(0, 20), (15, 20)])
    return j.text()


def leaning(degrees, n=20, draft_wall=False):
    """A fin three beads thick that leans by an angle from the vertical, on a solid foot; a draft wall round it."""
    j = Job(x=80, y=80)
    for k in range(n):
        j.level(0.2 * (k + 1))
        if draft_wall:
            j.ring(-3, -3, 24, 23)
        x = 10 + (0.2 * (k - 2) * math.tan(math.radians(degrees)) if k > 2 else 0.0)
        if k < 3:
            j.solid(0, 0, 20, 20)
        else:
            for i in range(3):
                j.line([(x - i * j.w, 2), (x - i * j.w, 18)])
    return j.text()


def in_turn():
    """Two blocks, the second begun when the first is finished."""
    j = Job(x=30, y=60)
    for x in (0, 60):
        for k in range(5):
            j.level(0.2 * (k + 1))
            j.walls(x, 0, x + 8, 8, 2)
            j.solid(x + 0.9, 0.9, x + 7.1, 7.1)
        j.level(20)
    return j.text()


def spiral(turns=20, r=10.0, step=6):
    """A solid disc of rings, then a wall that climbs without end."""
    j = Job(x=100, y=100)
    j.level(0.2)
    for k in range(int(r / j.w)):
        rr = r - k * j.w
        j.line([(rr * math.cos(math.radians(a)), rr * math.sin(math.radians(a))) for a in range(0, 361, step)])
    j.out.append("G1 X%.4f Y%.4f F7200" % (100 + r, 100))
    e = j.advance(2 * r * math.sin(math.radians(step / 2)))
    for k in range(1, turns * 360 // step + 1):
        a = math.radians(k * step)
        j.out.append("G1 X%.4f Y%.4f Z%.5f E%.6f F1800" % (100 + r * math.cos(a), 100 + r * math.sin(a),
                                                         0.2 + 0.2 * k * step / 360, e))
    return j.text()


def all_shapes():
    return {"block": block(), "block with skirt": block(skirt=True), "sparse block": block(12, fill=3.0, size=16.0),
            "gate": gate(), "gate with a loose bar": gate(loose=True), "leaning 30": leaning(30),
            "leaning 45": leaning(45), "leaning 62": leaning(62),
            "leaning in a draft wall": leaning(62, draft_wall=True), "in turn": in_turn(), "spiral": spiral()}


def run(check, shop, machine):
    """Checks of the reference; every wanted number is worked out beside it."""
    petg = [shop.materials["petg"]]
    f = {name: measure.measure(text, machine, petg, shop.rules) for name, text in all_shapes().items()}

    b = f["block"]
    check("block: layers", b["layers"], 6)
    check("block: layer height", b["layer_height_mm"], 0.2, 1e-6)
    check("block: bead width", b["bead_width_mm"], 0.45, 1e-4)  # written with it
    check("block: foothold", b["foothold_mm2"], 144.0, 1.44)  # 12 x 12
    check("block: one part, no aid", [p["aid"] for p in b["parts"]], [False])
    check("block: nothing hangs", (b["on_air_mm"], b["overhang_mm"], b["bridges"]["count"]), (0.0, 0.0, 0))
    check("block: walls", b["walls"], 2)
    check("block: peak flow", b["peak_flow_mm3_s"], 0.0814159 * 30, 1e-4)  # stadium 2.1, 30 mm/s
    check("block: first layer", b["first_layer_height_mm"], 0.2, 1e-6)
    check("block: centre of mass", math.dist(b["parts"][0]["centre_of_mass_mm"], (66, 66, 0.6)), 0.0, 0.05)
    # tilt of a block 12 wide whose centre stands 0.6 high
    check("block: tilt", b["parts"][0]["tip_deg"], math.degrees(math.atan(6 / 0.6)), 0.2)

    s = f["block with skirt"]
    check("skirt: no foothold", (s["footholds"], s["layers"]), (1, 6))
    check("skirt: out of the bounds", s["bounds_mm"]["min"][0], 60 + 0.225, 1e-6)
    check("skirt: in the bounds of all", s["bounds_all_mm"]["min"][0], 54.0, 1e-6)
    check("skirt: no part of fill or walls", (s["fill_fraction"], s["walls"]), (None, 2))
    check("skirt: adds its own length", s["extruding_mm"] - b["extruding_mm"], 4 * 24.0, 1e-6)

    p = f["sparse block"]
    check("sparse: nothing hangs", (p["on_air_mm"], p["overhang_mm"], p["bridges"]["count"]), (0.0, 0.0, 0))
    check("sparse: the roof lies over fill", p["over_fill_mm"] > 50, True)
    # 4 lines of 0.45 over 14.2 mm in pitch 3.55
    check("sparse: fill fraction", p["fill_fraction"], 4 * 0.45 / 14.2, 0.03)

    g = f["gate"]
    check("gate: bridges", g["bridges"]["count"], 4)
    check("gate: their length", g["bridges"]["longest_mm"], 8.0, 0.3)
    check("gate: none on air, one part", (g["on_air_mm"], len(g["parts"]), g["footholds"]), (0.0, 1, 2))
    check("loose bar: on air", f["gate with a loose bar"]["on_air_mm"], 15.0, 1e-6)

    check("leaning 30: carried", f["leaning 30"]["overhang_mm"], 0.0, 1e-9)
    check("leaning 45: carried, at the limit itself", f["leaning 45"]["overhang_mm"], 0.0, 1e-9)
    # a draft wall encloses, but not as the part's own walls do; it is an aid
    d = f["leaning in a draft wall"]
    check("draft wall: the fin hangs as before", d["overhang_mm"], f["leaning 62"]["overhang_mm"], 1e-6)
    check("draft wall: an aid", sorted(p["aid"] for p in d["parts"]), [False, True])
    check("leaning 62: hangs", f["leaning 62"]["overhang_mm"] > 200, True)

    t = f["in turn"]
    check("in turn: parts, footholds, layers", (len(t["parts"]), t["footholds"], t["layers"]), (2, 2, 5))
    check("in turn: a later first layer", len(t["later_first_layers"]), 1)

    v = f["spiral"]
    check("spiral: continuous", v["continuous"], True)
    check("spiral: layers", v["layers"], 21)  # 4.2 mm
    check("spiral: nothing hangs", (v["on_air_mm"], v["overhang_mm"], v["bridges"]["count"]), (0.0, 0.0, 0))
    check("spiral: layer height", v["layer_height_mm"], 0.2, 0.01)
