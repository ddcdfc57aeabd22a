/* Arenas: all memory of one file, request or report, freed at once. SPDX-License-Identifier: Apache-2.0 */
#ifndef PROVEOUT_ARENA_H
#define PROVEOUT_ARENA_H

#include <stddef.h>

#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* An arena owns every piece it hands out until po_arena_free. Not safe for use from two threads at once. */
typedef struct po_arena po_arena;

/* limit_bytes: most that may be handed out in all; 0 = no limit but the machine's. NULL when memory is gone. */
PO_API po_arena *po_arena_new(size_t limit_bytes);
/* Accepts NULL. */
PO_API void po_arena_free(po_arena *arena);

/* n * size zeroed bytes, aligned for any type; NULL when the product overflows, the limit or memory is reached. */
PO_API void *po_arena_zeros(po_arena *arena, size_t n, size_t size);
/* The same piece made larger or smaller: old_bytes must be what it was asked for with. What fits is kept, bytes beyond
 * old_bytes are undefined. A large piece grows without being copied. NULL as above, and the old piece then stands.
 * piece may be NULL (old_bytes 0). */
PO_API void *po_arena_resize(po_arena *arena, void *piece, size_t old_bytes, size_t new_bytes);
/* A copy of a string of n bytes (not necessarily ended), always ended; NULL as above. */
PO_API char *po_arena_text_n(po_arena *arena, const char *text, size_t n);
PO_API char *po_arena_text(po_arena *arena, const char *text);
/* As printf into the arena; NULL as above. */
PO_API char *po_arena_printf(po_arena *arena, const char *format, ...) PO_PRINTF(2, 3);
/* Bytes handed out so far. */
PO_API size_t po_arena_used(const po_arena *arena);

#ifdef __cplusplus
}
#endif
#endif
