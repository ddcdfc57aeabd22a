/* What was measured of a part, line by line for people, and the cautions that go with it. SPDX-License-Identifier: Apache-2.0
 *
 * A fact without a value is said in words ("not measured"), never left out and never shown as zero. */
#include <math.h>
#include <string.h>

#include "slip/say.h"

typedef struct list {
    po_arena *arena;
    po_fact_line *lines;
    size_t n;
} list;

static void add(list *l, const char *label, const char *value)
{
    if (l->n < PO_MOST_FACT_LINES) {
        l->lines[l->n++] = (po_fact_line){label, value ? value : ""};
    }
}

const char *po_say_item(po_arena *arena, const po_part_report *report, size_t solid)
{
    const po_solid *s = &report->solids[solid];
    if (report->n_solids == 1) {
        return "the part";
    }
    const char *text = s->name != NULL && s->name[0] != '\0'
                           ? po_arena_printf(arena, "Item %u (%s)", s->build_item, po_say_clean(arena, s->name))
                           : po_arena_printf(arena, "Item %u", s->build_item);
    return text ? text : "";
}

const char *po_say_fit(po_arena *arena, const po_fit *fit)
{
    if (fit->as_is) {
        return "as it lies";
    }
    if (fit->turned) {
        const char *text = po_arena_printf(arena, "turned by %s degrees%s",
                                           po_say_number(arena, fabs(fit->turn_deg), 0),
                                           fit->turn_deg < 0 ? " clockwise" : "");
        return text ? text : "";
    }
    return fit->pose >= 0 ? "tipped over" : "no";
}

static const char *held(po_arena *a, const po_part_report *r)
{
    const char *left = r->n_left_out > 0 ? po_arena_printf(a, "; %u left out (supports and the like)", r->n_left_out)
                                         : "";
    const char *kinds = r->n_solids != r->n_items ? po_arena_printf(a, " of %zu kinds", r->n_solids) : "";
    return po_arena_printf(a, "%u item%s%s%s", r->n_items, r->n_items == 1 ? "" : "s", kinds ? kinds : "",
                           left ? left : "");
}

static const char *size(po_arena *a, const po_part_totals *t)
{
    if (!isfinite(t->bounds_mm[0][0])) {
        return "nothing";
    }
    return po_arena_printf(a, "%s x %s x %s mm", po_say_number(a, t->bounds_mm[1][0] - t->bounds_mm[0][0], 2),
                           po_say_number(a, t->bounds_mm[1][1] - t->bounds_mm[0][1], 2),
                           po_say_number(a, t->bounds_mm[1][2] - t->bounds_mm[0][2], 2));
}

static const char *unit(po_arena *a, const po_part_report *r)
{
    if (r->unit_guess != NULL) {
        return po_arena_printf(a, "%s; by its size it may be meant as %s (x %s)",
                               r->part->unit ? po_say_clean(a, r->part->unit) : "not said, read as mm", r->unit_guess,
                               po_say_number(a, r->unit_factor, 4));
    }
    return r->part->unit ? po_say_clean(a, r->part->unit) : "not said; read as mm, a likely size";
}

static const char *mesh(po_arena *a, const po_part_report *r)
{
    const po_part_totals *t = &r->totals;
    return po_arena_printf(a, "%llu triangles, %llu bod%s, %s", (unsigned long long)t->triangles,
                           (unsigned long long)t->shells, t->shells == 1 ? "y" : "ies",
                           t->watertight                     ? "closed"
                           : isfinite(t->seams_closed_at_mm) ? "closed but for faults below"
                                                             : "not soundly closed");
}

static const char *faults(po_arena *a, const po_part_totals *t)
{
    const struct {
        uint64_t n;
        const char *what;
    } counts[] = {{t->open_edges, "open edges"},
                  {t->crowded_edges, "crowded edges"},
                  {t->flipped_triangles, "triangles the wrong way round"},
                  {t->flat_triangles, "flat triangles"},
                  {t->doubled_triangles, "doubled triangles"},
                  {t->self_cuts, "cuts through itself"}};
    po_text out;
    po_text_init(&out, a);
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
        if (counts[i].n > 0) {
            po_text_printf(&out, "%s%llu %s", out.n ? ", " : "", (unsigned long long)counts[i].n, counts[i].what);
        }
    }
    if (isfinite(t->seams_closed_at_mm)) {
        po_text_printf(&out, "%sseams close within %s mm", out.n ? ", " : "",
                       po_say_number(a, t->seams_closed_at_mm, 6));
    }
    return out.n ? out.data : "none";
}

