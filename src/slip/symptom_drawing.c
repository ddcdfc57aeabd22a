/* Drawings of symptoms: one stage with bed and nozzle, and on it what is seen. SPDX-License-Identifier: Apache-2.0
 *
 * Each is a few strokes; "part" is filled, "line" is drawn, "hot" is the accent. They say nothing that the words beside them do not. */
#include "proveout/symptom_drawing.h"

#include <string.h>

#include "base/text.h"

#define BED "<path class='k' d='M6 84H154'/>"
#define NOZZLE(x, y) "<g transform='translate(" #x " " #y ")'><path class='n' d='M-9-20h18v10l-6 10h-6l-6-10z'/></g>"
#define PART(d) "<path class='p' d='" d "'/>"
#define LINE(d) "<path class='l' d='" d "'/>"
#define HOT(d) "<path class='h' d='" d "'/>"

static const struct {
    const char *id, *inside;
} drawings[] = {
    {"loose", BED PART("M60 84l8-34 40 10-8 34z") HOT("M44 84h14M112 90l10-4") NOZZLE(120, 34)},
    {"corner", BED PART("M40 70Q52 83 80 83H124V56H40z") HOT("M40 82v-10M36 76l4-6 4 6") NOZZLE(104, 56)},
    {"not-sticking", BED LINE("M24 78q10-10 20 0t20 0q8-14 18-2") HOT("M88 70q14-22 22-6") NOZZLE(112, 62)},
    {"strings", BED LINE("M30 80q20-40 40-12t-20-10q30-30 46 8t-30 4q40-30 44-6t-40 14") NOZZLE(118, 44)},
    {"hairs", BED PART("M28 84V44h24v40zM104 84V44h24v40z") HOT("M52 50h52M52 60q26 6 52 0M52 72h52")},
    {"shifted", BED PART("M44 84V62h50v22zM62 62V36h50v26z") HOT("M44 58h12M106 66h10")},
    {"clicking", "<circle class='l' cx='60' cy='50' r='24'/>" LINE(
                     "M60 26v-8M60 74v8M36 50h-8M84 50h8M43 33l-6-6M77 67l6 6M77 33l6-6M43 67l-6 6")
                     HOT("M98 40l10-4M100 50h12M98 60l10 4")},
    {"thin", BED LINE("M50 84V40M54 84V70M54 62V50M58 84V40") HOT("M50 66h8M50 46h8") NOZZLE(54, 36)},
    {"too-much", BED PART("M48 84q-8-6 0-11q-8-6 0-11q-8-6 0-11h52q8 5 0 11q8 5 0 11q8 5 0 11z")
                     HOT("M40 78q-6-4 0-8M108 78q6-4 0-8")},
    {"foot", BED PART("M36 84q-6-8 6-10H50V40h50v34h8q12 2 6 10z") HOT("M30 78l-8 2M120 78l8 2")},
    {"top-holes", BED PART("M34 84V50h90v34z") HOT("M50 50q5 8 10 0M74 50q5 8 10 0M98 50q5 8 10 0")},
    {"scratched", BED PART("M34 84V54h90v30z") HOT("M44 54q14 8 30 0t34-4") NOZZLE(110, 50)},
    {"blob", BED NOZZLE(80, 52) "<path class='h' d='M60 40q-14 20 4 30q18 10 36-2q14-14-4-30q-18-10-36 2z'/>"},
    {"nothing-came", BED PART("M40 84V66h70v18z") NOZZLE(84, 46) HOT("M84 50v2M84 57v2M84 63v2")},
    {"jams-later", NOZZLE(60, 70) "<circle class='l' cx='112' cy='46' r='22'/>" LINE("M112 46V30M112 46l12 8")
                       HOT("M52 40q8-8 16 0")},
    {"hissing", BED NOZZLE(70, 50) HOT("M86 40q8-6 4-14M96 48q8-6 6-14M58 60q4 8 12 10q8-2 10-8")},
    {"ripples", BED PART("M30 84V40h100v44z") HOT("M44 40v44M54 44v36M64 48v28M74 52v20M84 55v14")},
    {"bands", BED PART("M46 84V30h66v54z") HOT("M46 40h66M46 52h66M46 64h66M46 76h66")},
    {"split", BED PART("M46 84V62h66v22zM46 56q32-10 66-2V30H46z") HOT("M40 60l-8 2M118 58l8-2")},
    {"on-air", BED PART("M34 84V44h26v40z") LINE("M60 46q26 4 32 26M60 50q20 6 24 24M60 54q14 8 16 20") NOZZLE(94, 42)},
    {"curled", BED PART("M34 84V40h40q24 2 34-14q2 24-30 26v32z") HOT("M108 22l4-10M114 28l10-4")},
    {"wander", BED NOZZLE(44, 78) NOZZLE(80, 68) NOZZLE(116, 74) HOT("M44 82v2M80 70v12M116 76v6")},
    {"uneven",
     "<path class='k' d='M6 78Q80 96 154 70'/>" HOT("M20 76h30") LINE("M60 80q4-6 8 0t8 0t8 0") LINE("M106 74h36")},
    {"specks",
     BED PART("M34 84V46h90v38z") "<g class='d'><circle cx='50' cy='60' r='3'/><circle cx='76' cy='72' r='4'/><circle "
                                  "cx='98' cy='56' r='3'/><circle cx='112' cy='74' r='3'/></g>" HOT(
                                      "M70 36q8-8 0-16M90 36q8-8 0-16")},
    {"size-off", BED PART("M48 84V54h46v30z") HOT("M48 44h46M48 40v8M94 40v8") LINE("M108 84V40M104 84h8M104 40h8")},
    {"dark", "<rect class='l' x='40' y='24' width='80' height='60'/>" HOT("M84 32l-14 22h12l-8 20 18-26H80z")},
    {"error", "<rect class='l' x='30' y='24' width='100' height='56'/>" HOT("M80 34v22M80 64v4")},
    {"stopped-early", BED PART("M46 84V60h66v24z") "<path class='g' d='M46 60V30h66v30'/>" NOZZLE(134, 44)},
};

po_status po_symptom_svg(const char *symptom, po_arena *arena, po_document *ret, po_err *err)
{
    po_text t;
    for (size_t i = 0; symptom && i < sizeof drawings / sizeof drawings[0]; i++) {
        if (strcmp(drawings[i].id, symptom) != 0) {
            continue;
        }
        po_text_init(&t, arena);
        po_text_add(&t,
                    "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 160 96' width='160' "
                    "height='96'><style>path,circle,rect{stroke-linecap:round;stroke-linejoin:round;fill:none;"
                    "stroke:#1c2326;stroke-width:2}.k{stroke-width:4}.n{fill:#e8e3d3}.p{fill:#b9c4c9}.h{stroke:#9a4411;"
                    "stroke-width:3}.d circle{fill:#9a4411;stroke:none}"
                    ".g{stroke-dasharray:4 4}</style><rect width='160' height='96' style='fill:#fffef8;stroke:none'/>");
        po_text_add(&t, drawings[i].inside);
        po_text_add(&t, "</svg>\n");
        if (t.failed) {
            return po_fail(err, PO_E_NOMEM, "out of memory for a drawing");
        }
        *ret = (po_document){t.data, t.n};
        return PO_OK;
    }
    return po_fail_at(err, PO_E_NOTFOUND, "symptom", 0, 0, "there is no drawing of that symptom");
}
