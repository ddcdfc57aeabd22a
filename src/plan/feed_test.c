/* A feed written, then read by libical and by our own reader. SPDX-License-Identifier: Apache-2.0 */
#include <libical/ical.h>

#include "plan/kit.h"

static const char long_text[] = "Ende der B\xc3\xa4nke; Alder, Birch\\Cedar\nzweite Zeile \xe2\x80\x94 und so weiter, "
                                "damit die Zeile l\xc3\xa4nger wird als "
                                "f\xc3\xbcnfundsiebzig Oktette \xf0\x9f\x94\xa7\xf0\x9f\x94\xa7\xf0\x9f\x94\xa7";

static void written_and_read(void **state)
{
    (void)state;
    po_arena *arena = po_arena_new(0);
    const po_feed_event events[] = {
        {"run-1-run@quayside", {utc(2026, 10, 24, 22, 0), utc(2026, 10, 25, 6, 0)}, long_text, "a\rb", "RUN"},
        {"run-1-hands-1@quayside",
         {utc(2026, 10, 25, 1, 30) + 999, utc(2026, 10, 25, 1, 30) + 999},
         "hands",
         NULL,
         "HANDS"},
    };
    const char *text;
    size_t n;
    assert_int_equal(po_feed_write("Quayside, Workshop", events, 2, utc(2026, 10, 24, 21, 0), arena, &text, &n, NULL),
                     PO_OK);
    assert_int_equal(strlen(text), n);
    assert_true(strcmp(text + n - 15, "END:VCALENDAR\r\n") == 0);
    for (const char *line = text, *end; *line; line = end + 2) { /* 3.1: CRLF, 75 octets, whole characters */
        end = strstr(line, "\r\n");
        assert_non_null(end);
        assert_true(end - line <= 75 && end > line);
        assert_true(((unsigned char)*line & 0xc0) != 0x80 &&
                    (line[0] != ' ' || ((unsigned char)line[1] & 0xc0) != 0x80));
        assert_null(memchr(line, '\n', (size_t)(end - line)));
    }
    icalcomponent *c = icalparser_parse_string(text);
    assert_non_null(c);
    assert_int_equal(icalcomponent_count_errors(c), 0);
    assert_true(icalrestriction_check(c));
    assert_int_equal(icalcomponent_count_components(c, ICAL_VEVENT_COMPONENT), 2);
    icalcomponent *e = icalcomponent_get_first_component(c, ICAL_VEVENT_COMPONENT);
    assert_string_equal(icalcomponent_get_uid(e), "run-1-run@quayside");
    assert_string_equal(icalcomponent_get_summary(e), long_text);
    assert_string_equal(icalcomponent_get_description(e), "a?b");
    assert_int_equal(icaltime_as_timet(icalcomponent_get_dtstart(e)), events[0].span.from_ms / 1000);
    assert_int_equal(icaltime_as_timet(icalcomponent_get_dtend(e)), events[0].span.until_ms / 1000);
    assert_int_equal(icaltime_as_timet(icalcomponent_get_dtstamp(e)), utc(2026, 10, 24, 21, 0) / 1000);
    icalcomponent_free(c);
    const po_desk_event *back;
    size_t n_back;
    po_ms_span all = {0, INT64_C(4102444800000)};
    assert_int_equal(
        po_ical_read(text, n, "feed", zone_of(arena, "Europe/London"), all, false, arena, &back, &n_back, NULL), PO_OK);
    assert_int_equal(n_back, 0); /* a shop that reads its own feed is not closed by it */
    po_feed_event late = {"x", {utc(2026, 1, 1, 0, 0), INT64_MAX}, "", NULL, "RUN"};
    assert_int_equal(po_feed_write("Q", &late, 1, 0, arena, &text, &n, NULL), PO_E_RANGE);
    late.span = (po_ms_span){10, 5};
    assert_int_equal(po_feed_write("Q", &late, 1, 0, arena, &text, &n, NULL), PO_E_RANGE);
    assert_int_equal(po_feed_write("Q", NULL, 0, 0, arena, &text, &n, NULL), PO_OK);
    po_arena_free(arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(written_and_read)};
    return cmocka_run_group_tests_name("feed", tests, NULL, NULL);
}
