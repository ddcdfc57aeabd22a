/* From the tree of a shop file to its structs, by the tables of keys.c. SPDX-License-Identifier: Apache-2.0
 *
 * Nothing stops at the first fault: a value that is wrong is reported and stands at its default from there on, so that
 * all the others are looked at too. What needs more than one key is checked in sections.c. */
#include "shop/check.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "shop/values.h"

bool po_check_over(po_check *c)
{
    return c->faults->failed || c->faults->full || c->n_visits > PO_CHECK_MOST_VISITS;
}

void po_check_fault_found(po_check *c, po_node *at, const po_key_path *path, const char *found, const char *expected)
{
    if (!at->faulted) {
        at->faulted = true;
        po_fault_add(c->faults, at->line, at->column, path, found, expected);
    }
}

void po_check_fault(po_check *c, po_node *at, const po_key_path *path, const char *expected)
{
    if (!at->faulted) {
        po_check_fault_found(c, at, path, po_tree_found(at, c->arena), expected);
    }
}

/* What a row wants, in words. */
static const char *expects(po_check *c, const po_key *key)
{
    const char *unit = key->unit ? key->unit : "", *gap = key->unit ? " " : "";
    switch (key->kind) {
    case PO_KEY_NUMBER:
        return po_arena_printf(c->arena, "a number from %.15g to %.15g%s%s", key->low, key->high, gap, unit);
    case PO_KEY_COUNT:
        return po_arena_printf(c->arena, "a whole number from %.15g to %.15g", key->low, key->high);
    case PO_KEY_BOOL:
        return "true or false";
    case PO_KEY_TEXT:
        return po_arena_printf(c->arena, "a text of %.15g to %.15g characters", key->low, key->high);
    case PO_KEY_RANGE:
        return po_arena_printf(c->arena, "two numbers [low, high] from %.15g to %.15g%s%s", key->low, key->high, gap,
                               unit);
    case PO_KEY_CHOICE: {
        po_text text;
        po_text_init(&text, c->arena);
        for (size_t i = 0; key->choices[i]; i++) {
            po_text_add(&text, i ? " or " : "");
            po_text_add(&text, key->choices[i]);
        }
        return text.failed ? NULL : text.data;
    }
    case PO_KEY_MAP: {
        po_text text;
        po_text_init(&text, c->arena);
        po_text_add(&text, "a mapping with");
        for (size_t i = 0; i < key->inside->n; i++) {
            po_text_printf(&text, "%s %s", i ? "," : "", key->inside->keys[i].name);
        }
        return text.failed ? NULL : text.data;
    }
    case PO_KEY_OWN:
        break;
    }
    return key->expects;
}

static bool in_bounds(const po_key *key, double value)
{
    return value >= key->low && value <= key->high; /* false for NAN */
}

/* A plain number within the row's bounds, or a fault. */
static bool read_number(po_check *c, po_node *node, const po_key_path *path, const po_key *key, double *ret)
{
    double value;
    if (node->kind == PO_NODE_TEXT && !node->quoted && po_value_number(node->text, node->n_text, &value) &&
        in_bounds(key, value) && (key->kind != PO_KEY_COUNT || value == floor(value))) {
        *ret = value;
        return true;
    }
    const char *hint = "";
    if (node->kind == PO_NODE_TEXT && node->quoted && po_value_number(node->text, node->n_text, &value)) {
        hint = ", without quotes";
    } else if (node->kind == PO_NODE_TEXT && memchr(node->text, ',', node->n_text)) {
        hint = ", with a point instead of a comma";
    }
    po_key one = *key;
    one.kind = key->kind == PO_KEY_RANGE ? PO_KEY_NUMBER : key->kind;
    const char *wanted = expects(c, &one);
    po_check_fault(c, node, path, wanted && *hint ? po_arena_printf(c->arena, "%s%s", wanted, hint) : wanted);
    return false;
}

