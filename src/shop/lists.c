/* Keys of a shop file that hold lists and words of their own form. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "shop/check.h"
#include "shop/values.h"

void *po_check_room(po_check *c, po_node *node, const po_key_path *path, po_node_kind kind, const char *expected,
                    size_t most, size_t size)
{
    if (node->kind != kind) {
        po_check_fault(c, node, path, expected);
        return NULL;
    }
    if (node->n > most) {
        po_check_fault(c, node, path, po_arena_printf(c->arena, "at most %zu", most));
        return NULL;
    }
    void *items = po_arena_zeros(c->arena, node->n, size);
    c->faults->failed |= !items;
    return items;
}

static int by_from(const void *a, const void *b)
{
    const po_span_minutes *x = a, *y = b;
    return (x->from > y->from) - (x->from < y->from);
}

static void read_spans(po_check *c, po_node *node, const po_key_path *path, const po_key *key, po_day_hours *day)
{
    po_span_minutes *spans = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_SHOP_MOST_SPANS,
                                           sizeof *spans);
    size_t n = 0;
    for (size_t i = 0; spans && i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, NULL, i};
        bool backwards = false;
        if (item->kind != PO_NODE_TEXT || !po_value_span(item->text, item->n_text, &spans[n], &backwards)) {
            po_check_fault(c, item, &at,
                           backwards ? "an end later than the beginning, on the same day (at most 24:00)"
                                     : "a span such as \"10:00-20:00\"");
            continue;
        }
        for (size_t j = 0; j < n; j++) {
            if (spans[n].from < spans[j].to && spans[j].from < spans[n].to) {
                po_check_fault(c, item, &at,
                               po_arena_printf(c->arena, "a span that does not overlap %d:%02d-%d:%02d",
                                               spans[j].from / 60, spans[j].from % 60, spans[j].to / 60,
                                               spans[j].to % 60));
                break;
            }
        }
        n++;
    }
    if (n) {
        qsort(spans, n, sizeof *spans, by_from);
    }
    *day = (po_day_hours){spans, n};
}

static void read_closed(po_check *c, po_node *node, const po_key_path *path, const po_key *key)
{
    po_dates *dates = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_SHOP_MOST_NAMED, sizeof *dates);
    size_t n = 0;
    for (size_t i = 0; dates && i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, NULL, i};
        bool backwards = false;
        if (item->kind == PO_NODE_TEXT &&
            po_value_dates(item->text, item->n_text, true, &dates[n].from, &dates[n].to, &backwards)) {
            n++;
        } else {
            po_check_fault(c, item, &at,
                           backwards ? "a last day that is not before the first"
                                     : "a day that exists, such as 2026-12-24, or first/last day");
        }
    }
    c->shop->closed = dates;
    c->shop->n_closed = n;
}

/* A list of paths; what follows it in the struct is their number. */
static void read_paths(po_check *c, po_node *node, const po_key_path *path, const po_key *key, void *base)
{
    enum { MOST = 16 };
    char *at = (char *)base + key->offset;
    const char **paths = po_check_room(c, node, path, PO_NODE_LIST, key->expects, MOST, sizeof *paths);
    size_t n = 0;
    for (size_t i = 0; paths && i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at_item = {path, NULL, i};
        if (item->kind == PO_NODE_TEXT && item->n_text > 0 && !strpbrk(item->text, "\n\t")) {
            paths[n++] = item->text;
        } else {
            po_check_fault(c, item, &at_item, "a path such as opening.ics");
        }
    }
    memcpy(at, &paths, sizeof paths);
    memcpy(at + sizeof paths, &n, sizeof n);
}

