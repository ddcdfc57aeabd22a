/* proveout run ...: the table of its verbs. SPDX-License-Identifier: Apache-2.0 */
#include "run_verbs.h"
#include "verbs.h"

#define OPTIONS(name, ...) static const cli_option options_##name[] = {DESK_OPTIONS, __VA_ARGS__}
#define PURPOSE                                                                                                        \
    {.name = "course", .value = "ID", .says = "the course that it is for", .field = "course", .unit = DESK_ID},        \
        {.name = "assignment", .value = "ID", .says = "and its assignment", .field = "assignment", .unit = DESK_ID},   \
        {.name = "group", .value = "ID", .says = "the group that it is for", .field = "group", .unit = DESK_ID},       \
        {.name = "fund", .value = "ID", .says = "the fund that pays for it", .field = "fund", .unit = DESK_ID},        \
    {                                                                                                                  \
        .name = "purpose", .value = "TEXT", .says = "what it is for, in words", .field = "purpose"                     \
    }
#define MACHINE(text)                                                                                                  \
    {                                                                                                                  \
        .name = "machine", .value = "NAME", .says = text, .field = "machine", .unit = DESK_MACHINE                     \
    }
#define QUIET                                                                                                          \
    {                                                                                                                  \
        .name = "quiet", .says = "no message to the member"                                                            \
    }
#define PLACE                                                                                                          \
    {.name = "place",                                                                                                  \
     .value = "N",                                                                                                     \
     .says = "its place on the shelf; without it: the next that is free",                                              \
     .field = "place",                                                                                                 \
     .unit = DESK_COUNT},                                                                                              \
    {                                                                                                                  \
        .name = "kept-until", .value = "DAY", .says = "until when it is kept; without it: the shop's days",            \
        .field = "kept_until", .unit = DESK_UNTIL                                                                      \
    }
#define PLACE_APART                                                                                                    \
    {.name = "place", .value = "N", .says = "with --to shelf: its place; without it: the next that is free"},          \
    {                                                                                                                  \
        .name = "kept-until", .value = "DAY", .says = "with --to shelf: until when; without it: the shop's days"       \
    }
#define CAUSES "file, machine, material, power, handling or unknown"

static const cli_option options_plain[] = {DESK_OPTIONS};
OPTIONS(list, {.name = "member", .value = "ID", .says = "only this member's", .field = "member", .unit = DESK_ID},
        MACHINE("only those on this machine"),
        {.name = "state",
         .value = "WORD",
         .says = "only those that are reserved, out, ended, failed, back or dropped",
         .field = "state"},
        {.name = "outcome",
         .value = "WORD",
         .says = "only those that came out good, failed, stopped or not-collected",
         .field = "outcome"},
        {.name = "term", .value = "ID", .says = "only those of this term", .field = "term", .unit = DESK_ID},
        {.name = "course", .value = "ID", .says = "only those for this course", .field = "course", .unit = DESK_ID},
        {.name = "fund", .value = "ID", .says = "only those that this fund paid", .field = "fund", .unit = DESK_ID},
        {.name = "job",
         .value = "FILE|SHA",
         .says = "only those of this job, by its bytes",
         .field = "sha256",
         .unit = DESK_SHA},
        {.name = "from", .value = "TIME", .says = "handed out from then on", .field = "from", .unit = DESK_TIME},
        {.name = "until", .value = "TIME", .says = "and until then", .field = "until", .unit = DESK_UNTIL},
        {.name = "limit", .value = "N", .says = "at most so many, 1 to 1000", .field = "limit", .unit = DESK_COUNT},
        {.name = "before",
         .value = "RUN",
         .says = "those before this run: goes on behind a full page",
         .field = "before_run",
         .unit = DESK_COUNT});
OPTIONS(reserve, MACHINE("the machine; needed for a file, which is proved for it"),
        {.name = "recipe", .value = "NAME", .says = "the recipe", .field = "recipe", .unit = DESK_RECIPE},
        {.name = "takes",
         .value = "H:MM",
         .says = "with METRES: how long it will take",
         .field = "seconds",
         .unit = DESK_SPAN},
        {.name = "promise",
         .value = "TIME",
         .says = "a start that was promised to the member",
         .field = "promised",
         .unit = DESK_TIME},
        {.name = "due", .value = "TIME", .says = "when the member needs the part", .field = "due", .unit = DESK_UNTIL},
        {.name = "spool", .value = "ID[,ID]", .says = "the spools that it would take, one for each nozzle"}, PURPOSE);
