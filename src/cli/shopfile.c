/* Which shop file, and reading it for a verb. SPDX-License-Identifier: Apache-2.0
 *
 * There is no built-in shop: a proof on invented machines would be worse than none. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"

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

/* Names of findings that rules.grades holds: what findings there are, the shop floor can't know. */
static bool check_grades(const po_shop *shop, po_arena *arena, po_shop_faults *ret)
{
    po_shop_fault *faults = po_arena_zeros(arena, shop->rules.n_grades, sizeof *faults);
    size_t n = 0;
    for (size_t i = 0; faults && i < shop->rules.n_grades; i++) {
        const char *name = shop->rules.grades[i].finding;
        if (po_rule_find(name)) {
            continue;
        }
        faults[n++] = (po_shop_fault){
            .line = shop->grade_places ? shop->grade_places[i].line : 0,
            .column = shop->grade_places ? shop->grade_places[i].column : 0,
            .key = po_arena_printf(arena, "rules.grades.%s", name),
            .found = po_arena_printf(arena, "the unknown finding \"%s\"", name),
            .expected = po_arena_printf(arena, "a known finding; the nearest is %s", po_rule_nearest(name)),
        };
        if (!faults[n - 1].key || !faults[n - 1].found || !faults[n - 1].expected) {
            return false;
        }
    }
    *ret = (po_shop_faults){faults, n};
    return faults != NULL;
}

po_status cli_shop_faults(const char *path, po_arena *arena, const po_shop **ret_shop, po_shop_faults *ret_faults,
                          po_err *err)
{
    po_status status = po_shop_read_file(path, arena, ret_shop, ret_faults, err);
    if (status != PO_OK) {
        return status;
    }
    if (!check_grades(*ret_shop, arena, ret_faults)) {
        return po_fail_at(err, PO_E_NOMEM, path, 0, 0, "memory ran out while reading the shop file");
    }
    if (ret_faults->n_faults) {
        const po_shop_fault *f = &ret_faults->faults[0];
        return po_fail_at(err, PO_E_SYNTAX, path, f->line, f->column, "%s: found %s, expected %s", f->key, f->found,
                          f->expected);
    }
    return PO_OK;
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
        return EXIT_CLEAR;
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
