# SPDX-License-Identifier: Apache-2.0
"""Words to events: the modal interpreter of measures.md, "Interpreter".

The result is a list of events in the order of the file: Move, and ("rest",), ("dwell", s), ("home", s), ("probe", s),
("target", heater, C), ("wait", heater), ("pause", word). A heater is "bed" or ("nozzle", tool). Nothing here knows time.
Lengths mm, speeds mm/s, positions in machine coordinates (G92 undone).
"""

import math

import words as words_mod

NOTHING = 1e-9  # mm: a difference below this is rounding of decimal numbers, not motion


class Limits:
    """What the machine allows, lowered by M201, M203, M204, M205; never above the machine's own."""

    def __init__(self, machine):
        self.feed = list(machine.feed)
        self.accel = list(machine.accel)
        self.print_a = machine.print_a
        self.travel_a = machine.travel_a
        self.retract_a = machine.retract_a
        self.rule = machine.rule
        self.step = list(machine.step) if machine.step else None
        self.deviation = machine.deviation

    def copy(self):
        out = object.__new__(Limits)
        out.__dict__.update(self.__dict__)
        out.feed, out.accel = list(self.feed), list(self.accel)
        out.step = list(self.step) if self.step else None
        return out


class Arc:
    """A turn in the XY plane: centre, radius, start angle, and sweep (radians, counter-clockwise positive)."""

    def __init__(self, cx, cy, r, a0, sweep):
        self.cx, self.cy, self.r, self.a0, self.sweep = cx, cy, r, a0, sweep

    def at(self, share):
        a = self.a0 + self.sweep * share
        return self.cx + self.r * math.cos(a), self.cy + self.r * math.sin(a)


class Move:
    __slots__ = ("line", "kind", "start", "end", "de", "tool", "feed", "arc", "length", "xy", "limits", "counted",
                 "nozzle_c", "bed_c", "fan", "order",
                 "v_in", "v_out", "v_top", "v", "a", "seconds", "begin")

    def __init__(self, line, start, end, de, tool, feed, arc, limits):
        self.line, self.start, self.end, self.de = line, tuple(start), tuple(end), de
        self.tool, self.feed, self.arc, self.limits = tool, feed, arc, limits
        dx, dy, dz = (end[i] - start[i] for i in range(3))
        self.xy = abs(arc.sweep) * arc.r if arc else math.hypot(dx, dy)
        if self.xy < NOTHING:
            self.xy = 0.0
        dz = dz if abs(dz) >= NOTHING else 0.0
        self.length = math.sqrt(self.xy ** 2 + dz ** 2)
        if abs(self.de) < NOTHING:
            self.de = 0.0
        if self.xy > 0 and self.de > 0:
            self.kind = "bead"
        elif self.de != 0 and self.xy == 0:
            self.kind = "feed"  # E alone, or with Z alone
        else:
            self.kind = "travel"
        self.counted = True
        self.begin = self.seconds = None

    def is_empty(self):
        return self.length == 0 and self.de == 0

    def direction(self, at_end):
        """u = (dx, dy, dz, dE) / L at one end; the tangent for arcs."""
        length = self.length if self.length > 0 else abs(self.de)
        if self.arc:
            a = self.arc.a0 + (self.arc.sweep if at_end else 0.0)
            sign = 1.0 if self.arc.sweep > 0 else -1.0
            x, y = -math.sin(a) * sign * self.xy, math.cos(a) * sign * self.xy
        else:
            x, y = self.end[0] - self.start[0], self.end[1] - self.start[1]
        return (x / length, y / length, (self.end[2] - self.start[2]) / length, self.de / length)

    def point(self, share):
        """The point of the path at a share (0..1) of its length."""
        z = self.start[2] + (self.end[2] - self.start[2]) * share
        if self.arc:
            if share >= 1.0:
                return self.end
            x, y = self.arc.at(share)
            return x, y, z
        return (self.start[0] + (self.end[0] - self.start[0]) * share,
                self.start[1] + (self.end[1] - self.start[1]) * share, z)

    def bounds(self):
        """Exact bounds of the path: its ends, and the quarter points that an arc passes."""
        xs, ys = [self.start[0], self.end[0]], [self.start[1], self.end[1]]
        if self.arc:
            lo, hi = sorted((self.arc.a0, self.arc.a0 + self.arc.sweep))
            k = math.ceil(lo / (math.pi / 2))
            while k * math.pi / 2 <= hi:
                xs.append(self.arc.cx + self.arc.r * (1, 0, -1, 0)[k % 4])
                ys.append(self.arc.cy + self.arc.r * (0, 1, 0, -1)[k % 4])
                k += 1
        zs = (self.start[2], self.end[2])
        return (min(xs), min(ys), min(zs)), (max(xs), max(ys), max(zs))


