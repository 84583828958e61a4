/* SPDX-License-Identifier: MIT
 * Inside src/cli: a CSV file of another program in memory. Comma, semicolon or tab between cells,
 * whichever its heading has most of; quotes as in RFC 4180; UTF-8. */
#ifndef UF_CLI_CSV_FILE_H
#define UF_CLI_CSV_FILE_H

#include "base/error.h"

#include <stddef.h>

#define UF_CSV_BYTES_MAX (32 * 1024 * 1024)

struct uf_csv {
    size_t columns, rows; /* rows: with the heading, which is row 0 */
    char **cell;          /* rows * columns */
    char separator;
};

/* Every row has as many cells as the heading, or it is refused with its number. */
int uf_csv_read(struct uf_csv *out, const char *path, struct uf_error *err);
/* The same from memory (fuzzing); name stands in the sentences. */
int uf_csv_read_text(struct uf_csv *out, const char *name, const char *text, size_t n,
                     struct uf_error *err);
void uf_csv_free(struct uf_csv *csv);

/* The column of that heading (blanks around it don't matter); -1: none, -2: several. */
int uf_csv_column(const struct uf_csv *csv, const char *heading);

static inline const char *uf_csv_cell(const struct uf_csv *csv, size_t row, size_t column)
{
    return csv->cell[row * csv->columns + column];
}

#endif
