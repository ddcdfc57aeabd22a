# SPDX-License-Identifier: Apache-2.0
"""Layers and beads: the local height map, h, w, heights, priming. measures.md, "Layers and beads"; handbook 2.1."""

import math
from array import array

from raster import Grid, labels, pieces, weighted_median

SAME_HEIGHT = 0.02 - 1e-6   # mm: closer heights are one
MOST_WIDE = 4.0             # nozzle diameters: a ramp that starts on a floor has h near 0 and no sane width
SAGITTA = 0.002             # mm, of the chords that stand for an arc on the raster


def stadium_area(w, h):
    return (w - h) * h + math.pi * h * h / 4


def width(area, h):
    """(w, whether it is a stadium). h None: over a gap, a round strand."""
    if h is None or area < math.pi * h * h / 4 * (1 - 1e-12):
        return math.sqrt(4 * area / math.pi), False
    return area / h + h * (1 - math.pi / 4), True


class Bead:
    __slots__ = ("move", "area", "nozzle", "h", "w", "stadium", "on_bed", "group", "priming", "piece", "node", "chords",
                 "z", "grams", "climbs", "lies")

    def __init__(self, move, area, nozzle, grams):
        self.move, self.area, self.nozzle, self.grams = move, area, nozzle, grams
        self.h = self.w = None
        self.lies = None      # width on the raster
        self.stadium = self.on_bed = self.priming = False
        self.piece = self.node = -1
        self.z = move.end[2]  # a ramp belongs to the layer it ends at
        self.climbs = move.end[2] - move.start[2] > 1e-6
        n = 1
        if move.arc:
            step = 2 * math.acos(max(0.0, 1 - SAGITTA / max(move.arc.r, SAGITTA)))
            n = max(1, math.ceil(abs(move.arc.sweep) / max(step, 1e-3)))
        points = [move.point(i / n) for i in range(n + 1)]
        self.chords = list(zip(points, points[1:]))

    def samples(self, step):
        """Points of the centre line, at most a step apart, each standing for the same share of the length."""
        n = max(1, math.ceil(self.move.xy / step))
        return [self.move.point((i + 0.5) / n) for i in range(n)]


