/* SPDX-License-Identifier: MIT
 * The file of a calibration session: see document.h. */
#include "calib/document.h"

#include "calib/command.h"
#include "calib/fields.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const struct uf_field shared_tolerance[] = {
    {"pulley_pct", offsetof(struct uf_load_setup, pulley_tol_pct), 0, 50, 1},
    {"level_deg", offsetof(struct uf_load_setup, level_tol_deg), 0, 10, 0.2},
    {"drawing_mm", offsetof(struct uf_load_setup, drawing_tol_mm), 0, 100, 0.5},
    {"drawing_deg", offsetof(struct uf_load_setup, drawing_tol_deg), 0, 10, 0.2},
};
static const struct uf_field spread[] = {
    {"gain_pct", offsetof(struct uf_fit_settings, prior.gain_pct), 0.01, 1000, 10},
    {"crosstalk_pct", offsetof(struct uf_fit_settings, prior.crosstalk_pct), 0.01, 1000, 5},
    {"cell_place_mm", offsetof(struct uf_fit_settings, prior.cell_place_mm), 0.001, 100, 2},
    {"reading_pct", offsetof(struct uf_fit_settings, reading_pct), 0.0001, 10, 0.05},
};
/* ---- what the loads share ---- */

int uf_document_gravity(const json_t *json, const char *path, struct uf_gravity *out,
                        struct uf_error *err)
{
    struct uf_field_place at;
    struct uf_error inner = {0, ""};
    double a = 0, b = 0;
    snprintf(at.text, sizeof at.text, "%.120s: \"gravity\"", path);
    if (!json)
        return uf_fail(err, UF_EINVAL,
                       "%s: \"gravity\" is missing: give {\"latitude_deg\": .., \"height_m\": ..}, "
                       "or {\"g_m_s2\": .., \"sd_m_s2\": ..} from a survey",
                       path);
    int rc = uf_field_keys(json, "latitude_deg height_m g_m_s2 sd_m_s2", &at, err);
    if (rc != UF_OK)
        return rc;
    bool entered = json_object_get(json, "g_m_s2") != NULL;
    rc = uf_field_number(json, entered ? "g_m_s2" : "latitude_deg", -1e6, 1e6, NAN, &a, &at, err);
    if (rc == UF_OK)
        rc = uf_field_number(json, entered ? "sd_m_s2" : "height_m", -1e6, 1e6, entered ? 1e-4 : 0,
                             &b, &at, err);
    if (rc != UF_OK)
        return rc;
    rc = entered ? uf_gravity_entered(a, b, out, &inner) : uf_gravity_at(a, b, out, &inner);
    return rc == UF_OK ? rc : uf_fail(err, rc, "%s: %.300s", at.text, inner.text);
}

static int read_weight(const json_t *json, const struct uf_field_place *at, struct uf_weight *out,
                       struct uf_error *err)
{
    struct uf_error inner = {0, ""};
    int rc = uf_field_keys(json, "name kg tolerance_kg class", at, err);
    if (rc != UF_OK)
        return rc;
    const char *name = json_string_value(json_object_get(json, "name"));
    if (!name || strlen(name) >= sizeof out->name)
        return uf_fail(err, UF_EINVAL, "%s: \"name\" must be a text of at most %zu bytes", at->text,
                       sizeof out->name - 1);
    strcpy(out->name, name);
    rc = uf_field_number(json, "kg", -1e9, 1e9, NAN, &out->mass_kg, at, err);
    if (rc != UF_OK)
        return rc;
    const char *class_name = json_string_value(json_object_get(json, "class"));
    if (class_name) {
        out->tolerance_kg = uf_weight_class_tolerance_kg(class_name, out->mass_kg);
        if (isnan(out->tolerance_kg))
            return uf_fail(err, UF_EINVAL,
                           "%s: class \"%.10s\" has no tolerance here for %g kg (E2 F1 F2 M1 M2 M3 "
                           "of 1, 2, 5, 10, 20, 50 kg): give tolerance_kg",
                           at->text, class_name, out->mass_kg);
    } else {
        rc = uf_field_number(json, "tolerance_kg", -1e9, 1e9, NAN, &out->tolerance_kg, at, err);
        if (rc != UF_OK)
            return rc;
    }
    rc = uf_weight_check(out, &inner);
    return rc == UF_OK ? rc : uf_fail(err, rc, "%s: %.300s", at->text, inner.text);
}

