/* Parts to bedfuls: what its files share. SPDX-License-Identifier: Apache-2.0
 *
 * nest_ready.c makes shapes and finds what fits no bed, nest_groups.c fills beds with the parts of one group, nest_order.c tests each
 * bedful and puts its parts in order, nest_beds.c is the whole. */
#ifndef PO_PLAN_NEST_BEDS_H
#define PO_PLAN_NEST_BEDS_H

#include "nest_inside.h"
#include "part/fit.h"

enum { PO_NEST_AS_THEY_LIE, PO_NEST_A_QUARTER, PO_NEST_ANY_QUARTER };

typedef struct po_nest_work {
    const po_nest_part *parts;
    size_t n_parts;
    const po_nest_setup *setup;
    po_room room;
    po_nest_table table;
    po_nest_shape *shapes; /* parts, then what is in the way */
    size_t n_fixed;
    double *
        base_deg; /* of each part: how far it is turned before its steps are counted, so that its long edge lies level */
    uint16_t *own;        /* of each part: how many turns it may have */
    unsigned char *alone; /* of each part: 1 fits an empty bed, 2 does not */
    int way;              /* of parts that are finished one by one and are tall */
    po_nest_filling fill;
    po_arena *arena;
    po_pool *pool;
    double started, until; /* s; until 0: no limit */
    uint64_t steps;        /* at most; 0: none is set */
    bool ended;
    po_bedful *beds;
    size_t n_beds, cap_beds;
    po_left_out *out;
    size_t n_out;
    uint32_t at_least;
    uint64_t taken; /* moves */
} po_nest_work;

/* nest_ready.c: shapes, their table, and of each part whether it fits an empty bed at all. */
po_status po_nest_ready(po_nest_work *w, bool either_order, po_err *err) PO_MUST_USE;
po_nest_bed po_nest_work_bed(const po_nest_work *w);
void po_nest_leave_out(po_nest_work *w, uint32_t part, uint32_t copies, const char *why);

/* nest_groups.c: the parts of one group, left to be laid by w->fill.left. *ret_possible false: no order keeps the head off. */
po_status po_nest_group(po_nest_work *w, uint32_t *order, size_t n, uint64_t steps, uint32_t *next_copy,
                        bool *ret_possible, po_err *err) PO_MUST_USE;

/* nest_order.c: one bed tested, in order, added to w->beds, where there is room for it. */
po_status po_nest_give_out(po_nest_work *w, const po_nest_full *f, uint32_t *next_copy, bool *ret_possible,
                           po_err *err) PO_MUST_USE;

#endif
