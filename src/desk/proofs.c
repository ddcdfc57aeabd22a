/* Proofs that wait, are computed and are kept (proving.h). SPDX-License-Identifier: Apache-2.0
 *
 * One table of proofs in memory; beside it a note on the disk for each (proof-ID.json), written before a queued proof is
 * acknowledged and when it is done, so that a restart goes on with what waited and finds what is done. The queue is fair
 * among clients: the next is of the client who was served longest ago. What was computed stays in memory for pictures and
 * slips, up to a number of proofs; what is no longer there is computed again when it is asked for. */
#include "desk/proving.h"

#include <dirent.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum {
    PROOFS_MOST = 4096, /* in the table */
    QUEUE_MOST = 256,
    QUEUE_EACH = 16,
    ASKERS = 4,
    MADE_MOST = 12, /* computed proofs in memory */
    GONE_S = 90,    /* nobody asked for so long: nobody wants it any more */
    PROVERS_MOST = 64,
    SERVED_MOST = 256 /* clients whose turn is remembered */
};
#define MADE_BYTES_MOST ((size_t)512 << 20)
static const char BEFORE[] = "before"; /* for those whose names a restart has forgotten */

typedef struct asker {
    char client[DESK_CLIENT_MOST];
    int64_t seen_s;
} asker;

typedef struct proof {
    char id[DESK_PROOF_ID], key[65], code[DESK_SLIP_CODE], sha256[65], member[DESK_ID_MOST];
    desk_state state;
    asker askers[ASKERS];
    uint64_t number; /* order of arrival */
    int64_t used_s;
    double share;
    const char *doing;
    bool stop; /* break it off */
    bool kept; /* a result is on the disk, whatever becomes of computing it once more */
    po_status failed;
    char says[256];
    json_t *settings;
    desk_made *made;
} proof;

typedef struct served {
    char client[DESK_CLIENT_MOST];
    uint64_t turn;
} served;

struct desk_proofs {
    po_desk *desk;
    pthread_mutex_t lock;
    pthread_cond_t more;
    proof *table[PROOFS_MOST];
    int n, n_waiting, n_computing;
    served served[SERVED_MOST];
    uint64_t numbers, turns;
    bool ending;
    pthread_t threads[PROVERS_MOST];
    int n_threads, cores;
};

const char *desk_state_word(desk_state state)
{
    static const char *const words[] = {"waits", "works", "done", "failed", "cancelled"};
    return words[state];
}

/* ---- the table; with the lock held ---- */

static proof *find(desk_proofs *q, const char *id)
{
    for (int i = 0; i < q->n; i++) {
        if (strcmp(q->table[i]->id, id) == 0) {
            return q->table[i];
        }
    }
    return NULL;
}

static proof *find_key(desk_proofs *q, const char *key)
{
    for (int i = 0; i < q->n; i++) {
        if (strcmp(q->table[i]->key, key) == 0) {
            return q->table[i];
        }
    }
    return NULL;
}

static proof *find_code(desk_proofs *q, const char *code)
{
    for (int i = 0; i < q->n; i++) {
        if (strcmp(q->table[i]->code, code) == 0) {
            return q->table[i];
        }
    }
    return NULL;
}

static void note_name(const char *id, char ret[64])
{
    snprintf(ret, 64, "proof-%.32s.json", id);
}

static void forget(desk_proofs *q, int i)
{
    proof *p = q->table[i];
    char name[64];
    note_name(p->id, name);
    unlinkat(q->desk->folder, name, 0);
    if (p->made && --p->made->users == 0) {
        desk_made_free(p->made);
    }
    json_decref(p->settings);
    free(p);
    q->table[i] = q->table[--q->n];
}

