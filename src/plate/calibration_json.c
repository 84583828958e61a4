/* SPDX-License-Identifier: MIT
 * The JSON form of a calibration: see calibration.h. Pure. */
#include "plate/calibration.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

#define CURVE_MOST 0.5 /* of the reading, at the end of a 24 bit converter */

static const char *const component_name[UF_COMPONENTS] = {"Fx", "Fy", "Fz", "Mx", "My", "Mz"};

/* ---- reading: pieces ---- */

/* Where in the calibration a sentence is about: "plate left, cell 2" and the like. */
struct place {
    char text[64];
};

/* Keys that are not read must not stand there: a misspelt "unknown" would make a component look
 * measured. */
static int check_keys(const json_t *object, const char *const *keys, const struct place *at,
                      struct uf_error *err)
{
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)object, key, value)
    {
        bool found = false;
        for (int i = 0; keys[i]; i++)
            found = found || !strcmp(keys[i], key);
        if (!found)
            return uf_fail(err, UF_EINVAL,
                           "the calibration's %s has a field \"%.40s\" that means "
                           "nothing: take it out, or mend its name",
                           at->text, key);
    }
    return UF_OK;
}

/* rows x columns numbers into out, row by row. */
static int read_matrix(const json_t *json, size_t rows, size_t columns, double *out,
                       const struct place *at, struct uf_error *err)
{
    if (!json_is_array(json) || json_array_size(json) != rows)
        return uf_fail(err, UF_EINVAL,
                       "the calibration's %s: \"matrix\" must be a list of %zu rows", at->text,
                       rows);
    for (size_t r = 0; r < rows; r++) {
        const json_t *row = json_array_get(json, r);
        if (!json_is_array(row) || json_array_size(row) != columns)
            return uf_fail(err, UF_EINVAL,
                           "the calibration's %s: row %zu of \"matrix\" must be a list of %zu "
                           "numbers",
                           at->text, r + 1, columns);
        for (size_t c = 0; c < columns; c++) {
            const json_t *number = json_array_get(row, c);
            if (!json_is_number(number) || !isfinite(json_number_value(number)))
                return uf_fail(err, UF_EINVAL,
                               "the calibration's %s: row %zu, column %zu of \"matrix\" is not a "
                               "number",
                               at->text, r + 1, c + 1);
            out[r * columns + c] = json_number_value(number);
        }
    }
    return UF_OK;
}

/* A string field of at most size - 1 bytes; "" when there is none. */
static int read_string(const json_t *object, const char *key, char *out, size_t size,
                       struct uf_error *err)
{
    const json_t *value = json_object_get(object, key);
    out[0] = '\0';
    if (!value)
        return UF_OK;
    if (!json_is_string(value) || json_string_length(value) >= size)
        return uf_fail(err, UF_EINVAL, "the calibration's \"%s\" must be text of at most %zu bytes",
                       key, size - 1);
    for (const char *c = json_string_value(value); *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7F)
            return uf_fail(err, UF_EINVAL,
                           "the calibration's \"%s\" holds a control character: one line of plain "
                           "text, please",
                           key);
    strcpy(out, json_string_value(value));
    return UF_OK;
}

static bool is_uuid(const char *text)
{
    for (int i = 0; i < 36; i++)
        if (i == 8 || i == 13 || i == 18 || i == 23 ? text[i] != '-'
                                                    : !isxdigit((unsigned char)text[i]))
            return false;
    return text[36] == '\0';
}

/* ---- reading: a plate ---- */

