/* Broken shop files: each fault with its place, key, what was found and what was expected.
 * SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "proveout/shop.h"
#include "shop/tree.h"

/* A good file; cases change one place of it. Lines are numbered for the table below. */
static const char good[] =
    /*  1 */
    "shop: {name: Shed, time_zone: Europe/London, currency: GBP, terms: {one: 2026-09-21/2026-12-18}, "
    "ledger: book/shed.db, beyond: charge}\n"
    /*  2 */ "hours:\n"
    /*  3 */ "  monday: [\"10:00-13:00\", \"14:00-20:00\"]\n"
    /*  4 */ "  closed: [\"2026-12-24/2027-01-03\"]\n"
    /*  5 */ "rules: {watch_minutes: 30, may_end_unstaffed: true, grades: {overhang: note}, harmless_words: [M900], "
    "counts_when_failed: [file, unknown], rerun_first: [], gap_check_days: 90, shelf_places: 12, photo_most_mb: 2.5}\n"
    /*  6 */ "permissions: {starter: {}, more: {implies: [starter]}, brief: {lapses: term}, "
    "yearly: {lapses: {months: 12}}}\n"
    /*  7 */ "materials:\n"
    /*  8 */ "  pla: {density_g_cm3: 1.24, nozzle_c: [190, 220], cold_below_c: 175, bed_c: [45, 60], glass_c: 60}\n"
    /*  9 */ "  petg: {density_g_cm3: 1.27, nozzle_c: [225, 250], bed_c: [70, 85], glass_c: 80, house: true}\n"
    /* 10 */ "machines:\n"
    /* 11 */ "  - &one\n"
    /* 12 */ "    name: One\n"
    /* 13 */ "    permission: starter\n"
    /* 14 */ "    bed: {shape: rectangle, x: 200, y: 180, keep_out: [{x: [190, 200], y: [0, 9], below_z: 5}]}\n"
    /* 15 */ "    height: 90\n"
    /* 16 */ "    home: {x: 0, y: 0, z: 0}\n"
    /* 17 */ "    nozzles: [{diameter: 0.4, hottest_c: 260, melt_mm3_s: 11}]\n"
    /* 18 */ "    bed_hottest_c: 110\n"
    /* 19 */ "    materials: [petg, pla]\n"
    /* 20 */ "    motion:\n"
    /* 21 */ "      feed_mm_s: {x: 100, y: 100, z: 10, e: 50}\n"
    /* 22 */ "      accel_mm_s2: {x: 1000, y: 1000, z: 100, e: 5000}\n"
    /* 23 */ "      print_mm_s2: 1000\n"
    /* 24 */ "      corner: {rule: step, x: 8, y: 8, z: 0.4, e: 5}\n"
    /* 25 */ "  - {<<: *one, name: Two, stick: {label: B1, mount: /media/b1}, panel: {columns: 16, ascii: false}}\n"
    /* 26 */ "recipes:\n"
    /* 27 */ "  plain: {layer: 0.2, bead_width: 0.45, walls: 2, floors: 3, roofs: 3, fill_percent: 15, wall_mm_s: 50,\n"
    /* 28 */ "          fill_mm_s: 60, first_layer: {height: 0.25, mm_s: 20}}\n"
    /* 29 */ "outbox:\n"
    /* 30 */ "  command: send-note --to desk\n"
    /* 31 */ "  on: true\n"
    /* 32 */ "  texts: {failed: \"Run {run} on {machine} failed.\", ticket: \"Number {number}, by {until}\"}\n";

typedef struct broken {
    const char *old, *new; /* the first place of old becomes new */
    uint32_t line, column;
    const char *key, *found, *expected; /* found and expected: a part of them */
} broken;

