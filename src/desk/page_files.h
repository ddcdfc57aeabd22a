/* The page's files as they were built in. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_DESK_PAGE_FILES_H
#define PO_DESK_PAGE_FILES_H

#include <stddef.h>

typedef struct desk_page_file {
    const char *path, *type;     /* the address: "/" is the page itself */
    const unsigned char *zipped; /* gzip */
    size_t n_zipped, n;          /* bytes zipped and inflated */
} desk_page_file;

typedef struct desk_page_set {
    const desk_page_file *files;
    size_t n_files;           /* 0: no page was built in */
    const char *const *paths; /* addresses of pages; ":name" is one piece */
    size_t n_paths;
    const char *tag; /* the page's ETag */
} desk_page_set;

/* Written by web/embed.mjs, or web/no_page.c. */
extern const desk_page_set desk_page_files;

#endif
