/* Numbers, days and times as a shop file writes them. SPDX-License-Identifier: Apache-2.0 */
#include "shop/values.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool po_value_number(const char *text, size_t n, double *ret)
{
    size_t i = 0;
    bool minus = n && text[0] == '-';
    i += n && (text[0] == '-' || text[0] == '+');
    uint64_t digits = 0;
    int kept = 0, power = 0; /* digits beyond the 18th only move the power */
    size_t whole = 0, fraction = 0;
    size_t first = i;
    for (; i < n && is_digit(text[i]); i++, whole++) {
        if (kept < 18) {
            digits = digits * 10 + (uint64_t)(text[i] - '0');
            kept += digits != 0;
        } else {
            power += power < 100000;
        }
    }
    if (whole > 1 && text[first] == '0') {
        return false; /* octal to some readers of YAML 1.1, decimal to others */
    }
    if (i < n && text[i] == '.') {
        for (i++; i < n && is_digit(text[i]); i++, fraction++) {
            if (kept < 18) {
                digits = digits * 10 + (uint64_t)(text[i] - '0');
                kept += digits != 0;
                power -= power > -100000;
            }
        }
    }
    if (whole + fraction == 0) {
        return false;
    }
    if (i < n && (text[i] == 'e' || text[i] == 'E')) {
        i++;
        bool down = i < n && text[i] == '-';
        i += i < n && (text[i] == '-' || text[i] == '+');
        int exponent = 0;
        size_t from = i;
        for (; i < n && is_digit(text[i]); i++) {
            exponent = exponent < 100000 ? exponent * 10 + (text[i] - '0') : exponent;
        }
        if (i == from) {
            return false;
        }
        power += down ? -exponent : exponent;
    }
    if (i != n) {
        return false;
    }
    while (digits && digits % 10 == 0 && power < 0) { /* 0.30 and 0.3 are the same double */
        digits /= 10;
        power++;
    }
    double value = (double)digits;
    if (digits && power > 0) {
        value = power > 400 ? HUGE_VAL : power <= 22 ? value * pow(10, power) : value * pow(10, 22) * pow(10, power - 22);
    } else if (digits && power < 0) {
        value = power < -400 ? 0 : power >= -22 ? value / pow(10, -power) : value / pow(10, 22) / pow(10, -power - 22);
    }
    *ret = minus ? -value : value;
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
