/* The invented workshop reads with exact values; defaults and merges. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "proveout/shop.h"

static const po_shop *read_path(const char *root_variable, const char *rest, po_arena *arena)
{
    char path[4096];
    const char *root = getenv(root_variable);
    snprintf(path, sizeof path, "%s/%s", root ? root : ".", rest);
    const po_shop *shop = NULL;
    po_shop_faults faults;
    po_err err;
    po_status status = po_shop_read_file(path, arena, &shop, &faults, &err);
    if (status == PO_E_NOTFOUND && !strcmp(root_variable, "PO_SHARED")) {
        print_message("%s is not here\n", path);
        return NULL;
    }
    if (status != PO_OK) {
        char text[512];
        print_error("%s\n", po_err_text(&err, text, sizeof text));
    }
    assert_int_equal(status, PO_OK);
    assert_int_equal(faults.n_faults, 0);
    return shop;
}

#define SAME(a, b) assert_true((a) == (b)) /* exact: each is the double nearest to the same decimal number */
#define RANGE(r, l, h) assert_true((r).low == (l) && (r).high == (h))

static void check_causes(const bool *causes, const char *wanted)
{
    char text[80] = "";
    for (int i = 0; i < PO_CAUSE_COUNT; i++) {
        size_t n = strlen(text);
        snprintf(text + n, sizeof text - n, "%s%s", causes[i] && n ? " " : "",
                 causes[i] ? po_cause_name((po_run_cause)i) : "");
    }
    assert_string_equal(text, wanted);
}

/* Nothing of the desk's keys stands in these files: defaults. */
static void check_desk_defaults(const po_shop *s)
{
    assert_null(s->ledger);
    assert_int_equal(s->beyond, PO_BEYOND_REFUSE);
    assert_null(s->outbox.command);
    assert_false(s->outbox.on);
    static const char *const parts[PO_TEXT_COUNT] = {"stopped before its end", "is done", "on shelf place {place}",
                                                     "at about {time}", "Ticket {number}"};
    for (int i = 0; i < PO_TEXT_COUNT; i++) {
        assert_non_null(strstr(s->outbox.texts[i], parts[i]));
    }
    const po_rules *r = &s->rules;
    check_causes(r->counts_when_failed, "file handling");
    check_causes(r->rerun_first, "machine material power");
    assert_int_equal(r->gap_check_days, 0);
    SAME(r->spool_reserve_g, 5);
    SAME(r->spool_low_g, 100);
    assert_int_equal(r->shelf_days, 7);
    assert_int_equal(r->shelf_places, 40);
    assert_int_equal(r->ticket_claim_minutes, 15);
    assert_int_equal(r->no_shows_most, 2);
    assert_int_equal(r->no_show_days, 30);
    assert_int_equal(r->old_job_days, 30);
    SAME(r->photo_most_mb, 10);
    SAME(r->attachments_most_gb, 20);
    for (size_t i = 0; i < s->n_permissions; i++) {
        assert_false(s->permissions[i].lapses_with_term);
        assert_int_equal(s->permissions[i].lapses_months, 0);
    }
    for (size_t i = 0; i < s->n_machines; i++) {
        assert_null(s->machines[i].stick_label);
        assert_null(s->machines[i].stick_mount);
        assert_int_equal(s->machines[i].panel_columns, 20);
        assert_true(s->machines[i].panel_ascii);
    }
}

