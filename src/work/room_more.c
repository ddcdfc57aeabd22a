/* The shop's circuits, and when a bed is cool, for both faces. SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>

#include "work/room.h"

static json_t *groups_of(work_context *w, const po_circuit *c, int *ret_n)
{
    json_t *list = json_array();
    int *group = po_arena_zeros(w->arena, c->machines.n + 1, sizeof *group);
    *ret_n = group ? po_load_groups(w->shop, c, group) : -1;
    for (int g = 0; g < *ret_n; g++) {
        json_t *names = json_array();
        for (size_t i = 0; i < c->machines.n; i++) {
            if (group[i] == g) {
                json_array_append_new(names, json_string(w->shop->machines[c->machines.of[i]].name));
            }
        }
        json_array_append_new(list, names);
    }
    return list;
}

po_status work_room_power(work_context *w, json_t **ret, po_err *err)
{
    size_t n = w->shop->n_circuits;
    po_load *loads = po_arena_zeros(w->arena, n + 1, sizeof *loads);
    if (!loads) {
        return po_fail(err, PO_E_NOMEM, "out of memory for circuits");
    }
    if (n == 0) {
        return po_fail_at(err, PO_E_NOTFOUND, "circuits", 0, 0,
                          "the shop file names no circuits: circuits: NAME: {amps, volts, machines}");
    }
    po_loads(w->shop, loads);
    json_t *list = json_array();
    for (size_t i = 0; i < n; i++) {
        const po_load *l = &loads[i];
        int n_groups = 0;
        json_t *names = json_array(), *groups = l->unknown ? NULL : groups_of(w, l->circuit, &n_groups);
        for (size_t k = 0; k < l->circuit->machines.n; k++) {
            json_array_append_new(names, json_string(w->shop->machines[l->circuit->machines.of[k]].name));
        }
        json_array_append_new(
            list, json_pack("{s:s, s:o, s:f, s:f, s:f, s:f, s:f, s:i, s:b, s:b, s:b, s:o}", "circuit", l->circuit->name,
                            "machines", names, "volts", l->circuit->volts, "bears_a", l->bears_a, "lasting_a",
                            l->lasting_a, "running_a", l->running_a, "heating_a", l->heating_a, "heat_together",
                            l->heat_together, "lasting_over", (int)l->lasting_over, "unknown", (int)l->unknown, "never",
                            n_groups < 0, "groups", groups ? groups : json_null()));
    }
    *ret = json_pack("{s:s, s:o, s:s}", "format", "proveout/room-power/1", "circuits", list, "caution",
                     work_room_caution("power"));
    return *ret ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
}

po_status work_room_cool(work_context *w, const po_machine *machine, const po_cooling_reading *readings, size_t n,
                         double room_c, json_t **ret, po_err *err)
{
    po_cooling c;
    size_t n_touches;
    po_status s = po_cooling_fit(readings, n, room_c, &c, err);
    if (s != PO_OK) {
        return s;
    }
    const po_touch *touches = po_touches(&n_touches);
    json_t *touch = json_array();
    double collect = w->shop ? w->shop->rules.collect_below_bed_c : 40,
           minutes = po_cooling_minutes(c.tau_minutes, c.room_c, c.start_c, collect);
    for (size_t i = 0; i < n_touches; i++) {
        double at = po_cooling_minutes(c.tau_minutes, c.room_c, c.start_c, touches[i].c);
        json_array_append_new(touch, json_pack("{s:f, s:s, s:s, s:o}", "c", touches[i].c, "contact", touches[i].contact,
                                               "source", touches[i].source, "minutes",
                                               isnan(at) ? json_null() : json_real(at)));
    }
    *ret = json_pack("{s:s, s:s?, s:f, s:o, s:o, s:f, s:f, s:b, s:f, s:i, s:o, s:f, s:o, s:o, s:s}", "format",
                     "proveout/room-cool/1", "machine", machine ? machine->name : NULL, "tau_minutes", c.tau_minutes,
                     "tau_low", isinf(c.tau_high) ? json_null() : json_real(c.tau_low), "tau_high",
                     isinf(c.tau_high) ? json_null() : json_real(c.tau_high), "start_c", c.start_c, "room_c", c.room_c,
                     "room_fitted", (int)c.room_fitted, "scatter_c", c.scatter_c, "readings", (int)c.n,
                     "book_tau_minutes", machine ? json_real(machine->heat.bed_tau_minutes) : json_null(),
                     "collect_below_c", collect, "minutes_to_collect",
                     isnan(minutes) ? json_null() : json_real(minutes), "touch", touch, "caution",
                     work_room_caution("heat"));
    return *ret ? PO_OK : po_fail(err, PO_E_NOMEM, "out of memory for an answer");
}
