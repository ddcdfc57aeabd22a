/* Courses, assignments, groups and paying funds: what a run is for. SPDX-License-Identifier: Apache-2.0
 *
 * Runs name them by their short names, not by their rows: what was printed for a course can be told long after it is over. A
 * course or a group that has a fund does not make the fund pay; only the fund that the run itself names does. */
#include <string.h>

#include "ledger/answers.h"

/* A row with a short name. */
typedef struct named {
    int64_t id;
    bool found, closed;
} named;

/* sql: its id and when it was closed, by name (and by the row it belongs to, where there is one). */
static po_status look_up(po_store *store, const char *sql, const char *name, int64_t of, named *ret, po_err *err)
{
    po_rows *rows = NULL;
    named n = {0};
    po_status s = of ? po_store_ask(store, &rows, err, sql, "ti", name, of)
                     : po_store_ask(store, &rows, err, sql, "t", name);
    if (s != PO_OK) {
        return s;
    }
    if (po_rows_next(rows)) {
        n = (named){po_rows_int(rows, 0), true, po_rows_kind(rows, 1) != 'n'};
    }
    s = po_rows_end(rows, err);
    *ret = n;
    return s;
}

#define COURSE "SELECT id, closed_ms FROM courses WHERE course = ?1"
#define ASSIGNMENT "SELECT id, NULL FROM assignments WHERE assignment = ?1 AND course = ?2"
#define TEAM "SELECT id, NULL FROM teams WHERE team = ?1"
#define BELONGS                                                                                                        \
    "SELECT b.id, NULL FROM teams t JOIN belongs b ON b.team = t.id WHERE t.team = ?1 AND b.member = ?2 AND "          \
    "b.left_ms IS NULL"
#define FUND "SELECT id, closed_ms FROM funds WHERE fund = ?1"

/* A course that is open, or a sentence. */
static po_status open_course(po_store *store, const char *course, named *ret, po_err *err)
{
    po_status s = look_up(store, COURSE, course, 0, ret, err);
    return s != PO_OK ? s
           : !ret->found
               ? po_fail_at(err, PO_E_NOTFOUND, "course", 0, 0, "there is no course %s; open it first", course)
           : ret->closed ? po_fail_at(err, PO_E_CONFLICT, "course", 0, 0,
                                      "the course %s is over; leave it out, or open one of another name", course)
                         : PO_OK;
}

static po_status open_fund(po_store *store, const char *fund, named *ret, po_err *err)
{
    po_status s = look_up(store, FUND, fund, 0, ret, err);
    return s != PO_OK ? s
           : !ret->found
               ? po_fail_at(err, PO_E_NOTFOUND, "fund", 0, 0, "there is no fund %s; a keeper can open it", fund)
           : ret->closed ? po_fail_at(err, PO_E_CONFLICT, "fund", 0, 0,
                                      "the fund %s is closed and pays no more; name another, or none", fund)
                         : PO_OK;
}

static po_status known_group(po_store *store, const char *group, named *ret, po_err *err)
{
    po_status s = look_up(store, TEAM, group, 0, ret, err);
    return s != PO_OK || ret->found
               ? s
               : po_fail_at(err, PO_E_NOTFOUND, "group", 0, 0, "there is no group %s; open it first", group);
}

po_status po_purpose_holds(po_store *store, const json_t *body, int64_t member, po_err *err)
{
    const char *course = po_field_text(body, "course"), *assignment = po_field_text(body, "assignment");
    const char *group = po_field_text(body, "group"), *fund = po_field_text(body, "fund");
    named c = {0}, n = {0};
    if (assignment && !course) {
        return po_fail_at(err, PO_E_RANGE, "assignment", 0, 0,
                          "the assignment %s is of a course: name the course as well", assignment);
    }
    po_status s = course ? open_course(store, course, &c, err) : PO_OK;
    if (s == PO_OK && assignment) {
        s = look_up(store, ASSIGNMENT, assignment, c.id, &n, err);
        if (s == PO_OK && !n.found) {
            s = po_fail_at(err, PO_E_NOTFOUND, "assignment", 0, 0, "the course %s has no assignment %s; add it first",
                           course, assignment);
        }
    }
    if (s == PO_OK && group) {
        s = known_group(store, group, &n, err);
        s = s == PO_OK ? look_up(store, BELONGS, group, member, &n, err) : s;
        if (s == PO_OK && !n.found) {
            s = po_fail_at(err, PO_E_CONFLICT, "group", 0, 0,
                           "the member does not belong to the group %s; let them join it first", group);
        }
    }
    return s == PO_OK && fund ? open_fund(store, fund, &n, err) : s;
}

