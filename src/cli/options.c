/* Options and operands by the verb's table. SPDX-License-Identifier: Apache-2.0
 *
 * --name VALUE, --name=VALUE, --name; `--` ends the options; `-` alone is an operand (standard input). No short options
 * but -h, and none that may be cut short: a script should read well and go on meaning the same. */
#include <string.h>

#include "cli.h"

static size_t row_of(const cli_verb *verb, const char *name, size_t n)
{
    size_t i = 0;
    while (i < verb->n_options && !(strlen(verb->options[i].name) == n && !memcmp(verb->options[i].name, name, n))) {
        i++;
    }
    return i;
}

const char *cli_value(const cli_call *call, const char *name)
{
    size_t row = row_of(call->verb, name, strlen(name));
    return row < call->verb->n_options ? call->values[row] : NULL;
}

static int unknown_option(const cli_verb *verb, const char *word, size_t n)
{
    char name[64];
    snprintf(name, sizeof name, "%.*s", (int)(n < 63 ? n : 63), word);
    const char *names[CLI_MOST_OPTIONS + 1];
    for (size_t i = 0; i < verb->n_options; i++) {
        names[i] = verb->options[i].name;
    }
    names[verb->n_options] = "help";
    return cli_fail(EXIT_USAGE, "%s has no option --%s; the nearest is --%s", verb->name, name,
                    po_nearest_name(name, names, verb->n_options + 1));
}

static int check_count(const cli_verb *verb, int n)
{
    if (n < verb->least) {
        return cli_fail(EXIT_USAGE, "%s needs %s (proveout %s --help says more)", verb->name, verb->operands,
                        verb->name);
    }
    if (verb->most >= 0 && n > verb->most) {
        if (verb->most == 0) {
            return cli_fail(EXIT_USAGE, "%s takes options only, such as --%s (proveout %s --help says more)",
                            verb->name, verb->n_options ? verb->options[verb->n_options - 1].name : "help", verb->name);
        }
        return cli_fail(EXIT_USAGE, "%s takes no more than %s; %d were given (proveout %s --help says more)",
                        verb->name, verb->operands, n, verb->name);
    }
    return EXIT_CLEAR;
}

int cli_parse(const cli_verb *verb, int argc, char **argv, cli_call *ret, bool *ret_help)
{
    *ret = (cli_call){.verb = verb};
    *ret_help = false;
    bool options = true;
    int n_args = 0;
    for (int i = 0; i < argc; i++) { /* help is given whatever else is wrong */
        if (!strcmp(argv[i], "--")) {
            break;
        }
        *ret_help |= !strcmp(argv[i], "--help") || !strcmp(argv[i], "-h");
    }
    if (*ret_help) {
        return EXIT_CLEAR;
    }
    for (int i = 0; i < argc; i++) {
        char *word = argv[i];
        if (options && !strcmp(word, "--")) {
            options = false;
            continue;
        }
        if (!options || word[0] != '-' || !word[1]) {
            argv[n_args++] = word;
            continue;
        }
        if (word[1] != '-') {
            return cli_fail(EXIT_USAGE, "%s has no option %s; options begin with two dashes", verb->name, word);
        }
        const char *name = word + 2, *equals = strchr(name, '=');
        size_t length = equals ? (size_t)(equals - name) : strlen(name), row = row_of(verb, name, length);
        if (row == verb->n_options) {
            return unknown_option(verb, name, length);
        }
        const cli_option *option = &verb->options[row];
        if (option->refusal) {
            return cli_fail(EXIT_USAGE, "--%s: %s", option->name, option->refusal);
        }
        if (ret->values[row]) {
            return cli_fail(EXIT_USAGE, "--%s was given twice", option->name);
        }
        if (!option->value) {
            if (equals) {
                return cli_fail(EXIT_USAGE, "--%s takes no value", option->name);
            }
            ret->values[row] = "";
        } else if (equals) {
            ret->values[row] = equals + 1;
        } else if (i + 1 < argc) {
            ret->values[row] = argv[++i];
        } else {
            return cli_fail(EXIT_USAGE, "--%s needs %s", option->name, option->value);
        }
    }
    ret->args = (const char *const *)argv;
    ret->n_args = n_args;
    return check_count(verb, n_args);
}

bool cli_number(const char *text, double low, double high, double *ret)
{
    double value = 0, part = 1;
    size_t digits = 0;
    bool point = false;
    for (const char *p = text; *p; p++) {
        if (*p == '.' && !point) {
            point = true;
        } else if (*p >= '0' && *p <= '9' && ++digits <= 15) { /* exact: 15 digits, one division */
            value = value * 10 + (*p - '0');
            part *= point ? 10 : 1;
        } else {
            return false;
        }
    }
    value /= part;
    if (!digits || value < low || value > high) {
        return false;
    }
    *ret = value;
    return true;
}

bool cli_split(const char *text, po_arena *arena, const char **ret_pieces, size_t *ret_n)
{
    char *copy = po_arena_text(arena, text);
    size_t n = 0;
    while (copy && *copy) {
        if (n == CLI_MOST_LIST) {
            return false;
        }
        ret_pieces[n++] = copy;
        char *comma = strchr(copy, ',');
        if (!comma) {
            break;
        }
        *comma = '\0';
        copy = comma + 1;
        if (!*copy) {
            ret_pieces[n < CLI_MOST_LIST ? n++ : 0] = copy; /* a comma at the end leaves an empty name: a fault later */
        }
    }
    *ret_n = n;
    return copy != NULL;
}
