/* The pictures of a part's slip. SPDX-License-Identifier: Apache-2.0
 *
 * Each draws into a frame on the paper and nowhere else. */
#ifndef PO_SLIP_PART_PICTURES_H
#define PO_SLIP_PART_PICTURES_H

#include "proveout/slip.h"
#include "slip/drawing.h"
#include "slip/part_view.h"

enum { PO_MOST_LOOKS = 12, PO_MOST_WAYS = 6 };

/* Views of one solid that several pictures and machines share. */
typedef struct po_part_look {
    po_part_view above, below; /* below has no image where nothing hangs and nothing is seen only from there */
    po_part_view ways[PO_MOST_WAYS];
    size_t n_ways;
} po_part_look;

typedef struct po_part_gallery { /* lives in the arena */
    const po_part_report *report;
    po_part_look *looks;
    size_t n; /* solids that have looks: at most PO_MOST_LOOKS */
} po_part_gallery;

/* with_ways: solid whose ways up are drawn as well; SIZE_MAX = of all. */
po_status po_part_gallery_make(const po_part_report *report, size_t with_ways, po_arena *arena, po_part_gallery *ret,
                               po_err *err) PO_MUST_USE;

/* The solid that the gravest finding is about; else the first one. */
size_t po_part_worst_solid(const po_part_proof *proof);

/* As it lies, from above and, where something is to be seen there, from beneath; sizes, flags, textures. title NULL: "As
 * it lies". */
void po_part_picture_lies(po_drawing *d, po_box2 box, const po_part_gallery *g, const po_part_proof *proof,
                          size_t solid, const char *title);
/* Cuts at some heights, thin places marked, one scale. */
void po_part_picture_sections(po_drawing *d, po_box2 box, const po_part_report *report, size_t solid);
/* The best ways up, `columns` side by side, at most `most`. */
void po_part_picture_ways(po_drawing *d, po_box2 box, const po_part_gallery *g, size_t solid, size_t columns,
                          size_t most);
/* Beds with the part on them: machines [first, first + n) of the shop, `columns` side by side. */
void po_part_picture_beds(po_drawing *d, po_box2 box, const po_part_report *report, size_t solid, size_t first,
                          size_t n, size_t columns);
/* A row for each recipe: filament and time with their ranges, and the allowance. */
void po_part_picture_takes(po_drawing *d, po_box2 box, const po_part_report *report);
/* The key to the textures seen. Returns its height (0 = nothing to explain). */
double po_part_picture_key(po_drawing *d, double x, double y, double width_mm, const po_part_gallery *g, size_t solid);

/* What these pictures need; 0 = there is nothing to draw. */
double po_part_sections_height(const po_part_report *report, size_t solid, double width);
double po_part_ways_height(const po_part_report *report, size_t solid, double width, size_t columns, size_t most);
double po_part_beds_height(const po_part_report *report, size_t solid, double width, size_t n, size_t columns);
double po_part_takes_height(const po_part_report *report);

/* Index of the report's machine in the shop; SIZE_MAX = none. */
size_t po_part_machine_index(const po_part_report *report);
/* How a part lies on a machine in words: "no: 35 mm too long in x; at 78 % it would fit". */
const char *po_part_fit_words(po_arena *arena, const po_fit *fit);
/* The fit of the item that fits a machine worst; NULL = not measured. */
const po_fit *po_part_worst_fit(const po_part_report *report, const po_machine *machine);
/* What is judged by: the recipe asked for, or the least; NULL = not estimated. */
const po_estimate *po_part_judged(const po_part_report *report);

/* All pictures on one sheet, 200 mm wide. */
po_status po_part_sheet(po_drawing *d, po_arena *arena, const po_part_proof *proof, po_err *err) PO_MUST_USE;

#endif
