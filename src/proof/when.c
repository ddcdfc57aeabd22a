/* Rules about the clock: is somebody there when the job needs them. SPDX-License-Identifier: Apache-2.0
 *
 * Only for a job whose start is known, and where a calendar was asked (po_proof_context.when): it has the closures, the breaks and
 * the changes of the clocks. Ends and hands are judged as expected: a range that reaches past closing is no finding. */
#include "proof/judge.h"

static bool same_day(po_date a, po_date b)
{
    return a.day == b.day && a.month == b.month && a.year == b.year;
}

/* "20:16", "10:00 on Tuesday", "10:00 on 2027-01-04": as much as is needed, seen from the start. */
static const char *clock_of(po_judging *j, po_wall_time t)
{
    static const char *const days[] = {"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"};
    po_wall_time week = po_wall_add(j->context->start, 6 * 1440L);
    const char *text;
    if (same_day(t.date, j->context->start.date)) {
        text = po_arena_printf(j->arena, "%d:%02d", t.minute / 60, t.minute % 60);
    } else if (t.date.year * 10000L + t.date.month * 100 + t.date.day <=
               week.date.year * 10000L + week.date.month * 100 + week.date.day) {
        text = po_arena_printf(j->arena, "%d:%02d on %s", t.minute / 60, t.minute % 60, days[po_weekday(t.date)]);
    } else {
        text = po_arena_printf(j->arena, "%d:%02d on %04d-%02d-%02d", t.minute / 60, t.minute % 60, t.date.year,
                               t.date.month, t.date.day);
    }
    j->failed |= text == NULL;
    return text ? text : "";
}

static const char *start_at(po_judging *j, const char *otherwise)
{
    const po_when *w = j->context->when;
    const char *text = w->better_known
                           ? po_arena_printf(j->arena, "Start at %s, or %s.", clock_of(j, w->better), otherwise)
                           : po_arena_printf(j->arena, "Start at another time, or %s.", otherwise);
    j->failed |= text == NULL;
    return text ? text : "";
}

void po_judge_watch_past_closing(po_judging *j)
{
    const po_when *w = j->context->when;
    if (w == NULL || w->watched) {
        return;
    }
    const char *todo = start_at(j, "agree who stays for heating and watch");
    if (w->open_at_start) {
        po_say(j, PO_GRADE_ASK, todo, "The desk closes or breaks at %s, and heating and watch last until about %s.",
               clock_of(j, w->leaves), clock_of(j, w->watch_until));
    } else {
        po_say(j, PO_GRADE_ASK, todo,
               "Nobody is at the desk at %s, when it would start; heating and watch last until about %s.",
               clock_of(j, j->context->start), clock_of(j, w->watch_until));
    }
}

void po_judge_ends_unstaffed(po_judging *j)
{
    const po_when *w = j->context->when;
    if (w != NULL && !j->rules->may_end_unstaffed && !w->end_staffed) {
        po_say(j, PO_GRADE_ASK, start_at(j, "agree who will be there"),
               "The run would end at about %s, when nobody is at the desk; this shop wants somebody there.",
               clock_of(j, w->end));
    }
}

void po_judge_runs_alone(po_judging *j)
{
    const po_when *w = j->context->when;
    if (w == NULL || !(w->alone_seconds > 0)) {
        return;
    }
    const char *todo = start_at(j, "agree who will be there"), *for_so_long = po_time_text(j, w->alone_seconds);
    double most = po_shop_alone_s(j->shop, j->machine, NULL);
    if (!(most > 0)) {
        po_say(j, PO_GRADE_ASK, todo,
               "Nobody is at the desk for %s while it runs, and this shop lets %s run only with somebody there.",
               for_so_long, po_short_text(j, j->machine->name));
        return;
    }
    for (size_t i = 0; i < j->facts->n_tools; i++) {
        const po_tool_facts *tool = &j->facts->tools[i];
        const po_material *m = po_tool_used(tool) ? po_tool_material(j, tool) : NULL;
        if (m != NULL && !(po_shop_alone_s(j->shop, j->machine, m) > 0)) {
            po_say(j, PO_GRADE_ASK, todo,
                   "Nobody is at the desk for %s while it runs, and this shop prints %s only with somebody there.",
                   for_so_long, po_short_text(j, m->name));
            return;
        }
    }
    if (w->alone_seconds > most) {
        po_say(j, PO_GRADE_ASK, todo,
               "Nobody is at the desk for %s of the run; this shop leaves a run alone for %s at most.", for_so_long,
               po_time_text(j, most));
    }
}

void po_judge_hands_when_closed(po_judging *j)
{
    const po_when *w = j->context->when;
    if (w == NULL || w->n_hands == 0) {
        return;
    }
    const char *todo = start_at(j, "agree who will be there");
    if (w->hands_wait_seconds > 0) {
        po_say(j, PO_GRADE_ASK, todo,
               "It needs hands at about %s, when nobody is at the desk, and would stand still, hot, for about %s.",
               clock_of(j, w->hands), po_time_text(j, w->hands_wait_seconds));
    } else {
        po_say(j, PO_GRADE_ASK, todo, "It needs hands at about %s, when nobody is at the desk.", clock_of(j, w->hands));
    }
}

void po_judge_off_late(po_judging *j)
{
    const po_when *w = j->context->when;
    if (w != NULL && w->off_known && w->after_cool_seconds > LIM_OFF_LATE_HOURS * 3600.0) {
        po_say(j, PO_GRADE_NOTE,
               "Where others wait for the machine, start it so that it is done while somebody is there.",
               "The bed is cool at about %s, and nobody takes the part off before %s: the machine stands full for %s.",
               clock_of(j, w->cool), clock_of(j, w->off), po_time_text(j, w->full_seconds));
    }
}