/* A name is free, or a sentence. */
static po_status not_taken(const named *n, const char *kind, const char *name, po_err *err)
{
    return n->found ? po_fail_at(err, PO_E_CONFLICT, kind, 0, 0, "there is a %s %s already%s; take another name", kind,
                                 name, n->closed ? ", which is closed" : "")
                    : PO_OK;
}

static po_status made(po_book *book, po_status s, po_table table, const char *what, const char *name, po_err *err)
{
    po_book_answer_text(book, what, name);
    return s == PO_OK ? po_book_made(book, table, book->event, err) : s;
}

/* A course or a fund takes no further run; what: the field that names it, how: what it is then. */
static po_status close_named(po_book *book, const char *looked_up, po_table table, const char *sql, const char *what,
                             const char *how, po_err *err)
{
    const char *name = po_field_text(book->body, what);
    named n = {0};
    po_status s = look_up(book->store, looked_up, name, 0, &n, err);
    if (s == PO_OK && !n.found) {
        return po_fail_at(err, PO_E_NOTFOUND, what, 0, 0, "there is no %s %s", what, name);
    }
    if (s == PO_OK && n.closed) {
        return po_fail_at(err, PO_E_CONFLICT, what, 0, 0, "the %s %s is %s already", what, name, how);
    }
    s = s == PO_OK ? po_book_touch(book, table, n.id, err) : s;
    po_book_answer_text(book, what, name);
    return s == PO_OK ? po_store_do(book->store, NULL, err, sql, "iii", book->event, book->at_ms, n.id) : s;
}

po_status po_apply_course_open(po_book *book, po_err *err)
{
    const char *course = po_field_text(book->body, "course"), *fund = po_field_text(book->body, "fund");
    named n = {0};
    po_status s = look_up(book->store, COURSE, course, 0, &n, err);
    s = s == PO_OK ? not_taken(&n, "course", course, err) : s;
    s = s == PO_OK && fund ? open_fund(book->store, fund, &n, err) : s;
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO courses(id, last, course, title, fund) VALUES(?1, ?1, ?2, ?3, ?4)",
                                 "ittt", book->event, course, po_field_text(book->body, "title"), fund)
                   : s;
    return made(book, s, PO_T_COURSES, "course", course, err);
}

po_status po_apply_course_close(po_book *book, po_err *err)
{
    return close_named(book, COURSE, PO_T_COURSES, "UPDATE courses SET last = ?1, closed_ms = ?2 WHERE id = ?3",
                       "course", "over", err);
}

/* A field that is left out stays what it was. */
po_status po_apply_assignment_set(po_book *book, po_err *err)
{
    const char *course = po_field_text(book->body, "course"), *assignment = po_field_text(book->body, "assignment");
    const char *title = po_field_text(book->body, "title");
    int64_t due_ms = po_field_has(book->body, "due") ? po_field_int(book->body, "due") : -1;
    named c = {0}, n = {0};
    po_status s = open_course(book->store, course, &c, err);
    s = s == PO_OK ? look_up(book->store, ASSIGNMENT, assignment, c.id, &n, err) : s;
    po_book_answer_text(book, "assignment", assignment);
    if (s != PO_OK || !n.found) {
        s = s == PO_OK
                ? po_store_do(book->store, NULL, err,
                              "INSERT INTO assignments(id, last, course, assignment, title, due_ms) VALUES(?1, ?1, "
                              "?2, ?3, ?4, nullif(?5, -1))",
                              "iitti", book->event, c.id, assignment, title, due_ms)
                : s;
        return made(book, s, PO_T_ASSIGNMENTS, "course", course, err);
    }
    s = po_book_touch(book, PO_T_ASSIGNMENTS, n.id, err);
    po_book_answer_text(book, "course", course);
    return s == PO_OK ? po_store_do(book->store, NULL, err,
                                    "UPDATE assignments SET last = ?1, title = coalesce(?2, title), due_ms = "
                                    "coalesce(nullif(?3, -1), due_ms) WHERE id = ?4",
                                    "itii", book->event, title, due_ms, n.id)
                      : s;
}

