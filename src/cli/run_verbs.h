/* The verbs of runs, by file, and what they share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_RUN_VERBS_H
#define PO_CLI_RUN_VERBS_H

#include "desk.h"

/* ---- cmd_run_ask.c, cmd_run_watch.c, cmd_run_out.c, cmd_run_back.c ---- */

int run_list(const cli_call *call);
int run_show(const cli_call *call);
int run_sum(const cli_call *call);
int run_start(const cli_call *call);
int run_watched(const cli_call *call);
int run_ended(const cli_call *call);
int run_off(const cli_call *call);
int run_outcome(const cli_call *call);
int run_reserve(const cli_call *call);
int run_hand_out(const cli_call *call);
int run_take_back(const cli_call *call);
int run_failed(const cli_call *call);

/* ---- run_kit.c ---- */

/* One run with all that belongs to it (the book's question run); the caller's. EXIT_CLEAR, or a message printed. */
int run_ask(desk *d, int64_t run, json_t **ret);
/* The run that a body names. */
int run_of_body(desk *d, const json_t *body, json_t **ret);

/* The sentence is printed on standard error, with --json as an object too; hands EXIT_STOP back. */
int run_refuse(const desk *d, const char *what, const char *field, const char *format, ...) PO_PRINTF(4, 5);

/* The shop's text of that kind about a run, put into the body as `message`; nothing with --quiet, or where the shop sends
 * nothing. place, until_ms: 0: none. */
void run_add_message(desk *d, json_t *body, po_text_kind kind, const json_t *run, int64_t place, int64_t until_ms);

/* A place of the shelf and the day until which the part is kept, where the body has none: the next free place, the shop's
 * days. ret_place, ret_until_ms: what holds then. EXIT_CLEAR, or a message printed: no place is free. */
int run_add_place(desk *d, json_t *body, int64_t *ret_place, int64_t *ret_until_ms);

/* Says why work_shelf_place, or what needs it, had no place: the exit status. */
int run_refused_place(desk *d, const work_context *w, const po_err *err);

/* counts and rerun_first of an outcome, by the shop's rules for its cause; options --counts and --rerun-first stand. */
void run_add_counts(const desk *d, json_t *body);

/* For --json: the acts with their events and answers in one object, extra's keys beside them. */
int run_print_acts(const char *const *acts, const po_act_done *done, json_t *const *answers, size_t n,
                   const json_t *extra);
/* "Booked as event 12." or "Booked as events 12 to 14." */
void run_tell_events(const po_act_done *done, size_t n);

/* The next ticket that a machine can be offered to, as words under a take-back; nothing where nobody waits. Adds "next_ticket"
 * to `to` (may be NULL). */
void run_next_ticket(desk *d, const char *machine, json_t *to, bool tell);

#endif
