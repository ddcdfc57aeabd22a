/* Courses, assignments, groups and paying funds: what a run is for. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

po_status po_purpose_holds(po_store *store, const json_t *body, int64_t member, po_err *err)
{
    (void)store, (void)body, (void)member;
    return po_fail(err, PO_E_INTERNAL, "not made yet");
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
