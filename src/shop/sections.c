/* Machines, materials, recipes and permissions of a shop file, and what holds between their keys.
 * SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "base/text.h"
#include "shop/check.h"

/* Check a mapping of names; returns its entries that may be read, NULL when there is none. Look-ups ignore capitals, so
 * names that differ only in them are one name. */
void *po_check_named(po_check *c, po_node *node, const po_key_path *path, const char *expected, bool at_least_one,
                     size_t size)
{
    if (node->kind != PO_NODE_MAP || (at_least_one && !node->n)) {
        po_check_fault(c, node, path, expected);
        return NULL;
    }
    if (node->n > PO_SHOP_MOST_NAMED) {
        po_check_fault(c, node, path, po_arena_printf(c->arena, "at most %d", PO_SHOP_MOST_NAMED));
        return NULL;
    }
    for (size_t i = 0; i < node->n; i++) {
        po_key_path at = {path, node->keys[i]->text, 0};
        po_check_name(c, node->keys[i], &at, node->keys[i]->text);
        for (size_t j = 0; j < i; j++) {
            if (po_text_same(node->keys[i]->text, node->keys[j]->text)) {
                po_check_fault(c, node->keys[i], &at,
                               po_arena_printf(c->arena, "a name other than \"%s\" on line %u", node->keys[j]->text,
                                               node->keys[j]->line));
                break;
            }
        }
    }
    void *entries = po_arena_zeros(c->arena, node->n, size);
    c->faults->failed |= !entries;
    return entries;
}

static const char *permission_at(const po_check *c, size_t i)
{
    return c->shop->permissions[i].name;
}

void po_check_permissions(po_check *c, po_node *node, const po_key_path *path)
{
    static const char expected[] = "a mapping of names, each with {} or {implies: [...], lapses: ...}";
    po_permission *permissions = po_check_named(c, node, path, expected, false, sizeof *permissions);
    if (!permissions) {
        return;
    }
    for (size_t i = 0; i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, node->keys[i]->text, 0};
        permissions[i].name = node->keys[i]->text;
        if (item->kind == PO_NODE_MAP) {
            po_check_map(c, item, &at, &po_keys_permission, &permissions[i]);
        } else if (!po_tree_is_nothing(item)) {
            po_check_fault(c, item, &at, "{} or {implies: [...], lapses: ...}");
        }
    }
    c->shop->permissions = permissions;
    c->shop->n_permissions = node->n;
    for (size_t i = 0; i < node->n && !po_check_over(c); i++) {
        po_node *implies = po_tree_get(node->items[i], "implies");
        po_key_path at = {path, node->keys[i]->text, 0}, in = {&at, "implies", 0};
        for (size_t j = 0; implies && implies->kind == PO_NODE_LIST && j < implies->n && !po_check_over(c); j++) {
            po_node *name = implies->items[j];
            po_key_path step = {&in, NULL, j};
            c->n_visits++;
            if (name->kind == PO_NODE_TEXT && !name->faulted && !po_shop_permission(c->shop, name->text)) {
                po_check_fault(c, name, &step,
                               po_check_expect_name(c, "permission", name->text, permission_at, node->n));
            }
        }
    }
}