/* Room in the table: what was of no use for the shop's days goes, and where that is not enough the done one that was of no use longest. */
static bool make_room(desk_proofs *q)
{
    int oldest = -1;
    int64_t since = desk_seconds() - (int64_t)q->desk->options.shop->rules.keep_files_days * 86400;
    for (int i = q->n - 1; i >= 0; i--) {
        if (q->table[i]->state >= DESK_DONE && q->table[i]->used_s < since) {
            forget(q, i);
        }
    }
    for (int i = 0; q->n == PROOFS_MOST && i < q->n; i++) {
        if (q->table[i]->state >= DESK_DONE && (oldest < 0 || q->table[i]->used_s < q->table[oldest]->used_s)) {
            oldest = i;
        }
    }
    if (oldest >= 0) {
        forget(q, oldest);
    }
    return q->n < PROOFS_MOST;
}

static void note_asker(proof *p, const char *client)
{
    int64_t now = desk_seconds();
    int at = 0;
    p->used_s = now;
    if (client && strcmp(p->askers[0].client, BEFORE) == 0) { /* whoever comes back takes its place */
        p->askers[0].client[0] = 0;
    }
    for (int i = 0; client && i < ASKERS; i++) {
        if (strcmp(p->askers[i].client, client) == 0) {
            p->askers[i].seen_s = now;
            return;
        }
        at = !p->askers[i].client[0] || (p->askers[at].client[0] && p->askers[i].seen_s < p->askers[at].seen_s) ? i
                                                                                                                : at;
    }
    if (client) {
        snprintf(p->askers[at].client, DESK_CLIENT_MOST, "%s", client);
        p->askers[at].seen_s = now;
    }
}

static bool is_wanted(const proof *p)
{
    int64_t now = desk_seconds();
    for (int i = 0; i < ASKERS; i++) {
        if (p->askers[i].client[0] && now - p->askers[i].seen_s < GONE_S) {
            return true;
        }
    }
    return false;
}

/* Whose turn it is by this proof: the first of those who want it. */
static const char *client_of(const proof *p)
{
    for (int i = 0; i < ASKERS; i++) {
        if (p->askers[i].client[0]) {
            return p->askers[i].client;
        }
    }
    return p->id;
}

static uint64_t turn_of(const desk_proofs *q, const char *client)
{
    for (int i = 0; i < SERVED_MOST; i++) {
        if (strcmp(q->served[i].client, client) == 0) {
            return q->served[i].turn;
        }
    }
    return 0;
}

static void note_turn(desk_proofs *q, const char *client)
{
    int at = 0;
    for (int i = 0; i < SERVED_MOST; i++) {
        if (strcmp(q->served[i].client, client) == 0) {
            at = i;
            break;
        }
        at = q->served[i].turn < q->served[at].turn ? i : at;
    }
    snprintf(q->served[at].client, DESK_CLIENT_MOST, "%s", client);
    q->served[at].turn = ++q->turns;
}

/* How many of the same client came before it and still wait. */
static int rank_of(const desk_proofs *q, const proof *p)
{
    int rank = 0;
    for (int i = 0; i < q->n; i++) {
        const proof *o = q->table[i];
        rank += o->state == DESK_WAITING && o->number < p->number && strcmp(client_of(o), client_of(p)) == 0;
    }
    return rank;
}

/* a goes before b: the client's how-many-eth it is, then who was served longer ago, then who came first. */
static bool goes_before(const desk_proofs *q, const proof *a, const proof *b)
{
    int x = rank_of(q, a), y = rank_of(q, b);
    uint64_t s = turn_of(q, client_of(a)), t = turn_of(q, client_of(b));
    return x != y ? x < y : s != t ? s < t : a->number < b->number;
}

static proof *next_waiting(desk_proofs *q)
{
    proof *first = NULL;
    for (int i = 0; i < q->n; i++) {
        proof *p = q->table[i];
        first = p->state == DESK_WAITING && (!first || goes_before(q, p, first)) ? p : first;
    }
    return first;
}