static const broken cases[] = {
    /* numbers */
    {"1.24", "12.4", 8, 24, "materials.pla.density_g_cm3", "\"12.4\"", "0.2 to 12 g/cm3"},
    {"1.24", ".nan", 8, 24, "materials.pla.density_g_cm3", "\".nan\"", "a number"},
    {"1.24", "-.inf", 8, 24, "materials.pla.density_g_cm3", "\"-.inf\"", "a number"},
    {"1.24", "1e99", 8, 24, "materials.pla.density_g_cm3", "\"1e99\"", "a number"},
    {"1.24", "\"1.24\"", 8, 24, "materials.pla.density_g_cm3", "\"1.24\"", "without quotes"},
    {"1.24", "[1.24]", 8, 24, "materials.pla.density_g_cm3", "a list of 1", "a number"},
    {"    height: 90", "    height: 90,5", 15, 13, "machines[0].height", "\"90,5\"", "a point instead of a comma"},
    {"    height: 90", "    height: 99999999999999999999999999999999", 15, 13, "machines[0].height", "9999",
     "1 to 5000"},
    {"walls: 2", "walls: 2.5", 27, 48, "recipes.plain.walls", "\"2.5\"", "a whole number"},
    {"walls: 2", "walls: ~", 27, 48, "recipes.plain.walls", "nothing", "a whole number"},
    {"may_end_unstaffed: true", "may_end_unstaffed: yes", 5, 47, "rules.may_end_unstaffed", "\"yes\"", "true or false"},
    {"[190, 220]", "[220, 190]", 8, 40, "materials.pla.nozzle_c", "[220, 190]", "lower number first"},
    {"[190, 220]", "[190]", 8, 40, "materials.pla.nozzle_c", "a list of 1", "two numbers"},
    {"[190, 220]", "190-220", 8, 40, "materials.pla.nozzle_c", "\"190-220\"", "two numbers"},
    {"[190, 220]", "[190, hot]", 8, 46, "materials.pla.nozzle_c[1]", "\"hot\"", "a number from 0 to 600"},
    /* keys */
    {"    height: 90", "    hight: 90", 15, 5, "machines[0].hight", "unknown key \"hight\"", "nearest is height"},
    {"recipes:", "receipes:", 26, 1, "receipes", "unknown key", "nearest is recipes"},
    {"density_g_cm3: 1.24, ", "", 8, 8, "materials.pla.density_g_cm3", "nothing", "the key density_g_cm3: a number"},
    {"    bed_hottest_c: 110\n", "    height: 80\n", 18, 5, "machines[0].height", "(first on line 15)",
     "each key once"},
    {"glass_c: 80, house", "glass_c: 80, glass_c: 81, house", 9, 83, "materials.petg.glass_c", "a second time", "once"},
    {"shape: rectangle", "shape: square", 14, 18, "machines[0].bed.shape", "\"square\"", "rectangle or circle"},
    {"shape: rectangle, ", "shape: rectangle, diameter: 9, ", 14, 39, "machines[0].bed.diameter", "\"9\"",
     "no diameter"},
    {"shape: rectangle, x: 200, ", "shape: rectangle, ", 14, 10, "machines[0].bed.x", "nothing", "rectangle needs"},
    {"rule: step, x: 8, ", "rule: step, mm: 0.05, x: 8, ", 24, 32, "machines[0].motion.corner.mm", "\"0.05\"", "no mm"},
    {"rule: step, x: 8, ", "rule: step, ", 24, 15, "machines[0].motion.corner.x", "nothing", "step corner needs"},
    {"name: Shed", "name: [Shed]", 1, 14, "shop.name", "a list of 1", "text"},
    {"name: Shed", "name: \"\"", 1, 14, "shop.name", "\"\"", "1 to 60 characters"},
    {"name: Shed", "name: \"a\\e[2Jb\"", 1, 14, "shop.name", "control character", "printable"},
    {"name: Shed", "name: !!str Shed", 1, 14, "shop.name", "the tag tag:yaml.org,2002:str", "without a tag"},
    {"GBP", "pounds", 1, 56, "shop.currency", "\"pounds\"", "ISO 4217"},
    {"Europe/London", "../etc/passwd", 1, 31, "shop.time_zone", "\"../etc/passwd\"", "Europe/London"},
    {"machines:\n", "machines:\n  - 7\n", 11, 5, "machines[0]", "\"7\"", "a mapping with name"},
    /* names */
    {"permission: starter", "permission: startr", 13, 17, "machines[0].permission", "\"startr\"", "nearest is starter"},
    {"implies: [starter]", "implies: [stater]", 6, 45, "permissions.more.implies[0]", "\"stater\"",
     "nearest is starter"},
    {"materials: [petg, pla]", "materials: [petg, pal]", 19, 23, "machines[0].materials[1]", "\"pal\"",
     "nearest is pla"},
    {"materials: [petg, pla]", "materials: [petg, petg]", 19, 23, "machines[0].materials[1]", "\"petg\"", "once"},
    {"materials: [petg, pla]", "materials: []", 19, 16, "machines[0].materials", "an empty list", "at least one"},
    {"nozzles: [{diameter: 0.4, hottest_c: 260, melt_mm3_s: 11}]", "nozzles: []", 17, 14, "machines[0].nozzles",
     "empty", "1 to 8"},
    {"name: Two", "name: ONE", 25, 22, "machines[1].name", "\"ONE\"", "machines[0] has it"},
    {", name: Two", "", 25, 5, "machines[1].name", "\"One\"", "machines[0] has it"},
    {"name: Two", "name: \"Two, three\"", 25, 22, "machines[1].name", "\"Two, three\"", "no comma"},
    {"  petg: {density", "  PLA: {density", 9, 3, "materials.PLA", "\"PLA\"", "other than \"pla\" on line 8"},
    {"glass_c: 60}", "glass_c: 60, house: true}", 9, 90, "materials.petg.house", "\"true\"", "pla already"},
    /* hours and days */
    {"14:00-20:00", "12:59-20:00", 3, 27, "hours.monday[1]", "\"12:59-20:00\"", "does not overlap 10:00-13:00"},
    {"14:00-20:00", "20:00-14:00", 3, 27, "hours.monday[1]", "\"20:00-14:00\"", "later than the beginning"},
    {"14:00-20:00", "14:00-24:01", 3, 27, "hours.monday[1]", "\"14:00-24:01\"", "a span such as"},
    {"monday:", "mondey:", 3, 3, "hours.mondey", "unknown key", "nearest is monday"},
    {"2026-12-24/2027-01-03", "2026-12-24/2026-12-03", 4, 12, "hours.closed[0]", "2026-12-03", "not before the first"},
    {"2026-12-24/2027-01-03", "2027-02-29", 4, 12, "hours.closed[0]", "\"2027-02-29\"", "a day that exists"},
    {"2026-09-21/2026-12-18", "2026-09-21/2026-08-18", 1, 74, "shop.terms.one", "2026-08-18", "end before it begins"},
    {"2026-09-21/2026-12-18", "2026-09-31/2026-12-18", 1, 74, "shop.terms.one", "2026-09-31", "days that exist"},
    /* what holds between keys */
    {"home: {x: 0,", "home: {x: -1,", 16, 15, "machines[0].home.x", "-1",
     "inside reach, which goes from 0 to 200 in x"},
    {"home: {x: 0, y: 0, z: 0}", "reach: {y: [5, 9]}", 11, 5, "machines[0].home.y", "0", "from 5 to 9 in y"},
    {"y: [0, 9]", "y: [-1, 9]", 14, 75, "machines[0].bed.keep_out[0].y", "[-1, 9]", "from 0 to 180 in y"},
    {"cold_below_c: 175", "cold_below_c: 195", 8, 66, "materials.pla.cold_below_c", "\"195\"",
     "low end of nozzle_c, 190"},
    {"bead_width: 0.45", "bead_width: 0.15", 27, 35, "recipes.plain.bead_width", "\"0.15\"", "not less than layer"},
    {"overhang: note", "overhang: warn", 5, 72, "rules.grades.overhang", "\"warn\"", "stop, ask, note or off"},
    {"[M900]", "[X900]", 5, 96, "rules.harmless_words[0]", "\"X900\"", "M900"},
    /* the desk's keys */
    {"book/shed.db", "book/", 1, 106, "shop.ledger", "\"book/\"", "a path such as"},
    {"book/shed.db", "\" \"", 1, 106, "shop.ledger", "\" \"", "a path such as"},
    {"book/shed.db", "\"a\\nb\"", 1, 106, "shop.ledger", "a", "a path such as"},
    {"book/shed.db", "[a]", 1, 106, "shop.ledger", "a list of 1", "a path such as"},
    {"charge", "pay", 1, 128, "shop.beyond", "\"pay\"", "refuse or charge or gift"},
    {"[file, unknown]", "[file, unkown]", 5, 130, "rules.counts_when_failed[1]", "\"unkown\"", "handling or unknown"},
    {"[file, unknown]", "[file, file]", 5, 130, "rules.counts_when_failed[1]", "\"file\"", "each cause once"},
    {"[file, unknown]", "file", 5, 123, "rules.counts_when_failed", "\"file\"", "a list of causes (file"},
    {"rerun_first: []", "rerun_first: [[power]]", 5, 154, "rules.rerun_first[0]", "a list of 1", "power"},
    {"gap_check_days: 90", "gap_check_days: -1", 5, 173, "rules.gap_check_days", "\"-1\"", "from 0 to 3650"},
    {"gap_check_days: 90", "gap_check_day: 90", 5, 157, "rules.gap_check_day", "unknown key", "is gap_check_days"},
    {"shelf_places: 12", "shelf_places: 1.5", 5, 191, "rules.shelf_places", "\"1.5\"", "a whole number from 1"},
    {"photo_most_mb: 2.5", "photo_most_mb: 0", 5, 210, "rules.photo_most_mb", "\"0\"", "0.01 to 1000 MB (10^6 bytes)"},
    {"lapses: term", "lapses: terms", 6, 72, "permissions.brief.lapses", "\"terms\"", "term, never or {months: N}"},
    {"lapses: term", "lapses: 12", 6, 72, "permissions.brief.lapses", "\"12\"", "term, never or {months: N}"},
    {"months: 12", "months: 0", 6, 105, "permissions.yearly.lapses.months", "\"0\"", "whole number from 1 to 120"},
    {"months: 12", "years: 1", 6, 97, "permissions.yearly.lapses.years", "unknown key", "nearest is months"},
    {"{months: 12}", "{}", 6, 96, "permissions.yearly.lapses.months", "nothing", "the key months"},
    {"/media/b1", "media/b1", 25, 53, "machines[1].stick.mount", "\"media/b1\"", "a folder such as /media/a1"},
    {"label: B1", "label: \"B,1\"", 25, 42, "machines[1].stick.label", "\"B,1\"", "no comma"},
    {"label: B1", "label: {}", 25, 42, "machines[1].stick.label", "mapping", "1 to 60 characters"},
    {"stick: {label: B1, mount: /media/b1}", "stick: B1", 25, 34, "machines[1].stick", "\"B1\"",
     "a mapping with label, mount"},
    {"    height: 90\n", "    height: 90\n    stick: {label: b1}\n", 26, 42, "machines[1].stick.label", "\"B1\"",
     "machines[0] has it"},
    {"  - {<<: *one", "  - &five {<<: *one, name: Five, stick: {label: C1}}\n  - {<<: *five, name: Six}\n  - {<<: *one",
     26, 5, "machines[2].stick.label", "\"C1\"", "machines[1] has it already"},
    {"columns: 16", "columns: 3", 25, 82, "machines[1].panel.columns", "\"3\"", "from 4 to 200"},
    {"ascii: false", "ascii: no", 25, 93, "machines[1].panel.ascii", "\"no\"", "true or false"},
    {"send-note --to desk", "\"\"", 30, 12, "outbox.command", "\"\"", "on one line"},
    {"send-note --to desk", "[send-note]", 30, 12, "outbox.command", "a list of 1", "on one line"},
    {"  command: send-note --to desk\n", "", 30, 7, "outbox.on", "\"true\"", "a command beside it"},
    {"{run} on", "{runn} on", 32, 19, "outbox.texts.failed", "{runn}", "the nearest is {run}"},
    {"{run} on", "{Run} on", 32, 19, "outbox.texts.failed", "{Run}", "the nearest is {run}"},
    {"{run} on", "{} on", 32, 19, "outbox.texts.failed", "{}", "a known word in braces"},
    {"{machine} failed", "{machine failed", 32, 19, "outbox.texts.failed", "a { without its }", "and nowhere else"},
    {"{machine} failed", "machine} failed", 32, 19, "outbox.texts.failed", "a } without its {", "and nowhere else"},
    {"by {until}", "by {until}}", 32, 61, "outbox.texts.ticket", "a } without its {", "and nowhere else"},
    {"\"Number {number}, by {until}\"", "\" \"", 32, 61, "outbox.texts.ticket", "\" \"", "1 to 1000 characters"},
    {"\"Number {number}, by {until}\"", "{number}", 32, 61, "outbox.texts.ticket", "mapping", "1 to 1000 characters"},
    {"ticket: ", "tickets: ", 32, 53, "outbox.texts.tickets", "unknown key", "nearest is ticket"},
    /* YAML */
    {"*one", "*two", 25, 10, "machines[1].<<", "*two", "an anchor further up"},
    {"<<: *one", "<<: 7", 25, 10, "machines[1]", "\"7\"", "a mapping, or a list of mappings, to merge"},
    {"    height: 90\n", "\theight: 90\n", 15, 1, "machines[0]", "a tab in the indentation", "spaces"},
    {"    height: 90\n", "    height 90\n", 15, 5, "machines[0]", "broken YAML", "colons"},
    {"z: 10, e: 50}", "z: 10, e: 50", 22, 18, "machines[0].motion.feed_mm_s", "broken YAML", "brackets"},
    {"name: Shed",
     "name: Sh\x80"
     "ed",
     1, 16, "", "byte 0x80", "UTF-8"},
    {"name: Shed",
     "name: Sh\xed\xa0\x80"
     "ed",
     1, 16, "", "byte 0xED", "UTF-8"},
    {"name: Shed",
     "name: Sh\x01"
     "ed",
     1, 16, "", "control character 0x01", "without control characters"},
    {"recipes:", "---\nrecipes:", 26, 1, "", "a second document", "one document"},
    {"recipes:", "? [a, b]\n: 1\nrecipes:", 26, 3, "", "a list of 2", "a word as the key"},
};

