/* What each fuzz target is: one function over bytes that checks promises. SPDX-License-Identifier: Apache-2.0
 * libFuzzer calls it with inputs of its own making, replay.c with the kept ones. */
#ifndef PO_FUZZ_H
#define PO_FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n); /* the name is libFuzzer's; always 0 */

/* A broken promise: said and fatal, in every kind of build. */
#define PROMISE(what)                                                                                                  \
    do {                                                                                                               \
        if (!(what)) {                                                                                                 \
            fprintf(stderr, "%s:%d: broken promise: %s\n", __FILE__, __LINE__, #what);                                 \
            abort();                                                                                                   \
        }                                                                                                              \
    } while (0)

#endif
