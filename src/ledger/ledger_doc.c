/* The lists of acts and questions in docs/ledger.md, and of tables in docs/export.md, written from the code. SPDX-License-Identifier: Apache-2.0
 *
 *   ledger-doc --check FILE...    do the lists in each FILE say what the code says? exit 1 if not
 *   ledger-doc --write FILE...    put the lists in their places; the prose around them stays
 * A list stands between "<!-- acts -->", "<!-- questions -->" or "<!-- tables -->" and the next "<!-- end -->". */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "ledger/book.h"
#include "proveout/ledger_export.h"

static void add_list(po_text *out, const po_ledger_verb *verbs, size_t n, bool acts)
{
    for (size_t i = 0; i < n; i++) {
        const po_act_kind *kind = acts ? po_act_find(verbs[i].name) : NULL;
        po_text_printf(out, "- `%s`%s%s: %s.\n", verbs[i].name, kind ? ", " : "", kind ? po_role_word(kind->who) : "",
                       verbs[i].says);
        po_text_printf(out, "  `%s`\n", verbs[i].fields);
    }
}

static void add_tables(po_text *out)
{
    size_t n = 0;
    const po_export_table *tables = po_export_tables(&n);
    for (size_t i = 0; i < n; i++) {
        po_text_printf(out, "\n### %s\n\nA row is %s.%s\n\n| column | kind | is |\n| --- | --- | --- |\n",
                       tables[i].name, tables[i].says,
                       tables[i].timed ? " `--from` and `--until` choose among them." : "");
        for (size_t c = 0; c < tables[i].n_columns; c++) {
            const po_export_column *k = &tables[i].columns[c];
            po_text_printf(out, "| `%s` | %s | %s |\n", k->name,
                           k->kind == 'i'   ? "number"
                           : k->kind == 's' ? "time"
                           : k->kind == 'f' ? "yes/no"
                           : k->kind == 'j' ? "JSON"
                                            : "text",
                           k->says);
        }
    }
    po_text_add(out, "\n");
}

static char *read_all(po_arena *arena, const char *path)
{
    FILE *f = fopen(path, "rb");
    if (!f) {
        return NULL;
    }
    static char bytes[1 << 18];
    size_t n = fread(bytes, 1, sizeof bytes, f);
    fclose(f);
    return n < sizeof bytes ? po_arena_text_n(arena, bytes, n) : NULL;
}

/* The text with its lists as they should be; false where it has no place for any, or not for both lists of the book. */
static bool with_lists(po_text *out, const char *p)
{
    static const char *const marks[] = {"<!-- acts -->\n", "<!-- questions -->\n", "<!-- tables -->\n"};
    bool found[3] = {false};
    for (int i = 0; i < 3; i++) {
        const char *from = strstr(p, marks[i]), *to = from ? strstr(from, "<!-- end -->") : NULL;
        size_t n = 0;
        if (!to) {
            continue;
        }
        found[i] = true;
        from += strlen(marks[i]);
        po_text_add_n(out, p, (size_t)(from - p));
        if (i == 2) {
            add_tables(out);
        } else {
            const po_ledger_verb *verbs = i == 0 ? po_ledger_acts(&n) : po_ledger_questions(&n);
            add_list(out, verbs, n, i == 0);
        }
        p = to;
    }
    po_text_add(out, p);
    return !out->failed && (found[2] || found[0]) && found[0] == found[1];
}

static int one(po_arena *arena, bool check, const char *path)
{
    po_text out;
    po_text_init(&out, arena);
    const char *old = read_all(arena, path);
    if (!old || !with_lists(&out, old)) {
        fprintf(stderr, "ledger-doc: %s %s\n", path, old ? "has no marked place for a list" : "can't be read");
        return 1;
    }
    if (check) {
        bool same = strcmp(out.data, old) == 0;
        fprintf(stderr, same ? "%s says what the tables say\n" : "%s is not what the tables say: ninja docs-ledger\n",
                path);
        return !same;
    }
    FILE *f = fopen(path, "wb");
    return !f || fwrite(out.data, 1, out.n, f) != out.n || fclose(f) != 0;
}

int main(int argc, char **argv)
{
    bool check = argc > 2 && strcmp(argv[1], "--check") == 0;
    if (!check && !(argc > 2 && strcmp(argv[1], "--write") == 0)) {
        fprintf(stderr, "usage: ledger-doc --check|--write FILE...\n");
        return 2;
    }
    po_arena *arena = po_arena_new(0);
    int status = arena ? 0 : 1;
    for (int i = 2; arena && i < argc; i++) {
        status |= one(arena, check, argv[i]);
    }
    po_arena_free(arena);
    return status;
}
