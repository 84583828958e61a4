/* SPDX-License-Identifier: MIT
 * See csv_file.h; the parser is libcsv's. */
#include "cli/csv_file.h"

#include "store/person_text.h"

#include <csv.h>
#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CELL_MAX 4000

/* What the parser's callbacks fill. */
struct reader {
    struct uf_csv *csv;
    size_t cells, room, in_row;
    struct uf_error *err;
    int rc; /* the first failure */
};

static void on_cell(void *text, size_t n, void *who)
{
    struct reader *r = who;
    struct uf_csv *csv = r->csv;
    char *copy;
    if (r->rc)
        return;
    if (n >= CELL_MAX || memchr(text, '\0', n)) {
        r->rc = uf_fail(r->err, UF_EINVAL, "row %zu has a cell that is no text of a CSV file",
                        csv->rows + 1);
        return;
    }
    if (r->cells == r->room) {
        r->room = 2 * r->room + 256;
        char **more = realloc(csv->cell, r->room * sizeof *more);
        if (!more) {
            r->rc = uf_fail(r->err, UF_ENOMEM, "no memory to read the file");
            return;
        }
        csv->cell = more;
    }
    copy = malloc(n + 1);
    if (!copy) {
        r->rc = uf_fail(r->err, UF_ENOMEM, "no memory to read the file");
        return;
    }
    memcpy(copy, text, n);
    copy[n] = '\0';
    csv->cell[r->cells++] = copy;
    r->in_row++;
}

static void on_row(int end, void *who)
{
    (void)end;
    struct reader *r = who;
    if (r->rc)
        return;
    if (r->csv->rows == 0)
        r->csv->columns = r->in_row;
    else if (r->in_row != r->csv->columns)
        r->rc = uf_fail(r->err, UF_EINVAL,
                        "row %zu has %zu cells, and the heading has %zu: is it a CSV file, and "
                        "whole? (blank lines are not counted)",
                        r->csv->rows + 1, r->in_row, r->csv->columns);
    r->csv->rows++;
    r->in_row = 0;
}

static int load(const char *path, char **out, size_t *n, struct uf_error *err)
{
    FILE *f = fopen(path, "rb");
    if (!f)
        return uf_fail(err, errno == ENOENT ? UF_ENOTFOUND : UF_EIO, "cannot read it: %s",
                       strerror(errno));
    char *bytes = malloc(UF_CSV_BYTES_MAX + 1);
    int rc = bytes ? UF_OK : uf_fail(err, UF_ENOMEM, "no memory to read it");
    if (rc == 0) {
        *n = fread(bytes, 1, UF_CSV_BYTES_MAX + 1, f);
        if (ferror(f))
            rc = uf_fail(err, UF_EIO, "cannot read it: %s", strerror(errno));
    }
    fclose(f);
    if (rc) {
        free(bytes);
        return rc;
    }
    *out = bytes;
    return UF_OK;
}

/* What is no CSV file at a glance. */
static int check_bytes(const char *bytes, size_t n, struct uf_error *err)
{
    if (n > UF_CSV_BYTES_MAX)
        return uf_fail(err, UF_EINVAL, "it is larger than %d MB", UF_CSV_BYTES_MAX >> 20);
    if (n == 0)
        return uf_fail(err, UF_EINVAL, "it is empty");
    if (n >= 2 && (memcmp(bytes, "\xFF\xFE", 2) == 0 || memcmp(bytes, "\xFE\xFF", 2) == 0))
        return uf_fail(err, UF_EINVAL, "it is UTF-16: save it as \"CSV UTF-8\"");
    if (n >= 4 && memcmp(bytes, "PK\3\4", 4) == 0)
        return uf_fail(err, UF_EINVAL, "it is a spreadsheet: save it as CSV");
    return UF_OK;
}

