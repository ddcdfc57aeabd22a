/* Whether an outline has room on a bed, at which turn, at which scale. SPDX-License-Identifier: Apache-2.0
 *
 * Rectangle: between the turns at which an edge of the hull stands square to a side of the bed, the same corners carry
 * both widths (rotating calipers: M. Shamos, "Computational geometry", 1978), so each is D cos(t - p) with D and p of
 * the two corners. Where that equals the bed's side, where the two ratios of side to width meet, and the ends of such
 * stretches are all the turns that matter: the least turn and the largest scale are taken from them, without steps.
 * Disc: the smallest circle around the hull, at any turn.
 *
 * With things in the way (keep-outs) the place at one turn is exact (fit_place.c; the disc then counts as a polygon of
 * 360 sides inside it, which takes 4e-5 of its radius), and so is "it fits" at a turn that was found; turns are the
 * above, those that lay a long edge square, and steps of half a degree, the least one refined by halving. Hulls of more
 * than 400 corners are then taken 2e-5 larger. The scale is the largest at which such a place was found, by halving; a
 * larger part is asked to clear what is in the way by the outline that it has below that height at its own size. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "part/fit.h"

static const double SLACK_MM = 1e-9; /* rounding of sums of coordinates up to 1e3 mm, with room to spare */
static const double STEP_DEG = 0.5, SCALE_STEP_DEG = 5, SCALE_EXACT = 1e-7;
enum { DISC_SIDES = 360, HALVINGS = 26, LONG_EDGES = 48, FINE = 400, COARSE = 60 /* corners of hulls */ };

void po_room_done(po_room *room)
{
    free(room->blocks);
    room->blocks = NULL;
}

po_status po_room_init(po_room *room, const po_machine *machine, double clearance_mm, po_err *err)
{
    po_range side[2];
    *room = (po_room){.round = machine->round_bed, .height = machine->height_mm};
    po_machine_bed_extent(machine, &side[0], &side[1]);
    room->blocks = calloc(machine->n_keep_outs + 5, sizeof *room->blocks);
    if (!room->blocks) {
        return po_fail(err, PO_E_NOMEM, "no memory for the bed of %.60s", machine->name ? machine->name : "a machine");
    }
    for (int k = 0; k < 2; k++) {
        po_range reach = machine->reach[k];
        bool given = reach.high > reach.low;
        room->low[k] = side[k].low + clearance_mm;
        room->high[k] = side[k].high - clearance_mm;
        room->centre[k] = (side[k].low + side[k].high) / 2;
        for (int end = 0; given && end < 2; end++) {
            double edge = end ? reach.high : reach.low;
            if (end ? edge >= room->high[k] : edge <= room->low[k]) {
                continue;
            }
            if (!room->round) {
                (end ? room->high : room->low)[k] = edge;
                continue;
            }
            double far = 4 * (fabs(side[k].high - side[k].low) + fabs(edge) + fabs(room->centre[0]) +
                              fabs(room->centre[1]));
            po_keep_out *strip = &room->blocks[room->n_blocks++];
            po_range along = {end ? edge : -far, end ? far : edge}, across = {-far, far};
            *strip = (po_keep_out){k ? across : along, k ? along : across, INFINITY};
        }
    }
    room->radius = machine->bed_mm[0] / 2 - clearance_mm;
    if (machine->reach[2].high > machine->reach[2].low) {
        room->height = fmin(room->height, machine->reach[2].high);
    }
    for (size_t i = 0; i < machine->n_keep_outs; i++) {
        const po_keep_out *b = &machine->keep_outs[i];
        if (b->below_z_mm > 0 && b->x.low < fmin(b->x.high, room->high[0]) && b->x.high > room->low[0] &&
            b->y.low < fmin(b->y.high, room->high[1]) && b->y.high > room->low[1]) {
            room->blocks[room->n_blocks++] = *b;
        }
    }
    return PO_OK;
}

static po_xy turned(po_xy p, double c, double s, double scale)
{
    return (po_xy){scale * (p.x * c - p.y * s), scale * (p.x * s + p.y * c)};
}

