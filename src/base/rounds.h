/* How many rounds a random test makes. SPDX-License-Identifier: Apache-2.0
 *
 * The release build makes all of them and so compares the answers; a sanitizer looks for reads and writes out of place,
 * which the same code on fewer shapes shows as well, at five to ten times the cost of each. */
#ifndef PO_BASE_ROUNDS_H
#define PO_BASE_ROUNDS_H

/* all rounds, or so few of them where the build has sanitizers (PO_TEST_FEW, meson.build). few: still a round of each kind
 * that the test tells apart by the round's number. */
#ifdef PO_TEST_FEW
#define PO_ROUNDS(all, few) (few)
#else
#define PO_ROUNDS(all, few) (all)
#endif

#endif
