/* The table of routes. SPDX-License-Identifier: Apache-2.0 */
#include "desk/desk_inside.h"

#define ROUTE(method, pattern, least, slow, body, function, says, fields)                                              \
    {method, pattern, PO_STANDS_AS_##least, slow, body, desk_do_##function, says, fields},
static const desk_route_row rows[] = {
#include "desk/routes.inc"
};
#undef ROUTE

const desk_route_row *desk_routes(size_t *ret_n)
{
    *ret_n = sizeof rows / sizeof rows[0];
    return rows;
}
