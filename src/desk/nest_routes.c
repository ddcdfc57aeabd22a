/* The routes of bedfuls: what is asked held against the shop, how it stands, picture and files. SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "desk/nest_line.h"

enum { WAIT_MOST_S = 25, COPIES_MOST = 10000, THOUSAND_MM_MOST = 100000, MARGIN_UM = 2000 };

static const char *field(const desk_request *rq, const char *name)
{
    return json_string_value(json_object_get(rq->json, name));
}

static bool flag(const desk_request *rq, const char *name)
{
    return json_is_true(json_object_get(rq->json, name));
}

/* A length in micrometres within 100 mm; false with the reply written. */
static bool length_of(desk_request *rq, desk_reply *rp, const char *name, double usual_mm, double *ret_mm)
{
    const json_t *v = json_object_get(rq->json, name);
    *ret_mm = json_is_integer(v) ? (double)json_integer_value(v) / 1000 : usual_mm;
    if (json_is_integer(v) && json_integer_value(v) > THOUSAND_MM_MOST) {
        desk_problem(rq, rp, 422, name, "at most 100 mm can be kept free; give fewer");
        return false;
    }
    return true;
}

static bool read_files(po_desk *desk, desk_request *rq, desk_reply *rp, desk_nest_asked *a)
{
    const json_t *files = json_object_get(rq->json, "files"), *copies = json_object_get(rq->json, "copies");
    uint64_t all = 0;
    a->n = json_array_size(files);
    if (a->n > DESK_NEST_FILES || json_array_size(copies) != a->n) {
        desk_problem(rq, rp, 422, "copies", "as many figures are wanted as files, and at most %d of each",
                     DESK_NEST_FILES);
        return false;
    }
    for (size_t i = 0; i < a->n; i++) {
        json_int_t n = json_integer_value(json_array_get(copies, i));
        const char *sha256 = json_string_value(json_array_get(files, i));
        if (n < 1 || n > COPIES_MOST || (all += (uint64_t)n) > COPIES_MOST) {
            desk_problem(rq, rp, 422, "copies",
                         "each part is wanted once at least, and %d in all at most; lay out one bedful and repeat it",
                         COPIES_MOST);
            return false;
        }
        a->copies[i] = (uint32_t)n;
        if (!desk_file_get(desk, sha256, &a->files[i])) {
            desk_problem(rq, rp, 404, "files",
                         "file %zu of the list is not kept here (any more); send it first (POST /api/1/files)", i + 1);
            return false;
        }
        if (a->files[i].kind != DESK_PART) {
            desk_problem(rq, rp, 422, "files", "%.80s is no part; an STL or 3MF is needed", a->files[i].name);
            return false;
        }
    }
    return true;
}

/* False with the reply written. */
static bool read_asked(po_desk *desk, desk_request *rq, desk_reply *rp, desk_nest_asked *a)
{
    const po_shop *shop = desk->options.shop;
    const char *material = field(rq, "material"), *recipe = field(rq, "recipe"), *turns = field(rq, "turns");
    const json_t *seconds = json_object_get(rq->json, "seconds");
    a->machine = po_shop_machine(shop, field(rq, "machine"));
    if (!a->machine) {
        desk_problem(rq, rp, 422, "machine", "the shop has no such machine (GET /api/1/shop lists them)");
        return false;
    }
    work_bedful_usual(shop, a->machine, &a->material, &a->recipe);
    if (material) {
        a->material = po_shop_material(shop, material);
        if (!a->material || !po_machine_takes(shop, a->machine, a->material)) {
            desk_problem(rq, rp, 422, "material", "%s",
                         a->material ? "the machine does not take this material" : "the shop has no such material");
            return false;
        }
    }
    if (recipe && !(a->recipe = po_shop_recipe(shop, recipe))) {
        desk_problem(rq, rp, 422, "recipe", "the shop has no such recipe");
        return false;
    }
    a->turn_step = !turns || strcmp(turns, "free") == 0 ? PO_NEST_FREE : strcmp(turns, "quarter") == 0 ? 90 : 0;
    a->find_pose = flag(rq, "find_pose");
    a->keep_holes_free = flag(rq, "keep_holes_free");
    a->finish_each = flag(rq, "finish_each");
    if (a->finish_each && !a->machine->head.given) {
        desk_problem(rq, rp, 422, "finish_each",
                     "the shop file does not say how large the head of %.60s is, so room for it can't be left; add "
                     "head: to the machine",
                     a->machine->name);
        return false;
    }
    a->seconds = json_is_integer(seconds)
                     ? (int)(json_integer_value(seconds) > DESK_NEST_SECONDS_MOST ? -1 : json_integer_value(seconds))
                     : DESK_NEST_SECONDS;
    if (a->seconds < 1) {
        desk_problem(rq, rp, 422, "seconds", "a search takes 1 to %d seconds", DESK_NEST_SECONDS_MOST);
        return false;
    }
    return length_of(rq, rp, "clearance_um", shop->rules.clearance_mm, &a->clearance_mm) &&
           length_of(rq, rp, "margin_um", MARGIN_UM / 1000.0, &a->margin_mm) && read_files(desk, rq, rp, a);
}

