/* A shop file's text as a tree with places. SPDX-License-Identifier: Apache-2.0
 *
 * libyaml splits the text into events; this file builds the tree, ties aliases to anchors and carries out merges
 * (yaml.org/type/merge.html, 2005). Nothing is recursive, and an alias costs nothing: it points at the node that the
 * anchor names, so a file of aliases to aliases stays as small as its text. Every cap of tree.h ends in a fault.
 *
 * Bytes are looked at before libyaml sees them: it must be UTF-8 (RFC 3629) without control characters, so that
 * columns can be trusted and no message carries an escape sequence. */
#include "shop/tree.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

#include "base/text.h"

static uint32_t hash_text(const char *s, size_t n)
{
    uint32_t h = 2166136261u; /* FNV-1a, 32 bits */
    for (size_t i = 0; i < n; i++) {
        h = (h ^ (unsigned char)s[i]) * 16777619u;
    }
    return h;
}

const char *po_tree_clip(const char *text, size_t n, po_arena *arena)
{
    enum { MOST = 48 };
    size_t bytes = 0, chars = 0;
    while (bytes < n && chars < MOST) {
        bytes++;
        while (bytes < n && ((unsigned char)text[bytes] & 0xc0) == 0x80) {
            bytes++;
        }
        chars++;
    }
    char *copy = bytes < n ? po_arena_printf(arena, "%.*s...", (int)bytes, text) : po_arena_text_n(arena, text, n);
    if (!copy) {
        return NULL;
    }
    for (size_t i = 0; i < bytes; i++) {
        unsigned char c = (unsigned char)text[i];
        copy[i] = (char)(c < 0x20 || c == 0x7f ? '?' : c);
    }
    return copy;
}

bool po_tree_is_nothing(const po_node *node)
{
    return !node || (node->kind == PO_NODE_TEXT && !node->quoted &&
                     (!node->n_text || !strcmp(node->text, "~") || !strcmp(node->text, "null")));
}

const char *po_tree_found(const po_node *node, po_arena *arena)
{
    if (po_tree_is_nothing(node)) {
        return "nothing";
    }
    if (node->kind == PO_NODE_LIST) {
        return node->n ? po_arena_printf(arena, "a list of %zu", node->n) : "an empty list";
    }
    if (node->kind == PO_NODE_MAP) {
        return node->n ? "a mapping" : "an empty mapping";
    }
    const char *clip = po_tree_clip(node->text, node->n_text, arena);
    return clip ? po_arena_printf(arena, "\"%s\"", clip) : NULL;
}

po_node *po_tree_get(const po_node *map, const char *key)
{
    if (!map || map->kind != PO_NODE_MAP) {
        return NULL;
    }
    uint32_t hash = hash_text(key, strlen(key));
    for (size_t i = 0; i < map->n; i++) {
        if (map->keys[i]->hash == hash && !strcmp(map->keys[i]->text, key)) {
            return map->items[i];
        }
    }
    return NULL;
}

/* ---- bytes ---- */

