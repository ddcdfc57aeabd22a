/* How rules speak: findings, numbers as text, shares of histograms, the job's clock. SPDX-License-Identifier: Apache-2.0
 *
 * Numbers are written with a point and a unit, rounded to what a person at the desk can use. Nothing here decides. */
#include "proof/judge.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const char *kept(po_judging *j, const char *text)
{
    if (text == NULL) {
        j->failed = true;
        return "";
    }
    return text;
}

static PO_PRINTF(4, 0) po_finding *say_v(po_judging *j, po_grade grade, const char *todo, const char *format,
                                         va_list args)
{
    char line[512];
    int n = vsnprintf(line, sizeof line, format, args);
    if (n < 0) {
        line[0] = '\0';
    }
    const char *says = po_arena_text(j->arena, line);
    if (says == NULL) {
        j->failed = true;
        return NULL;
    }
    po_finding *f = &j->findings[j->n_findings++];
    *f = (po_finding){.name = j->rule->name,
                      .grade = grade,
                      .default_grade = grade,
                      .says = says,
                      .todo = todo,
                      .count = 1,
                      .sight = PO_SIGHT_COUNT,
                      .solid = UINT32_MAX};
    f->where.x = f->where.y = f->where.z = f->where.seconds = NAN;
    f->worst = f->where;
    return f;
}

po_finding *po_say(po_judging *j, po_grade grade, const char *todo, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    po_finding *f = say_v(j, grade, todo, format, args);
    va_end(args);
    return f;
}

po_finding *po_say_seen(po_judging *j, po_grade grade, po_sight sight, const char *todo, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    po_finding *f = say_v(j, grade, todo, format, args);
    va_end(args);
    po_say_places(j, f, sight);
    return f;
}

void po_say_places(const po_judging *j, po_finding *f, po_sight sight)
{
    const po_sighting *s = po_seen(j, sight);
    if (f == NULL || s == NULL) {
        return;
    }
    f->count = s->count;
    f->where = s->first;
    f->worst = s->worst_at.known ? s->worst_at : s->first;
    f->sight = sight;
}

const po_sighting *po_seen(const po_judging *j, po_sight sight)
{
    const po_sighting *s = &j->report->sights[sight];
    return s->count > 0 ? s : NULL;
}

const po_sighting *po_seen_above(const po_judging *j, po_sight sight, double above)
{
    const po_sighting *s = po_seen(j, sight);
    return s != NULL && (isnan(s->worst) || s->worst > above) ? s : NULL;
}

const char *po_mm_text(po_judging *j, double mm)
{
    if (isnan(mm)) {
        return "an unknown length";
    }
    double size = fabs(mm);
    if (size >= 1e7) {
        return "over 10 km"; /* absurd numbers stay short */
    }
    return kept(j, po_arena_printf(j->arena, "%.*f mm", size < 1 ? 2 : size < 100 ? 1 : 0, mm));
}

const char *po_metres_text(po_judging *j, double mm)
{
    if (isnan(mm)) {
        return "an unknown length";
    }
    double m = mm / 1000;
    if (fabs(m) >= 1e6) {
        return "over 1000 km";
    }
    return kept(j, po_arena_printf(j->arena, "%.*f m", fabs(m) < 0.1 ? 2 : 1, m));
}

const char *po_time_text(po_judging *j, double seconds)
{
    if (isnan(seconds)) {
        return "an unknown time";
    }
    if (seconds < 90) {
        return kept(j, po_arena_printf(j->arena, "%.0f s", fmax(seconds, 0)));
    }
    double minutes = floor(seconds / 60 + 0.5);
    if (minutes >= 1e6 * 60) {
        return "over a million hours";
    }
    if (minutes < 60) {
        return kept(j, po_arena_printf(j->arena, "%.0f min", minutes));
    }
    double hours = floor(minutes / 60), rest = minutes - 60 * hours;
    if (rest < 0.5) {
        return kept(j, po_arena_printf(j->arena, "%.0f h", hours));
    }
    return kept(j, po_arena_printf(j->arena, "%.0f h %.0f min", hours, rest));
}

/* A height, to the hundredth where that is not nought: layers are told apart by it. */
static const char *height_text(po_judging *j, double z)
{
    if (isnan(z) || fabs(z) >= 1000 || fabs(z * 10 - nearbyint(z * 10)) < 0.05) {
        return po_mm_text(j, z);
    }
    return kept(j, po_arena_printf(j->arena, "%.2f mm", z));
}

