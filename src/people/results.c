/* Results of papers from another system. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/results.h"

#include <string.h>

#include "base/csv.h"
#include "shop/values.h"

enum { FAULTS_MOST = 100, N_COLUMNS = 6 };
static const char *const columns[N_COLUMNS] = {"member", "study", "passed", "date", "points", "most"};
enum { MEMBER, STUDY, PASSED, DATE, POINTS, MOST };

typedef struct reader {
    po_arena *arena;
    po_csv csv;
    int column_of[PO_CSV_CELLS]; /* -1: passed over */
    size_t n_cells;
    po_result *list;
    size_t n, room;
    const char *faults[FAULTS_MOST];
    size_t n_faults;
    bool failed;
} reader;

static void fault(reader *r, uint32_t line, uint32_t column, const char *says, const char *what)
{
    char *text = r->n_faults < FAULTS_MOST
                     ? po_arena_printf(r->arena, "%u:%u: %s%.60s", (unsigned)line, (unsigned)column, says, what)
                     : NULL;
    if (text) {
        r->faults[r->n_faults++] = text;
    } else if (r->n_faults < FAULTS_MOST) {
        r->failed = true;
    }
}

static void read_heads(reader *r)
{
    bool there[N_COLUMNS] = {false};
    r->n_cells = r->csv.n_cells;
    for (size_t i = 0; i < r->n_cells; i++) {
        r->column_of[i] = -1;
        for (int k = 0; k < N_COLUMNS; k++) {
            if (strcmp(r->csv.cells[i].text, columns[k]) == 0 && !there[k]) {
                r->column_of[i] = k;
                there[k] = true;
            }
        }
    }
    for (int k = 0; k <= DATE; k++) {
        if (!there[k]) {
            fault(r, 1, 1, "the first line must name the column ", columns[k]);
        }
    }
}

/* A name of the book's kind. */
static bool is_id(const char *s)
{
    size_t n = strlen(s);
    return n >= 1 && n <= 64 && s[0] != '.' && s[0] != '-' && !strpbrk(s, " \t,;\"'/\\");
}

static bool read_count(const char *s, size_t n, int64_t *ret)
{
    double v;
    if (n == 0) {
        return true; /* not said */
    }
    if (!po_value_number(s, n, &v) || v < 0 || v > 1e6 || v != (double)(int64_t)v) {
        return false;
    }
    *ret = (int64_t)v;
    return true;
}

static void read_row(reader *r)
{
    const po_csv *c = &r->csv;
    uint32_t line = c->cells[0].line;
    po_result row = {.member = "", .study = "", .points = -1, .most = -1, .line = line};
    size_t before = r->n_faults;
    if (c->n_cells == 1 && c->cells[0].n == 0) {
        return; /* an empty line */
    }
    if (c->n_cells != r->n_cells) {
        fault(r, line, 1, "another number of cells than the first line has", "");
        return;
    }
    for (size_t i = 0; i < c->n_cells; i++) {
        const po_csv_cell *cell = &c->cells[i];
        const char *text = po_arena_text(r->arena, cell->text);
        r->failed = r->failed || !text;
        switch (text ? r->column_of[i] : -1) {
        case MEMBER:
        case STUDY:
            if (!is_id(text)) {
                fault(r, cell->line, cell->column, "expected a short name without blanks, found ", text);
            }
            *(r->column_of[i] == MEMBER ? &row.member : &row.study) = text;
            break;
        case PASSED:
            row.passed = strcmp(text, "yes") == 0;
            if (!row.passed && strcmp(text, "no") != 0) {
                fault(r, cell->line, cell->column, "expected yes or no, found ", text);
            }
            break;
        case DATE:
            if (!po_value_date(text, cell->n, &row.date)) {
                fault(r, cell->line, cell->column, "expected a day such as 2026-11-30, found ", text);
            }
            break;
        case POINTS:
        case MOST:
            if (!read_count(text, cell->n, r->column_of[i] == POINTS ? &row.points : &row.most)) {
                fault(r, cell->line, cell->column, "expected a whole number or nothing, found ", text);
            }
            break;
        default:
            break;
        }
    }
    if (row.most >= 0 && row.points > row.most) {
        fault(r, line, 1, "more points than the most", "");
    }
    if (r->n_faults > before) {
        return;
    }
    if (r->n == r->room) {
        size_t room = r->room ? 2 * r->room : 64;
        po_result *list = po_arena_resize(r->arena, r->list, r->room * sizeof *list, room * sizeof *list);
        r->failed = r->failed || !list;
        if (!list) {
            return;
        }
        r->list = list;
        r->room = room;
    }
    r->list[r->n++] = row;
}

po_status po_results_read(char *data, size_t n, po_arena *arena, const po_result **ret, size_t *ret_n,
                          const char *const **ret_faults, size_t *ret_n_faults, po_err *err)
{
    reader *r = po_arena_zeros(arena, 1, sizeof *r);
    bool more = true, heads = false;
    *ret = NULL;
    *ret_n = *ret_n_faults = 0;
    if (!r) {
        return po_fail(err, PO_E_NOMEM, "out of memory for results");
    }
    r->arena = arena;
    po_csv_begin(&r->csv, data, n);
    while (more && !r->failed) {
        po_err e;
        if (po_csv_next(&r->csv, &more, &e) != PO_OK) {
            fault(r, (uint32_t)e.line, (uint32_t)e.column, e.msg, "");
            if (r->n_faults == FAULTS_MOST) {
                break;
            }
            continue;
        }
        if (!more) {
            break;
        }
        if (!heads) {
            read_heads(r);
            heads = true;
            if (r->n_faults > 0) {
                break;
            }
        } else if (r->n == PO_RESULTS_MOST) {
            return po_fail(err, PO_E_LIMIT, "more than %d results in one file; split it", PO_RESULTS_MOST);
        } else {
            read_row(r);
        }
    }
    if (r->failed) {
        return po_fail(err, PO_E_NOMEM, "out of memory for results");
    }
    if (!heads && r->n_faults == 0) {
        fault(r, 1, 1, "the file is empty", "");
    }
    *ret_faults = r->faults;
    *ret_n_faults = r->n_faults;
    if (r->n_faults > 0) {
        return po_fail(err, PO_E_SYNTAX, "%s", r->faults[0]);
    }
    *ret = r->list;
    *ret_n = r->n;
    return PO_OK;
}
