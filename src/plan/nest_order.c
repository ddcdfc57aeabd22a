/* One bedful: tested apart from the search, its parts in the order in which they are printed. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "nest_beds.h"

/* ---- order of parts finished one after another ---- */

/* In degrees, from 0 up to 360; what lies level or upright does so exactly. */
static double turn_deg(const po_nest_work *w, const po_nest_full *f, size_t i)
{
    double deg = w->base_deg[f->shapes[i]] + 360.0 * f->spots[i].turn / (double)w->table.n_turns;
    return deg < 0 ? deg + 360 : deg >= 360 ? deg - 360 : deg;
}

static po_nest_laid laid_at(const po_nest_work *w, const po_nest_full *f, size_t i, const po_loops *loops)
{
    const double *turn = w->table.turns[f->spots[i].turn], deg = turn_deg(w, f, i);
    bool plain = w->base_deg[f->shapes[i]] == 0;
    return (po_nest_laid){loops, plain ? turn[0] : cos(deg * M_PI / 180), plain ? turn[1] : sin(deg * M_PI / 180),
                          f->spots[i].x, f->spots[i].y};
}

/* Low ones first, then tall ones so that the head never meets one that stands: repeatedly one that the head, while any
 * of the others is still to come, may stand beside. *ret_possible false: there is no such order. */
static po_status put_in_order(const po_nest_work *w, const po_nest_full *f, uint32_t *order, bool *ret_possible,
                              po_err *err)
{
    size_t n = 0;
    unsigned char *done = calloc(f->n + 1, 1), *clear = calloc(f->n * f->n + 1, 1);
    po_status status = done && clear ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    const po_head *head = &w->setup->machine->head;
    for (size_t i = 0; status == PO_OK && i < f->n; i++) {
        if (!w->shapes[f->shapes[i]].tall) {
            order[n++] = (uint32_t)i;
            done[i] = 1;
        }
    }
    for (size_t i = 0; status == PO_OK && i < f->n; i++) {
        for (size_t k = 0; status == PO_OK && k < f->n && !done[i]; k++) {
            bool is = true;
            if (k != i && !done[k]) {
                po_nest_laid later = laid_at(w, f, i, w->parts[f->shapes[i]].bands);
                po_nest_laid earlier = laid_at(w, f, k, w->parts[f->shapes[k]].bands);
                status = po_nest_head_clear(&later, &earlier, head, &is, err);
            }
            clear[i * f->n + k] = is; /* i may be printed after k */
        }
    }
    *ret_possible = true;
    while (status == PO_OK && n < f->n) {
        size_t next = SIZE_MAX;
        for (size_t k = 0; k < f->n && next == SIZE_MAX; k++) {
            bool fine = !done[k];
            for (size_t i = 0; fine && i < f->n; i++) {
                fine = i == k || done[i] || clear[i * f->n + k];
            }
            next = fine ? k : next;
        }
        if (next == SIZE_MAX) {
            *ret_possible = false;
            break;
        }
        done[next] = 1;
        order[n++] = (uint32_t)next;
    }
    free(done);
    free(clear);
    return status;
}

/* ---- out ---- */

