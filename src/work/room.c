/* The shop's room: air with what runs and over the book's days. SPDX-License-Identifier: Apache-2.0 */
#include "work/room.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "proveout/scan.h"

enum { DAY_MINUTES = 1440, DAYS_SETTLING = 3, CLEANER_M3_H = 300 };

static const char *const kind_words[] = {"particles", "vapours", "styrene"}, *const kind_units[] = {"1/cm3", "ug/m3",
                                                                                                    "ug/m3"};

typedef struct running {
    const char *machine, *material; /* machine NULL: any */
    double n;
    po_enclosure enclosure;
} running;

const char *work_room_caution(const char *about)
{
    return strcmp(about, "air") == 0 ? "This plans and certifies nothing. Beside a machine there is more than in the "
                                       "middle of the room; no legal limit is known for the number of "
                                       "particles. UL 2904 tests machines, not rooms; NIOSH's guide for makerspaces "
                                       "(2023) says: choose materials that give off little, enclose, "
                                       "ventilate, keep distance, train. Who has asthma asks a doctor. The site's "
                                       "safety office and local codes go before anything said here."
           : strcmp(about, "power") == 0 ? "This only adds up what the shop file says. Local code and a licensed "
                                           "electrician go before it; no strips behind strips, no coiled reels, "
                                           "and nobody but a licensed person opens anything that is mains."
                                         : "A bed that looks cold may burn, and the nozzle burns at once: feel for "
                                           "heat before you touch. Thresholds are for a moment on healthy skin; "
                                           "the maker's instructions and local codes go before them.";
}

/* "petg=3,asa" */
static po_status read_running(work_context *w, const char *text, running *list, size_t *ret_n, po_err *err)
{
    char *words = po_arena_printf(w->arena, "%s", text), *rest = NULL;
    size_t n = 0;
    if (!words) {
        return po_fail(err, PO_E_NOMEM, "out of memory for what runs");
    }
    for (char *one = strtok_r(words, ",", &rest); one; one = strtok_r(NULL, ",", &rest)) {
        char *is = strchr(one, '='), *end = NULL;
        double many = is ? strtol(is + 1, &end, 10) : 1;
        if (is) {
            *is = 0;
        }
        if (n == WORK_ROOM_RUNNING_MOST || !*one || (is && (end == is + 1 || *end)) || many < 0 || many > 1000) {
            return po_fail_at(
                err, PO_E_RANGE, "running", 0, 0,
                "expected materials with how many machines print them (at most 1000), such as petg=3,asa=1");
        }
        list[n++] = (running){NULL, po_arena_text(w->arena, one), many, PO_ENCLOSURE_NONE};
    }
    *ret_n = n;
    return PO_OK;
}

static const char *house_material(const po_shop *shop, const po_machine *m)
{
    const po_material *house = po_shop_house_material(shop);
    return po_machine_takes(shop, m, house) ? house->name
           : m->n_materials                 ? shop->materials[m->materials[0]].name
                                            : house->name;
}

/* Every machine, with what is loaded now, else the house's material. */
static po_status all_running(work_context *w, running *list, size_t *ret_n, po_err *err)
{
    json_t *answer = NULL;
    po_status s = w->ledger ? work_ask(w, "machines", NULL, &answer, err) : PO_OK;
    size_t n = 0, i;
    for (size_t m = 0; s == PO_OK && m < w->shop->n_machines && n < WORK_ROOM_RUNNING_MOST; m++) {
        const po_machine *machine = &w->shop->machines[m];
        const char *material = house_material(w->shop, machine);
        const json_t *row;
        json_array_foreach(json_object_get(answer, "machines"), i, row)
        {
            const char *loaded = work_text(json_array_get(json_object_get(row, "tools"), 0), "material");
            if (strcmp(work_text(row, "machine"), machine->name) == 0 && *loaded) {
                material = po_arena_text(w->arena, loaded);
            }
        }
        list[n++] = (running){machine->name, material, 1, machine->enclosure};
    }
    json_decref(answer);
    *ret_n = n;
    return s;
}

static double emission_of(const running *r, po_air_kind kind, int which)
{
    const po_emission *e = po_emission_of(r->material);
    const double *of = which == 0 ? e->low : which == 1 ? e->typical : e->high;
    return r->n * of[kind] * po_enclosure_passes(r->enclosure, kind);
}

static double target_of(const po_house_room *room, po_air_kind kind)
{
    return kind == PO_AIR_PARTICLES ? room->particles_per_cm3
           : kind == PO_AIR_VAPOURS ? room->vapours_ug_m3
                                    : room->styrene_ug_m3;
}

