/* What a layout takes, who has which share, and what there is to say about it. SPDX-License-Identifier: Apache-2.0 */
#include "work/bedful.h"

#include <math.h>
#include <string.h>

work_bedful_load work_bedful_load_of(const work_bedfuls *b, const po_bedful *bed)
{
    work_bedful_load load = {0};
    double once_mm = 0, once_s = 0, density = 0;
    for (size_t i = 0; i < bed->n_places; i++) {
        const work_bedful_part *p = &b->parts[bed->places[i].part];
        if (!p->estimated) {
            return (work_bedful_load){NAN, NAN, NAN};
        }
        load.filament_mm += p->estimate.filament_mm - p->estimate.once_mm;
        load.seconds += p->estimate.seconds - p->estimate.once_seconds;
        once_mm = fmax(once_mm, p->estimate.once_mm);
        once_s = fmax(once_s, p->estimate.once_seconds);
        density = p->estimate.filament_mm > 0 ? p->estimate.filament_g / p->estimate.filament_mm : density;
    }
    load.filament_mm += once_mm;
    load.seconds += once_s;
    load.filament_g = load.filament_mm * density;
    return load;
}

size_t work_bedful_shares(const work_bedfuls *b, const po_bedful *bed, const char **members, double *mm, size_t most)
{
    size_t n = 0;
    double own = 0, all = work_bedful_load_of(b, bed).filament_mm;
    for (size_t i = 0; i < bed->n_places; i++) {
        const work_bedful_part *p = &b->parts[bed->places[i].part];
        const char *member = p->member ? p->member : "";
        size_t k = 0;
        while (k < n && strcmp(members[k], member) != 0) {
            k++;
        }
        if (k == most) {
            continue;
        }
        if (k == n) {
            members[n] = member;
            mm[n++] = 0;
        }
        mm[k] += p->estimate.filament_mm - p->estimate.once_mm;
        own += p->estimate.filament_mm - p->estimate.once_mm;
    }
    for (size_t k = 0; k < n; k++) {
        mm[k] *= own > 0 ? all / own : 1;
    }
    return n;
}

static void say(work_bedfuls *b, const char *name, po_grade grade, const char *says, const char *todo)
{
    if (b->n_findings < WORK_BEDFUL_FINDINGS) {
        size_t at = b->n_findings++;
        while (at > 0 && b->findings[at - 1].grade < grade) {
            b->findings[at] = b->findings[at - 1];
            at--;
        }
        b->findings[at] = (work_bedful_finding){name, says ? says : "memory ran out", todo, grade};
    }
}

/* The shop may grade a finding otherwise. */
static po_grade graded(const work_bedfuls *b, const char *name, po_grade grade)
{
    for (size_t i = 0; i < b->shop->rules.n_grades; i++) {
        grade = strcmp(b->shop->rules.grades[i].finding, name) == 0 ? b->shop->rules.grades[i].grade : grade;
    }
    return grade;
}

static void judge_bed(work_bedfuls *b, size_t at)
{
    const po_bedful *bed = &b->nest.bedfuls[at];
    const po_rules *rules = &b->shop->rules;
    const char *members[WORK_BEDFUL_PARTS];
    double mm[WORK_BEDFUL_PARTS];
    work_bedful_load load = work_bedful_load_of(b, bed);
    po_grade grade = graded(b, "over-allowance", PO_GRADE_ASK);
    size_t n = isnan(load.filament_mm) ? 0 : work_bedful_shares(b, bed, members, mm, WORK_BEDFUL_PARTS);
    for (size_t k = 0; k < n && grade != PO_GRADE_OFF; k++) {
        if (rules->allowance_m_per_run > 0 && mm[k] > 1000 * rules->allowance_m_per_run) {
            say(b, "over-allowance", grade,
                po_arena_printf(b->arena,
                                "bedful %zu takes %.1f m of filament%s%s; the allowance for one run is %.0f m", at + 1,
                                mm[k] / 1000, *members[k] ? " for " : "", members[k], rules->allowance_m_per_run),
                "lay out fewer copies, or ask the desk for a waiver before the run is handed out");
        }
    }
    grade = graded(b, "too-long", PO_GRADE_ASK);
    if (grade != PO_GRADE_OFF && rules->longest_run_hours > 0 && load.seconds > 3600 * rules->longest_run_hours) {
        say(b, "too-long", grade,
            po_arena_printf(b->arena, "bedful %zu runs for about %.0f hours; the shop allows %.0f", at + 1,
                            load.seconds / 3600, rules->longest_run_hours),
            "lay out fewer copies at a time");
    }
}

void work_bedful_judge(work_bedfuls *b)
{
    for (size_t i = 0; i < b->nest.n_left_out; i++) {
        const po_left_out *l = &b->nest.left_out[i];
        say(b, "too-big", PO_GRADE_STOP,
            po_arena_printf(b->arena, "%s (%u %s) %s", b->parts[l->part].label, l->copies,
                            l->copies == 1 ? "copy" : "copies", l->why),
            "choose a larger machine, another way up (--find-pose), or cut it (proveout pieces)");
    }
    for (size_t i = 0; i < b->nest.n_bedfuls; i++) {
        judge_bed(b, i);
    }
    if (b->nest.ended_early) {
        say(b, "ended-early", PO_GRADE_NOTE,
            "the search was ended before its time; every bedful here is sound all the same",
            "run it again with more --seconds if fewer bedfuls would help");
    }
}