static void check_quayside(const po_shop *s)
{
    assert_string_equal(s->name, "Quayside Workshop");
    assert_string_equal(s->time_zone, "Europe/London");
    assert_string_equal(s->currency, "GBP");
    assert_int_equal(s->people_at_desk, 2);
    assert_int_equal(s->n_terms, 2);
    assert_string_equal(s->terms[1].name, "spring-2027");
    assert_true(s->terms[0].from.year == 2026 && s->terms[0].from.month == 9 && s->terms[0].from.day == 21);
    assert_true(s->terms[1].to.year == 2027 && s->terms[1].to.month == 3 && s->terms[1].to.day == 26);
    static const int spans[7] = {1, 1, 2, 1, 1, 1, 0};
    for (int i = 0; i < 7; i++) {
        assert_int_equal(s->hours[i].n_spans, spans[i]);
    }
    assert_int_equal(s->hours[2].spans[1].from, 14 * 60);
    assert_int_equal(s->hours[4].spans[0].to, 17 * 60);
    assert_int_equal(s->n_closed, 2);
    assert_null(s->closed[0].name);
    assert_int_equal(s->closed[0].to.year, 2027);
    assert_int_equal(s->closed[1].from.day, s->closed[1].to.day);

    const po_rules *r = &s->rules;
    SAME(r->watch_minutes, 30);
    assert_true(r->watch_first_layer && r->may_end_unstaffed);
    SAME(r->collect_below_bed_c, 40);
    SAME(r->allowance_m_per_run, 30);
    SAME(r->allowance_m_per_term, 150);
    SAME(r->desk_may_waive_m, 10);
    SAME(r->longest_run_hours, 60);
    SAME(r->overhang_limit_deg, 45);
    SAME(r->bridge_limit_mm, 12);
    SAME(r->support_gap_mm, 0.5);
    SAME(r->smallest_foothold_mm2, 25);
    SAME(r->clearance_mm, 6);
    SAME(r->machine_cost_h, 0.6); /* not in that file: defaults */
    SAME(r->hand_cost_min, 0.2);
    SAME(r->clean_min_cm2, 0.5);
    SAME(r->smooth_min_cm2, 0.02);
    SAME(r->layer_change_s, 2);
    SAME(r->support_fill_percent, 15);
    SAME(r->weak_layers_cost, 5);
    assert_int_equal(r->n_grades, 0);
    assert_int_equal(r->n_harmless_words, 0);
    assert_int_equal(s->most_file_bytes, 10000000000ull);

    assert_int_equal(s->n_permissions, 3);
    assert_int_equal(s->permissions[0].n_implies, 0);
    assert_string_equal(s->permissions[2].name, "large-format");
    assert_string_equal(s->permissions[2].implies[0], "starter");

    assert_int_equal(s->n_materials, 4);
    const po_material *petg = po_shop_house_material(s), *tpu = po_shop_material(s, "TPU");
    assert_string_equal(petg->name, "petg");
    assert_true(petg->house && !tpu->house);
    SAME(petg->density_g_cm3, 1.27);
    SAME(petg->diameter_mm, 1.75);
    RANGE(petg->nozzle_c, 225, 250);
    SAME(petg->cold_below_c, 205);
    RANGE(petg->bed_c, 70, 85);
    RANGE(petg->fan_percent, 20, 60);
    SAME(petg->glass_c, 80);
    SAME(petg->price_per_kg, 19);
    SAME(tpu->glass_c, -30);

    assert_int_equal(s->n_machines, 5);
    const po_machine *alder = &s->machines[0], *birch = &s->machines[1], *cedar = &s->machines[2];
    const po_machine *dogwood = po_shop_machine(s, "dogwood"), *elm = po_shop_machine(s, "Elm");
    assert_string_equal(alder->name, "Alder");
    assert_string_equal(alder->permission, "starter");
    assert_false(alder->round_bed || alder->origin_centre);
    SAME(alder->bed_mm[0], 245);
    SAME(alder->bed_mm[1], 205);
    SAME(alder->height_mm, 230);
    assert_int_equal(alder->n_keep_outs, 1);
    RANGE(alder->keep_outs[0].x, 227, 245);
    RANGE(alder->keep_outs[0].y, 193, 205);
    SAME(alder->keep_outs[0].below_z_mm, 15);
    RANGE(alder->reach[0], -4, 249);
    RANGE(alder->reach[1], -6, 209);
    RANGE(alder->reach[2], 0, 238);
    SAME(alder->home_mm[2], 0);
    assert_int_equal(alder->n_nozzles, 1);
    SAME(alder->nozzles[0].diameter_mm, 0.4);
    SAME(alder->nozzles[0].hottest_c, 265);
    SAME(alder->nozzles[0].melt_mm3_s, 11);
    SAME(alder->bed_hottest_c, 110);
    assert_int_equal(alder->n_materials, 2);
    assert_true(alder->e_follows_g90 && !alder->switches_itself_off);
    SAME(alder->retract_mm, 0.9);
    SAME(alder->retract_mm_s, 35);
    SAME(alder->retract_extra_mm, 0);
    SAME(alder->retract_most_mm, 8);
    assert_true(alder->head.given);
    SAME(alder->head.ahead_mm, 42);
    SAME(alder->head.behind_mm, 31);
    SAME(alder->head.left_mm, 38);
    SAME(alder->head.right_mm, 45);
    SAME(alder->head.clears_mm, 24);
    static const double feed[] = {180, 180, 12, 60}, accel[] = {2000, 1600, 120, 4000}, step[] = {9, 9, 0.4, 4};
    for (int i = 0; i < 4; i++) {
        SAME(alder->limits.feed_mm_s[i], feed[i]);
        SAME(alder->limits.accel_mm_s2[i], accel[i]);
        SAME(alder->limits.step_mm_s[i], step[i]);
        SAME(dogwood->limits.step_mm_s[i], 0);
    }
    SAME(alder->limits.print_mm_s2, 1200);
    SAME(alder->limits.travel_mm_s2, 1600);
    SAME(alder->limits.retract_mm_s2, 2500);
    assert_int_equal(alder->limits.corner, PO_CORNER_STEP);
    SAME(alder->limits.deviation_mm, 0);
    SAME(alder->heat.nozzle_c_per_s, 2.6);
    SAME(alder->heat.bed_c_per_s, 0.32);
    SAME(alder->heat.room_c, 21);
    SAME(alder->heat.bed_tau_minutes, 14);
    SAME(alder->heat.home_seconds, 24);
    SAME(alder->heat.probe_seconds, 55);
    SAME(alder->heating_w, 420);
    SAME(alder->running_w, 160);

    assert_string_equal(birch->name, "Birch");
    SAME(birch->limits.accel_mm_s2[PO_Y], 1600); /* merged */
    assert_int_equal(birch->n_materials, 2);
    assert_int_equal(cedar->n_materials, 3); /* own key before the merged one */
    assert_true(po_machine_takes(s, cedar, tpu) && !po_machine_takes(s, birch, tpu));

    assert_int_equal(dogwood->n_nozzles, 2);
    SAME(dogwood->nozzles[1].melt_mm3_s, 13);
    assert_false(dogwood->e_follows_g90);
    assert_int_equal(dogwood->limits.corner, PO_CORNER_DEVIATION);
    SAME(dogwood->limits.deviation_mm, 0.03);

    assert_true(elm->round_bed && elm->origin_centre && !elm->head.given);
    RANGE(elm->reach[0], -135, 135); /* default: the bed */
    RANGE(elm->reach[1], -135, 135);
    RANGE(elm->reach[2], 0, 345);
    SAME(elm->home_mm[2], 345);

    assert_int_equal(s->n_recipes, 3);
    const po_recipe *careful = po_shop_recipe(s, "careful");
    SAME(careful->layer_mm, 0.15);
    SAME(careful->bead_width_mm, 0.44);
    assert_true(careful->walls == 4 && careful->floors == 6 && careful->roofs == 6);
    SAME(careful->fill_percent, 30);
    SAME(careful->wall_mm_s, 32);
    SAME(careful->fill_mm_s, 45);
    SAME(careful->first_layer_mm, 0.22);
    SAME(careful->first_layer_mm_s, 18);

    assert_true(po_shop_grants(s, "two-material", "starter"));
    assert_true(po_shop_grants(s, "Starter", "starter"));
    assert_false(po_shop_grants(s, "starter", "large-format"));
    assert_null(po_shop_machine(s, "Alde"));
    assert_null(po_shop_recipe(s, NULL));
}

