/* The ordinary job, grades by the shop, order, merging, clock, cooling, the table and its document.
 * SPDX-License-Identifier: Apache-2.0
 * Outside sources: handbook 7.6 (cooling: 60 to 40 C in a room of 22 C, tau 15 min, takes 11.208216 min), 3.3 (time within
 * 5 %), the issue's list of findings and grades. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "proof/bench_report.h"
#include "proof/judge.h"

static void an_ordinary_job_is_clear(void **state)
{
    (void)state;
    bench *b = bench_new();
    const po_proof *p = bench_judge(b);
    for (size_t i = 0; i < p->n_findings; i++) {
        fail_msg("%s: %s", p->findings[i].name, p->findings[i].says);
    }
    assert_int_equal(p->verdict, PO_CLEAR);
    assert_non_null(p->recipe);
    assert_string_equal(p->recipe->name, "everyday");
    assert_string_equal(
        p->aloud, "Alder can print this: 5.4 m of petg, about 1 h 16 min; stay for the first 30 min of printing.");
    assert_int_equal(p->n_changed_rules, 0);
    assert_float_equal(p->seconds.low, 4560 * 0.95, 1e-9);
    assert_float_equal(p->seconds.high, 4560 * 1.05, 1e-9);
    assert_string_equal(p->ranges_from, "model");
    bench_done(b);
}

/* What ordinary files do besides: none of it is worth more than a note. */
static void ordinary_ways_are_no_alarm(void **state)
{
    (void)state;
    bench *b = bench_new();
    po_job_facts *f = &b->report.facts;
    bench_move(b->nozzle[0], 240, 250, 0.036); /* hotter first layer, at the band's top */
    bench_move(b->bed, 75, 90, 0.036);         /* and bed */
    b->tools[0].nozzle_c = (po_heat_facts){250, 240, 250};
    f->bed_c = (po_heat_facts){90, 75, 90};
    bench_see(b, PO_SIGHT_BRIDGE, 9);
    bench_see(b, PO_SIGHT_ON_AIR, 1.2);
    bench_see(b, PO_SIGHT_OVERHANG, 3);
    bench_see(b, PO_SIGHT_SITS_HOT, 200);
    bench_see(b, PO_SIGHT_GRINDS, 6);
    bench_see(b, PO_SIGHT_RETRACTS_FAR, 0.9);
    bench_see(b, PO_SIGHT_SKIPS_PROBE, 0);
    f->overhang_mm = 40;
    f->over_fill_mm = 6000;
    f->across_gap_mm = 900;
    f->fill_fraction = NAN; /* none measured */
    f->walls = NAN;
    f->roofs = NAN;
    b->parts[1].aid = true;
    b->parts[1].foothold_mm2 = 3;
    f->n_parts = 2;
    bench_judge(b);
    for (size_t i = 0; i < b->proof->n_findings; i++) {
        if (b->proof->findings[i].grade > PO_GRADE_NOTE) {
            fail_msg("%s: %s", b->proof->findings[i].name, b->proof->findings[i].says);
        }
    }
    assert_int_equal(b->proof->verdict, PO_CLEAR);
    bench_done(b);
}

/* Facts that were not measured (deposit left out) trip nothing. */
static void unknown_is_no_fault(void **state)
{
    (void)state;
    bench *b = bench_new();
    po_job_facts *f = &b->report.facts;
    po_job_facts bare = {.tools = f->tools, .n_tools = 1, .extruding_mm = f->extruding_mm, .lines = 9};
    bare.filament_mm = f->filament_mm;
    bare.layer_height_mm = bare.first_layer_height_mm = bare.first_layer_mm_s = bare.bead_width_mm = NAN;
    bare.fill_fraction = bare.walls = bare.roofs = bare.floors = bare.last_bed_c = bare.on_air_mm = NAN;
    bare.across_gap_mm = bare.over_fill_mm = bare.foothold_mm2 = bare.overhang_mm = bare.longest_bridge_mm = NAN;
    bare.seconds = bare.first_bead_seconds = bare.first_layer_seconds = bare.usual_bead_mm_s = NAN;
    for (int i = 0; i < 3; i++) {
        bare.bounds_mm.min[i] = bare.bounds_mm.max[i] = NAN;
    }
    b->tools[0] = (po_tool_facts){.tool = 0, .extruding_mm = 100, .filament_mm = 10, .bead_width_mm = NAN};
    b->tools[0].layer_height_mm = b->tools[0].sustained_flow_mm3_s = b->tools[0].bead_area_mm2 = NAN;
    b->tools[0].filament_net_mm = b->tools[0].filament_g = NAN;
    *f = bare;
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30}, 600};
    bench_judge(b);
    for (size_t i = 0; i < b->proof->n_findings; i++) {
        fail_msg("%s: %s", b->proof->findings[i].name, b->proof->findings[i].says);
    }
    assert_null(b->proof->recipe);
    assert_false(b->proof->start_known);
    assert_true(isnan(b->proof->cool_seconds));
    bench_done(b);
}

