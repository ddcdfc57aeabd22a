/* The book for other programs: tables and rows. SPDX-License-Identifier: Apache-2.0
 *
 * One view of the book for all tables; a row goes out before the next is read. */
#include <stdlib.h>
#include <string.h>

#include "ledger/export_inside.h"
#include "ledger/ledger_inside.h"

/* clang-format off */
#define DESCRIBED(name, expression, kind, says) {name, says, kind},
#define EXPORT(id, says, tables, X) static const po_export_column columns_##id[] = {X(DESCRIBED)};
#define EXPORT_AT(id, says, tables, when, order, X) EXPORT(id, says, tables, X)
#include "ledger/export_tables.inc"
#undef EXPORT
#undef EXPORT_AT

#define ROW(id, says, timed) {#id, says, columns_##id, sizeof columns_##id / sizeof columns_##id[0], timed},
#define EXPORT(id, says, tables, X) ROW(id, says, false)
#define EXPORT_AT(id, says, tables, when, order, X) ROW(id, says, true)
static const po_export_table described[] = {
#include "ledger/export_tables.inc"
};
#undef EXPORT
#undef EXPORT_AT

#define SELECTED(name, expression, kind, says) ", " expression
#define EXPORT(id, says, tables, X) "SELECT 0" X(SELECTED) " FROM " tables,
#define EXPORT_AT(id, says, tables, when, order, X) \
    "SELECT 0" X(SELECTED) " FROM " tables " WHERE " when " >= ?1 AND " when " < ?2 ORDER BY " order,
static const char *const sql[] = {
#include "ledger/export_tables.inc"
};
#undef EXPORT
#undef EXPORT_AT
/* clang-format on */
enum { N_TABLES = sizeof sql / sizeof sql[0] };

const po_export_table *po_export_tables(size_t *ret_n)
{
    *ret_n = N_TABLES;
    return described;
}

bool po_export_wanted(const po_export_options *o, const po_export_table *table)
{
    bool wanted = o->n_tables == 0;
    for (size_t i = 0; i < o->n_tables; i++) {
        wanted = wanted || strcmp(o->tables[i], table->name) == 0;
    }
    return wanted && (o->names || strcmp(table->name, "persons") != 0);
}

static po_status options_hold(const po_export_options *o, po_err *err)
{
    if (o->until_ms && o->until_ms <= o->from_ms) {
        return po_fail_at(err, PO_E_RANGE, "until", 0, 0, "the time must end after it begins");
    }
    for (size_t i = 0; i < o->n_tables; i++) {
        bool known = false;
        for (size_t t = 0; t < N_TABLES; t++) {
            known = known || strcmp(o->tables[i], described[t].name) == 0;
        }
        if (!known) {
            return po_fail_at(err, PO_E_RANGE, "table", 0, 0,
                              "there is no table %.60s to export; docs/export.md lists them", o->tables[i]);
        }
        if (!o->names && strcmp(o->tables[i], "persons") == 0) {
            return po_fail_at(err, PO_E_RANGE, "table", 0, 0,
                              "the table persons holds names: it goes out only where names are asked for");
        }
    }
    return PO_OK;
}

static po_status table_out(po_store *store, po_exporting *x, size_t t, po_err *err)
{
    int64_t until = x->options->until_ms ? x->options->until_ms : INT64_MAX;
    po_rows *rows = NULL;
    po_status s = described[t].timed ? po_store_ask(store, &rows, err, sql[t], "ii", x->options->from_ms, until)
                                     : po_store_ask(store, &rows, err, sql[t], "");
    if (s != PO_OK) {
        return s;
    }
    po_export_table_begin(x, &described[t]);
    while (!x->stopped && po_rows_next(rows)) {
        po_export_row(x, &described[t], rows);
    }
    s = po_rows_end(rows, err);
    po_export_table_end(x, &described[t]);
    return s;
}

static po_status all_out(po_store *store, po_exporting *x, po_err *err)
{
    po_tail tail = {0};
    char hash[2 * PO_HASH + 1];
    po_status s = po_event_tail(store, &tail, err);
    if (s != PO_OK) {
        return s;
    }
    po_hex(hash, tail.hash);
    x->last_event = tail.seq;
    x->last_hash = hash;
    po_export_begin(x);
    for (size_t t = 0; s == PO_OK && !x->stopped && t < N_TABLES; t++) {
        s = po_export_wanted(x->options, &described[t]) ? table_out(store, x, t, err) : PO_OK;
    }
    if (s == PO_OK) {
        po_export_end(x);
    }
    x->last_hash = NULL;
    return s == PO_OK && x->stopped ? po_fail(err, PO_E_CANCELLED, "the export was stopped before its end") : s;
}

po_status po_ledger_export(po_ledger *ledger, const po_export_options *options, const po_export_out *out, po_err *err)
{
    po_status s = options_hold(options, err);
    po_exporting *x = s == PO_OK ? calloc(1, sizeof *x) : NULL;
    if (s == PO_OK && !x) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for an export");
    }
    if (s == PO_OK) {
        *x = (po_exporting){.options = options, .out = out, .now_ms = ledger->now_ms(ledger->user)};
        pthread_mutex_lock(&ledger->asking_lock);
        s = po_store_begin(ledger->asking, false, err);
        s = s == PO_OK ? all_out(ledger->asking, x, err) : s;
        po_store_rollback(ledger->asking);
        pthread_mutex_unlock(&ledger->asking_lock);
    }
    free(x);
    return s;
}