static void test_quayside(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 20);
    const po_shop *shop = read_path("PO_SHARED", "shop/quayside.yaml", arena);
    if (!shop) {
        po_arena_free(arena);
        skip();
        return;
    }
    check_quayside(shop);
    check_desk_defaults(shop);
    SAME(shop->materials[0].shrink_percent, 0);
    po_arena_free(arena);
}

static void test_demo(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 20);
    const po_shop *shop = read_path("PO_SOURCE_ROOT", "demo/shop.yaml", arena);
    check_quayside(shop);
    SAME(shop->materials[2].shrink_percent, 0.55); /* handbook 1.1: ASA 0.4 to 0.7, mould shrinkage */
    po_arena_free(arena);
}

/* The least that a shop file needs, and what the rest then is. */
static const char least[] = "shop: {name: Shed}\n"
                            "hours: {}\n"
                            "permissions: {a: {implies: [b]}, b: {implies: [a]}, c: }\n"
                            "materials:\n"
                            "  Pla: {density_g_cm3: 1.24, nozzle_c: [190, 220], bed_c: [45, 60], glass_c: 60}\n"
                            "x-motion: &m\n"; /* replaced below */
static const char machine[] =
    "machines:\n"
    "  - &one\n"
    "    name: One\n"
    "    bed: {shape: circle, diameter: 100}\n"
    "    height: 90\n"
    "    nozzles: [{diameter: .4, hottest_c: 260, melt_mm3_s: 11}]\n"
    "    bed_hottest_c: 0\n"
    "    materials: [pla]\n"
    "    motion: &motion\n"
    "      feed_mm_s: &axes {x: 100, y: 100, z: 10, e: 50}\n"
    "      accel_mm_s2: {<<: *axes, z: 100}\n"
    "      print_mm_s2: 1000\n"
    "      corner: {rule: step, x: 8, y: 8, z: 0.4, e: 5}\n"
    "  - <<: [{name: Lost, height: 70}, *one]\n"
    "    name: Two\n"
    "    motion: {<<: *motion, corner: {rule: deviation, mm: 0.05}}\n"
    "rules: {grades: {layer-too-quick: off, few-roofs: note}, harmless_words: [m900, G029], most_file_gb: 0.5}\n"
    "recipes: {plain: {layer: 0.2, bead_width: 0.45, walls: 2, floors: 3, roofs: 3, fill_percent: 15, wall_mm_s: 50,\n"
    "                  fill_mm_s: 60}}\n";

