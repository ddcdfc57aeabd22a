/* Files on their way in: bytes to disk, hashed as they come, within the limits of a client. SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"
#include "base/whole.h"
#include "desk/files.h"
#include "job/kind.h"

enum { HEAD_MOST = 65536, AT_ONCE_MOST = 64, AT_ONCE_EACH = 4, CLIENTS_MOST = 512, MINUTE_S = 60 };

/* What a client has sent lately: a bucket that empties by the shop's limit in a minute. */
typedef struct client {
    char key[DESK_CLIENT_MOST];
    uint64_t sent; /* of the bucket, at since_s */
    int64_t since_s;
    int at_once;
} client;

struct desk_uploads {
    pthread_mutex_t lock;
    client clients[CLIENTS_MOST];
    int at_once;
    uint64_t promised; /* bytes that are still to come */
};

struct desk_upload {
    po_desk *desk;
    int fd, slot;
    char aside[DESK_WORD + 8], name[DESK_NAME_MOST];
    struct sha256_ctx hash;
    uint64_t bytes, received;
    unsigned char head[HEAD_MOST];
    size_t n_head;
};

po_status desk_uploads_open(po_desk *desk, po_err *err)
{
    desk->uploads = calloc(1, sizeof *desk->uploads);
    if (!desk->uploads) {
        return po_fail(err, PO_E_NOMEM, "memory ran out");
    }
    pthread_mutex_init(&desk->uploads->lock, NULL);
    return PO_OK;
}

void desk_uploads_close(po_desk *desk)
{
    if (desk->uploads) {
        pthread_mutex_destroy(&desk->uploads->lock);
        free(desk->uploads);
        desk->uploads = NULL;
    }
}

void desk_client_of(const desk_request *rq, char *ret)
{
    bool known = rq->who.role > PO_STANDS_AS_NOBODY;
    snprintf(ret, DESK_CLIENT_MOST, "%s%s", known ? "m:" : "a:", known ? rq->who.member : rq->address);
}

/* The client's slot; a new one takes the place of the one that was quiet longest. -1: all are sending. */
static int slot_of(desk_uploads *u, const char *key, int64_t now)
{
    int free_slot = -1;
    for (int i = 0; i < CLIENTS_MOST; i++) {
        client *c = &u->clients[i];
        if (strcmp(c->key, key) == 0) {
            return i;
        }
        if (c->at_once == 0 && (free_slot < 0 || c->since_s < u->clients[free_slot].since_s)) {
            free_slot = i;
        }
    }
    if (free_slot >= 0) {
        u->clients[free_slot] = (client){.since_s = now};
        snprintf(u->clients[free_slot].key, DESK_CLIENT_MOST, "%s", key);
    }
    return free_slot;
}

/* Seconds to wait before so many bytes more are let in; 0: now. */
static int bucket(client *c, uint64_t bytes, uint64_t most_a_minute, int64_t now)
{
    uint64_t gone = (uint64_t)(now - c->since_s) * (most_a_minute / MINUTE_S + 1);
    c->sent = c->sent > gone ? c->sent - gone : 0;
    c->since_s = now;
    if (c->sent > 0 && c->sent + bytes > most_a_minute) { /* one file, however large, is let in by an empty bucket */
        return (int)((c->sent + bytes - most_a_minute) / (most_a_minute / MINUTE_S + 1)) + 1;
    }
    c->sent += bytes;
    return 0;
}

/* The name as it was sent, without folders; false with the reply written. */
static bool read_name(desk_request *rq, desk_reply *rp, char ret[DESK_NAME_MOST])
{
    ret[0] = 0;
    if (!rq->file_name) {
        return true;
    }
    char *name = po_arena_text(rq->arena, rq->file_name);
    bool good = name && desk_decode(name, false);
    for (const char *p = name; good && *p; p++) {
        good = (unsigned char)*p >= 0x20 && *p != 0x7f && !((unsigned char)p[0] == 0xc2 && (unsigned char)p[1] < 0xa0);
    }
    for (char *p; good && (p = strpbrk(name, "/\\"));) {
        name = p + 1;
    }
    if (!good || strlen(name) >= DESK_NAME_MOST) {
        desk_problem(rq, rp, 400, "X-Proveout-Name",
                     "the file's name is wanted, percent-encoded UTF-8 of at most %d bytes", DESK_NAME_MOST - 1);
        return false;
    }
    memcpy(ret, name, strlen(name) + 1);
    return true;
}

