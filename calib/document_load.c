/* SPDX-License-Identifier: MIT
 * One load of a session file, read and written: see document.h and fields.h. */
#include "calib/fields.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct uf_field place[] = {
    {"x_mm", offsetof(struct uf_load, x_mm), -1e6, 1e6, NAN},
    {"y_mm", offsetof(struct uf_load, y_mm), -1e6, 1e6, NAN},
};
static const struct uf_field pull[] = {
    {"towards_deg", offsetof(struct uf_load, towards_deg), -1e6, 1e6, NAN},
    {"height_mm", offsetof(struct uf_load, height_mm), -1e6, 1e6, NAN},
    {"rise_deg", offsetof(struct uf_load, angle_deg), -1e6, 1e6, 0},
};
static const struct uf_field tilt[] = {
    {"downhill_deg", offsetof(struct uf_load, towards_deg), -1e6, 1e6, NAN},
    {"tilt_deg", offsetof(struct uf_load, angle_deg), -1e6, 1e6, NAN},
    {"cog_height_mm", offsetof(struct uf_load, height_mm), -1e6, 1e6, NAN},
};

/* ---- a load ---- */

static int read_pieces(const json_t *json, const struct uf_load_setup *setup,
                       const struct uf_field_place *at, struct uf_load *out, struct uf_error *err)
{
    size_t n = json_array_size(json);
    if (!json_is_array(json) || n < 1 || n > UF_PIECES_MAX)
        return uf_fail(err, UF_EINVAL, "%s: \"weights\" must be a list of 1 to %d names", at->text,
                       UF_PIECES_MAX);
    for (size_t i = 0; i < n; i++) {
        const char *name = json_string_value(json_array_get(json, i));
        int w = 0;
        while (name && w < setup->weights && strcmp(setup->weight[w].name, name) != 0)
            w++;
        if (!name || w == setup->weights)
            return uf_fail(err, UF_EINVAL,
                           "%s: there is no weight \"%.30s\" in the list of weights", at->text,
                           name ? name : "?");
        out->piece[out->pieces++] = w;
    }
    return UF_OK;
}

static int read_load(const json_t *json, const struct uf_rig *rig, const struct uf_document *d,
                     const struct uf_tolerances *usual, const struct uf_field_place *at,
                     struct uf_load *out, struct uf_error *err)
{
    const char *plate = json_string_value(json_object_get(json, "plate"));
    const char *kind = json_string_value(json_object_get(json, "kind"));
    while (out->plate < rig->plates &&
           (!plate || strcmp(uf_place_name(rig->plate[out->plate].place), plate) != 0))
        out->plate++;
    if (out->plate == rig->plates)
        return uf_fail(err, UF_EINVAL, "%s: \"plate\" is \"%.20s\", and the rig \"%s\" has none so",
                       at->text, plate ? plate : "missing", rig->name);
    int k = 0;
    while (k < UF_LOAD_KINDS &&
           (!kind || strcmp(uf_load_kind_name((enum uf_load_kind)k), kind) != 0))
        k++;
    if (k == UF_LOAD_KINDS)
        return uf_fail(err, UF_EINVAL, "%s: \"kind\" must be vertical, pull or tilt", at->text);
    out->kind = (enum uf_load_kind)k;
    int rc = read_pieces(json_object_get(json, "weights"), &d->setup, at, out, err);
    if (rc == UF_OK)
        rc = uf_field_numbers(json, place, UF_ROWS(place), out, at, err);
    if (rc == UF_OK && out->kind == UF_LOAD_PULL)
        rc = uf_field_numbers(json, pull, UF_ROWS(pull), out, at, err);
    if (rc == UF_OK && out->kind == UF_LOAD_TILT)
        rc = uf_field_numbers(json, tilt, UF_ROWS(tilt), out, at, err);
    struct uf_tolerances own = *usual;
    const json_t *given = json_object_get(json, "tolerances");
    if (rc == UF_OK && given) {
        rc = uf_field_keys(given, "place_mm height_mm towards_deg angle_deg", at, err);
        if (rc == UF_OK)
            rc = uf_field_tolerances(given, usual, &own, at, err);
    }
    if (rc != UF_OK)
        return rc;
    out->place_tol_mm = own.place_mm;
    out->height_tol_mm = own.height_mm;
    out->towards_tol_deg = own.towards_deg;
    out->angle_tol_deg = own.angle_deg;
    struct uf_error inner = {0, ""};
    rc = uf_load_check(&d->setup, &rig->plate[out->plate], out, &inner);
    return rc == UF_OK ? rc : uf_fail(err, rc, "%s: %.300s", at->text, inner.text);
}