static int read_cells(const struct uf_plate *plate, const json_t *json, struct uf_plate_matrix *out,
                      struct uf_error *err)
{
    static const char *const keys[] = {"cell", "matrix", NULL};
    struct uf_cell_matrix cells[UF_CELLS_MAX];
    bool seen[UF_CELLS_MAX] = {false};
    const char *place = uf_place_name(plate->place);
    memset(cells, 0, sizeof cells);
    if (!json_is_array(json))
        return uf_fail(err, UF_EINVAL, "the calibration's plate %s: \"cells\" must be a list",
                       place);
    for (size_t n = 0; n < json_array_size(json); n++) {
        const json_t *entry = json_array_get(json, n);
        const char *name = json_string_value(json_object_get(entry, "cell"));
        int i = 0;
        while (name && i < plate->cells && strcmp(plate->cell[i].name, name))
            i++;
        if (!name || i == plate->cells)
            return uf_fail(err, UF_EINVAL,
                           "the calibration's plate %s: entry %zu of \"cells\" names no cell of "
                           "this plate (\"%.20s\"); the rig has %d cells there",
                           place, n + 1, name ? name : "", plate->cells);
        struct place at;
        snprintf(at.text, sizeof at.text, "plate %s, cell %s", place, plate->cell[i].name);
        if (seen[i])
            return uf_fail(err, UF_EINVAL, "the calibration's %s is given twice", at.text);
        seen[i] = true;
        int rc = check_keys(entry, keys, &at, err);
        if (!rc)
            rc = read_matrix(json_object_get(entry, "matrix"), 3, 3, &cells[i].k[0][0], &at, err);
        if (rc)
            return rc;
        for (int k = 0; k < 3; k++)
            if (plate->cell[i].channel[k] < 0 &&
                (cells[i].k[0][k] != 0 || cells[i].k[1][k] != 0 || cells[i].k[2][k] != 0))
                return uf_fail(err, UF_EINVAL,
                               "the calibration's %s: column %d of \"matrix\" must be 0, for the "
                               "cell has no %c output in this rig",
                               at.text, k + 1, 'x' + k);
    }
    for (int i = 0; i < plate->cells; i++)
        if (!seen[i])
            return uf_fail(err, UF_EINVAL, "the calibration's plate %s has no matrix for cell %s",
                           place, plate->cell[i].name);
    uf_compose_cells(plate, cells, out);
    return UF_OK;
}

static bool has_channel(const struct uf_plate *plate, json_int_t channel)
{
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++)
            if (plate->cell[i].channel[k] >= 0 && plate->cell[i].channel[k] == channel)
                return true;
    return false;
}

static int read_channels(const struct uf_plate *plate, const json_t *json, int *channel,
                         const struct place *at, struct uf_error *err)
{
    bool seen[UF_CHANNELS_MAX] = {false};
    if (!json_is_array(json) || json_array_size(json) == 0 ||
        json_array_size(json) > UF_CHANNELS_MAX)
        return uf_fail(err, UF_EINVAL,
                       "the calibration's %s: \"channels\" must be a list of 1 to %d channels",
                       at->text, UF_CHANNELS_MAX);
    for (size_t i = 0; i < json_array_size(json); i++) {
        const json_t *number = json_array_get(json, i);
        json_int_t ch = json_integer_value(number);
        if (!json_is_integer(number) || !has_channel(plate, ch))
            return uf_fail(err, UF_EINVAL,
                           "the calibration's %s: entry %zu of \"channels\" is not a channel of "
                           "this plate in this rig",
                           at->text, i + 1);
        if (seen[ch])
            return uf_fail(err, UF_EINVAL, "the calibration's %s: channel %d is given twice",
                           at->text, (int)ch);
        seen[ch] = true;
        channel[i] = (int)ch;
    }
    return UF_OK;
}

static int read_unknown(const json_t *json, struct uf_plate_matrix *out, const struct place *at,
                        struct uf_error *err)
{
    if (json && !json_is_array(json))
        return uf_fail(err, UF_EINVAL, "the calibration's %s: \"unknown\" must be a list",
                       at->text);
    for (size_t i = 0; i < json_array_size(json); i++) {
        const char *name = json_string_value(json_array_get(json, i));
        int r = 0;
        while (name && r < UF_COMPONENTS && strcmp(component_name[r], name))
            r++;
        if (!name || r == UF_COMPONENTS)
            return uf_fail(err, UF_EINVAL,
                           "the calibration's %s: entry %zu of \"unknown\" is none of Fx, Fy, Fz, "
                           "Mx, My, Mz",
                           at->text, i + 1);
        out->known[r] = false;
        memset(out->c[r], 0, sizeof out->c[r]);
    }
    return UF_OK;
}