/* A place among those that send; -1 with the reply written. */
static int enter(po_desk *desk, desk_request *rq, desk_reply *rp, uint64_t bytes)
{
    desk_uploads *u = desk->uploads;
    char key[DESK_CLIENT_MOST];
    desk_client_of(rq, key);
    int64_t now = desk_seconds();
    pthread_mutex_lock(&u->lock);
    int slot = u->at_once < AT_ONCE_MOST ? slot_of(u, key, now) : -1, wait = 0;
    client *c = slot >= 0 ? &u->clients[slot] : NULL;
    bool many = c && c->at_once >= AT_ONCE_EACH;
    if (c && !many) {
        wait = bucket(c, bytes, desk->options.shop->most_upload_bytes * 2, now);
    }
    if (c && !many && wait == 0) {
        c->at_once++;
        u->at_once++;
        u->promised += bytes;
    } else {
        slot = -1;
    }
    pthread_mutex_unlock(&u->lock);
    if (slot < 0) {
        rp->retry_seconds = wait > 0 ? wait : 5;
        if (wait > 0) {
            desk_problem(rq, rp, 429, NULL, "much was sent from here in the last minute; go on in %d s", wait);
        } else if (many) {
            desk_problem(rq, rp, 429, NULL, "%d files are on their way from here already; send this one after them",
                         AT_ONCE_EACH);
        } else {
            desk_problem(rq, rp, 503, NULL, "too many files are on their way already; try again in a moment");
        }
    }
    return slot;
}

static void leave(desk_upload *up)
{
    desk_uploads *u = up->desk->uploads;
    pthread_mutex_lock(&u->lock);
    u->clients[up->slot].at_once--;
    u->at_once--;
    u->promised -= up->bytes;
    pthread_mutex_unlock(&u->lock);
}

