/* Members from a file of comma-separated values. SPDX-License-Identifier: Apache-2.0
 *
 * The file is read once, line by line; each is held against what the book says of the member, and becomes acts, which are
 * booked together or not at all. Whatever the file holds, the book checks the acts once more. */
#include "proveout/import.h"

#include <stdlib.h>
#include <string.h>

#include "base/csv.h"
#include "base/text.h"
#include "ledger/ledger_inside.h"

enum { C_MEMBER, C_NAME, C_CONTACT, C_ROLE, C_PERMISSIONS, C_UNTIL, N_COLUMNS };
static const char *const columns[N_COLUMNS] = {"member", "name", "contact", "role", "permissions", "until"};
enum { LINE_PERMISSIONS = 32, PAGE = 1000 };

typedef struct importer {
    po_ledger *ledger;
    const po_import_options *options;
    po_arena *arena;
    po_err *err;
    po_csv csv;
    int column_of[PO_CSV_CELLS];
    size_t n_cells;
    int64_t now_ms;
    bool keeper;     /* whoever books may give roles */
    json_t *members; /* by number: the rows of the question "members" */
    json_t *seen;    /* by number: the line of the file */
    po_act *acts;
    uint32_t *act_lines;
    size_t n_acts, cap_acts;
    po_import_line *lines;
    size_t cap_lines;
    po_import_fault *faults;
    po_import found;
    bool failed; /* out of memory */
} importer;

/* One line of the file while it is looked at. values: NULL where the cell is empty or there is no such column. */
typedef struct row {
    uint32_t line;
    const char *values[N_COLUMNS];
    const po_csv_cell *cells[N_COLUMNS]; /* NULL: no such column */
    const json_t *known;                 /* what the book says of the member; NULL: nothing */
    po_import_line change;
    po_import_permission granted[LINE_PERMISSIONS];
} row;

static void fault_at(importer *m, uint32_t line, uint32_t column, const char *says)
{
    if (!says) {
        m->failed = true;
    } else if (m->found.n_faults < PO_IMPORT_FAULTS) {
        m->faults[m->found.n_faults] = (po_import_fault){line, column, says};
    }
    m->found.n_faults++;
}

/* The cell of a column; where there is none, that of the member's number. */
static const po_csv_cell *place(const row *r, int which)
{
    return r->cells[which] ? r->cells[which] : r->cells[C_MEMBER];
}

#define FAULT(m, r, which, ...)                                                                                        \
    fault_at(m, place(r, which)->line, place(r, which)->column, po_arena_printf((m)->arena, __VA_ARGS__))

/* The beginning of a text for a message: what is cut is cut between characters. */
static const char *brief(importer *m, const char *text)
{
    enum { MOST = 40 };
    size_t n = 0, whole = strlen(text);
    while (n < whole && n < MOST) {
        size_t one = po_utf8_length(text + n, whole - n);
        n += one ? one : 1;
    }
    const char *cut = n < whole ? po_arena_printf(m->arena, "%.*s...", (int)n, text) : text;
    m->failed = m->failed || !cut;
    return cut ? cut : "";
}

/* Room for one more in a list of the arena; NULL: out of memory. */
static void *grown(po_arena *arena, void *list, size_t n, size_t *cap, size_t size)
{
    if (n < *cap) {
        return list;
    }
    size_t more = *cap ? *cap * 2 : 64;
    void *larger = po_arena_zeros(arena, more, size);
    if (larger && n > 0) {
        memcpy(larger, list, n * size);
    }
    *cap = larger ? more : *cap;
    return larger;
}

