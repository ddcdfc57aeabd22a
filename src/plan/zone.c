/* Wall time and UTC in a named zone, without the process's own. SPDX-License-Identifier: Apache-2.0
 *
 * TZif files: RFC 8536. Layout: a header of 44 bytes (magic "TZif", version, 15 unused, six counts of 32 bits: isutcnt, isstdcnt, leapcnt,
 * timecnt, typecnt, charcnt), then the data block
 *     timecnt times (4 or 8 bytes) | timecnt types (1) | typecnt records of 6 (offset 4, isdst 1, name 1) | charcnt
 *     | leapcnt * (time + 4) | isstdcnt | isutcnt
 * Version 1 has 4-byte times; from version 2 on a second header and block with 8-byte times follow, then a footer: LF, a rule
 * in the form of the TZ variable (POSIX.1 section 8.3, with the hours of RFC 8536 3.3.1), LF. The rule speaks after the last
 * time. Days: Howard Hinnant, "chrono-Compatible Low-Level Date Algorithms", 2013. */
#include "plan/zone.h"

#include <string.h>

#include "plan/zone_rule.h"

enum {
    HEADER = 44,
    TIMES_MOST = 20000,      /* the longest known zones have some 250 */
    TYPES_MOST = 256,        /* an index is a byte */
    OFFSET_MOST = 26 * 3600, /* RFC 8536 3.2: should be between -25 and 26 hours */
};

typedef struct change {
    int64_t at_s;
    int32_t offset_s; /* from then on */
} change;

struct po_zone {
    const char *name;
    const change *changes; /* rising */
    size_t n_changes;
    int32_t before_s; /* before the first change */
    bool has_rule;
    po_zone_rule rule;
};

