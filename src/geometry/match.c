/* One object on the bed against one shape: which way up, at what scale, turned how, mirrored or not.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Outlines with their holes filled are compared first, so that fill and walls need not be told apart. The areas over the
 * height say which ways up and scales are possible at all (they do not depend on turns, shifts or mirrors). For these all
 * turns are tried on a small raster by the share of common area (P. Jaccard, 1912), shifts by moving rows of bits; the best
 * are refined on a finer raster by coordinate descent. At last the shape with its holes is asked for at full
 * resolution: is its outline laid, and is the strip beside it free? */
#include "proveout/match.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/canvas.h"
#include "geometry/line_shape.h"
#include "geometry/match_holes.h"

enum { LEFT_OUT = 2, HEIGHTS = 24, FEW = 8, SIDE = 128, TURNS = 144, CANDIDATES = 6, STARTS = 6, FINAL = 16 };
enum { REFINE_SIDE = 240 };
#define OUTLINE_MM 0.5      /* what lies this far inside is the shape's outline: about a bead */
#define BESIDE_FROM_MM 0.45 /* and this strip beside it should be free */
#define BESIDE_TO_MM 0.95
#define COVERED_LEAST 0.93 /* common practice, no published source: corners are rounded, seams and thin tips stay out */
#define BESIDE_MOST 0.08   /* in a quarter of the heights at least: supports and brims stand beside some */
#define SURE 1.07          /* of at most 1.1: nothing better is to be found */
#define SLIGHT 0.02
#define WIDER 0.006      /* what the raster tells of a scale */
#define MIRROR_LEAD 0.04 /* a mirror image has to be clearly better: most parts are symmetric or nearly so */

__extension__ typedef unsigned __int128 row128;

typedef struct trial {
    size_t pose;
    po_placing placing;
    double quality;
} trial;

typedef struct matching {
    const po_match_object *object;
    const po_match_shape *shape;
    double layer_mm, height;
    size_t at[HEIGHTS]; /* layers looked at */
    size_t n_at;
    po_canvas closed[HEIGHTS]; /* of the object, holes filled */
    double area[HEIGHTS];      /* mm2 */
    double centre[2];
    po_err *err;
} matching;

typedef struct cuts { /* sections of one pose at one scale; in an arena of their own */
    po_arena *arena;
    po_loops whole[HEIGHTS], outer[HEIGHTS];
    double area[HEIGHTS]; /* of the outer ones, at that scale */
    double centre[2];     /* at scale 1 */
} cuts;

/* Loops that run counter-clockwise alone. */
static bool outer_loops(const po_loops *from, po_arena *arena, po_loops *to)
{
    double *xy = po_arena_zeros(arena, 2 * from->n_points + 1, sizeof *xy);
    uint32_t *ends = po_arena_zeros(arena, from->n_loops + 1, sizeof *ends);
    if (!xy || !ends) {
        return false;
    }
    *to = (po_loops){.xy = xy, .ends = ends};
    for (size_t l = 0, at = 0; l < from->n_loops; at = from->ends[l++]) {
        uint32_t n = from->ends[l] - (uint32_t)at;
        po_loops one = {from->xy + 2 * at, n, &n, 1};
        if (po_loops_area(&one) > 0) {
            memcpy(xy + 2 * to->n_points, from->xy + 2 * at, 2 * (size_t)n * sizeof *xy);
            to->n_points += n;
            ends[to->n_loops++] = (uint32_t)to->n_points;
        }
    }
    return true;
}

static po_status no_memory(const matching *m)
{
    return po_fail(m->err, PO_E_NOMEM, "no memory to compare outlines");
}

/* Where a canvas holds the outer loops as they lie, its area and its middle. */
static bool weigh(const po_loops *loops, double *ret_area, double *sum_x, double *sum_y)
{
    double b[4];
    *ret_area = 0;
    if (!po_loops_bounds(loops, b)) {
        return true;
    }
    double px = fmax(fmax(b[2] - b[0], b[3] - b[1]) / 200, 1e-6);
    po_canvas c;
    if (!po_canvas_init(&c, (int)((b[2] - b[0]) / px) + 2, (int)((b[3] - b[1]) / px) + 2, b[0], b[1], px)) {
        return false;
    }
    po_placing as_is = {.scale = 1};
    bool good = po_canvas_loops(&c, loops, &as_is);
    for (int y = 0; good && y < c.height; y++) {
        for (int x = 0; x < c.width; x++) {
            if (c.px[(size_t)y * (size_t)c.width + (size_t)x]) {
                *ret_area += px * px;
                *sum_x += px * px * (c.x0 + (x + 0.5) * px);
                *sum_y += px * px * (c.y0 + (y + 0.5) * px);
            }
        }
    }
    po_canvas_done(&c);
    return good;
}