static void read_terms(po_check *c, po_node *node, const po_key_path *path, const po_key *key)
{
    po_dates *terms = po_check_room(c, node, path, PO_NODE_MAP, key->expects, PO_SHOP_MOST_NAMED, sizeof *terms);
    size_t n = 0;
    for (size_t i = 0; terms && i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, node->keys[i]->text, 0};
        bool backwards = false;
        if (!po_check_name(c, node->keys[i], &at, node->keys[i]->text)) {
            continue;
        }
        if (item->kind == PO_NODE_TEXT &&
            po_value_dates(item->text, item->n_text, false, &terms[n].from, &terms[n].to, &backwards)) {
            terms[n++].name = node->keys[i]->text;
        } else {
            po_check_fault(c, item, &at,
                           backwards ? "a term that does not end before it begins"
                                     : "first/last day, such as 2026-09-21/2026-12-18, both days that exist");
        }
    }
    c->shop->terms = terms;
    c->shop->n_terms = n;
}

static bool is_zone(const char *zone)
{
    if (!*zone || strlen(zone) > 60 || *zone == '/' || strstr(zone, "..")) {
        return false;
    }
    for (const char *p = zone; *p; p++) {
        bool letter = (*p >= 'A' && *p <= 'Z') || (*p >= 'a' && *p <= 'z') || (*p >= '0' && *p <= '9');
        if (!letter && !strchr("/_-+", *p)) {
            return false;
        }
    }
    return true;
}

static bool is_currency(const char *code)
{
    return strlen(code) == 3 && strspn(code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == 3;
}

static void read_short_text(po_check *c, po_node *node, const po_key_path *path, const po_key *key, const char *preset,
                            bool (*fits)(const char *), const char **ret)
{
    *ret = preset;
    if (node && node->kind == PO_NODE_TEXT && fits(node->text)) {
        *ret = node->text;
    } else if (node) {
        po_check_fault(c, node, path, key->expects);
    }
}

/* "m900" -> "M900"; NULL: no word of a job */
static const char *job_word(po_check *c, const char *text)
{
    size_t n = strlen(text), digits = strspn(text + (n > 0), "0123456789");
    const char *rest = text + (n > 0) + digits;
    bool tenth = *rest == '.' && rest[1] >= '0' && rest[1] <= '9' && !rest[2];
    if (!n || !strchr("GMTgmt", text[0]) || !digits || digits > 6 || (*rest && !tenth)) {
        return NULL;
    }
    const char *number = text + 1;
    while (number[0] == '0' && number[1] >= '0' && number[1] <= '9') {
        number++; /* G01 is G1 */
    }
    const char *word = po_arena_printf(c->arena, "%c%s", text[0] & ~0x20, number);
    c->faults->failed |= !word;
    return word;
}

static void read_words(po_check *c, po_node *node, const po_key_path *path, const po_key *key)
{
    const char **words = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_SHOP_MOST_NAMED, sizeof *words);
    size_t n = 0;
    for (size_t i = 0; words && i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, NULL, i};
        const char *word = item->kind == PO_NODE_TEXT ? job_word(c, item->text) : NULL;
        if (word) {
            words[n++] = word;
        } else {
            po_check_fault(c, item, &at, "a word of a job such as M900: G, M or T and a number");
        }
    }
    c->shop->rules.harmless_words = words;
    c->shop->rules.n_harmless_words = n;
}

static bool is_finding(po_check *c, po_node *name, const po_key_path *path)
{
    for (size_t i = 0; i < c->n_findings; i++) {
        if (!strcmp(c->findings[i], name->text)) {
            return true;
        }
    }
    if (!c->findings) {
        return true;
    }
    const char *nearest = po_nearest_name(name->text, c->findings, c->n_findings);
    po_check_fault_found(c, name, path, po_arena_printf(c->arena, "the unknown finding \"%s\"", name->text),
                         po_arena_printf(c->arena, "a known finding; the nearest is %s", nearest ? nearest : "none"));
    return false;
}