/* All members of the book, forgotten ones too, page by page. */
static po_status load_members(importer *m, const char *state)
{
    const char *after = NULL;
    po_status s = PO_OK;
    for (bool more = true; more && s == PO_OK;) {
        json_t *p = json_pack("{s:i, s:s*, s:s*}", "limit", PAGE, "after", after, "state", state), *answer = NULL;
        char *text = p ? json_dumps(p, 0) : NULL;
        const char *json = NULL;
        s = text ? po_ledger_ask(m->ledger, "members", text, m->arena, &json, m->err)
                 : po_fail(m->err, PO_E_NOMEM, "out of memory for an import");
        answer = s == PO_OK ? json_loads(json, 0, NULL) : NULL;
        free(text);
        json_decref(p);
        const json_t *list = json_object_get(answer, "members");
        more = json_is_true(json_object_get(answer, "more"));
        for (size_t i = 0; i < json_array_size(list); i++) {
            json_t *member = json_array_get(list, i);
            const char *number = po_field_text(member, "member");
            json_object_set(m->members, number, member);
            after = po_arena_text(m->arena, number);
        }
        json_decref(answer);
    }
    return s;
}

/* Which column each cell of the first line names. False: it can't be gone on from. */
static bool read_header(importer *m)
{
    bool there[N_COLUMNS] = {false};
    size_t faults = m->found.n_faults;
    m->n_cells = m->csv.n_cells;
    for (size_t i = 0; i < m->n_cells; i++) {
        const po_csv_cell *cell = &m->csv.cells[i];
        int c = 0;
        while (c < N_COLUMNS && !po_text_same(cell->text, columns[c])) {
            c++;
        }
        m->column_of[i] = c;
        if (c == N_COLUMNS) {
            fault_at(
                m, cell->line, cell->column,
                po_arena_printf(m->arena,
                                "there is no column \"%s\"; the first line names some of: member, name, contact, role, "
                                "permissions, until, with commas between them",
                                brief(m, cell->text)));
        } else if (there[c]) {
            fault_at(m, cell->line, cell->column,
                     po_arena_printf(m->arena, "the column %s is named twice", columns[c]));
        } else {
            there[c] = true;
        }
    }
    if (!there[C_MEMBER] && m->found.n_faults == faults) {
        fault_at(m, 1, 1,
                 "the first line names no column member: without the members' numbers nothing can be brought in");
    }
    return m->found.n_faults == faults;
}

/* The text of a cell without blanks around it; NULL: nothing. */
static const char *value_of(importer *m, const po_csv_cell *cell)
{
    const char *from = cell->text, *to = from + cell->n;
    while (from < to && (*from == ' ' || *from == '\t')) {
        from++;
    }
    while (to > from && (to[-1] == ' ' || to[-1] == '\t')) {
        to--;
    }
    char *text = from < to ? po_arena_text_n(m->arena, from, (size_t)(to - from)) : NULL;
    m->failed = m->failed || (from < to && !text);
    return text;
}

/* The act with this body (taken over) is one more to book; what is wrong with a field becomes a fault in its column. */
static void add_act(importer *m, const row *r, const char *name, json_t *body)
{
    char *text = body ? json_dumps(body, JSON_COMPACT) : NULL;
    const char *kept = text ? po_arena_text(m->arena, text) : NULL;
    json_t *read = NULL, *private = NULL;
    po_err e;
    if (kept && po_fields_read(po_act_find(name)->verb->fields, kept, &read, &private, &e) != PO_OK) {
        int c = strcmp(e.where, "permission") == 0 ? C_PERMISSIONS : 0;
        for (int i = 0; i < N_COLUMNS; i++) {
            c = strcmp(e.where, columns[i]) == 0 ? i : c;
        }
        FAULT(m, r, c, "%s", e.msg);
    } else if (kept) {
        po_act *acts = grown(m->arena, m->acts, m->n_acts, &(size_t){m->cap_acts}, sizeof *acts);
        uint32_t *lines = grown(m->arena, m->act_lines, m->n_acts, &m->cap_acts, sizeof *lines);
        if (acts && lines) {
            m->acts = acts;
            m->act_lines = lines;
            acts[m->n_acts] = (po_act){name, m->options->by, kept};
            lines[m->n_acts++] = r->line;
        }
        m->failed = m->failed || !acts || !lines;
    }
    m->failed = m->failed || !kept;
    json_decref(read);
    json_decref(private);
    json_decref(body);
    free(text);
}

static const po_import_permission *permission_of(const importer *m, const char *name)
{
    for (size_t i = 0; i < m->options->n_permissions; i++) {
        if (strcmp(m->options->permissions[i].name, name) == 0) {
            return &m->options->permissions[i];
        }
    }
    return NULL;
}

