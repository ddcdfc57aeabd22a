/* The routes of proofs and slips. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <nettle/base64.h>
#include <nettle/sha2.h>
#include <string.h>

#include "desk/opening.h"
#include "desk/proving.h"

enum { WAIT_MOST_S = 25, DRAW_WAIT_S = 60 };

/* Whose proof counts what the book knows of a member is for them and the desk alone; to others it is not there. */
static bool may_see(const desk_request *rq, const char *member)
{
    return !member[0] || rq->who.role >= PO_STANDS_AS_DESK || strcmp(rq->who.member, member) == 0;
}

static bool find(po_desk *desk, desk_request *rq, desk_reply *rp, desk_standing *ret)
{
    char client[DESK_CLIENT_MOST];
    desk_client_of(rq, client);
    if (!desk_proof_stands(desk, rq->name, client, ret) || !may_see(rq, ret->member)) {
        desk_problem(rq, rp, 404, "proof",
                     "there is no such proof here (any more); ask for it anew (POST /api/1/proofs)");
        return false;
    }
    return true;
}

static json_t *standing_note(const desk_standing *st)
{
    json_t *o = json_pack("{s:s, s:s, s:s, s:s}", "format", "proveout/proof/1", "proof", st->id, "state",
                          desk_state_word(st->state), "file", st->sha256);
    if (!o) {
        return NULL;
    }
    if (st->state == DESK_WAITING) {
        json_object_set_new(o, "position", json_integer(st->position));
        json_object_set_new(o, "waiting", json_integer(st->waiting));
    } else if (st->state == DESK_COMPUTING) {
        json_object_set_new(o, "progress", json_real(st->share));
        json_object_set_new(o, "doing", json_string(st->doing));
    } else if (st->state == DESK_FAILED) {
        json_object_set_new(o, "says", json_string(st->says));
        json_object_set_new(o, "no_job", json_boolean(st->failed == PO_E_EMPTY));
    }
    return o;
}

void desk_do_prove(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_asked asked;
    desk_standing st;
    char state[65], client[DESK_CLIENT_MOST];
    po_err err;
    if (!desk_asked_read(desk, rq->json, &asked, rq, rp)) {
        return;
    }
    if (asked.member[0] && !may_see(rq, asked.member)) {
        desk_problem(rq, rp, rq->who.role == PO_STANDS_AS_NOBODY ? 401 : 403, "member",
                     "what the book knows of a member counts for the desk and for that member alone; sign in first");
        return;
    }
    json_t *settings = desk_asked_note(&asked);
    po_status s = settings ? desk_book_state(desk, asked.member, state, &err)
                           : po_fail(&err, PO_E_NOMEM, "memory ran out");
    desk_client_of(rq, client);
    if (s != PO_OK) {
        desk_problem_of(rq, rp, &err, -1);
    } else if ((s = desk_proof_ask(desk, settings, state, client, &st, &err)) == PO_OK) {
        desk_reply_json(rq, rp, standing_note(&st));
    } else {
        bool busy = s == PO_E_LIMIT || s == PO_E_CONFLICT;
        rp->retry_seconds = busy ? 5 : 0;
        desk_problem(rq, rp, s == PO_E_LIMIT ? 429 : s == PO_E_IO ? 507 : 503, NULL, "%s", err.msg);
    }
    json_decref(settings);
}

/* Put the answer off for at most so long, counted from the first time. */
static void put_off(desk_request *rq, desk_reply *rp, int64_t seconds)
{
    if (!rq->until_s) {
        rq->until_s = desk_seconds() + seconds;
    }
    rp->later = true;
}