OPTIONS(drop, {.name = "reason", .value = "TEXT", .says = "why", .field = "reason"});
OPTIONS(hand_out, MACHINE("the machine; without it: that of the reservation"),
        {.name = "stick",
         .value = "ID",
         .says = "the stick that goes along; without it: the machine's own, if it has one; none: without a stick"},
        {.name = "spool",
         .value = "ID[,ID]",
         .says = "the spools, one for each nozzle in order; without it: what is loaded by the book"},
        {.name = "recipe",
         .value = "NAME",
         .says = "the recipe that it should follow; without it: the nearest",
         .field = "recipe",
         .unit = DESK_RECIPE},
        PURPOSE,
        {.name = "ticket",
         .value = "N",
         .says = "the member's waiting ticket, which is claimed by it",
         .field = "ticket",
         .unit = DESK_COUNT},
        {.name = "run",
         .value = "N",
         .says = "the member's reservation, which becomes this run",
         .field = "run",
         .unit = DESK_COUNT},
        {.name = "yes", .says = "the verdict is ask, and a desk person decided that it may go out"},
        {.name = "leave",
         .value = "TEXT",
         .says = "by whose leave and why; with the verdict stop by a keeper (--by)",
         .field = "leave"},
        {.name = "beyond",
         .value = "charge|gift",
         .says = "what no allowance and no waiver covers is charged to the member, or given by a keeper",
         .field = "beyond"});
OPTIONS(start, {.name = "all-good", .says = "all five points were seen to be so"},
        {.name = "heated",
         .value = "yes|no",
         .says = "nozzle and bed are at their temperatures",
         .field = "heated",
         .unit = DESK_YES},
        {.name = "stream",
         .value = "yes|no",
         .says = "the filament comes in a steady stream",
         .field = "stream_steady",
         .unit = DESK_YES},
        {.name = "bed", .value = "yes|no", .says = "the bed is clean", .field = "bed_clean", .unit = DESK_YES},
        {.name = "gap",
         .value = "yes|no",
         .says = "the gap of the first layer is good",
         .field = "gap_good",
         .unit = DESK_YES},
        {.name = "spool", .value = "yes|no", .says = "it is the right spool", .field = "spool_right", .unit = DESK_YES},
        QUIET);
OPTIONS(watched,
        {.name = "seen-by",
         .value = "ID",
         .says = "who saw the first layer; without it: --by",
         .field = "seen_by",
         .unit = DESK_ID},
        {.name = "note", .value = "TEXT", .says = "what was seen", .field = "note"});
OPTIONS(ended, {.name = "at", .value = "TIME", .says = "when, if earlier than now", .field = "at", .unit = DESK_TIME},
        {.name = "took",
         .value = "H:MM",
         .says = "how long it took, by the machine's own clock",
         .field = "seconds",
         .unit = DESK_SPAN},
        QUIET);
OPTIONS(off,
        {.name = "to",
         .value = "shelf|member|waste",
         .says = "where the part went; without it: to the shelf",
         .field = "to"},
        PLACE,
        {.name = "recycled-g",
         .value = "G",
         .says = "what of it goes to recycling, weighed",
         .field = "recycled_mg",
         .unit = DESK_G},
        QUIET);
OPTIONS(take_back, MACHINE("the machine that is back"),
        {.name = "stick", .value = "ID", .says = "the stick that came back with it: it names the run as well"},
        {.name = "stick-mount",
         .value = "PATH",
         .says = "where that stick shows: it is looked whether the job is on it, and which others"},
        {.name = "counter", .value = "M", .says = "metres used, by the machine's own counter"},
        {.name = "used-g", .value = "G", .says = "grams used, by the scale"},
        {.name = "used", .value = "M", .says = "metres used, as reckoned at the desk; without any of these: the proof"},
        {.name = "file",
         .value = "FILE|SHA",
         .says = "the job that was run, where it may be another: a file (by its name on the stick) or its SHA-256"},
        {.name = "condition",
         .value = "TEXT",
         .says = "how the machine came back, where there is something to say",
         .field = "condition"},
        {.name = "stick-there",
         .value = "yes|no",
         .says = "whether the stick came back",
         .field = "stick_there",
         .unit = DESK_YES},
        {.name = "good", .says = "the run came out good: booked with it"});
