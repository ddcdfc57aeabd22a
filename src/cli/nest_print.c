/* Bedfuls as text. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "nest.h"

enum { LINES_MOST = 30 }; /* places of a bedful in the text; JSON has all */

static void put_safe(const char *text)
{
    for (; *text; text++) {
        putchar((unsigned char)*text < 0x20 || *text == 0x7f ? '?' : *text);
    }
}

static const char *grade_word(po_grade grade)
{
    return grade == PO_GRADE_STOP ? "stop" : grade == PO_GRADE_ASK ? "ask" : "note";
}

static bool has_members(const nest_call *c)
{
    bool any = false;
    for (size_t i = 0; i < c->b.n_parts; i++) {
        any = any || c->b.parts[i].member;
    }
    return any;
}

static void print_bed(const nest_call *c, size_t at)
{
    const po_bedful *bed = &c->b.nest.bedfuls[at];
    const work_bedful_part *first = &c->b.parts[bed->places[0].part];
    work_bedful_load load = work_bedful_load_of(&c->b, bed);
    printf("\nBedful %zu: %zu part%s, %.0f %% of the bed, ", at + 1, bed->n_places, bed->n_places == 1 ? "" : "s",
           100 * bed->filled);
    put_safe(first->material->name);
    if (first->recipe) {
        fputs(", ", stdout);
        put_safe(first->recipe->name);
    }
    if (!isnan(load.filament_mm)) {
        int minutes = (int)ceil(load.seconds / 60);
        printf("; about %.1f m, %.0f g, %d:%02d h without supports", load.filament_mm / 1000, load.filament_g,
               minutes / 60, minutes % 60);
    }
    const char *due = work_bedful_due(&c->b, bed);
    if (due) {
        printf("; due %s", due);
    }
    printf("\n  %s  part  copy  x mm     y mm     turned  file\n", c->b.setup.finish_each ? "order" : "     ");
    for (size_t i = 0; i < bed->n_places && i < LINES_MOST; i++) {
        const po_nest_place *p = &bed->places[i];
        if (c->b.setup.finish_each) {
            printf("  %5zu", i + 1);
        } else {
            fputs("       ", stdout);
        }
        printf("  %4u  %4u  %7.2f  %7.2f  %6.0f  ", p->part + 1, p->copy + 1, p->x, p->y, p->turn_deg);
        put_safe(c->b.parts[p->part].label);
        fputs(p->in_hole ? " (in a hole)\n" : "\n", stdout);
    }
    if (bed->n_places > LINES_MOST) {
        printf("  ... and %zu more (--json lists all)\n", bed->n_places - LINES_MOST);
    }
    const char *members[WORK_BEDFUL_PARTS];
    double mm[WORK_BEDFUL_PARTS];
    size_t n = has_members(c) && !isnan(load.filament_mm)
                   ? work_bedful_shares(&c->b, bed, members, mm, WORK_BEDFUL_PARTS)
                   : 0;
    for (size_t k = 0; k < n; k++) {
        fputs("  share of ", stdout);
        put_safe(*members[k] ? members[k] : "no member");
        printf(": %.1f m\n", mm[k] / 1000);
    }
}

void nest_print_text(const nest_call *c)
{
    size_t laid = 0;
    for (size_t i = 0; i < c->b.nest.n_bedfuls; i++) {
        laid += c->b.nest.bedfuls[i].n_places;
    }
    put_safe(c->b.machine->name);
    printf(": %zu part%s on %zu bedful%s", laid, laid == 1 ? "" : "s", c->b.nest.n_bedfuls,
           c->b.nest.n_bedfuls == 1 ? "" : "s");
    if (c->b.nest.n_bedfuls == c->b.nest.at_least && laid) {
        fputs(" (no layout takes fewer)", stdout);
    } else if (laid) {
        printf(" (no fewer than %u by area)", c->b.nest.at_least);
    }
    printf("; %.1f mm between parts, %.1f mm to the edge\n", c->b.setup.clearance_mm, c->b.setup.margin_mm);
    for (size_t i = 0; i < c->b.nest.n_bedfuls; i++) {
        print_bed(c, i);
    }
    for (size_t i = 0; i < c->b.n_findings; i++) {
        const work_bedful_finding *f = &c->b.findings[i];
        printf("%s%s %s: ", i ? "" : "\n", grade_word(f->grade), f->name);
        put_safe(f->says);
        printf("; %s\n", f->todo);
    }
    for (size_t i = 0; i < c->n_written; i++) {
        fputs(i ? "" : "\n", stdout);
        fputs("written: ", stdout);
        put_safe(c->written[i]);
        putchar('\n');
    }
    printf("\nVerdict: %s\n", work_bedful_verdict(&c->b));
}
