/* Memory for the length of one call, not cleared. SPDX-License-Identifier: Apache-2.0
 * With PO_ARENA_EACH every piece is its own malloc, so that AddressSanitizer sees a read past its end. */
#include "geometry/scratch.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_BLOCK = 64 * 1024 };

typedef struct po_scratch_block {
    struct po_scratch_block *next;
    size_t size, used;
    max_align_t bytes[];
} block;

void po_scratch_init(po_scratch *scratch, size_t guess_bytes, size_t limit_bytes)
{
    *scratch = (po_scratch){.guess = guess_bytes, .limit = limit_bytes};
}

void po_scratch_done(po_scratch *scratch)
{
    for (block *b = scratch->blocks; b;) {
        block *next = b->next;
        free(b);
        b = next;
    }
    scratch->blocks = NULL;
}

void *po_scratch_take(po_scratch *scratch, size_t n, size_t size)
{
    size_t want, unit = sizeof(max_align_t);
    if (__builtin_mul_overflow(n, size, &want) || want > scratch->limit - scratch->taken) {
        return NULL;
    }
    size_t room = want ? want : 1;
#ifndef PO_ARENA_EACH
    room = (room + unit - 1) / unit * unit;
    block *b = scratch->blocks;
    if (!b || b->size - b->used < room) {
        size_t most = scratch->guess > LEAST_BLOCK ? scratch->guess : LEAST_BLOCK;
        most = most > room ? most : room;
#else
    block *b = NULL;
    {
        size_t most = room;
        (void)unit;
#endif
        if (most > SIZE_MAX - sizeof *b) {
            return NULL;
        }
        b = malloc(sizeof *b + most);
        if (!b) {
            return NULL;
        }
        *b = (block){.next = scratch->blocks, .size = most};
        scratch->blocks = b;
        scratch->guess /= 2; /* wrong once: the rest is smaller */
    }
    void *piece = (char *)b->bytes + b->used;
    b->used += room;
    scratch->taken += want;
    return piece;
}

void *po_scratch_zeros(po_scratch *scratch, size_t n, size_t size)
{
    void *piece = po_scratch_take(scratch, n, size);
    return piece ? memset(piece, 0, n * size) : NULL;
}

void *po_scratch_more(po_scratch *scratch, const void *piece, size_t old_bytes, size_t new_bytes)
{
    void *more = po_scratch_take(scratch, new_bytes, 1);
    return more && old_bytes ? memcpy(more, piece, old_bytes) : more;
}
