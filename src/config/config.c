/* SPDX-License-Identifier: MIT
 * Settings from a command line, and what is in force as a file: see config.h. */
#include "config/config.h"

#include "config/sections.h"

#include <ctype.h>
#include <string.h>

/* ---- one assignment ---- */

/* Where a section's values lie in the rig in force. */
static int base_of(struct uf_config *c, const struct uf_section *section, void **base,
                   struct uf_error *err)
{
    *base = c;
    if (section->kind == UF_SECTION_PLAIN)
        return UF_OK;
    for (int p = 0; p < c->rig.plates; p++) {
        struct uf_plate *plate = &c->rig.plate[p];
        if (plate->place != section->place)
            continue;
        *base = plate;
        if (section->kind == UF_SECTION_PLATE)
            return UF_OK;
        for (int i = 0; i < plate->cells; i++)
            if (!strcmp(plate->cell[i].name, section->cell)) {
                *base = &plate->cell[i];
                return UF_OK;
            }
    }
    return uf_fail(err, UF_ENOTFOUND, "the rig \"%s\" has no [%s]; describe it in underfoot.conf",
                   c->rig.name, section->title);
}

static int assign(struct uf_config *c, const char *title, size_t title_n, const char *key,
                  const char *value, struct uf_error *err)
{
    struct uf_section section;
    const struct uf_setting *row;
    void *base;
    int rc = uf_section_parse(title, title_n, &section, err);
    if (!rc)
        rc = uf_section_row(&section, key, &row, err);
    if (!rc)
        rc = base_of(c, &section, &base, err);
    if (!rc)
        rc = uf_setting_assign(row, base, value, err);
    if (!rc && section.kind != UF_SECTION_PLAIN)
        rc = uf_rig_check(&c->rig, err);
    return rc;
}

int uf_config_set(struct uf_config *c, const char *assignment, struct uf_error *err)
{
    char key[UF_TITLE_MAX] = "", value[UF_SETTING_TEXT_MAX + 2] = "";
    const char *equals = strchr(assignment, '='), *dot = NULL;
    for (const char *p = assignment; equals && p < equals; p++)
        if (*p == '.')
            dot = p;
    if (!dot)
        return uf_fail(err, UF_EINVAL,
                       "\"%.80s\" is not of the form section.key=value, as in "
                       "link.device=/dev/ttyACM0",
                       assignment);
    const char *from = dot + 1, *to = equals;
    while (from < to && isspace((unsigned char)*from))
        from++;
    while (to > from && isspace((unsigned char)to[-1]))
        to--;
    if (to - from < (ptrdiff_t)sizeof key)
        memcpy(key, from, (size_t)(to - from));
    from = equals + 1 + strspn(equals + 1, " \t");
    to = from + strlen(from);
    while (to > from && isspace((unsigned char)to[-1]))
        to--;
    if (to - from >= (ptrdiff_t)sizeof value)
        return uf_fail(err, UF_EINVAL, "\"%.80s...\": the value has more than %d characters",
                       assignment, UF_SETTING_TEXT_MAX);
    memcpy(value, from, (size_t)(to - from));

    struct uf_config trial = *c;
    struct uf_error why;
    int rc = assign(&trial, assignment, (size_t)(dot - assignment), key, value, &why);
    if (rc)
        return uf_fail(err, rc, "\"%.80s\": %s", assignment, why.text);
    *c = trial;
    uf_config_settle(c);
    return UF_OK;
}

void uf_config_spool_folder(const struct uf_config *c, char folder[UF_PATH_MAX + 8])
{
    const struct uf_daemon_settings *d = &c->daemon;
    snprintf(folder, UF_PATH_MAX + 8, "%s%s", *d->spool ? d->spool : d->database,
             *d->spool ? "" : ".spool");
}

/* ---- print ---- */

static void print_row(const struct uf_setting *s, const void *base, bool help, FILE *out)
{
    char range[160];
    if (help) {
        uf_setting_range(s, range, sizeof range);
        fprintf(out, "# %s (%s", s->help, range);
        if (!s->initial)
            fputs(")\n", out);
        else
            fprintf(out, "; default %s)\n", *s->initial ? s->initial : "nothing");
    }
    fprintf(out, "%s = ", s->key);
    uf_setting_print(s, base, out);
    fputc('\n', out);
}

static void print_all(enum uf_section_kind kind, const void *base, bool help, FILE *out)
{
    const struct uf_section_table *t = &uf_section_table[kind];
    for (size_t i = 0; i < t->rows; i++)
        print_row(&t->row[i], base, help, out);
}

void uf_config_print(const struct uf_config *c, FILE *out)
{
    const struct uf_section_table *t = &uf_section_table[UF_SECTION_PLAIN];
    const char *section = "";
    for (size_t i = 0; i < t->rows; i++) {
        if (strcmp(section, t->row[i].section))
            fprintf(out, "%s[%s]\n", i ? "\n" : "", t->row[i].section);
        section = t->row[i].section;
        print_row(&t->row[i], c, true, out);
    }
    for (int p = 0; p < c->rig.plates; p++) {
        const struct uf_plate *plate = &c->rig.plate[p];
        const char *place = uf_place_name(plate->place);
        fprintf(out, "\n[plate %s]\n", place);
        print_all(UF_SECTION_PLATE, plate, p == 0, out);
        for (int i = 0; i < plate->cells; i++) {
            fprintf(out, "\n[cell %s %s]\n", place, plate->cell[i].name);
            print_all(UF_SECTION_CELL, &plate->cell[i], p == 0 && i == 0, out);
        }
    }
}
