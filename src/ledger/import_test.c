/* Members from files: what changes, every fault with its place, all or nothing. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/import.h"

#include "ledger/ledger_kit.h"

#define AUTUMN (KIT_NOON + 74 * KIT_DAY)

/* Two days are known here: enough to see what is done with them. */
static bool end_of_day(void *user, const char *day, int64_t *ret_ms)
{
    (void)user;
    *ret_ms = strcmp(day, "2026-12-18") == 0 ? AUTUMN : KIT_NOON - KIT_DAY;
    return strcmp(day, "2026-12-18") == 0 || strcmp(day, "2026-10-01") == 0;
}

static const po_import_permission permissions[] = {{"starter", -1}, {"two-material", AUTUMN - KIT_DAY}};

static po_status bring_in(kit *k, const char *by, bool book, const char *text, po_import *ret)
{
    size_t n = strlen(text);
    char *data = malloc(n + 1); /* exactly what is asked for, so that a sanitizer sees more */
    assert_non_null(data);
    memcpy(data, text, n);
    po_import_options o = {
        .by = by, .permissions = permissions, .n_permissions = 2, .end_of_day = end_of_day, .book = book};
    memset(&k->err, 0, sizeof k->err);
    po_status s = po_ledger_import_members(k->ledger, data, n, &o, k->arena, ret, &k->err);
    free(data); /* nothing of the answer may lie there but what is in the arena */
    return s;
}

static int64_t events(kit *k)
{
    int64_t n = 0;
    while (kit_number(kit_ask(k, "events", "{\"after\":%lld,\"limit\":1}", (long long)n), "events/0/event") > 0) {
        n++;
    }
    return n;
}

static void open_shop(kit *k)
{
    kit_begin(k);
    kit_open(k);
    OK(kit_act(k, "member-enrol", "keeper", "{\"member\":\"d1\",\"role\":\"desk\",\"name\":\"Dee Desk\"}"));
    OK(kit_act(k, "member-enrol", "desk",
               "{\"member\":\"10041\",\"name\":\"Ada Quay\",\"contact\":\"ada@q.example\"}"));
    OK(kit_act(k, "permit-grant", "d1", "{\"member\":\"10041\",\"permission\":\"starter\"}"));
    OK(kit_act(k, "member-enrol", "desk", "{\"member\":\"gone\"}"));
    OK(kit_act(k, "member-forget", "keeper", "{\"member\":\"gone\"}"));
}

static void what_it_changes(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static const char *const file = "until,Permissions,name,member,contact\r\n"
                                    "2026-12-18,starter | two-material,\"Harbour, Ben\",10042,\r\n"
                                    ",starter,Ada Quay,10041,\r\n"
                                    "\r\n"
                                    ",two-material,Ada Key,10041x,ada@q.example\r\n"
                                    ",,,d1,dee@q.example\r\n";
    po_import found = {0};
    OK(bring_in(k, "d1", false, file, &found));
    assert_int_equal(found.n_faults, 0);
    assert_int_equal(found.n_new, 2);
    assert_int_equal(found.n_changed, 1);
    assert_int_equal(found.n_granted, 3);
    assert_int_equal(found.n_unchanged, 1);
    assert_int_equal(found.n_lines, 3);
    assert_int_equal(found.lines[0].line, 2);
    assert_string_equal(found.lines[0].member, "10042");
    assert_true(found.lines[0].is_new && found.lines[0].name && !found.lines[0].contact);
    assert_string_equal(found.lines[0].granted[1].name, "two-material");
    assert_int_equal(found.lines[0].granted[1].until_ms, AUTUMN);
    assert_int_equal(found.lines[1].line, 5);
    assert_int_equal(found.lines[1].granted[0].until_ms, AUTUMN - KIT_DAY); /* the shop's own, where no day is said */
    assert_true(!found.lines[2].is_new && found.lines[2].contact && !found.lines[2].name);
    assert_int_equal(found.first_event, 0);
    assert_int_equal(events(k), 5); /* a dry run books nothing */
    OK(bring_in(k, "d1", true, file, &found));
    assert_int_equal(found.first_event, 6);
    assert_int_equal(found.last_event, 11);
    assert_int_equal(events(k), 11);
    assert_non_null(strstr(kit_ask(k, "member", "{\"member\":\"10042\"}"), "\"Harbour, Ben\""));
    assert_null(strstr(kit_ask(k, "events", "{}"), "Harbour"));
    assert_null(strstr(kit_ask(k, "events", "{}"), "dee@q"));
    /* once more: nothing is left to do */
    OK(bring_in(k, "d1", true, file, &found));
    assert_int_equal(found.n_lines, 0);
    assert_int_equal(found.n_unchanged, 4);
    assert_int_equal(found.first_event, 0);
    assert_int_equal(events(k), 11);
    /* another day for a permission that is held is a change, and no day is none */
    OK(bring_in(k, "d1", false, "member,permissions,until\n10041,starter,2026-12-18\n", &found));
    assert_int_equal(found.n_granted, 1);
    kit_clean(k);
    OK(po_ledger_rebuild(k->ledger, &k->err));
    kit_clean(k);
    kit_end(k);
}