static void read_text(const char *text, size_t n, po_arena *arena, po_status *status, po_shop_faults *faults)
{
    const po_shop *shop = NULL;
    po_err err = {0};
    *status = po_shop_read(text, n, "text", arena, &shop, faults, &err);
    assert_true((*status == PO_OK) == (shop != NULL));
    if (*status != PO_OK && faults->n_faults) {
        assert_int_equal(err.line, faults->faults[0].line);
        assert_int_equal(err.column, faults->faults[0].column);
    }
}

static size_t change(const char *old, const char *new, char *text, size_t size)
{
    const char *at = strstr(good, old);
    assert_non_null(at);
    return (size_t)snprintf(text, size, "%.*s%s%s", (int)(at - good), good, new, at + strlen(old));
}

static void test_each(void **state)
{
    (void)state;
    size_t wrong = 0;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const broken *b = &cases[i];
        char text[8192];
        size_t n = change(b->old, b->new, text, sizeof text);
        po_arena *arena = po_arena_new(1 << 20);
        po_status status;
        po_shop_faults faults;
        read_text(text, n, arena, &status, &faults);
        bool seen = false;
        for (size_t j = 0; j < faults.n_faults; j++) {
            const po_shop_fault *f = &faults.faults[j];
            seen |= f->line == b->line && f->column == b->column && !strcmp(f->key, b->key) &&
                    strstr(f->found, b->found) && strstr(f->expected, b->expected);
        }
        if (status != PO_E_SYNTAX || !seen) {
            wrong++;
            print_error("case %zu, \"%s\": wanted %u:%u %s: found %s, expected %s; status %d\n", i, b->new, b->line,
                        b->column, b->key, b->found, b->expected, (int)status);
            for (size_t j = 0; j < faults.n_faults && j < 5; j++) {
                const po_shop_fault *f = &faults.faults[j];
                print_error("    %u:%u %s: found %s, expected %s\n", f->line, f->column, f->key, f->found, f->expected);
            }
        }
        po_arena_free(arena);
    }
    assert_int_equal(wrong, 0);
}

