/* Estimates that learn: published examples, coverage, absurd entries, order. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/learn_inside.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define N(a) (sizeof(a) / sizeof(a)[0])

/* Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014: the same draws everywhere. */
static uint64_t drawn;
static double uniform(void)
{
    drawn += UINT64_C(0x9E3779B97F4A7C15);
    uint64_t z = drawn;
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return ((double)((z ^ z >> 31) >> 11) + 0.5) * 0x1p-53;
}

static double normal(void)
{
    double r = sqrt(-2 * log(uniform()));
    return r * cos(2 * M_PI * uniform());
}

static double below(double x)
{
    return 0.5 * erfc(-x * M_SQRT1_2);
}

static po_learn_estimate asked(const po_learn_run *runs, size_t n, const po_learn_options *o, po_learn_question q)
{
    po_arena *arena = po_arena_new(0);
    po_learned *learned = NULL;
    po_learn_estimate e = {0};
    po_err err = {0};
    if (po_learn_new(runs, n, o, arena, &learned, &err) || po_learn_ask(learned, &q, &e, &err)) {
        fail_msg("%s", err.msg);
    }
    po_arena_free(arena);
    assert_true(isfinite(e.centre) && e.low > 0 && e.low <= e.centre && e.centre <= e.high && isfinite(e.high));
    assert_true(e.own_share >= 0 && e.own_share <= 1 && e.n_recipe <= e.n_own && e.n_own <= e.n_all);
    return e;
}

static void near_to(const char *what, double got, double want, double within)
{
    if (!(fabs(got - want) <= within)) {
        fail_msg("%s: %.6f, wanted %.6f within %g", what, got, want, within);
    }
}

static const po_learn_question usual = {0, 0, 100, 92, 112};

/* Gelman et al., "Bayesian Data Analysis", 3rd ed., section 5.5: eight schools, effects y with standard errors s (table 5.2),
 * flat priors. Quantiles of each school's effect: as table 5.3 prints them (the medians, from memory: rounded, from 200 draws),
 * and worked out again for this test by summing the closed form over 200,000 values of the spread. */
static void eight_schools(void **state)
{
    (void)state;
    static const double shares[] = {0.025, 0.25, 0.5, 0.75, 0.975};
    static const struct {
        double y, s, printed, want[5];
    } schools[] = {
        {28, 15, 10, {-2.10, 5.98, 10.24, 15.53, 31.62}}, {8, 10, 8, {-4.66, 3.98, 7.86, 11.77, 20.66}},
        {-3, 16, 7, {-11.48, 2.03, 6.65, 10.86, 20.46}},  {7, 11, 8, {-5.69, 3.66, 7.66, 11.66, 20.86}},
        {-1, 9, 5, {-8.90, 1.36, 5.60, 9.40, 16.47}},     {1, 11, 6, {-8.56, 2.26, 6.51, 10.44, 18.59}},
        {18, 10, 10, {-1.16, 6.11, 10.04, 14.57, 25.97}}, {12, 18, 8, {-7.08, 3.88, 8.21, 12.72, 25.58}},
    };
    /* Units are hundredths of ln ratio. Scatter is known to be 300; a school has so many runs that its mean has error s. */
    double scatter = 3.00, range = exp(scatter * M_SQRT2 * 1.6448536269514722);
    po_learn_options o = {
        .level = 0.9, .between_machines = 1000, .between_recipes = 1e-9, .doubt = 1000, .range_runs = 1e9};
    po_learn_run runs[6000];
    size_t n = 0;
    for (uint32_t i = 0; i < N(schools); i++) {
        size_t k = (size_t)nearbyint(scatter * scatter * 1e4 / (schools[i].s * schools[i].s));
        for (; k > 0 && n < N(runs); k--) {
            runs[n++] = (po_learn_run){i, 0, exp(schools[i].y / 100), 0};
        }
    }
    po_arena *arena = po_arena_new(0);
    po_learned *learned = NULL;
    assert_int_equal(po_learn_new(runs, n, &o, arena, &learned, NULL), PO_OK);
    for (uint32_t i = 0; i < N(schools); i++) {
        po_learn_estimate e;
        assert_int_equal(po_learn_ask(learned, &(po_learn_question){i, 0, 1, 1 / range, range}, &e, NULL), PO_OK);
        assert_int_equal(e.n_all, n);
        assert_int_equal(e.n_aside, 0);
        for (size_t k = 0; k < N(shares); k++) { /* of the level: the answer without one run's scatter */
            double low = -2, high = 2;
            for (int step = 0; step < 40; step++) {
                double x = 0.5 * (low + high), under = 0;
                for (size_t p = 0; p < learned->n_parts; p++) {
                    const po_learn_part *part = &learned->parts[p];
                    under += part->weight *
                             below((x - part->mean) / sqrt(part->deviation * part->deviation - scatter * scatter));
                }
                *(under < shares[k] ? &low : &high) = x;
            }
            near_to("quantile", 100 * low, schools[i].want[k], 0.15);
            if (shares[k] == 0.5) {
                near_to("median as printed", 100 * low, schools[i].printed, 1.0);
            }
        }
    }
    po_arena_free(arena);
}

