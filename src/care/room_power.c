/* What circuits bear, and which machines should not heat together. SPDX-License-Identifier: Apache-2.0
 *
 * Power is taken as the shop file has it, resistive (the heaters are by far the most of it). A licensed electrician knows the wiring; this
 * only adds up. */
#include <stdlib.h>
#include <string.h>

#include "proveout/room.h"

enum { PO_LOADS_MOST = 500 }; /* as many machines as a shop file may have */

/* The machine that is the i-th of a circuit. A list is never empty there: the key is required, and may not be. */
static const po_machine *machine_of(const po_shop *shop, const po_circuit *c, size_t i)
{
    return &shop->machines[c->machines.of[i]];
}

static int by_more(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x < y) - (x > y);
}

void po_loads(const po_shop *shop, po_load *ret)
{
    for (size_t k = 0; k < shop->n_circuits; k++) {
        const po_circuit *c = &shop->circuits[k];
        po_load l = {.circuit = c,
                     .n_machines = c->machines.n,
                     .bears_a = c->amps,
                     .lasting_a = c->amps * c->share_percent / 100};
        double more[PO_LOADS_MOST];
        size_t n = c->machines.n < PO_LOADS_MOST ? c->machines.n : PO_LOADS_MOST;
        for (size_t i = 0; i < n; i++) {
            const po_machine *m = machine_of(shop, c, i);
            l.running_a += m->running_w / c->volts;
            l.heating_a += m->heating_w / c->volts;
            more[i] = (m->heating_w - m->running_w) / c->volts; /* what it takes more while it heats */
            l.unknown = l.unknown || !(m->heating_w > 0) || !(m->running_w > 0);
        }
        /* whichever they are: those that take most more */
        qsort(more, n, sizeof more[0], by_more);
        double sum = l.running_a;
        while ((size_t)l.heat_together < n && sum + more[l.heat_together] <= l.bears_a * (1 + 1e-12)) {
            sum += more[l.heat_together++];
        }
        l.lasting_over = l.running_a > l.lasting_a * (1 + 1e-12);
        ret[k] = l;
    }
}

int po_load_groups(const po_shop *shop, const po_circuit *c, int *group)
{
    double free_a[PO_LOADS_MOST];
    size_t n = c->machines.n < PO_LOADS_MOST ? c->machines.n : PO_LOADS_MOST;
    double running = 0;
    int groups = 0;
    for (size_t i = 0; i < n; i++) {
        running += machine_of(shop, c, i)->running_w / c->volts;
        group[i] = -1;
    }
    for (size_t done = 0; done < n;
         done++) { /* the one that takes most more first, into the first group that bears it */
        size_t best = n;
        for (size_t i = 0; i < n; i++) {
            const po_machine *m = machine_of(shop, c, i);
            if (group[i] < 0 && (best == n || m->heating_w - m->running_w > machine_of(shop, c, best)->heating_w -
                                                                                machine_of(shop, c, best)->running_w)) {
                best = i;
            }
        }
        double more = (machine_of(shop, c, best)->heating_w - machine_of(shop, c, best)->running_w) / c->volts;
        int g = 0;
        while (g < groups && free_a[g] < more) {
            g++;
        }
        if (g == groups) {
            free_a[groups++] = c->amps * (1 + 1e-12) - running;
            if (free_a[g] < more) {
                return -1;
            }
        }
        free_a[g] -= more;
        group[best] = g;
    }
    return groups;
}
