/* When a job starts, needs hands, ends, is cool and comes off. SPDX-License-Identifier: Apache-2.0
 *
 * The watch is docs/measures.md's: from the first bead for the shop's minutes or the first layer, whichever is longer, no longer
 * than the run; somebody is there for the heating before it too. Times of the model are stretched by how long runs really
 * take, but heating and watch are not: they are what the shop has agreed.
 * A run that needs hands stands still until somebody is there; all that follows comes so much later.
 *
 * The earliest good start is found exactly. Each condition says of a start s: the least s' >= s at which I hold. All of them
 * have that property (stretches of hours shifted by a constant, or "not before the machine is free"), so going from one
 * that does not hold to its s', until all hold, skips no good start. */
#include <math.h>
#include <string.h>

#include "plan/zone.h"

enum { LONGEST_S = 400 * 86400 }; /* of a run or a cooling that is still told of */

static int64_t ms_of(double seconds)
{
    return llround(fmin(fmax(isnan(seconds) ? 0 : seconds, 0), LONGEST_S) * 1000);
}

static double watched_s(const po_need *n)
{
    return fmin(n->first_bead_s + n->watch_s, n->seconds);
}

/* The strictest of the materials that it lays. */
static double alone_most(const po_job_report *r, const po_shop *shop)
{
    double most = po_shop_alone_s(shop, r->machine, NULL);
    for (size_t i = 0; i < r->facts.n_tools; i++) {
        const po_tool_facts *t = &r->facts.tools[i];
        if (t->extruding_mm > 0 && t->tool >= 0 && (size_t)t->tool < r->n_materials && r->materials[t->tool]) {
            most = fmin(most, po_shop_alone_s(shop, r->machine, r->materials[t->tool]));
        }
    }
    return most;
}

po_need po_need_of(const po_proof *p, const po_shop *shop)
{
    const po_job_facts *f = &p->report->facts;
    po_need n = {.first_bead_s = isnan(f->first_bead_seconds) ? f->seconds : f->first_bead_seconds,
                 .watch_s = isnan(p->watch_seconds) ? shop->rules.watch_minutes * 60 : p->watch_seconds,
                 .seconds = f->seconds,
                 .cool_s = isnan(p->cool_seconds) ? 0 : p->cool_seconds,
                 .must_end_staffed = !shop->rules.may_end_unstaffed};
    double alone = alone_most(p->report, shop);
    n.limits_alone = isfinite(alone);
    n.alone_most_s = n.limits_alone ? alone : 0;
    n.low = f->seconds > 0 ? p->seconds.low / f->seconds : 1;
    n.high = f->seconds > 0 ? p->seconds.high / f->seconds : 1;
    /* what was learned is even on both sides of its centre in the logarithm (docs/learned.md); the model is its own centre */
    n.middle = p->ranges_from && strcmp(p->ranges_from, "model") != 0 ? sqrt(n.low * n.high) : 1;
    for (size_t i = 0; i < f->n_hands && n.n_hands < PO_CALENDAR_HANDS; i++) {
        double s = f->hands[i].seconds;
        if (s >= 0 && s <= f->seconds && (n.n_hands == 0 || s >= n.hands_s[n.n_hands - 1])) {
            n.hands_s[n.n_hands++] = s;
        }
    }
    return n;
}

/* The longest stretch of [from, until] without anybody. */
static int64_t alone_ms(const po_calendar *c, int64_t from, int64_t until)
{
    int64_t longest = 0;
    po_ms_span span;
    for (int64_t at = from; at < until; at = span.until_ms) {
        bool more = po_calendar_next(c, at, &span);
        int64_t to = more && span.from_ms < until ? span.from_ms : until;
        longest = to - at > longest ? to - at : longest;
        if (!more) {
            break;
        }
    }
    return longest;
}

/* One pace: moments of hands, end, cool, off. served: room for n_hands. */
static bool go(const po_calendar *c, const po_need *n, int64_t start, double pace, int64_t *hands, int64_t *served,
               int64_t *end, int64_t *cool, int64_t *off)
{
    int64_t waited = 0;
    bool known = true;
    for (size_t i = 0; i < n->n_hands; i++) {
        hands[i] = served[i] = start + ms_of(n->hands_s[i] * pace) + waited;
        if (po_calendar_next_staffed(c, hands[i], &served[i])) {
            waited += served[i] - hands[i];
        } else {
            known = false;
        }
    }
    *end = start + ms_of(n->seconds * pace) + waited;
    *cool = *off = *end + ms_of(n->cool_s);
    return known && po_calendar_next_staffed(c, *cool, off);
}

