/* Bedfuls as text and as JSON. SPDX-License-Identifier: Apache-2.0 */
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

static const char *verdict(const nest_call *c)
{
    po_grade worst = c->n_findings ? c->findings[0].grade : PO_GRADE_OFF;
    return worst == PO_GRADE_STOP ? "stop" : worst == PO_GRADE_ASK ? "ask" : "clear";
}

static const char *grade_word(po_grade grade)
{
    return grade == PO_GRADE_STOP ? "stop" : grade == PO_GRADE_ASK ? "ask" : "note";
}

static bool has_members(const nest_call *c)
{
    bool any = false;
    for (size_t i = 0; i < c->n_parts; i++) {
        any = any || c->parts[i].member;
    }
    return any;
}

static void print_bed(const nest_call *c, size_t at)
{
    const po_bedful *bed = &c->nest.bedfuls[at];
    const nest_part *first = &c->parts[bed->places[0].part];
    nest_load load = nest_load_of(c, bed);
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
    for (size_t i = 0; bed->due != INT64_MAX && i < bed->n_places; i++) {
        if (c->laid[bed->places[i].part].due == bed->due) {
            printf("; due %s", c->parts[bed->places[i].part].due_text);
            break;
        }
    }
    printf("\n  %s  part  copy  x mm     y mm     turned  file\n", c->setup.finish_each ? "order" : "     ");
    for (size_t i = 0; i < bed->n_places && i < LINES_MOST; i++) {
        const po_nest_place *p = &bed->places[i];
        if (c->setup.finish_each) {
            printf("  %5zu", i + 1);
        } else {
            fputs("       ", stdout);
        }
        printf("  %4u  %4u  %7.2f  %7.2f  %6.0f  ", p->part + 1, p->copy + 1, p->x, p->y, p->turn_deg);
        put_safe(c->parts[p->part].label);
        fputs(p->in_hole ? " (in a hole)\n" : "\n", stdout);
    }
    if (bed->n_places > LINES_MOST) {
        printf("  ... and %zu more (--json lists all)\n", bed->n_places - LINES_MOST);
    }
    const char *members[NEST_PARTS];
    double mm[NEST_PARTS];
    size_t n = has_members(c) && !isnan(load.filament_mm) ? nest_shares(c, bed, members, mm, NEST_PARTS) : 0;
    for (size_t k = 0; k < n; k++) {
        fputs("  share of ", stdout);
        put_safe(*members[k] ? members[k] : "no member");
        printf(": %.1f m\n", mm[k] / 1000);
    }
}

