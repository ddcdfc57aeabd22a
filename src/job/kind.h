/* What a file is, told from its first bytes and never from its name. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_JOB_KIND_H
#define PO_JOB_KIND_H

#include <stddef.h>

typedef enum po_file_is { PO_FILE_JOB, PO_FILE_STL, PO_FILE_3MF, PO_FILE_ZIP } po_file_is;

/* head, n  the first bytes; 4 KB tell it
 * size     of the whole file in bytes; 0 = not known
 * What is nothing else counts as a job: only reading it tells whether a motion word stands in it. Packed files too. */
po_file_is po_file_kind(const unsigned char *head, size_t n, unsigned long long size);

/* Jobs may be packed, parts may not: the kind of what was packed by gzip (RFC 1952) or zstd (RFC 8878), from what its first
 * bytes unpack to; a job where it is not packed. ret_packer: "gzip", "zstd". */
po_file_is po_file_kind_within(const unsigned char *head, size_t n, const char **ret_packer);

#endif
