/* Start times, as the shop's clock on the wall shows them. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

bool cli_enter_zone(const char *zone)
{
    const char *folder = getenv("TZDIR"), *now = getenv("TZ");
    char path[512];
    if (!now || strcmp(now, zone) != 0) { /* else it was looked up before */
        snprintf(path, sizeof path, "%s/%s", folder && *folder ? folder : "/usr/share/zoneinfo", zone);
        if ((strcmp(zone, "UTC") != 0 && access(path, R_OK) != 0) || setenv("TZ", zone, 1) != 0) {
            return false;
        }
    }
    tzset();
    return true;
}

bool cli_now(const po_shop *shop, po_wall_time *ret)
{
    if (!cli_enter_zone(shop->time_zone)) {
        return false;
    }
    time_t now = time(NULL);
    const char *fixed = getenv("SOURCE_DATE_EPOCH"); /* reproducible-builds.org; for papers that are compared */
    double seconds;
    if (fixed && cli_number(fixed, 0, 4e9, &seconds)) {
        now = (time_t)seconds;
    }
    struct tm tm;
    if (!localtime_r(&now, &tm)) {
        return false;
    }
    *ret = (po_wall_time){{tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday}, tm.tm_hour * 60 + tm.tm_min};
    return true;
}

/* Digits with fixed signs between them: "dddd-dd-ddTdd:dd"; d is a digit. */
static bool fits(const char *text, const char *pattern)
{
    for (; *text && *pattern; text++, pattern++) {
        if (*pattern == 'd' ? *text < '0' || *text > '9' : *text != *pattern) {
            return false;
        }
    }
    return !*text && !*pattern;
}

static int digits(const char *text, int n)
{
    int value = 0;
    for (int i = 0; i < n; i++) {
        value = value * 10 + (text[i] - '0');
    }
    return value;
}

bool cli_clock_time(const char *text, int *ret_minute)
{
    int hour_digits = fits(text, "d:dd") ? 1 : fits(text, "dd:dd") ? 2 : 0;
    int hour = digits(text, hour_digits), minute = hour_digits ? digits(text + hour_digits + 1, 2) : 60;
    *ret_minute = hour * 60 + minute;
    return hour < 24 && minute < 60;
}

/* A day exists when a day's arithmetic leads back to it. */
static bool exists(po_date d)
{
    po_wall_time day = {{d.year, d.month >= 1 && d.month <= 12 ? d.month : 1, 1}, 0};
    if (d.year < 2000 || d.year > 2199 || d.month != day.date.month || d.day < 1 || d.day > 31) {
        return false;
    }
    day = po_wall_add(day, (long)(d.day - 1) * 1440);
    return day.date.month == d.month && day.date.day == d.day;
}

bool cli_wall_time(const char *text, po_wall_time *ret)
{
    if (!fits(text, "dddd-dd-ddTdd:dd") && !fits(text, "dddd-dd-dd dd:dd")) {
        return false;
    }
    po_date date = {digits(text, 4), digits(text + 5, 2), digits(text + 8, 2)};
    if (!exists(date) || !cli_clock_time(text + 11, &ret->minute)) {
        return false;
    }
    ret->date = date;
    return true;
}

int cli_start_time(const char *text, const po_shop *shop, po_wall_time *ret)
{
    bool now = !strcmp(text, "now"), clock = !now && cli_clock_time(text, &ret->minute);
    if (now || clock) {
        po_wall_time t;
        if (!cli_now(shop, &t)) {
            return cli_fail(EXIT_USAGE,
                            "--start %s: this system does not know the shop's time zone %s; give day and time, "
                            "such as 2026-11-26T15:10",
                            text, shop->time_zone);
        }
        t.minute = clock ? ret->minute : t.minute;
        *ret = t;
        return EXIT_CLEAR;
    }
    if (cli_wall_time(text, ret)) {
        return EXIT_CLEAR;
    }
    return cli_fail(EXIT_USAGE,
                    "--start %s: expected a time of today such as 15:10, a day and time that exist such as "
                    "2026-11-26T15:10, or now",
                    text);
}
