/* SPDX-License-Identifier: MIT
 * Settings as a table: see setting.h. */
#include "base/setting.h"

#include <ctype.h>
#include <errno.h>
#include <limits.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define WORD_MAX 63

static const char axis_letter[3] = {'x', 'y', 'z'};

static void *value_of(const struct uf_setting *s, void *base)
{
    return (char *)base + s->offset;
}

/* ---- numbers as people write them ---- */

/* A decimal number and nothing else: no hex, nan, inf, no trailing letters. */
static bool read_number(const char *text, size_t n, double *out)
{
    char copy[WORD_MAX + 1];
    if (n == 0 || n > WORD_MAX)
        return false;
    for (size_t i = 0; i < n; i++)
        if (!isdigit((unsigned char)text[i]) && !strchr("+-.eE", text[i]))
            return false;
    memcpy(copy, text, n);
    copy[n] = '\0';
    char *end;
    double v = strtod(copy, &end);
    if (*end != '\0' || end == copy) /* one that overflows is out of any range */
        return false;
    *out = v == 0 ? 0 : v; /* there is no other zero for a person */
    return true;
}

static bool read_whole(const char *text, size_t n, long *out)
{
    char copy[WORD_MAX + 1];
    if (n == 0 || n > WORD_MAX)
        return false;
    memcpy(copy, text, n);
    copy[n] = '\0';
    if (!isdigit((unsigned char)copy[0]) && copy[0] != '-' && copy[0] != '+')
        return false;
    char *end;
    errno = 0;
    long v = strtol(copy, &end, 10);
    if (*end != '\0' || end == copy || errno || v > INT_MAX || v < INT_MIN)
        return false;
    *out = v;
    return true;
}

/* The fewest digits that read back to the same bits. */
static void print_number(double v, FILE *out)
{
    char text[40];
    for (int digits = 6; digits <= 17; digits++) {
        snprintf(text, sizeof text, "%.*g", digits, v);
        if (strtod(text, NULL) == v)
            break;
    }
    fputs(text, out);
}

static bool in_range(const struct uf_setting *s, double v)
{
    return v >= s->min && v <= s->max;
}

/* ---- sentences ---- */

/* A '#' in a value is most often meant as a comment. */
static const char *comment_hint(const char *text)
{
    return strchr(text, '#') ? " (a comment after a value begins with ' ;')" : "";
}

static int refuse(const struct uf_setting *s, const char *text, const char *what,
                  struct uf_error *err)
{
    char range[160];
    uf_setting_range(s, range, sizeof range);
    return uf_fail(err, UF_EINVAL, "%s: \"%.60s\" %s; give %s%s", s->key, text, what, range,
                   comment_hint(text));
}

void uf_setting_range(const struct uf_setting *s, char *text, size_t size)
{
    size_t used = 0;
    switch (s->type) {
    case UF_SETTING_NUMBER:
        if (s->count == 1)
            snprintf(text, size, "%g to %g", s->min, s->max);
        else if (s->least == s->count)
            snprintf(text, size, "%d numbers of %g to %g with commas between", s->count, s->min,
                     s->max);
        else
            snprintf(text, size, "%d or %d numbers of %g to %g with commas between", s->least,
                     s->count, s->min, s->max);
        break;
    case UF_SETTING_WHOLE:
        snprintf(text, size, "a whole number, %.0f to %.0f", s->min, s->max);
        break;
    case UF_SETTING_CHOICE:
        text[0] = '\0';
        for (int i = 0; s->choices[i] && used < size; i++)
            used +=
                (size_t)snprintf(text + used, size - used, "%s%s", i ? " | " : "", s->choices[i]);
        break;
    case UF_SETTING_TEXT:
        snprintf(text, size,
                 s->min > 0 ? "text of 1 to %d characters"
                            : "nothing, or text of at most %d characters",
                 s->count - 1 < UF_SETTING_TEXT_MAX ? s->count - 1 : UF_SETTING_TEXT_MAX);
        break;
    case UF_SETTING_HEX:
        snprintf(text, size, "nothing, or %d hex digits", s->count - 1);
        break;
    case UF_SETTING_CHANNEL:
        snprintf(text, size, "channels of %.0f to %.0f as x:0 y:1 z:2", s->min, s->max);
        break;
    case UF_SETTING_AXES:
        snprintf(text, size, "numbers of %g to %g as x:0.1 y:0.1 z:0.2", s->min, s->max);
        break;
    }
}

