/* The tables of keys that a shop file may hold. SPDX-License-Identifier: Apache-2.0
 *
 * Bounds are wide on purpose: they catch a slipped decimal point or a wrong unit, not an unusual machine. Defaults are
 * common practice (no published source) unless a row says otherwise. */
#include "shop/keys.h"

#include <math.h>

#include "shop/keys_rows.h"

/* ---- shop ---- */

static const char *const beyonds[] = {"refuse", "charge", "gift", NULL}; /* in the order of po_beyond */

static const po_key shop_keys[] = {
    NEED_NAME("name", po_shop, name, "the workshop's name, as slips show it"),
    MAY_OWN("time_zone", PO_OWN_ZONE, offsetof(po_shop, time_zone), "a time zone such as Europe/London", "UTC",
            "name in the tz database; all times of the file are wall-clock times there"),
    MAY_OWN("currency", PO_OWN_CURRENCY, offsetof(po_shop, currency), "three capital letters such as GBP (ISO 4217)",
            "none: prices are not shown", "code of the currency of `price_per_kg` (ISO 4217)"),
    MAY_OWN("terms", PO_OWN_TERMS, 0, "a mapping of names to first/last day, such as 2026-09-21/2026-12-18", "none",
            "periods of account for allowances; both days belong to the term"),
    MAY_COUNT("people_at_desk", po_shop, people_at_desk, 1, 100, 1,
              "people at the desk in a usual hour; twice as many watches can run at once"),
    MAY_OWN("ledger", PO_OWN_LEDGER, offsetof(po_shop, ledger), "a path such as book/quayside.db", "none",
            "file of the shop's book; a path that does not begin with / starts at the shop file's folder"),
    MAY_CHOICE(
        "beyond", po_shop_draft, beyond, beyonds, 0,
        "what happens to filament beyond allowance and waivers: no hand-out, the member pays, or the shop gives it"),
};
TABLE(po_keys_shop, "shop", shop_keys);

/* ---- hours ---- */

#define SPANS_EXPECTED "a list of spans such as [\"10:00-13:00\", \"14:00-20:00\"]"
#define PATHS_EXPECTED "a list of 1 to 16 paths such as [opening.ics]"
#define DAY(key, i)                                                                                                    \
    MAY_OWN(key, PO_OWN_SPANS, offsetof(po_shop, hours) + (i) * sizeof(po_day_hours), SPANS_EXPECTED, "nobody",        \
            "when somebody is at the desk; the end may be 24:00")
static const po_key hours_keys[] = {
    DAY("monday", 0),
    DAY("tuesday", 1),
    DAY("wednesday", 2),
    DAY("thursday", 3),
    DAY("friday", 4),
    DAY("saturday", 5),
    DAY("sunday", 6),
    MAY_OWN("closed", PO_OWN_CLOSED, 0, "a list of days or first/last days, such as [\"2026-12-24/2027-01-03\"]",
            "never", "days on which nobody is there, whatever the weekday"),
    MAY_OWN("calendars", PO_OWN_PATHS, offsetof(po_shop, calendars), PATHS_EXPECTED, "none",
            "iCalendar files of the house (docs/calendar.md): events that begin with open or closed change the hours; "
            "a path that does not "
            "begin with / starts at the shop file's folder"),
    MAY_OWN("holidays", PO_OWN_PATHS, offsetof(po_shop, holidays), PATHS_EXPECTED, "none",
            "iCalendar files of days on which the desk is closed: every event counts"),
};
TABLE(po_keys_hours, "hours", hours_keys);

/* ---- rules ---- */

