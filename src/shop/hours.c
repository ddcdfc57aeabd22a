/* Desk hours and plain calendar arithmetic. SPDX-License-Identifier: Apache-2.0
 *
 * Days are counted from 1970-01-01 in the proleptic Gregorian calendar (ISO 8601), with years that begin in March so
 * that the leap day comes last: Howard Hinnant, "chrono-Compatible Low-Level Date Algorithms", 2013. */
#include "proveout/shop.h"
#include "shop/excepted.h"
#include "shop/values.h"

static long day_number(po_date d)
{
    long y = d.month <= 2 ? (long)d.year - 1 : d.year;
    long era = (y >= 0 ? y : y - 399) / 400;
    long year_of_era = y - era * 400;
    long day_of_year = (153 * (d.month + (d.month > 2 ? -3 : 9)) + 2) / 5 + d.day - 1;
    long day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * 146097 + day_of_era - 719468;
}

static po_date day_date(long n)
{
    n += 719468;
    long era = (n >= 0 ? n : n - 146096) / 146097;
    long day_of_era = n - era * 146097;
    long year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    long day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    long march_month = (5 * day_of_year + 2) / 153;
    int month = (int)(march_month < 10 ? march_month + 3 : march_month - 9);
    return (po_date){
        .year = (int)(year_of_era + era * 400 + (month <= 2)),
        .month = month,
        .day = (int)(day_of_year - (153 * march_month + 2) / 5 + 1),
    };
}

int po_weekday(po_date date)
{
    long n = (day_number(date) + 3) % 7; /* 1970-01-01 was a Thursday */
    return (int)(n < 0 ? n + 7 : n);
}

po_wall_time po_wall_add(po_wall_time t, long minutes)
{
    long days = minutes / 1440, minute = t.minute + minutes % 1440;
    if (minute < 0) {
        minute += 1440;
        days--;
    } else if (minute >= 1440) {
        minute -= 1440;
        days++;
    }
    return (po_wall_time){day_date(day_number(t.date) + days), (int)minute};
}

static bool closed_on(const po_shop *shop, po_date date)
{
    for (size_t i = 0; i < shop->n_closed; i++) {
        if (po_date_order(shop->closed[i].from, date) <= 0 && po_date_order(date, shop->closed[i].to) <= 0) {
            return true;
        }
    }
    return false;
}

bool po_shop_staffed(const po_shop *shop, po_wall_time t)
{
    if (po_shop_excepted(shop, t, PO_SHOP_CLOSED)) {
        return false;
    }
    if (po_shop_excepted(shop, t, PO_SHOP_OPEN)) {
        return true;
    }
    const po_day_hours *day = &shop->hours[po_weekday(t.date)];
    for (size_t i = 0; i < day->n_spans; i++) {
        if (day->spans[i].from <= t.minute && t.minute < day->spans[i].to) {
            return !closed_on(shop, t.date) && !po_shop_excepted(shop, t, PO_SHOP_CLOSED_ALWAYS);
        }
    }
    return false;
}

static void sooner(po_wall_time t, po_wall_time than, po_wall_time *best)
{
    if (po_wall_order(t, than) > 0 && po_wall_order(t, *best) < 0) {
        *best = t;
    }
}

/* The next minute after t at which anything can change: a day begins, a span or an exception begins or ends. */
static po_wall_time next_change(const po_shop *shop, po_wall_time t)
{
    po_wall_time next = {day_date(day_number(t.date) + 1), 0};
    const po_day_hours *day = &shop->hours[po_weekday(t.date)];
    for (size_t i = 0; i < day->n_spans; i++) {
        sooner((po_wall_time){t.date, day->spans[i].from}, t, &next);
        sooner(po_wall_add((po_wall_time){t.date, 0}, day->spans[i].to), t, &next);
    }
    po_shop_excepted_next(shop, t, &next);
    return next;
}

bool po_shop_next_staffed(const po_shop *shop, po_wall_time t, po_wall_time *ret_t)
{
    for (po_wall_time last = {day_date(day_number(t.date) + 400), 1439}; po_wall_order(t, last) <= 0;
         t = next_change(shop, t)) {
        if (po_shop_staffed(shop, t)) {
            *ret_t = t;
            return true;
        }
    }
    return false;
}

po_wall_time po_shop_staffed_until(const po_shop *shop, po_wall_time t)
{
    const po_date last = day_date(day_number(t.date) + 8); /* a desk that never closes */
    while (po_shop_staffed(shop, t) && po_date_order(t.date, last) < 0) {
        t = next_change(shop, t);
    }
    return t;
}
