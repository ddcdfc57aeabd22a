/* What the verb orient and its printing share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_ORIENT_H
#define PO_CLI_ORIENT_H

#include "cli.h"
#include "proveout/pieces.h"

typedef struct orient {
    const cli_call *call;
    const po_shop *shop;
    po_arena *arena;
    const po_material *material;
    const po_recipe *recipe; /* NULL: the shop's usual one */
    po_pose_setup setup;
    bool keep;
    double keep_face[3];
    size_t item, most, pose, threads; /* 0: not given */
    bool json;
    const char *out;
} orient;

typedef struct orient_item { /* items that differ only by where they lie are one */
    size_t first;            /* of the part's items */
    size_t times;
    const char *name;
    uint32_t build_item;
    const po_mesh *mesh;
    po_mesh_facts facts;
    const po_pose *poses;
    size_t n_poses, as_is;
    po_fit *fits; /* n_poses rows of one for each machine */
} orient_item;

/* Whether a way up can be chosen: with --keep-face the one as it lies is there for comparison, unless it is the only one
 * and so keeps the face. */
static inline bool orient_can_choose(const orient *o, const orient_item *item, size_t pose)
{
    return !o->keep || item->n_poses == 1 || pose != item->as_is;
}

void orient_print_text(const orient *o, const char *path, const po_part *part, const orient_item *items, size_t n);
void orient_print_json(const orient *o, const char *path, const po_part *part, const orient_item *items, size_t n);

#endif
