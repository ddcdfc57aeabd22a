/* Loops over blocks of moves that the compiler turns into vector code. SPDX-License-Identifier: Apache-2.0
 *
 * Each loop is written once, inline, and compiled for the plain processor and for those with wider vectors; which one
 * runs is chosen when the planner is made. No operation is fused or reordered (-ffp-contract=off, no fast-math), and
 * division and square root are rounded exactly (IEEE 754-2019, 5.4.1), so that all give the same bits.
 *
 * Method: docs/measures.md, "Motion time"; the trapezoid in any text on mechanics. With c = 2 a L, entry e0, exit e1,
 * cruise w (all squared speeds), the peak that L allows is m = (c + e0 + e1) / 2. The top is p = min(w, m), and what is
 * left to cruise is (m - p) / a, which is 0 for a triangle: no case is needed. */
#include "motion/kernels.h"

#define ALWAYS static inline __attribute__((always_inline))
/* No two arrays of a loop overlap; compilers lose sight of that among this many. */
#if defined(__clang__)
#pragma clang diagnostic ignored "-Wpass-failed" /* builds that do not optimise need not */
#define APART _Pragma("clang loop vectorize(assume_safety)")
#else
#define APART _Pragma("GCC ivdep")
#endif

ALWAYS void limits_loop(const po_rates *rates, const po_move_block *block, size_t first, size_t n, po_directions u,
                        double *restrict v2, double *restrict ia, double *restrict reach2)
{
    const double *restrict dx = block->dx + first, *restrict dy = block->dy + first, *restrict dz = block->dz + first;
    const double *restrict de = block->de + first, *restrict len = block->length + first;
    const double *restrict feed = block->feed + first;
    const uint8_t *restrict kind = block->kind + first;
    double *restrict ox = u.x, *restrict oy = u.y, *restrict oz = u.z, *restrict oe = u.e;
    const po_rates r = *rates;
    for (size_t i = 0; i < n; i++) {
        ia[i] = po_lazy_of_kind(&r, kind[i]);
    }
    APART
    for (size_t i = 0; i < n; i++) {
        const double length = len[i] > 0.0 ? len[i] : fabs(de[i]);
        const double inverse = 1.0 / length;
        const double x = dx[i] * inverse, y = dy[i] * inverse, z = dz[i] * inverse, e = de[i] * inverse;
        const double ax = fabs(x), ay = fabs(y), az = fabs(z), ae = fabs(e);
        const int sound = (length >= PO_LENGTH_LEAST) & (length <= PO_LENGTH_MOST) &
                          ((ax + ay) + (az + ae) <= PO_STEEPEST);
        const double v = po_speed(po_max4(r.slow, ax, ay, az, ae), feed[i]);
        const double a1 = po_min(po_max(ia[i], po_max4(r.lazy, ax, ay, az, ae)), PO_SLOWEST_INVERSE);
        const double reach = 2.0 * length / a1;
        ox[i] = sound ? x : 0.0;
        oy[i] = sound ? y : 0.0;
        oz[i] = sound ? z : 0.0;
        oe[i] = sound ? e : 0.0;
        v2[i] = sound ? v * v : 0.0;
        ia[i] = a1; /* finite even for a void move, whose speeds are 0 */
        reach2[i] = sound ? reach : 0.0;
    }
}

ALWAYS void corners_loop(const po_rates *rates, const double *restrict xyz_length, size_t n, po_directions u,
                         const double *restrict v2, const double *restrict ia, double *restrict corner2)
{
    const double *restrict x = u.x, *restrict y = u.y, *restrict z = u.z, *restrict e = u.e;
    const po_rates r = *rates;
    if (r.corner == PO_CORNER_STEP) {
        for (size_t i = 1; i < n; i++) {
            const double c2 = po_step2(&r, fabs(x[i] - x[i - 1]), fabs(y[i] - y[i - 1]), fabs(z[i] - z[i - 1]),
                                       fabs(e[i] - e[i - 1]));
            corner2[i] = po_min(c2, po_min(v2[i - 1], v2[i]));
        }
    } else {
        for (size_t i = 1; i < n; i++) {
            const double c2 = po_deviation2(&r, x[i] + x[i - 1], y[i] + y[i - 1], z[i] + z[i - 1],
                                            po_max(ia[i - 1], ia[i]));
            const double cut = po_min(c2, po_min(v2[i - 1], v2[i]));
            corner2[i] = ((xyz_length[i - 1] > 0.0) & (xyz_length[i] > 0.0)) ? cut : 0.0;
        }
    }
}

ALWAYS void times_loop(size_t n, const double *restrict edge2, const double *restrict v2, const double *restrict ia,
                       const double *restrict reach2, double *restrict seconds, double *restrict top_mm_s)
{
    for (size_t i = 0; i < n; i++) {
        const double e0 = edge2[i], e1 = edge2[i + 1];
        const double could = 0.5 * (reach2[i] + (e0 + e1));
        const double p2 = po_max(po_min(v2[i], could), po_max(e0, e1)); /* rounding may leave it a hair below an end */
        const double p = sqrt(p2);
        const double turns = (p - sqrt(e0)) + (p - sqrt(e1));
        const double cruise = po_max(could - p2, 0.0) / po_max(p, 1e-200); /* p is 0 for void moves only */
        seconds[i] = (turns + cruise) * ia[i];
        top_mm_s[i] = p;
    }
}

#define VERSION(suffix, attribute)                                                                                     \
    attribute static void limits_##suffix(const po_rates *rates, const po_move_block *block, size_t first, size_t n,   \
                                          po_directions u, double *v2, double *ia, double *reach2)                     \
    {                                                                                                                  \
        limits_loop(rates, block, first, n, u, v2, ia, reach2);                                                        \
    }                                                                                                                  \
    attribute static void corners_##suffix(const po_rates *rates, const double *xyz_length, size_t n, po_directions u, \
                                           const double *v2, const double *ia, double *corner2)                        \
    {                                                                                                                  \
        corners_loop(rates, xyz_length, n, u, v2, ia, corner2);                                                        \
    }                                                                                                                  \
    attribute static void times_##suffix(size_t n, const double *edge2, const double *v2, const double *ia,            \
                                         const double *reach2, double *seconds, double *top_mm_s)                      \
    {                                                                                                                  \
        times_loop(n, edge2, v2, ia, reach2, seconds, top_mm_s);                                                       \
    }                                                                                                                  \
    static const po_kernels kernels_##suffix = {#suffix, limits_##suffix, corners_##suffix, times_##suffix};

VERSION(plain, )
#if defined(__x86_64__) && defined(__GNUC__)
VERSION(avx2, __attribute__((target("avx2"))))
VERSION(avx512, __attribute__((target("avx512f,avx512vl,avx512dq"))))
#endif

const po_kernels *po_kernels_at(size_t i)
{
    const po_kernels *all[3];
    size_t n = 0;
    all[n++] = &kernels_plain;
#if defined(__x86_64__) && defined(__GNUC__)
    if (__builtin_cpu_supports("avx2")) {
        all[n++] = &kernels_avx2;
    }
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") && __builtin_cpu_supports("avx512dq")) {
        all[n++] = &kernels_avx512;
    }
#endif
    return i < n ? all[i] : NULL;
}

const po_kernels *po_kernels_best(void)
{
    const po_kernels *best = po_kernels_at(0);
    for (size_t i = 1; po_kernels_at(i); i++) {
        best = po_kernels_at(i);
    }
    return best;
}
