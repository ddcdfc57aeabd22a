/* Inside of the server: what its files share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_INSIDE_H
#define PO_DESK_INSIDE_H

#include <pthread.h>

#include "proveout/slip.h"
#include "desk/forwarded.h"
#include "desk/libraries.h"
#include "desk/request.h"
#include "proveout/desk.h"

enum {
    DESK_SESSIONS = 2048, /* the one that was quiet longest gives way */
    DESK_TRIES = 4096,    /* members and addresses with failed tries */
    DESK_CODES = 512,     /* one-time codes that were given out */
    DESK_NEWS = 1024,     /* events that a live stream can catch up with */
    DESK_CODE_SECONDS = 24 * 3600,
    DESK_FIRST_SECONDS = 15 * 60,
    DESK_SESSION_MOST_SECONDS = 12 * 3600,
    DESK_NAME_MOST = 256,                /* of a file's name, with its end */
    DESK_CLIENT_MOST = DESK_ID_MOST + 8, /* who counts as one when the queue is fair */
};

typedef struct desk_session {
    bool used, by_code; /* by_code: came with a one-time code, so a password may be set without the old one */
    unsigned char key[32];
    char member[DESK_ID_MOST], token[DESK_WORD];
    po_standing most; /* a PIN does not make a keeper */
    int64_t changed, begun_s, seen_s;
    int64_t checked_s;       /* when the book was last asked about the member; 0: not yet, or something changed */
    uint64_t checked_booked; /* desk_live_seen's, before */
    po_standing checked;     /* what they were then */
    int pin_failures;
} desk_session;

typedef struct desk_try {
    char key[DESK_ID_MOST + 8]; /* "m:" a member, "a:" an address; "": free */
    int failures;
    int64_t until_s, last_s; /* no further try before; of the last one */
} desk_try;

typedef struct desk_code {
    bool used;
    unsigned char key[32];
    char member[DESK_ID_MOST];
    po_standing most; /* what the member was when it was given */
    int64_t until_s;
} desk_code;

typedef struct desk_server desk_server;   /* server.c: the network */
typedef struct desk_live desk_live;       /* events.c */
typedef struct desk_uploads desk_uploads; /* uploads.c */
typedef struct desk_proofs desk_proofs;   /* proofs.c */
typedef struct desk_bench desk_bench;     /* bench.c */
typedef struct desk_nests desk_nests;     /* nest_line.c */
typedef struct desk_opening desk_opening; /* opening.c */

typedef struct desk_day desk_day;     /* today.c */
typedef struct desk_plans desk_plans; /* plan_line.c */

struct po_desk {
    po_desk_options options;
    desk_http http;
    desk_crypt crypt;
    desk_names names;
    desk_proxies proxies; /* whose word is taken of whom they send */
    char own_host[256], url[320], first_word[DESK_WORD];
    int64_t first_until_s;
    pthread_mutex_t door; /* sessions, tries, codes, the first word */
    desk_session *sessions;
    desk_try *tries;
    desk_code *codes;
    char *openapi;              /* made once */
    char *shop;                 /* the same */
    char decoy[PO_SECRET_MOST]; /* a hash that nothing fits, for members that are not there */
    desk_live *live;
    desk_server *server;
    desk_day *day;
    desk_plans *plans;
    pthread_mutex_t long_work; /* export, verify, copy: one at a time */
    int folder;                /* files.c: of files to be proved, open; -1: not */
    desk_uploads *uploads;
    desk_proofs *proofs;
    desk_bench *bench;
    desk_nests *nests;
    desk_opening *opening;        /* NULL: the shop has no calendar files */
    po_arena *studies_arena;      /* never changed once it is open */
    struct work_studies *studies; /* NULL: the shop has none, or its folder can not be read */
};

/* Seconds of a clock that only goes forward. */
int64_t desk_seconds(void);
/* 32 random bytes in hex; the key that is kept of such a word is its BLAKE2b hash, so what is looked up is never the word. */
void desk_word_new(po_desk *desk, char ret[DESK_WORD]);
void desk_word_key(po_desk *desk, const char *word, unsigned char ret[32]);

/* ---- sessions.c ---- */

/* Who has this session; active: somebody sits there. Looks at the book: a role that changed, a suspension or a new password tells at
 * once. False: nobody, and ret is the kiosk. */