static void test_good(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(1 << 20);
    po_status status;
    po_shop_faults faults;
    read_text(good, strlen(good), arena, &status, &faults);
    assert_int_equal(status, PO_OK);
    char text[8192];
    size_t n = change("shop:", "\xef\xbb\xbfshop:", text,
                      sizeof text); /* byte order mark, CR LF, comments in any script */
    read_text(text, n, arena, &status, &faults);
    assert_int_equal(status, PO_OK);
    n = change("recipes:\n", "# \xc3\xa9\xe2\x82\xac\xf0\x9f\x94\xa7\r\nrecipes:\r\n", text, sizeof text);
    read_text(text, n, arena, &status, &faults);
    assert_int_equal(status, PO_OK);
    po_arena_free(arena);
}

/* All faults in one go, in the order of the file; a merged one once. */
static void test_all_at_once(void **state)
{
    (void)state;
    char text[8192], again[8300];
    change("1.24", "124", text, sizeof text);
    char *height = strstr(text, "height: 90"), *spare = strstr(text, "10:00-13:00");
    memcpy(height, "height: no", 10);
    memcpy(spare, "10:00-09:00", 11);
    snprintf(again, sizeof again, "%sfurther: 1\n", text);
    po_arena *arena = po_arena_new(1 << 20);
    po_status status;
    po_shop_faults faults;
    read_text(again, strlen(again), arena, &status, &faults);
    assert_int_equal(faults.n_faults, 4); /* the height is merged into the second machine and still said once */
    static const uint32_t lines[] = {3, 8, 15, 33};
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(faults.faults[i].line, lines[i]);
    }
    po_arena_free(arena);
}

