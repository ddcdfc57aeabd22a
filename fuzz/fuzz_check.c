/* A job from bytes to slip, on two very small machines (a raster of 140 by 140 cells: searching must be quick). SPDX-License-Identifier: Apache-2.0
 * Promises: every byte string ends in facts or in a clear error; the facts are numbers; the verdict is the worst grade
 * found; the JSON is JSON, and the same whatever the number of threads. */
#include <jansson.h>
#include <math.h>
#include <string.h>

#include "proveout/slip.h"
#include "small_shop.h"

static void not_negative(double v)
{
    PROMISE(isnan(v) || (v >= 0 && isfinite(v)));
}

static void check_facts(const po_job_report *report, size_t n_bytes)
{
    const po_job_facts *f = &report->facts;
    PROMISE(strlen(report->sha256) == 64 && f->bytes == n_bytes);
    not_negative(f->filament_mm);
    not_negative(f->filament_g);
    not_negative(f->volume_mm3);
    not_negative(f->seconds);
    not_negative(f->motion_seconds);
    not_negative(f->heat_seconds);
    not_negative(f->wait_seconds);
    not_negative(f->extruding_mm);
    not_negative(f->travel_mm);
    not_negative(f->foothold_mm2);
    not_negative(f->on_air_mm);
    PROMISE(f->filament_net_mm <= f->filament_mm * (1 + 1e-9) + 1e-9);
    PROMISE(f->n_by_height <= 400 && f->n_hands <= 64 && f->n_unknown_words <= 64);
    for (int i = 0; i < PO_SIGHT_COUNT; i++) {
        const po_sighting *s = &report->sights[i];
        PROMISE(s->count == 0 || !s->first.known || s->first.line <= f->lines);
    }
    if (report->images.first_layer) {
        const po_layer_image *image = report->images.first_layer;
        PROMISE(image->width > 0 && image->height > 0 && image->px);
        for (long i = 0; i < (long)image->width * image->height; i++) {
            PROMISE(image->px[i] < PO_PX_COUNT);
        }
    }
}

/* One object a line, of the right kind, without anything that JSON does not know. */
static void check_json(const po_document *doc)
{
    PROMISE(doc->n_bytes > 0 && doc->data[doc->n_bytes - 1] == '\n');
    json_error_t why;
    json_t *root = json_loadb(doc->data, doc->n_bytes, JSON_REJECT_DUPLICATES, &why);
    if (!root) {
        fprintf(stderr, "%s at %d: %.*s\n", why.text, why.position, (int)doc->n_bytes, doc->data);
    }
    PROMISE(root);
    const char *format = json_string_value(json_object_get(root, "format"));
    PROMISE(format && strcmp(format, "proveout/job-proof/1") == 0);
    PROMISE(json_array_size(json_object_get(root, "machines")) == 2);
    json_decref(root);
}

/* Bytes to JSON, with so many threads; {NULL, 0} where they are no job. */
static po_document prove(const uint8_t *data, size_t n, int threads, po_arena *arena, po_status *ret_status)
{
    const po_shop *shop = small_shop();
    po_job_setup setups[2];
    memset(setups, 0, sizeof setups);
    for (int i = 0; i < 2; i++) {
        setups[i].machine = &shop->machines[i];
        setups[i].rules = &shop->rules;
        for (size_t k = 0; k < shop->machines[i].n_nozzles; k++) {
            setups[i].materials[k] = &shop->materials[0];
        }
    }
    po_job_options options = PO_JOB_OPTIONS_INIT;
    options.images = true;
    options.threads = threads;
    options.most_bytes = 2 << 20;
    po_source source = {.data = data, .n_bytes = n};
    const po_job_report *reports[2] = {NULL, NULL};
    po_err err = {.code = PO_OK};
    *ret_status = po_job_measure(&source, setups, 2, &options, arena, reports, &err);
    if (*ret_status != PO_OK) {
        PROMISE(*ret_status == err.code && err.msg[0] && !reports[0]);
        PROMISE(*ret_status == PO_E_EMPTY || *ret_status == PO_E_SYNTAX || *ret_status == PO_E_LIMIT ||
                *ret_status == PO_E_NOMEM);
        return (po_document){NULL, 0};
    }
    const char *held[] = {"starter"};
    po_proof_context context = {.shop = shop,
                                .permissions = held,
                                .n_permissions = n % 2,
                                .spool_g = n % 3 ? NAN : 20,
                                .allowance_left_m = n % 5 ? NAN : 10,
                                .start_known = n % 2 == 0,
                                .start = {{2026, 11, 2}, 600}};
    const po_proof *proofs[2];
    for (int i = 0; i < 2; i++) {
        check_facts(reports[i], n);
        PROMISE(po_proof_job(reports[i], "a file", &context, arena, &proofs[i], &err) == PO_OK);
        po_verdict worst = PO_CLEAR;
        for (size_t k = 0; k < proofs[i]->n_findings; k++) {
            const po_finding *finding = &proofs[i]->findings[k];
            PROMISE(po_rule_find(finding->name) && finding->says[0] && finding->todo[0]);
            po_verdict v = finding->grade == PO_GRADE_STOP  ? PO_STOP
                           : finding->grade == PO_GRADE_ASK ? PO_ASK
                                                            : PO_CLEAR;
            worst = v > worst ? v : worst;
        }
        PROMISE(proofs[i]->verdict == worst);
        po_slip_options slip = PO_SLIP_OPTIONS_INIT;
        po_document text;
        PROMISE(po_slip_text(proofs[i], shop, &slip, arena, &text, &err) == PO_OK);
        PROMISE(text.n_bytes > 0 && text.data[text.n_bytes - 1] == '\n' && !memchr(text.data, 27, text.n_bytes));
    }
    po_document json;
    PROMISE(po_slip_json(proofs, 2, true, arena, &json, &err) == PO_OK);
    check_json(&json);
    return json;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    po_arena *arenas[2] = {po_arena_new(256 << 20), po_arena_new(256 << 20)};
    PROMISE(arenas[0] && arenas[1]);
    po_status s[2];
    po_document one = prove(data, n, 1, arenas[0], &s[0]);
    if (n % 4 == 0) { /* costs as much again, so not always */
        po_document many = prove(data, n, 3, arenas[1], &s[1]);
        PROMISE(s[0] == s[1] && one.n_bytes == many.n_bytes);
        PROMISE(one.n_bytes == 0 || memcmp(one.data, many.data, one.n_bytes) == 0);
    }
    po_arena_free(arenas[0]);
    po_arena_free(arenas[1]);
    return 0;
}