static po_status cut(const matching *m, size_t pose, double scale, cuts *ret)
{
    double z[HEIGHTS], sum = 0, x = 0, y = 0;
    for (size_t i = 0; i < m->n_at; i++) {
        z[i] = fmax(m->object->layers[m->at[i]].z - m->layer_mm / 2, m->layer_mm / 4) / scale;
    }
    po_status status = m->shape->sections(m->shape->user, pose, z, m->n_at, ret->arena, ret->whole, m->err);
    for (size_t i = 0; i < m->n_at && status == PO_OK; i++) {
        if (!outer_loops(&ret->whole[i], ret->arena, &ret->outer[i]) || !weigh(&ret->outer[i], &ret->area[i], &x, &y)) {
            return no_memory(m);
        }
        sum += ret->area[i];
        ret->area[i] *= scale * scale;
    }
    ret->centre[0] = sum > 0 ? x / sum : 0;
    ret->centre[1] = sum > 0 ? y / sum : 0;
    return status;
}

/* Differences of areas over the height: 0 the same, 1 nothing in common. */
static double unlike(const matching *m, const cuts *c)
{
    double off = 0, most = 0;
    for (size_t i = 0; i < m->n_at; i++) {
        off += fabs(m->area[i] - c->area[i]);
        most += fmax(m->area[i], c->area[i]);
    }
    return most > 0 ? off / most : 1;
}

static double scale_by_area(const matching *m, const cuts *c)
{
    double laid = 0, wanted = 0;
    for (size_t i = 0; i < m->n_at; i++) {
        laid += m->area[i];
        wanted += c->area[i];
    }
    return wanted > 0 && laid > 0 ? sqrt(laid / wanted) : 1;
}

static void move_to_centre(const matching *m, const cuts *c, po_placing *p)
{
    double turn = p->turn_deg * (3.14159265358979323846 / 180), flip = p->mirrored ? -1 : 1;
    double x = flip * c->centre[0], y = c->centre[1];
    p->shift[0] = m->centre[0] - p->scale * (cos(turn) * x - sin(turn) * y);
    p->shift[1] = m->centre[1] - p->scale * (sin(turn) * x + cos(turn) * y);
}

/* ---- all turns on a raster of bits ---- */

typedef struct bits {
    row128 row[SIDE];
} bits;

static void to_bits(const po_canvas *c, bits *b)
{
    memset(b, 0, sizeof *b);
    for (int y = 0; y < c->height && y < SIDE; y++) {
        const uint8_t *px = c->px + (size_t)y * (size_t)c->width;
        int x = 0;
        for (; x + 8 <= c->width && x + 8 <= SIDE;
             x += 8) { /* eight bytes of 0 or 1 to eight bits, the first the lowest */
            uint64_t eight = 0;
            for (int k = 0; k < 8; k++) {
                eight |= (uint64_t)px[x + k] << 8 * k;
            }
            b->row[y] |= (row128)((eight * 0x0102040810204080U) >> 56) << x;
        }
        for (; x < c->width && x < SIDE; x++) {
            b->row[y] |= (row128)px[x] << x;
        }
    }
}

static int count(row128 r)
{
    return __builtin_popcountll((uint64_t)r) + __builtin_popcountll((uint64_t)(r >> 64));
}

/* A canvas sampled on another grid. */
static void sample(const po_canvas *from, po_canvas *to)
{
    for (int y = 0; y < to->height; y++) {
        for (int x = 0; x < to->width; x++) {
            int u = (int)floor((to->x0 + (x + 0.5) * to->px_mm - from->x0) / from->px_mm);
            int v = (int)floor((to->y0 + (y + 0.5) * to->px_mm - from->y0) / from->px_mm);
            bool in = u >= 0 && v >= 0 && u < from->width && v < from->height;
            to->px[(size_t)y * (size_t)to->width + (size_t)x] =
                in ? from->px[(size_t)v * (size_t)from->width + (size_t)u] : 0;
        }
    }
}