static void faults(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    static const struct {
        const char *file;
        struct {
            uint32_t line, column;
            const char *words;
        } wanted[8];
    } cases[] = {
        {"", {{1, 1, "the file is empty"}}},
        {"name,contact\nA,b\n", {{1, 1, "no column member"}}},
        {"member;name\n1;A\n", {{1, 1, "no column \"member;name\""}}},
        {"member,nmae\n1,A\n", {{1, 8, "no column \"nmae\""}}},
        {"member,name,Member\n", {{1, 13, "the column member is named twice"}}},
        {"member,\"name\n", {{1, 8, "never closed"}}},
        {"member,name,role,permissions,until\n"
         "1,A,,starter,2026-12-18\n"        /* fine, and yet not booked */
         "2,B,,startr,\n"                   /* a permission that is not there */
         "1,C,,,\n"                         /* doubled */
         "3,D,,starter,2026-13-01\n"        /* no day */
         "4,\xc3\x84,,starter,2026-10-01\n" /* over */
         "gone,E,,,\n"                      /* forgotten */
         "5,F,desk,,\n"                     /* a role that the desk may not give */
         "6,G\n",                           /* too few cells */
         {{3, 6, "the shop has no permission startr; the nearest is starter"},
          {4, 1, "member 1 stands in line 2 already"},
          {5, 14, "2026-13-01 is no day"},
          {6, 14, "2026-10-01 is over already"},
          {7, 1, "member gone was forgotten"},
          {8, 5, "only a keeper gives the role desk"},
          {9, 3, "2 cells, and the first line has 5"}}},
        {"member,name,permissions\n"
         ",A,starter\n"               /* no number */
         "a b,A,starter\n"            /* no number either */
         "7,\"two\nlines\",starter\n" /* more than one line in a name */
         "8,J\xfcrgen,starter\n"      /* no UTF-8 */
         "9,A,starter||x\n"
         "10,A,starter,\n",
         {{2, 1, "number is missing"},
          {3, 1, "a b is no number of a member"},
          {4, 3, "on one line"},
          {6, 4, "no UTF-8"},
          {7, 5, "a permission without a name"},
          {7, 5, "no permission x"},
          {8, 14, "4 cells, and the first line has 3"}}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        po_import found = {0};
        OK(bring_in(k, "d1", true, cases[i].file, &found));
        size_t n = 0;
        for (; n < 8 && cases[i].wanted[n].words; n++) {
            if (n >= found.n_faults || found.faults[n].line != cases[i].wanted[n].line ||
                found.faults[n].column != cases[i].wanted[n].column ||
                !strstr(found.faults[n].says, cases[i].wanted[n].words)) {
                fail_msg("case %zu, fault %zu of %zu: %u:%u %s", i, n, found.n_faults,
                         n < found.n_faults ? found.faults[n].line : 0, n < found.n_faults ? found.faults[n].column : 0,
                         n < found.n_faults ? found.faults[n].says : "none");
            }
        }
        assert_int_equal(found.n_faults, n);
        assert_int_equal(found.first_event, 0);
    }
    char longer[1200] = "member,name\n11,";
    memset(longer + strlen(longer), 'n', 1001);
    po_import found = {0};
    OK(bring_in(k, "d1", true, longer, &found));
    assert_int_equal(found.n_faults, 1);
    assert_non_null(strstr(found.faults[0].says, "1 to 1000 bytes"));
    assert_int_equal(events(k), 5);
    /* a keeper may give roles, and change them */
    OK(bring_in(k, "keeper", true, "member,role\n12,desk\n10041,desk\nd1,desk\n", &found));
    assert_int_equal(found.n_faults, 0);
    assert_int_equal(found.n_new, 1);
    assert_int_equal(found.n_changed, 1);
    assert_string_equal(found.lines[1].role, "desk");
    assert_int_equal(events(k), 7);
    /* the book has the last word: whoever may not, may not, and nothing is booked */
    assert_int_equal(bring_in(k, "10042", true, "member\n13\n14\n", &found), PO_E_CONFLICT);
    assert_int_equal(k->err.line, 2);
    assert_int_equal(events(k), 7);
    kit_clean(k);
    kit_end(k);
}

static void many(void **state)
{
    (void)state;
    kit one, *k = &one;
    open_shop(k);
    size_t room = 400000, n = 0;
    char *text = malloc(room);
    assert_non_null(text);
    n += (size_t)snprintf(text, room, "member,name,permissions\n");
    for (int i = 0; i < 2000; i++) {
        n += (size_t)snprintf(text + n, room - n, "n%05d,Person %d,starter\n", i, i);
    }
    po_import found = {0};
    OK(bring_in(k, "d1", true, text, &found));
    assert_int_equal(found.n_new, 2000);
    assert_int_equal(found.last_event, 5 + 4000);
    OK(bring_in(k, "d1", false, text, &found));
    assert_int_equal(found.n_unchanged, 2000);
    for (int i = 2000; i < 10100; i++) {
        n += (size_t)snprintf(text + n, room - n, "n%05d,Person %d,starter\n", i, i);
    }
    kit_end(k);
    open_shop(k);
    assert_int_equal(bring_in(k, "d1", true, text, &found), PO_E_LIMIT);
    assert_non_null(strstr(k->err.msg, "20200 acts"));
    assert_int_equal(events(k), 5);
    free(text);
    kit_end(k);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_it_changes),
        cmocka_unit_test(faults),
        cmocka_unit_test(many),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
