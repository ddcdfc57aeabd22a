/* Faults of a shop file: collect, name by key path, order by place. SPDX-License-Identifier: Apache-2.0 */
#include "shop/faults.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"

static const char *path_text(po_arena *arena, const po_key_path *path)
{
    const po_key_path *steps[32]; /* deeper than any key of the tables */
    size_t n = 0;
    for (; path && n < sizeof steps / sizeof steps[0]; path = path->up) {
        steps[n++] = path;
    }
    po_text text;
    po_text_init(&text, arena);
    po_text_add(&text, "");
    while (n) {
        const po_key_path *step = steps[--n];
        if (!step->key) {
            po_text_printf(&text, "[%zu]", step->index);
            continue;
        }
        po_text_add(&text, text.n ? "." : "");
        size_t shown = 0;
        for (const char *c = step->key; *c && shown < 64; c++, shown++) {
            po_text_add_n(&text, (unsigned char)*c < 0x20 || *c == 0x7f ? "?" : c, 1);
        }
    }
    return text.failed ? NULL : text.data;
}

static bool grow(po_fault_list *list)
{
    if (list->n < list->cap) {
        return true;
    }
    size_t cap = list->cap ? list->cap * 2 : 16;
    po_shop_fault *faults = po_arena_zeros(list->arena, cap, sizeof *faults);
    if (!faults) {
        list->failed = true;
        return false;
    }
    if (list->n) {
        memcpy(faults, list->faults, list->n * sizeof *faults);
    }
    list->faults = faults;
    list->cap = cap;
    return true;
}

void po_fault_add(po_fault_list *list, uint32_t line, uint32_t column, const po_key_path *path, const char *found,
                  const char *expected)
{
    if (list->full || list->failed) {
        return;
    }
    if (!found || !expected) {
        list->failed = true;
        return;
    }
    for (size_t i = 0; i < list->n; i++) { /* a merged mapping is read once for each machine that merges it */
        const po_shop_fault *old = &list->faults[i];
        if (old->line == line && old->column == column && !strcmp(old->expected, expected)) {
            return;
        }
    }
    if (!grow(list)) {
        return;
    }
    bool last = list->n == PO_SHOP_MOST_FAULTS;
    const char *key = last ? "" : path_text(list->arena, path);
    if (!key) {
        list->failed = true;
        return;
    }
    list->full = last;
    list->faults[list->n++] = (po_shop_fault){
        .line = line,
        .column = column,
        .key = key,
        .found = last ? "more faults than are listed" : found,
        .expected = last ? "these to be mended first" : expected,
    };
}

typedef struct ranked {
    po_shop_fault fault;
    size_t order;
} ranked;

static int by_place(const void *a, const void *b)
{
    const ranked *x = a, *y = b;
    if (x->fault.line != y->fault.line) {
        return x->fault.line < y->fault.line ? -1 : 1;
    }
    if (x->fault.column != y->fault.column) {
        return x->fault.column < y->fault.column ? -1 : 1;
    }
    return x->order < y->order ? -1 : 1;
}

void po_fault_sort(po_fault_list *list)
{
    if (list->n < 2) {
        return;
    }
    size_t n = list->n - (list->full ? 1 : 0); /* "more faults" stays last */
    ranked *rows = po_arena_zeros(list->arena, n, sizeof *rows);
    if (!rows) {
        list->failed = true;
        return;
    }
    for (size_t i = 0; i < n; i++) {
        rows[i] = (ranked){list->faults[i], i};
    }
    qsort(rows, n, sizeof *rows, by_place);
    for (size_t i = 0; i < n; i++) {
        list->faults[i] = rows[i].fault;
    }
}
