/* Sums over planes and corners for many directions at once. SPDX-License-Identifier: Apache-2.0
 *
 * Written with vectors of 8 floats (GCC and clang's vector extension), compiled for plain and AVX2 machines. There is no
 * AVX-512 version: GCC 12 takes combined masks of 64-byte vectors apart lane by lane, which was 20 times slower.
 * All versions do the same operations in the same order, so their answers are the same to the bit. Blocks that can't
 * matter are passed over: corners in a ball that is neither lower nor higher than what was found already, planes whose
 * normals all lie in a cone that neither overhangs nor shows steps. The bounds are a little wide, so that passing over
 * changes no answer. Sums of a block are floats by lane, sums of blocks doubles. */
#include "part/pose_kernel.h"

#include <math.h>
#include <string.h>

typedef float vec __attribute__((vector_size(32), may_alias, aligned(32)));
typedef int32_t ivec __attribute__((vector_size(32), may_alias, aligned(32)));
static const float WIDE = 1e-5f; /* for the rounding of floats: of radii, and of cosines */
#define INLINE static inline __attribute__((always_inline))

#define LOAD(p) (*(const vec *)(p))
#define SPLAT(x) ((vec){0} + (x))
#define CHOOSE(mask, a, b) ((vec)(((ivec)(a) & (mask)) | ((ivec)(b) & ~(mask))))
#define WHERE(mask, a) ((vec)((ivec)(a) & (mask)))

INLINE float along(const float p[3], const float u[3])
{
    return p[0] * u[0] + p[1] * u[1] + p[2] * u[2];
}

/* How far a ball reaches about its middle, with what rounding may add. */
INLINE float reach(const po_ball *b)
{
    return b->radius + WIDE * (b->radius + fabsf(b->at[0]) + fabsf(b->at[1]) + fabsf(b->at[2]));
}

INLINE void heights_loop(const po_corners3 *c, const float (*axes)[3], size_t n_axes, float (*ret)[2])
{
    for (size_t a = 0; a < n_axes; a++) {
        ret[a][0] = INFINITY;
        ret[a][1] = -INFINITY;
    }
    for (size_t begin = 0; begin < c->n; begin += PO_BLOCK) {
        size_t end = begin + PO_BLOCK < c->n ? begin + PO_BLOCK : c->n;
        const po_ball *ball = c->balls ? &c->balls[begin / PO_BLOCK] : NULL;
        for (size_t a = 0; a < n_axes; a++) {
            if (ball) {
                float middle = along(ball->at, axes[a]), far = reach(ball);
                if (middle - far >= ret[a][0] && middle + far <= ret[a][1]) {
                    continue;
                }
            }
            vec ux = SPLAT(axes[a][0]), uy = SPLAT(axes[a][1]), uz = SPLAT(axes[a][2]);
            vec l = SPLAT(ret[a][0]), h = SPLAT(ret[a][1]);
            for (size_t i = begin; i < end; i += PO_LANES) {
                vec t = LOAD(c->x + i) * ux + LOAD(c->y + i) * uy + LOAD(c->z + i) * uz;
                l = CHOOSE(t < l, t, l);
                h = CHOOSE(t > h, t, h);
            }
            for (int k = 0; k < PO_LANES; k++) {
                ret[a][0] = l[k] < ret[a][0] ? l[k] : ret[a][0];
                ret[a][1] = h[k] > ret[a][1] ? h[k] : ret[a][1];
            }
        }
    }
}