static int position_of(const desk_proofs *q, const proof *p)
{
    int position = 1;
    for (int i = 0; i < q->n; i++) {
        position += q->table[i]->state == DESK_WAITING && q->table[i] != p && goes_before(q, q->table[i], p);
    }
    return position;
}

static void stand(const desk_proofs *q, const proof *p, desk_standing *ret)
{
    *ret = (desk_standing){.state = p->state,
                           .position = p->state == DESK_WAITING ? position_of(q, p) : 0,
                           .waiting = q->n_waiting,
                           .share = p->share,
                           .doing = p->doing ? p->doing : "waits",
                           .failed = p->failed};
    memcpy(ret->id, p->id, sizeof ret->id);
    memcpy(ret->code, p->code, sizeof ret->code);
    memcpy(ret->sha256, p->sha256, sizeof ret->sha256);
    memcpy(ret->member, p->member, sizeof ret->member);
    memcpy(ret->says, p->says, sizeof ret->says);
}

static void settle(desk_proofs *q, proof *p, desk_state state)
{
    q->n_waiting += (state == DESK_WAITING) - (p->state == DESK_WAITING);
    q->n_computing += (state == DESK_COMPUTING) - (p->state == DESK_COMPUTING);
    p->state = state;
    p->share = 0;
    p->doing = NULL;
}

static void queue_up(desk_proofs *q, proof *p)
{
    settle(q, p, DESK_WAITING);
    p->number = ++q->numbers;
    p->stop = false;
    p->says[0] = 0;
    pthread_cond_signal(&q->more);
}

/* The computed proofs in memory, those of no use longest first out. */
static void thin_made(desk_proofs *q)
{
    for (;;) {
        int n = 0, oldest = -1;
        size_t bytes = 0;
        for (int i = 0; i < q->n; i++) {
            if (q->table[i]->made) {
                n++;
                bytes += po_arena_used(q->table[i]->made->arena);
                oldest = oldest < 0 || q->table[i]->used_s < q->table[oldest]->used_s ? i : oldest;
            }
        }
        if (n <= 1 || (n <= MADE_MOST && bytes <= MADE_BYTES_MOST)) {
            return;
        }
        desk_made *made = q->table[oldest]->made;
        q->table[oldest]->made = NULL;
        if (--made->users == 0) {
            desk_made_free(made);
        }
    }
}

/* ---- notes ---- */

static json_t *note_of(const proof *p, json_t *result, json_t *rows)
{
    json_t *o = json_pack("{s:s, s:s, s:s, s:s, s:O}", "format", "proveout/kept-proof/1", "proof", p->id, "key", p->key,
                          "code", p->code, "settings", p->settings);
    if (o && result) {
        json_object_set(o, "result", result);
        json_object_set(o, "rows", rows);
    }
    return o;
}

static bool write_note(desk_proofs *q, const proof *p, json_t *result, json_t *rows)
{
    char name[64];
    json_t *o = note_of(p, result, rows);
    note_name(p->id, name);
    bool done = o && desk_note_write(q->desk, name, o);
    json_decref(o);
    return done;
}

json_t *desk_proof_note(po_desk *desk, const char *id)
{
    char name[64];
    if (strlen(id) != DESK_PROOF_ID - 1 || strspn(id, "0123456789abcdef") != DESK_PROOF_ID - 1) {
        return NULL;
    }
    note_name(id, name);
    json_t *o = desk_note_read(desk, name);
    if (o) {
        utimensat(desk->folder, name, NULL, 0);
    }
    return o;
}

static bool copy_text(const json_t *o, const char *field, char *to, size_t size)
{
    const char *s = json_string_value(json_object_get(o, field));
    if (!s || strlen(s) >= size) {
        return false;
    }
    memcpy(to, s, strlen(s) + 1);
    return true;
}