/* The one whose name is most like it; the first where none is. */
static const char *nearest(const importer *m, const char *name)
{
    size_t best = 0;
    for (size_t i = 1; i < m->options->n_permissions; i++) {
        best = po_text_distance(name, m->options->permissions[i].name) <
                       po_text_distance(name, m->options->permissions[best].name)
                   ? i
                   : best;
    }
    return m->options->n_permissions ? m->options->permissions[best].name : "none at all";
}

/* The permits that a member of the book holds. NULL: none, or m->failed. */
static json_t *held_by(importer *m, const row *r)
{
    const char *json = NULL;
    po_err e;
    json_t *p = json_pack("{s:s, s:i}", "member", r->values[C_MEMBER], "limit", PAGE), *answer = NULL;
    char *text = p ? json_dumps(p, 0) : NULL;
    if (text && po_ledger_ask(m->ledger, "permits", text, m->arena, &json, &e) == PO_OK) {
        answer = json_loads(json, 0, NULL);
    }
    m->failed = m->failed || !answer;
    free(text);
    json_decref(p);
    return answer;
}

/* Does it hold already as this line wants it? until_ms -2: any time will do. */
static bool holds_already(const json_t *held, const char *permission, int64_t until_ms)
{
    const json_t *list = json_object_get(held, "permits");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *one = json_array_get(list, i), *until = json_object_get(one, "until_ms");
        if (strcmp(po_field_text(one, "permission"), permission) == 0) {
            return until_ms == -2 || (json_is_integer(until) ? json_integer_value(until) : -1) == until_ms;
        }
    }
    return false;
}

static void look_at_permissions(importer *m, row *r)
{
    int64_t until_ms = -2; /* not said */
    if (r->values[C_UNTIL]) {
        if (!m->options->end_of_day(m->options->user, r->values[C_UNTIL], &until_ms)) {
            FAULT(m, r, C_UNTIL, "%s is no day of the calendar; wanted one such as 2026-12-18",
                  brief(m, r->values[C_UNTIL]));
            return;
        }
        if (until_ms <= m->now_ms) {
            FAULT(m, r, C_UNTIL, "%s is over already; give a later day", brief(m, r->values[C_UNTIL]));
            return;
        }
    }
    if (!r->values[C_PERMISSIONS]) {
        return;
    }
    json_t *held = r->known ? held_by(m, r) : NULL;
    for (const char *p = r->values[C_PERMISSIONS], *bar; p; p = bar ? bar + 1 : NULL) {
        bar = strchr(p, '|');
        po_csv_cell piece = {.text = p, .n = bar ? (size_t)(bar - p) : strlen(p)};
        const char *name = value_of(m, &piece);
        const po_import_permission *known = name ? permission_of(m, name) : NULL;
        bool twice = false;
        for (size_t i = 0; name && i < r->change.n_granted; i++) {
            twice = twice || strcmp(r->granted[i].name, name) == 0;
        }
        if (!name) {
            FAULT(m, r, C_PERMISSIONS, "a permission without a name: put one on each side of |");
        } else if (m->options->permissions && !known) {
            FAULT(m, r, C_PERMISSIONS, "the shop has no permission %s; the nearest is %s", brief(m, name),
                  nearest(m, name));
        } else if (r->change.n_granted == LINE_PERMISSIONS) {
            FAULT(m, r, C_PERMISSIONS, "more than %d permissions in one line", LINE_PERMISSIONS);
            break;
        } else if (!twice && !holds_already(held, name, until_ms)) {
            int64_t until = until_ms != -2 ? until_ms : known ? known->until_ms : -1;
            r->granted[r->change.n_granted++] = (po_import_permission){name, until};
            json_t *body = json_pack("{s:s, s:s}", "member", r->values[C_MEMBER], "permission", name);
            if (body && until >= 0) {
                json_object_set_new(body, "until", json_integer(until));
            }
            add_act(m, r, "permit-grant", body);
        }
    }
    json_decref(held);
}

