#include "slip/render.h"
po_status po_slip_explain_svg(const char *finding, po_arena *arena, po_document *ret, po_err *err){(void)arena;(void)ret;return po_fail(err,PO_E_NOTFOUND,"%s",finding);}
