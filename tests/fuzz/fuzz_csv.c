/* SPDX-License-Identifier: MIT
 * Any bytes as a CSV file: what is refused leaves nothing behind and has a sentence; what is
 * accepted is a whole table of plain headings, and written out with quotes reads back to the same
 * cells. */
#include "fuzz.h"

#include "cli/csv_file.h"

#include <stdio.h>

static void write_cell(FILE *out, const char *cell)
{
    fputc('"', out);
    for (; *cell; cell++) {
        if (*cell == '"')
            fputc('"', out);
        fputc(*cell, out);
    }
    fputc('"', out);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct uf_csv csv, back;
    struct uf_error err = {0};
    char *file = fuzz_text(data, size), *text = NULL;
    size_t n = 0;
    int rc = uf_csv_read_text(&csv, "f.csv", file, size, &err);
    free(file);
    if (rc) {
        require_refusal(rc, &err);
        REQUIRE(!csv.cell && !csv.rows && !csv.columns);
        return 0;
    }
    REQUIRE(csv.rows >= 2 && csv.columns >= 1);
    FILE *out = open_memstream(&text, &n);
    REQUIRE(out);
    for (size_t row = 0; row < csv.rows; row++)
        for (size_t c = 0; c < csv.columns; c++) {
            write_cell(out, uf_csv_cell(&csv, row, c));
            fputc(c + 1 < csv.columns ? csv.separator : '\n', out);
        }
    fclose(out);
    REQUIRE(uf_csv_read_text(&back, "f.csv", text, n, &err) == UF_OK);
    REQUIRE(back.rows == csv.rows && back.columns == csv.columns);
    REQUIRE(csv.columns == 1 || back.separator == csv.separator);
    for (size_t i = 0; i < csv.rows * csv.columns; i++)
        REQUIRE(!strcmp(csv.cell[i], back.cell[i]));
    for (size_t c = 0; c < csv.columns; c++)
        REQUIRE(uf_csv_column(&csv, uf_csv_cell(&csv, 0, c)) >= -2);
    free(text);
    uf_csv_free(&csv);
    uf_csv_free(&back);
    return 0;
}
