/* Numbers, days and times as a shop file writes them. SPDX-License-Identifier: Apache-2.0 */
#include "shop/values.h"

#include <string.h>

#include "base/number.h"

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool po_value_number(const char *text, size_t n, double *ret)
{
    const char *first = text + (n && (*text == '-' || *text == '+'));
    if (text + n - first > 1 && first[0] == '0' && is_digit(first[1])) {
        return false; /* octal to some readers of YAML 1.1, decimal to others */
    }
    double value;
    if (po_number_read(text, text + n, &value) != text + n) {
        return false;
    }
    *ret = value;
    return true;
}

static bool read_digits(const char *text, size_t n, int *ret)
{
    int value = 0;
    for (size_t i = 0; i < n; i++) {
        if (!is_digit(text[i])) {
            return false;
        }
        value = value * 10 + (text[i] - '0');
    }
    *ret = value;
    return n > 0;
}

static int month_days(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && leap ? 29 : days[month - 1];
}

bool po_value_date(const char *text, size_t n, po_date *ret)
{
    po_date d;
    if (n != 10 || text[4] != '-' || text[7] != '-' || !read_digits(text, 4, &d.year) ||
        !read_digits(text + 5, 2, &d.month) || !read_digits(text + 8, 2, &d.day)) {
        return false;
    }
    if (d.year < 2000 || d.year > 2199 || d.month < 1 || d.month > 12 || d.day < 1 ||
        d.day > month_days(d.year, d.month)) {
        return false;
    }
    *ret = d;
    return true;
}

int po_date_order(po_date a, po_date b)
{
    int x = (a.year * 100 + a.month) * 100 + a.day, y = (b.year * 100 + b.month) * 100 + b.day;
    return (x > y) - (x < y);
}

bool po_value_dates(const char *text, size_t n, bool one_day_allowed, po_date *ret_from, po_date *ret_to,
                    bool *ret_backwards)
{
    *ret_backwards = false;
    po_date from, to;
    if (one_day_allowed && po_value_date(text, n, &from)) {
        *ret_from = *ret_to = from;
        return true;
    }
    if (n != 21 || text[10] != '/' || !po_value_date(text, 10, &from) || !po_value_date(text + 11, 10, &to)) {
        return false;
    }
    *ret_backwards = po_date_order(to, from) < 0;
    if (*ret_backwards) {
        return false;
    }
    *ret_from = from;
    *ret_to = to;
    return true;
}

static bool clock_minutes(const char *text, size_t n, int *ret)
{
    const char *colon = memchr(text, ':', n);
    int hour, minute;
    if (!colon || colon - text > 2 || text + n - colon != 3 || !read_digits(text, (size_t)(colon - text), &hour) ||
        !read_digits(colon + 1, 2, &minute) || minute > 59 || hour * 60 + minute > 1440) {
        return false;
    }
    *ret = hour * 60 + minute;
    return true;
}

bool po_value_span(const char *text, size_t n, po_span_minutes *ret, bool *ret_backwards)
{
    *ret_backwards = false;
    const char *dash = memchr(text, '-', n);
    int from, to;
    if (!dash || !clock_minutes(text, (size_t)(dash - text), &from) ||
        !clock_minutes(dash + 1, (size_t)(text + n - dash - 1), &to)) {
        return false;
    }
    *ret_backwards = from >= to;
    if (*ret_backwards) {
        return false;
    }
    *ret = (po_span_minutes){from, to};
    return true;
}