/* One machine and nothing known before: the classical prediction interval mean +- t s sqrt(1 + 1/n). */
static po_learn_estimate alone(size_t n, double mean, double deviation, double level)
{
    po_learn_run runs[200];
    double sum = 0, squares = 0;
    for (size_t i = 0; i < n; i++) {
        double z = (double)i - 0.5 * (double)(n - 1);
        sum += z, squares += z * z;
    }
    assert_true(fabs(sum) < 1e-9);
    double unit = deviation / sqrt(squares / (double)(n - 1));
    for (size_t i = 0; i < n; i++) {
        runs[i] = (po_learn_run){7, 3, exp(mean + unit * ((double)i - 0.5 * (double)(n - 1))), 0};
    }
    po_learn_options o = {
        .level = level, .between_machines = 1e-9, .between_recipes = 1e-9, .doubt = 1000, .range_runs = 1e-9};
    return asked(runs, n, &o, (po_learn_question){7, 3, 1, 0.9, 1.1});
}

static void classical(void **state)
{
    (void)state;
    /* NIST/SEMATECH e-Handbook 1.3.5.2, data ZARR13 (from memory): N = 195, mean 9.261460, standard deviation 0.022789,
     * t(0.975, 194) = 1.9723; its limits for the mean, 9.258242 and 9.264679, are mean -+ t s / sqrt(N). */
    double t = (9.264679 - 9.258242) / 2 / (0.022789 / sqrt(195));
    near_to("the handbook's own t", t, 1.9723, 1e-3);
    po_learn_estimate e = alone(195, 9.261460 - 9, 0.022789, 0.95);
    near_to("mean", log(e.centre), 0.261460, 1e-6);
    near_to("low", log(e.low), 0.261460 - 1.9723 * 0.022789 * sqrt(1 + 1.0 / 195), 2e-5);
    near_to("high", log(e.high), 0.261460 + 1.9723 * 0.022789 * sqrt(1 + 1.0 / 195), 2e-5);
    /* Upper critical values of Student's t, e-Handbook 1.3.6.7.2: 0.95 and 0.975. */
    static const struct {
        size_t n;
        double t90, t95;
    } table[] = {{3, 2.920, 4.303},  {4, 2.353, 3.182},  {6, 2.015, 2.571},
                 {11, 1.812, 2.228}, {31, 1.697, 2.042}, {101, 1.660, 1.984}};
    for (size_t i = 0; i < N(table); i++) {
        double unit = 0.03 * sqrt(1 + 1.0 / (double)table[i].n);
        e = alone(table[i].n, 0.05, 0.03, 0.90);
        near_to("t at 0.90", (log(e.high) - 0.05) / unit, table[i].t90, 0.01 * table[i].t90);
        near_to("t at 0.90", (0.05 - log(e.low)) / unit, table[i].t90, 0.01 * table[i].t90);
        e = alone(table[i].n, 0.05, 0.03, 0.95);
        near_to("t at 0.95", (log(e.high) - 0.05) / unit, table[i].t95, 0.01 * table[i].t95);
    }
}