#define RULE(field) rules.field
#define CAUSES_EXPECTED "a list of causes (file, machine, material, power, handling, unknown)"
static const po_key rules_keys[] = {
    MAY_NUMBER("watch_minutes", po_shop_draft, shop.RULE(watch_minutes), "min", 0, 1440, 30,
               "somebody stays at least this long from the first bead on"),
    MAY_BOOL("watch_first_layer", po_shop_draft, shop.RULE(watch_first_layer), 1,
             "and not less than the first layer takes"),
    MAY_NUMBER("collect_below_bed_c", po_shop_draft, shop.RULE(collect_below_bed_c), "C", 25, 80, 40,
               "the bed must be this cool before a part is taken off"),
    MAY_NUMBER("allowance_m_per_run", po_shop_draft, shop.RULE(allowance_m_per_run), "m", 0, 1e6, 30,
               "free filament for one run"),
    MAY_NUMBER("allowance_m_per_term", po_shop_draft, shop.RULE(allowance_m_per_term), "m", 0, 1e6, 150,
               "free filament for one term"),
    MAY_NUMBER("desk_may_waive_m", po_shop_draft, shop.RULE(desk_may_waive_m), "m", 0, 1e6, 10,
               "how much more the desk may grant; beyond that the keeper decides"),
    MAY_NUMBER("longest_run_hours", po_shop_draft, shop.RULE(longest_run_hours), "h", 0.1, 1000, 60,
               "a longer run needs somebody's leave"),
    MAY_BOOL("may_end_unstaffed", po_shop_draft, shop.RULE(may_end_unstaffed), 1,
             "a run may finish when nobody is there; the machine then waits for the next desk hour"),
    MAY_NUMBER("overhang_limit_deg", po_shop_draft, shop.RULE(overhang_limit_deg), "deg", 5, 85, 45,
               "from the vertical; beyond this a bead hangs"),
    MAY_NUMBER("bridge_limit_mm", po_shop_draft, shop.RULE(bridge_limit_mm), "mm", 0, 200, 12,
               "longest free length of a bridge that is left without remark"),
    MAY_NUMBER("support_gap_mm", po_shop_draft, shop.RULE(support_gap_mm), "mm", 0, 5, 0.5,
               "material at most this far beneath, or two layers, still carries"),
    MAY_NUMBER("smallest_foothold_mm2", po_shop_draft, shop.RULE(smallest_foothold_mm2), "mm2", 0, 1e5, 25,
               "a part with less area on the bed may come loose"),
    MAY_NUMBER("clearance_mm", po_shop_draft, shop.RULE(clearance_mm), "mm", 0, 200, 6, "between parts on one bed"),
    MAY_NUMBER("machine_cost_per_hour", po_shop_draft, shop.RULE(machine_cost_h), "currency/h", 0, 1e6, 0.6,
               "what an hour of a machine is worth when ways up are compared"),
    MAY_NUMBER("hand_cost_per_minute", po_shop_draft, shop.RULE(hand_cost_min), "currency/min", 0, 1e6, 0.2,
               "what a minute of handwork (supports taken off, steps smoothed) is worth"),
    MAY_NUMBER("clean_min_per_cm2", po_shop_draft, shop.RULE(clean_min_cm2), "min/cm2", 0, 1000, 0.5,
               "handwork to free overhangs from their supports"),
    MAY_NUMBER("smooth_min_per_cm2", po_shop_draft, shop.RULE(smooth_min_cm2), "min/cm2", 0, 1000, 0.02,
               "handwork that stair steps on sloped faces are worth"),
    MAY_NUMBER("layer_change_s", po_shop_draft, shop.RULE(layer_change_s), "s", 0, 600, 2,
               "time that each layer takes beside its beads"),
    MAY_NUMBER("support_fill_percent", po_shop_draft, shop.RULE(support_fill_percent), "%", 0, 100, 15,
               "how much of the space beneath an overhang supports fill"),
    MAY_NUMBER("weak_layers_cost", po_shop_draft, shop.RULE(weak_layers_cost), "currency", 0, 1e6, 5,
               "what it is worth that a known load does not pull layers apart"),
    MAY_OWN("harmless_words", PO_OWN_WORDS, 0, "a list of words such as [M900, G29]", "none",
            "words of a job that this shop knows to do no harm"),
    MAY_NUMBER("most_file_gb", po_shop_draft, most_file_gb, "GB (10^9 bytes)", 0.001, 1000, 10,
               "a job file that unpacks to more is refused"),
    MAY_NUMBER("most_upload_gb", po_shop_draft, most_upload_gb, "GB (10^9 bytes)", 0.001, 1000, 1,
               "a larger file can't be sent to the desk's page"),
    MAY_NUMBER("keep_files_gb", po_shop_draft, keep_files_gb, "GB (10^9 bytes)", 0.01, 100000, 20,
               "files sent to the desk's page are kept up to so much in all, those least recently used go first"),
    MAY_COUNT("keep_files_days", po_shop_draft, shop.RULE(keep_files_days), 1, 365, 7,
              "days that such a file, and the code of its slip, are kept when nobody asks for them"),
    MAY_OWN("grades", PO_OWN_GRADES, 0, "a mapping of findings to stop, ask, note or off", "none",
            "where the shop wants a finding graded otherwise; the slip says so"),
    MAY_OWN("counts_when_failed", PO_OWN_CAUSES, offsetof(po_shop, RULE(counts_when_failed)), CAUSES_EXPECTED,
            "[file, handling]", "a run that failed for one of these counts against the allowance"),
    MAY_OWN("rerun_first", PO_OWN_CAUSES, offsetof(po_shop, RULE(rerun_first)), CAUSES_EXPECTED,
            "[machine, power, material]", "after one of these the rerun goes before what waits"),
    MAY_COUNT("gap_check_days", po_shop_draft, shop.RULE(gap_check_days), 0, 3650, 0,
              "days that a gap check holds; 0: until something changes on the machine"),
    MAY_NUMBER("spool_reserve_g", po_shop_draft, shop.RULE(spool_reserve_g), "g", 0, 1000, 5,
               "filament that should be left at a spool's end"),
    MAY_NUMBER("spool_low_g", po_shop_draft, shop.RULE(spool_low_g), "g", 0, 10000, 100,
               "a spool with less is running out"),
    MAY_COUNT("shelf_days", po_shop_draft, shop.RULE(shelf_days), 1, 365, 7, "days that a part is kept on the shelf"),
    MAY_COUNT("shelf_places", po_shop_draft, shop.RULE(shelf_places), 1, 10000, 40, "places of the shelf"),
    MAY_COUNT("ticket_claim_minutes", po_shop_draft, shop.RULE(ticket_claim_minutes), 1, 1440, 15,
              "minutes to claim a machine when a waiting ticket's turn has come; then it passes on"),
    MAY_COUNT("no_shows_most", po_shop_draft, shop.RULE(no_shows_most), 0, 1000, 2,
              "tickets that a member may let pass within `no_show_days`"),
    MAY_COUNT("no_show_days", po_shop_draft, shop.RULE(no_show_days), 1, 3650, 30,
              "days that a ticket let pass is remembered"),
    MAY_NUMBER("plan_late_points_h", po_shop_draft, shop.RULE(plan_late_points_h), "points/h", 0, 1000, 10,
               "what it weighs in a plan that a part is off an hour after its due time"),
    MAY_NUMBER("plan_wait_points_h", po_shop_draft, shop.RULE(plan_wait_points_h), "points/h", 0, 1000, 1,
               "what it weighs that a run waits for an hour"),
    MAY_NUMBER("plan_full_points_h", po_shop_draft, shop.RULE(plan_full_points_h), "points/h", 0, 1000, 0.25,
               "what it weighs that a finished part stands on its machine for an hour; no more than waiting"),
    MAY_NUMBER("plan_change_points", po_shop_draft, shop.RULE(plan_change_points), "points", 0, 1000, 1,
               "what it weighs that spools or nozzles are changed before a run"),
    MAY_NUMBER("plan_moved_points_h", po_shop_draft, shop.RULE(plan_moved_points_h), "points/h", 0, 1000, 20,
               "what it weighs that a run starts an hour after the start that was promised"),
    MAY_NUMBER("plan_slack_percent", po_shop_draft, shop.RULE(plan_slack_percent), "%", 50, 99, 80,
               "share of runs that are off by the time at which the plan lets the next begin"),
    MAY_COUNT("spool_change_minutes", po_shop_draft, shop.RULE(spool_change_minutes), 0, 600, 10,
              "minutes of somebody at the desk to change what is loaded"),
    MAY_COUNT("nozzle_change_minutes", po_shop_draft, shop.RULE(nozzle_change_minutes), 0, 600, 30,
              "minutes of somebody at the desk to change a nozzle"),
    MAY_COUNT("old_job_days", po_shop_draft, shop.RULE(old_job_days), 1, 3650, 30,
              "days after which the proof of a job on a stick is called old"),
    MAY_NUMBER("photo_most_mb", po_shop_draft, shop.RULE(photo_most_mb), "MB (10^6 bytes)", 0.01, 1000, 10,
               "a larger photo is refused"),
    MAY_NUMBER("attachments_most_gb", po_shop_draft, shop.RULE(attachments_most_gb), "GB (10^9 bytes)", 0.001, 100000,
               20, "room for job files and photos kept beside the book, all together"),
};
TABLE(po_keys_rules, "rules", rules_keys);

