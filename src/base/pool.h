/* A pool of worker threads. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_POOL_H
#define PO_BASE_POOL_H

#include <stddef.h>

#include "proveout/status.h"

typedef struct po_pool po_pool;

/* n_threads 1..64 in all, counting the caller (1 = no thread is started); 0 = as many as the process may use cores.
 * NULL when memory or threads are not to be had. Free from the thread that made it, with nothing pending. */
po_pool *po_pool_new(int n_threads);
void po_pool_free(po_pool *pool); /* accepts NULL */
int po_pool_threads(const po_pool *pool);

/* Call work(i, user) for i in 0..n-1, each exactly once, on the caller and idle workers; returns when all are done.
 * Order is not defined: results must not depend on it. Not from within work. */
void po_pool_each(po_pool *pool, size_t n, void (*work)(size_t i, void *user), void *user);

#endif