desk_upload *desk_upload_begin(po_desk *desk, desk_request *rq, desk_reply *rp, uint64_t bytes)
{
    uint64_t most = desk->options.shop->most_upload_bytes;
    char name[DESK_NAME_MOST], word[DESK_WORD];
    if (bytes == 0 || bytes > most) {
        desk_problem(rq, rp, bytes ? 413 : 422, "body", bytes ? "a file here has at most %.3g MB" : "the file is empty",
                     (double)most / 1e6);
        return NULL;
    }
    if (!read_name(rq, rp, name)) {
        return NULL;
    }
    int slot = enter(desk, rq, rp, bytes);
    if (slot < 0) {
        return NULL;
    }
    desk_upload *up = calloc(1, sizeof *up);
    if (!up) {
        desk_upload none = {.desk = desk, .slot = slot, .bytes = bytes};
        leave(&none);
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
        return NULL;
    }
    *up = (desk_upload){.desk = desk, .slot = slot, .bytes = bytes, .fd = -1};
    memcpy(up->name, name, sizeof name);
    pthread_mutex_lock(&desk->uploads->lock);
    uint64_t promised = desk->uploads->promised;
    pthread_mutex_unlock(&desk->uploads->lock);
    if (!desk_files_tidy(desk, promised)) {
        desk_problem(rq, rp, 507, NULL, "there is no room for this file on the desk's computer; tell the desk");
    } else {
        desk_word_new(desk, word);
        snprintf(up->aside, sizeof up->aside, "in-%.32s", word);
        up->fd = openat(desk->folder, up->aside, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
        if (up->fd < 0 || flock(up->fd, LOCK_EX | LOCK_NB) != 0) {
            desk_problem(rq, rp, 507, NULL, "the desk's computer could not begin a file; tell the desk");
        } else {
            sha256_init(&up->hash);
            return up;
        }
    }
    desk_upload_abort(up);
    return NULL;
}

bool desk_upload_take(desk_upload *up, const void *bytes, size_t n)
{
    if (n > up->bytes - up->received) {
        return false;
    }
    size_t to_head = up->n_head + n < HEAD_MOST ? n : HEAD_MOST - up->n_head;
    memcpy(up->head + up->n_head, bytes, to_head);
    up->n_head += to_head;
    sha256_update(&up->hash, n, bytes);
    if (!po_write_whole(up->fd, bytes, n)) {
        return false;
    }
    up->received += n;
    return true;
}

void desk_upload_abort(desk_upload *up)
{
    if (!up) {
        return;
    }
    if (up->fd >= 0) {
        unlinkat(up->desk->folder, up->aside, 0);
        close(up->fd);
    }
    leave(up);
    free(up);
}

static desk_kind kind_of(const desk_upload *up)
{
    const char *packer;
    po_file_is plain = po_file_kind(up->head, up->n_head, up->bytes);
    if (plain == PO_FILE_JOB) {
        return po_file_kind_within(up->head, up->n_head, &packer) == PO_FILE_JOB ? DESK_JOB : DESK_NEITHER;
    }
    return plain == PO_FILE_ZIP ? DESK_NEITHER : DESK_PART;
}

po_status desk_upload_end(desk_upload *up, desk_file *ret, po_err *err)
{
    po_desk *desk = up->desk;
    uint8_t digest[SHA256_DIGEST_SIZE];
    char note[80];
    if (up->received != up->bytes) {
        desk_upload_abort(up);
        return po_fail(err, PO_E_SYNTAX, "the file broke off on its way; send it again");
    }
    *ret = (desk_file){.kind = kind_of(up), .bytes = up->bytes};
    sha256_digest(&up->hash, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(ret->sha256 + 2 * i, 3, "%02x", digest[i]);
    }
    memcpy(ret->name, up->name, sizeof ret->name);
    snprintf(note, sizeof note, "%s.json", ret->sha256);
    desk_file old;
    bool there = desk_file_look(desk, ret->sha256, &old) && old.bytes == up->bytes;
    if (there && !up->name[0]) {
        memcpy(ret->name, old.name, sizeof ret->name);
    }
    json_t *o = json_pack("{s:s, s:s, s:I}", "name", ret->name, "kind", desk_kind_word(ret->kind), "bytes",
                          (json_int_t)up->bytes);
    /* The bytes first: a note without bytes is nothing. Both are whole or not there; a file that a power cut shortened is
     * found out by its hash when it is proved. */
    bool kept = there || renameat(desk->folder, up->aside, desk->folder, ret->sha256) == 0;
    kept = kept && o && desk_note_write(desk, note, o);
    json_decref(o);
    if (kept && !there) {
        up->aside[0] = 0;
        close(up->fd);
        up->fd = -1;
    }
    desk_upload_abort(up);
    return kept ? PO_OK : po_fail(err, PO_E_IO, "the file could not be kept");
}

void desk_do_file(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    (void)desk;
    desk_file file;
    po_err err;
    desk_upload *up = rq->upload;
    rq->upload = NULL;
    if (!up) {
        desk_problem(rq, rp, 411, "Content-Length", "a file comes with its length");
        return;
    }
    po_status s = desk_upload_end(up, &file, &err);
    if (s != PO_OK) {
        desk_problem(rq, rp, s == PO_E_SYNTAX ? 400 : 507, "body", "%s", err.msg);
        return;
    }
    desk_reply_json(rq, rp,
                    json_pack("{s:s, s:s, s:s, s:I, s:s}", "format", "proveout/file/1", "file", file.sha256, "kind",
                              desk_kind_word(file.kind), "bytes", (json_int_t)file.bytes, "name", file.name));
}
