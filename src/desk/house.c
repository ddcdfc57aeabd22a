/* What the shop file decides about an act. SPDX-License-Identifier: Apache-2.0
 *
 * The book takes limits and permissions with the act, for it does not know the shop file. Over the network they come from the
 * shop file and from nowhere else: a page that could name its own limits would have none. */
#include <string.h>

#include "desk/desk_inside.h"
#include "desk/opening.h"
#include "desk/proving.h"
#include "work/permits.h"

static json_t *micrometres(double metres)
{
    return json_integer((json_int_t)(metres * 1e6 + 0.5));
}

/* Every permission that lets somebody use the machine. */
static json_t *permissions_for(const po_shop *shop, const po_machine *machine)
{
    json_t *list = json_array();
    for (size_t i = 0; i < shop->n_permissions; i++) {
        if (po_shop_grants(shop, shop->permissions[i].name, machine->permission)) {
            json_array_append_new(list, json_string(shop->permissions[i].name));
        }
    }
    return list;
}

/* The act takes its figures from whoever sends it; the desk hands out by the server's own proof (hand_out_book.c). */
static bool hand_out(const po_shop *shop, json_t *body, desk_request *rq, desk_reply *rp)
{
    const char *name = json_string_value(json_object_get(body, "machine"));
    const po_machine *machine = name ? po_shop_machine(shop, name) : NULL;
    if (!machine) {
        desk_problem(rq, rp, 422, "machine", "the shop file has no such machine");
        return false;
    }
    if (rq->who.role < PO_STANDS_AS_KEEPER) {
        desk_problem(
            rq, rp, 403, "act",
            "a hand-out with stated figures takes the role keeper; POST /api/1/hand-out/confirm hands out by the "
            "server's own proof");
        return false;
    }
    json_object_set_new(body, "machine", json_string(machine->name));
    json_object_set_new(body, "run_limit_um", micrometres(shop->rules.allowance_m_per_run));
    if (machine->permission) {
        json_object_set_new(body, "any_of", permissions_for(shop, machine));
    } else {
        json_object_del(body, "any_of");
    }
    const char *beyond = json_string_value(json_object_get(body, "beyond"));
    if (beyond && (shop->beyond == PO_BEYOND_REFUSE || strcmp(beyond, po_beyond_name(shop->beyond)) != 0)) {
        desk_problem(rq, rp, 422, "beyond", "what this shop does beyond allowance and waivers is: %s",
                     po_beyond_name(shop->beyond));
        return false;
    }
    if (beyond && !shop->currency) {
        desk_problem(rq, rp, 422, "beyond", "the shop file names no currency");
        return false;
    }
    if (beyond) {
        json_object_set_new(body, "currency", json_string(shop->currency));
    }
    return true;
}

/* A permission that is granted without a time holds as long as the shop file says. */
static bool permit(po_desk *desk, json_t *body, desk_request *rq, desk_reply *rp)
{
    const char *name = json_string_value(json_object_get(body, "permission"));
    const po_permission *p = name ? po_shop_permission(desk->options.shop, name) : NULL;
    work_context w;
    po_err err;
    if (!p) {
        desk_problem(rq, rp, 422, "permission", "the shop file has no such permission");
        return false;
    }
    if (work_has(body, "until")) {
        return true;
    }
    if (work_begin(&w, rq->arena, desk_shop_now(desk), NULL, NULL, desk_now_ms_of(desk), &err) != PO_OK) {
        desk_problem_of(rq, rp, &err, -1);
        return false;
    }
    int64_t until = work_permit_until(&w, p);
    if (until >= 0) {
        json_object_set_new(body, "until", json_integer(until));
    }
    return true;
}

bool desk_house(po_desk *desk, const char *act, json_t *body, desk_request *rq, desk_reply *rp)
{
    const po_shop *shop = desk->options.shop;
    if (strcmp(act, "waiver-give") == 0) {
        json_object_set_new(body, "desk_limit_um", micrometres(shop->rules.desk_may_waive_m));
    } else if (strcmp(act, "permit-grant") == 0) {
        return permit(desk, body, rq, rp);
    } else if (strcmp(act, "ticket-take") == 0) {
        if (shop->rules.no_shows_most > 0) {
            json_object_set_new(body, "no_shows_most", json_integer(shop->rules.no_shows_most));
            json_object_set_new(body, "no_show_days", json_integer(shop->rules.no_show_days));
        } else {
            json_object_del(body, "no_shows_most");
            json_object_del(body, "no_show_days");
        }
    } else if (strcmp(act, "round-done") == 0) { /* those that the round should have seen */
        json_t *machines = json_array();
        for (size_t i = 0; i < shop->n_machines && i < 256; i++) {
            json_array_append_new(machines, json_string(shop->machines[i].name));
        }
        json_object_set_new(body, "machines", machines);
    } else if (strcmp(act, "run-hand-out") == 0) {
        return hand_out(shop, body, rq, rp);
    }
    return true;
}
