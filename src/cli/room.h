/* What the verbs of room share. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_CLI_ROOM_H
#define PO_CLI_ROOM_H

#include "desk.h"
#include "work/room.h"

/* A number of an answer; NAN where there is none. */
double room_real(const json_t *o, const char *key);
void room_tell_caution(const json_t *answer);
/* "proveout/room-air/1", a circuit of "proveout/room-power/1", "proveout/room-cool/1" as words. */
void room_tell_air(const desk *d, const json_t *air);
void room_tell_circuit(const json_t *circuit);
void room_tell_cool(const json_t *cool);

#endif
