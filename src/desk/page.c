/* Serves the page that was built in. SPDX-License-Identifier: Apache-2.0
 *
 * Files under /a/ have the hash of their content in the name and never change; the page itself is asked for anew each time
 * and answered by its tag. An address that is no page gets the page with 404 if a person looks, for it says so itself. */
#include <libdeflate.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "desk/desk_inside.h"
#include "desk/page_files.h"

static const desk_page_file *file_at(const char *path)
{
    for (size_t i = 0; i < desk_page_files.n_files; i++) {
        if (strcmp(desk_page_files.files[i].path, path) == 0) {
            return &desk_page_files.files[i];
        }
    }
    return NULL;
}

/* "/machine/:machine" fits "/machine/Alder". */
static bool fits(const char *pattern, const char *path)
{
    while (*pattern && *path) {
        if (*pattern == ':') {
            size_t n = strcspn(path, "/");
            if (n == 0) {
                return false;
            }
            path += n;
            pattern += strcspn(pattern, "/");
        } else if (*pattern++ != *path++) {
            return false;
        }
    }
    return !*pattern && !*path;
}

static bool is_page(const char *path)
{
    for (size_t i = 0; i < desk_page_files.n_paths; i++) {
        if (fits(desk_page_files.paths[i], path)) {
            return true;
        }
    }
    return strcmp(path, "/") == 0;
}

/* Whether a browser asks for something to look at. */
static bool looks(const desk_request *rq)
{
    return rq->accept && strstr(rq->accept, "text/html");
}

const desk_route_row *desk_page_row(const desk_request *rq)
{
    static const desk_route_row row = {"GET", "/{page}", PO_STANDS_AS_NOBODY, false, 0, desk_do_page, "the page", NULL};
    if (desk_page_files.n_files == 0 || strncmp(rq->path, "/api/", 5) == 0 || strcmp(rq->path, "/health") == 0) {
        return NULL;
    }
    return file_at(rq->path) || is_page(rq->path) || looks(rq) ? &row : NULL;
}

/* "gzip" among the codings, and not with the weight 0. */
static bool takes_gzip(const char *accept)
{
    for (const char *p = accept; p && *p;) {
        p += strspn(p, " ,\t");
        size_t n = strcspn(p, ",");
        if ((n == 4 || (n > 4 && (p[4] == ';' || p[4] == ' '))) && strncmp(p, "gzip", 4) == 0) {
            const char *q = memchr(p, 'q', n);
            return !q || q[1] != '=' || strspn(q + 2, "0.") < (size_t)(p + n - (q + 2));
        }
        p += n;
    }
    return false;
}

static bool inflate(desk_request *rq, const desk_page_file *file, const char **ret)
{
    struct libdeflate_decompressor *d = libdeflate_alloc_decompressor();
    char *out = po_arena_zeros(rq->arena, file->n + 1, 1);
    bool good = d && out &&
                libdeflate_gzip_decompress(d, file->zipped, file->n_zipped, out, file->n, NULL) == LIBDEFLATE_SUCCESS;
    libdeflate_free_decompressor(d);
    *ret = out;
    return good;
}

void desk_do_page(po_desk *desk, desk_request *rq, desk_reply *rp)
{
    (void)desk;
    const desk_page_file *own = file_at(rq->path), *file = own ? own : file_at("/");
    bool index = !own || strcmp(own->path, "/") == 0, fixed = own && strncmp(own->path, "/a/", 3) == 0;
    rp->type = file->type;
    rp->tag = fixed ? NULL : desk_page_files.tag;
    rp->cache = fixed ? "public, max-age=31536000, immutable" : "no-cache";
    rp->vary = "Accept-Encoding";
    rp->status = index && !is_page(rq->path) ? 404 : 200;
    if (rp->status == 200 && rp->tag && rq->if_none_match && strstr(rq->if_none_match, rp->tag)) {
        rp->status = 304;
        rp->type = NULL;
        return;
    }
    if (takes_gzip(rq->accept_encoding)) {
        rp->coding = "gzip";
        rp->body = (const char *)file->zipped;
        rp->n = file->n_zipped;
    } else if (inflate(rq, file, &rp->body)) {
        rp->n = file->n;
    } else {
        rp->cache = rp->tag = rp->vary = NULL;
        desk_problem(rq, rp, 503, NULL, "memory ran out; try again");
    }
}
