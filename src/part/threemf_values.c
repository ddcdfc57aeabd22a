/* Values of attributes in 3MF. SPDX-License-Identifier: Apache-2.0
 *
 * Source: 3MF core specification 1.4.0, appendix B.1.1 (schema) and 3.3 (matrices); production extension, appendix B.1;
 * W3C XML Schema part 2 (blanks collapse). Numbers: W. D. Clinger, "How to read floating point numbers accurately",
 * PLDI 1990, section 3: an integer up to 2^53 times or by a power of ten up to 10^22 is rounded once. */
#include "part/threemf_values.h"

#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_NUMBER = 1024 }; /* bytes of one number */

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

static bool is_digit(char c)
{
    return (unsigned char)(c - '0') <= 9;
}

/* What the quick way can't: exactly, by the C library. */
static const char *slow_number(const char *begin, const char *end, double *ret)
{
    char text[MOST_NUMBER + 1];
    size_t n = (size_t)(end - begin);
    if (n > MOST_NUMBER) {
        return NULL;
    }
    memcpy(text, begin, n);
    text[n] = 0;
    /* The C library keeps its C locale as a constant: this takes no memory and cannot fail. */
    locale_t c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    *ret = strtod_l(text, NULL, c_locale);
    freelocale(c_locale);
    return isfinite(*ret) ? end : NULL;
}

const char *po_3mf_number(const char *p, const char *end, double *ret)
{
    static const double tens[23] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                    1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    const char *begin = p;
    bool negative = false;
    if (p < end && (*p == '-' || *p == '+')) {
        negative = *p++ == '-';
    }
    const char *first = p;
    uint64_t mantissa = 0; /* wraps for long numbers; then it is not used */
    while (p < end && is_digit(*p)) {
        mantissa = mantissa * 10 + (uint64_t)(*p++ - '0');
    }
    size_t n_digits = (size_t)(p - first);
    long exponent = 0;
    if (p < end && *p == '.') {
        const char *behind = ++p;
        while (p < end && is_digit(*p)) {
            mantissa = mantissa * 10 + (uint64_t)(*p++ - '0');
        }
        if (p == behind) {
            return NULL; /* "5." is no ST_Number */
        }
        exponent = -(p - behind);
        n_digits += (size_t)(p - behind);
    }
    if (n_digits == 0) {
        return NULL;
    }
    if (p < end && (*p == 'e' || *p == 'E')) {
        bool down = false;
        if (++p < end && (*p == '-' || *p == '+')) {
            down = *p++ == '-';
        }
        const char *from = p;
        long said = 0;
        while (p < end && is_digit(*p)) {
            said = said < 100000 ? said * 10 + (*p - '0') : said;
            p++;
        }
        if (p == from) {
            return NULL;
        }
        exponent += down ? -said : said;
    }
    if (n_digits > 19 || mantissa > UINT64_C(1) << 53 || exponent < -22 || exponent > 22) {
        return slow_number(begin, p, ret);
    }
    double value = exponent < 0 ? (double)mantissa / tens[-exponent] : (double)mantissa * tens[exponent];
    *ret = negative ? -value : value;
    return p;
}

const char *po_3mf_index(const char *p, const char *end, uint32_t *ret)
{
    uint64_t value = 0;
    p += p < end && *p == '+'; /* xs:nonNegativeInteger allows it */
    const char *first = p;
    while (p < end && is_digit(*p)) {
        value = value * 10 + (uint64_t)(*p++ - '0');
        if (value >= UINT64_C(1) << 31) {
            return NULL;
        }
    }
    if (p == first) {
        return NULL;
    }
    *ret = (uint32_t)value;
    return p;
}

/* The text without blanks around it. */
static const char *trim(const char *text, const char **ret_end)
{
    const char *end = text + strlen(text);
    while (is_blank(*text)) {
        text++;
    }
    while (end > text && is_blank(end[-1])) {
        end--;
    }
    *ret_end = end;
    return text;
}

bool po_3mf_is_index(const char *text, uint32_t *ret)
{
    const char *end, *p = trim(text, &end);
    uint32_t value = 0;
    if (po_3mf_index(p, end, &value) != end || p == end) {
        return false;
    }
    *ret = value;
    return true;
}

