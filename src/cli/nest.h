/* What the verb nest, its reading and its printing share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_NEST_H
#define PO_CLI_NEST_H

#include "cli.h"
#include "proveout/nest.h"
#include "proveout/pieces.h"

enum { NEST_PARTS = 400, NEST_BANDS = 6, NEST_FINDINGS = 500 };

typedef struct nest_part {
    const char *path, *label; /* label: the file's name, and the item where it holds several */
    const char *member, *due_text;
    const po_material *material;
    const po_recipe *recipe;
    const po_mesh *mesh; /* as it is laid, lowest point at 0, the middle of its bounds at x = y = 0 */
    double size_mm[3];
    po_estimate estimate; /* of one copy, supports not counted */
    bool estimated;
} nest_part;

typedef struct nest_finding {
    const char *name, *says, *todo;
    po_grade grade;
} nest_finding;

typedef struct nest_call {
    const cli_call *call;
    const po_shop *shop;
    const po_machine *machine;
    po_arena *arena;
    const po_recipe *recipe;
    const po_material *material;
    double turn_step; /* for parts that say nothing else */
    bool find_pose, reach_over, json;
    const char *out, *picture;
    po_picture_kind picture_kind;
    po_nest_setup setup;
    double band_from[NEST_BANDS];
    nest_part parts[NEST_PARTS];
    po_nest_part laid[NEST_PARTS];
    size_t n_parts;
    po_nest nest;
    nest_finding findings[NEST_FINDINGS];
    size_t n_findings;
    const char *written[64];
    size_t n_written;
} nest_call;

typedef struct nest_load { /* what one bedful takes */
    double filament_mm, filament_g, seconds;
} nest_load;

/* nest_parts.c: an operand to one or more parts. EXIT_CLEAR or a message printed. */
int nest_read_operand(nest_call *c, const char *operand);
/* Outlines of all parts, in bands where --reach-over was given. */
int nest_outlines(nest_call *c);

/* nest_find.c: what there is to say, worst first. */
void nest_judge(nest_call *c);
nest_load nest_load_of(const nest_call *c, const po_bedful *bed);
/* The share of each member in a bedful: names, and metres with their part of what comes once. Returns how many. */
size_t nest_shares(const nest_call *c, const po_bedful *bed, const char **members, double *mm, size_t most);

void nest_print_text(const nest_call *c);
void nest_print_json(const nest_call *c);

#endif