/* Which of , ; tab the heading has most of, outside of quotes. */
static char separator_of(const char *text, size_t n)
{
    static const char kinds[] = {',', ';', '\t'};
    size_t count[3] = {0};
    bool quoted = false;
    for (size_t i = 0; i < n && (quoted || (text[i] != '\n' && text[i] != '\r')); i++) {
        if (text[i] == '"')
            quoted = !quoted;
        for (int k = 0; k < 3 && !quoted; k++)
            count[k] += text[i] == kinds[k];
    }
    int most = count[1] > count[0] ? 1 : 0;
    return kinds[count[2] > count[most] ? 2 : most];
}

static size_t line_of(const char *text, size_t n)
{
    size_t line = 1;
    for (size_t i = 0; i < n; i++)
        line += text[i] == '\n';
    return line;
}

static int parse(struct reader *r, const char *text, size_t n)
{
    struct csv_parser p;
    if (csv_init(&p, CSV_STRICT | CSV_STRICT_FINI))
        return uf_fail(r->err, UF_ENOMEM, "no memory to read the file");
    csv_set_delim(&p, (unsigned char)r->csv->separator);
    size_t used = csv_parse(&p, text, n, on_cell, on_row, r);
    if (used != n && !r->rc)
        r->rc = uf_fail(r->err, UF_EINVAL,
                        "line %zu: a quote where none may be: quotes stand around a whole cell, "
                        "and are doubled inside",
                        line_of(text, used));
    else if (!r->rc && csv_fini(&p, on_cell, on_row, r))
        r->rc =
            uf_fail(r->err, UF_EINVAL, "a quote is opened and never closed: is the file whole?");
    csv_free(&p);
    return r->rc;
}

static int check_heading(const struct uf_csv *csv, struct uf_error *err)
{
    char text[UF_NAME_BYTES];
    struct uf_error inner;
    if (csv->rows < 2)
        return uf_fail(err, UF_EINVAL, "it has no line below the heading");
    for (size_t i = 0; i < csv->columns; i++)
        if (uf_person_text(text, sizeof text, csv->cell[i], "a heading", &inner))
            return uf_fail(err, UF_EINVAL, "column %zu: %.300s", i + 1, inner.text);
    return UF_OK;
}

int uf_csv_read_text(struct uf_csv *out, const char *name, const char *text, size_t n,
                     struct uf_error *err)
{
    struct uf_error inner = {.text = ""};
    *out = (struct uf_csv){0};
    struct reader r = {.csv = out, .err = &inner};
    int rc = check_bytes(text, n, &inner);
    if (rc == 0) {
        size_t from = n >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
        out->separator = separator_of(text + from, n - from);
        rc = parse(&r, text + from, n - from);
    }
    if (rc == 0)
        rc = check_heading(out, &inner);
    if (rc == 0)
        return UF_OK;
    for (size_t i = 0; i < r.cells; i++) /* the last row may be short of cells */
        free(out->cell[i]);
    free(out->cell);
    *out = (struct uf_csv){0};
    return uf_fail(err, rc, "%.120s: %.340s", name, inner.text);
}

int uf_csv_read(struct uf_csv *out, const char *path, struct uf_error *err)
{
    char *bytes = NULL;
    size_t n = 0;
    struct uf_error inner = {.text = ""};
    *out = (struct uf_csv){0};
    int rc = load(path, &bytes, &n, &inner);
    if (rc)
        return uf_fail(err, rc, "%.120s: %.340s", path, inner.text);
    rc = uf_csv_read_text(out, path, bytes, n, err);
    free(bytes);
    return rc;
}

void uf_csv_free(struct uf_csv *csv)
{
    for (size_t i = 0; i < csv->rows * csv->columns; i++)
        free(csv->cell[i]);
    free(csv->cell);
    *csv = (struct uf_csv){0};
}

int uf_csv_column(const struct uf_csv *csv, const char *heading)
{
    int found = -1;
    for (size_t i = 0; i < csv->columns; i++) {
        char text[UF_NAME_BYTES];
        if (uf_person_text(text, sizeof text, csv->cell[i], "a heading", NULL) ||
            strcmp(text, heading) != 0)
            continue;
        if (found >= 0)
            return -2;
        found = (int)i;
    }
    return found;
}
