/* The routes of a part that is looked at. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <string.h>

#include "base/number.h"
#include "desk/bench.h"

enum { WAIT_S = 20, PICTURE_WAIT_S = 60 };

/* n numbers with commas between them; false: they are not. */
static bool read_numbers(const char *text, double *ret, size_t n)
{
    const char *end = text + strlen(text);
    for (size_t i = 0; i < n; i++) {
        size_t length = strcspn(text, ",");
        const char *rest = po_number_read_e(text, text + length, &ret[i]);
        if (rest != text + length || length == 0 || !isfinite(ret[i]) || !(fabs(ret[i]) <= 1e6)) {
            return false;
        }
        text += length;
        if (i + 1 < n && text++ == end) {
            return false;
        }
    }
    return text == end;
}

static const char *field(const desk_request *rq, const char *name)
{
    return json_string_value(json_object_get(rq->json, name));
}

/* The settings of the look; false with the reply written. */
static bool read_asked(po_desk *desk, desk_request *rq, desk_reply *rp, const desk_made *m, size_t machine,
                       desk_look_asked *a)
{
    static const double as_is[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    const po_part_report *r = m->parts[machine]->report;
    json_int_t solid = json_integer_value(json_object_get(rq->json, "solid"));
    const char *turn = field(rq, "turn"), *degrees = field(rq, "degrees"), *recipe = field(rq, "recipe"),
               *scale = field(rq, "scale"), *from = field(rq, "from");
    const json_t *face = json_object_get(rq->json, "face");
    a->machine = machine;
    a->solid = (size_t)solid;
    a->face = json_is_integer(face) ? json_integer_value(face) : -1;
    a->scale = 1;
    a->below = from && strcmp(from, "below") == 0;
    a->small = json_is_true(json_object_get(rq->json, "small"));
    a->mended = json_is_true(json_object_get(rq->json, "mended"));
    memcpy(a->turn, as_is, sizeof a->turn);
    if (solid < 0 || (size_t)solid >= r->n_solids) {
        desk_problem(rq, rp, 404, "solid", "this part has %zu solids, counted from 0", r->n_solids);
        return false;
    }
    if (turn && (!read_numbers(turn, a->turn, 9) || !po_is_turn(a->turn))) {
        desk_problem(rq, rp, 422, "turn",
                     "turn is nine numbers with commas between them: rows at right angles, of length 1");
        return false;
    }
    if (degrees && !read_numbers(degrees, a->degrees, 3)) {
        desk_problem(rq, rp, 422, "degrees", "degrees are three numbers with commas between them: about x, y and z");
        return false;
    }
    if (scale && (!read_numbers(scale, &a->scale, 1) || !(a->scale >= 0.01 && a->scale <= 100))) {
        desk_problem(rq, rp, 422, "scale", "scale is a number from 0.01 to 100");
        return false;
    }
    a->recipe = recipe ? po_shop_recipe(desk->options.shop, recipe) : NULL;
    if (recipe && !a->recipe) {
        desk_problem(rq, rp, 422, "recipe", "the shop has no recipe of that name");
        return false;
    }
    if (a->face >= 0 && (uint64_t)a->face >= r->solids[a->solid].judged->n_triangles) {
        desk_problem(rq, rp, 422, "face", "this solid has %zu triangles, counted from 0",
                     r->solids[a->solid].judged->n_triangles);
        return false;
    }
    return true;
}

static void put_off(desk_request *rq, desk_reply *rp, int64_t seconds)
{
    if (!rq->until_s) {
        rq->until_s = desk_seconds() + seconds;
    }
    rp->later = true;
}

static int status_of(po_status s)
{
    return s == PO_E_NOMEM                            ? 503
           : s == PO_E_RANGE || s == PO_E_EMPTY       ? 422
           : s == PO_E_UNSUPPORTED || s == PO_E_LIMIT ? 422
           : s == PO_E_CANCELLED                      ? 503
                                                      : 500;
}

static void look(po_desk *desk, desk_request *rq, desk_reply *rp, desk_look_asked *a, const char *save_as)
{
    char client[DESK_CLIENT_MOST];
    desk_standing st;
    desk_made *m = desk_proof_route_take(desk, rq, rp, &st);
    if (!m) {
        return;
    }
    size_t machine = desk_proof_route_which(m, rq, rp);
    if (machine < m->n && !m->parts) {
        desk_problem(rq, rp, 409, "proof", "this proof is of a job; ways up are for parts");
    } else if (machine < m->n && read_asked(desk, rq, rp, m, machine, a)) {
        desk_seen seen;
        double share = 0;
        po_err err = {0};
        desk_client_of(rq, client);
        bool picture = a->look == DESK_LOOK_VIEW || a->look == DESK_LOOK_WRITE; /* fetched by the browser itself */
        switch (desk_bench_ask(desk, st.id, m, a, client, rq->arena, &seen, &share, &err)) {
        case DESK_LOOK_DONE:
            rp->status = 200;
            rp->type = seen.type;
            rp->body = seen.data;
            rp->n = seen.n;
            rp->save_as = save_as;
            break;
        case DESK_LOOK_FAILED:
            desk_problem(rq, rp, status_of(err.code), NULL, "%s", err.msg);
            break;
        case DESK_LOOK_FULL:
            rp->retry_seconds = 5;
            desk_problem(rq, rp, 429, NULL, "too much is being computed already; ask again in a moment");
            break;
        default:
            if (picture) {
                rp->retry_seconds = 5;
                desk_problem(rq, rp, 503, NULL, "this is still being computed; ask again in a moment");
            } else {
                desk_reply_json(rq, rp, json_pack("{s:s, s:f}", "format", "proveout/working/1", "progress", share));
                rp->status = 202;
            }
            put_off(rq, rp, picture ? PICTURE_WAIT_S : WAIT_S);
        }
    }
    desk_proof_give(desk, m);
}

void desk_do_part(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    look(desk, rq, rp, &(desk_look_asked){.look = DESK_LOOK_PART}, NULL);
}

void desk_do_part_mesh(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    look(desk, rq, rp, &(desk_look_asked){.look = DESK_LOOK_MESH}, NULL);
}

void desk_do_part_pose(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    look(desk, rq, rp, &(desk_look_asked){.look = DESK_LOOK_POSE}, NULL);
}

void desk_do_part_classes(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    look(desk, rq, rp, &(desk_look_asked){.look = DESK_LOOK_CLASSES}, NULL);
}

void desk_do_part_scales(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    look(desk, rq, rp, &(desk_look_asked){.look = DESK_LOOK_SCALES}, NULL);
}

void desk_do_part_view(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    look(desk, rq, rp, &(desk_look_asked){.look = DESK_LOOK_VIEW}, NULL);
}

void desk_do_part_file(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    bool mended = json_is_true(json_object_get(rq->json, "mended"));
    look(desk, rq, rp, &(desk_look_asked){.look = DESK_LOOK_WRITE}, mended ? "part-mended.3mf" : "part-turned.3mf");
}
