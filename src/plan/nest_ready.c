/* What bedfuls are searched with: shapes at the turns that they may have, and which parts fit no bed. SPDX-License-Identifier: Apache-2.0
 *
 * A part that may be turned at will has steps of 15 degrees, counted from where its long edge lies level; where it fits an empty bed at
 * none of them, of 5 and then of 1 degree. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "geometry/hull.h"
#include "nest_beds.h"
#include "nest_grow.h"

enum { PAIRS_MOST = 4000, ALONE_PASSES = 200, FREE_TURNS = 24, HULL_MOST = 400 };
static const double EDGE_MM = 2e-6; /* corners are rounded to 1e-6 mm */

/* ---- turns ---- */

static size_t shared(size_t a, size_t b)
{
    while (b) {
        size_t r = a % b;
        a = b;
        b = r;
    }
    return a;
}

static size_t common(size_t a, size_t b)
{
    return a / shared(a, b) * b;
}

static bool is_tall(const po_nest_work *w, size_t i)
{
    return w->setup->finish_each && w->parts[i].height_mm > w->setup->machine->head.clears_mm;
}

/* Whether a part may lie at turn t of n. The head does not turn with a part: those that it can't pass over turn by quarters, for
 * which room for it can be left. */
static bool may_lie(const po_nest_work *w, size_t i, size_t t, size_t n, size_t keep)
{
    bool own = t % (n / w->own[i]) == 0 && t % keep == 0;
    if (!is_tall(w, i)) {
        return own;
    }
    bool has_quarter = w->own[i] % 4 == 0 && n / 4 % keep == 0;
    return w->way == PO_NEST_ANY_QUARTER                ? own && 4 * t % n == 0
           : w->way == PO_NEST_A_QUARTER && has_quarter ? t == n / 4
                                                        : t == 0;
}

/* How many no-fit polygons there are when only every keep-th turn is kept. */
static size_t pairs_of(const po_nest_work *w, size_t n_turns, size_t keep, po_err *err)
{
    size_t all = 0, n = w->n_parts + w->room.n_blocks, *own = malloc((n + 1) * sizeof *own);
    if (!own) {
        (void)po_fail(err, PO_E_NOMEM, "memory ran out");
        return SIZE_MAX;
    }
    for (size_t i = 0; i < n; i++) {
        own[i] = i < w->n_parts ? 0 : 1;
        for (size_t t = 0; i < w->n_parts && t < n_turns; t++) {
            own[i] += may_lie(w, i, t, n_turns, keep);
        }
        for (size_t k = 0; k <= i; k++) {
            all += common(own[i], own[k]);
        }
    }
    free(own);
    return all;
}

static po_xy *points_of(const po_nest_work *w, size_t i, size_t *ret_n)
{
    size_t n = 0, at = 0;
    for (size_t b = 0; b < w->setup->n_bands; b++) {
        n += w->parts[i].bands[b].n_points;
    }
    po_xy *all = malloc((n + 1) * sizeof *all);
    for (size_t b = 0; all && b < w->setup->n_bands; b++) {
        const po_loops *l = &w->parts[i].bands[b];
        for (size_t k = 0; k < l->n_points; k++) {
            all[at++] = (po_xy){l->xy[2 * k], l->xy[2 * k + 1]};
        }
    }
    *ret_n = n;
    return all;
}

/* Area of the box about the hull when it is turned by an angle. */
static double box_area(const po_xy *hull, size_t n, double angle)
{
    double c = cos(angle), s = sin(angle), low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};
    for (size_t i = 0; i < n; i++) {
        double x = c * hull[i].x - s * hull[i].y, y = s * hull[i].x + c * hull[i].y;
        low[0] = fmin(low[0], x);
        low[1] = fmin(low[1], y);
        high[0] = fmax(high[0], x);
        high[1] = fmax(high[1], y);
    }
    return (high[0] - low[0]) * (high[1] - low[1]);
}

/* The turn at which the smallest box lies level, an edge of the hull along it (H. Freeman, R. Shapira, 1975), where that is none of the
 * usual steps and its box is smaller than at all of those; in thousandths of a degree. *ret_never: no turn fits the bed. */
