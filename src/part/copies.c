/* Items of a build that are one solid. SPDX-License-Identifier: Apache-2.0
 *
 * Items of one object whose matrices differ only by where they put it are one solid, measured once. They are brought
 * together by sorting; solids keep the order of their first items. */
#include <stdlib.h>

#include "part/partfacts.h"

static int compare_solids(const po_part_item *a, const po_part_item *b)
{
    if (a->object != b->object) {
        return a->object < b->object ? -1 : 1;
    }
    for (int i = 0; i < 9; i++) {
        if (a->matrix[i] != b->matrix[i]) {
            return a->matrix[i] < b->matrix[i] ? -1 : 1;
        }
    }
    return 0;
}

static int by_solid(const void *left, const void *right)
{
    const po_part_item *const *a = left, *const *b = right;
    int order = compare_solids(*a, *b);
    return order != 0 ? order : *a < *b ? -1 : *a > *b;
}

static int by_first_item(const void *left, const void *right)
{
    const po_copies *a = left, *b = right;
    return a->items[0] < b->items[0] ? -1 : a->items[0] > b->items[0];
}

po_status po_part_copies(const po_part *part, po_arena *arena, const po_copies **ret, size_t *ret_n,
                         uint32_t *ret_left_out, po_err *err)
{
    const po_part_item **items = po_arena_zeros(arena, part->n_items + 1, sizeof(*items));
    size_t n = 0, n_solids = 0;
    if (items == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for the part's items");
    }
    for (size_t i = 0; i < part->n_items; i++) {
        if (part->objects[part->items[i].object].type == PO_OBJECT_MODEL) {
            items[n++] = &part->items[i];
        }
    }
    qsort(items, n, sizeof(*items), by_solid);
    for (size_t i = 0; i < n; i++) {
        n_solids += i == 0 || compare_solids(items[i - 1], items[i]) != 0;
    }
    po_copies *copies = po_arena_zeros(arena, n_solids + 1, sizeof *copies);
    if (copies == NULL) {
        return po_fail(err, PO_E_NOMEM, "no memory for the part's solids");
    }
    size_t at = 0;
    for (size_t i = 0; i < n; i++) {
        if (i == 0 || compare_solids(items[i - 1], items[i]) != 0) {
            copies[at++].items = items + i;
        }
        copies[at - 1].n_items++;
    }
    qsort(copies, n_solids, sizeof *copies, by_first_item);
    *ret = copies;
    *ret_n = n_solids;
    *ret_left_out = (uint32_t)(part->n_items - n);
    return PO_OK;
}
