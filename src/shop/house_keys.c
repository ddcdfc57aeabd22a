/* The tables of keys for care, the room, the mains, runs that nobody sees, and training. SPDX-License-Identifier: Apache-2.0 */
#include "shop/keys_rows.h"

const char *const po_enclosures[] = {"none", "partial", "closed", "filtered", NULL}; /* in the order of po_enclosure */

#define LINE(key, type, field, says_)                                                                                  \
    MAY_OWN(key, PO_OWN_FOLDER, offsetof(type, field), "a text of 1 to 1000 characters on one line", "none", says_)

static const po_key task_keys[] = {
    LINE("says", po_task, says, "what is done"),
    MAY_NUMBER("hours", po_task, hours, "h", 0, 1e6, 0, "due after so many hours of runs; 0: not by hours"),
    MAY_NUMBER("metres", po_task, metres, "m", 0, 1e7, 0,
               "due after so many metres, each times its material's `wear`; 0: not by metres"),
    MAY_COUNT("starts", po_task, starts, 0, 1000000, 0,
              "due after so many runs, each of which heats up once; 0: not by runs"),
    MAY_COUNT("days", po_task, days, 0, 36500, 0, "due after so many days; 0: not by days"),
    MAY_COUNT("minutes", po_task, minutes, 0, 6000, 0, "that it takes; 0: not said"),
    MAY_BOOL("stands", po_task, stands, 1, "the machine stands meanwhile"),
    MAY_OWN("machines", PO_OWN_MACHINE_NAMES, offsetof(po_task, machines), "a list of machines of this file", "all",
            "on which it is done"),
    LINE("parts", po_task, parts, "what is needed for it"),
    LINE("caution", po_task, caution, "what can hurt, beside the usual caution"),
};
TABLE(po_keys_task, "care.NAME", task_keys);

static const po_key room_keys[] = {
    MAY_NUMBER("area_m2", po_house_room, area_m2, "m2", 0, 100000, 0, "floor of the room; 0: not known"),
    MAY_NUMBER("height_m", po_house_room, height_m, "m", 1, 50, 3, "its height"),
    MAY_COUNT("people", po_house_room, people, 0, 10000, 0, "who are there in a usual hour"),
    ELSE_NUMBER("outdoor_m3_h", po_house_room, outdoor_m3_h, "m3/h", 0, 1e6, "not known",
                "outdoor air that the ventilation gives, as measured or as its plan says"),
    MAY_NUMBER("cleaner_m3_h", po_house_room, cleaner_m3_h, "m3/h", 0, 1e6, 0,
               "clean air that an air cleaner gives (its clean air delivery rate); 0: none"),
    MAY_BOOL("cleaner_vapours", po_house_room, cleaner_vapours, 0, "the cleaner has a filter for vapours too"),
    MAY_NUMBER("settle_per_h", po_house_room, settle_h, "1/h", 0, 10, 1,
               "share of fine particles that settle in an hour by themselves"),
    MAY_NUMBER("particles_per_cm3", po_house_room, particles_per_cm3, "1/cm3", 0, 1e9, 0,
               "the shop's own target for what printing adds; 0: none"),
    MAY_NUMBER("vapours_ug_m3", po_house_room, vapours_ug_m3, "ug/m3", 0, 1e9, 0,
               "the same, of vapours together; 0: none"),
    MAY_NUMBER("styrene_ug_m3", po_house_room, styrene_ug_m3, "ug/m3", 0, 1e9, 0, "the same, of styrene; 0: none"),
};
TABLE(po_keys_room, "room", room_keys);

static const po_key circuit_keys[] = {
    NEED_NUMBER("amps", po_circuit, amps, "A", 0.5, 1000, "of the fuse or breaker"),
    NEED_NUMBER("volts", po_circuit, volts, "V", 10, 1000, "of the mains"),
    MAY_NUMBER("share_percent", po_circuit, share_percent, "%", 10, 100, 80,
               "of that current that a load of three hours and more may take; 80 as in US NEC 210.20(A), elsewhere as "
               "local code says"),
    {.name = "machines",
     .kind = PO_KEY_OWN,
     .required = true,
     .offset = offsetof(po_circuit, machines),
     .own = PO_OWN_MACHINE_NAMES,
     .expects = "a list of machines of this file",
     .says = "that it feeds"},
};
TABLE(po_keys_circuit, "circuits.NAME", circuit_keys);

static const po_key unattended_keys[] = {
    MAY_NUMBER("longest_hours", po_unattended, longest_hours, "h", 0, 1000, 0,
               "that nobody may be there while it runs; 0: any"),
    MAY_OWN("materials", PO_OWN_MATERIALS_OF, offsetof(po_unattended, materials), "a list of materials of this file",
            "all", "that may run so"),
    MAY_OWN("machines", PO_OWN_MACHINE_NAMES, offsetof(po_unattended, machines), "a list of machines of this file",
            "all", "that may run so"),
};
TABLE(po_keys_unattended, "unattended", unattended_keys);

static const po_key training_keys[] = {
    MAY_OWN("studies", PO_OWN_FOLDER, offsetof(po_shop, studies), "a text of 1 to 1000 characters on one line", "none",
            "folder of the studies (docs/study-format.md); a path that does not begin with / starts at the shop file's "
            "folder"),
};
TABLE(po_keys_training, "training", training_keys);