static void set_grade(bench *b, const char *finding, po_grade grade)
{
    b->grades[b->shop.rules.n_grades++] = (po_grade_change){finding, grade};
    b->shop.rules.grades = b->grades;
}

static void the_shop_grades_and_says_so(void **state)
{
    (void)state;
    bench *b = bench_new();
    bench_see(b, PO_SIGHT_BRIDGE, 30);
    bench_see(b, PO_SIGHT_UNKNOWN_WORD, 0)->text = "M999";
    bench_see(b, PO_SIGHT_REACH_PARKING, 2);
    bench_see(b, PO_SIGHT_NO_FEED, 0);
    set_grade(b, "long-bridge", PO_GRADE_STOP);
    set_grade(b, "unknown-word", PO_GRADE_OFF);
    set_grade(b, "Reaches-Too-Far", PO_GRADE_STOP); /* the default: no change, and a parking lift stays an ask */
    set_grade(b, "no-feed", PO_GRADE_ASK);
    set_grade(b, "grinds-filament", PO_GRADE_OFF);
    set_grade(b, "leavs-the-bed", PO_GRADE_NOTE);
    const po_proof *p = bench_judge(b);
    assert_int_equal(bench_finding(b, "long-bridge")->grade, PO_GRADE_STOP);
    assert_int_equal(bench_finding(b, "long-bridge")->default_grade, PO_GRADE_ASK);
    assert_null(bench_finding(b, "unknown-word"));
    assert_int_equal(bench_finding(b, "reaches-too-far")->grade, PO_GRADE_ASK);
    assert_int_equal(bench_finding(b, "no-feed")->grade, PO_GRADE_ASK);
    assert_int_equal(p->verdict, PO_STOP);
    assert_int_equal(p->n_changed_rules, 5);
    assert_string_equal(p->changed_rules[0],
                        "This shop grades long-bridge as \"stop\" (usually: ask). It applies to this job.");
    assert_string_equal(p->changed_rules[1],
                        "This shop has switched off unknown-word (usually: ask). It applies to this job.");
    assert_string_equal(p->changed_rules[3], "This shop has switched off grinds-filament (usually: ask).");
    assert_non_null(strstr(p->changed_rules[4], "the nearest is leaves-the-bed"));
    bench_done(b);
}

/* A finding milder than usual by its own degree is lowered by the shop, never raised. */
static void milder_degrees_stay_mild(void **state)
{
    (void)state;
    bench *b = bench_new();
    bench_see(b, PO_SIGHT_TUNES, 0)->text = "M221";
    set_grade(b, "shifts-origin", PO_GRADE_STOP);
    bench_judge(b);
    assert_int_equal(bench_finding(b, "shifts-origin")->grade, PO_GRADE_NOTE);
    bench_done(b);

    b = bench_new();
    b->tools[0].sustained_flow_mm3_s = 30; /* graver than usual: the shop's word counts */
    set_grade(b, "melts-too-fast", PO_GRADE_NOTE);
    bench_judge(b);
    assert_int_equal(bench_finding(b, "melts-too-fast")->grade, PO_GRADE_NOTE);
    assert_int_equal(b->proof->verdict, PO_CLEAR);
    bench_done(b);
}