static void read_range(po_check *c, po_node *node, const po_key_path *path, const po_key *key, po_range *ret)
{
    if (node->kind != PO_NODE_LIST || node->n != 2) {
        po_check_fault(c, node, path, expects(c, key));
        return;
    }
    po_range range;
    po_key_path low = {path, NULL, 0}, high = {path, NULL, 1};
    bool low_ok = read_number(c, node->items[0], &low, key, &range.low);
    bool high_ok = read_number(c, node->items[1], &high, key, &range.high);
    if (!low_ok || !high_ok) {
        return;
    }
    if (range.low > range.high) {
        po_check_fault_found(c, node, path, po_arena_printf(c->arena, "[%.15g, %.15g]", range.low, range.high),
                             "the lower number first");
        return;
    }
    *ret = range;
}

static void read_value(po_check *c, po_node *node, const po_key_path *path, const po_key *key, char *at)
{
    double number;
    switch (key->kind) {
    case PO_KEY_NUMBER:
        if (read_number(c, node, path, key, &number)) {
            memcpy(at, &number, sizeof number);
        }
        return;
    case PO_KEY_COUNT:
        if (read_number(c, node, path, key, &number)) {
            memcpy(at, &(int){(int)number}, sizeof(int));
        }
        return;
    case PO_KEY_BOOL: {
        bool plain = node->kind == PO_NODE_TEXT && !node->quoted;
        if (plain && (!strcmp(node->text, "true") || !strcmp(node->text, "false"))) {
            memcpy(at, &(bool){node->text[0] == 't'}, sizeof(bool));
        } else {
            po_check_fault(c, node, path, expects(c, key));
        }
        return;
    }
    case PO_KEY_TEXT:
        if (node->kind != PO_NODE_TEXT) {
            po_check_fault(c, node, path, expects(c, key));
        } else if (po_check_name(c, node, path, node->text)) {
            memcpy(at, &node->text, sizeof node->text);
        }
        return;
    case PO_KEY_RANGE: {
        po_range range;
        memcpy(&range, at, sizeof range);
        read_range(c, node, path, key, &range);
        memcpy(at, &range, sizeof range);
        return;
    }
    case PO_KEY_CHOICE:
        for (int i = 0; node->kind == PO_NODE_TEXT && key->choices[i]; i++) {
            if (!strcmp(node->text, key->choices[i])) {
                memcpy(at, &i, sizeof i);
                return;
            }
        }
        po_check_fault(c, node, path, expects(c, key));
        return;
    case PO_KEY_MAP:
        if (node->kind != PO_NODE_MAP) {
            po_check_fault(c, node, path, expects(c, key));
        } else {
            po_check_map(c, node, path, key->inside, at);
        }
        return;
    case PO_KEY_OWN:
        return;
    }
}

static void preset(po_check *c, const po_key_path *path, const po_key *key, char *at)
{
    switch (key->kind) {
    case PO_KEY_NUMBER:
        memcpy(at, &key->preset, sizeof key->preset);
        break;
    case PO_KEY_COUNT:
    case PO_KEY_CHOICE:
        memcpy(at, &(int){(int)key->preset}, sizeof(int));
        break;
    case PO_KEY_BOOL:
        memcpy(at, &(bool){key->preset != 0}, sizeof(bool));
        break;
    case PO_KEY_RANGE:
        memcpy(at, &(po_range){key->preset, key->preset_high}, sizeof(po_range));
        break;
    case PO_KEY_MAP:
        po_check_map(c, NULL, path, key->inside, at);
        break;
    case PO_KEY_TEXT: /* every text is required or read by hand */
    case PO_KEY_OWN:
        break;
    }
}

/* A key that no row knows: the fault stands at the key and names the nearest one. */
static void unknown_key(po_check *c, po_node *name, const po_key_path *path, const po_key_table *table)
{
    if (name->faulted) {
        return;
    }
    size_t best = 0, best_distance = SIZE_MAX;
    for (size_t i = 0; i < table->n; i++) {
        size_t distance = po_text_distance(name->text, table->keys[i].name);
        if (distance < best_distance) {
            best = i;
            best_distance = distance;
        }
    }
    const char *clip = po_tree_clip(name->text, name->n_text, c->arena);
    po_check_fault_found(c, name, path, clip ? po_arena_printf(c->arena, "the unknown key \"%s\"", clip) : NULL,
                         po_arena_printf(c->arena, "a known key; the nearest is %s", table->keys[best].name));
}

