# SPDX-License-Identifier: Apache-2.0
"""Motion time: limits, corners, look-ahead, trapezoids. measures.md, "Motion time"; handbook 3.1 to 3.3."""

import bisect
import math

INF = float("inf")


def trapezoid(d, v, a, v0, v1):
    """(seconds, highest speed) over d with cruise v, acceleration a, from v0 to v1. Handbook 3.1."""
    acc, dec = (v * v - v0 * v0) / (2 * a), (v * v - v1 * v1) / (2 * a)
    if acc + dec <= d:
        return (v - v0) / a + (v - v1) / a + (d - acc - dec) / v, v
    top = math.sqrt(max((2 * a * d + v0 * v0 + v1 * v1) / 2, v0 * v0, v1 * v1))
    return (top - v0) / a + (top - v1) / a, top


def corner_step(u1, u2, step):
    """Rule step: the speed at which no axis jumps by more than its J."""
    v = INF
    for a in range(4):
        change = abs(u2[a] - u1[a])
        if change > 1e-12:
            v = min(v, step[a] / change)
    return v


def corner_deviation(u1, u2, a, d):
    """Rule deviation d, over unit XYZ directions; between a move with XYZ motion and one without: 0."""
    n1, n2 = (math.sqrt(sum(c * c for c in u[:3])) for u in (u1, u2))
    if (n1 > 0) != (n2 > 0):
        return 0.0
    if n1 == 0:  # filament alone, twice: straight on or back
        return INF if u1[3] * u2[3] > 0 else 0.0
    cos_t = -sum(p * q for p, q in zip(u1[:3], u2[:3])) / (n1 * n2)
    s = math.sqrt(max(0.0, (1.0 - cos_t) / 2.0))
    if s >= 1.0 - 1e-12:
        return INF
    return math.sqrt(a * d * s / (1.0 - s))


def settle(m):
    """Sets a move's acceleration a and speed v from its feed and limits."""
    lim = m.limits
    length = m.length if m.length > 0 else abs(m.de)
    u = m.direction(False)
    share = [abs(c) for c in u]
    if m.arc:
        share[0] = share[1] = 1.0
    if m.kind == "bead":
        a = lim.print_a
    elif m.length == 0:
        a = lim.retract_a
    else:
        a = lim.travel_a
    v = m.feed if m.feed else INF
    for i in range(4):
        if share[i] > 1e-12:
            a = min(a, lim.accel[i] / share[i])
            v = min(v, lim.feed[i] / share[i])
    if m.arc:
        v = min(v, math.sqrt(a * m.arc.r))
    m.a, m.v = a, v
    return length


def plan(moves):
    """Full look-ahead over moves that run from rest to rest; sets v_in, v_out, v_top, seconds."""
    if not moves:
        return
    lengths = [settle(m) for m in moves]
    n = len(moves)
    corner = [0.0] * (n + 1)  # corner[i]: speed between move i-1 and move i
    for i in range(1, n):
        m1, m2 = moves[i - 1], moves[i]
        u1, u2 = m1.direction(True), m2.direction(False)
        if m2.limits.rule == "step":
            v = corner_step(u1, u2, m2.limits.step)
        else:
            v = corner_deviation(u1, u2, min(m1.a, m2.a), m2.limits.deviation)
        corner[i] = min(v, m1.v, m2.v)
    for i in range(n - 1, -1, -1):
        corner[i] = min(corner[i], math.sqrt(corner[i + 1] ** 2 + 2 * moves[i].a * lengths[i]))
    for i in range(n):
        corner[i + 1] = min(corner[i + 1], math.sqrt(corner[i] ** 2 + 2 * moves[i].a * lengths[i]))
    for i, m in enumerate(moves):
        m.v_in, m.v_out = corner[i], corner[i + 1]
        m.seconds, m.v_top = trapezoid(lengths[i], m.v, m.a, m.v_in, m.v_out)