static void graver_ones_come_first(void **state)
{
    (void)state;
    bench *b = bench_new();
    bench_see(b, PO_SIGHT_NO_FEED, 0);
    bench_see(b, PO_SIGHT_BRIDGE, 30);
    bench_see(b, PO_SIGHT_OFF_BED, 3);
    bench_see(b, PO_SIGHT_STORES_SETTINGS, 0)->text = "M500";
    bench_see(b, PO_SIGHT_NEEDS_HANDS, 0)->text = "M600";
    const po_proof *p = bench_judge(b);
    assert_int_equal(p->n_findings, 5);
    static const char *const wanted[] = {"stores-settings", "leaves-the-bed", "needs-hands", "long-bridge", "no-feed"};
    for (size_t i = 0; i < 5; i++) {
        assert_string_equal(p->findings[i].name, wanted[i]);
    }
    assert_int_equal(p->verdict, PO_STOP);
    assert_string_equal(
        p->aloud, "Alder can't print this as it is. The file would change what the machine keeps for everybody: M500.");
    assert_int_equal(p->findings[1].where.line, 100);
    assert_int_equal(p->findings[1].sight, PO_SIGHT_OFF_BED);
    bench_done(b);
}

static void causes_are_merged(void **state)
{
    (void)state;
    bench *b = bench_new();
    bench_all(b->width[0], PO_WIDTH_BINS, 110); /* 1.1 x 0.45 mm: too wide and too thick for 0.4, lain by 0.8 */
    bench_all(b->height[0], PO_WIDTH_BINS, 45);
    b->tools[0].bead_width_mm = 0.9;
    b->tools[0].layer_height_mm = 0.45;
    b->tools[0].bead_area_mm2 = 0.37;
    bench_judge(b);
    assert_non_null(bench_finding(b, "wrong-nozzle"));
    assert_null(bench_finding(b, "bead-too-wide"));
    assert_null(bench_finding(b, "layer-too-thick"));
    set_grade(b, "wrong-nozzle", PO_GRADE_OFF); /* then its effects must be said */
    bench_judge(b);
    assert_null(bench_finding(b, "wrong-nozzle"));
    assert_non_null(bench_finding(b, "bead-too-wide"));
    assert_non_null(bench_finding(b, "layer-too-thick"));
    bench_done(b);
}

static void heat_left_on_by_clock(void **state)
{
    (void)state;
    bench *b = bench_new();
    bench_see(b, PO_SIGHT_LEAVES_BED_ON, 75);
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30},
                                      19 * 60}; /* Monday; the desk closes at 20:00, the end is at 20:16 */
    bench_judge(b);
    assert_int_equal(bench_finding(b, "leaves-heat-on")->grade, PO_GRADE_STOP);
    assert_non_null(strstr(bench_finding(b, "leaves-heat-on")->says, "20:16, nobody at the desk"));
    b->machine.switches_itself_off = true;
    bench_judge(b);
    assert_int_equal(bench_finding(b, "leaves-heat-on")->grade, PO_GRADE_ASK);
    b->machine.switches_itself_off = false;
    b->context.start.minute = 12 * 60;
    bench_judge(b);
    assert_int_equal(bench_finding(b, "leaves-heat-on")->grade, PO_GRADE_ASK);
    bench_done(b);
}

static void hands_by_clock(void **state)
{
    (void)state;
    bench *b = bench_new();
    bench_see(b, PO_SIGHT_NEEDS_HANDS, 0)->count = 2;
    b->hands[0] = (po_hands){"M600", 5000, 12.4, 2000};
    b->hands[1] = (po_hands){"M0", 9000, 20, 3000};
    b->report.facts.hands = b->hands;
    b->report.facts.n_hands = 2;
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30}, 10 * 60};
    bench_judge(b);
    assert_string_equal(
        bench_finding(b, "needs-hands")->says,
        "The machine stops and waits for a person 2 times, first at 12.4 mm height, 33 min after the start "
        "(about 10:34) (M600).");
    bench_done(b);
}