/* ---- outbox ---- */

#define MESSAGE(key, kind, preset_, says_)                                                                             \
    MAY_OWN(key, PO_OWN_MESSAGE, (kind) * sizeof(const char *), "a text of 1 to 1000 characters", preset_, says_)
static const po_key message_keys[] = {
    MESSAGE("failed", PO_TEXT_FAILED,
            "Run {run} on {machine} stopped before its end. Please come to the desk; a rerun can be arranged.",
            "a run failed or was stopped"),
    MESSAGE("done", PO_TEXT_DONE,
            "Run {run} on {machine} is done. The bed has to cool first; the desk takes the part off.",
            "a run came to its end"),
    MESSAGE("collect", PO_TEXT_COLLECT,
            "The part of run {run} waits on shelf place {place}. Please collect it by {until}.",
            "a part was put on the shelf"),
    MESSAGE(
        "hands", PO_TEXT_HANDS,
        "Run {run} on {machine} needs hands at about {time}. Please come to the desk first: nozzle and bed are hot.",
        "somebody has to be at the machine, to change the filament for example"),
    MESSAGE("ticket", PO_TEXT_TICKET,
            "Ticket {number}: it is your turn on {machine}. Please come to the desk by {until}.",
            "a waiting ticket's turn has come"),
};
static TABLE(message_table, "outbox.texts", message_keys);