/* One kind with its spread and the three questions. */
static json_t *put_kind(const po_air *air, const po_house_room *room, const running *list, size_t n, po_air_kind kind)
{
    double emission[3] = {0}, target = target_of(room, kind), machines = 0;
    for (size_t i = 0; i < n; i++) {
        machines += list[i].n;
        for (int k = 0; k < 3; k++) {
            emission[k] += emission_of(&list[i], kind, k);
        }
    }
    double each = machines > 0 ? emission[1] / machines : 0; /* of a machine like the mean of those */
    po_air aired = *air, cleaned = *air;
    aired.rate_h[kind] += 1;
    cleaned.rate_h[kind] += CLEANER_M3_H / air->volume_m3;
    bool vapour = kind != PO_AIR_PARTICLES;
    return json_pack("{s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:o, s:o, s:o, s:o}", "kind", kind_words[kind],
                     "unit", kind_units[kind], "low", po_air_steady(air, kind, emission[0]), "typical",
                     po_air_steady(air, kind, emission[1]), "high", po_air_steady(air, kind, emission[2]), "rate_per_h",
                     air->rate_h[kind], "minutes_to_95", po_air_clears(air, kind, 0.05), "minutes_to_clear",
                     po_air_clears(air, kind, 0.1), "one_more_machine", po_air_steady(air, kind, emission[1] + each),
                     "one_more_change", po_air_steady(&aired, kind, emission[1]), "one_cleaner",
                     vapour ? json_null() : json_real(po_air_steady(&cleaned, kind, emission[1])), "target",
                     target > 0 ? json_real(target) : json_null(), "machines_most",
                     target > 0 && each > 0 ? json_integer(po_air_machines(air, kind, each, target)) : json_null(),
                     "changes_needed",
                     target > 0 ? json_real(po_air_changes_for(air, kind, emission[1], target)) : json_null());
}

/* ---- the day by the book ---- */

typedef struct day {
    const work_context *w;
    double *emission; /* of each minute of the day, summed over the days; particles */
    double *machines;
    int64_t from_ms, until_ms;
    po_wall_time wall; /* of from_ms */
} day;

static bool add_run(const po_run_seen *run, void *user)
{
    day *d = user;
    int64_t begin = run->out_ms, end = run->seconds > 0 ? begin + run->seconds * 1000 : run->ended_ms;
    const po_machine *machine = po_shop_machine(d->w->shop, run->machine);
    running r = {run->machine, run->material ? run->material : po_shop_house_material(d->w->shop)->name, 1,
                 machine ? machine->enclosure : PO_ENCLOSURE_NONE};
    double each = emission_of(&r, PO_AIR_PARTICLES, 1);
    begin = begin < d->from_ms ? d->from_ms : begin;
    end = end > d->until_ms ? d->until_ms : end;
    for (
        int64_t at = begin; at < end;
        at +=
        60000) { /* by the day's minute on the wall at the beginning; a change of the clocks shifts an hour of a night */
        size_t minute = (size_t)((d->wall.minute + (at - d->from_ms) / 60000) % DAY_MINUTES);
        d->emission[minute] += each / WORK_ROOM_DAYS;
        d->machines[minute] += 1.0 / WORK_ROOM_DAYS;
    }
    return true;
}

static po_status put_day(work_context *w, const po_air *air, double target, json_t *to, po_err *err)
{
    double *emission = po_arena_zeros(w->arena, DAY_MINUTES * DAYS_SETTLING, sizeof *emission),
           *c = po_arena_zeros(w->arena, DAY_MINUTES * DAYS_SETTLING, sizeof *c);
    double *machines = po_arena_zeros(w->arena, DAY_MINUTES, sizeof *machines);
    day d = {.w = w,
             .emission = emission,
             .machines = machines,
             .until_ms = w->now_ms,
             .from_ms = w->now_ms - WORK_ROOM_DAYS * INT64_C(86400000)};
    po_air_run run;
    if (!emission || !c || !machines) {
        return po_fail(err, PO_E_NOMEM, "out of memory for a day");
    }
    if (!w->ledger || !work_wall(w, d.from_ms, &d.wall, NULL)) {
        return PO_OK; /* no book, or the shop's zone is not known here */
    }
    po_status s = po_ledger_scan_runs(w->ledger, d.from_ms - INT64_C(4) * 86400000, d.until_ms, add_run, &d, err);
    for (int k = 1; k < DAYS_SETTLING; k++) {
        memcpy(emission + (size_t)k * DAY_MINUTES, emission, DAY_MINUTES * sizeof *emission);
    }
    s = s == PO_OK
            ? po_air_simulate(air, PO_AIR_PARTICLES, emission, DAY_MINUTES * DAYS_SETTLING, 0, target, c, &run, err)
            : s;
    if (s != PO_OK) {
        return s;
    }
    const double *last = c + (size_t)(DAYS_SETTLING - 1) * DAY_MINUTES;
    json_t *hours = json_array();
    double peak = 0, mean = 0;
    size_t peak_at = 0;
    for (size_t h = 0; h < 24; h++) {
        double at = 0, many = 0;
        for (size_t m = h * 60; m < h * 60 + 60; m++) {
            at += last[m] / 60;
            many += machines[m] / 60;
            mean += last[m] / DAY_MINUTES;
            if (last[m] > peak) {
                peak = last[m];
                peak_at = m;
            }
        }
        json_array_append_new(hours, json_pack("{s:i, s:f, s:f}", "hour", (int)h, "machines", many, "particles", at));
    }
    json_object_set_new(to, "day",
                        json_pack("{s:i, s:o, s:f, s:i, s:f}", "days", (int)WORK_ROOM_DAYS, "hours", hours, "peak",
                                  peak, "peak_minute", (int)peak_at, "mean", mean));
    return PO_OK;
}

