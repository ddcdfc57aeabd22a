/* The description in OpenAPI 3.1, made from the tables of routes, acts and questions. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "desk/desk_inside.h"

static json_t *parse(const char *text)
{
    return json_loads(text, 0, NULL);
}

/* JSON Schema of a kind of field (ledger/fields.h). */
static json_t *schema_of(const char *kind)
{
    static const struct {
        const char *kind, *schema;
    } table[] = {
        {"id", "{\"type\":\"string\",\"minLength\":1,\"maxLength\":64}"},
        {"name", "{\"type\":\"string\",\"minLength\":1,\"maxLength\":64,\"description\":\"as the shop file has it\"}"},
        {"text", "{\"type\":\"string\",\"minLength\":1,\"maxLength\":1000}"},
        {"private",
         "{\"type\":\"string\",\"minLength\":1,\"maxLength\":1000,\"description\":\"kept apart from the events\"}"},
        {"document", "{\"type\":\"string\",\"description\":\"a whole file\"}"},
        {"count", "{\"type\":\"integer\",\"minimum\":0,\"maximum\":1000000000000000}"},
        {"number", "{\"type\":\"integer\",\"minimum\":1}"},
        {"time", "{\"type\":\"integer\",\"minimum\":0,\"maximum\":253402300799999,\"description\":\"milliseconds of "
                 "UTC since 1970\"}"},
        {"sha256", "{\"type\":\"string\",\"pattern\":\"^[0-9a-f]{64}$\"}"},
        {"flag", "{\"type\":\"boolean\"}"},
        {"ids", "{\"type\":\"array\",\"minItems\":1,\"maxItems\":256,\"items\":{\"type\":\"string\"}}"},
        {"counts",
         "{\"type\":\"array\",\"minItems\":1,\"maxItems\":64,\"items\":{\"type\":\"integer\",\"minimum\":0}}"},
        {"table", "{\"type\":\"array\",\"minItems\":1,\"maxItems\":400,\"items\":{\"type\":\"array\",\"minItems\":3,"
                  "\"maxItems\":3,\"items\":{\"type\":\"integer\",\"minimum\":0}}}"},
        {"uses",
         "{\"type\":\"array\",\"minItems\":1,\"maxItems\":8,\"items\":{\"type\":\"object\",\"properties\":{\"tool\":"
         "{\"type\":\"integer\"},\"spool\":{\"type\":[\"string\",\"null\"]},\"um\":{\"type\":\"integer\"}}}}"},
        {"figures", "{\"type\":\"object\",\"minProperties\":1,\"maxProperties\":16,\"additionalProperties\":{\"type\":"
                    "\"integer\"}}"},
        {"readings", "{\"type\":\"array\",\"minItems\":1,\"maxItems\":400,\"items\":{\"type\":\"array\",\"minItems\":1,"
                     "\"maxItems\":5,\"items\":{\"type\":\"integer\"}},\"description\":\"rows of one length\"}"},
        {"map", "{\"type\":\"object\",\"additionalProperties\":{\"type\":\"array\",\"items\":{\"type\":\"string\"}}}"},
        {"acts",
         "{\"type\":\"array\",\"minItems\":1,\"maxItems\":1000,\"items\":{\"type\":\"object\",\"required\":[\"act\","
         "\"body\"],\"properties\":{\"act\":{\"type\":\"string\"},\"body\":{\"type\":\"object\"}}}}"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (strcmp(table[i].kind, kind) == 0) {
            return parse(table[i].schema);
        }
    }
    json_t *words = json_array();
    for (const char *p = kind; *p;) {
        size_t n = strcspn(p, "|");
        json_array_append_new(words, json_stringn(p, n));
        p += n + (p[n] == '|');
    }
    return json_pack("{s:s, s:o}", "type", "string", "enum", words);
}

static json_t *object_of(const char *fields)
{
    json_t *properties = json_object(), *required = json_array();
    desk_field f;
    for (const char *at = fields; desk_field_next(&at, &f);) {
        json_object_set_new(properties, f.name, schema_of(f.kind));
        if (!f.optional) {
            json_array_append_new(required, json_string(f.name));
        }
    }
    json_t *o = json_pack("{s:s, s:o, s:b}", "type", "object", "properties", properties, "additionalProperties", 0);
    if (json_array_size(required) > 0) {
        json_object_set(o, "required", required);
    }
    json_decref(required);
    return o;
}

/* What an answer is, by how its address ends; all else is JSON. */
static const char *type_of(const char *pattern)
{
    static const struct {
        const char *end, *type;
    } table[] = {
        {"/events", "text/event-stream"},
        {".zip", "application/zip"},
        {".html", "text/html"},
        {".pdf", "application/pdf"},
        {".txt", "text/plain"},
        {".svg", "image/svg+xml"},
        {".png", "image/png"},
        {".3mf", "model/3mf"},
        {"/mesh", "application/octet-stream"},
        {"/classes", "application/octet-stream"},
    };
    size_t n = strlen(pattern);
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        size_t m = strlen(table[i].end);
        if (n >= m && strcmp(pattern + n - m, table[i].end) == 0) {
            return table[i].type;
        }
    }
    return "application/json";
}