static const po_key outbox_keys[] = {
    MAY_OWN("command", PO_OWN_COMMAND, offsetof(po_outbox, command), "a command of 1 to 1000 characters on one line",
            "none", "program that sends a message, and its words parted by blanks; no shell reads it"),
    MAY_BOOL("on", po_outbox, on, 0, "whether messages are sent; it needs a `command`"),
    MAY_MAP("texts", po_outbox, texts, message_table, "as below", "what members hear"),
};
static TABLE(outbox_table, "outbox", outbox_keys);

/* ---- permissions ---- */

static const po_key permission_keys[] = {
    MAY_OWN("implies", PO_OWN_IMPLIES, 0, "a list of permissions of this file", "none",
            "permissions that it brings along"),
    MAY_OWN("lapses", PO_OWN_LAPSES, 0, "term, never or {months: N}", "never",
            "when it ends by itself: with the term in which it was given, never, or after so many months"),
    MAY_COUNT("disuse_months", po_permission, disuse_months, 0, 120, 0,
              "it lapses too where its holder has taken out no machine that needs it for so long; 0: not for that"),
};
TABLE(po_keys_permission, "permissions.NAME", permission_keys);

static const po_key lapses_keys[] = {
    NEED_COUNT("months", po_permission, lapses_months, 1, 120, "from the day on which it was given"),
};
TABLE(po_keys_lapses, "permissions.NAME.lapses", lapses_keys);

/* ---- materials ---- */

static const po_key material_keys[] = {
    NEED_NUMBER("density_g_cm3", po_material, density_g_cm3, "g/cm3", 0.2, 12, "of the solid filament"),
    MAY_NUMBER("diameter", po_material, diameter_mm, "mm", 0.5, 5, 1.75, "of the filament"),
    NEED_RANGE("nozzle_c", po_material, nozzle_c, "C", 0, 600, "nozzle temperatures that suit it"),
    ELSE_NUMBER("cold_below_c", po_material, cold_below_c, "C", 0, 600, "20 below the low end of `nozzle_c`",
                "filament may not be pushed with the nozzle commanded below this"),
    NEED_RANGE("bed_c", po_material, bed_c, "C", 0, 300, "bed temperatures that suit it"),
    MAY_RANGE("fan_percent", po_material, fan_percent, "%", 0, 100, 0, 100, "cooling that suits it"),
    NEED_NUMBER("glass_c", po_material, glass_c, "C", -150, 400, "glass transition"),
    MAY_NUMBER("shrink_percent", po_material, shrink_percent, "%", 0, 10, 0,
               "linear shrinkage on cooling; 0: not given, nothing is said about lifting corners"),
    MAY_NUMBER("price_per_kg", po_material, price_per_kg, "currency/kg", 0, 1e6, 0, "0: not given"),
    MAY_BOOL("house", po_material, house, 0, "the material that the shop gives; at most one"),
    MAY_NUMBER(
        "wear", po_material, wear, NULL, 1, 100, 1,
        "how much more a metre of it wears a nozzle than a plain material does: fibres and metal powder 5 to 20"),
};
TABLE(po_keys_material, "materials.NAME", material_keys);

/* ---- machines ---- */

static const char *const shapes[] = {"rectangle", "circle", NULL};
static const char *const origins[] = {"corner", "centre", NULL};
static const char *const corners[] = {"step", "deviation", NULL};