static void test_defaults_and_merges(void **state)
{
    (void)state;
    char text[4096];
    snprintf(text, sizeof text, "%.*s%s", (int)(strstr(least, "x-motion") - least), least, machine);
    po_arena *arena = po_arena_new(1 << 20);
    const po_shop *s = NULL;
    po_shop_faults faults;
    po_err err;
    assert_int_equal(po_shop_read(text, strlen(text), "text", arena, &s, &faults, &err), PO_OK);
    assert_string_equal(s->time_zone, "UTC");
    assert_string_equal(s->currency, "");
    assert_int_equal(s->people_at_desk, 1);
    SAME(s->rules.watch_minutes, 30);
    assert_true(s->rules.watch_first_layer);
    assert_int_equal(s->rules.n_grades, 2);
    assert_string_equal(s->rules.grades[0].finding, "layer-too-quick");
    assert_int_equal(s->rules.grades[0].grade, PO_GRADE_OFF);
    assert_int_equal(s->rules.grades[1].grade, PO_GRADE_NOTE);
    static const char *const names[] = {"Alder", "Birch", "Elm"};
    assert_string_equal(po_nearest_name("brich", names, 3), "Birch"); /* a swap of neighbours */
    assert_null(po_nearest_name("brich", names, 0));
    assert_string_equal(s->rules.harmless_words[0], "M900");
    assert_string_equal(s->rules.harmless_words[1], "G29");
    assert_int_equal(s->most_file_bytes, 500000000);
    check_desk_defaults(s);
    SAME(s->materials[0].diameter_mm, 1.75);
    SAME(s->materials[0].cold_below_c, 170);
    RANGE(s->materials[0].fan_percent, 0, 100);
    assert_string_equal(po_shop_house_material(s)->name, "Pla");
    const po_machine *one = po_shop_machine(s, "ONE"), *two = po_shop_machine(s, "two");
    assert_null(one->permission);
    SAME(one->nozzles[0].diameter_mm, 0.4);
    SAME(one->limits.accel_mm_s2[PO_X], 100);
    SAME(one->limits.accel_mm_s2[PO_Z], 100);
    SAME(one->limits.feed_mm_s[PO_Z], 10);
    SAME(one->limits.travel_mm_s2, 1000);
    SAME(one->limits.retract_mm_s2, 1000);
    SAME(one->retract_mm, 1);
    SAME(one->heat.room_c, 21);
    SAME(one->heat.probe_seconds, 0);
    SAME(two->height_mm, 70); /* of several merged mappings the first wins */
    RANGE(two->reach[2], 0, 70);
    assert_int_equal(two->limits.corner, PO_CORNER_DEVIATION);
    SAME(two->limits.deviation_mm, 0.05);
    SAME(two->limits.print_mm_s2, 1000);
    SAME(s->recipes[0].first_layer_mm, 0.2);
    SAME(s->recipes[0].first_layer_mm_s, 25);
    assert_true(po_shop_grants(s, "a", "b") && po_shop_grants(s, "b", "a")); /* a cycle ends */
    assert_false(po_shop_grants(s, "a", "c"));
    assert_false(po_shop_grants(s, "nobody", "a"));
    po_arena_free(arena);
}