/* What the line gives in a column, where that is not what the book has; else NULL. */
static const char *another(const row *r, int column)
{
    const char *now = po_field_text(r->known, columns[column]), *given = r->values[column];
    return given && (!now || strcmp(now, given) != 0) ? given : NULL;
}

static void look_at_member(importer *m, row *r)
{
    const char *name = another(r, C_NAME), *contact = another(r, C_CONTACT), *role = another(r, C_ROLE);
    const char *number = r->values[C_MEMBER];
    bool usual = role && strcmp(role, "member") == 0 && !r->known;
    r->change.is_new = !r->known;
    r->change.name = name != NULL;
    r->change.contact = contact != NULL;
    r->change.role = usual ? NULL : role;
    if (role && !usual && !m->keeper) {
        FAULT(m, r, C_ROLE, "only a keeper gives the role %s", brief(m, role));
        return;
    }
    if (!r->known) {
        add_act(m, r, "member-enrol",
                json_pack("{s:s, s:s*, s:s*, s:s*}", "member", number, "role", role, "name", name, "contact", contact));
        return;
    }
    if (name || contact) {
        add_act(m, r, "member-name",
                json_pack("{s:s, s:s*, s:s*}", "member", number, "name", name, "contact", contact));
    }
    if (role) {
        add_act(m, r, "member-role", json_pack("{s:s, s:s}", "member", number, "role", role));
    }
}

/* The line is well formed and has been looked at: it is counted and listed. */
static void keep_change(importer *m, row *r)
{
    po_import_line *c = &r->change;
    bool other = !c->is_new && (c->name || c->contact || c->role);
    m->found.n_new += c->is_new;
    m->found.n_changed += other;
    m->found.n_granted += c->n_granted;
    if (!c->is_new && !other && c->n_granted == 0) {
        m->found.n_unchanged++;
        return;
    }
    po_import_line *lines = grown(m->arena, m->lines, m->found.n_lines, &m->cap_lines, sizeof *lines);
    po_import_permission *granted = po_arena_zeros(m->arena, c->n_granted + 1, sizeof *granted);
    if (!lines || !granted) {
        m->failed = true;
        return;
    }
    memcpy(granted, r->granted, c->n_granted * sizeof *granted);
    c->granted = granted;
    c->member = r->values[C_MEMBER];
    c->line = r->line;
    m->lines = lines;
    lines[m->found.n_lines++] = *c;
}

static void read_row(importer *m)
{
    const po_csv *csv = &m->csv;
    row r = {.line = csv->cells[0].line};
    if (csv->n_cells == 1 && csv->cells[0].n == 0) {
        return; /* an empty line, as some programs leave at the end */
    }
    if (csv->n_cells != m->n_cells) {
        const po_csv_cell *at = &csv->cells[csv->n_cells > m->n_cells ? m->n_cells : csv->n_cells - 1];
        fault_at(m, at->line, at->column,
                 po_arena_printf(m->arena, "%zu cells, and the first line has %zu: a comma too many or too few",
                                 csv->n_cells, m->n_cells));
        return;
    }
    for (size_t i = 0; i < m->n_cells; i++) {
        r.cells[m->column_of[i]] = &csv->cells[i];
        r.values[m->column_of[i]] = value_of(m, &csv->cells[i]);
    }
    const char *number = r.values[C_MEMBER];
    if (!number) {
        FAULT(m, &r, C_MEMBER, "the member's number is missing");
        return;
    }
    if (!po_field_is_id(number)) {
        FAULT(m, &r, C_MEMBER, "%s is no number of a member; wanted 1 to 64 letters, digits, . _ -", brief(m, number));
        return;
    }
    const json_t *before = json_object_get(m->seen, number);
    if (before) {
        FAULT(m, &r, C_MEMBER, "member %s stands in line %lld already", number, (long long)json_integer_value(before));
        return;
    }
    if (json_object_set_new(m->seen, number, json_integer(r.line)) != 0) {
        m->failed = true;
        return;
    }
    r.known = json_object_get(m->members, number);
    if (r.known && strcmp(po_field_text(r.known, "state"), "forgotten") == 0) {
        FAULT(m, &r, C_MEMBER, "member %s was forgotten; enrol them under another number", number);
        return;
    }
    size_t faults = m->found.n_faults;
    look_at_member(m, &r);
    look_at_permissions(m, &r);
    if (m->found.n_faults == faults) {
        keep_change(m, &r);
    }
}