/* Machines, recipes and scatter all unknown at once. Wanted: worked out for this test by another way, without groups or
 * medians: the joint normal of all runs with its full covariance matrix, summed over 60 x 60 x 60 x 2 spreads and levels. */
static void nested(void **state)
{
    (void)state;
    static const po_learn_run runs[] = {{0, 0, 1.10, 0}, {0, 0, 1.14, 0}, {0, 0, 1.08, 0},
                                        {0, 1, 1.21, 0}, {1, 0, 1.02, 0}, {1, 0, 0.97, 0},
                                        {2, 1, 1.05, 0}, {2, 1, 1.09, 0}, {2, 0, 0.99, 0}};
    static const struct {
        uint32_t machine, recipe;
        double low, middle, high;
    } want[] = {{0, 0, 101.432, 110.764, 120.345},
                {0, 1, 102.988, 115.457, 126.549},
                {0, 2, 95.538, 110.606, 124.737},
                {3, 0, 86.004, 103.809, 123.456}};
    for (size_t i = 0; i < N(want); i++) {
        po_learn_estimate e = asked(runs, N(runs), NULL,
                                    (po_learn_question){want[i].machine, want[i].recipe, 100, 92, 112});
        near_to("low", e.low, want[i].low, 0.15);
        near_to("middle", e.centre, want[i].middle, 0.1);
        near_to("high", e.high, want[i].high, 0.15);
    }
}

typedef struct shop {
    uint32_t machines, recipes;
    size_t runs; /* of each machine but the first */
    double machines_apart, recipes_apart, scatter, absurd;
} shop;

/* A shop drawn anew: the first machine has own runs. Returns the count; level: of its first recipe. */
static size_t draw(const shop *s, size_t own, po_learn_run *runs, double *level)
{
    size_t n = 0;
    for (uint32_t m = 0; m < s->machines; m++) {
        double machine = 0.05 + s->machines_apart * normal(), recipe[8];
        for (uint32_t j = 0; j < s->recipes; j++) {
            recipe[j] = machine + s->recipes_apart * normal();
        }
        *level = m == 0 ? recipe[0] : *level;
        for (size_t i = 0; i < (m == 0 ? own : s->runs); i++) {
            uint32_t j = own < 10 && m == 0 ? 0 : (uint32_t)(i % s->recipes);
            double y = recipe[j] + s->scatter * normal(), u = uniform();
            if (u < s->absurd) { /* a slip of the pen: minutes for hours, a figure too many, another run's */
                y = u < s->absurd / 3 ? log(20) : u < s->absurd / 1.5 ? -log(60) : y + log(1.6);
            }
            runs[n++] = (po_learn_run){m, j, exp(y), 300 * uniform()};
        }
    }
    return n;
}

/* Nine runs of ten end within the range, however many runs of its own the machine has. Whether the run to come does is not
 * drawn but worked out from the true level and scatter, so that 150 shops say it within about a percent. */
static void coverage(void **state)
{
    (void)state;
    static const shop shops[] = {
        {5, 3, 20, 0.06, 0.03, 0.04, 0}, {5, 3, 20, 0.06, 0.03, 0.04, 0.05}, {20, 2, 10, 0.06, 0.03, 0.04, 0}};
    static const size_t own[] = {0, 1, 3, 10, 100};
    enum { SHOPS = 150 };
    for (size_t s = 0; s < N(shops); s++) {
        double wider = INFINITY;
        for (size_t k = 0; k < N(own); k++) {
            double within = 0, width = 0;
            drawn = 100 * s + k;
            for (int r = 0; r < SHOPS; r++) {
                po_learn_run runs[512];
                double level = 0;
                size_t n = draw(&shops[s], own[k], runs, &level);
                po_learn_estimate e = asked(runs, n, NULL, usual);
                within += below((log(e.high / 100) - level) / shops[s].scatter) -
                          below((log(e.low / 100) - level) / shops[s].scatter);
                width += log(e.high / e.low);
            }
            within *= 100.0 / SHOPS;
            print_message("shop %zu, %3zu own runs: %.1f %% within, range -+ %.1f %%\n", s, own[k], within,
                          50 * width / SHOPS);
            if (!(within > 87 && within < 93)) {
                fail_msg("shop %zu, %zu own runs: %.1f %% within", s, own[k], within);
            }
            assert_true(width < wider || shops[s].absurd > 0); /* absurd entries come as they come */
            wider = width;
        }
        /* With many runs no wider than knowing everything, but for a few percent. */
        near_to("width", wider / SHOPS / 2, 1.645 * shops[s].scatter, 0.004);
    }
}