MANY_TARGETS static double common(const bits *a, const bits *b, size_t n, int dx, int dy)
{
    uint64_t both = 0, either = 0;
    for (size_t k = 0; k < n; k++) {
        for (int y = 0; y < SIDE; y++) {
            int v = y - dy;
            row128 moved = v < 0 || v >= SIDE ? 0 : dx >= 0 ? b[k].row[v] << dx : b[k].row[v] >> -dx;
            both += (uint64_t)count(a[k].row[y] & moved);
            either += (uint64_t)count(a[k].row[y] | moved);
        }
    }
    return either ? (double)both / (double)either : 0;
}

static void keep(trial *best, size_t *n, size_t most, const trial *t)
{
    for (size_t i = 0; i < *n; i++) { /* neighbours in turn: the better one stays */
        double apart = fabs(remainder(best[i].placing.turn_deg - t->placing.turn_deg, 360));
        if (best[i].pose == t->pose && best[i].placing.mirrored == t->placing.mirrored &&
            best[i].placing.scale == t->placing.scale && apart < 1.6 * 360 / TURNS) {
            if (t->quality > best[i].quality + 1e-9) {
                best[i] = *t;
            }
            return;
        }
    }
    size_t at = *n;
    if (*n == most) {
        at = 0;
        for (size_t i = 1; i < most; i++) {
            at = best[i].quality < best[at].quality ? i : at;
        }
        if (best[at].quality >= t->quality) {
            return;
        }
    } else {
        ++*n;
    }
    best[at] = *t;
}

/* The heights that the small raster looks at: FEW of those looked at, evenly. */
static size_t few(const matching *m, size_t k, size_t n)
{
    return n >= m->n_at ? k : k * (m->n_at - 1) / (n - 1);
}

static po_status try_turns(const matching *m, const cuts *c, size_t pose, double scale, trial *best, size_t *n_best)
{
    const po_canvas *like = &m->closed[0];
    double extent = fmax(like->width, like->height) * like->px_mm, px = extent / 96;
    double x0 = m->object->layers[0].x0 + like->width * like->px_mm / 2 - SIDE / 2 * px;
    double y0 = m->object->layers[0].y0 + like->height * like->px_mm / 2 - SIDE / 2 * px;
    size_t n = m->n_at < FEW ? m->n_at : FEW;
    bits *theirs = calloc(2 * FEW, sizeof *theirs), *ours = theirs ? theirs + FEW : NULL;
    po_canvas small;
    if (!theirs || !po_canvas_init(&small, SIDE, SIDE, x0, y0, px)) {
        free(theirs);
        return no_memory(m);
    }
    po_status status = PO_OK;
    for (size_t k = 0; k < n; k++) {
        sample(&m->closed[few(m, k, n)], &small);
        to_bits(&small, &theirs[k]);
    }
    for (int i = 0; i < 2 * TURNS && status == PO_OK; i++) {
        trial t = {.pose = pose,
                   .placing = {.scale = scale, .turn_deg = 360.0 / TURNS * (i % TURNS), .mirrored = i >= TURNS}};
        move_to_centre(m, c, &t.placing);
        for (size_t k = 0; k < n; k++) {
            if (!po_canvas_loops(&small, &c->outer[few(m, k, n)], &t.placing)) {
                status = no_memory(m);
                break;
            }
            to_bits(&small, &ours[k]);
        }
        int best_x = 0, best_y = 0;
        for (int dy = -9; dy <= 9; dy += 3) { /* supports move the middle */
            for (int dx = -9; dx <= 9; dx += 3) {
                double q = common(theirs, ours, n, dx, dy);
                if (q > t.quality) {
                    t.quality = q;
                    best_x = dx;
                    best_y = dy;
                }
            }
        }
        t.placing.shift[0] += best_x * px;
        t.placing.shift[1] += best_y * px;
        t.quality -= t.placing.mirrored ? 1e-6 : 0;
        keep(best, n_best, STARTS, &t);
    }
    po_canvas_done(&small);
    free(theirs);
    return status;
}

/* ---- refined ---- */

