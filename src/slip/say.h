/* Numbers and foreign text as people read them. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SLIP_SAY_H
#define PO_SLIP_SAY_H

#include "base/text.h"
#include "proveout/slip.h"

/* Everything is made in the arena; "" when memory is gone (the text that takes it up has then failed as well). */

/* "45 s", "4 min 30 s" (below 10 min), "52 min", "3 h 20 min"; "-" for NAN. */
const char *po_say_time(po_arena *arena, double seconds);
/* "3:20" (hours and minutes, rounded to the minute); "-" for NAN. */
const char *po_say_hmm(po_arena *arena, double seconds);
/* "9.84 m" below 10 m, "12.4 m" below 100, "123 m"; from mm. */
const char *po_say_metres(po_arena *arena, double filament_mm);
/* "30.1 g" below 100 g, "204 g". */
const char *po_say_grams(po_arena *arena, double grams);
/* At most `decimals` decimals, needless zeros dropped; "-" for NAN. */
const char *po_say_number(po_arena *arena, double v, int decimals);
/* The same with a unit: "0.22 mm"; missing for NAN. */
const char *po_say_or(po_arena *arena, double v, int decimals, const char *unit, const char *missing);
/* "Thu 26 Nov 14:20"; without the date when it is that of `beside` (may be NULL). */
const char *po_say_clock(po_arena *arena, po_wall_time t, const po_wall_time *beside);
/* "2026-11-26T14:20" */
const char *po_say_iso(po_arena *arena, po_wall_time t);
/* Wall time so many seconds later, to the nearest minute; false for NAN or beyond a hundred years. */
bool po_clock_after(po_wall_time start, double seconds, po_wall_time *ret);
/* "petg" or "petg + pla" of the tools in use. */
const char *po_say_materials(po_arena *arena, const po_job_report *report);
/* "yes", "ask", "no" */
const char *po_say_answer(po_verdict verdict);
/* "line 120, 12.4 mm up at x 30.2 y 41, after 1 h 3 min"; NULL when nothing is known. */
const char *po_say_place(po_arena *arena, const po_place *place);

/* "x 30.2 y 41 z 12.4" of a place on a part; NULL when nothing is known. */
const char *po_say_point(po_arena *arena, const po_place *place);

/* Foreign text made safe to show: valid UTF-8 (bad bytes become U+FFFD), no control characters, no marks that turn the
 * direction of writing (they can make a name look like another). Returns the text itself where nothing changes. */
const char *po_say_clean(po_arena *arena, const char *text);
/* Cleaned and escaped for HTML and SVG, in text or in double quotes. */
void po_add_escaped(po_text *out, const char *text);
/* Number of columns of clean text: one for each character. */
size_t po_columns(const char *text);

/* The cautions that a slip shows, by what its findings and facts concern. ret: room for PO_MOST_CAUTIONS. */
enum { PO_MOST_CAUTIONS = 6 };
size_t po_cautions(const po_proof *proof, const po_shop *shop, const char **ret);

/* Number (1-based) of the finding that a flag belongs to; 0 = none. */
size_t po_flag_number(const po_proof *proof, po_sight sight);

/* One fact for a person: label and value. */
typedef struct po_fact_line {
    const char *label, *value;
} po_fact_line;
enum { PO_MOST_FACT_LINES = 48 };
size_t po_fact_lines(const po_proof *proof, po_arena *arena, po_fact_line *ret);
/* The same for a part. */
size_t po_part_fact_lines(const po_part_proof *proof, po_arena *arena, po_fact_line *ret);
size_t po_part_cautions(const po_part_proof *proof, const char **ret);
/* "Item 2 (lid)", or "the part" where it is the only one. */
const char *po_say_item(po_arena *arena, const po_part_report *report, size_t solid);
/* "as it lies", "turned by 30 degrees", "tipped over", "no" */
const char *po_say_fit(po_arena *arena, const po_fit *fit);

#endif
