/* Exceptions to the weekly hours, laid out so that one moment is found quickly among many. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SHOP_EXCEPTED_H
#define PO_SHOP_EXCEPTED_H

#include "proveout/shop.h"

/* Earlier: below 0. */
int po_wall_order(po_wall_time a, po_wall_time b);
/* shop->excepted from shop->exceptions. Errors: PO_E_NOMEM. */
po_status po_shop_lay_exceptions(po_shop *shop, po_arena *arena, po_err *err) PO_MUST_USE;
/* Whether an exception of that kind holds then. */
bool po_shop_excepted(const po_shop *shop, po_wall_time t, po_shop_effect effect);
/* The first beginning or end of an exception after t that is before *best becomes *best. */
void po_shop_excepted_next(const po_shop *shop, po_wall_time t, po_wall_time *best);

#endif
