/* A lane's sums and sightings, as one machine's report. SPDX-License-Identifier: Apache-2.0
 *
 * What each fact and sighting means stands in include/proveout/job.h and docs/measures.md. Here is what can only be said
 * once the job has ended: heat left on, an end that is missing, offsets left in force, readings that differ. */
#include "job/jobfacts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define SHIFT_MM 0.001 /* below this an origin is where it was */
#define MODE_RATIO 5.0 /* docs/measures.md, "feed-mode-doubtful" */
/* mean cross section of a job's beads: from hairs of a 0.15 mm nozzle to ropes of a 2 mm one */
#define LIKELY_LEAST_MM2 0.01
#define LIKELY_MOST_MM2 3.0
#define MODE_LEAST_MM 1.0 /* readings that feed less than this are no job either way */

static const po_heat_facts NO_HEAT = {NAN, NAN, NAN};

static po_place line_place(uint64_t line, const double at[3], double seconds)
{
    return po_place_at(line, at ? at[0] : NAN, at ? at[1] : NAN, at ? at[2] : NAN, seconds);
}

static const float *shares(po_arena *arena, const double *seconds, size_t n)
{
    double total = 0;
    for (size_t i = 0; seconds && i < n; i++) {
        total += seconds[i];
    }
    float *out = total > 0 ? po_arena_zeros(arena, n, sizeof *out) : NULL;
    for (size_t i = 0; out && i < n; i++) {
        out[i] = (float)(seconds[i] / total);
    }
    return out;
}

static po_span3 span_of(const po_box *b)
{
    po_span3 s;
    for (int a = 0; a < 3; a++) {
        bool any = b->min[a] <= b->max[a];
        s.min[a] = any ? b->min[a] : NAN;
        s.max[a] = any ? b->max[a] : NAN;
    }
    return s;
}

static bool is_harmless(const po_rules *rules, const char *word)
{
    for (size_t i = 0; i < rules->n_harmless_words; i++) {
        if (strcasecmp(rules->harmless_words[i], word) == 0) {
            return true;
        }
    }
    return false;
}

static int by_count(const void *a, const void *b)
{
    const po_word_count *p = a, *q = b;
    if (p->count != q->count) {
        return p->count > q->count ? -1 : 1;
    }
    return p->first_line < q->first_line ? -1 : p->first_line > q->first_line;
}

/* A list of words as one sighting, most frequent first; those that the shop knows as harmless are left out where asked.
 * Returns how many words, or SIZE_MAX when memory is gone. */
static size_t words(const po_word_list *list, const po_rules *rules, bool leave_out, po_arena *arena, po_sighting *s,
                    const po_word_count **ret_words)
{
    po_word_count *out = po_arena_zeros(arena, list->n + 1, sizeof *out);
    size_t n = 0, length = 1;
    if (!out) {
        return SIZE_MAX;
    }
    for (size_t i = 0; i < list->n; i++) {
        if (leave_out && is_harmless(rules, list->at[i].word)) {
            continue;
        }
        out[n].word = po_arena_text(arena, list->at[i].word);
        out[n].count = list->at[i].count;
        out[n].first_line = list->at[i].first_line;
        if (!out[n].word) {
            return SIZE_MAX;
        }
        length += strlen(out[n].word) + 2;
        const double at[3] = {list->at[i].x, list->at[i].y, list->at[i].z};
        po_place place = line_place(list->at[i].first_line, at, NAN);
        if (s->count == 0 || place.line < s->first.line) {
            s->first = place;
            s->worst_at = place;
        }
        s->count += out[n++].count;
    }
    if (n) {
        qsort(out, n, sizeof *out, by_count);
        char *text = po_arena_zeros(arena, length, 1);
        if (!text) {
            return SIZE_MAX;
        }
        size_t at = 0;
        for (size_t i = 0; i < n; i++) {
            at += (size_t)snprintf(text + at, length - at, "%s%s", i ? ", " : "", out[i].word);
        }
        s->text = text;
    }
    if (ret_words) {
        *ret_words = n ? out : NULL;
    }
    return n;
}

