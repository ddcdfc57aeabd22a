/* Rules about parts as meshes: closed, the right way round, in one piece, of a likely size. SPDX-License-Identifier: Apache-2.0
 *
 * A mesh that others print well is no fault: bodies that touch along an edge or run into each other have a clear inside
 * (3MF core specification 4.1.1: a point is inside where more surfaces face it than turn their backs), and are noted. */
#include <math.h>
#include <stdio.h>

#include "proof/judge.h"

#define MEND                                                                                                           \
    "Try proveout check --mend OUT.3mf, or mend it in the drawing program, and look at the layers before printing."

static unsigned long long number(uint64_t n)
{
    return (unsigned long long)n;
}

static const char *plural(uint64_t n)
{
    return n == 1 ? "" : "s";
}

/* ---- not a solid ---- */

static double edges_of(const po_mesh_facts *f)
{
    return (double)(3 * f->triangles + f->open_edges) / 2;
}

static bool is_thin_air(const po_mesh_facts *f)
{
    double sides[3], most = 0;
    for (int k = 0; k < 3; k++) {
        sides[k] = f->bounds_mm[1][k] - f->bounds_mm[0][k];
        most = fmax(most, sides[k]);
    }
    double least = fmin(sides[0], fmin(sides[1], sides[2]));
    return !(most > 0) || least < 1e-6 * most;
}

static bool is_hollow(const po_solid *s)
{
    const po_mesh_facts *f = &s->facts;
    double volume = fabs(f->volume_mm3);
    for (uint64_t i = 0; f->shell_volumes_mm3 != NULL && i < f->shells; i++) { /* shells one within the other */
        volume = fmax(volume, fabs(f->shell_volumes_mm3[i]));
    }
    return f->open_edges == 0 && volume < LIM_FLAT_VOLUME * pow(f->area_mm2, 1.5);
}

static double ill_not_a_solid(const po_judging *j, const po_solid *s)
{
    (void)j;
    const po_mesh_facts *f = &s->facts;
    bool loose = (double)f->open_edges * 100 >= LIM_NO_SOLID_OPEN * edges_of(f) && f->open_edges > 0;
    bool sheet = f->open_edges > 0 && s->sheet_share > LIM_SHEET;
    return loose || sheet || is_thin_air(f) || is_hollow(s) || !(f->area_mm2 > 0);
}

void po_judge_part_not_a_solid(po_judging *j)
{
    static const char todo[] = "Give the surface a thickness in the drawing program, and export it as a solid.";
    uint64_t items;
    if (j->part->n_solids == 0) {
        po_say(j, PO_GRADE_STOP, "Look whether this is the file that was meant.", "The file holds no model to print%s.",
               j->part->n_left_out > 0 ? ", only supports and the like" : "");
        return;
    }
    const po_solid *s = po_worst_solid(j, ill_not_a_solid, &items);
    if (s == NULL) {
        return;
    }
    const po_mesh_facts *f = &s->facts;
    if (is_thin_air(f) || !(f->area_mm2 > 0)) {
        po_say_solid(j, PO_GRADE_STOP, s, items, items, NULL, todo, "It is flat: a drawing without thickness.");
    } else if (f->open_edges > 0 && s->sheet_share > LIM_SHEET) {
        po_say_solid(j, PO_GRADE_STOP, s, items, items, s->open_at, todo,
                     "It is a sheet without thickness, open along %llu edges.", number(f->open_edges));
    } else if (f->open_edges > 0) {
        po_say_solid(j, PO_GRADE_STOP, s, items, items, s->open_at, todo,
                     "Its triangles are loose: %llu edges have nothing on their other side.", number(f->open_edges));
    } else {
        po_say_solid(j, PO_GRADE_STOP, s, items, items, NULL, todo, "Its surface holds no volume.");
    }
}

/* ---- edges ---- */

static double ill_open(const po_judging *j, const po_solid *s)
{
    (void)j;
    return (double)s->facts.open_edges;
}

static double ill_seams(const po_judging *j, const po_solid *s)
{
    (void)j;
    return isnan(s->facts.seams_closed_at_mm) ? 0 : s->facts.seams_closed_at_mm;
}

static uint64_t count_of(const po_judging *j, po_part_ill_fn *ill)
{
    double sum = 0;
    for (size_t i = 0; i < j->part->n_solids; i++) {
        double one = ill(j, &j->part->solids[i]);
        sum += one > 0 ? one * j->part->solids[i].times : 0;
    }
    return sum < 1e18 ? (uint64_t)sum : UINT64_MAX;
}

