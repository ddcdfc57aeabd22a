/* The clock of a job. SPDX-License-Identifier: Apache-2.0
 *
 *     kinds, lines  | . . . . . . . . . . . |      ring of moves: done ... queued
 *     events          ^     ^         ^            each stands before a move
 *     asked               ^       ^                so does each question
 *
 * Between two of these the moves are summed in one plain loop. Heating (docs/measures.md, "Motion time"): each heater
 * warms at its machine's rate towards what was commanded, whatever else happens, and never cools; so its temperature
 * follows from the last command and the time since. */
#include "job/clock.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HOT_C 170.0        /* from here on plastic oozes and cooks in a nozzle at rest (include/proveout/job.h) */
#define IDLE_MM_S 2.0      /* a travel that is slower than this ... */
#define IDLE_S 5.0         /* ... for at least so long is as good as rest */
#define BED_GRACE_BEADS 64 /* a purge line before the wait for the bed is ordinary: so many moves may lie before it */

void po_clock_init(po_clock *c, const po_heat *heat)
{
    memset(c, 0, sizeof *c);
    c->nozzle_c_per_s = heat->nozzle_c_per_s;
    c->bed_c_per_s = heat->bed_c_per_s;
    c->room_c = heat->room_c;
    for (int t = 0; t < PO_TOOL_SLOTS; t++) {
        c->nozzle[t] = (po_heater){c->room_c, 0, NAN};
    }
    c->bed = (po_heater){c->room_c, 0, NAN};
    c->last_bed_c = NAN;
}

void po_clock_done(po_clock *c)
{
    free(c->kinds);
    free(c->lines);
    free(c->events);
    free(c->asked);
    free(c->beads);
    for (int t = 0; t < PO_TOOL_SLOTS; t++) {
        free(c->nozzle_share[t]);
        c->nozzle_share[t] = NULL;
    }
    c->kinds = NULL;
    c->lines = NULL;
    c->events = NULL;
    c->asked = NULL;
    c->beads = NULL;
}

/* A larger ring of a power of two, with what waits in it [done, queued) moved over. */
static void *larger(void *ring, size_t *cap, size_t wanted, size_t size, uint64_t done, uint64_t queued)
{
    size_t more = *cap ? *cap : 64;
    while (more < wanted) {
        if (more > SIZE_MAX / 4 / size) {
            return NULL;
        }
        more *= 2;
    }
    char *to = malloc(more * size);
    if (to) {
        for (uint64_t i = done; i < queued;) { /* stretches that are whole in both rings */
            size_t a = (size_t)i & (*cap - 1), b = (size_t)i & (more - 1), n = (size_t)(queued - i);
            n = n < *cap - a ? n : *cap - a;
            n = n < more - b ? n : more - b;
            memcpy(to + b * size, (char *)ring + a * size, n * size);
            i += n;
        }
        free(ring);
        *cap = more;
    }
    return to;
}

bool po_clock_moves(po_clock *c, const uint8_t *kinds, const uint64_t *lines, size_t n)
{
    size_t wanted = (size_t)(c->queued - c->done) + n;
    if (wanted > c->cap_moves) {
        size_t cap = c->cap_moves;
        void *more = larger(c->kinds, &cap, wanted, sizeof *c->kinds, c->done, c->queued);
        if (!more) {
            c->failed = true;
            return false;
        }
        c->kinds = more;
        cap = c->cap_moves;
        more = larger(c->lines, &cap, wanted, sizeof *c->lines, c->done, c->queued);
        if (!more) {
            c->cap_moves = 0; /* the rings no longer agree: nothing more is taken in */
            c->queued = c->done;
            c->failed = true;
            return false;
        }
        c->lines = more;
        c->cap_moves = cap;
    }
    for (size_t first = 0; first < n;) {
        size_t at = (size_t)c->queued & (c->cap_moves - 1), some = n - first;
        some = some < c->cap_moves - at ? some : c->cap_moves - at;
        memcpy(c->kinds + at, kinds + first, some * sizeof *kinds);
        memcpy(c->lines + at, lines + first, some * sizeof *lines);
        c->queued += some;
        first += some;
    }
    return true;
}