po_status po_apply_group_open(po_book *book, po_err *err)
{
    const char *group = po_field_text(book->body, "group"), *course = po_field_text(book->body, "course");
    const char *fund = po_field_text(book->body, "fund");
    named n = {0};
    po_status s = look_up(book->store, TEAM, group, 0, &n, err);
    s = s == PO_OK ? not_taken(&n, "group", group, err) : s;
    s = s == PO_OK && course ? open_course(book->store, course, &n, err) : s;
    s = s == PO_OK && fund ? open_fund(book->store, fund, &n, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO teams(id, last, team, title, course, fund) VALUES(?1, ?1, ?2, ?3, ?4, ?5)",
                          "itttt", book->event, group, po_field_text(book->body, "title"), course, fund)
            : s;
    return made(book, s, PO_T_TEAMS, "group", group, err);
}

/* The group and the member of the body, and whether they belong together now. */
static po_status group_and_member(po_book *book, named *ret_group, po_member *ret_member, named *ret_belongs,
                                  po_err *err)
{
    const char *group = po_field_text(book->body, "group"), *member = po_field_text(book->body, "member");
    po_status s = known_group(book->store, group, ret_group, err);
    s = s == PO_OK ? po_member_find(book->store, member, book->at_ms, ret_member, err) : s;
    po_book_answer_text(book, "group", group);
    po_book_answer_text(book, "member", member);
    return s == PO_OK ? look_up(book->store, BELONGS, group, ret_member->id, ret_belongs, err) : s;
}

po_status po_apply_group_join(po_book *book, po_err *err)
{
    named g = {0}, b = {0};
    po_member m = {0};
    po_status s = group_and_member(book, &g, &m, &b, err);
    if (s == PO_OK && b.found) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "member %s belongs to the group %s already",
                          po_field_text(book->body, "member"), po_field_text(book->body, "group"));
    }
    s = s == PO_OK ? po_store_do(book->store, NULL, err,
                                 "INSERT INTO belongs(id, last, team, member, joined_ms) VALUES(?1, ?1, ?2, ?3, ?4)",
                                 "iiii", book->event, g.id, m.id, book->at_ms)
                   : s;
    return s == PO_OK ? po_book_made(book, PO_T_BELONGS, book->event, err) : s;
}

po_status po_apply_group_leave(po_book *book, po_err *err)
{
    named g = {0}, b = {0};
    po_member m = {0};
    po_status s = group_and_member(book, &g, &m, &b, err);
    if (s == PO_OK && !b.found) {
        return po_fail_at(err, PO_E_CONFLICT, "member", 0, 0, "member %s does not belong to the group %s",
                          po_field_text(book->body, "member"), po_field_text(book->body, "group"));
    }
    s = s == PO_OK ? po_book_touch(book, PO_T_BELONGS, b.id, err) : s;
    return s == PO_OK ? po_store_do(book->store, NULL, err, "UPDATE belongs SET last = ?1, left_ms = ?2 WHERE id = ?3",
                                    "iii", book->event, book->at_ms, b.id)
                      : s;
}

po_status po_apply_fund_open(po_book *book, po_err *err)
{
    const char *fund = po_field_text(book->body, "fund"), *currency = po_field_text(book->body, "currency");
    named n = {0};
    po_status s = po_currency_holds(currency, err);
    s = s == PO_OK ? look_up(book->store, FUND, fund, 0, &n, err) : s;
    s = s == PO_OK ? not_taken(&n, "fund", fund, err) : s;
    s = s == PO_OK
            ? po_store_do(book->store, NULL, err,
                          "INSERT INTO funds(id, last, fund, title, currency, budget_minor) VALUES(?1, ?1, ?2, ?3, "
                          "?4, nullif(?5, -1))",
                          "ittti", book->event, fund, po_field_text(book->body, "title"), currency,
                          po_field_has(book->body, "budget_minor") ? po_field_int(book->body, "budget_minor")
                                                                   : INT64_C(-1))
            : s;
    return made(book, s, PO_T_FUNDS, "fund", fund, err);
}

po_status po_apply_fund_close(po_book *book, po_err *err)
{
    return close_named(book, FUND, PO_T_FUNDS, "UPDATE funds SET last = ?1, closed_ms = ?2 WHERE id = ?3", "fund",
                       "closed", err);
}