static const po_key keep_out_keys[] = {
    NEED_RANGE("x", po_keep_out, x, "mm", -5000, 5000, "machine coordinates, inside the bed"),
    NEED_RANGE("y", po_keep_out, y, "mm", -5000, 5000, "machine coordinates, inside the bed"),
    MAY_NUMBER("below_z", po_keep_out, below_z_mm, "mm", 0, 5000, 5000, "the nozzle may pass above this height"),
};
TABLE(po_keys_keep_out, "machines[].bed.keep_out[]", keep_out_keys);

static const po_key bed_keys[] = {
    NEED_CHOICE("shape", po_machine_draft, shape, shapes, "of what can be printed on"),
    ELSE_NUMBER("x", po_machine_draft, bed_x, "mm", 1, 5000, "required for a rectangle", "width"),
    ELSE_NUMBER("y", po_machine_draft, bed_y, "mm", 1, 5000, "required for a rectangle", "depth"),
    ELSE_NUMBER("diameter", po_machine_draft, bed_diameter, "mm", 1, 5000, "required for a circle", "of a round bed"),
    MAY_OWN("keep_out", PO_OWN_KEEP_OUTS, 0, "a list of mappings with x, y and below_z", "none",
            "places on the bed where the nozzle must not be"),
};
TABLE(po_keys_bed, "machines[].bed", bed_keys);

static const po_key reach_keys[] = {
    ELSE_RANGE("x", po_machine, reach[0], "mm", -5000, 5000, "the bed", "where the nozzle can go"),
    ELSE_RANGE("y", po_machine, reach[1], "mm", -5000, 5000, "the bed", "where the nozzle can go"),
    ELSE_RANGE("z", po_machine, reach[2], "mm", -5000, 5000, "0 to `height`", "where the nozzle can go"),
};
static TABLE(reach_table, "machines[].reach", reach_keys);

static const po_key home_keys[] = {
    MAY_NUMBER("x", po_machine, home_mm[0], "mm", -5000, 5000, 0,
               "where the nozzle stands after homing, inside `reach`"),
    MAY_NUMBER("y", po_machine, home_mm[1], "mm", -5000, 5000, 0, "the same"),
    MAY_NUMBER("z", po_machine, home_mm[2], "mm", -5000, 5000, 0, "the same"),
};
static TABLE(home_table, "machines[].home", home_keys);

static const po_key nozzle_keys[] = {
    NEED_NUMBER("diameter", po_nozzle, diameter_mm, "mm", 0.05, 5, "of the opening"),
    NEED_NUMBER("hottest_c", po_nozzle, hottest_c, "C", 100, 600, "what the hot end is rated for"),
    NEED_NUMBER("melt_mm3_s", po_nozzle, melt_mm3_s, "mm3/s", 0.1, 500,
                "flow that it can melt for as long as one likes"),
};
TABLE(po_keys_nozzle, "machines[].nozzles[]", nozzle_keys);

static const po_key retract_keys[] = {
    MAY_NUMBER("mm", po_machine, retract_mm, "mm", 0, 50, 1, "what G10 pulls back"),
    MAY_NUMBER("mm_s", po_machine, retract_mm_s, "mm/s", 0.1, 500, 35, "at this speed"),
    MAY_NUMBER("extra_mm", po_machine, retract_extra_mm, "mm", -10, 10, 0, "what G11 pushes beyond that"),
    MAY_NUMBER("most_mm", po_machine, retract_most_mm, "mm", 0.1, 100, 8,
               "longest retraction that the hot end bears; farther, soft filament may jam"),
};
static TABLE(retract_table, "machines[].retract", retract_keys);

static const po_key head_keys[] = {
    NEED_NUMBER("ahead", po_head, ahead_mm, "mm", 0, 1000, "from the nozzle towards +y, seen from above"),
    NEED_NUMBER("behind", po_head, behind_mm, "mm", 0, 1000, "towards -y"),
    NEED_NUMBER("left", po_head, left_mm, "mm", 0, 1000, "towards -x"),
    NEED_NUMBER("right", po_head, right_mm, "mm", 0, 1000, "towards +x"),
    NEED_NUMBER("clears_mm", po_head, clears_mm, "mm", 0, 1000,
                "the outline passes over what stands less than this above the nozzle's tip"),
};
static TABLE(head_table, "machines[].head", head_keys);

