/* One job proved on one machine, in the light of the book, for the desk's acts. SPDX-License-Identifier: Apache-2.0 */
#include "prove.h"

int cli_prove_one(cli_book *book, const po_machine *machine, const po_recipe *recipe, const char *path, po_arena *arena,
                  work_proved *ret)
{
    po_source source;
    cli_kind kind;
    int status = cli_open_source(path, arena, &source, &kind);
    if (status == EXIT_CLEAR && kind != CLI_KIND_JOB) {
        status = cli_fail(EXIT_NO_JOB, "%s is %s; a machine runs jobs (G-code)", path,
                          kind == CLI_KIND_ZIP ? "a zip archive" : "a part");
    }
    if (status != EXIT_CLEAR) {
        return status;
    }
    cli_progress progress;
    cli_progress_begin(&progress, path);
    work_prove_options options = {.recipe = recipe, .progress = cli_progress_step, .user = &progress};
    po_err err;
    po_status s = work_prove(cli_book_light(book), &machine, 1, &source, path, &options, arena, ret, &err);
    cli_progress_end(&progress);
    cli_book_tell_suspended(book);
    return s == PO_OK ? EXIT_CLEAR : cli_book_failed(book, &err);
}
