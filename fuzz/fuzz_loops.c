/* Clipping and offsets of any outlines. SPDX-License-Identifier: Apache-2.0
 * The first bytes say how and by how much, each further byte or pair of bytes is a coordinate or ends a loop.
 * Promises: an answer or an error; loops of three points and more, with finite coordinates, in order; winding numbers 0 and
 * 1 only; what is joined, common and less adds up; growing loses nothing and shrinking gains nothing. */
#include <math.h>
#include <string.h>

#include "fuzz.h"
#include "proveout/loops.h"

enum { MOST = 400, ARENA = 256 << 20 };

typedef struct set {
    double xy[2 * MOST];
    uint32_t ends[MOST];
    po_loops loops;
} set;

/* Coordinates by kind: small whole numbers, whole numbers of the finest grid, wide ones, any bits of a double. */
static double coordinate(const uint8_t *d, int kind)
{
    int v = d[0] | d[1] << 8;
    double any;
    switch (kind & 3) {
    case 0:
        return d[0] % 16 + (d[1] % 16) / 16.0;
    case 1:
        return 1 + (d[0] % 64) * 0x1p-24;
    case 2:
        return (v - 32768) * 30.5;
    default:
        memcpy(&any, d, sizeof any);
        return any;
    }
}

static const uint8_t *take(set *s, const uint8_t *d, const uint8_t *end, int kind)
{
    size_t n = 0, loops = 0, wide = (kind & 3) == 3 ? 8 : 2;
    while (end - d > (ptrdiff_t)(2 * wide) && n < MOST && loops < MOST) {
        uint8_t what = *d++;
        if (what == 255) {
            break;
        }
        if (what > 230) {
            s->ends[loops++] = (uint32_t)n;
            continue;
        }
        s->xy[2 * n] = coordinate(d, kind);
        s->xy[2 * n++ + 1] = coordinate(d + wide, kind);
        d += 2 * wide;
    }
    if (loops < MOST) {
        s->ends[loops++] = (uint32_t)n;
    }
    s->loops = (po_loops){s->xy, n, s->ends, loops};
    return d;
}

static double length_of(const po_loops *l)
{
    return po_loops_length(l);
}

static void check(const po_loops *l)
{
    PROMISE(l->n_loops == 0 ? l->n_points == 0 : l->ends[l->n_loops - 1] == l->n_points);
    for (size_t i = 0; i < l->n_loops; i++) {
        PROMISE(l->ends[i] >= (i ? l->ends[i - 1] : 0) + 3);
    }
    for (size_t i = 0; i < 2 * l->n_points; i++) {
        PROMISE(fabs(l->xy[i]) <= 2e6 + 1);
    }
    for (size_t i = 0; i < l->n_points && i < 50; i++) {
        int w = po_loops_winding(l, l->xy[2 * i] + 0.01, l->xy[2 * i + 1] + 0.003);
        PROMISE(w == 0 || w == 1);
    }
}

static po_status answered(po_status status, const po_err *err)
{
    PROMISE(status == PO_OK || (err->code == status && err->msg[0]));
    PROMISE(status == PO_OK || status == PO_E_RANGE || status == PO_E_NOMEM || status == PO_E_LIMIT);
    return status;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    static const double reach[] = {1e-7, 1e-3, 0.1, 1, 5, 40, 1e4, 1e6};
    if (n < 4) {
        return 0;
    }
    set *a = calloc(1, sizeof *a), *b = calloc(1, sizeof *b);
    po_arena *arena = po_arena_new(ARENA);
    PROMISE(a && b && arena);
    const uint8_t *d = take(a, data + 3, data + n, data[0]);
    take(b, d, data + n, data[0]);
    double by = reach[data[1] & 7] * ((data[1] >> 4) + 1) / 16 * (data[1] & 8 ? -1 : 1);
    double off = fmax(1e-4, fabs(by)) * (data[2] + 1) / 256 / 8;
    po_loops clean, joined, common, less, moved, lost;
    po_err err = {0};
    po_status status = answered(po_loops_clip(&a->loops, NULL, PO_CLIP_UNION, arena, &clean, &err), &err);
    status = status ? status : answered(po_loops_clip(&a->loops, &b->loops, PO_CLIP_UNION, arena, &joined, &err), &err);
    status = status ? status
                    : answered(po_loops_clip(&a->loops, &b->loops, PO_CLIP_COMMON, arena, &common, &err), &err);
    status = status ? status : answered(po_loops_clip(&a->loops, &b->loops, PO_CLIP_LESS, arena, &less, &err), &err);
    if (status == PO_OK) {
        check(&clean);
        check(&joined);
        check(&common);
        check(&less);
        double near = 4e-6 * (1 + length_of(&a->loops) + length_of(&b->loops));
        double rounding = 1e-9 * (po_loops_area(&joined) + po_loops_area(&clean)); /* areas of 1e12 mm2 */
        PROMISE(fabs(po_loops_area(&less) + po_loops_area(&common) - po_loops_area(&clean)) <= near + rounding);
        PROMISE(po_loops_area(&joined) >= po_loops_area(&clean) - near - rounding);
        status = answered(po_loops_offset(&a->loops, by, off, arena, &moved, &err), &err);
        if (status == PO_OK) {
            check(&moved);
            const po_loops *small = by > 0 ? &clean : &moved, *large = by > 0 ? &moved : &clean;
            if (po_loops_clip(small, large, PO_CLIP_LESS, arena, &lost, &err) == PO_OK) {
                PROMISE(po_loops_area(&lost) <= near + rounding + 4e-6 * length_of(small));
            }
        }
    }
    po_arena_free(arena);
    free(a);
    free(b);
    return 0;
}