void po_check_materials(po_check *c, po_node *node, const po_key_path *path)
{
    po_material *materials = po_check_named(c, node, path, "a mapping of at least one material", true,
                                            sizeof *materials);
    if (!materials) {
        return;
    }
    const char *house = NULL;
    for (size_t i = 0; i < node->n && !po_check_over(c); i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, node->keys[i]->text, 0};
        po_material *m = &materials[i];
        if (item->kind != PO_NODE_MAP) {
            po_check_map(c, NULL, &at, &po_keys_material, m);
            po_check_fault(c, item, &at, "a mapping with density_g_cm3, nozzle_c, bed_c ...");
        } else {
            po_check_map(c, item, &at, &po_keys_material, m);
        }
        m->name = node->keys[i]->text;
        po_node *cold = po_tree_get(item, "cold_below_c");
        if (isnan(m->cold_below_c)) {
            m->cold_below_c = fmax(0, m->nozzle_c.low - 20);
        } else if (cold && !cold->faulted && m->nozzle_c.high > 0 && m->cold_below_c > m->nozzle_c.low) {
            po_key_path key = {&at, "cold_below_c", 0};
            po_check_fault(c, cold, &key,
                           po_arena_printf(c->arena, "not above the low end of nozzle_c, %.15g", m->nozzle_c.low));
        }
        if (m->house && house) {
            po_key_path key = {&at, "house", 0};
            po_node *second = po_tree_get(item, "house");
            po_check_fault(c, second, &key,
                           po_arena_printf(c->arena, "one house material, and that is %s already", house));
        }
        house = m->house && !house ? m->name : house;
    }
    c->shop->materials = materials;
    c->shop->n_materials = node->n;
}

/* ---- machines ---- */

/* Keys that belong to another shape or rule than the one chosen, and those that this one needs. */
static void keys_of_choice(po_check *c, po_node *map, const po_key_path *path, const char *choice,
                           const char *const *needed, const char *const *foreign)
{
    for (size_t i = 0; needed[i]; i++) {
        po_key_path at = {path, needed[i], 0};
        if (po_tree_is_nothing(po_tree_get(map, needed[i]))) {
            po_fault_add(c->faults, map->line, map->column, &at, "nothing",
                         po_arena_printf(c->arena, "the key %s, which a %s needs", needed[i], choice));
        }
    }
    for (size_t i = 0; foreign[i]; i++) {
        po_key_path at = {path, foreign[i], 0};
        po_node *node = po_tree_get(map, foreign[i]);
        if (node) {
            po_check_fault(c, node, &at, po_arena_printf(c->arena, "no %s with a %s", foreign[i], choice));
        }
    }
}

static bool chosen(const po_node *map, const char *key)
{
    const po_node *node = po_tree_get(map, key);
    return node && !node->faulted && node->kind == PO_NODE_TEXT;
}

static void finish_bed(po_check *c, po_node *map, const po_key_path *path, po_machine_draft *draft)
{
    static const char *const sides[] = {"x", "y", NULL}, *const across[] = {"diameter", NULL};
    po_machine *m = &draft->machine;
    po_node *bed = po_tree_get(map, "bed");
    po_key_path at = {path, "bed", 0};
    m->round_bed = draft->shape == 1;
    m->origin_centre = draft->origin == 1;
    if (bed && bed->kind == PO_NODE_MAP && chosen(bed, "shape")) {
        keys_of_choice(c, bed, &at, m->round_bed ? "circle" : "rectangle", m->round_bed ? across : sides,
                       m->round_bed ? sides : across);
    }
    m->bed_mm[0] = m->round_bed ? draft->bed_diameter : draft->bed_x;
    m->bed_mm[1] = m->round_bed ? draft->bed_diameter : draft->bed_y;
}

static void check_keep_outs(po_check *c, po_node *map, const po_key_path *path, const po_machine *m)
{
    po_node *bed = po_tree_get(map, "bed"), *list = po_tree_get(bed, "keep_out");
    if (isnan(m->bed_mm[0]) || isnan(m->bed_mm[1])) {
        return; /* said already */
    }
    po_range extent[2];
    po_machine_bed_extent(m, &extent[0], &extent[1]);
    for (size_t i = 0; list && i < m->n_keep_outs; i++) {
        po_key_path in = {path, "bed", 0}, outs = {&in, "keep_out", 0}, one = {&outs, NULL, i};
        const po_range *sides[2] = {&m->keep_outs[i].x, &m->keep_outs[i].y};
        for (int axis = 0; axis < 2; axis++) {
            const char *name = axis ? "y" : "x";
            po_node *node = po_tree_get(list->items[i], name);
            po_key_path at = {&one, name, 0};
            if (node && !node->faulted &&
                (sides[axis]->low < extent[axis].low || sides[axis]->high > extent[axis].high)) {
                po_check_fault_found(
                    c, node, &at, po_arena_printf(c->arena, "[%.15g, %.15g]", sides[axis]->low, sides[axis]->high),
                    po_arena_printf(c->arena, "a place on the bed, which goes from %.15g to %.15g in %s",
                                    extent[axis].low, extent[axis].high, name));
            }
        }
    }
}