static po_status test(const po_nest_work *w, const po_nest_full *f, po_err *err)
{
    po_nest_laid *laid = malloc((f->n + w->n_fixed + 1) * sizeof *laid);
    po_status status = laid ? PO_OK : po_fail(err, PO_E_NOMEM, "memory ran out");
    po_nest_bed bed = {.round = w->room.round,
                       .low = {w->room.low[0], w->room.low[1]},
                       .high = {w->room.high[0], w->room.high[1]},
                       .centre = {w->room.centre[0], w->room.centre[1]},
                       .radius = w->room.radius};
    for (size_t b = 0; status == PO_OK && b < w->setup->n_bands; b++) {
        size_t n = f->n, x, y;
        double mm;
        for (size_t i = 0; i < f->n; i++) {
            laid[i] = laid_at(w, f, i, &w->parts[f->shapes[i]].bands[b]);
            if (!po_nest_on_bed(&laid[i], &bed)) {
                status = po_fail(err, PO_E_INTERNAL, "a layout with part %u off the bed was refused", f->shapes[i] + 1);
            }
        }
        if (status == PO_OK) {
            status = po_nest_apart(laid, n, w->setup->clearance_mm, &x, &y, &mm, err);
        }
        if (status == PO_OK && x != y) {
            status = po_fail(err, PO_E_INTERNAL, "a layout with parts %u and %u too near each other was refused",
                             f->shapes[x] + 1, f->shapes[y] + 1);
        }
        for (size_t k = 0; k < w->n_fixed && status == PO_OK; k++) { /* what is in the way, each for itself */
            const po_loops *block = &w->shapes[w->n_parts + k].bands[b];
            for (size_t i = 0; i < f->n && status == PO_OK && block->n_points; i++) {
                po_nest_laid two[2] = {laid[i], {block, 1, 0, 0, 0}};
                status = po_nest_apart(two, 2, 0, &x, &y, &mm, err);
                if (status == PO_OK && x != y) {
                    status = po_fail(err, PO_E_INTERNAL, "a layout with part %u on a keep-out was refused",
                                     f->shapes[i] + 1);
                }
            }
        }
    }
    free(laid);
    return status;
}

static bool in_hole(const po_nest_work *w, const po_nest_full *f, size_t i)
{
    const po_loops *own = &w->parts[f->shapes[i]].bands[0];
    if (own->n_points == 0) {
        return false;
    }
    po_nest_laid a = laid_at(w, f, i, own);
    double x = a.cosine * own->xy[0] - a.sine * own->xy[1] + a.x, y = a.sine * own->xy[0] + a.cosine * own->xy[1] + a.y;
    for (size_t k = 0; k < f->n; k++) {
        const po_loops *other = &w->parts[f->shapes[k]].bands[0];
        po_nest_laid b = laid_at(w, f, k, other);
        double dx = x - b.x, dy = y - b.y, px = b.cosine * dx + b.sine * dy, py = b.cosine * dy - b.sine * dx;
        for (size_t l = 0; l < other->n_loops && k != i; l++) {
            size_t begin = l ? other->ends[l - 1] : 0;
            uint32_t end = (uint32_t)(other->ends[l] - begin);
            po_loops one = {other->xy + 2 * begin, end, &end, 1};
            if (po_loops_winding(&one, px, py) < 0) {
                return true;
            }
        }
    }
    return false;
}

po_status po_nest_give_out(po_nest_work *w, const po_nest_full *f, uint32_t *next_copy, bool *ret_possible, po_err *err)
{
    po_nest_place *places = po_arena_zeros(w->arena, f->n, sizeof *places);
    uint32_t *order = po_arena_zeros(w->arena, f->n, sizeof *order);
    if (!places || !order) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status status = test(w, f, err);
    *ret_possible = true;
    for (size_t i = 0; i < f->n; i++) {
        order[i] = (uint32_t)i;
    }
    if (status == PO_OK && w->setup->finish_each) {
        status = put_in_order(w, f, order, ret_possible, err);
    }
    if (status != PO_OK || !*ret_possible) {
        return status;
    }
    po_bedful bed = {.due = INT64_MAX, .places = places, .n_places = f->n};
    double area = 0;
    for (size_t k = 0; k < f->n; k++) {
        size_t i = order[k];
        uint32_t part = f->shapes[i];
        const po_nest_spot *p = &f->spots[i];
        places[k] = (po_nest_place){
            part, next_copy[part]++, turn_deg(w, f, i), p->x, p->y, w->setup->n_bands == 1 && in_hole(w, f, i)};
        bed.group = w->parts[part].group;
        bed.due = w->parts[part].due < bed.due ? w->parts[part].due : bed.due;
        area += po_loops_area(&w->parts[part].bands[0]);
    }
    const double *d = w->setup->machine->bed_mm;
    bed.filled = area / (w->room.round ? M_PI * d[0] * d[0] / 4 : d[0] * d[1]);
    w->beds[w->n_beds++] = bed;
    return PO_OK;
}