bool po_clock_event(po_clock *c, const po_event *event, uint64_t before)
{
    size_t waiting = (size_t)(c->events_queued - c->events_done);
    if (waiting == c->cap_events) {
        void *more = larger(c->events, &c->cap_events, waiting + 1, sizeof *c->events, c->events_done,
                            c->events_queued);
        if (!more) {
            c->failed = true;
            return false;
        }
        c->events = more;
    }
    struct po_clock_event *e = &c->events[c->events_queued++ & (c->cap_events - 1)];
    e->before = before;
    e->event = *event;
    return true;
}

bool po_clock_ask(po_clock *c, uint64_t move, uint64_t event, double *ret_seconds)
{
    size_t waiting = (size_t)(c->asked_queued - c->asked_done);
    if (waiting == c->cap_asked) {
        void *more = larger(c->asked, &c->cap_asked, waiting + 1, sizeof *c->asked, c->asked_done, c->asked_queued);
        if (!more) {
            c->failed = true;
            return false;
        }
        c->asked = more;
    }
    c->asked[c->asked_queued++ & (c->cap_asked - 1)] = (struct po_clock_asked){move, event, ret_seconds};
    return true;
}

void po_clock_redirect(po_clock *c, const double *from, double *to)
{
    for (uint64_t i = c->asked_done; i < c->asked_queued; i++) {
        struct po_clock_asked *a = &c->asked[i & (c->cap_asked - 1)];
        if (a->ret_seconds == from) {
            a->ret_seconds = to;
        }
    }
}

static double temperature(const po_heater *h, double rate, double now)
{
    return h->goal_c > h->from_c ? fmin(h->goal_c, h->from_c + rate * (now - h->since)) : h->from_c;
}

static void command(po_heater *h, double rate, double now, double c)
{
    h->from_c = temperature(h, rate, now);
    h->since = now;
    h->goal_c = c;
}

static int slot(int tool)
{
    return tool < 0 ? 0 : tool < PO_TOOL_SLOTS ? tool : PO_TOOL_SLOTS - 1;
}

static size_t bin(double c)
{
    return c >= PO_C_BINS - 1 ? PO_C_BINS - 1 : c > 0 ? (size_t)c : 0; /* NAN: 0 */
}

/* Book the time in which beads were laid under the present commands. */
static void book(po_clock *c)
{
    if (c->bead_seconds > 0) {
        int t = slot(c->tool);
        if (!c->nozzle_share[t] && !(c->nozzle_share[t] = calloc(PO_C_BINS, sizeof(double)))) {
            c->failed = true;
            return;
        }
        c->nozzle_share[t][bin(c->nozzle[t].goal_c)] += c->bead_seconds;
        c->bed_share[bin(c->bed.goal_c)] += c->bead_seconds;
    }
    c->bead_seconds = 0;
}

/* Time in which the nozzle rests. It counts from when the nozzle is hot. */
static void rest(po_clock *c, double from, double seconds, uint64_t line, double z)
{
    const po_heater *h = &c->nozzle[slot(c->tool)];
    double now = from + seconds;
    if (temperature(h, c->nozzle_c_per_s, now) < HOT_C || !(h->goal_c >= HOT_C)) {
        return; /* switched off or below: nothing cooks */
    }
    double before = temperature(h, c->nozzle_c_per_s, from);
    double hot = before >= HOT_C ? seconds : fmax(0, seconds - (HOT_C - before) / c->nozzle_c_per_s);
    if (c->stay_s == 0) {
        c->stay_at = po_place_at(line, NAN, NAN, z, now - hot);
    }
    c->stay_s += hot;
}