def phases(m):
    """(seconds, start speed, end speed) of a move's parts: speeding up, cruising, slowing down."""
    length = m.length if m.length > 0 else abs(m.de)
    up, down = (m.v_top - m.v_in) / m.a, (m.v_top - m.v_out) / m.a
    far = length - (m.v_top ** 2 - m.v_in ** 2) / (2 * m.a) - (m.v_top ** 2 - m.v_out ** 2) / (2 * m.a)
    out = []
    if up > 0:
        out.append((up, m.v_in, m.v_top))
    if far > 1e-12:
        out.append((far / m.v_top, m.v_top, m.v_top))
    if down > 0:
        out.append((down, m.v_top, m.v_out))
    return out


# Events at which motion comes to rest: dwell, wait for heat, homing, probing, tool change, pauses, M400 ("rest").
RESTS = {"rest", "dwell", "wait", "home", "probe", "pause"}


class Timeline:
    """Plans a job's moves and plays it through: begin of each move, sums, heat."""

    def __init__(self, events, machine):
        chain = []
        for e in events:
            if isinstance(e, tuple):
                if e[0] in RESTS:
                    plan(chain)
                    chain = []
            else:
                chain.append(e)
        plan(chain)

        self.motion = self.heat = self.wait = 0.0
        self.now = 0.0
        present, target = {}, {}

        def rate(heater):
            return machine.bed_rate if heater == "bed" else machine.nozzle_rate

        def pass_time(seconds):
            """All heaters warm at once towards their targets; none cools."""
            self.now += seconds
            for heater, goal in target.items():
                t = present.get(heater, machine.room_c)
                if t < goal:
                    present[heater] = min(goal, t + rate(heater) * seconds)

        for e in events:
            if not isinstance(e, tuple):
                e.begin = self.now
                self.motion += e.seconds
                pass_time(e.seconds)
            elif e[0] == "target":
                target[e[1]] = e[2]
            elif e[0] == "wait":
                short = target.get(e[1], 0.0) - present.get(e[1], machine.room_c)
                if short > 0:
                    self.heat += short / rate(e[1])
                    pass_time(short / rate(e[1]))
                    present[e[1]] = target[e[1]]
            elif e[0] in ("dwell", "home", "probe"):
                self.wait += e[1]
                pass_time(e[1])
        self.seconds = self.motion + self.heat + self.wait


def sustained(moves, flows, window=3.0):
    """The largest mean flow over any window. flows: move -> mm2 of bead (0 for what lays none).

    The volume laid until t is made of parabolas; its gain over a window is largest where a window starts or ends at
    a border between them, or at the top of the parabola that it is between two such places.
    """
    border, volume, speed = [0.0], [0.0], []  # times; mm3 until then; (flow at start, flow at end) between
    for m in moves:
        area = flows.get(id(m), 0.0)
        if area <= 0:
            continue
        t = m.begin
        if t > border[-1] + 1e-12:
            border.append(t)
            volume.append(volume[-1])
            speed.append((0.0, 0.0))
        for dt, v0, v1 in phases(m):
            border.append(border[-1] + dt)
            volume.append(volume[-1] + area * (v0 + v1) / 2 * dt)
            speed.append((area * v0, area * v1))
    if len(border) < 2:
        return None

    def laid(t):
        """Volume until t."""
        k = bisect.bisect_right(border, t) - 1
        if k + 1 >= len(border):
            return volume[-1]
        dt, whole = t - border[k], border[k + 1] - border[k]
        f0, f1 = speed[k]
        return volume[k] + (f0 + (f0 + (f1 - f0) * dt / whole)) / 2 * dt

    def gain(t):
        return laid(t + window) - laid(t)

    starts = sorted(set(border + [t - window for t in border if t > window]))
    best = max(gain(t) for t in starts)
    for t0, t1 in zip(starts, starts[1:]):
        g0, g1, g2 = gain(t0), gain((t0 + t1) / 2), gain(t1)
        bend = g0 - 2 * g1 + g2  # the parabola through three points; its top, where it lies between
        if bend < 0:
            x = 0.5 - (g2 - g0) / (4 * bend)
            if 0 < x < 1:
                best = max(best, gain(t0 + x * (t1 - t0)))
    return best / window
