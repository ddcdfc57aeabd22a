/* The calendar: zones, desk hours as moments, and when a job on a machine starts, needs hands, ends and comes off.
 * SPDX-License-Identifier: Apache-2.0
 *
 * Moments are ms of UTC. Nothing here asks the process for its time zone or its clock: a zone is read from its TZif file,
 * and the clock is handed in. docs/calendar.md says the rules in prose. */
#ifndef PROVEOUT_CALENDAR_H
#define PROVEOUT_CALENDAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/proof.h"
#include "proveout/shop.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- zones ---- */

/* A time zone: plain data in an arena, never changed; any number of threads may ask it. */
typedef struct po_zone po_zone;

/* Read a TZif file (RFC 8536, versions 1 to 4), its footer's rule included.
 * bytes, n_bytes  the file; borrowed for the call
 * name            for messages and po_zone_name
 * Errors          PO_E_SYNTAX (err->byte: where), PO_E_UNSUPPORTED (it counts leap seconds), PO_E_NOMEM */
PO_API po_status po_zone_read(const void *bytes, size_t n_bytes, const char *name, po_arena *arena,
                              const po_zone **ret_zone, po_err *err) PO_MUST_USE;
/* The zone of that name, such as Europe/London, from the folder of TZDIR, else /usr/share/zoneinfo; UTC is known without.
 * Errors  PO_E_NOTFOUND: no such name, or one that climbs out of the folder; PO_E_IO; those of po_zone_read */
PO_API po_status po_zone_load(const char *name, po_arena *arena, const po_zone **ret_zone, po_err *err) PO_MUST_USE;
PO_API const char *po_zone_name(const po_zone *zone);

/* Seconds east of Greenwich at a moment. */
PO_API int32_t po_zone_offset(const po_zone *zone, int64_t ms);
/* What the clock on the wall shows; ret_second (may be NULL): seconds of the minute. Years 1 to 9999, beyond them the nearest. */
PO_API po_wall_time po_zone_wall(const po_zone *zone, int64_t ms, int *ret_second);
/* The next moment after ms, not later than until_ms, when the clocks change; false: there is none. */
PO_API bool po_zone_change(const po_zone *zone, int64_t ms, int64_t until_ms, int64_t *ret_ms);

typedef enum po_zone_times {
    PO_ZONE_ONCE,  /* first_ms == second_ms */
    PO_ZONE_TWICE, /* the clocks go back: it comes at first_ms and again at second_ms */
    PO_ZONE_NEVER, /* the clocks go forward over it: first_ms by the offset before the change (RFC 5545 3.3.5), second_ms
                      the moment of the change */
} po_zone_times;
/* When a clock on the wall shows this time. */
PO_API po_zone_times po_zone_moments(const po_zone *zone, po_wall_time wall, int64_t *ret_first_ms,
                                     int64_t *ret_second_ms);

/* ---- the desk ---- */

typedef struct po_ms_span {
    int64_t from_ms, until_ms; /* until_ms is outside */
} po_ms_span;

typedef enum po_desk_effect {
    PO_DESK_CLOSED_ALWAYS, /* of a file of holidays: an opening of the house goes before it */
    PO_DESK_OPEN,          /* an exceptional opening: before weekly hours and closures of the shop file */
    PO_DESK_CLOSED,        /* says so itself: before everything */
} po_desk_effect;

/* An exception to the weekly hours; texts live in the arena of whoever made it. */
typedef struct po_desk_event {
    po_ms_span span;
    po_desk_effect effect;
    const char *summary; /* never NULL */
    uint32_t line;       /* of the file, where the event begins; 0 = of no file */
} po_desk_event;

/* Events of an iCalendar file (RFC 5545) that touch [from_ms, until_ms), recurrences laid out, overlapping ones included.
 *   An event opens the desk where its categories hold OPEN or its summary begins with the word "open"; it closes it where they hold CLOSED
 *   or the summary begins with "closed" (capitals ignored). Of the others: others_close says whether they close it
 *   (a file of holidays), else they say nothing. Cancelled events say nothing; transparent ones (TRANSP) only where they are marked.
 * zone          for floating times and whole days: the shop's
 * ret_events    by time
 * Errors        PO_E_SYNTAX, PO_E_UNSUPPORTED (rules by the hour, minute or second; THISANDFUTURE), PO_E_LIMIT (too large, too
 *               many occurrences), with err->line; PO_E_NOTFOUND for a zone that neither file nor system knows; PO_E_NOMEM */
PO_API po_status po_ical_read(const char *text, size_t n_bytes, const char *name, const po_zone *zone,
                              po_ms_span within, bool others_close, po_arena *arena, const po_desk_event **ret_events,
                              size_t *ret_n, po_err *err) PO_MUST_USE;

/* The same shop with these exceptions beside those it has: its own hours (po_shop_staffed) and every calendar that is made of it then know them.
 * The copy borrows all else from the shop. Errors: PO_E_NOMEM */
PO_API po_status po_shop_with_events(const po_shop *shop, const po_zone *zone, const po_desk_event *events,
                                     size_t n_events, po_arena *arena, const po_shop **ret_shop,
                                     po_err *err) PO_MUST_USE;

typedef struct po_calendar {
    const po_shop *shop;
    const po_zone *zone;
    po_ms_span within;       /* what is laid out; beyond it nobody is known to be there */
    const po_ms_span *spans; /* somebody is at the desk; rising, apart from each other */
    size_t n_spans;
} po_calendar;

