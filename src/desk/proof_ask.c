/* What is asked of a proof, held against the shop. SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "desk/proving.h"

static const char *text_of(const json_t *o, const char *field)
{
    return json_string_value(json_object_get(o, field));
}

/* 0, or the field that the shop does not know. ret_value: its text. */
static const char *read_names(const po_shop *shop, const json_t *o, desk_asked *ret, const char **ret_value)
{
    const char *machine = text_of(o, "machine"), *recipe = text_of(o, "recipe");
    const json_t *materials = json_object_get(o, "materials"), *permissions = json_object_get(o, "permissions");
    ret->machine = machine ? po_shop_machine(shop, machine) : NULL;
    ret->recipe = recipe ? po_shop_recipe(shop, recipe) : NULL;
    *ret_value = machine;
    if (machine && !ret->machine) {
        return "machine";
    }
    *ret_value = recipe;
    if (recipe && !ret->recipe) {
        return "recipe";
    }
    for (size_t i = 0; i < json_array_size(materials); i++) {
        *ret_value = json_string_value(json_array_get(materials, i));
        const po_material *m = *ret_value && i < PO_MAX_TOOLS ? po_shop_material(shop, *ret_value) : NULL;
        if (!m) {
            return "materials";
        }
        ret->materials[ret->n_materials++] = m;
    }
    ret->permissions_asked = json_is_array(permissions);
    for (size_t i = 0; i < json_array_size(permissions); i++) {
        *ret_value = json_string_value(json_array_get(permissions, i));
        const po_permission *p = *ret_value && i < sizeof ret->permissions / sizeof ret->permissions[0]
                                     ? po_shop_permission(shop, *ret_value)
                                     : NULL;
        if (!p) {
            return "permissions";
        }
        ret->permissions[ret->n_permissions++] = p->name;
    }
    return NULL;
}

static void read_plain(const json_t *o, desk_asked *ret)
{
    const char *file = text_of(o, "file"), *member = text_of(o, "member"), *name = text_of(o, "name");
    const json_t *start = json_object_get(o, "start");
    *ret = (desk_asked){.start_ms = json_is_integer(start) ? json_integer_value(start) : -1};
    if (file && strlen(file) < sizeof ret->file.sha256) {
        memcpy(ret->file.sha256, file, strlen(file) + 1);
    }
    if (name && strlen(name) < sizeof ret->file.name) {
        memcpy(ret->file.name, name, strlen(name) + 1);
    }
    if (member && strlen(member) < sizeof ret->member) {
        memcpy(ret->member, member, strlen(member) + 1);
    }
}

bool desk_asked_read(po_desk *desk, const json_t *settings, desk_asked *ret, desk_request *rq, desk_reply *rp)
{
    const char *value = NULL;
    read_plain(settings, ret);
    const char *wrong = read_names(desk->options.shop, settings, ret, &value);
    if (wrong) {
        desk_problem(rq, rp, 422, wrong, "the shop knows no \"%.80s\" among its %s (GET /api/1/shop lists them)",
                     value ? value : "",
                     strcmp(wrong, "machine") == 0  ? "machines"
                     : strcmp(wrong, "recipe") == 0 ? "recipes"
                                                    : wrong);
        return false;
    }
    if (ret->machine && ret->n_materials > ret->machine->n_nozzles) {
        desk_problem(rq, rp, 422, "materials", "%s has %zu nozzles, and %zu materials were given", ret->machine->name,
                     ret->machine->n_nozzles, ret->n_materials);
        return false;
    }
    if (!desk_file_get(desk, ret->file.sha256, &ret->file)) {
        desk_problem(rq, rp, 404, "file", "the file is not kept here (any more); send it first (POST /api/1/files)");
        return false;
    }
    return true;
}

json_t *desk_asked_note(const desk_asked *a)
{
    json_t *o = json_pack("{s:s, s:s}", "file", a->file.sha256, "name", a->file.name);
    if (!o) {
        return NULL;
    }
    if (a->machine) {
        json_object_set_new(o, "machine", json_string(a->machine->name));
    }
    if (a->recipe) {
        json_object_set_new(o, "recipe", json_string(a->recipe->name));
    }
    if (a->n_materials) {
        json_t *list = json_array();
        for (size_t i = 0; i < a->n_materials; i++) {
            json_array_append_new(list, json_string(a->materials[i]->name));
        }
        json_object_set_new(o, "materials", list);
    }
    if (a->permissions_asked) {
        json_t *list = json_array();
        for (size_t i = 0; i < a->n_permissions; i++) {
            json_array_append_new(list, json_string(a->permissions[i]));
        }
        json_object_set_new(o, "permissions", list);
    }
    if (a->start_ms >= 0) {
        json_object_set_new(o, "start", json_integer(a->start_ms));
    }
    if (a->member[0]) {
        json_object_set_new(o, "member", json_string(a->member));
    }
    return o;
}

bool desk_asked_again(po_desk *desk, const json_t *note, desk_asked *ret)
{
    const char *value;
    read_plain(note, ret);
    return read_names(desk->options.shop, note, ret, &value) == NULL;
}
