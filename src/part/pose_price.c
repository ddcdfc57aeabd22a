/* What a way up costs, and the turn that brings it about. SPDX-License-Identifier: Apache-2.0
 *
 * The price counts only what differs from pose to pose: layers, supports, brims, props, handwork, steps and strength.
 * What the part itself takes is nearly the same in every pose and is left out. All rates come from the shop file;
 * the constants below are common practice, no published source. docs/poses.md. */
#include <math.h>
#include <string.h>

#include "part/pose.h"

static const double DEG = 57.295779513082321;
static const double BRIM_MM = 6;              /* width; handbook 5: 5 to 8 mm */
static const double SUPPORT_HAND_MIN = 1;     /* to get at supports at all */
static const double BRIM_HAND_MIN = 2;        /* to cut a brim off */
static const double LOW_FOOTHOLD_SHARE = 0.1; /* of the footprint; handbook 5, "Bed contact" */
static const double LOW_FOOTHOLD_MM2 = 100;   /* under a part at least TALL_MM high; same place */
static const double TALL_MM = 50;
static const double SLENDER = 5;             /* height to least base; handbook 5, "Slenderness" */
static const double VERY_SLENDER = 8;        /* same place: not without brim or brace */
static const double PROPS_HAND_MIN = 5;      /* to set up, watch and take off what keeps it from falling */
static const double FLOW_ON_THE_WHOLE = 0.7; /* of the speed that a recipe names: corners, travel, retraction */

void po_pose_setup_for(const po_shop *shop, const po_material *material, const po_recipe *recipe, po_pose_setup *ret)
{
    static const po_recipe plain = {.layer_mm = 0.2, .bead_width_mm = 0.45, .wall_mm_s = 45, .first_layer_mm = 0.2};
    const po_rules *rules = &shop->rules;
    material = material ? material : po_shop_house_material(shop);
    recipe = recipe ? recipe : po_shop_recipe(shop, "everyday");
    recipe = recipe ? recipe : shop->n_recipes ? &shop->recipes[shop->n_recipes / 2] : &plain;
    *ret = (po_pose_setup){
        .overhang_limit_deg = rules->overhang_limit_deg,
        .bridge_limit_mm = rules->bridge_limit_mm,
        .support_gap_mm = rules->support_gap_mm,
        .layer_mm = recipe->layer_mm,
        .first_layer_mm = recipe->first_layer_mm,
        .bead_mm = recipe->bead_width_mm,
        .machine_cost_h = rules->machine_cost_h,
        .hand_cost_min = rules->hand_cost_min,
        .clean_min_cm2 = rules->clean_min_cm2,
        .smooth_min_cm2 = rules->smooth_min_cm2,
        .layer_change_s = rules->layer_change_s,
        .support_fill = rules->support_fill_percent / 100,
        .weak_layers_cost = rules->weak_layers_cost,
        .material_cost_mm3 = material->price_per_kg * material->density_g_cm3 * 1e-6,
        .rough_flow_mm3_s = recipe->layer_mm * recipe->bead_width_mm * recipe->wall_mm_s * FLOW_ON_THE_WHOLE,
    };
}

void po_pose_turn(const double up[3], double ret_turn[9])
{
    double length = sqrt(up[0] * up[0] + up[1] * up[1] + up[2] * up[2]);
    double u[3] = {up[0] / length, up[1] / length, up[2] / length};
    for (int k = 0; k < 3; k++) { /* along an axis but for rounding: along it */
        if (fabs(u[(k + 1) % 3]) < 1e-9 && fabs(u[(k + 2) % 3]) < 1e-9) {
            double sign = u[k] < 0 ? -1 : 1;
            memset(u, 0, sizeof u);
            u[k] = sign;
        }
    }
    /* Rodrigues' formula about u x z: R = c I + [v]x + v v' / (1 + c), v = u x z = (u1, -u0, 0), c = u2; written for row
     * vectors. Straight down there is no such axis: half a turn about x. */
    double c = u[2], x = u[0], y = u[1];
    if (c < 0 && x == 0 && y == 0) {
        memcpy(ret_turn, (double[9]){1, 0, 0, 0, -1, 0, 0, 0, -1}, 9 * sizeof(double));
        return;
    }
    /* near straight down 1 / (1 + c) would lose digits: (1 - c) / (x^2 + y^2) is the same number */
    double k = c < 0 ? (1 - c) / (x * x + y * y) : 1 / (1 + c);
    double turn[9] = {c + k * y * y, -k * x * y, x, -k * x * y, c + k * x * x, y, -x, -y, c};
    for (int i = 0; i < 9; i++) {
        ret_turn[i] = turn[i] == 0 ? 0 : turn[i]; /* no minus zero */
    }
}