/* Lay the shop's hours out as moments, its exceptions and these events alike: the weekly hours, less the shop's closures and PO_DESK_CLOSED_ALWAYS, with PO_DESK_OPEN,
 * less PO_DESK_CLOSED. Opening and closing times that come twice: the first; that do not exist: the moment of the change.
 * Errors  PO_E_RANGE: hours that overlap or close before they open, an empty or too long (20 years) stretch; PO_E_EMPTY: the desk never
 *         opens in it; PO_E_NOMEM */
PO_API po_status po_calendar_make(const po_shop *shop, const po_zone *zone, po_ms_span within,
                                  const po_desk_event *events, size_t n_events, po_arena *arena,
                                  const po_calendar **ret_calendar, po_err *err) PO_MUST_USE;
PO_API bool po_calendar_staffed(const po_calendar *calendar, int64_t ms);
/* Somebody is there in the whole of [from_ms, until_ms]; the last instant may be that of closing. */
PO_API bool po_calendar_staffed_all(const po_calendar *calendar, int64_t from_ms, int64_t until_ms);
/* The first stretch that is not over at ms; false: none is laid out. */
PO_API bool po_calendar_next(const po_calendar *calendar, int64_t ms, po_ms_span *ret);
/* The first moment from ms on when somebody is there. */
PO_API bool po_calendar_next_staffed(const po_calendar *calendar, int64_t ms, int64_t *ret_ms);

/* ---- a job on a machine ---- */

enum { PO_CALENDAR_HANDS = 64 };

/* What a job needs, as seconds by the model; the watch is docs/measures.md's. */
typedef struct po_need {
    double first_bead_s, watch_s;      /* the watch runs from the first bead, no longer than the run */
    double seconds;                    /* the run */
    double low, middle, high;          /* real / modelled */
    double hands_s[PO_CALENDAR_HANDS]; /* from the start, rising */
    size_t n_hands;
    double cool_s; /* from the end until the bed is cool; 0 or NAN: at once */
    bool must_end_staffed;
    bool limits_alone;   /* by the shop's conditions for runs that nobody sees */
    double alone_most_s; /* at a stretch; of use where limits_alone */
} po_need;

/* From a proof; the shop's rules and conditions say must_end_staffed and limits_alone. */
PO_API po_need po_need_of(const po_proof *proof, const po_shop *shop);

typedef struct po_moments { /* the same moment where the run is quick, as expected, slow */
    int64_t low_ms, middle_ms, high_ms;
} po_moments;

typedef struct po_job_when {
    int64_t start_ms, bead_ms, watch_ms; /* start, first bead, the watch's end */
    bool watched;                        /* somebody is there from the start to the watch's end */
    bool open_at_start;
    int64_t leaves_ms; /* of the stretch of desk hours at the start: its end; of no use where closed */
    po_moments hands[PO_CALENDAR_HANDS];  /* when they are needed */
    int64_t served_ms[PO_CALENDAR_HANDS]; /* as expected: when somebody is there for it; the machine waits so long */
    size_t n_hands, n_unserved;           /* n_unserved: nobody is there when it needs them, as expected */
    bool hands_known;          /* false: somebody never comes, in what is laid out; ends are then too early */
    po_moments end, cool, off; /* off: the first moment somebody can take the part off */
    bool end_staffed;          /* as expected */
    double alone_s; /* the longest stretch of the run without anybody, as expected; 0 where the need limits none */
    bool off_known; /* false: off is cool */
    double full_s;  /* from the end until it is taken off, as expected */
} po_job_when;

/* What happens if it is started then. Hands that nobody lends make it wait until somebody is there. */
PO_API void po_calendar_job(const po_calendar *calendar, const po_need *need, int64_t start_ms, po_job_when *ret);

typedef enum po_good {
    PO_GOOD_SURE,     /* somebody is there whenever needed, however quick or slow the run is */
    PO_GOOD_EXPECTED, /* if it takes as long as expected */
    PO_GOOD_WATCHED,  /* for heating and watch only: hands or end fall to an empty desk wherever it starts */
    PO_GOOD_NEVER,    /* not even that, in what is laid out */
} po_good;

/* The earliest good start from from_ms on: somebody is there from start to the end of the watch, whenever it needs hands, at the end
 * where the shop wants that, and it is never alone for longer than the need allows; machine and bed are free of what stands in `taken` (any order) until the part is off.
 * Exact: from each violated condition to the first moment that satisfies it, until all hold.
 * ret_ms is written unless PO_GOOD_NEVER. */
PO_API po_good po_calendar_earliest(const po_calendar *calendar, const po_need *need, const po_ms_span *taken,
                                    size_t n_taken, int64_t from_ms, int64_t *ret_ms);

/* The plain values that the rules take (po_proof_context.when). earliest_ms < 0: not known. Lives in the arena. */
PO_API po_status po_when_make(const po_calendar *calendar, const po_job_when *when, int64_t earliest_ms,
                              po_arena *arena, const po_when **ret, po_err *err) PO_MUST_USE;

/* ---- feed ---- */

typedef struct po_feed_event {
    const char *uid; /* stays the same for the same thing; printable ASCII */
    po_ms_span span;
    const char *summary, *description; /* description may be NULL */
    const char *category;              /* RUN, WATCH, TAKE-OFF ... */
} po_feed_event;

/* An iCalendar stream (RFC 5545): times in UTC, texts escaped, lines of at most 75 octets, CRLF.
 * stamp_ms  when it was made (DTSTAMP).  Errors: PO_E_NOMEM; PO_E_RANGE (a moment outside years 1970 to 9999) */
PO_API po_status po_feed_write(const char *name, const po_feed_event *events, size_t n_events, int64_t stamp_ms,
                               po_arena *arena, const char **ret_text, size_t *ret_n, po_err *err) PO_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
