/* Tramming against worked figures and beds made up with known faults. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "base/rounds.h"
#include "proveout/tram.h"

static const po_tram_screw m3[] = {
    {30, 30, 0.5, false}, {190, 30, 0.5, false}, {190, 190, 0.5, false}, {30, 190, 0.5, false}};
static const po_tram_setup usual = {
    .screws = m3, .n_screws = 4, .keep = 0, .tolerance_mm = 0.05, .gap_mm = 0.2, .bed_x = {0, 220}, .bed_y = {0, 220}};

static const po_tram *made(const po_tram_reading *r, size_t n, const po_tram_setup *s, po_arena *arena)
{
    const po_tram *t = NULL;
    po_err err;
    if (po_tram_make(r, n, s, arena, &t, &err) != PO_OK) {
        fail_msg("%s", err.msg);
    }
    return t;
}

/* The worked bed of five readings: normal equations solved by hand, M3 turns (K, from z = ax + by + c as in any numerical text;
 * NIST/SEMATECH e-Handbook 4.1.4.1; pitches ISO 261). */
static void worked(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_tram_reading r[] = {
        {30, 30, 0.10, 0}, {190, 30, 0.22, 0}, {190, 190, 0.30, 0}, {30, 190, 0.14, 0}, {110, 110, 0.20, 0}};
    const po_tram *t = made(r, 5, &usual, arena);
    assert_float_equal(t->a, 0.000875, 1e-9);
    assert_float_equal(t->b, 0.000375, 1e-9);
    assert_float_equal(t->c, 0.0545, 1e-9);
    assert_float_equal(t->rms_mm, 0.009798, 1e-6);
    assert_float_equal(t->after_mm, 0.020, 1e-9);
    assert_float_equal(t->tilt_deg, 0.05454, 1e-5);
    const double move[] = {0, 0.140, 0.200, 0.060}, turns[] = {0, 0.28, 0.40, 0.12};
    for (int i = 0; i < 4; i++) {
        assert_float_equal(t->turns[i].move_mm, -move[i], 1e-9);
        assert_float_equal(t->turns[i].turns, turns[i], 1e-9);
        assert_true(i == 0 || t->turns[i].clockwise); /* too high: tightened, the bed comes down */
    }
    assert_int_equal(t->verdict, PO_TRAM_TURN);
    assert_int_equal(t->n_blunders, 0);
    assert_float_equal(t->twist_mm, 0.02, 1e-9); /* diagonal sums 0.40 and 0.36 */
    po_tram_screw m4[4];
    memcpy(m4, m3, sizeof m4);
    for (int i = 0; i < 4; i++) {
        m4[i].pitch_mm = po_tram_pitch("M4");
        m4[i].clockwise_raises = true;
    }
    po_tram_setup s = usual;
    s.screws = m4;
    t = made(r, 5, &s, arena);
    assert_float_equal(t->turns[2].turns, 0.285714, 1e-6);
    assert_false(t->turns[2].clockwise);
    po_arena_free(arena);
}

/* Three screws define the plane exactly (K). */
static void three(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_tram_reading r[] = {{20, 20, 0.00, 0}, {200, 20, 0.15, 0}, {110, 200, 0.28, 0}};
    const po_tram_screw screws[] = {{20, 20, 0.5, false}, {200, 20, 0.5, false}, {110, 200, 0.5, false}};
    po_tram_setup s = usual;
    s.screws = screws;
    s.n_screws = 3;
    const po_tram *t = made(r, 3, &s, arena);
    assert_float_equal(t->a, 0.00083333, 1e-8);
    assert_float_equal(t->b, 0.00113889, 1e-8);
    assert_float_equal(t->c, -0.03944444, 1e-8);
    assert_true(isnan(t->scatter_mm) && isnan(t->turns[1].error_mm) && t->after_mm < 1e-12);
    po_arena_free(arena);
}

static double noise(uint64_t *seed) /* about normal, deviation 1 */
{
    double sum = 0;
    for (int i = 0; i < 12; i++) {
        *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*seed >> 11) / 9007199254740992.0;
    }
    return sum - 6;
}

/* Many beds of known tilt: the error of each turn holds the truth in 95 of 100; good rounds name no blunder, a slip of a turn is always
 * named, and then the turns are right all the same. */
