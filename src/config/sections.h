/* SPDX-License-Identifier: MIT
 * Inside src/config: the tables of settings, and which section means what. */
#ifndef UF_CONFIG_SECTIONS_H
#define UF_CONFIG_SECTIONS_H

#include "base/setting.h"
#include "config/config.h"

#define UF_PLACES    3
#define UF_TITLE_MAX 64

enum uf_section_kind {
    UF_SECTION_PLAIN, /* [link], [rig], ...: rows of the first table with that section */
    UF_SECTION_PLATE, /* [plate left] */
    UF_SECTION_CELL,  /* [cell left 1] */
    UF_SECTION_KINDS
};

struct uf_section {
    enum uf_section_kind kind;
    char title[UF_TITLE_MAX]; /* as it stands between the brackets, blanks made single */
    const char *name;         /* PLAIN: the section's name in the table */
    enum uf_place place;      /* PLATE, CELL */
    char cell[16];            /* CELL */
};

/* Offsets count from struct uf_config, uf_plate, uf_cell. */
struct uf_section_table {
    const struct uf_setting *row;
    size_t rows;
};
extern const struct uf_section_table uf_section_table[UF_SECTION_KINDS];
#define UF_ROWS_MAX 48 /* no table is longer (checked when compiling) */

/* The words between the brackets. Error: no such section, with the nearest name. */
int uf_section_parse(const char *title, size_t n, struct uf_section *out, struct uf_error *err);
/* The row of a key. Error: no such key, with the nearest one or the section it belongs to. */
int uf_section_row(const struct uf_section *section, const char *key, const struct uf_setting **row,
                   struct uf_error *err);

/* A plate, a cell as they are before their section is read. */
void uf_section_new_plate(struct uf_plate *p, enum uf_place place);
void uf_section_new_cell(struct uf_cell *c, const char *name);

/* What follows from other settings. */
void uf_config_settle(struct uf_config *c);

#endif