/* A misspelt key is one fault: that the right one is missing goes without saying. */
static void test_misspelt(void **state)
{
    (void)state;
    char text[8192];
    size_t n = change("    height: 90", "    hieght: 90", text, sizeof text);
    po_arena *arena = po_arena_new(1 << 20);
    po_status status;
    po_shop_faults faults;
    read_text(text, n, arena, &status, &faults);
    assert_int_equal(faults.n_faults, 1);
    n = change("    height: 90", "    colour: 90", text, sizeof text);
    read_text(text, n, arena, &status, &faults);
    assert_int_equal(faults.n_faults, 3); /* the unknown key, and the height of both machines */
    po_arena_free(arena);
}

static void test_whole_files(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        uint32_t line, column;
        const char *found;
    } files[] = {
        {"", 1, 1, "an empty file"},       {"# nothing\n\n", 1, 1, "an empty file"}, {"7\n", 1, 1, "\"7\""},
        {"- shop\n", 1, 1, "a list of 1"}, {"\xff\xfes\0h", 1, 1, "text in UTF-16"}, {"{}", 1, 1, "nothing"},
    };
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        po_arena *arena = po_arena_new(1 << 20);
        po_status status;
        po_shop_faults faults;
        read_text(files[i].text, strlen(files[i].text), arena, &status, &faults);
        assert_int_equal(status, PO_E_SYNTAX);
        assert_int_equal(faults.faults[0].line, files[i].line);
        assert_int_equal(faults.faults[0].column, files[i].column);
        assert_non_null(strstr(faults.faults[0].found, files[i].found));
        po_arena_free(arena);
    }
}