static size_t leftmost(const po_xy *p, size_t n)
{
    size_t best = 0;
    for (size_t i = 1; i < n; i++) {
        best = p[i].x < p[best].x || (p[i].x == p[best].x && p[i].y < p[best].y) ? i : best;
    }
    return best;
}

/* Shifts that make the turned hull overlap the block: block + (-hull). ret: room for n + 4. */
static size_t overlaps(const po_keep_out *block, const po_xy *hull, size_t n, double c, double s, double scale,
                       po_xy *minus, po_xy *ret)
{
    const po_xy box[4] = {{block->x.low, block->y.low},
                          {block->x.high, block->y.low},
                          {block->x.high, block->y.high},
                          {block->x.low, block->y.high}};
    for (size_t i = 0; i < n; i++) {
        minus[i] = turned(hull[i], c, s, -scale);
    }
    size_t from = leftmost(minus, n), i = 0, k = 0, m = 0;
    po_xy at = {box[0].x + minus[from].x, box[0].y + minus[from].y};
    while (i < n || k < 4) { /* edges of both by direction */
        ret[m++] = at;
        po_xy a = minus[(from + i) % n], a2 = minus[(from + i + 1) % n], b = box[k % 4], b2 = box[(k + 1) % 4];
        double ex = a2.x - a.x, ey = a2.y - a.y, fx = b2.x - b.x, fy = b2.y - b.y, cross = ex * fy - ey * fx;
        bool one = k == 4 || (i < n && cross >= 0), two = i == n || (k < 4 && cross <= 0);
        if (one) {
            at = (po_xy){at.x + ex, at.y + ey};
            i++;
        }
        if (two) {
            at = (po_xy){at.x + fx, at.y + fy};
            k++;
        }
    }
    return m;
}

/* Shifts that keep the hull, not turned, in a disc about the origin, as a polygon: half planes cut from a square about
 * the shift that puts its middle there. Kept in the outline: turning the hull turns them. n_shifts 0: there are none. */
static bool find_shifts(const po_room *room, po_outline *o, double scale)
{
    if (o->shifts && o->shifts_scale == scale) {
        return true;
    }
    size_t room_for = DISC_SIDES + 8, m = 4;
    po_xy *ret = o->shifts ? o->shifts : malloc(2 * room_for * sizeof *ret);
    if (!ret) {
        return false;
    }
    double inside = room->radius * cos(M_PI / DISC_SIDES), wide = 3 * room->radius + 1;
    po_xy *from = ret, *to = ret + room_for;
    for (int i = 0; i < 4; i++) {
        from[i] = (po_xy){-scale * o->middle.x + (i == 1 || i == 2 ? wide : -wide),
                          -scale * o->middle.y + (i > 1 ? wide : -wide)};
    }
    for (int side = 0; side < DISC_SIDES && m > 0; side++) {
        double nx = cos(2 * M_PI * side / DISC_SIDES), ny = sin(2 * M_PI * side / DISC_SIDES), reach = -INFINITY;
        for (size_t i = 0; i < o->n; i++) {
            reach = fmax(reach, nx * o->hull[i].x + ny * o->hull[i].y);
        }
        double most = inside - scale * reach;
        size_t kept = 0;
        for (size_t i = 0; i < m; i++) {
            po_xy a = from[i], b = from[(i + 1) % m];
            double da = nx * a.x + ny * a.y - most, db = nx * b.x + ny * b.y - most;
            if (da <= 0) {
                to[kept++] = a;
            }
            if ((da < 0 && db > 0) || (da > 0 && db < 0)) {
                double t = da / (da - db);
                to[kept++] = (po_xy){a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)};
            }
        }
        po_xy *swap = from;
        from = to;
        to = swap;
        m = kept;
    }
    if (from != ret) {
        memcpy(ret, from, m * sizeof *ret);
    }
    o->shifts = ret;
    o->n_shifts = m;
    o->shifts_scale = scale;
    return true;
}