/* A note of before the restart; what was not done waits again. */
static void take_note(desk_proofs *q, const char *name)
{
    char id[DESK_PROOF_ID];
    struct stat st;
    int64_t age = INT64_MAX;
    snprintf(id, sizeof id, "%.32s", name + 6);
    if (fstatat(q->desk->folder, name, &st, AT_SYMLINK_NOFOLLOW) == 0) {
        age = (int64_t)time(NULL) - st.st_mtim.tv_sec;
    }
    json_t *o = age > (int64_t)q->desk->options.shop->rules.keep_files_days * 86400 ? NULL
                                                                                    : desk_note_read(q->desk, name);
    proof *p = calloc(1, sizeof *p);
    json_t *settings = json_object_get(o, "settings");
    bool good = p && o && q->n < PROOFS_MOST && copy_text(o, "proof", p->id, sizeof p->id) && strcmp(p->id, id) == 0 &&
                copy_text(o, "key", p->key, sizeof p->key) && copy_text(o, "code", p->code, sizeof p->code) &&
                copy_text(settings, "file", p->sha256, sizeof p->sha256);
    if (!good) {
        unlinkat(q->desk->folder, name, 0);
        free(p);
        json_decref(o);
        return;
    }
    copy_text(settings, "member", p->member, sizeof p->member);
    p->settings = json_incref(settings);
    p->used_s = desk_seconds() - age;
    q->table[q->n++] = p;
    p->state = DESK_DONE;
    p->kept = json_object_get(o, "result") != NULL;
    if (!p->kept) {
        snprintf(p->askers[0].client, DESK_CLIENT_MOST, "%s", BEFORE); /* all of before count as one client */
        p->askers[0].seen_s = desk_seconds();
        queue_up(q, p);
    }
    json_decref(o);
}