/* Ten runs, and an eleventh that is off by 20, 1/60 or 5: hardly anything changes. */
static void one_absurd(void **state)
{
    (void)state;
    static const double absurd[] = {20, 1.0 / 60, 5, 1e300, 5e-324};
    for (int others = 0; others < 2; others++) {
        po_learn_run runs[64];
        size_t n = 0;
        drawn = 5;
        for (int i = 0; i < 10; i++) {
            runs[n++] = (po_learn_run){0, 0, exp(0.1 + 0.03 * normal()), 0};
        }
        for (uint32_t i = 0; others && i < 40; i++) {
            runs[n++] = (po_learn_run){1 + i % 4, 0, exp(0.02 + 0.02 * (i % 4) + 0.03 * normal()), 0};
        }
        po_learn_estimate without = asked(runs, n, NULL, usual);
        assert_int_equal(without.n_aside, 0);
        assert_int_equal(without.n_own, 10);
        for (size_t a = 0; a < N(absurd); a++) {
            runs[n] = (po_learn_run){0, 0, absurd[a], 0};
            po_learn_estimate with = asked(runs, n + 1, NULL, usual);
            near_to("centre", with.centre / without.centre, 1, 1e-9);
            near_to("low", with.low / without.low, 1, 1e-9);
            near_to("high", with.high / without.high, 1, 1e-9);
            assert_int_equal(with.n_aside, 1);
            assert_int_equal(with.n_own, 10);
        }
        for (double ratio = 0.5; ratio < 3; ratio *= 1.01) { /* nor is there a ratio that is just not absurd enough */
            runs[n] = (po_learn_run){0, 0, ratio, 0};
            po_learn_estimate with = asked(runs, n + 1, NULL, usual);
            near_to("centre", with.centre / without.centre, 1, 0.025);
        }
        runs[n] = (po_learn_run){0, 9, 20, 0}; /* alone in its recipe, or on its machine */
        assert_int_equal(asked(runs, n + 1, NULL, usual).n_aside, 1);
        runs[n] = (po_learn_run){9, 9, 20, 0};
        po_learn_estimate with = asked(runs, n + 1, NULL, (po_learn_question){9, 9, 100, 92, 112});
        assert_int_equal(with.n_aside, 1);
        assert_int_equal(with.n_own, 0);
    }
}

/* What is new is not absurd: a machine that has changed, one that is unlike the others, one that scatters more. */
static void not_absurd(void **state)
{
    (void)state;
    po_learn_run runs[200];
    size_t n = 0;
    drawn = 9;
    for (int i = 0; i < 16; i++) { /* six of sixteen runs on a new level */
        runs[n++] = (po_learn_run){0, 0, exp((i < 10 ? 0 : log(1.4)) + 0.02 * normal()), 0};
    }
    for (uint32_t i = 0; i < 80; i++) {
        runs[n++] = (po_learn_run){1 + i % 4, 0, exp(0.02 * normal()), 0};
    }
    po_learn_estimate e = asked(runs, n, NULL, usual);
    assert_int_equal(e.n_aside, 0);
    assert_true(e.low < 100 && e.high > 140);
    for (int i = 0; i < 16; i++) { /* twice as slow as all others, and known by three runs alike */
        runs[i] = (po_learn_run){0, 0, exp(log(2) + 0.02 * normal()), 0};
    }
    for (size_t own = 3; own <= 16; own++) {
        e = asked(runs + 16 - own, n - 16 + own, NULL, usual);
        assert_int_equal(e.n_aside, 0);
        near_to("twice", e.centre, 200, own < 5 ? 12 : 5);
    }
    for (int i = 0; i < 16; i++) { /* scatter of 12 % among machines of 2 % */
        runs[i] = (po_learn_run){0, 0, exp(0.12 * normal()), 0};
    }
    e = asked(runs, n, NULL, usual);
    double width = log(e.high / e.low), others;
    e = asked(runs, n, NULL, (po_learn_question){1, 0, 100, 92, 112});
    others = log(e.high / e.low);
    assert_true(e.n_aside <= 1 && width > 3 * others && width > 2 * 1.645 * 0.07);
    near_to("others", others / 2, 1.645 * 0.02, 0.008);
}