/* Of one that was asked for by name there must be a row. */
static po_status there_is(json_t *ret, const char *list, const char *what, const char *name, po_err *err)
{
    return name && json_array_size(json_object_get(ret, list)) == 0
               ? po_fail_at(err, PO_E_NOTFOUND, what, 0, 0, "there is no %s %s", what, name)
               : PO_OK;
}

#define RUNS_OF(column, name) "FROM runs r WHERE r." column " = " name " AND r.state NOT IN ('reserved', 'dropped')"
/* what was printed with, whether or not it counts against somebody's allowance */
#define USED "sum(coalesce(r.used_um, r.failed_um, r.reserved_um))"

po_status po_ask_courses(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *course = po_field_text(p, "course");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/courses/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT c.course AS course, c.title AS title, c.fund AS fund, c.closed_ms AS closed_ms, (SELECT "
        "count(*) " RUNS_OF("course", "c.course") ") AS runs, (SELECT coalesce(" USED ", 0) " RUNS_OF(
            "course",
            "c.course") ") AS um, "
                        "(SELECT json_group_array(json(j)) FROM (SELECT json_object('assignment', a.assignment, "
                        "'title', a.title, 'due_ms', "
                        "a.due_ms, 'runs', (SELECT count(*) " RUNS_OF(
                            "course",
                            "c.course") " AND r.assignment = a.assignment), 'um', (SELECT "
                                        "coalesce(" USED ", 0) " RUNS_OF(
                                            "course",
                                            "c.course") " AND r.assignment = a.assignment)) AS j FROM assignments a "
                                                        "WHERE a.course = c.id ORDER BY a.due_ms IS NULL, a.due_ms, "
                                                        "a.assignment)) AS json_assignments FROM courses c WHERE "
                                                        "?1 IS NULL OR c.course = ?1 ORDER BY c.closed_ms IS NOT NULL, "
                                                        "c.course LIMIT ?2",
        "ti", course, (int64_t)PO_LIMIT_MOST + 1);
    s = s == PO_OK ? po_put_rows(rows, ret, "courses", PO_LIMIT_MOST, err) : s;
    return s == PO_OK ? there_is(ret, "courses", "course", course, err) : s;
}

po_status po_ask_groups(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *group = po_field_text(p, "group");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/groups/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT t.team AS 'group', t.title AS title, t.course AS course, t.fund AS fund, (SELECT "
        "json_group_array(json(j)) FROM "
        "(SELECT json_object('member', m.member, 'joined_ms', b.joined_ms) AS j FROM belongs b JOIN members m ON m.id "
        "= "
        "b.member WHERE b.team = t.id AND b.left_ms IS NULL AND m.state <> 'forgotten' ORDER BY m.member)) AS "
        "json_members, "
        "(SELECT count(*) " RUNS_OF("team", "t.team") ") AS runs, (SELECT coalesce(" USED ", 0) " RUNS_OF(
            "team", "t.team") ") "
                              "AS um FROM teams t WHERE ?1 IS NULL OR t.team = ?1 ORDER BY t.team LIMIT ?2",
        "ti", group, (int64_t)PO_LIMIT_MOST + 1);
    s = s == PO_OK ? po_put_rows(rows, ret, "groups", PO_LIMIT_MOST, err) : s;
    return s == PO_OK ? there_is(ret, "groups", "group", group, err) : s;
}

po_status po_ask_funds(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *fund = po_field_text(p, "fund");
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/funds/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT fund, title, currency, budget_minor, used_minor, budget_minor - used_minor AS left_minor, runs, um, "
        "closed_ms "
        "FROM (SELECT f.*, (SELECT coalesce(sum(fund_minor), 0) FROM runs r WHERE r.fund = f.fund) AS used_minor, "
        "(SELECT "
        "count(*) " RUNS_OF("fund", "f.fund") ") AS runs, (SELECT coalesce(sum(fund_um), 0) FROM runs r WHERE r.fund = "
                                              "f.fund) AS um FROM funds f WHERE ?1 IS NULL OR f.fund = ?1) ORDER BY "
                                              "closed_ms IS NOT NULL, fund LIMIT ?2",
        "ti", fund, (int64_t)PO_LIMIT_MOST + 1);
    s = s == PO_OK ? po_put_rows(rows, ret, "funds", PO_LIMIT_MOST, err) : s;
    return s == PO_OK ? there_is(ret, "funds", "fund", fund, err) : s;
}