OPTIONS(
    failed, {.name = "height", .value = "MM", .says = "it stopped at this height", .field = "z_um", .unit = DESK_MM},
    {.name = "percent",
     .value = "P",
     .says = "it stopped at this share of its time, in whole percent",
     .field = "percent",
     .unit = DESK_COUNT},
    {.name = "after",
     .value = "H:MM",
     .says = "it stopped after this time from its start",
     .field = "seconds",
     .unit = DESK_SPAN},
    {.name = "at",
     .value = "TIME",
     .says = "when it stopped, if earlier than now; alone it says how far it came, of a run that was started by "
             "the book",
     .field = "at",
     .unit = DESK_TIME},
    {.name = "symptom", .value = "TEXT", .says = "what was seen", .field = "symptom"},
    {.name = "cause",
     .value = "WORD",
     .says = CAUSES ": books the outcome with it, and by the shop's rules whether it counts and whether the rerun "
                    "goes first"},
    {.name = "counts", .value = "yes|no", .says = "with --cause: whether it counts, where it is not as the rules say"},
    {.name = "to", .value = "waste|shelf", .says = "the part is off the bed: where it went"}, PLACE_APART,
    {.name = "recycled-g", .value = "G", .says = "with --to: what goes to recycling, weighed"},
    {.name = "back", .says = "the machine is back and free as well"}, QUIET);
OPTIONS(outcome,
        {.name = "cause", .value = "WORD", .says = "of a run that failed or was stopped: " CAUSES, .field = "cause"},
        {.name = "symptom", .value = "TEXT", .says = "what was seen", .field = "symptom"},
        {.name = "counts",
         .value = "yes|no",
         .says = "whether it counts against the allowance; without it: by the shop's rules",
         .field = "counts",
         .unit = DESK_YES},
        {.name = "rerun-first",
         .value = "yes|no",
         .says = "whether its rerun goes first; without it: by the shop's rules",
         .field = "rerun_first",
         .unit = DESK_YES});
/* --by says by what is summed here; who asks is not written down. */
static const cli_option options_sum[] = {
    {.name = "shop", .value = "FILE", .says = "the shop file; else PROVEOUT_SHOP, else ./shop.yaml"},
    {.name = "ledger",
     .value = "FILE",
     .says = "the book; else PROVEOUT_LEDGER, else the one that the shop file names"},
    {.name = "by",
     .value = "WHAT",
     .says = "machine (so without it), material, recipe, course, fund, term, member, outcome, cause or month",
     .field = "by"},
    {.name = "from",
     .value = "TIME",
     .says = "handed out from then on; months: a year back without it",
     .field = "from",
     .unit = DESK_TIME},
    {.name = "until", .value = "TIME", .says = "and until then", .field = "until", .unit = DESK_UNTIL},
    {.name = "limit", .value = "N", .says = "at most so many rows", .field = "limit", .unit = DESK_COUNT},
    {.name = "json", .says = "print one JSON object instead of words"},
};

#define EXAMPLES(name, ...) static const cli_example examples_##name[] = {__VA_ARGS__}
EXAMPLES(list, {"proveout run list --state out", "what is out now"},
         {"proveout run list --machine Alder --from 2026-11-01", "what ran on Alder since then"});
EXAMPLES(show, {"proveout run show 12", "run 12 with all that belongs to it"});
EXAMPLES(sum, {"proveout run sum --by month", "a year, month by month"},
         {"proveout run sum --by cause --from 2026-09-21", "why runs failed since then"});
EXAMPLES(reserve, {"proveout run reserve 10041 12.5 --machine Alder --takes 2:10", "12.5 m on Alder, some time"},
         {"proveout run reserve 10041 bracket.gcode --machine Alder --promise +1d",
          "a job that is proved now, with a promised start"});
