/* Each sighting of the middle of the job floor: tripped, and not tripped by its ordinary neighbour.
 * SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "job/try_job.h"

#define NO_WAIT_HEAD "G28\nG29\nG90\nM83\nM140 S60\nM104 S220\nG1 Z0.2 F600\nG1 X20 Y20 F6000\n"
#define HIGH "G1 Z5 F600\nG1 X20 Y20 F6000\nG1 X60 E1 F1800\nG1 Y60 E1\nG1 X20 E1\nG1 Y20 E1\n"
#define R10                                                                                                            \
    "G1 E-1 F1800\nG1 E1\nG1 E-1\nG1 E1\nG1 E-1\nG1 E1\nG1 E-1\nG1 E1\nG1 E-1\nG1 E1\n"                                \
    "G1 E-1 F1800\nG1 E1\nG1 E-1\nG1 E1\nG1 E-1\nG1 E1\nG1 E-1\nG1 E1\nG1 E-1\nG1 E1\n"

typedef struct row {
    po_sight sight;
    try_machine machine;
    double worst;  /* NAN: not looked at */
    uint64_t line; /* of the first; 0: not looked at */
    const char *bad;
    const char *good;
} row;

static const row ROWS[] = {
    /* the machine's room */
    {PO_SIGHT_KEEP_OUT, TRY_PLAIN, 5, 16, TRY_HEAD TRY_BODY "G1 X185 Y190 F6000\nG1 X100 Y100\nG1 X110 E1\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G1 Z15 F600\nG1 X190 Y190 F6000\nG1 X100 Y100\nG1 Z0.2 F600\nG1 X170 Y195\n" TRY_TAIL},
    {PO_SIGHT_KEEP_OUT, TRY_PLAIN, NAN, 17, /* straight across the corner, both ends outside */
     TRY_HEAD TRY_BODY "G1 X178 Y203 F6000\nG1 X203 Y178\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G1 X150 Y170 F6000\nG1 X170 Y150\n" TRY_TAIL},
    {PO_SIGHT_KEEP_OUT, TRY_PLAIN, NAN, 7,
     "G28 X\nG1 X30 Y30 F6000\nG28\nG90\nM83\nG1 X20 Y20 F6000\nG1 X190 Y190\n" TRY_BODY TRY_TAIL,
     "G28\nG90\nM83\nM109 S220\nG1 X203 Y203 F6000\nG1 Y100\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_REACH, TRY_PLAIN, 5, 16, TRY_HEAD TRY_BODY "G1 X210 F6000\nG1 X20\nG1 X30 E0.3\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G1 X205 F6000\nG1 X-2\nG1 X30 E0.3\n" TRY_TAIL},
    {PO_SIGHT_REACH, TRY_PLAIN, 8, 17, /* an arc that bulges out between ends that do not: radius 13 about x 200 */
     TRY_HEAD TRY_BODY "G1 X200 Y87 F6000\nG3 X200 Y113 I0 J13\nG1 X30 F6000\nG1 X40 E0.3\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G1 X200 Y87 F6000\nG2 X200 Y113 I0 J13\nG1 X30 F6000\nG1 X40 E0.3\n" TRY_TAIL},
    {PO_SIGHT_REACH_PARKING, TRY_PLAIN, 10, 0, TRY_HEAD TRY_BODY "G1 E-1 F1800\nG1 Z200 F600\nM104 S0\nM140 S0\nM84\n",
     TRY_HEAD TRY_BODY TRY_TAIL},
    {PO_SIGHT_TOO_TALL, TRY_PLAIN, 1, 17, TRY_HEAD TRY_BODY "G1 Z181 F600\nG1 X60 E1\nG1 X20 E1\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G1 Z180 F600\nG1 X60 E1\nG1 Z185\n" TRY_TAIL},
    {PO_SIGHT_BELOW_BED, TRY_PLAIN, 0.1, 16, TRY_HEAD TRY_BODY "G1 Z-0.1 F600\nG1 Z0.2\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G1 Z-0.004 F600\nG1 Z0.2\nG1 X202 F6000\nG1 Z-0.1 F600\nG1 Z1\nG1 X20\n" TRY_TAIL},
    {PO_SIGHT_HOMES_INTO_PART, TRY_PLAIN, NAN, 22, TRY_HEAD TRY_BODY HIGH "G28 Z\n" TRY_TAIL,
     TRY_HEAD TRY_BODY HIGH "G1 X5 Y5 F6000\nG28\n" TRY_TAIL},
    {PO_SIGHT_HOMES_INTO_PART, TRY_PLAIN, NAN, 22, TRY_HEAD TRY_BODY HIGH "G29\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G28 X Y\n" TRY_TAIL},
    {PO_SIGHT_NOT_HOMED, TRY_PLAIN, NAN, 3, "G90\nG1 Z5 F600\nG1 X10 F6000\nG28\n" TRY_HEAD TRY_BODY TRY_TAIL,
     "G91\nG1 Z5 F600\nM83\nG1 E1\nG90\n" TRY_HEAD TRY_BODY TRY_TAIL},
    {PO_SIGHT_SKIPS_PROBE, TRY_PLAIN, NAN, 0, "G28\nG90\nM83\nM109 S220\nG1 X20 Y20 Z0.2 F6000\n" TRY_BODY TRY_TAIL,
     TRY_HEAD TRY_BODY TRY_TAIL},
    /* heat */
    {PO_SIGHT_PUSHES_COLD, TRY_PLAIN, 160, 13, TRY_HEAD "M104 S160\n" TRY_BODY TRY_TAIL,
     TRY_HEAD "M104 S180\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_PUSHES_COLD, TRY_PLAIN, 0, 0, TRY_HEAD TRY_BODY "M104 S0\nG1 X60 E1.5\nG1 X20 E1.5\n" TRY_TAIL,
     /* pulled back and pushed again, and the last of it, while still hot */
     TRY_HEAD TRY_BODY "M104 S0\nG1 X40 E0.5\nG1 E-5 F1800\nG1 E5\nG1 E-5\n" TRY_TAIL},
    {PO_SIGHT_NEVER_HEATED, TRY_PLAIN, NAN, 4, "G28\nG90\nM83\nG1 X20 Y20 Z0.2 E0.1 F6000\n" TRY_BODY TRY_TAIL,
     TRY_HEAD TRY_BODY TRY_TAIL},
    {PO_SIGHT_NOZZLE_TOO_HOT, TRY_PLAIN, 261, 16, TRY_HEAD TRY_BODY "M104 S261\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "M104 S260\n" TRY_TAIL},
    {PO_SIGHT_BED_TOO_HOT, TRY_PLAIN, 101, 16, TRY_HEAD TRY_BODY "M140 S101\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "M140 S100\n" TRY_TAIL},
    {PO_SIGHT_NO_NOZZLE_WAIT, TRY_PLAIN, NAN, 9, NO_WAIT_HEAD TRY_BODY TRY_TAIL, TRY_HEAD TRY_BODY TRY_TAIL},
    {PO_SIGHT_NO_BED_WAIT, TRY_PLAIN, NAN, 9, NO_WAIT_HEAD TRY_BODY TRY_TAIL,
     /* a purge line before the wait for the bed */
     "G28\nG29\nG90\nM83\nM140 S60\nM109 S220\nG1 Z0.2 F600\nG1 X20 Y5 F6000\nG1 X80 E5 F900\nG1 Z2\nM190 S60\nG1 X20 "
     "Y20 Z0.2\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_LEAVES_NOZZLE_ON, TRY_PLAIN, 220, 0, TRY_HEAD TRY_BODY "G1 Z30 F600\nM140 S0\nM84\n",
     TRY_HEAD TRY_BODY TRY_TAIL},
    {PO_SIGHT_LEAVES_BED_ON, TRY_PLAIN, 60, 0, TRY_HEAD TRY_BODY "G1 Z30 F600\nM104 S0\nM84\n",
     TRY_HEAD TRY_BODY TRY_TAIL},
    {PO_SIGHT_SITS_HOT, TRY_PLAIN, 900, 16, TRY_HEAD TRY_BODY "G4 S900\nG1 E1 F300\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "M104 S0\nG4 S900\nM109 S220\nG1 E1 F300\n" TRY_TAIL},
    /* the file */
    {PO_SIGHT_DAMAGED, TRY_PLAIN, NAN, 16, TRY_HEAD TRY_BODY "G1 X1.2.3\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "; X1.2.3\n" TRY_TAIL},
    {PO_SIGHT_CUT_SHORT, TRY_PLAIN, NAN, 0, TRY_HEAD TRY_BODY, TRY_HEAD TRY_BODY "M104 S0"},
    {PO_SIGHT_CUT_SHORT, TRY_PLAIN, NAN, 0, TRY_HEAD TRY_BODY "G1 X30 F6000\nG1 E-1", TRY_HEAD TRY_BODY "G1 Z20\n"},
    {PO_SIGHT_CUT_SHORT, TRY_PLAIN, NAN, 0, TRY_HEAD TRY_BODY TRY_TAIL "G1 X", TRY_HEAD TRY_BODY TRY_TAIL "G1 X10"},
    {PO_SIGHT_STORES_SETTINGS, TRY_PLAIN, NAN, 16, TRY_HEAD TRY_BODY "M500\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "M503\n" TRY_TAIL},
    {PO_SIGHT_NEEDS_TOOL, TRY_PLAIN, 1, 14, TRY_HEAD "T1\nM109 S220\n" TRY_BODY TRY_TAIL,
     TRY_HEAD "T0\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_NEEDS_TOOL, TRY_PAIR, 2, 14, TRY_HEAD "T2\nM109 S220\n" TRY_BODY TRY_TAIL,
     TRY_HEAD "T1\nM109 S220\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_HEATS_TOOL, TRY_PLAIN, 1, 12, TRY_HEAD "M104 T1 S200\n" TRY_BODY TRY_TAIL,
     TRY_HEAD "M104 T1 S0\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_NEEDS_HANDS, TRY_PLAIN, NAN, 16, TRY_HEAD TRY_BODY "M600\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "M400\n" TRY_TAIL},
    {PO_SIGHT_LOOSENS_LIMITS, TRY_PLAIN, 3, 16, TRY_HEAD TRY_BODY "M204 P3000\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "M204 P1000 T800\n" TRY_TAIL},
    {PO_SIGHT_SHIFTS_ORIGIN, TRY_PLAIN, 0.2, 0, TRY_HEAD TRY_BODY TRY_TAIL "G92 Z30.2\n",
     TRY_HEAD "G92 Z0.4\nG1 Z0.6\nG92 Z0.4 E0\n" TRY_BODY TRY_TAIL "G92 E0\n"},
    {PO_SIGHT_TUNES, TRY_PLAIN, NAN, 0, TRY_HEAD "M221 S95\n" TRY_BODY TRY_TAIL,
     TRY_HEAD "M221 S95\n" TRY_BODY "M221 S100\n" TRY_TAIL},
    {PO_SIGHT_UNKNOWN_WORD, TRY_PLAIN, NAN, 16, TRY_HEAD TRY_BODY "M7776\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "M7777\nm7777\n" TRY_TAIL},
    {PO_SIGHT_BAD_ARC, TRY_PLAIN, 0.2, 16, TRY_HEAD TRY_BODY "G2 X40.2 Y20 I10 J0 E1\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G2 X40 Y20 I10 J0 E1\n" TRY_TAIL},
    {PO_SIGHT_FEED_MODE, TRY_PLAIN, NAN, 0,
     "M83\nG28\nG29\nM109 S220\nG90\nG1 X20 Y20 Z0.2 F6000\n" TRY_BODY TRY_BODY TRY_TAIL,
     "G90\nM83\nG28\nG29\nM109 S220\nG1 X20 Y20 Z0.2 F6000\n" TRY_BODY TRY_BODY TRY_TAIL},
    {PO_SIGHT_TWO_JOBS, TRY_PLAIN, NAN, 32, TRY_HEAD TRY_BODY TRY_TAIL TRY_HEAD TRY_BODY TRY_TAIL,
     TRY_HEAD TRY_BODY "M104 S0\nM109 S215\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_NO_FEED, TRY_PLAIN, NAN, 5, "G28\nG90\nM83\nM109 S220\nG1 X20 Y20 Z0.2\n" TRY_BODY TRY_TAIL,
     TRY_HEAD TRY_BODY TRY_TAIL},
    {PO_SIGHT_GRINDS, TRY_PLAIN, 11, 0, TRY_HEAD TRY_BODY R10 TRY_TAIL,
     TRY_HEAD "G1 E-1 F1800\nG1 E1\n" TRY_BODY TRY_TAIL},
    {PO_SIGHT_RETRACTS_FAR, TRY_PLAIN, 8, 16, TRY_HEAD TRY_BODY "G1 E-8 F1800\nG1 E8\nG1 X30 E0.3\n" TRY_TAIL,
     TRY_HEAD TRY_BODY "G1 E-8 F1800\nM104 S0\n" TRY_TAIL},
};

static char *first_differing(const po_job_report *r)
{
    static char text[256];
    size_t n = 0;
    text[0] = 0;
    for (int s = 0; s < PO_SIGHT_COUNT && n < sizeof text - 16; s++) {
        if (r->sights[s].count) {
            n += (size_t)snprintf(text + n, sizeof text - n, " %d", s);
        }
    }
    return text;
}

static void each_sighting(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        const row *w = &ROWS[i];
        po_arena *arena;
        po_status status;
        const po_job_report *r = try_text(w->bad, strlen(w->bad), w->machine, false, &arena, &status);
        assert_int_equal(status, PO_OK);
        const po_sighting *s = &r->sights[w->sight];
        if (s->count == 0 || (w->line && s->first.line != w->line) ||
            (!isnan(w->worst) && fabs(s->worst - w->worst) > 1e-6)) {
            fail_msg("row %zu, sight %d: count %llu, line %llu, worst %g; seen are%s", i, (int)w->sight,
                     (unsigned long long)s->count, (unsigned long long)s->first.line, s->worst, first_differing(r));
        }
        assert_true(s->first.known && s->worst_at.known);
        po_arena_free(arena);
        r = try_text(w->good, strlen(w->good), w->machine, false, &arena, &status);
        assert_int_equal(status, PO_OK);
        if (r->sights[w->sight].count) {
            fail_msg("row %zu, sight %d: seen in line %llu (worst %g) of an ordinary program", i, (int)w->sight,
                     (unsigned long long)r->sights[w->sight].first.line, r->sights[w->sight].worst);
        }
        po_arena_free(arena);
    }
}

/* Nothing at all is seen in an ordinary job. */
static void nothing_in_an_ordinary_job(void **state)
{
    (void)state;
    static const char *const jobs[] = {
        TRY_HEAD TRY_BODY TRY_TAIL,
        "G21\nM104 S220\nM140 S60\nG28\nG29\nM190 S60\nM109 S220\nT0\nG90\nM82\nG92 E0\nM106 P1 S255\nM107\n"
        "G1 X5 Y5 Z0.3 F6000\nG1 X100 E9 F900\nG92 E0\nG1 E-1 F1800\nG1 X20 Y20 F6000\nG1 E0\nG1 X60 E1.5 F1800\n"
        "M106 S255\nG1 Y60 E3\nG1 E2 F1800\nG92 E0\nM104 S0\nM140 S0\nG28 X0 Y0\nM84\n",
    };
    for (size_t i = 0; i < sizeof jobs / sizeof *jobs; i++) {
        po_arena *arena;
        po_status status;
        const po_job_report *r = try_text(jobs[i], strlen(jobs[i]), TRY_PLAIN, false, &arena, &status);
        assert_int_equal(status, PO_OK);
        for (int s = 0; s < PO_SIGHT_COUNT; s++) {
            if (s != PO_SIGHT_SITS_HOT && s != PO_SIGHT_RETRACTS_FAR && r->sights[s].count) {
                fail_msg("job %zu: sight %d in line %llu", i, s, (unsigned long long)r->sights[s].first.line);
            }
        }
        assert_true(r->sights[PO_SIGHT_SITS_HOT].count == 0 || r->sights[PO_SIGHT_SITS_HOT].worst < 120);
        assert_true(r->sights[PO_SIGHT_RETRACTS_FAR].count == 0 || r->sights[PO_SIGHT_RETRACTS_FAR].worst <= 1);
        po_arena_free(arena);
    }
}

/* Places carry the time of their move, also where the planner answers late. */
static void places_have_times(void **state)
{
    (void)state;
    /* 10 s dwell; home 9, probe 20, bed (60 - 20) / 0.5 = 80, nozzle (220 - 20) / 2 = 100; then motion to the moves */
    const char *text = TRY_HEAD "G4 S10\n" TRY_BODY "G1 X210 F6000\nG1 X20\nG1 X30 E0.3 F1800\n" TRY_TAIL;
    po_arena *arena;
    po_status status;
    const po_job_report *r = try_text(text, strlen(text), TRY_PLAIN, false, &arena, &status);
    assert_int_equal(status, PO_OK);
    const po_sighting *s = &r->sights[PO_SIGHT_REACH];
    assert_int_equal(s->count, 1);
    /* Z 5 up: 5/10 + 10/1000; X 20 Y 20 at 100: L = 28.2843, accelerations sqrt(2) times the axes' allowed but 1000 for
     * travels: L/100 + 100/1000; Z 4.8 down. The corners between them are below 1 (Z may jump 1 mm/s): bounds only. */
    double least = 9 + 20 + 80 + 100 + 10 + 5 / 10.0 + 28.2843 / 100 + 4.8 / 10 + 160 / 30.0;
    assert_true(s->first.seconds > least && s->first.seconds < least + 0.6);
    assert_true(s->first.seconds == s->worst_at.seconds);
    po_arena_free(arena);
}

static void words_are_listed(void **state)
{
    (void)state;
    const char *text = TRY_HEAD "M7771\nM7772\nM7772\nG777\nM7777\n" TRY_BODY "M0\nM600\nM25\n" TRY_TAIL;
    po_arena *arena;
    po_status status;
    const po_job_report *r = try_text(text, strlen(text), TRY_PLAIN, false, &arena, &status);
    assert_int_equal(status, PO_OK);
    assert_string_equal(r->sights[PO_SIGHT_UNKNOWN_WORD].text, "M7772, M7771, G777");
    assert_int_equal(r->sights[PO_SIGHT_UNKNOWN_WORD].count, 4);
    assert_int_equal(r->facts.n_unknown_words, 3);
    assert_int_equal(r->facts.n_hands, 3);
    assert_string_equal(r->facts.hands[1].word, "M600");
    assert_int_equal(r->facts.hands[1].line, 22);
    assert_float_equal(r->facts.hands[1].z, 0.2, 1e-9);
    assert_true(r->facts.hands[1].seconds > 200);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_sighting),
        cmocka_unit_test(nothing_in_an_ordinary_job),
        cmocka_unit_test(places_have_times),
        cmocka_unit_test(words_are_listed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