static json_t *responses(const desk_route_row *row)
{
    json_t *content = json_object();
    if (strcmp(row->pattern, "/") == 0) { /* the page where it was built in, else a word of where to look */
        json_object_set_new(content, "text/html", json_pack("{s:{}}", "schema"));
        json_object_set_new(content, "text/plain", json_pack("{s:{}}", "schema"));
    } else {
        json_object_set_new(content, type_of(row->pattern), json_pack("{s:{}}", "schema"));
    }
    json_t *all = json_pack("{s:{s:s, s:o}, s:{s:s}}", "200", "description", "done", "content", content, "default",
                            "$ref", "#/components/responses/problem");
    if (strstr(row->pattern, "}/part")) {
        json_object_set_new(all, "202", json_pack("{s:s}", "description", "it is being computed; ask again"));
    }
    return all;
}

/* An operation of a row; name: of the act or question, or NULL. */
static json_t *operation(const desk_route_row *row, const char *name, const char *says, const char *fields,
                         po_standing least)
{
    char id[96], what[64];
    snprintf(what, sizeof what, "%s", name ? name : row->pattern);
    for (char *p = what; *p; p++) {
        *p = strchr("/{}.", *p) ? '-' : *p;
    }
    snprintf(id, sizeof id, "%s%s%s", row->method[0] == 'G' ? "get" : "post", what[0] == '-' ? "" : "-", what);
    json_t *o = json_pack("{s:s, s:s, s:s, s:o}", "operationId", id, "summary", says, "x-least-role",
                          desk_role_word(least), "responses", responses(row));
    if (least > PO_STANDS_AS_NOBODY) {
        json_object_set_new(o, "security",
                            row->method[0] == 'G' ? parse("[{\"session\":[]}]")
                                                  : parse("[{\"session\":[],\"token\":[]}]"));
    }
    if (row->method[0] == 'P') {
        bool bytes = row->body_most == DESK_BYTES;
        if (bytes) {
            json_object_set_new(o, "parameters",
                                parse("[{\"name\":\"X-Proveout-Name\",\"in\":\"header\",\"required\":false,"
                                      "\"description\":\"the file's name, percent-encoded UTF-8\","
                                      "\"schema\":{\"type\":\"string\",\"maxLength\":765}}]"));
        }
        json_object_set_new(o, "requestBody",
                            bytes ? parse("{\"required\":true,\"content\":{\"application/octet-stream\":{}}}")
                                  : json_pack("{s:b, s:{s:{s:o}}}", "required", 1, "content", "application/json",
                                              "schema", object_of(fields ? fields : "")));
    } else if (fields) {
        json_t *list = json_array();
        desk_field f;
        for (const char *at = fields; desk_field_next(&at, &f);) {
            bool array = !strcmp(f.kind, "ids") || !strcmp(f.kind, "counts");
            bool json = !strcmp(f.kind, "map") || !strcmp(f.kind, "table") || !strcmp(f.kind, "uses");
            json_t *p = json_pack("{s:s, s:s, s:b}", "name", f.name, "in", "query", "required", !f.optional);
            if (json) {
                json_object_set_new(p, "content",
                                    json_pack("{s:{s:o}}", "application/json", "schema", schema_of(f.kind)));
            } else {
                json_object_set_new(p, "schema", schema_of(f.kind));
            }
            if (array) { /* a,b,c */
                json_object_set_new(p, "style", json_string("form"));
                json_object_set_new(p, "explode", json_false());
            }
            json_array_append_new(list, p);
        }
        json_object_set_new(o, "parameters", list);
    }
    return o;
}

