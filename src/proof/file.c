/* Rules about the file itself: whole, fit for a member's job, in words that the machine knows. SPDX-License-Identifier: Apache-2.0 */
#include "proof/judge.h"

#include <math.h>

void po_judge_damaged_file(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_DAMAGED);
    if (s != NULL) {
        const char *todo = "Write the file anew, eject the stick before pulling it, and check again.";
        if (s->first.line > 0) {
            po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_DAMAGED, todo, "The file is damaged in line %llu: %s.",
                        (unsigned long long)s->first.line, po_short_text(j, s->text));
        } else {
            po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_DAMAGED, todo, "The file is damaged: %s.",
                        po_short_text(j, s->text));
        }
    }
}

void po_judge_no_print(po_judging *j)
{
    if (!(j->facts->extruding_mm > 0)) {
        po_say(j, PO_GRADE_STOP, "Look whether this is the file that was meant.",
               "The file lays no plastic at all: there is nothing to print in its %llu lines.",
               (unsigned long long)j->facts->lines);
    }
}

void po_judge_cut_short(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_CUT_SHORT);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_CUT_SHORT,
                    "Write the file anew and let the computer finish and eject the stick.",
                    "The file breaks off in the middle of printing%s: its end is missing.",
                    po_place_text(j, &s->first));
    }
}

void po_judge_stores_settings(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_STORES_SETTINGS);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_STORES_SETTINGS,
                    "Take these words out of the start or end text and write the file anew.",
                    "The file would change what the machine keeps for everybody: %s.", po_short_text(j, s->text));
    }
}

void po_judge_needs_tool(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_NEEDS_TOOL);
    size_t n = j->machine->n_nozzles;
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_NEEDS_TOOL,
                    "Prepare the part for the tools that this machine has, or use a machine that has enough.",
                    "The job prints with tool %.0f (counted from 0); this machine has %zu tool%s.", s->worst, n,
                    n == 1 ? "" : "s");
    } else if (po_seen(j, PO_SIGHT_HEATS_TOOL) != NULL) {
        po_say_seen(j, PO_GRADE_NOTE, PO_SIGHT_HEATS_TOOL, "Nothing: this machine passes over it.",
                    "The file heats or selects a tool that this machine doesn't have, but doesn't print with it.");
    }
}

void po_judge_needs_hands(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_NEEDS_HANDS);
    if (s == NULL) {
        return;
    }
    const po_job_facts *f = j->facts;
    const char *word = f->n_hands > 0 ? f->hands[0].word : po_short_text(j, s->text);
    double z = f->n_hands > 0 ? f->hands[0].z : s->first.z,
           at = f->n_hands > 0 ? f->hands[0].seconds : s->first.seconds;
    const char *height = isnan(z) ? "at the start" : po_arena_printf(j->arena, "at %s height", po_mm_text(j, z));
    if (height == NULL) {
        j->failed = true;
        return;
    }
    if (s->count == 1) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_NEEDS_HANDS, "Agree who will be there, or take the stop out of the file.",
                    "The machine stops and waits for a person %s, %s after the start%s (%s).", height,
                    po_time_text(j, at), po_clock_text(j, at), word);
    } else {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_NEEDS_HANDS,
                    "Agree who will be there, or take the stops out of the file.",
                    "The machine stops and waits for a person %llu times, first %s, %s after the start%s (%s).",
                    (unsigned long long)s->count, height, po_time_text(j, at), po_clock_text(j, at), word);
    }
}

void po_judge_loosens_limits(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_LOOSENS_LIMITS, 1.02);
    if (s != NULL) {
        po_say_seen(
            j, PO_GRADE_ASK, PO_SIGHT_LOOSENS_LIMITS,
            "Choose this machine in the program that wrote the file, or switch the machine off and on afterwards.",
            "The file sets motion limits up to %.1f times as high as this machine's own (%s).", fmin(s->worst, 1e6),
            po_short_text(j, s->text));
    }
}

void po_judge_shifts_origin(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_SHIFTS_ORIGIN, LIM_NOISE_MM), *tunes = po_seen(j, PO_SIGHT_TUNES);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_SHIFTS_ORIGIN,
                    "Switch the machine off and on after this run, or put the origin back at the end of the file.",
                    "The file shifts the machine's zero by %s and doesn't put it back: the next job may start wrong.",
                    po_mm_text(j, s->worst));
    } else if (tunes != NULL) {
        po_say_seen(j, PO_GRADE_NOTE, PO_SIGHT_TUNES, "Switch the machine off and on after this run.",
                    "The file tunes the machine and leaves it so: %s.", po_short_text(j, tunes->text));
    }
}

void po_judge_unknown_word(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_UNKNOWN_WORD);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_UNKNOWN_WORD,
                    "Ask at the desk what the word does. The keeper can add it to the shop's harmless words.",
                    "The file uses words that are not known here: %s.", po_short_text(j, s->text));
    }
}

void po_judge_bad_arc(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_BAD_ARC);
    if (s == NULL) {
        return;
    }
    const char *todo = "Switch arcs off in the program that wrote the file, and write it anew.";
    if (s->text != NULL || isnan(s->worst)) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_BAD_ARC, todo, "%llu curved move%s can't be followed: %s.",
                    (unsigned long long)s->count, s->count == 1 ? "" : "s", po_short_text(j, s->text));
    } else {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_BAD_ARC, todo, "%llu curved move%s miss%s the end point by up to %s.",
                    (unsigned long long)s->count, s->count == 1 ? "" : "s", s->count == 1 ? "es" : "",
                    po_mm_text(j, s->worst));
    }
}

void po_judge_feed_mode_doubtful(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_FEED_MODE);
    if (s != NULL) {
        po_say_seen(j, s->total > 0 ? PO_GRADE_ASK : PO_GRADE_NOTE, PO_SIGHT_FEED_MODE,
                    "Put M82 or M83 after the last G90 or G91 of the start text and write the file anew.",
                    "Machines can read this file in two ways: one way feeds %.0f times as much filament as the other.",
                    fmin(s->worst, 1e6));
    }
}

void po_judge_two_jobs_in_one(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_TWO_JOBS);
    if (s != NULL) {
        po_say_seen(
            j, PO_GRADE_ASK, PO_SIGHT_TWO_JOBS, "Bring the jobs as two files.",
            "After the machine was switched off, line %llu starts to print near the bed again: two jobs in one file.",
            (unsigned long long)s->first.line);
    }
}

void po_judge_no_feed(po_judging *j)
{
    if (po_seen(j, PO_SIGHT_NO_FEED) != NULL) {
        po_say_seen(j, PO_GRADE_NOTE, PO_SIGHT_NO_FEED, "Nothing, but the time may be off.",
                    "The first moves have no speed (F): the time is told for the machine's fastest.");
    }
}