/* The least shop, and every key that the desk lives by. */
static const char desk[] =
    "shop: {name: Shed, ledger: ../book/shed.db, beyond: gift}\n"
    "hours: {}\n"
    "rules:\n"
    "  counts_when_failed: [unknown, file]\n"
    "  rerun_first: []\n"
    "  gap_check_days: 90\n"
    "  spool_reserve_g: 7.5\n"
    "  spool_low_g: 120\n"
    "  shelf_days: 14\n"
    "  shelf_places: 12\n"
    "  ticket_claim_minutes: 10\n"
    "  no_shows_most: 0\n"
    "  no_show_days: 60\n"
    "  old_job_days: 45\n"
    "  photo_most_mb: 2.5\n"
    "  attachments_most_gb: 0.5\n"
    "outbox:\n"
    "  command: send-note --from \"the desk\"\n"
    "  on: true\n"
    "  texts:\n"
    "    done: \"{run} {machine} {metres} {place} {until} {time} {number}, 100 %\"\n"
    "    collect: |\n"
    "      Re\xc3\xa7u: {place}\n"
    "      {until}\n"
    "permissions: {a: {lapses: term}, b: {lapses: never, implies: [a]}, c: {lapses: {months: 6}}, d: {}}\n"
    "materials: {pla: {density_g_cm3: 1.24, nozzle_c: [190, 220], bed_c: [45, 60], glass_c: 60}}\n"
    "machines:\n"
    "  - &one\n"
    "    name: One\n"
    "    bed: {shape: circle, diameter: 100}\n"
    "    height: 90\n"
    "    nozzles: [{diameter: .4, hottest_c: 260, melt_mm3_s: 11}]\n"
    "    bed_hottest_c: 0\n"
    "    materials: [pla]\n"
    "    motion: {feed_mm_s: &axes {x: 100, y: 100, z: 10, e: 50}, accel_mm_s2: *axes, print_mm_s2: 1000,\n"
    "             corner: {rule: deviation, mm: 0.05}}\n"
    "    stick: {label: 7, mount: /media/desk/A 1}\n"
    "    panel: &panel {columns: 16, ascii: false}\n"
    "  - {<<: *one, name: Two, stick: {label: B1}, panel: {<<: *panel, columns: 40}}\n"
    "  - {<<: *one, name: Three, stick: {mount: /media/desk/A 1}}\n" /* one socket may serve several sticks */
    "  - {<<: *one, name: Four, stick: ~, panel: }\n";