static void clock_watch_and_cooling(void **state)
{
    (void)state;
    bench *b = bench_new();
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30}, 10 * 60};
    b->machine.heat.room_c = 22;
    b->machine.heat.bed_tau_minutes = 15;
    b->report.facts.last_bed_c = 60;
    const po_proof *p = bench_judge(b);
    assert_float_equal(p->cool_seconds / 60, 11.208216, 1e-6); /* handbook 7.6 and 12, no. 17 */
    assert_float_equal(p->watch_seconds, 1800, 0);             /* 30 min; the first layer takes 150 s */
    assert_true(p->start_known);
    assert_int_equal(p->watch_until.minute, 10 * 60 + 36); /* 330 s + 1800 s = 35.5 min */
    assert_int_equal(p->end.minute, 11 * 60 + 16);         /* 76 min */
    assert_int_equal(p->cool.minute, 11 * 60 + 28);        /* 87.2 min */
    b->report.facts.first_layer_seconds = 330 + 2400;
    assert_float_equal(bench_judge(b)->watch_seconds, 2400, 0);
    b->shop.rules.watch_first_layer = false;
    assert_float_equal(bench_judge(b)->watch_seconds, 1800, 0);
    b->report.facts.last_bed_c = 40;
    assert_float_equal(bench_judge(b)->cool_seconds, 0, 0);
    b->report.facts.seconds = 1500; /* shorter than the watch */
    p = bench_judge(b);
    assert_int_equal(p->watch_until.minute, p->end.minute);
    assert_non_null(strstr(p->aloud, "stay until it is done"));
    bench_done(b);
}

static void absurd_numbers_stay_short(void **state)
{
    (void)state;
    bench *b = bench_new();
    for (int s = 0; s < PO_SIGHT_COUNT; s++) {
        po_sighting *seen = bench_see(b, (po_sight)s, s % 2 ? 1e300 : INFINITY);
        seen->first.x = seen->worst_at.y = -1e300;
        seen->first.z = 1e18;
        seen->text =
            "M1 and a text that is much longer than anybody at the desk would ever want to hear read out aloud to them";
    }
    po_job_facts *f = &b->report.facts;
    f->seconds = f->filament_mm = f->filament_g = 1e300;
    f->first_layer_height_mm = f->first_layer_mm_s = 1e300;
    b->tools[0].sustained_flow_mm3_s = 1e300;
    b->context.start_known = true;
    b->context.start = (po_wall_time){{2026, 11, 30}, 10 * 60};
    bench_judge(b);
    assert_true(b->proof->n_findings > 30);
    for (size_t i = 0; i < b->proof->n_findings; i++) {
        if (strlen(b->proof->findings[i].says) > 260) {
            fail_msg("%s", b->proof->findings[i].says);
        }
    }
    bench_done(b);
}

