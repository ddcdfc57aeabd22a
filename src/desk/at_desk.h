/* What the routes of the desk's own pages share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_AT_DESK_H
#define PO_DESK_AT_DESK_H

#include "desk/desk_inside.h"
#include "work/run_acts.h"

/* A context for this request, in its arena; false with the reply written. */
bool desk_context_begin(po_desk *desk, desk_request *rq, desk_reply *rp, work_context *ret);
/* Book acts in order, all or none, as whoever is signed in, and reply with "done" (as of /api/1/acts, each with its "act") and what
 * `more` adds (an object, taken over; may be NULL). The bodies stay the caller's. */
void desk_book_acts(po_desk *desk, desk_request *rq, desk_reply *rp, const work_acts *acts, json_t *more);
/* The same in the name of another: `by` is what the book keeps of who did it ("desk" for what the server itself works out, such as marks). */
void desk_book_acts_by(po_desk *desk, desk_request *rq, desk_reply *rp, const char *by, const work_acts *acts,
                       json_t *more);
/* What the book or a core said no to, as a problem; where the system failed, the log says how. */
void desk_said_no(po_desk *desk, desk_request *rq, desk_reply *rp, const po_err *err);

#endif
