/* Numbers drawn from a seed: the same on every machine. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_RANDOM_H
#define PO_BASE_RANDOM_H

#include <stdint.h>

/* The next of 64 bits; the seed goes on. splitmix64: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators",
 * OOPSLA 2014. Not for secrets. */
static inline uint64_t po_random_next(uint64_t *seed)
{
    uint64_t z = *seed += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

#endif