static double or_else(double asked, double else_)
{
    return isnan(asked) ? else_ : asked;
}

po_status work_room_air(work_context *w, const work_room_asked *asked, json_t **ret, po_err *err)
{
    po_house_room room = w->shop->room;
    running list[WORK_ROOM_RUNNING_MOST + 1];
    size_t n = 0;
    po_air air;
    room.area_m2 = or_else(asked->area_m2, room.area_m2);
    room.height_m = or_else(asked->height_m, room.height_m);
    room.outdoor_m3_h = or_else(asked->outdoor_m3_h, room.outdoor_m3_h);
    room.cleaner_m3_h = or_else(asked->cleaner_m3_h, room.cleaner_m3_h);
    room.settle_h = or_else(asked->settle_h, room.settle_h);
    po_status s = po_air_of(&room, &air, err);
    s = s != PO_OK       ? s
        : asked->running ? read_running(w, asked->running, list, &n, err)
                         : all_running(w, list, &n, err);
    if (s != PO_OK) {
        return s;
    }
    if (asked->more_machines > 0) {
        list[n++] = (running){NULL, po_shop_house_material(w->shop)->name, asked->more_machines, PO_ENCLOSURE_NONE};
    }
    json_t *kinds = json_array(), *what = json_array(), *sources = json_array();
    static const char *const enclosures[] = {"none", "partial", "closed", "filtered"};
    for (size_t i = 0; i < n; i++) {
        const po_emission *e = po_emission_of(list[i].material);
        json_array_append_new(what, json_pack("{s:s?, s:s, s:f, s:s, s:s}", "machine", list[i].machine, "material",
                                              list[i].material, "n", list[i].n, "enclosure",
                                              enclosures[list[i].enclosure], "rates_of", e->material));
        bool there = false;
        for (size_t k = 0; k < json_array_size(sources); k++) {
            there = there || strcmp(work_text(json_array_get(sources, k), "material"), e->material) == 0;
        }
        if (!there) {
            json_array_append_new(sources, json_pack("{s:s, s:s}", "material", e->material, "source", e->source));
        }
    }
    for (int k = 0; k < PO_AIR_KINDS; k++) {
        json_array_append_new(kinds, put_kind(&air, &room, list, n, (po_air_kind)k));
    }
    /* ASHRAE 62.1-2016, a workshop: 5 L/s for each person and 0.9 L/s for each m2 (desk handbook 9.3) */
    double least = (5.0 * room.people + 0.9 * room.area_m2) * 3.6;
    *ret = json_pack("{s:s, s:{s:f, s:o, s:f, s:f, s:f, s:i}, s:o, s:o, s:o, s:s}", "format", "proveout/room-air/1",
                     "room", "volume_m3", air.volume_m3, "outdoor_m3_h",
                     isnan(room.outdoor_m3_h) ? json_null() : json_real(room.outdoor_m3_h), "changes_per_h",
                     or_else(room.outdoor_m3_h, 0) / air.volume_m3, "cleaner_m3_h", room.cleaner_m3_h,
                     "comfort_least_m3_h", least, "people", room.people, "running", what, "kinds", kinds, "sources",
                     sources, "caution", work_room_caution("air"));
    s = *ret ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
    s = s == PO_OK && asked->day ? put_day(w, &air, room.particles_per_cm3, *ret, err) : s;
    if (s != PO_OK) {
        json_decref(*ret);
        *ret = NULL;
    }
    return s;
}