static void test_desk_keys(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 20);
    const po_shop *s = NULL;
    po_shop_faults faults;
    po_err err;
    assert_int_equal(po_shop_read(desk, strlen(desk), "text", arena, &s, &faults, &err), PO_OK);
    assert_string_equal(s->ledger, "../book/shed.db");
    assert_int_equal(s->beyond, PO_BEYOND_GIFT);
    const po_rules *r = &s->rules;
    check_causes(r->counts_when_failed, "file unknown");
    check_causes(r->rerun_first, "");
    assert_int_equal(r->gap_check_days, 90);
    SAME(r->spool_reserve_g, 7.5);
    SAME(r->spool_low_g, 120);
    assert_int_equal(r->shelf_days, 14);
    assert_int_equal(r->shelf_places, 12);
    assert_int_equal(r->ticket_claim_minutes, 10);
    assert_int_equal(r->no_shows_most, 0);
    assert_int_equal(r->no_show_days, 60);
    assert_int_equal(r->old_job_days, 45);
    SAME(r->photo_most_mb, 2.5);
    SAME(r->attachments_most_gb, 0.5);
    assert_string_equal(s->outbox.command, "send-note --from \"the desk\"");
    assert_true(s->outbox.on);
    assert_non_null(strstr(s->outbox.texts[PO_TEXT_FAILED], "Please come to the desk")); /* not given: its default */
    assert_string_equal(s->outbox.texts[PO_TEXT_DONE],
                        "{run} {machine} {metres} {place} {until} {time} {number}, 100 %");
    assert_string_equal(s->outbox.texts[PO_TEXT_COLLECT], "Re\xc3\xa7u: {place}\n{until}\n");
    static const bool with_term[] = {true, false, false, false};
    static const int months[] = {0, 0, 6, 0};
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(s->permissions[i].lapses_with_term, with_term[i]);
        assert_int_equal(s->permissions[i].lapses_months, months[i]);
    }
    assert_int_equal(s->permissions[1].n_implies, 1);
    static const char *const labels[] = {"7", "B1", NULL, NULL};
    static const char *const mounts[] = {"/media/desk/A 1", NULL, "/media/desk/A 1", NULL};
    static const int columns[] = {16, 40, 16, 20};
    for (size_t i = 0; i < 4; i++) {
        const po_machine *m = &s->machines[i];
        assert_true((m->stick_label == NULL) == (labels[i] == NULL));
        assert_true((m->stick_mount == NULL) == (mounts[i] == NULL));
        assert_true(!labels[i] || !strcmp(m->stick_label, labels[i]));
        assert_true(!mounts[i] || !strcmp(m->stick_mount, mounts[i]));
        assert_int_equal(m->panel_columns, columns[i]);
        assert_int_equal(m->panel_ascii, i == 3);
    }
    po_arena_free(arena);
}

/* The words that the book and the page use. */
static void test_words(void **state)
{
    (void)state;
    po_run_cause cause = PO_CAUSE_POWER;
    for (int i = 0; i < PO_CAUSE_COUNT; i++) {
        assert_true(po_cause_from_name(po_cause_name((po_run_cause)i), &cause));
        assert_int_equal(cause, i);
    }
    assert_false(po_cause_from_name("Power", &cause) || po_cause_from_name("", &cause) ||
                 po_cause_from_name(NULL, &cause));
    assert_int_equal(cause, PO_CAUSE_UNKNOWN); /* untouched */
    assert_string_equal(po_beyond_name(PO_BEYOND_REFUSE), "refuse");
    assert_string_equal(po_beyond_name(PO_BEYOND_CHARGE), "charge");
    assert_string_equal(po_beyond_name(PO_BEYOND_GIFT), "gift");
    assert_string_equal(po_text_kind_name(PO_TEXT_HANDS), "hands");
    assert_string_equal(po_text_kind_name(PO_TEXT_TICKET), "ticket");
}

/* A message and a command may have 1000 characters, of any script, and not one more. */
static void test_longest_texts(void **state)
{
    (void)state;
    for (size_t n = 1000; n <= 1001; n++) {
        char text[8192], word[2048 + 1] = "";
        for (size_t i = 0; i < n; i++) {
            memcpy(word + 2 * i, "\xc3\xa9", 2);
        }
        const char *at = strstr(desk, "send-note"), *rest = strchr(at, '\n');
        snprintf(text, sizeof text, "%.*s%s%s", (int)(at - desk), desk, word, rest);
        po_arena *arena = po_arena_new(1 << 20);
        const po_shop *s = NULL;
        po_shop_faults faults;
        assert_int_equal(po_shop_read(text, strlen(text), "text", arena, &s, &faults, NULL),
                         n == 1000 ? PO_OK : PO_E_SYNTAX);
        at = strstr(desk, "\"{run} {machine}");
        rest = strchr(at, '\n');
        snprintf(text, sizeof text, "%.*s%s%s", (int)(at - desk), desk, word, rest);
        assert_int_equal(po_shop_read(text, strlen(text), "text", arena, &s, &faults, NULL),
                         n == 1000 ? PO_OK : PO_E_SYNTAX);
        po_arena_free(arena);
    }
}

