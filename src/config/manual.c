/* SPDX-License-Identifier: MIT
 * The settings as a part of a manual page, from the tables: see config.h. */
#include "config/sections.h"

#include "base/roff.h"

#include <string.h>

static void print_table(enum uf_section_kind kind, const char *title, FILE *out)
{
    const struct uf_section_table *t = &uf_section_table[kind];
    const char *section = "";
    for (size_t i = 0; i < t->rows; i++) {
        const struct uf_setting *s = &t->row[i];
        char range[160], value[400];
        if (i == 0 || (!title && strcmp(section, s->section) != 0))
            fprintf(out, ".SS \"[%s]\"\n", title ? title : s->section);
        section = title ? "" : s->section;
        uf_setting_range(s, range, sizeof range);
        uf_roff_item(out, s->key, NULL, s->help);
        if (s->initial)
            snprintf(value, sizeof value, "(%s; default %s)", range,
                     *s->initial ? s->initial : "nothing");
        else
            snprintf(value, sizeof value, "(%s)", range);
        uf_roff_text(out, value);
        fputc('\n', out);
    }
}

void uf_config_manual(FILE *out)
{
    print_table(UF_SECTION_PLAIN, NULL, out);
    print_table(UF_SECTION_PLATE, "plate left|right|single", out);
    print_table(UF_SECTION_CELL, "cell left|right|single NAME", out);
}
