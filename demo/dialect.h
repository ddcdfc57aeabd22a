/* Words of a job file, in the many ordinary ways of writing them. SPDX-License-Identifier: Apache-2.0
 *
 * Positions in machine mm, E in mm of filament, speeds in mm/s; the dialect decides how they are written. */
#ifndef DEMO_DIALECT_H
#define DEMO_DIALECT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum heat_words {
    HEAT_TOGETHER,   /* M140 M104, home, M190 M109 */
    HEAT_IN_TURN,    /* M190 M109 before homing */
    HEAT_AFTER_HOME, /* home, then M190 M109 */
    HEAT_BY_TOOL,    /* G10 P S R and a wait by M109/M190 without a bed word of its own kind */
    HEAT_NEVER
} heat_words;

typedef enum end_words { END_PLAIN, END_RELATIVE_LIFT, END_TOOL_WORDS, END_LONG, END_HOME_X, END_NONE } end_words;

typedef struct dialect {
    bool e_absolute, inch, crlf, numbered, lower_case, packed; /* packed: no blanks between words */
    bool blank_lines, progress, messages;                      /* M73, M117 */
    int comments; /* 0 none, 1 semicolons, 2 parentheses, 3 both and misleading ones */
    bool m83_before_g90;
    bool firmware_retract, arcs;
    int reset_e_every; /* layers between G92 E0; 0 = never */
    double retract_mm, retract_mm_s, hop_mm, travel_mm_s;
    heat_words heat;
    end_words end;
} dialect;

#define DIALECT_INIT                                                                                                   \
    {                                                                                                                  \
        .retract_mm = 0.8, .retract_mm_s = 35, .travel_mm_s = 140, .comments = 1, .heat = HEAT_TOGETHER,               \
        .end = END_PLAIN                                                                                               \
    }

typedef struct words {
    const dialect *d;
    char *text;
    size_t n, room;
    double x, y, z;         /* where the nozzle stands */
    double e_asked, e_said; /* since the last G92 E0 */
    double feed;            /* mm/s, last written */
    bool retracted;
    double pushed; /* mm of filament since the last retraction */
    long line_number;
} words;

void words_done(words *w);
/* One line, as printf, without its end. */
void words_say(words *w, const char *format, ...) __attribute__((format(printf, 2, 3)));
void words_note(words *w, const char *text); /* a comment line, if the dialect has comments */
void words_feed(words *w, double feed_mm_s); /* forget nothing: only remembers what an own line has set */
void words_travel(words *w, double x, double y, double z);
void words_bead(words *w, double x, double y, double z, double e, double mm_s);
/* Arc about (cx, cy) to (x, y) at the present height. */
void words_arc(words *w, bool clockwise, double x, double y, double cx, double cy, double e, double mm_s);
void words_push(words *w, double e, double mm_s); /* E alone */
void words_retract(words *w);
void words_unretract(words *w);
void words_reset_e(words *w);

#endif
