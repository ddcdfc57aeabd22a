/* Arenas: pieces are cut from blocks that double in size; all is freed at once. SPDX-License-Identifier: Apache-2.0
 *
 * With PO_ARENA_EACH every piece is its own malloc, so that AddressSanitizer sees a read past its end. */
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "proveout/arena.h"

enum { FIRST_BLOCK = 16 * 1024, LARGEST_BLOCK = 4 * 1024 * 1024 };

typedef struct block {
    struct block *next;
    size_t size, used;
    max_align_t bytes[];
} block;

struct po_arena {
    block *blocks; /* the one being filled first */
    size_t limit, used, next_size;
};

po_arena *po_arena_new(size_t limit_bytes)
{
    po_arena *arena = calloc(1, sizeof *arena);
    if (arena) {
        arena->limit = limit_bytes ? limit_bytes : SIZE_MAX;
        arena->next_size = FIRST_BLOCK;
    }
    return arena;
}

void po_arena_free(po_arena *arena)
{
    if (!arena) {
        return;
    }
    for (block *b = arena->blocks; b;) {
        block *next = b->next;
        free(b);
        b = next;
    }
    free(arena);
}

size_t po_arena_used(const po_arena *arena)
{
    return arena->used;
}

static block *add_block(po_arena *arena, size_t size)
{
    if (size > SIZE_MAX - sizeof(block)) {
        return NULL;
    }
    block *b = calloc(1, sizeof(block) + size); /* zeroed here, once; untouched pages cost nothing */
    if (b) {
        b->size = size;
        b->next = arena->blocks;
        arena->blocks = b;
    }
    return b;
}

void *po_arena_zeros(po_arena *arena, size_t n, size_t size)
{
    size_t want;
    if (__builtin_mul_overflow(n, size, &want) || want > SIZE_MAX - sizeof(max_align_t)) {
        return NULL;
    }
#ifndef PO_ARENA_EACH
    size_t unit = sizeof(max_align_t);
    want = want ? (want + unit - 1) / unit * unit : unit;
#else
    want = want ? want : 1;
#endif
    if (want > arena->limit - arena->used) {
        return NULL;
    }
    block *b = arena->blocks;
#ifdef PO_ARENA_EACH
    b = add_block(arena, want);
#else
    if (!b || b->size - b->used < want) {
        if (want > arena->next_size / 4) { /* a large piece has a block of its own, behind the one being filled */
            block *own = add_block(arena, want);
            if (own && b) {
                arena->blocks = b;
                own->next = b->next;
                b->next = own;
            }
            b = own;
        } else {
            b = add_block(arena, arena->next_size);
            if (arena->next_size < LARGEST_BLOCK) {
                arena->next_size *= 2;
            }
        }
    }
#endif
    if (!b) {
        return NULL;
    }
    void *piece = (char *)b->bytes + b->used;
    b->used += want;
    arena->used += want;
    return piece;
}

/* What a piece of so many bytes takes; SIZE_MAX when that can't be. */
static size_t room_of(size_t bytes)
{
#ifdef PO_ARENA_EACH
    return bytes ? bytes : 1;
#else
    size_t unit = sizeof(max_align_t);
    return bytes > SIZE_MAX - unit ? SIZE_MAX : bytes ? (bytes + unit - 1) / unit * unit : unit;
#endif
}

void *po_arena_resize(po_arena *arena, void *piece, size_t old_bytes, size_t new_bytes)
{
    if (!piece) {
        return po_arena_zeros(arena, new_bytes, 1);
    }
    size_t had = room_of(old_bytes), want = room_of(new_bytes);
    for (block **at = &arena->blocks; *at; at = &(*at)->next) {
        block *b = *at;
        if ((void *)b->bytes != piece || b->used != had || b->size != had) {
            continue;
        }
        /* A block of its own: the C library moves large ones by their pages. */
        if (want > SIZE_MAX - sizeof(block) || (want > had && want - had > arena->limit - arena->used)) {
            return NULL;
        }
        block *moved = realloc(b, sizeof(block) + want);
        if (!moved) {
            return NULL;
        }
        moved->size = moved->used = want;
        arena->used = arena->used - had + want;
        *at = moved;
        return moved->bytes;
    }
    if (want <= had) {
        return piece;
    }
    void *copy = po_arena_zeros(arena, new_bytes, 1);
    if (copy) {
        memcpy(copy, piece, old_bytes);
    }
    return copy;
}

char *po_arena_text_n(po_arena *arena, const char *text, size_t n)
{
    if (n == SIZE_MAX) {
        return NULL;
    }
    char *copy = po_arena_zeros(arena, n + 1, 1);
    if (copy && n) {
        memcpy(copy, text, n);
    }
    return copy;
}

char *po_arena_text(po_arena *arena, const char *text)
{
    return po_arena_text_n(arena, text, strlen(text));
}

char *po_arena_printf(po_arena *arena, const char *format, ...)
{
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int n = vsnprintf(NULL, 0, format, args);
    va_end(args);
    char *text = n < 0 ? NULL : po_arena_zeros(arena, (size_t)n + 1, 1);
    if (text) {
        vsnprintf(text, (size_t)n + 1, format, again);
    }
    va_end(again);
    return text;
}
