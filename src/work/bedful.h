/* Parts to bedfuls, for the command line and the server: parts made ready, what a layout takes, what there is to say, the
 * files of it. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_BEDFUL_H
#define PO_WORK_BEDFUL_H

#include <jansson.h>

#include "proveout/nest_picture.h"
#include "proveout/pieces.h"

enum { WORK_BEDFUL_PARTS = 400, WORK_BEDFUL_BANDS = 6, WORK_BEDFUL_FINDINGS = 500 };

typedef struct work_bedful_part {
    const char *path, *label; /* label: the file's name, and the item where it holds several */
    const char *member, *due_text;
    const po_material *material;
    const po_recipe *recipe;
    const po_mesh *mesh; /* as it is laid, lowest point at 0, the middle of its bounds at x = y = 0 */
    double size_mm[3];
    po_estimate estimate; /* of one copy, supports not counted */
    bool estimated;
} work_bedful_part;

typedef struct work_bedful_finding {
    const char *name, *says, *todo;
    po_grade grade;
} work_bedful_finding;

/* What is wanted of the parts of one file; texts live as long as the bedfuls. */
typedef struct work_bedful_wish {
    const char *path, *member, *due_text; /* path: may be a name only */
    uint32_t copies;
    int64_t due;      /* year * 10000 + month * 100 + day; INT64_MAX: none */
    double turn_step; /* as po_nest_part has it */
    const po_material *material;
    const po_recipe *recipe; /* NULL: no estimate */
    bool find_pose;
} work_bedful_wish;

/* Large: not on the stack. All it points to is in the arena, or the shop's. */
typedef struct work_bedfuls {
    const po_shop *shop;
    const po_machine *machine;
    po_arena *arena;
    bool reach_over;
    po_nest_setup setup;
    double band_from[WORK_BEDFUL_BANDS];
    work_bedful_part parts[WORK_BEDFUL_PARTS];
    po_nest_part laid[WORK_BEDFUL_PARTS];
    size_t n_parts;
    po_nest nest;
    work_bedful_finding findings[WORK_BEDFUL_FINDINGS]; /* worst first */
    size_t n_findings;
} work_bedfuls;

typedef struct work_bedful_load { /* what one bedful takes; NAN: no estimate */
    double filament_mm, filament_g, seconds;
} work_bedful_load;

/* The material and the recipe where nothing is said: the house's if the machine takes it, else the first that it takes; the recipe
 * "everyday", else the middle one (NULL: the shop has none). */
void work_bedful_usual(const po_shop *shop, const po_machine *machine, const po_material **ret_material,
                       const po_recipe **ret_recipe);
/* Every model of a file that was read and assembled; items that differ only by where they lie are copies.
 * Errors: PO_E_EMPTY (no model), PO_E_LIMIT (more different parts than can be laid out), those of measuring and placing. */
po_status work_bedful_add(work_bedfuls *b, const work_bedful_wish *wish, const po_part *part, po_err *err) PO_MUST_USE;
/* Outlines of all parts, in bands where reach_over is set. *ret_part: the one at fault. Errors: po_nest_outline's. */
po_status work_bedful_outlines(work_bedfuls *b, size_t *ret_part, po_err *err) PO_MUST_USE;
/* What there is to say of b->nest. */
void work_bedful_judge(work_bedfuls *b);
const char *work_bedful_verdict(const work_bedfuls *b); /* "clear", "ask", "stop" */
work_bedful_load work_bedful_load_of(const work_bedfuls *b, const po_bedful *bed);
/* The share of each member in a bedful: names ("": nobody's), and millimetres with their part of what comes once. Returns how many. */
size_t work_bedful_shares(const work_bedfuls *b, const po_bedful *bed, const char **members, double *mm, size_t most);
/* When the earliest of it is due; NULL: nothing of it is. */
const char *work_bedful_due(const work_bedfuls *b, const po_bedful *bed);

/* "proveout/nest/1"; the caller's. NULL: no memory. */
json_t *work_bedful_json(const work_bedfuls *b);
/* One bedful as 3MF with an item for each part where it lies on the machine. Errors: po_3mf_write's. */
po_status work_bedful_3mf(const work_bedfuls *b, size_t at, po_arena *arena, po_document *ret, po_err *err) PO_MUST_USE;
/* What po_nest_picture draws; in the arena of b. Errors: PO_E_NOMEM. */
po_status work_bedful_sheet(const work_bedfuls *b, po_nest_sheet *ret, po_err *err) PO_MUST_USE;

#endif