/* The issue's table: every name once, with its grade. */
static void the_table_is_the_issues(void **state)
{
    (void)state;
    static const char *const stop[] = {
        "leaves-the-bed",  "hits-keep-out", "reaches-too-far", "too-tall",       "below-the-bed",  "runs-into-part",
        "homes-into-part", "pushes-cold",   "beyond-rating",   "not-homed",      "damaged-file",   "cut-short",
        "stores-settings", "needs-tool",    "no-print",        "prints-on-air",  "missing-layers", "starts-in-the-air",
        "wrong-material",  "not-permitted", "wrong-nozzle",    "wrong-filament", "not-a-solid",    "too-big"};
    static const char *const ask[] = {"nozzle-out-of-band",
                                      "bed-out-of-band",
                                      "fan-out-of-band",
                                      "no-heat-wait",
                                      "leaves-heat-on",
                                      "sits-hot",
                                      "needs-hands",
                                      "loosens-limits",
                                      "shifts-origin",
                                      "unknown-word",
                                      "bad-arc",
                                      "feed-mode-doubtful",
                                      "two-jobs-in-one",
                                      "melts-too-fast",
                                      "bead-too-thin",
                                      "bead-too-wide",
                                      "layer-too-thick",
                                      "layer-too-quick",
                                      "first-layer-too-thick",
                                      "first-layer-too-thin",
                                      "first-layer-too-fast",
                                      "small-foothold",
                                      "tips-over",
                                      "may-lift",
                                      "grinds-filament",
                                      "retracts-too-far",
                                      "long-bridge",
                                      "steep-overhang",
                                      "few-roofs",
                                      "parks-on-part",
                                      "made-for-other-machine",
                                      "over-allowance",
                                      "machine-taken",
                                      "gap-unverified",
                                      "spool-short",
                                      "too-long",
                                      "watch-past-closing",
                                      "ends-unstaffed",
                                      "runs-alone",
                                      "hands-when-closed",
                                      "open-edges",
                                      "crowded-edges",
                                      "inside-out",
                                      "cuts-itself",
                                      "unit-suspect",
                                      "thin-walls",
                                      "other-part",
                                      "scaled",
                                      "mirrored",
                                      "incomplete"};
    static const char *const note[] = {"off-recipe",     "no-feed",        "skips-probe", "across-gap", "over-fill",
                                       "flat-triangles", "loose-shells",   "fits-turned", "slim-walls", "needs-support",
                                       "narrow-gaps",    "many-materials", "off-late"};
    static const struct {
        const char *const *names;
        size_t n;
        po_grade grade;
    } lists[] = {{stop, sizeof stop / sizeof *stop, PO_GRADE_STOP},
                 {ask, sizeof ask / sizeof *ask, PO_GRADE_ASK},
                 {note, sizeof note / sizeof *note, PO_GRADE_NOTE}};
    size_t n, wanted = 0;
    const po_rule_info *rules = po_rules_table(&n);
    for (size_t l = 0; l < 3; l++) {
        for (size_t i = 0; i < lists[l].n; i++, wanted++) {
            size_t found = 0;
            for (size_t k = 0; k < n; k++) {
                found += strcmp(rules[k].name, lists[l].names[i]) == 0 && rules[k].grade == lists[l].grade;
            }
            if (found != 1) {
                fail_msg("%s stands %zu times with that grade", lists[l].names[i], found);
            }
        }
    }
    assert_int_equal(n, wanted);
    for (size_t i = 0; i < n; i++) {
        assert_true(strlen(rules[i].compares) > 10 && strlen(rules[i].limit) > 2 && strlen(rules[i].cause) > 10);
        assert_true(strlen(rules[i].remedy) >= 8);
        if (strstr(rules[i].source, "handbook") == NULL && strstr(rules[i].source, "shop file") == NULL &&
            strstr(rules[i].source, "the measures") == NULL &&
            strstr(rules[i].source, "common practice, no published source") == NULL) {
            fail_msg("%s names no source: %s", rules[i].name, rules[i].source);
        }
        assert_true(rules[i].caution == NULL || strlen(rules[i].caution) > 10);
    }
    assert_ptr_equal(po_rule_find("Long-Bridge"), po_rule_find("long-bridge"));
    assert_null(po_rule_find("longbridge"));
    assert_string_equal(po_rule_nearest("longbridge"), "long-bridge");
    assert_non_null(po_rule_find(po_rule_nearest("")));
}

/* A night run over the changes of 2026-10-25 and 2027-03-28 in London (Directive 2000/84/EC: at 1:00 UTC) ends when the clock on the
 * wall says: an hour earlier, an hour later. And what the calendar says is not said twice. */
static void clocks_that_change(void **state)
{
    (void)state;
    static const struct {
        po_wall_time start, end;
        po_wall_shift shift;
    } nights[] = {{{{2026, 10, 24}, 23 * 60}, {{2026, 10, 25}, 6 * 60}, {3 * 3600, -60}},
                  {{{2027, 3, 27}, 23 * 60}, {{2027, 3, 28}, 8 * 60}, {2 * 3600, 60}}};
    for (size_t i = 0; i < sizeof nights / sizeof nights[0]; i++) {
        bench *b = bench_new();
        po_when when = {.watched = true, .open_at_start = true, .shifts = {nights[i].shift}, .n_shifts = 1};
        b->report.facts.seconds = 8 * 3600;
        b->shop.rules.may_end_unstaffed = false;
        b->context.start_known = true;
        b->context.start = nights[i].start;
        b->context.when = &when;
        const po_proof *p = bench_judge(b);
        assert_int_equal(p->end.minute, nights[i].end.minute);
        assert_int_equal(p->end.date.day, nights[i].end.date.day);
        assert_non_null(bench_finding(b, "ends-unstaffed"));
        assert_null(bench_finding(b, "too-long"));
        bench_done(b);
    }
}