static int read_curve(const json_t *json, const int *channel, size_t n, struct uf_plate_matrix *out,
                      const struct place *at, struct uf_error *err)
{
    if (!json)
        return UF_OK;
    if (!json_is_array(json) || json_array_size(json) != n)
        return uf_fail(err, UF_EINVAL,
                       "the calibration's %s: \"curve\" must be a list of a number for each of its "
                       "%zu channels",
                       at->text, n);
    out->curved = true;
    for (size_t i = 0; i < n; i++) {
        const json_t *number = json_array_get(json, i);
        double v = json_number_value(number);
        /* a curve that bends by more than CURVE_MOST over the converter's range is none */
        if (!json_is_number(number) || !(fabs(v) * 0x1p23 <= CURVE_MOST))
            return uf_fail(
                err, UF_EINVAL,
                "the calibration's %s: entry %zu of \"curve\" is not a number of at most "
                "%g (1/count)",
                at->text, i + 1, CURVE_MOST / 0x1p23);
        out->curve[channel[i]] = v;
    }
    return UF_OK;
}

static int read_whole(const struct uf_plate *plate, const json_t *json, struct uf_plate_matrix *out,
                      const struct place *at, struct uf_error *err)
{
    int channel[UF_CHANNELS_MAX];
    double flat[UF_COMPONENTS * UF_CHANNELS_MAX];
    const json_t *channels = json_object_get(json, "channels");
    int rc = read_channels(plate, channels, channel, at, err);
    if (rc)
        return rc;
    size_t n = json_array_size(channels);
    rc = read_matrix(json_object_get(json, "matrix"), UF_COMPONENTS, n, flat, at, err);
    if (rc)
        return rc;
    memset(out, 0, sizeof *out);
    for (size_t r = 0; r < UF_COMPONENTS; r++) {
        out->known[r] = true;
        for (size_t i = 0; i < n; i++)
            out->c[r][channel[i]] = flat[r * n + i];
    }
    rc = read_curve(json_object_get(json, "curve"), channel, n, out, at, err);
    return rc ? rc : read_unknown(json_object_get(json, "unknown"), out, at, err);
}

static int read_plate(const struct uf_rig *rig, const json_t *json, bool *seen,
                      struct uf_calibration *out, struct uf_error *err)
{
    static const char *const cell_keys[] = {"plate", "cells", NULL};
    static const char *const whole_keys[] = {"plate",   "channels", "matrix",
                                             "unknown", "curve",    NULL};
    const char *name = json_string_value(json_object_get(json, "plate"));
    int p = 0;
    while (name && p < rig->plates && strcmp(uf_place_name(rig->plate[p].place), name))
        p++;
    if (!name || p == rig->plates)
        return uf_fail(err, UF_EINVAL,
                       "an entry of the calibration's \"plates\" is for \"%.20s\", and the rig "
                       "\"%s\" has no such plate",
                       name ? name : "", rig->name);
    struct place at;
    snprintf(at.text, sizeof at.text, "plate %s", name);
    if (seen[p])
        return uf_fail(err, UF_EINVAL, "the calibration's %s is given twice", at.text);
    seen[p] = true;
    const json_t *cells = json_object_get(json, "cells");
    int rc = check_keys(json, cells ? cell_keys : whole_keys, &at, err);
    if (rc)
        return rc;
    return cells ? read_cells(&rig->plate[p], cells, &out->plate[p], err)
                 : read_whole(&rig->plate[p], json, &out->plate[p], &at, err);
}