void desk_do_proof(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_standing st;
    if (!find(desk, rq, rp, &st)) {
        return;
    }
    json_t *o = standing_note(&st);
    if (st.state == DESK_DONE) {
        json_t *note = desk_proof_note(desk, st.id);
        json_t *rows = note ? desk_rows_now(desk, json_object_get(note, "rows"), rq->arena) : NULL;
        desk_file file;
        if (!note || !o) {
            json_decref(o);
            json_decref(note);
            json_decref(rows);
            desk_problem(rq, rp, 410, "proof", "this proof is no longer kept; ask for it anew (POST /api/1/proofs)");
            return;
        }
        json_object_set_new(o, "slip", json_string(st.code));
        json_object_set(o, "settings", json_object_get(note, "settings"));
        json_object_set_new(o, "machines", rows);
        json_object_set_new(o, "now_ms", json_integer(desk_now_ms_of(desk)));
        json_object_set_new(o, "file_kept", json_boolean(desk_file_look(desk, st.sha256, &file)));
        json_object_set(o, "result", json_object_get(note, "result"));
        json_decref(note);
    }
    json_int_t wait = json_integer_value(json_object_get(rq->json, "wait"));
    desk_reply_json(rq, rp, o);
    if (st.state <= DESK_COMPUTING && wait > 0) {
        put_off(rq, rp, wait > WAIT_MOST_S ? WAIT_MOST_S : wait);
    }
}

void desk_do_proof_end(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_standing st;
    char client[DESK_CLIENT_MOST];
    if (!find(desk, rq, rp, &st)) {
        return;
    }
    desk_client_of(rq, client);
    desk_proof_leave(desk, st.id, client);
    desk_reply_json(rq, rp, json_pack("{s:s, s:s}", "format", "proveout/proof-cancelled/1", "proof", st.id));
}

/* ---- slips and pictures ---- */

/* The computed proof; NULL with the reply written, or put off until it is computed again. */
static desk_made *take(po_desk *desk, desk_request *rq, desk_reply *rp, desk_standing *st)
{
    char client[DESK_CLIENT_MOST];
    bool later = false;
    if (!find(desk, rq, rp, st)) {
        return NULL;
    }
    if (st->state >= DESK_FAILED) {
        desk_problem(rq, rp, 409, "proof", "this proof was not made: %s", st->says[0] ? st->says : "it was cancelled");
        return NULL;
    }
    desk_client_of(rq, client);
    desk_made *made = desk_proof_take(desk, st->id, client, &later);
    if (!made) {
        rp->retry_seconds = later ? 2 : 0;
        desk_problem(rq, rp, later ? 503 : 410, "proof",
                     later ? "this is still being computed; ask again in a moment"
                           : "the file of this proof is no longer kept; send it again for its slip and pictures");
        if (later) {
            put_off(rq, rp, DRAW_WAIT_S);
        }
    }
    return made;
}

/* Which machine's; the best where none is named. n: none of that name, with the reply written. */
static size_t which(const desk_made *m, desk_request *rq, desk_reply *rp)
{
    const char *name = json_string_value(json_object_get(rq->json, "machine"));
    size_t i = name ? 0 : m->best;
    while (name && i < m->n && strcmp(m->machines[i]->name, name) != 0) {
        i++;
    }
    if (i == m->n) {
        desk_problem(rq, rp, 404, "machine", "this proof is not for a machine of that name");
    }
    return i;
}

static void reply_document(desk_request *rq, desk_reply *rp, po_status s, const po_document *d, const po_err *err,
                           const char *type, const char *save_as)
{
    if (s != PO_OK) {
        desk_problem(rq, rp,
                     s == PO_E_NOTFOUND ? 404
                     : s == PO_E_NOMEM  ? 503
                                        : 500,
                     s == PO_E_NOTFOUND ? "picture" : NULL, "%s", err->msg);
        return;
    }
    rp->status = 200;
    rp->type = type;
    rp->body = d->data;
    rp->n = d->n_bytes;
    rp->save_as = json_is_true(json_object_get(rq->json, "save")) ? save_as : NULL;
}

/* Day and time on the paper, by the shop's clock. */
static po_slip_options options_of(po_desk *desk, desk_request *rq, const desk_standing *st)
{
    work_context w;
    po_err err;
    po_wall_time t;
    po_slip_options o = PO_SLIP_OPTIONS_INIT;
    o.code = po_arena_text(rq->arena, st->code);
    if (work_begin(&w, rq->arena, desk_shop_now(desk), NULL, NULL, desk_now_ms_of(desk), &err) == PO_OK &&
        work_wall(&w, w.now_ms, &t, NULL)) {
        o.today = po_arena_printf(rq->arena, "%04d-%02d-%02d %02d:%02d", t.date.year, t.date.month, t.date.day,
                                  t.minute / 60, t.minute % 60);
    }
    return o;
}