/* Whether every byte may stand in a shop file; the first that may not is a fault. */
static bool check_bytes(const char *text, size_t n_bytes, po_fault_list *faults)
{
    const unsigned char *p = (const unsigned char *)text;
    uint32_t line = 1, column = 1;
    for (size_t i = 0; i < n_bytes;) {
        unsigned c = p[i];
        if (c == '\n' || (c == '\r' && !(i + 1 < n_bytes && p[i + 1] == '\n'))) {
            line++;
            column = 1;
            i++;
            continue;
        }
        size_t n = po_utf8_length(p + i, n_bytes - i);
        bool control = (c < 0x20 && c != '\t' && c != '\r') || c == 0x7f;
        /* libyaml takes U+0085, U+2028 and U+2029 for line ends, editors do not: lines would be counted apart */
        bool hidden_line = (n == 2 && c == 0xc2 && p[i + 1] == 0x85) ||
                           (n == 3 && c == 0xe2 && p[i + 1] == 0x80 && (p[i + 2] == 0xa8 || p[i + 2] == 0xa9));
        if (n == 0 && (c == 0xff || c == 0xfe) && i == 0) {
            po_fault_add(faults, 1, 1, NULL, "text in UTF-16", "text in UTF-8");
            return false;
        }
        if (n == 0 || control || hidden_line) {
            po_fault_add(faults, line, column, NULL,
                         n == 0    ? po_arena_printf(faults->arena, "byte 0x%02X, which is not UTF-8", c)
                         : control ? po_arena_printf(faults->arena, "control character 0x%02X", c)
                                   : "a line separator that editors do not count as a line end",
                         "text in UTF-8 without control characters");
            return false;
        }
        if (i == 0 && n == 3 && c == 0xef && p[1] == 0xbb && p[2] == 0xbf) {
            i += 3; /* a byte order mark has no column */
            continue;
        }
        i += n;
        column++;
    }
    return true;
}

/* The line that holds a place, for a closer look at what libyaml refused. *line is cut to the last line of the text:
 * libyaml ends a last line that has no end by itself. */
static const char *line_start(const char *text, size_t n_bytes, uint32_t *line, size_t *ret_n)
{
    const char *p = text, *end = text + n_bytes;
    uint32_t at = 1;
    for (const char *lf; at < *line && (lf = memchr(p, '\n', (size_t)(end - p))) != NULL; at++) {
        p = lf + 1;
    }
    *line = at;
    const char *lf = memchr(p, '\n', (size_t)(end - p));
    *ret_n = (size_t)((lf ? lf : end) - p);
    return p;
}

static uint32_t n_chars(const char *text, size_t n)
{
    uint32_t chars = 0;
    for (size_t i = 0; i < n; i++) {
        chars += ((unsigned char)text[i] & 0xc0) != 0x80;
    }
    return chars;
}

/* ---- building ---- */

typedef struct builder {
    po_arena *arena;
    po_fault_list *faults;
    po_node *open[PO_TREE_MOST_DEPTH];  /* containers whose end is still to come */
    po_node *key[PO_TREE_MOST_DEPTH];   /* mapping: key that waits for its value */
    po_key_path in[PO_TREE_MOST_DEPTH]; /* the way to each of them; that to the root is never looked at */
    size_t depth;
    po_node *root;
    size_t n_nodes, n_aliases, n_merged, n_anchors;
    struct {
        const char *name;
        po_node *node;
    } anchors[PO_TREE_MOST_ANCHORS];
    bool stop;
} builder;

/* The way to what is read next; own is room for its last step. NULL: the root. */
static const po_key_path *way(const builder *b, po_key_path *own)
{
    if (b->depth == 0) {
        return NULL;
    }
    const po_node *parent = b->open[b->depth - 1], *key = b->key[b->depth - 1];
    const po_key_path *up = b->depth > 1 ? &b->in[b->depth - 1] : NULL;
    if (parent->kind == PO_NODE_MAP && !(key && key->kind == PO_NODE_TEXT)) {
        return up; /* a key is being read */
    }
    *own = (po_key_path){up, parent->kind == PO_NODE_MAP ? key->text : NULL, parent->n};
    return own;
}

static void fault(builder *b, const po_node *at, const char *found, const char *expected)
{
    po_key_path own;
    po_fault_add(b->faults, at->line, at->column, way(b, &own), found, expected);
}

static void over_limit(builder *b, uint32_t line, uint32_t column, const char *found, const char *expected)
{
    po_key_path own;
    po_fault_add(b->faults, line, column, way(b, &own), found, expected);
    b->faults->limit = true;
    b->stop = true;
}

static void fail(builder *b)
{
    b->faults->failed = true;
    b->stop = true;
}

