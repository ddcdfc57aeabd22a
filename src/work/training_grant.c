/* Permissions that follow from papers and steps, who waits for a sign-off, who lets a permission lie. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "work/permits.h"
#include "work/training_inside.h"

enum { PAGE = 1000 };

/* Which steps are signed: a flag for each of the study's. */
static po_status signed_steps(work_context *w, const po_study *study, const char *member, bool *ret, po_err *err)
{
    json_t *answer = NULL;
    po_status s = work_ask(w, "practice",
                           json_pack("{s:s, s:s, s:i}", "member", member, "study", study->id, "limit", (int)PAGE),
                           &answer, err);
    const json_t *row;
    size_t i;
    json_array_foreach(json_object_get(answer, "practice"), i, row)
    {
        for (size_t k = 0; k < study->n_practice; k++) {
            ret[k] = ret[k] || strcmp(study->practice[k].id, work_text(row, "step")) == 0;
        }
    }
    json_decref(answer);
    return s;
}

/* Is the latest paper that is not void passed? One that is open counts for nothing yet. */
static po_status has_passed(work_context *w, const po_study *study, const char *member, bool *ret, po_err *err)
{
    json_t *answer = NULL;
    po_status s = work_ask(
        w, "papers",
        json_pack("{s:s, s:s, s:s, s:i}", "member", member, "study", study->id, "state", "handed-in", "limit", 1),
        &answer, err);
    *ret = json_is_true(json_object_get(json_array_get(json_object_get(answer, "papers"), 0), "passed"));
    json_decref(answer);
    return s;
}

po_status work_training_grant(work_context *w, const po_study *study, const char *member, int64_t paper,
                              const char *step, work_acts *acts, po_err *err)
{
    const po_permission *permission = study->grants ? po_shop_permission(w->shop, study->grants) : NULL;
    bool steps[PO_STUDY_LISTED_MOST] = {false}, passed = paper > 0;
    if (!permission) {
        return PO_OK; /* the study grants nothing, or what the shop file does not know */
    }
    po_status s = paper > 0 ? PO_OK : has_passed(w, study, member, &passed, err);
    s = s == PO_OK && passed ? signed_steps(w, study, member, steps, err) : s;
    for (size_t k = 0; s == PO_OK && passed && k < study->n_practice; k++) {
        passed = steps[k] || (step && strcmp(step, study->practice[k].id) == 0);
    }
    if (s != PO_OK || !passed) {
        return s;
    }
    json_t *body = json_pack("{s:s, s:s}", "member", member, "permission", permission->name);
    int64_t until = work_permit_until(w, permission);
    if (body && until >= 0) {
        json_object_set_new(body, "until", json_integer(until));
    }
    return work_training_act(acts, "permit-grant", body) ? PO_OK
                                                         : po_fail(err, PO_E_NOMEM, "out of memory for a permission");
}

po_status work_practice_sign(work_context *w, const po_study *study, const char *member, const char *step,
                             const char *machine, const char *seen_by, const char *note, work_acts *ret, po_err *err)
{
    const char *names[PO_STUDY_LISTED_MOST];
    bool known = false;
    *ret = (work_acts){0};
    for (size_t k = 0; k < study->n_practice; k++) {
        names[k] = study->practice[k].id;
        known = known || strcmp(names[k], step) == 0;
    }
    if (!known) {
        const char *near = po_nearest_name(step, names, study->n_practice);
        return near ? po_fail_at(err, PO_E_NOTFOUND, "step", 0, 0, "study %s has no step \"%.60s\"; the nearest is %s",
                                 study->id, step, near)
                    : po_fail_at(err, PO_E_NOTFOUND, "step", 0, 0, "study %s has no practical steps", study->id);
    }
    json_t *body = json_pack("{s:s, s:s, s:s, s:s, s:s}", "member", member, "study", study->id, "step", step, "machine",
                             machine, "seen_by", seen_by);
    if (body && note && *note) {
        json_object_set_new(body, "note", json_string(note));
    }
    if (!work_training_act(ret, "practice-sign", body)) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a step");
    }
    bool holds = false;
    if (study->grants) { /* who holds it already is not granted it anew by another look at a step */
        json_t *permits = NULL;
        po_status s = work_ask(w, "permits", json_pack("{s:s, s:s}", "member", member, "permission", study->grants),
                               &permits, err);
        holds = json_array_size(json_object_get(permits, "permits")) > 0;
        json_decref(permits);
        if (s != PO_OK) {
            return s;
        }
    }
    return holds ? PO_OK : work_training_grant(w, study, member, 0, step, ret, err);
}

