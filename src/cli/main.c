/* proveout: find the verb, hand it its options. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "cli.h"

#ifndef PO_VERSION
#error "the build gives PO_VERSION"
#endif

/* The verb that the first words name, and how many they are; NULL: none. */
static const cli_verb *find_verb(int argc, char **argv, int *ret_words)
{
    const cli_verb *v, *one = NULL;
    for (size_t i = 0; (v = cli_verb_at(i)); i++) {
        const char *blank = strchr(v->name, ' ');
        size_t first = blank ? (size_t)(blank - v->name) : strlen(v->name);
        if (strlen(argv[0]) != first || strncmp(argv[0], v->name, first) != 0) {
            continue;
        }
        if (blank && argc > 1 && !strcmp(argv[1], blank + 1)) {
            *ret_words = 2;
            return v;
        }
        one = blank ? one : v;
    }
    *ret_words = 1;
    return one;
}

static int unknown_verb(const char *first, const char *second)
{
    size_t length = strlen(first), n_family = 0;
    const cli_verb *v, *of_family = NULL;
    bool help = second && (!strcmp(second, "--help") || !strcmp(second, "-h"));
    for (size_t i = 0; (v = cli_verb_at(i)); i++) {
        if (!strncmp(v->name, first, length) && v->name[length] == ' ') {
            of_family = of_family ? of_family : v;
            n_family++;
        }
    }
    if (help && n_family) {
        cli_print_family(stdout, first);
    }
    if (n_family && (!second || second[0] == '-')) {
        return help ? cli_end(EXIT_CLEAR)
                    : cli_fail(EXIT_USAGE, "%s needs a second word, such as \"%s\" (proveout %s --help lists all)",
                               first, of_family->name, first);
    }
    if (n_family) {
        char both[256];
        snprintf(both, sizeof both, "%s %s", first, second);
        return cli_fail(EXIT_USAGE, "there is no verb \"%s\"; the nearest is \"%s\"", both,
                        cli_nearest_verb(both, first));
    }
    return cli_fail(EXIT_USAGE, "there is no verb \"%s\"; the nearest is \"%s\" (proveout help lists all)", first,
                    cli_nearest_verb(first, NULL));
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
