/* What was measured, line by line for people, and the cautions that go with it. SPDX-License-Identifier: Apache-2.0
 *
 * A fact without a value is said in words ("not commanded", "not measured"), never left out and never shown as zero. */
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

static const char *heat(po_arena *arena, const po_heat_facts *h, const char *unit)
{
    if (!isfinite(h->first)) {
        return "not commanded";
    }
    const char *first = po_say_number(arena, h->first, 0);
    if (!(h->highest - h->lowest > 0.5)) {
        return po_arena_printf(arena, "%s %s", first, unit);
    }
    return po_arena_printf(arena, "%s %s at first, then %s to %s %s", first, unit, po_say_number(arena, h->lowest, 0),
                           po_say_number(arena, h->highest, 0), unit);
}

static const char *size(po_arena *arena, const po_span3 *b)
{
    if (!isfinite(b->min[0])) {
        return "no bead";
    }
    return po_arena_printf(arena, "%s x %s mm, %s mm tall", po_say_number(arena, b->max[0] - b->min[0], 1),
                           po_say_number(arena, b->max[1] - b->min[1], 1), po_say_number(arena, b->max[2], 1));
}

static const char *bounds(po_arena *arena, const po_span3 *b)
{
    if (!isfinite(b->min[0])) {
        return "none";
    }
    return po_arena_printf(arena, "x %s to %s, y %s to %s mm", po_say_number(arena, b->min[0], 1),
                           po_say_number(arena, b->max[0], 1), po_say_number(arena, b->min[1], 1),
                           po_say_number(arena, b->max[1], 1));
}

static const char *makeup(po_arena *arena, const po_job_facts *f)
{
    if (!f->deposit_done) {
        return "not measured";
    }
    const char *walls = isfinite(f->walls) ? po_arena_printf(arena, "%s wall loop%s", po_say_number(arena, f->walls, 1),
                                                             fabs(f->walls - 1) < 0.05 ? "" : "s")
                                           : "wall loops not clear";
    const char *fill = isfinite(f->fill_fraction)
                           ? po_arena_printf(arena, "fill %s %%", po_say_number(arena, f->fill_fraction * 100, 0))
                           : "no open fill";
    const char *close = isfinite(f->floors) && isfinite(f->roofs)
                            ? po_arena_printf(arena, ", %s floors, %s roofs", po_say_number(arena, f->floors, 1),
                                              po_say_number(arena, f->roofs, 1))
                            : "";
    return po_arena_printf(arena, "%s, %s%s", walls ? walls : "", fill ? fill : "", close ? close : "");
}

static void deposit_lines(list *l, const po_job_facts *f)
{
    po_arena *a = l->arena;
    if (!f->deposit_done) {
        add(l, "Where material lies", "not measured");
        return;
    }
    size_t aids = 0;
    for (size_t i = 0; i < f->n_parts; i++) {
        aids += f->parts[i].aid;
    }
    add(l, "Parts",
        po_arena_printf(a, "%zu%s%s", f->n_parts - aids,
                        aids ? po_arena_printf(a, " and %zu aid%s", aids, aids == 1 ? "" : "s") : "",
                        f->in_turn ? ", finished one after another" : ""));
    add(l, "Footholds",
        f->footholds ? po_arena_printf(a, "%d, %s mm2 in all", f->footholds, po_say_number(a, f->foothold_mm2, 0))
                     : "none");
    add(l, "Bridges",
        f->bridge_count
            ? po_arena_printf(a, "%d, the longest %s mm", f->bridge_count, po_say_number(a, f->longest_bridge_mm, 1))
            : "none");
    add(l, "Overhangs", f->overhang_mm > 0 ? po_say_or(a, f->overhang_mm, 1, "mm of bead", "none") : "none");
    add(l, "On air", f->on_air_mm > 0 ? po_say_or(a, f->on_air_mm, 1, "mm of bead", "none") : "none");
    add(l, "Over a small gap", f->across_gap_mm > 0 ? po_say_or(a, f->across_gap_mm, 1, "mm of bead", "none") : "none");
    add(l, "Over open fill",
        f->over_fill_mm > 0 ? po_say_or(a, f->over_fill_mm, 0, "mm of bead (ordinary)", "none") : "none");
}

