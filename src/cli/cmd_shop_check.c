/* proveout shop check [FILE]: every fault of a shop file. SPDX-License-Identifier: Apache-2.0 */
#include "cli.h"
#include "desk.h"
#include "work/opening.h"

static void print_json(const char *path, const po_shop_faults *faults)
{
    cli_json j = {.out = stdout};
    cli_json_open(&j, NULL, '{');
    cli_json_text(&j, "format", "proveout/shop-check/1");
    cli_json_text(&j, "file", path);
    cli_json_open(&j, "faults", '[');
    for (size_t i = 0; i < faults->n_faults; i++) {
        const po_shop_fault *f = &faults->faults[i];
        cli_json_open(&j, NULL, '{');
        cli_json_number(&j, "line", f->line);
        cli_json_number(&j, "column", f->column);
        cli_json_text(&j, "key", f->key);
        cli_json_text(&j, "found", f->found);
        cli_json_text(&j, "expected", f->expected);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_close(&j, '}');
    fputc('\n', stdout);
}

static int run(const cli_call *call)
{
    const char *path = cli_shop_path(call->n_args ? call->args[0] : NULL);
    if (!path) {
        return EXIT_USAGE;
    }
    po_arena *arena = po_arena_new(0);
    if (!arena) {
        return cli_fail(EXIT_OWN, "memory ran out");
    }
    const po_shop *shop = NULL;
    po_shop_faults faults;
    po_err err;
    po_status status = cli_shop_faults(path, arena, &shop, &faults, &err);
    int result = status == PO_OK ? EXIT_CLEAR : EXIT_USAGE;
    if (status != PO_OK && !faults.n_faults) {
        result = cli_fail_err(&err);
    } else if (cli_value(call, "json")) {
        print_json(path, &faults);
    } else if (status == PO_OK &&
               (status = work_opening(shop, path, desk_now_ms((void *)(uintptr_t)shop), arena, &shop, &err)) != PO_OK) {
        result = cli_fail_err(&err); /* a calendar that it names */
    } else if (status == PO_OK) {
        printf("%s: %s: no faults; %zu machine%s, %zu material%s, %zu recipe%s\n", path, shop->name, shop->n_machines,
               shop->n_machines == 1 ? "" : "s", shop->n_materials, shop->n_materials == 1 ? "" : "s", shop->n_recipes,
               shop->n_recipes == 1 ? "" : "s");
    } else {
        for (size_t i = 0; i < faults.n_faults; i++) {
            const po_shop_fault *f = &faults.faults[i];
            printf("%s:%u:%u: %s%sfound %s, expected %s\n", path, f->line, f->column, f->key, *f->key ? ": " : "",
                   f->found, f->expected);
        }
        printf("%s: %zu fault%s\n", path, faults.n_faults, faults.n_faults == 1 ? "" : "s");
    }
    po_arena_free(arena);
    return result;
}

static const cli_option options[] = {
    {.name = "json", .value = NULL, .says = "one JSON object on standard output"},
};

static const cli_example examples[] = {
    {"proveout shop check shop.yaml", "all faults at once, each with its line and column"},
};

const cli_verb cli_shop_check_verb[] = {
    {
        .name = "shop check",
        .operands = "[FILE]",
        .least = 0,
        .most = 1,
        .options = options,
        .n_options = sizeof options / sizeof options[0],
        .line = "every fault of a shop file, each with its place",
        .help = "Reads a shop file and reports every fault in one go: line, column, key, what was found and what was "
                "expected. "
                "Without FILE: PROVEOUT_SHOP, else ./shop.yaml. docs/shop-file.md describes every key.\n\n"
                "Exit status: 0 no fault, 4 faults.",
        .examples = examples,
        .n_examples = 1,
        .run = run,
    },
    {.name = NULL}};
