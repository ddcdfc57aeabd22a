/* Care, searches for causes, and the room over the network. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "desk/at_desk.h"
#include "proveout/cards.h"
#include "proveout/symptom_drawing.h"
#include "work/care.h"
#include "work/room.h"
#include "work/trouble.h"

static const char *text_of(const desk_request *rq, const char *name)
{
    return json_string_value(json_object_get(rq->json, name));
}

static double number_of(const desk_request *rq, const char *name)
{
    const json_t *v = json_object_get(rq->json, name);
    return json_is_integer(v) ? (double)json_integer_value(v) : NAN;
}

/* The machine that is named, which may be missing where it need not be there; false with the reply written. */
static bool machine_of(po_desk *desk, desk_request *rq, desk_reply *rp, const po_machine **ret)
{
    const char *name = text_of(rq, "machine");
    *ret = name ? po_shop_machine(desk->options.shop, name) : NULL;
    if (name && !*ret) {
        desk_problem(rq, rp, 404, "machine", "the shop has no machine of that name");
        return false;
    }
    return true;
}

/* An answer of src/work's, or why there is none. */
static void reply(po_desk *desk, desk_request *rq, desk_reply *rp, po_status s, json_t *answer, const po_err *err)
{
    if (s == PO_OK) {
        desk_reply_json(rq, rp, answer);
    } else if (s == PO_E_RANGE) {
        desk_problem(rq, rp, 422, err->where[0] ? err->where : NULL, "%s", err->msg);
    } else {
        desk_said_no(desk, rq, rp, err);
    }
}

void desk_do_care(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const po_machine *machine = NULL;
    work_context w;
    json_t *due = NULL;
    po_err err;
    if (machine_of(desk, rq, rp, &machine) && desk_context_begin(desk, rq, rp, &w)) {
        po_status s = work_care_due(&w, machine ? machine->name : NULL, &due, &err);
        reply(desk, rq, rp, s, due, &err);
    }
}

void desk_do_why_symptoms(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const po_why *why = NULL;
    size_t n;
    po_err err;
    if (po_why_new(NULL, 0, rq->arena, &why, &err) != PO_OK) {
        desk_said_no(desk, rq, rp, &err);
        return;
    }
    json_t *symptoms = json_array(), *causes = json_array();
    const po_why_symptom *s = po_why_symptoms(why, &n);
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(symptoms,
                              json_pack("{s:s, s:s, s:s}", "symptom", s[i].id, "words", s[i].words, "look", s[i].look));
    }
    const po_why_cause *c = po_why_causes(why, &n);
    for (size_t i = 0; i < n; i++) {
        json_array_append_new(
            causes, json_pack("{s:s, s:s, s:s}", "cause", c[i].id, "words", c[i].words, "remedy", c[i].remedy));
    }
    desk_reply_json(
        rq, rp, json_pack("{s:s, s:o, s:o}", "format", "proveout/symptoms/1", "symptoms", symptoms, "causes", causes));
}

void desk_do_why_drawing(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    po_document d;
    po_err err;
    (void)desk;
    po_status s = po_symptom_svg(rq->name, rq->arena, &d, &err);
    if (s != PO_OK) {
        desk_problem(rq, rp, s == PO_E_NOTFOUND ? 404 : 503, "symptom", "%s", err.msg);
        return;
    }
    rp->status = 200;
    rp->type = "image/svg+xml";
    rp->body = d.data;
    rp->n = d.n_bytes;
}

void desk_do_why(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    char *end = NULL;
    long long number = strtoll(rq->name, &end, 10);
    work_context w;
    work_trouble t = {0};
    json_t *view = NULL;
    po_err err;
    if (number < 1 || *end) {
        desk_problem(rq, rp, 404, "trouble", "there is no such search");
        return;
    }
    if (!desk_context_begin(desk, rq, rp, &w)) {
        return;
    }
    po_status s = work_trouble_read(&w, number, &t, &err);
    s = s == PO_OK ? work_trouble_view(&w, &t, &view, &err) : s;
    reply(desk, rq, rp, s, view, &err);
    work_trouble_end(&t);
}

