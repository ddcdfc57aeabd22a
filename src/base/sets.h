/* Sets that grow together: who belongs with whom. SPDX-License-Identifier: Apache-2.0
 *
 * parent[i] leads towards the least number of i's set, which stands for it; at first parent[i] = i. Union by the lesser number,
 * paths halved (J. van Leeuwen, R. van der Weide 1977; R. Tarjan, J. van Leeuwen, J. ACM 31, 1984). */
#ifndef PO_BASE_SETS_H
#define PO_BASE_SETS_H

#include <stdint.h>

static inline uint32_t po_set_root(uint32_t *parent, uint32_t i)
{
    while (parent[i] != i) {
        i = parent[i] = parent[parent[i]];
    }
    return i;
}

static inline void po_set_join(uint32_t *parent, uint32_t a, uint32_t b)
{
    a = po_set_root(parent, a);
    b = po_set_root(parent, b);
    parent[a > b ? a : b] = a > b ? b : a;
}

#endif
