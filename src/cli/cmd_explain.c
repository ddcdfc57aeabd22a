/* proveout explain [NAME]: what a finding means and what helps. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "cli.h"

static const char *const headings[] = {
    [PO_GRADE_STOP] = "Stop: the run would fail or do harm",
    [PO_GRADE_ASK] = "Ask: a desk person decides",
    [PO_GRADE_NOTE] = "Note: good to know",
};

static int list(bool json)
{
    size_t n;
    const po_rule_info *rules = po_rules_table(&n);
    if (json) {
        cli_json j = {.out = stdout};
        cli_json_open(&j, NULL, '{');
        cli_json_text(&j, "format", "proveout/findings/1");
        cli_json_open(&j, "findings", '[');
        for (size_t i = 0; i < n; i++) {
            cli_json_open(&j, NULL, '{');
            cli_json_text(&j, "name", rules[i].name);
            cli_json_text(&j, "grade", po_grade_name(rules[i].grade));
            cli_json_text(&j, "compares", rules[i].compares);
            cli_json_close(&j, '}');
        }
        cli_json_close(&j, ']');
        cli_json_close(&j, '}');
        fputc('\n', stdout);
        return EXIT_CLEAR;
    }
    for (int grade = PO_GRADE_STOP; grade >= PO_GRADE_NOTE; grade--) {
        printf("%s%s\n", grade == PO_GRADE_STOP ? "" : "\n", headings[grade]);
        for (size_t i = 0; i < n; i++) {
            if ((int)rules[i].grade == grade) {
                printf("  %s\n", rules[i].name);
                cli_wrap(stdout, 6, rules[i].compares);
            }
        }
    }
    puts("\nproveout explain NAME says how it comes about and what helps.");
    return EXIT_CLEAR;
}

static void paragraph(const char *heading, const char *text)
{
    if (text) {
        printf("\n%s\n", heading);
        cli_wrap(stdout, 2, text);
    }
}

static const char *of_what(const po_rule_info *rule)
{
    return rule->kind == PO_RULE_JOB ? "jobs" : rule->kind == PO_RULE_PART ? "parts" : "jobs and parts";
}

static void print_text(const po_rule_info *rule)
{
    printf("%s\n  of %s; grade: %s, unless the shop file says otherwise\n", rule->name, of_what(rule),
           po_grade_name(rule->grade));
    paragraph("What is compared", rule->compares);
    paragraph("Limit", rule->limit);
    paragraph("How it comes about", rule->cause);
    paragraph("What helps", rule->remedy);
    paragraph("Take care", rule->caution);
    paragraph("Where this comes from", rule->source);
}

static void print_json(const po_rule_info *rule)
{
    cli_json j = {.out = stdout};
    cli_json_open(&j, NULL, '{');
    cli_json_text(&j, "format", "proveout/finding/1");
    cli_json_text(&j, "name", rule->name);
    cli_json_text(&j, "of", of_what(rule));
    cli_json_text(&j, "grade", po_grade_name(rule->grade));
    cli_json_text(&j, "compares", rule->compares);
    cli_json_text(&j, "limit", rule->limit);
    cli_json_text(&j, "cause", rule->cause);
    cli_json_text(&j, "remedy", rule->remedy);
    cli_json_text(&j, "caution", rule->caution);
    cli_json_text(&j, "source", rule->source);
    cli_json_close(&j, '}');
    fputc('\n', stdout);
}

static int write_drawing(const po_rule_info *rule, const char *path)
{
    po_arena *arena = po_arena_new(0);
    if (!arena) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    po_document document = {0};
    po_err err;
    po_status status = po_slip_explain_svg(rule->name, arena, &document, &err);
    int result = status == PO_OK           ? cli_write_file(path, &document)
                 : status == PO_E_NOTFOUND ? cli_fail(EXIT_USAGE, "there is no drawing for %s", rule->name)
                                           : cli_fail_err(&err);
    po_arena_free(arena);
    return result;
}

static int run(const cli_call *call)
{
    const char *svg = cli_value(call, "svg");
    bool json = cli_value(call, "json") != NULL;
    if (call->n_args == 0) {
        return svg ? cli_fail(EXIT_USAGE, "--svg needs the name of a finding") : list(json);
    }
    const po_rule_info *rule = po_rule_find(call->args[0]);
    if (!rule) {
        return cli_fail(EXIT_USAGE, "there is no finding \"%s\"; the nearest is \"%s\" (proveout explain lists all)",
                        call->args[0], po_rule_nearest(call->args[0]));
    }
    if (svg && json && !strcmp(svg, "-")) {
        return cli_fail(EXIT_USAGE, "standard output can take one kind of output");
    }
    if (svg) {
        int result = write_drawing(rule, svg);
        if (result != EXIT_CLEAR || !json) {
            return result;
        }
    }
    if (json) {
        print_json(rule);
    } else {
        print_text(rule);
    }
    return EXIT_CLEAR;
}

static const cli_option options[] = {
    {.name = "json", .value = NULL, .says = "one JSON object on standard output"},
    {.name = "svg", .value = "OUT", .says = "write the finding's drawing there, and no text; - is standard output"},
};

static const cli_example examples[] = {
    {"proveout explain", "all findings, gravest first"},
    {"proveout explain leaves-the-bed", "what it means, how it comes about, what helps"},
    {"proveout explain steep-overhang --svg overhang.svg", "its drawing"},
};

const cli_verb cli_explain_verb[] = {
    {
        .name = "explain",
        .operands = "[NAME]",
        .least = 0,
        .most = 1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "what a finding means, how it comes about, what helps",
        .help = "With the name of a finding, as slips print it: what is compared, the limit and where it comes from, "
                "how it "
                "comes about and what helps. Without a name: the list of all findings.",
        .examples = examples,
        .n_examples = sizeof examples / sizeof examples[0],
        .run = run,
    },
    {.name = NULL}};