int uf_calibration_from_json(const struct uf_rig *rig, const json_t *json,
                             struct uf_calibration *out, struct uf_error *err)
{
    struct uf_calibration cal;
    bool seen[UF_PLATES_MAX] = {false};
    memset(&cal, 0, sizeof cal);
    if (!json_is_object(json))
        return uf_fail(err, UF_EINVAL, "the calibration is not a JSON object");
    int rc = read_string(json, "uuid", cal.uuid, sizeof cal.uuid, err);
    if (!rc)
        rc = read_string(json, "name", cal.name, sizeof cal.name, err);
    if (rc)
        return rc;
    if (cal.uuid[0] && !is_uuid(cal.uuid))
        return uf_fail(err, UF_EINVAL, "the calibration's \"uuid\" is \"%s\", not a UUID",
                       cal.uuid);
    const json_t *nominal = json_object_get(json, "nominal");
    if (nominal && !json_is_boolean(nominal))
        return uf_fail(err, UF_EINVAL, "the calibration's \"nominal\" must be true or false");
    cal.nominal = json_is_true(nominal);
    const json_t *plates = json_object_get(json, "plates");
    if (!json_is_array(plates))
        return uf_fail(err, UF_EINVAL, "the calibration has no list \"plates\"");
    for (size_t i = 0; i < json_array_size(plates); i++) {
        rc = read_plate(rig, json_array_get(plates, i), seen, &cal, err);
        if (rc)
            return rc;
    }
    for (int p = 0; p < rig->plates; p++)
        if (!seen[p])
            return uf_fail(err, UF_EINVAL,
                           "the calibration has no entry for the %s plate of the rig \"%s\"",
                           uf_place_name(rig->plate[p].place), rig->name);
    cal.plates = rig->plates;
    *out = cal;
    return UF_OK;
}

/* ---- writing ---- */

static json_t *write_row(const struct uf_plate *plate, const double *row)
{
    json_t *out = json_array();
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++) {
            int ch = plate->cell[i].channel[k];
            /* a NULL from json_real (no memory, or not finite) fails the append */
            if (ch >= 0 && json_array_append_new(out, json_real(row ? row[ch] : 0)))
                goto failed;
        }
    return out;
failed:
    json_decref(out);
    return NULL;
}

static json_t *write_plate(const struct uf_plate *plate, const struct uf_plate_matrix *m)
{
    json_t *channels = json_array(), *matrix = json_array(), *unknown = json_array();
    json_t *out = json_object();
    int failed = 0;
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++)
            if (plate->cell[i].channel[k] >= 0)
                failed |= json_array_append_new(channels, json_integer(plate->cell[i].channel[k]));
    for (int r = 0; r < UF_COMPONENTS; r++) {
        failed |= json_array_append_new(matrix, write_row(plate, m->known[r] ? m->c[r] : NULL));
        if (!m->known[r])
            failed |= json_array_append_new(unknown, json_string(component_name[r]));
    }
    failed |= json_object_set_new(out, "plate", json_string(uf_place_name(plate->place)));
    failed |= json_object_set_new(out, "channels", channels);
    failed |= json_object_set_new(out, "matrix", matrix);
    failed |= json_object_set_new(out, "unknown", unknown);
    if (m->curved)
        failed |= json_object_set_new(out, "curve", write_row(plate, m->curve));
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}

json_t *uf_calibration_to_json(const struct uf_rig *rig, const struct uf_calibration *cal)
{
    json_t *plates = json_array(), *out = json_object();
    int failed = 0;
    for (int p = 0; p < rig->plates; p++)
        failed |= json_array_append_new(plates, write_plate(&rig->plate[p], &cal->plate[p]));
    failed |= json_object_set_new(out, "uuid", json_string(cal->uuid));
    failed |= json_object_set_new(out, "name", json_string(cal->name));
    if (cal->nominal)
        failed |= json_object_set_new(out, "nominal", json_true());
    failed |= json_object_set_new(out, "plates", plates);
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}
