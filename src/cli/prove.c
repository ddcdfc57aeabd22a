/* One job proved on one machine, in the light of the book. SPDX-License-Identifier: Apache-2.0 */
#include "prove.h"

#include <math.h>

static int measure(const cli_book *book, const cli_fitted *fitted, const char *path, const po_source *source,
                   po_arena *arena, cli_proved *ret, const po_job_report **ret_report)
{
    const po_shop *shop = book->desk.shop;
    const po_material *house = po_shop_house_material(shop);
    po_job_setup setup = {.machine = fitted->machine, .rules = &shop->rules};
    for (size_t i = 0; i < fitted->machine->n_nozzles && i < PO_MAX_TOOLS; i++) {
        const po_material *usual = po_machine_takes(shop, fitted->machine, house)
                                       ? house
                                       : &shop->materials[fitted->machine->materials[0]];
        setup.materials[i] = ret->materials[i] = fitted->materials[i] ? fitted->materials[i] : usual;
    }
    cli_progress progress;
    cli_progress_begin(&progress, path);
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.most_bytes = shop->most_file_bytes;
    options.progress = cli_progress_step;
    options.user = &progress;
    po_err err;
    po_status s = po_job_measure(source, &setup, 1, &options, arena, ret_report, &err);
    cli_progress_end(&progress);
    if (s == PO_OK) {
        return EXIT_CLEAR;
    }
    if (!err.where[0]) {
        snprintf(err.where, sizeof err.where, "%s", path);
    }
    return cli_fail_err(&err);
}

int cli_prove_one(cli_book *book, const po_machine *machine, const po_recipe *recipe, const char *path, po_arena *arena,
                  cli_proved *ret)
{
    po_source source;
    cli_kind kind;
    cli_fitted fitted = {0};
    const po_job_report *report = NULL;
    po_err err;
    *ret = (cli_proved){
        .context = {.shop = book->desk.shop, .recipe = recipe, .spool_g = NAN, .allowance_left_m = NAN}};
    int status = cli_open_source(path, arena, &source, &kind);
    if (status == EXIT_CLEAR && kind != CLI_KIND_JOB) {
        status = cli_fail(EXIT_NO_JOB, "%s is %s; a machine runs jobs (G-code)", path,
                          kind == CLI_KIND_ZIP ? "a zip archive" : "a part");
    }
    status = status == EXIT_CLEAR ? cli_book_fitted(book, machine, &fitted) : status;
    status = status == EXIT_CLEAR ? measure(book, &fitted, path, &source, arena, ret, &report) : status;
    status = status == EXIT_CLEAR ? cli_book_context(book, &fitted, report->sha256, &ret->context) : status;
    if (status == EXIT_CLEAR && cli_book_judge(book, report, path, &ret->context, arena, &ret->proof, &err) != PO_OK) {
        status = cli_fail_err(&err);
    }
    json_decref(fitted.now);
    return status;
}