static int read_weights(const json_t *json, const char *path, struct uf_load_setup *out,
                        struct uf_error *err)
{
    size_t n = json_array_size(json);
    if (!json_is_array(json) || n < 1 || n > UF_WEIGHTS_MAX)
        return uf_fail(err, UF_EINVAL, "%s: \"weights\" must be a list of 1 to %d pieces", path,
                       UF_WEIGHTS_MAX);
    for (size_t i = 0; i < n; i++) {
        struct uf_field_place at;
        snprintf(at.text, sizeof at.text, "%.100s: weight %zu", path, i + 1);
        int rc = read_weight(json_array_get(json, i), &at, &out->weight[i], err);
        if (rc != UF_OK)
            return rc;
        for (size_t j = 0; j < i; j++)
            if (!strcmp(out->weight[i].name, out->weight[j].name))
                return uf_fail(err, UF_EINVAL, "%s has the name of weight %zu, \"%s\"", at.text,
                               j + 1, out->weight[i].name);
    }
    out->weights = (int)n;
    return UF_OK;
}

/* ---- loads against each other ---- */

static int check_twice(const struct uf_document *d, const char *path, struct uf_error *err)
{
    for (int i = 0; i < d->n; i++)
        for (int j = 0; j < i; j++) {
            const struct uf_reading *a = &d->reading[i], *b = &d->reading[j];
            if (d->skipped[i] || d->skipped[j] || !uf_load_same(&a->load, &b->load))
                continue;
            if (a->series == UF_SERIES_ONCE && b->series == UF_SERIES_ONCE)
                return uf_fail(err, UF_EINVAL,
                               "%s: load %d is load %d again, the same weights at the same place: "
                               "mend its place, or say that it is meant by \"series\": \"repeat\"",
                               path, i + 1, j + 1);
            if (d->captured[i] && d->captured[j] &&
                !memcmp(a->above_raw, b->above_raw, sizeof a->above_raw))
                return uf_fail(err, UF_EINVAL,
                               "%s: load %d has the very counts of load %d: it was copied, not "
                               "measured",
                               path, i + 1, j + 1);
        }
    return UF_OK;
}

/* ---- the file ---- */

static int read_head(struct uf_document *d, const char *path, struct uf_tolerances *usual,
                     struct uf_error *err)
{
    static const struct uf_tolerances common = {1, 2, 0.5, 0.5};
    struct uf_field_place at;
    snprintf(at.text, sizeof at.text, "%.120s", path);
    int rc = uf_field_keys(d->json,
                           "form name by note temperature_c firmware board_id adc_bits made_utc_us "
                           "gravity weights tolerances spread loads",
                           &at, err);
    if (rc != UF_OK)
        return rc;
    const char *form = json_string_value(json_object_get(d->json, "form"));
    if (!form || strcmp(form, UF_LOADS_FORM) != 0)
        return uf_fail(err, form ? UF_EVERSION : UF_EINVAL,
                       "%s: \"form\" is \"%.40s\"; this program reads \"%s\"", path,
                       form ? form : "missing", UF_LOADS_FORM);
    const char *name = json_string_value(json_object_get(d->json, "name"));
    if (!name || !name[0] || strlen(name) >= sizeof d->name)
        return uf_fail(err, UF_EINVAL,
                       "%s: \"name\" must be a text of 1 to %zu bytes: the calibration is listed "
                       "by it",
                       path, sizeof d->name - 1);
    strcpy(d->name, name);
    double bits = 24;
    rc = uf_field_number(d->json, "adc_bits", 16, 24, 24, &bits, &at, err);
    d->adc_bits = (int)bits;
    d->made_utc_us = json_integer_value(json_object_get(d->json, "made_utc_us"));
    if (rc == UF_OK)
        rc = uf_document_gravity(json_object_get(d->json, "gravity"), path, &d->setup.gravity, err);
    if (rc == UF_OK)
        rc = read_weights(json_object_get(d->json, "weights"), path, &d->setup, err);
    if (rc != UF_OK)
        return rc;
    const json_t *given = json_object_get(d->json, "tolerances");
    snprintf(at.text, sizeof at.text, "%.120s: \"tolerances\"", path);
    if (given)
        rc = uf_field_keys(
            given,
            "place_mm height_mm towards_deg angle_deg pulley_pct level_deg drawing_mm "
            "drawing_deg",
            &at, err);
    if (rc == UF_OK)
        rc = uf_field_tolerances(given, &common, usual, &at, err);
    if (rc == UF_OK)
        rc = uf_field_numbers(given, shared_tolerance, UF_ROWS(shared_tolerance), &d->setup, &at,
                              err);
    given = json_object_get(d->json, "spread");
    snprintf(at.text, sizeof at.text, "%.120s: \"spread\"", path);
    if (rc == UF_OK && given)
        rc = uf_field_keys(given, "gain_pct crosstalk_pct cell_place_mm reading_pct", &at, err);
    if (rc == UF_OK)
        rc = uf_field_numbers(given, spread, UF_ROWS(spread), &d->fit, &at, err);
    return rc;
}

