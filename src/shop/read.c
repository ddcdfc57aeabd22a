/* Reading a shop file: bytes to tree, tree to structs, faults in order. SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "shop/check.h"

static po_status finish(po_fault_list *faults, const char *name, po_shop_faults *ret_faults, po_err *err)
{
    if (!faults->failed) {
        po_fault_sort(faults);
    }
    if (faults->failed) {
        *ret_faults = (po_shop_faults){0};
        return po_fail_at(err, PO_E_NOMEM, name, 0, 0, "memory ran out while reading the shop file");
    }
    *ret_faults = (po_shop_faults){faults->faults, faults->n};
    if (!faults->n) {
        return PO_OK;
    }
    const po_shop_fault *first = &faults->faults[0];
    return po_fail_at(err, faults->limit ? PO_E_LIMIT : PO_E_SYNTAX, name, first->line, first->column,
                      "%s%sfound %.80s, expected %.110s", first->key, *first->key ? ": " : "", first->found,
                      first->expected);
}

typedef struct known {
    const char *const *findings;
    size_t n_findings;
} known;

static po_status read_text(const char *text, size_t n_bytes, const char *name, known names, po_arena *arena,
                           const po_shop **ret_shop, po_shop_faults *ret_faults, po_err *err)
{
    po_fault_list faults = {.arena = arena};
    *ret_faults = (po_shop_faults){0};
    po_node *root = NULL;
    po_tree_read(text ? text : "", text ? n_bytes : 0, arena, &faults, &root);
    po_shop_draft *draft = po_arena_zeros(arena, 1, sizeof *draft);
    if (!draft) {
        faults.failed = true;
        return finish(&faults, name, ret_faults, err);
    }
    if (root && root->kind == PO_NODE_MAP) {
        po_check check = {.arena = arena,
                          .faults = &faults,
                          .shop = &draft->shop,
                          .findings = names.findings,
                          .n_findings = names.n_findings};
        po_check_map(&check, root, NULL, &po_keys_file, draft);
        po_check_outbox(&check, root);
        draft->shop.most_file_bytes = (uint64_t)(draft->most_file_gb * 1e9);
        draft->shop.most_upload_bytes = (uint64_t)(draft->most_upload_gb * 1e9);
        draft->shop.keep_files_bytes = (uint64_t)(draft->keep_files_gb * 1e9);
        draft->shop.beyond = (po_beyond)draft->beyond;
    } else if (root) {
        po_fault_add(&faults, root->line, root->column, NULL, po_tree_found(root, arena),
                     "a mapping with shop, hours, rules, outbox, permissions, materials, machines, recipes");
    } else if (!faults.n && !faults.failed) {
        po_fault_add(&faults, 1, 1, NULL, "an empty file",
                     "a mapping with shop, hours, rules, outbox, permissions, materials, machines, recipes");
    }
    po_status status = finish(&faults, name, ret_faults, err);
    if (status == PO_OK) {
        *ret_shop = &draft->shop;
    }
    return status;
}

po_status po_shop_read(const char *text, size_t n_bytes, const char *name, po_arena *arena, const po_shop **ret_shop,
                       po_shop_faults *ret_faults, po_err *err)
{
    return read_text(text, n_bytes, name, (known){NULL, 0}, arena, ret_shop, ret_faults, err);
}

po_status po_shop_read_file(const char *path, po_arena *arena, const po_shop **ret_shop, po_shop_faults *ret_faults,
                            po_err *err)
{
    return po_shop_read_file_knowing(path, NULL, 0, arena, ret_shop, ret_faults, err);
}

po_status po_shop_read_file_knowing(const char *path, const char *const *findings, size_t n_findings, po_arena *arena,
                                    const po_shop **ret_shop, po_shop_faults *ret_faults, po_err *err)
{
    *ret_faults = (po_shop_faults){0};
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0) {
        return po_fail_at(err, errno == ENOENT ? PO_E_NOTFOUND : PO_E_IO, path, 0, 0, "can't open the shop file: %s",
                          strerror(errno));
    }
    po_status status = PO_OK;
    size_t n = 0, cap = 64 * 1024;
    char *text = malloc(cap);
    while (text) {
        ssize_t got = read(file, text + n, cap - n);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0) {
            status = po_fail_at(err, PO_E_IO, path, 0, 0, "can't read the shop file: %s", strerror(errno));
        }
        if (got <= 0) {
            break;
        }
        n += (size_t)got;
        if (n > PO_TREE_MOST_BYTES) {
            break; /* po_shop_read says so */
        }
        if (n == cap) {
            char *more = realloc(text, cap * 2);
            if (!more) {
                free(text);
            }
            text = more;
            cap *= 2;
        }
    }
    close(file);
    if (!text) {
        return po_fail_at(err, PO_E_NOMEM, path, 0, 0, "memory ran out while reading the shop file");
    }
    if (status == PO_OK) {
        status = read_text(text, n, path, (known){findings, n_findings}, arena, ret_shop, ret_faults, err);
    }
    free(text);
    return status;
}