bool desk_session_who(po_desk *desk, const char *word, bool active, desk_who *ret);
/* The same for a stream that runs: by the key. */
bool desk_session_holds(po_desk *desk, const unsigned char key[32]);
/* The role of whoever has this session, without asking the book; nobody where the book would have to be asked: it was not in this second,
 * or an act was booked here since. active: as above. */
po_standing desk_session_known(po_desk *desk, const char *word, bool active, uint64_t booked);
/* Begin one; the cookie's word and the token are made. */
bool desk_session_begin(po_desk *desk, const char *member, po_standing most, bool by_code, char ret_word[DESK_WORD],
                        desk_who *ret);
void desk_session_end(po_desk *desk, const unsigned char key[32]);
/* All of a member's sessions but one (NULL: all); that one is up to date again. */
void desk_session_renew(po_desk *desk, const char *member, const unsigned char *but);
/* The session's own copy; false: gone. */
bool desk_session_get(po_desk *desk, const unsigned char key[32], desk_session *ret);
/* One more PIN that was wrong; at the fifth the session ends: true. */
bool desk_session_pin_failed(po_desk *desk, const unsigned char key[32]);

/* ---- tries.c ---- */

/* Seconds to wait before a try for this member from this address; 0: go on. member may be NULL. */
int desk_tries_wait(po_desk *desk, const char *member, const char *address);
void desk_tries_failed(po_desk *desk, const char *member, const char *address);
void desk_tries_well(po_desk *desk, const char *member, const char *address);

/* ---- codes.c: one-time codes ---- */

/* A code for a member, eleven characters in three groups; an older one of theirs is void. */
void desk_code_new(po_desk *desk, const char *member, po_standing most, char ret[16]);
/* Whose it is; it is used up. False: none, or its time is over. */
bool desk_code_take(po_desk *desk, const char *code, char ret_member[DESK_ID_MOST], po_standing *ret_most);

/* ---- passwords.c ---- */

/* NULL: fits; else what is wrong with it. */
const char *desk_password_fault(const char *password);
const char *desk_pin_fault(const char *pin);
bool desk_hash(const desk_crypt *crypt, const char *secret, char ret[PO_SECRET_MOST]);
bool desk_hash_fits(const desk_crypt *crypt, const char *hash, const char *secret);

/* ---- events.c ---- */

po_status desk_live_open(po_desk *desk, po_err *err) PO_MUST_USE;
/* Streams are ended and its thread with them. */
void desk_live_stop(po_desk *desk);
void desk_live_close(po_desk *desk);
/* An act was booked here: do not wait for the next look at the book. */
void desk_live_poke(po_desk *desk);
/* How many acts were booked here, and the last event of the book that was seen (a quarter of a second ago at most). Never waits for the book. */
void desk_live_seen(po_desk *desk, uint64_t *ret_booked, uint64_t *ret_event);
/* The response of a stream; NULL: too many, or no memory. */
struct MHD_Response *desk_live_response(po_desk *desk, struct MHD_Connection *connection, const desk_who *who,
                                        uint64_t after);
int desk_live_streams(po_desk *desk);

/* ---- uploads.c, proofs.c ---- */

po_status desk_uploads_open(po_desk *desk, po_err *err) PO_MUST_USE;
void desk_uploads_close(po_desk *desk);
po_status desk_proofs_open(po_desk *desk, po_err *err) PO_MUST_USE;
/* Those who prove begin; when the server stands, for they tell it what has changed. */
po_status desk_proofs_begin(po_desk *desk, po_err *err) PO_MUST_USE;
/* They end, before the server is gone: what is being proved is broken off; it and what waits is queued again at the next start. */
void desk_proofs_stop(po_desk *desk);
void desk_proofs_close(po_desk *desk);
/* Whether a file waits to be proved or is being proved. */
bool desk_proofs_use(po_desk *desk, const char *sha256);

/* ---- today.c ---- */

po_status desk_day_open(po_desk *desk, po_err *err) PO_MUST_USE;
void desk_day_close(po_desk *desk);

/* ---- plan_line.c ---- */

