/* Signing in and out, passwords, PINs and codes. SPDX-License-Identifier: Apache-2.0
 *
 * A number that is not there, one without a password and a wrong password are told apart by nobody: the same words after the
 * same work. */
#include <stdio.h>
#include <string.h>

#include "desk/desk_inside.h"

static const char *text_of(const desk_request *rq, const char *key)
{
    return json_string_value(json_object_get(rq->json, key));
}

static void set_cookie(const desk_request *rq, desk_reply *rp, const char *word)
{
    bool tls = rq->tls;
    snprintf(rp->cookie, sizeof rp->cookie, "%sproveout=%s; Path=/; HttpOnly; SameSite=Strict%s%s",
             tls ? "__Host-" : "", word ? word : "", tls ? "; Secure" : "", word ? "" : "; Max-Age=0");
}

static void tell_who(po_desk *desk, desk_request *rq, desk_reply *rp, const desk_who *who)
{
    json_t *o = json_pack("{s:s, s:s}", "format", "proveout/session/1", "role", desk_role_word(who->role));
    if (who->role > PO_STANDS_AS_NOBODY) {
        json_object_set_new(o, "member", json_string(who->member));
        json_object_set_new(o, "token", json_string(who->token));
        int idle = desk->options.idle_seconds;
        json_object_set_new(o, "idle_seconds", json_integer(who->role >= PO_STANDS_AS_DESK ? idle : 4 * idle));
    }
    desk_reply_json(rq, rp, o);
}

static bool must_wait(po_desk *desk, desk_request *rq, desk_reply *rp, const char *member)
{
    int wait = desk_tries_wait(desk, member, rq->address);
    if (wait > 0) {
        desk_problem(rq, rp, 429, NULL, "too many tries failed; try again in %d s", wait);
        rp->retry_seconds = wait;
    }
    return wait > 0;
}

static void refused(po_desk *desk, desk_request *rq, desk_reply *rp, const char *member)
{
    desk_tries_failed(desk, member, rq->address);
    desk_problem(rq, rp, 401, NULL, "this number and these words do not fit together, or the time of the code is over");
}

/* A session begins; one that was there ends. */
static void enter(po_desk *desk, desk_request *rq, desk_reply *rp, const char *member, po_standing most, bool by_code)
{
    char word[DESK_WORD];
    desk_who who;
    if (rq->who.role > PO_STANDS_AS_NOBODY) {
        desk_session_end(desk, rq->who.key);
    }
    if (!desk_session_begin(desk, member, most, by_code, word, &who)) {
        refused(desk, rq, rp, member);
        return;
    }
    desk_tries_well(desk, member, rq->address);
    set_cookie(rq, rp, word);
    tell_who(desk, rq, rp, &who);
}

void desk_do_who(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    tell_who(desk, rq, rp, &rq->who);
}

/* Does the password fit this member, by the book now? Somebody who is not there costs the same time. */
static bool password_fits(po_desk *desk, const char *member, const char *password)
{
    po_identity id = {0};
    po_err err;
    bool known = po_ledger_identity(desk->options.ledger, member, &id, &err) == PO_OK && id.password[0] &&
                 id.standing > PO_STANDS_AS_NOBODY;
    bool fits = desk_hash_fits(&desk->crypt, known ? id.password : desk->decoy, password);
    desk->crypt.sodium_memzero(&id, sizeof id);
    return known && fits;
}

void desk_do_sign_in(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *member = text_of(rq, "member");
    if (must_wait(desk, rq, rp, member)) {
        return;
    }
    if (!password_fits(desk, member, text_of(rq, "password"))) {
        refused(desk, rq, rp, member);
        return;
    }
    enter(desk, rq, rp, member, PO_STANDS_AS_KEEPER, false);
}

void desk_do_code_in(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    char member[DESK_ID_MOST];
    po_standing most;
    if (must_wait(desk, rq, rp, NULL)) {
        return;
    }
    if (!desk_code_take(desk, text_of(rq, "code"), member, &most)) {
        refused(desk, rq, rp, NULL);
        return;
    }
    enter(desk, rq, rp, member, most, true);
}

/* The word is used up, if it is the right one in time. */
static bool take_first_word(po_desk *desk, const char *word)
{
    pthread_mutex_lock(&desk->door);
    bool good = desk->first_word[0] && strlen(word) == DESK_WORD - 1 && desk_seconds() < desk->first_until_s &&
                desk->crypt.sodium_memcmp(word, desk->first_word, DESK_WORD - 1) == 0;
    if (good) {
        desk->crypt.sodium_memzero(desk->first_word, sizeof desk->first_word);
    }
    pthread_mutex_unlock(&desk->door);
    return good;
}

/* The member stands as keeper in the book, enrolled where the number is free. */
static po_status make_keeper(po_desk *desk, desk_request *rq, const char *member, po_err *err)
{
    po_identity id;
    po_status s = po_ledger_identity(desk->options.ledger, member, &id, err);
    if (s != PO_OK || id.standing == PO_STANDS_AS_KEEPER) {
        return s;
    }
    const char *body = po_arena_printf(rq->arena, "{\"member\":\"%s\",\"role\":\"keeper\"}", member);
    po_act act = {id.standing == PO_STANDS_AS_NOBODY ? "member-enrol" : "member-role", "keeper", body};
    po_act_done done;
    return body ? po_ledger_act(desk->options.ledger, &act, rq->arena, &done, err)
                : po_fail(err, PO_E_NOMEM, "memory ran out");
}