/* The more own runs, the further from all machines' level towards the machine's own; never past either. */
static void drawn_towards(void **state)
{
    (void)state;
    po_learn_run runs[300];
    size_t n = 0;
    for (uint32_t i = 0; i < 80; i++) {
        runs[n++] = (po_learn_run){1 + i % 4, 0, exp(0.03 * (i % 4) - 0.045 + (i / 4 % 2 ? 0.03 : -0.03)), 0};
    }
    double before = 0, share = 0, level = log(1.15);
    for (size_t own = 0; own <= 40; own += own < 2 ? 1 : 2) {
        for (size_t i = 0; i < own; i++) {
            runs[n + i] = (po_learn_run){0, 0, exp(level + (own == 1 ? 0 : i % 2 ? 0.03 : -0.03)), 0};
        }
        po_learn_estimate e = asked(runs, n + own, NULL, usual);
        double y = log(e.centre / 100);
        assert_true(own == 0 ? fabs(y) < 0.01 : y > before && y < level);
        assert_true(e.own_share >= share && (e.own_share > 0) == (own > 0));
        assert_string_equal(e.from, e.own_share >= 0.5 ? "this machine's runs" : "all machines' runs");
        before = y, share = e.own_share;
    }
    near_to("with forty", before, level, 0.005);
    assert_true(share > 0.9);
}

static void in_any_order(void **state)
{
    (void)state;
    static const shop s = {6, 4, 30, 0.06, 0.03, 0.04, 0.1};
    po_learn_run runs[512];
    double level = 0;
    drawn = 77;
    size_t n = draw(&s, 25, runs, &level);
    for (size_t i = 0; i < n; i += 3) { /* many alike, of all ages */
        runs[i].ratio = 1.07;
        runs[i].recipe = i % 2 ? PO_LEARN_NO_RECIPE : runs[i].recipe;
    }
    po_learn_estimate first = asked(runs, n, NULL, usual);
    for (int k = 0; k < 50; k++) {
        for (size_t i = n - 1; i > 0; i--) {
            size_t j = (size_t)(uniform() * (double)(i + 1));
            po_learn_run t = runs[i];
            runs[i] = runs[j];
            runs[j] = t;
        }
        po_learn_estimate e = asked(runs, n, NULL, usual);
        assert_true(e.centre == first.centre && e.low == first.low && e.high == first.high &&
                    e.own_share == first.own_share && e.n_aside == first.n_aside && e.n_all == first.n_all);
    }
}

