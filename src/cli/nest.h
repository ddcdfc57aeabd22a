/* What the verb nest, its reading and its printing share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_NEST_H
#define PO_CLI_NEST_H

#include "cli.h"
#include "work/bedful.h"

typedef struct nest_call {
    const cli_call *call;
    work_bedfuls b;
    const po_recipe *recipe;
    const po_material *material;
    double turn_step; /* for parts that say nothing else */
    bool find_pose, json;
    const char *out, *picture;
    po_picture_kind picture_kind;
    const char *written[64];
    size_t n_written;
} nest_call;

/* nest_parts.c: an operand to one or more parts. EXIT_CLEAR or a message printed. */
int nest_read_operand(nest_call *c, const char *operand);

void nest_print_text(const nest_call *c);

#endif