/* "bracket.stl: 2 of 2 found; turned 90 degrees" */
static const char *against(po_arena *arena, const po_against *of)
{
    uint32_t wanted = 0, found = 0;
    const po_match *best = NULL;
    for (size_t i = 0; i < of->n_solids; i++) {
        wanted += of->solids[i].wanted;
        found += of->solids[i].found;
        best = best == NULL && of->solids[i].found > 0 ? &of->solids[i].best : best;
    }
    const char *name = po_say_clean(arena, of->part);
    if (best == NULL) {
        return po_arena_printf(arena, "%s: not found", name);
    }
    const char *scale = fabs(best->scale - 1) > 0.0005
                            ? po_arena_printf(arena, ", at %s %%", po_say_number(arena, 100 * best->scale, 1))
                            : "";
    const char *turn = best->turn_deg == 0
                           ? "not turned"
                           : po_arena_printf(arena, "turned %s degrees", po_say_number(arena, best->turn_deg, 1));
    return po_arena_printf(arena, "%s: %u of %u found%s%s; %s", name, found, wanted, scale ? scale : "",
                           best->mirrored ? ", mirrored" : "", turn ? turn : "");
}

size_t po_fact_lines(const po_proof *proof, po_arena *a, po_fact_line *ret)
{
    list l = {.arena = a, .lines = ret};
    const po_job_report *r = proof->report;
    const po_job_facts *f = &r->facts;

    add(&l, "Filament", po_arena_printf(a, "%s of %s", po_say_metres(a, f->filament_mm), po_say_materials(a, r)));
    add(&l, "Mass",
        po_arena_printf(a, "%s (%s cm3)", po_say_grams(a, f->filament_g), po_say_number(a, f->volume_mm3 / 1000, 1)));
    if (isfinite(proof->seconds.low) && isfinite(proof->filament_mm.low)) {
        add(&l, "Likely range",
            po_arena_printf(a, "%s to %s; %s to %s (%s)", po_say_metres(a, proof->filament_mm.low),
                            po_say_metres(a, proof->filament_mm.high), po_say_time(a, proof->seconds.low),
                            po_say_time(a, proof->seconds.high), proof->ranges_from ? proof->ranges_from : "model"));
    }
    for (size_t i = 0; f->n_tools > 1 && i < f->n_tools; i++) {
        const po_tool_facts *t = &f->tools[i];
        add(&l, po_arena_printf(a, "Tool %d", t->tool),
            po_arena_printf(a, "%s, %s, %s", t->material ? po_say_clean(a, t->material) : "no material",
                            po_say_metres(a, t->filament_mm), po_say_grams(a, t->filament_g)));
    }
    add(&l, "Time", po_say_time(a, f->seconds));
    add(&l, "of which",
        po_arena_printf(a, "moving %s, heating %s, waiting %s", po_say_time(a, f->motion_seconds),
                        po_say_time(a, f->heat_seconds), po_say_time(a, f->wait_seconds)));
    add(&l, "First bead",
        isfinite(f->first_bead_seconds) ? po_arena_printf(a, "after %s", po_say_time(a, f->first_bead_seconds))
                                        : "none");
    add(&l, "First layer down",
        isfinite(f->first_layer_seconds) ? po_arena_printf(a, "after %s", po_say_time(a, f->first_layer_seconds))
                                         : "none");
    add(&l, "Watch",
        isfinite(proof->watch_seconds)
            ? po_arena_printf(a, "%s from the first bead", po_say_time(a, proof->watch_seconds))
            : "none");
    add(&l, "Cool enough",
        isfinite(proof->cool_seconds) ? po_arena_printf(a, "%s after the end", po_say_time(a, proof->cool_seconds))
                                      : "the bed was never heated");
    add(&l, "Size", size(a, &f->bounds_mm));
    add(&l, "Place", bounds(a, &f->bounds_mm));
    add(&l, "Layers",
        f->layers > 0 ? po_arena_printf(a, "%d%s of %s, the first %s", f->layers,
                                        f->continuous ? " turns climbing without a break," : "",
                                        po_say_or(a, f->layer_height_mm, 2, "mm", "unclear height"),
                                        po_say_or(a, f->first_layer_height_mm, 2, "mm", "unclear"))
                      : "none");
    add(&l, "Bead width", po_say_or(a, f->bead_width_mm, 2, "mm", "not clear"));
    add(&l, "Made of", makeup(a, f));
    if (proof->against) {
        add(&l, "Held against", against(a, proof->against));
    }
    add(&l, "Nearest recipe", proof->recipe ? po_say_clean(a, proof->recipe->name) : "none is near");
    add(&l, "Nozzle", heat(a, &f->nozzle_c, "C"));
    add(&l, "Bed", heat(a, &f->bed_c, "C"));
    add(&l, "Fan", heat(a, &f->fan_percent, "%"));
    add(&l, "Flow",
        isfinite(f->peak_flow_mm3_s)
            ? po_arena_printf(a, "peak %s, sustained %s mm3/s", po_say_number(a, f->peak_flow_mm3_s, 1),
                              po_say_number(a, f->sustained_flow_mm3_s, 1))
            : "no bead");
    add(&l, "Retractions", po_arena_printf(a, "%llu", (unsigned long long)f->retractions));
    add(&l, "Path",
        po_arena_printf(a, "%s m of bead, %s m of travel, %llu moves", po_say_number(a, f->extruding_mm / 1000, 1),
                        po_say_number(a, f->travel_mm / 1000, 1), (unsigned long long)f->moves));
    deposit_lines(&l, f);
    return l.n;
}