/* ---- its counts ---- */

static int read_counts(const json_t *json, const char *key, const struct uf_rig *rig, bool *there,
                       double *out, const struct uf_field_place *at, struct uf_error *err)
{
    const json_t *list = json_object_get(json, key);
    *there = list && !json_is_null(list);
    if (!*there)
        return UF_OK;
    if (!json_is_array(list) || (int)json_array_size(list) < rig->channels ||
        json_array_size(list) > UF_CHANNELS_MAX)
        return uf_fail(err, UF_EINVAL,
                       "%s: \"%s\" must be a list of the mean counts of all channels; the rig "
                       "\"%s\" needs %d",
                       at->text, key, rig->name, rig->channels);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *value = json_array_get(list, i);
        out[i] = json_number_value(value);
        if (!json_is_number(value) || !isfinite(out[i]))
            return uf_fail(err, UF_EINVAL, "%s: channel %zu of \"%s\" is not a number", at->text, i,
                           key);
    }
    return UF_OK;
}

static int read_capture(const json_t *json, const struct uf_rig *rig,
                        const struct uf_field_place *at, struct uf_reading *out, bool *captured,
                        struct uf_error *err)
{
    double loaded[UF_CHANNELS_MAX] = {0}, before[UF_CHANNELS_MAX] = {0};
    double after[UF_CHANNELS_MAX] = {0}, samples = 1;
    bool has_loaded, has_before, has_after, has_noise;
    int rc = read_counts(json, "loaded_raw", rig, &has_loaded, loaded, at, err);
    if (rc == UF_OK)
        rc = read_counts(json, "zero_raw", rig, &has_before, before, at, err);
    if (rc == UF_OK)
        rc = read_counts(json, "zero_after_raw", rig, &has_after, after, at, err);
    if (rc == UF_OK)
        rc = read_counts(json, "noise_raw", rig, &has_noise, out->noise_raw, at, err);
    if (rc == UF_OK)
        rc = uf_field_number(json, "samples", 1, 1e9, 1, &samples, at, err);
    if (rc != UF_OK)
        return rc;
    if (has_loaded != has_before)
        return uf_fail(err, UF_EINVAL,
                       "%s: \"%s\" is missing: a load needs the counts under it and those of the "
                       "empty plate just before",
                       at->text, has_loaded ? "zero_raw" : "loaded_raw");
    *captured = has_loaded;
    for (int ch = 0; ch < UF_CHANNELS_MAX; ch++) {
        double moved = has_after ? after[ch] - before[ch] : NAN;
        out->zero_raw[ch] = has_after ? (before[ch] + after[ch]) / 2 : before[ch];
        out->above_raw[ch] = loaded[ch] - out->zero_raw[ch];
        out->moved_raw[ch] = moved;
        /* three means, two of them averaged; where the zero went between them: uf_document_drift */
        out->sd_raw[ch] = has_noise ? out->noise_raw[ch] * sqrt(1.5 / samples) : 0;
        if (!has_noise)
            out->noise_raw[ch] = NAN;
    }
    return UF_OK;
}

int uf_document_read_load(struct uf_document *d, int i, const json_t *json,
                          const struct uf_rig *rig, const struct uf_tolerances *usual,
                          const char *path, struct uf_error *err)
{
    struct uf_field_place at;
    struct uf_reading *r = &d->reading[i];
    snprintf(at.text, sizeof at.text, "%.100s: load %d", path, i + 1);
    int rc =
        uf_field_keys(json,
                      "plate kind weights x_mm y_mm towards_deg height_mm rise_deg downhill_deg "
                      "tilt_deg cog_height_mm tolerances series skip zero_raw loaded_raw "
                      "zero_after_raw noise_raw samples captured_utc_us watch_s creep",
                      &at, err);
    if (rc != UF_OK)
        return rc;
    const json_t *skip = json_object_get(json, "skip");
    if (skip && !json_is_string(skip))
        return uf_fail(err, UF_EINVAL, "%s: \"skip\" must say why, as a text", at.text);
    d->skipped[i] = skip != NULL;
    const json_t *series = json_object_get(json, "series");
    const char *name = series ? json_string_value(series) : "once";
    int s = 0;
    while (s < UF_SERIES && (!name || strcmp(uf_series_name((enum uf_series)s), name) != 0))
        s++;
    if (s == UF_SERIES)
        return uf_fail(err, UF_EINVAL, "%s: \"series\" must be once, up, down or repeat", at.text);
    r->series = (enum uf_series)s;
    rc = uf_field_number(json, "watch_s", 0, 3600, 0, &r->watch_s, &at, err);
    if (rc == UF_OK)
        rc = read_load(json, rig, d, usual, &at, &r->load, err);
    if (rc == UF_OK)
        rc = read_capture(json, rig, &at, r, &d->captured[i], err);
    if (d->skipped[i])
        d->captured[i] = false;
    return rc;
}