po_status desk_plans_open(po_desk *desk, po_err *err) PO_MUST_USE;
/* What is being planned is broken off and its thread ends; before the server is gone, which it tells. */
void desk_plans_stop(po_desk *desk);
void desk_plans_close(po_desk *desk);

/* ---- server.c, workers.c ---- */

/* Something that put-off answers wait for has changed. */
void desk_changed(po_desk *desk);

po_status desk_server_open(po_desk *desk, po_err *err) PO_MUST_USE;
void desk_server_close(po_desk *desk);
/* One line of JSON to the log; the object is taken over. */
void desk_log(po_desk *desk, json_t *object);
/* Whether it is stopping, for /health. */
bool desk_server_stops(const po_desk *desk);

/* ---- answer.c ---- */

/* The session behind the cookie, the route's role and the token; false with the reply written. */
bool desk_admit(po_desk *desk, desk_request *rq, desk_reply *rp);
/* All that comes after desk_route and desk_admit. */
void desk_answer(po_desk *desk, desk_request *rq, desk_reply *rp);

/* ---- house.c, openapi.c, shop_doc.c ---- */

/* What the shop file decides is written into an act's body, whatever the page says; false with the reply written. */
bool desk_house(po_desk *desk, const char *act, json_t *body, desk_request *rq, desk_reply *rp);
json_t *desk_openapi(void);
json_t *desk_shop_doc(const po_shop *shop);

/* The functions of the routes. */
desk_function desk_do_mine, desk_do_import_members, desk_do_export_json, desk_do_export_zip, desk_do_verify,
    desk_do_backup, desk_do_backups, desk_do_today, desk_do_page, desk_do_root, desk_do_health, desk_do_shop,
    desk_do_openapi, desk_do_who, desk_do_sign_in, desk_do_code_in, desk_do_first, desk_do_pin_in, desk_do_sign_out,
    desk_do_password, desk_do_pin, desk_do_code, desk_do_ask, desk_do_act, desk_do_acts, desk_do_events, desk_do_file,
    desk_do_prove, desk_do_proof, desk_do_proof_end, desk_do_slip_html, desk_do_slip_pdf, desk_do_slip_text,
    desk_do_slip_json, desk_do_pictures, desk_do_picture_svg, desk_do_picture_png, desk_do_slip, desk_do_part,
    desk_do_part_mesh, desk_do_part_pose, desk_do_part_classes, desk_do_part_scales, desk_do_part_view,
    desk_do_part_file, desk_do_round, desk_do_failure, desk_do_failure_confirm, desk_do_shelf_put, desk_do_labels,
    desk_do_tickets, desk_do_ticket_take, desk_do_ticket_call, desk_do_screen;

/* nest_routes.c */
desk_function desk_do_nest, desk_do_nest_now, desk_do_nest_stop, desk_do_nest_picture, desk_do_nest_file;

/* plan.c */
desk_function desk_do_plan, desk_do_plan_try, desk_do_plan_keep;

/* explain.c */
desk_function desk_do_findings, desk_do_finding, desk_do_finding_drawing;
/* Studies, papers, sign-offs (training.c); care, searches for causes, the room (house_routes.c). */
desk_function desk_do_studies, desk_do_study, desk_do_study_picture, desk_do_papers_mine, desk_do_paper_draw,
    desk_do_paper_show, desk_do_paper_answer, desk_do_paper_hand_in, desk_do_paper_teach, desk_do_signoff,
    desk_do_signoff_step;
desk_function desk_do_care, desk_do_why_symptoms, desk_do_why_drawing, desk_do_why, desk_do_room_air,
    desk_do_room_power, desk_do_room_cool, desk_do_room_cards;

/* hand_out.c, take_back.c */
desk_function desk_do_hand_out, desk_do_hand_out_confirm, desk_do_hand_out_key, desk_do_stick_look, desk_do_stick_write,
    desk_do_take_back, desk_do_take_back_confirm;

/* The shop's studies, read (training.c). PO_E_NOMEM; a folder that can not be read is only logged. */
po_status desk_studies_open(po_desk *desk, po_err *err) PO_MUST_USE;

/* The policy of a document with one style of its own: that one, by its hash, and nothing else (Content Security Policy Level 3, 2.3.1). In the arena;
 * NULL: it has none, or memory is gone. */
const char *desk_policy_of(po_arena *arena, const po_document *d);

#endif