EXAMPLES(drop, {"proveout run drop 13 --reason \"not needed any more\"", "the reservation is given up"});
EXAMPLES(
    hand_out, {"proveout run hand-out 10041 bracket.gcode --run 12 --purpose \"a lamp\"", "what was reserved goes out"},
    {"proveout run hand-out 10041 bracket.gcode --machine Alder --ticket 7", "Alder with its stick; a ticket's turn"},
    {"proveout run hand-out 10041 bracket.gcode --machine Birch --yes", "the verdict was ask, and the desk decided"});
EXAMPLES(start, {"proveout run start 12 --all-good", "all five points were seen"},
         {"proveout run start 12 --heated yes --stream yes --bed yes --gap yes --spool yes", "one by one"});
EXAMPLES(watched, {"proveout run watched 12 good", "the first layer is down and good"});
EXAMPLES(ended, {"proveout run ended 12 --took 2:04", "it has finished, by its own clock after 2 h 4 min"});
EXAMPLES(off, {"proveout run off 12", "to the next place of the shelf"},
         {"proveout run off 12 --to member", "its member takes it along"});
EXAMPLES(take_back, {"proveout run take-back --machine Alder", "the proof offers the metres"},
         {"proveout run take-back --stick A1 --counter 11.8 --good", "by the machine's counter; it came out good"});
EXAMPLES(failed,
         {"proveout run failed 12 --height 34 --at 03:20 --cause handling --to waste --back",
          "all of a night's failure in one go"},
         {"proveout run failed 12 --percent 40", "the rest can follow"});
EXAMPLES(outcome, {"proveout run outcome 12 good", "it came out good"},
         {"proveout run outcome 12 failed --cause machine --symptom \"the nozzle was blocked\"", "it failed, and why"});

#define LIST(name) .options = options_##name, .n_options = sizeof options_##name / sizeof options_##name[0]
#define SHOWN(name) .examples = examples_##name, .n_examples = sizeof examples_##name / sizeof examples_##name[0]
#define OF_A_RUN .operands = "RUN", .least = 1, .most = 1, .fills = {{"run", DESK_COUNT}}