json_t *uf_document_load(const struct uf_rig *rig, const struct uf_load_setup *setup,
                         const struct uf_load *load, enum uf_series series)
{
    json_t *out = json_object(), *pieces = json_array();
    int failed = 0;
    for (int i = 0; i < load->pieces; i++)
        failed |= json_array_append_new(pieces, json_string(setup->weight[load->piece[i]].name));
    failed |= json_object_set_new(out, "plate",
                                  json_string(uf_place_name(rig->plate[load->plate].place)));
    failed |= json_object_set_new(out, "kind", json_string(uf_load_kind_name(load->kind)));
    failed |= json_object_set_new(out, "weights", pieces);
    failed |= json_object_set_new(out, "x_mm", json_real(load->x_mm));
    failed |= json_object_set_new(out, "y_mm", json_real(load->y_mm));
    const struct uf_field *table = load->kind == UF_LOAD_PULL ? pull : tilt;
    for (size_t i = 0; i < UF_ROWS(pull) && load->kind != UF_LOAD_VERTICAL; i++) {
        const double *value = (const double *)((const char *)load + table[i].offset);
        failed |= json_object_set_new(out, table[i].key, json_real(*value));
    }
    if (series != UF_SERIES_ONCE)
        failed |= json_object_set_new(out, "series", json_string(uf_series_name(series)));
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}
_Static_assert(UF_ROWS(pull) == UF_ROWS(tilt), "uf_document_load writes both by one loop");

void uf_document_drift(struct uf_document *d)
{
    double sum[UF_CHANNELS_MAX] = {0};
    int n = 0;
    for (int i = 0; i < d->n; i++) {
        if (!d->captured[i] || isnan(d->reading[i].moved_raw[0]))
            continue;
        for (int ch = 0; ch < UF_CHANNELS_MAX; ch++)
            sum[ch] += d->reading[i].moved_raw[ch] * d->reading[i].moved_raw[ch];
        n++;
    }
    for (int i = 0; i < d->n && n > 0; i++)
        for (int ch = 0; ch < UF_CHANNELS_MAX; ch++) {
            struct uf_reading *r = &d->reading[i];
            double usual = sqrt(sum[ch] / n), own = fabs(r->moved_raw[ch]);
            r->sd_raw[ch] = hypot(r->sd_raw[ch], fmax(usual, own) / sqrt(12));
        }
}

int uf_document_creep(const struct uf_document *d, const struct uf_rig *rig, int number,
                      double *t_s, double (*raw)[UF_CHANNELS_MAX], int room, int *n,
                      struct uf_error *err)
{
    const json_t *load = json_array_get(json_object_get(d->json, "loads"), (size_t)number);
    const json_t *creep = json_object_get(load, "creep"), *times = json_object_get(creep, "t_s");
    const json_t *means = json_object_get(creep, "raw");
    *n = 0;
    if (!creep)
        return UF_OK;
    size_t count = json_array_size(times);
    if (count != json_array_size(means) || count > (size_t)room)
        return uf_fail(err, UF_EINVAL,
                       "load %d: \"creep\" must have lists \"t_s\" and \"raw\" of equal length, at "
                       "most %d",
                       number + 1, room);
    for (size_t i = 0; i < count; i++) {
        const json_t *mean = json_array_get(means, i);
        t_s[i] = json_number_value(json_array_get(times, i));
        if ((int)json_array_size(mean) < rig->channels || (i > 0 && !(t_s[i] > t_s[i - 1])))
            return uf_fail(err, UF_EINVAL,
                           "load %d: point %zu of \"creep\" has too few channels, or its time does "
                           "not grow",
                           number + 1, i + 1);
        memset(raw[i], 0, sizeof raw[i]);
        for (int ch = 0; ch < rig->channels; ch++) {
            const json_t *value = json_array_get(mean, (size_t)ch);
            if (!json_is_number(value))
                return uf_fail(err, UF_EINVAL,
                               "load %d: channel %d of point %zu of \"creep\" is not a number",
                               number + 1, ch, i + 1);
            raw[i][ch] = json_number_value(value);
        }
    }
    *n = (int)count;
    return UF_OK;
}