static void many(void **state)
{
    (void)state;
    uint64_t seed = 5;
    enum { ROUNDS = PO_ROUNDS(300, 30) };
    int held = 0, asked = 0, named = 0, false_names = 0;
    for (int round = 0; round < ROUNDS; round++) {
        po_arena *arena = po_arena_new(0);
        po_tram_reading r[25];
        double a = 0.002 * noise(&seed), b = 0.002 * noise(&seed);
        for (int i = 0; i < 25; i++) {
            double x = 20 + 45 * (i % 5), y = 20 + 45 * (i / 5);
            r[i] = (po_tram_reading){x, y, 0.3 + a * x + b * y + 0.01 * noise(&seed), 0};
        }
        const po_tram *t = made(r, 25, &usual, arena);
        false_names += (int)t->n_blunders;
        for (int k = 1; k < 4; k++) {
            double truth = -(a * (m3[k].x_mm - 30) + b * (m3[k].y_mm - 30));
            held += fabs(t->turns[k].move_mm - truth) <= t->turns[k].error_mm;
            asked++;
        }
        int slip = (int)((seed >> 20) % 25);
        r[slip].z_mm += (round & 1) ? 0.5 : -0.5;
        t = made(r, 25, &usual, arena);
        bool right = t->n_blunders == 1 && t->blunders[0].reading == (size_t)slip &&
                     t->blunders[0].turns == ((round & 1) ? 1 : -1);
        named += right;
        double truth = -(a * 160 + b * 160);
        assert_true(fabs(t->turns[2].move_mm - truth) < 0.04);
        po_arena_free(arena);
    }
    assert_in_range(held, asked * 92 / 100, asked * 98 / 100);
    assert_in_range(named, ROUNDS * 97 / 100, ROUNDS);
    assert_in_range(false_names, 0, ROUNDS / 100);
}

/* A bowl is no blunder and no tilt: the screws are left, the warp is told. */
static void bowl(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_tram_reading r[25];
    for (int i = 0; i < 25; i++) {
        double x = 20 + 45 * (i % 5), y = 20 + 45 * (i / 5);
        r[i] = (po_tram_reading){x, y, 0.22 * ((x - 110) * (x - 110) + (y - 110) * (y - 110)) / 16200, 0};
    }
    const po_tram *t = made(r, 25, &usual, arena);
    assert_int_equal(t->verdict, PO_TRAM_WARPED);
    assert_int_equal(t->n_blunders, 0);
    for (int i = 0; i < 4; i++) {
        assert_true(t->turns[i].within);
    }
    assert_float_equal(t->before_mm, 0.22, 1e-9);
    assert_float_equal(t->after_mm, 0.22, 1e-9);
    assert_true(t->share_within > 0.2 && t->share_within < 0.8);
    for (int i = 0; i < 25; i++) {
        r[i].z_mm *= 2;
    }
    assert_int_equal(made(r, 25, &usual, arena)->verdict, PO_TRAM_BENT);
    for (int i = 0; i < 25; i++) {
        r[i].z_mm = 0.4;
    }
    t = made(r, 25, &usual, arena);
    assert_int_equal(t->verdict, PO_TRAM_LEVEL);
    assert_float_equal(t->share_within, 1, 1e-12);
    po_arena_free(arena);
}

static void second_round(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    po_tram_reading r[9], after[9];
    for (int i = 0; i < 9; i++) {
        double x = 20 + 90 * (i % 3), y = 20 + 90 * (i / 3);
        r[i] = (po_tram_reading){x, y, 0.0015 * x, 0};
    }
    const struct {
        double slope; /* of the bed afterwards */
        po_tram_next wanted;
    } rows[] = {{0, PO_TRAM_DONE},
                {0.0015, PO_TRAM_NOT_TURNED},
                {0.003, PO_TRAM_WRONG_WAY},
                {-0.0008, PO_TRAM_TOO_FAR},
                {0.0007, PO_TRAM_SHORT}};
    const po_tram *before = made(r, 9, &usual, arena);
    for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
        po_tram_next next[4];
        for (int i = 0; i < 9; i++) {
            after[i] = r[i];
            after[i].z_mm = rows[k].slope * r[i].x_mm;
        }
        po_tram_compare(before, made(after, 9, &usual, arena), &usual, next);
        assert_int_equal(next[0], PO_TRAM_DONE);
        assert_int_equal(next[1], rows[k].wanted);
        assert_int_equal(next[2], rows[k].wanted);
        assert_int_equal(next[3], PO_TRAM_DONE);
    }
    po_arena_free(arena);
}

