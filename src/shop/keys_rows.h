/* How rows of the tables of keys are written. SPDX-License-Identifier: Apache-2.0 */
#ifndef PO_SHOP_KEYS_ROWS_H
#define PO_SHOP_KEYS_ROWS_H

#include <math.h>

#include "shop/keys.h"

#define COUNT_OF(a) (sizeof(a) / sizeof((a)[0]))
#define TABLE(name, where, rows) const po_key_table name = {where, rows, COUNT_OF(rows)}

/* Rows. NEED_ marks a required key, MAY_ an optional one with its default. */
#define NEED_NUMBER(key, type, field, unit_, low_, high_, says_)                                                       \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_NUMBER, .required = true, .offset = offsetof(type, field), .unit = unit_,          \
        .low = low_, .high = high_, .says = says_                                                                      \
    }
#define MAY_NUMBER(key, type, field, unit_, low_, high_, preset_, says_)                                               \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_NUMBER, .offset = offsetof(type, field), .unit = unit_, .low = low_,               \
        .high = high_, .preset = preset_, .says = says_                                                                \
    }
#define ELSE_NUMBER(key, type, field, unit_, low_, high_, preset_says_, says_)                                         \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_NUMBER, .offset = offsetof(type, field), .unit = unit_, .low = low_,               \
        .high = high_, .preset = NAN, .preset_says = preset_says_, .says = says_                                       \
    }
#define NEED_COUNT(key, type, field, low_, high_, says_)                                                               \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_COUNT, .required = true, .offset = offsetof(type, field), .low = low_,             \
        .high = high_, .says = says_                                                                                   \
    }
#define MAY_COUNT(key, type, field, low_, high_, preset_, says_)                                                       \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_COUNT, .offset = offsetof(type, field), .low = low_, .high = high_,                \
        .preset = preset_, .says = says_                                                                               \
    }
#define MAY_BOOL(key, type, field, preset_, says_)                                                                     \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_BOOL, .offset = offsetof(type, field), .preset = preset_, .says = says_            \
    }
#define NEED_RANGE(key, type, field, unit_, low_, high_, says_)                                                        \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_RANGE, .required = true, .offset = offsetof(type, field), .unit = unit_,           \
        .low = low_, .high = high_, .says = says_                                                                      \
    }
#define MAY_RANGE(key, type, field, unit_, low_, high_, preset_low_, preset_high_, says_)                              \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_RANGE, .offset = offsetof(type, field), .unit = unit_, .low = low_, .high = high_, \
        .preset = preset_low_, .preset_high = preset_high_, .says = says_                                              \
    }
#define ELSE_RANGE(key, type, field, unit_, low_, high_, preset_says_, says_)                                          \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_RANGE, .offset = offsetof(type, field), .unit = unit_, .low = low_, .high = high_, \
        .preset = NAN, .preset_high = NAN, .preset_says = preset_says_, .says = says_                                  \
    }
#define NEED_NAME(key, type, field, says_)                                                                             \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_TEXT, .required = true, .offset = offsetof(type, field), .low = 1,                 \
        .high = PO_SHOP_MOST_NAME, .says = says_                                                                       \
    }
#define NEED_MAP(key, type, field, table, says_)                                                                       \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_MAP, .required = true, .offset = offsetof(type, field), .inside = &(table),        \
        .says = says_                                                                                                  \
    }
#define MAY_MAP(key, type, field, table, preset_says_, says_)                                                          \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_MAP, .offset = offsetof(type, field), .inside = &(table),                          \
        .preset_says = preset_says_, .says = says_                                                                     \
    }
#define NEED_CHOICE(key, type, field, choices_, says_)                                                                 \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_CHOICE, .required = true, .offset = offsetof(type, field), .choices = choices_,    \
        .says = says_                                                                                                  \
    }
#define MAY_CHOICE(key, type, field, choices_, preset_, says_)                                                         \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_CHOICE, .offset = offsetof(type, field), .choices = choices_, .preset = preset_,   \
        .says = says_                                                                                                  \
    }
#define NEED_OWN(key, own_, offset_, expects_, says_)                                                                  \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_OWN, .required = true, .offset = offset_, .own = own_, .expects = expects_,        \
        .says = says_                                                                                                  \
    }
#define MAY_OWN(key, own_, offset_, expects_, preset_says_, says_)                                                     \
    {                                                                                                                  \
        .name = key, .kind = PO_KEY_OWN, .offset = offset_, .own = own_, .expects = expects_,                          \
        .preset_says = preset_says_, .says = says_                                                                     \
    }

#endif
