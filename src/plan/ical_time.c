/* Times and durations as an iCalendar file writes them (RFC 5545 3.3.4 to 3.3.6). SPDX-License-Identifier: Apache-2.0 */
#include "plan/ical_inside.h"

static bool digits(const char *text, int n, int *ret)
{
    *ret = 0;
    for (int i = 0; i < n; i++) {
        if (text[i] < '0' || text[i] > '9') {
            return false;
        }
        *ret = *ret * 10 + (text[i] - '0');
    }
    return true;
}

bool po_ical_time_read(const char *text, size_t n, po_ical_time *ret)
{
    int year, month, day, hour = 0, minute = 0, second = 0;
    bool is_date = n == 8, utc = n == 16 && text[15] == 'Z';
    if ((!is_date && n != 15 && !utc) || !digits(text, 4, &year) || !digits(text + 4, 2, &month) ||
        !digits(text + 6, 2, &day) || year < 1 || month < 1 || month > 12 || day < 1 || day > 31) {
        return false;
    }
    po_date date = {year, month, day}, back = po_date_of(po_day_of(date));
    if (back.month != month || (!is_date && (text[8] != 'T' || !digits(text + 9, 2, &hour) ||
                                             !digits(text + 11, 2, &minute) || !digits(text + 13, 2, &second)))) {
        return false;
    }
    if (hour > 23 || minute > 59 || second > 60) {
        return false;
    }
    second = second == 60 ? 59 : second; /* a leap second (3.3.12): the one before it */
    *ret = (po_ical_time){po_day_of(date) * 86400 + hour * 3600 + minute * 60 + second, is_date, utc};
    return true;
}

bool po_ical_duration_read(const char *text, size_t n, int64_t *ret_days, int64_t *ret_seconds)
{
    const int64_t most = INT64_C(3155760000); /* 100 years */
    int64_t days = 0, seconds = 0, value = 0;
    bool minus = n > 0 && text[0] == '-', in_time = false, any = false, number = false;
    size_t i = n > 0 && (text[0] == '-' || text[0] == '+');
    if (i >= n || text[i++] != 'P') {
        return false;
    }
    for (; i < n; i++) {
        char c = text[i];
        if (c >= '0' && c <= '9') {
            value = value * 10 + (c - '0');
            number = true;
            if (value > most) {
                return false;
            }
            continue;
        }
        if (c == 'T' && !in_time && !number) {
            in_time = true;
            continue;
        }
        int64_t each = in_time ? c == 'H' ? 3600 : c == 'M' ? 60 : c == 'S' ? 1 : 0 : 0;
        int64_t each_days = in_time ? 0 : c == 'W' ? 7 : c == 'D' ? 1 : 0;
        if (!number || each + each_days == 0) {
            return false;
        }
        days += value * each_days;
        seconds += value * each;
        value = 0;
        number = false;
        any = true;
        if (days > most / 86400 || seconds > most) {
            return false;
        }
    }
    *ret_days = minus ? -days : days;
    *ret_seconds = minus ? -seconds : seconds;
    return any && !number;
}
