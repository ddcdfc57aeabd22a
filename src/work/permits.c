/* How long permissions hold by the shop file, and which bring others along. SPDX-License-Identifier: Apache-2.0 */
#include "work/permits.h"

int64_t work_day_over(const work_context *w, po_date date)
{
    po_wall_time next = po_wall_add((po_wall_time){date, 0}, 1440);
    int64_t ms = -1;
    for (int i = 0; i <= 8 && ms < 0; i++) {
        ms = work_moment(w, po_wall_add(next, i * 15L));
    }
    return ms;
}

static int days_in(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    return days[month - 1] + (month == 2 && year % 4 == 0 && (year % 100 != 0 || year % 400 == 0));
}

int64_t work_permit_until(const work_context *w, const po_permission *permission)
{
    int64_t until = -1;
    for (size_t i = 0; permission->lapses_with_term && i < w->shop->n_terms; i++) {
        int64_t end = work_day_over(w, w->shop->terms[i].to);
        until = end > w->now_ms && (until < 0 || end < until) ? end : until;
    }
    po_wall_time now;
    if (permission->lapses_months > 0 && work_wall(w, w->now_ms, &now, NULL)) {
        int month = now.date.month - 1 + permission->lapses_months;
        po_date date = {now.date.year + month / 12, month % 12 + 1, now.date.day};
        int most = days_in(date.year, date.month);
        date.day = date.day < most ? date.day : most; /* a month after 31 January is the end of February */
        int64_t end = work_day_over(w, date);
        until = end >= 0 && (until < 0 || end < until) ? end : until;
    }
    return until;
}

json_t *work_implied(const po_shop *shop)
{
    json_t *map = json_object();
    for (size_t i = 0; i < shop->n_permissions; i++) {
        const po_permission *p = &shop->permissions[i];
        json_t *list = json_array();
        for (size_t k = 0; k < p->n_implies; k++) {
            json_array_append_new(list, json_string(p->implies[k]));
        }
        if (p->n_implies > 0) {
            json_object_set(map, p->name, list);
        }
        json_decref(list);
    }
    return map;
}