static bool file_words(const po_lane *lane, const po_rules *rules, po_arena *arena, po_job_report *r)
{
    const po_state *s = &lane->state;
    po_sighting *sights = r->sights;
    size_t n = words(&s->unknown, rules, true, arena, &sights[PO_SIGHT_UNKNOWN_WORD], &r->facts.unknown_words);
    bool ok = n != SIZE_MAX;
    r->facts.n_unknown_words = ok ? n : 0;
    ok = ok && words(&s->stores, rules, false, arena, &sights[PO_SIGHT_STORES_SETTINGS], NULL) != SIZE_MAX;
    ok = ok && words(&s->loosens, rules, false, arena, &sights[PO_SIGHT_LOOSENS_LIMITS], NULL) != SIZE_MAX;
    sights[PO_SIGHT_LOOSENS_LIMITS].worst = s->loosens_worst;
    po_word_list tunes = s->tunes;
    if (s->speed_factor != 1) {
        po_word_note(&tunes, "M220", 0, s->pos);
    }
    if (s->flow_factor != 1) {
        po_word_note(&tunes, "M221", 0, s->pos);
    }
    ok = ok && words(&tunes, rules, true, arena, &sights[PO_SIGHT_TUNES], NULL) != SIZE_MAX;
    po_sighting hands = {0};
    ok = ok && words(&s->hands, rules, false, arena, &hands, NULL) != SIZE_MAX;
    sights[PO_SIGHT_NEEDS_HANDS] = lane->clock.needs_hands;
    sights[PO_SIGHT_NEEDS_HANDS].text = hands.text;
    return ok;
}

static bool oddities(const po_lane *lane, po_arena *arena, po_job_report *r)
{
    static const po_sight sight_of[PO_ODD_COUNT] = {[PO_ODD_DAMAGED] = PO_SIGHT_DAMAGED,
                                                    [PO_ODD_BAD_ARC] = PO_SIGHT_BAD_ARC,
                                                    [PO_ODD_NOT_HOMED] = PO_SIGHT_NOT_HOMED,
                                                    [PO_ODD_NO_FEED] = PO_SIGHT_NO_FEED};
    for (int i = 0; i < PO_ODD_COUNT; i++) {
        const po_oddity *o = &lane->state.odd[i];
        po_sighting *s = &r->sights[sight_of[i]];
        if (o->count == 0) {
            continue;
        }
        s->count = o->count;
        s->first = line_place(o->first_line, o->first_at, lane->odd_first_s[i]);
        s->worst_at = line_place(o->worst_line, o->worst_at, lane->odd_worst_s[i]);
        s->worst = o->worst;
        /* an arc that merely misses its end point is told by its number */
        bool misses = i == PO_ODD_BAD_ARC && strncmp(o->text, "an arc with radius", 18) == 0;
        if (o->text[0] && !misses) {
            s->text = po_arena_text(arena, o->text);
            if (!s->text) {
                return false;
            }
        }
    }
    return true;
}

/* Filament under the two answers to "do G90 and G91 set E too". */
static void feed_mode(const po_lane *lane, double filament_mm, double extruding_mm, po_job_report *r)
{
    const po_state *s = &lane->state;
    if (!s->mode_matters) {
        return;
    }
    double own = s->reading.e_follows_g90 ? s->fed_if_follows : s->fed_if_not;
    double before = fmax(0, filament_mm - own); /* fed before they came to differ */
    double a = before + s->fed_if_follows, b = before + s->fed_if_not, high = fmax(a, b), low = fmin(a, b);
    double ratio = low > 0 ? high / low : INFINITY;
    if (high >= MODE_LEAST_MM && ratio > MODE_RATIO) {
        /* read the way of this machine, is it a bead that a nozzle could lay? */
        double area = extruding_mm > 0
                          ? filament_mm * M_PI / 4 * s->reading.filament_mm * s->reading.filament_mm / extruding_mm
                          : 0;
        bool likely = area >= LIKELY_LEAST_MM2 && area <= LIKELY_MOST_MM2;
        po_seen(&r->sights[PO_SIGHT_FEED_MODE], po_place_at(0, NAN, NAN, NAN, NAN), ratio, likely ? 0 : 1);
        r->sights[PO_SIGHT_GRINDS] = (po_sighting){0}; /* read the wrong way, filament seems to go back and forth */
    }
}

static void shifted_origin(const po_lane *lane, po_job_report *r)
{
    const po_state *s = &lane->state;
    double worst = 0;
    for (int a = 0; a < 3; a++) {
        worst = fmax(worst, fabs(s->shift[a]));
    }
    if (worst > SHIFT_MM) {
        po_seen(&r->sights[PO_SIGHT_SHIFTS_ORIGIN], line_place(s->last_line, s->pos, po_clock_now(&lane->clock)), worst,
                0);
    }
}

