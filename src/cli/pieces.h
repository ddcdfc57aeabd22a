/* What the verb pieces and its printing share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_PIECES_H
#define PO_CLI_PIECES_H

#include "cli.h"
#include "proveout/pieces.h"

typedef struct pieces_call {
    const cli_call *call;
    const po_shop *shop;
    po_arena *arena;
    const po_machine *machine;
    const po_material *material; /* the house's, or the first that the machine takes */
    po_pieces_setup setup;
    size_t item, threads; /* 0: not given */
    bool json;
    const char *out, *picture;
} pieces_call;

typedef struct pieces_result {
    const po_part_item *item;
    const char *name; /* of the object; NULL: none */
    const po_mesh *mesh;
    po_mesh_facts facts;
    po_fit fit; /* of the part as it lies */
    po_pieces pieces;
} pieces_result;

void pieces_print_text(const pieces_call *c, const char *path, const pieces_result *r);
void pieces_print_json(const pieces_call *c, const char *path, const po_part *part, const pieces_result *r);

#endif