static void texts(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_tram_reading *r;
    size_t n;
    po_err err;
    const char good[] = "x,y,z\r\n30, 30, 0.10\r\n190;30;220um # corner\n\n190\t190\t0.30mm";
    assert_int_equal(po_tram_read(good, strlen(good), "bed.csv", PO_TRAM_PROBE, arena, &r, &n, &err), PO_OK);
    assert_int_equal(n, 3);
    assert_float_equal(r[1].z_mm, 0.22, 1e-12);
    assert_int_equal(r[2].line, 5);
    const char paper[] = "0 0 light\n100 0 firm\n0 100 free\n";
    assert_int_equal(po_tram_read(paper, strlen(paper), "p", PO_TRAM_PAPER, arena, &r, &n, &err), PO_OK);
    assert_true(r[1].z_mm > r[0].z_mm && r[0].z_mm > r[2].z_mm); /* more drag: a higher bed */
    const char gaps[] = "0 0 0.1\n1 0 0.2\n0 1 0.1\n";
    assert_int_equal(po_tram_read(gaps, strlen(gaps), "p", PO_TRAM_FEELER, arena, &r, &n, &err), PO_OK);
    assert_float_equal(r[1].z_mm, -0.2, 1e-12);
    static const struct {
        const char *text;
        po_tram_kind kind;
        po_status wanted;
        uint32_t line;
        const char *says;
    } bad[] = {
        {"30 30 0.1\n190 30 120\n", PO_TRAM_PROBE, PO_E_RANGE, 2, "write the unit"},
        {"30 30 0.1\n190 30\n", PO_TRAM_PROBE, PO_E_SYNTAX, 2, "found less"},
        {"30 30 0.1\n190 30 0.1 7\n", PO_TRAM_PROBE, PO_E_SYNTAX, 2, "found more"},
        {"30 30 0.1\n190 thirty 0.1\n", PO_TRAM_PROBE, PO_E_SYNTAX, 2, "found \"thirty\""},
        {"30 30 0.1\n190 30 0.1in\n", PO_TRAM_PROBE, PO_E_SYNTAX, 2, "a length in mm"},
        {"30 30 -0.1\n", PO_TRAM_FEELER, PO_E_RANGE, 1, "not less than nothing"},
        {"30 30 heavy\n", PO_TRAM_PAPER, PO_E_SYNTAX, 1, "blocked, firm"},
        {"# nothing\n", PO_TRAM_PROBE, PO_E_EMPTY, 0, "no readings"},
        {"", PO_TRAM_PROBE, PO_E_EMPTY, 0, "no readings"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_int_equal(po_tram_read(bad[i].text, strlen(bad[i].text), "b", bad[i].kind, arena, &r, &n, &err),
                         bad[i].wanted);
        assert_int_equal(err.line, bad[i].line);
        assert_non_null(strstr(err.msg, bad[i].says));
    }
    assert_float_equal(po_tram_pitch("M3"), 0.5, 0);
    assert_float_equal(po_tram_pitch("m5"), 0.8, 0);
    assert_float_equal(po_tram_pitch("M7"), 0, 0);
    po_arena_free(arena);
}

static void refused(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_tram *t;
    po_err err;
    const po_tram_reading line[] = {{0, 0, 0, 0}, {50, 50, 0.1, 0}, {100, 100, 0.2, 0}, {150, 150.2, 0.3, 0}};
    assert_int_equal(po_tram_make(line, 2, &usual, arena, &t, &err), PO_E_EMPTY);
    assert_int_equal(po_tram_make(line, 4, &usual, arena, &t, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "on one line"));
    const po_tram_reading good[] = {{0, 0, 0, 0}, {200, 0, 0.1, 0}, {0, 200, 0.2, 0}, {200, 200, NAN, 0}};
    assert_int_equal(po_tram_make(good, 4, &usual, arena, &t, &err), PO_E_RANGE);
    po_tram_screw screws[] = {{0, 0, 0.5, false}, {100, 0, 0.5, false}, {200, 0, 0.5, false}};
    po_tram_setup s = usual;
    s.screws = screws;
    s.n_screws = 3;
    assert_int_equal(po_tram_make(good, 3, &s, arena, &t, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "screws stand on one line"));
    screws[2] = (po_tram_screw){100, 200, 0, false};
    assert_int_equal(po_tram_make(good, 3, &s, arena, &t, &err), PO_E_RANGE);
    assert_non_null(strstr(err.msg, "pitch"));
    s.n_screws = 2;
    assert_int_equal(po_tram_make(good, 3, &s, arena, &t, &err), PO_E_RANGE);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(worked),       cmocka_unit_test(three), cmocka_unit_test(many),    cmocka_unit_test(bowl),
        cmocka_unit_test(second_round), cmocka_unit_test(texts), cmocka_unit_test(refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
