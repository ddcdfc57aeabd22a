/* The clock of a job: when each move and each happening comes. SPDX-License-Identifier: Apache-2.0
 *
 * The planner answers late, so moves and happenings wait here in order until their times are known. Then the clock plays
 * them through: seconds of motion, waits for heat by the heating model of docs/measures.md ("Motion time"), other waits;
 * what rests on times is summed; whoever asked when a move begins is told. */
#ifndef PO_JOB_CLOCK_H
#define PO_JOB_CLOCK_H

#include "job/moves.h"
#include "job/seen.h"

enum { PO_TOOL_SLOTS = 100 }; /* tool numbers that the interpreter lets through */
enum { PO_HANDS_MOST = 64 };

typedef struct po_heater {
    double from_c, since; /* temperature at the last command, and when that was */
    double goal_c;        /* commanded; NAN = never */
} po_heater;

/* Times of one bead move. */
typedef struct po_bead_time {
    uint64_t line;
    double start;
    float seconds, top_mm_s;
} po_bead_time;

typedef struct po_clock {
    /* the machine */
    double nozzle_c_per_s, bed_c_per_s, room_c;
    /* moves that wait for their times: a ring, index & (cap_moves - 1) */
    uint8_t *kinds;
    uint64_t *lines;
    size_t cap_moves;
    uint64_t queued, done; /* moves so far */
    /* happenings that wait: event.before counts in `before` from the start of the job */
    struct po_clock_event {
        uint64_t before;
        po_event event;
    } * events;
    size_t cap_events;
    uint64_t events_queued, events_done;
    /* who wants to know the time: before move `move`, after `event` happenings; rising */
    struct po_clock_asked {
        uint64_t move, event;
        double *ret_seconds; /* NULL: no longer wanted */
    } * asked;
    size_t cap_asked;
    uint64_t asked_queued, asked_done;
    /* times of beads, for the deposit: a ring; kept only while `keep_beads` */
    bool keep_beads;
    po_bead_time *beads;
    size_t cap_beads;
    uint64_t beads_queued, beads_done;
    uint64_t timed_line; /* line of the newest move that has its time: all beads of lines before it have theirs */
    bool failed;         /* memory ran out */
    /* sums */
    double motion, heat, wait;
    int tool;
    double tool_since, tool_seconds[PO_TOOL_SLOTS];
    bool tool_laid[PO_TOOL_SLOTS];
    po_heater nozzle[PO_TOOL_SLOTS], bed;
    double bead_seconds;                 /* laid since the last change of tool or temperature */
    double *nozzle_share[PO_TOOL_SLOTS]; /* [PO_C_BINS] seconds by degrees commanded; NULL = none */
    double bed_share[PO_C_BINS];
    double last_bed_c; /* above 0, commanded; NAN = never */
    /* sightings that rest on times, for all machines of the lane */
    double stay_s; /* of the hot nozzle at rest, so far */
    po_place stay_at;
    po_sighting sits_hot, no_nozzle_wait[PO_TOOL_SLOTS], no_bed_wait;
    bool bed_checked;
    uint64_t n_beads; /* moves */
    uint64_t beads_at_bed_check;
    po_hands hands[PO_HANDS_MOST]; /* word: NULL here; hands_words holds it */
    char hands_words[PO_HANDS_MOST][8];
    size_t n_hands;
    po_sighting needs_hands;
} po_clock;

void po_clock_init(po_clock *c, const po_heat *heat);
void po_clock_done(po_clock *c);

/* Moves to come, in order: `n` kinds and lines. False when memory is gone. */
bool po_clock_moves(po_clock *c, const uint8_t *kinds, const uint64_t *lines, size_t n);
/* A happening before move number `before` (counted from the start of the job). */
bool po_clock_event(po_clock *c, const po_event *event, uint64_t before);
/* Write the time before move `move`, after all happenings told of so far up to `event` in number, once it is known. Moves
 * and events of one caller must rise. */
bool po_clock_ask(po_clock *c, uint64_t move, uint64_t event, double *ret_seconds);
/* Whoever asked for `from` now wants it in `to` (NULL: no more). */
void po_clock_redirect(po_clock *c, const double *from, double *to);

/* The planner's answers, in order. False when memory is gone. */
bool po_clock_take(po_clock *c, size_t n, const double *seconds, const double *top_mm_s);
/* The end: nothing waits any more. */
void po_clock_finish(po_clock *c);

static inline double po_clock_now(const po_clock *c)
{
    return c->motion + (c->heat + c->wait);
}

#endif