static po_node *new_node(builder *b, po_node_kind kind, const yaml_mark_t *mark)
{
    uint32_t line = mark->line < UINT32_MAX ? (uint32_t)mark->line + 1 : UINT32_MAX;
    uint32_t column = mark->column < UINT32_MAX ? (uint32_t)mark->column + 1 : UINT32_MAX;
    if (++b->n_nodes > PO_TREE_MOST_NODES) {
        over_limit(b, line, column, "more values than a shop file may hold",
                   po_arena_printf(b->arena, "at most %d", PO_TREE_MOST_NODES));
        return NULL;
    }
    po_node *node = po_arena_zeros(b->arena, 1, sizeof *node);
    if (!node) {
        fail(b);
        return NULL;
    }
    node->kind = kind;
    node->line = line;
    node->column = column;
    return node;
}

static bool append(builder *b, po_node *to, po_node *key, po_node *item)
{
    if (to->n == to->cap) {
        size_t cap = to->cap ? to->cap * 2 : 8;
        po_node **items = po_arena_zeros(b->arena, cap, sizeof *items);
        po_node **keys = to->kind == PO_NODE_MAP ? po_arena_zeros(b->arena, cap, sizeof *keys) : NULL;
        if (!items || (to->kind == PO_NODE_MAP && !keys)) {
            fail(b);
            return false;
        }
        if (to->n) {
            memcpy(items, to->items, to->n * sizeof *items);
            if (keys) {
                memcpy(keys, to->keys, to->n * sizeof *keys);
            }
        }
        to->items = items;
        to->keys = keys;
        to->cap = cap;
    }
    if (to->kind == PO_NODE_MAP) {
        to->keys[to->n] = key;
    }
    to->items[to->n++] = item;
    return true;
}

/* A node is complete, or a container has been opened: it goes to where it belongs. */
static void place(builder *b, po_node *node)
{
    if (b->depth == 0) {
        b->root = node;
        return;
    }
    po_node *parent = b->open[b->depth - 1];
    if (parent->kind == PO_NODE_LIST) {
        append(b, parent, NULL, node);
        return;
    }
    po_node **key = &b->key[b->depth - 1];
    if (!*key) {
        *key = node;
        return;
    }
    if ((*key)->kind != PO_NODE_TEXT) {
        fault(b, *key, po_tree_found(*key, b->arena), "a word as the key");
    } else {
        append(b, parent, *key, node);
    }
    *key = NULL;
}

static void open_container(builder *b, po_node *node)
{
    if (b->depth == PO_TREE_MOST_DEPTH) {
        over_limit(b, node->line, node->column, "lists or mappings nested too deeply",
                   po_arena_printf(b->arena, "at most %d levels", PO_TREE_MOST_DEPTH));
        return;
    }
    po_key_path own;
    const po_key_path *path = way(b, &own);
    b->in[b->depth] = path ? *path : (po_key_path){NULL, "", 0};
    place(b, node);
    b->key[b->depth] = NULL;
    b->open[b->depth++] = node;
}

typedef struct key_row {
    const po_node *key;
    size_t index;
} key_row;

static int by_key(const void *a, const void *b)
{
    const key_row *x = a, *y = b;
    if (x->key->hash != y->key->hash) {
        return x->key->hash < y->key->hash ? -1 : 1;
    }
    int order = strcmp(x->key->text, y->key->text);
    return order ? order : x->index < y->index ? -1 : 1;
}

