/* Members from a file that the page sends as text: first what it would change, then all of it booked. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "desk/desk_inside.h"
#include "desk/opening.h"
#include "desk/proving.h"
#include "proveout/import.h"
#include "work/permits.h"

/* "2026-12-18": the moment at which that day of the shop is over. */
static bool end_of_day(void *user, const char *day, int64_t *ret_ms)
{
    const work_context *w = user;
    int number[3] = {0};
    static const int places[] = {4, 2, 2};
    const char *p = day;
    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < places[i]; k++, p++) {
            if (*p < '0' || *p > '9') {
                return false;
            }
            number[i] = number[i] * 10 + (*p - '0');
        }
        if (i < 2 ? *p++ != '-' : *p != 0) {
            return false;
        }
    }
    po_date date = {number[0], number[1], number[2]};
    if (date.month < 1 || date.month > 12 || date.day < 1 || date.day > 31) {
        return false;
    }
    po_wall_time same = po_wall_add((po_wall_time){date, 0}, 0);
    *ret_ms = same.date.day == date.day && same.date.month == date.month ? work_day_over(w, date) : -1;
    return *ret_ms >= 0;
}

static json_t *lines_of(const po_import *found)
{
    json_t *list = json_array();
    for (size_t i = 0; i < found->n_lines; i++) {
        const po_import_line *line = &found->lines[i];
        json_t *granted = json_array();
        for (size_t k = 0; k < line->n_granted; k++) {
            json_array_append_new(granted, json_pack("{s:s, s:o}", "permission", line->granted[k].name, "until_ms",
                                                     line->granted[k].until_ms >= 0
                                                         ? json_integer((json_int_t)line->granted[k].until_ms)
                                                         : json_null()));
        }
        json_array_append_new(list, json_pack("{s:I, s:s, s:b, s:b, s:b, s:s?, s:o}", "line", (json_int_t)line->line,
                                              "member", line->member, "new", line->is_new, "name", line->name,
                                              "contact", line->contact, "role", line->role, "granted", granted));
    }
    return list;
}

/* The same document as `proveout import members --json`, without a file's name. */
static json_t *as_json(const po_import *found)
{
    json_t *faults = json_array();
    for (size_t i = 0; i < found->n_faults && i < PO_IMPORT_FAULTS; i++) {
        json_array_append_new(faults, json_pack("{s:I, s:I, s:s}", "line", (json_int_t)found->faults[i].line, "column",
                                                (json_int_t)found->faults[i].column, "says", found->faults[i].says));
    }
    json_t *root = json_pack("{s:s, s:b, s:I, s:I, s:I, s:I, s:I, s:o, s:o}", "format", "proveout/import-members/1",
                             "booked", found->first_event != 0, "new", (json_int_t)found->n_new, "changed",
                             (json_int_t)found->n_changed, "granted", (json_int_t)found->n_granted, "unchanged",
                             (json_int_t)found->n_unchanged, "n_faults", (json_int_t)found->n_faults, "lines",
                             lines_of(found), "faults", faults);
    if (root && found->first_event) {
        json_object_set_new(root, "first_event", json_integer((json_int_t)found->first_event));
        json_object_set_new(root, "last_event", json_integer((json_int_t)found->last_event));
    }
    return root;
}

void desk_do_import_members(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const json_t *csv = json_object_get(rq->json, "csv");
    const po_shop *shop = desk_shop_now(desk);
    size_t n = json_string_length(csv);
    char *data = po_arena_text_n(rq->arena, json_string_value(csv), n);
    po_import_permission *permissions = po_arena_zeros(rq->arena, shop->n_permissions + 1, sizeof *permissions);
    work_context w;
    po_err err;
    po_status s = data && permissions
                      ? work_begin(&w, rq->arena, shop, NULL, desk->options.ledger, desk_now_ms_of(desk), &err)
                      : po_fail(&err, PO_E_NOMEM, "memory ran out");
    po_import found = {0};
    if (s == PO_OK) {
        for (size_t i = 0; i < shop->n_permissions; i++) {
            permissions[i] = (po_import_permission){shop->permissions[i].name,
                                                    work_permit_until(&w, &shop->permissions[i])};
        }
        po_import_options options = {.by = rq->who.member,
                                     .permissions = permissions,
                                     .n_permissions = shop->n_permissions,
                                     .end_of_day = end_of_day,
                                     .user = &w,
                                     .book = json_is_true(json_object_get(rq->json, "book"))};
        s = po_ledger_import_members(desk->options.ledger, data, n, &options, rq->arena, &found, &err);
    }
    if (s != PO_OK) {
        const char *says = po_arena_text(rq->arena, err.msg);
        if (err.line && says) {
            snprintf(err.msg, sizeof err.msg, "line %u: %s; nothing is booked", err.line, says);
        }
        desk_problem_of(rq, rp, &err, -1);
        return;
    }
    if (found.first_event) {
        desk_live_poke(desk);
    }
    desk_reply_json(rq, rp, as_json(&found));
}