void po_judge_part_open_edges(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_open, &items);
    if (s != NULL) {
        po_say_solid(j, PO_GRADE_ASK, s, items, count_of(j, ill_open), s->open_at, MEND,
                     "The surface is not closed: %llu edge%s a triangle on one side only.", number(s->facts.open_edges),
                     s->facts.open_edges == 1 ? " has" : "s have");
        return;
    }
    s = po_worst_solid(j, ill_seams, &items);
    if (s != NULL) {
        po_say_solid(j, PO_GRADE_NOTE, s, items, items, NULL, "Nothing: that is rounding on export.",
                     "Its seams don't meet exactly; they close within %.2g mm.", s->facts.seams_closed_at_mm);
    }
}

static double ill_crowded(const po_judging *j, const po_solid *s)
{
    (void)j;
    bool clear = s->uneven_edges == 0 && s->facts.open_edges == 0;
    return (double)s->facts.crowded_edges * (clear ? 1 : 1e6); /* those that leave the inside unclear are worse */
}

static double ill_crowded_count(const po_judging *j, const po_solid *s)
{
    (void)j;
    return (double)s->facts.crowded_edges;
}

static double ill_twice(const po_judging *j, const po_solid *s)
{
    (void)j;
    bool whole = s->uneven_edges == 0 && s->facts.open_edges == 0; /* bodies, not single triangles */
    return whole ? (double)s->twice : 0;
}

void po_judge_part_crowded_edges(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_crowded, &items);
    if (s == NULL) {
        return;
    }
    uint64_t n = s->facts.crowded_edges, count = count_of(j, ill_crowded_count);
    const po_solid *twice = po_worst_solid(j, ill_twice, &items);
    if (twice != NULL) {
        po_say_solid(j, PO_GRADE_ASK, twice, items, count_of(j, ill_twice), twice->crowded_at,
                     "Delete the copy in the drawing program, or try proveout check --mend OUT.3mf.",
                     "%llu triangle%s twice in the same place, as of a body that was copied onto itself: some programs "
                     "take that for empty.",
                     number(twice->twice), twice->twice == 1 ? " lies" : "s lie");
        return;
    }
    s = po_worst_solid(j, ill_crowded, &items);
    if (s->uneven_edges == 0 && s->facts.open_edges == 0) {
        po_say_solid(j, PO_GRADE_NOTE, s, items, count, s->crowded_at,
                     "Nothing, when the bodies may come apart there. Else let them overlap.",
                     "Bodies touch along %llu edge%s without growing together.", number(n), plural(n));
    } else {
        po_say_solid(j, PO_GRADE_ASK, s, items, count, s->crowded_at,
                     s->facts.doubled_triangles > 0 ? MEND : "Mend it in the drawing program: only its maker knows.",
                     "More than two triangles meet along %llu edge%s: it is not clear what is inside.", number(n),
                     plural(n));
    }
}

/* ---- the right way round ---- */

static double ill_inside_out(const po_judging *j, const po_solid *s)
{
    (void)j;
    bool reversed = s->closed && s->facts.open_edges == 0 && s->facts.volume_mm3 < 0;
    return (double)s->facts.flipped_triangles + 1e6 * (double)s->shells_inside_out + (reversed ? 1 : 0);
}

void po_judge_part_inside_out(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_inside_out, &items);
    if (s == NULL) {
        return;
    }
    uint64_t turned = s->shells_inside_out, flipped = s->facts.flipped_triangles;
    if (flipped > 0) {
        po_say_solid(j, PO_GRADE_ASK, s, items, flipped, NULL, MEND,
                     "%llu triangle%s the other way round than %s neighbours.", number(flipped),
                     flipped == 1 ? " faces" : "s face", flipped == 1 ? "its" : "their");
    } else if (s->facts.shells > 1 && turned < s->facts.shells) {
        po_say_solid(j, PO_GRADE_ASK, s, items, turned, NULL, MEND,
                     "%llu of its %llu bodies %s inside out and may come out as a hole.",
                     number(turned > 0 ? turned : 1), number(s->facts.shells), turned <= 1 ? "is" : "are");
    } else {
        po_say_solid(j, PO_GRADE_ASK, s, items, items, NULL, MEND,
                     "It is inside out: all its triangles face inwards. Taken at its word it is a hole.");
    }
}

/* ---- cuts ---- */

static double ill_cuts(const po_judging *j, const po_solid *s)
{
    (void)j;
    return s->cuts_done ? (double)s->cuts.pairs + (s->cut_depth_mm > LIM_CUT_MM ? 1e12 * s->cut_depth_mm : 0) : 0;
}

static double ill_cuts_count(const po_judging *j, const po_solid *s)
{
    (void)j;
    return s->cuts_done ? (double)s->cuts.pairs : 0;
}