/* Every prefix of a good file ends in a shop or in faults with a place inside the text, in little memory. */
static void check_prefixes(const char *text)
{
    uint32_t lines = 1;
    for (size_t n = 0; n < strlen(text); n++) {
        lines += text[n] == '\n';
        char *exact = malloc(n ? n : 1); /* no byte to spare: a read beyond the end is seen by the sanitizer */
        memcpy(exact, text, n);
        po_arena *arena = po_arena_new(1 << 20);
        const po_shop *s = NULL;
        po_shop_faults faults;
        po_err err;
        po_status status = po_shop_read(exact, n, "text", arena, &s, &faults, &err);
        assert_true(status == PO_OK ? s && !faults.n_faults : !s && faults.n_faults > 0);
        for (size_t i = 0; i < faults.n_faults; i++) {
            assert_true(faults.faults[i].line >= 1 && faults.faults[i].line <= lines);
            assert_true(faults.faults[i].column >= 1);
            assert_true(i == 0 || faults.faults[i - 1].line <= faults.faults[i].line);
        }
        po_arena_free(arena);
        free(exact);
    }
}

static void test_prefixes(void **state)
{
    (void)state;
    char text[4096];
    snprintf(text, sizeof text, "%.*s%s", (int)(strstr(least, "x-motion") - least), least, machine);
    check_prefixes(text);
    check_prefixes(desk);
}

/* Memory that ends at any point is an error, never a crash. */
static void check_little_memory(const char *text)
{
    bool fits = false;
    for (size_t limit = 64; limit < (1 << 18) && !fits; limit += 200) {
        po_arena *arena = po_arena_new(limit);
        const po_shop *s = NULL;
        po_shop_faults faults;
        po_err err;
        po_status status = po_shop_read(text, strlen(text), "text", arena, &s, &faults, &err);
        fits = status == PO_OK;
        assert_true(fits || status == PO_E_NOMEM);
        po_arena_free(arena);
    }
    assert_true(fits);
}

static void test_little_memory(void **state)
{
    (void)state;
    char text[4096];
    snprintf(text, sizeof text, "%.*s%s", (int)(strstr(least, "x-motion") - least), least, machine);
    check_little_memory(text);
    check_little_memory(desk);
}

/* A caller who knows the findings has their names checked too. */
static void test_knowing(void **state)
{
    (void)state;
    static const char *const findings[] = {"few-roofs", "layer-too-quick"};
    char path[] = "/tmp/shop-read-XXXXXX", text[4096];
    int n = snprintf(text, sizeof text, "%.*s%s", (int)(strstr(least, "x-motion") - least), least, machine);
    int file = mkstemp(path);
    assert_true(file >= 0 && write(file, text, (size_t)n) == n);
    close(file);
    po_arena *arena = po_arena_new(0);
    const po_shop *s = NULL;
    po_shop_faults faults;
    assert_int_equal(po_shop_read_file_knowing(path, findings, 2, arena, &s, &faults, NULL), PO_OK);
    assert_int_equal(po_shop_read_file_knowing(path, findings, 1, arena, &s, &faults, NULL), PO_E_SYNTAX);
    assert_int_equal(faults.n_faults, 1);
    assert_int_equal(faults.faults[0].line, 22);
    assert_int_equal(faults.faults[0].column, 18);
    assert_string_equal(faults.faults[0].key, "rules.grades.layer-too-quick");
    assert_non_null(strstr(faults.faults[0].expected, "few-roofs"));
    unlink(path);
    po_arena_free(arena);
}

static void test_not_there(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_shop *s = NULL;
    po_shop_faults faults = {.n_faults = 7};
    po_err err;
    assert_int_equal(po_shop_read_file("/nowhere/at/all.yaml", arena, &s, &faults, &err), PO_E_NOTFOUND);
    assert_string_equal(err.where, "/nowhere/at/all.yaml");
    assert_int_equal(faults.n_faults, 0);
    assert_int_equal(po_shop_read_file("/", arena, &s, &faults, NULL), PO_E_IO);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_quayside),
        cmocka_unit_test(test_demo),
        cmocka_unit_test(test_defaults_and_merges),
        cmocka_unit_test(test_desk_keys),
        cmocka_unit_test(test_words),
        cmocka_unit_test(test_longest_texts),
        cmocka_unit_test(test_prefixes),
        cmocka_unit_test(test_little_memory),
        cmocka_unit_test(test_not_there),
        cmocka_unit_test(test_knowing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
