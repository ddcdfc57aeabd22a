/* The modal interpreter: lines in, moves and happenings out. SPDX-License-Identifier: Apache-2.0
 *
 * docs/measures.md, "Interpreter". One po_state is one reading of the file: for a home position, a retraction, an
 * answer to "do G90 and G91 set E too". What concerns limits and ratings is judged later, from moves and events. */
#ifndef PO_JOB_STATE_H
#define PO_JOB_STATE_H

#include "job/moves.h"
#include "job/words.h"

/* How a machine reads a file. Machines with equal readings share one state. */
typedef struct po_reading {
    bool e_follows_g90;
    double home[3];
    double retract_mm, retract_mm_s, retract_extra_mm;
    double home_seconds, probe_seconds;
    double filament_mm; /* diameter, for M200 without D */
} po_reading;

enum { PO_WORD_SLOTS = 64 };

/* Words met, by name, with counts; the last slot gathers what no longer fits. */
typedef struct po_word_list {
    size_t n;
    struct {
        char word[12];
        uint64_t count, first_line;
        double x, y, z;
    } at[PO_WORD_SLOTS];
} po_word_list;

typedef struct po_oddity { /* something seen by the interpreter: counted, with the first and the worst place */
    uint64_t count;
    uint64_t first_line, worst_line;
    double first_at[3], worst_at[3];
    double worst;
    uint64_t first_move, worst_move; /* number of moves before it, for its time */
    char text[96];
} po_oddity;

typedef enum po_odd { PO_ODD_DAMAGED, PO_ODD_BAD_ARC, PO_ODD_NOT_HOMED, PO_ODD_NO_FEED, PO_ODD_COUNT } po_odd;

typedef struct po_state {
    po_reading reading;
    po_limits machine_limits, limits; /* those of the machine, and those in force (M201 ... lower them) */
    double pos[3];                    /* machine position */
    double shift[3];                  /* G92: machine = logical + shift */
    double e;                         /* logical position of E, as the file counts it (mm, or mm3 with M200) */
    double unit;                      /* 1 or 25.4 */
    bool absolute, e_absolute;
    bool e_absolute_if_follows, e_absolute_if_not;                 /* both readings, for feed-mode-doubtful */
    double e_if_follows, e_if_not;                                 /* logical E under both */
    double net_if_follows, net_if_not, fed_if_follows, fed_if_not; /* from there on: net feed, and its highest */
    double feed;                                                   /* mm/s, before M220; < 0: none yet */
    double speed_factor, flow_factor;
    double mm_per_e; /* 1; with M200 1 / (area of the filament) */
    int tool;
    int bad_plane;  /* 18 or 19 after G18, G19 */
    int motion;     /* 0..3: last G0 to G3; -1: none */
    bool retracted; /* by G10 */
    bool homed[3];
    bool first_out;          /* the next XYZ move is the first one out of home */
    bool ended;              /* M2: nothing after it is carried out */
    uint64_t n_moves;        /* emitted so far */
    uint64_t n_motion_words; /* G0 to G3, G28, G10, G11: is it a job at all */
    uint64_t last_line;
    bool units_said, mode_said, homed_said, probed;
    bool mode_matters; /* the two readings of e_follows_g90 differ in some move */
    po_word_list unknown, stores, tunes, loosens, hands;
    double loosens_worst;
    po_oddity odd[PO_ODD_COUNT];
    int highest_tool_heated;
    bool bed_commanded;
} po_state;

void po_state_init(po_state *state, const po_reading *reading, const po_limits *limits);

/* Carry out one line; moves and events are appended to the block, which must not be full
 * (po_moves_full). Damage is counted, the line then left out. */
void po_state_line(po_state *state, const po_line *line, po_moves *out);

static inline bool po_moves_full(const po_moves *m)
{
    return m->n >= PO_BLOCK_MOVES - 1 || m->n_events >= PO_BLOCK_EVENTS - 24 || m->closed;
}

/* Empty the block; the next one begins where it ended. */
void po_moves_reset(po_moves *m, const po_state *state);

void po_word_note(po_word_list *list, const char *word, uint64_t line, const double at[3]);

#endif