static void end_stay(po_clock *c)
{
    if (c->stay_s > 0) {
        po_seen(&c->sits_hot, c->stay_at, c->stay_s, c->stay_s);
    }
    c->stay_s = 0;
}

static void wait_for(po_clock *c, po_heater *h, double rate, const po_event *ev)
{
    double now = po_clock_now(c), lacks = h->goal_c - temperature(h, rate, now);
    if (lacks > 0 && rate > 0) {
        double seconds = lacks / rate;
        /* While the nozzle itself heats up it does what is asked; it rests where it waits for the bed. */
        if (h == &c->bed) {
            rest(c, now, seconds, ev->line, ev->z);
        }
        c->heat += seconds;
        h->from_c = h->goal_c;
        h->since = now + seconds;
    }
}

static void happening(po_clock *c, const po_event *ev)
{
    double now = po_clock_now(c);
    int t = slot(ev->tool);
    switch (ev->kind) {
    case PO_EV_NOZZLE:
        if (!isnan(ev->value)) {
            book(c);
            if (!(ev->value >= HOT_C) && t == slot(c->tool)) {
                end_stay(c);
            }
            command(&c->nozzle[t], c->nozzle_c_per_s, now, ev->value);
        }
        if (ev->wait) {
            wait_for(c, &c->nozzle[t], c->nozzle_c_per_s, ev);
        }
        break;
    case PO_EV_BED:
        if (!isnan(ev->value)) {
            book(c);
            command(&c->bed, c->bed_c_per_s, now, ev->value);
            if (ev->value > 0) {
                c->last_bed_c = ev->value;
            }
        }
        if (ev->wait) {
            wait_for(c, &c->bed, c->bed_c_per_s, ev);
            if (c->bed_checked && c->n_beads - c->beads_at_bed_check <= BED_GRACE_BEADS) {
                c->bed_checked = false; /* what was laid so far was a purge: look again at what follows */
                memset(&c->no_bed_wait, 0, sizeof c->no_bed_wait);
            }
        }
        break;
    case PO_EV_DWELL:
        rest(c, now, ev->value, ev->line, ev->z);
        c->wait += ev->value;
        break;
    case PO_EV_HOME:
    case PO_EV_PROBE:
        c->wait += ev->value;
        break;
    case PO_EV_TOOL:
        book(c);
        end_stay(c);
        if (c->tool >= 0) {
            c->tool_seconds[slot(c->tool)] += now - c->tool_since;
        }
        c->tool = ev->tool;
        c->tool_since = now;
        break;
    case PO_EV_HANDS: {
        double z = c->n_beads ? ev->z : NAN;
        if (c->n_hands < PO_HANDS_MOST) {
            memcpy(c->hands_words[c->n_hands], ev->word, sizeof ev->word);
            c->hands[c->n_hands++] = (po_hands){NULL, ev->line, z, now};
        }
        po_seen(&c->needs_hands, po_place_at(ev->line, NAN, NAN, z, now), 0, 0);
        break;
    }
    default:
        break;
    }
}

/* What the first bead of a tool, and of the job, finds. */
static void first_bead(po_clock *c, uint64_t line, double now)
{
    int t = slot(c->tool);
    if (!c->tool_laid[t]) {
        c->tool_laid[t] = true;
        double lacks = c->nozzle[t].goal_c - temperature(&c->nozzle[t], c->nozzle_c_per_s, now);
        if (lacks > 0.5) {
            po_seen(&c->no_nozzle_wait[t], po_place_at(line, NAN, NAN, NAN, now), lacks, 0);
        }
    }
    if (!c->bed_checked) {
        c->bed_checked = true;
        c->beads_at_bed_check = c->n_beads;
        double lacks = c->bed.goal_c - temperature(&c->bed, c->bed_c_per_s, now);
        if (lacks > 0.5) {
            po_seen(&c->no_bed_wait, po_place_at(line, NAN, NAN, NAN, now), lacks, 0);
        }
    }
}