static void walls(list *l, const po_part_report *r)
{
    po_arena *a = l->arena;
    /* by sheets, as the findings go: of a cone's tip any ray finds less than any limit */
    double bead = NAN, thinnest = NAN, thin = 0, slim = 0;
    for (size_t i = 0; i < r->n_solids; i++) {
        const po_solid *s = &r->solids[i];
        if (s->walls_done) {
            bead = s->walls.bead_mm;
            thinnest = fmin(thinnest, s->walls.thinnest_sheet_mm); /* fmin: a number before NAN */
            thin += s->times * s->walls.thin_sheet_mm2;
            slim += s->times * s->walls.slim_sheet_mm2;
        }
    }
    if (!isfinite(bead)) {
        add(l, "Walls", "not measured");
        return;
    }
    const char *least = isfinite(thinnest) ? po_arena_printf(a, "%s mm at the thinnest", po_say_number(a, thinnest, 2))
                                           : "none with two sides";
    add(l, "Walls",
        po_arena_printf(a, "%s; %s mm2 below one bead (%s mm), %s mm2 below two (edges and tips are no walls)",
                        least != NULL ? least : "", po_say_number(a, thin, 0), po_say_number(a, bead, 2),
                        po_say_number(a, slim, 0)));
}

static void pose_lines(list *l, const po_part_report *r)
{
    po_arena *a = l->arena;
    if (r->n_solids != 1) { /* of several each has its own line */
        add(l, "Overhangs",
            po_arena_printf(a, "%s, %s beneath them", po_say_or(a, r->totals.overhang_mm2, 0, "mm2", "not measured"),
                            po_say_or(a, r->totals.support_mm3 / 1000, 1, "cm3", "space not measured")));
        return;
    }
    const po_solid *s = &r->solids[0];
    const po_pose *p = &s->lies;
    if (!s->lies_done) {
        add(l, "As it lies", "not measured");
        return;
    }
    add(l, "As it lies",
        po_arena_printf(a, "%s mm tall on %s mm2 (%d foothold%s); %s", po_say_number(a, p->size_mm[2], 1),
                        po_say_number(a, p->foothold_mm2, 0), p->footholds, p->footholds == 1 ? "" : "s",
                        p->stands ? po_arena_printf(a, "stands, tips at %s degrees", po_say_number(a, p->tip_deg, 0))
                                  : "does not stand by itself"));
    add(l, "Overhangs",
        po_arena_printf(a, "%s mm2, of which %s mm2 want support; longest bridge %s",
                        po_say_number(a, p->overhang_mm2, 0), po_say_number(a, p->overhang_open_mm2, 0),
                        p->longest_bridge_mm > 0 ? po_say_or(a, p->longest_bridge_mm, 1, "mm", "none") : "none"));
    if (s->n_poses > 0 && s->as_is == 0) {
        add(l, "Best way up", "as it lies");
    } else if (s->n_poses > 0) {
        const po_pose *best = &s->poses[0];
        char *why = best->why != NULL ? po_arena_text(a, best->why) : NULL;
        if (why != NULL && why[0] >= 'a' && why[0] <= 'z') {
            why[0] = (char)(why[0] - 'a' + 'A'); /* a sentence of its own here */
        }
        add(l, "Best way up",
            po_arena_printf(a, "another: %s mm tall on %s mm2, %s mm2 want support%s%s",
                            po_say_number(a, best->size_mm[2], 1), po_say_number(a, best->foothold_mm2, 0),
                            po_say_number(a, best->overhang_open_mm2, 0), why ? ". " : "", why ? why : ""));
    }
}

static void item_lines(list *l, const po_part_report *r)
{
    enum { MOST_ITEMS = 12 };
    po_arena *a = l->arena;
    for (size_t i = 0; r->n_solids > 1 && i < r->n_solids && i < MOST_ITEMS; i++) {
        const po_solid *s = &r->solids[i];
        const double(*b)[3] = s->facts.bounds_mm;
        const char *name = s->name != NULL && s->name[0] != '\0' ? po_arena_printf(a, "%s, ", po_say_clean(a, s->name))
                                                                 : "";
        add(l, po_arena_printf(a, "Item %u", s->build_item),
            po_arena_printf(a, "%s%u x, %s x %s x %s mm, %s cm3%s", name ? name : "", s->times,
                            po_say_number(a, b[1][0] - b[0][0], 1), po_say_number(a, b[1][1] - b[0][1], 1),
                            po_say_number(a, b[1][2] - b[0][2], 1), po_say_number(a, s->facts.volume_mm3 / 1000, 2),
                            s->facts.watertight ? "" : ", not soundly closed"));
    }
    if (r->n_solids > MOST_ITEMS) {
        add(l, "And", po_arena_printf(a, "%zu kinds more", r->n_solids - MOST_ITEMS));
    }
}