typedef struct refining {
    const matching *m;
    const cuts *c;
    size_t n;
    po_canvas object[FEW], ours;
} refining;

static double quality_at(refining *r, const po_placing *p)
{
    uint64_t both = 0, either = 0;
    size_t n_px = (size_t)r->ours.width * (size_t)r->ours.height;
    for (size_t k = 0; k < r->n; k++) {
        if (!po_canvas_loops(&r->ours, &r->c->outer[few(r->m, k, r->n)], p)) {
            return -1;
        }
        for (size_t i = 0; i < n_px; i++) {
            both += r->ours.px[i] & r->object[k].px[i];
            either += r->ours.px[i] | r->object[k].px[i];
        }
    }
    return either ? (double)both / (double)either : 0;
}

/* Turned by d degrees more about the object's middle. */
static po_placing turned_on(const matching *m, po_placing p, double d)
{
    double a = d * (3.14159265358979323846 / 180), x = m->centre[0] - p.shift[0], y = m->centre[1] - p.shift[1];
    p.turn_deg += d;
    p.shift[0] = m->centre[0] - (cos(a) * x - sin(a) * y);
    p.shift[1] = m->centre[1] - (sin(a) * x + cos(a) * y);
    return p;
}

/* Better places in ever smaller steps, turn (degrees; 0 = as it is) and shift (mm). */
static void descend(refining *r, trial *t, double turn, double shift)
{
    for (int round = 0; round < 40 && t->quality >= 0 && shift > r->ours.px_mm / 16; round++) {
        bool better = false;
        for (int k = turn > 0 ? 0 : 2; k < 6; k++) {
            double way = k % 2 ? -1 : 1;
            po_placing p = k < 2 ? turned_on(r->m, t->placing, way * turn) : t->placing;
            if (k >= 2) {
                p.shift[k / 2 - 1] += way * shift;
            }
            double q = quality_at(r, &p);
            if (q > t->quality + 1e-9) {
                t->quality = q;
                t->placing = p;
                better = true;
            }
        }
        if (!better) {
            turn /= 2;
            shift /= 2;
        }
    }
}

/* People turn by round numbers: one that is as good as what was found is taken. */
static void round_turn(refining *r, trial *t, double shift)
{
    static const double steps[] = {45, 15, 1};
    for (int k = 0; k < 3 && t->quality >= 0; k++) {
        double off = remainder(t->placing.turn_deg, steps[k]);
        if (fabs(off) < 1) {
            trial near = {t->pose, turned_on(r->m, t->placing, -off), 0};
            near.quality = quality_at(r, &near.placing);
            descend(r, &near, 0, shift);
            if (near.quality >= t->quality - 0.004) {
                *t = near;
                return;
            }
        }
    }
}

static po_status refine(const matching *m, const cuts *c, trial *t)
{
    const po_canvas *like = &m->closed[0];
    double extent = fmax(like->width, like->height) * like->px_mm, px = fmax(extent / REFINE_SIDE, like->px_mm);
    int w = (int)(like->width * like->px_mm / px) + 20, h = (int)(like->height * like->px_mm / px) + 20;
    refining r = {.m = m, .c = c, .n = m->n_at < FEW ? m->n_at : FEW};
    bool good = po_canvas_init(&r.ours, w, h, like->x0 - 8 * px, like->y0 - 8 * px, px);
    for (size_t k = 0; k < r.n && good; k++) {
        good = po_canvas_init(&r.object[k], w, h, r.ours.x0, r.ours.y0, px);
        if (good) {
            sample(&m->closed[few(m, k, r.n)], &r.object[k]);
        }
    }
    t->quality = good ? quality_at(&r, &t->placing) : -1;
    descend(&r, t, 1.25, extent / 60);
    round_turn(&r, t, px);
    for (size_t k = 0; k < r.n; k++) {
        po_canvas_done(&r.object[k]);
    }
    po_canvas_done(&r.ours);
    return t->quality >= 0 ? PO_OK : no_memory(m);
}