/* One study's: those whose latest paper is passed and whose steps are not all signed. */
static po_status add_waiting(work_context *w, const po_study *study, json_t *list, po_err *err)
{
    json_t *papers = NULL, *practice = NULL;
    po_status s = work_ask(
        w, "papers",
        json_pack("{s:s, s:b, s:b, s:i}", "study", study->id, "passed", 1, "latest", 1, "limit", (int)PAGE), &papers,
        err);
    s = s == PO_OK
            ? work_ask(w, "practice", json_pack("{s:s, s:i}", "study", study->id, "limit", (int)PAGE), &practice, err)
            : s;
    const json_t *paper, *row;
    size_t i, k;
    json_array_foreach(json_object_get(papers, "papers"), i, paper)
    {
        const char *member = work_text(paper, "member");
        json_t *left = json_array(), *done = json_array();
        for (size_t t = 0; t < study->n_practice; t++) {
            bool is_signed = false;
            json_array_foreach(json_object_get(practice, "practice"), k, row)
            {
                is_signed = is_signed || (strcmp(work_text(row, "member"), member) == 0 &&
                                          strcmp(work_text(row, "step"), study->practice[t].id) == 0);
            }
            json_array_append_new(is_signed ? done : left,
                                  json_pack("{s:s, s:s, s:s?}", "step", study->practice[t].id, "says",
                                            study->practice[t].says, "caution", study->practice[t].caution));
        }
        if (json_array_size(left) > 0) {
            json_array_append_new(list, json_pack("{s:s, s:O, s:s, s:s, s:O, s:O, s:O}", "member", member, "name",
                                                  json_object_get(paper, "name"), "study", study->id, "title",
                                                  study->title, "passed_ms", json_object_get(paper, "handed_ms"),
                                                  "steps", left, "signed", done));
        }
        json_decref(left);
        json_decref(done);
    }
    json_decref(papers);
    json_decref(practice);
    return s;
}

po_status work_signoff_waiting(work_context *w, const work_studies *studies, json_t **ret, po_err *err)
{
    json_t *list = json_array();
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < studies->n; i++) {
        s = studies->list[i]->n_practice > 0 ? add_waiting(w, studies->list[i], list, err) : PO_OK;
    }
    if (s != PO_OK) {
        json_decref(list);
        return s;
    }
    *ret = json_pack("{s:s, s:o}", "format", "proveout/signoff/1", "waiting", list);
    return *ret ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
}

po_status work_permits_unused(work_context *w, json_t **ret, po_err *err)
{
    json_t *list = json_array();
    po_status s = PO_OK;
    for (size_t i = 0; s == PO_OK && i < w->shop->n_permissions; i++) {
        const po_permission *p = &w->shop->permissions[i];
        po_wall_time wall;
        json_t *machines = json_array(), *answer = NULL;
        for (size_t m = 0; m < w->shop->n_machines;
             m++) { /* machines that this permission opens, by itself or by what it brings along */
            const char *needs = w->shop->machines[m].permission;
            if (needs && po_shop_grants(w->shop, p->name, needs)) {
                json_array_append_new(machines, json_string(w->shop->machines[m].name));
            }
        }
        if (p->disuse_months == 0 || json_array_size(machines) == 0 || !work_wall(w, w->now_ms, &wall, NULL)) {
            json_decref(machines);
            continue;
        }
        int months = wall.date.year * 12 + wall.date.month - 1 - p->disuse_months;
        wall.date.year = months / 12;
        wall.date.month = months % 12 + 1;
        wall.date.day = wall.date.day > 28 ? 28 : wall.date.day;
        int64_t since = work_moment(w, wall);
        s = work_ask(w, "permit-use",
                     json_pack("{s:s, s:o, s:i}", "permission", p->name, "machines", machines, "limit", (int)PAGE),
                     &answer, err);
        const json_t *row;
        size_t k;
        json_array_foreach(json_object_get(answer, "holders"), k, row)
        {
            int64_t given = work_int(row, "given_ms", 0), last = work_int(row, "last_out_ms", -1);
            if (since >= 0 && (last > given ? last : given) < since) {
                json_array_append_new(list,
                                      json_pack("{s:s, s:O, s:s, s:I, s:O, s:I}", "member", work_text(row, "member"),
                                                "name", json_object_get(row, "name"), "permission", p->name, "permit",
                                                (json_int_t)work_int(row, "permit", 0), "last_out_ms",
                                                json_object_get(row, "last_out_ms"), "given_ms", (json_int_t)given));
            }
        }
        json_decref(answer);
    }
    if (s != PO_OK) {
        json_decref(list);
        return s;
    }
    *ret = json_pack("{s:s, s:o}", "format", "proveout/unused/1", "unused", list);
    return *ret ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
}

po_status work_training_today(work_context *w, const work_studies *studies, json_t *today, po_err *err)
{
    json_t *waiting = NULL, *unused = NULL, *counts = json_array();
    po_status s = work_signoff_waiting(w, studies, &waiting, err);
    s = s == PO_OK ? work_permits_unused(w, &unused, err) : s;
    for (size_t i = 0; s == PO_OK && i < studies->n; i++) {
        size_t k;
        const json_t *row, *first = NULL;
        int n = 0;
        json_array_foreach(json_object_get(waiting, "waiting"), k, row)
        {
            if (strcmp(work_text(row, "study"), studies->list[i]->id) == 0) {
                first = first ? first : row;
                n++;
            }
        }
        if (n > 0) {
            json_array_append_new(counts,
                                  json_pack("{s:s, s:s, s:i, s:s}", "study", studies->list[i]->id, "title",
                                            studies->list[i]->title, "n", n, "member", work_text(first, "member")));
        }
    }
    if (s == PO_OK) {
        json_object_set(today, "signoff", counts);
        json_object_set(today, "unused", json_object_get(unused, "unused"));
    }
    json_decref(counts);
    json_decref(waiting);
    json_decref(unused);
    return s;
}
