/* Questions to the book. SPDX-License-Identifier: Apache-2.0
 *
 * Each answer is one JSON object with "format"; lists have at most `limit` rows and say with `more` that there are others. */
#include <string.h>

#include "ledger/answers.h"

/* What the account of a member says now. */
static po_status put_balance(po_store *store, int64_t member, const json_t *p, int64_t now, json_t *to, po_err *err)
{
    int64_t term = 0, allowance = 0, until = 0, charged = 0, waived = 0;
    po_status s = po_term_at(store, now, &term, &allowance, &until, err);
    s = s == PO_OK && term ? po_term_charged(store, member, term, 0, &charged, err) : s;
    s = s == PO_OK ? po_waivers_left(store, member, po_field_text(p, "sha256"), now, &waived, err) : s;
    po_rows *rows = NULL;
    if (s == PO_OK) {
        s = po_store_ask(store, &rows, err, "SELECT term FROM terms WHERE id = ?1", "i", term);
    }
    if (s != PO_OK) {
        return s;
    }
    po_put_text(to, "term", po_rows_next(rows) ? po_rows_text(rows, 0) : NULL);
    s = po_rows_end(rows, err);
    if (term) {
        po_put_int(to, "allowance_um", allowance);
        po_put_int(to, "charged_um", charged);
        po_put_int(to, "left_um", allowance - charged);
        po_put_int(to, "term_until_ms", until);
    }
    po_put_int(to, "waivers_left_um", waived);
    if (po_field_has(
            p,
            "run_limit_um")) { /* what one run may take now: the waivers come on top of whichever limit is the lower */
        int64_t limit = po_field_int(p, "run_limit_um"), left = allowance - charged > 0 ? allowance - charged : 0;
        po_put_int(to, "one_run_um", (term && left < limit ? left : limit) + waived);
    }
    return s;
}

po_status po_ask_balance(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    po_member m = {0};
    po_put_text(ret, "format", "proveout/balance/1");
    po_put_text(ret, "member", po_field_text(p, "member"));
    po_status s = po_member_find(store, po_field_text(p, "member"), now, &m, err);
    return s == PO_OK ? put_balance(store, m.id, p, now, ret, err) : s;
}

/* All that a permission brings along, itself included, each once. */
static bool add_effective(const json_t *implies, const char *permission, json_t *effective)
{
    json_t *todo = json_array();
    bool ok = json_array_append_new(todo, json_string(permission)) == 0;
    for (size_t i = 0; i < json_array_size(todo); i++) { /* grows while it is walked; each name is walked once */
        const char *name = json_string_value(json_array_get(todo, i));
        if (json_object_get(effective, name)) {
            continue;
        }
        ok = json_object_set_new(effective, name, json_true()) == 0 && ok;
        const json_t *more = json_object_get(implies, name);
        for (size_t k = 0; k < json_array_size(more); k++) {
            ok = json_array_append(todo, json_array_get(more, k)) == 0 && ok;
        }
    }
    json_decref(todo);
    return ok;
}

po_status po_ask_member(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    const char *number = po_field_text(p, "member");
    po_member m = {0};
    po_rows *rows = NULL;
    po_put_text(ret, "format", "proveout/member/1");
    po_put_text(ret, "member", number);
    po_status s = po_member_find(store, number, now, &m, err);
    s = s == PO_OK ? po_store_ask(store, &rows, err, "SELECT name, contact FROM persons WHERE member = ?1", "t", number)
                   : s;
    if (s != PO_OK) {
        return s;
    }
    bool person = po_rows_next(rows);
    po_put_text(ret, "name", person ? po_rows_text(rows, 0) : NULL);
    po_put_text(ret, "contact", person ? po_rows_text(rows, 1) : NULL);
    s = po_rows_end(rows, err);
    po_put_text(ret, "role", po_role_word(m.role));
    po_put_text(ret, "suspended", m.suspended ? m.reason : NULL);
    if (m.suspended && m.until_ms) {
        po_put_int(ret, "suspended_until_ms", m.until_ms);
    }
    s = s == PO_OK
            ? po_store_ask(
                  store, &rows, err,
                  "SELECT id AS permit, permission, given_by, given_ms, until_ms FROM permits WHERE member = ?1 AND "
                  "withdrawn_ms IS NULL AND (until_ms IS NULL OR until_ms > ?2) ORDER BY permission, id",
                  "ii", m.id, now)
            : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "permits", PO_LIMIT_MOST, err) : s;
    json_object_del(ret, "more");
    if (s != PO_OK) {
        return s;
    }
    json_t *effective = json_object(), *permits = json_object_get(ret, "permits"), *list = json_array();
    bool whole = true;
    for (size_t i = 0; i < json_array_size(permits); i++) {
        whole = add_effective(json_object_get(p, "implies"), po_field_text(json_array_get(permits, i), "permission"),
                              effective) &&
                whole;
    }
    const char *key;
    json_t *value;
    json_object_foreach(effective, key, value)
    {
        whole = json_array_append_new(list, json_string(key)) == 0 && whole;
    }
    po_put(ret, "permissions", whole ? list : NULL);
    if (!whole) {
        json_decref(list);
    }
    json_decref(effective);
    json_t *balance = json_object();
    s = put_balance(store, m.id, p, now, balance, err);
    whole = s != PO_OK || json_object_get(balance, "term"); /* what it begins with */
    po_put(ret, "balance", balance);
    if (!whole) {
        json_object_clear(ret);
    }
    s = s == PO_OK
            ? po_store_ask(
                  store, &rows, err,
                  "SELECT id AS run, machine, state, out_ms, reserved_um, reserved_seconds FROM runs WHERE member = ?1 "
                  "AND state IN ('out', 'ended', 'failed') ORDER BY id",
                  "i", m.id)
            : s;
    s = s == PO_OK ? po_put_rows(rows, ret, "runs_out", PO_LIMIT_MOST, err) : s;
    json_object_del(ret, "more");
    return s;
}

