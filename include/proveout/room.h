/* The room: what printers give off into its air, what its circuits bear, when a bed is cool. SPDX-License-Identifier: Apache-2.0
 *
 * Plans and records; certifies nothing. The mean of a well-mixed room is lower than what is breathed beside a machine. Local codes,
 * the site's safety office and licensed trades go before every figure. Sources by figure: docs/room.md. */
#ifndef PROVEOUT_ROOM_H
#define PROVEOUT_ROOM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/arena.h"
#include "proveout/shop.h"
#include "proveout/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- air ---- */

typedef enum po_air_kind { PO_AIR_PARTICLES = 0, PO_AIR_VAPOURS, PO_AIR_STYRENE, PO_AIR_KINDS } po_air_kind;

/* What one running machine gives off: particles per minute (below 100 nm), micrograms per hour of the others; 0: none was found. */
typedef struct po_emission {
    const char *material; /* "pla", or "other" for what no study is known of: the highest of all */
    double low[PO_AIR_KINDS], typical[PO_AIR_KINDS], high[PO_AIR_KINDS];
    const char *source;
} po_emission;
/* The published rates, static. *ret_n of them; the last is "other". */
PO_API const po_emission *po_emissions(size_t *ret_n);
/* Of a material by its name (it may be longer: "asa-cf" is asa); "other" where none is known; never NULL. */
PO_API const po_emission *po_emission_of(const char *material);
/* What an enclosure lets through, 0 to 1. Sources: docs/room.md. */
PO_API double po_enclosure_passes(po_enclosure enclosure, po_air_kind kind);

/* A well-mixed room: V dC/dt = G - lambda V C, outdoor air clean. Particles in 1/cm3, the others in ug/m3. */
typedef struct po_air {
    double volume_m3;
    double rate_h[PO_AIR_KINDS]; /* lambda: air changes, settling, cleaner; each above 0 */
} po_air;
/* Of a shop's room. Errors: PO_E_RANGE (area, height, or neither ventilation nor anything else that removes: where names it). */
PO_API po_status po_air_of(const po_house_room *room, po_air *ret, po_err *err) PO_MUST_USE;

/* Concentration that a constant emission (per minute for particles, ug/h for others) ends at. */
PO_API double po_air_steady(const po_air *air, po_air_kind kind, double emission);
/* Concentration after minutes at constant emission, from a beginning: exact. */
PO_API double po_air_after(const po_air *air, po_air_kind kind, double emission, double from, double minutes);
/* Minutes until `left` (0 to 1) of it is left without emission. */
PO_API double po_air_clears(const po_air *air, po_air_kind kind, double left);
/* How many machines of this emission may run for ever below a target; as many as may be counts as 1000. */
PO_API int po_air_machines(const po_air *air, po_air_kind kind, double emission, double target);
/* Extra air changes per hour that bring a constant emission down to a target; 0: none needed. */
PO_API double po_air_changes_for(const po_air *air, po_air_kind kind, double emission, double target);

/* Minute by minute: emission[i] holds from minute i on (n of them). concentration: room for n values, at the end of each minute; may be
 * NULL. Exact between the minutes. *ret_peak, *ret_peak_at (minute), *ret_mean. Errors: PO_E_RANGE (a negative or endless value). */
typedef struct po_air_run {
    double peak, mean, end;
    size_t peak_at, above; /* minutes at whose end it was above the target; 0 target: none */
} po_air_run;
PO_API po_status po_air_simulate(const po_air *air, po_air_kind kind, const double *emission, size_t n, double from,
                                 double target, double *concentration, po_air_run *ret, po_err *err) PO_MUST_USE;

/* ---- circuits ---- */

typedef struct po_load {
    const po_circuit *circuit;
    size_t n_machines;
    double running_a, heating_a; /* all running; all heating at once */
    double bears_a, lasting_a;   /* the breaker; the share of it for loads of hours */
    int heat_together; /* the largest number that may heat at once while the others run, whichever they are; 0: not even one */
    bool lasting_over; /* all running are more than the share */
    bool unknown;      /* a machine's power is not in the shop file */
} po_load;
/* Each circuit of the shop; ret has room for shop->n_circuits. */
PO_API void po_loads(const po_shop *shop, po_load *ret);
/* Groups of machines that may heat one after another on a circuit, so few as may be (first fit, largest first): group[i] of its i-th
 * machine, from 0. Returns the number of groups; -1: a machine alone is too much for what the others leave. */
PO_API int po_load_groups(const po_shop *shop, const po_circuit *circuit, int *group);

/* ---- heat ---- */

typedef struct po_cooling_reading {
    double minutes, c;
} po_cooling_reading;
typedef struct po_cooling {
    double tau_minutes, tau_low, tau_high; /* 95 % interval; infinite bounds: two readings say nothing of it */
    double start_c, room_c;
    bool room_fitted; /* else as given */
    double scatter_c; /* of the readings about the curve */
    size_t n;
} po_cooling;
/* Newton's law through readings: start and tau fitted, the room's temperature too where room_c is NAN (five readings at least).
 * Errors: PO_E_RANGE: fewer than two readings, times that do not rise (a clock set back), it warms, all alike, colder than the room;
 * err->offset the reading's place from 0. */
PO_API po_status po_cooling_fit(const po_cooling_reading *readings, size_t n, double room_c, po_cooling *ret,
                                po_err *err) PO_MUST_USE;
/* Minutes from from_c to to_c; NAN where it never gets there. */
PO_API double po_cooling_minutes(double tau_minutes, double room_c, double from_c, double to_c);

typedef struct po_touch {
    double c; /* below it: */
    const char *contact, *source;
} po_touch;
/* From the coolest; static. */
PO_API const po_touch *po_touches(size_t *ret_n);

#ifdef __cplusplus
}
#endif

#endif
