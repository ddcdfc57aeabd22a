/* A word to the system about large memory. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_PAGES_H
#define PO_BASE_PAGES_H

#include <stddef.h>

/* Ask for large pages in n bytes at p that will soon be filled (those of 2 MB that lie wholly inside). A hint: it changes
 * no content and cannot fail. Random access to tens of megabytes costs most in looking pages up. */
void po_pages_large(void *p, size_t n);

#endif