static void finish_reach(po_check *c, po_node *map, const po_key_path *path, po_machine *m)
{
    static const char *const axes[] = {"x", "y", "z"};
    po_range bed[3];
    po_machine_bed_extent(m, &bed[0], &bed[1]);
    bed[2] = (po_range){0, m->height_mm};
    po_node *home = po_tree_get(map, "home"), *reach = po_tree_get(map, "reach");
    for (int axis = 0; axis < 3; axis++) {
        if (isnan(m->reach[axis].low)) {
            m->reach[axis] = bed[axis];
        }
        po_node *given = po_tree_get(reach, axes[axis]), *at_home = po_tree_get(home, axes[axis]);
        if ((given && given->faulted) || (at_home && at_home->faulted)) {
            continue;
        }
        if (m->home_mm[axis] < m->reach[axis].low || m->home_mm[axis] > m->reach[axis].high) {
            po_key_path in = {path, "home", 0}, at = {&in, axes[axis], 0};
            const char *found = po_arena_printf(c->arena, "%.15g", m->home_mm[axis]);
            const char *wanted = po_arena_printf(c->arena, "a place inside reach, which goes from %.15g to %.15g in %s",
                                                 m->reach[axis].low, m->reach[axis].high, axes[axis]);
            if (at_home) {
                po_check_fault_found(c, at_home, &at, found, wanted);
            } else { /* the default does not suit */
                const po_node *place = home ? home : map;
                po_fault_add(c->faults, place->line, place->column, &at, found, wanted);
            }
        }
    }
}

static void finish_motion(po_check *c, po_node *map, const po_key_path *path, po_machine_draft *draft)
{
    static const char *const steps[] = {"x", "y", "z", "e", NULL}, *const deviation[] = {"mm", NULL};
    po_limits *limits = &draft->machine.limits;
    po_node *corner = po_tree_get(po_tree_get(map, "motion"), "corner");
    po_key_path motion = {path, "motion", 0}, at = {&motion, "corner", 0};
    limits->corner = draft->corner == 0 ? PO_CORNER_STEP : PO_CORNER_DEVIATION;
    bool step = limits->corner == PO_CORNER_STEP;
    if (corner && corner->kind == PO_NODE_MAP && chosen(corner, "rule")) {
        keys_of_choice(c, corner, &at, step ? "step corner" : "deviation corner", step ? steps : deviation,
                       step ? deviation : steps);
    }
    for (int axis = 0; axis < 4; axis++) {
        limits->step_mm_s[axis] = step ? limits->step_mm_s[axis] : 0;
    }
    limits->deviation_mm = step ? 0 : limits->deviation_mm;
    limits->travel_mm_s2 = isnan(limits->travel_mm_s2) ? limits->print_mm_s2 : limits->travel_mm_s2;
    limits->retract_mm_s2 = isnan(limits->retract_mm_s2) ? limits->print_mm_s2 : limits->retract_mm_s2;
}

static void read_machine(po_check *c, po_node *map, const po_key_path *path, po_machine *ret)
{
    po_machine_draft draft = {0};
    po_check_map(c, map, path, &po_keys_machine, &draft);
    draft.machine.enclosure = (po_enclosure)draft.enclosure;
    draft.machine.head.given = !po_tree_is_nothing(po_tree_get(map, "head"));
    if (!po_check_over(c)) {
        finish_bed(c, map, path, &draft);
        check_keep_outs(c, map, path, &draft.machine);
        finish_reach(c, map, path, &draft.machine);
        finish_motion(c, map, path, &draft);
    }
    *ret = draft.machine;
}

