/* Bytes of a job in order, unpacked, read ahead in the background. SPDX-License-Identifier: Apache-2.0
 *
 *     file, pipe, memory -> po_raw (hash) -> po_unpacker -> ring of blocks -> po_input_read
 *                           `------ one thread, from the second block on -----'   the caller
 *
 * A source of one block or less never starts a thread. Each block carries what came with it: bytes, and then the end or
 * an error; so the caller meets the same bytes and the same error whether the thread runs or not. While the thread runs
 * it alone touches raw and unpacker; stop_thread takes them back. */
#include "base/input.h"

#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>

#include "base/input_unpack.h"

enum { BLOCK = 256 * 1024, N_BLOCKS = 4 };
static const uint64_t MOST_BYTES = 10ull * 1000 * 1000 * 1000;

typedef struct block {
    size_t n, taken;
    bool last; /* nothing follows: the end, or the error in `failed` */
    po_status status;
    po_err failed;
    unsigned char *bytes;
} block;

struct po_input {
    po_raw raw;
    po_unpacker *unpacker;
    uint64_t most_bytes, unpacked; /* unpacked: bytes put into blocks since the start */
    bool hash_done;
    char hex[65];
    unsigned char *memory; /* N_BLOCKS * BLOCK; pages that are never used cost nothing */

    block ring[N_BLOCKS];
    size_t first, n_full; /* full blocks are ring[first], ring[first + 1] ... (modulo) */
    block *current;       /* what the caller takes from; NULL before the first block. The caller's alone */
    bool threaded, stop;
    pthread_t thread;
    pthread_mutex_t mutex; /* guards first, n_full, stop while threaded */
    pthread_cond_t changed;
};

po_status po_input_open(const po_source *source, uint64_t most_bytes, bool hash, po_input **ret_input, po_err *err)
{
    po_input *input = calloc(1, sizeof *input);
    if (!input) {
        return po_fail(err, PO_E_NOMEM, "no memory to read a file");
    }
    po_status s = po_raw_open(source, hash, &input->raw, err);
    if (s != PO_OK) {
        po_raw_close(&input->raw);
        free(input);
        return s;
    }
    input->most_bytes = most_bytes ? most_bytes : MOST_BYTES;
    /* What does not pack well grows a little when it is packed. */
    uint64_t most_raw = input->most_bytes, slack = most_raw / 8 + 65536;
    most_raw = most_raw > UINT64_MAX - slack ? UINT64_MAX : most_raw + slack;
    input->unpacker = po_unpacker_new(&input->raw, most_raw);
    input->memory = malloc((size_t)N_BLOCKS * BLOCK);
    if (!input->unpacker || !input->memory) {
        po_unpacker_free(input->unpacker);
        po_raw_close(&input->raw);
        free(input->memory);
        free(input);
        return po_fail(err, PO_E_NOMEM, "no memory to read a file");
    }
    for (size_t i = 0; i < N_BLOCKS; i++) {
        input->ring[i].bytes = input->memory + i * BLOCK;
    }
    pthread_mutex_init(&input->mutex, NULL);
    pthread_cond_init(&input->changed, NULL);
    *ret_input = input;
    return PO_OK;
}

/* Fill one block. False: woken, the block is to be thrown away. */
static bool fill_block(po_input *input, block *b)
{
    bool woken = false;
    uint64_t left = input->most_bytes - input->unpacked;
    size_t cap = left < BLOCK ? (size_t)left : BLOCK;
    b->n = b->taken = 0;
    b->status = PO_OK;
    b->last = false;
    if (cap) {
        b->status = po_unpacker_read(input->unpacker, b->bytes, cap, &b->n, &woken, &b->failed);
    } else { /* the cap is reached: it may be the end as well */
        unsigned char beyond;
        size_t n = 0;
        b->status = po_unpacker_read(input->unpacker, &beyond, 1, &n, &woken, &b->failed);
        if (n) {
            b->status = po_fail_at(&b->failed, PO_E_LIMIT, input->raw.name, 0, 0,
                                   "unpacks to more than %llu bytes, the cap on a job",
                                   (unsigned long long)input->most_bytes);
        }
    }
    input->unpacked += b->n;
    b->last = b->status != PO_OK || b->n < (cap ? cap : 1);
    return !woken;
}

static void *read_ahead(void *user)
{
    po_input *input = user;
    pthread_mutex_lock(&input->mutex);
    for (bool last = false; !last && !input->stop;) {
        if (input->n_full == N_BLOCKS) {
            pthread_cond_wait(&input->changed, &input->mutex);
            continue;
        }
        block *b = &input->ring[(input->first + input->n_full) % N_BLOCKS];
        pthread_mutex_unlock(&input->mutex);
        bool whole = fill_block(input, b);
        pthread_mutex_lock(&input->mutex);
        if (!whole) {
            break;
        }
        last = b->last;
        input->n_full++;
        pthread_cond_signal(&input->changed);
    }
    pthread_mutex_unlock(&input->mutex);
    return NULL;
}

