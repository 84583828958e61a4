/* SPDX-License-Identifier: MIT
 * Inside src/cli: aligned columns, numbers with their unit, times as people write them. */
#ifndef UF_CLI_TEXT_H
#define UF_CLI_TEXT_H

#include "base/number_text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* ---- columns ---- */

/* Cells are collected, then printed with each column as wide as its widest cell. */
struct uf_columns {
    size_t columns;
    const char *align; /* a letter a column: l or r */
    char **cell;
    size_t cells, room;
    bool failed; /* no memory: printing says so */
};
void uf_columns_begin(struct uf_columns *t, const char *align);
/* The next cell, row by row. */
void uf_columns_add(struct uf_columns *t, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* Prints, two spaces between columns, indent before each row; frees. -1 without memory. */
int uf_columns_print(struct uf_columns *t, const char *indent, FILE *out);

/* Columns a text takes on the screen: its UTF-8 characters. */
size_t uf_text_width(const char *text);

/* ---- time ---- */

/* Local time, "2026-03-01 14:30:05". */
void uf_text_local(int64_t utc_us, char *out, size_t size);
/* "2026-03-01T13:30:05.123456Z". */
void uf_text_utc(int64_t utc_us, char *out, size_t size);
/* "3.2 s", "4 min", "2 h 10 min", "3 days". */
void uf_text_span(double seconds, char *out, size_t size);

/* "2026-03-01", "2026-03-01 14:30", "...:05" (T between them is fine), or "today", in local time.
 * 0, or -1 when it is none of these or there is no such day. */
int uf_text_parse_date(const char *text, int64_t now_utc_us, int64_t *utc_us);

/* A whole number of at least least; 0, or -1. */
int uf_text_parse_count(const char *text, int64_t least, int64_t *out);

#endif
