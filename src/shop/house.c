/* Care, circuits and what else belongs to the house in a shop file. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "base/text.h"
#include "shop/check.h"

static const char *machine_at(const po_check *c, size_t i)
{
    return c->shop->machines[i].name;
}

static const char *material_at(const po_check *c, size_t i)
{
    return c->shop->materials[i].name;
}

/* Names of machines or materials of this file as indices, each once. */
static void read_names(po_check *c, po_node *node, const po_key_path *path, const po_key *key, po_indices *ret)
{
    bool machines = key->own == PO_OWN_MACHINE_NAMES;
    size_t *of = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_SHOP_MOST_NAMED, sizeof *of), n = 0;
    if (of && !node->n) {
        po_check_fault(c, node, path, key->expects);
    }
    for (size_t i = 0; of && i < node->n && !po_check_over(c); i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, NULL, i};
        const char *name = item->kind == PO_NODE_TEXT ? item->text : "";
        const po_machine *machine = machines ? po_shop_machine(c->shop, name) : NULL;
        const po_material *material = machines ? NULL : po_shop_material(c->shop, name);
        c->n_visits++;
        if (!machine && !material) {
            if (!item->faulted) {
                po_check_fault(c, item, &at,
                               machines ? po_check_expect_name(c, "machine", name, machine_at, c->shop->n_machines)
                                        : po_check_expect_name(c, "material", name, material_at, c->shop->n_materials));
            }
            continue;
        }
        size_t index = machine ? (size_t)(machine - c->shop->machines) : (size_t)(material - c->shop->materials);
        po_indices so_far = {of, n};
        if (n > 0 && po_indices_hold(&so_far, index)) {
            po_check_fault(c, item, &at, "each name once");
        } else {
            of[n++] = index;
        }
    }
    *ret = (po_indices){of, n};
}

static void read_tasks(po_check *c, po_node *node, const po_key_path *path)
{
    po_task *tasks = po_check_named(c, node, path, "a mapping of tasks by name", false, sizeof *tasks);
    for (size_t i = 0; tasks && i < node->n && !po_check_over(c); i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, node->keys[i]->text, 0};
        tasks[i].name = node->keys[i]->text;
        if (item->kind != PO_NODE_MAP) {
            po_check_fault(c, item, &at, "a mapping with says, and one of hours, metres, starts, days");
            continue;
        }
        po_check_map(c, item, &at, &po_keys_task, &tasks[i]);
        if (!tasks[i].says) {
            tasks[i].says = tasks[i].name;
        }
        if (!item->faulted && !(tasks[i].hours > 0) && !(tasks[i].metres > 0) && !tasks[i].starts && !tasks[i].days) {
            po_check_fault(c, item, &at, "one of hours, metres, starts and days above 0: else it is never due");
        }
    }
    c->shop->tasks = tasks;
    c->shop->n_tasks = tasks ? node->n : 0;
}

static void read_circuits(po_check *c, po_node *node, const po_key_path *path)
{
    po_circuit *circuits = po_check_named(c, node, path, "a mapping of circuits by name", false, sizeof *circuits);
    for (size_t i = 0; circuits && i < node->n && !po_check_over(c); i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, node->keys[i]->text, 0};
        circuits[i].name = node->keys[i]->text;
        if (item->kind != PO_NODE_MAP) {
            po_check_fault(c, item, &at, "a mapping with amps, volts and machines");
            continue;
        }
        po_check_map(c, item, &at, &po_keys_circuit, &circuits[i]);
        for (size_t k = 0; k < circuits[i].machines.n; k++) {
            for (size_t j = 0; j < i; j++) { /* fed by two circuits it would count twice */
                if (circuits[j].machines.n && po_indices_hold(&circuits[j].machines, circuits[i].machines.of[k])) {
                    po_key_path names = {&at, "machines", 0}, one = {&names, NULL, k};
                    po_node *list = po_tree_get(item, "machines");
                    po_check_fault(
                        c, list->items[k], &one,
                        po_arena_printf(c->arena, "a machine that circuit %s does not feed already", circuits[j].name));
                }
            }
        }
    }
    c->shop->circuits = circuits;
    c->shop->n_circuits = circuits ? node->n : 0;
}

static void read_text(po_check *c, po_node *node, const po_key_path *path, const po_key *key, const char **ret)
{
    if (node->kind == PO_NODE_TEXT && node->text[strspn(node->text, " ")] && !strpbrk(node->text, "\n\t") &&
        strlen(node->text) <= PO_SHOP_MOST_LINE) {
        *ret = node->text;
    } else {
        po_check_fault(c, node, path, key->expects);
    }
}

void po_check_house(po_check *c, po_node *node, const po_key_path *path, const po_key *key, void *base)
{
    void *at = (char *)base + key->offset;
    switch ((int)key->own) {
    case PO_OWN_TASKS:
        read_tasks(c, node, path);
        return;
    case PO_OWN_CIRCUITS:
        read_circuits(c, node, path);
        return;
    case PO_OWN_MACHINE_NAMES:
    case PO_OWN_MATERIALS_OF:
        read_names(c, node, path, key, at);
        return;
    default:
        read_text(c, node, path, key, at);
    }
}
