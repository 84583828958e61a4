/* SPDX-License-Identifier: MIT
 * Reads underfoot.conf: see config.h. inih splits the lines into section, key and value; the line
 * reader given to it counts lines, so that each error has one, and refuses what inih would take
 * in silence: long lines, words after a section, continued values. */
#include "config/sections.h"

#include <ctype.h>
#include <errno.h>
#include <ini.h>
#include <stdlib.h>
#include <string.h>

#define FILE_MAX (1 << 20)

/* A plate as it is being described. Lines are 0 where nothing has come yet. */
struct place {
    struct uf_plate plate;
    int line; /* of [plate ...] */
    int seen[UF_ROWS_MAX];
    int cell_line[UF_CELLS_MAX];
    int cell_seen[UF_CELLS_MAX][UF_ROWS_MAX];
};

struct load {
    const char *name;
    const char *text;
    size_t n, at;
    int line;
    struct uf_config config;
    int seen[UF_ROWS_MAX];
    struct place place[UF_PLACES];
    bool named; /* [rig] name was given */
    bool in_section;
    struct uf_section section;
    int cell; /* index, in a CELL section */
    int failed_line;
    struct uf_error *err;
};

/* Keeps the first error; later ones are most often its children. */
static void complain(struct load *l, int line, const char *sentence)
{
    if (l->failed_line)
        return;
    l->failed_line = line ? line : -1;
    if (line)
        uf_fail(l->err, UF_EINVAL, "%s:%d: %s", l->name, line, sentence);
    else
        uf_fail(l->err, UF_EINVAL, "%s: %s", l->name, sentence);
}

/* ---- sections ---- */

static void open_cell(struct load *l)
{
    struct place *p = &l->place[l->section.place];
    for (l->cell = 0; l->cell < p->plate.cells; l->cell++)
        if (!strcmp(p->plate.cell[l->cell].name, l->section.cell))
            return;
    if (l->cell == UF_CELLS_MAX) {
        struct uf_error why;
        uf_fail(&why, UF_EFULL, "[%s]: the %s plate already has %d cells, and can have no more",
                l->section.title, uf_place_name(l->section.place), UF_CELLS_MAX);
        complain(l, l->line, why.text);
        l->cell = 0;
        return;
    }
    uf_section_new_cell(&p->plate.cell[l->cell], l->section.cell);
    p->cell_line[l->cell] = l->line;
    p->plate.cells++;
}

static void open_section(struct load *l, const char *title, size_t n)
{
    struct uf_error why;
    l->in_section = false;
    if (uf_section_parse(title, n, &l->section, &why)) {
        complain(l, l->line, why.text);
        return;
    }
    l->in_section = true;
    struct place *p = &l->place[l->section.place];
    if (l->section.kind == UF_SECTION_PLATE && !p->line)
        p->line = l->line;
    if (l->section.kind == UF_SECTION_CELL)
        open_cell(l);
}

/* ---- lines ---- */

static void look_at_line(struct load *l, const char *line, size_t n, int room)
{
    struct uf_error why;
    if (n + 2 > (size_t)room) {
        uf_fail(&why, UF_EINVAL, "the line has %zu characters; a line can have %d", n, room - 2);
        complain(l, l->line, why.text);
        return;
    }
    for (size_t i = 0; i < n; i++)
        if (iscntrl((unsigned char)line[i]) && line[i] != '\t') {
            uf_fail(&why, UF_EINVAL, "the line holds the byte 0x%02x, which is not text",
                    (unsigned char)line[i]);
            complain(l, l->line, why.text);
            return;
        }
    if (n == 0 || line[0] != '[')
        return;
    const char *end = memchr(line, ']', n);
    if (!end) {
        complain(l, l->line, "the section has no ] at its end");
        return;
    }
    for (const char *p = end + 1; p < line + n && *p != ';' && *p != '#'; p++)
        if (!isspace((unsigned char)*p)) {
            complain(l, l->line, "there is something after the section's ]; begin a new line");
            return;
        }
    open_section(l, line + 1, (size_t)(end - line - 1));
}

/* The reader of ini_parse_stream: one line, without its leading blanks (inih would take an
 * indented line for more of the value before it). */