static void take_notes(desk_proofs *q)
{
    int copy = openat(q->desk->folder, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = copy >= 0 ? fdopendir(copy) : NULL;
    if (!dir) {
        if (copy >= 0) {
            close(copy);
        }
        return;
    }
    for (struct dirent *e; (e = readdir(dir));) {
        if (strncmp(e->d_name, "proof-", 6) == 0 && strlen(e->d_name) == 6 + 32 + 5) {
            take_note(q, e->d_name);
        }
    }
    closedir(dir);
}

/* ---- computing ---- */

typedef struct watcher {
    desk_proofs *q;
    proof *p;
} watcher;

static bool on_progress(void *user, double share, const char *doing)
{
    watcher *w = user;
    pthread_mutex_lock(&w->q->lock);
    w->p->share = share < 0 ? 0 : share > 1 ? 1 : share;
    w->p->doing = doing;
    bool goes_on = !w->q->ending && !w->p->stop && is_wanted(w->p);
    pthread_mutex_unlock(&w->q->lock);
    return goes_on;
}

static void compute(desk_proofs *q, proof *p, int threads)
{
    desk_asked asked;
    desk_file file = {.kind = DESK_NEITHER};
    desk_made *made = NULL;
    json_t *result = NULL, *rows = NULL;
    po_err err = {0};
    watcher w = {.q = q, .p = p};
    bool known = desk_asked_again(q->desk, p->settings, &asked), there = desk_file_get(q->desk, p->sha256, &file);
    asked.file.kind = file.kind; /* the name is the one under which this proof was asked for */
    asked.file.bytes = file.bytes;
    po_status s = !known   ? po_fail(&err, PO_E_CONFLICT, "the shop file has changed meanwhile; ask anew")
                  : !there ? po_fail(&err, PO_E_NOTFOUND, "the file is no longer kept here; send it again")
                           : desk_prove(q->desk, &asked, threads, on_progress, &w, &made, &result, &err);
    if (s == PO_E_INTERNAL) {
        desk_file_drop(q->desk, p->sha256);
    }
    if (s == PO_OK) {
        rows = desk_rows(q->desk, made, result);
        bool old = p->kept; /* only who computes it changes that; what is on the disk is the same result */
        if (!rows || (!write_note(q, p, result, rows) && !old)) {
            s = po_fail(&err, PO_E_IO, "the proof could not be kept; try again");
        }
    }
    if (s != PO_OK) {
        desk_made_free(made);
    }
    pthread_mutex_lock(&q->lock);
    if (s == PO_OK) {
        if (p->made && --p->made->users == 0) {
            desk_made_free(p->made);
        }
        p->made = made;
        p->kept = true;
        p->failed = PO_OK;
        made->users = 1;
        settle(q, p, DESK_DONE);
        p->used_s = desk_seconds();
        thin_made(q);
    } else if (s == PO_E_CANCELLED && q->ending) {
        settle(q, p, DESK_WAITING); /* its note says so: it goes on at the next start */
    } else if (p->kept) {           /* for its pictures; the result stands */
        settle(q, p, DESK_DONE);
        p->failed = s;
        snprintf(p->says, sizeof p->says, "%s", err.msg);
    } else {
        settle(q, p, s == PO_E_CANCELLED ? DESK_CANCELLED : DESK_FAILED);
        p->failed = s;
        snprintf(p->says, sizeof p->says, "%s", err.msg);
        char name[64];
        note_name(p->id, name);
        unlinkat(q->desk->folder, name, 0);
    }
    pthread_mutex_unlock(&q->lock);
    json_decref(result);
    json_decref(rows);
    desk_changed(q->desk);
}

/* Nobody wants it any more. */
static void drop_waiting(desk_proofs *q, proof *p)
{
    char name[64];
    settle(q, p, p->kept ? DESK_DONE : DESK_CANCELLED);
    if (!p->kept) {
        note_name(p->id, name);
        unlinkat(q->desk->folder, name, 0);
    }
}

static void *work(void *user)
{
    desk_proofs *q = user;
    pthread_mutex_lock(&q->lock);
    while (!q->ending) {
        proof *p = next_waiting(q);
        if (!p) {
            pthread_cond_wait(&q->more, &q->lock);
            continue;
        }
        if (!is_wanted(p)) {
            drop_waiting(q, p);
            continue;
        }
        note_turn(q, client_of(p));
        settle(q, p, DESK_COMPUTING);
        int busy = q->n_computing + q->n_waiting, threads = busy > 0 && busy < q->cores ? q->cores / busy : 1;
        pthread_mutex_unlock(&q->lock);
        desk_changed(q->desk); /* others moved up */
        compute(q, p, threads);
        pthread_mutex_lock(&q->lock);
    }
    pthread_mutex_unlock(&q->lock);
    return NULL;
}

po_status desk_proofs_open(po_desk *desk, po_err *err)
{
    desk_proofs *q = calloc(1, sizeof *q);
    if (!q) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    desk->proofs = q;
    q->desk = desk;
    pthread_mutex_init(&q->lock, NULL);
    pthread_cond_init(&q->more, NULL);
    take_notes(q);
    cpu_set_t set;
    CPU_ZERO(&set);
    q->cores = sched_getaffinity(0, sizeof set, &set) == 0 ? CPU_COUNT(&set) : 1;
    return PO_OK;
}

po_status desk_proofs_begin(po_desk *desk, po_err *err)
{
    desk_proofs *q = desk->proofs;
    int wanted = desk->options.provers > 0 ? desk->options.provers : q->cores;
    wanted = wanted > PROVERS_MOST ? PROVERS_MOST : wanted;
    while (q->n_threads < wanted && pthread_create(&q->threads[q->n_threads], NULL, work, q) == 0) {
        q->n_threads++;
    }
    return q->n_threads > 0 ? PO_OK : po_fail(err, PO_E_IO, "no threads could be started");
}

void desk_proofs_stop(po_desk *desk)
{
    desk_proofs *q = desk->proofs;
    if (!q) {
        return;
    }
    pthread_mutex_lock(&q->lock);
    q->ending = true;
    pthread_cond_broadcast(&q->more);
    pthread_mutex_unlock(&q->lock);
    for (; q->n_threads > 0; q->n_threads--) {
        pthread_join(q->threads[q->n_threads - 1], NULL);
    }
}

void desk_proofs_close(po_desk *desk)
{
    desk_proofs *q = desk->proofs;
    if (!q) {
        return;
    }
    desk_proofs_stop(desk);
    for (int i = 0; i < q->n; i++) {
        json_decref(q->table[i]->settings);
        desk_made_free(q->table[i]->made);
        free(q->table[i]);
    }
    pthread_cond_destroy(&q->more);
    pthread_mutex_destroy(&q->lock);
    free(q);
    desk->proofs = NULL;
}

bool desk_proofs_use(po_desk *desk, const char *sha256)
{
    desk_proofs *q = desk->proofs;
    bool used = false;
    if (q) {
        pthread_mutex_lock(&q->lock);
        for (int i = 0; i < q->n && !used; i++) {
            used = q->table[i]->state <= DESK_COMPUTING && strcmp(q->table[i]->sha256, sha256) == 0;
        }
        pthread_mutex_unlock(&q->lock);
    }
    return used;
}

/* ---- what the routes ask ---- */

static void key_of(po_desk *desk, const json_t *settings, const char *state, char ret[65])
{
    struct sha256_ctx hash;
    uint8_t digest[SHA256_DIGEST_SIZE];
    char *text = json_dumps(settings, JSON_COMPACT | JSON_SORT_KEYS);
    const char *pieces[] = {text ? text : "", state, desk->shop, desk->options.version ? desk->options.version : ""};
    sha256_init(&hash);
    for (size_t i = 0; i < sizeof pieces / sizeof pieces[0]; i++) {
        sha256_update(&hash, strlen(pieces[i]) + 1, (const uint8_t *)pieces[i]);
    }
    free(text);
    sha256_digest(&hash, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(ret + 2 * i, 3, "%02x", digest[i]);
    }
}

static int waiting_of(const desk_proofs *q, const char *client)
{
    int n = 0;
    for (int i = 0; i < q->n; i++) {
        n += q->table[i]->state <= DESK_COMPUTING && strcmp(client_of(q->table[i]), client) == 0;
    }
    return n;
}

static proof *add(desk_proofs *q, const char *key, const json_t *settings)
{
    proof *p = make_room(q) ? calloc(1, sizeof *p) : NULL;
    if (!p) {
        return NULL;
    }
    char word[DESK_WORD];
    desk_word_new(q->desk, word);
    snprintf(p->id, sizeof p->id, "%.32s", word);
    memcpy(p->key, key, sizeof p->key);
    do {
        desk_slip_code_new(q->desk, p->code);
    } while (find_code(q, p->code)); /* two slips of one code would hand out one job for the other */
    p->settings = json_deep_copy(settings);
    copy_text(settings, "file", p->sha256, sizeof p->sha256);
    copy_text(settings, "member", p->member, sizeof p->member);
    p->state = DESK_CANCELLED;
    q->table[q->n++] = p;
    return p;
}

po_status desk_proof_ask(po_desk *desk, const json_t *settings, const char *state, const char *client,
                         desk_standing *ret, po_err *err)
{
    desk_proofs *q = desk->proofs;
    char key[65];
    po_status s = PO_OK;
    key_of(desk, settings, state, key);
    pthread_mutex_lock(&q->lock);
    proof *p = find_key(q, key);
    bool computes = !p || p->state >= DESK_FAILED;
    if (computes && waiting_of(q, client) >= QUEUE_EACH) {
        s = po_fail(err, PO_E_LIMIT, "%d proofs of yours wait already; cancel one, or wait for one to be done",
                    QUEUE_EACH);
    } else if (computes && q->n_waiting >= QUEUE_MOST) {
        s = po_fail(err, PO_E_CONFLICT, "too many proofs wait already; try again in a moment");
    } else if (!p && !(p = add(q, key, settings))) {
        s = po_fail(err, PO_E_NOMEM, "memory ran out");
    } else if (computes && !write_note(q, p, NULL, NULL)) {
        s = po_fail(err, PO_E_IO, "the desk's computer can't keep the proof; tell the desk");
    }
    if (s == PO_OK && p) {
        if (computes) {
            memset(p->askers, 0, sizeof p->askers);
        }
        note_asker(p, client);
        p->stop = false; /* who asks wants it, whoever left */
        if (computes) {
            queue_up(q, p);
        }
        stand(q, p, ret);
    }
    pthread_mutex_unlock(&q->lock);
    return s;
}

bool desk_proof_stands(po_desk *desk, const char *id, const char *client, desk_standing *ret)
{
    desk_proofs *q = desk->proofs;
    pthread_mutex_lock(&q->lock);
    proof *p = find(q, id);
    if (p) {
        note_asker(p, client);
        stand(q, p, ret);
    }
    pthread_mutex_unlock(&q->lock);
    return p != NULL;
}

bool desk_proof_leave(po_desk *desk, const char *id, const char *client)
{
    desk_proofs *q = desk->proofs;
    pthread_mutex_lock(&q->lock);
    proof *p = find(q, id);
    for (int i = 0; p && i < ASKERS; i++) {
        if (strcmp(p->askers[i].client, client) == 0) {
            p->askers[i] = (asker){.client = ""};
        }
    }
    if (p && !is_wanted(p)) {
        p->stop = true;
        if (p->state == DESK_WAITING) {
            drop_waiting(q, p);
        }
    }
    pthread_mutex_unlock(&q->lock);
    if (p) {
        desk_changed(desk);
    }
    return p != NULL;
}

desk_made *desk_proof_take(po_desk *desk, const char *id, const char *client, bool *ret_later)
{
    desk_proofs *q = desk->proofs;
    pthread_mutex_lock(&q->lock);
    proof *p = find(q, id);
    desk_made *made = p ? p->made : NULL;
    *ret_later = p && p->state <= DESK_COMPUTING;
    if (p) {
        note_asker(p, client);
    }
    if (made) {
        made->users++;
    } else if (p && p->state == DESK_DONE) {
        desk_file file;
        bool can = desk_file_look(desk, p->sha256, &file) &&
                   (p->failed == PO_OK || p->failed == PO_E_CANCELLED || p->failed == PO_E_NOTFOUND);
        if (can && waiting_of(q, client) < QUEUE_EACH && q->n_waiting < QUEUE_MOST) {
            queue_up(q, p);
        }
        *ret_later = can; /* beyond the limits it is queued when it is asked for again */
    }
    pthread_mutex_unlock(&q->lock);
    return made;
}

void desk_proof_share(po_desk *desk, desk_made *made)
{
    pthread_mutex_lock(&desk->proofs->lock);
    made->users++;
    pthread_mutex_unlock(&desk->proofs->lock);
}

void desk_proof_give(po_desk *desk, desk_made *made)
{
    desk_proofs *q = desk->proofs;
    pthread_mutex_lock(&q->lock);
    bool last = --made->users == 0;
    pthread_mutex_unlock(&q->lock);
    if (last) {
        desk_made_free(made);
    }
}

bool desk_proof_by_code(po_desk *desk, const char *text, char ret_id[DESK_PROOF_ID], bool *ret_slip)
{
    desk_proofs *q = desk->proofs;
    char code[DESK_SLIP_CODE];
    *ret_slip = desk_slip_code_read(text, code);
    if (!*ret_slip) {
        return false;
    }
    pthread_mutex_lock(&q->lock);
    const proof *p = find_code(q, code);
    if (p) {
        memcpy(ret_id, p->id, DESK_PROOF_ID);
    }
    pthread_mutex_unlock(&q->lock);
    return p != NULL;
}
