/* The context of the desk's work: questions to the book, and times on the shop's wall. SPDX-License-Identifier: Apache-2.0
 *
 * When the clocks go back an hour comes twice: the first is meant. When they go forward an hour does not exist: it is refused. */
#include "work/work.h"

#include <stdlib.h>

po_status work_begin(work_context *w, po_arena *arena, const po_shop *shop, const po_zone *zone, po_ledger *ledger,
                     int64_t now_ms, po_err *err)
{
    *w = (work_context){.arena = arena, .shop = shop, .zone = zone, .ledger = ledger, .now_ms = now_ms};
    po_err unknown;
    if (!zone && po_zone_load(shop->time_zone, arena, &w->zone, &unknown) == PO_E_NOMEM) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    return PO_OK;
}

po_status work_ask(work_context *w, const char *question, json_t *parameters, json_t **ret_answer, po_err *err)
{
    char *text = parameters ? json_dumps(parameters, JSON_COMPACT) : NULL;
    const char *answer = NULL;
    po_status s = parameters && !text ? po_fail(err, PO_E_NOMEM, "memory ran out")
                                      : po_ledger_ask(w->ledger, question, text, w->arena, &answer, err);
    w->asked = s == PO_OK || (parameters && !text) ? NULL : question;
    json_t *read = s == PO_OK ? json_loads(answer, 0, NULL) : NULL;
    if (s == PO_OK && !read) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    if (s == PO_OK) {
        *ret_answer = read;
    }
    free(text);
    json_decref(parameters);
    return s;
}

bool work_wall(const work_context *w, int64_t ms, po_wall_time *ret, int *ret_second)
{
    if (!w->zone) {
        return false;
    }
    *ret = po_zone_wall(w->zone, ms, ret_second);
    return true;
}

int64_t work_moment(const work_context *w, po_wall_time wall)
{
    int64_t first, second;
    return w->zone && po_zone_moments(w->zone, wall, &first, &second) != PO_ZONE_NEVER ? first : -1;
}

int64_t work_int(const json_t *object, const char *key, int64_t missing)
{
    const json_t *v = json_object_get(object, key);
    return json_is_integer(v) ? json_integer_value(v) : missing;
}

const char *work_text(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

bool work_has(const json_t *object, const char *key)
{
    const json_t *v = json_object_get(object, key);
    return v && !json_is_null(v);
}