bool po_3mf_is_id(const char *text, uint32_t *ret)
{
    uint32_t value = 0;
    if (!po_3mf_is_index(text, &value) || value == 0) {
        return false;
    }
    *ret = value;
    return true;
}

bool po_3mf_is_number(const char *text, double *ret)
{
    const char *end, *p = trim(text, &end);
    double value = 0;
    if (po_3mf_number(p, end, &value) != end) {
        return false;
    }
    *ret = value;
    return true;
}

const char *po_3mf_word(const char **p, size_t *ret_n)
{
    while (is_blank(**p)) {
        ++*p;
    }
    const char *begin = *p;
    while (**p && !is_blank(**p)) {
        ++*p;
    }
    *ret_n = (size_t)(*p - begin);
    return *ret_n ? begin : NULL;
}

bool po_3mf_is_matrix(const char *text, double ret[12])
{
    double m[12];
    int n = 0;
    size_t len;
    for (const char *word; (word = po_3mf_word(&text, &len)) != NULL; n++) {
        if (n == 12 || po_3mf_number(word, word + len, &m[n]) != word + len) {
            return false;
        }
    }
    if (n != 12) {
        return false;
    }
    memcpy(ret, m, sizeof m);
    return true;
}

static int hex(char c)
{
    return is_digit(c) ? c - '0' : (c | 32) >= 'a' && (c | 32) <= 'f' ? (c | 32) - 'a' + 10 : -1;
}

bool po_3mf_is_colour(const char *text, uint32_t *ret)
{
    const char *end, *p = trim(text, &end);
    size_t n = (size_t)(end - p);
    if ((n != 7 && n != 9) || *p++ != '#') {
        return false;
    }
    uint32_t value = 0;
    for (; p < end; p++) {
        if (hex(*p) < 0) {
            return false;
        }
        value = value << 4 | (uint32_t)hex(*p);
    }
    *ret = n == 7 ? value << 8 | 0xff : value;
    return true;
}

bool po_3mf_is_uuid(const char *text)
{
    for (int i = 0; i < 36; i++) { /* RFC 4122 section 3: capitals are allowed on input */
        bool dash = i == 8 || i == 13 || i == 18 || i == 23;
        if (dash ? text[i] != '-' : hex(text[i]) < 0) {
            return false;
        }
    }
    return text[36] == 0;
}

bool po_3mf_is_boolean(const char *text)
{
    const char *end, *p = trim(text, &end);
    size_t n = (size_t)(end - p);
    return (n == 1 && (*p == '0' || *p == '1')) || (n == 4 && memcmp(p, "true", 4) == 0) ||
           (n == 5 && memcmp(p, "false", 5) == 0);
}

double po_3mf_determinant(const double m[12])
{
    return m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
}

void po_3mf_multiply(const double a[12], const double b[12], double ret[12])
{
    for (int row = 0; row < 4; row++) {
        for (int col = 0; col < 3; col++) {
            ret[3 * row + col] = a[3 * row] * b[col] + a[3 * row + 1] * b[3 + col] + a[3 * row + 2] * b[6 + col] +
                                 (row == 3 ? b[9 + col] : 0);
        }
    }
}

bool po_3mf_keeps_volume(const double m[12])
{
    double unit[12] = {0};
    for (int row = 0; row < 3; row++) {
        const double *r = m + 3 * row;
        /* By the largest first, so that 1e200 doesn't overflow and 1e-200 doesn't vanish. */
        double most = fmax(fabs(r[0]), fmax(fabs(r[1]), fabs(r[2])));
        if (!(most > 0) || !isfinite(most)) {
            return false;
        }
        double x = r[0] / most, y = r[1] / most, z = r[2] / most, length = sqrt(x * x + y * y + z * z);
        unit[3 * row] = x / length;
        unit[3 * row + 1] = y / length;
        unit[3 * row + 2] = z / length;
    }
    return fabs(po_3mf_determinant(unit)) > 1e-12 && isfinite(m[9]) && isfinite(m[10]) && isfinite(m[11]) &&
           isfinite(po_3mf_determinant(m)) && po_3mf_determinant(m) != 0;
}
