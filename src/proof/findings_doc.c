/* findings-doc FILE: writes docs/findings.md from the table of rules. A build tool. SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "proof/judge.h"

int main(int argc, char **argv)
{
    po_arena *arena = po_arena_new(0);
    const char *text = arena != NULL ? po_proof_doc(arena) : NULL;
    FILE *out = argc == 2 && text != NULL ? fopen(argv[1], "wb") : NULL;
    int failed = 2; /* wrong usage, no memory or no such folder */
    if (out != NULL) {
        size_t n = strlen(text);
        failed = fwrite(text, 1, n, out) != n;
        failed |= fclose(out) != 0;
    }
    po_arena_free(arena);
    return failed;
}