static const po_key feed_keys[] = {
    NEED_NUMBER("x", po_limits, feed_mm_s[PO_X], "mm/s", 0.1, 5000, "most that the axis may do"),
    NEED_NUMBER("y", po_limits, feed_mm_s[PO_Y], "mm/s", 0.1, 5000, "the same"),
    NEED_NUMBER("z", po_limits, feed_mm_s[PO_Z], "mm/s", 0.1, 5000, "the same"),
    NEED_NUMBER("e", po_limits, feed_mm_s[PO_E], "mm/s", 0.1, 5000, "the same, of the filament"),
};
static TABLE(feed_table, "machines[].motion.feed_mm_s", feed_keys);

static const po_key accel_keys[] = {
    NEED_NUMBER("x", po_limits, accel_mm_s2[PO_X], "mm/s2", 1, 1e6, "most that the axis may do"),
    NEED_NUMBER("y", po_limits, accel_mm_s2[PO_Y], "mm/s2", 1, 1e6, "the same"),
    NEED_NUMBER("z", po_limits, accel_mm_s2[PO_Z], "mm/s2", 1, 1e6, "the same"),
    NEED_NUMBER("e", po_limits, accel_mm_s2[PO_E], "mm/s2", 1, 1e6, "the same, of the filament"),
};
static TABLE(accel_table, "machines[].motion.accel_mm_s2", accel_keys);

static const po_key corner_keys[] = {
    NEED_CHOICE("rule", po_machine_draft, corner, corners, "how the machine takes corners"),
    ELSE_NUMBER("x", po_machine_draft, machine.limits.step_mm_s[PO_X], "mm/s", 0.01, 1000, "required for step",
                "what the axis may jump at a corner"),
    ELSE_NUMBER("y", po_machine_draft, machine.limits.step_mm_s[PO_Y], "mm/s", 0.01, 1000, "required for step",
                "the same"),
    ELSE_NUMBER("z", po_machine_draft, machine.limits.step_mm_s[PO_Z], "mm/s", 0.01, 1000, "required for step",
                "the same"),
    ELSE_NUMBER("e", po_machine_draft, machine.limits.step_mm_s[PO_E], "mm/s", 0.01, 1000, "required for step",
                "the same, of the filament"),
    ELSE_NUMBER("mm", po_machine_draft, machine.limits.deviation_mm, "mm", 0.0001, 5, "required for deviation",
                "how far the path may cut a corner"),
};
static TABLE(corner_table, "machines[].motion.corner", corner_keys);

static const po_key motion_keys[] = {
    NEED_MAP("feed_mm_s", po_machine_draft, machine.limits, feed_table, "speeds"),
    NEED_MAP("accel_mm_s2", po_machine_draft, machine.limits, accel_table, "accelerations"),
    NEED_NUMBER("print_mm_s2", po_machine_draft, machine.limits.print_mm_s2, "mm/s2", 1, 1e6, "acceleration of beads"),
    ELSE_NUMBER("travel_mm_s2", po_machine_draft, machine.limits.travel_mm_s2, "mm/s2", 1, 1e6, "as `print_mm_s2`",
                "acceleration of travels"),
    ELSE_NUMBER("retract_mm_s2", po_machine_draft, machine.limits.retract_mm_s2, "mm/s2", 1, 1e6, "as `print_mm_s2`",
                "acceleration of the filament alone"),
    {.name = "corner",
     .kind = PO_KEY_MAP,
     .required = true,
     .offset = 0,
     .inside = &corner_table,
     .says = "corner speeds"},
};
static TABLE(motion_table, "machines[].motion", motion_keys);

static const po_key heat_keys[] = {
    MAY_NUMBER("nozzle_c_per_s", po_heat, nozzle_c_per_s, "C/s", 0.01, 100, 2.5, "how fast the nozzle warms"),
    MAY_NUMBER("bed_c_per_s", po_heat, bed_c_per_s, "C/s", 0.001, 50, 0.3, "how fast the bed warms"),
    MAY_NUMBER("room_c", po_heat, room_c, "C", -10, 50, 21, "what everything starts at"),
    MAY_NUMBER("bed_tau_minutes", po_heat, bed_tau_minutes, "min", 0.1, 600, 15,
               "time constant of the bed's cooling: after it 63 % of the difference to the room is gone"),
    MAY_NUMBER("home_seconds", po_heat, home_seconds, "s", 0, 3600, 25, "homing all axes"),
    MAY_NUMBER("probe_seconds", po_heat, probe_seconds, "s", 0, 3600, 0,
               "probing the bed; 0: the machine has no probe"),
};
static TABLE(heat_table, "machines[].heat", heat_keys);

