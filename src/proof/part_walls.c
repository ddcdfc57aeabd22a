/* Rules about what is too thin for a bead: walls and gaps. SPDX-License-Identifier: Apache-2.0
 *
 * Walls go by sheets (the far side faces back), so that the tips of edges and wedges, which every part has, are no walls.
 * An area counts when it is large against its own error and against the part: a sharp rim is not a thin wall. */
#include <math.h>

#include "proof/judge.h"

static bool counts(const po_solid *s, double mm2, double least)
{
    double most = fmax(least, s->facts.area_mm2 * LIM_WALL_SHARE / 100);
    return s->walls_done && mm2 > fmax(most, LIM_WALL_ERRORS * s->walls.area_error_mm2);
}

static double ill_thin(const po_judging *j, const po_solid *s)
{
    (void)j;
    return counts(s, s->walls.thin_sheet_mm2, LIM_WALL_MM2) ? s->walls.thin_sheet_mm2 : 0;
}

void po_judge_part_thin_walls(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_thin, &items);
    if (s != NULL) {
        po_say_solid(j, PO_GRADE_ASK, s, items, items, s->walls.sheet_at,
                     "Make the wall at least two beads thick in the drawing, or print it with a narrower bead.",
                     "Walls thinner than one bead (%.2f mm) over about %.0f mm2 of surface, %s at the thinnest: they "
                     "may be left out.",
                     s->walls.bead_mm, s->walls.thin_sheet_mm2, po_mm_text(j, s->walls.thinnest_sheet_mm));
    }
}

static double ill_slim(const po_judging *j, const po_solid *s)
{
    (void)j;
    return counts(s, s->walls.slim_sheet_mm2, LIM_WALL_MM2) ? s->walls.slim_sheet_mm2 : 0;
}

void po_judge_part_slim_walls(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_slim, &items);
    if (s != NULL) {
        /* the place of the thinnest sheet is one of a slim wall only where nothing is thinner */
        bool here = s->walls.thinnest_sheet_mm >= s->walls.bead_mm;
        po_say_solid(j, PO_GRADE_NOTE, s, items, items, here ? s->walls.sheet_at : NULL,
                     "Make it at least two beads thick where it bears load.",
                     "Walls of one to two beads (%.2f to %.2f mm) over about %.0f mm2 of surface: they are weak.",
                     s->walls.bead_mm, 2 * s->walls.bead_mm, s->walls.slim_sheet_mm2);
    }
}

static double ill_gap(const po_judging *j, const po_solid *s)
{
    (void)j;
    return counts(s, s->walls.gap_mm2, LIM_GAP_MM2) ? s->walls.gap_mm2 : 0;
}

void po_judge_part_narrow_gaps(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_gap, &items);
    if (s != NULL) {
        po_say_solid(j, PO_GRADE_NOTE, s, items, items, s->walls.gap_at,
                     "Widen it to 0.4 mm and more where it must stay open, or test it on a small piece.",
                     "Gaps narrower than one bead (%.2f mm) over about %.0f mm2 of surface, %s at the narrowest: they "
                     "may grow together.",
                     s->walls.bead_mm, s->walls.gap_mm2, po_mm_text(j, s->walls.narrowest_gap_mm));
    }
}
