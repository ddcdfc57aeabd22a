# SPDX-License-Identifier: Apache-2.0
"""A raster of square cells, capsules on it, connected pieces, and inscribed widths. Cell centres stand at half cells of
a grid that is aligned with the machine's zero. Masks are bytearrays of 0 and 1, row after row."""

import math
from array import array


class Grid:
    def __init__(self, x_low, y_low, x_high, y_high, cell):
        self.cell = cell
        self.ix0, self.iy0 = math.floor(x_low / cell), math.floor(y_low / cell)
        self.w = math.ceil(x_high / cell) - self.ix0 + 1
        self.h = math.ceil(y_high / cell) - self.iy0 + 1

    def column(self, x):
        return math.floor(x / self.cell) - self.ix0

    def row(self, y):
        return math.floor(y / self.cell) - self.iy0

    def index(self, x, y):
        return self.row(y) * self.w + self.column(x)

    def x(self, ix):
        return (self.ix0 + ix + 0.5) * self.cell

    def y(self, iy):
        return (self.iy0 + iy + 0.5) * self.cell

    def mask(self):
        return bytearray(self.w * self.h)

    def capsule(self, p, q, radius):
        """(row, first, last + 1) of the cells whose centres lie within radius of the line p to q."""
        px, py = p[0], p[1]
        dx, dy = q[0] - px, q[1] - py
        length2 = dx * dx + dy * dy
        length = math.sqrt(length2)
        reach = radius + 1e-9
        first = max(0, self.row(min(py, q[1]) - reach) - 1)
        last = min(self.h - 1, self.row(max(py, q[1]) + reach) + 1)
        for iy in range(first, last + 1):
            ry = self.y(iy) - py
            low, high = math.inf, -math.inf
            for cx, off in ((0.0, ry), (dx, ry - dy)):  # the discs at both ends
                if abs(off) <= reach:
                    half = math.sqrt(reach * reach - off * off)
                    low, high = min(low, cx - half), max(high, cx + half)
            if length2 > 0:  # the straight part: along between 0 and length, across within the radius
                a, b = -math.inf, math.inf
                for k, lo, hi in ((dx, -ry * dy, length2 - ry * dy),
                                  (dy, ry * dx - reach * length, ry * dx + reach * length)):
                    if abs(k) > 1e-15:
                        e, f = lo / k, hi / k
                        a, b = max(a, min(e, f)), min(b, max(e, f))
                    elif lo > 0 or hi < 0:
                        a, b = 1.0, 0.0
                if a <= b:
                    low, high = min(low, a), max(high, b)
            if low <= high:
                i = max(0, math.ceil((px + low) / self.cell - 0.5) - self.ix0)
                j = min(self.w, math.floor((px + high) / self.cell - 0.5) + 1 - self.ix0)
                if i < j:
                    yield iy, i, j


def spans_of(mask, w, h):
    """Runs of ones, row after row: (row, first, last + 1)."""
    out = []
    for iy in range(h):
        base, end = iy * w, (iy + 1) * w
        i = mask.find(1, base, end)
        while i >= 0:
            j = mask.find(0, i, end)
            j = end if j < 0 else j
            out.append((iy, i - base, j - base))
            i = mask.find(1, j, end)
    return out


class Union:
    def __init__(self, n=0):
        self.up = list(range(n))

    def add(self):
        self.up.append(len(self.up))
        return len(self.up) - 1

    def root(self, i):
        while self.up[i] != i:
            self.up[i] = self.up[self.up[i]]
            i = self.up[i]
        return i

    def join(self, i, j):
        i, j = self.root(i), self.root(j)
        if i != j:
            self.up[max(i, j)] = min(i, j)


