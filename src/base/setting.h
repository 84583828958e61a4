/* SPDX-License-Identifier: MIT
 * Settings as a table: one row a setting says its key, type, range, default and help; reading,
 * checking and printing come from the row. Pure; owns nothing. */
#ifndef UF_BASE_SETTING_H
#define UF_BASE_SETTING_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* Longest text value: a line with its key must fit what inih reads (200 bytes). */
#define UF_SETTING_TEXT_MAX 160

enum uf_setting_type {
    UF_SETTING_NUMBER,  /* double[count], "1.5" or "1, 2"; those left out at the end are 0 */
    UF_SETTING_WHOLE,   /* int */
    UF_SETTING_CHOICE,  /* an enum of consecutive values from 0, by its name in choices */
    UF_SETTING_TEXT,    /* char[count], printable; min: fewest characters */
    UF_SETTING_HEX,     /* char[count]: count - 1 hex digits, kept in lower case, or nothing */
    UF_SETTING_CHANNEL, /* int[3], "x:0 y:1 z:2"; an axis that is left out is -1 */
    UF_SETTING_AXES     /* double[3], "x:0.1 z:0.2"; an axis that is left out is 0 */
};

struct uf_setting {
    const char *section, *key;
    enum uf_setting_type type;
    size_t offset; /* of the value, from the base that the calls are given */
    int least, count;
    double min, max;            /* of each number */
    const char *initial;        /* the default as one would write it; NULL: must be given */
    const char *const *choices; /* NULL-terminated */
    const char *help;           /* one line */
};

/* Reads text into the value at base + offset; the value is untouched on error. The sentence says
 * what was wrong and what to give, and begins with the key. */
int uf_setting_assign(const struct uf_setting *s, void *base, const char *text,
                      struct uf_error *err);

/* The value as uf_setting_assign reads it back to the same bits. */
void uf_setting_print(const struct uf_setting *s, const void *base, FILE *out);

/* "0.5 to 60", "right | left", ... into text[size]. */
void uf_setting_range(const struct uf_setting *s, char *text, size_t size);

/* The row of that section (NULL: of any) and key, or NULL. */
const struct uf_setting *uf_setting_find(const struct uf_setting *table, size_t rows,
                                         const char *section, const char *key);

/* How many letters must be put in, taken out, changed or swapped with their neighbour to make one
 * word of the other: for hints. Words of more than 63 letters are far from all others. */
size_t uf_setting_distance(const char *a, const char *b);
/* A word so far away is no hint. */
#define UF_SETTING_HINT 3

#endif