static void read_file(importer *m)
{
    bool more = true, header = false;
    po_err e;
    while (!m->failed && more) {
        bool whole = po_csv_next(&m->csv, &more, &e) == PO_OK;
        if (!whole) {
            fault_at(m, e.line, e.column, po_arena_text(m->arena, e.msg));
        }
        if (!header && (!more || !whole || !read_header(m))) {
            if (whole && !more) {
                fault_at(m, 1, 1, "the file is empty; its first line names the columns, member among them");
            }
            return; /* without knowing what the cells are, no line can be looked at */
        }
        if (header && whole && more) {
            read_row(m);
        }
        header = true;
    }
}

static po_status book_all(importer *m)
{
    size_t failed = 0;
    po_act_done *done = po_arena_zeros(m->arena, m->n_acts, sizeof *done);
    po_status s = done ? po_ledger_act_all(m->ledger, m->acts, m->n_acts, m->arena, done, &failed, m->err)
                       : po_fail(m->err, PO_E_NOMEM, "out of memory for an import");
    if (s == PO_OK) {
        m->found.first_event = done[0].event;
        m->found.last_event = done[m->n_acts - 1].event;
    } else if (m->err) {
        m->err->line = m->act_lines[failed];
    }
    return s;
}

/* May whoever books give roles? */
static po_status is_keeper(importer *m)
{
    po_role role = PO_ROLE_NONE;
    pthread_mutex_lock(&m->ledger->asking_lock);
    po_status s = po_store_begin(m->ledger->asking, false, m->err);
    s = s == PO_OK ? po_role_of(m->ledger->asking, m->options->by, m->now_ms, &role, m->err) : s;
    po_store_rollback(m->ledger->asking);
    pthread_mutex_unlock(&m->ledger->asking_lock);
    m->keeper = role == PO_ROLE_KEEPER;
    return s;
}

po_status po_ledger_import_members(po_ledger *ledger, char *data, size_t n, const po_import_options *options,
                                   po_arena *arena, po_import *ret, po_err *err)
{
    importer m = {.ledger = ledger, .options = options, .arena = arena, .err = err};
    if (n > PO_IMPORT_BYTES) {
        return po_fail(err, PO_E_LIMIT, "a file of members is at most %d MB; split it", PO_IMPORT_BYTES >> 20);
    }
    m.now_ms = ledger->now_ms(ledger->user);
    m.members = json_object();
    m.seen = json_object();
    m.faults = po_arena_zeros(arena, PO_IMPORT_FAULTS, sizeof *m.faults);
    m.failed = !m.members || !m.seen || !m.faults;
    po_status s = m.failed ? PO_OK : is_keeper(&m);
    s = s == PO_OK && !m.failed ? load_members(&m, NULL) : s;
    s = s == PO_OK && !m.failed ? load_members(&m, "forgotten") : s;
    if (s == PO_OK && !m.failed) {
        po_csv_begin(&m.csv, data, n);
        read_file(&m);
    }
    if (s == PO_OK && m.failed) {
        s = po_fail(err, PO_E_NOMEM, "out of memory for an import");
    }
    if (s == PO_OK && m.n_acts > PO_ACTS_MOST && m.found.n_faults == 0) {
        s = po_fail(err, PO_E_LIMIT, "the file means %zu acts, and %d can be booked in one go; split it", m.n_acts,
                    PO_ACTS_MOST);
    }
    if (s == PO_OK && options->book && m.found.n_faults == 0 && m.n_acts > 0) {
        s = book_all(&m);
    }
    json_decref(m.members);
    json_decref(m.seen);
    m.found.lines = m.lines;
    m.found.faults = m.faults;
    *ret = s == PO_OK ? m.found : *ret;
    return s;
}