static void old_runs(void **state)
{
    (void)state;
    po_learn_run runs[40];
    for (int i = 0; i < 40; i++) { /* since a year and more the machine is 8 % slower than it was */
        bool old = i < 20;
        runs[i] = (po_learn_run){0, 0, (old ? 1 : 1.08) * (i % 2 ? 1.02 : 0.98), old ? 700 : 10};
    }
    po_learn_options o = PO_LEARN_OPTIONS_INIT;
    po_learn_estimate aged = asked(runs, 40, &o, usual);
    o.half_life_days = 0;
    po_learn_estimate alike = asked(runs, 40, &o, usual);
    near_to("all alike", alike.centre, 104, 0.5);
    assert_true(aged.centre > 105.5 && aged.centre < 108);
    /* Old runs scatter no less than new ones: for another recipe of the machine age alone makes no difference. */
    po_learn_run many[240];
    double half[2];
    for (int k = 0; k < 2; k++) {
        drawn = 3;
        for (uint32_t i = 0; i < N(many); i++) {
            many[i] = (po_learn_run){0, i / 4, exp(0.03 * normal()), 1000.0 * k};
        }
        po_learn_estimate e = asked(many, N(many), NULL, (po_learn_question){0, 99, 100, 92, 112});
        half[k] = 0.5 * log(e.high / e.low);
        near_to("scatter", half[k], 1.645 * 0.03, 0.004);
    }
    near_to("old and new", half[1], half[0], 0.001);
    /* But where a machine stood long ago says less on where it stands: it is drawn towards the others, with any recipe. */
    for (uint32_t recipe = 0; recipe < 2; recipe++) {
        double centre[2];
        for (int k = 0; k < 2; k++) {
            for (uint32_t i = 0; i < N(many); i++) {
                bool own = i < 4;
                many[i] = (po_learn_run){own ? 0 : 1 + i % 6, 0, (own ? 1.15 : 1) * (i / 6 % 2 ? 1.03 : 0.97),
                                         own ? 2000.0 * k : 0};
            }
            centre[k] = asked(many, N(many), NULL, (po_learn_question){0, recipe, 100, 92, 112}).centre;
        }
        assert_true(centre[1] < centre[0] - 1);
    }
    /* All runs old: the same level, known less well. */
    for (int i = 0; i < 40; i++) {
        runs[i] = (po_learn_run){0, 0, i % 2 ? 1.02 : 0.98, 0};
    }
    o.half_life_days = 365;
    po_learn_estimate fresh = asked(runs, 6, &o, usual);
    for (int i = 0; i < 40; i++) {
        runs[i].age_days = 1500;
    }
    po_learn_estimate stale = asked(runs, 6, &o, usual);
    assert_true(stale.high / stale.low > 1.03 * (fresh.high / fresh.low));
}

static void no_runs(void **state)
{
    (void)state;
    po_learn_run absurd = {0, 0, 20, 0}, one = {0, 0, 1.3, 0};
    for (int i = 0; i < 2; i++) {
        po_learn_estimate e = asked(&absurd, (size_t)i, NULL, usual);
        assert_true(e.centre == 100 && e.low == 92 && e.high == 112 && e.n_all == 0 && e.n_own == 0 &&
                    e.own_share == 0);
        assert_string_equal(e.from, "model");
        assert_int_equal(e.n_aside, i);
    }
    po_learn_estimate e = asked(&one, 1, NULL, usual); /* one run far off: neither is believed alone */
    assert_true(e.centre > 105 && e.centre < 130 && e.low < 115 && e.high > 135);
    assert_string_equal(e.from, "this machine's runs");
    one.ratio = 1.02;
    e = asked(&one, 1, NULL, usual); /* one run as expected: the model's range, more or less */
    near_to("centre", e.centre, 101, 1);
    assert_true(e.low > 84 && e.low < 95 && e.high > 108 && e.high < 120);
    e = asked(&one, 1, NULL, (po_learn_question){1, 0, 100, 92, 112});
    assert_string_equal(e.from, "all machines' runs");
    assert_true(e.n_own == 0 && e.n_all == 1 && e.low < 90 && e.high > 112);
}