static void read_grades(po_check *c, po_node *node, const po_key_path *path, const po_key *key)
{
    static const struct {
        const char *word;
        po_grade grade;
    } grades[] = {{"off", PO_GRADE_OFF}, {"note", PO_GRADE_NOTE}, {"ask", PO_GRADE_ASK}, {"stop", PO_GRADE_STOP}};
    po_grade_change *changes = po_check_room(c, node, path, PO_NODE_MAP, key->expects, PO_SHOP_MOST_NAMED,
                                             sizeof *changes);
    size_t n = 0;
    for (size_t i = 0; changes && i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, node->keys[i]->text, 0};
        if (!po_check_name(c, node->keys[i], &at, node->keys[i]->text) || !is_finding(c, node->keys[i], &at)) {
            continue;
        }
        size_t g = 0;
        while (g < 4 && !(item->kind == PO_NODE_TEXT && !strcmp(item->text, grades[g].word))) {
            g++;
        }
        if (g < 4) {
            changes[n++] = (po_grade_change){node->keys[i]->text, grades[g].grade};
        } else {
            po_check_fault(c, item, &at, "stop, ask, note or off");
        }
    }
    c->shop->rules.grades = changes;
    c->shop->rules.n_grades = n;
}

static void read_implies(po_check *c, po_node *node, const po_key_path *path, const po_key *key,
                         po_permission *permission)
{
    const char **names = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_SHOP_MOST_NAMED, sizeof *names);
    size_t n = 0;
    for (size_t i = 0; names && i < node->n; i++) {
        po_key_path at = {path, NULL, i};
        if (node->items[i]->kind == PO_NODE_TEXT) {
            names[n++] = node->items[i]->text; /* whether they exist is seen when all are known */
        } else {
            po_check_fault(c, node->items[i], &at, "the name of a permission");
        }
    }
    permission->implies = names;
    permission->n_implies = n;
}

static const char *permission_at(const po_check *c, size_t i)
{
    return c->shop->permissions[i].name;
}

static const char *material_at(const po_check *c, size_t i)
{
    return c->shop->materials[i].name;
}

static void read_permission_name(po_check *c, po_node *node, const po_key_path *path, po_machine *machine)
{
    const po_permission *permission = node->kind == PO_NODE_TEXT ? po_shop_permission(c->shop, node->text) : NULL;
    if (permission) {
        machine->permission = permission->name;
    } else if (!node->faulted) {
        po_check_fault(c, node, path,
                       po_check_expect_name(c, "permission", node->kind == PO_NODE_TEXT ? node->text : "",
                                            permission_at, c->shop->n_permissions));
    }
}

static void read_material_names(po_check *c, po_node *node, const po_key_path *path, const po_key *key,
                                po_machine *machine)
{
    size_t *indices = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_SHOP_MOST_NAMED, sizeof *indices);
    size_t n = 0;
    if (indices && !node->n) {
        po_check_fault(c, node, path, key->expects);
    }
    for (size_t i = 0; indices && i < node->n; i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, NULL, i};
        c->n_visits++;
        const po_material *material = item->kind == PO_NODE_TEXT ? po_shop_material(c->shop, item->text) : NULL;
        if (!material) {
            if (!item->faulted) {
                po_check_fault(c, item, &at,
                               po_check_expect_name(c, "material", item->kind == PO_NODE_TEXT ? item->text : "",
                                                    material_at, c->shop->n_materials));
            }
            continue;
        }
        size_t index = (size_t)(material - c->shop->materials);
        bool again = false;
        for (size_t j = 0; j < n; j++) {
            again |= indices[j] == index;
        }
        if (again) {
            po_check_fault(c, item, &at, "each material once");
        } else {
            indices[n++] = index;
        }
    }
    machine->materials = indices;
    machine->n_materials = n;
}

static void read_keep_outs(po_check *c, po_node *node, const po_key_path *path, const po_key *key, po_machine *machine)
{
    po_keep_out *outs = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_SHOP_MOST_KEEP_OUTS, sizeof *outs);
    for (size_t i = 0; outs && i < node->n; i++) {
        po_key_path at = {path, NULL, i};
        if (node->items[i]->kind == PO_NODE_MAP) {
            po_check_map(c, node->items[i], &at, &po_keys_keep_out, &outs[i]);
        } else {
            po_check_fault(c, node->items[i], &at, "a mapping with x, y and below_z");
        }
    }
    machine->keep_outs = outs;
    machine->n_keep_outs = outs ? node->n : 0;
}