const cli_verb cli_run_verbs[] = {
    {
        .name = "run list",
        .operands = "",
        LIST(list),
        SHOWN(list),
        .line = "runs, the latest first",
        .help = "Lists runs, the latest first, by whatever narrows them.",
        .run = run_list,
    },
    {
        .name = "run show",
        OF_A_RUN,
        LIST(plain),
        SHOWN(show),
        .line = "one run with all that belongs to it",
        .help =
            "Shows a run: who, where, what for, when, what it took and who paid; its spools, its part, its messages, "
            "and every event about it.",
        .run = run_show,
    },
    {
        .name = "run reserve",
        .operands = "MEMBER FILE|METRES",
        .least = 2,
        .most = 2,
        .fills = {{"member", DESK_ID}},
        LIST(reserve),
        SHOWN(reserve),
        .line = "a run is asked for and waits",
        .help =
            "Reserves a run. A file is proved for its machine and the proof is kept; else say the metres. Nothing is "
            "charged before the hand-out, which takes the reservation with --run.",
        .run = run_reserve,
        .act = "run-reserve",
    },
    {
        .name = "run drop",
        OF_A_RUN,
        LIST(drop),
        SHOWN(drop),
        .line = "a reservation is given up",
        .help = "Gives a reservation up. A run that was handed out can only be taken back.",
        .run = desk_run_act,
        .act = "run-drop",
        .done = "The reservation of run {run} is given up.",
    },
    {
        .name = "run hand-out",
        .operands = "MEMBER FILE",
        .least = 2,
        .most = 2,
        .fills = {{"member", DESK_ID}},
        LIST(hand_out),
        SHOWN(hand_out),
        .line = "a machine goes out to a member for one job",
        .help = "Proves the job for this machine as it is fitted and loaded, for this member, and books the hand-out "
                "with the "
                "proof. The verdict clear goes out; ask takes --yes of a desk person who read the findings; stop takes "
                "a keeper "
                "and --leave. The book refuses a member without the permission, a machine that is out or out of use, "
                "another "
                "machine's stick, and more metres than allowance, waivers, a fund or --beyond cover, and says what "
                "would make it "
                "possible.\n\nExit status: 0 handed out; 1 the verdict is ask and nobody decided yet; 2 refused; 3 no "
                "job; 4 wrong "
                "usage; 5 the program's own failure.",
        .run = run_hand_out,
        .act = "run-hand-out",
    },
    {
        .name = "run start",
        OF_A_RUN,
        LIST(start),
        SHOWN(start),
        .line = "the start check, and the watch begins",
        .help =
            "Books the check before the first bead: heated, the stream steady, the bed clean, the gap good, the right "
            "spool. Each point is looked at; one that is not so is told with what to do. Careful: nozzle and bed are "
            "hot and the axes move: look, and keep hands, hair and sleeves away; the maker's instructions come first. "
            "Where the job needs hands on its way, messages with the times go to the outbox.",
        .run = run_start,
        .act = "run-start",
    },
    {
        .name = "run watched",
        .operands = "RUN good|poor",
        .least = 2,
        .most = 2,
        .fills = {{"run", DESK_COUNT}, {"first_layer", DESK_TEXT}},
        LIST(watched),
        SHOWN(watched),
        .line = "the watch is done: how the first layer is",
        .help = "Books that the first layer is down and was judged, by whom, and that the watch is over.",
        .run = run_watched,
        .act = "run-watched",
        .done = "The watch of run {run} is done: the first layer is {first_layer}.",
    },
    {
        .name = "run ended",
        OF_A_RUN,
        LIST(ended),
        SHOWN(ended),
        .line = "the machine has finished; its part is still on it",
        .help = "Books the end of a run. How long it took is known from the machine's own clock alone (--took); "
                "estimates learn from it.",
        .run = run_ended,
        .act = "run-ended",
        .done = "Run {run} on {machine} has ended[ after {real_seconds:span}].",
    },
    {
        .name = "run off",
        OF_A_RUN,
        LIST(off),
        SHOWN(off),
        .line = "the part is off the bed",
        .help =
            "Books where the part went: to the shelf (the next free place, kept for the shop's days), to its member, "
            "or "
            "nothing worth keeping. Careful: take it off only when the bed is below the shop's temperature for that by "
            "its own display (rules.collect_below_bed_c); nozzle and bed may burn, scrapers slip: away from the hand, "
            "and "
            "by the maker's instructions.",
        .run = run_off,
        .act = "run-off",
        .done = "Off {machine}: the part of run {run}, to the {to}[, place {place}][, kept until {kept_until:until}][, "
                "{recycled_mg:g} for recycling].",
    },
    {
        .name = "run take-back",
        .operands = "[RUN]",
        .least = 0,
        .most = 1,
        .fills = {{"run", DESK_COUNT}},
        LIST(take_back),
        SHOWN(take_back),
        .line = "a machine is back and free",
        .help = "Books itself where it can: the run's number, the machine or the stick name the run, and the proof "
                "offers the "
                "metres, or what was used until it failed. A counter or a scale knows better: estimates learn from "
                "them. Says "
                "which waiting ticket is next.",
        .run = run_take_back,
        .act = "run-take-back",
    },
    {
        .name = "run failed",
        OF_A_RUN,
        LIST(failed),
        SHOWN(failed),
        .line = "a run broke off: where, why, and all the rest in one go",
        .help = "Books a run that stopped before its end, at a height, a share of its time, or a time; what it used "
                "until then "
                "comes from the proof. With --cause its outcome is booked too, with --to its part, with --back the "
                "machine: "
                "all or nothing.",
        .run = run_failed,
        .act = "run-failed",
    },
    {
        .name = "run outcome",
        .operands = "RUN good|failed|stopped|not-collected",
        .least = 2,
        .most = 2,
        .fills = {{"run", DESK_COUNT}, {"outcome", DESK_TEXT}},
        LIST(outcome),
        SHOWN(outcome),
        .line = "how a run came out, and why",
        .help = "Books the outcome of a run. Whether one that failed counts against the allowance, and whether its "
                "rerun goes "
                "first, follows from the cause by the shop's rules (counts_when_failed, rerun_first).",
        .run = run_outcome,
        .act = "run-outcome",
        .done = "Run {run} came out {outcome}[, cause {cause}][: {symptom}].",
    },
    {
        .name = "run sum",
        .operands = "",
        LIST(sum),
        SHOWN(sum),
        .line = "sums of runs by what they have in common",
        .help = "Counts runs, outcomes, metres, grams and hours between two times.",
        .run = run_sum,
    },
    {.name = NULL},
};
