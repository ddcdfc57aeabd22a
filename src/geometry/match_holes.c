/* Holes of a shape that a job has filled. SPDX-License-Identifier: Apache-2.0
 *
 * Sparse fill lays an eighth and more of an area, so even one hole that is missing tells itself apart from one that is
 * there: nothing lies in that but a strand of support now and then. */
#include "geometry/match_holes.h"

#include <stdlib.h>
#include <string.h>

#define LEAST_MM2 1.0
#define FILLED_SHARE 0.1

typedef struct hole {
    size_t inside, laid;
} hole;

/* Reach all empty pixels that hang together with start (4 neighbours), and count. */
static hole walk(uint8_t *state, size_t start, const po_canvas *near, const po_canvas *job, uint32_t *queue)
{
    size_t w = (size_t)near->width, h = (size_t)near->height, n = 0;
    hole found = {0, 0};
    state[start] = 1;
    queue[n++] = (uint32_t)start;
    for (size_t k = 0; k < n; k++) {
        size_t i = queue[k], x = i % w, y = i / w;
        if (!near->px[i]) {
            found.inside++;
            found.laid += job->px[i];
        }
        size_t next[4] = {x > 0 ? i - 1 : i, x + 1 < w ? i + 1 : i, y > 0 ? i - w : i, y + 1 < h ? i + w : i};
        for (int q = 0; q < 4; q++) {
            if (!state[next[q]]) {
                state[next[q]] = 1;
                queue[n++] = (uint32_t)next[q];
            }
        }
    }
    return found;
}

bool po_match_holes(const po_canvas *shape, const po_canvas *near, const po_canvas *job, size_t *ret_holes,
                    size_t *ret_filled)
{
    size_t w = (size_t)shape->width, h = (size_t)shape->height, n = w * h;
    uint8_t *state = malloc(n + 1); /* 1: material, or walked already */
    uint32_t *queue = malloc((n + 1) * sizeof *queue);
    *ret_holes = *ret_filled = 0;
    if (!state || !queue) {
        free(state);
        free(queue);
        return false;
    }
    memcpy(state, shape->px, n);
    for (size_t i = 0; i < n; i++) { /* what is reached from the border is outside */
        bool border = i % w == 0 || i % w == w - 1 || i / w == 0 || i / w == h - 1;
        if (border && !state[i]) {
            walk(state, i, near, job, queue);
        }
    }
    size_t least = (size_t)(LEAST_MM2 / (shape->px_mm * shape->px_mm));
    for (size_t i = 0; i < n; i++) {
        if (state[i]) {
            continue;
        }
        hole found = walk(state, i, near, job, queue);
        if (found.inside >= least && found.inside > 0) {
            ++*ret_holes;
            *ret_filled += (double)found.laid > FILLED_SHARE * (double)found.inside;
        }
    }
    free(state);
    free(queue);
    return true;
}
