/* Times between the shop's wall and the book, which keeps UTC. SPDX-License-Identifier: Apache-2.0
 *
 * The C library knows the zones (TZ, set once to the shop's). When the clocks go back an hour comes twice: the first is
 * meant. When they go forward an hour does not exist: it is refused. */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "desk.h"

bool desk_wall(const po_shop *shop, int64_t ms, po_wall_time *ret, int *ret_second)
{
    time_t t = (time_t)(ms >= 0 ? ms / 1000 : -((999 - ms) / 1000));
    struct tm tm;
    if (!cli_enter_zone(shop->time_zone) || !localtime_r(&t, &tm)) {
        return false;
    }
    *ret = (po_wall_time){{tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday}, tm.tm_hour * 60 + tm.tm_min};
    if (ret_second) {
        *ret_second = tm.tm_sec;
    }
    return true;
}

int64_t desk_ms(const po_shop *shop, po_wall_time wall)
{
    if (!cli_enter_zone(shop->time_zone)) {
        return -1;
    }
    int64_t first = -1;
    for (int summer = 1; summer >= 0;
         summer--) { /* both readings of the hour; the one that comes back as it was holds */
        struct tm tm = {.tm_year = wall.date.year - 1900,
                        .tm_mon = wall.date.month - 1,
                        .tm_mday = wall.date.day,
                        .tm_hour = wall.minute / 60,
                        .tm_min = wall.minute % 60,
                        .tm_isdst = summer};
        time_t t = mktime(&tm);
        struct tm back;
        if (t != (time_t)-1 && localtime_r(&t, &back) && back.tm_year == wall.date.year - 1900 &&
            back.tm_mon == wall.date.month - 1 && back.tm_mday == wall.date.day &&
            back.tm_hour * 60 + back.tm_min == wall.minute && (first < 0 || (int64_t)t * 1000 < first)) {
            first = (int64_t)t * 1000;
        }
    }
    return first;
}

int64_t desk_now_ms(void *user)
{
    const po_shop *shop = user;
    const char *fixed = getenv("PROVEOUT_CLOCK");
    if (fixed && *fixed) {
        int64_t ms;
        return strchr(fixed, 'T') && desk_time_from(shop, fixed, false, 0, &ms) ? ms : -1;
    }
    struct timespec t;
    clock_gettime(CLOCK_REALTIME, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* "+90m", "+2h", "+7d" */
static bool later(const po_shop *shop, const char *text, int64_t now_ms, int64_t *ret_ms)
{
    size_t n = strlen(text);
    char number[16], unit = n ? text[n - 1] : 0;
    double value;
    if (n < 2 || n > sizeof number) {
        return false;
    }
    memcpy(number, text, n - 1);
    number[n - 1] = 0;
    if (!cli_number(number, 0, 1e6, &value) || value != (double)(int64_t)value) {
        return false;
    }
    if (unit == 'd') { /* the same time on the wall, whatever the clocks do between */
        po_wall_time wall;
        bool known = desk_wall(shop, now_ms, &wall, NULL);
        *ret_ms = known ? desk_ms(shop, po_wall_add(wall, (long)value * 1440)) : -1;
        return *ret_ms >= 0;
    }
    *ret_ms = now_ms + (int64_t)value * (unit == 'm' ? 60000 : 3600000);
    return unit == 'm' || unit == 'h';
}

bool desk_time_from(const po_shop *shop, const char *text, bool until, int64_t now_ms, int64_t *ret_ms)
{
    po_wall_time wall, now;
    if (!strcmp(text, "now")) {
        *ret_ms = now_ms;
        return true;
    }
    if (text[0] == '+') {
        return later(shop, text + 1, now_ms, ret_ms);
    }
    bool day_alone = strlen(text) == 10 && text[4] == '-';
    char whole[32];
    snprintf(whole, sizeof whole, "%.20s%s", text, day_alone ? "T00:00" : "");
    if (!cli_wall_time(whole, &wall)) {
        int minute;
        if (!cli_clock_time(text, &minute) || !desk_wall(shop, now_ms, &now, NULL)) {
            return false;
        }
        wall = (po_wall_time){now.date, minute};
    }
    if (day_alone && until) {
        wall = po_wall_add(wall, 1440);
    }
    *ret_ms = desk_ms(shop, wall);
    return *ret_ms >= 0;
}