int uf_document_from_json(struct uf_document *d, json_t *json, const char *path,
                          const struct uf_rig *rig, struct uf_error *err)
{
    struct uf_tolerances usual;
    memset(d, 0, sizeof *d);
    d->json = json;
    int rc = read_head(d, path, &usual, err);
    const json_t *loads = json_object_get(json, "loads");
    size_t n = json_array_size(loads);
    if (rc == UF_OK && (!json_is_array(loads) || n > UF_READINGS_MAX))
        rc = uf_fail(err, UF_EINVAL, "%s: \"loads\" must be a list of at most %d loads", path,
                     UF_READINGS_MAX);
    if (rc == UF_OK) {
        d->reading = calloc(n + 1, sizeof *d->reading);
        d->captured = calloc(n + 1, sizeof *d->captured);
        d->skipped = calloc(n + 1, sizeof *d->skipped);
        if (!d->reading || !d->captured || !d->skipped)
            rc = uf_fail(err, UF_ENOMEM, "no memory for %zu loads", n);
    }
    for (size_t i = 0; i < n && rc == UF_OK; i++) {
        rc = uf_document_read_load(d, (int)i, json_array_get(loads, i), rig, &usual, path, err);
        d->n++;
    }
    if (rc == UF_OK) {
        uf_document_drift(d);
        rc = check_twice(d, path, err);
    }
    if (rc != UF_OK)
        uf_document_free(d);
    return rc;
}

int uf_document_read(struct uf_document *d, const char *path, const struct uf_rig *rig,
                     struct uf_error *err)
{
    json_t *json;
    memset(d, 0, sizeof *d);
    int rc = uf_calib_read_json(path, &json, err);
    return rc == UF_OK ? uf_document_from_json(d, json, path, rig, err) : rc;
}

void uf_document_free(struct uf_document *d)
{
    json_decref(d->json);
    free(d->reading);
    free(d->captured);
    free(d->skipped);
    memset(d, 0, sizeof *d);
}

int uf_document_write(const json_t *json, const char *path, struct uf_error *err)
{
    size_t n = strlen(path) + sizeof ".new";
    char *beside = malloc(n);
    if (!beside)
        return uf_fail(err, UF_ENOMEM, "no memory to write %s", path);
    snprintf(beside, n, "%s.new", path);
    FILE *f = fopen(beside, "w");
    bool written = f && json_dumpf(json, f, JSON_INDENT(1) | JSON_REAL_PRECISION(17)) == 0 &&
                   fputc('\n', f) != EOF && fflush(f) == 0 && fsync(fileno(f)) == 0;
    int why = errno;
    if (f && fclose(f) != 0 && written) {
        written = false;
        why = errno;
    }
    if (written && rename(beside, path) != 0) {
        written = false;
        why = errno;
    }
    int rc = written ? UF_OK : uf_fail(err, UF_EIO, "cannot write %s: %s", path, strerror(why));
    if (!written)
        unlink(beside);
    free(beside);
    return rc;
}

int uf_document_captured(const struct uf_document *d, struct uf_reading **reading, int **number,
                         int *n, struct uf_error *err)
{
    *n = 0;
    *reading = calloc((size_t)d->n + 1, sizeof **reading);
    *number = calloc((size_t)d->n + 1, sizeof **number);
    if (!*reading || !*number) {
        free(*reading);
        free(*number);
        *reading = NULL;
        *number = NULL;
        return uf_fail(err, UF_ENOMEM, "no memory for %d loads", d->n);
    }
    for (int i = 0; i < d->n; i++)
        if (d->captured[i]) {
            (*reading)[*n] = d->reading[i];
            (*number)[(*n)++] = i;
        }
    return UF_OK;
}

void uf_document_name_load(const struct uf_document *d, const struct uf_rig *rig, int number,
                           char *text, size_t size)
{
    const struct uf_load *l = &d->reading[number].load;
    const char *place_name = uf_place_name(rig->plate[l->plate].place);
    double kg = uf_load_mass_kg(&d->setup, l);
    if (l->kind == UF_LOAD_PULL)
        snprintf(text, size, "load %d (%s plate, pull of %g kg towards %g deg over %g, %g mm)",
                 number + 1, place_name, kg, l->towards_deg, l->x_mm, l->y_mm);
    else
        snprintf(text, size, "load %d (%s plate, %g kg at %g, %g mm%s)", number + 1, place_name, kg,
                 l->x_mm, l->y_mm, l->kind == UF_LOAD_TILT ? ", tilted" : "");
}
