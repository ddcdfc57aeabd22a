/* Checks that the planner holds under hardship: any blocks, long look-ahead, odd values, no memory, any processor.
 * SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "motion/kernels.h"
#include "motion/plan_programs.h"

static program G;
static result R, S;

static void blocks_do_not_matter(void **state)
{
    (void)state;
    static const size_t most[] = {1, 2, 5, 64, 511, 700, 2000};
    for (uint64_t seed = 301; seed <= 312; seed++) {
        program_random(&G, &limits_usual[seed % 2], 3000, seed);
        if (seed > 308) { /* long look-ahead: tiny moves, nearly straight */
            for (size_t i = 0; i < G.n; i++) {
                G.kind[i] &= (uint8_t)~PO_MOVE_REST;
                if (!(G.kind[i] & PO_MOVE_ARC)) {
                    G.dx[i] = G.length[i] = 0.004;
                    G.dy[i] = G.dz[i] = G.de[i] = 0.0;
                }
            }
        }
        program_run(&G, &R);
        for (size_t k = 0; k < sizeof most / sizeof *most; k++) {
            program_run_cut(&G, most[k], seed + k, &S);
            assert_memory_equal(R.seconds, S.seconds, G.n * sizeof *R.seconds);
            assert_memory_equal(R.top, S.top, G.n * sizeof *R.top);
        }
    }
}

/* ---- long look-ahead ---- */

typedef struct long_line {
    double total, worst_wait; /* seconds; moves that waited at most after a push */
    uint64_t print;           /* FNV-1a over the bits of all results */
    size_t n;
} long_line;

static void mark(long_line *r, const po_planned *out)
{
    for (size_t i = 0; i < out->n; i++) {
        uint64_t bits;
        memcpy(&bits, &out->seconds[i], sizeof bits);
        r->print = (r->print ^ bits) * 0x100000001b3u;
        r->total += out->seconds[i];
    }
    r->n += out->n;
}

/* n moves of `step` mm in line, in blocks of block_size. */
static long_line run_line(size_t n, double step, double feed, size_t block_size)
{
    long_line r = {.print = 0xcbf29ce484222325u};
    double *d = malloc(block_size * sizeof *d), *zero = calloc(block_size, sizeof *zero);
    double *f = malloc(block_size * sizeof *f);
    uint8_t *kind = malloc(block_size);
    po_planner *p = po_planner_new(&limits_wide);
    assert_true(d && zero && f && kind && p);
    for (size_t i = 0; i < block_size; i++) {
        d[i] = step;
        f[i] = feed;
        kind[i] = PO_MOVE_BEAD;
    }
    po_planned out;
    for (size_t i = 0; i < n; i += block_size) {
        const size_t m = n - i < block_size ? n - i : block_size;
        const po_move_block block = {m, d, zero, zero, zero, d, f, kind, NULL, 0};
        assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
        mark(&r, &out);
        r.worst_wait = fmax(r.worst_wait, (double)(i + m - r.n));
    }
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    mark(&r, &out);
    assert_int_equal(r.n, n);
    po_planner_free(p);
    free(d);
    free(zero);
    free(f);
    free(kind);
    return r;
}

static void many_small_moves_are_one_long(void **state)
{
    (void)state;
    /* 100 mm at 100 mm/s, 1000 mm/s2 (handbook 3.1: 1.1 s); braking takes 5 mm: 10000 of these moves look ahead */
    const clock_t start = clock();
    const long_line whole = run_line(200000, 0.0005, 100, 1500);
    const clock_t between = clock();
    NEAR(whole.total, 1.1, 1e-9);
    assert_true(whole.worst_wait < 40000);
    /* one by one: the same bits, and no quadratic time; that would be 1e9 steps of look-ahead, hundreds of times as long */
    const long_line single = run_line(200000, 0.0005, 100, 1);
    const double in_blocks = (double)(between - start), one_by_one = (double)(clock() - between);
    assert_true(one_by_one < 100.0 * in_blocks);
    assert_true(single.print == whole.print);
}

static void waiting_has_a_cap(void **state)
{
    (void)state;
    /* braking from 300 mm/s takes 45 mm; 600000 moves of 2.5e-5 mm are 15 mm: nothing could be settled without a cap */
    const size_t n = 600000;
    const long_line whole = run_line(n, 2.5e-5, 300, n);
    const long_line parts = run_line(n, 2.5e-5, 300, 999);
    assert_true(whole.print == parts.print);
    assert_true(parts.worst_wait <= PO_PLAN_MOST + PO_PLAN_MOST / 8);
    assert_true(parts.worst_wait > PO_PLAN_MOST);
    /* never faster than without a cap, rest to rest 2 sqrt(d / a), and not much slower */
    const double best = 2.0 * sqrt(15.0 / 1000.0);
    assert_true(parts.total >= best * (1.0 - 1e-9));
    assert_true(parts.total < 1.5 * best);
}

/* ---- bad values, memory ---- */

