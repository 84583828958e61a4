/* SPDX-License-Identifier: MIT
 * See text.h. */
#include "cli/text.h"

#include "base/utf8.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* ---- columns ---- */

void uf_columns_begin(struct uf_columns *t, const char *align)
{
    memset(t, 0, sizeof *t);
    t->align = align;
    t->columns = strlen(align);
}

void uf_columns_add(struct uf_columns *t, const char *format, ...)
{
    if (t->cells == t->room) {
        size_t room = 2 * t->room + 64;
        char **more = realloc(t->cell, room * sizeof *more);
        if (!more) {
            t->failed = true;
            return;
        }
        t->cell = more;
        t->room = room;
    }
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int n = vsnprintf(NULL, 0, format, args);
    char *text = n < 0 ? NULL : malloc((size_t)n + 1);
    if (text) {
        vsnprintf(text, (size_t)n + 1, format, again);
        uf_utf8_plain(text);
        t->cell[t->cells++] = text;
    } else {
        t->failed = true;
    }
    va_end(again);
    va_end(args);
}

size_t uf_text_width(const char *text)
{
    size_t n = 0;
    for (; *text; text++)
        n += ((unsigned char)*text & 0xC0) != 0x80;
    return n;
}

/* Cells of one row up to its last one that is not empty: no blanks at the end of a line. */
static void print_row(const struct uf_columns *t, char *const *cell, const size_t *width, FILE *out)
{
    size_t n = t->columns;
    while (n > 0 && *cell[n - 1] == '\0')
        n--;
    for (size_t i = 0; i < n; i++) {
        int pad = (int)(width[i] - uf_text_width(cell[i]));
        if (t->align[i] == 'r')
            fprintf(out, "%*s%s", pad, "", cell[i]);
        else
            fprintf(out, "%s%*s", cell[i], i + 1 < n ? pad : 0, "");
        if (i + 1 < n)
            fputs("  ", out);
    }
    fputc('\n', out);
}

int uf_columns_print(struct uf_columns *t, const char *indent, FILE *out)
{
    size_t *width = calloc(t->columns, sizeof *width);
    int rc = width && !t->failed ? 0 : -1;
    for (size_t i = 0; rc == 0 && i < t->cells; i++) {
        size_t w = uf_text_width(t->cell[i]);
        if (w > width[i % t->columns])
            width[i % t->columns] = w;
    }
    for (size_t i = 0; rc == 0 && i + t->columns <= t->cells; i += t->columns) {
        fputs(indent, out);
        print_row(t, t->cell + i, width, out);
    }
    for (size_t i = 0; i < t->cells; i++)
        free(t->cell[i]);
    free(t->cell);
    free(width);
    return rc;
}

/* ---- time ---- */

static time_t whole_seconds(int64_t utc_us, int *us)
{
    int64_t s = utc_us / 1000000, rest = utc_us % 1000000;
    if (rest < 0) {
        rest += 1000000;
        s--;
    }
    *us = (int)rest;
    return (time_t)s;
}

void uf_text_local(int64_t utc_us, char *out, size_t size)
{
    int us;
    time_t t = whole_seconds(utc_us, &us);
    struct tm tm;
    if (!localtime_r(&t, &tm) || strftime(out, size, "%Y-%m-%d %H:%M:%S", &tm) == 0)
        snprintf(out, size, "?");
}

void uf_text_utc(int64_t utc_us, char *out, size_t size)
{
    int us;
    time_t t = whole_seconds(utc_us, &us);
    struct tm tm;
    char day[40];
    if (!gmtime_r(&t, &tm) || strftime(day, sizeof day, "%Y-%m-%dT%H:%M:%S", &tm) == 0)
        snprintf(out, size, "?");
    else
        snprintf(out, size, "%s.%06dZ", day, us);
}

void uf_text_span(double seconds, char *out, size_t size)
{
    long long s = (long long)seconds;
    if (seconds < 60)
        snprintf(out, size, "%.1f s", seconds);
    else if (seconds < 3600)
        snprintf(out, size, "%lld min", s / 60);
    else if (seconds < 86400)
        snprintf(out, size, "%lld h %lld min", s / 3600, s / 60 % 60);
    else
        snprintf(out, size, "%lld days %lld h", s / 86400, s / 3600 % 24);
}

int uf_text_parse_date(const char *text, int64_t now_utc_us, int64_t *utc_us)
{
    struct tm tm = {.tm_isdst = -1}, asked;
    int us, end = 0;
    if (strcmp(text, "today") == 0) {
        time_t now = whole_seconds(now_utc_us, &us);
        if (!localtime_r(&now, &tm))
            return -1;
        tm.tm_hour = tm.tm_min = tm.tm_sec = 0;
        tm.tm_isdst = -1;
    } else {
        if (strspn(text, "0123456789-:T ") != strlen(text))
            return -1;
        if (sscanf(text, "%4d-%2d-%2d%n", &tm.tm_year, &tm.tm_mon, &tm.tm_mday, &end) != 3 || !end)
            return -1;
        const char *rest = text + end;
        if (*rest) {
            end = 0;
            if ((*rest != ' ' && *rest != 'T') ||
                sscanf(rest + 1, "%2d:%2d%n", &tm.tm_hour, &tm.tm_min, &end) != 2 || !end)
                return -1;
            rest += 1 + end;
        }
        if (*rest) {
            end = 0;
            if (sscanf(rest, ":%2d%n", &tm.tm_sec, &end) != 1 || !end || rest[end])
                return -1;
        }
        tm.tm_year -= 1900;
        tm.tm_mon -= 1;
    }
    asked = tm;
    time_t t = mktime(&tm);
    /* mktime makes the 30th of February a day in March: that is not what was meant */
    if (t == (time_t)-1 || tm.tm_year != asked.tm_year || tm.tm_mon != asked.tm_mon ||
        tm.tm_mday != asked.tm_mday || asked.tm_hour > 23 || asked.tm_min > 59 ||
        asked.tm_sec > 59 || asked.tm_hour < 0 || asked.tm_min < 0 || asked.tm_sec < 0)
        return -1;
    *utc_us = (int64_t)t * 1000000;
    return 0;
}

int uf_text_parse_count(const char *text, int64_t least, int64_t *out)
{
    char *end;
    if (*text < '0' || *text > '9')
        return -1;
    errno = 0;
    intmax_t v = strtoimax(text, &end, 10);
    if (errno || *end || v < least)
        return -1;
    *out = (int64_t)v;
    return 0;
}