void po_judge_part_cuts_itself(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_cuts, &items);
    if (s == NULL) {
        return;
    }
    const char *least = s->cuts.complete ? "" : "at least ";
    uint64_t n = s->cuts.pairs, count = count_of(j, ill_cuts_count);
    if (s->cuts_within == 0) {
        po_say_solid(j, PO_GRADE_NOTE, s, items, count, s->cut_at,
                     "Nothing, when they are meant to be one. Look at the layers there.",
                     "Bodies run into each other: %s%llu pair%s of triangles cross.", least, number(n), plural(n));
    } else if (!(s->cut_depth_mm > LIM_CUT_MM)) {
        bool rounding = !(s->cut_depth_mm > 0.001);
        po_say_solid(j, PO_GRADE_NOTE, s, items, count, s->cut_at, "Nothing: that is less than a bead's edge wanders.",
                     "Triangles cross each other, by %s%.2g mm: %s%llu pair%s.", rounding ? "less than " : "up to ",
                     rounding ? 0.001 : s->cut_depth_mm, least, number(n), plural(n));
    } else {
        po_say_solid(j, PO_GRADE_ASK, s, items, count, s->cut_at,
                     "Look at the layers there before printing, or join the bodies in the drawing program.",
                     "The surface passes through itself, up to %s deep: %s%llu pair%s of triangles cross.",
                     po_mm_text(j, s->cut_depth_mm), least, number(n), plural(n));
    }
}

/* ---- oddities ---- */

static double ill_flat(const po_judging *j, const po_solid *s)
{
    (void)j;
    return (double)s->facts.flat_triangles;
}

void po_judge_part_flat_triangles(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_flat, &items);
    if (s != NULL) {
        uint64_t n = s->facts.flat_triangles;
        po_say_solid(j, PO_GRADE_NOTE, s, items, count_of(j, ill_flat), NULL, "Nothing: they do no harm.",
                     "%llu of its %llu triangles %s no area.", number(n), number(s->facts.triangles),
                     n == 1 ? "has" : "have");
    }
}

static double ill_loose(const po_judging *j, const po_solid *s)
{
    (void)j;
    return (double)s->loose_shells;
}

static double ill_afloat(const po_judging *j, const po_solid *s)
{
    (void)j;
    return (double)s->afloat;
}

void po_judge_part_loose_shells(po_judging *j)
{
    uint64_t items;
    const po_solid *s = po_worst_solid(j, ill_afloat, &items);
    if (s != NULL) {
        double up = s->afloat_at[2] - s->facts.bounds_mm[0][2];
        po_say_solid(
            j, PO_GRADE_ASK, s, items, count_of(j, ill_afloat), s->afloat_at,
            "Join it to the rest in the drawing program, or set it on the bed; supports alone are a makeshift.",
            s->afloat == 1 ? "One of its bodies touches nothing and begins in the air, %s up."
                           : "Some of its bodies touch nothing and begin in the air, the highest %s up.",
            po_mm_text(j, up));
        return;
    }
    s = po_worst_solid(j, ill_loose, &items);
    if (s == NULL) {
        return;
    }
    char specks[80] = "";
    if (s->specks > 0) {
        snprintf(specks, sizeof specks, " %llu of them %s smaller than a bead.", number(s->specks),
                 s->specks == 1 ? "is" : "are");
    }
    po_say_solid(j, PO_GRADE_NOTE, s, items, s->loose_shells + 1, NULL,
                 "Nothing, when that is meant: bodies that overlap print as one, others come apart.",
                 "It is made of %llu separate bodies.%s", number(s->loose_shells + 1), specks);
}

void po_judge_part_unit_suspect(po_judging *j)
{
    const po_part_report *r = j->part;
    if (r->unit_guess == NULL || r->unit_factor == 1 || r->n_solids == 0) {
        return;
    }
    double side = 0;
    for (size_t i = 0; i < r->n_solids; i++) {
        for (int k = 0; k < 3; k++) {
            double one = r->solids[i].facts.bounds_mm[1][k] - r->solids[i].facts.bounds_mm[0][k];
            side = fmax(side, one);
        }
    }
    const char *meant = po_mm_text(j, side * r->unit_factor);
    const char *todo = po_arena_printf(j->arena,
                                       "Ask in which unit it was drawn. If the guess is right, scale it by %.6g, or "
                                       "export it in millimetres.",
                                       r->unit_factor);
    j->failed |= todo == NULL;
    const char *guess = r->unit_factor > 1      ? (r->unit_factor == 1000   ? "Drawn in metres"
                                                   : r->unit_factor == 25.4 ? "Drawn in inches"
                                                                            : "Drawn in another unit")
                        : r->unit_factor < 0.01 ? "Written in micrometres"
                                                : "Taken for inches twice";
    if (side < 1) {
        po_say(j, PO_GRADE_ASK, todo != NULL ? todo : "",
               "The largest side is %.3g mm, too small to print. %s? Then it would be %s.", side, guess, meant);
    } else {
        po_say(j, PO_GRADE_ASK, todo != NULL ? todo : "",
               "The largest side is %.4g mm, an odd size for a part. %s? Then it would be %s.", side, guess, meant);
    }
}
