/* proveout: find the verb, hand it its options. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "cli.h"

#ifndef PO_VERSION
#error "the build gives PO_VERSION"
#endif

/* The verb that the first words name, and how many they are; NULL: none. */
static const cli_verb *find_verb(int argc, char **argv, int *ret_words)
{
    size_t n;
    const cli_verb *const *verbs = cli_verbs(&n);
    for (size_t i = 0; i < n; i++) {
        const char *blank = strchr(verbs[i]->name, ' ');
        size_t first = blank ? (size_t)(blank - verbs[i]->name) : strlen(verbs[i]->name);
        if (strlen(argv[0]) != first || strncmp(argv[0], verbs[i]->name, first) != 0) {
            continue;
        }
        if (!blank) {
            *ret_words = 1;
            return verbs[i];
        }
        if (argc > 1 && !strcmp(argv[1], blank + 1)) {
            *ret_words = 2;
            return verbs[i];
        }
    }
    return NULL;
}

static int unknown_verb(const char *first, const char *second)
{
    size_t n, n_family = 0;
    const cli_verb *const *verbs = cli_verbs(&n);
    const char *names[32], *family[32];
    size_t length = strlen(first);
    for (size_t i = 0; i < n && i < 32; i++) {
        names[i] = verbs[i]->name;
        if (!strncmp(verbs[i]->name, first, length) && verbs[i]->name[length] == ' ') {
            family[n_family++] = verbs[i]->name;
        }
    }
    if (n_family && (!second || second[0] == '-')) {
        bool help = second && (!strcmp(second, "--help") || !strcmp(second, "-h"));
        for (size_t i = 0; help && i < n_family; i++) {
            for (size_t v = 0; v < n; v++) {
                if (verbs[v]->name == family[i]) {
                    cli_print_help(stdout, verbs[v]);
                    fputs(i + 1 < n_family ? "\n" : "", stdout);
                }
            }
        }
        return help ? cli_end(EXIT_CLEAR)
                    : cli_fail(EXIT_USAGE, "%s needs a second word, such as \"%s\"", first, family[0]);
    }
    if (n_family) {
        char both[256];
        snprintf(both, sizeof both, "%s %s", first, second);
        return cli_fail(EXIT_USAGE, "there is no verb \"%s\"; the nearest is \"%s\"", both,
                        po_nearest_name(both, family, n_family));
    }
    return cli_fail(EXIT_USAGE, "there is no verb \"%s\"; the nearest is \"%s\" (proveout help lists all)", first,
                    po_nearest_name(first, names, n < 32 ? n : 32));
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        cli_print_overview(stderr);
        return EXIT_USAGE;
    }
    if (!strcmp(argv[1], "--help") || !strcmp(argv[1], "-h")) {
        cli_print_overview(stdout);
        return cli_end(EXIT_CLEAR);
    }
    if (!strcmp(argv[1], "--version")) {
        puts("proveout " PO_VERSION);
        return cli_end(EXIT_CLEAR);
    }
    int words = 0;
    const cli_verb *verb = find_verb(argc - 1, argv + 1, &words);
    if (!verb) {
        return unknown_verb(argv[1], argc > 2 ? argv[2] : NULL);
    }
    cli_call call;
    bool help;
    int status = cli_parse(verb, argc - 1 - words, argv + 1 + words, &call, &help);
    if (help) {
        cli_print_help(stdout, verb);
        return cli_end(EXIT_CLEAR);
    }
    return status == EXIT_CLEAR ? cli_end(verb->run(&call)) : status;
}