static void refused(void **state)
{
    (void)state;
    static const double bad_ratio[] = {0, -1, -0.0, INFINITY, -INFINITY, NAN}, bad_age[] = {-1, INFINITY, NAN};
    po_arena *arena = po_arena_new(0);
    po_learned *learned = NULL;
    po_err err;
    po_learn_run runs[4] = {{0, 0, 1, 0}, {0, 0, 1, 0}, {0, 0, 1, 0}, {0, 0, 1, 0}};
    for (size_t at = 0; at < N(runs); at++) {
        char name[16];
        snprintf(name, sizeof name, "run %zu ", at);
        for (size_t i = 0; i < N(bad_ratio) + N(bad_age); i++) {
            po_learn_run good = runs[at];
            if (i < N(bad_ratio)) {
                runs[at].ratio = bad_ratio[i];
            } else {
                runs[at].age_days = bad_age[i - N(bad_ratio)];
            }
            assert_int_equal(po_learn_new(runs, N(runs), NULL, arena, &learned, &err), PO_E_RANGE);
            assert_int_equal(err.byte, at);
            assert_non_null(strstr(err.msg, name));
            assert_int_equal(po_learn_new(runs, N(runs), NULL, arena, &learned, NULL), PO_E_RANGE);
            assert_null(learned);
            runs[at] = good;
        }
    }
    assert_int_equal(po_learn_new(runs, 10000001, NULL, arena, &learned, &err), PO_E_LIMIT);
    for (size_t i = 0; i < sizeof(po_learn_options) / sizeof(double); i++) {
        static const double bad[] = {-1, NAN, INFINITY};
        for (size_t k = 0; k < N(bad); k++) {
            po_learn_options o = PO_LEARN_OPTIONS_INIT;
            ((double *)&o)[i] = bad[k];
            assert_int_equal(po_learn_new(runs, N(runs), &o, arena, &learned, &err), PO_E_RANGE);
            assert_true(err.where[0] != 0);
        }
    }
    static const po_learn_question questions[] = {{0, 0, 0, 1, 2},   {0, 0, NAN, 1, 2},    {0, 0, 1, 0, 2},
                                                  {0, 0, 1, 1.1, 2}, {0, 0, 1, 0.5, 0.9},  {0, 0, 1, 1, INFINITY},
                                                  {0, 0, 1, NAN, 1}, {0, 0, 1e13, 1, 1e14}};
    assert_int_equal(po_learn_new(runs, N(runs), NULL, arena, &learned, &err), PO_OK);
    for (size_t i = 0; i < N(questions); i++) {
        po_learn_estimate e = {.centre = -5};
        assert_int_equal(po_learn_ask(learned, &questions[i], &e, &err), PO_E_RANGE);
        assert_true(e.centre == -5);
    }
    po_arena_free(arena);
    for (size_t limit = 1; limit < 200000; limit += limit < 2000 ? 64 : 5000) { /* memory gone */
        arena = po_arena_new(limit);
        learned = NULL;
        po_status s = arena ? po_learn_new(runs, N(runs), NULL, arena, &learned, &err) : PO_E_NOMEM;
        assert_true(s == PO_E_NOMEM || s == PO_OK);
        assert_true((s == PO_OK) == (learned != NULL));
        po_arena_free(arena);
    }
}

/* Anything finite in, something finite and in order out (asked() looks at that). */
static void anything(void **state)
{
    (void)state;
    drawn = 1234;
    for (int k = 0; k < 400; k++) {
        po_learn_run runs[40];
        size_t n = (size_t)(uniform() * 40);
        double wild = k % 4 == 0 ? 700 : k % 4 == 1 ? 3 : k % 4 == 2 ? 0.1 : 1e-9, ages = k % 3 ? 1e4 : 1e300;
        for (size_t i = 0; i < n; i++) {
            runs[i] = (po_learn_run){(uint32_t)(uniform() * 4) * 0x55555555u, (uint32_t)(uniform() * 3) - 1,
                                     exp(wild * (2 * uniform() - 1)), uniform() < 0.5 ? 0 : ages * uniform()};
        }
        po_learn_options o = {.level = uniform() < 0.3 ? 0.01 : 0.999,
                              .half_life_days = k % 5 * 100.0,
                              .between_machines = exp(20 * uniform() - 15),
                              .between_recipes = exp(20 * uniform() - 15),
                              .doubt = exp(20 * uniform() - 15),
                              .trust = k % 3 * 0.5,
                              .range_runs = exp(20 * uniform() - 15)};
        double m = exp(50 * uniform() - 25);
        asked(runs, n, &o,
              (po_learn_question){0, k % 2 ? 0 : PO_LEARN_NO_RECIPE, m, k % 7 ? m * 0.9 : m, k % 7 ? m * 3 : m});
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(eight_schools), cmocka_unit_test(classical),    cmocka_unit_test(nested),
        cmocka_unit_test(coverage),      cmocka_unit_test(one_absurd),   cmocka_unit_test(not_absurd),
        cmocka_unit_test(drawn_towards), cmocka_unit_test(in_any_order), cmocka_unit_test(old_runs),
        cmocka_unit_test(no_runs),       cmocka_unit_test(refused),      cmocka_unit_test(anything),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