typedef struct big {
    char *text;
    size_t n;
    FILE *file;
} big;

static void big_open(big *b)
{
    *b = (big){0};
    b->file = open_memstream(&b->text, &b->n); /* keeps the addresses */
    assert_non_null(b->file);
}

static void big_check(big *b, po_status wanted, const char *found)
{
    fclose(b->file);
    po_arena *arena = po_arena_new(64 << 20);
    po_status status;
    po_shop_faults faults;
    read_text(b->text, b->n, arena, &status, &faults);
    assert_int_equal(status, wanted);
    bool seen = !found;
    for (size_t i = 0; i < faults.n_faults; i++) {
        seen |= found && strstr(faults.faults[i].found, found) != NULL;
    }
    assert_true(seen);
    assert_true(faults.n_faults <= PO_SHOP_MOST_FAULTS + 1);
    po_arena_free(arena);
    free(b->text);
}

/* Files made to hurt: the memory stays below the arena's limit, the time within the test's. */
static void test_hostile(void **state)
{
    (void)state;
    big b;
    big_open(&b); /* aliases of aliases: 9^20 values if they were written out */
    fputs("a: &a [x,x,x,x,x,x,x,x,x]\n", b.file);
    for (int c = 'b'; c < 'u'; c++) {
        fprintf(b.file, "%c: &%c [", c, c);
        for (int i = 0; i < 9; i++) {
            fprintf(b.file, "*%c,", c - 1);
        }
        fputs("]\n", b.file);
    }
    fprintf(b.file, "%s", good);
    big_check(&b, PO_E_SYNTAX, "the unknown key \"t\"");

    big_open(&b); /* merges of merges */
    fputs("a: &a {", b.file);
    for (int i = 0; i < 900; i++) {
        fprintf(b.file, "k%d: 1, ", i);
    }
    fputs("}\n", b.file);
    for (int i = 0; i < 200; i++) {
        fprintf(b.file, "m%d: {<<: *a}\n", i);
    }
    big_check(&b, PO_E_LIMIT, "a merge of more keys");

    big_open(&b); /* one mapping with many unknown keys, as every machine */
    fputs("materials: &u {", b.file);
    for (int i = 0; i < 900; i++) {
        fprintf(b.file, "k%d: 1, ", i);
    }
    fputs("}\nmachines: [", b.file);
    for (int i = 0; i < 500; i++) {
        fputs("*u,", b.file);
    }
    fputs("]\n", b.file);
    big_check(&b, PO_E_SYNTAX, "the unknown key \"k899\"");

    big_open(&b);
    for (int i = 0; i < 100000; i++) {
        fprintf(b.file, "k%d: 1\n", i);
    }
    big_check(&b, PO_E_SYNTAX, "more faults than are listed");

    big_open(&b); /* a long file that is good */
    fprintf(b.file, "%s", good);
    for (int i = 0; i < 100000; i++) {
        fputs("# a comment, and another\n", b.file);
    }
    big_check(&b, PO_OK, NULL);

    big_open(&b);
    fputs("shop: ", b.file);
    for (int i = 0; i < 100000; i++) {
        fputc('[', b.file);
    }
    big_check(&b, PO_E_LIMIT, "nested too deeply");

    big_open(&b);
    for (int i = 0; i < 500000; i++) {
        fputs("- x\n", b.file);
    }
    big_check(&b, PO_E_LIMIT, "more values");

    big_open(&b);
    for (int i = 0; i < 20000; i++) {
        fprintf(b.file, "- &a%d x\n", i);
    }
    big_check(&b, PO_E_LIMIT, "more anchors");

    big_open(&b);
    fputs("- &a x\n", b.file);
    for (int i = 0; i < 20000; i++) {
        fputs("- *a\n", b.file);
    }
    big_check(&b, PO_E_LIMIT, "more aliases");

    big_open(&b);
    for (int i = 0; i < 900000; i++) {
        fputs("# nothing\n", b.file);
    }
    big_check(&b, PO_E_LIMIT, "a file of 9000000 bytes");

    big_open(&b); /* an alias inside what it names */
    fputs("shop: &a {name: *a}\n", b.file);
    big_check(&b, PO_E_SYNTAX, "*a");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_good),        cmocka_unit_test(test_each),     cmocka_unit_test(test_all_at_once),
        cmocka_unit_test(test_whole_files), cmocka_unit_test(test_misspelt), cmocka_unit_test(test_hostile),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