/* ---- asked at full resolution ---- */

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static po_status ask(const matching *m, const cuts *c, const trial *t, po_match *ret, double *ret_beside)
{
    const po_canvas *like = &m->closed[0];
    double px = like->px_mm;
    int in = (int)ceil(OUTLINE_MM / px), from = (int)ceil(BESIDE_FROM_MM / px), to = (int)ceil(BESIDE_TO_MM / px);
    int margin = to + 2;
    uint64_t wanted = 0, had = 0, laid = 0, outside = 0;
    double besides[FINAL];
    size_t holed = 0, bad = 0; /* heights with holes, and with one of them filled */
    ret->worst_covered = INFINITY;
    to = to > from ? to : from + 1;
    size_t n = m->n_at < FINAL ? m->n_at : FINAL;
    for (size_t k = 0; k < n; k++) {
        size_t i = few(m, k, n);
        const po_match_layer *l = &m->object->layers[m->at[i]];
        po_canvas s[5]; /* shape, shrunk, grown to the strip's begin and end, job grown */
        int w = l->width + 2 * margin, h = l->height + 2 * margin;
        bool good = true;
        for (int q = 0; q < 5; q++) {
            good &= po_canvas_init(&s[q], w, h, l->x0 - margin * px, l->y0 - margin * px, px);
        }
        size_t n_px = (size_t)w * (size_t)h;
        good = good && po_canvas_loops(&s[0], &c->whole[i], &t->placing);
        if (good) {
            for (int q = 1; q < 4; q++) {
                memcpy(s[q].px, s[0].px, n_px);
            }
            for (int y = 0; y < l->height; y++) {
                memcpy(s[4].px + (size_t)(y + margin) * (size_t)w + (size_t)margin,
                       l->px + (size_t)y * (size_t)l->width, (size_t)l->width);
            }
            uint64_t layer_wanted = 0, layer_had = 0, strip = 0, filled = 0;
            for (size_t p = 0; p < n_px; p++) {
                s[4].px[p] = s[4].px[p] != 0;
            }
            good = po_canvas_grow(&s[1], -in) && po_canvas_grow(&s[2], from) && po_canvas_grow(&s[3], to);
            for (size_t p = 0; p < n_px && good; p++) {
                laid += s[4].px[p];
                outside += s[4].px[p] & !s[2].px[p];
                bool beside = s[3].px[p] & !s[2].px[p];
                strip += beside;
                filled += beside & s[4].px[p];
            }
            size_t holes = 0, in_them = 0;
            good = good && po_match_holes(&s[0], &s[2], &s[4], &holes, &in_them);
            holed += holes > 0;
            bad += in_them > 0;
            good = good && po_canvas_grow(&s[4], 1);
            for (size_t p = 0; p < n_px && good; p++) {
                bool band = s[0].px[p] & !s[1].px[p];
                layer_wanted += band;
                layer_had += band & s[4].px[p];
            }
            besides[k] = strip ? (double)filled / (double)strip : 1;
            wanted += layer_wanted;
            had += layer_had;
            double covered = layer_wanted ? (double)layer_had / (double)layer_wanted : 1;
            if (covered < ret->worst_covered) {
                ret->worst_covered = covered;
                ret->worst_z = l->z;
            }
        }
        for (int q = 0; q < 5; q++) {
            po_canvas_done(&s[q]);
        }
        if (!good) {
            return no_memory(m);
        }
    }
    ret->covered = wanted ? (double)had / (double)wanted : 0;
    ret->spilled = laid ? (double)outside / (double)laid : 1;
    qsort(besides, n, sizeof *besides, rising);
    *ret_beside = besides[n / 4];
    ret->holes_filled = 2 * bad > holed;
    return PO_OK;
}

static double turned(double degrees)
{
    double d = remainder(degrees, 360);
    d = d <= -180 ? d + 360 : d;
    return fabs(d) < 0.15 ? 0 : d; /* the raster tells no finer */
}

/* Heights are told in layers; units taken for each other are told exactly. */
static double usual_scale(double scale)
{
    static const double usual[] = {25.4, 1 / 25.4, 10, 0.1, 1000, 0.001, 2.54, 1 / 2.54};
    for (size_t i = 0; i < sizeof usual / sizeof usual[0]; i++) {
        if (fabs(scale / usual[i] - 1) < 0.015) {
            return usual[i];
        }
    }
    return scale;
}

