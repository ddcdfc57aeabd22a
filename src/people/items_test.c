/* Statistics of questions against worked figures and simulated classes. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <math.h>

#include "proveout/items.h"

#define NEAR(got, want, within) assert_true(fabs((got) - (want)) <= (within))

static uint64_t state;
static double uniform(void)
{
    state += 0x9e3779b97f4a7c15u; /* splitmix64 */
    uint64_t z = state;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0;
}
static double normal(void)
{
    double u = uniform(), v = uniform();
    return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

/* Ten papers of five questions, worked by hand: scores 5 4 5 3 3 3 2 2 1 1. */
static void worked_by_hand(void **unused)
{
    (void)unused;
    static const char rows[] = "11111111101111111100110101110010100110000100010000";
    static const double p[] = {0.9, 0.8, 0.6, 0.4, 0.2}, d[] = {1 / 3.0, 1 / 3.0, 1, 1, 2 / 3.0};
    static const double r[] = {0.460682, 0.509175, 0.683001, 0.801784, 0.763763};
    static const double rest[] = {0.263523, 0.245770, 0.408248, 0.597614, 0.590909};
    uint8_t mark[50];
    for (size_t i = 0; i < 50; i++) {
        mark[i] = rows[i] == '1' ? PO_CELL_RIGHT : PO_CELL_WRONG;
    }
    po_arena *arena = po_arena_new(0);
    po_items items;
    po_err err;
    assert_int_equal(po_items_of(&(po_items_table){mark, NULL, NULL, 10, 5}, arena, &items, &err), PO_OK);
    for (size_t j = 0; j < 5; j++) {
        NEAR(items.item[j].p, p[j], 1e-12);
        NEAR(items.item[j].d, d[j], 1e-9);
        NEAR(items.item[j].r, r[j], 1e-6);
        NEAR(items.item[j].r_rest, rest[j], 1e-6);
        assert_int_equal(items.item[j].flag, PO_ITEM_FEW);
    }
    assert_true(items.whole);
    NEAR(items.kr20, 0.661376, 1e-6); /* variance over n, as the sum of p q is */
    NEAR(items.error, 0.8, 1e-9);
    NEAR(items.spread * items.spread, 1.89, 1e-9);
    assert_true(isnan(items.kr20_low));
    assert_non_null(strstr(items.says, "10 of the thirty papers"));
    mark[7] = 9;
    assert_int_equal(po_items_of(&(po_items_table){mark, NULL, NULL, 10, 5}, arena, &items, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "paper 2, question 3"));
    po_arena_free(arena);
}

enum { PAPERS = 1500, BANK = 30, ASKED = 20 };

/* A class that draws ASKED of BANK. Question 0 has a wrong key, 1 misleads, 2 is known to all; the rest are good. */
static void sit(uint8_t *mark, uint8_t *chosen, uint8_t *key, size_t papers, const double *a, const double *b,
                bool faults)
{
    for (size_t i = 0; i < papers; i++) {
        double theta = normal();
        size_t left = ASKED;
        for (size_t j = 0; j < BANK; j++) {
            key[j] = 1;
            mark[i * BANK + j] = PO_CELL_NOT_DRAWN;
            chosen[i * BANK + j] = 0;
            double knows = 1 / (1 + exp(-a[j] * (theta - b[j])));
            if (uniform() * (double)(BANK - j) >= (double)left) {
                continue;
            }
            left--;
            uint8_t o = uniform() < knows ? 1 : (uint8_t)(2 + (int)(uniform() * 3));
            if (faults && j == 0) {
                o = o == 1 ? 2 : o == 2 ? 1 : o;
            } else if (faults && j == 1) {
                o = uniform() < knows ? 3 : uniform() < 0.5 ? 1 : 4;
            } else if (faults && j == 2) {
                o = uniform() < 0.995 ? 1 : 2;
            }
            chosen[i * BANK + j] = o;
            mark[i * BANK + j] = o == 1 ? PO_CELL_RIGHT : PO_CELL_WRONG;
        }
    }
}

static uint8_t mark[3000 * BANK], chosen[3000 * BANK], key[BANK];
static double slope[BANK], place[BANK];

static void bank(void)
{
    for (size_t j = 0; j < BANK; j++) {
        slope[j] = 0.8 + 1.2 * (double)(j * 7 % BANK) / BANK;
        place[j] = -1.5 + 2.5 * (double)j / BANK;
    }
}

static void faults_are_found_and_good_questions_left_in_peace(void **unused)
{
    (void)unused;
    size_t wrong = 0, covered = 0, looked = 0;
    bank();
    for (uint64_t seed = 1; seed <= 20; seed++) {
        po_arena *arena = po_arena_new(0);
        po_items items;
        state = seed * 7919;
        sit(mark, chosen, key, PAPERS, slope, place, true);
        assert_int_equal(po_items_of(&(po_items_table){mark, chosen, key, PAPERS, BANK}, arena, &items, NULL), PO_OK);
        assert_int_equal(items.item[0].flag, PO_ITEM_KEY);
        assert_int_equal(items.item[0].option, 2);
        assert_true(items.item[1].flag == PO_ITEM_KEY || items.item[1].flag == PO_ITEM_MISLEADS);
        assert_int_equal(items.item[1].option, 3);
        assert_int_equal(items.item[2].flag, PO_ITEM_EASY);
        assert_false(items.whole);
        NEAR(items.drawn, ASKED, 1e-9);
        for (size_t j = 3; j < BANK; j++) {
            double truth = 0, weight = 0;
            for (double x = -6; x <= 6; x += 0.01) {
                double w = exp(-x * x / 2);
                truth += w / (1 + exp(-slope[j] * (x - place[j])));
                weight += w;
            }
            covered += items.item[j].p_low <= truth / weight && truth / weight <= items.item[j].p_high;
            wrong += items.item[j].flag != PO_ITEM_FINE;
            looked++;
        }
        po_arena_free(arena);
    }
    assert_int_equal(wrong, 0); /* 540 good questions */
    NEAR((double)covered / (double)looked, 0.95, 0.03);
}

/* KR-20 from drawn papers against that of the same class asked everything, brought to as many questions by Spearman-Brown. */
static void drawn_papers_give_the_reliability_of_whole_ones(void **unused)
{
    (void)unused;
    static uint8_t whole[3000 * BANK];
    po_arena *arena = po_arena_new(0);
    po_items all, some;
    bank();
    state = 5;
    for (size_t i = 0; i < 3000; i++) {
        double theta = normal();
        for (size_t j = 0; j < BANK; j++) {
            whole[i * BANK + j] = uniform() < 1 / (1 + exp(-slope[j] * (theta - place[j]))) ? PO_CELL_RIGHT
                                                                                            : PO_CELL_WRONG;
        }
    }
    for (size_t i = 0; i < 3000; i++) {
        size_t left = ASKED;
        for (size_t j = 0; j < BANK; j++) {
            bool drawn = uniform() * (double)(BANK - j) < (double)left;
            left -= drawn;
            mark[i * BANK + j] = drawn ? whole[i * BANK + j] : PO_CELL_NOT_DRAWN;
        }
    }
    assert_int_equal(po_items_of(&(po_items_table){whole, NULL, NULL, 3000, BANK}, arena, &all, NULL), PO_OK);
    assert_int_equal(po_items_of(&(po_items_table){mark, NULL, NULL, 3000, BANK}, arena, &some, NULL), PO_OK);
    double n = (double)ASKED / BANK, expected = n * all.kr20 / (1 + (n - 1) * all.kr20);
    NEAR(some.kr20, expected, 0.015);
    assert_true(some.kr20_low < expected && expected < some.kr20_high);
    po_arena_free(arena);
}

/* Six classes with known questions: no bias to speak of, and intervals that hold what they promise. */
static void the_model_finds_what_was_simulated(void **unused)
{
    (void)unused;
    size_t n = 0, a_held = 0, b_held = 0, rounds;
    double a_off = 0, b_off = 0;
    bank();
    for (uint64_t seed = 1; seed <= 6; seed++) {
        po_arena *arena = po_arena_new(0);
        po_item_model model[BANK];
        state = seed * 104729;
        sit(mark, chosen, key, PAPERS, slope, place, false);
        assert_int_equal(po_items_model(&(po_items_table){mark, NULL, NULL, PAPERS, BANK}, arena, model, &rounds, NULL),
                         PO_OK);
        assert_true(rounds > 1);
        for (size_t j = 0; j < BANK; j++, n++) {
            assert_true(model[j].fitted);
            a_off += model[j].a - slope[j];
            b_off += model[j].b - place[j];
            a_held += fabs(model[j].a - slope[j]) <= 1.96 * model[j].a_error;
            b_held += fabs(model[j].b - place[j]) <= 1.96 * model[j].b_error;
        }
        po_arena_free(arena);
    }
    NEAR(a_off / (double)n, 0, 0.03);
    NEAR(b_off / (double)n, 0, 0.03);
    NEAR((double)a_held / (double)n, 0.95, 0.05);
    NEAR((double)b_held / (double)n, 0.95, 0.05);
    po_arena *arena = po_arena_new(0);
    po_item_model model[BANK];
    assert_int_equal(po_items_model(&(po_items_table){mark, NULL, NULL, 100, BANK}, arena, model, &rounds, NULL),
                     PO_OK);
    assert_int_equal(rounds, 0);
    assert_false(model[0].fitted);
    assert_true(isnan(model[0].a));
    po_arena_free(arena);
}

static void judges_set_the_cut(void **unused)
{
    (void)unused;
    static const double share[] = {0.5, 0.7, 0.9, 0.6, 0.8, 1.0, 0.7, 0.9, 0.8};
    double cut, error;
    assert_int_equal(po_items_angoff(share, 3, 3, &cut, &error, NULL), PO_OK);
    NEAR(cut, 2.3, 1e-12);   /* 2.1, 2.4, 2.4 */
    NEAR(error, 0.1, 1e-12); /* 0.1732 / sqrt 3 */
    assert_int_equal(po_items_angoff(share, 1, 3, &cut, &error, NULL), PO_OK);
    assert_true(isnan(error));
    static const double bad[] = {0.5, 1.5};
    assert_int_equal(po_items_angoff(bad, 1, 2, &cut, &error, NULL), PO_E_RANGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(worked_by_hand),
        cmocka_unit_test(faults_are_found_and_good_questions_left_in_peace),
        cmocka_unit_test(drawn_papers_give_the_reliability_of_whole_ones),
        cmocka_unit_test(the_model_finds_what_was_simulated),
        cmocka_unit_test(judges_set_the_cut),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
