/* iCalendar files read: the examples of RFC 5545 itself, the rule of what opens and closes, broken files. SPDX-License-Identifier: Apache-2.0 */
#include "plan/ical_inside.h"

#include "base/rounds.h"
#include "plan/kit.h"

static const char head[] = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Quayside Workshop//test//EN\r\n",
                  tail[] = "END:VCALENDAR\r\n";

typedef struct got {
    po_arena *arena;
    const po_desk_event *events;
    size_t n;
    po_status status;
    po_err err;
} got;

/* The lines between head and tail; in the shop's zone. */
static got read_as(const char *lines, const char *zone, po_ms_span within, bool others_close)
{
    got g = {.arena = po_arena_new(0)};
    const char *text = po_arena_printf(g.arena, "%s%s%s", head, lines, tail);
    size_t n = strlen(text);
    char *exact = malloc(n);
    memcpy(exact, text, n);
    g.status = po_ical_read(exact, n, "hours.ics", zone_of(g.arena, zone), within, others_close, g.arena, &g.events,
                            &g.n, &g.err);
    free(exact);
    return g;
}

static const po_ms_span ages = {0, INT64_C(1577836800000)}; /* 1970 to 2020 */

/* RFC 5545 section 3.8.5.3, "Recurrence Rule", examples: all at 9:00 in New York. */
static void examples_of_the_rfc(void **state)
{
    (void)state;
    static const struct {
        const char *start, *rule, *days;
    } rows[] = {
        {"19970902", "FREQ=DAILY;COUNT=10",
         "19970902 19970903 19970904 19970905 19970906 19970907 19970908 19970909 19970910 19970911"},
        {"19970902", "FREQ=DAILY;INTERVAL=10;COUNT=5", "19970902 19970912 19970922 19971002 19971012"},
        {"19970902", "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
         "19970902 19970904 19970909 19970911 19970916 19970918 19970923 19970925 19970930 19971002"},
        {"19970901", "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
         "19970901 19970903 19970905 19970915 19970917 19970919 19970929 19971001 19971003 19971013 19971015 19971017 "
         "19971027 19971029 "
         "19971031 19971110 19971112 19971114 19971124 19971126 19971128 19971208 19971210 19971212 19971222"},
        {"19970905", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
         "19970905 19971003 19971107 19971205 19980102 19980206 19980306 19980403 19980501 19980605"},
        {"19970922", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "19970922 19971020 19971117 19971222 19980119 19980216"},
        {"19970904", "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", "19970904 19971007 19971106"},
        {"19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "19970805 19970810 19970819 19970824"},
        {"19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "19970805 19970817 19970819 19970831"},
        {"20070115", "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "20070115 20070130 20070215 20070315 20070330"},
        {"19961105", "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8;COUNT=3",
         "19961105 20001107 20041102"},
        {"19970610", "FREQ=YEARLY;COUNT=10;BYMONTH=6,7",
         "19970610 19970710 19980610 19980710 19990610 19990710 20000610 20000710 20010610 20010710"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char lines[1000];
        snprintf(lines, sizeof lines,
                 "BEGIN:VEVENT\r\nUID:1\r\nDTSTART;TZID=America/"
                 "New_York:%sT090000\r\nDURATION:PT1H\r\nRRULE:%s\r\nEND:VEVENT\r\n",
                 rows[i].start, rows[i].rule);
        got g = read_as(lines, "Europe/London", ages, true);
        if (g.status != PO_OK) {
            fail_msg("%s: %s", rows[i].rule, g.err.msg);
        }
        const po_zone *york = zone_of(g.arena, "America/New_York");
        char days[600] = "";
        for (size_t k = 0; k < g.n; k++) {
            po_wall_time w = po_zone_wall(york, g.events[k].span.from_ms, NULL);
            assert_int_equal(w.minute, 540); /* on both sides of the change of the clocks */
            assert_int_equal(g.events[k].span.until_ms - g.events[k].span.from_ms, 3600000);
            size_t at = strlen(days);
            snprintf(days + at, sizeof days - at, "%s%04d%02d%02d", k ? " " : "", w.date.year, w.date.month,
                     w.date.day);
        }
        assert_string_equal(days, rows[i].days);
        po_arena_free(g.arena);
    }
}

/* The same section: daily until December 24 (September 2 to December 23: 113 days), and every Friday the 13th with its EXDATE. */
static void until_and_exdate(void **state)
{
    (void)state;
    got g = read_as("BEGIN:VEVENT\nUID:1\nDTSTART;TZID=America/New_York:19970902T090000\nDTEND;TZID=America/"
                    "New_York:19970902T100000\n"
                    "RRULE:FREQ=DAILY;UNTIL=19971224T000000Z\nEND:VEVENT\n",
                    "UTC", ages, true);
    assert_int_equal(g.status, PO_OK);
    assert_int_equal(g.n, 113);
    assert_int_equal(g.events[0].span.from_ms, utc(1997, 9, 2, 13, 0));
    assert_int_equal(g.events[112].span.from_ms, utc(1997, 12, 23, 14, 0));
    po_arena_free(g.arena);
    g = read_as("BEGIN:VEVENT\nUID:1\nDTSTART;TZID=America/"
                "New_York:19970902T090000\nDURATION:PT1H\nEXDATE;TZID=America/New_York:19970902T090000\n"
                "RRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13\nEND:VEVENT\n",
                "UTC", (po_ms_span){0, utc(2000, 12, 31, 0, 0)}, true);
    static const int friday[][3] = {{1998, 2, 13}, {1998, 3, 13}, {1998, 11, 13}, {1999, 8, 13}, {2000, 10, 13}};
    assert_int_equal(g.n, 5);
    for (size_t i = 0; i < 5; i++) {
        po_wall_time w = po_zone_wall(zone_of(g.arena, "America/New_York"), g.events[i].span.from_ms, NULL);
        assert_true(w.date.year == friday[i][0] && w.date.month == friday[i][1] && w.date.day == friday[i][2] &&
                    w.minute == 540);
    }
    po_arena_free(g.arena);
}

/* Days, moved occurrences, RDATE, lengths by the wall, zones that a file brings along (RFC 5545 3.6.5, its New York). */
static void kinds_of_time(void **state)
{
    (void)state;
    po_ms_span year = {utc(2026, 1, 1, 0, 0), utc(2027, 6, 1, 0, 0)};
    static const struct {
        const char *lines;
        int n;
        int from[5], until[5];
    } rows[] = {
        {"DTSTART;VALUE=DATE:20261026\nDTEND;VALUE=DATE:20261028\n", 1, {2026, 10, 26, 0, 0}, {2026, 10, 28, 0, 0}},
        {"DTSTART;VALUE=DATE:20260701\n", 1, {2026, 6, 30, 23, 0}, {2026, 7, 1, 23, 0}}, /* one day, by summer time */
        {"DTSTART:20260701T100000\nDTEND:20260701T110000\n", 1, {2026, 7, 1, 9, 0}, {2026, 7, 1, 10, 0}}, /* floating */
        {"DTSTART:20260701T100000Z\nDURATION:PT90M\n", 1, {2026, 7, 1, 10, 0}, {2026, 7, 1, 11, 30}},
        {"DTSTART:20261024T120000\nDURATION:P1D\n",
         1,
         {2026, 10, 24, 11, 0},
         {2026, 10, 25, 12, 0}}, /* 25 hours (3.3.6) */
        {"DTSTART:20261024T120000\nDURATION:PT24H\n", 1, {2026, 10, 24, 11, 0}, {2026, 10, 25, 11, 0}},
        {"DTSTART:20270328T013000\nDURATION:PT1H\n",
         1,
         {2027, 3, 28, 1, 30},
         {2027, 3, 28, 2, 30}},                      /* 3.3.5: as if 2:30 */
        {"DTSTART:20260701T100000Z\n", 0, {0}, {0}}, /* a moment closes nothing */
        {"DTSTART;TZID=\"Quay Time\":20260701T100000\nDURATION:PT1H\n", 1, {2026, 7, 1, 14, 0}, {2026, 7, 1, 15, 0}},
        {"DTSTART:20260105T100000Z\nDURATION:PT1H\nRDATE:20260201T100000Z\nRDATE;VALUE=PERIOD:20260301T100000Z/PT2H\n",
         3,
         {2026, 1, 5, 10, 0},
         {2026, 1, 5, 11, 0}},
        {"DTSTART:20260105T100000Z\nDURATION:PT1H\nRRULE:FREQ=WEEKLY;COUNT=4\nEXDATE;VALUE=DATE:20260112\n",
         3,
         {2026, 1, 5, 10, 0},
         {2026, 1, 5, 11, 0}},
        {"STATUS:CANCELLED\nDTSTART:20260105T100000Z\nDURATION:PT1H\n", 0, {0}, {0}},
        {"TRANSP:TRANSPARENT\nDTSTART:20260105T100000Z\nDURATION:PT1H\n", 0, {0}, {0}},
        {"DTSTART:20260105T100000Z\nDURATION:PT1H\nBEGIN:VALARM\nDTSTART:rubbish\nEND:VALARM\n",
         1,
         {2026, 1, 5, 10, 0},
         {2026, 1, 5, 11, 0}},
        {"DTSTART:2026\n 0105T100000Z\nDURA\n\tTION:PT1H\n", 1, {2026, 1, 5, 10, 0}, {2026, 1, 5, 11, 0}}, /* folded */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char lines[2000];
        snprintf(
            lines, sizeof lines,
            "BEGIN:VTIMEZONE\nTZID:Quay "
            "Time\nBEGIN:DAYLIGHT\nDTSTART:20070311T020000\nRRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=2SU\n"
            "TZOFFSETFROM:-0500\nTZOFFSETTO:-0400\nTZNAME:EDT\nEND:DAYLIGHT\nBEGIN:STANDARD\nDTSTART:20071104T020000\n"
            "RRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU\nTZOFFSETFROM:-0400\nTZOFFSETTO:-0500\nTZNAME:EST\nEND:"
            "STANDARD\nEND:VTIMEZONE\n"
            "BEGIN:VEVENT\nUID:7\n%sEND:VEVENT\n",
            rows[i].lines);
        got g = read_as(lines, "Europe/London", year, true);
        if (g.status != PO_OK || (int)g.n != rows[i].n) {
            fail_msg("row %zu: %zu events, %s", i, g.n, g.status != PO_OK ? g.err.msg : "");
        }
        if (g.n > 0) {
            const int *f = rows[i].from, *u = rows[i].until;
            if (g.events[0].span.from_ms != utc(f[0], f[1], f[2], f[3], f[4]) ||
                g.events[0].span.until_ms != utc(u[0], u[1], u[2], u[3], u[4])) {
                fail_msg("row %zu: %lld to %lld", i, (long long)g.events[0].span.from_ms,
                         (long long)g.events[0].span.until_ms);
            }
        }
        po_arena_free(g.arena);
    }
}

/* One occurrence of a series is moved to another hour (3.8.4.4). */
static void a_moved_one(void **state)
{
    (void)state;
    got g = read_as(
        "BEGIN:VEVENT\nUID:w\nSUMMARY:Open evening\nDTSTART;TZID=Europe/London:20261005T200000\nDURATION:PT2H\n"
        "RRULE:FREQ=WEEKLY;COUNT=4\nEND:VEVENT\n"
        "BEGIN:VEVENT\nUID:w\nSUMMARY:Open evening\nRECURRENCE-ID;TZID=Europe/London:20261012T200000\n"
        "DTSTART;TZID=Europe/London:20261013T180000\nDURATION:PT1H\nEND:VEVENT\n",
        "Europe/London", (po_ms_span){utc(2026, 10, 1, 0, 0), utc(2026, 12, 1, 0, 0)}, false);
    assert_int_equal(g.status, PO_OK);
    assert_int_equal(g.n, 4);
    assert_int_equal(g.events[1].span.from_ms, utc(2026, 10, 13, 17, 0));
    assert_int_equal(g.events[3].span.from_ms, utc(2026, 10, 26, 20, 0)); /* after the change: UTC */
    for (size_t i = 0; i < g.n; i++) {
        assert_int_equal(g.events[i].effect, PO_DESK_OPEN);
    }
    po_arena_free(g.arena);
}

static void what_opens_and_closes(void **state)
{
    (void)state;
    static const struct {
        const char *line;
        int effect, of_holidays; /* -1: says nothing */
    } rows[] = {
        {"SUMMARY:Open day", PO_DESK_OPEN, PO_DESK_OPEN},
        {"SUMMARY:OPEN", PO_DESK_OPEN, PO_DESK_OPEN},
        {"SUMMARY:Opening times are wrong", -1, PO_DESK_CLOSED_ALWAYS},
        {"SUMMARY:Closed: boiler", PO_DESK_CLOSED, PO_DESK_CLOSED},
        {"SUMMARY:Disclosed", -1, PO_DESK_CLOSED_ALWAYS},
        {"SUMMARY:Boxing Day", -1, PO_DESK_CLOSED_ALWAYS},
        {"CATEGORIES:HOUSE,open", PO_DESK_OPEN, PO_DESK_OPEN},
        {"CATEGORIES:CLOSED", PO_DESK_CLOSED, PO_DESK_CLOSED},
        {"SUMMARY:Open day\nCATEGORIES:CLOSED", PO_DESK_CLOSED, PO_DESK_CLOSED}, /* nobody there is the safe reading */
        {"SUMMARY:Closed\nTRANSP:TRANSPARENT", PO_DESK_CLOSED, PO_DESK_CLOSED},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (int holidays = 0; holidays < 2; holidays++) {
            char lines[300];
            snprintf(lines, sizeof lines, "BEGIN:VEVENT\nDTSTART;VALUE=DATE:20100701\n%s\nEND:VEVENT\n", rows[i].line);
            got g = read_as(lines, "Europe/London", ages, holidays);
            assert_int_equal(g.status, PO_OK);
            int effect = g.n ? (int)g.events[0].effect : -1;
            if (effect != (holidays ? rows[i].of_holidays : rows[i].effect)) {
                fail_msg("%s: %d", rows[i].line, effect);
            }
            po_arena_free(g.arena);
        }
    }
}

/* Broken: what is said, and the line (that of head's BEGIN is 1, so the first of ours is 4). */
static void broken(void **state)
{
    (void)state;
    static const struct {
        const char *lines;
        po_status status;
        uint32_t line;
        const char *says;
    } rows[] = {
        {"BEGIN:VEVENT\nEND:VEVENT\n", PO_E_SYNTAX, 4, "no start"},
        {"BEGIN:VEVENT\nDTSTART:20261301\nEND:VEVENT\n", PO_E_SYNTAX, 5, "expected a day"},
        {"BEGIN:VEVENT\nDTSTART:20260229T100000\nEND:VEVENT\n", PO_E_SYNTAX, 5, "expected a day"},
        {"BEGIN:VEVENT\nDTSTART;TZID=Nowhere/Town:20260228T100000\nEND:VEVENT\n", PO_E_NOTFOUND, 5, "Nowhere/Town"},
        {"BEGIN:VEVENT\nDTSTART:20260228T100000Z\nDTEND:20260228T090000Z\nEND:VEVENT\n", PO_E_RANGE, 4, "ends before"},
        {"BEGIN:VEVENT\nDTSTART:20260228T100000Z\nDTEND;VALUE=DATE:20260301\nEND:VEVENT\n", PO_E_SYNTAX, 4,
         "a day, the other"},
        {"BEGIN:VEVENT\nDTSTART:20260228T100000Z\nDURATION:1H\nEND:VEVENT\n", PO_E_SYNTAX, 6, "PT2H"},
        {"BEGIN:VEVENT\nDTSTART:20260228T100000Z\nDURATION:-PT1H\nEND:VEVENT\n", PO_E_SYNTAX, 6, "PT2H"},
        {"BEGIN:VEVENT\nDTSTART:20100228T100000Z\nDURATION:PT1H\nRRULE:FREQ=SECONDLY\nEND:VEVENT\n", PO_E_UNSUPPORTED,
         7, "by the hour"},
        {"BEGIN:VEVENT\nDTSTART:20100228T100000Z\nDURATION:PT1H\nRRULE:FREQ=OFTEN\nEND:VEVENT\n", PO_E_SYNTAX, 7,
         "OFTEN"},
        {"BEGIN:VEVENT\nDTSTART:20100228T100000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY;INTERVAL=0\nEND:VEVENT\n",
         PO_E_SYNTAX, 7, "INTERVAL"},
        {"BEGIN:VEVENT\nDTSTART:20100228T100000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY;BYDAY=XX\nEND:VEVENT\n", PO_E_SYNTAX,
         7, "can't be read"},
        {"BEGIN:VEVENT\nDTSTART:20100228T100000Z\nDURATION:PT1H\nRRULE:FREQ=DAILY;UNTIL=soon\nEND:VEVENT\n",
         PO_E_SYNTAX, 7, "UNTIL"},
        {"BEGIN:VEVENT\nDTSTART:19700101T000000Z\nDURATION:PT1S\nRRULE:FREQ=DAILY;BYHOUR=0,1,2,3,4,5,6,7,8,9,10,11,12;"
         "BYMINUTE=0,1,2,3,4,5,6,7,8,9\n"
         "END:VEVENT\n",
         PO_E_LIMIT, 7, "too often"},
        {"BEGIN:VEVENT\nRECURRENCE-ID;RANGE=THISANDFUTURE:20260228T100000Z\nEND:VEVENT\n", PO_E_UNSUPPORTED, 5,
         "all later"},
        {"BEGIN:VEVENT\nno colon here\nEND:VEVENT\n", PO_E_SYNTAX, 5, "colon"},
        {"BEGIN:VEVENT\nSUMMARY:\xff\nEND:VEVENT\n", PO_E_SYNTAX, 5, "UTF-8"},
        {"BEGIN:VEVENT\nEND:VTODO\n", PO_E_SYNTAX, 5, "ends nothing"},
        {"BEGIN:VEVENT\n", PO_E_SYNTAX, 5, "ends nothing"},
        {"BEGIN:VTIMEZONE\nTZID:Q\nBEGIN:STANDARD\nRRULE:FREQ=DAILY\nEND:STANDARD\nEND:VTIMEZONE\nBEGIN:"
         "VEVENT\nDTSTART;TZID=Q:20100101T000000\nEND:VEVENT\n",
         PO_E_UNSUPPORTED, 7, "yearly"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        got g = read_as(rows[i].lines, "Europe/London", ages, true);
        if (g.status != rows[i].status || g.err.line != rows[i].line || !strstr(g.err.msg, rows[i].says) ||
            strcmp(g.err.where, "hours.ics") != 0) {
            fail_msg("row %zu: %d at %s:%u: %s", i, (int)g.status, g.err.where, g.err.line, g.err.msg);
        }
        po_arena_free(g.arena);
    }
}

/* Rules that go on for ever, or never hold, end soon; long before what is asked they cost nothing that grows without bound. */
static void endless(void **state)
{
    (void)state;
    static const char *const rules[] = {"FREQ=DAILY",
                                        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30",
                                        "FREQ=MONTHLY;BYMONTHDAY=31;BYMONTH=2,4,6",
                                        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=31",
                                        "FREQ=WEEKLY;BYDAY=MO;BYSETPOS=7",
                                        "FREQ=YEARLY;INTERVAL=9999",
                                        "FREQ=DAILY;COUNT=999999999",
                                        "FREQ=YEARLY;BYYEARDAY=366;BYMONTH=1"};
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++) {
        char lines[300];
        snprintf(lines, sizeof lines, "BEGIN:VEVENT\nDTSTART:19990101T100000\nDURATION:PT1H\nRRULE:%s\nEND:VEVENT\n",
                 rules[i]);
        got g = read_as(lines, "Europe/London", (po_ms_span){utc(2019, 1, 1, 0, 0), utc(2019, 3, 1, 0, 0)}, true);
        bool never = g.status == PO_E_SYNTAX && g.err.line == 7; /* libical refuses some that can never hold */
        if ((g.status != PO_OK && !(i > 0 && never)) || g.n > 59) {
            fail_msg("%s: %zu, %s", rules[i], g.n, g.err.msg);
        }
        assert_true(i > 0 || g.n == 59); /* each day of January and February */
        po_arena_free(g.arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(examples_of_the_rfc),
        cmocka_unit_test(until_and_exdate),
        cmocka_unit_test(kinds_of_time),
        cmocka_unit_test(a_moved_one),
        cmocka_unit_test(what_opens_and_closes),
        cmocka_unit_test(broken),
        cmocka_unit_test(endless),
    };
    return cmocka_run_group_tests_name("ical", tests, NULL, NULL);
}
