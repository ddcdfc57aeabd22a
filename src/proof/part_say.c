/* How rules about parts speak: the worst item, its name, its place. SPDX-License-Identifier: Apache-2.0
 *
 * A part may hold many items; a rule says one finding, about the worst of them, and for how many others it holds. */
#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "base/text.h"
#include "proof/judge.h"

const po_solid *po_worst_solid(const po_judging *j, po_part_ill_fn *ill, uint64_t *ret_items)
{
    const po_solid *worst = NULL;
    double most = 0;
    *ret_items = 0;
    for (size_t i = 0; i < j->part->n_solids; i++) {
        const po_solid *s = &j->part->solids[i];
        double bad = ill(j, s);
        if (bad > 0) {
            *ret_items += s->times;
            if (worst == NULL || bad > most) {
                worst = s;
                most = bad;
            }
        }
    }
    return worst;
}

/* Whether another solid comes from the same item of the build: its number alone is no name then. */
static bool shares_item(const po_part_report *part, const po_solid *solid)
{
    for (size_t i = 0; i < part->n_solids; i++) {
        const po_solid *s = &part->solids[i];
        if (s != solid && s->build_item == solid->build_item) {
            return true;
        }
    }
    return false;
}

const char *po_solid_text(po_judging *j, const po_solid *solid)
{
    const po_part_report *part = j->part;
    if (part->n_solids < 2) {
        return "";
    }
    const char *text;
    if (solid->name != NULL && solid->name[0] != '\0') {
        text = po_arena_printf(j->arena, "Item %u (%s)", solid->build_item, po_short_text(j, solid->name));
    } else if (shares_item(part, solid)) {
        uint32_t id = part->part != NULL ? part->part->objects[solid->object].id : solid->object + 1;
        text = po_arena_printf(j->arena, "Item %u (object %u)", solid->build_item, id);
    } else {
        text = po_arena_printf(j->arena, "Item %u", solid->build_item);
    }
    j->failed |= text == NULL;
    return text != NULL ? text : "";
}

po_finding *po_say_solid(po_judging *j, po_grade grade, const po_solid *solid, uint64_t items, uint64_t count,
                         const double *at, const char *todo, const char *format, ...)
{
    char line[400];
    va_list args;
    va_start(args, format);
    int n = vsnprintf(line, sizeof line, format, args);
    va_end(args);
    if (n < 0) {
        line[0] = '\0';
    }
    const char *item = po_solid_text(j, solid);
    char others[64] = "";
    if (items > solid->times) {
        uint64_t more = items - solid->times;
        snprintf(others, sizeof others, " So %s %llu other item%s.", more == 1 ? "does" : "do",
                 (unsigned long long)more, more == 1 ? "" : "s");
    }
    if (item[0] != '\0' && isupper((unsigned char)line[0]) && islower((unsigned char)line[1])) {
        line[0] = (char)tolower((unsigned char)line[0]);
    }
    po_finding *f = po_say(j, grade, todo, "%s%s%s%s", item, item[0] != '\0' ? ": " : "", line, others);
    if (f == NULL) {
        return NULL;
    }
    f->count = count;
    f->item = item[0] != '\0' ? item : NULL;
    f->solid = (uint32_t)(solid - j->part->solids);
    if (at != NULL && isfinite(at[0]) && isfinite(at[1]) && isfinite(at[2])) {
        f->where.known = f->worst.known = true;
        f->where.x = f->worst.x = at[0];
        f->where.y = f->worst.y = at[1];
        f->where.z = f->worst.z = at[2];
    }
    return f;
}

const po_estimate *po_judged_estimate(const po_judging *j)
{
    const po_part_report *part = j->part;
    if (part->estimates == NULL || part->judged_estimate >= j->shop->n_recipes) {
        return NULL;
    }
    const po_estimate *e = &part->estimates[part->judged_estimate];
    return isnan(e->filament_mm) ? NULL : e;
}