INLINE void lowest_loop(const po_corners3 *c, const float (*axes)[3], size_t n_axes, uint32_t *ret)
{
    vec low[PO_MOST_AXES];
    ivec at[PO_MOST_AXES];
    for (size_t a = 0; a < n_axes; a++) {
        low[a] = SPLAT(INFINITY);
        at[a] = (ivec){0};
    }
    ivec lanes = {0, 1, 2, 3, 4, 5, 6, 7};
    for (size_t begin = 0; begin < c->n; begin += PO_BLOCK) {
        size_t end = begin + PO_BLOCK < c->n ? begin + PO_BLOCK : c->n;
        for (size_t a = 0; a < n_axes; a++) {
            vec ux = SPLAT(axes[a][0]), uy = SPLAT(axes[a][1]), uz = SPLAT(axes[a][2]), l = low[a];
            ivec best = at[a];
            for (size_t i = begin; i < end; i += PO_LANES) {
                vec t = LOAD(c->x + i) * ux + LOAD(c->y + i) * uy + LOAD(c->z + i) * uz;
                ivec less = t < l, here = lanes + (int32_t)i;
                l = CHOOSE(less, t, l);
                best = (here & less) | (best & ~less);
            }
            low[a] = l;
            at[a] = best;
        }
    }
    for (size_t a = 0; a < n_axes; a++) {
        int best = 0;
        for (int k = 1; k < PO_LANES; k++) {
            if (low[a][k] < low[a][best] || (low[a][k] == low[a][best] && at[a][k] < at[a][best])) {
                best = k;
            }
        }
        ret[a] = (uint32_t)at[a][best];
    }
}

INLINE size_t below_loop(const po_corners3 *c, const float axis[3], float limit, uint32_t *ret, size_t most)
{
    size_t n = 0;
    vec ux = SPLAT(axis[0]), uy = SPLAT(axis[1]), uz = SPLAT(axis[2]), bound = SPLAT(limit);
    for (size_t begin = 0; begin < c->n; begin += 4 * PO_LANES) {
        size_t end = begin + 4 * PO_LANES < c->n ? begin + 4 * PO_LANES : c->n;
        if (c->balls && begin % PO_BLOCK == 0) {
            const po_ball *ball = &c->balls[begin / PO_BLOCK];
            if (along(ball->at, axis) - reach(ball) > limit) {
                begin += PO_BLOCK - 4 * PO_LANES;
                continue;
            }
        }
        ivec any = {0};
        for (size_t i = begin; i < end; i += PO_LANES) {
            vec t = LOAD(c->x + i) * ux + LOAD(c->y + i) * uy + LOAD(c->z + i) * uz;
            any |= t <= bound;
        }
        int64_t words[4]; /* most blocks hold none: a cheap way to know */
        memcpy(words, &any, sizeof words);
        if (!(words[0] | words[1] | words[2] | words[3])) {
            continue;
        }
        for (size_t i = begin; i < end; i += PO_LANES) {
            vec t = LOAD(c->x + i) * ux + LOAD(c->y + i) * uy + LOAD(c->z + i) * uz;
            ivec in = t <= bound;
            for (int k = 0; k < PO_LANES; k++) {
                if (in[k]) {
                    if (n < most) {
                        ret[n] = (uint32_t)(i + (size_t)k);
                    }
                    n++;
                }
            }
        }
    }
    return n;
}

INLINE void outside_loop(const po_corners3 *c, const float (*planes)[4], size_t n, float margin, uint8_t *ret)
{
    vec bound = SPLAT(margin);
    for (size_t i = 0; i < c->n; i += PO_LANES) {
        vec x = LOAD(c->x + i), y = LOAD(c->y + i), z = LOAD(c->z + i);
        ivec any = {0};
        for (size_t p = 0; p < n; p++) {
            any |= x * planes[p][0] + y * planes[p][1] + z * planes[p][2] + planes[p][3] > bound;
        }
        for (int k = 0; k < PO_LANES; k++) {
            ret[i + (size_t)k] = any[k] != 0;
        }
    }
}

