/* proveout check of a part: read, measure, prove, print; and --mend. SPDX-License-Identifier: Apache-2.0
 *
 * Parses nothing and judges nothing: calls the library and prints. The part given is never written to. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "proveout/pieces.h"

/* The message, and its line of JSON. */
static int fail_part(cli_check *c, const char *path, po_err *err)
{
    return cli_no_proof(c, path, cli_fail_part(path, err), err->msg, err);
}

/* ---- mending ---- */

typedef struct mending {
    const po_mend *mends; /* one for each object; those that are no models stay zero */
    const po_part *part;
    size_t n_items; /* written */
    size_t n_left_out;
    bool sound; /* every item is watertight now */
} mending;

static bool is_model(const po_part *part, size_t object)
{
    return part->objects[object].type == PO_OBJECT_MODEL;
}

static po_status mend_all(cli_check *c, const po_part *part, po_arena *arena, mending *ret, po_document *ret_doc,
                          po_err *err)
{
    po_mend *mends = po_arena_zeros(arena, part->n_objects + 1, sizeof *mends);
    po_3mf_item *items = po_arena_zeros(arena, part->n_items + 1, sizeof *items);
    if (!mends || !items) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    *ret = (mending){.mends = mends, .part = part, .sound = true};
    for (size_t i = 0; i < part->n_items; i++) {
        const po_part_item *item = &part->items[i];
        po_mend *mend = &mends[item->object];
        if (!is_model(part, item->object)) {
            ret->n_left_out++;
            continue;
        }
        if (!mend->mesh) {
            po_status status = po_mesh_mend(&part->objects[item->object].mesh, NAN, c->threads, arena, mend, err);
            if (status != PO_OK) {
                return status;
            }
        }
        ret->sound = ret->sound && mend->after.watertight;
        items[ret->n_items++] = (po_3mf_item){
            .mesh = mend->mesh, .name = part->objects[item->object].name, .matrix = item->matrix};
    }
    if (ret->n_items == 0) {
        return po_fail(err, PO_E_EMPTY, "there is no model in it to mend");
    }
    const unsigned char *bytes;
    po_status status = po_3mf_write(items, ret->n_items, NULL, arena, &bytes, &ret_doc->n_bytes, err);
    ret_doc->data = (const char *)bytes;
    return status;
}

static void tell_object(FILE *out, const mending *m, size_t i)
{
    const po_mend *mend = &m->mends[i];
    const po_part_object *object = &m->part->objects[i];
    if (m->part->n_objects > 1) {
        fprintf(out, "  object %u%s%.60s%s\n", object->id, object->name ? " (" : "", object->name ? object->name : "",
                object->name ? ")" : "");
    }
    if (mend->n_says == 0) {
        fputs("  - nothing had to be mended\n", out);
    }
    for (size_t k = 0; k < mend->n_says; k++) {
        fputs("  - ", out);
        cli_wrap(out, 0, mend->says[k]);
    }
    for (size_t k = 0; k < mend->n_left; k++) {
        fputs("  ! left to a person: ", out);
        cli_wrap(out, 0, mend->left[k]);
    }
}

static void tell_mending(cli_check *c, const mending *m)
{
    FILE *out = c->text ? stdout : stderr;
    fprintf(out, "%sMended: %s (%zu item%s)\n", c->text ? "\n" : "", c->mend, m->n_items, m->n_items == 1 ? "" : "s");
    for (size_t i = 0; i < m->part->n_objects; i++) {
        if (m->mends[i].mesh) {
            tell_object(out, m, i);
        }
    }
    if (m->n_left_out > 0) {
        fprintf(out, "  ! %zu item%s left out: supports and the like\n", m->n_left_out, m->n_left_out == 1 ? "" : "s");
    }
    fprintf(out, "  %s\n",
            m->sound ? "It is closed, and the right way round."
                     : "It is not sound yet: mend the rest in the drawing program.");
}

static void counts(cli_json *j, const char *key, const po_mesh_facts *f)
{
    cli_json_open(j, key, '{');
    cli_json_number(j, "triangles", (double)f->triangles);
    cli_json_number(j, "open_edges", (double)f->open_edges);
    cli_json_number(j, "crowded_edges", (double)f->crowded_edges);
    cli_json_number(j, "flipped_triangles", (double)f->flipped_triangles);
    cli_json_bool(j, "watertight", f->watertight);
    cli_json_number(j, "volume_mm3", f->volume_mm3);
    cli_json_close(j, '}');
}

static void sentences(cli_json *j, const char *key, const char *const *texts, size_t n)
{
    cli_json_open(j, key, '[');
    for (size_t i = 0; i < n; i++) {
        cli_json_text(j, NULL, texts[i]);
    }
    cli_json_close(j, ']');
}

/* The slip's object with one member more: "mend". */
static int print_json(cli_check *c, const po_document *document, const mending *m)
{
    if (!m || document->n_bytes < 3) {
        return cli_write_file("-", document);
    }
    fwrite(document->data, 1, document->n_bytes - 2, stdout); /* without its last bracket and line end */
    cli_json j = {.out = stdout, .comma = true};
    cli_json_open(&j, "mend", '{');
    cli_json_text(&j, "file", c->mend);
    cli_json_bool(&j, "watertight", m->sound);
    cli_json_number(&j, "left_out", (double)m->n_left_out);
    cli_json_open(&j, "objects", '[');
    for (size_t i = 0; i < m->part->n_objects; i++) {
        const po_mend *mend = &m->mends[i];
        if (!mend->mesh) {
            continue;
        }
        cli_json_open(&j, NULL, '{');
        cli_json_number(&j, "object", m->part->objects[i].id);
        cli_json_number(&j, "weld_mm", mend->weld_mm);
        cli_json_number(&j, "welded_vertices", (double)mend->welded_vertices);
        cli_json_number(&j, "flat_dropped", (double)mend->flat_dropped);
        cli_json_number(&j, "doubled_dropped", (double)mend->doubled_dropped);
        cli_json_number(&j, "triangles_turned", (double)mend->triangles_turned);
        cli_json_number(&j, "shells_turned", (double)mend->shells_turned);
        cli_json_number(&j, "holes_filled", (double)mend->holes_filled);
        cli_json_number(&j, "triangles_added", (double)mend->triangles_added);
        counts(&j, "before", &mend->before);
        counts(&j, "after", &mend->after);
        sentences(&j, "says", mend->says, mend->n_says);
        sentences(&j, "left", mend->left, mend->n_left);
        cli_json_close(&j, '}');
    }
    cli_json_close(&j, ']');
    cli_json_close(&j, '}');
    fputs("}\n", stdout);
    return EXIT_CLEAR;
}

