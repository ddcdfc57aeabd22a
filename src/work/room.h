/* The shop's room for both faces: air with what runs, circuits, cooling. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_WORK_ROOM_H
#define PO_WORK_ROOM_H

#include "proveout/room.h"
#include "work/work.h"

enum { WORK_ROOM_RUNNING_MOST = 64, WORK_ROOM_DAYS = 28 };

/* What is asked otherwise than the shop file says; NAN: as it says. */
typedef struct work_room_asked {
    double area_m2, height_m, outdoor_m3_h, cleaner_m3_h, settle_h;
    int more_machines; /* beside those that run */
    const char *
        running; /* "petg=3,asa=1": how many of which material; NULL: every machine with the material that it is loaded with, or the house's */
    bool day;    /* the day by the book's last WORK_ROOM_DAYS days */
} work_room_asked;
#define WORK_ROOM_ASKED_INIT                                                                                           \
    {                                                                                                                  \
        .area_m2 = NAN, .height_m = NAN, .outdoor_m3_h = NAN, .cleaner_m3_h = NAN, .settle_h = NAN                     \
    }

/* "proveout/room-air/1" (docs/api.md): for particles, vapours and styrene the steady concentration with its spread, how long it takes to
 * come and to go, how many machines a target allows, what one more machine, air change or cleaner does; the day hour by hour. The caller's.
 * Errors  PO_E_RANGE (where "running", "area_m2", "outdoor_m3_h" ...), work_ask's */
po_status work_room_air(work_context *w, const work_room_asked *asked, json_t **ret, po_err *err) PO_MUST_USE;
/* "proveout/room-power/1": each circuit with its loads and which machines may heat together. The caller's. PO_E_NOTFOUND: no circuits. */
po_status work_room_power(work_context *w, json_t **ret, po_err *err) PO_MUST_USE;
/* "proveout/room-cool/1": the fit and when it is cool enough to touch and to collect from. The caller's. */
po_status work_room_cool(work_context *w, const po_machine *machine, const po_cooling_reading *readings, size_t n,
                         double room_c, json_t **ret, po_err *err) PO_MUST_USE;

/* The usual caution about air, mains, heat: "air", "power", "heat". Static. */
const char *work_room_caution(const char *about);

#endif
