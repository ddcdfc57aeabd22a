/* From the tree of a shop file to its structs. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SHOP_CHECK_H
#define PO_SHOP_CHECK_H

#include "shop/keys.h"
#include "shop/tree.h"

enum { PO_CHECK_MOST_VISITS = 2000000 }; /* values looked at, aliases counted each time */

typedef struct po_check {
    po_arena *arena;
    po_fault_list *faults;
    po_shop *shop;
    const char *const *findings; /* names that rules.grades may hold; NULL: any */
    size_t n_findings;
    size_t n_visits;
} po_check;

/* A fault at a value; once only for each value, however many aliases lead to it. expected is formatted. */
void po_check_fault(po_check *c, po_node *at, const po_key_path *path, const char *expected);
/* The same with words of its own for what was found. */
void po_check_fault_found(po_check *c, po_node *at, const po_key_path *path, const char *found, const char *expected);
/* Whether checking has to end: memory gone, too many faults, too much to look at. */
bool po_check_over(po_check *c);

/* Fill the struct at base by a table; map NULL: defaults only. Keys that the table lacks are faults. */
void po_check_map(po_check *c, po_node *map, const po_key_path *path, const po_key_table *table, void *base);

/* Keys that are read by hand (lists.c). node is NULL when the key is missing: its default. */
void po_check_own(po_check *c, po_node *node, const po_key_path *path, const po_key *key, void *base);

/* Those of them that the desk lives by: book, outbox, causes, lapsing permissions, sticks (desk_keys.c). */
void po_check_desk(po_check *c, po_node *node, const po_key_path *path, const po_key *key, void *base);
/* What holds between the keys of the outbox; map is the whole file. */
void po_check_outbox(po_check *c, const po_node *map);

/* Care, circuits and what else belongs to the house (house.c). node is present. */
void po_check_house(po_check *c, po_node *node, const po_key_path *path, const po_key *key, void *base);
/* Room for the items of a list or the keys of a mapping; NULL (with a fault) when it is neither or too long. */
void *po_check_room(po_check *c, po_node *node, const po_key_path *path, po_node_kind kind, const char *expected,
                    size_t most, size_t size);
/* Room for the entries of a mapping of names, each unlike the others, capitals or not; NULL with a fault. */
void *po_check_named(po_check *c, po_node *node, const po_key_path *path, const char *expected, bool at_least_one,
                     size_t size);

/* Machines, materials, recipes, permissions (sections.c). node is present and not nothing. */
void po_check_permissions(po_check *c, po_node *node, const po_key_path *path);
void po_check_materials(po_check *c, po_node *node, const po_key_path *path);
void po_check_machines(po_check *c, po_node *node, const po_key_path *path);
void po_check_recipes(po_check *c, po_node *node, const po_key_path *path);

/* A name that people type: no comma (names are listed with commas), no blanks at its ends, 1 to 60 characters. */
bool po_check_name(po_check *c, po_node *node, const po_key_path *path, const char *name);
/* "material of this file: petg, pla, ...; nearest: petg" for a name that is not there. */
const char *po_check_expect_name(po_check *c, const char *what, const char *name,
                                 const char *(*at)(const po_check *, size_t), size_t n);

#endif
