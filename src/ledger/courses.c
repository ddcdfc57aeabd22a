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

po_status po_apply_course_open(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "course-open is not made yet");
}

po_status po_apply_course_close(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "course-close is not made yet");
}

po_status po_apply_assignment_set(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "assignment-set is not made yet");
}

po_status po_apply_group_open(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "group-open is not made yet");
}

po_status po_apply_group_join(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "group-join is not made yet");
}

po_status po_apply_group_leave(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "group-leave is not made yet");
}

po_status po_apply_fund_open(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "fund-open is not made yet");
}

po_status po_apply_fund_close(po_book *book, po_err *err)
{
    (void)book;
    return po_fail(err, PO_E_INTERNAL, "fund-close is not made yet");
}

po_status po_ask_courses(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "courses is not made yet");
}

po_status po_ask_groups(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "groups is not made yet");
}

po_status po_ask_funds(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    (void)store, (void)p, (void)now, (void)ret;
    return po_fail(err, PO_E_INTERNAL, "funds is not made yet");
}