/* Blocks are there: a free shift among those allowed. */
static bool place_among(const po_room *room, po_outline *o, double c, double s, double scale, const double low[2],
                        const double high[2], po_xy target, po_xy *ret, bool *ret_memory)
{
    size_t n = room->n_blocks, n_points = 0, most = 0, used;
    for (size_t b = 0; b < n; b++) {
        n_points += o->n_below[b] + 8;
        most = o->n_below[b] > most ? o->n_below[b] : most;
    }
    used = 2 * (DISC_SIDES + 8) + most; /* the bed's polygon, and what is spare for making one */
    n_points += used;
    po_xy *points = malloc(n_points * sizeof *points);
    po_convex *out = malloc((n + 1) * sizeof *out);
    bool found = false;
    if (!points || !out) {
        *ret_memory = false;
        goto done;
    }
    po_convex in = {.at = points};
    po_xy *spare = points + DISC_SIDES + 8;
    if (room->round) {
        if (!find_shifts(room, o, scale)) {
            *ret_memory = false;
            goto done;
        }
        for (size_t i = 0; i < o->n_shifts; i++) {
            po_xy p = turned(o->shifts[i], c, s, 1);
            spare[i] = (po_xy){room->centre[0] + p.x, room->centre[1] + p.y};
        }
        in.n = o->n_shifts;
        for (size_t i = 0, first = leftmost(spare, in.n); i < in.n; i++) {
            points[i] = spare[(first + i) % in.n];
        }
        if (in.n == 0) { /* by a hair: only the middle is left */
            in.n = 1;
            points[0] = target;
        }
    } else {
        bool wide = high[0] > low[0], deep = high[1] > low[1];
        points[in.n++] = (po_xy){low[0], low[1]};
        if (wide) {
            points[in.n++] = (po_xy){high[0], low[1]};
        }
        if (deep) {
            points[in.n++] = (po_xy){wide ? high[0] : low[0], high[1]};
        }
        if (wide && deep) {
            points[in.n++] = (po_xy){low[0], high[1]};
        }
    }
    for (size_t b = 0; b < n; b++) {
        out[b].at = points + used;
        out[b].n = overlaps(&room->blocks[b], o->below[b], o->n_below[b], c, s, scale, spare, out[b].at);
        size_t first = leftmost(out[b].at, out[b].n);
        if (first != 0) { /* rounding may have moved the leftmost corner by one */
            for (size_t i = 0; i < out[b].n; i++) {
                spare[i] = out[b].at[(first + i) % out[b].n];
            }
            memcpy(out[b].at, spare, out[b].n * sizeof *spare);
        }
        used += o->n_below[b] + 8;
    }
    found = po_free_point(&in, out, n, target, ret, ret_memory);
done:
    free(points);
    free(out);
    return found;
}

bool po_room_place(const po_room *room, po_outline *o, double turn_rad, double scale, po_xy *ret, bool *ret_memory)
{
    double c = cos(turn_rad), s = sin(turn_rad), low[2] = {0}, high[2] = {0};
    if (o->size[2] * scale > room->height + SLACK_MM) {
        return false;
    }
    if (turn_rad == 0) {
        c = 1;
        s = 0;
    }
    po_xy target;
    if (room->round) {
        if (o->radius * scale > room->radius + SLACK_MM) {
            return false;
        }
        po_xy m = turned(o->middle, c, s, scale);
        target = (po_xy){room->centre[0] - m.x, room->centre[1] - m.y};
    } else {
        double least[2] = {INFINITY, INFINITY}, most[2] = {-INFINITY, -INFINITY};
        for (size_t i = 0; i < o->n; i++) {
            po_xy p = turned(o->hull[i], c, s, scale);
            least[0] = fmin(least[0], p.x);
            most[0] = fmax(most[0], p.x);
            least[1] = fmin(least[1], p.y);
            most[1] = fmax(most[1], p.y);
        }
        for (int k = 0; k < 2; k++) {
            low[k] = room->low[k] - least[k];
            high[k] = room->high[k] - most[k];
            if (high[k] < low[k] - SLACK_MM) {
                return false;
            }
            if (high[k] < low[k]) {
                low[k] = high[k] = (low[k] + high[k]) / 2;
            }
        }
        target = (po_xy){(low[0] + high[0]) / 2, (low[1] + high[1]) / 2};
    }
    *ret = target;
    return room->n_blocks == 0 || place_among(room, o, c, s, scale, low, high, target, ret, ret_memory);
}