static const po_key power_keys[] = {
    MAY_NUMBER("heating", po_machine, heating_w, "W", 0, 20000, 0, "while it warms; 0: not given"),
    MAY_NUMBER("running", po_machine, running_w, "W", 0, 20000, 0, "while it prints; 0: not given"),
};
static TABLE(power_table, "machines[].power_w", power_keys);

static const po_key stick_keys[] = {
    MAY_OWN("label", PO_OWN_STICK_LABEL, offsetof(po_machine, stick_label), "a name of 1 to 60 characters", "none",
            "what is written on it; unlike every other stick's, capitals or not; no comma"),
    MAY_OWN("mount", PO_OWN_STICK_MOUNT, offsetof(po_machine, stick_mount), "a folder such as /media/a1", "not known",
            "where the desk's computer shows it; begins with /"),
};
static TABLE(stick_table, "machines[].stick", stick_keys);

static const po_key panel_keys[] = {
    MAY_COUNT("columns", po_machine, panel_columns, 4, 200, 20, "characters of a file name that it can show"),
    MAY_BOOL("ascii", po_machine, panel_ascii, 1, "it shows no letters beyond ASCII"),
};
static TABLE(panel_table, "machines[].panel", panel_keys);

static const po_key machine_keys[] = {
    NEED_NAME("name", po_machine_draft, machine.name, "unlike every other machine's, capitals or not; no comma"),
    MAY_OWN("permission", PO_OWN_PERMISSION_NAME, 0, "a permission of this file", "anybody may use it",
            "what a member must hold"),
    {.name = "bed",
     .kind = PO_KEY_MAP,
     .required = true,
     .offset = 0,
     .inside = &po_keys_bed,
     .says = "what is printed on"},
    MAY_CHOICE("origin", po_machine_draft, origin, origins, 0,
               "where x = y = 0 is: the bed's front left corner (of its bounding square, when round) or its centre"),
    NEED_NUMBER("height", po_machine_draft, machine.height_mm, "mm", 1, 5000, "highest bead"),
    MAY_MAP("reach", po_machine_draft, machine, reach_table, "bed and height", "where the nozzle can go"),
    MAY_MAP("home", po_machine_draft, machine, home_table, "0, 0, 0", "where the nozzle stands after homing"),
    NEED_OWN("nozzles", PO_OWN_NOZZLES, 0, "a list of 1 to 8 mappings with diameter, hottest_c and melt_mm3_s",
             "in the order of the tools T0, T1 ..."),
    NEED_NUMBER("bed_hottest_c", po_machine_draft, machine.bed_hottest_c, "C", 0, 300, "what the bed is rated for"),
    NEED_OWN("materials", PO_OWN_MATERIAL_NAMES, 0, "a list of materials of this file, at least one",
             "what may be printed on it"),
    MAY_BOOL("e_follows_g90", po_machine_draft, machine.e_follows_g90, 1, "G90 and G91 set the filament axis too"),
    MAY_BOOL("switches_itself_off", po_machine_draft, machine.switches_itself_off, 0,
             "all heat goes off by itself at the end of a job"),
    MAY_MAP("retract", po_machine_draft, machine, retract_table, "as below", "what G10 and G11 do"),
    MAY_MAP("head", po_machine_draft, machine.head, head_table,
            "not known: parts finished one after another are never clear", "outline of what moves beside the nozzle"),
    {.name = "motion",
     .kind = PO_KEY_MAP,
     .required = true,
     .offset = 0,
     .inside = &motion_table,
     .says = "what motion the machine allows"},
    MAY_MAP("heat", po_machine_draft, machine.heat, heat_table, "as below", "how it warms, cools, homes and probes"),
    MAY_MAP("power_w", po_machine_draft, machine, power_table, "not given", "electric power"),
    MAY_MAP("stick", po_machine_draft, machine, stick_table, "none", "the numbered USB stick that belongs to it"),
    MAY_CHOICE("enclosure", po_machine_draft, enclosure, po_enclosures, 0,
               "none, partial (sides without a lid, or its own fans blow out), closed, or filtered (closed, with a "
               "filter for particles and vapours)"),
    MAY_MAP("panel", po_machine_draft, machine, panel_table, "as below",
            "what its small display can show of a file name"),
};
TABLE(po_keys_machine, "machines[]", machine_keys);

