/* A word to the system about large memory (madvise(2), transparent huge pages). SPDX-License-Identifier: Apache-2.0 */
#include "base/pages.h"

#include <stdint.h>
#include <sys/mman.h>

void po_pages_large(void *p, size_t n)
{
    const uintptr_t page = (uintptr_t)2 << 20;
    uintptr_t first = ((uintptr_t)p + page - 1) & ~(page - 1), end = ((uintptr_t)p + n) & ~(page - 1);
    if (p && end > first) {
#ifdef MADV_HUGEPAGE
        (void)madvise((void *)first, end - first, MADV_HUGEPAGE); /* refused where there are none: nothing is lost */
#endif
    }
}
