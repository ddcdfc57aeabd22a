/* How deep a place lies in a no-fit polygon. SPDX-License-Identifier: Apache-2.0
 *
 * All edges, eight at a time: which side (even-odd, by crossings of a ray to the right) and the least distance. Written
 * with vectors of 8 floats, compiled for plain and AVX2 machines; both do the same operations, so answers are the same. */
#include <math.h>
#include <string.h>

#include "nest_inside.h"

typedef float vec __attribute__((vector_size(32), may_alias, aligned(32)));
typedef int32_t ivec __attribute__((vector_size(32), may_alias, aligned(32)));
#define INLINE static inline __attribute__((always_inline))
#define SPLAT(x) ((vec){0} + (x))
#define CHOOSE(mask, a, b) ((vec)(((ivec)(a) & (mask)) | ((ivec)(b) & ~(mask))))
static const double ROUNDING = 1e-6; /* floats, relative to the size of the polygon; a few steps of 2^-24 */

INLINE float depth(const po_nfp *nfp, double x, double y)
{
    vec px = SPLAT((float)(x - nfp->middle[0])), py = SPLAT((float)(y - nfp->middle[1]));
    vec zero = {0}, one = zero + 1, least = zero + INFINITY;
    ivec odd = {0};
    const vec *e = (const vec *)nfp->edges;
    for (size_t b = 0; b < nfp->n_blocks; b++, e += PO_NFP_BLOCK / 8) {
        vec dx = px - e[0], dy = py - e[1];
        ivec crosses = (py >= e[1]) ^ (py >= e[6]); /* both ends as their neighbours have them */
        odd ^= crosses & (ivec)(dx < dy * e[5]);
        vec t = (dx * e[2] + dy * e[3]) * e[4];
        t = CHOOSE(t > zero, t, zero);
        t = CHOOSE(t < one, t, one);
        vec qx = dx - t * e[2], qy = dy - t * e[3], d = qx * qx + qy * qy;
        least = CHOOSE(d < least, d, least);
    }
    float d = least[0];
    int32_t in = odd[0];
    for (int k = 1; k < 8; k++) {
        d = least[k] < d ? least[k] : d;
        in ^= odd[k];
    }
    d = sqrtf(d);
    d = in ? d + nfp->slack : nfp->slack - d;
    return d > 0 ? d : 0;
}

static float depth_plain(const po_nfp *nfp, double x, double y)
{
    return depth(nfp, x, y);
}

#if defined(__x86_64__)
__attribute__((target("avx2"))) static float depth_avx2(const po_nfp *nfp, double x, double y)
{
    return depth(nfp, x, y);
}
#endif

po_nfp_depth_fn *po_nfp_depth_plain(void)
{
    return depth_plain;
}

po_nfp_depth_fn *po_nfp_depth_best(void)
{
#if defined(__x86_64__)
    if (__builtin_cpu_supports("avx2")) {
        return depth_avx2;
    }
#endif
    return depth_plain;
}

po_status po_nfp_ready(const po_loops *loops, size_t n_turns, po_arena *arena, po_nfp *ret, po_err *err)
{
    enum { ALIGN = 32 };
    size_t n = loops->n_points, n_blocks = (n + 7) / 8;
    char *room = po_arena_zeros(arena, n_blocks * PO_NFP_BLOCK * sizeof(float) + ALIGN, 1);
    float *corners = po_arena_zeros(arena, n + 1, 2 * sizeof *corners);
    double(*boxes)[4] = po_arena_zeros(arena, n_turns, sizeof *boxes), bounds[4] = {0};
    if (!room || !corners || !boxes) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    float *edges = (float *)(void *)(room + (ALIGN - (uintptr_t)room % ALIGN) % ALIGN);
    po_loops_bounds(loops, bounds);
    double mx = (bounds[0] + bounds[2]) / 2, my = (bounds[1] + bounds[3]) / 2;
    size_t at = 0;
    for (size_t l = 0; l < loops->n_loops; l++) {
        size_t begin = l ? loops->ends[l - 1] : 0, end = loops->ends[l];
        for (size_t i = begin; i < end; i++, at++) {
            const double *p = loops->xy + 2 * i, *q = loops->xy + 2 * (i + 1 < end ? i + 1 : begin);
            float ax = (float)(p[0] - mx), ay = (float)(p[1] - my), bx = (float)(q[0] - mx), by = (float)(q[1] - my);
            float *block = edges + at / 8 * PO_NFP_BLOCK + at % 8, ex = bx - ax, ey = by - ay,
                  length2 = ex * ex + ey * ey;
            block[0] = ax;
            block[8] = ay;
            block[16] = ex;
            block[24] = ey;
            block[32] = length2 > 0 ? 1 / length2 : 0;
            block[40] = ey != 0 ? ex / ey : 0;
            block[48] = by;
            corners[2 * at] = ax;
            corners[2 * at + 1] = ay;
        }
    }
    for (; at < 8 * n_blocks; at++) { /* an edge that is far away and crosses nothing */
        float *block = edges + at / 8 * PO_NFP_BLOCK + at % 8;
        block[0] = block[8] = block[48] = 1e18f;
    }
    for (size_t t = 0; t < n_turns; t++) {
        double c = cos(2 * M_PI * (double)t / (double)n_turns), s = sin(2 * M_PI * (double)t / (double)n_turns);
        double *box = boxes[t];
        box[0] = box[1] = INFINITY;
        box[2] = box[3] = -INFINITY;
        for (size_t i = 0; i < n; i++) {
            const double *p = loops->xy + 2 * i;
            double x = c * p[0] - s * p[1], y = s * p[0] + c * p[1];
            box[0] = fmin(box[0], x);
            box[1] = fmin(box[1], y);
            box[2] = fmax(box[2], x);
            box[3] = fmax(box[3], y);
        }
    }
    double size = fmax(bounds[2] - bounds[0], bounds[3] - bounds[1]);
    *ret = (po_nfp){edges, n_blocks, {mx, my}, (const double(*)[4])boxes, corners, n, 0};
    ret->slack = (float)(ROUNDING * size + 8e-6);
    for (size_t t = 0; t < n_turns; t++) {
        boxes[t][0] -= ret->slack;
        boxes[t][1] -= ret->slack;
        boxes[t][2] += ret->slack;
        boxes[t][3] += ret->slack;
    }
    return PO_OK;
}
