/* The shop as its calendars are now: files of openings and closures that change while the server runs. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_OPENING_H
#define PO_DESK_OPENING_H

#include "desk/desk_inside.h"

/* The shop with what its calendar files say now; they are looked at once a second at most, and read when one of them has changed.
 * What can't be read leaves it as it was, and the log says so. Machines, materials and all else are the very same as those of
 * desk->options.shop. It lives until the desk closes. */
const po_shop *desk_shop_now(po_desk *desk);

po_status desk_opening_open(po_desk *desk, po_err *err) PO_MUST_USE;
void desk_opening_close(po_desk *desk);

#endif