INLINE void sums_loop(const po_planes *p, const float (*axes)[3], const float *low, float bed, size_t n_axes,
                      const po_plane_limits *limits, po_plane_sums *ret)
{
    memset(ret, 0, n_axes * sizeof *ret);
    vec down = SPLAT(limits->down), from = SPLAT(limits->steps_low), to = SPLAT(limits->steps_high);
    for (size_t begin = 0; begin < p->n; begin += PO_BLOCK) {
        size_t end = begin + PO_BLOCK < p->n ? begin + PO_BLOCK : p->n;
        const po_cone *cone = &p->cones[begin / PO_BLOCK];
        for (size_t a = 0; a < n_axes; a++) {
            float t = along(cone->axis, axes[a]), s = t * t < 1 ? sqrtf(1 - t * t) * cone->sine : 0;
            float least = t < -cone->cosine ? -1 : t * cone->cosine - s - 10 * WIDE;
            float most = t > cone->cosine ? 1 : t * cone->cosine + s + 10 * WIDE;
            if (least >= limits->down && (most < limits->steps_low || least > limits->steps_high)) {
                continue;
            }
            vec ux = SPLAT(axes[a][0]), uy = SPLAT(axes[a][1]), uz = SPLAT(axes[a][2]);
            vec floor_z = SPLAT(low[a]), bed_z = SPLAT(low[a] + bed);
            vec foothold = {0}, hang = {0}, beneath = {0}, steps = {0};
            for (size_t i = begin; i < end; i += PO_LANES) {
                vec d = LOAD(p->nx + i) * ux + LOAD(p->ny + i) * uy + LOAD(p->nz + i) * uz;
                vec z = LOAD(p->cx + i) * ux + LOAD(p->cy + i) * uy + LOAD(p->cz + i) * uz; /* times area */
                vec area = LOAD(p->area + i);
                ivec over = d < down, on_bed = z <= area * bed_z;
                foothold -= WHERE(over & on_bed, area * d);
                hang += WHERE(over & ~on_bed, area);
                beneath -= WHERE(over & ~on_bed, d * (z - area * floor_z));
                steps += WHERE((d >= from) & (d <= to), area);
            }
            for (int k = 0; k < PO_LANES; k++) {
                ret[a].foothold += (double)foothold[k];
                ret[a].hang += (double)hang[k];
                ret[a].beneath += (double)beneath[k];
                ret[a].steps += (double)steps[k];
            }
        }
    }
}

#define VERSION(suffix, attribute)                                                                                     \
    attribute static void heights_##suffix(const po_corners3 *c, const float(*axes)[3], size_t n, float(*ret)[2])      \
    {                                                                                                                  \
        heights_loop(c, axes, n, ret);                                                                                 \
    }                                                                                                                  \
    attribute static void lowest_##suffix(const po_corners3 *c, const float(*axes)[3], size_t n, uint32_t *ret)        \
    {                                                                                                                  \
        lowest_loop(c, axes, n, ret);                                                                                  \
    }                                                                                                                  \
    attribute static size_t below_##suffix(const po_corners3 *c, const float axis[3], float limit, uint32_t *ret,      \
                                           size_t most)                                                                \
    {                                                                                                                  \
        return below_loop(c, axis, limit, ret, most);                                                                  \
    }                                                                                                                  \
    attribute static void outside_##suffix(const po_corners3 *c, const float(*planes)[4], size_t n, float margin,      \
                                           uint8_t *ret)                                                               \
    {                                                                                                                  \
        outside_loop(c, planes, n, margin, ret);                                                                       \
    }                                                                                                                  \
    attribute static void sums_##suffix(const po_planes *p, const float(*axes)[3], const float *low, float bed,        \
                                        size_t n, const po_plane_limits *limits, po_plane_sums *ret)                   \
    {                                                                                                                  \
        sums_loop(p, axes, low, bed, n, limits, ret);                                                                  \
    }                                                                                                                  \
    static const po_pose_kernel kernel_##suffix = {#suffix,        heights_##suffix, lowest_##suffix,                  \
                                                   below_##suffix, outside_##suffix, sums_##suffix};

VERSION(plain, )
#if defined(__x86_64__) && defined(__GNUC__)
VERSION(avx2, __attribute__((target("avx2"))))
#endif

const po_pose_kernel *po_pose_kernel_at(size_t i)
{
    const po_pose_kernel *all[2];
    size_t n = 0;
    all[n++] = &kernel_plain;
#if defined(__x86_64__) && defined(__GNUC__)
    if (__builtin_cpu_supports("avx2")) {
        all[n++] = &kernel_avx2;
    }
#endif
    return i < n ? all[i] : NULL;
}

const po_pose_kernel *po_pose_kernel_best(void)
{
    const po_pose_kernel *best = po_pose_kernel_at(0);
    for (size_t i = 1; po_pose_kernel_at(i); i++) {
        best = po_pose_kernel_at(i);
    }
    return best;
}