/* A key twice in one mapping is a fault at the later one, which is left out. */
static void drop_doubles(builder *b, po_node *map)
{
    if (map->n < 2) {
        return;
    }
    key_row *rows = malloc(map->n * sizeof *rows); /* freed below: a large mapping should not fill the arena */
    if (!rows) {
        fail(b);
        return;
    }
    for (size_t i = 0; i < map->n; i++) {
        rows[i] = (key_row){map->keys[i], i};
    }
    qsort(rows, map->n, sizeof *rows, by_key);
    bool any = false;
    for (size_t i = 1; i < map->n; i++) {
        const po_node *first = rows[i - 1].key, *again = rows[i].key;
        if (first->hash == again->hash && !strcmp(first->text, again->text)) {
            const char *clip = po_tree_clip(again->text, again->n_text, b->arena);
            po_key_path path = {b->depth > 1 ? &b->in[b->depth - 1] : NULL, again->text, 0};
            po_fault_add(b->faults, again->line, again->column, &path,
                         clip ? po_arena_printf(b->arena, "\"%s\" a second time (first on line %u)", clip, first->line)
                              : NULL,
                         "each key once");
            map->items[rows[i].index] = NULL;
            rows[i].key = first;
            any = true;
        }
    }
    free(rows);
    size_t n = 0;
    for (size_t i = 0; any && i < map->n; i++) {
        if (map->items[i]) {
            map->keys[n] = map->keys[i];
            map->items[n++] = map->items[i];
        }
    }
    map->n = any ? n : map->n;
}

static void merge_from(builder *b, po_node *map, const po_node *from, const po_node *at)
{
    b->n_merged += from->n;
    if (b->n_merged > PO_TREE_MOST_MERGED || map->n + from->n > PO_TREE_MOST_MERGED_KEYS) {
        over_limit(b, at->line, at->column, "a merge of more keys than a shop file needs",
                   po_arena_printf(b->arena, "at most %d keys in one mapping, and %d merged in all",
                                   PO_TREE_MOST_MERGED_KEYS, PO_TREE_MOST_MERGED));
        return;
    }
    for (size_t i = 0; i < from->n; i++) {
        if (!po_tree_get(map, from->keys[i]->text) && !append(b, map, from->keys[i], from->items[i])) {
            return;
        }
    }
}

static void carry_out_merge(builder *b, po_node *map)
{
    for (size_t i = 0; i < map->n; i++) {
        const po_node *key = map->keys[i];
        if (key->quoted || strcmp(key->text, "<<") != 0) {
            continue;
        }
        po_node *from = map->items[i];
        map->n--; /* own keys close up over the merge key and keep their order */
        memmove(map->keys + i, map->keys + i + 1, (map->n - i) * sizeof(po_node *));
        memmove(map->items + i, map->items + i + 1, (map->n - i) * sizeof(po_node *));
        static const char wanted[] = "a mapping, or a list of mappings, to merge";
        if (from->kind == PO_NODE_MAP) {
            merge_from(b, map, from, key);
        } else if (from->kind == PO_NODE_LIST) {
            for (size_t j = 0; j < from->n && !b->stop; j++) {
                if (from->items[j]->kind == PO_NODE_MAP) {
                    merge_from(b, map, from->items[j], key);
                } else {
                    fault(b, from->items[j], po_tree_found(from->items[j], b->arena), wanted);
                }
            }
        } else {
            fault(b, from, po_tree_found(from, b->arena), wanted);
        }
        return; /* a second `<<` was dropped as a double key */
    }
}

static void close_container(builder *b)
{
    po_node *node = b->open[b->depth - 1];
    if (node->kind == PO_NODE_MAP) {
        drop_doubles(b, node);
        if (!b->stop) {
            carry_out_merge(b, node);
        }
    }
    node->done = true;
    b->depth--;
}

static void note_anchor(builder *b, const yaml_char_t *name, po_node *node)
{
    if (!name) {
        return;
    }
    for (size_t i = 0; i < b->n_anchors; i++) {
        if (!strcmp(b->anchors[i].name, (const char *)name)) {
            b->anchors[i].node = node; /* YAML 1.1, 3.2.2.2: the most recent one counts */
            return;
        }
    }
    if (b->n_anchors == PO_TREE_MOST_ANCHORS) {
        over_limit(b, node->line, node->column, "more anchors than a shop file may hold",
                   po_arena_printf(b->arena, "at most %d", PO_TREE_MOST_ANCHORS));
        return;
    }
    const char *copy = po_arena_text(b->arena, (const char *)name);
    if (!copy) {
        fail(b);
        return;
    }
    b->anchors[b->n_anchors].name = copy;
    b->anchors[b->n_anchors++].node = node;
}