static json_t *note_of(const desk_nest_standing *st)
{
    static const char *const words[] = {"free", "waits", "works", "done", "failed"};
    json_t *o = json_pack("{s:s, s:s, s:s, s:s, s:f, s:i, s:i, s:b, s:I}", "format", "proveout/bedfuls/1", "bedfuls",
                          st->id, "state", words[st->stage], "doing", st->doing, "seconds", st->seconds, "most_seconds",
                          st->most_seconds, "rounds", st->rounds, "stopped", st->stopped, "files",
                          (json_int_t)st->n_files);
    if (o && st->stage == DESK_NEST_WAITS) {
        json_object_set_new(o, "position", json_integer(st->position));
    }
    if (o && st->stage == DESK_NEST_FAILED) {
        json_object_set_new(o, "says", json_string(st->err.msg));
    }
    if (o) {
        json_object_set_new(o, "result", st->result ? json_loads(st->result, 0, NULL) : json_null());
    }
    return o;
}

void desk_do_nest(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_nest_asked *a = po_arena_zeros(rq->arena, 1, sizeof *a);
    char client[DESK_CLIENT_MOST];
    desk_nest_standing st;
    po_err err;
    if (!a) {
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        return;
    }
    if (!read_asked(desk, rq, rp, a)) {
        return;
    }
    desk_client_of(rq, client);
    po_status s = desk_nest_ask(desk, a, client, &st, &err);
    if (s == PO_OK) {
        desk_reply_json(rq, rp, note_of(&st));
    } else {
        rp->retry_seconds = 5;
        desk_problem(rq, rp, s == PO_E_LIMIT ? 429 : 503, NULL, "%s", err.msg);
    }
}

static bool find(po_desk *desk, desk_request *rq, desk_reply *rp, desk_nest_standing *ret)
{
    if (!desk_nest_stands(desk, rq->name, rq->arena, ret)) {
        desk_problem(rq, rp, 404, "bedfuls",
                     "there is no such layout here (any more); ask for it anew (POST /api/1/bedfuls)");
        return false;
    }
    return true;
}

void desk_do_nest_now(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_nest_standing st;
    if (!find(desk, rq, rp, &st)) {
        return;
    }
    json_int_t wait = json_integer_value(json_object_get(rq->json, "wait"));
    desk_reply_json(rq, rp, note_of(&st));
    if (st.stage < DESK_NEST_DONE && wait > 0) {
        if (!rq->until_s) {
            rq->until_s = desk_seconds() + (wait > WAIT_MOST_S ? WAIT_MOST_S : wait);
        }
        rp->later = true;
    }
}

void desk_do_nest_stop(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_nest_standing st;
    if (find(desk, rq, rp, &st)) {
        desk_nest_stop_one(desk, st.id);
        if (find(desk, rq, rp, &st)) {
            desk_reply_json(rq, rp, note_of(&st));
        }
    }
}

static void give(po_desk *desk, desk_request *rq, desk_reply *rp, size_t bedful, const char *type)
{
    desk_nest_standing st;
    if (!find(desk, rq, rp, &st)) {
        return;
    }
    rp->body = desk_nest_bytes(desk, st.id, bedful, rq->arena, &rp->n);
    if (!rp->body) {
        desk_problem(rq, rp, st.stage < DESK_NEST_DONE ? 409 : 404, bedful ? "bedful" : "bedfuls",
                     st.stage < DESK_NEST_DONE
                         ? "nothing of it can be had yet; ask again in a moment"
                         : "there is no such bedful, or it is too large to be kept here; proveout nest "
                           "--out writes it");
        return;
    }
    rp->status = 200;
    rp->type = type;
}

void desk_do_nest_picture(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    give(desk, rq, rp, 0, "image/svg+xml");
}

void desk_do_nest_file(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    json_int_t bedful = json_integer_value(json_object_get(rq->json, "bedful"));
    give(desk, rq, rp, bedful > 0 && bedful < COPIES_MOST ? (size_t)bedful : 1, "model/3mf");
    rp->save_as = rp->status == 200
                      ? po_arena_printf(rq->arena, "bedful-%lld.3mf", (long long)(bedful > 0 ? bedful : 1))
                      : NULL;
}
