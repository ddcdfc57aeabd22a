# SPDX-License-Identifier: Apache-2.0
"""Where material lies: carried, across a gap, over fill, bridges, overhangs, on air; footholds and parts; walls and fill.
measures.md, "Deposit". Walks the passes of a Layout again, with the map as it was before each pass."""

import math
from array import array

from raster import Union, count, enclosed_voids, inscribed, labels, pieces, touches_edge, weighted_median

AT_LIMIT = 0.01       # mm: a wall at the limit itself is carried, whatever its numbers were rounded to
BUCKET = 4.0          # mm
TOUCH = 0.02          # mm: a bead touches what is at most this far below its underside
ENCLOSED_MM = 15.0    # inscribed width up to which an enclosed gap is ordinary
G_MM_S2 = 9806.65     # standard gravity


class Point:
    """A point of a centre line that stands for ds of it."""
    __slots__ = ("x", "y", "z", "ds", "bead", "ux", "uy", "carried", "across", "run")

    def __init__(self, x, y, z, ds, bead, ux, uy):
        self.x, self.y, self.z, self.ds, self.bead, self.ux, self.uy = x, y, z, ds, bead, ux, uy
        self.carried = self.across = False


class Deposit:
    def __init__(self, layout, rules):
        self.lay = layout
        self.grid = layout.grid
        self.tan_limit = math.tan(math.radians(rules.get("overhang_limit_deg", 45)))
        usual = layout.layer_height or max(b.nozzle for b in layout.beads) / 2
        self.usual_h = usual
        self.most_gap = max(rules.get("support_gap_mm", 0.5), 2 * usual)
        self.on_air = self.across_gap = self.over_fill = self.overhang = 0.0
        self.bridges = []
        self.buckets, self.late = {}, []
        self.height = layout.new_map()
        self.owner = array("i", [0]) * (self.grid.w * self.grid.h)  # part node of the topmost material; 0 = bed
        self.nodes = Union(1)
        self.node_wide = [0.0]        # largest inscribed width, as far as it was asked for
        self.fill_shares, self.wall_counts = [], []
        for beads in layout.passes:
            self._pass(beads)
        self._find_parts()
        for beads in layout.passes:
            real = [b for b in beads if not b.priming and self.nodes.root(b.node) not in self.aid_roots]
            if real:
                self._walls_and_fill(self._chains(real), self._mask(real))

    # --- one pass -------------------------------------------------------------------------------------------------
    def _pass(self, beads):
        lay = self.lay
        laid = self._mask(beads)
        chains = self._chains(beads)
        points = [[p for b in chain for p in self._points(b)] for chain in chains]
        for row in points:
            for p in row:
                self._carry(p)
                if p.across:
                    self.across_gap += p.ds
        if any(not p.carried for row in points for p in row):
            self._classify(chains, points, laid)
        self._link(beads, laid)
        n = len(beads) - lay.ends_late(beads)
        for b in self.late + beads[:n]:
            lay.raise_map(self.height, b)
            self._remember(b)
        self.late = beads[n:]

    def _mask(self, beads):
        out, w = self.grid.mask(), self.grid.w
        for b in beads:
            for iy, i, j, _ in self.lay.rows(b):
                out[iy * w + i:iy * w + j] = b"\1" * (j - i)
        return out

    def _chains(self, beads):
        """Beads that run on from one another with no move between."""
        out = []
        for b in beads:
            if out and b.move.order == out[-1][-1].move.order + 1:
                out[-1].append(b)
            else:
                out.append([b])
        return out

    def _points(self, bead):
        at = bead.samples(self.grid.cell)
        ds = bead.move.length / len(at)
        out = []
        for n, (x, y, z) in enumerate(at):
            if bead.move.arc:
                q = at[n + 1] if n + 1 < len(at) else bead.move.end
                dx, dy = q[0] - x, q[1] - y
            else:
                dx, dy = bead.move.end[0] - bead.move.start[0], bead.move.end[1] - bead.move.start[1]
            d = math.hypot(dx, dy) or 1.0
            out.append(Point(x, y, z, ds, bead, dx / d, dy / d))
        return out

    def h_of(self, bead):
        """h; the usual layer height over a gap, and where a ramp that starts on a floor has nearly none."""
        return bead.h if bead.h is not None and bead.h >= self.usual_h / 2 else self.usual_h

    def _carry(self, p):
        if p.bead.on_bed:
            p.carried = True
            return
        h = self.h_of(p.bead)
        g = h * self.tan_limit - p.bead.lies / 2 + AT_LIMIT
        if self._within(p, g, p.z - h - TOUCH):
            p.carried = True
        elif self._within(p, g, p.z - h - self.most_gap - 1e-9):
            p.carried = p.across = True

    def _within(self, p, g, low):
        """Whether p lies within g of material that reaches `low` (negative g: inside it by that much). Where the raster
        is solid all around there is nothing to ask. Else the exact distance to the beads themselves counts, for half a
        cell is more than a few degrees of lean; only how deep a point lies between beads is asked of the raster."""
        grid, height = self.grid, self.height
        cell, w = grid.cell, grid.w
        ix, iy = grid.column(p.x), grid.row(p.y)
        if low <= 0:
            return True  # the bed itself
        reach = math.ceil(abs(g) / cell + 1.5)
        rows = range(iy - reach, iy + reach + 1)
        if all(min(height[r * w + ix - reach:r * w + ix + reach + 1]) >= low for r in rows):
            return True
        if self._distance(p, low) <= g:
            return True
        if g >= 0 or height[iy * w + ix] < low:
            return False
        near = min((math.hypot(grid.x(c) - p.x, grid.y(r) - p.y) for r in rows
                    for c in range(ix - reach, ix + reach + 1) if height[r * w + c] < low), default=math.inf)
        return near - cell / 2 >= -g

    def _distance(self, p, low):
        """Distance of p from the nearest bead beneath that reaches `low`; negative inside it."""
        best = math.inf
        for bx in range(math.floor((p.x - 1) / BUCKET), math.floor((p.x + 1) / BUCKET) + 1):
            for by in range(math.floor((p.y - 1) / BUCKET), math.floor((p.y + 1) / BUCKET) + 1):
                for z, a, b, r in reversed(self.buckets.get((bx, by), ())):
                    if z >= low:
                        best = min(best, segment_distance(p.x, p.y, a, b) - r)
                    elif z < low - 2.0:
                        break  # laid in the order of height, but for ramps and parts that end apart
        return best

    def _remember(self, bead):
        """Chords of a bead by 4 mm squares, for _distance."""
        r = bead.lies / 2
        for a, b in bead.chords:
            n = max(1, math.ceil(math.dist(a[:2], b[:2]) / 1.0))
            seen = set()
            for k in range(n + 1):
                x, y = a[0] + (b[0] - a[0]) * k / n, a[1] + (b[1] - a[1]) * k / n
                for dx in (-r - 1, r + 1):
                    for dy in (-r - 1, r + 1):
                        seen.add((math.floor((x + dx) / BUCKET), math.floor((y + dy) / BUCKET)))
            for key in seen:
                self.buckets.setdefault(key, []).append(((a[2] + b[2]) / 2, a, b, r))

    # --- stretches ------------------------------------------------------------------------------------------------
    def _stretches(self, points, closed):
        """Runs of points that are not carried, after runs shorter than 2 h have joined their neighbours. A run is
        (points, open at its first end, open at its last end): open where the chain ends there."""
        runs = []
        for p in points:
            if runs and runs[-1][0] == p.carried:
                runs[-1][1].append(p)
            else:
                runs.append([p.carried, [p]])
        if closed and len(runs) > 1 and runs[0][0] == runs[-1][0]:
            runs[0][1] = runs[-1][1] + runs[0][1]
            runs.pop()
        while len(runs) > 1:
            lengths = [sum(p.ds for p in r[1]) for r in runs]
            k = min(range(len(runs)), key=lambda i: lengths[i])
            if lengths[k] >= 2 * self.h_of(runs[k][1][0].bead):
                break
            left = k - 1 if k > 0 else (len(runs) - 1 if closed else None)
            right = k + 1 if k + 1 < len(runs) else (0 if closed else None)
            joined = []
            if left is not None:
                joined += runs[left][1]
            joined += runs[k][1]
            if right is not None and right != left:
                joined += runs[right][1]
            state = not runs[k][0]
            gone = {i for i in (left, k, right) if i is not None}
            at = min(gone) if not (closed and (k == 0 or k == len(runs) - 1)) else 0
            rest = [r for i, r in enumerate(runs) if i not in gone]
            rest.insert(min(at, len(rest)), [state, joined])
            runs = rest
        whole = len(runs) == 1
        return [(r[1], (whole or i == 0) and not (closed and not whole), (whole or i == len(runs) - 1) and not (
            closed and not whole)) for i, r in enumerate(runs) if not r[0]]

    def _classify(self, chains, points, laid):
        grid = self.grid
        parts = pieces(laid, grid.w, grid.h)
        label = labels(parts, grid.w, grid.h)
        held = {label[grid.index(p.x, p.y)] for row in points for p in row if p.carried}
        carried = grid.mask()
        for row in points:
            for p in row:
                if p.carried:
                    half = (p.x - p.ux * p.ds / 2, p.y - p.uy * p.ds / 2), (p.x + p.ux * p.ds / 2,
                                                                          p.y + p.uy * p.ds / 2)
                    for iy, i, j in grid.capsule(half[0], half[1], p.bead.lies / 2):
                        carried[iy * grid.w + i:iy * grid.w + j] = b"\1" * (j - i)
        self._beneath = {}
        self._voids_here = None
        for chain, row in zip(chains, points):
            closed = math.dist(chain[0].move.start[:2], chain[-1].move.end[:2]) <= 0.05
            for run, open_first, open_last in self._stretches(row, closed):
                length = sum(p.ds for p in run)
                n = label[grid.index(run[0].x, run[0].y)]
                if n < 0:
                    continue  # a strand thinner than a cell
                if n not in held:
                    self.on_air += length
                    continue
                enclosed, gap = self._gap(run, parts[n])
                if enclosed and gap <= ENCLOSED_MM or self._is_fill(run, laid):
                    self.over_fill += length
                elif self._ends_held(run, open_first, open_last, carried) and self._free_beside(run, carried):
                    self.bridges.append(min(length, gap) if enclosed else length)
                else:
                    self.overhang += length

    def _gap(self, run, piece):
        """(whether what lies beneath encloses the gap under a stretch, the gap's inscribed width). Only material of the
        parts that carry the stretch's own piece encloses: not a draft wall around them."""
        grid, owner, height = self.grid, self.owner, self.height
        low = run[0].z - self.h_of(run[0].bead) - TOUCH
        roots = set()
        for iy, a, b in piece:
            for c in range(iy * grid.w + a, iy * grid.w + b):
                if height[c] >= low:
                    roots.add(owner[c])
        roots = frozenset(self.nodes.root(n) for n in roots)
        if roots not in self._beneath:
            own = {n for n in set(owner) if self.nodes.root(n) in roots}
            void = bytearray(0 if v >= low and o in own else 1 for v, o in zip(height, owner))
            found = pieces(void, grid.w, grid.h, eight=False)
            self._beneath[roots] = found, labels(found, grid.w, grid.h), {}
        found, label, widths = self._beneath[roots]
        under = {label[grid.index(p.x, p.y)] for p in run} - {-1}
        if not under:
            return False, math.inf
        widest = 0.0
        for n in under:
            if touches_edge(found[n], grid.w, grid.h):
                return False, math.inf
            if n not in widths:
                widths[n] = inscribed(found[n], grid.cell)
            widest = max(widest, widths[n])
        return True, widest

    def _is_fill(self, run, laid):
        """Fill: most of the stretch has, at its own height, an enclosed void on both sides."""
        grid = self.grid
        if self._voids_here is None:
            found = enclosed_voids(laid, grid)
            self._voids_here = labels(found, grid.w, grid.h)
        label = self._voids_here
        both = 0.0
        for p in run:
            off = p.bead.lies / 2 + 1.5 * grid.cell
            if all(label[grid.index(p.x - side * p.uy * off, p.y + side * p.ux * off)] >= 0 for side in (1, -1)):
                both += p.ds
        return both > sum(p.ds for p in run) / 2

    def _ends_held(self, run, open_first, open_last, carried):
        """Both ends touch carried material with the bead's round end."""
        for is_open, p in ((open_first, run[0]), (open_last, run[-1])):
            if not is_open:
                continue
            end = p.bead.move.start if p is run[0] else p.bead.move.end
            if not any(1 in carried[iy * self.grid.w + i:iy * self.grid.w + j]
                       for iy, i, j in self.grid.capsule(end, end, p.bead.lies / 2 + self.grid.cell)):
                return False
        return True

    def _free_beside(self, run, carried):
        """Less than half of the length has carried material within one bead width of the bead's edge."""
        beside, total = 0.0, 0.0
        for p in run:
            total += p.ds
            steps = math.ceil(p.bead.lies / self.grid.cell)
            for side in (1, -1):
                if any(carried[self.grid.index(p.x - side * p.uy * off, p.y + side * p.ux * off)]
                       for off in (p.bead.lies / 2 + (k + 0.5) / steps * p.bead.lies for k in range(steps))):
                    beside += p.ds
                    break
        return beside < total / 2

    # --- parts ----------------------------------------------------------------------------------------------------
    def _link(self, beads, laid):
        """Pieces of this pass join the parts that they touch beneath; where they touch none, across a gap."""
        grid, height, owner = self.grid, self.height, self.owner
        parts = pieces(laid, grid.w, grid.h)
        label = labels(parts, grid.w, grid.h)
        nodes, top = [], max(b.z for b in beads)
        h = max(self.h_of(b) for b in beads)
        for part in parts:
            node = self.nodes.add()
            self.node_wide.append(0.0)
            nodes.append(node)
            for low in (top - h - TOUCH, top - h - self.most_gap):
                touched = set()
                for iy, a, b in part:
                    o = iy * grid.w
                    if max(height[o + a:o + b]) >= low:
                        touched.update(owner[c] for c in range(o + a, o + b) if height[c] >= low and owner[c])
                for n in touched:
                    self.nodes.join(node, n)
                if touched:
                    break
        for b in beads:
            x, y, _ = b.samples(grid.cell)[0]
            n = label[grid.index(x, y)]
            if n < 0:  # thinner than a cell and between centres
                self.node_wide.append(0.0)
                nodes.append(self.nodes.add())
                parts.append([])
                n = len(parts) - 1
            b.node = nodes[n]
        for part, node in zip(parts, nodes):
            if not part:
                continue
            for iy, a, b in part:
                owner[iy * grid.w + a:iy * grid.w + b] = array("i", [node]) * (b - a)
            root = self.nodes.root(node)
            aid_width = 3 * (self.lay.bead_width or max(b.lies for b in beads))
            if self.node_wide[root] <= aid_width:
                self.node_wide[node] = inscribed(part, grid.cell)
                self.node_wide[root] = max(self.node_wide[root], self.node_wide[node])
            self.aid_width = aid_width

    def _find_parts(self):
        lay, grid = self.lay, self.grid
        standing = [n for n, above in enumerate(lay.piece_has_above) if above]
        self.footholds = len(standing)
        self.foothold_mm2 = sum(count(lay.bed_pieces[n]) for n in standing) * grid.cell ** 2
        nodes_of = {n: [] for n in standing}
        for b in lay.beads:
            if b.piece in nodes_of:
                nodes_of[b.piece].append(b.node)
        for nodes in nodes_of.values():
            for n in nodes[1:]:
                self.nodes.join(nodes[0], n)
        wide = {}
        for n, v in enumerate(self.node_wide):
            r = self.nodes.root(n)
            wide[r] = max(wide.get(r, 0.0), v)
        by_root = {}
        for b in lay.beads:
            by_root.setdefault(self.nodes.root(b.node), []).append(b)
        roots = {}
        for n in standing:
            if nodes_of[n]:
                roots.setdefault(self.nodes.root(nodes_of[n][0]), []).append(n)
        self.aid_roots = {r for r in roots if wide[r] <= self.aid_width}
        if len(self.aid_roots) == len(roots):
            self.aid_roots = set()  # thin all of it: then this is what is printed
        self.parts = []
        for root, footholds in roots.items():
            self.parts.append(self._part(by_root[root], [lay.bed_pieces[n] for n in footholds],
                                         root in self.aid_roots))
        self.parts.sort(key=lambda p: p["begun_seconds"])
        for n, p in enumerate(self.parts, 1):
            p["number"] = n

    def _part(self, beads, footholds, aid):
        grams = sum(b.grams for b in beads)
        middle = [0.0, 0.0, 0.0]
        low, high = [math.inf] * 3, [-math.inf] * 3
        for b in beads:
            at = b.samples(self.grid.cell)
            for k in range(3):
                mean = sum(p[k] for p in at) / len(at) - (self.h_of(b) / 2 if k == 2 else 0)
                middle[k] += mean * b.grams / grams
            lo, hi = b.move.bounds()
            low = [min(p, q) for p, q in zip(low, lo)]
            high = [max(p, q) for p, q in zip(high, hi)]
        corners = set()
        for piece in footholds:
            for iy, a, b in piece:
                for x in (a, b):
                    for y in (iy, iy + 1):
                        corners.add(((self.grid.ix0 + x) * self.grid.cell, (self.grid.iy0 + y) * self.grid.cell))
        hull = convex_hull(corners)
        inside = inside_by(hull, middle[0], middle[1])
        area = sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(hull, hull[1:] + hull[:1])) / 2
        return {"number": 0, "aid": aid, "foothold_mm2": sum(count(p) for p in footholds) * self.grid.cell ** 2,
                "footholds": len(footholds), "x": (low[0] + high[0]) / 2, "y": (low[1] + high[1]) / 2,
                "bounds_mm": {"min": low, "max": high}, "g": grams, "centre_of_mass_mm": middle,
                "hull_area_mm2": area,
                "tip_deg": math.degrees(math.atan2(max(0.0, inside), middle[2])),
                "tip_accel_mm_s2": G_MM_S2 * max(0.0, inside) / middle[2],
                "begun_seconds": min(b.move.begin for b in beads),
                "done_seconds": max(b.move.begin + b.move.seconds for b in beads)}

    # --- walls and fill -------------------------------------------------------------------------------------------
    def _walls_and_fill(self, chains, laid):
        """Nested loops from each outline inwards, and the share of filled cells in what they enclose."""
        grid = self.grid
        loops = [c for c in chains if self._is_loop(c)]
        if not loops:
            return
        outlines = [[p[:2] for b in c for p in b.samples(0.5)] for c in loops]
        areas = [abs(shoelace(o)) for o in outlines]
        order = sorted(range(len(loops)), key=lambda i: -areas[i])
        parent = {}
        for n, i in enumerate(order):  # the smallest loop around it
            parent[i] = None
            for j in reversed(order[:n]):
                if point_in(outlines[i][0], outlines[j]):
                    parent[i] = j
                    break
        depth, best = {}, {}  # depth 0: no part of a row of loops that starts at an outline
        for i in order:
            j = parent[i]
            if j is None:
                depth[i] = 1
            else:
                beside = depth[j] and self._beside(outlines[i], outlines[j], 1.5 * loops[i][0].lies)
                depth[i] = depth[j] + 1 if beside else 0
            root = i
            while parent[root] is not None:
                root = parent[root]
            best[root] = max(best.get(root, 0), depth[i])
        # loops of a row are walls, and those that lie beside another (around holes); rings that keep apart are fill
        self.wall_counts += list(best.values())
        wall = {i for i in order if depth[i]}
        for i in order:
            j = parent[i]
            if j is not None and self._beside(outlines[i], outlines[j], 1.5 * loops[i][0].lies):
                wall.update((i, j))
        walls = self._mask([b for i in sorted(wall) for b in loops[i]])
        filled = sum(1 for a, b in zip(laid, walls) if a and not b)
        void = sum(count(p) for p in enclosed_voids(laid, grid) if inscribed(p, grid.cell) <= ENCLOSED_MM)
        if filled + void:
            self.fill_shares.append(filled / (filled + void))

    @staticmethod
    def _is_loop(chain):
        """A chain whose ends meet within one bead width, or that runs on over its own beginning (a ramp's overlap)."""
        start, w = chain[0].move.start, chain[0].lies
        length = sum(c.move.xy for c in chain)
        if length <= 4 * w or (len(chain) < 3 and not any(c.move.arc for c in chain)):
            return False
        if math.dist(start[:2], chain[-1].move.end[:2]) <= w:
            return True
        run = 0.0
        for b in chain:
            at = b.samples(0.1)
            for x, y, _ in at:
                run += b.move.xy / len(at)
                if run > 4 * w and run > 0.75 * length and math.hypot(x - start[0], y - start[1]) <= w / 2:
                    return True
        return False

    @staticmethod
    def _beside(inner, outer, most):
        """Whether most of the inner loop runs within `most` of the outer one."""
        near = 0
        for x, y in inner:
            if min(segment_distance(x, y, p, q) for p, q in zip(outer, outer[1:] + outer[:1])) <= most:
                near += 1
        return near > 0.8 * len(inner)

    def fill_fraction(self):
        shares = [s for s in self.fill_shares if s < 0.95]
        if len(shares) > 64:
            shares = [shares[round(i * (len(shares) - 1) / 63)] for i in range(64)]
        shares.sort()
        n = len(shares)
        return None if not n else shares[n // 2] if n % 2 else (shares[n // 2 - 1] + shares[n // 2]) / 2

    def walls(self):
        return weighted_median([(n, 1) for n in self.wall_counts])


# --- plane geometry -----------------------------------------------------------------------------------------------
def convex_hull(points):
    """Counter-clockwise; Andrew's monotone chain (Inf. Proc. Letters 9(5), 1979)."""
    points = sorted(points)
    out = []
    for run in (points, points[::-1]):
        part = []
        for p in run:
            while len(part) > 1 and cross(part[-2], part[-1], p) <= 0:
                part.pop()
            part.append(p)
        out += part[:-1]
    return out


def cross(o, a, b):
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])


def inside_by(hull, x, y):
    """Distance from the nearest edge line of a counter-clockwise hull; negative outside."""
    return min(cross(p, q, (x, y)) / math.dist(p, q) for p, q in zip(hull, hull[1:] + hull[:1]))


def shoelace(points):
    return sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(points, points[1:] + points[:1])) / 2


def point_in(p, outline):
    inside = False
    for a, b in zip(outline, outline[1:] + outline[:1]):
        if (a[1] > p[1]) != (b[1] > p[1]) and p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]):
            inside = not inside
    return inside


def segment_distance(x, y, p, q):
    dx, dy = q[0] - p[0], q[1] - p[1]
    d2 = dx * dx + dy * dy
    t = 0.0 if d2 == 0 else max(0.0, min(1.0, ((x - p[0]) * dx + (y - p[1]) * dy) / d2))
    return math.hypot(x - p[0] - t * dx, y - p[1] - t * dy)
