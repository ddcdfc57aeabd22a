# SPDX-License-Identifier: Apache-2.0
"""Meshes made for outside_test.py: lists of triangles, corners counter-clockwise from outside, coordinates as an STL holds
them (single). What is random is seeded."""
import math
import random
import struct


def single(v):
    return struct.unpack("<f", struct.pack("<f", v))[0]


def rounded(triangles):
    return [tuple(tuple(single(v) for v in p) for p in t) for t in triangles]


def stl(triangles):
    return b"made for a test".ljust(80) + struct.pack("<I", len(triangles)) + b"".join(
        struct.pack("<12fH", 0, 0, 0, *t[0], *t[1], *t[2], 0) for t in triangles)


def stl_text(triangles):
    lines = ["solid made"]
    for t in triangles:
        lines += ["facet normal 0 0 0", " outer loop"] + ["  vertex %.9g %.9e %.9g" % p for p in t] + [" endloop", "endfacet"]
    return ("\r\n".join(lines + ["endsolid made"]) + "\r\n").encode()


def inverted(triangles):
    return [(a, c, b) for a, b, c in triangles]


def box(x, y, z, at=(0, 0, 0), leave=()):
    p = [(at[0] + x * (i & 1), at[1] + y * (i >> 1 & 1), at[2] + z * (i >> 2)) for i in range(8)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    return [t for n, (a, b, c, d) in enumerate(faces) if n not in leave
            for t in ((p[a], p[b], p[c]), (p[a], p[c], p[d]))]


def frame(outer, inner, height):
    """A square plate of side outer with a square hole of side inner through it."""
    def ring(side, z):
        return [(x * side / 2, y * side / 2, z) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    a, b, c, d = ring(outer, 0), ring(outer, height), ring(inner, 0), ring(inner, height)
    out = []
    for i in range(4):
        j = (i + 1) % 4
        for p, q, r, s in ((a[i], a[j], b[j], b[i]), (c[j], c[i], d[i], d[j]), (b[i], b[j], d[j], d[i]), (a[j], a[i], c[i], c[j])):
            out += [(p, q, r), (p, r, s)]
    return out


def sphere(radius, at=(0, 0, 0), n=16, m=12, ripple=0.0, seed=0):
    """n round the axis by m along it; ripple: share of the radius by which corners lie off at random."""
    rng = random.Random(seed)

    def point(i, j):
        u, v = 2 * math.pi * i / n, math.pi * j / m
        r = radius * (1 + ripple * rng.uniform(-1, 1))
        return (at[0] + r * math.sin(v) * math.cos(u), at[1] + r * math.sin(v) * math.sin(u), at[2] + r * math.cos(v))
    top, bottom = point(0, 0), point(0, m)
    rows = [[point(i, j) for i in range(n)] for j in range(1, m)]
    out = []
    for i in range(n):
        k = (i + 1) % n
        out += [(top, rows[0][i], rows[0][k]), (bottom, rows[-1][k], rows[-1][i])]
        for a, b in zip(rows, rows[1:]):
            out += [(a[i], b[i], b[k]), (a[i], b[k], a[k])]
    return out


def strip(n, half_turns):
    """A band of n quads round a circle that turns over half_turns times: with an odd number it has one side (Moebius)."""
    def edge(i):
        u, v = 2 * math.pi * i / n, half_turns * math.pi * i / n
        return [(r * math.cos(u), r * math.sin(u), 10 + s * math.sin(v)) for s in (-6, 6) for r in (30 + s * math.cos(v),)]
    rows = [rounded([tuple(edge(i) + [(0, 0, 0)])])[0][:2] for i in range(n)]
    rows.append(rows[0][::-1] if half_turns % 2 else rows[0])
    out = []
    for (a, b), (c, d) in zip(rows, rows[1:]):
        out += [(a, c, d), (a, d, b)]
    return out


def turned(triangles, seed):
    """Turned at random (a unit quaternion, uniform: K. Shoemake, Graphics Gems III, 1992)."""
    rng = random.Random(seed)
    a, b, c = rng.random(), 2 * math.pi * rng.random(), 2 * math.pi * rng.random()
    x, y = math.sqrt(1 - a) * math.sin(b), math.sqrt(1 - a) * math.cos(b)
    z, w = math.sqrt(a) * math.sin(c), math.sqrt(a) * math.cos(c)
    rows = ((1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)),
            (2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)),
            (2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)))
    return [tuple(tuple(sum(r[k] * p[k] for k in range(3)) for r in rows) for p in t) for t in triangles]