static po_status principal(const po_nest_work *w, size_t i, double *ret_deg, bool *ret_never, po_err *err)
{
    size_t n = 0, n_hull = 0;
    po_xy *all = points_of(w, i, &n), *hull = malloc((n + 2) * sizeof *hull);
    *ret_deg = 0;
    *ret_never = false;
    if (!all || !hull) {
        free(all);
        free(hull);
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    n_hull = po_hull(all, n, hull);
    double usual = INFINITY, best = INFINITY, angle = 0;
    for (int k = 0; k < FREE_TURNS; k++) {
        usual = fmin(usual, box_area(hull, n_hull, 2 * M_PI * k / FREE_TURNS));
    }
    for (size_t k = 0; k < n_hull && n_hull <= HULL_MOST; k++) {
        po_xy a = hull[k], b = hull[(k + 1) % n_hull];
        double level = -atan2(b.y - a.y, b.x - a.x), area = box_area(hull, n_hull, level);
        if (area < best) {
            best = area;
            angle = level;
        }
    }
    if (best < 0.995 * usual) {
        double deg = remainder(angle * 180 / M_PI, 90);
        *ret_deg = round(deg * 1000) / 1000;
    }
    double wide = w->room.round ? 2 * w->room.radius
                                : fmin(w->room.high[0] - w->room.low[0], w->room.high[1] - w->room.low[1]);
    *ret_never = po_hull_least_width(hull, n_hull) > wide;
    free(all);
    free(hull);
    return PO_OK;
}

static po_status turned_bands(const po_nest_work *w, size_t i, const po_loops **ret, po_err *err)
{
    double deg = w->base_deg[i], c = cos(deg * M_PI / 180), s = sin(deg * M_PI / 180);
    po_loops *bands = po_arena_zeros(w->arena, w->setup->n_bands, sizeof *bands);
    *ret = w->parts[i].bands;
    if (deg == 0) {
        return PO_OK;
    }
    for (size_t b = 0; bands && b < w->setup->n_bands; b++) {
        const po_loops *l = &w->parts[i].bands[b];
        double *xy = po_arena_zeros(w->arena, l->n_points + 1, 2 * sizeof *xy);
        for (size_t k = 0; xy && k < l->n_points; k++) {
            xy[2 * k] = c * l->xy[2 * k] - s * l->xy[2 * k + 1];
            xy[2 * k + 1] = s * l->xy[2 * k] + c * l->xy[2 * k + 1];
        }
        if (!xy) {
            return po_fail(err, PO_E_NOMEM, "memory ran out");
        }
        bands[b] = (po_loops){xy, l->n_points, l->ends, l->n_loops};
    }
    *ret = bands;
    return bands ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
}

/* ---- shapes ---- */

static po_status make_shape(po_nest_work *w, size_t i, size_t n_turns, size_t keep, po_err *err)
{
    const po_loops *truth = NULL;
    po_loops *bands = po_arena_zeros(w->arena, w->setup->n_bands, sizeof *bands);
    unsigned char *allowed = po_arena_zeros(w->arena, n_turns, 1);
    po_status status = bands && allowed ? turned_bands(w, i, &truth, err) : po_fail(err, PO_E_NOMEM, "memory ran out");
    double area = 0;
    for (size_t b = 0; status == PO_OK && b < w->setup->n_bands; b++) {
        if (truth[b].n_points == 0) {
            continue;
        }
        status = po_nest_grow(&truth[b], w->setup->clearance_mm / 2, w->setup->keep_holes_free, w->arena, &bands[b],
                              err);
        area = status == PO_OK ? fmax(area, po_loops_area(&bands[b])) : area;
    }
    if (status == PO_OK && !(area > 0)) {
        status = po_fail(err, PO_E_RANGE, "part %zu covers nothing of the bed: its outline has no area", i + 1);
    }
    if (status != PO_OK) {
        return status;
    }
    size_t n = 0;
    for (size_t t = 0; t < n_turns; t++) {
        allowed[t] = may_lie(w, i, t, n_turns, keep);
        n += allowed[t];
    }
    w->shapes[i] = (po_nest_shape){.bands = bands,
                                   .area = area,
                                   .allowed = allowed,
                                   .n_allowed = n,
                                   .truth = truth,
                                   .group = w->parts[i].group,
                                   .tall = is_tall(w, i)};
    return PO_OK;
}

static po_status make_block(po_nest_work *w, const po_keep_out *block, size_t n_turns, po_nest_shape *ret, po_err *err)
{
    double by = fmax(0, w->setup->margin_mm - w->setup->clearance_mm / 2);
    double xy[8] = {block->x.low - by,  block->y.low - by,  block->x.high + by, block->y.low - by,
                    block->x.high + by, block->y.high + by, block->x.low - by,  block->y.high + by};
    po_loops *bands = po_arena_zeros(w->arena, w->setup->n_bands, sizeof *bands);
    unsigned char *allowed = po_arena_zeros(w->arena, n_turns, 1);
    double *kept = po_arena_zeros(w->arena, 8, sizeof *kept);
    uint32_t *ends = po_arena_zeros(w->arena, 1, sizeof *ends);
    if (!bands || !allowed || !kept || !ends) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    memcpy(kept, xy, sizeof xy);
    ends[0] = 4;
    for (size_t b = 0; b < w->setup->n_bands; b++) {
        if (w->setup->n_bands == 1 || w->setup->band_from_mm[b] < block->below_z_mm) {
            bands[b] = (po_loops){kept, 4, ends, 1};
        }
    }
    allowed[0] = 1;
    *ret = (po_nest_shape){.bands = bands, .area = 1, .allowed = allowed, .n_allowed = 1, .group = PO_NEST_ANY_GROUP};
    return PO_OK;
}

static po_status make_table(po_nest_work *w, bool either_order, po_err *err)
{
    size_t n = w->n_parts + w->room.n_blocks, n_turns = 1, keep = 1;
    w->shapes = po_arena_zeros(w->arena, n, sizeof *w->shapes);
    if (!w->shapes) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    for (size_t i = 0; i < w->n_parts; i++) {
        n_turns = common(n_turns, w->own[i]);
    }
    /* many parts at many turns: fewer turns, so that making ready does not take for ever */
    size_t pairs = pairs_of(w, n_turns, 1, err);
    for (size_t fewer = 2; pairs > PAIRS_MOST && pairs != SIZE_MAX && fewer <= n_turns; fewer++) {
        if (n_turns % fewer == 0) {
            keep = fewer;
            pairs = pairs_of(w, n_turns, keep, err);
        }
    }
    po_status status = pairs != SIZE_MAX ? PO_OK : PO_E_NOMEM;
    for (size_t i = 0; status == PO_OK && i < w->n_parts; i++) {
        status = make_shape(w, i, n_turns, keep, err);
    }
    for (size_t i = 0; status == PO_OK && i < w->room.n_blocks; i++) {
        status = make_block(w, &w->room.blocks[i], n_turns, &w->shapes[w->n_parts + i], err);
    }
    w->n_fixed = w->room.n_blocks;
    w->table = (po_nest_table){.n_shapes = n,
                               .n_turns = n_turns,
                               .n_bands = w->setup->n_bands,
                               .head = w->setup->finish_each ? &w->setup->machine->head : NULL,
                               .either_order = either_order};
    return status == PO_OK ? po_nest_table_make(&w->table, w->shapes, w->pool, w->arena, err) : status;
}

po_nest_bed po_nest_work_bed(const po_nest_work *w)
{
    po_nest_bed bed = {.round = w->room.round, .radius = w->room.radius - EDGE_MM};
    for (int k = 0; k < 2; k++) {
        bed.low[k] = w->room.low[k] + EDGE_MM;
        bed.high[k] = w->room.high[k] - EDGE_MM;
        bed.centre[k] = w->room.centre[k];
    }
    return bed;
}

/* ---- what can't be laid at all ---- */

void po_nest_leave_out(po_nest_work *w, uint32_t part, uint32_t copies, const char *why)
{
    w->out[w->n_out++] = (po_left_out){part, copies, why ? why : "there was no memory for the reason"};
}

/* Alone on an empty bed: by samples, and if they find nothing by moving it about. */
static po_status fits_alone(po_nest_work *w, uint32_t i, bool *ret, po_err *err)
{
    uint32_t *shapes = malloc((1 + w->n_fixed) * sizeof *shapes);
    po_nest_spot *spots = calloc(1 + w->n_fixed, sizeof *spots);
    po_nest_state *s = NULL;
    *ret = false;
    if (shapes && spots) {
        for (size_t k = 0; k < 1 + w->n_fixed; k++) {
            shapes[k] = k ? (uint32_t)(w->n_parts + k - 1) : i;
            spots[k].bed = k ? 0 : UINT32_MAX;
        }
        s = po_nest_state_new(&w->table, shapes, 1 + w->n_fixed, w->n_fixed, w->setup->effort.seed);
    }
    if (s) {
        po_nest_bed bed = po_nest_work_bed(w);
        po_nest_state_bed(s, &bed, 1);
        po_nest_state_set(s, spots);
        *ret = po_nest_state_insert(s, 0, 0, (const double[2]){0, 1}, 60);
        if (!*ret) {
            po_nest_state_drop(s, 0, 0);
            for (int pass = 0; pass < ALONE_PASSES && !*ret; pass++) {
                po_nest_state_pass(s);
                *ret = po_nest_state_overlap(s) <= 0;
            }
        }
    }
    po_status status = s ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    po_nest_state_free(s);
    free(shapes);
    free(spots);
    return status;
}

/* The part once more with finer turns, where that may help and does not take for ever. */
static po_status refine(po_nest_work *w, uint32_t i, bool *ret_again, po_err *err)
{
    bool never = false;
    double deg;
    po_status status = principal(w, i, &deg, &never, err);
    uint16_t was = w->own[i];
    *ret_again = false;
    if (status != PO_OK || never || w->parts[i].turn_step_deg >= 0 || was == 360 || is_tall(w, i)) {
        return status;
    }
    w->own[i] = was < 72 ? 72 : 360;
    size_t n_turns = 1;
    for (size_t k = 0; k < w->n_parts; k++) {
        n_turns = common(n_turns, w->own[k]);
    }
    size_t pairs = pairs_of(w, n_turns, 1, err);
    *ret_again = pairs <= PAIRS_MOST;
    w->own[i] = *ret_again ? w->own[i] : was;
    return pairs != SIZE_MAX ? PO_OK : PO_E_NOMEM;
}

static void leave_out_wide(po_nest_work *w, uint32_t i)
{
    double box[4] = {INFINITY, INFINITY, -INFINITY, -INFINITY}, own[4];
    for (size_t b = 0; b < w->setup->n_bands; b++) {
        if (po_loops_bounds(&w->parts[i].bands[b], own)) {
            box[0] = fmin(box[0], own[0]);
            box[1] = fmin(box[1], own[1]);
            box[2] = fmax(box[2], own[2]);
            box[3] = fmax(box[3], own[3]);
        }
    }
    po_nest_leave_out(w, i, w->parts[i].copies,
                      po_arena_printf(w->arena,
                                      "has no room on an empty bed at any turn that it may have: as it lies it covers "
                                      "%.1f x %.1f mm; %s",
                                      box[2] - box[0], box[3] - box[1],
                                      w->parts[i].turn_step_deg > 0 ? "free turns may find a place"
                                                                    : "another way up may lie on it"));
}

static po_status sort_out(po_nest_work *w, bool *ret_again, po_err *err)
{
    *ret_again = false;
    for (uint32_t i = 0; i < w->n_parts; i++) {
        const po_nest_part *p = &w->parts[i];
        bool fits = true, again = false;
        if (p->copies == 0 || w->alone[i]) {
            continue;
        }
        if (p->height_mm > w->room.height) {
            w->alone[i] = 2;
            po_nest_leave_out(w, i, p->copies,
                              po_arena_printf(w->arena, "is %.1f mm high; %s holds %.1f mm", p->height_mm,
                                              w->setup->machine->name, w->room.height));
            continue;
        }
        po_status status = fits_alone(w, i, &fits, err);
        status = status == PO_OK && !fits ? refine(w, i, &again, err) : status;
        if (status != PO_OK) {
            return status;
        }
        w->alone[i] = fits ? 1 : again ? 0 : 2;
        *ret_again = *ret_again || again;
        if (!fits && !again) {
            leave_out_wide(w, i);
            *ret_again = *ret_again || w->own[i] > FREE_TURNS; /* what is left out needs no fine turns */
            w->own[i] = 1;
        }
    }
    return PO_OK;
}

po_status po_nest_ready(po_nest_work *w, bool either_order, po_err *err)
{
    po_status status = PO_OK;
    for (size_t i = 0; status == PO_OK && i < w->n_parts; i++) {
        double step = w->parts[i].turn_step_deg;
        bool never;
        w->own[i] = step < 0 ? FREE_TURNS : step > 0 ? (uint16_t)lround(360 / step) : 1;
        w->alone[i] = 0;
        w->base_deg[i] = 0;
        if (step < 0 && !(is_tall(w, i) && w->way == PO_NEST_AS_THEY_LIE)) {
            status = principal(w, i, &w->base_deg[i], &never, err);
        }
    }
    for (bool again = true; status == PO_OK && again;) {
        status = make_table(w, either_order, err);
        status = status == PO_OK ? sort_out(w, &again, err) : status;
    }
    for (size_t i = 1; i < w->n_out; i++) { /* told in the order of the parts, whichever was found out first */
        const po_left_out out = w->out[i];
        size_t k = i;
        for (; k > 0 && w->out[k - 1].part > out.part; k--) {
            w->out[k] = w->out[k - 1];
        }
        w->out[k] = out;
    }
    for (size_t i = 0; status == PO_OK && i < w->n_parts; i++) {
        w->fill.left[i] = w->alone[i] == 1 ? w->parts[i].copies : 0;
    }
    return status;
}
