/* proveout help [VERB]. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "cli.h"

static int run(const cli_call *call)
{
    if (call->n_args == 0) {
        cli_print_overview(stdout);
        return EXIT_CLEAR;
    }
    char name[128];
    snprintf(name, sizeof name, "%s%s%s", call->args[0], call->n_args > 1 ? " " : "",
             call->n_args > 1 ? call->args[1] : "");
    const cli_verb *v;
    for (size_t i = 0; (v = cli_verb_at(i)); i++) {
        if (!strcmp(v->name, name)) {
            cli_print_help(stdout, v);
            return EXIT_CLEAR;
        }
    }
    if (cli_print_family(stdout, name)) {
        return EXIT_CLEAR;
    }
    return cli_fail(EXIT_USAGE, "there is no verb \"%s\"; the nearest is \"%s\"", name, cli_nearest_verb(name, NULL));
}

static const cli_example examples[] = {
    {"proveout help", "what there is"},
    {"proveout help check", "all about one verb; the same as: proveout check --help"},
};

const cli_verb cli_help_verb[] = {
    {
        .name = "help",
        .operands = "[VERB]",
        .least = 0,
        .most = 2,
        .line = "what there is, or all about one verb",
        .help = "Without a verb: the list of verbs. With one: what it does, its options, examples.",
        .examples = examples,
        .n_examples = 2,
        .run = run,
    },
    {.name = NULL}};