/* The end: what is still hot, and whether it is an end at all. */
static void ending(const po_lane *lane, size_t n_nozzles, const po_file_facts *file, po_job_report *r)
{
    const po_tally *t = &lane->tally;
    const po_state *s = &lane->state;
    po_job_facts *f = &r->facts;
    po_place end = line_place(s->last_line, s->pos, f->seconds);
    bool commanded = false, on = false;
    f->shutdown_nozzle_c = NAN;
    for (int k = 0; k < PO_TOOL_SLOTS; k++) {
        double c = t->tools[k].command_c;
        if (!isnan(c)) {
            commanded = true;
            on |= c > 0;
            f->shutdown_nozzle_c = fmax(f->shutdown_nozzle_c, c); /* fmax leaves NAN out */
            /* a tool that is not there may have taken the word that was meant for this one */
            if (c > 0 && (size_t)k < n_nozzles && r->sights[PO_SIGHT_NEEDS_TOOL].count == 0) {
                po_seen(&r->sights[PO_SIGHT_LEAVES_NOZZLE_ON], end, c, 0);
            }
        }
    }
    f->shutdown_bed_c = t->bed_command_c;
    if (t->bed_command_c > 0) {
        on = true;
        po_seen(&r->sights[PO_SIGHT_LEAVES_BED_ON], end, t->bed_command_c, 0);
    }
    f->job_ends = commanded && !on;
    bool ends = t->any_end_sign && t->end_signs >= t->last_bead;
    if (t->last_bead && ((!ends && !s->ended && (on || !commanded)) || file->last_broken)) {
        po_place at = file->last_broken ? end : line_place(t->last_bead_line, s->pos, f->seconds);
        at.line = file->last_broken ? file->last_line : at.line;
        po_seen(&r->sights[PO_SIGHT_CUT_SHORT], at, 0, 0);
    }
}

static bool tools(const po_lane *lane, const po_job_setup *setup, po_arena *arena, po_job_facts *f)
{
    const po_tally *t = &lane->tally;
    const size_t n_nozzles = setup->machine->n_nozzles < PO_MAX_TOOLS ? setup->machine->n_nozzles : PO_MAX_TOOLS;
    size_t n = 0;
    for (int k = 0; k < PO_TOOL_SLOTS; k++) {
        n += t->tools[k].used;
    }
    po_tool_facts *list = po_arena_zeros(arena, n + 1, sizeof *list);
    if (!list) {
        return false;
    }
    n = 0;
    for (int k = 0; k < PO_TOOL_SLOTS; k++) {
        const po_tool_tally *tool = &t->tools[k];
        if (!tool->used) {
            continue;
        }
        const po_material *m = setup->materials[(size_t)k < n_nozzles ? (size_t)k : n_nozzles - 1];
        po_tool_facts *to = &list[n++];
        to->tool = k;
        to->filament_mm = tool->most;
        to->filament_net_mm = tool->net;
        to->volume_mm3 = tool->most * M_PI / 4 * m->diameter_mm * m->diameter_mm;
        to->filament_g = to->volume_mm3 * m->density_g_cm3 / 1000;
        to->extruding_mm = tool->extruding;
        to->seconds = lane->clock.tool_seconds[k];
        to->nozzle_c = tool->nozzle_c;
        to->material = m->name;
        to->bead_width_mm = to->layer_height_mm = to->bead_area_mm2 = NAN;
        to->peak_flow_mm3_s = to->sustained_flow_mm3_s = NAN;
        to->nozzle_share = shares(arena, lane->clock.nozzle_share[k], PO_C_BINS);
        f->filament_mm += to->filament_mm;
        f->filament_net_mm += to->filament_net_mm;
        f->volume_mm3 += to->volume_mm3;
        f->filament_g += to->filament_g;
        f->extruding_mm += to->extruding_mm;
    }
    f->tools = list;
    f->n_tools = n;
    return true;
}

static bool hands(const po_clock *c, po_arena *arena, po_job_facts *f)
{
    po_hands *list = po_arena_zeros(arena, c->n_hands + 1, sizeof *list);
    if (!list) {
        return false;
    }
    for (size_t i = 0; i < c->n_hands; i++) {
        list[i] = c->hands[i];
        list[i].word = po_arena_text(arena, c->hands_words[i]);
        if (!list[i].word) {
            return false;
        }
    }
    f->hands = list;
    f->n_hands = c->n_hands;
    return true;
}

static void without_deposit(po_job_facts *f)
{
    double *none[] = {&f->first_bead_seconds,
                      &f->first_layer_seconds,
                      &f->layer_height_mm,
                      &f->first_layer_height_mm,
                      &f->first_layer_mm_s,
                      &f->bead_width_mm,
                      &f->peak_flow_mm3_s,
                      &f->sustained_flow_mm3_s,
                      &f->foothold_mm2,
                      &f->on_air_mm,
                      &f->across_gap_mm,
                      &f->over_fill_mm,
                      &f->longest_bridge_mm,
                      &f->overhang_mm,
                      &f->fill_fraction,
                      &f->walls,
                      &f->roofs,
                      &f->floors,
                      &f->raster_mm,
                      &f->usual_bead_mm_s};
    for (size_t i = 0; i < sizeof none / sizeof *none; i++) {
        *none[i] = NAN;
    }
    for (int a = 0; a < 3; a++) {
        f->bounds_mm.min[a] = f->bounds_mm.max[a] = NAN;
    }
}