/* ---- printing ---- */

static int worse(int a, int b)
{
    return a > b ? a : b;
}

/* All outputs of one part; EXIT_CLEAR when all could be written. */
static int print_all(cli_check *c, const po_part_proof *const *proofs, size_t n, size_t best, const mending *m,
                     po_arena *arena)
{
    po_slip_options options = {.colour = c->text && cli_colour_wanted(), .today = c->today};
    po_document document = {0};
    po_err err;
    int worst = EXIT_CLEAR;
    if (c->html) {
        po_status status = po_part_slip_html(proofs, n, &options, arena, &document, &err);
        worst = worse(worst, cli_print_document(status, c->html, &document, &err));
    }
    if ((c->pdf || c->picture) && !c->one_machine && n > 1) {
        cli_fail(EXIT_CLEAR, "one machine fits on the page: this is %s; --machine names another",
                 proofs[best]->report->machine->name);
    }
    if (c->pdf) {
        po_status status = po_part_slip_pdf(proofs[best], &options, arena, &document, &err);
        worst = worse(worst, cli_print_document(status, c->pdf, &document, &err));
    }
    if (c->picture) {
        bool png = !strcmp(strrchr(c->picture, '.'), ".png");
        po_status status = png ? po_part_slip_png(proofs[best], arena, &document, &err)
                               : po_part_slip_svg(proofs[best], arena, &document, &err);
        worst = worse(worst, cli_print_document(status, c->picture, &document, &err));
    }
    if (c->json) {
        po_status status = po_part_slip_json(proofs, n, !c->one_machine, arena, &document, &err);
        worst = worse(worst, status == PO_OK ? print_json(c, &document, m) : cli_fail_err(&err));
    }
    if (c->text) {
        po_status status = c->one_machine ? po_part_slip_text(proofs[0], &options, arena, &document, &err)
                                          : po_part_slip_table(proofs, n, &options, arena, &document, &err);
        worst = worse(worst, cli_print_document(status, "-", &document, &err));
    }
    if (m && !c->json) {
        tell_mending(c, m);
    }
    return worst;
}

int cli_check_part(cli_check *c, const char *path, const po_source *source, po_arena *arena)
{
    const po_part *part = NULL;
    po_err err;
    po_status status = po_part_read(source, NULL, arena, &part, &err);
    if (status == PO_OK) {
        status = po_part_assembled(part, arena, &part, &err); /* mended and judged as it is printed: whole */
    }
    if (status != PO_OK) {
        return fail_part(c, path, &err);
    }
    const po_material **materials = po_arena_zeros(arena, c->n_machines, sizeof(*materials));
    const po_part_report **reports = po_arena_zeros(arena, c->n_machines, sizeof(*reports));
    const po_part_proof **proofs = po_arena_zeros(arena, c->n_machines, sizeof(*proofs));
    if (!materials || !reports || !proofs) {
        return cli_fail(EXIT_OWN, "%s: memory ran out", path);
    }
    for (size_t i = 0; i < c->n_machines; i++) {
        materials[i] = cli_material_for(c, c->machines[i], 0);
    }
    cli_progress progress;
    cli_progress_begin(&progress, path);
    po_part_options options = {.poses = true,
                               .images = c->pictures,
                               .threads = c->threads,
                               .recipe = c->context.recipe,
                               .progress = cli_progress_step,
                               .user = &progress};
    status = po_part_measure(part, c->shop, c->machines, materials, c->n_machines, &options, arena, reports, &err);
    cli_progress_end(&progress);
    size_t best = 0;
    for (size_t i = 0; status == PO_OK && i < c->n_machines; i++) {
        po_proof_context *context = po_arena_zeros(arena, 1, sizeof *context); /* proofs may point into it */
        if (!context) {
            return cli_fail(EXIT_OWN, "%s: memory ran out", path);
        }
        *context = c->context;
        int asked = cli_book_context(&c->book, &c->fitted[i], NULL, context);
        if (asked != EXIT_CLEAR) {
            return asked;
        }
        status = po_proof_part(reports[i], path, context, arena, &proofs[i], &err);
        best = status == PO_OK && proofs[i]->verdict < proofs[best]->verdict ? i : best;
    }
    if (status != PO_OK) {
        return fail_part(c, path, &err);
    }
    mending mended, *m = NULL;
    int written = EXIT_CLEAR;
    if (c->mend) {
        po_document document = {0};
        status = mend_all(c, part, arena, &mended, &document, &err);
        written = cli_print_document(status, c->mend, &document, &err);
        m = written == EXIT_CLEAR ? &mended : NULL;
    }
    written = worse(written, print_all(c, proofs, c->n_machines, best, m, arena));
    return written > EXIT_CLEAR ? written : (int)proofs[best]->verdict;
}