static void odd_values_do_no_harm(void **state)
{
    (void)state;
    static const double odd[] = {0.0,   -0.0,  1e-300, -1e-300,  5e-324,    1e-150, 1e-20, 1e30,
                                 -1e30, 1e160, 1e308,  INFINITY, -INFINITY, NAN,    -1.0};
    const size_t n_odd = sizeof odd / sizeof *odd;
    for (int rule = 0; rule < 2; rule++) {
        for (size_t what = 0; what < 9; what++) {
            for (size_t k = 0; k < n_odd * n_odd; k++) {
                const double v = odd[k % n_odd], w = odd[k / n_odd];
                program_begin(&G);
                for (size_t i = 0; i < 3; i++) {
                    program_add(&G, &limits_usual[rule], PO_MOVE_BEAD, 10, 0, 0, 0.3, 50);
                    if (i == 0 && what != 8) {
                        program_add(&G, &limits_usual[rule], PO_MOVE_BEAD, 1, 0, 0, 0, 50);
                    } else if (i == 0) {
                        program_add_arc(&G, &limits_usual[rule], PO_MOVE_BEAD, 5, 0, 1, 0, 0.1, 50);
                        G.arcs[0].radius = v;
                        G.arcs[0].end[0] = w;
                    }
                }
                double *fields[] = {&G.dx[1], &G.dy[1], &G.dz[1], &G.de[1], &G.length[1], &G.feed[1]};
                if (what < 6) {
                    *fields[what] = v;
                    *fields[(what + 1) % 6] = w;
                } else if (what == 6) { /* a whole move of that size */
                    G.dx[1] = v;
                    G.length[1] = fabs(v);
                    G.feed[1] = w;
                } else if (what == 7) {
                    G.kind[1] = PO_MOVE_FEED;
                    G.dx[1] = G.length[1] = 0.0;
                    G.de[1] = v;
                    G.feed[1] = w;
                }
                program_run(&G, &R);
                for (size_t i = 0; i < G.n; i++) {
                    if (!(R.seconds[i] >= 0.0 && isfinite(R.seconds[i]) && R.top[i] >= 0.0 && isfinite(R.top[i]))) {
                        fail_msg("case %zu, %g %g: move %zu takes %g s", what, v, w, i, R.seconds[i]);
                    }
                }
            }
        }
    }
    /* a move without length or with a value that is no number takes no time, and motion rests at it */
    program_begin(&G);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, 100, 0, 0, 0, 100);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, 0, 0, 0, 0, 100);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, 100, 0, 0, 0, 100);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, NAN, 0, 0, 0, 100);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, 100, 0, 0, 0, 100);
    program_run(&G, &R);
    for (size_t i = 0; i < 5; i++) {
        NEAR(R.seconds[i], i % 2 ? 0.0 : 1.1, 1e-12);
    }
    G.dy[1] = NAN; /* also where the length is sound */
    G.length[1] = G.length[3] = 10.0;
    G.dx[3] = INFINITY;
    program_run(&G, &R);
    for (size_t i = 0; i < 5; i++) {
        NEAR(R.seconds[i], i % 2 ? 0.0 : 1.1, 1e-12);
    }
}

static void odd_limits_do_no_harm(void **state)
{
    (void)state;
    static const double odd[] = {0.0, -1.0, 1e-300, 1e-30, 1e30, 1e300, INFINITY, NAN};
    for (size_t k = 0; k < sizeof odd / sizeof *odd; k++) {
        for (size_t what = 0; what < 5; what++) {
            for (uint64_t seed = 1; seed <= 4; seed++) {
                po_limits l = limits_usual[seed % 2];
                for (size_t a = 0; a < 4; a++) {
                    double *fields[] = {&l.feed_mm_s[a], &l.accel_mm_s2[a], &l.print_mm_s2, &l.step_mm_s[a],
                                        &l.deviation_mm};
                    *fields[what] = odd[k];
                }
                program_random(&G, &limits_usual[seed % 2], 60, seed);
                for (size_t i = 0; i < G.n; i++) {
                    G.limits[i] = l;
                }
                program_run(&G, &R);
                for (size_t i = 0; i < G.n; i++) {
                    if (!(R.seconds[i] > 0.0 && isfinite(R.seconds[i]) && isfinite(R.top[i]))) {
                        fail_msg("limit %zu is %g: move %zu takes %g s", what, odd[k], i, R.seconds[i]);
                    }
                }
            }
        }
    }
}

static void a_step_below_zero_is_zero(void **state)
{
    (void)state;
    static const double steps[] = {0.0, -5.0, NAN};
    for (size_t k = 0; k < 3; k++) {
        po_limits l = limits_wide;
        l.step_mm_s[1] = steps[k];
        program_begin(&G);
        program_add(&G, &l, PO_MOVE_BEAD, 100, 0, 0, 0, 100);
        program_add(&G, &l, PO_MOVE_BEAD, 60, 80, 0, 0, 100);
        program_add(&G, &l, PO_MOVE_BEAD, 60, 80, 0, 0, 100);
        program_run(&G, &R);
        NEAR(R.total, 1.1 + 2.1, 1e-9); /* rest at the corner; straight on no limit */
    }
}

