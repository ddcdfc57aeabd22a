/* Reads and writes that go on until all is done. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_BASE_WHOLE_H
#define PO_BASE_WHOLE_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

/* Fills n bytes from a descriptor as far as there are any; how many, or -1 with errno. A signal in between is no error. */
ssize_t po_read_whole(int file, void *bytes, size_t n);
/* Writes all n bytes; false with errno, and some of them may be written (errno is ENOSPC where the system took none and said nothing). */
bool po_write_whole(int file, const void *bytes, size_t n);

#endif
