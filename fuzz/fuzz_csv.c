/* Comma-separated values. SPDX-License-Identifier: Apache-2.0
 * Promises: it comes to an end; every cell is an ended text within the given bytes, behind the one before; a fault has a place within the
 * file; what was read and is written again by the rules is read the same. */
#include <string.h>

#include "base/csv.h"
#include "base/text.h"
#include "fuzz.h"

static void check_cell(const po_csv_cell *c, const char *block, size_t n)
{
    PROMISE(c->text >= block && c->text <= block + n && c->n <= (size_t)(block + n - c->text));
    PROMISE(strlen(c->text) == c->n && c->line >= 1 && c->column >= 1);
    for (size_t k = 0; k < c->n;) {
        size_t one = po_utf8_length(c->text + k, c->n - k);
        PROMISE(one > 0);
        k += one;
    }
}

/* The record in quotation marks, then read. */
static void read_again(const po_csv *csv, size_t n)
{
    size_t room = 2 * n + 4 * PO_CSV_CELLS, at = 0;
    char *block = malloc(room + 1);
    PROMISE(block);
    for (size_t i = 0; i < csv->n_cells; i++) {
        block[at++] = '"';
        for (size_t k = 0; k < csv->cells[i].n; k++) {
            block[at++] = csv->cells[i].text[k];
            if (block[at - 1] == '"') {
                block[at++] = '"';
            }
        }
        block[at++] = '"';
        block[at++] = i + 1 < csv->n_cells ? ',' : '\n';
        PROMISE(at <= room);
    }
    po_csv again;
    bool more;
    po_csv_begin(&again, block, at);
    PROMISE(po_csv_next(&again, &more, NULL) == PO_OK && more && again.n_cells == csv->n_cells);
    for (size_t i = 0; i < csv->n_cells; i++) {
        PROMISE(strcmp(again.cells[i].text, csv->cells[i].text) == 0);
    }
    PROMISE(po_csv_next(&again, &more, NULL) == PO_OK && !more);
    free(block);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    char *block = malloc(n + 1);
    PROMISE(block);
    if (n) {
        memcpy(block, data, n);
    }
    uint32_t lines = 1;
    for (size_t i = 0; i < n; i++) {
        lines += data[i] == '\n';
    }
    po_csv csv;
    po_csv_begin(&csv, block, n);
    size_t records = 0;
    for (bool more = true; more;) {
        po_err err = {0};
        po_status s = po_csv_next(&csv, &more, &err);
        PROMISE(s == PO_OK || s == PO_E_SYNTAX || s == PO_E_LIMIT);
        PROMISE(s == PO_OK || (more && err.code == s && err.line >= 1 && err.line <= lines && err.column >= 1));
        PROMISE(!more || ++records <= n);
        PROMISE(csv.n_cells <= PO_CSV_CELLS);
        for (size_t i = 0; s == PO_OK && more && i < csv.n_cells; i++) {
            check_cell(&csv.cells[i], block, n);
            PROMISE(i == 0 || csv.cells[i].text > csv.cells[i - 1].text + csv.cells[i - 1].n);
        }
        if (s == PO_OK && more) {
            read_again(&csv, n);
        }
    }
    free(block);
    return 0;
}