typedef struct turns {
    double *at; /* radians */
    size_t n, cap;
    bool no_memory;
} turns;

static void add_turn(turns *t, double at)
{
    if (t->n == t->cap) {
        size_t cap = t->cap * 2 + 256;
        double *more = realloc(t->at, cap * sizeof *more);
        if (!more) {
            t->no_memory = true;
            return;
        }
        t->at = more;
        t->cap = cap;
    }
    t->at[t->n++] = at;
}

/* Into (-pi, pi]; rounding to the end of a full turn does not matter. */
static double wrapped(double a)
{
    return remainder(a, 2 * M_PI);
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Left turns before right ones of the same size. */
static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b, p = fabs(x), q = fabs(y);
    return p != q ? (p > q) - (p < q) : (x < y) - (x > y);
}

/* The corner farthest along a direction: normals holds the directions of the hull's outward normals, rising from that
 * of edge `first`. */
static size_t farthest(const double *normals, size_t first, size_t n, double direction)
{
    double a = direction;
    while (a < normals[0]) {
        a += 2 * M_PI;
    }
    while (a >= normals[0] + 2 * M_PI) {
        a -= 2 * M_PI;
    }
    size_t low = 0, high = n; /* the last edge whose normal is not beyond; its end is the corner */
    while (high - low > 1) {
        size_t mid = (low + high) / 2;
        if (normals[mid] <= a) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return (first + low + 1) % n;
}

typedef struct widths { /* of the hull turned by t: size * cos(t - phase), over one stretch of turns */
    double side[2], size[2], phase[2];
} widths;

/* Take note of a turn at which the rectangle holds the hull, scaled, and of the scale at which it just would. */
static void note_turn(const widths *w, double at, double scale, turns *t, double *best)
{
    double width[2] = {w->size[0] * cos(at - w->phase[0]), w->size[1] * cos(at - w->phase[1])};
    *best = fmax(*best, fmin(w->side[0] / width[0], w->side[1] / width[1]));
    if (width[0] * scale <= w->side[0] + 2 * SLACK_MM && width[1] * scale <= w->side[1] + 2 * SLACK_MM) {
        add_turn(t, at);
    }
}

/* The turns in [0, pi] that matter for the rectangle and fit it at that scale; ret_best: the largest scale that fits at
 * any turn. */
static void square_turns(const po_room *room, const po_outline *o, double scale, turns *t, double *ret_best)
{
    size_t n = o->n, first = 0;
    widths w = {.side = {room->high[0] - room->low[0], room->high[1] - room->low[1]}};
    *ret_best = 0;
    if (!(w.side[0] > 0 && w.side[1] > 0)) {
        return;
    }
    if (n < 2) {
        add_turn(t, 0);
        *ret_best = INFINITY;
        return;
    }
    double *normals = malloc(n * sizeof *normals), *rising = malloc(n * sizeof *rising);
    turns events = {0};
    for (size_t i = 0; normals && rising && i < n; i++) {
        po_xy a = o->hull[i], b = o->hull[(i + 1) % n];
        normals[i] = atan2(a.x - b.x, b.y - a.y); /* of (dy, -dx) */
        first = normals[i] < normals[first] ? i : first;
    }
    for (size_t i = 0; normals && rising && i < n; i++) {
        rising[i] = normals[(first + i) % n];
        for (int quarter = 0; quarter < 2; quarter++) { /* the normal comes to stand along an axis */
            add_turn(&events, fmod(-rising[i] + quarter * M_PI / 2 + 4 * M_PI, M_PI));
        }
    }
    add_turn(&events, 0);
    add_turn(&events, M_PI);
    if (!normals || !rising || events.no_memory) {
        t->no_memory = true;
        goto done;
    }
    qsort(events.at, events.n, sizeof *events.at, by_value);
    for (size_t i = 0; i + 1 < events.n; i++) {
        double begin = events.at[i], end = events.at[i + 1], mid = (begin + end) / 2;
        if (end - begin < 1e-15) {
            continue;
        }
        for (int axis = 0; axis < 2; axis++) {
            /* what lies along +x (or +y) once turned by mid */
            double direction = axis * M_PI / 2 - mid;
            po_xy p = o->hull[farthest(rising, first, n, direction)],
                  q = o->hull[farthest(rising, first, n, direction + M_PI)];
            double dx = p.x - q.x, dy = p.y - q.y;
            /* x once turned: dx cos t - dy sin t; y: dx sin t + dy cos t */
            w.size[axis] = hypot(dx, dy);
            w.phase[axis] = axis ? atan2(dx, dy) : atan2(-dy, dx);
        }
        note_turn(&w, begin, scale, t, ret_best);
        note_turn(&w, end, scale, t, ret_best);
        for (int axis = 0; axis < 2; axis++) {
            double wide = w.size[axis] * scale, off = acos(w.side[axis] / wide);
            for (int sign = -1; w.side[axis] < wide && sign <= 1; sign += 2) {
                double a = mid + wrapped(w.phase[axis] + sign * off - mid);
                if (a > begin && a < end) {
                    note_turn(&w, a, scale, t, ret_best);
                }
            }
        }
        /* side1 * width0 = side0 * width1: (k0 cos p0 - k1 cos p1) cos t + (k0 sin p0 - k1 sin p1) sin t = 0 */
        double k0 = w.side[1] * w.size[0], k1 = w.side[0] * w.size[1], c = k0 * cos(w.phase[0]) - k1 * cos(w.phase[1]),
               s = k0 * sin(w.phase[0]) - k1 * sin(w.phase[1]), a = atan2(-c, s);
        for (int half = 0; half < 2; half++) {
            double b = mid + wrapped(a + half * M_PI - mid);
            if (b > begin && b < end) {
                note_turn(&w, b, scale, t, ret_best);
            }
        }
    }
done:
    free(normals);
    free(rising);
    free(events.at);
}

/* The same outline with fewer corners, nowhere smaller: short edges are replaced by the point where their neighbours
 * meet, the least harmful ones first. In place. */
static size_t fewer_corners(po_xy *p, size_t n, size_t most, double size)
{
    for (double allowed = 1e-9 * size; n > most && allowed < size; allowed *= 2) {
        size_t kept = 0, gone = 0, enough = n - most;
        po_xy last = p[n - 1]; /* the one before p[i], as it is by now */
        for (size_t i = 0; i < n;) {
            po_xy b = p[i];
            if (i + 2 < n && gone < enough && n - gone > 4) {
                po_xy c = p[i + 1], d = p[i + 2];
                double ux = b.x - last.x, uy = b.y - last.y, vx = d.x - c.x, vy = d.y - c.y, cross = ux * vy - uy * vx;
                double t = cross > 0 ? ((c.x - b.x) * vy - (c.y - b.y) * vx) / cross : -1;
                po_xy m = {b.x + t * ux, b.y + t * uy};
                double off = (m.y - b.y) * (c.x - b.x) - (m.x - b.x) * (c.y - b.y);
                if (t >= 0 && fabs(off) <= allowed * hypot(c.x - b.x, c.y - b.y)) {
                    last = p[kept++] = m;
                    gone++;
                    i += 2;
                    if (i < n) { /* the next edge waits for the next pass */
                        last = p[kept++] = p[i++];
                    }
                    continue;
                }
            }
            last = p[kept++] = b;
            i++;
        }
        n = kept;
    }
    return n;
}

/* A copy with at most `most` corners in each hull; what the copy shares with the original is not freed by it. */
static bool lighter(const po_outline *o, size_t most, po_outline *ret)
{
    *ret = *o;
    ret->shifts = NULL;
    ret->below = calloc(o->n_blocks + 1, sizeof(po_xy *));
    ret->n_below = calloc(o->n_blocks + 1, sizeof(size_t));
    ret->hull = malloc((o->n + 1) * sizeof *ret->hull);
    if (!ret->below || !ret->n_below || !ret->hull) {
        po_outline_done(ret);
        return false;
    }
    memcpy(ret->hull, o->hull, o->n * sizeof *o->hull);
    ret->n = fewer_corners(ret->hull, o->n, most, o->radius);
    for (size_t b = 0; b < o->n_blocks; b++) {
        ret->below[b] = ret->hull;
        ret->n_below[b] = ret->n;
        if (o->below[b] == o->hull) {
            continue;
        }
        ret->below[b] = malloc((o->n_below[b] + 1) * sizeof(po_xy));
        if (!ret->below[b]) {
            po_outline_done(ret);
            return false;
        }
        memcpy(ret->below[b], o->below[b], o->n_below[b] * sizeof(po_xy));
        ret->n_below[b] = fewer_corners(ret->below[b], o->n_below[b], most, o->radius);
    }
    return true;
}

static void whole_below(po_outline *o)
{
    for (size_t b = 0; b < o->n_blocks; b++) {
        if (o->below[b] != o->hull) {
            free(o->below[b]);
            o->below[b] = o->hull;
            o->n_below[b] = o->n;
        }
    }
}

/* Turns that lay one of the longest edges square. */
static void edge_turns(const po_outline *o, turns *t)
{
    double floor_mm = 0;
    size_t n_longer = o->n;
    for (floor_mm = o->radius / 1024; n_longer > LONG_EDGES; floor_mm *= 2) {
        n_longer = 0;
        for (size_t i = 0; i < o->n; i++) {
            po_xy a = o->hull[i], b = o->hull[(i + 1) % o->n];
            n_longer += hypot(b.x - a.x, b.y - a.y) >= floor_mm;
        }
    }
    for (size_t i = 0; i < o->n && o->n > 1; i++) {
        po_xy a = o->hull[i], b = o->hull[(i + 1) % o->n];
        for (int q = 0; q < 4 && hypot(b.x - a.x, b.y - a.y) >= floor_mm / 2; q++) {
            add_turn(t, wrapped(q * M_PI / 2 - atan2(b.y - a.y, b.x - a.x)));
        }
    }
}

/* All turns to try, least first. */
static void all_turns(const po_room *room, const po_outline *o, double scale, double step_deg, turns *t)
{
    if (room->round) {
        add_turn(t, 0);
    } else {
        double best;
        square_turns(room, o, scale, t, &best);
    }
    for (size_t i = 0, n = t->n; i < n && !t->no_memory; i++) {
        if (t->at[i] != 0) {
            add_turn(t, t->at[i] - M_PI);
        } else if (room->n_blocks) {
            add_turn(t, M_PI);
        }
    }
    if (room->n_blocks) {
        edge_turns(o, t);
        for (double d = step_deg; d < 180; d += step_deg) {
            add_turn(t, d * M_PI / 180);
            add_turn(t, -d * M_PI / 180);
        }
    }
    if (t->at) {
        qsort(t->at, t->n, sizeof *t->at, by_size);
    }
}

double po_room_turn(const po_room *room, po_outline *outline, double scale, po_xy *ret, bool *ret_memory)
{
    turns t = {0};
    po_outline light = {0};
    po_outline *o = outline;
    double found = NAN;
    if (outline->size[2] * scale > room->height + SLACK_MM) {
        return NAN;
    }
    all_turns(room, outline, scale, STEP_DEG, &t);
    if (t.no_memory || (room->n_blocks && !lighter(outline, FINE, &light))) {
        *ret_memory = false;
        goto done;
    }
    if (room->n_blocks) {
        o = &light;
    }
    size_t i = 0;
    for (; i < t.n && isnan(found) && *ret_memory; i++) {
        if (i > 0 && t.at[i] == t.at[i - 1]) {
            continue;
        }
        if (po_room_place(room, t.at[i] == 0 ? outline : o, t.at[i], scale, ret, ret_memory)) {
            found = t.at[i];
        }
    }
    if (room->n_blocks && !isnan(found) && found != 0) { /* less turn down to the last one that did not fit */
        double bad = 0;
        for (size_t k = 0; k + 1 < i; k++) {
            bad = t.at[k] * found >= 0 && fabs(t.at[k]) < fabs(found) ? t.at[k] : bad;
        }
        for (int k = 0; k < 12; k++) {
            double mid = (bad + found) / 2;
            po_xy at;
            if (po_room_place(room, o, mid, scale, &at, ret_memory)) {
                found = mid;
                *ret = at;
            } else {
                bad = mid;
            }
        }
    }
done:
    free(t.at);
    po_outline_done(&light);
    return isnan(found) ? NAN : found * 180 / M_PI;
}

static bool fits_at_scale(const po_room *room, po_outline *o, const turns *t, double scale, double *ret_turn,
                          bool *ret_memory)
{
    po_xy at;
    for (size_t i = 0; i < t->n && *ret_memory; i++) {
        if ((i == 0 || t->at[i] != t->at[i - 1]) && po_room_place(room, o, t->at[i], scale, &at, ret_memory)) {
            *ret_turn = t->at[i];
            return true;
        }
    }
    return false;
}

/* The largest scale from low to high at one turn, given that low fits. */
static double scale_at(const po_room *room, po_outline *o, double turn, double low, double high, bool *ret_memory)
{
    po_xy at;
    for (int k = 0; k < HALVINGS && high - low > SCALE_EXACT * high; k++) {
        double mid = k ? (low + high) / 2 : high;
        if (po_room_place(room, o, turn, mid, &at, ret_memory)) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return low;
}

/* From a turn that allows the scale low, by ever smaller steps to one that allows more. */
static double better_scale(const po_room *room, po_outline *o, double turn, double low, double high, bool *ret_memory)
{
    po_xy at;
    low = scale_at(room, o, turn, low, high, ret_memory);
    for (double step = SCALE_STEP_DEG / 2 * M_PI / 180; step > 1e-7 && *ret_memory; step /= 2) {
        for (int side = -1; side <= 1; side += 2) {
            double more = low * (1 + SCALE_EXACT), next = turn + side * step;
            if (more < high && po_room_place(room, o, next, more, &at, ret_memory)) {
                low = scale_at(room, o, next, more, high, ret_memory);
                turn = next;
            }
        }
    }
    return low;
}

double po_room_scale(const po_room *room, po_outline *outline, double fits_turn_deg, bool *ret_memory)
{
    double best = 0, high = room->height / outline->size[2];
    bool fits = !isnan(fits_turn_deg);
    turns t = {0};
    if (room->round) {
        best = room->radius > 0 ? room->radius / outline->radius : 0;
    } else {
        square_turns(room, outline, 1, &t, &best);
    }
    best = fmin(best, high);
    if (room->n_blocks == 0 || !(best > 0) || !isfinite(best) || t.no_memory) {
        *ret_memory = *ret_memory && !t.no_memory;
        free(t.at);
        return best;
    }
    po_outline coarse = {0}, fine = {0};
    if (!lighter(outline, COARSE, &coarse) || !lighter(outline, FINE, &fine)) {
        *ret_memory = false;
        goto done;
    }
    if (!fits) { /* smaller, more of it is below that height: all of it */
        whole_below(&coarse);
        whole_below(&fine);
    }
    t.n = 0;
    all_turns(room, &coarse, best, SCALE_STEP_DEG, &t);
    double low = fits && best >= 1 ? 1 : 0, turn = fits ? fits_turn_deg * M_PI / 180 : 0;
    high = best;
    if (fits_at_scale(room, &coarse, &t, best, &turn, ret_memory)) {
        low = best;
    }
    for (int k = 0; k < HALVINGS && high - low > 1e-4 * high && *ret_memory; k++) {
        double mid = (low + high) / 2;
        if (fits_at_scale(room, &coarse, &t, mid, &turn, ret_memory)) {
            low = mid;
        } else {
            high = mid;
        }
    }
    best = better_scale(room, &fine, turn, low, best, ret_memory);
done:
    free(t.at);
    po_outline_done(&coarse);
    po_outline_done(&fine);
    return best;
}
