/* The table of acts, and what all of them use. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "ledger/book.h"

#define ACT(id, name, who, undoable, says, fields) {name, says, fields},
static const po_ledger_verb verbs[] = {
#include "ledger/acts.inc"
};
#undef ACT
#define ACT(id, name, who, undoable, says, fields) ROW_##id,
enum {
#include "ledger/acts.inc"
    N_ACTS
};
#undef ACT
#define ACT(id, name, who, undoable, says, fields) {&verbs[ROW_##id], po_apply_##id, PO_ROLE_##who, undoable},
static const po_act_kind kinds[N_ACTS] = {
#include "ledger/acts.inc"
};
#undef ACT

const po_ledger_verb *po_ledger_acts(size_t *ret_n)
{
    *ret_n = N_ACTS;
    return verbs;
}

const po_act_kind *po_act_find(const char *name)
{
    for (int i = 0; i < N_ACTS; i++) {
        if (strcmp(verbs[i].name, name) == 0) {
            return &kinds[i];
        }
    }
    return NULL;
}

static bool seen(po_book *book, po_table table, int64_t id)
{
    for (int i = 0; i < book->n_before; i++) {
        if (book->touched[i].table == table && book->touched[i].id == id) {
            return true;
        }
    }
    return false;
}

static po_status remember(po_book *book, po_table table, int64_t id, bool made, po_err *err)
{
    if (seen(book, table, id)) {
        return PO_OK;
    }
    if (book->n_before == PO_TOUCHED_MOST) {
        return po_fail(err, PO_E_LIMIT, "one act may not change more than %d rows of the book", book->n_before);
    }
    book->touched[book->n_before].table = table;
    book->touched[book->n_before].id = id;
    book->n_before++;
    return made ? po_store_do(book->store, NULL, err,
                              "INSERT INTO before(event, n, tbl, id, was) VALUES(?1, ?2, ?4, ?3, NULL)", "iiii",
                              book->event, (int64_t)book->n_before, id, (int64_t)table)
                : po_store_do(book->store, NULL, err, po_tables[table].keep, "iiii", book->event,
                              (int64_t)book->n_before, id, (int64_t)table);
}

po_status po_book_touch(po_book *book, po_table table, int64_t id, po_err *err)
{
    return remember(book, table, id, false, err);
}

po_status po_book_made(po_book *book, po_table table, int64_t id, po_err *err)
{
    return remember(book, table, id, true, err);
}

po_status po_book_next_id(po_book *book, po_table table, int64_t *ret, po_err *err)
{
    *ret = 1;
    return po_store_number(book->store, ret, NULL, err, po_tables[table].next, "");
}

void po_book_answer_int(po_book *book, const char *key, int64_t value)
{
    if (book->answer) {
        book->answer_failed |= json_object_set_new(book->answer, key, json_integer(value)) != 0;
    }
}

void po_book_answer_text(po_book *book, const char *key, const char *value)
{
    if (book->answer) {
        book->answer_failed |= json_object_set_new(book->answer, key, value ? json_string(value) : json_null()) != 0;
    }
}

const char *po_role_word(po_role role)
{
    static const char *const words[] = {"nobody", "member", "desk", "keeper"};
    return words[role];
}

/* whole: how many of the small unit make one of the large, a power of ten with so many digits after the point */
static const char *exact(char out[32], int64_t value, uint64_t whole, int digits, const char *unit)
{
    uint64_t size = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
    int n = snprintf(out, 32, "%s%llu.%0*llu", value < 0 ? "-" : "", (unsigned long long)(size / whole), digits,
                     (unsigned long long)(size % whole));
    while (out[n - 1] == '0') {
        out[--n] = 0;
    }
    if (out[n - 1] == '.') {
        out[--n] = 0;
    }
    memcpy(out + n, unit, 3);
    return out;
}

const char *po_metres(char out[32], int64_t um)
{
    return exact(out, um, 1000000, 6, " m");
}

const char *po_grams(char out[32], int64_t mg)
{
    return exact(out, mg, 1000, 3, " g");
}
