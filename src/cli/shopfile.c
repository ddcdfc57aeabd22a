/* Which shop file, and reading it for a verb. SPDX-License-Identifier: Apache-2.0
 *
 * There is no built-in shop: a proof on invented machines would be worse than none. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "desk.h"
#include "work/opening.h"

const char *cli_shop_path(const char *given)
{
    if (given) {
        return given;
    }
    const char *variable = getenv("PROVEOUT_SHOP");
    if (variable && *variable) {
        return variable;
    }
    if (access("shop.yaml", F_OK) == 0) {
        return "shop.yaml";
    }
    cli_fail(EXIT_USAGE,
             "no shop file: name one with --shop FILE, set PROVEOUT_SHOP, or stand in the folder that holds "
             "shop.yaml (docs/shop-file.md says what is in it, demo/shop.yaml is a whole one)");
    return NULL;
}

po_status cli_shop_faults(const char *path, po_arena *arena, const po_shop **ret_shop, po_shop_faults *ret_faults,
                          po_err *err)
{
    size_t n;
    const po_rule_info *rules = po_rules_table(&n);
    const char **findings = po_arena_zeros(arena, n, sizeof *findings);
    if (!findings) {
        *ret_faults = (po_shop_faults){0};
        return po_fail_at(err, PO_E_NOMEM, path, 0, 0, "memory ran out while reading the shop file");
    }
    for (size_t i = 0; i < n; i++) {
        findings[i] = rules[i].name;
    }
    return po_shop_read_file_knowing(path, findings, n, arena, ret_shop, ret_faults, err);
}

int cli_shop_read(const char *given, po_arena *arena, const po_shop **ret_shop)
{
    const char *path = cli_shop_path(given);
    if (!path) {
        return EXIT_USAGE;
    }
    po_shop_faults faults;
    po_err err;
    po_status status = cli_shop_faults(path, arena, ret_shop, &faults, &err);
    if (status == PO_OK) {
        int64_t now = (*ret_shop)->n_calendars + (*ret_shop)->n_holidays ? desk_now_ms((void *)(uintptr_t)*ret_shop)
                                                                         : 0;
        status = work_opening(*ret_shop, path, now, arena, ret_shop, &err);
        return status == PO_OK ? EXIT_CLEAR : cli_fail_err(&err);
    }
    if (!faults.n_faults) {
        int exit_status = cli_fail_err(&err);
        if (status == PO_E_NOTFOUND && !given) {
            cli_fail(exit_status, "that path comes from PROVEOUT_SHOP; --shop FILE names another");
        }
        return exit_status;
    }
    enum { SHOWN = 20 };
    for (size_t i = 0; i < faults.n_faults && i < SHOWN; i++) {
        const po_shop_fault *f = &faults.faults[i];
        cli_fail(EXIT_USAGE, "%s:%u:%u: %s%sfound %s, expected %s", path, f->line, f->column, f->key,
                 *f->key ? ": " : "", f->found, f->expected);
    }
    if (faults.n_faults > SHOWN) {
        cli_fail(EXIT_USAGE, "%s: %zu more faults; proveout shop check lists them all", path, faults.n_faults - SHOWN);
    }
    return EXIT_USAGE;
}

int cli_shop_machine(const po_shop *shop, const char *name, po_arena *arena, const po_machine **ret)
{
    *ret = po_shop_machine(shop, name);
    if (*ret) {
        return EXIT_CLEAR;
    }
    const char **names = po_arena_zeros(arena, shop->n_machines, sizeof *names);
    for (size_t i = 0; names && i < shop->n_machines; i++) {
        names[i] = shop->machines[i].name;
    }
    const char *near = names ? po_nearest_name(name, names, shop->n_machines) : NULL;
    return cli_fail(EXIT_USAGE, "the shop has no machine \"%s\"; the nearest is \"%s\"", name, near ? near : "none");
}