const char *desk_policy_of(po_arena *arena, const po_document *d)
{
    const char *begin = memmem(d->data, d->n_bytes, "<style>", 7);
    const char *end = begin ? memmem(begin, d->n_bytes - (size_t)(begin - d->data), "</style>", 8) : NULL;
    if (!end) {
        return NULL;
    }
    begin += 7;
    struct sha256_ctx hash;
    uint8_t digest[SHA256_DIGEST_SIZE];
    char text[BASE64_ENCODE_RAW_LENGTH(SHA256_DIGEST_SIZE) + 1] = "";
    sha256_init(&hash);
    sha256_update(&hash, (size_t)(end - begin), (const uint8_t *)begin);
    sha256_digest(&hash, sizeof digest, digest);
    base64_encode_raw(text, sizeof digest, digest);
    return po_arena_printf(
        arena,
        "default-src 'none'; style-src 'sha256-%s'; img-src data:; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'",
        text);
}

static const char *paper_name(desk_request *rq, const desk_standing *st, const char *ending)
{
    return po_arena_printf(rq->arena, "slip-%s.%s", st->code, ending);
}

void desk_do_slip_html(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_standing st;
    desk_made *m = take(desk, rq, rp, &st);
    if (m) {
        po_document d = {0};
        po_err err;
        po_slip_options o = options_of(desk, rq, &st);
        po_status s = m->jobs ? po_slip_html(m->jobs, m->n, desk->options.shop, &o, rq->arena, &d, &err)
                              : po_part_slip_html(m->parts, m->n, &o, rq->arena, &d, &err);
        reply_document(rq, rp, s, &d, &err, "text/html; charset=utf-8", paper_name(rq, &st, "html"));
        rp->policy = s == PO_OK ? desk_policy_of(rq->arena, &d) : NULL;
        desk_proof_give(desk, m);
    }
}

/* The slip of one machine, on paper or as text. */
static void slip_of_one(po_desk *desk, desk_request *rq, desk_reply *rp, bool paper)
{
    desk_standing st;
    desk_made *m = take(desk, rq, rp, &st);
    size_t i = m ? which(m, rq, rp) : 0;
    if (m && i < m->n) {
        po_document d = {0};
        po_err err;
        po_slip_options o = options_of(desk, rq, &st);
        const po_shop *shop = desk->options.shop;
        po_status s = m->jobs ? (paper ? po_slip_pdf : po_slip_text)(m->jobs[i], shop, &o, rq->arena, &d, &err)
                              : (paper ? po_part_slip_pdf : po_part_slip_text)(m->parts[i], &o, rq->arena, &d, &err);
        reply_document(rq, rp, s, &d, &err, paper ? "application/pdf" : "text/plain; charset=utf-8",
                       paper_name(rq, &st, paper ? "pdf" : "txt"));
    }
    if (m) {
        desk_proof_give(desk, m);
    }
}

void desk_do_slip_pdf(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    slip_of_one(desk, rq, rp, true);
}

void desk_do_slip_text(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    slip_of_one(desk, rq, rp, false);
}

void desk_do_slip_json(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_standing st;
    if (!find(desk, rq, rp, &st)) {
        return;
    }
    json_t *note = desk_proof_note(desk, st.id), *result = json_object_get(note, "result");
    if (!result) {
        desk_problem(rq, rp, 409, "proof", "this proof is not made yet");
    } else {
        desk_reply_json(rq, rp, json_incref(result));
        rp->save_as = json_is_true(json_object_get(rq->json, "save")) ? paper_name(rq, &st, "json") : NULL;
    }
    json_decref(note);
}