/* Refine a start, ask in full, and keep it where it is better than what is there. */
static po_status settle(const matching *m, const cuts *c, trial *t, po_match *best, double *best_quality)
{
    double beside = 1;
    po_match now = {.missing_from_mm = NAN};
    po_status status = refine(m, c, t);
    if (status == PO_OK) {
        status = ask(m, c, t, &now, &beside);
    }
    if (status != PO_OK) {
        return status;
    }
    double quality = now.covered - beside - (t->placing.mirrored ? MIRROR_LEAD : 0) -
                     (t->placing.scale != 1 ? 0.01 : 0) - (now.holes_filled ? 0.2 : 0);
    quality += 0.1 * t->quality - 0.002 / 180 * fabs(turned(t->placing.turn_deg)); /* alike outlines; the least turn */
    if (quality <= *best_quality + 1e-6) {
        return PO_OK;
    }
    *best_quality = quality;
    now.found = now.covered >= COVERED_LEAST && beside <= BESIDE_MOST && !now.holes_filled;
    now.pose = t->pose;
    now.scale = usual_scale(t->placing.scale);
    now.turn_deg = turned(t->placing.turn_deg);
    now.mirrored = t->placing.mirrored;
    now.shift_mm[0] = t->placing.shift[0];
    now.shift_mm[1] = t->placing.shift[1];
    double whole = m->shape->heights_mm[t->pose] * t->placing.scale;
    now.missing_from_mm = whole - m->height > 2.5 * m->layer_mm ? m->height : NAN;
    *best = now;
    return PO_OK;
}

static po_status fresh(cuts *c, const matching *m)
{
    po_arena_free(c->arena);
    memset(c, 0, sizeof *c);
    c->arena = po_arena_new(0);
    return c->arena ? PO_OK : no_memory(m);
}

static int better_first(const void *a, const void *b)
{
    const trial *x = a, *y = b;
    return (x->quality < y->quality) - (x->quality > y->quality);
}

/* A corner that was cut off looks like a slight scale: where the shape is found at full size as well, it is that. */
static po_status at_full_size(const matching *m, cuts *c, po_match *ret, double *quality)
{
    if (!ret->found || ret->scale == 1 || fabs(ret->scale - 1) > SLIGHT) {
        return PO_OK;
    }
    trial t = {.pose = ret->pose, .placing = {.scale = 1, .turn_deg = ret->turn_deg, .mirrored = ret->mirrored}};
    po_match full = {.missing_from_mm = NAN};
    double full_quality = -INFINITY;
    po_status status = fresh(c, m);
    if (status == PO_OK && (status = cut(m, t.pose, 1, c)) == PO_OK) {
        move_to_centre(m, c, &t.placing);
        status = settle(m, c, &t, &full, &full_quality);
    }
    if (status == PO_OK && full.found) {
        *ret = full;
        *quality = full_quality;
    }
    return status;
}

static po_status search(matching *m, cuts *c, po_match *ret, double *quality)
{
    trial likely[CANDIDATES];
    size_t n_likely = 0;
    po_status status = PO_OK;
    for (size_t pose = 0; pose < m->shape->n_poses; pose++) {
        double h = m->shape->heights_mm[pose], scales[3];
        size_t n = 0;
        if (!(h > 0)) {
            continue;
        }
        bool same = fabs(m->height - h) <= 1.5 * m->layer_mm;
        if (same || m->height < h) {
            scales[n++] = 1;
        }
        if (!same) {
            scales[n++] = m->height / h;
        }
        for (size_t i = 0; i < n; i++) {
            if ((status = fresh(c, m)) != PO_OK || (status = cut(m, pose, scales[i], c)) != PO_OK) {
                return status;
            }
            if (same && i == 0) { /* a low part tells little by its height: areas may tell of a scale */
                double wide = scale_by_area(m, c);
                if (fabs(wide - 1) > WIDER && fabs(m->height - wide * h) <= 1.5 * m->layer_mm) {
                    scales[n++] = wide;
                }
            }
            trial t = {
                .pose = pose, .placing = {.scale = scales[i]}, .quality = -unlike(m, c) - (scales[i] != 1 ? 0.03 : 0)};
            size_t at = n_likely;
            if (n_likely < CANDIDATES) {
                n_likely++;
            } else {
                at = 0;
                for (size_t k = 1; k < CANDIDATES; k++) {
                    at = likely[k].quality < likely[at].quality ? k : at;
                }
                if (likely[at].quality >= t.quality) {
                    continue;
                }
            }
            likely[at] = t;
        }
    }
    trial starts[STARTS];
    size_t n_starts = 0;
    for (size_t i = 0; i < n_likely; i++) {
        if (likely[i].quality < -0.75) {
            continue;
        }
        if ((status = fresh(c, m)) != PO_OK || (status = cut(m, likely[i].pose, likely[i].placing.scale, c)) != PO_OK ||
            (status = try_turns(m, c, likely[i].pose, likely[i].placing.scale, starts, &n_starts)) != PO_OK) {
            return status;
        }
    }
    qsort(starts, n_starts, sizeof *starts, better_first);
    for (size_t i = 0; i < n_starts && !(ret->found && *quality > SURE); i++) {
        if ((status = fresh(c, m)) != PO_OK || (status = cut(m, starts[i].pose, starts[i].placing.scale, c)) != PO_OK ||
            (status = settle(m, c, &starts[i], ret, quality)) != PO_OK) {
            return status;
        }
    }
    return at_full_size(m, c, ret, quality);
}

