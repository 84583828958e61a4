/* SPDX-License-Identifier: MIT
 * `underfoot import`: a CSV file of another instrument, line by line to the swing that is nearest
 * in time. Everything is read and checked before anything is written. */
#include "base/clock.h"
#include "cli/cli.h"
#include "cli/csv_file.h"
#include "cli/text.h"
#include "cli/when.h"
#include "store/imports.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct import {
    struct uf_mapping mapping;
    struct uf_csv csv;
    const char *file; /* its name without folders */
    int64_t day_utc_us;
    struct uf_import_line *line;
    size_t lines;
    struct uf_extra *extra; /* of lines with a swing, after matching */
    size_t extras;
};

/* ---- the mapping ---- */

/* "Club Speed=club_speed:mph" or "Spin=spin:rpm" or "Smash=smash". */
static int take_column(const struct uf_cli *c, const char *text, struct uf_mapping *m)
{
    struct uf_extra probe;
    struct uf_error err;
    const char *equals = strrchr(text, '=');
    if (!equals || equals == text)
        return uf_cli_fail(c, UF_EXIT_USAGE,
                           "\"%s\" is no column to take: give HEADING=NAME:UNIT, as in \"Club "
                           "Speed=club_speed:mph\"",
                           text);
    if (m->n == UF_MAPPING_COLUMNS_MAX)
        return uf_cli_fail(c, UF_EXIT_USAGE, "%d columns are the most", UF_MAPPING_COLUMNS_MAX);
    char heading[UF_NAME_BYTES + 1], name[64];
    size_t n = (size_t)(equals - text), length = strcspn(equals + 1, ":");
    const char *unit = equals[1 + length] ? equals + 2 + length : "";
    if (n >= UF_NAME_BYTES || length >= sizeof name)
        return uf_cli_fail(c, UF_EXIT_USAGE, "\"%s\" is too long", text);
    memcpy(heading, text, n);
    heading[n] = '\0';
    memcpy(name, equals + 1, length);
    name[length] = '\0';
    if (uf_person_text(m->column[m->n].heading, UF_NAME_BYTES, heading, "a heading", &err) ||
        uf_extra_take(&probe, name, "1", unit, &err)) /* is the name one, is the unit right? */
        return uf_cli_fail(c, UF_EXIT_USAGE, "\"%s\": %s", text, err.text);
    for (size_t i = 0; i < m->n; i++)
        if (strcmp(m->column[i].name, name) == 0 ||
            strcmp(m->column[i].heading, m->column[m->n].heading) == 0)
            return uf_cli_fail(c, UF_EXIT_USAGE, "\"%s\": that column or name is given twice",
                               text);
    strcpy(m->column[m->n].name, name);
    if (uf_person_text(m->column[m->n].unit, sizeof m->column[0].unit, unit, "the unit", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    m->n++;
    return UF_EXIT_DONE;
}

static int seconds_option(const struct uf_cli *c, const char *name, double lo, double hi,
                          double *out)
{
    const char *text = uf_cli_option(c, name);
    char *end;
    if (!text)
        return UF_EXIT_DONE;
    double v = strtod(text, &end);
    if (!*text || *end || !(v >= lo && v <= hi))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s %s: give seconds, from %g to %g", name, text, lo,
                           hi);
    *out = v;
    return UF_EXIT_DONE;
}

static int take_mapping(struct uf_cli *c, struct uf_store *s, struct import *im)
{
    struct uf_mapping *m = &im->mapping;
    const char *name = uf_cli_option(c, "--as"), *column = uf_cli_option(c, "--time");
    const char *dates = uf_cli_option(c, "--dates"), *day = uf_cli_option(c, "--day");
    struct uf_error err;
    char clean[64];
    if (uf_person_text(clean, sizeof clean, name ? name : "csv", "--as", &err) || !*clean)
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", *clean ? err.text : "--as needs a name");
    int rc = uf_mapping_get(s, clean, m, &err);
    if (rc && rc != UF_ENOTFOUND)
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    if (column && uf_person_text(m->time_column, sizeof m->time_column, column, "--time", &err))
        return uf_cli_fail(c, UF_EXIT_USAGE, "%s", err.text);
    if (dates && strcmp(dates, "ymd") != 0 && strcmp(dates, "dmy") != 0 &&
        strcmp(dates, "mdy") != 0)
        return uf_cli_fail(c, UF_EXIT_USAGE, "--dates %s: give ymd, dmy or mdy", dates);
    if (dates)
        strcpy(m->date_order, dates);
    im->day_utc_us = UF_WHEN_NO_DAY;
    if (day && uf_text_parse_date(day, uf_clock_utc_us(), &im->day_utc_us))
        return uf_cli_fail(c, UF_EXIT_USAGE, "--day %s is not a date: give 2026-03-01 or today",
                           day);
    rc = seconds_option(c, "--within", 0, UF_MAPPING_WITHIN_MAX, &m->within_s);
    if (!rc)
        rc = seconds_option(c, "--ahead", -86400, 86400, &m->ahead_s);
    if (c->operands > 1)
        m->n = 0;
    for (int i = 1; !rc && i < c->operands; i++)
        rc = take_column(c, c->operand[i], m);
    if (!rc && !*m->time_column)
        return uf_cli_fail(c, UF_EXIT_USAGE,
                           "which column says when? Nothing is remembered as \"%s\" yet: give "
                           "--time HEADING, and HEADING=NAME:UNIT for each column to take",
                           m->name);
    if (!rc && m->n == 0)
        return uf_cli_fail(c, UF_EXIT_USAGE,
                           "which columns? Give HEADING=NAME:UNIT for each, as in \"Club "
                           "Speed=club_speed:mph\"");
    return rc;
}

/* ---- the file ---- */

static int find_column(const struct uf_cli *c, const struct import *im, const char *heading,
                       size_t *out)
{
    int at = uf_csv_column(&im->csv, heading);
    if (at >= 0) {
        *out = (size_t)at;
        return UF_EXIT_DONE;
    }
    char all[300] = "";
    for (size_t i = 0, n = 0; i < im->csv.columns && n < sizeof all; i++)
        n += (size_t)snprintf(all + n, sizeof all - n, "%s%s", i ? ", " : "",
                              uf_csv_cell(&im->csv, 0, i));
    return uf_cli_fail(c, UF_EXIT_FAILED, "%s has %s column \"%s\"; its headings: %s", im->file,
                       at == -1 ? "no" : "more than one", heading, all);
}

/* A decimal comma where commas don't separate cells. */
static void decimal_point(char *text, char separator)
{
    char *comma = strchr(text, ',');
    if (separator != ',' && comma && !strchr(comma + 1, ',') && !strchr(text, '.'))
        *comma = '.';
}

static int read_value(const struct uf_cli *c, struct import *im, size_t row, size_t column,
                      size_t k)
{
    const char *cell = uf_csv_cell(&im->csv, row, column);
    struct uf_error err;
    char text[UF_NAME_BYTES];
    struct uf_extra *e = &im->extra[im->extras];
    if (uf_person_text(text, sizeof text, cell, "the cell", &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s, row %zu, \"%s\": %s", im->file, row + 1,
                           im->mapping.column[k].heading, err.text);
    if (!*text || strcmp(text, "-") == 0 || strcmp(text, "--") == 0)
        return UF_EXIT_DONE; /* not measured */
    decimal_point(text, im->csv.separator);
    memset(e, 0, sizeof *e);
    if (uf_extra_take(e, im->mapping.column[k].name, text, im->mapping.column[k].unit, &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s, row %zu, \"%s\": %s", im->file, row + 1,
                           im->mapping.column[k].heading, err.text);
    snprintf(e->source, sizeof e->source, "%s", im->file);
    e->swing_id = (int64_t)(im->lines - 1); /* the line, until it has a swing */
    e->at_utc_us = im->line[im->lines - 1].utc_us;
    im->extras++;
    return UF_EXIT_DONE;
}

static int read_lines(const struct uf_cli *c, struct import *im)
{
    const struct uf_mapping *m = &im->mapping;
    size_t when, column[UF_MAPPING_COLUMNS_MAX];
    int rc = find_column(c, im, m->time_column, &when);
    for (size_t k = 0; !rc && k < m->n; k++)
        rc = find_column(c, im, m->column[k].heading, &column[k]);
    if (rc)
        return rc;
    im->line = calloc(im->csv.rows, sizeof *im->line);
    im->extra = calloc(im->csv.rows * m->n, sizeof *im->extra);
    if (!im->line || !im->extra)
        return uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    for (size_t row = 1; !rc && row < im->csv.rows; row++) {
        struct uf_import_line *line = &im->line[im->lines];
        const char *text = uf_csv_cell(&im->csv, row, when);
        const char *wrong = uf_when_parse(text, m->date_order, im->day_utc_us, &line->utc_us);
        if (wrong)
            return uf_cli_fail(c, UF_EXIT_FAILED, "%s, row %zu, \"%s\": \"%.60s\" %s", im->file,
                               row + 1, m->time_column, text, wrong);
        line->utc_us -= llround(1e6 * m->ahead_s);
        line->row = row + 1;
        im->lines++;
        for (size_t k = 0; !rc && k < m->n; k++)
            rc = read_value(c, im, row, column[k], k);
    }
    return rc;
}

/* Extras of lines without a swing go; the others get it. */
static void give_swings(struct import *im)
{
    size_t n = 0;
    for (size_t i = 0; i < im->extras; i++) {
        int64_t swing = im->line[im->extra[i].swing_id].swing_id;
        if (swing == 0)
            continue;
        im->extra[n] = im->extra[i];
        im->extra[n++].swing_id = swing;
    }
    im->extras = n;
}

/* ---- what it says ---- */

static void add_values(char *out, size_t size, const struct import *im, int64_t swing)
{
    size_t n = 0;
    out[0] = '\0';
    for (size_t i = 0; i < im->extras && n < size; i++)
        if (im->extra[i].swing_id == swing)
            n += (size_t)snprintf(out + n, size - n, "%s%s %s", n ? ", " : "", im->extra[i].name,
                                  im->extra[i].original);
}

static size_t matched(const struct import *im)
{
    size_t n = 0;
    for (size_t i = 0; i < im->lines; i++)
        n += im->line[i].swing_id != 0;
    return n;
}

static int print_matches(struct uf_cli *c, const struct import *im, bool dry)
{
    struct uf_columns t;
    char text[600];
    uf_columns_begin(&t, "rlrrl");
    static const char *const heads[] = {"row", "time", "swing", "off", "numbers"};
    for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
        uf_columns_add(&t, "%s", heads[i]);
    for (size_t i = 0; i < im->lines; i++) {
        const struct uf_import_line *l = &im->line[i];
        uf_columns_add(&t, "%zu", l->row);
        uf_text_local(l->utc_us, text, sizeof text);
        uf_columns_add(&t, "%s", text);
        if (l->swing_id)
            uf_columns_add(&t, "%lld", (long long)l->swing_id);
        else
            uf_columns_add(&t, "-");
        if (isnan(l->off_s))
            uf_columns_add(&t, "%s", "");
        else
            uf_columns_add(&t, "%+.1f s", l->off_s);
        if (l->swing_id)
            add_values(text, sizeof text, im, l->swing_id);
        else if (isnan(l->off_s))
            snprintf(text, sizeof text, "no swing within a day");
        else if (fabs(l->off_s) <= im->mapping.within_s)
            snprintf(text, sizeof text, "that swing has a line nearer to it");
        else
            snprintf(text, sizeof text, "the nearest swing is further than %g s",
                     im->mapping.within_s);
        uf_columns_add(&t, "%s", text);
    }
    if (uf_columns_print(&t, "", c->out))
        return uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    fprintf(c->out, "%zu of %zu lines have a swing; %s\n", matched(im), im->lines,
            dry ? "nothing was written (--dry-run)" : "their numbers are stored");
    return UF_EXIT_DONE;
}

static int print_json(struct uf_cli *c, const struct import *im, bool dry)
{
    json_t *lines = json_array();
    for (size_t i = 0; i < im->lines; i++) {
        const struct uf_import_line *l = &im->line[i];
        json_t *numbers = json_object();
        for (size_t k = 0; k < im->extras && l->swing_id; k++)
            if (im->extra[k].swing_id == l->swing_id)
                json_object_set_new(numbers, im->extra[k].name,
                                    json_pack("{s:f, s:s, s:s}", "value", im->extra[k].value,
                                              "unit", im->extra[k].unit, "original",
                                              im->extra[k].original));
        json_array_append_new(
            lines,
            json_pack("{s:I, s:I, s:o, s:o, s:o}", "row", (json_int_t)l->row, "utc_us",
                      (json_int_t)l->utc_us, "swing",
                      l->swing_id ? json_integer(l->swing_id) : json_null(), "off_s",
                      isnan(l->off_s) ? json_null() : json_real(l->off_s), "numbers", numbers));
    }
    return uf_cli_print_json(c, json_pack("{s:b, s:I, s:o}", "written", !dry, "matched",
                                          (json_int_t)matched(im), "lines", lines));
}

/* ---- the command ---- */

static int import(struct uf_cli *c, struct uf_store *s, struct import *im)
{
    struct uf_error err;
    const char *slash = strrchr(c->operand[0], '/');
    bool dry = uf_cli_option(c, "--dry-run") != NULL;
    im->file = slash ? slash + 1 : c->operand[0];
    char clean[UF_NAME_BYTES];
    if (uf_person_text(clean, sizeof clean, im->file, "the file's name", &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    int rc = take_mapping(c, s, im);
    if (rc)
        return rc;
    if (uf_csv_read(&im->csv, c->operand[0], &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    rc = read_lines(c, im);
    if (rc)
        return rc;
    if (uf_import_match(s, im->line, im->lines, im->mapping.within_s, &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "%s", err.text);
    give_swings(im);
    if (uf_import_write(s, &im->mapping, im->extra, im->extras,
                        uf_cli_option(c, "--replace") != NULL, dry, uf_clock_utc_us(), &err))
        return uf_cli_fail(c, UF_EXIT_FAILED, "nothing was written: %s", err.text);
    return uf_cli_option(c, "--json") ? print_json(c, im, dry) : print_matches(c, im, dry);
}

int uf_cli_import(struct uf_cli *c)
{
    struct uf_store *s;
    struct import *im = calloc(1, sizeof *im);
    if (!im)
        return uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    int rc = uf_cli_open(c, UF_STORE_WRITE, &s);
    if (!rc) {
        rc = import(c, s, im);
        uf_store_close(s);
    }
    uf_csv_free(&im->csv);
    free(im->line);
    free(im->extra);
    free(im);
    return rc;
}
