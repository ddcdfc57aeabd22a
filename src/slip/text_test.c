/* The slip and the table as text: verdict first, never too wide, nothing that steers a terminal. SPDX-License-Identifier: Apache-2.0 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "slip/fixture.h"
#include "slip/say.h"

static void not_wider(const po_document *doc, size_t columns)
{
    size_t at = 0, line = 1;
    for (size_t i = 0; i < doc->n_bytes; i++) {
        unsigned char c = (unsigned char)doc->data[i];
        assert_true(c == '\n' || c >= 32);
        if (c == '\n') {
            at = 0;
            line++;
        } else if ((c & 0xC0) != 0x80 && ++at > columns) {
            fail_msg("line %zu is wider than %zu columns", line, columns);
        }
    }
    assert_int_equal(doc->data[doc->n_bytes - 1], '\n');
}

static void slip_of(po_fixture *f, const po_slip_options *options, po_document *ret)
{
    po_err err;
    assert_int_equal(po_slip_text(f->proof, f->shop, options, f->arena, ret, &err), PO_OK);
}

static void verdict_first(void **state)
{
    (void)state;
    po_fixture f;
    po_document doc;
    po_fixture_init(&f, true, false, true);
    slip_of(&f, NULL, &doc);
    not_wider(&doc, 80);
    const char *machine = strstr(doc.data, "Alder: no"), *finding = strstr(doc.data, "prints-on-air (44 times)");
    const char *facts = strstr(doc.data, "\nFacts\n"), *rules = strstr(doc.data, "This shop's own rules");
    const char *care = strstr(doc.data, "\nCare\n");
    assert_true(machine && finding && facts && rules && care);
    assert_true(machine < finding && finding < facts && facts < rules && rules < care);
    assert_true(machine - doc.data < 200);
    assert_non_null(strstr(doc.data, "12.3 m of petg, 37.7 g"));
    assert_non_null(strstr(doc.data, "3 h 20 min"));
    assert_non_null(strstr(doc.data, "ends 21:05"));
    assert_non_null(strstr(doc.data, "33.25 mm up"));
    assert_non_null(strstr(doc.data, "Bed                not commanded"));
    assert_non_null(strstr(doc.data, "off-recipe [usually ask]"));
    assert_non_null(strstr(doc.data, "maker's instructions"));
    assert_null(strchr(doc.data, '\033'));
    po_fixture_done(&f);

    po_fixture_init(&f, false, false, false);
    slip_of(&f, NULL, &doc);
    assert_non_null(strstr(doc.data, "Alder: yes"));
    assert_non_null(strstr(doc.data, "Nothing to say against it."));
    assert_null(strstr(doc.data, "\nCare\n")); /* no finding concerns heat or hands, no start is known */
    f.report->facts.deposit_done = false;
    f.report->facts.first_bead_seconds = NAN;
    f.report->facts.layers = 0;
    slip_of(&f, NULL, &doc);
    assert_non_null(strstr(doc.data, "not measured"));
    po_fixture_done(&f);
}

static void width_and_colour(void **state)
{
    (void)state;
    static char longest[400];
    memset(longest, 'w', sizeof longest - 1);
    for (int columns = 40; columns <= 132; columns += 23) {
        po_fixture f;
        po_document doc;
        po_err err;
        po_slip_options options = PO_SLIP_OPTIONS_INIT;
        options.columns = columns;
        po_fixture_init(&f, true, true, true);
        f.proof->file = longest;
        ((po_finding *)f.proof->findings)[0].says = longest; /* one word, longer than any line */
        ((po_finding *)f.proof->findings)[1].todo = "steer \033[2J\a\xC2\x9B"
                                                    "31m the terminal";
        f.machines[1].name = "A machine with a name that is longer than its place on any slip of this width";
        slip_of(&f, &options, &doc);
        not_wider(&doc, (size_t)columns);
        const po_proof *proofs[] = {f.proof, f.proof};
        assert_int_equal(po_slip_table(proofs, 2, f.shop, &options, f.arena, &doc, &err), PO_OK);
        not_wider(&doc, columns < 60 ? 60 : (size_t)columns);
        options.colour = true;
        assert_int_equal(po_slip_text(f.proof, f.shop, &options, f.arena, &doc, &err), PO_OK);
        assert_non_null(strstr(doc.data, "\033[1;31m"));
        assert_null(strstr(doc.data, "\033[2J"));
        po_fixture_done(&f);
    }
}

static void table_of_machines(void **state)
{
    (void)state;
    po_fixture a, b;
    po_document doc;
    po_err err;
    po_fixture_init(&a, true, false, true);
    po_fixture_init(&b, false, true, true);
    const po_proof *proofs[] = {a.proof, b.proof};
    assert_int_equal(po_slip_table(proofs, 2, a.shop, NULL, a.arena, &doc, &err), PO_OK);
    not_wider(&doc, 80);
    assert_non_null(strstr(doc.data, "\nAlder    no    12.3 m    3:20  21:05  prints-on-air +3\n"));
    assert_non_null(strstr(doc.data, "\nElm      yes   12.3 m    3:20  21:05\n"));
    assert_non_null(strstr(doc.data, "\n\nYes: it takes 12.3 metres")); /* the sentence of the best machine */
    po_fixture_done(&a);
    po_fixture_done(&b);
}

static void words_for_numbers(void **state)
{
    (void)state;
    po_arena *a = po_arena_new(0);
    assert_string_equal(po_say_time(a, 45.2), "45 s");
    assert_string_equal(po_say_time(a, 270), "4 min 30 s");
    assert_string_equal(po_say_time(a, 3599), "1 h");
    assert_string_equal(po_say_time(a, 12000), "3 h 20 min");
    assert_string_equal(po_say_time(a, 223200), "62 h");
    assert_string_equal(po_say_time(a, NAN), "-");
    assert_string_equal(po_say_hmm(a, 59.6), "0:01");
    assert_string_equal(po_say_hmm(a, 12000), "3:20");
    assert_string_equal(po_say_metres(a, 9840), "9.84 m");
    assert_string_equal(po_say_metres(a, 9996), "10.0 m");
    assert_string_equal(po_say_metres(a, 123456), "123 m");
    assert_string_equal(po_say_grams(a, 30.06), "30.1 g");
    assert_string_equal(po_say_number(a, 0.2200, 2), "0.22");
    assert_string_equal(po_say_number(a, -0.0001, 2), "0");
    assert_string_equal(po_say_number(a, 100, 0), "100");
    assert_string_equal(po_say_or(a, NAN, 2, "mm", "not clear"), "not clear");
    po_wall_time t = {{2026, 11, 26}, 860}, next = {{2026, 11, 27}, 5};
    assert_string_equal(po_say_clock(a, t, NULL), "Thu 26 Nov 14:20"); /* 26 November 2026 is a Thursday */
    assert_string_equal(po_say_clock(a, t, &t), "14:20");
    assert_string_equal(po_say_clock(a, next, &t), "Fri 27 Nov 00:05");
    assert_string_equal(po_say_iso(a, t), "2026-11-26T14:20");
    po_arena_free(a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(verdict_first),
        cmocka_unit_test(width_and_colour),
        cmocka_unit_test(table_of_machines),
        cmocka_unit_test(words_for_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
