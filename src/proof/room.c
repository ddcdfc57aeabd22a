/* Rules about the machine's room: bed, reach, what stands in the way. SPDX-License-Identifier: Apache-2.0
 *
 * What was seen is measured by the job floor; here it is put against rounding (LIM_NOISE_MM) and said. */
#include "proof/judge.h"

#include <math.h>

void po_judge_leaves_the_bed(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_OFF_BED, LIM_NOISE_MM);
    if (s != NULL) {
        po_say_seen(
            j, PO_GRADE_STOP, PO_SIGHT_OFF_BED,
            "Move the part towards the middle of the bed, or choose the right machine, and write the file anew.",
            "The job lays plastic off the bed: at worst %s beyond its edge%s.", po_mm_text(j, s->worst),
            po_place_text(j, &s->worst_at));
    }
}

void po_judge_hits_keep_out(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_KEEP_OUT, LIM_NOISE_MM);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_KEEP_OUT, "Move the part away from that corner and write the file anew.",
                    "The nozzle runs %s into a place of the machine that must stay free%s.", po_mm_text(j, s->worst),
                    po_place_text(j, &s->worst_at));
    }
}

void po_judge_reaches_too_far(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_REACH, LIM_NOISE_MM);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_REACH,
                    "Move the part towards the middle, or choose the right machine, and write the file anew.",
                    "A move goes %s further than this machine can reach%s.", po_mm_text(j, s->worst),
                    po_place_text(j, &s->worst_at));
        return;
    }
    s = po_seen_above(j, PO_SIGHT_REACH_PARKING, LIM_NOISE_MM);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_REACH_PARKING,
                    "Ask whether this machine stops there by itself. Lower the last lift in the end text otherwise.",
                    "After the last bead the nozzle parks %s further than this machine can reach.",
                    po_mm_text(j, s->worst));
    }
}

void po_judge_too_tall(po_judging *j)
{
    const po_sighting *s = po_seen_above(j, PO_SIGHT_TOO_TALL, LIM_NOISE_MM);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_TOO_TALL, "Lay the part down, make it smaller, or use a taller machine.",
                    "The part is %s taller than this machine can print (%s).", po_mm_text(j, s->worst),
                    po_mm_text(j, j->machine->height_mm));
    }
}

void po_judge_below_the_bed(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_BELOW_BED);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_BELOW_BED,
                    "Take the height offset out of the file. The nozzle's distance is set at the machine.",
                    "The nozzle goes %s below the bed's surface and would scratch it.", po_mm_text(j, s->worst));
    }
}

void po_judge_runs_into_part(po_judging *j)
{
    const po_sighting *nozzle = po_seen(j, PO_SIGHT_RUNS_INTO_PART), *head = po_seen(j, PO_SIGHT_HEAD_HITS_PART);
    if (nozzle != NULL) {
        po_finding *f = po_say_seen(
            j, PO_GRADE_STOP, PO_SIGHT_RUNS_INTO_PART,
            "Ask for a lift before moves, or lay the parts further apart, and write the file anew.",
            "The nozzle runs into plastic that stands %s higher%s.", po_mm_text(j, nozzle->worst),
            po_place_text(j, &nozzle->worst_at));
        if (f != NULL && head != NULL) {
            f->count += head->count; /* one cause: something stands in the way */
        }
    } else if (head != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_HEAD_HITS_PART,
                    "Lay the parts further apart, or print all of them layer by layer.",
                    "The head runs into a finished part that stands %s too high for it%s.", po_mm_text(j, head->worst),
                    po_place_text(j, &head->worst_at));
    } else if (po_seen(j, PO_SIGHT_HEAD_UNKNOWN) != NULL) {
        po_say_seen(
            j, PO_GRADE_ASK, PO_SIGHT_HEAD_UNKNOWN,
            "Measure whether the head clears the finished parts, or print all of them layer by layer.",
            "Parts are finished one after another, and the size of this machine's head (mm) is not in the shop file.");
    }
}

void po_judge_homes_into_part(po_judging *j)
{
    if (po_seen(j, PO_SIGHT_HOMES_INTO_PART) != NULL) {
        const po_place *at = &j->report->sights[PO_SIGHT_HOMES_INTO_PART].first;
        const char *when = at->known && !isnan(at->seconds) ? po_time_text(j, at->seconds) : NULL;
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_HOMES_INTO_PART,
                    "Move homing and probing to the start of the file, or home only X and Y later on.",
                    "The machine would home or probe down onto the part%s%s.", when != NULL ? " after " : "",
                    when != NULL ? when : "");
    }
}

void po_judge_not_homed(po_judging *j)
{
    if (po_seen(j, PO_SIGHT_NOT_HOMED) != NULL) {
        po_say_seen(j, PO_GRADE_STOP, PO_SIGHT_NOT_HOMED,
                    "Put the homing word (G28) before the first move and write the file anew.",
                    "The file moves the machine before it was homed, so the machine doesn't know where it is.");
    }
}

void po_judge_parks_on_part(po_judging *j)
{
    const po_sighting *s = po_seen(j, PO_SIGHT_PARKS_ON_PART);
    if (s != NULL) {
        po_say_seen(j, PO_GRADE_ASK, PO_SIGHT_PARKS_ON_PART,
                    "Be there at the end and lift the nozzle, or add a lift and a move aside to the end text.",
                    "At the end the hot nozzle stays on the part%s.", po_place_text(j, &s->first));
    }
}

void po_judge_skips_probe(po_judging *j)
{
    if (po_seen(j, PO_SIGHT_SKIPS_PROBE) != NULL) {
        po_say_seen(j, PO_GRADE_NOTE, PO_SIGHT_SKIPS_PROBE, "Watch the first layer.",
                    "The file doesn't ask the machine to probe its bed before it prints.");
    }
}