/* A machine's name, or its stick's label, that machines[other] has already. */
static void taken(po_check *c, po_node *item, po_node *mine, po_node *others, const po_key_path *path, const char *what,
                  size_t other)
{
    const char *wanted = po_arena_printf(c->arena, "a %s of its own: machines[%zu] has it already", what, other);
    if (mine == others) { /* `<<` brought the other's along */
        po_fault_add(c->faults, item->line, item->column, path, po_tree_found(mine, c->arena), wanted);
    } else {
        po_check_fault(c, mine, path, wanted);
    }
}

static bool both_same(const char *a, const char *b)
{
    return a && b && po_text_same(a, b);
}

/* Machine i against those before it: its name, and its stick, which belongs to one machine only. */
static void own_names(po_check *c, po_node *list, size_t i, const po_key_path *path, const po_machine *machines)
{
    po_node *item = list->items[i], *label = po_tree_get(po_tree_get(item, "stick"), "label");
    po_key_path at = {path, NULL, i}, name_at = {&at, "name", 0}, stick_at = {&at, "stick", 0};
    po_key_path label_at = {&stick_at, "label", 0};
    bool name_taken = false, label_taken = false;
    for (size_t j = 0; j < i; j++) {
        po_node *other = list->items[j];
        if (!name_taken && both_same(machines[i].name, machines[j].name)) {
            taken(c, item, po_tree_get(item, "name"), po_tree_get(other, "name"), &name_at, "name", j);
            name_taken = true;
        }
        if (!label_taken && both_same(machines[i].stick_label, machines[j].stick_label)) {
            taken(c, item, label, po_tree_get(po_tree_get(other, "stick"), "label"), &label_at, "label", j);
            label_taken = true;
        }
    }
}

void po_check_machines(po_check *c, po_node *node, const po_key_path *path)
{
    if (node->kind != PO_NODE_LIST || !node->n) {
        po_check_fault(c, node, path, "a list of at least one machine");
        return;
    }
    if (node->n > PO_SHOP_MOST_NAMED) {
        po_check_fault(c, node, path, po_arena_printf(c->arena, "at most %d", PO_SHOP_MOST_NAMED));
        return;
    }
    po_machine *machines = po_arena_zeros(c->arena, node->n, sizeof *machines);
    if (!machines) {
        c->faults->failed = true;
        return;
    }
    for (size_t i = 0; i < node->n && !po_check_over(c); i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, NULL, i};
        if (item->kind != PO_NODE_MAP) {
            po_check_fault(c, item, &at, "a mapping with name, bed, height, nozzles, motion ...");
            continue;
        }
        read_machine(c, item, &at, &machines[i]);
        own_names(c, node, i, path, machines);
    }
    c->shop->machines = machines;
    c->shop->n_machines = node->n;
}

void po_check_recipes(po_check *c, po_node *node, const po_key_path *path)
{
    po_recipe *recipes = po_check_named(c, node, path, "a mapping of recipes by name", false, sizeof *recipes);
    if (!recipes) {
        return;
    }
    for (size_t i = 0; i < node->n && !po_check_over(c); i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, node->keys[i]->text, 0};
        po_recipe *r = &recipes[i];
        if (item->kind != PO_NODE_MAP) {
            po_check_fault(c, item, &at, "a mapping with layer, bead_width, walls ...");
            continue;
        }
        po_check_map(c, item, &at, &po_keys_recipe, r);
        r->name = node->keys[i]->text;
        r->first_layer_mm = isnan(r->first_layer_mm) ? r->layer_mm : r->first_layer_mm;
        r->first_layer_mm_s = isnan(r->first_layer_mm_s) ? r->wall_mm_s / 2 : r->first_layer_mm_s;
        po_node *width = po_tree_get(item, "bead_width");
        if (width && r->bead_width_mm > 0 && r->bead_width_mm < r->layer_mm) {
            po_key_path key = {&at, "bead_width", 0};
            po_check_fault(c, width, &key, "not less than layer: a bead is at least as wide as it is high");
        }
    }
    c->shop->recipes = recipes;
    c->shop->n_recipes = node->n;
}