void nest_print_text(const nest_call *c)
{
    size_t laid = 0;
    for (size_t i = 0; i < c->nest.n_bedfuls; i++) {
        laid += c->nest.bedfuls[i].n_places;
    }
    put_safe(c->machine->name);
    printf(": %zu part%s on %zu bedful%s", laid, laid == 1 ? "" : "s", c->nest.n_bedfuls,
           c->nest.n_bedfuls == 1 ? "" : "s");
    if (c->nest.n_bedfuls == c->nest.at_least && laid) {
        fputs(" (no layout takes fewer)", stdout);
    } else if (laid) {
        printf(" (no fewer than %u by area)", c->nest.at_least);
    }
    printf("; %.1f mm between parts, %.1f mm to the edge\n", c->setup.clearance_mm, c->setup.margin_mm);
    for (size_t i = 0; i < c->nest.n_bedfuls; i++) {
        print_bed(c, i);
    }
    for (size_t i = 0; i < c->n_findings; i++) {
        const nest_finding *f = &c->findings[i];
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
    printf("\nVerdict: %s\n", verdict(c));
}

static void json_bed(cli_json *j, const nest_call *c, size_t at)
{
    const po_bedful *bed = &c->nest.bedfuls[at];
    const nest_part *first = &c->parts[bed->places[0].part];
    nest_load load = nest_load_of(c, bed);
    cli_json_open(j, NULL, '{');
    cli_json_number(j, "bedful", (double)(at + 1));
    cli_json_text(j, "material", first->material->name);
    cli_json_text(j, "recipe", first->recipe ? first->recipe->name : NULL);
    const char *due = NULL;
    for (size_t i = 0; i < bed->n_places; i++) {
        const po_nest_place *p = &bed->places[i];
        due = bed->due != INT64_MAX && c->laid[p->part].due == bed->due ? c->parts[p->part].due_text : due;
    }
    cli_json_text(j, "due", due);
    cli_json_number(j, "filled", bed->filled);
    cli_json_number(j, "filament_mm", load.filament_mm);
    cli_json_number(j, "filament_g", load.filament_g);
    cli_json_number(j, "seconds", load.seconds);
    const char *members[NEST_PARTS];
    double mm[NEST_PARTS];
    size_t n = isnan(load.filament_mm) ? 0 : nest_shares(c, bed, members, mm, NEST_PARTS);
    cli_json_open(j, "shares", '[');
    for (size_t k = 0; k < n; k++) {
        cli_json_open(j, NULL, '{');
        cli_json_text(j, "member", *members[k] ? members[k] : NULL);
        cli_json_number(j, "filament_mm", mm[k]);
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
    cli_json_open(j, "places", '[');
    for (size_t i = 0; i < bed->n_places; i++) {
        const po_nest_place *p = &bed->places[i];
        cli_json_open(j, NULL, '{');
        cli_json_number(j, "part", p->part + 1);
        cli_json_number(j, "copy", p->copy + 1);
        cli_json_number(j, "x", p->x);
        cli_json_number(j, "y", p->y);
        cli_json_number(j, "turn_deg", p->turn_deg);
        cli_json_bool(j, "in_hole", p->in_hole);
        if (c->setup.finish_each) {
            cli_json_number(j, "order", (double)(i + 1));
        }
        cli_json_close(j, '}');
    }
    cli_json_close(j, ']');
    cli_json_close(j, '}');
}

void nest_print_json(const nest_call *c)
{
    cli_json j = {.out = stdout};
    cli_json_open(&j, NULL, '{');
    cli_json_text(&j, "format", "proveout/nest/1");
    cli_json_text(&j, "machine", c->machine->name);
    cli_json_text(&j, "verdict", verdict(c));
    cli_json_text(&j, "worst", c->n_findings ? c->findings[0].name : NULL);
    cli_json_number(&j, "clearance_mm", c->setup.clearance_mm);
    cli_json_number(&j, "margin_mm", c->setup.margin_mm);
    cli_json_number(&j, "at_least", c->nest.at_least);
    cli_json_number(&j, "seed", (double)c->setup.effort.seed);
    cli_json_number(&j, "steps", (double)c->nest.steps);
    cli_json_open(&j, "parts", '[');
    for (size_t i = 0; i < c->n_parts; i++) {
        const nest_part *p = &c->parts[i];
        cli_json_open(&j, NULL, '{');
        cli_json_number(&j, "part", (double)(i + 1));
        cli_json_text(&j, "file", p->path);
        cli_json_text(&j, "label", p->label);
        cli_json_text(&j, "member", p->member);
        cli_json_text(&j, "due", p->due_text);
        cli_json_number(&j, "copies", c->laid[i].copies);
        cli_json_open(&j, "size_mm", '[');
        for (int k = 0; k < 3; k++) {
            cli_json_number(&j, NULL, p->size_mm[k]);
        }
        cli_json_close(&j, ']');
        cli_json_number(&j, "filament_mm", p->estimated ? p->estimate.filament_mm : NAN);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_open(&j, "bedfuls", '[');
    for (size_t i = 0; i < c->nest.n_bedfuls; i++) {
        json_bed(&j, c, i);
    }
    cli_json_close(&j, ']');
    cli_json_open(&j, "left_out", '[');
    for (size_t i = 0; i < c->nest.n_left_out; i++) {
        const po_left_out *l = &c->nest.left_out[i];
        cli_json_open(&j, NULL, '{');
        cli_json_number(&j, "part", l->part + 1);
        cli_json_number(&j, "copies", l->copies);
        cli_json_text(&j, "why", l->why);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_open(&j, "findings", '[');
    for (size_t i = 0; i < c->n_findings; i++) {
        const nest_finding *f = &c->findings[i];
        cli_json_open(&j, NULL, '{');
        cli_json_text(&j, "name", f->name);
        cli_json_text(&j, "grade", grade_word(f->grade));
        cli_json_text(&j, "says", f->says);
        cli_json_text(&j, "do", f->todo);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_close(&j, '}');
    putchar('\n');
}