void desk_do_room_air(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_room_asked asked = WORK_ROOM_ASKED_INIT;
    double more = number_of(rq, "more");
    work_context w;
    json_t *air = NULL;
    po_err err;
    asked.area_m2 = number_of(rq, "area_m2");
    asked.outdoor_m3_h = number_of(rq, "outdoor_m3_h");
    asked.cleaner_m3_h = number_of(rq, "cleaner_m3_h");
    asked.running = text_of(rq, "running");
    asked.day = json_is_true(json_object_get(rq->json, "day"));
    if (more > 1000 || asked.area_m2 > 100000 || asked.outdoor_m3_h > 1e6 || asked.cleaner_m3_h > 1e6) {
        desk_problem(rq, rp, 422,
                     more > 1000              ? "more"
                     : asked.area_m2 > 100000 ? "area_m2"
                                              : "outdoor_m3_h",
                     "that is more than a room holds");
        return;
    }
    asked.more_machines = isnan(more) ? 0 : (int)more;
    if (desk_context_begin(desk, rq, rp, &w)) {
        po_status s = work_room_air(&w, &asked, &air, &err);
        reply(desk, rq, rp, s, air, &err);
    }
}

void desk_do_room_power(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    work_context w;
    json_t *power = NULL;
    po_err err;
    if (desk_context_begin(desk, rq, rp, &w)) {
        po_status s = work_room_power(&w, &power, &err);
        reply(desk, rq, rp, s, power, &err);
    }
}

/* "0:60000,600:45000": seconds and thousandths of a degree; false with the reply written. */
static bool read_readings(desk_request *rq, desk_reply *rp, const char *text, po_cooling_reading *list, size_t most,
                          size_t *ret_n)
{
    *ret_n = 0;
    for (const char *p = text; *p;) {
        char *end = NULL, *end2 = NULL;
        double seconds = (double)strtol(p, &end, 10), mc = *end == ':' ? (double)strtol(end + 1, &end2, 10) : 0;
        if (!end2 || end2 == end + 1 || (*end2 && *end2 != ',') || *ret_n == most || end == p) {
            desk_problem(rq, rp, 422, "readings",
                         "expected seconds:thousandths of a degree with commas between, at most %d", (int)most);
            return false;
        }
        list[(*ret_n)++] = (po_cooling_reading){seconds / 60, mc / 1000};
        p = end2 + (*end2 == ',');
    }
    return true;
}

void desk_do_room_cool(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    enum { MOST = 64 };
    const po_machine *machine = NULL;
    const char *text = text_of(rq, "readings");
    po_cooling_reading list[MOST];
    size_t n = 0;
    double room_c = number_of(rq, "room_mc") / 1000;
    work_context w;
    json_t *cool = NULL, *answer = NULL;
    po_err err;
    po_status s = PO_OK;
    if (!machine_of(desk, rq, rp, &machine) || !machine || !desk_context_begin(desk, rq, rp, &w) ||
        (text && !read_readings(rq, rp, text, list, MOST, &n))) {
        return;
    }
    if (!text) {
        s = work_ask(&w, "care-measures",
                     json_pack("{s:s, s:s, s:i}", "machine", machine->name, "kind", "cooling", "limit", 1), &answer,
                     &err);
        const json_t *rows = json_object_get(json_array_get(json_object_get(answer, "measures"), 0), "readings"), *row;
        size_t i;
        json_array_foreach(rows, i, row)
        {
            if (n < MOST) {
                list[n++] = (po_cooling_reading){(double)json_integer_value(json_array_get(row, 0)) / 60,
                                                 (double)json_integer_value(json_array_get(row, 1)) / 1000};
            }
        }
        if (s == PO_OK && n == 0) {
            s = po_fail_at(&err, PO_E_NOTFOUND, "readings", 0, 0, "the book has no cooling of %s yet", machine->name);
        }
    }
    s = s == PO_OK
            ? work_room_cool(&w, machine, list, n, isnan(room_c) && n < 5 ? machine->heat.room_c : room_c, &cool, &err)
            : s;
    reply(desk, rq, rp, s, cool, &err);
    json_decref(answer);
}

void desk_do_room_cards(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *page = NULL;
    size_t n = 0;
    po_err err;
    po_status s = po_cards_html(desk->options.shop->name, text_of(rq, "card"), rq->arena, &page, &n, &err);
    if (s != PO_OK) {
        desk_problem(rq, rp, s == PO_E_NOTFOUND ? 404 : 503, "card", "%s", err.msg);
        return;
    }
    rp->status = 200;
    rp->type = "text/html; charset=utf-8";
    rp->policy = desk_policy_of(rq->arena, &(po_document){page, n});
    rp->body = page;
    rp->n = n;
}
