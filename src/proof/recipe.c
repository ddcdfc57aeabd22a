/* The nearest recipe of the house, and how a job differs from it. SPDX-License-Identifier: Apache-2.0
 *
 * Distance: each known quantity's difference over a scale at which a practitioner would call it another setting, summed.
 * Quantities that were not measured count for nothing. The scales are common practice, no published source. */
#include "base/text.h"
#include "proof/judge.h"

#include <math.h>

static double layer_mm(const po_judging *j)
{
    return j->facts->layer_height_mm;
}

static double off(double found, double wanted, double scale)
{
    return isnan(found) || isnan(wanted) ? 0 : fabs(found - wanted) / scale;
}

static double usual_speed(const po_judging *j)
{
    double v = j->facts->usual_bead_mm_s;
    return v > 0 ? v : NAN;
}

/* How far the speed lies outside the recipe's, in percent; fill and walls span it. */
static double speed_off_percent(const po_judging *j, const po_recipe *r)
{
    double v = usual_speed(j), slow = fmin(r->wall_mm_s, r->fill_mm_s), fast = fmax(r->wall_mm_s, r->fill_mm_s);
    if (isnan(v) || !(slow > 0)) {
        return 0;
    }
    return v > fast ? 100 * (v / fast - 1) : v < slow ? 100 * (1 - v / slow) : 0;
}

static double distance(const po_judging *j, const po_recipe *r)
{
    const po_job_facts *f = j->facts;
    return off(layer_mm(j), r->layer_mm, 0.04) + off(f->bead_width_mm, r->bead_width_mm, 0.08) +
           off(f->walls, r->walls, 1.5) + off(100 * f->fill_fraction, r->fill_percent, 15) +
           speed_off_percent(j, r) / 60;
}

/* Near: the two that make the surface are the recipe's own or nearly so; walls and fill may be the member's. */
static bool near(const po_judging *j, const po_recipe *r)
{
    double h = layer_mm(j), w = j->facts->bead_width_mm;
    return h > 0 && off(h, r->layer_mm, 0.04) <= 1 && off(w, r->bead_width_mm, 0.08) <= 1;
}

static const po_recipe *closest(const po_judging *j)
{
    const po_recipe *best = NULL;
    double least = INFINITY;
    for (size_t i = 0; i < j->shop->n_recipes; i++) {
        double d = distance(j, &j->shop->recipes[i]);
        if (d < least) {
            least = d;
            best = &j->shop->recipes[i];
        }
    }
    return best;
}

const po_recipe *po_recipe_nearest(const po_judging *j)
{
    const po_recipe *r = j->context->recipe != NULL ? j->context->recipe : closest(j);
    return r != NULL && near(j, r) ? r : NULL;
}

static void separate(po_text *text)
{
    if (text->n > 0) {
        po_text_add(text, "; ");
    }
}

void po_judge_off_recipe(po_judging *j)
{
    const po_job_facts *f = j->facts;
    const po_recipe *r = j->context->recipe != NULL ? j->context->recipe : closest(j);
    if (r == NULL || !(layer_mm(j) > 0)) {
        return;
    }
    po_text how;
    po_text_init(&how, j->arena);
    if (off(layer_mm(j), r->layer_mm, LIM_RECIPE_LAYER_MM) > 1 + 1e-6) {
        separate(&how);
        po_text_printf(&how, "layer %.2f mm (recipe: %.2f mm)", layer_mm(j), r->layer_mm);
    }
    if (off(f->bead_width_mm, r->bead_width_mm, LIM_RECIPE_WIDTH_MM) > 1 + 1e-6) {
        separate(&how);
        po_text_printf(&how, "bead %.2f mm (recipe: %.2f mm)", f->bead_width_mm, r->bead_width_mm);
    }
    if (off(f->walls, r->walls, 1) >= 1) {
        separate(&how);
        po_text_printf(&how, "walls %.0f (recipe: %d)", f->walls, r->walls);
    }
    if (off(100 * f->fill_fraction, r->fill_percent, LIM_RECIPE_FILL) > 1 + 1e-6) {
        separate(&how);
        po_text_printf(&how, "fill %.0f %% (recipe: %.0f %%)", 100 * f->fill_fraction, r->fill_percent);
    }
    if (speed_off_percent(j, r) > LIM_RECIPE_SPEED) {
        double v = usual_speed(j);
        separate(&how);
        po_text_printf(&how, "speed %.0f mm/s (recipe: %.0f mm/s)", v,
                       v > r->fill_mm_s ? fmax(r->fill_mm_s, r->wall_mm_s) : r->wall_mm_s);
    }
    if (how.failed) {
        j->failed = true;
    } else if (how.n > 0) {
        po_say(j, PO_GRADE_NOTE, "No need to change anything; the house's recipe is there if wanted.", "%s \"%s\": %s.",
               j->context->recipe != NULL ? "Differs from the recipe" : "Nearest recipe", r->name, how.data);
    }
}