/* Whether a key that should be there was probably written otherwise: that unknown key has its own fault. */
static bool misspelt(const po_node *map, const po_key_table *table, const char *key)
{
    enum { MOST_KEYS = 64 }; /* more than any table has: a larger mapping holds something else */
    for (size_t i = 0; i < map->n && i < MOST_KEYS; i++) {
        const char *name = map->keys[i]->text;
        size_t distance = po_text_distance(name, key);
        bool known = false;
        for (size_t k = 0; k < table->n && !known; k++) {
            known = !strcmp(table->keys[k].name, name);
        }
        if (!known && distance <= 2 && distance * 3 <= strlen(key)) {
            return true;
        }
    }
    return false;
}

void po_check_map(po_check *c, po_node *map, const po_key_path *path, const po_key_table *table, void *base)
{
    for (size_t i = 0; map && i < map->n && !po_check_over(c); i++) {
        c->n_visits++;
        bool known = false;
        for (size_t k = 0; k < table->n && !known; k++) {
            known = !strcmp(table->keys[k].name, map->keys[i]->text);
        }
        if (!known) {
            po_key_path at = {path, map->keys[i]->text, 0};
            unknown_key(c, map->keys[i], &at, table);
        }
    }
    for (size_t k = 0; k < table->n && !po_check_over(c); k++) {
        const po_key *key = &table->keys[k];
        po_key_path at = {path, key->name, 0};
        char *target = (char *)base + key->offset;
        po_node *node = po_tree_get(map, key->name);
        c->n_visits++;
        preset(c, &at, key, target);
        if (!po_tree_is_nothing(node)) {
            if (key->kind == PO_KEY_OWN) {
                po_check_own(c, node, &at, key, base);
            } else {
                read_value(c, node, &at, key, target);
            }
        } else if (key->required && map) {
            const char *wanted = expects(c, key);
            if (node) {
                po_check_fault(c, node, &at, wanted);
            } else if (!misspelt(map, table,
                                 key->name)) { /* the place is the mapping's; the key tells two missing ones apart */
                po_fault_add(c->faults, map->line, map->column, &at, "nothing",
                             wanted ? po_arena_printf(c->arena, "the key %s: %s", key->name, wanted) : NULL);
            }
        } else if (key->kind == PO_KEY_OWN) {
            po_check_own(c, NULL, &at, key, base); /* its default */
        }
    }
    if (c->n_visits > PO_CHECK_MOST_VISITS && map && !c->faults->limit) {
        c->faults->limit = true;
        po_fault_add(c->faults, map->line, map->column, path, "aliases that stand for more than a shop file may hold",
                     po_arena_printf(c->arena, "at most %d values in all", PO_CHECK_MOST_VISITS));
    }
}

bool po_check_name(po_check *c, po_node *node, const po_key_path *path, const char *name)
{
    size_t chars = 0, n = strlen(name);
    for (const char *p = name; *p; p++) {
        chars += ((unsigned char)*p & 0xc0) != 0x80;
    }
    bool ends = n && name[0] != ' ' && name[n - 1] != ' ';
    if (n && chars <= PO_SHOP_MOST_NAME && ends && !strpbrk(name, ",\n\t")) {
        return true;
    }
    po_check_fault(
        c, node, path,
        po_arena_printf(c->arena, "a name of 1 to %d characters, no comma, no blank at its ends", PO_SHOP_MOST_NAME));
    return false;
}

const char *po_check_expect_name(po_check *c, const char *what, const char *name,
                                 const char *(*at)(const po_check *, size_t), size_t n)
{
    const char *best = NULL;
    size_t best_distance = SIZE_MAX;
    for (size_t i = 0; i < n; i++) {
        size_t distance = po_text_distance(name, at(c, i));
        if (distance < best_distance) {
            best = at(c, i);
            best_distance = distance;
        }
    }
    return best ? po_arena_printf(c->arena, "a %s of this file; the nearest is %s", what, best)
                : po_arena_printf(c->arena, "a %s of this file, and it has none", what);
}