static char *next_line(char *out, int room, void *user)
{
    struct load *l = user;
    if (l->at >= l->n || l->failed_line)
        return NULL;
    const char *line = l->text + l->at;
    const char *newline = memchr(line, '\n', l->n - l->at);
    size_t n = newline ? (size_t)(newline - line) : l->n - l->at;
    l->at += n + (newline != NULL);
    l->line++;
    if (l->line == 1 && n >= 3 && !memcmp(line, "\xef\xbb\xbf", 3)) {
        line += 3;
        n -= 3;
    }
    while (n && (*line == ' ' || *line == '\t')) {
        line++;
        n--;
    }
    while (n && isspace((unsigned char)line[n - 1]))
        n--;
    look_at_line(l, line, n, room);
    if (l->failed_line)
        n = 0;
    memcpy(out, line, n);
    out[n] = '\n';
    out[n + 1] = '\0';
    return out;
}

static int take_key(void *user, const char *section, const char *key, const char *value)
{
    (void)section; /* open_section has it, and untruncated */
    struct load *l = user;
    struct uf_error why;
    if (l->failed_line)
        return 1;
    if (!l->in_section) {
        complain(l, l->line, "the key stands before the first [section]");
        return 1;
    }
    const struct uf_setting *row;
    if (uf_section_row(&l->section, key, &row, &why)) {
        complain(l, l->line, why.text);
        return 1;
    }
    struct place *p = &l->place[l->section.place];
    void *base = &l->config;
    int *seen = l->seen;
    if (l->section.kind == UF_SECTION_PLATE) {
        base = &p->plate;
        seen = p->seen;
    } else if (l->section.kind == UF_SECTION_CELL) {
        base = &p->plate.cell[l->cell];
        seen = p->cell_seen[l->cell];
    }
    seen += row - uf_section_table[l->section.kind].row;
    if (*seen) {
        uf_fail(&why, UF_EINVAL, "[%s] %s was already given in line %d; keep one of them",
                l->section.title, key, *seen);
        complain(l, l->line, why.text);
        return 1;
    }
    *seen = l->line;
    if (uf_setting_assign(row, base, value, &why)) {
        char text[sizeof why.text + UF_TITLE_MAX + 4];
        snprintf(text, sizeof text, "[%s] %s", l->section.title, why.text);
        complain(l, l->line, text);
    }
    return 1;
}

/* ---- the rig ---- */

/* Every key without a default must have come. */
static bool complete(struct load *l, enum uf_section_kind kind, const int *seen, int line,
                     const char *title)
{
    const struct uf_section_table *t = &uf_section_table[kind];
    for (size_t i = 0; i < t->rows; i++)
        if (!t->row[i].initial && !seen[i]) {
            char text[480];
            snprintf(text, sizeof text, "[%s] needs %s: %s", title, t->row[i].key, t->row[i].help);
            complain(l, line, text);
            return false;
        }
    return true;
}

static bool place_complete(struct load *l, const struct place *p)
{
    char title[UF_TITLE_MAX];
    const char *place = uf_place_name(p->plate.place);
    if (!p->line) {
        snprintf(title, sizeof title, "there is no [plate %s] for this cell: describe it", place);
        complain(l, p->cell_line[0], title);
        return false;
    }
    snprintf(title, sizeof title, "plate %s", place);
    if (!complete(l, UF_SECTION_PLATE, p->seen, p->line, title))
        return false;
    for (int i = 0; i < p->plate.cells; i++) {
        snprintf(title, sizeof title, "cell %s %s", place, p->plate.cell[i].name);
        if (!complete(l, UF_SECTION_CELL, p->cell_seen[i], p->cell_line[i], title))
            return false;
    }
    return true;
}

static bool described(const struct place *p)
{
    return p->line || p->plate.cells;
}