static void take_alias(builder *b, const yaml_event_t *event)
{
    const char *name = (const char *)event->data.alias.anchor;
    po_node *place_holder = new_node(b, PO_NODE_TEXT, &event->start_mark); /* stands in after a fault */
    if (!place_holder) {
        return;
    }
    place_holder->text = "";
    place_holder->done = place_holder->faulted = true;
    if (++b->n_aliases > PO_TREE_MOST_ALIASES) {
        over_limit(b, place_holder->line, place_holder->column, "more aliases than a shop file may hold",
                   po_arena_printf(b->arena, "at most %d", PO_TREE_MOST_ALIASES));
        return;
    }
    po_node *node = NULL;
    for (size_t i = 0; i < b->n_anchors && !node; i++) {
        node = strcmp(b->anchors[i].name, name) ? NULL : b->anchors[i].node;
    }
    if (!node || !node->done) {
        const char *clip = po_tree_clip(name, strlen(name), b->arena);
        fault(b, place_holder, clip ? po_arena_printf(b->arena, "*%s", clip) : NULL,
              node ? "an alias of something that is already finished" : "an alias of an anchor further up (&name)");
        node = place_holder;
    }
    place(b, node);
}

static void refuse_tag(builder *b, const yaml_char_t *tag, const po_node *node)
{
    if (tag) {
        const char *clip = po_tree_clip((const char *)tag, strlen((const char *)tag), b->arena);
        fault(b, node, clip ? po_arena_printf(b->arena, "the tag %s", clip) : NULL, "a value without a tag");
    }
}

static void take_text(builder *b, const yaml_event_t *event)
{
    po_node *node = new_node(b, PO_NODE_TEXT, &event->start_mark);
    if (!node) {
        return;
    }
    node->text = po_arena_text_n(b->arena, (const char *)event->data.scalar.value, event->data.scalar.length);
    if (!node->text) {
        fail(b);
        return;
    }
    node->n_text = event->data.scalar.length;
    node->hash = hash_text(node->text, strlen(node->text));
    node->quoted = event->data.scalar.style != YAML_PLAIN_SCALAR_STYLE;
    node->done = true;
    refuse_tag(b, event->data.scalar.tag, node);
    for (const char *c = node->text; c < node->text + node->n_text; c++) {
        if (((unsigned char)*c < 0x20 && *c != '\n' && *c != '\t') || *c == 0x7f) { /* "\e" and "\0" in double quotes */
            fault(b, node, "a text with a control character in it", "printable text");
            break;
        }
    }
    note_anchor(b, event->data.scalar.anchor, node);
    place(b, node);
}

static void take_event(builder *b, const yaml_event_t *event)
{
    po_node *node;
    switch (event->type) {
    case YAML_DOCUMENT_START_EVENT:
        if (b->root) {
            po_fault_add(b->faults, (uint32_t)event->start_mark.line + 1, (uint32_t)event->start_mark.column + 1, NULL,
                         "a second document", "one document in the file");
            b->stop = true;
        }
        break;
    case YAML_SCALAR_EVENT:
        take_text(b, event);
        break;
    case YAML_ALIAS_EVENT:
        take_alias(b, event);
        break;
    case YAML_SEQUENCE_START_EVENT:
    case YAML_MAPPING_START_EVENT:
        node = new_node(b, event->type == YAML_MAPPING_START_EVENT ? PO_NODE_MAP : PO_NODE_LIST, &event->start_mark);
        if (node) {
            bool map = node->kind == PO_NODE_MAP;
            refuse_tag(b, map ? event->data.mapping_start.tag : event->data.sequence_start.tag, node);
            note_anchor(b, map ? event->data.mapping_start.anchor : event->data.sequence_start.anchor, node);
            open_container(b, node);
        }
        break;
    case YAML_SEQUENCE_END_EVENT:
    case YAML_MAPPING_END_EVENT:
        close_container(b);
        break;
    default:
        break;
    }
}