/* What stands for the braces of a path, as a parameter. */
static void put_place(json_t *operation_of, const char *brace)
{
    json_t *list = json_object_get(operation_of, "parameters");
    if (!list) {
        list = json_array();
        json_object_set_new(operation_of, "parameters", list);
    }
    json_t *name = json_stringn(brace + 1, strcspn(brace + 1, "}"));
    json_array_append_new(list, json_pack("{s:o, s:s, s:b, s:o}", "name", name, "in", "path", "required", 1, "schema",
                                          parse("{\"type\":\"string\",\"pattern\":\"^[a-z0-9-]{1,64}$\"}")));
}

static void put(json_t *paths, const char *path, const char *method, json_t *operation_taken)
{
    json_t *item = json_object_get(paths, path);
    if (!item) {
        item = json_object();
        json_object_set_new(paths, path, item);
    }
    json_object_set_new(item, method[0] == 'G' ? "get" : "post", operation_taken);
}

json_t *desk_openapi(void)
{
    json_t *paths = json_object();
    size_t n, m;
    const desk_route_row *rows = desk_routes(&n);
    for (size_t i = 0; i < n; i++) {
        const char *brace = strchr(rows[i].pattern, '{');
        bool acts = brace && strcmp(brace, "{act}") == 0;
        if (!acts && !(brace && strcmp(brace, "{question}") == 0)) {
            json_t *o = operation(&rows[i], NULL, rows[i].says, rows[i].fields, rows[i].least);
            if (brace) {
                put_place(o, brace);
            }
            put(paths, rows[i].pattern, rows[i].method, o);
            continue;
        }
        const po_ledger_verb *verbs = acts ? po_ledger_acts(&m) : po_ledger_questions(&m);
        for (size_t k = 0; k < m; k++) {
            char path[128];
            snprintf(path, sizeof path, "%.*s%s", (int)(brace - rows[i].pattern), rows[i].pattern, verbs[k].name);
            put(paths, path, rows[i].method,
                operation(&rows[i], verbs[k].name, verbs[k].says, verbs[k].fields,
                          acts ? desk_rule_of_act(verbs[k].name) : desk_rule_of_question(verbs[k].name).least));
        }
    }
    json_t *components = parse("{\"securitySchemes\":{\"session\":{\"type\":\"apiKey\",\"in\":\"cookie\",\"name\":"
                               "\"proveout\",\"description\":\"with TLS "
                               "__Host-proveout\"},\"token\":{\"type\":\"apiKey\",\"in\":\"header\",\"name\":\"X-"
                               "Proveout-Token\"}},\"responses\":{"
                               "\"problem\":{\"description\":\"what went wrong, where, and what to "
                               "do\",\"content\":{\"application/problem+json\":{"
                               "\"schema\":{\"$ref\":\"#/components/schemas/"
                               "problem\"}}}}},\"schemas\":{\"problem\":{\"type\":\"object\",\"required\":["
                               "\"type\",\"title\",\"status\"],\"properties\":{\"type\":{\"type\":\"string\"},"
                               "\"title\":{\"type\":\"string\"},\"status\":{"
                               "\"type\":\"integer\"},\"detail\":{\"type\":\"string\"},\"where\":{\"type\":\"string\"},"
                               "\"act\":{\"type\":\"integer\"}}}}}");
    return json_pack("{s:s, s:{s:s, s:s, s:s}, s:o, s:o}", "openapi", "3.1.0", "info", "title", "Proveout's desk",
                     "version", "1", "description", "The book of a shared workshop over HTTP.", "paths", paths,
                     "components", components);
}
