/* Memory for the length of one call, not cleared. SPDX-License-Identifier: Apache-2.0
 *
 * Pieces are cut from a few large blocks and all freed at once, as an arena's are. An arena clears its memory and takes it
 * in many blocks, which the C library gives back to the system after every call; clipping a layer then spends most of
 * its time in page faults. One block of about the right size comes back to the next call with its pages. */
#ifndef PO_GEOMETRY_SCRATCH_H
#define PO_GEOMETRY_SCRATCH_H

#include <stddef.h>

typedef struct po_scratch {
    struct po_scratch_block *blocks; /* the one being filled first */
    size_t guess, limit, taken;
} po_scratch;

/* guess_bytes: what will be wanted in all; limit_bytes: the most that may be. Takes no memory yet. */
void po_scratch_init(po_scratch *scratch, size_t guess_bytes, size_t limit_bytes);
void po_scratch_done(po_scratch *scratch);
/* n * size bytes, aligned for any type; NULL when the product overflows, the limit or memory is reached. */
void *po_scratch_take(po_scratch *scratch, size_t n, size_t size);
void *po_scratch_zeros(po_scratch *scratch, size_t n, size_t size);
/* A larger piece that begins with the old one's bytes; the old one stands until the end. */
void *po_scratch_more(po_scratch *scratch, const void *piece, size_t old_bytes, size_t new_bytes);

#endif