static void read_nozzles(po_check *c, po_node *node, const po_key_path *path, const po_key *key, po_machine *machine)
{
    po_nozzle *nozzles = po_check_room(c, node, path, PO_NODE_LIST, key->expects, PO_MAX_TOOLS, sizeof *nozzles);
    if (nozzles && !node->n) {
        po_check_fault(c, node, path, key->expects);
    }
    for (size_t i = 0; nozzles && i < node->n; i++) {
        po_key_path at = {path, NULL, i};
        if (node->items[i]->kind == PO_NODE_MAP) {
            po_check_map(c, node->items[i], &at, &po_keys_nozzle, &nozzles[i]);
        } else {
            po_check_fault(c, node->items[i], &at, "a mapping with diameter, hottest_c and melt_mm3_s");
        }
    }
    machine->nozzles = nozzles;
    machine->n_nozzles = nozzles ? node->n : 0;
}

void po_check_own(po_check *c, po_node *node, const po_key_path *path, const po_key *key, void *base)
{
    if (key->own == PO_OWN_ZONE) {
        read_short_text(c, node, path, key, "UTC", is_zone, &c->shop->time_zone);
        return;
    }
    if (key->own == PO_OWN_CURRENCY) {
        read_short_text(c, node, path, key, "", is_currency, &c->shop->currency);
        return;
    }
    if (key->own >= PO_OWN_TASKS) {
        if (node) {
            po_check_house(c, node, path, key, base);
        }
        return;
    }
    if (key->own >= PO_OWN_LEDGER) {
        po_check_desk(c, node, path, key, base);
        return;
    }
    if (!node) {
        return; /* the default of all others is nothing: the structs are zeroed */
    }
    po_machine *machine = &((po_machine_draft *)base)->machine; /* used by rows of machines only */
    switch (key->own) {
    case PO_OWN_SPANS:
        read_spans(c, node, path, key, (po_day_hours *)((char *)base + key->offset));
        return;
    case PO_OWN_CLOSED:
        read_closed(c, node, path, key);
        return;
    case PO_OWN_PATHS:
        read_paths(c, node, path, key, base);
        return;
    case PO_OWN_TERMS:
        read_terms(c, node, path, key);
        return;
    case PO_OWN_WORDS:
        read_words(c, node, path, key);
        return;
    case PO_OWN_GRADES:
        read_grades(c, node, path, key);
        return;
    case PO_OWN_PERMISSIONS:
        po_check_permissions(c, node, path);
        return;
    case PO_OWN_MATERIALS:
        po_check_materials(c, node, path);
        return;
    case PO_OWN_MACHINES:
        po_check_machines(c, node, path);
        return;
    case PO_OWN_RECIPES:
        po_check_recipes(c, node, path);
        return;
    case PO_OWN_IMPLIES:
        read_implies(c, node, path, key, base);
        return;
    case PO_OWN_KEEP_OUTS:
        read_keep_outs(c, node, path, key, machine);
        return;
    case PO_OWN_NOZZLES:
        read_nozzles(c, node, path, key, machine);
        return;
    case PO_OWN_MATERIAL_NAMES:
        read_material_names(c, node, path, key, machine);
        return;
    case PO_OWN_PERMISSION_NAME:
        read_permission_name(c, node, path, machine);
        return;
    case PO_OWN_ZONE:
    case PO_OWN_CURRENCY:
    case PO_OWN_LEDGER:
    case PO_OWN_COMMAND:
    case PO_OWN_MESSAGE:
    case PO_OWN_CAUSES:
    case PO_OWN_LAPSES:
    case PO_OWN_STICK_LABEL:
    case PO_OWN_STICK_MOUNT:
    case PO_OWN_TASKS:
    case PO_OWN_CIRCUITS:
    case PO_OWN_MACHINE_NAMES:
    case PO_OWN_MATERIALS_OF:
    case PO_OWN_FOLDER:
    case PO_OWN_NONE:
        return;
    }
}