def pieces(mask, w, h, eight=True):
    """Connected pieces as lists of spans, in the order of their first span; 8 neighbours or 4."""
    spans = spans_of(mask, w, h)
    union, reach = Union(len(spans)), 1 if eight else 0
    before, row_before, i = [], -2, 0
    while i < len(spans):
        row = spans[i][0]
        here = []
        while i < len(spans) and spans[i][0] == row:
            here.append(i)
            i += 1
        if row == row_before + 1:
            k = 0
            for s in here:
                _, a, b = spans[s]
                while k < len(before) and spans[before[k]][2] + reach <= a:
                    k += 1
                j = k
                while j < len(before) and spans[before[j]][1] < b + reach:
                    union.join(s, before[j])
                    j += 1
        before, row_before = here, row
    found = {}
    for s, span in enumerate(spans):
        found.setdefault(union.root(s), []).append(span)
    return list(found.values())


def labels(parts, w, h):
    """For each cell the number of its piece, -1 for none."""
    out = array("i", [-1]) * (w * h)
    for n, part in enumerate(parts):
        for iy, a, b in part:
            out[iy * w + a:iy * w + b] = array("i", [n]) * (b - a)
    return out


def count(part):
    return sum(b - a for _, a, b in part)


def touches_edge(part, w, h):
    return any(iy in (0, h - 1) or a == 0 or b == w for iy, a, b in part)


def inscribed(part, cell):
    """Width in mm of the largest disc inside a piece. Exact squared distances to the nearest cell outside (two passes,
    lower envelope of parabolas: Felzenszwalb and Huttenlocher, "Distance Transforms of Sampled Functions", 2012)."""
    iy0, iy1 = min(s[0] for s in part) - 1, max(s[0] for s in part) + 1
    ix0, ix1 = min(s[1] for s in part) - 1, max(s[2] for s in part)
    w, h = ix1 - ix0 + 1, iy1 - iy0 + 1
    inside = bytearray(w * h)
    for iy, a, b in part:
        o = (iy - iy0) * w - ix0
        inside[o + a:o + b] = b"\1" * (b - a)
    down = [0] * w
    ups = []
    for iy in range(h):
        row = inside[iy * w:(iy + 1) * w]
        down = [d + 1 if c else 0 for d, c in zip(down, row)]
        ups.append(down)
    below = [0] * w
    best = 0
    for iy in range(h - 1, -1, -1):
        row = inside[iy * w:(iy + 1) * w]
        below = [d + 1 if c else 0 for d, c in zip(below, row)]
        near = [min(p, q) for p, q in zip(ups[iy], below)]
        if max(near) ** 2 <= best:
            continue
        best = max(best, _envelope_top([n * n for n in near]))
    return (2 * math.sqrt(best) - 1) * cell if best else 0.0


def _envelope_top(f):
    """The largest over x of min over q of f[q] + (x - q)^2."""
    at, border = [0], [-math.inf]
    for q in range(1, len(f)):
        while True:
            p = at[-1]
            s = ((f[q] + q * q) - (f[p] + p * p)) / (2 * q - 2 * p)
            if s > border[-1]:
                break
            at.pop()
            border.pop()
        at.append(q)
        border.append(s)
    border.append(math.inf)
    best, k = 0, 0
    for x in range(len(f)):
        while border[k + 1] < x:
            k += 1
        best = max(best, f[at[k]] + (x - at[k]) ** 2)
    return best


def enclosed_voids(mask, grid):
    """Pieces (4 neighbours) of what is not in the mask and does not reach the raster's edge."""
    void = bytearray(1 - c for c in mask)
    return [p for p in pieces(void, grid.w, grid.h, eight=False) if not touches_edge(p, grid.w, grid.h)]


def weighted_median(pairs):
    """The value at which half of the weight is reached; None where there is none. pairs: (value, weight)."""
    pairs = sorted(p for p in pairs if p[1] > 0)
    half, total = sum(p[1] for p in pairs) / 2, 0.0
    for value, weight in pairs:
        total += weight
        if total >= half * (1 - 1e-12):
            return value
    return None