static void stop_thread(po_input *input)
{
    if (!input->threaded) {
        return;
    }
    pthread_mutex_lock(&input->mutex);
    input->stop = true;
    pthread_cond_signal(&input->changed);
    pthread_mutex_unlock(&input->mutex);
    po_raw_wake(&input->raw);
    pthread_join(input->thread, NULL);
    po_raw_woken(&input->raw);
    input->threaded = input->stop = false;
}

void po_input_close(po_input *input)
{
    if (!input) {
        return;
    }
    stop_thread(input);
    po_unpacker_free(input->unpacker);
    po_raw_close(&input->raw);
    pthread_cond_destroy(&input->changed);
    pthread_mutex_destroy(&input->mutex);
    free(input->memory);
    free(input);
}

static void start_thread(po_input *input)
{
    sigset_t all, old;
    sigfillset(&all); /* signals are for the program's own threads */
    pthread_sigmask(SIG_SETMASK, &all, &old);
    input->threaded = pthread_create(&input->thread, NULL, read_ahead, input) == 0;
    pthread_sigmask(SIG_SETMASK, &old, NULL);
}

/* The block to take from: with bytes left, or the last one. */
static block *next_block(po_input *input)
{
    block *b = input->current;
    if (b && (b->taken < b->n || b->last)) {
        return b;
    }
    if (b && !input->threaded) {
        start_thread(input);
    }
    if (!input->threaded) { /* the first block; or no thread is to be had, and one block serves for all */
        b = &input->ring[input->first];
        fill_block(input, b); /* is not woken: only stop_thread wakes */
        input->n_full = 1;
    } else {
        pthread_mutex_lock(&input->mutex);
        input->first = (input->first + 1) % N_BLOCKS; /* gives back the block that is used up */
        input->n_full--;
        pthread_cond_signal(&input->changed);
        while (input->n_full == 0) {
            pthread_cond_wait(&input->changed, &input->mutex);
        }
        b = &input->ring[input->first];
        pthread_mutex_unlock(&input->mutex);
    }
    input->current = b;
    return b;
}

po_status po_input_read(po_input *input, void *buf, size_t cap, size_t *ret_n, po_err *err)
{
    size_t n = 0;
    *ret_n = 0;
    while (n < cap) {
        block *b = next_block(input);
        size_t got = b->n - b->taken < cap - n ? b->n - b->taken : cap - n;
        memcpy((unsigned char *)buf + n, b->bytes + b->taken, got);
        b->taken += got;
        n += got;
        if (b->last && b->taken == b->n) {
            if (n == 0 && b->status != PO_OK) { /* the bytes before an error were handed over first */
                if (err) {
                    *err = b->failed;
                }
                return b->status;
            }
            break;
        }
    }
    *ret_n = n;
    return PO_OK;
}

uint64_t po_input_raw_done(const po_input *input)
{
    return input->raw.done;
}

uint64_t po_input_raw_total(const po_input *input)
{
    return input->raw.total;
}

po_status po_input_sha256(po_input *input, char ret_hex[65], po_err *err)
{
    if (!input->raw.hash) {
        return po_fail_at(err, PO_E_INTERNAL, input->raw.name, 0, 0, "the hash was not asked for");
    }
    if (!input->hash_done) {
        stop_thread(input);
        unsigned char *scratch = malloc(BLOCK);
        if (!scratch) {
            return po_fail(err, PO_E_NOMEM, "no memory to read a file");
        }
        po_status s;
        size_t n;
        bool woken;
        do {
            s = po_raw_read(&input->raw, scratch, BLOCK, &n, &woken, err);
        } while (s == PO_OK && n);
        free(scratch);
        if (s != PO_OK) {
            return s;
        }
        uint8_t digest[SHA256_DIGEST_SIZE];
        sha256_digest(&input->raw.sha, sizeof digest, digest);
        for (size_t i = 0; i < sizeof digest; i++) {
            input->hex[2 * i] = "0123456789abcdef"[digest[i] >> 4];
            input->hex[2 * i + 1] = "0123456789abcdef"[digest[i] & 15];
        }
        input->hex[64] = 0;
        input->hash_done = true;
    }
    memcpy(ret_hex, input->hex, sizeof input->hex);
    return PO_OK;
}

void po_input_keep(po_input *input)
{
    input->raw.keep = true;
}

po_status po_input_again(po_input *input, po_err *err)
{
    stop_thread(input);
    po_status s = po_raw_again(&input->raw, err);
    if (s != PO_OK) {
        return s;
    }
    po_unpacker_again(input->unpacker);
    input->unpacked = 0;
    input->first = input->n_full = 0;
    input->current = NULL;
    return PO_OK;
}