po_job_report *po_report_new(const po_lane *lane, size_t machine, const po_file_facts *file, po_arena *arena)
{
    const po_tally *t = &lane->tally;
    const po_clock *c = &lane->clock;
    const po_machine_tally *on = &t->machines[machine];
    const po_job_setup *setup = on->setup;
    po_job_report *r = po_arena_zeros(arena, 1, sizeof *r);
    if (!r) {
        return NULL;
    }
    r->machine = setup->machine;
    r->n_materials = setup->machine->n_nozzles < PO_MAX_TOOLS ? setup->machine->n_nozzles : PO_MAX_TOOLS;
    memcpy(r->materials, setup->materials, r->n_materials * sizeof *r->materials);
    memcpy(r->sha256, file->sha256, sizeof r->sha256);
    po_job_facts *f = &r->facts;
    without_deposit(f);
    f->bytes = file->bytes;
    f->lines = file->lines;
    f->moves = t->n_counted;
    f->retractions = t->n_retractions;
    f->motion_seconds = c->motion;
    f->heat_seconds = c->heat;
    f->wait_seconds = c->wait;
    f->seconds = po_clock_now(c);
    f->bounds_all_mm = span_of(&t->beads);
    f->travel_bounds_mm = span_of(&t->travels);
    f->nozzle_c = t->any_bead ? t->nozzle_c : NO_HEAT;
    f->bed_c = t->any_bead ? t->bed_c : NO_HEAT;
    f->fan_percent = t->any_bead ? t->fan_percent : NO_HEAT;
    f->bed_share = shares(arena, c->bed_share, PO_C_BINS);
    f->travel_mm = t->travel_mm;
    f->last_bed_c = c->last_bed_c;
    memcpy(f->end_xyz_mm, lane->state.pos, sizeof f->end_xyz_mm);
    f->sets_units = lane->sets_units;
    f->sets_mode = lane->sets_mode;
    f->homes = t->homes;
    f->probes = t->probes;
    for (int s = 0; s < PO_SIGHT_COUNT; s++) {
        r->sights[s] = on->sights[s].count ? on->sights[s] : t->sights[s];
    }
    r->sights[PO_SIGHT_REACH_PARKING] = on->parking;
    r->sights[PO_SIGHT_PUSHES_COLD].worst *= -1; /* counted by the lowest */
    r->sights[PO_SIGHT_SITS_HOT] = c->sits_hot;
    r->sights[PO_SIGHT_NO_BED_WAIT] = c->no_bed_wait;
    for (size_t k = 0; k < setup->machine->n_nozzles && k < PO_TOOL_SLOTS; k++) {
        const po_sighting *s = &c->no_nozzle_wait[k];
        if (s->count) {
            po_seen(&r->sights[PO_SIGHT_NO_NOZZLE_WAIT], s->first, s->worst, 0);
        }
    }
    /* of these only the worst is of interest: short stays and ordinary retractions are counted as well */
    r->sights[PO_SIGHT_RETRACTS_FAR].first = r->sights[PO_SIGHT_RETRACTS_FAR].worst_at;
    r->sights[PO_SIGHT_SITS_HOT].first = r->sights[PO_SIGHT_SITS_HOT].worst_at;
    if (t->any_bead && !t->probed && setup->machine->heat.probe_seconds > 0) {
        po_seen(&r->sights[PO_SIGHT_SKIPS_PROBE], po_place_at(0, NAN, NAN, NAN, NAN), 0, 0);
    }
    po_sighting *needs = &r->sights[PO_SIGHT_NEEDS_TOOL];
    if (needs->count) {
        needs->text = po_arena_printf(arena, "T%.0f", needs->worst);
    } else if (t->heated_tool >= 0 && (size_t)t->heated_tool >= setup->machine->n_nozzles) {
        po_seen(&r->sights[PO_SIGHT_HEATS_TOOL], po_place_at(t->heated_line, NAN, NAN, NAN, NAN), t->heated_tool, 0);
    }
    if (!tools(lane, setup, arena, f) || !hands(c, arena, f) || !oddities(lane, arena, r) ||
        !file_words(lane, setup->rules, arena, r)) {
        return NULL;
    }
    feed_mode(lane, f->filament_mm, f->extruding_mm, r);
    shifted_origin(lane, r);
    ending(lane, setup->machine->n_nozzles, file, r);
    return r;
}

double po_share_outside(const float *share, size_t n_bins, double bin_size, double low, double high)
{
    double sum = 0;
    for (size_t i = 0; share && i < n_bins; i++) {
        double a = (double)i * bin_size, b = a + bin_size;
        if (b <= low + 1e-9 * bin_size || a > high + 1e-9 * bin_size) { /* a bin that the band touches is within it */
            sum += (double)share[i];
        }
    }
    return sum;
}
