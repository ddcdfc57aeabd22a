/* What questions to the book share, and the table of them. SPDX-License-Identifier: Apache-2.0 */
#include "ledger/answers.h"

#include <string.h>

void po_put(json_t *to, const char *key, json_t *value)
{
    if (!value || json_object_set_new(to, key, value) != 0) {
        json_object_clear(to);
    }
}

void po_put_int(json_t *to, const char *key, int64_t v)
{
    po_put(to, key, json_integer(v));
}

void po_put_text(json_t *to, const char *key, const char *v)
{
    po_put(to, key, v ? json_string(v) : json_null());
}

po_status po_put_rows(po_rows *rows, json_t *to, const char *key, int64_t limit, po_err *err)
{
    json_t *list = json_array();
    bool more = false, whole = list != NULL;
    while (whole && po_rows_next(rows)) {
        if (limit-- == 0) {
            more = true;
            break;
        }
        json_t *o = json_object();
        for (int c = 0; c < po_rows_columns(rows); c++) {
            const char *name = po_rows_name(rows, c);
            char kind = po_rows_kind(rows, c);
            json_t *v = kind == 'i'   ? json_integer(po_rows_int(rows, c))
                        : kind == 't' ? json_string(po_rows_text(rows, c))
                                      : json_null();
            if (strncmp(name, "is_", 3) == 0) {
                json_decref(v);
                v = json_boolean(po_rows_int(rows, c) != 0);
                name += 3;
            } else if (strncmp(name, "json_", 5) == 0) {
                json_decref(v);
                json_error_t fault = {0};
                v = kind == 't' ? po_json_read(po_rows_text(rows, c), &fault) : json_null();
                v = v || !fault.text[0] ? v : json_null(); /* null: what stands there is no JSON */
                name += 5;
            }
            whole = json_object_set_new(o, name, v) == 0 && whole;
        }
        whole = json_array_append_new(list, o) == 0 && whole;
    }
    po_put(to, key, list);
    po_put(to, "more", json_boolean(more));
    whole = whole && json_object_get(to, key);
    po_status s = po_rows_end(rows, err);
    return s == PO_OK && !whole ? po_fail(err, PO_E_NOMEM, "out of memory for an answer") : s;
}

po_status po_put_columns(po_rows *rows, json_t *to, const char *key, int64_t limit, po_err *err)
{
    json_t *all = json_object();
    bool more = false, whole = all != NULL;
    int n = po_rows_columns(rows);
    for (int c = 0; whole && c < n; c++) {
        whole = json_object_set_new(all, po_rows_name(rows, c), json_array()) == 0;
    }
    while (whole && po_rows_next(rows)) {
        if (limit-- == 0) {
            more = true;
            break;
        }
        for (int c = 0; c < n; c++) {
            char kind = po_rows_kind(rows, c);
            json_t *v = kind == 'i'   ? json_integer(po_rows_int(rows, c))
                        : kind == 't' ? json_string(po_rows_text(rows, c))
                                      : json_null();
            whole = json_array_append_new(json_object_get(all, po_rows_name(rows, c)), v) == 0 && whole;
        }
    }
    po_put(to, key, all);
    po_put(to, "more", json_boolean(more));
    whole = whole && json_object_get(to, key);
    po_status s = po_rows_end(rows, err);
    return s == PO_OK && !whole ? po_fail(err, PO_E_NOMEM, "out of memory for an answer") : s;
}

int64_t po_limit_of(const json_t *p)
{
    int64_t limit = po_field_has(p, "limit") ? po_field_int(p, "limit") : PO_LIMIT_USUAL;
    return limit > PO_LIMIT_MOST ? PO_LIMIT_MOST : limit;
}

#define QUESTION(id, name, says, fields) {name, says, fields},
static const po_ledger_verb verbs[] = {
#include "ledger/questions.inc"
};
#undef QUESTION
#define QUESTION(id, name, says, fields) po_ask_##id,
static const po_question questions[] = {
#include "ledger/questions.inc"
};
#undef QUESTION

const po_ledger_verb *po_ledger_questions(size_t *ret_n)
{
    *ret_n = sizeof verbs / sizeof verbs[0];
    return verbs;
}

po_question po_question_find(const char *name, const char **ret_fields)
{
    for (size_t i = 0; name && i < sizeof verbs / sizeof verbs[0]; i++) {
        if (strcmp(verbs[i].name, name) == 0) {
            *ret_fields = verbs[i].fields;
            return questions[i];
        }
    }
    return NULL;
}
