/* A shop file's text as a tree with places. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SHOP_TREE_H
#define PO_SHOP_TREE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "shop/faults.h"

enum {
    PO_TREE_MOST_BYTES = 8 * 1024 * 1024,
    PO_TREE_MOST_NODES = 400000,
    PO_TREE_MOST_DEPTH = 32,
    PO_TREE_MOST_ANCHORS = 1000,
    PO_TREE_MOST_ALIASES = 10000,
    PO_TREE_MOST_MERGED = 100000,   /* keys looked at in all merges together */
    PO_TREE_MOST_MERGED_KEYS = 1000 /* of one mapping that merges others */
};

typedef enum po_node_kind { PO_NODE_TEXT, PO_NODE_LIST, PO_NODE_MAP } po_node_kind;

/* Lives in the arena. An alias is the very node that its anchor names. Merges (`<<`) are already carried out: a
 * mapping's own keys first, in the file's order, then those merged in, each key once. */
typedef struct po_node {
    po_node_kind kind;
    uint32_t line, column; /* 1-based, in characters */
    const char *text;      /* text: ended, UTF-8; may hold NUL bytes only where n_text says so */
    size_t n_text;
    bool quoted;   /* in quotes or a block: never a number, true, false or nothing */
    bool done;     /* its end was seen */
    bool faulted;  /* a fault was given for it already */
    uint32_t hash; /* of text */
    size_t n, cap;
    struct po_node **keys;  /* mapping: text nodes */
    struct po_node **items; /* list: items; mapping: values */
} po_node;

/* *ret_root is NULL when the text is empty or is no YAML at all; faults say why. Sticky failures are in faults. */
void po_tree_read(const char *text, size_t n_bytes, po_arena *arena, po_fault_list *faults, po_node **ret_root);

/* The value of a key, NULL when it is not there. */
po_node *po_tree_get(const po_node *map, const char *key);
/* Nothing is written: `key:`, `~` or `null`. */
bool po_tree_is_nothing(const po_node *node);
/* What stands there, for a message: `"abc"`, `a list of 3`, `a mapping`, `nothing`. NULL when memory is gone. */
const char *po_tree_found(const po_node *node, po_arena *arena);
/* A copy of at most 48 characters with control characters shown as `?`. */
const char *po_tree_clip(const char *text, size_t n, po_arena *arena);

#endif