void po_calendar_job(const po_calendar *c, const po_need *n, int64_t start, po_job_when *ret)
{
    int64_t hands[3][PO_CALENDAR_HANDS], served[3][PO_CALENDAR_HANDS], end[3], cool[3], off[3];
    const double paces[3] = {n->low, n->middle, n->high};
    po_ms_span s = {0, 0};
    *ret = (po_job_when){.start_ms = start, .bead_ms = start + ms_of(n->first_bead_s), .n_hands = n->n_hands};
    ret->watch_ms = start + ms_of(watched_s(n));
    ret->open_at_start = po_calendar_next(c, start, &s) && s.from_ms <= start;
    ret->leaves_ms = s.until_ms;
    ret->watched = po_calendar_staffed_all(c, start, ret->watch_ms);
    for (int i = 0; i < 3; i++) {
        ret->off_known = go(c, n, start, paces[i], hands[i], served[i], &end[i], &cool[i], &off[i]);
    }
    ret->hands_known = n->n_hands == 0 || po_calendar_staffed(c, served[1][n->n_hands - 1]);
    for (size_t i = 0; i < n->n_hands; i++) {
        ret->hands[i] = (po_moments){hands[0][i], hands[1][i], hands[2][i]};
        ret->served_ms[i] = served[1][i];
        ret->n_unserved += !po_calendar_staffed(c, hands[1][i]);
    }
    ret->end = (po_moments){end[0], end[1], end[2]};
    ret->cool = (po_moments){cool[0], cool[1], cool[2]};
    ret->off = (po_moments){off[0], off[1], off[2]};
    ret->end_staffed = po_calendar_staffed(c, end[1]);
    ret->alone_s = n->limits_alone ? (double)alone_ms(c, start, end[1]) / 1000 : 0;
    ret->full_s = (double)(off[1] - end[1]) / 1000;
}

/* ---- the earliest good start ---- */

typedef struct window { /* somebody is there from start + low to start + high */
    int64_t low, high;
} window;

/* The least start from s on for which it holds. */
static bool next_for(const po_calendar *c, window w, int64_t s, int64_t *ret)
{
    po_ms_span span;
    for (int64_t ms = s + w.low; po_calendar_next(c, ms, &span); ms = span.until_ms) {
        int64_t from = span.from_ms > ms ? span.from_ms : ms;
        if (from + (w.high - w.low) <= span.until_ms) {
            *ret = from - w.low;
            return true;
        }
    }
    return false;
}

/* The least start from s on for which a run of that length is alone for no longer than `most` at a stretch. From a start at which it is
 * too long before somebody comes at b, b - most is the least that is not: all between are as bad. */
static bool next_not_alone(const po_calendar *c, int64_t length, int64_t most, int64_t s, int64_t *ret)
{
    po_ms_span span;
    for (int64_t at = s; at < s + length;) {
        bool more = po_calendar_next(c, at, &span);
        int64_t to = more && span.from_ms < s + length ? span.from_ms : s + length;
        if (to - at > most) {
            if (!more) {
                return false;
            }
            at = s = span.from_ms - most;
        } else if (more) {
            at = span.until_ms;
        } else {
            break;
        }
    }
    *ret = s;
    return true;
}

static int64_t off_from(const po_calendar *c, const po_need *n, int64_t start)
{
    po_job_when w;
    po_calendar_job(c, n, start, &w);
    return w.off_known ? w.off.middle_ms : INT64_MAX;
}