int64_t po_day_of(po_date d)
{
    int64_t y = d.month <= 2 ? (int64_t)d.year - 1 : d.year, era = (y >= 0 ? y : y - 399) / 400, of_era = y - era * 400;
    int64_t of_year = (153 * (d.month + (d.month > 2 ? -3 : 9)) + 2) / 5 + d.day - 1;
    return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

po_date po_date_of(int64_t n)
{
    n += 719468;
    int64_t era = (n >= 0 ? n : n - 146096) / 146097, of_era = n - era * 146097;
    int64_t year = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
    int64_t of_year = of_era - (365 * year + year / 4 - year / 100), march = (5 * of_year + 2) / 153;
    int month = (int)(march < 10 ? march + 3 : march - 9);
    return (po_date){(int)(year + era * 400 + (month <= 2)), month, (int)(of_year - (153 * march + 2) / 5 + 1)};
}

static int64_t floor_div(int64_t a, int64_t b)
{
    return a / b - (a % b < 0);
}

/* ---- reading ---- */

typedef struct block {
    uint32_t isut, isstd, leap, time, type, chars;
} block;

static uint32_t be32(const unsigned char *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

static int32_t signed32(const unsigned char *p)
{
    return (int32_t)be32(p);
}

static int64_t signed64(const unsigned char *p)
{
    return (int64_t)((uint64_t)be32(p) << 32 | be32(p + 4));
}

static po_status fault(po_err *err, const char *name, size_t byte, const char *says)
{
    po_status s = po_fail_at(err, PO_E_SYNTAX, name, 0, 0,
                             "%s, at byte %zu of the zone's file; a TZif file (RFC 8536) is needed", says, byte);
    if (err) {
        err->byte = byte;
    }
    return s;
}

/* A header at `at`, and the length of what follows; both lie within the bytes. */
static po_status header(const unsigned char *p, size_t n, size_t at, size_t each, const char *name, block *ret,
                        size_t *ret_length, po_err *err)
{
    if (n < at || n - at < HEADER) {
        return fault(err, name, n, "the file ends within a header");
    }
    if (memcmp(p + at, "TZif", 4) != 0) {
        return fault(err, name, at, "no header is there");
    }
    const unsigned char *c = p + at + 20;
    *ret = (block){be32(c), be32(c + 4), be32(c + 8), be32(c + 12), be32(c + 16), be32(c + 20)};
    if (ret->type == 0 || ret->type > TYPES_MOST || ret->time > TIMES_MOST || ret->chars > 4096 || ret->leap > 4096 ||
        (ret->isut != 0 && ret->isut != ret->type) || (ret->isstd != 0 && ret->isstd != ret->type)) {
        return fault(err, name, at + 20, "the header's counts can't be");
    }
    *ret_length = ret->time * (each + 1) + ret->type * 6 + ret->chars + ret->leap * (each + 4) + ret->isstd + ret->isut;
    return n - at - HEADER < *ret_length ? fault(err, name, n, "the file ends within its times") : PO_OK;
}

static po_status data(const unsigned char *p, size_t at, size_t each, const block *b, const char *name, po_arena *arena,
                      po_zone *zone, po_err *err)
{
    const unsigned char *times = p + at, *types = times + b->time * each, *records = types + b->time;
    if (b->leap > 0) {
        return po_fail_at(err, PO_E_UNSUPPORTED, name, 0, 0,
                          "this zone counts leap seconds; name the one without \"right/\"");
    }
    for (uint32_t i = 0; i < b->type; i++) {
        int32_t offset = signed32(records + i * (size_t)6);
        if (offset < -OFFSET_MOST || offset > OFFSET_MOST) {
            return fault(err, name, (size_t)(records - p) + i * (size_t)6, "a clock is more than 26 hours off");
        }
    }
    change *changes = po_arena_zeros(arena, (size_t)b->time + 1, sizeof *changes);
    if (!changes) {
        return po_fail(err, PO_E_NOMEM, "no memory for a zone");
    }
    for (uint32_t i = 0; i < b->time; i++) {
        changes[i].at_s = each == 8 ? signed64(times + i * each) : signed32(times + i * each);
        if (types[i] >= b->type) {
            return fault(err, name, (size_t)(types - p) + i, "a change leads to no known clock");
        }
        if (i > 0 && changes[i].at_s <= changes[i - 1].at_s) {
            return fault(err, name, at + i * each, "the times of changes do not rise");
        }
        changes[i].offset_s = signed32(records + types[i] * (size_t)6);
    }
    zone->changes = changes;
    zone->n_changes = b->time;
    zone->before_s = signed32(records); /* RFC 8536 3.2: type 0 before the first change */
    return PO_OK;
}

po_status po_zone_read(const void *bytes, size_t n, const char *name, po_arena *arena, const po_zone **ret_zone,
                       po_err *err)
{
    const unsigned char *p = bytes;
    block b;
    size_t length, at = 0, each = 4;
    po_status s = header(p, n, 0, 4, name, &b, &length, err);
    if (s == PO_OK && p[4] >= '2') {
        at = HEADER + length;
        each = 8;
        s = header(p, n, at, 8, name, &b, &length, err);
    }
    po_zone *zone = s == PO_OK ? po_arena_zeros(arena, 1, sizeof *zone) : NULL;
    if (s == PO_OK && (!zone || !(zone->name = po_arena_text(arena, name)))) {
        s = po_fail(err, PO_E_NOMEM, "no memory for a zone");
    }
    s = s == PO_OK ? data(p, at + HEADER, each, &b, name, arena, zone, err) : s;
    if (s == PO_OK && each == 8) {
        size_t from = at + HEADER + length;
        const unsigned char *end = from < n ? memchr(p + from + 1, '\n', n - from - 1) : NULL;
        if (from >= n || p[from] != '\n' || !end) {
            s = fault(err, name, from, "the rule at the end is not there or not closed");
        } else if (end > p + from + 1) {
            size_t wrong = 0;
            zone->has_rule = po_zone_rule_read((const char *)p + from + 1, (size_t)(end - p) - from - 1, &zone->rule,
                                               &wrong);
            s = zone->has_rule ? PO_OK : fault(err, name, from + 1 + wrong, "the rule at the end can't be read");
        }
    }
    if (s == PO_OK) {
        *ret_zone = zone;
    }
    return s;
}

/* ---- asking ---- */

/* Changes at or before the second: how many. */
static size_t changes_until(const po_zone *zone, int64_t s)
{
    size_t low = 0, high = zone->n_changes;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (zone->changes[mid].at_s <= s) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    return low;
}

static int32_t offset_at(const po_zone *zone, int64_t s)
{
    size_t i = changes_until(zone, s);
    if (i == zone->n_changes && zone->has_rule) {
        return po_zone_rule_offset(&zone->rule, s);
    }
    return i == 0 ? zone->before_s : zone->changes[i - 1].offset_s;
}

/* The next second after s, at most until, with another offset than the one before it. */
static bool next_change(const po_zone *zone, int64_t s, int64_t until, int64_t *ret)
{
    size_t i = changes_until(zone, s);
    for (; i < zone->n_changes && zone->changes[i].at_s <= until; i++) {
        int64_t at = zone->changes[i].at_s;
        if (offset_at(zone, at) != offset_at(zone, at - 1)) {
            *ret = at;
            return true;
        }
    }
    if (i < zone->n_changes || !zone->has_rule) {
        return false;
    }
    int64_t last = zone->n_changes ? zone->changes[zone->n_changes - 1].at_s : INT64_MIN;
    return po_zone_rule_change(&zone->rule, s > last ? s : last, until, ret);
}

po_zone_times po_zone_utc(const po_zone *zone, int64_t local, int64_t *ret_first, int64_t *ret_second)
{
    /* whatever it was before, between and after the changes nearby: the offsets that lead there and back are true */
    int64_t from = local - OFFSET_MOST - 1, until = local + OFFSET_MOST + 1, at = from, gap_first = local, gap = local;
    int32_t offset = offset_at(zone, from);
    bool found = false;
    *ret_first = *ret_second = local - offset;
    for (bool more = true; more;) {
        int64_t utc = local - offset;
        if (offset_at(zone, utc) == offset && (!found || utc < *ret_first || utc > *ret_second)) {
            *ret_first = found && *ret_first < utc ? *ret_first : utc;
            *ret_second = found && *ret_second > utc ? *ret_second : utc;
            found = true;
        }
        more = next_change(zone, at, until, &at);
        if (more) {
            int32_t next = offset_at(zone, at);
            if (at + offset <= local && local < at + next) { /* the hands jump over it */
                gap_first = local - offset;
                gap = at;
            }
            offset = next;
        }
    }
    if (!found) {
        *ret_first = gap_first;
        *ret_second = gap;
        return PO_ZONE_NEVER;
    }
    return *ret_first == *ret_second ? PO_ZONE_ONCE : PO_ZONE_TWICE;
}

/* ---- in ms ---- */

enum { YEAR_1 = -719162, YEAR_10000 = 2932897 }; /* days from 1970 */

static int64_t bounded_second(int64_t ms)
{
    int64_t s = floor_div(ms, 1000);
    int64_t low = ((int64_t)YEAR_1 + 2) * 86400, high = ((int64_t)YEAR_10000 - 2) * 86400;
    return s < low ? low : s > high ? high : s;
}

const char *po_zone_name(const po_zone *zone)
{
    return zone->name;
}

int32_t po_zone_offset(const po_zone *zone, int64_t ms)
{
    return offset_at(zone, bounded_second(ms));
}

po_wall_time po_zone_wall(const po_zone *zone, int64_t ms, int *ret_second)
{
    int64_t s = bounded_second(ms), local = s + offset_at(zone, s), day = floor_div(local, 86400);
    int of_day = (int)(local - day * 86400);
    if (ret_second) {
        *ret_second = of_day % 60;
    }
    return (po_wall_time){po_date_of(day), of_day / 60};
}

bool po_zone_change(const po_zone *zone, int64_t ms, int64_t until_ms, int64_t *ret_ms)
{
    int64_t at;
    if (!next_change(zone, bounded_second(ms), bounded_second(until_ms), &at)) {
        return false;
    }
    *ret_ms = at * 1000;
    return true;
}

po_zone_times po_zone_moments(const po_zone *zone, po_wall_time wall, int64_t *ret_first_ms, int64_t *ret_second_ms)
{
    int64_t first, second;
    po_zone_times times = po_zone_utc(zone, po_day_of(wall.date) * 86400 + wall.minute * INT64_C(60), &first, &second);
    *ret_first_ms = first * 1000;
    *ret_second_ms = second * 1000;
    return times;
}
