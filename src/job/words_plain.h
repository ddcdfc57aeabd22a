/* The two ways through a line, inside the words module. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_WORDS_PLAIN_H
#define PO_JOB_WORDS_PLAIN_H

#include "job/words.h"

/* First LF or CR in [p, end), or end. Reads whole vectors: PO_LINE_PADDING readable bytes must follow end. */
const char *po_line_stop(const char *p, const char *end);

/* The careful way: contract of po_line_parse, for any line. */
const char *po_line_parse_any(const char *p, const char *end, bool at_eof, po_line *line);

/* The quick way, for lines such as "G1 X12.5 Y-3 E.0331": G0 to G3 and then words in capitals with single blanks
 * between them, numbers of at most 15 bytes, 63 bytes before the line's end or a ";" comment. Reads lines[0], [1] ...
 * as long as lines are of that kind, lie wholly in [p, end) and there is room for `most`; their number goes to *ret_n.
 * Returns where it stopped; the entry behind the last is then in no defined state, and po_line_parse_any has to look
 * at that line. What it reads the careful way reads the same (checked in words_test.c). Only where
 * po_line_plain_works. */
const char *po_line_parse_plain(const char *p, const char *end, po_line *lines, size_t most, size_t *ret_n);
/* Whether this processor can. */
bool po_line_plain_works(void);

#endif
