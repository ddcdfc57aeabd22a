/* A pool of worker threads. SPDX-License-Identifier: Apache-2.0
 *
 * Work items are counted out with one atomic counter; the caller takes its share. Items are meant to be coarse (tens of
 * microseconds or more): there is no batching. */
#include "base/pool.h"

#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdlib.h>

enum { MOST_THREADS = 64 };

struct po_pool {
    int n_threads, n_workers; /* workers: threads beside the caller */
    pthread_t workers[MOST_THREADS];
    pthread_mutex_t mutex;
    pthread_cond_t begun, done;
    /* under mutex */
    bool stop;
    unsigned long round; /* counts calls of po_pool_each */
    bool open;           /* a round is on: workers may join it */
    int busy;            /* workers in the round */
    void (*work)(size_t i, void *user);
    void *user;
    size_t n;
    /* not under mutex */
    atomic_size_t next;
};

static void work_off(po_pool *pool, void (*work)(size_t i, void *user), void *user, size_t n)
{
    for (;;) {
        size_t i = atomic_fetch_add_explicit(&pool->next, 1, memory_order_relaxed);
        if (i >= n) {
            return;
        }
        work(i, user);
    }
}

static void *worker(void *arg)
{
    po_pool *pool = arg;
    unsigned long seen = 0;
    pthread_mutex_lock(&pool->mutex);
    for (;;) {
        while (!pool->stop && !(pool->open && pool->round != seen)) {
            pthread_cond_wait(&pool->begun, &pool->mutex);
        }
        if (pool->stop) {
            break;
        }
        seen = pool->round;
        pool->busy++;
        void (*work)(size_t, void *) = pool->work;
        void *user = pool->user;
        size_t n = pool->n;
        pthread_mutex_unlock(&pool->mutex);
        work_off(pool, work, user, n);
        pthread_mutex_lock(&pool->mutex);
        if (--pool->busy == 0) {
            pthread_cond_signal(&pool->done);
        }
    }
    pthread_mutex_unlock(&pool->mutex);
    return NULL;
}

static int usable_cores(void)
{
    cpu_set_t set;
    int n = sched_getaffinity(0, sizeof set, &set) == 0 ? CPU_COUNT(&set) : 1;
    return n < 1 ? 1 : n > MOST_THREADS ? MOST_THREADS : n;
}

po_pool *po_pool_new(int n_threads)
{
    if (n_threads <= 0) {
        n_threads = usable_cores();
    }
    if (n_threads > MOST_THREADS) {
        n_threads = MOST_THREADS;
    }
    po_pool *pool = calloc(1, sizeof *pool);
    if (!pool) {
        return NULL;
    }
    pool->n_threads = n_threads;
    atomic_init(&pool->next, 0);
    pthread_mutex_init(&pool->mutex, NULL);
    pthread_cond_init(&pool->begun, NULL);
    pthread_cond_init(&pool->done, NULL);
    sigset_t all, old;
    sigfillset(&all); /* signals are for the program's own threads */
    pthread_sigmask(SIG_SETMASK, &all, &old);
    bool good = true;
    for (int i = 0; good && i < n_threads - 1; i++) {
        good = pthread_create(&pool->workers[i], NULL, worker, pool) == 0;
        pool->n_workers += good;
    }
    pthread_sigmask(SIG_SETMASK, &old, NULL);
    if (!good) {
        po_pool_free(pool);
        return NULL;
    }
    return pool;
}

void po_pool_free(po_pool *pool)
{
    if (!pool) {
        return;
    }
    pthread_mutex_lock(&pool->mutex);
    pool->stop = true;
    pthread_cond_broadcast(&pool->begun);
    pthread_mutex_unlock(&pool->mutex);
    for (int i = 0; i < pool->n_workers; i++) {
        pthread_join(pool->workers[i], NULL);
    }
    pthread_cond_destroy(&pool->done);
    pthread_cond_destroy(&pool->begun);
    pthread_mutex_destroy(&pool->mutex);
    free(pool);
}

int po_pool_threads(const po_pool *pool)
{
    return pool->n_threads;
}

void po_pool_each(po_pool *pool, size_t n, void (*work)(size_t i, void *user), void *user)
{
    if (pool->n_workers == 0 || n < 2) {
        for (size_t i = 0; i < n; i++) {
            work(i, user);
        }
        return;
    }
    pthread_mutex_lock(&pool->mutex);
    pool->work = work;
    pool->user = user;
    pool->n = n;
    pool->round++;
    pool->open = true;
    atomic_store_explicit(&pool->next, 0, memory_order_relaxed);
    pthread_cond_broadcast(&pool->begun);
    pthread_mutex_unlock(&pool->mutex);
    work_off(pool, work, user, n);
    pthread_mutex_lock(&pool->mutex);
    pool->open = false; /* a worker that wakes only now has nothing to do */
    while (pool->busy) {
        pthread_cond_wait(&pool->done, &pool->mutex);
    }
    pthread_mutex_unlock(&pool->mutex);
}
