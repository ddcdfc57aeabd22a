/* One file proved in the light of the book. SPDX-License-Identifier: Apache-2.0 */
#include "desk/proving.h"

#include <math.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/text.h"
#include "desk/opening.h"

/* As `check` gives one file's facts; what is computed at once is bounded by the number of provers. */
#define ARENA_MOST ((size_t)2000000000)

int64_t desk_now_ms_of(const po_desk *desk)
{
    if (desk->options.now_ms) {
        return desk->options.now_ms(desk->options.now_user);
    }
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

typedef struct reporter {
    desk_progress *progress;
    void *user;
    const char *doing;
} reporter;

static bool report(uint64_t done, uint64_t total, void *user)
{
    reporter *r = user;
    return r->progress(r->user, total ? (double)done / (double)total : 0, r->doing);
}

typedef struct task {
    po_desk *desk;
    const desk_asked *asked;
    desk_made *made;
    const char *path, *name;
    int threads;
    reporter reporter;
    work_context work;
    work_book book;
} task;

static po_status prove_job(task *t, po_err *err)
{
    const desk_asked *a = t->asked;
    desk_made *m = t->made;
    po_source source = {.path = t->path};
    work_prove_options o = {.recipe = a->recipe,
                            .permissions = a->permissions_asked ? a->permissions : NULL,
                            .n_permissions = a->n_permissions,
                            .images = true,
                            .threads = t->threads,
                            .progress = report,
                            .user = &t->reporter};
    for (size_t i = 0; a->n_materials && i < PO_MAX_TOOLS; i++) {
        o.materials[i] = a->materials[i < a->n_materials ? i : a->n_materials - 1];
    }
    if (a->start_ms >= 0) {
        o.start_known = work_wall(&t->work, a->start_ms, &o.start, NULL);
    }
    work_proved *proved = po_arena_zeros(m->arena, m->n, sizeof *proved);
    m->jobs = po_arena_zeros(m->arena, m->n, sizeof(*m->jobs));
    if (!proved || !m->jobs) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status s = work_prove(&t->book, m->machines, m->n, &source, t->name, &o, m->arena, proved, err);
    if (s != PO_OK) {
        return s;
    }
    for (size_t i = 0; i < m->n; i++) {
        m->jobs[i] = proved[i].proof;
    }
    m->best = work_best(proved, m->n);
    return strcmp(m->jobs[0]->report->sha256, a->file.sha256) == 0
               ? PO_OK
               : po_fail(err, PO_E_INTERNAL, "the file was damaged on the desk's computer; send it again");
}

static po_status judge_part(task *t, size_t i, const work_fitted *fitted, const po_part_report *part_report,
                            po_err *err)
{
    const desk_asked *a = t->asked;
    po_proof_context *context = po_arena_zeros(t->made->arena, 1, sizeof *context); /* proofs may point into it */
    if (!context) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    *context = (po_proof_context){.shop = t->work.shop,
                                  .recipe = a->recipe,
                                  .permissions = a->permissions_asked ? a->permissions : NULL,
                                  .n_permissions = a->n_permissions,
                                  .spool_g = NAN,
                                  .allowance_left_m = NAN};
    po_status s = work_book_context(&t->book, fitted, NULL, context, err);
    return s == PO_OK ? po_proof_part(part_report, t->name, context, t->made->arena, &t->made->parts[i], err) : s;
}

static po_status prove_part(task *t, po_err *err)
{
    desk_made *m = t->made;
    const po_shop *shop = t->desk->options.shop;
    const desk_asked *a = t->asked;
    po_source source = {.path = t->path};
    work_fitted *fitted = po_arena_zeros(m->arena, m->n, sizeof *fitted);
    const po_machine **machines = po_arena_zeros(m->arena, m->n, sizeof(*machines));
    const po_material **materials = po_arena_zeros(m->arena, m->n, sizeof(*materials));
    const po_part_report **reports = po_arena_zeros(m->arena, m->n, sizeof(*reports));
    m->parts = po_arena_zeros(m->arena, m->n, sizeof(*m->parts));
    if (!fitted || !machines || !materials || !reports || !m->parts) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    t->reporter.doing = "reads";
    po_status s = po_part_read(&source, NULL, m->arena, &m->part, err);
    s = s == PO_OK ? po_part_assembled(m->part, m->arena, &m->part, err) : s;
    size_t n_fitted = 0;
    for (; s == PO_OK && n_fitted < m->n; n_fitted++) {
        s = work_book_fitted(&t->book, m->machines[n_fitted], &fitted[n_fitted], err);
        machines[n_fitted] = fitted[n_fitted].machine;
        materials[n_fitted] = a->n_materials ? a->materials[0] : work_material(shop, &fitted[n_fitted], 0);
    }
    if (s == PO_OK) {
        t->reporter.doing = "measures";
        po_part_options o = {.poses = true,
                             .images = true,
                             .threads = t->threads,
                             .recipe = a->recipe,
                             .progress = report,
                             .user = &t->reporter};
        s = po_part_measure(m->part, shop, machines, materials, m->n, &o, m->arena, reports, err);
    }
    for (size_t i = 0; s == PO_OK && i < m->n; i++) {
        s = judge_part(t, i, &fitted[i], reports[i], err);
        m->best = s == PO_OK && m->parts[i]->verdict < m->parts[m->best]->verdict ? i : m->best;
    }
    for (size_t i = 0; i < n_fitted; i++) {
        work_fitted_done(&fitted[i]);
    }
    return s;
}

static po_status write_result(desk_made *m, bool several, json_t **ret, po_err *err)
{
    po_document d = {0};
    po_arena *arena = po_arena_new(0);
    if (!arena) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    po_status s = m->jobs ? po_slip_json(m->jobs, m->n, several, arena, &d, err)
                          : po_part_slip_json(m->parts, m->n, several, arena, &d, err);
    *ret = s == PO_OK ? json_loadb(d.data, d.n_bytes, 0, NULL) : NULL;
    po_arena_free(arena);
    return s == PO_OK && !*ret ? po_fail(err, PO_E_NOMEM, "memory ran out") : s;
}

void desk_made_free(desk_made *made)
{
    if (made) {
        po_arena_free(made->arena);
        free(made);
    }
}

/* The texts that proofs point to live as long as they do. */
static po_status begin(task *t, desk_made *m, po_err *err)
{
    const po_shop *shop = desk_shop_now(t->desk);
    m->n = t->asked->machine ? 1 : shop->n_machines;
    m->machines = po_arena_zeros(m->arena, m->n, sizeof(*m->machines));
    t->path = desk_file_path(t->desk, t->asked->file.sha256, m->arena);
    const char *name = t->asked->file.name[0] ? t->asked->file.name : "unnamed";
    t->name = po_arena_text(m->arena, name);
    desk_asked *own = po_arena_zeros(m->arena, 1, sizeof *own);
    if (!m->machines || !t->path || !t->name || !own) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    *own = *t->asked; /* contexts point into it */
    t->asked = own;
    for (size_t i = 0; i < m->n; i++) {
        m->machines[i] = own->machine ? own->machine : &shop->machines[i];
    }
    po_status s = work_begin(&t->work, m->arena, shop, NULL, t->desk->options.ledger, desk_now_ms_of(t->desk), err);
    t->book = (work_book){.work = &t->work, .member = own->member[0] ? own->member : NULL};
    return s;
}

po_status desk_prove(po_desk *desk, const desk_asked *asked, int threads, desk_progress *progress, void *user,
                     desk_made **ret, json_t **ret_result, po_err *err)
{
    desk_made *m = calloc(1, sizeof *m);
    task t = {.desk = desk, .asked = asked, .made = m, .threads = threads, .reporter = {progress, user, "reads"}};
    if (!m || !(m->arena = po_arena_new(ARENA_MOST))) {
        free(m);
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    *ret_result = NULL;
    po_status s =
        asked->file.kind == DESK_NEITHER
            ? po_fail(err, PO_E_EMPTY,
                      "this is neither a job (G-code) nor a part (STL or 3MF); an archive has to be unpacked first")
            : begin(&t, m, err);
    s = s == PO_OK ? (asked->file.kind == DESK_JOB ? prove_job : prove_part)(&t, err) : s;
    s = s == PO_OK && !progress(user, 1, "writes") ? po_fail(err, PO_E_CANCELLED, "it was broken off") : s;
    s = s == PO_OK ? write_result(m, !asked->machine, ret_result, err) : s;
    if (s != PO_OK) {
        desk_made_free(m);
        return s;
    }
    *ret = m;
    return PO_OK;
}

/* ---- the book's part ---- */

po_status desk_book_state(po_desk *desk, const char *member, char ret[65], po_err *err)
{
    struct sha256_ctx hash;
    uint8_t digest[SHA256_DIGEST_SIZE];
    const char *text = NULL;
    po_arena *arena = po_arena_new(64 << 20);
    if (!arena) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    sha256_init(&hash);
    const char *parameters = po_arena_printf(arena, "{\"gap_days\": %d}", desk->options.shop->rules.gap_check_days);
    po_status s = po_ledger_ask(desk->options.ledger, "machines", parameters, arena, &text, err);
    if (s == PO_OK) {
        sha256_update(&hash, strlen(text), (const uint8_t *)text);
    }
    if (s == PO_OK && *member) { /* an id: nothing in it to escape */
        parameters = po_arena_printf(arena, "{\"member\": \"%s\"}", member);
        s = po_ledger_ask(desk->options.ledger, "member", parameters, arena, &text, err);
        if (s == PO_OK) {
            sha256_update(&hash, strlen(text), (const uint8_t *)text);
        }
    }
    po_arena_free(arena);
    if (s == PO_OK) {
        sha256_digest(&hash, sizeof digest, digest);
        for (size_t i = 0; i < sizeof digest; i++) {
            snprintf(ret + 2 * i, 3, "%02x", digest[i]);
        }
    }
    return s;
}
