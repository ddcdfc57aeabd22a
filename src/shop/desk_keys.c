/* Keys of a shop file that the desk lives by: the book, what members hear, causes of failed runs, permissions that
 * lapse, sticks. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "base/text.h"
#include "shop/check.h"

/* Words that a message may hold in braces; docs/shop-file.md says what stands for them. */
static const char *const brace_words[] = {"run", "machine", "metres", "place", "until", "time", "number"};

/* Characters of a text; NUL bytes are refused by the tree. */
static size_t characters(const char *text)
{
    size_t n = 0;
    for (const char *p = text; *p; p++) {
        n += ((unsigned char)*p & 0xc0) != 0x80;
    }
    return n;
}

/* One line with something on it. */
static bool is_line(const po_node *node)
{
    return node->kind == PO_NODE_TEXT && node->text[strspn(node->text, " ")] && !strpbrk(node->text, "\n\t") &&
           characters(node->text) <= PO_SHOP_MOST_LINE;
}

static void read_line(po_check *c, po_node *node, const po_key_path *path, const po_key *key, const char **ret)
{
    bool fits = is_line(node);
    if (fits && key->own == PO_OWN_LEDGER) {
        fits = node->text[strlen(node->text) - 1] != '/'; /* that is a folder */
    } else if (fits && key->own == PO_OWN_STICK_MOUNT) {
        fits = node->text[0] == '/';
    }
    if (fits) {
        *ret = node->text;
    } else {
        po_check_fault(c, node, path, key->expects);
    }
}

/* The first thing wrong with the braces of a message: *ret_found and *ret_expected say it; false when all is well. */
static bool wrong_braces(po_check *c, const char *text, const char **ret_found, const char **ret_expected)
{
    enum { N_WORDS = sizeof brace_words / sizeof brace_words[0] };
    for (const char *p = text + strcspn(text, "{}"); *p; p += strcspn(p, "{}")) {
        const char *end = *p == '{' ? strchr(p, '}') : NULL;
        if (!end) {
            *ret_found = *p == '{' ? "a { without its }" : "a } without its {";
            *ret_expected = "braces around words such as {run}, and nowhere else";
            return true;
        }
        size_t n = (size_t)(end - p - 1), i = 0;
        while (i < N_WORDS && !(strlen(brace_words[i]) == n && !memcmp(brace_words[i], p + 1, n))) {
            i++;
        }
        if (i == N_WORDS) {
            const char *word = po_arena_text_n(c->arena, p + 1, n), *clip = po_tree_clip(p + 1, n, c->arena);
            const char *nearest = word ? po_nearest_name(word, brace_words, N_WORDS) : NULL;
            *ret_found = clip ? po_arena_printf(c->arena, "the unknown word {%s}", clip) : NULL;
            *ret_expected = nearest ? po_arena_printf(c->arena, "a known word in braces; the nearest is {%s}", nearest)
                                    : NULL;
            return true;
        }
        p = end + 1;
    }
    return false;
}

static void read_message(po_check *c, po_node *node, const po_key_path *path, const po_key *key, const char **ret)
{
    const char *found, *expected;
    if (node->kind != PO_NODE_TEXT || !node->text[strspn(node->text, " \n\t")] ||
        characters(node->text) > PO_SHOP_MOST_MESSAGE) {
        po_check_fault(c, node, path, key->expects);
    } else if (wrong_braces(c, node->text, &found, &expected)) {
        po_check_fault_found(c, node, path, found, expected);
    } else {
        *ret = node->text;
    }
}

/* An array of bools, one for each po_run_cause. The default is read from the very words that the manual shows. */
static void read_causes(po_check *c, po_node *node, const po_key_path *path, const po_key *key, bool *causes)
{
    for (int i = 0; i < PO_CAUSE_COUNT; i++) {
        causes[i] = strstr(key->preset_says, po_cause_name((po_run_cause)i)) != NULL;
    }
    if (!node) {
        return;
    }
    if (node->kind != PO_NODE_LIST) {
        po_check_fault(c, node, path, key->expects);
        return;
    }
    bool given[PO_CAUSE_COUNT] = {false};
    for (size_t i = 0; i < node->n && !po_check_over(c); i++) {
        po_node *item = node->items[i];
        po_key_path at = {path, NULL, i};
        po_run_cause cause;
        c->n_visits++;
        if (item->kind != PO_NODE_TEXT || !po_cause_from_name(item->text, &cause)) {
            po_check_fault(c, item, &at, "file, machine, material, power, handling or unknown");
        } else if (given[cause]) {
            po_check_fault(c, item, &at, "each cause once");
        } else {
            given[cause] = true;
        }
    }
    memcpy(causes, given, sizeof given);
}

static void read_lapses(po_check *c, po_node *node, const po_key_path *path, const po_key *key,
                        po_permission *permission)
{
    if (node->kind == PO_NODE_MAP) {
        po_check_map(c, node, path, &po_keys_lapses, permission);
    } else if (node->kind == PO_NODE_TEXT && !strcmp(node->text, "term")) {
        permission->lapses_with_term = true;
    } else if (node->kind != PO_NODE_TEXT || strcmp(node->text, "never") != 0) {
        po_check_fault(c, node, path, key->expects);
    }
}

void po_check_desk(po_check *c, po_node *node, const po_key_path *path, const po_key *key, void *base)
{
    char *at = (char *)base + key->offset;
    if (key->own == PO_OWN_CAUSES) {
        read_causes(c, node, path, key, (bool *)at);
        return;
    }
    if (key->own == PO_OWN_LAPSES) {
        if (node) {
            read_lapses(c, node, path, key, base);
        }
        return;
    }
    const char *text = key->own == PO_OWN_MESSAGE ? key->preset_says : NULL;
    if (node && key->own == PO_OWN_MESSAGE) {
        read_message(c, node, path, key, &text);
    } else if (node && key->own == PO_OWN_STICK_LABEL) {
        if (node->kind != PO_NODE_TEXT) {
            po_check_fault(c, node, path, key->expects);
        } else if (po_check_name(c, node, path, node->text)) {
            text = node->text;
        }
    } else if (node) {
        read_line(c, node, path, key, &text);
    }
    memcpy(at, &text, sizeof text);
}

void po_check_outbox(po_check *c, const po_node *map)
{
    const po_outbox *outbox = &c->shop->outbox;
    po_node *box = po_tree_get(map, "outbox"), *command = po_tree_get(box, "command");
    if (!outbox->on || outbox->command || (command && command->faulted)) {
        return;
    }
    po_key_path at = {NULL, "outbox", 0}, on = {&at, "on", 0};
    po_check_fault(c, po_tree_get(box, "on"), &on, "a command beside it, or false: nothing could be sent");
}