void desk_do_first(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *member = text_of(rq, "member"), *fault = desk_password_fault(text_of(rq, "password"));
    bool any = true;
    char hash[PO_SECRET_MOST];
    po_err err;
    if (must_wait(desk, rq, rp, NULL)) {
        return;
    }
    if (fault) { /* before the word is used up */
        desk_problem(rq, rp, 422, "password", "%s", fault);
        return;
    }
    if (!take_first_word(desk, text_of(rq, "word"))) {
        refused(desk, rq, rp, NULL);
        return;
    }
    po_status s = po_ledger_keeper_can_sign_in(desk->options.ledger, &any, &err);
    if (s == PO_OK && any) {
        desk_problem(rq, rp, 409, NULL, "a keeper has a password by now; this word is void");
        return;
    }
    if (s == PO_OK && !desk_hash(&desk->crypt, text_of(rq, "password"), hash)) {
        s = po_fail(&err, PO_E_NOMEM, "memory ran out");
    }
    s = s == PO_OK ? make_keeper(desk, rq, member, &err) : s;
    s = s == PO_OK ? po_ledger_secret_set(desk->options.ledger, member, PO_SECRET_PASSWORD, hash, &err) : s;
    if (s != PO_OK) {
        desk_problem_of(rq, rp, &err, -1);
        return;
    }
    desk_live_poke(desk);
    enter(desk, rq, rp, member, PO_STANDS_AS_KEEPER, false);
}

void desk_do_pin_in(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *member = text_of(rq, "member"), *pin = text_of(rq, "pin");
    po_identity id = {0};
    po_err err;
    if (must_wait(desk, rq, rp, member)) {
        return;
    }
    bool known = po_ledger_identity(desk->options.ledger, member, &id, &err) == PO_OK && id.pin[0] &&
                 id.standing == PO_STANDS_AS_DESK;
    bool fits = desk_hash_fits(&desk->crypt, known ? id.pin : desk->decoy, pin) && known;
    desk->crypt.sodium_memzero(&id, sizeof id);
    if (!fits) {
        bool ended = desk_session_pin_failed(desk, rq->who.key);
        refused(desk, rq, rp, member);
        if (ended) {
            set_cookie(rq, rp, NULL);
        }
        return;
    }
    enter(desk, rq, rp, member, PO_STANDS_AS_DESK, false);
}

void desk_do_sign_out(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    desk_session_end(desk, rq->who.key);
    set_cookie(rq, rp, NULL);
    tell_who(desk, rq, rp, &(desk_who){.role = PO_STANDS_AS_NOBODY});
}

static void keep_secret(po_desk *desk, desk_request *rq, desk_reply *rp, po_secret_kind kind, const char *secret)
{
    char hash[PO_SECRET_MOST];
    po_err err;
    po_status s = desk_hash(&desk->crypt, secret, hash) ? PO_OK : po_fail(&err, PO_E_NOMEM, "memory ran out");
    s = s == PO_OK ? po_ledger_secret_set(desk->options.ledger, rq->who.member, kind, hash, &err) : s;
    if (s != PO_OK) {
        desk_problem_of(rq, rp, &err, -1);
        return;
    }
    desk_session_renew(desk, rq->who.member, rq->who.key);
    tell_who(desk, rq, rp, &rq->who);
}

void desk_do_password(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *old = text_of(rq, "old"), *fault = desk_password_fault(text_of(rq, "new"));
    desk_session s;
    if (fault) {
        desk_problem(rq, rp, 422, "new", "%s", fault);
        return;
    }
    if (must_wait(desk, rq, rp, rq->who.member)) {
        return;
    }
    if (!desk_session_get(desk, rq->who.key, &s)) {
        desk_problem(rq, rp, 401, NULL, "this session is over; sign in again");
        return;
    }
    if (!s.by_code && (!old || !password_fits(desk, rq->who.member, old))) {
        refused(desk, rq, rp, rq->who.member);
        return;
    }
    keep_secret(desk, rq, rp, PO_SECRET_PASSWORD, text_of(rq, "new"));
}

void desk_do_pin(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *fault = desk_pin_fault(text_of(rq, "pin"));
    if (fault) {
        desk_problem(rq, rp, 422, "pin", "%s", fault);
        return;
    }
    if (rq->who.role != PO_STANDS_AS_DESK) {
        desk_problem(rq, rp, 403, "pin",
                     "a keeper signs in with the password alone: a PIN is too short for what a keeper may do");
        return;
    }
    if (must_wait(desk, rq, rp, rq->who.member)) {
        return;
    }
    if (!password_fits(desk, rq->who.member, text_of(rq, "password"))) {
        refused(desk, rq, rp, rq->who.member);
        return;
    }
    keep_secret(desk, rq, rp, PO_SECRET_PIN, text_of(rq, "pin"));
}

void desk_do_code(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    const char *member = text_of(rq, "member");
    po_identity id;
    po_err err;
    char code[16];
    if (po_ledger_identity(desk->options.ledger, member, &id, &err) != PO_OK) {
        desk_problem_of(rq, rp, &err, -1);
        return;
    }
    if (id.standing == PO_STANDS_AS_NOBODY) {
        desk_problem(rq, rp, 404, "member", "there is no such member, or they are suspended");
        return;
    }
    if (id.standing >= rq->who.role) {
        desk_problem(rq, rp, 403, "member",
                     "a code for somebody with the role %s takes a higher role (proveout desk password "
                     "sets a password without one)",
                     desk_role_word(id.standing));
        return;
    }
    desk_code_new(desk, member, id.standing, code);
    desk_reply_json(rq, rp,
                    json_pack("{s:s, s:s, s:s, s:i}", "format", "proveout/code/1", "member", member, "code", code,
                              "seconds", DESK_CODE_SECONDS));
}
