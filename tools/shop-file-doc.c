/* The key tables of docs/shop-file.md, written from keys.c. SPDX-License-Identifier: Apache-2.0
 *
 *   shop-file-doc --check FILE    is every table of FILE exactly what keys.c says? exit 1 with the first difference
 *   shop-file-doc --write FILE    put the tables in their places; the prose around them stays
 *
 * A table stands between a line "<!-- keys PATH -->" and a line "<!-- end -->". Built with the tests, not installed. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "shop/keys.h"

static void add_number(po_text *out, double value)
{
    po_text_printf(out, "%.15g", value);
}

static void add_bounds(po_text *out, const po_key *key)
{
    switch (key->kind) {
    case PO_KEY_NUMBER:
    case PO_KEY_COUNT:
        add_number(out, key->low);
        po_text_add(out, " to ");
        add_number(out, key->high);
        po_text_add(out, key->kind == PO_KEY_COUNT ? ", whole" : "");
        return;
    case PO_KEY_RANGE:
        po_text_printf(out, "[low, high], each %.15g to %.15g", key->low, key->high);
        return;
    case PO_KEY_BOOL:
        po_text_add(out, "true, false");
        return;
    case PO_KEY_TEXT:
        po_text_printf(out, "text, %.15g to %.15g characters", key->low, key->high);
        return;
    case PO_KEY_CHOICE:
        for (size_t i = 0; key->choices[i]; i++) {
            po_text_printf(out, "%s`%s`", i ? ", " : "", key->choices[i]);
        }
        return;
    case PO_KEY_MAP:
        po_text_add(out, "mapping, see below");
        return;
    case PO_KEY_OWN:
        po_text_add(out, key->expects);
        return;
    }
}

static void add_preset(po_text *out, const po_key *key)
{
    if (key->required) {
        po_text_add(out, "**required**");
    } else if (key->preset_says) {
        po_text_add(out, key->preset_says);
    } else if (key->kind == PO_KEY_BOOL) {
        po_text_add(out, key->preset != 0 ? "true" : "false");
    } else if (key->kind == PO_KEY_CHOICE) {
        po_text_printf(out, "`%s`", key->choices[(int)key->preset]);
    } else if (key->kind == PO_KEY_RANGE) {
        po_text_printf(out, "[%.15g, %.15g]", key->preset, key->preset_high);
    } else {
        add_number(out, key->preset);
    }
}

static void add_table(po_text *out, const po_key_table *table)
{
    po_text_add(out, "| key | unit | bounds | default | what it is |\n| --- | --- | --- | --- | --- |\n");
    for (size_t i = 0; i < table->n; i++) {
        const po_key *key = &table->keys[i];
        po_text_printf(out, "| `%s` | %s | ", key->name, key->unit ? key->unit : "");
        add_bounds(out, key);
        po_text_add(out, " | ");
        add_preset(out, key);
        po_text_printf(out, " | %s |\n", key->says);
    }
}

/* The document with every table as keys.c has it; false when one is missing, unknown or given twice. */
static bool rebuild(const char *doc, po_text *out)
{
    static const char begin[] = "<!-- keys ", end[] = "<!-- end -->\n";
    size_t n_tables;
    const po_key_table *const *tables = po_key_tables(&n_tables);
    bool seen[64] = {false};
    const char *p = doc;
    for (const char *mark; (mark = strstr(p, begin)) != NULL;) {
        const char *path = mark + strlen(begin), *line_end = strchr(path, '\n');
        const char *stop = line_end ? strstr(line_end, end) : NULL;
        const char *close = strstr(path, " -->\n");
        if (!stop || !close || close > line_end) {
            fprintf(stderr, "a table that does not end: %.40s\n", mark);
            return false;
        }
        size_t t = 0;
        while (t < n_tables && !(strlen(tables[t]->path) == (size_t)(close - path) &&
                                 !memcmp(tables[t]->path, path, (size_t)(close - path)))) {
            t++;
        }
        if (t == n_tables || seen[t]) {
            fprintf(stderr, "unknown or doubled table: %.*s\n", (int)(close - path), path);
            return false;
        }
        seen[t] = true;
        po_text_add_n(out, p, (size_t)(line_end + 1 - p));
        add_table(out, tables[t]);
        p = stop;
    }
    po_text_add(out, p);
    for (size_t t = 0; t < n_tables; t++) {
        if (!seen[t]) {
            fprintf(stderr, "the table %s is missing\n", tables[t]->path);
            return false;
        }
    }
    return true;
}

static char *read_all(const char *path, po_arena *arena)
{
    FILE *file = fopen(path, "rb");
    if (!file) {
        perror(path);
        return NULL;
    }
    po_text text;
    po_text_init(&text, arena);
    char block[4096];
    for (size_t n; (n = fread(block, 1, sizeof block, file)) > 0;) {
        po_text_add_n(&text, block, n);
    }
    fclose(file);
    return text.failed ? NULL : text.data;
}

int main(int argc, char **argv)
{
    bool write = argc == 3 && !strcmp(argv[1], "--write");
    if (!write && !(argc == 3 && !strcmp(argv[1], "--check"))) {
        fprintf(stderr, "usage: shop-file-doc --check|--write FILE\n");
        return 2;
    }
    po_arena *arena = po_arena_new(0);
    char *doc = read_all(argv[2], arena);
    po_text out;
    po_text_init(&out, arena);
    int result = 1;
    if (doc && rebuild(doc, &out) && !out.failed) {
        size_t same = 0, line = 1;
        while (doc[same] && doc[same] == out.data[same]) {
            line += doc[same++] == '\n';
        }
        if (!doc[same] && !out.data[same]) {
            result = 0;
        } else if (!write) {
            fprintf(stderr, "%s:%zu: not what src/shop/keys.c says; run shop-file-doc --write on it\n", argv[2], line);
        } else {
            FILE *file = fopen(argv[2], "wb");
            result = !file || fwrite(out.data, 1, out.n, file) != out.n;
            result |= !file || fclose(file);
        }
    }
    po_arena_free(arena);
    return result;
}