/* Machines by how the whole part fits: the worst of its items. */
static const char *room(po_arena *a, const po_part_report *r)
{
    po_text out;
    po_text_init(&out, a);
    for (size_t m = 0; m < r->shop->n_machines; m++) {
        const po_fit *worst = NULL;
        for (size_t i = 0; i < r->n_solids && r->solids[i].fits != NULL; i++) {
            const po_fit *f = &r->solids[i].fits[m];
            int rank = f->as_is ? 0 : f->turned ? 1 : f->pose >= 0 ? 2 : 3;
            int now = worst == NULL ? -1 : worst->as_is ? 0 : worst->turned ? 1 : worst->pose >= 0 ? 2 : 3;
            worst = rank > now ? f : worst;
        }
        if (worst != NULL) {
            po_text_printf(&out, "%s%s: %s", out.n ? "; " : "", po_say_clean(a, r->shop->machines[m].name),
                           po_say_fit(a, worst));
        }
    }
    return out.n ? out.data : "not measured";
}

static void allowance(list *l, const po_part_report *r)
{
    po_arena *a = l->arena;
    double most = r->shop->rules.allowance_m_per_run * 1000;
    if (!(most > 0) || r->estimates == NULL || r->judged_estimate >= r->shop->n_recipes) {
        return;
    }
    const po_estimate *e = &r->estimates[r->judged_estimate];
    if (!isfinite(e->filament_mm)) {
        return;
    }
    if (e->filament_mm <= most) {
        add(l, "Allowance",
            po_arena_printf(a, "%s of the %s for one run (%s)", po_say_metres(a, e->filament_mm),
                            po_say_metres(a, most), po_say_clean(a, e->recipe->name)));
    } else {
        const char *scale = isfinite(r->allowance_scale)
                                ? po_arena_printf(a, "; at %s %% of its size it would meet it",
                                                  po_say_number(a, 100 * r->allowance_scale, 1))
                                : "";
        add(l, "Allowance",
            po_arena_printf(a, "%s, above the %s for one run (%s)%s", po_say_metres(a, e->filament_mm),
                            po_say_metres(a, most), po_say_clean(a, e->recipe->name), scale ? scale : ""));
    }
}

size_t po_part_fact_lines(const po_part_proof *proof, po_arena *a, po_fact_line *ret)
{
    list l = {.arena = a, .lines = ret};
    const po_part_report *r = proof->report;
    const po_part_totals *t = &r->totals;
    add(&l, "Holds", held(a, r));
    add(&l, "Size", size(a, t));
    add(&l, "Unit", unit(a, r));
    add(&l, "Volume",
        po_arena_printf(a, "%s cm3, surface %s cm2", po_say_number(a, t->volume_mm3 / 1000, 2),
                        po_say_number(a, t->area_mm2 / 100, 1)));
    add(&l, "Mesh", mesh(a, r));
    add(&l, "Faults", faults(a, t));
    if (r->n_solids > 0) {
        walls(&l, r);
        pose_lines(&l, r);
        add(&l, "Fits", room(a, r));
    }
    if (r->part->n_materials > 1) {
        add(&l, "Wants", po_arena_printf(a, "%u materials or colours", r->part->n_materials));
    }
    allowance(&l, r);
    item_lines(&l, r);
    for (size_t i = 0; i < r->n_notes; i++) {
        add(&l, i ? "" : "Not known", r->notes[i]);
    }
    for (size_t i = 0; i < r->part->n_notes && i < 6; i++) {
        add(&l, i ? "" : "Reading", po_say_clean(a, r->part->notes[i]));
    }
    return l.n;
}

size_t po_part_cautions(const po_part_proof *proof, const char **ret)
{
    size_t n = 0;
    for (size_t i = 0; i < proof->n_findings && n < PO_MOST_CAUTIONS - 1; i++) {
        const po_rule_info *rule = po_rule_find(proof->findings[i].name);
        bool again = false;
        for (size_t k = 0; k < n; k++) {
            again = again || (rule && rule->caution && !strcmp(ret[k], rule->caution));
        }
        if (rule && rule->caution && !again) {
            ret[n++] = rule->caution;
        }
    }
    const po_material *m = proof->report->material;
    if (m != NULL && m->bed_c.low >= 90) { /* as for jobs: handbook 9.3 */
        ret[n++] =
            "Fumes: print this material only with the ventilation or extraction that local rules and the maker's "
            "data sheet ask for.";
    }
    return n;
}