const char *po_place_text(po_judging *j, const po_place *at)
{
    if (!at->known || isnan(at->z)) {
        return "";
    }
    if (isnan(at->x) || isnan(at->y) || fabs(at->x) > 1e5 || fabs(at->y) > 1e5) {
        return kept(j, po_arena_printf(j->arena, " (%s up)", height_text(j, at->z)));
    }
    return kept(
        j, po_arena_printf(j->arena, " (at x %.0f, y %.0f, %s up)", at->x + 0.0, at->y + 0.0, height_text(j, at->z)));
}

const char *po_short_text(po_judging *j, const char *text)
{
    enum { MOST = 60 };
    if (text == NULL || text[0] == '\0') {
        return "?";
    }
    size_t n = strlen(text);
    if (n <= MOST && text[n - 1] != '.') {
        return text;
    }
    if (n <= MOST) {
        return kept(j, po_arena_printf(j->arena, "%.*s", (int)n - 1, text)); /* the sentence brings its own end */
    }
    n = MOST - 3;
    while (n > 0 && ((unsigned char)text[n] & 0xC0) == 0x80) {
        n--; /* not within a UTF-8 letter */
    }
    return kept(j, po_arena_printf(j->arena, "%.*s...", (int)n, text));
}

bool po_clock_at(const po_proof_context *context, double seconds_into_job, po_wall_time *ret_t)
{
    /* 400 years: the calendar's own arithmetic is in long minutes, absurd jobs must not overflow it */
    if (!context->start_known || !(seconds_into_job >= 0) || seconds_into_job > 400 * 365.25 * 86400) {
        return false;
    }
    long minutes = (long)ceil(seconds_into_job / 60 - 1e-9);
    for (size_t i = 0; context->when != NULL && i < context->when->n_shifts; i++) {
        minutes += seconds_into_job >= context->when->shifts[i].after_seconds ? context->when->shifts[i].minutes : 0;
    }
    *ret_t = po_wall_add(context->start, minutes);
    return true;
}

const char *po_clock_text(po_judging *j, double seconds_into_job)
{
    po_wall_time t;
    if (!po_clock_at(j->context, seconds_into_job, &t)) {
        return "";
    }
    /* where a calendar was asked it knows of more closures, and hands-when-closed says so */
    const char *away = j->context->when != NULL || po_shop_staffed(j->shop, t) ? "" : ", nobody at the desk";
    if (po_wall_add(t, 0).date.day != j->context->start.date.day) {
        static const char *const days[] = {"Monday", "Tuesday",  "Wednesday", "Thursday",
                                           "Friday", "Saturday", "Sunday"};
        return kept(j, po_arena_printf(j->arena, " (about %d:%02d on %s%s)", t.minute / 60, t.minute % 60,
                                       days[po_weekday(t.date) % 7], away));
    }
    return kept(j, po_arena_printf(j->arena, " (about %d:%02d%s)", t.minute / 60, t.minute % 60, away));
}

static double share_sum(const float *shares, size_t n_bins)
{
    double sum = 0;
    for (size_t i = 0; i < n_bins; i++) {
        sum += shares[i];
    }
    return sum;
}

double po_share_below(const float *shares, size_t n_bins, double bin_size, double low)
{
    if (shares == NULL) {
        return 0;
    }
    double below = 0, all = share_sum(shares, n_bins);
    for (size_t i = 0; i < n_bins && ((double)i + 1) * bin_size <= low + 1e-9 * bin_size; i++) {
        below += shares[i];
    }
    return all > 0 ? below / all : 0;
}

double po_share_above(const float *shares, size_t n_bins, double bin_size, double high)
{
    if (shares == NULL) {
        return 0;
    }
    double above = 0, all = share_sum(shares, n_bins);
    for (size_t i = n_bins; i-- > 0 && (double)i * bin_size > high + 1e-9 * bin_size;) {
        above += shares[i];
    }
    return all > 0 ? above / all : 0;
}

bool po_tool_used(const po_tool_facts *tool)
{
    return tool->extruding_mm > 0;
}

const po_tool_facts *po_main_tool(const po_judging *j)
{
    const po_tool_facts *best = NULL;
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        if (po_tool_used(tool) && (best == NULL || tool->filament_mm > best->filament_mm)) {
            best = tool;
        }
    }
    return best;
}

const po_nozzle *po_tool_nozzle(const po_judging *j, const po_tool_facts *tool)
{
    return tool->tool >= 0 && (size_t)tool->tool < j->machine->n_nozzles ? &j->machine->nozzles[tool->tool] : NULL;
}

const po_material *po_tool_material(const po_judging *j, const po_tool_facts *tool)
{
    return tool->tool >= 0 && (size_t)tool->tool < j->report->n_materials ? j->report->materials[tool->tool] : NULL;
}

const char *po_tool_text(po_judging *j, const po_tool_facts *tool)
{
    return j->machine->n_nozzles < 2 ? "" : kept(j, po_arena_printf(j->arena, " of tool %d", tool->tool));
}