po_status po_ask_events(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    int64_t limit = po_limit_of(p), until = po_field_has(p, "until") ? po_field_int(p, "until") : PO_TIME_MOST + 1;
    po_rows *rows = NULL;
    (void)now;
    po_put_text(ret, "format", "proveout/events/1");
    po_status s = po_store_ask(
        store, &rows, err,
        "SELECT e.seq AS event, at_ms, behind_ms, act, by, body, lower(hex(prev)) AS prev, lower(hex(hash)) AS hash, "
        "u.undo AS undone_by FROM events e LEFT JOIN undone u ON u.event = e.seq WHERE e.seq > ?1 AND (?2 IS NULL OR "
        "act = ?2) AND (?3 IS NULL OR by = ?3) AND at_ms >= ?4 AND at_ms < ?5 ORDER BY e.seq LIMIT ?6",
        "ittiii", po_field_int(p, "after"), po_field_text(p, "act"), po_field_text(p, "by"), po_field_int(p, "from"),
        until, limit + 1);
    s = s == PO_OK ? po_put_rows(rows, ret, "events", limit, err) : s;
    json_t *list = json_object_get(ret, "events");
    for (size_t i = 0; s == PO_OK && i < json_array_size(list); i++) { /* the body is JSON already */
        json_error_t fault = {0};
        json_t *event = json_array_get(list, i), *body = po_json_read(po_field_text(event, "body"), &fault);
        bool damaged = !body && fault.text[0];
        if (json_object_set_new(event, "body", damaged ? json_null() : body) != 0) {
            s = po_fail(err, PO_E_NOMEM, "out of memory for an event");
        }
    }
    return s;
}

po_status po_ask_book(po_store *store, const json_t *p, int64_t now, json_t *ret, po_err *err)
{
    po_tail tail = {0};
    char hash[2 * PO_HASH + 1];
    int64_t version = 0, first = 0, pages = 0, size = 0;
    bool any = false;
    (void)p;
    (void)now;
    po_put_text(ret, "format", "proveout/book/1");
    po_status s = po_event_tail(store, &tail, err);
    s = s == PO_OK ? po_store_number(store, &version, NULL, err, "PRAGMA user_version", "") : s;
    s = s == PO_OK ? po_store_number(store, &pages, NULL, err, "PRAGMA page_count", "") : s;
    s = s == PO_OK ? po_store_number(store, &size, NULL, err, "PRAGMA page_size", "") : s;
    s = s == PO_OK ? po_store_number(store, &first, &any, err, "SELECT at_ms FROM events ORDER BY seq LIMIT 1", "") : s;
    po_hex(hash, tail.hash);
    po_put_int(ret, "version", version);
    po_put_int(ret, "events", tail.seq);
    po_put_int(ret, "bytes", pages * size);
    po_put(ret, "first_ms", any ? json_integer(first) : json_null());
    po_put(ret, "last_ms", any ? json_integer(tail.at_ms) : json_null());
    po_put_text(ret, "last_hash", any ? hash : NULL);
    return s;
}