static bool prepare(matching *m)
{
    const po_match_object *o = m->object;
    size_t from = o->n_layers > 3 * LEFT_OUT ? LEFT_OUT : 0, n = o->n_layers - from;
    double sum = 0, x = 0, y = 0;
    m->n_at = n < HEIGHTS ? n : HEIGHTS;
    for (size_t i = 0; i < m->n_at; i++) {
        m->at[i] = from + (m->n_at == n ? i : i * (n - 1) / (m->n_at - 1));
        const po_match_layer *l = &o->layers[m->at[i]];
        po_canvas *c = &m->closed[i];
        if (!po_canvas_init(c, l->width, l->height, l->x0, l->y0, l->px_mm)) {
            return false;
        }
        for (size_t k = 0; k < (size_t)l->width * (size_t)l->height; k++) {
            c->px[k] = l->px[k] != 0;
        }
        if (!po_canvas_close(c)) {
            return false;
        }
        for (int v = 0; v < c->height; v++) {
            for (int u = 0; u < c->width; u++) {
                if (c->px[(size_t)v * (size_t)c->width + (size_t)u]) {
                    m->area[i] += c->px_mm * c->px_mm;
                    x += c->px_mm * c->px_mm * (c->x0 + (u + 0.5) * c->px_mm);
                    y += c->px_mm * c->px_mm * (c->y0 + (v + 0.5) * c->px_mm);
                }
            }
        }
        sum += m->area[i];
    }
    m->centre[0] = sum > 0 ? x / sum : 0;
    m->centre[1] = sum > 0 ? y / sum : 0;
    return true;
}

po_status po_match_find(const po_match_object *object, const po_match_shape *shape, double layer_mm,
                        const po_match *like, po_match *ret, po_err *err)
{
    matching m = {
        .object = object, .shape = shape, .layer_mm = layer_mm, .height = object->bounds_mm[1][2], .err = err};
    cuts c = {0};
    double quality = -INFINITY;
    po_status status = PO_OK;
    *ret = (po_match){.scale = 1, .missing_from_mm = NAN};
    if (object->n_layers == 0) {
        return PO_OK;
    }
    if (!prepare(&m)) {
        status = no_memory(&m);
    } else {
        if (like && like->found && like->pose < shape->n_poses) { /* copies lie alike, or turned by quarters */
            for (int quarter = 0; quarter < 4 && status == PO_OK && !ret->found; quarter++) {
                trial t = {.pose = like->pose,
                           .placing = {.scale = like->scale,
                                       .turn_deg = like->turn_deg + 90 * quarter,
                                       .mirrored = like->mirrored}};
                if ((status = fresh(&c, &m)) == PO_OK && (status = cut(&m, t.pose, t.placing.scale, &c)) == PO_OK) {
                    move_to_centre(&m, &c, &t.placing);
                    status = settle(&m, &c, &t, ret, &quality);
                }
            }
        }
        if (status == PO_OK && !ret->found) {
            status = search(&m, &c, ret, &quality);
        }
    }
    po_arena_free(c.arena);
    for (size_t i = 0; i < m.n_at; i++) {
        po_canvas_done(&m.closed[i]);
    }
    return status;
}
