/* Numbers from text. SPDX-License-Identifier: Apache-2.0
 *
 * Two integers that a double holds exactly (a mantissa up to 2^53, a power of ten up to 10^22) have a quotient that
 * IEEE 754 division rounds correctly: W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990,
 * section 3. Everything that people and programs write in practice is of this kind. The rest is brought to a form
 * without a radix character and handed to the C library's own exact conversion. */
#include "base/number.h"

#include <locale.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

/* A double, or the middle between two, has at most 767 significant decimal digits (2^-1074 times an odd 54-bit number
 * is the longest). Beyond that it only matters whether anything but zeros follows. */
enum { DIGITS_THAT_MATTER = 768 };

static double exact_value(const char *p, const char *end, long long exponent)
{
    char text[DIGITS_THAT_MATTER + 1 + 24];
    size_t n = 0;
    bool behind_point = false, more = false;
    for (; p < end; p++) {
        if (*p == '.') {
            behind_point = true;
        } else if (n == 0 && *p == '0') {
            exponent -= behind_point;
        } else if (n < DIGITS_THAT_MATTER) {
            text[n++] = *p;
            exponent -= behind_point;
        } else {
            more |= *p != '0';
            exponent += !behind_point;
        }
    }
    if (n == 0) {
        return 0;
    }
    if (more) {
        text[n++] = '1';
        exponent--;
    }
    snprintf(text + n, sizeof text - n, "e%lld", exponent);
    /* The C library keeps its C locale as a constant: this takes no memory and cannot fail. */
    locale_t c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    double value = strtod_l(text, NULL, c_locale);
    freelocale(c_locale);
    return value;
}

static const double tens[23] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

const char *po_number_read(const char *p, const char *end, double *ret)
{
    bool negative = false;
    if (p < end && (*p == '-' || *p == '+')) {
        negative = *p++ == '-';
    }
    const char *first = p;
    uint64_t mantissa = 0; /* wraps for long numbers; then it is not used */
    uint8_t digit;
    while (p < end && (digit = (uint8_t)(*p - '0')) <= 9) {
        mantissa = mantissa * 10 + digit;
        p++;
    }
    size_t n_digits = (size_t)(p - first), n_behind = 0;
    if (p < end && *p == '.') {
        const char *behind = ++p;
        while (p < end && (digit = (uint8_t)(*p - '0')) <= 9) {
            mantissa = mantissa * 10 + digit;
            p++;
        }
        n_behind = (size_t)(p - behind);
        n_digits += n_behind;
    }
    if (n_digits == 0) {
        return NULL;
    }
    double value;
    if (n_digits <= 19 && mantissa <= UINT64_C(1) << 53) { /* 19 digits cannot wrap, and n_behind is below 22 */
        value = (double)mantissa / tens[n_behind];
    } else {
        value = exact_value(first, p, 0);
    }
    *ret = negative ? -value : value;
    return p;
}

/* The exponent that stands at p, or 0 and *ret_after = p when none does. Beyond 10,000 its size no longer matters. */
static long exponent_at(const char *p, const char *end, const char **ret_after)
{
    *ret_after = p;
    if (p >= end || (*p | 0x20) != 'e') {
        return 0;
    }
    p++;
    bool negative = false;
    if (p < end && (*p == '-' || *p == '+')) {
        negative = *p++ == '-';
    }
    long exponent = 0;
    uint8_t digit;
    const char *first = p;
    while (p < end && (digit = (uint8_t)(*p - '0')) <= 9) {
        exponent = exponent < 10000 ? exponent * 10 + digit : exponent;
        p++;
    }
    if (p > first) {
        *ret_after = p;
    }
    return negative ? -exponent : exponent;
}

const char *po_number_read_e(const char *p, const char *end, double *ret)
{
    bool negative = false;
    if (p < end && (*p == '-' || *p == '+')) {
        negative = *p++ == '-';
    }
    const char *first = p;
    uint64_t mantissa = 0; /* wraps for long numbers; then it is not used */
    uint8_t digit;
    while (p < end && (digit = (uint8_t)(*p - '0')) <= 9) {
        mantissa = mantissa * 10 + digit;
        p++;
    }
    size_t n_digits = (size_t)(p - first);
    long n_behind = 0;
    if (p < end && *p == '.') {
        const char *behind = ++p;
        while (p < end && (digit = (uint8_t)(*p - '0')) <= 9) {
            mantissa = mantissa * 10 + digit;
            p++;
        }
        n_behind = p - behind;
        n_digits += (size_t)n_behind;
    }
    if (n_digits == 0) {
        return NULL;
    }
    const char *after;
    long exponent = exponent_at(p, end, &after), power = exponent - n_behind;
    double value;
    if (n_digits <= 19 && mantissa <= UINT64_C(1) << 53 && power >= -22 && power <= 22) {
        value = power < 0 ? (double)mantissa / tens[-power] : (double)mantissa * tens[power];
    } else {
        value = exact_value(first, p, exponent);
    }
    *ret = negative ? -value : value;
    return after;
}