class Layout:
    """Every bead with its h and w, its height group, whether it is priming; facts of layers and widths."""

    def __init__(self, job, machine, materials):
        self.machine = machine
        self.cell = 0.2 if max(machine.bed) > 400 else 0.1
        self.beads = []
        for m in job.moves:
            if m.kind == "bead":
                material = materials[min(m.tool, len(materials) - 1)]
                volume = m.de * math.pi / 4 * material.diameter ** 2
                self.beads.append(Bead(m, volume / m.length, machine.nozzle_mm(m.tool), volume * material.density / 1000))
        self.layers, self.layer_height, self.bead_width = 0, None, None
        self.first_layer_height = self.first_group = None
        self.continuous = False
        self.groups, self.passes = [], []
        if not self.beads:
            return
        self._make_grid()
        self._find_heights()
        self._lay(None)
        self._find_priming()
        self._lay(weighted_median([(b.h, b.move.length) for b in self.beads if b.h is not None and not b.priming]))
        self._find_priming()
        self._measure()

    # --- raster ---------------------------------------------------------------------------------------------------
    def _make_grid(self):
        margin = MOST_WIDE * max(b.nozzle for b in self.beads) / 2 + 2.0
        margin = max(margin, max(math.sqrt(4 * b.area / math.pi) for b in self.beads) / 2 + 2.0)
        bounds = [b.move.bounds() for b in self.beads]
        self.grid = Grid(min(b[0][0] for b in bounds) - margin, min(b[0][1] for b in bounds) - margin,
                         max(b[1][0] for b in bounds) + margin, max(b[1][1] for b in bounds) + margin, self.cell)

    def new_map(self):
        return array("d", [0.0]) * (self.grid.w * self.grid.h)

    def rows(self, bead, w=None):
        """(row, first, last + 1, z) of the cells that a bead covers."""
        radius = (bead.lies if w is None else w) / 2
        for p, q in bead.chords:
            z = (p[2] + q[2]) / 2
            for iy, a, b in self.grid.capsule(p, q, radius):
                yield iy, a, b, z

    def raise_map(self, height, bead, w=None):
        for iy, a, b, z in self.rows(bead, w):
            o = iy * self.grid.w
            part = height[o + a:o + b]
            height[o + a:o + b] = array("d", [v if v > z else z for v in part]) if max(part) > z else \
                array("d", [z]) * (b - a)

    # --- heights --------------------------------------------------------------------------------------------------
    def _find_heights(self):
        """Heights of beads in groups; a pass is a row of beads one after another in one group."""
        length = sum(b.move.length for b in self.beads)
        self.continuous = sum(b.move.length for b in self.beads if b.climbs) > length / 2
        if not self.continuous:
            self._level_ramps()
        heights = sorted({b.z for b in self.beads if not (self.continuous and b.climbs)})
        lows = []
        for z in heights:
            if not lows or z - lows[-1] >= SAME_HEIGHT:
                lows.append(z)
        group_z = {("flat", low): low for low in lows}
        key_of, k = {}, -1
        for z in heights:
            while k + 1 < len(lows) and lows[k + 1] <= z:
                k += 1
            key_of[z] = ("flat", lows[k])
        if self.continuous:
            turn = self._turn_height()
            z0 = next(b.move.start[2] for b in self.beads if b.climbs)
        keys = []
        for b in self.beads:
            if self.continuous and b.climbs:
                n = math.ceil((b.z - z0) / turn - 1e-6)
                key = ("turn", n)
                group_z[key] = z0 + n * turn
            else:
                key = key_of[b.z]
            keys.append(key)
        order = sorted(set(keys), key=lambda key: group_z[key])
        number = {key: i for i, key in enumerate(order)}
        self.groups = [group_z[key] for key in order]
        for b, key in zip(self.beads, keys):
            b.group = number[key]
            if not self.passes or self.passes[-1][-1].group != b.group:
                self.passes.append([])
            self.passes[-1].append(b)

    def _level_ramps(self):
        """A stretch that ramps by at most one layer height belongs to the layer it ends at: sloping beads that run on
        from one another are one stretch. The layer height is not known yet; none is above 0.8 nozzles."""
        ramp = []
        for b in self.beads + [None]:
            slopes = b is not None and abs(b.move.end[2] - b.move.start[2]) > 1e-6
            if ramp and (not slopes or b.move.order != ramp[-1].move.order + 1):
                zs = [ramp[0].move.start[2]] + [r.move.end[2] for r in ramp]
                if max(zs) - min(zs) <= 0.8 * ramp[0].nozzle + 1e-6:
                    for r in ramp:
                        r.z = zs[-1]
                ramp = []
            if slopes:
                ramp.append(b)

    def _turn_height(self):
        """What a continuous job climbs in one turn: the usual h of its climbing beads over what lies beneath, where a
        bead lies beneath others only once the nozzle is 3 mm on."""
        height, waiting, found = self.new_map(), [], []
        for b in self.beads:
            waiting.append([b, 0.0])
            while waiting and waiting[0][1] > 3.0:
                self.raise_map(height, waiting[0][0], waiting[0][0].nozzle)
                waiting.pop(0)
            for w in waiting:
                w[1] += b.move.length
            if b.climbs:
                h = self._h(height, b)
                if h is not None:
                    found.append((h, b.move.length))
        return weighted_median(found) or max(b.nozzle for b in self.beads) / 2

    def _h(self, height, bead):
        """z less the median of the map beneath the centre line, where that lies between 0 and 1.5 nozzles."""
        index = self.grid.index
        over = sorted(z - height[index(x, y)] for x, y, z in bead.samples(self.cell))
        n = len(over)
        h = over[n // 2] if n % 2 else (over[n // 2 - 1] + over[n // 2]) / 2
        return h if 1e-6 < h <= 1.5 * bead.nozzle + 1e-9 else None

    def ends_late(self, beads):
        """How many beads at the end of a pass go on the map only after the next: the last 2 mm of a turn of a
        continuous job, or the next turn's first bead would lie on the end of the one before it."""
        n, length = 0, 0.0
        while self.continuous and n < len(beads) and beads[-1 - n].climbs and length < 2.0:
            length += beads[-1 - n].move.length
            n += 1
        return n

    # --- laying ---------------------------------------------------------------------------------------------------
    def _lay(self, usual):
        """Pass by pass: h and w of each bead over the map as it was before the pass, then the pass goes on the map.

        On the raster a strand that is round because it hangs keeps the width that it has where it is carried (the
        stadium at the usual layer height), so that a bead beside a carried neighbour still touches it. So does a ramp
        that starts on a floor, whose h is near 0."""
        grid, height = self.grid, self.new_map()
        self.bed, self.above = grid.mask(), grid.mask()
        bed_z = self.new_map()
        highest_bed, late = 0.0, []
        for beads in self.passes:
            for b in beads:
                b.h = self._h(height, b)
                b.on_bed = False
                b.piece = -1
                b.w, b.stadium = width(b.area, b.h)
                b.w = min(b.w, MOST_WIDE * b.nozzle) if b.stadium else b.w
                sane = b.stadium and not (usual and b.h < usual / 2)
                b.lies = b.w if sane or not usual else min(width(b.area, usual)[0], MOST_WIDE * b.nozzle)
                zs = [height[grid.index(x, y)] for x, y, _ in b.samples(self.cell)]
                # a strand that hangs low over the bed is not on it
                b.on_bed = b.h is not None and sorted(zs)[len(zs) // 2] == 0.0 and (
                    b.stadium or b.z < self.groups[0] + SAME_HEIGHT)
            for b in beads:
                if b.z <= highest_bed + 1.5 * b.nozzle:
                    for iy, i, j, z in self.rows(b):
                        for c in range(iy * grid.w + i, iy * grid.w + j):
                            if self.bed[c] and SAME_HEIGHT <= z - bed_z[c] <= 1.5 * b.nozzle + 1e-9:
                                self.above[c] = 1
            for b in beads:
                if b.on_bed:
                    highest_bed = max(highest_bed, b.z)
                    for iy, i, j, z in self.rows(b):
                        o = iy * grid.w
                        self.bed[o + i:o + j] = b"\1" * (j - i)
                        for c in range(o + i, o + j):
                            bed_z[c] = max(bed_z[c], z)
            n = len(beads) - self.ends_late(beads)
            for b in late + beads[:n]:
                self.raise_map(height, b)
            late = beads[n:]

    def _find_priming(self):
        """Pieces on the bed with nothing directly above, and every bead before the first piece that has."""
        grid = self.grid
        self.bed_pieces = pieces(self.bed, grid.w, grid.h)
        self.piece_has_above = [any(1 in self.above[iy * grid.w + a:iy * grid.w + b] for iy, a, b in p)
                                for p in self.bed_pieces]
        label = labels(self.bed_pieces, grid.w, grid.h)
        for b in self.beads:
            if b.on_bed:
                x, y, _ = b.samples(self.cell)[0]
                b.piece = label[grid.index(x, y)]
        if not any(self.piece_has_above):
            return  # one layer and no more: it is the job, not priming
        begun = False
        for b in self.beads:
            standing = b.piece >= 0 and self.piece_has_above[b.piece]
            begun = begun or standing
            b.priming = not begun or (b.piece >= 0 and not standing)

    def _measure(self):
        laid = [b for b in self.beads if not b.priming]
        self.layer_height = weighted_median([(b.h, b.move.length) for b in laid if b.h is not None])
        self.real_groups = sorted({b.group for b in laid})
        standing = [b.group for b in laid if b.piece >= 0]
        if not laid:
            return
        self.first_group = min(standing) if standing else self.real_groups[0]
        self.first_layer_height = weighted_median(
            [(b.h, b.move.length) for b in laid if b.group == self.first_group and b.h is not None])
        if self.continuous and self.layer_height:
            self.layers = round(max(b.z for b in laid) / self.layer_height)
        else:
            self.layers = len(self.real_groups)
        self.bead_width = weighted_median([(b.w, b.move.length) for b in laid
                                           if b.stadium and self.groups[b.group] > self.groups[self.first_group]])
