/* Tramming: a bed's readings, the plane that its screws can take out, the turns, and what stays. SPDX-License-Identifier: Apache-2.0
 *
 * Heights in mm, up is positive: a high reading means that the bed is nearer to the nozzle there. Nothing is sent to a machine: turns are
 * proposed, and a person makes them by the maker's instructions, with the machine's heat and motion off while fingers are near.
 * docs/tram-and-tune.md says the method and its sources. */
#ifndef PROVEOUT_TRAM_H
#define PROVEOUT_TRAM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/shop.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { PO_TRAM_READINGS_MOST = 10000, PO_TRAM_SCREWS_MOST = 12, PO_TRAM_BLUNDERS_MOST = 16, PO_TRAM_MAP = 24 };

typedef struct po_tram_reading {
    double x_mm, y_mm, z_mm;
    uint32_t line; /* of the text it came from; 0: of none */
} po_tram_reading;

typedef enum po_tram_kind {                 /* what was read */
                            PO_TRAM_PROBE,  /* height of the bed at contact */
                            PO_TRAM_FEELER, /* gap between nozzle and bed, by a feeler gauge: more gap is a lower bed */
                            PO_TRAM_PAPER,  /* how a sheet of paper drags: free, loose, light, firm, blocked */
} po_tram_kind;

/* Readings from text: one a line, "x y z" or "x,y,z", blanks, tabs, commas or semicolons between; a first line of words is a heading; # begins a
 * comment. Lengths in mm; each may end in mm or um. Of PO_TRAM_PAPER the third is a word.
 * Errors  PO_E_SYNTAX, PO_E_RANGE (a place beyond 5 m, a height beyond 5 mm: not of a bed), PO_E_LIMIT, PO_E_EMPTY, each with its line;
 *         PO_E_NOMEM */
PO_API po_status po_tram_read(const char *text, size_t n_bytes, const char *name, po_tram_kind kind, po_arena *arena,
                              const po_tram_reading **ret, size_t *ret_n, po_err *err) PO_MUST_USE;

/* Pitch of a coarse thread by its name, such as M4 (ISO 261, ISO 262): mm a turn; 0: not one of M2 to M8. */
PO_API double po_tram_pitch(const char *thread);

typedef struct po_tram_screw {
    double x_mm, y_mm, pitch_mm;
    bool clockwise_raises; /* seen from the side where it is turned; usual is that tightening pulls the bed down */
} po_tram_screw;

typedef struct po_tram_setup {
    const po_tram_screw *screws; /* 3 or more, not on one line */
    size_t n_screws;
    int keep;                  /* the screw that is not turned; -1: the plane's mean height is kept */
    double tolerance_mm;       /* half of what is called level: 0.05 */
    double gap_mm;             /* of the first layer, wished: 0.2 */
    double bed_x[2], bed_y[2]; /* where the map is drawn; low < high */
    bool round_bed;
} po_tram_setup;
#define PO_TRAM_SETUP_INIT                                                                                             \
    {                                                                                                                  \
        .keep = 0, .tolerance_mm = 0.05, .gap_mm = 0.2                                                                 \
    }

typedef struct po_tram_turn { /* of one screw */
    double height_mm;         /* of the plane there */
    double move_mm;           /* by which the bed has to go up there; negative: down */
    double error_mm; /* 95 % of the move by the readings' scatter; NAN: three readings alone say nothing of it */
    double turns;    /* how many; never negative */
    bool clockwise;  /* seen from the side where it is turned */
    bool within; /* the move is less than a twentieth of a turn, or than its error and within the tolerance: leave it */
    double outside_mm; /* the screw lies so far outside the readings: the plane is extended */
} po_tram_turn;

typedef struct po_tram_blunder { /* a reading that the others speak against */
    size_t reading;
    double off_mm;
    double turns; /* so many turns of the first screw's thread; 0: no whole number of them */
} po_tram_blunder;

typedef enum po_tram_verdict {
    PO_TRAM_LEVEL, /* within the tolerance as it is */
    PO_TRAM_TURN,  /* turning brings it there */
    PO_TRAM_WARPED, /* after turning up to 0.30 mm from top to bottom are left: the machine's own compensation, if it has one */
    PO_TRAM_BENT, /* more is left: look beneath the plate, at the plate, at the rails */
} po_tram_verdict;

typedef struct po_tram {
    double a, b, c; /* z = a x + b y + c, mm: slopes without unit, c at x = y = 0 */
    double tilt_deg;
    size_t n, n_used;           /* readings; those that no blunder is told of */
    double rms_mm;              /* of what is left of those used: square root of the mean square */
    double scatter_mm;          /* their standard deviation, n - 3 degrees of freedom; NAN where n_used is 3 */
    double before_mm, after_mm; /* highest less lowest reading, as it is and after the turns; of those used */
    double
        twist_mm; /* of four screws at a rectangle's corners by the readings nearest to them: half the difference of the sums over the diagonals, by
                                 which no screw should be turned; NAN: not such screws, or no readings near */
    double gap_low_mm, gap_high_mm; /* of the first layer after the turns */
    double share_within; /* of the bed within the tolerance after the turns, between readings as weighted by distance */
    po_tram_verdict verdict;
    const double *left_mm; /* [n]: of each reading, above the plane */
    po_tram_turn *turns;   /* [n_screws] */
    po_tram_blunder blunders[PO_TRAM_BLUNDERS_MOST];
    size_t n_blunders;
    double map_mm[PO_TRAM_MAP * PO_TRAM_MAP]; /* what is left, rows from low y; NAN outside a round bed */
} po_tram;

/* Everything from one round of readings. The plane is that of least squares over the readings that are not named as blunders; those are found by
 * least median of squares (Rousseeuw 1984).
 * Errors  PO_E_EMPTY: fewer than three readings; PO_E_RANGE: readings or screws on one line (or nearly), a pitch that is none, values that are no
 *         numbers; PO_E_LIMIT; PO_E_NOMEM. Same readings, same answer. */
PO_API po_status po_tram_make(const po_tram_reading *readings, size_t n, const po_tram_setup *setup, po_arena *arena,
                              const po_tram **ret, po_err *err) PO_MUST_USE;

typedef enum po_tram_next {               /* what a second round says of a screw */
                            PO_TRAM_DONE, /* as meant */
                            PO_TRAM_NOT_TURNED,
                            PO_TRAM_WRONG_WAY,
                            PO_TRAM_TOO_FAR,
                            PO_TRAM_SHORT,
} po_tram_next;
/* Hold the round after the turns against the one before. ret: [n_screws]. Same setup for both. */
PO_API void po_tram_compare(const po_tram *before, const po_tram *after, const po_tram_setup *setup, po_tram_next *ret);

#ifdef __cplusplus
}
#endif
#endif