def spheres(n, seed):
    rng = random.Random(seed)
    out = []
    for i in range(n):
        at = [rng.uniform(0, 60) for _ in range(3)]
        out += sphere(rng.uniform(4, 14), at, rng.randrange(5, 20), rng.randrange(4, 14), seed=i)
    return out


def without(triangles, *which):
    return [t for i, t in enumerate(triangles) if i not in which]


def all_of_them():
    """name: (triangles, what is known of it by its making)"""
    cube = box(40, 30, 20)
    ball = sphere(20)
    made = {
        "box": (cube, {"volume": 24000, "area": 5200, "genus": 0, "self_cuts": 0}),
        "box inside out": (inverted(cube), {"volume": -24000}),
        "box, turned": (turned(cube, 1), {}),
        "open box": (box(40, 30, 20, leave=(1,)), {"open_edges": 4}),
        "a flipped triangle": (cube[:3] + inverted(cube[3:4]) + cube[4:], {"flipped": 1}),
        "a triangle twice": (cube + cube[:1], {"doubled": 1}),
        "frame": (frame(60, 30, 10), {"volume": 27000, "genus": 1, "self_cuts": 0}),
        "a hole pushed through": (box(40, 30, 20) + inverted(box(10, 10, 30, at=(15, 10, -5))), {"volume": 24000 - 3000}),
        "two boxes that cross": (box(40, 30, 20) + box(20, 40, 10, at=(11, -6, 7)), {"volume": 24000 + 8000}),
        "two turned boxes that cross": (turned(box(40, 30, 20), 2) + turned(box(30, 30, 30, at=(3, 2, 1)), 3), {}),
        "boxes along an edge": (box(10, 10, 10) + box(10, 10, 10, at=(10, 10, 0)), {"crowded_edges": 1, "self_cuts": 0}),
        "boxes at a corner": (box(10, 10, 10) + box(10, 10, 10, at=(10, 10, 10)), {"shells": 1, "self_cuts": 0}),
        "boxes face to face": (box(10, 10, 10) + box(10, 10, 10, at=(10, 0, 0)), {"self_cuts": 0}),
        "Moebius strip": (strip(60, 1), {"open_edges": 120, "shells": 1}),
        "turned band": (strip(60, 2), {"open_edges": 120, "shells": 1}),
        "a shell in a shell": (ball + inverted(sphere(12)), {"shells": 2, "self_cuts": 0}),
        "three in one another": (ball + inverted(sphere(12)) + sphere(5), {"shells": 3, "self_cuts": 0}),
        "spheres": (spheres(12, 5), {"shells": 12}),
        "more spheres": (spheres(30, 6), {"shells": 30}),
        "a stone": (sphere(25, n=40, m=30, ripple=0.02, seed=7), {"genus": 0, "shells": 1}),
        "a crumpled stone": (sphere(25, n=40, m=30, ripple=0.6, seed=8), {"shells": 1}),
        "a stone with gaps": (without(sphere(25, n=40, m=30, ripple=0.02, seed=7), 100, 555, 999), {"open_edges": 9}),
        "a triangle through a box": (cube + [((20, 15, 10), (90, 20, 12), (90, 10, 8))], {"open_edges": 3, "shells": 2}),
    }
    return {name: (rounded(triangles), known) for name, (triangles, known) in made.items()}
