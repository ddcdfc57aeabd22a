/* A hand-out on its way through the server: what its routes share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_HANDING_H
#define PO_DESK_HANDING_H

#include "desk/proving.h"
#include "work/hand_out.h"

typedef struct desk_handing {
    po_desk *desk;
    desk_request *rq;
    desk_reply *rp;
    work_context work; /* in the request's arena */
    work_book book;    /* with the member of the body */
    desk_asked asked;  /* the file, proved on all machines */
    desk_made *made;   /* borrowed until desk_handing_end; NULL: not yet */
    char proof[DESK_PROOF_ID], code[DESK_SLIP_CODE];
} desk_handing;

static inline const char *desk_text(const json_t *o, const char *field)
{
    return json_string_value(json_object_get(o, field));
}

/* False with the reply written. */
bool desk_handing_begin(desk_handing *h, po_desk *desk, desk_request *rq, desk_reply *rp);
void desk_handing_end(desk_handing *h);
/* The file of the body, which must be a job that is kept here; false with the reply written. */
bool desk_handing_file(desk_handing *h);
const char *desk_handing_name(const desk_file *file);
/* The proof that the page knows already, where it is in memory; h->made stays NULL where not. id may be NULL. */
void desk_handing_known(desk_handing *h, const char *id);
/* The file proved on all machines as they are fitted and loaded now; false with the reply written, or put off. */
bool desk_handing_prove(desk_handing *h);
/* The reports of h->made, for each machine of the shop; in the arena, NULL: no memory. */
const po_job_report **desk_handing_reports(desk_handing *h);
/* What was wished, as the bodies of the act begin; the caller's, NULL: no memory. */
json_t *desk_handing_wishes(const json_t *asked);

#endif