/* ---- each type ---- */

static int assign_numbers(const struct uf_setting *s, void *value, const char *text,
                          struct uf_error *err)
{
    double v[4] = {0};
    int n = 0;
    for (const char *p = text;; p++) {
        p += strspn(p, " \t");
        size_t length = strcspn(p, ",");
        size_t word = length;
        while (word > 0 && isspace((unsigned char)p[word - 1]))
            word--;
        if (n == s->count)
            return refuse(s, text,
                          s->count == 1 ? "is more than one number" : "has too many numbers", err);
        if (!read_number(p, word, &v[n]))
            return refuse(s, text, s->count == 1 ? "is not a number" : "holds what is not a number",
                          err);
        if (!in_range(s, v[n]))
            return refuse(s, text, "is out of range", err);
        n++;
        p += length;
        if (*p == '\0')
            break;
    }
    if (n < s->least)
        return refuse(s, text, "has too few numbers", err);
    memcpy(value, v, sizeof v[0] * (size_t)s->count);
    return UF_OK;
}

/* "x:1 y:2": each axis at most once, at least one. found[i] says which came. */
static int read_axes(const struct uf_setting *s, const char *text, double v[3], bool found[3],
                     struct uf_error *err)
{
    bool whole = s->type == UF_SETTING_CHANNEL, any = false;
    for (const char *p = text + strspn(text, " \t,"); *p; p += strspn(p, " \t,")) {
        size_t length = strcspn(p, " \t,");
        int axis = *p >= 'x' && *p <= 'z' ? *p - 'x' : -1;
        if (axis < 0 || length < 3 || p[1] != ':')
            return refuse(s, text, "is not of the form axis:number", err);
        if (found[axis])
            return refuse(s, text, "gives an axis twice", err);
        long n = 0;
        if (whole ? !read_whole(p + 2, length - 2, &n) : !read_number(p + 2, length - 2, &v[axis]))
            return refuse(s, text,
                          whole ? "holds what is not a whole number" : "holds what is not a number",
                          err);
        if (whole)
            v[axis] = (double)n;
        if (!in_range(s, v[axis]))
            return refuse(s, text, "is out of range", err);
        found[axis] = any = true;
        p += length;
    }
    if (!any && s->least > 0)
        return refuse(s, text, "names no axis", err);
    return UF_OK;
}

static int assign_axes(const struct uf_setting *s, void *value, const char *text,
                       struct uf_error *err)
{
    double v[3] = {0, 0, 0};
    bool found[3] = {false, false, false};
    int rc = read_axes(s, text, v, found, err);
    if (rc)
        return rc;
    if (s->type == UF_SETTING_AXES) {
        memcpy(value, v, sizeof v);
        return UF_OK;
    }
    int channel[3];
    for (int i = 0; i < 3; i++)
        channel[i] = found[i] ? (int)v[i] : -1;
    memcpy(value, channel, sizeof channel);
    return UF_OK;
}

static int assign_whole(const struct uf_setting *s, void *value, const char *text,
                        struct uf_error *err)
{
    long n;
    if (!read_whole(text, strlen(text), &n))
        return refuse(s, text, "is not a whole number", err);
    if (!in_range(s, (double)n))
        return refuse(s, text, "is out of range", err);
    int v = (int)n;
    memcpy(value, &v, sizeof v);
    return UF_OK;
}

static int assign_choice(const struct uf_setting *s, void *value, const char *text,
                         struct uf_error *err)
{
    for (int i = 0; s->choices[i]; i++)
        if (!strcmp(s->choices[i], text)) {
            memcpy(value, &i, sizeof i);
            return UF_OK;
        }
    return refuse(s, text, "is not one of the choices", err);
}

static int assign_text(const struct uf_setting *s, void *value, const char *text,
                       struct uf_error *err)
{
    size_t n = strlen(text);
    if (n >= (size_t)s->count || n > UF_SETTING_TEXT_MAX)
        return refuse(s, text, "is too long", err);
    if (n < (size_t)s->min)
        return refuse(s, text, "is empty", err);
    for (size_t i = 0; i < n; i++)
        if (iscntrl((unsigned char)text[i]))
            return refuse(s, text, "holds a control character", err);
    /* what a configuration file could not give back */
    if (n && (text[0] == ' ' || text[n - 1] == ' ' || text[0] == ';' || strstr(text, " ;")))
        return refuse(s, text, "begins or ends with a space, or holds a comment", err);
    memset(value, 0, (size_t)s->count);
    memcpy(value, text, n);
    return UF_OK;
}