/* Puts the described plates in the place of the example's. */
static void assemble(struct load *l)
{
    struct uf_rig *rig = &l->config.rig;
    const struct place *of_plate[UF_PLATES_MAX] = {NULL};
    const struct place *left = &l->place[UF_PLACE_LEFT], *right = &l->place[UF_PLACE_RIGHT];
    const struct place *single = &l->place[UF_PLACE_SINGLE];
    int plates = 0;
    for (int i = 0; i < UF_PLACES; i++)
        if (described(&l->place[i]) && !place_complete(l, &l->place[i]))
            return;
    if (!described(left) && !described(right) && !described(single))
        return;
    if (described(single) && (described(left) || described(right))) {
        complain(l, single->line,
                 "a rig has [plate left] and [plate right], or [plate single] alone, not both");
        return;
    }
    if (described(left) != described(right)) {
        complain(l, described(left) ? left->line : right->line,
                 described(left) ? "there is a [plate left] but no [plate right]: describe it, or "
                                   "call this one single"
                                 : "there is a [plate right] but no [plate left]: describe it, or "
                                   "call this one single");
        return;
    }
    char name[sizeof rig->name];
    snprintf(name, sizeof name, "%s", l->named ? rig->name : "rig");
    memset(rig, 0, sizeof *rig);
    memcpy(rig->name, name, strlen(name));
    for (int i = 0; i < UF_PLACES; i++)
        if (described(&l->place[i])) {
            of_plate[plates] = &l->place[i];
            rig->plate[plates++] = l->place[i].plate;
        }
    rig->plates = plates;
    struct uf_error why;
    int plate, cell;
    if (uf_rig_check_at(rig, &plate, &cell, &why)) {
        int line = plate < 0  ? 0
                   : cell < 0 ? of_plate[plate]->line
                              : of_plate[plate]->cell_line[cell];
        complain(l, line, why.text);
    }
}

/* ---- the whole ---- */

static int read_all(struct load *l)
{
    int rc = ini_parse_stream(next_line, l, take_key, l);
    if (rc > 0 && (l->failed_line == 0 || rc < l->failed_line)) {
        l->failed_line = 0;
        complain(l, rc, "this is neither a [section], a key = value nor a comment (; or #)");
    }
    const struct uf_setting *name =
        uf_setting_find(uf_section_table[UF_SECTION_PLAIN].row,
                        uf_section_table[UF_SECTION_PLAIN].rows, "rig", "name");
    l->named = l->seen[name - uf_section_table[UF_SECTION_PLAIN].row] != 0;
    if (!l->failed_line)
        assemble(l);
    if (l->failed_line)
        return UF_EINVAL;
    uf_config_settle(&l->config);
    return UF_OK;
}

int uf_config_read_text(struct uf_config *c, const char *name, const char *text, size_t n,
                        struct uf_error *err)
{
    struct load *l = calloc(1, sizeof *l);
    if (!l)
        return uf_fail(err, UF_ENOMEM, "no memory to read %s", name);
    l->name = name;
    l->text = text;
    l->n = n;
    l->err = err;
    l->config = *c;
    for (int i = 0; i < UF_PLACES; i++)
        uf_section_new_plate(&l->place[i].plate, (enum uf_place)i);
    int rc = read_all(l);
    if (!rc)
        *c = l->config;
    free(l);
    return rc;
}

int uf_config_read(struct uf_config *c, const char *path, struct uf_error *err)
{
    char *text = NULL;
    size_t n = 0;
    int rc = UF_OK;
    FILE *f = fopen(path, "rb");
    if (!f) {
        rc = errno == ENOENT ? UF_ENOTFOUND : UF_EIO;
        return uf_fail(
            err, rc,
            "cannot open the configuration %s: %s; name it with --config FILE, or make one with "
            "underfootd --print-config > FILE",
            path, strerror(errno));
    }
    text = malloc(FILE_MAX + 1);
    if (!text) {
        rc = uf_fail(err, UF_ENOMEM, "no memory to read %s", path);
        goto done;
    }
    n = fread(text, 1, FILE_MAX + 1, f);
    if (ferror(f))
        rc = uf_fail(err, UF_EIO, "cannot read the configuration %s: %s", path, strerror(errno));
    else if (n > FILE_MAX)
        rc = uf_fail(err, UF_EINVAL,
                     "%s has more than %d bytes: this is not a configuration of underfoot", path,
                     FILE_MAX);
    else
        rc = uf_config_read_text(c, path, text, n, err);
done:
    free(text);
    fclose(f);
    return rc;
}