int po_pose_layers(double height_mm, const po_pose_setup *setup)
{
    double first = setup->first_layer_mm > 0 ? setup->first_layer_mm : setup->layer_mm;
    if (!(height_mm > 0)) {
        return 0;
    }
    /* a layer is laid where the part reaches its middle */
    double more = setup->layer_mm > 0 ? floor((height_mm - first) / setup->layer_mm + 0.5 + 1e-9) : 0;
    return 1 + (int)fmin(fmax(more, 0), 1e8);
}

double po_pose_across(const po_pose_setup *setup, const double turn[9])
{
    const double *f = setup->load;
    double length = sqrt(f[0] * f[0] + f[1] * f[1] + f[2] * f[2]);
    bool known = setup->load_known && length > 0 && isfinite(length);
    return known ? fmin(fabs(f[0] * turn[2] + f[1] * turn[5] + f[2] * turn[8]) / length, 1) : NAN;
}

static double per_minute(double mm3, const po_pose_setup *setup)
{
    return setup->rough_flow_mm3_s > 0 ? mm3 / setup->rough_flow_mm3_s / 60 : 0;
}

void po_pose_price(const po_pose_setup *setup, po_pose *pose)
{
    const double *size = pose->size_mm;
    double footprint = size[0] * size[1];
    double support = fmax(pose->support_open_mm3, 0), open = fmax(pose->overhang_open_mm2, 0);
    /* tan of the tip angle is the least distance to the edge of the base over the height of the centre of mass, about
     * half the height: a part that is n times as high as its base is wide tips at atan(1 / n) */
    const bool props = !pose->stands || pose->tip_deg < atan(1 / VERY_SLENDER) * DEG;
    if (props) {
        /* a bed of supports under half the footprint, up to half the height, that has to come off a quarter of it */
        support += footprint / 2 * size[2] / 4;
        open += footprint / 4;
    }
    pose->brim = pose->foothold_mm2 < LOW_FOOTHOLD_SHARE * footprint ||
                 (pose->foothold_mm2 < LOW_FOOTHOLD_MM2 && size[2] >= TALL_MM) ||
                 pose->tip_deg < atan(1 / SLENDER) * DEG;
    double first = setup->first_layer_mm > 0 ? setup->first_layer_mm : setup->layer_mm;
    /* around a round foothold of that area: a fair guess at any */
    double brim = pose->brim ? (2 * sqrt(3.14159265358979324 * pose->foothold_mm2) * BRIM_MM +
                                3.14159265358979324 * BRIM_MM * BRIM_MM) *
                                   first
                             : 0;
    double filament = support * setup->support_fill + brim;
    pose->minutes_machine = pose->layers * setup->layer_change_s / 60 + per_minute(filament, setup);
    /* supports that are there for less than a square millimetre are none */
    pose->minutes_hand = open / 100 * setup->clean_min_cm2 + pose->steps_mm2 / 100 * setup->smooth_min_cm2 +
                         (open > 1 ? SUPPORT_HAND_MIN : 0) + (props ? PROPS_HAND_MIN : 0) +
                         (pose->brim ? BRIM_HAND_MIN : 0);
    pose->cost = pose->minutes_machine / 60 * setup->machine_cost_h + pose->minutes_hand * setup->hand_cost_min +
                 filament * setup->material_cost_mm3;
    if (setup->load_known && pose->across_layers > 0) {
        pose->cost += pose->across_layers * setup->weak_layers_cost;
    }
}