static int assign_hex(const struct uf_setting *s, void *value, const char *text,
                      struct uf_error *err)
{
    char *out = value;
    size_t n = strlen(text);
    bool good = n == 0 || n == (size_t)s->count - 1;
    for (size_t i = 0; i < n; i++)
        good = good && isxdigit((unsigned char)text[i]);
    if (!good)
        return refuse(s, text, "is not such a number", err);
    for (size_t i = 0; i <= n; i++)
        out[i] = (char)tolower((unsigned char)text[i]);
    return UF_OK;
}

int uf_setting_assign(const struct uf_setting *s, void *base, const char *text,
                      struct uf_error *err)
{
    void *value = value_of(s, base);
    switch (s->type) {
    case UF_SETTING_NUMBER:
        return assign_numbers(s, value, text, err);
    case UF_SETTING_WHOLE:
        return assign_whole(s, value, text, err);
    case UF_SETTING_CHOICE:
        return assign_choice(s, value, text, err);
    case UF_SETTING_TEXT:
        return assign_text(s, value, text, err);
    case UF_SETTING_HEX:
        return assign_hex(s, value, text, err);
    case UF_SETTING_CHANNEL:
    case UF_SETTING_AXES:
        return assign_axes(s, value, text, err);
    }
    return UF_OK;
}

/* ---- out ---- */

void uf_setting_print(const struct uf_setting *s, const void *base, FILE *out)
{
    const char *value = (const char *)base + s->offset;
    double v[4] = {0};
    int whole[3] = {0};
    const char *gap = "";
    switch (s->type) {
    case UF_SETTING_NUMBER:
        memcpy(v, value, sizeof v[0] * (size_t)s->count);
        for (int i = 0; i < s->count; i++) {
            fputs(i ? ", " : "", out);
            print_number(v[i], out);
        }
        break;
    case UF_SETTING_WHOLE:
        memcpy(whole, value, sizeof whole[0]);
        fprintf(out, "%d", whole[0]);
        break;
    case UF_SETTING_CHOICE:
        memcpy(whole, value, sizeof whole[0]);
        fputs(s->choices[whole[0]], out);
        break;
    case UF_SETTING_TEXT:
    case UF_SETTING_HEX:
        fputs(value, out);
        break;
    case UF_SETTING_CHANNEL:
        memcpy(whole, value, sizeof whole);
        for (int i = 0; i < 3; i++)
            if (whole[i] >= 0) {
                fprintf(out, "%s%c:%d", gap, axis_letter[i], whole[i]);
                gap = " ";
            }
        break;
    case UF_SETTING_AXES:
        memcpy(v, value, sizeof v[0] * 3);
        for (int i = 0; i < 3; i++)
            if (v[i] != 0) {
                fprintf(out, "%s%c:", gap, axis_letter[i]);
                print_number(v[i], out);
                gap = " ";
            }
        break;
    }
}

/* ---- finding ---- */

const struct uf_setting *uf_setting_find(const struct uf_setting *table, size_t rows,
                                         const char *section, const char *key)
{
    for (size_t i = 0; i < rows; i++)
        if (!strcmp(table[i].key, key) && (!section || !strcmp(table[i].section, section)))
            return &table[i];
    return NULL;
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Optimal string alignment over three rows. */
size_t uf_setting_distance(const char *a, const char *b)
{
    size_t m = strlen(a), n = strlen(b);
    if (m > WORD_MAX || n > WORD_MAX)
        return SIZE_MAX;
    size_t row[3][WORD_MAX + 1];
    for (size_t j = 0; j <= n; j++)
        row[0][j] = j;
    for (size_t i = 1; i <= m; i++) {
        size_t *now = row[i % 3], *above = row[(i + 2) % 3], *second = row[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= n; j++) {
            size_t change = above[j - 1] + (a[i - 1] != b[j - 1]);
            now[j] = least(change, least(above[j], now[j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                now[j] = least(now[j], second[j - 2] + 1);
        }
    }
    return row[m % 3][n];
}
