/* The shop as a page needs it. SPDX-License-Identifier: Apache-2.0
 *
 * Anybody may read it at the kiosk: no path, no command, nothing of a person. Lengths in mm, temperatures in degrees Celsius,
 * speeds in mm/s, as in the shop file; minutes after midnight on the shop's clock. */
#include <stdio.h>

#include "desk/desk_inside.h"

static json_t *range(po_range r)
{
    return json_pack("[f, f]", r.low, r.high);
}

static json_t *date(po_date d)
{
    char text[40];
    snprintf(text, sizeof text, "%04d-%02d-%02d", d.year, d.month, d.day);
    return json_string(text);
}

static json_t *material(const po_material *m)
{
    return json_pack("{s:s, s:f, s:f, s:o, s:o, s:o, s:f, s:f, s:b}", "name", m->name, "density_g_cm3",
                     m->density_g_cm3, "diameter_mm", m->diameter_mm, "nozzle_c", range(m->nozzle_c), "bed_c",
                     range(m->bed_c), "fan_percent", range(m->fan_percent), "cold_below_c", m->cold_below_c, "glass_c",
                     m->glass_c, "house", m->house);
}

static json_t *machine(const po_shop *shop, const po_machine *m)
{
    json_t *materials = json_array(), *nozzles = json_array();
    for (size_t i = 0; i < m->n_materials; i++) {
        json_array_append_new(materials, json_string(shop->materials[m->materials[i]].name));
    }
    for (size_t i = 0; i < m->n_nozzles; i++) {
        json_array_append_new(nozzles, json_pack("{s:f, s:f}", "diameter_mm", m->nozzles[i].diameter_mm, "hottest_c",
                                                 m->nozzles[i].hottest_c));
    }
    return json_pack("{s:s, s:s?, s:b, s:b, s:[f, f], s:f, s:f, s:o, s:o, s:s?}", "name", m->name, "permission",
                     m->permission, "round_bed", m->round_bed, "origin_centre", m->origin_centre, "bed_mm",
                     m->bed_mm[0], m->bed_mm[1], "height_mm", m->height_mm, "bed_hottest_c", m->bed_hottest_c,
                     "nozzles", nozzles, "materials", materials, "stick", m->stick_label);
}

static json_t *recipe(const po_recipe *r)
{
    return json_pack("{s:s, s:f, s:f, s:i, s:i, s:i, s:f, s:f}", "name", r->name, "layer_mm", r->layer_mm,
                     "bead_width_mm", r->bead_width_mm, "walls", r->walls, "floors", r->floors, "roofs", r->roofs,
                     "fill_percent", r->fill_percent, "first_layer_mm", r->first_layer_mm);
}

static json_t *permission(const po_permission *p)
{
    json_t *implies = json_array();
    for (size_t i = 0; i < p->n_implies; i++) {
        json_array_append_new(implies, json_string(p->implies[i]));
    }
    return json_pack("{s:s, s:o, s:b, s:i}", "name", p->name, "implies", implies, "lapses_with_term",
                     p->lapses_with_term, "lapses_months", p->lapses_months);
}

static json_t *hours(const po_shop *shop)
{
    static const char *const days[] = {"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"};
    json_t *o = json_object();
    for (int d = 0; d < 7; d++) {
        json_t *spans = json_array();
        for (size_t i = 0; i < shop->hours[d].n_spans; i++) {
            json_array_append_new(spans, json_pack("[i, i]", shop->hours[d].spans[i].from, shop->hours[d].spans[i].to));
        }
        json_object_set_new(o, days[d], spans);
    }
    return o;
}

static json_t *dates(const po_dates *list, size_t n)
{
    json_t *all = json_array();
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(all, json_pack("{s:s?, s:o, s:o}", "name", list[i].name, "from", date(list[i].from), "to",
                                             date(list[i].to)));
    }
    return all;
}

static json_t *rules(const po_rules *r)
{
    return json_pack("{s:f, s:b, s:f, s:f, s:f, s:f, s:f, s:b, s:i, s:i, s:i, s:i, s:f, s:f, s:f}", "watch_minutes",
                     r->watch_minutes, "watch_first_layer", r->watch_first_layer, "collect_below_bed_c",
                     r->collect_below_bed_c, "allowance_m_per_run", r->allowance_m_per_run, "allowance_m_per_term",
                     r->allowance_m_per_term, "desk_may_waive_m", r->desk_may_waive_m, "longest_run_hours",
                     r->longest_run_hours, "may_end_unstaffed", r->may_end_unstaffed, "gap_check_days",
                     r->gap_check_days, "shelf_days", r->shelf_days, "shelf_places", r->shelf_places,
                     "ticket_claim_minutes", r->ticket_claim_minutes, "spool_low_g", r->spool_low_g, "spool_reserve_g",
                     r->spool_reserve_g, "photo_most_mb", r->photo_most_mb);
}

/* A list of what one function makes of each. */
#define LIST(name, n, one)                                                                                             \
    json_t *name = json_array();                                                                                       \
    for (size_t i = 0; i < (n); i++) {                                                                                 \
        json_array_append_new(name, one);                                                                              \
    }

json_t *desk_shop_doc(const po_shop *shop)
{
    LIST(machines, shop->n_machines, machine(shop, &shop->machines[i]))
    LIST(materials, shop->n_materials, material(&shop->materials[i]))
    LIST(recipes, shop->n_recipes, recipe(&shop->recipes[i]))
    LIST(permissions, shop->n_permissions, permission(&shop->permissions[i]))
    return json_pack("{s:s, s:s, s:s, s:s?, s:s, s:I, s:{s:I, s:i}, s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}",
                     "format", "proveout/shop-page/1", "name", shop->name, "time_zone", shop->time_zone, "currency",
                     shop->currency, "beyond", po_beyond_name(shop->beyond), "most_file_bytes",
                     (json_int_t)shop->most_file_bytes, "files", "most_bytes", (json_int_t)shop->most_upload_bytes,
                     "keep_days", shop->rules.keep_files_days, "people_at_desk", shop->people_at_desk, "machines",
                     machines, "materials", materials, "recipes", recipes, "permissions", permissions, "hours",
                     hours(shop), "closed", dates(shop->closed, shop->n_closed), "terms",
                     dates(shop->terms, shop->n_terms), "rules", rules(&shop->rules));
}
