/* A pose in words. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "part/pose_candidates.h"

static const double MUCH_ACROSS = 0.7, LITTLE_ACROSS = 0.3; /* of the load */

static const double VERY_SLENDER_DEG = 7.125; /* 8 times as high as its base is wide: pose_price.c */

static const char *rests(const po_pose *pose, double largest_mm2, po_arena *arena)
{
    if (!pose->stands) {
        return pose->foothold_mm2 < 1 ? "rests on an edge or a point and has to be propped"
                                      : "would tip over and has to be propped";
    }
    const char *feet = pose->footholds > 1 ? po_arena_printf(arena, "stands on %d faces", pose->footholds) : "";
    if (!feet) {
        return NULL;
    }
    if (pose->footholds > 1) {
        return feet;
    }
    if (!pose->brim && pose->foothold_mm2 >= 0.98 * largest_mm2) {
        return "lies on its largest flat face";
    }
    return po_arena_printf(arena, "stands on %s%.*f mm2", pose->brim ? "only " : "a face of ",
                           pose->foothold_mm2 < 10 ? 1 : 0, pose->foothold_mm2);
}

static const char *hangs(const po_pose *pose, po_arena *arena)
{
    if (pose->overhang_open_mm2 > 1) {
        return po_arena_printf(arena, "%.*f cm2 to support and clean", pose->overhang_open_mm2 < 1000 ? 1 : 0,
                               fmax(pose->overhang_open_mm2 / 100, 0.1));
    }
    if (pose->longest_bridge_mm >= 1) {
        return po_arena_printf(arena, "nothing to support, a bridge of %.1f mm", pose->longest_bridge_mm);
    }
    return "nothing to support";
}

const char *po_pose_why(const po_pose *pose, double largest_mm2, const po_pose_setup *setup, po_arena *arena)
{
    const char *where = rests(pose, largest_mm2, arena), *what = hangs(pose, arena);
    const char *brim = !pose->stands                      ? ""
                       : pose->tip_deg < VERY_SLENDER_DEG ? "; wants a brim and a prop"
                       : pose->brim                       ? "; wants a brim"
                                                          : "";
    const char *load = "";
    if (setup->load_known && isfinite(pose->across_layers)) {
        load = pose->across_layers >= MUCH_ACROSS     ? "; the load pulls its layers apart"
               : pose->across_layers <= LITTLE_ACROSS ? "; the load runs along its layers"
                                                      : "; the load runs slantwise through its layers";
    }
    return where && what ? po_arena_printf(arena, "%s; %s; %.4g mm high%s%s", where, what, pose->size_mm[2], brim, load)
                         : NULL;
}
