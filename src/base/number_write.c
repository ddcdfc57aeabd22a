/* Numbers to text, the shortest that read back. SPDX-License-Identifier: Apache-2.0
 *
 * What is wanted is the decimal with the fewest digits that the double is the nearest one to, and of several the one
 * closest to it (G. L. Steele and J. L. White, "How to print floating-point numbers accurately", PLDI 1990). Two
 * decimals of at most 15 digits never share a double, so trying 15, 16 and 17 digits in turn finds it, once zeros at
 * the end are dropped. Three ways, quickest first:
 * - numbers of few decimals: an integer divided by a power of ten (W. D. Clinger, PLDI 1990, section 3, read backwards);
 * - 1e-5 to 1e16, exactly in 128 bits: mantissa times 10^k is an integer below 2^127, half a step of the last bit too;
 * - all else by the C library's own conversion, checked by reading it back. */
#include "base/number.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

__extension__ typedef unsigned __int128 wide;

enum { FEW_DECIMALS = 6, MOST_DIGITS = 17, LEAST_DIGITS = 15 };

static const uint64_t tens[20] = {UINT64_C(1),
                                  UINT64_C(10),
                                  UINT64_C(100),
                                  UINT64_C(1000),
                                  UINT64_C(10000),
                                  UINT64_C(100000),
                                  UINT64_C(1000000),
                                  UINT64_C(10000000),
                                  UINT64_C(100000000),
                                  UINT64_C(1000000000),
                                  UINT64_C(10000000000),
                                  UINT64_C(100000000000),
                                  UINT64_C(1000000000000),
                                  UINT64_C(10000000000000),
                                  UINT64_C(100000000000000),
                                  UINT64_C(1000000000000000),
                                  UINT64_C(10000000000000000),
                                  UINT64_C(100000000000000000),
                                  UINT64_C(1000000000000000000),
                                  UINT64_C(10000000000000000000)};

/* digits (no zero in front unless alone) times 10^exponent as text: plain where that is short, else with an exponent. */
static size_t put(char *out, bool negative, uint64_t digits, int exponent)
{
    char figures[24];
    char *p = out;
    if (negative) {
        *p++ = '-';
    }
    if (digits == 0) {
        *p++ = '0';
        return (size_t)(p - out);
    }
    while (digits % 10 == 0) {
        digits /= 10;
        exponent++;
    }
    int n = 0;
    for (; digits; digits /= 10) {
        figures[sizeof figures - (size_t)++n] = (char)('0' + digits % 10);
    }
    const char *first = figures + sizeof figures - n;
    int point = n + exponent; /* digits before the point */
    if (point > 0 && point <= MOST_DIGITS) {
        for (int i = 0; i < n || i < point; i++) {
            if (i == point) {
                *p++ = '.';
            }
            *p++ = i < n ? first[i] : '0';
        }
    } else if (point <= 0 && point > -5) {
        memcpy(p, "0.0000", 6);
        p += 2 - point;
        memcpy(p, first, (size_t)n);
        p += n;
    } else {
        *p++ = first[0];
        if (n > 1) {
            *p++ = '.';
            memcpy(p, first + 1, (size_t)n - 1);
            p += n - 1;
        }
        int size = point - 1;
        *p++ = 'e';
        if (size < 0) {
            *p++ = '-';
            size = -size;
        }
        if (size >= 100) {
            *p++ = (char)('0' + size / 100);
        }
        if (size >= 10) {
            *p++ = (char)('0' + size / 10 % 10);
        }
        *p++ = (char)('0' + size % 10);
    }
    return (size_t)(p - out);
}

/* x = mantissa / 2^shift with 1e-5 <= x < 1e16. false: not to be had this way. */
static bool exact(double x, uint64_t *ret_digits, int *ret_exponent)
{
    int exponent;
    uint64_t mantissa = (uint64_t)ldexp(frexp(x, &exponent), 53);
    int shift = 53 - exponent, k = 0;
    if (shift <= 0 || mantissa == UINT64_C(1) << 52) { /* at a power of two the step below is half as long */
        return false;
    }
    while (k < 21 && x * (double)tens[k > 19 ? 19 : k] * (k > 19 ? (double)tens[k - 19] : 1) < 1e16) {
        k++; /* the product may be off by a bit: then there are 16 or 18 digits in front of the point, no harm */
    }
    wide power = (wide)tens[k > 19 ? 19 : k] * tens[k > 19 ? k - 19 : 0];
    wide twice = 2 * (wide)mantissa * power; /* in steps of 2^-(shift + 1) of the last digit; half an ulp is `power` */
    int bits = shift + 1;
    uint64_t whole = (uint64_t)(twice >> bits);
    for (int drop = MOST_DIGITS - LEAST_DIGITS; drop >= 0; drop--) {
        wide unit = (wide)tens[drop] << bits, low = (wide)(whole / tens[drop]) * unit, rest = twice - low;
        bool up = 2 * rest > unit || (2 * rest == unit && (whole / tens[drop] & 1));
        wide off = up ? unit - rest : rest;
        if (off < power || (off == power && mantissa % 2 == 0)) {
            *ret_digits = whole / tens[drop] + up;
            *ret_exponent = drop - k;
            return true;
        }
    }
    return false;
}

static void by_library(double x, uint64_t *ret_digits, int *ret_exponent)
{
    /* below the normal numbers a double holds fewer than 15 digits */
    for (int n = x < DBL_MIN ? 1 : LEAST_DIGITS; n <= MOST_DIGITS; n++) {
        char text[40], plain[40];
        snprintf(text, sizeof text, "%.*e", n - 1, x);
        const char *e = strchr(text, 'e');
        uint64_t digits = 0;
        for (const char *p = text; p < e; p++) {
            if (*p >= '0' && *p <= '9') { /* all but the radix character, whatever the locale makes it */
                digits = digits * 10 + (uint64_t)(*p - '0');
            }
        }
        *ret_digits = digits;
        *ret_exponent = (int)strtol(e + 1, NULL, 10) - (n - 1);
        double back = 0;
        size_t length = put(plain, false, *ret_digits, *ret_exponent);
        po_number_read_e(plain, plain + length, &back);
        if (back == x) {
            return;
        }
    }
}

size_t po_number_write(char out[PO_NUMBER_ROOM], double value)
{
    bool negative = signbit(value);
    double x = fabs(value);
    uint64_t digits = 0;
    int exponent = 0;
    if (x < 1e9) {
        double scaled = x * (double)tens[FEW_DECIMALS];
        uint64_t whole = (uint64_t)(scaled + 0.5);
        if (whole < tens[LEAST_DIGITS] && (double)whole / (double)tens[FEW_DECIMALS] == x) {
            return put(out, negative, whole, -FEW_DECIMALS);
        }
    }
    if (!(x >= 1e-5 && x < 1e16 && exact(x, &digits, &exponent))) {
        by_library(x, &digits, &exponent);
    }
    return put(out, negative, digits, exponent);
}