/* ---- recipes ---- */

static const po_key first_layer_keys[] = {
    ELSE_NUMBER("height", po_recipe, first_layer_mm, "mm", 0.01, 5, "as `layer`", "of the first layer"),
    ELSE_NUMBER("mm_s", po_recipe, first_layer_mm_s, "mm/s", 0.1, 2000, "half of `wall_mm_s`", "its speed"),
};
static TABLE(first_layer_table, "recipes.NAME.first_layer", first_layer_keys);

static const po_key recipe_keys[] = {
    NEED_NUMBER("layer", po_recipe, layer_mm, "mm", 0.01, 5, "height of a layer"),
    NEED_NUMBER("bead_width", po_recipe, bead_width_mm, "mm", 0.05, 10, "not less than `layer`"),
    NEED_COUNT("walls", po_recipe, walls, 0, 100, "loops"),
    NEED_COUNT("floors", po_recipe, floors, 0, 1000, "solid layers at the bottom"),
    NEED_COUNT("roofs", po_recipe, roofs, 0, 1000, "solid layers at the top"),
    NEED_NUMBER("fill_percent", po_recipe, fill_percent, "%", 0, 100, "share of the inside that is filled"),
    NEED_NUMBER("wall_mm_s", po_recipe, wall_mm_s, "mm/s", 0.1, 2000, "speed of walls"),
    NEED_NUMBER("fill_mm_s", po_recipe, fill_mm_s, "mm/s", 0.1, 2000, "speed of fill"),
    MAY_MAP("first_layer", po_recipe, name, first_layer_table, "as below", "where it differs"),
};
TABLE(po_keys_recipe, "recipes.NAME", recipe_keys);

/* ---- the file ---- */

static const po_key file_keys[] = {
    NEED_MAP("shop", po_shop_draft, shop, po_keys_shop, "the workshop"),
    NEED_MAP("hours", po_shop_draft, shop, po_keys_hours, "when somebody is at the desk"),
    MAY_MAP("rules", po_shop_draft, shop, po_keys_rules, "as below", "the shop's rules"),
    MAY_MAP("outbox", po_shop_draft, shop.outbox, outbox_table, "off", "what members hear from the desk"),
    MAY_OWN("permissions", PO_OWN_PERMISSIONS, 0, "a mapping of names", "none", "what training grants"),
    NEED_OWN("materials", PO_OWN_MATERIALS, 0, "a mapping of names, at least one", "filaments, by name"),
    NEED_OWN("machines", PO_OWN_MACHINES, 0, "a list of mappings, at least one", "printers"),
    MAY_OWN("recipes", PO_OWN_RECIPES, 0, "a mapping of names", "none", "the house's ways to print, by name"),
    MAY_OWN("care", PO_OWN_TASKS, 0, "a mapping of names", "none",
            "tasks of care by name, which the desk does at the machines"),
    MAY_MAP("room", po_shop_draft, shop.room, po_keys_room, "not known", "the room in which the machines stand"),
    MAY_OWN("circuits", PO_OWN_CIRCUITS, 0, "a mapping of names", "none",
            "circuits of the mains that feed the machines"),
    MAY_MAP("unattended", po_shop_draft, shop.unattended, po_keys_unattended, "nothing is asked",
            "what must hold for a run that nobody is there to see"),
    MAY_MAP("training", po_shop_draft, shop, po_keys_training, "none", "where the studies are"),
};
TABLE(po_keys_file, "(the file)", file_keys);

const po_key_table *const *po_key_tables(size_t *ret_n)
{
    static const po_key_table *const tables[] = {
        &po_keys_file,       &po_keys_shop,     &po_keys_hours,     &po_keys_rules,   &outbox_table, &message_table,
        &po_keys_permission, &po_keys_lapses,   &po_keys_material,  &po_keys_machine, &po_keys_bed,  &po_keys_keep_out,
        &reach_table,        &home_table,       &po_keys_nozzle,    &retract_table,   &head_table,   &motion_table,
        &feed_table,         &accel_table,      &corner_table,      &heat_table,      &power_table,  &stick_table,
        &panel_table,        &po_keys_recipe,   &first_layer_table, &po_keys_task,    &po_keys_room, &po_keys_circuit,
        &po_keys_unattended, &po_keys_training,
    };
    *ret_n = COUNT_OF(tables);
    return tables;
}