/* length: of the run, where it may not be alone for long; 0: that is not asked. */
static bool search(const po_calendar *c, const po_need *n, const window *windows, size_t n_windows, int64_t length,
                   const po_ms_span *taken, size_t n_taken, int64_t from, int64_t *ret)
{
    int64_t s = from;
    for (bool moved = true; moved;) {
        moved = false;
        for (size_t i = 0; i < n_windows; i++) {
            int64_t next;
            if (!next_for(c, windows[i], s, &next)) {
                return false;
            }
            moved |= next > s;
            s = next;
        }
        if (length > 0 && n->limits_alone) {
            int64_t next;
            if (!next_not_alone(c, length, ms_of(n->alone_most_s), s, &next)) {
                return false;
            }
            moved |= next > s;
            s = next;
        }
        for (size_t i = 0; i < n_taken && !moved; i++) {
            if (taken[i].from_ms < taken[i].until_ms && s < taken[i].until_ms && off_from(c, n, s) > taken[i].from_ms) {
                if (taken[i].until_ms == INT64_MAX) {
                    return false;
                }
                s = taken[i].until_ms;
                moved = true;
            }
        }
    }
    *ret = s;
    return true;
}

po_good po_calendar_earliest(const po_calendar *c, const po_need *n, const po_ms_span *taken, size_t n_taken,
                             int64_t from, int64_t *ret_ms)
{
    window sure[PO_CALENDAR_HANDS + 2] = {{0, ms_of(watched_s(n))}}, expected[PO_CALENDAR_HANDS + 2] = {sure[0]};
    size_t k = 1;
    for (size_t i = 0; i < n->n_hands + n->must_end_staffed; i++, k++) {
        double s = i < n->n_hands ? n->hands_s[i] : n->seconds;
        sure[k] = (window){ms_of(s * n->low), ms_of(s * n->high)};
        expected[k] = (window){ms_of(s * n->middle), ms_of(s * n->middle)};
    }
    return search(c, n, sure, k, ms_of(n->seconds * n->high), taken, n_taken, from, ret_ms)         ? PO_GOOD_SURE
           : search(c, n, expected, k, ms_of(n->seconds * n->middle), taken, n_taken, from, ret_ms) ? PO_GOOD_EXPECTED
           : search(c, n, sure, 1, 0, taken, n_taken, from, ret_ms)                                 ? PO_GOOD_WATCHED
                                                                                                    : PO_GOOD_NEVER;
}

/* ---- as plain values ---- */

po_status po_when_make(const po_calendar *c, const po_job_when *w, int64_t earliest_ms, po_arena *arena,
                       const po_when **ret, po_err *err)
{
    po_when *p = po_arena_zeros(arena, 1, sizeof *p);
    if (!p) {
        return po_fail(err, PO_E_NOMEM, "no memory for the times of a job");
    }
    const po_zone *z = c->zone;
    int64_t up = 59999; /* ends are said by the minute that is not too early, as elsewhere */
    p->watched = w->watched;
    p->open_at_start = w->open_at_start;
    p->watch_until = po_zone_wall(z, w->watch_ms + up, NULL);
    p->leaves = po_zone_wall(z, w->open_at_start ? w->leaves_ms : w->start_ms, NULL);
    p->end = po_zone_wall(z, w->end.middle_ms + up, NULL);
    p->end_staffed = w->end_staffed;
    p->alone_seconds = w->alone_s;
    p->n_hands = w->n_unserved;
    for (size_t i = 0, first = 1; i < w->n_hands; i++) {
        if (first && !po_calendar_staffed(c, w->hands[i].middle_ms)) {
            p->hands = po_zone_wall(z, w->hands[i].middle_ms + up, NULL);
            p->hands_wait_seconds = w->hands_known ? (double)(w->served_ms[i] - w->hands[i].middle_ms) / 1000 : 0;
            first = 0;
        }
    }
    p->off_known = w->off_known;
    p->cool = po_zone_wall(z, w->cool.middle_ms + up, NULL);
    p->off = po_zone_wall(z, w->off.middle_ms + up, NULL);
    p->full_seconds = w->full_s;
    p->after_cool_seconds = (double)(w->off.middle_ms - w->cool.middle_ms) / 1000;
    p->better_known = earliest_ms >= 0;
    p->better = po_zone_wall(z, earliest_ms >= 0 ? earliest_ms + up : 0, NULL);
    int64_t at = w->start_ms, until = (w->off.high_ms > at ? w->off.high_ms : at) + INT64_C(86400000);
    while (p->n_shifts < PO_WHEN_SHIFTS && po_zone_change(z, at, until, &at)) {
        int32_t by = po_zone_offset(z, at) - po_zone_offset(z, at - 1000);
        p->shifts[p->n_shifts++] = (po_wall_shift){(double)(at - w->start_ms) / 1000, by / 60};
    }
    *ret = p;
    return PO_OK;
}