static bool room_for_beads(po_clock *c, size_t n)
{
    size_t wanted = (size_t)(c->beads_queued - c->beads_done) + n;
    if (wanted > c->cap_beads) {
        void *more = larger(c->beads, &c->cap_beads, wanted, sizeof *c->beads, c->beads_done, c->beads_queued);
        if (!more) {
            c->failed = true;
            return false;
        }
        c->beads = more;
    }
    return true;
}

/* All that stands before the next move. Returns how many moves follow before something stands again. */
static size_t before_move(po_clock *c)
{
    uint64_t stop = c->queued;
    for (;;) {
        bool event = c->events_done < c->events_queued, asked = c->asked_done < c->asked_queued;
        const struct po_clock_event *e = event ? &c->events[c->events_done & (c->cap_events - 1)] : NULL;
        const struct po_clock_asked *a = asked ? &c->asked[c->asked_done & (c->cap_asked - 1)] : NULL;
        if (a && a->move <= c->done && a->event <= c->events_done) {
            if (a->ret_seconds) {
                *a->ret_seconds = po_clock_now(c);
            }
            c->asked_done++;
        } else if (e && e->before <= c->done) {
            happening(c, &e->event);
            c->events_done++;
        } else {
            stop = e && e->before < stop ? e->before : stop;
            stop = a && a->move < stop ? a->move : stop;
            break;
        }
    }
    return stop > c->done ? (size_t)(stop - c->done) : 0;
}

bool po_clock_take(po_clock *c, size_t n, const double *seconds, const double *top_mm_s)
{
    if (c->keep_beads && !room_for_beads(c, n)) {
        return false;
    }
    for (size_t k = 0; k < n;) {
        size_t run = before_move(c);
        run = run < n - k ? run : n - k;
        if (run == 0) {
            break; /* more answers than moves: cannot be */
        }
        const size_t mask = c->cap_moves - 1;
        const double offset = c->heat + c->wait;
        double motion = c->motion, laid = c->bead_seconds;
        const bool keep = c->keep_beads, check = !c->bed_checked || !c->tool_laid[slot(c->tool)];
        uint64_t n_beads = c->n_beads, at = c->done;
        bool pushed = false;
        for (size_t i = k; i < k + run; i++, at++) {
            const double s = seconds[i];
            const uint8_t kind = c->kinds[at & mask];
            if (kind & PO_MOVE_BEAD) {
                if (check && (!c->bed_checked || !c->tool_laid[slot(c->tool)])) {
                    c->n_beads = n_beads;
                    first_bead(c, c->lines[at & mask], motion + offset);
                }
                laid += s;
                n_beads++;
                pushed = true;
                if (keep) {
                    c->beads[c->beads_queued++ & (c->cap_beads - 1)] = (po_bead_time){
                        c->lines[at & mask], motion + offset, (float)s, (float)top_mm_s[i]};
                }
            } else if ((kind & (PO_MOVE_FEED | PO_MOVE_RETRACT)) == PO_MOVE_FEED) {
                pushed = true;
            } else if (s > IDLE_S && (kind & PO_MOVE_TRAVEL) && top_mm_s[i] < IDLE_MM_S) {
                if (pushed) {
                    end_stay(c);
                    pushed = false;
                }
                rest(c, motion + offset, s, c->lines[at & mask], NAN);
            }
            motion += s;
        }
        if (pushed) {
            end_stay(c);
        }
        c->motion = motion;
        c->bead_seconds = laid;
        c->n_beads = n_beads;
        c->timed_line = c->lines[(at - 1) & mask];
        c->done = at;
        k += run;
    }
    before_move(c);
    return !c->failed;
}

void po_clock_finish(po_clock *c)
{
    before_move(c);
    book(c);
    end_stay(c);
    if (c->tool >= 0) {
        c->tool_seconds[slot(c->tool)] += po_clock_now(c) - c->tool_since;
    }
    c->tool_since = po_clock_now(c);
}