class BadArc(Exception):
    pass


def arc_by_centre(start, end, i, j, clockwise, full):
    """The arc about start + (i, j). BadArc when the radii disagree by more than 0.05 mm or 0.1 % of the radius."""
    cx, cy = start[0] + i, start[1] + j
    r0, r1 = math.hypot(i, j), math.hypot(end[0] - cx, end[1] - cy)
    if r0 < NOTHING:
        raise BadArc("no radius")
    if abs(r0 - r1) > max(0.05, 0.001 * r0):
        raise BadArc("radii differ by %.4f mm" % abs(r0 - r1))
    a0 = math.atan2(-j, -i)
    if full or math.hypot(end[0] - start[0], end[1] - start[1]) < NOTHING:
        return Arc(cx, cy, r0, a0, -2 * math.pi if clockwise else 2 * math.pi)
    sweep = (math.atan2(end[1] - cy, end[0] - cx) - a0) % (2 * math.pi)
    if sweep < 1e-12:
        sweep = 2 * math.pi
    return Arc(cx, cy, r0, a0, sweep - 2 * math.pi if clockwise else sweep)


def arc_by_radius(start, end, radius, clockwise):
    """|R| is the radius, a negative R the longer arc. NISTIR 6556, 3.5.3.1; handbook 4.2."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord, r = math.hypot(dx, dy), abs(radius)
    if chord < NOTHING:
        raise BadArc("an arc by radius that ends where it starts")
    if chord / 2 > r:
        if chord / 2 - r > max(0.05, 0.001 * r):
            raise BadArc("the radius does not reach: %.4f mm short" % (chord / 2 - r))
        r = chord / 2
    up = math.sqrt(max(0.0, r * r - chord * chord / 4))
    # counter-clockwise and short: the centre lies to the left of the chord
    side = (1.0 if not clockwise else -1.0) * (1.0 if radius > 0 else -1.0)
    cx = (start[0] + end[0]) / 2 - side * up * dy / chord
    cy = (start[1] + end[1]) / 2 + side * up * dx / chord
    half = math.asin(min(1.0, chord / 2 / r))
    sweep = 2 * half if radius > 0 else 2 * math.pi - 2 * half
    a0 = math.atan2(start[1] - cy, start[0] - cx)
    return Arc(cx, cy, r, a0, -sweep if clockwise else sweep)


class Interpreter:
    def __init__(self, machine, e_follows_g90):
        self.machine = machine
        self.e_follows_g90 = e_follows_g90
        self.scale = 1.0
        self.absolute = True
        self.e_absolute = True
        self.plane = 17
        self.motion = None            # the last of G0 to G3, for lines that bring axis words alone
        self.feed = None              # mm/s, unscaled by M220
        self.feed_factor = 1.0
        self.flow_factor = 1.0
        self.volumetric = None        # M200: mm2 of the filament, None = E is a length
        self.pos = [0.0, 0.0, 0.0]    # machine coordinates
        self.offset = [0.0, 0.0, 0.0] # machine less logical
        self.e = 0.0                  # logical
        self.tool = 0                 # None: none selected
        self.retracted = {}
        self.limits = Limits(machine)
        self.nozzle_target = {}
        self.bed_target = None
        self.fan = 0.0
        self.events = []
        self.damage = []              # (line, sentence)
        self.bad_arcs = []
        self.no_feed = 0
        self.g10 = 0
        self.words_seen = 0

    # --- one line -------------------------------------------------------------------------------------------------
    def line(self, ln):
        if ln.damage:
            self.damage.append((ln.number, ln.damage))
            return
        gs = [v for a, v in ln.words if a == "G"]
        commands = [(a, v) for a, v in ln.words if a in "GM"]
        # modes first, in the order of the line; then the tool; then everything else in the order of the line
        for a, v in commands:
            self._mode(a, v)
        tool_is_argument = any(a == "M" and v != 6 for a, v in commands) or 10 in gs
        if ln.has("T") and not tool_is_argument:
            self._select(ln.value("T"))
        for a, v in commands:
            if a == "G":
                self._g(ln, v)
            else:
                self._m(ln, v)
        if not commands and self.motion is not None and any(ln.has(c) for c in "XYZEIJRF"):
            self._move(ln, self.motion)

    def _mode(self, a, v):
        if a == "G":
            if v == 20:
                self.scale = 25.4
            elif v == 21:
                self.scale = 1.0
            elif v in (17, 18, 19):
                self.plane = int(v)
            elif v in (90, 91):
                self.absolute = v == 90
                if self.e_follows_g90:
                    self.e_absolute = v == 90
        elif v in (82, 83):
            self.e_absolute = v == 82

    def _select(self, value):
        if value is None:
            return
        tool = int(value) if value >= 0 else None
        if tool != self.tool:
            self.tool = tool
            self.events.append(("rest",))

    # --- G words --------------------------------------------------------------------------------------------------
    def _g(self, ln, g):
        if g in (0, 1, 2, 3):
            self.motion = int(g)
            self._move(ln, int(g))
        elif g == 4:
            s, p = ln.value("S"), ln.value("P")
            seconds = s if s is not None else p / 1000.0 if p is not None else 0.0
            self.events.append(("dwell", max(0.0, seconds)))
        elif g == 10:
            if not any(ln.has(c) for c in "PLXYZR"):
                self._retract(ln, True)
            elif ln.value("S") is not None:
                tool = int(ln.value("P")) if ln.value("P") is not None else self.tool
                if tool is not None:
                    self._target(("nozzle", tool), ln.value("S"))
        elif g == 11:
            self._retract(ln, False)
        elif g == 28:
            named = [i for i, c in enumerate("XYZ") if ln.has(c)] or [0, 1, 2]
            for i in named:
                self.pos[i], self.offset[i] = self.machine.home[i], 0.0
            self.events.append(("home", self.machine.home_seconds * len(named) / 3.0))
        elif g == 29:
            self.events.append(("probe", self.machine.probe_seconds))
        elif g == 92:
            letters = [c for c in "XYZE" if ln.value(c) is not None]
            if not any(ln.has(c) for c in "XYZE"):
                letters = list("XYZE")
            for c in letters:
                value = (ln.value(c) or 0.0) * self.scale
                if c == "E":
                    self.e = value
                else:
                    i = "XYZ".index(c)
                    self.offset[i] = self.pos[i] - value

    def _advance(self, raw):
        """E units (already mm or mm3) to mm of filament."""
        if self.tool is None:
            return 0.0
        return raw * self.flow_factor / (self.volumetric if self.volumetric else 1.0)

    def _move(self, ln, g):
        f = ln.value("F")
        if f is not None and f >= 0:
            self.feed = f * self.scale / 60.0
        start, end = list(self.pos), list(self.pos)
        for i, c in enumerate("XYZ"):
            v = ln.value(c)
            if v is not None:
                v *= self.scale
                end[i] = v + self.offset[i] if self.absolute else self.pos[i] + v
        de = 0.0
        v = ln.value("E")
        if v is not None:
            v *= self.scale
            de = v - self.e if self.e_absolute else v
            self.e = v if self.e_absolute else self.e + v
        arc = None
        if g in (2, 3):
            try:
                arc = self._arc(ln, start, end, g == 2)
            except BadArc as bad:
                self.bad_arcs.append((ln.number, str(bad)))
        self.pos = end
        self._emit(ln, start, end, self._advance(de), arc)

    def _arc(self, ln, start, end, clockwise):
        if self.plane != 17:
            raise BadArc("an arc in another plane: G%d" % self.plane)
        if ln.value("R") is not None:
            return arc_by_radius(start, end, ln.value("R") * self.scale, clockwise)
        if ln.value("I") is None and ln.value("J") is None:
            raise BadArc("an arc without a centre")
        i, j = (ln.value("I") or 0.0) * self.scale, (ln.value("J") or 0.0) * self.scale
        full = ln.value("X") is None and ln.value("Y") is None
        return arc_by_centre(start, end, i, j, clockwise, full)

    def _emit(self, ln, start, end, de, arc, counted=True, feed=None):
        if feed is None and self.feed is not None and self.feed > 0:
            feed = self.feed * self.feed_factor
        move = Move(ln.number, start, end, de, self.tool, feed, arc, self.limits)
        if move.is_empty():
            return
        if feed is None:
            self.no_feed += 1
        move.counted = counted
        move.nozzle_c = self.nozzle_target.get(self.tool)
        move.bed_c = self.bed_target
        move.fan = self.fan
        self.events.append(move)

    def _retract(self, ln, back):
        if self.tool is None or self.retracted.get(self.tool, False) == back:
            return
        self.retracted[self.tool] = back
        self.g10 += back
        m = self.machine
        de = -m.retract_mm if back else m.retract_mm + m.retract_extra_mm
        self._emit(ln, self.pos, self.pos, de, None, counted=False, feed=m.retract_mm_s)

    # --- M words --------------------------------------------------------------------------------------------------
    def _target(self, heater, c):
        if heater == "bed":
            self.bed_target = c
        else:
            self.nozzle_target[heater[1]] = c
        self.events.append(("target", heater, c))

    def _m(self, ln, m):
        s = ln.value("S")
        if m in (104, 109):
            tool = int(ln.value("T")) if ln.value("T") is not None else self.tool
            if tool is None:
                return
            self._heat(("nozzle", tool), s if s is not None else ln.value("R") if m == 109 else None, m == 109)
        elif m in (140, 190):
            self._heat("bed", s if s is not None else ln.value("R") if m == 190 else None, m == 190)
        elif m == 106:
            if ln.value("P") in (None, 0.0):
                value = 255.0 if s is None else s
                self.fan = value * 100.0 if 0 < value < 1 else min(255.0, max(0.0, value)) / 2.55
        elif m == 107:
            if ln.value("P") in (None, 0.0):
                self.fan = 0.0
        elif m == 200:
            d = ln.value("D")
            if d is not None:
                self.volumetric = math.pi / 4 * d * d if d > 0 else None
            if s == 0:
                self.volumetric = None
        elif m == 220 and s is not None and s > 0:
            self.feed_factor = s / 100.0
        elif m == 221 and s is not None and s >= 0:
            self.flow_factor = s / 100.0
        elif m in (201, 203, 204, 205):
            self._limit(ln, m)
        elif m in (0, 1, 25, 226, 600):
            self.events.append(("pause", "M%d" % m))
        elif m == 400:
            self.events.append(("rest",))

    def _heat(self, heater, c, wait):
        if c is not None:
            self._target(heater, c)
        if wait:
            self.events.append(("wait", heater))

    def _limit(self, ln, m):
        new, own = self.limits.copy(), self.machine
        low = lambda mine, letter: min(mine, ln.value(letter)) if (ln.value(letter) or 0) > 0 else None
        if m in (201, 203):
            mine, out = (own.accel, new.accel) if m == 201 else (own.feed, new.feed)
            for i, c in enumerate("XYZE"):
                v = low(mine[i], c)
                out[i] = out[i] if v is None else v
        elif m == 204:
            for letter in "SP":
                v = low(own.print_a, letter)
                new.print_a = new.print_a if v is None else v
            v = low(own.travel_a, "T")
            new.travel_a = new.travel_a if v is None else v
            v = low(own.retract_a, "R")
            new.retract_a = new.retract_a if v is None else v
        else:
            if own.step:
                for i, c in enumerate("XYZE"):
                    v = low(own.step[i], c)
                    new.step[i] = new.step[i] if v is None else v
            if own.deviation is not None:
                v = low(own.deviation, "J")
                new.deviation = new.deviation if v is None else v
        self.limits = new


class Job:
    """A file read for one machine: events, moves, and what was counted on the way."""

    def __init__(self, data, machine, e_follows_g90=None):
        state = Interpreter(machine, machine.e_follows_g90 if e_follows_g90 is None else e_follows_g90)
        self.lines = 0
        motion_words = False
        for ln in words_mod.read(data):
            self.lines += 1
            motion_words = motion_words or any(a == "G" and v in (0, 1, 2, 3) for a, v in ln.words)
            state.line(ln)
        self.is_job = motion_words
        self.events = state.events
        self.moves = [e for e in state.events if isinstance(e, Move)]
        for n, m in enumerate(self.moves):
            m.order = n
        self.damage, self.bad_arcs, self.no_feed = state.damage, state.bad_arcs, state.no_feed
        self.n_moves = sum(1 for m in self.moves if m.counted)
        self.retractions = sum(1 for m in self.moves if m.counted and m.de < 0) + state.g10
        self.heated_tools = sorted(k for k in state.nozzle_target if k is not None)


def net_feed(moves):
    """Per tool: (highest value that the running sum of E advances reaches, its value at the end)."""
    now, top = {}, {}
    for m in moves:
        if m.de:
            now[m.tool] = now.get(m.tool, 0.0) + m.de
            top[m.tool] = max(top.get(m.tool, 0.0), now[m.tool])
    return {t: (top[t], now[t]) for t in now}


def feed_mode_ratio(data, machine):
    """How far the two readings of e_follows_g90 differ in filament: larger by smaller; 1 where they agree."""
    both = [sum(top for top, _ in net_feed(Job(data, machine, flag).moves).values()) for flag in (False, True)]
    low, high = sorted(both)
    return 1.0 if high == 0 else float("inf") if low <= 0 else high / low
