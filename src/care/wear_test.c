/* Wear against worked examples, and on invented shops whose truth is known. SPDX-License-Identifier: Apache-2.0
 *
 * "e-Handbook": NIST/SEMATECH e-Handbook of Statistical Methods, by its section. Figures beside which no source stands were worked by hand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/rounds.h"
#include "proveout/wear.h"

static po_err err;

static double chance_of(uint64_t *state) /* SplitMix64: above 0, below 1 */
{
    uint64_t z = (*state += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0;
}

static int64_t failures_of(uint64_t *state, int64_t n, double share)
{
    int64_t failed = 0;
    for (int64_t i = 0; i < n; i++) {
        failed += chance_of(state) < share;
    }
    return failed;
}

static void chart(void **state)
{
    (void)state;
    po_wear_period wafers[30];
    po_wear_point points[30];
    po_wear_chart c;
    po_wear_chart_options o = PO_WEAR_CHART_OPTIONS_INIT;
    for (size_t i = 0; i < 30; i++) {
        wafers[i] = (po_wear_period){11 + (i % 3 == 0), 50};
    }
    o.centre = 0.2313; /* e-Handbook 6.3.3.2: 30 wafers of 50 chips */
    assert_int_equal(po_wear_chart_of(wafers, 30, &o, points, &c, &err), PO_OK);
    assert_float_equal(points[7].high, 0.410197, 5e-6);
    assert_float_equal(points[7].low, 0.052403, 5e-6);
    assert_true(c.signals == 0 && c.worst == SIZE_MAX && c.periods == 30);
    o.centre = 0.12;
    wafers[0].n = 40;
    assert_int_equal(po_wear_chart_of(wafers, 1, &o, points, &c, &err), PO_OK);
    assert_float_equal(points[0].high, 0.274143, 1e-6);
    assert_true(points[0].low == 0);
    /* an exercise whose limits are not three standard deviations away: 0.0809 and 0.0191 about 0.05 of 400 */
    o.centre = 0.05;
    o.width = 2.836;
    wafers[0] = (po_wear_period){20, 400};
    assert_int_equal(po_wear_chart_of(wafers, 1, &o, points, &c, &err), PO_OK);
    assert_float_equal(points[0].high, 0.0809, 5e-5);
    assert_float_equal(points[0].low, 0.0191, 5e-5);
    /* 2 of 5 where 5 of 100 is usual lie beyond three standard deviations, and chance does it once in 44 times: no signal */
    po_wear_period small[] = {{2, 5}, {0, 0}, {3, 100}, {6, 100}, {5, 100}};
    po_wear_chart_options usual = PO_WEAR_CHART_OPTIONS_INIT;
    usual.centre = 0.05;
    assert_int_equal(po_wear_chart_of(small, 5, &usual, points, &c, &err), PO_OK);
    assert_true(points[0].share > points[0].high && points[0].signal == PO_WEAR_QUIET);
    assert_float_equal(points[0].chance, 1 - pow(0.95, 5) - 5 * 0.05 * pow(0.95, 4), 1e-12);
    assert_true(isnan(points[1].share) && c.periods == 4 && c.signals == 0);
    small[3].failed = 21;
    assert_int_equal(po_wear_chart_of(small, 5, NULL, points, &c, &err), PO_OK);
    assert_true(points[3].signal == PO_WEAR_ABOVE && c.worst == 3 && c.signals == 1);
    /* slowly worse: no period stands out, twelve in a row do */
    po_wear_period slow[40];
    po_wear_point slow_points[40];
    for (size_t i = 0; i < 40; i++) {
        slow[i] = (po_wear_period){i < 26 ? 2 + (int64_t)(i % 2) * 2 : 6, 40};
    }
    assert_int_equal(po_wear_chart_of(slow, 40, NULL, slow_points, &c, &err), PO_OK);
    assert_true(slow_points[39].signal == PO_WEAR_ROW_HIGH && slow_points[30].signal == PO_WEAR_QUIET);
    assert_true(c.worst != SIZE_MAX);
    po_wear_period wrong[] = {{3, 2}}, empty[] = {{0, 0}};
    assert_int_equal(po_wear_chart_of(wrong, 1, NULL, points, &c, &err), PO_E_RANGE);
    assert_int_equal(po_wear_chart_of(empty, 1, NULL, points, &c, &err), PO_E_EMPTY);
    o.width = -1;
    assert_int_equal(po_wear_chart_of(small, 5, &o, points, &c, &err), PO_E_RANGE);
}

/* A year of weeks in a shop where nothing changes: a signal in at most 1 chart of 20. Where a fifth of a year fails three times as
 * often, three charts of four say so: many of these shops have few runs a week. */
static void chart_keeps_quiet(void **state)
{
    (void)state;
    uint64_t seed = 2026;
    int rounds = PO_ROUNDS(600, 40), quiet = 0, seen = 0;
    for (int round = 0; round < rounds; round++) {
        po_wear_period weeks[52];
        po_wear_point points[52];
        po_wear_chart c;
        double share = 0.03 + 0.2 * chance_of(&seed);
        for (size_t i = 0; i < 52; i++) {
            weeks[i].n = (int64_t)(60 * chance_of(&seed));
            weeks[i].failed = failures_of(&seed, weeks[i].n, share);
        }
        weeks[51].n += 1;
        assert_int_equal(po_wear_chart_of(weeks, 52, NULL, points, &c, &err), PO_OK);
        quiet += c.signals == 0;
        for (size_t i = 42; i < 52; i++) {
            weeks[i].failed = failures_of(&seed, weeks[i].n, 3 * share);
        }
        assert_int_equal(po_wear_chart_of(weeks, 52, NULL, points, &c, &err), PO_OK);
        seen += c.worst != SIZE_MAX && c.worst >= 42;
    }
    assert_true(quiet >= 0.95 * rounds);
    assert_true(seen >= 0.75 * rounds);
}

static po_arena *arena;

/* Watches of 1000 h at a steady rate, and of one that climbs with the square: the next failure comes within its interval nine times of
 * ten; so it does where the watch ends at a failure. */
static void next_covers(void **state)
{
    (void)state;
    uint64_t seed = 7;
    int rounds = PO_ROUNDS(3000, 200), held[4] = {0}, asked[4] = {0};
    for (int round = 0; round < 4 * rounds; round++) {
        int way = round % 4;
        double power = way < 2 ? 1 : 3, mean = 8 + 25 * chance_of(&seed), so_far = 0, hours[200];
        size_t n = 0, wanted = 5 + (size_t)(20 * chance_of(&seed));
        for (;;) { /* arrivals on the scale of the mean number, turned into hours */
            so_far -= log(chance_of(&seed));
            double at = 1000 * pow(so_far / mean, 1 / power), total = way % 2 && n ? hours[n - 1] : 1000;
            if (n == 199 || (way % 2 ? n == wanted : at > total)) {
                po_wear_next e;
                if (n >= PO_WEAR_FEW) {
                    assert_int_equal(po_wear_next_of(hours, n, total, way % 2, power > 1, &e, &err), PO_OK);
                    asked[way]++;
                    held[way] += at - total >= e.low_h && at - total <= e.high_h;
                    assert_true(e.low_h < e.middle_h && e.middle_h < e.high_h);
                }
                break;
            }
            hours[n++] = at;
        }
    }
    for (int way = 0; way < 4; way++) {
        assert_true(asked[way] > rounds / 2);
        assert_true(held[way] >= 0.88 * asked[way] - 5 && held[way] <= 0.92 * asked[way] + 5);
    }
}

static void next_refuses(void **state)
{
    (void)state;
    po_wear_next e;
    static const double four[] = {10, 20, 30, 40}, same[] = {8, 8, 8, 8, 8}, late[] = {1, 2, 3, 4, 50};
    assert_int_equal(po_wear_next_of(four, 4, 50, false, false, &e, &err), PO_E_EMPTY);
    assert_int_equal(po_wear_next_of(same, 5, 8, true, true, &e, &err), PO_E_EMPTY);
    assert_int_equal(po_wear_next_of(late, 5, 40, false, false, &e, &err), PO_E_RANGE);
    assert_int_equal(po_wear_next_of(late, 5, NAN, false, false, &e, &err), PO_E_RANGE);
    /* steady, ended at the fifth failure: median of F on 2 and 10 degrees is 5 (2^(1/5) - 1), its distribution being closed */
    assert_int_equal(po_wear_next_of(late, 5, 50, true, false, &e, &err), PO_OK);
    assert_float_equal(e.middle_h, 10 * 5 * (pow(2, 0.2) - 1), 1e-4);
}

static void lives(void **state)
{
    (void)state;
    /* e-Handbook 8.1.6.2: at 1000 h with shape 1.5 and scale 5000 */
    assert_float_equal(po_wear_life_failed(1.5, 5000, 1000), 0.085559, 1e-6);
    assert_float_equal(po_wear_life_rate(1.5, 5000, 1000), 1.341641e-4, 1e-10);
    assert_float_equal(po_wear_life_mean(1.5, 5000), 4513.726, 1e-3);
    assert_float_equal(po_wear_life_by(1.5, 5000, 0.1), 1115.378, 1e-3);
    /* e-Handbook 8.2.2.1's 20 units, 10 failed, 10 taken off at 500 h; 8.4.1.2 prints the scale 606.528 (from memory) */
    double hours[20] = {54, 187, 216, 240, 244, 335, 361, 373, 375, 386};
    bool running[20] = {false};
    for (size_t i = 10; i < 20; i++) {
        hours[i] = 500;
        running[i] = true;
    }
    po_wear_life l;
    assert_int_equal(po_wear_life_of(hours, running, 20, &l, &err), PO_OK);
    assert_float_equal(l.scale, 606.528, 1e-3);
    double score = 0, weight = 0,
           mean_log = 0; /* the shape: where the likelihood's slope is nothing, by its own terms */
    for (size_t i = 0; i < 20; i++) {
        score += pow(hours[i], l.shape) * log(hours[i]);
        weight += pow(hours[i], l.shape);
        mean_log += running[i] ? 0 : log(hours[i]) / 10;
    }
    assert_true(fabs(score / weight - 1 / l.shape - mean_log) < 1e-9);
    assert_true(l.failed == 10 && l.running == 10);
    assert_true(l.shape_low < 1 && l.shape_high > 2 && l.scale_low < 606 && l.scale_high > 607);
    assert_true(l.tenth_low < l.tenth && l.tenth < l.tenth_high);
    assert_int_equal(l.verdict, PO_WEAR_STEADY);
    /* all failed, shape held to 1, would be the exponential: here the interval's ends are where the likelihood has fallen by 1.9207 */
    double r = 10, top = l.log_likelihood;
    double sum = 0, logs = 0;
    for (size_t i = 0; i < 20; i++) {
        sum += pow(hours[i], l.shape_low);
        logs += running[i] ? 0 : log(hours[i]);
    }
    double there = r * log(l.shape_low) - r * log(sum / r) + (l.shape_low - 1) * logs - r;
    assert_float_equal(top - there, 1.920729, 1e-3);
    /* shock absorbers, km: W. Q. Meeker, L. A. Escobar, 1998: mu 10.23, sigma 0.3164 of the logarithm (from memory) */
    static const double km[] = {6700,  9120,  12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510,
                                27490, 6950,  7820,  8790,  9660,  9820,  11310, 11690, 11850, 11880,
                                12140, 12870, 13330, 13470, 14040, 17540, 17890, 18450, 18960, 18980,
                                19410, 20100, 20150, 20320, 23490, 27410, 27890, 28100};
    bool going[38];
    for (size_t i = 0; i < 38; i++) {
        going[i] = i >= 11;
    }
    po_wear_life shocks;
    assert_int_equal(po_wear_life_of(km, going, 38, &shocks, &err), PO_OK);
    assert_float_equal(log(shocks.scale), 10.23, 5e-3);
    assert_float_equal(1 / shocks.shape, 0.3164, 5e-5);
    assert_int_equal(shocks.verdict, PO_WEAR_WORSE);
    assert_int_equal(po_wear_life_of(hours, running, 1, &l, &err), PO_OK);
    assert_true(l.verdict == PO_WEAR_TOO_FEW && isnan(l.shape));
    assert_int_equal(po_wear_life_of(hours + 10, running + 10, 10, &l, &err), PO_OK);
    assert_true(l.failed == 0 && l.verdict == PO_WEAR_TOO_FEW);
    assert_int_equal(po_wear_life_of(hours + 10, NULL, 10, &l, &err), PO_OK); /* all at one age */
    assert_true(isnan(l.shape) && l.verdict == PO_WEAR_TOO_FEW);
    hours[3] = -1;
    assert_int_equal(po_wear_life_of(hours, running, 20, &l, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "part 4"));
    assert_int_equal(po_wear_life_of(hours, running, 0, &l, &err), PO_E_EMPTY);
}

/* Parts of known life, a third still running: the intervals hold the truth 95 times of 100, a part that does not age is called worn
 * at most in 1 of 25, one that does (shape 3) nearly always. */
static void lives_cover(void **state)
{
    (void)state;
    uint64_t seed = 11;
    int rounds = PO_ROUNDS(200, 10), shape_held = 0, tenth_held = 0, worn = 0, told = 0;
    for (int round = 0; round < 2 * rounds; round++) {
        double shape = round < rounds ? 1 : 3, hours[30];
        bool running[30];
        po_wear_life l;
        for (size_t i = 0; i < 30; i++) {
            double life = po_wear_life_by(shape, 400, chance_of(&seed)), until = 900 * chance_of(&seed) + 1;
            running[i] = until < life;
            hours[i] = running[i] ? until : life;
        }
        assert_int_equal(po_wear_life_of(hours, running, 30, &l, &err), PO_OK);
        double tenth = po_wear_life_by(shape, 400, 0.1);
        shape_held += l.shape_low <= shape && shape <= l.shape_high;
        tenth_held += l.tenth_low <= tenth && tenth <= l.tenth_high;
        worn += shape == 1 && l.verdict == PO_WEAR_WORSE;
        told += shape == 3 && l.verdict == PO_WEAR_WORSE;
    }
    assert_true(shape_held >= 0.925 * 2 * rounds - 2 && shape_held <= 0.975 * 2 * rounds + 2);
    assert_true(tenth_held >= 0.92 * 2 * rounds - 2 && tenth_held <= 0.975 * 2 * rounds + 2);
    assert_true(worn <= 0.04 * rounds && told >= 0.98 * rounds);
}

static void compared(void **state)
{
    (void)state;
    po_wear_machine m[2];
    /* Admissions at Berkeley by department, P. J. Bickel and others, Science 187, 1975; the documents of R's mantelhaen.test print odds
     * 0.9046968 (0.7719074 to 1.0603298), X-squared 1.4269 with correction (data and figures from memory) */
    static const po_wear_cell berkeley[] = {{0, 0, 512, 825}, {1, 0, 89, 108},  {0, 1, 353, 560}, {1, 1, 17, 25},
                                            {0, 2, 120, 325}, {1, 2, 202, 593}, {0, 3, 138, 417}, {1, 3, 131, 375},
                                            {0, 4, 53, 191},  {1, 4, 94, 393},  {0, 5, 22, 373},  {1, 5, 24, 341}};
    assert_int_equal(po_wear_compare(berkeley, 12, 2, 6, arena, m, &err), PO_OK);
    assert_float_equal(m[0].odds, 0.9046968, 1e-6);
    assert_float_equal(m[0].low, 0.7719074, 1e-6);
    assert_float_equal(m[0].high, 1.0603298, 1e-6);
    assert_float_equal(m[0].chi, 1.4269, 5e-5);
    assert_float_equal(m[1].odds, 1 / m[0].odds, 1e-9);
    assert_int_equal(m[0].verdict, PO_WEAR_STEADY); /* for all their departments together it would be 1.84 */
    /* Rabbits by dose and delay, A. Agresti, Categorical Data Analysis; exact p 0.03994 in R's documents (from memory) */
    static const po_wear_cell rabbits[] = {{0, 0, 0, 6}, {1, 0, 0, 5}, {0, 1, 3, 6}, {1, 1, 0, 6}, {0, 2, 6, 6},
                                           {1, 2, 2, 6}, {0, 3, 5, 6}, {1, 3, 6, 6}, {0, 4, 2, 2}, {1, 4, 5, 5}};
    assert_int_equal(po_wear_compare(rabbits, 10, 2, 5, arena, m, &err), PO_OK);
    assert_float_equal(m[0].chance, 0.03994, 5e-6);
    assert_float_equal(m[0].chance_of_all, 2 * m[0].chance, 1e-12); /* two machines */
    /* the lady tasting tea, R. A. Fisher, 1935: 3 of 4 right, two-sided 34 of 70 */
    static const po_wear_cell tea[] = {{0, 0, 3, 4}, {1, 0, 1, 4}};
    assert_int_equal(po_wear_compare(tea, 2, 2, 1, arena, m, &err), PO_OK);
    assert_float_equal(m[0].chance, 34.0 / 70, 1e-12);
    assert_int_equal(m[0].verdict, PO_WEAR_TOO_FEW);
    /* one machine that has nobody to be compared with */
    static const po_wear_cell alone[] = {{0, 0, 3, 40}};
    assert_int_equal(po_wear_compare(alone, 1, 1, 1, arena, m, &err), PO_OK);
    assert_true(m[0].verdict == PO_WEAR_TOO_FEW && m[0].chance == 1 && isnan(m[0].odds));
    /* hard jobs on one machine only are no fault of it; the same failures on jobs that go well elsewhere are */
    static const po_wear_cell hard[] = {{0, 0, 30, 60}, {0, 1, 2, 100}, {1, 1, 8, 400}, {1, 0, 20, 40}};
    static const po_wear_cell bad[] = {{0, 0, 30, 60}, {0, 1, 2, 100}, {1, 1, 8, 400}, {1, 0, 2, 40}};
    assert_int_equal(po_wear_compare(hard, 4, 2, 2, arena, m, &err), PO_OK);
    assert_true(m[0].verdict != PO_WEAR_WORSE && m[1].verdict != PO_WEAR_WORSE);
    assert_int_equal(po_wear_compare(bad, 4, 2, 2, arena, m, &err), PO_OK);
    assert_true(m[0].verdict == PO_WEAR_WORSE && m[0].ratio > 1.1 && m[0].ratio < 32 / m[0].expected);
    static const po_wear_cell wrong[] = {{0, 0, 3, 2}}, far_off[] = {{0, 7, 1, 2}};
    assert_int_equal(po_wear_compare(wrong, 1, 1, 1, arena, m, &err), PO_E_RANGE);
    assert_int_equal(po_wear_compare(far_off, 1, 1, 1, arena, m, &err), PO_E_RANGE);
    assert_int_equal(po_wear_compare(wrong, 0, 1, 1, arena, m, &err), PO_E_EMPTY);
    assert_int_equal(po_wear_compare(wrong, 1, 10000, 10000, arena, m, &err), PO_E_LIMIT);
}

/* Shops of five machines alike with kinds of job that differ and fall unevenly to them: one is called worse or better in at most 1 shop of
 * 20. One that fails three times as often is named in most shops with some hundred runs each. */
static void compare_keeps_quiet(void **state)
{
    (void)state;
    uint64_t seed = 99;
    int rounds = PO_ROUNDS(400, 20), called = 0, named = 0, held = 0;
    for (int round = 0; round < rounds; round++) {
        po_wear_cell cells[20];
        po_wear_machine m[5];
        for (uint32_t i = 0; i < 20; i++) {
            double share = 0.02 + 0.06 * (i % 4);
            int64_t n = (int64_t)(chance_of(&seed) * (i / 4 == i % 4 ? 80 : 30));
            cells[i] = (po_wear_cell){i / 4, i % 4, failures_of(&seed, n, share), n};
        }
        cells[0].n += 1;
        assert_int_equal(po_wear_compare(cells, 20, 5, 4, arena, m, &err), PO_OK);
        bool any = false;
        for (size_t i = 0; i < 5; i++) {
            any = any || m[i].verdict == PO_WEAR_WORSE || m[i].verdict == PO_WEAR_BETTER;
            held += m[i].ratio_low <= 1 && 1 <= m[i].ratio_high;
        }
        called += any;
        for (uint32_t i = 8; i < 12; i++) {
            cells[i].n = 50;
            cells[i].failed = failures_of(&seed, 50, 3 * (0.02 + 0.06 * (i % 4)));
        }
        assert_int_equal(po_wear_compare(cells, 20, 5, 4, arena, m, &err), PO_OK);
        named += m[2].verdict == PO_WEAR_WORSE && m[0].verdict != PO_WEAR_WORSE;
    }
    assert_true(called <= 0.05 * rounds);
    assert_true(held >= 0.95 * 5 * rounds);
    assert_true(named >= 0.9 * rounds);
}

static void sentences(void **state)
{
    (void)state;
    po_wear_period slow[] = {{2, 50}, {3, 50}, {14, 50}, {1, 50}};
    po_wear_point points[4];
    po_wear_chart c;
    assert_int_equal(po_wear_chart_of(slow, 4, NULL, points, &c, &err), PO_OK);
    assert_non_null(strstr(po_wear_chart_says("The shop", &c, points, slow, "the week from 12 May", arena),
                           "The shop: in the week from 12 May 14 of 50 failed, where 10.0 of 100 is usual"));
    assert_int_equal(po_wear_chart_of(slow, 2, NULL, points, &c, &err), PO_OK);
    assert_non_null(strstr(po_wear_chart_says("The shop", &c, points, slow, NULL, arena),
                           "nothing that chance would not do in 2 periods"));
    static const po_wear_cell bad[] = {{0, 0, 30, 60}, {1, 0, 2, 40}};
    po_wear_machine m[2];
    assert_int_equal(po_wear_compare(bad, 2, 2, 1, arena, m, &err), PO_OK);
    assert_non_null(strstr(po_wear_machine_says("Birch", &m[0], arena),
                           "Birch fails more than the others with the same jobs: 30 of 60"));
    static const double worn[] = {90, 95, 100, 105, 110, 102};
    po_wear_life l;
    assert_int_equal(po_wear_life_of(worn, NULL, 6, &l, &err), PO_OK);
    assert_non_null(strstr(po_wear_life_says("a nozzle", &l, arena), "a nozzle wears out: a tenth have failed by 9"));
}

static int begin(void **state)
{
    (void)state;
    arena = po_arena_new(0);
    return arena ? 0 : -1;
}

static int end(void **state)
{
    (void)state;
    po_arena_free(arena);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(chart),       cmocka_unit_test(chart_keeps_quiet),
                                       cmocka_unit_test(next_covers), cmocka_unit_test(next_refuses),
                                       cmocka_unit_test(lives),       cmocka_unit_test(lives_cover),
                                       cmocka_unit_test(compared),    cmocka_unit_test(compare_keeps_quiet),
                                       cmocka_unit_test(sentences)};
    return cmocka_run_group_tests(tests, begin, end);
}
