/* A shop of two very small machines, for the targets that judge: searching must be quick. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_FUZZ_SMALL_SHOP_H
#define PO_FUZZ_SMALL_SHOP_H

#include "fuzz.h"
#include "proveout/shop.h"

static const char shop_text[] =
    "shop: {name: Quayside Workshop, time_zone: Europe/London, currency: GBP, people_at_desk: 1,\n"
    "  terms: {autumn: 2026-09-21/2026-12-18}}\n"
    "hours: {monday: ['10:00-20:00'], tuesday: [], wednesday: ['10:00-13:00'], thursday: [], friday: [], saturday: "
    "[],\n"
    "  sunday: [], closed: []}\n"
    "rules: {watch_minutes: 30, watch_first_layer: true, collect_below_bed_c: 40, allowance_m_per_run: 30,\n"
    "  allowance_m_per_term: 150, desk_may_waive_m: 10, longest_run_hours: 60, may_end_unstaffed: true,\n"
    "  overhang_limit_deg: 45, bridge_limit_mm: 12, support_gap_mm: 0.5, smallest_foothold_mm2: 25, clearance_mm: 6,\n"
    "  grades: {}}\n"
    "permissions: {starter: {}}\n"
    "materials:\n"
    "  petg: {density_g_cm3: 1.27, diameter: 1.75, nozzle_c: [225, 250], cold_below_c: 205, bed_c: [70, 85],\n"
    "    fan_percent: [20, 60], glass_c: 80, price_per_kg: 19.0, house: true}\n"
    "machines:\n"
    "  - &one\n"
    "    name: Alder\n"
    "    permission: starter\n"
    "    bed: {shape: rectangle, x: 14, y: 13, keep_out: [{x: [12, 14], y: [11, 13], below_z: 5}]}\n"
    "    height: 40\n"
    "    home: {x: 0, y: 0, z: 0}\n"
    "    nozzles: [{diameter: 0.4, hottest_c: 265, melt_mm3_s: 11}, {diameter: 0.6, hottest_c: 265, melt_mm3_s: 20}]\n"
    "    bed_hottest_c: 110\n"
    "    materials: [petg]\n"
    "    e_follows_g90: true\n"
    "    retract: {mm: 0.9, mm_s: 35, extra_mm: 0}\n"
    "    head: {ahead: 12, behind: 11, left: 8, right: 9, clears_mm: 4}\n"
    "    motion:\n"
    "      feed_mm_s: {x: 180, y: 180, z: 12, e: 60}\n"
    "      accel_mm_s2: {x: 2000, y: 1600, z: 120, e: 4000}\n"
    "      print_mm_s2: 1200\n"
    "      travel_mm_s2: 1600\n"
    "      retract_mm_s2: 2500\n"
    "      corner: {rule: step, x: 9, y: 9, z: 0.4, e: 4}\n"
    "    heat: {nozzle_c_per_s: 2.6, bed_c_per_s: 0.32, room_c: 21, bed_tau_minutes: 14, home_seconds: 24,\n"
    "      probe_seconds: 55}\n"
    "    power_w: {heating: 420, running: 160}\n"
    "  - <<: *one\n"
    "    name: Elm\n"
    "    bed: {shape: circle, diameter: 14}\n"
    "    origin: centre\n"
    "    home: {x: 0, y: 0, z: 40}\n"
    "    nozzles: [{diameter: 0.4, hottest_c: 265, melt_mm3_s: 11}]\n"
    "    e_follows_g90: false\n"
    "recipes:\n"
    "  everyday: {layer: 0.22, bead_width: 0.44, walls: 3, floors: 4, roofs: 4, fill_percent: 20, wall_mm_s: 45,\n"
    "    fill_mm_s: 65, first_layer: {height: 0.25, mm_s: 20}}\n";

static inline const po_shop *small_shop(void)
{
    static const po_shop *shop; /* read once; its arena lives as long as the program */
    static po_arena *arena;
    if (!shop) {
        arena = po_arena_new(0);
        po_shop_faults faults;
        po_err err;
        if (po_shop_read(shop_text, sizeof shop_text - 1, "built in", arena, &shop, &faults, &err) != PO_OK) {
            fprintf(stderr, "%u:%u: %s\n", err.line, err.column, err.msg);
            abort();
        }
    }
    return shop;
}

#endif