/* What libyaml refused, in words for a person, with the place that it names. */
static void yaml_fault(const builder *b, const yaml_parser_t *parser, const char *text, size_t n_bytes)
{
    po_fault_list *faults = b->faults;
    po_key_path own;
    if (parser->error == YAML_MEMORY_ERROR) {
        faults->failed = true;
        return;
    }
    /* a key without its colon is noticed a line later than it stands */
    bool no_colon = parser->context && parser->problem && strstr(parser->problem, "expected ':'");
    const yaml_mark_t *mark = no_colon ? &parser->context_mark : &parser->problem_mark;
    uint32_t line = (uint32_t)mark->line + 1, asked = line, column = (uint32_t)mark->column + 1;
    size_t n;
    const char *start = line_start(text, n_bytes, &line, &n);
    column = line == asked ? column : n_chars(start, n) + 1;
    size_t blank = 0;
    while (blank < n && start[blank] == ' ') {
        blank++;
    }
    if (blank < n && start[blank] == '\t') {
        po_fault_add(faults, line, (uint32_t)blank + 1, way(b, &own), "a tab in the indentation", "spaces");
        return;
    }
    const char *problem = parser->problem ? parser->problem : "text that is not YAML";
    const char *found = parser->context && parser->context_mark.line + 1 != line
                            ? po_arena_printf(faults->arena, "broken YAML: %s (%s that begins on line %zu)", problem,
                                              parser->context, parser->context_mark.line + 1)
                            : po_arena_printf(faults->arena, "broken YAML: %s", problem);
    po_fault_add(faults, line, column, way(b, &own), found,
                 "keys, colons, commas, brackets and indentation that agree");
}

void po_tree_read(const char *text, size_t n_bytes, po_arena *arena, po_fault_list *faults, po_node **ret_root)
{
    *ret_root = NULL;
    if (n_bytes > PO_TREE_MOST_BYTES) {
        po_fault_add(faults, 1, 1, NULL, po_arena_printf(arena, "a file of %zu bytes", n_bytes),
                     po_arena_printf(arena, "at most %d bytes", PO_TREE_MOST_BYTES));
        faults->limit = true;
        return;
    }
    if (!check_bytes(text, n_bytes, faults)) {
        return;
    }
    builder *b = po_arena_zeros(arena, 1, sizeof *b);
    yaml_parser_t parser;
    if (!b || !yaml_parser_initialize(&parser)) {
        faults->failed = true;
        return;
    }
    b->arena = arena;
    b->faults = faults;
    bool mark = n_bytes >= 3 && !memcmp(text, "\xef\xbb\xbf", 3); /* libyaml would count it as a column */
    yaml_parser_set_input_string(&parser, (const unsigned char *)text + (mark ? 3 : 0), n_bytes - (mark ? 3 : 0));
    yaml_parser_set_encoding(&parser, YAML_UTF8_ENCODING);
    for (bool end = false; !end && !b->stop && !faults->failed && !faults->full;) {
        yaml_event_t event;
        if (!yaml_parser_parse(&parser, &event)) {
            yaml_fault(b, &parser, text, n_bytes);
            b->root = NULL; /* half a tree would only bring faults that are none */
            break;
        }
        take_event(b, &event);
        end = event.type == YAML_STREAM_END_EVENT;
        yaml_event_delete(&event);
    }
    yaml_parser_delete(&parser);
    if (b->stop && b->depth) {
        b->root = NULL;
    }
    if (!faults->limit) {
        *ret_root = b->root;
    }
}