static bool found(const po_proof *proof, const char *const *names)
{
    for (size_t i = 0; i < proof->n_findings; i++) {
        for (size_t k = 0; names[k]; k++) {
            if (!strcmp(proof->findings[i].name, names[k])) {
                return true;
            }
        }
    }
    return false;
}

static void caution(const char **ret, size_t *n, const char *text)
{
    for (size_t i = 0; i < *n; i++) {
        if (!strcmp(ret[i], text)) {
            return;
        }
    }
    if (*n < PO_MOST_CAUTIONS) {
        ret[(*n)++] = text;
    }
}

size_t po_cautions(const po_proof *proof, const po_shop *shop, const char **ret)
{
    static const char *const HEAT[] = {"pushes-cold",     "beyond-rating",  "no-heat-wait",
                                       "leaves-heat-on",  "sits-hot",       "nozzle-out-of-band",
                                       "bed-out-of-band", "melts-too-fast", NULL};
    static const char *const HANDS[] = {"needs-hands", "hands-when-closed", "parks-on-part", "small-foothold",
                                        "tips-over",   "may-lift",          "prints-on-air", NULL};
    static const char *const ALONE[] = {"leaves-heat-on",    "too-long",   "ends-unstaffed",
                                        "hands-when-closed", "runs-alone", NULL};
    const po_job_facts *f = &proof->report->facts;
    size_t n = 0;
    if (found(proof, HEAT)) {
        caution(ret, &n,
                "Hot parts: the nozzle burns at once, and the bed stays hot after the end. Keep hands off "
                "until both are cool. Local rules and the maker's instructions come first.");
    }
    if (found(proof, HANDS)) {
        caution(ret, &n,
                "Moving parts: reach in only once the machine stands still and as its maker's instructions "
                "allow; the nozzle may still be hot.");
    }
    bool alone = found(proof, ALONE);
    if (proof->start_known && shop) {
        alone = alone || !po_shop_staffed(shop, proof->end);
    }
    if (alone) {
        caution(ret, &n,
                "Unattended running: leave a heated machine alone only where local rules, the insurer and "
                "the maker's instructions allow it, with a working smoke alarm.");
    }
    bool fumes = false;
    for (size_t i = 0; i < f->n_tools; i++) {
        size_t tool = (size_t)f->tools[i].tool;
        const po_material *material = f->tools[i].tool >= 0 && tool < proof->report->n_materials
                                          ? proof->report->materials[tool]
                                          : NULL;
        /* Plastics that need a hot bed give off most: handbook 9.3 (common practice: asa, abs, pa, pc). */
        fumes = fumes || (material && material->bed_c.low >= 90 && f->tools[i].filament_mm > 0);
    }
    if (fumes) {
        caution(ret, &n,
                "Fumes: print this material only with the ventilation or extraction that local rules and "
                "the maker's data sheet ask for.");
    }
    for (size_t i = 0; i < proof->n_findings && !n; i++) {
        const po_rule_info *rule = po_rule_find(proof->findings[i].name);
        if (rule && rule->caution) {
            caution(ret, &n, rule->caution);
        }
    }
    return n;
}