static void an_arc_without_ends_is_a_line(void **state)
{
    (void)state;
    program_begin(&G);
    program_add(&G, &limits_wide, PO_MOVE_BEAD, 50, 0, 0, 0, 100);
    program_add(&G, &limits_wide, PO_MOVE_BEAD | PO_MOVE_ARC, 50, 0, 0, 0, 100);
    const po_move_block block = {2, G.dx, G.dy, G.dz, G.de, G.length, G.feed, G.kind, NULL, 0};
    po_planner *p = po_planner_new(&limits_wide);
    po_planned out;
    R.n = 0;
    R.total = 0.0;
    assert_int_equal(po_planner_push(p, &block, &out, NULL), PO_OK);
    program_collect(&R, &out);
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    program_collect(&R, &out);
    assert_int_equal(R.n, 2);
    NEAR(R.total, 1.1, 1e-12);
    /* nothing waits: the end is empty, and so is an empty block; free takes NULL */
    const po_move_block none = {0};
    assert_int_equal(po_planner_push(p, &none, &out, NULL), PO_OK);
    assert_int_equal(out.n, 0);
    assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
    assert_int_equal(out.n, 0);
    po_planner_free(p);
    po_planner_free(NULL);
}

static long grants = -1; /* how many allocations succeed before one fails; -1: all */

void *__real_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n);
void *__real_calloc(size_t n, size_t size);
void *__wrap_calloc(size_t n, size_t size);

static int refused(void)
{
    if (grants == 0) {
        return 1;
    }
    grants -= grants > 0;
    return 0;
}

void *__wrap_realloc(void *old, size_t n)
{
    return refused() ? NULL : __real_realloc(old, n);
}

void *__wrap_calloc(size_t n, size_t size)
{
    return refused() ? NULL : __real_calloc(n, size);
}

static void memory_may_run_out(void **state)
{
    (void)state;
    program_random(&G, &limits_usual[0], 1200, 7);
    for (size_t i = 0; i < G.n; i++) {
        G.limits[i] = limits_usual[0];
    }
    program_run(&G, &S);
    size_t failures = 0;
    for (long k = 0; k < 20; k++) {
        grants = k;
        po_planner *p = po_planner_new(&limits_usual[0]);
        R.n = 0;
        for (size_t i = 0; p && i < G.n;) {
            const po_move_block block = program_slice(&G, i, 300);
            po_planned out;
            po_err err = {0};
            const po_status status = po_planner_push(p, &block, &out, &err);
            if (status == PO_OK) {
                program_collect(&R, &out);
                i += 300;
            } else { /* nothing was taken in: the same block may be pushed again */
                assert_int_equal(status, PO_E_NOMEM);
                assert_int_equal(err.code, PO_E_NOMEM);
                assert_int_equal(out.n, 0);
                grants = -1;
                failures++;
            }
        }
        grants = -1;
        if (p) {
            po_planned out;
            assert_int_equal(po_planner_finish(p, &out, NULL), PO_OK);
            program_collect(&R, &out);
            assert_int_equal(R.n, G.n);
            assert_memory_equal(R.seconds, S.seconds, G.n * sizeof *R.seconds);
        } else {
            assert_int_equal(k, 0);
        }
        po_planner_free(p);
    }
    assert_true(failures >= 6);
}

/* ---- all versions of the loops ---- */

static void all_processors_agree(void **state)
{
    (void)state;
    static double out[2][11][SLOW_MOST + 1];
    static const po_rates no_rates;
    for (uint64_t seed = 401; seed <= 408; seed++) {
        po_rates rates = no_rates;
        po_rates_set(&rates, &limits_usual[seed % 2]);
        program_random(&G, &limits_usual[seed % 2], 1001 + seed % 8, seed);
        const po_move_block block = program_slice(&G, 0, G.n);
        for (size_t k = 0; po_kernels_at(k); k++) {
            const po_kernels *kernels = po_kernels_at(k);
            double(*o)[SLOW_MOST + 1] = out[k > 0];
            const po_directions u = {o[0], o[1], o[2], o[3]};
            kernels->limits(&rates, &block, 0, G.n, u, o[4], o[5], o[6]);
            o[7][0] = o[7][G.n] = 0.0;
            kernels->corners(&rates, G.length, G.n, u, o[4], o[5], o[7]);
            kernels->times(G.n, o[7], o[4], o[5], o[6], o[8], o[9]);
            for (size_t j = 0; j < 10; j++) {
                if (memcmp(out[0][j], o[j], G.n * sizeof(double)) != 0) {
                    fail_msg("%s differs from %s in array %zu", kernels->name, po_kernels_at(0)->name, j);
                }
            }
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(blocks_do_not_matter),
        cmocka_unit_test(many_small_moves_are_one_long),
        cmocka_unit_test(waiting_has_a_cap),
        cmocka_unit_test(odd_values_do_no_harm),
        cmocka_unit_test(odd_limits_do_no_harm),
        cmocka_unit_test(a_step_below_zero_is_zero),
        cmocka_unit_test(an_arc_without_ends_is_a_line),
        cmocka_unit_test(memory_may_run_out),
        cmocka_unit_test(all_processors_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