static json_t *picture_note(const po_slip_picture *p)
{
    json_t *flags = json_array();
    for (size_t k = 0; k < p->n_flags; k++) {
        json_array_append_new(flags, json_integer(p->flags[k]));
    }
    return json_pack("{s:s, s:s, s:s, s:f, s:f, s:o, s:o}", "name", p->name, "title", p->title, "description",
                     p->description, "width_mm", p->width_mm, "height_mm", p->height_mm, "z_mm",
                     isfinite(p->z_mm) ? json_real(p->z_mm) : json_null(), "flags", flags);
}

void desk_do_pictures(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_standing st;
    desk_made *m = take(desk, rq, rp, &st);
    size_t i = m ? which(m, rq, rp) : 0, n = 0;
    if (m && i < m->n) {
        const po_slip_picture sheet = {.name = "sheet",
                                       .title = "The part as it lies, its sections, ways up and beds",
                                       .description = m->parts ? m->parts[i]->aloud : "",
                                       .width_mm = 200,
                                       .height_mm = 280,
                                       .z_mm = NAN},
                              *list = &sheet;
        po_err err;
        po_status s = m->jobs ? po_slip_pictures(m->jobs[i], rq->arena, &list, &n, &err) : PO_OK;
        n = m->jobs ? n : 1;
        if (s != PO_OK) {
            desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        } else {
            json_t *array = json_array();
            for (size_t k = 0; k < n; k++) {
                json_array_append_new(array, picture_note(&list[k]));
            }
            desk_reply_json(rq, rp,
                            json_pack("{s:s, s:s, s:s, s:o}", "format", "proveout/pictures/1", "proof", st.id,
                                      "machine", m->machines[i]->name, "pictures", array));
        }
    }
    if (m) {
        desk_proof_give(desk, m);
    }
}

static void draw_picture(po_desk *desk, desk_request *rq, desk_reply *rp, bool png)
{
    desk_standing st;
    const char *name = json_string_value(json_object_get(rq->json, "picture"));
    po_document d = {0};
    po_err err;
    if (!png && strcmp(name, "code") == 0) { /* of the slip: needs nothing computed */
        if (find(desk, rq, rp, &st)) {
            po_status s = po_slip_code_svg(st.code, rq->arena, &d, &err);
            reply_document(rq, rp, s, &d, &err, "image/svg+xml", NULL);
        }
        return;
    }
    desk_made *m = take(desk, rq, rp, &st);
    size_t i = m ? which(m, rq, rp) : 0;
    if (m && i < m->n) {
        po_status s = m->jobs ? po_slip_picture_draw(m->jobs[i], desk->options.shop, name, png, rq->arena, &d, &err)
                      : strcmp(name, "sheet") != 0 ? po_fail(&err, PO_E_NOTFOUND, "a part has one picture here: sheet")
                      : png                        ? po_part_slip_png(m->parts[i], rq->arena, &d, &err)
                                                   : po_part_slip_svg(m->parts[i], rq->arena, &d, &err);
        reply_document(rq, rp, s, &d, &err, png ? "image/png" : "image/svg+xml", NULL);
    }
    if (m) {
        desk_proof_give(desk, m);
    }
}

void desk_do_picture_svg(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    draw_picture(desk, rq, rp, false);
}

void desk_do_picture_png(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    draw_picture(desk, rq, rp, true);
}

void desk_do_slip(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    char id[DESK_PROOF_ID];
    bool is_code = false;
    if (!desk_proof_by_code(desk, rq->name, id, &is_code)) {
        desk_problem(rq, rp, 404, "slip",
                     is_code
                         ? "no proof of that code is kept; the file has to be proved again"
                         : "this is no code of a slip: eight characters, such as on the slip; one of them is wrong");
        return;
    }
    rq->name = po_arena_text(rq->arena, id);
    if (!rq->name) {
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        return;
    }
    desk_do_proof(desk, rq, rp);
}

desk_made *desk_proof_route_take(po_desk *desk, desk_request *rq, desk_reply *rp, desk_standing *st)
{
    return take(desk, rq, rp, st);
}

size_t desk_proof_route_which(const desk_made *made, desk_request *rq, desk_reply *rp)
{
    return which(made, rq, rp);
}
