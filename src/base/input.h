/* Bytes of a job, from a path, standard input or memory, unpacked by content. SPDX-License-Identifier: Apache-2.0
 *
 * Plain, gzip (any number of members) and zstd (any number of frames) are told apart by their first bytes. The hash is
 * of the bytes as given (still packed). Everything is pulled in blocks; the whole file is never in memory. */
#ifndef PO_BASE_INPUT_H
#define PO_BASE_INPUT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "proveout/job.h" /* po_source */

typedef struct po_input po_input;

/* Open a source. most_bytes caps the unpacked size (0 = 10 GB). hash: whether the SHA-256 is wanted.
 * Errors: PO_E_NOTFOUND, PO_E_IO (err->where = the path), PO_E_NOMEM. Close with po_input_close. */
po_status po_input_open(const po_source *source, uint64_t most_bytes, bool hash, po_input **ret_input,
                        po_err *err) PO_MUST_USE;
void po_input_close(po_input *input); /* accepts NULL */

/* Next unpacked bytes, at most cap; *ret_n 0 = the end. Fills buf as far as it can before it returns. Bytes that
 * stand before an error are handed over first. A thread reads ahead from the second block of 256 KB on.
 * Errors: PO_E_IO, PO_E_SYNTAX (does not unpack; err->byte = place in the packed bytes), PO_E_LIMIT. */
po_status po_input_read(po_input *input, void *buf, size_t cap, size_t *ret_n, po_err *err) PO_MUST_USE;

/* Bytes as given so far / in all (0 = not known beforehand, as for standard input). */
uint64_t po_input_raw_done(const po_input *input);
uint64_t po_input_raw_total(const po_input *input);

/* Hex SHA-256 of all bytes as given; meant for when po_input_read has returned 0 bytes. Asked for earlier, or after an
 * error, it reads the raw bytes to their end first; po_input_read is then over until po_input_again. */
po_status po_input_sha256(po_input *input, char ret_hex[65], po_err *err) PO_MUST_USE;

/* Start again from the first byte (the hash is then not computed again). Standard input and pipes can be read again
 * only if keep was asked for before the first read: the raw bytes are then copied to an unlinked temporary file. */
void po_input_keep(po_input *input);
po_status po_input_again(po_input *input, po_err *err) PO_MUST_USE;

#endif
