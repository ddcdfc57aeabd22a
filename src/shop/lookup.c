/* Look-ups in a shop, by name. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "proveout/shop.h"

#define FIND(list, count)                                                                                              \
    for (size_t i = 0; name && i < (count); i++) {                                                                     \
        if (po_text_same((list)[i].name, name)) {                                                                      \
            return &(list)[i];                                                                                         \
        }                                                                                                              \
    }                                                                                                                  \
    return NULL

const po_machine *po_shop_machine(const po_shop *shop, const char *name)
{
    FIND(shop->machines, shop->n_machines);
}

const po_material *po_shop_material(const po_shop *shop, const char *name)
{
    FIND(shop->materials, shop->n_materials);
}

const po_recipe *po_shop_recipe(const po_shop *shop, const char *name)
{
    FIND(shop->recipes, shop->n_recipes);
}

const po_permission *po_shop_permission(const po_shop *shop, const char *name)
{
    FIND(shop->permissions, shop->n_permissions);
}

const po_material *po_shop_house_material(const po_shop *shop)
{
    for (size_t i = 0; i < shop->n_materials; i++) {
        if (shop->materials[i].house) {
            return &shop->materials[i];
        }
    }
    return &shop->materials[0];
}

bool po_machine_takes(const po_shop *shop, const po_machine *machine, const po_material *material)
{
    for (size_t i = 0; i < machine->n_materials; i++) {
        if (&shop->materials[machine->materials[i]] == material) {
            return true;
        }
    }
    return false;
}

/* A permission is looked at once, so cycles end; the shop file holds at most 500 of them (PO_SHOP_MOST_NAMED). */
bool po_shop_grants(const po_shop *shop, const char *held, const char *wanted)
{
    enum { MOST = 512 };
    size_t todo[MOST], n_todo = 0;
    bool seen[MOST] = {false};
    if (po_text_same(held, wanted)) {
        return true;
    }
    const po_permission *start = po_shop_permission(shop, held);
    if (!start || shop->n_permissions > MOST) {
        return false;
    }
    todo[n_todo++] = (size_t)(start - shop->permissions);
    seen[todo[0]] = true;
    while (n_todo) {
        const po_permission *p = &shop->permissions[todo[--n_todo]];
        for (size_t i = 0; i < p->n_implies; i++) {
            const po_permission *next = po_shop_permission(shop, p->implies[i]);
            if (!next) {
                continue;
            }
            if (po_text_same(next->name, wanted)) {
                return true;
            }
            size_t index = (size_t)(next - shop->permissions);
            if (!seen[index]) {
                seen[index] = true;
                todo[n_todo++] = index;
            }
        }
    }
    return false;
}

void po_machine_bed_extent(const po_machine *machine, po_range *ret_x, po_range *ret_y)
{
    double x0 = machine->origin_centre ? -machine->bed_mm[0] / 2 : 0;
    double y0 = machine->origin_centre ? -machine->bed_mm[1] / 2 : 0;
    *ret_x = (po_range){x0, x0 + machine->bed_mm[0]};
    *ret_y = (po_range){y0, y0 + machine->bed_mm[1]};
}

const char *po_nearest_name(const char *name, const char *const *names, size_t n)
{
    const char *best = NULL;
    size_t best_distance = SIZE_MAX;
    for (size_t i = 0; i < n; i++) {
        size_t distance = po_text_distance(name, names[i]);
        if (distance < best_distance) {
            best = names[i];
            best_distance = distance;
        }
    }
    return best;
}

static const char *const cause_names[PO_CAUSE_COUNT] = {"file", "machine", "material", "power", "handling", "unknown"};
static const char *const text_kind_names[PO_TEXT_COUNT] = {"failed", "done", "collect", "hands", "ticket"};

const char *po_cause_name(po_run_cause cause)
{
    return cause_names[cause];
}

bool po_cause_from_name(const char *name, po_run_cause *ret)
{
    for (int i = 0; name && i < PO_CAUSE_COUNT; i++) {
        if (!strcmp(cause_names[i], name)) {
            *ret = (po_run_cause)i;
            return true;
        }
    }
    return false;
}

const char *po_beyond_name(po_beyond beyond)
{
    return beyond == PO_BEYOND_CHARGE ? "charge" : beyond == PO_BEYOND_GIFT ? "gift" : "refuse";
}

const char *po_text_kind_name(po_text_kind kind)
{
    return text_kind_names[kind];
}

const po_task *po_shop_task(const po_shop *shop, const char *name)
{
    FIND(shop->tasks, shop->n_tasks);
}

bool po_indices_hold(const po_indices *list, size_t index)
{
    for (size_t i = 0; i < list->n; i++) {
        if (list->of[i] == index) {
            return true;
        }
    }
    return list->n == 0;
}

/* By name: a caller may ask with a changed copy. */
static bool machine_named(const po_shop *shop, const po_indices *list, const char *name)
{
    bool held = list->n == 0;
    for (size_t i = 0; i < list->n; i++) {
        held = held || strcmp(shop->machines[list->of[i]].name, name) == 0;
    }
    return held;
}

static bool material_named(const po_shop *shop, const po_indices *list, const char *name)
{
    bool held = list->n == 0;
    for (size_t i = 0; i < list->n; i++) {
        held = held || strcmp(shop->materials[list->of[i]].name, name) == 0;
    }
    return held;
}

double po_shop_alone_s(const po_shop *shop, const po_machine *machine, const po_material *material)
{
    const po_unattended *u = &shop->unattended;
    if (!machine_named(shop, &u->machines, machine->name) ||
        (material && !material_named(shop, &u->materials, material->name))) {
        return 0;
    }
    return u->longest_hours > 0 ? u->longest_hours * 3600 : INFINITY;
}
