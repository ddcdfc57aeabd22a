/* The lists of acts and questions in docs/ledger.md, written from the tables. SPDX-License-Identifier: Apache-2.0
 *
 *   ledger-doc --check FILE    do the lists in FILE say what the tables say? exit 1 if not
 *   ledger-doc --write FILE    put the lists in their places; the prose around them stays
 * A list stands between "<!-- acts -->" or "<!-- questions -->" and the next "<!-- end -->". */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "ledger/book.h"

static void add_list(po_text *out, const po_ledger_verb *verbs, size_t n, bool acts)
{
    for (size_t i = 0; i < n; i++) {
        const po_act_kind *kind = acts ? po_act_find(verbs[i].name) : NULL;
        po_text_printf(out, "- `%s`%s%s: %s.\n", verbs[i].name, kind ? ", " : "", kind ? po_role_word(kind->who) : "",
                       verbs[i].says);
        po_text_printf(out, "  `%s`\n", verbs[i].fields);
    }
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

int main(int argc, char **argv)
{
    po_arena *arena = po_arena_new(0);
    char *old = argc == 3 ? read_all(arena, argv[2]) : NULL;
    if (!old || (strcmp(argv[1], "--check") != 0 && strcmp(argv[1], "--write") != 0)) {
        fprintf(stderr, "usage: ledger-doc --check|--write FILE\n");
        return 2;
    }
    po_text out;
    po_text_init(&out, arena);
    size_t n = 0;
    const char *p = old;
    static const char *const marks[] = {"<!-- acts -->\n", "<!-- questions -->\n"};
    for (int i = 0; i < 2; i++) {
        const char *from = strstr(p, marks[i]), *to = from ? strstr(from, "<!-- end -->") : NULL;
        if (!to) {
            fprintf(stderr, "ledger-doc: no place marked %s", marks[i]);
            return 1;
        }
        from += strlen(marks[i]);
        po_text_add_n(&out, p, (size_t)(from - p));
        const po_ledger_verb *verbs = i == 0 ? po_ledger_acts(&n) : po_ledger_questions(&n);
        add_list(&out, verbs, n, i == 0);
        p = to;
    }
    po_text_add(&out, p);
    int status = 0;
    if (strcmp(argv[1], "--check") == 0) {
        status = strcmp(out.data, old) != 0;
        fprintf(stderr, status ? "%s is not what the tables say: ninja docs-ledger\n" : "%s says what the tables say\n",
                argv[2]);
    } else {
        FILE *f = fopen(argv[2], "wb");
        status = !f || fwrite(out.data, 1, out.n, f) != out.n || fclose(f) != 0;
    }
    po_arena_free(arena);
    return status;
}