static void ranges_that_were_learned(void **state)
{
    (void)state;
    po_range filament, seconds;
    po_proof_model_ranges(&filament, &seconds);
    assert_true(filament.low < 1 && filament.high > 1 && seconds.low < 1 && seconds.high > 1);
    bench *b = bench_new();
    b->context.learned_seconds = (po_range){1.05, 1.2};
    b->context.learned_from = "this machine's runs";
    const po_proof *p = bench_judge(b);
    assert_float_equal(p->seconds.low, b->report.facts.seconds * 1.05, 1e-6);
    assert_float_equal(p->seconds.high, b->report.facts.seconds * 1.2, 1e-6);
    assert_float_equal(p->filament_mm.high, b->report.facts.filament_mm * filament.high, 1e-6);
    assert_string_equal(p->ranges_from, "this machine's runs");
    bench_done(b);
}

static void the_document_is_up_to_date(void **state)
{
    (void)state;
    char path[1024];
    const char *root = getenv("PO_SOURCE_ROOT");
    snprintf(path, sizeof path, "%s/docs/findings.md", root != NULL ? root : ".");
    FILE *in = fopen(path, "rb");
    if (in == NULL) {
        fail_msg("no %s: ninja docs-findings writes it", path);
    }
    po_arena *arena = po_arena_new(0);
    const char *text = po_proof_doc(arena);
    size_t room = strlen(text) + 2, n;
    char *there = po_arena_zeros(arena, room, 1);
    n = fread(there, 1, room - 1, in);
    fclose(in);
    if (n != strlen(text) || memcmp(there, text, n) != 0) {
        fail_msg("%s is out of date: ninja docs-findings writes it anew", path);
    }
    po_arena_free(arena);
}

static void memory_that_runs_out_is_an_error(void **state)
{
    (void)state;
    bench *b = bench_new();
    bench_see(b, PO_SIGHT_BRIDGE, 30);
    bench_see(b, PO_SIGHT_REACH_PARKING, 2);
    set_grade(b, "long-bridge", PO_GRADE_NOTE);
    size_t limit = 0;
    bool done = false;
    for (; !done && limit < 1000000; limit += limit < 9000 ? 997 : 61) {
        po_arena *small = po_arena_new(limit == 0 ? 1 : limit);
        const po_proof *proof = NULL;
        po_err err;
        po_status status = po_proof_job(&b->report, "x", &b->context, small, &proof, &err);
        if (status == PO_OK) {
            done = true;
            assert_non_null(proof->aloud);
        } else {
            assert_int_equal(status, PO_E_NOMEM);
            assert_int_equal(err.code, PO_E_NOMEM);
            assert_null(proof);
        }
        po_arena_free(small);
    }
    assert_true(done && limit > 1000);
    bench_done(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_ordinary_job_is_clear),
        cmocka_unit_test(ordinary_ways_are_no_alarm),
        cmocka_unit_test(unknown_is_no_fault),
        cmocka_unit_test(the_shop_grades_and_says_so),
        cmocka_unit_test(milder_degrees_stay_mild),
        cmocka_unit_test(graver_ones_come_first),
        cmocka_unit_test(causes_are_merged),
        cmocka_unit_test(heat_left_on_by_clock),
        cmocka_unit_test(hands_by_clock),
        cmocka_unit_test(clock_watch_and_cooling),
        cmocka_unit_test(absurd_numbers_stay_short),
        cmocka_unit_test(the_table_is_the_issues),
        cmocka_unit_test(the_document_is_up_to_date),
        cmocka_unit_test(ranges_that_were_learned),
        cmocka_unit_test(clocks_that_change),
        cmocka_unit_test(memory_that_runs_out_is_an_error),
    };
    return cmocka_run_group_tests_name("verdict", tests, NULL, NULL);
}
