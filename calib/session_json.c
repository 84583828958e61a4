/* SPDX-License-Identifier: MIT
 * Where a calibration came from, as JSON: see session.h. A value that does not exist is null. */
#include "calib/session.h"

#include <math.h>
#include <string.h>

static json_t *number(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

static json_t *numbers(const double *v, int n)
{
    json_t *out = json_array();
    for (int i = 0; i < n; i++)
        if (json_array_append_new(out, number(v[i])) != 0) {
            json_decref(out);
            return NULL;
        }
    return out;
}

/* rows of cols numbers */
static json_t *table(const double *v, int rows, int cols)
{
    json_t *out = json_array();
    for (int i = 0; i < rows; i++)
        if (json_array_append_new(out, numbers(v + i * cols, cols)) != 0) {
            json_decref(out);
            return NULL;
        }
    return out;
}

static json_t *loads(const struct uf_session *s, const struct uf_fit *f)
{
    json_t *out = json_array();
    int failed = 0;
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        const struct uf_load *l = &s->reading[r->reading].load;
        json_t *load = json_object();
        double tolerance_kg = 0;
        for (int k = 0; k < l->pieces; k++)
            tolerance_kg += s->document->setup.weight[l->piece[k]].tolerance_kg;
        failed |= json_object_set_new(load, "load", json_integer(s->number[r->reading] + 1));
        failed |= json_object_set_new(load, "tolerance_kg", number(tolerance_kg));
        failed |= json_object_set_new(load, "known", numbers(r->known, UF_COMPONENTS));
        failed |= json_object_set_new(load, "residual", numbers(r->residual, UF_COMPONENTS));
        failed |= json_object_set_new(load, "left_out", numbers(r->left_out, UF_COMPONENTS));
        failed |= json_object_set_new(load, "studentised", number(r->studentised));
        failed |= json_array_append_new(out, load);
    }
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}

static json_t *quality(const struct uf_quality *q, double creep_pct)
{
    json_t *out = json_object();
    int failed = 0;
    failed |= json_object_set_new(out, "rms", numbers(q->rms, UF_COMPONENTS));
    failed |= json_object_set_new(out, "greatest", numbers(q->most, UF_COMPONENTS));
    failed |= json_object_set_new(out, "left_out_rms", numbers(q->left_out_rms, UF_COMPONENTS));
    failed |= json_object_set_new(out, "crosstalk_pct", table(&q->crosstalk_pct[0][0], 3, 3));
    const struct {
        const char *key;
        double v;
    } row[] = {{"cop_rms_mm", q->cop_rms_mm},
               {"cop_greatest_mm", q->cop_most_mm},
               {"cop_left_out_rms_mm", q->left_out_cop_rms_mm},
               {"linearity_pct", q->linearity_pct},
               {"hysteresis_pct", q->hysteresis_pct},
               {"repeatability_pct", q->repeatability_pct},
               {"zero_return_pct", q->zero_return_pct},
               {"creep_pct", creep_pct}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
        failed |= json_object_set_new(out, row[i].key, number(row[i].v));
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}

static json_t *patterns(const struct uf_fit *f)
{
    json_t *out = json_array();
    for (int p = 0; p < f->patterns; p++) {
        const double *c = f->pattern + (size_t)p * (size_t)(UF_COMPONENTS * f->channels);
        if (json_array_append_new(out, table(c, UF_COMPONENTS, f->channels)) != 0) {
            json_decref(out);
            return NULL;
        }
    }
    return out;
}

static json_t *findings(const struct uf_findings *f)
{
    json_t *out = json_array();
    for (int i = 0; i < f->n; i++)
        if (json_array_append_new(out, json_string(f->finding[i].text)) != 0) {
            json_decref(out);
            return NULL;
        }
    return out;
}

/* A matrix that is taken over brings along what is known of it: how wrong it may be, and what no
 * load can make. */
static int take_over(json_t *out, const char *place, const json_t *base_provenance)
{
    static const char *const keys[] = {"channels", "reading_pct", "leftover", "error_patterns"};
    size_t i;
    json_t *entry;
    int failed = 0;
    json_array_foreach(json_object_get(base_provenance, "plates"), i, entry)
    {
        const char *name = json_string_value(json_object_get(entry, "plate"));
        for (size_t k = 0; name && !strcmp(name, place) && k < sizeof keys / sizeof keys[0]; k++) {
            json_t *value = json_object_get(entry, keys[k]);
            if (value)
                failed |= json_object_set(out, keys[k], value);
        }
    }
    return failed;
}

static json_t *plate(const struct uf_session *s, int i, const char *base_name,
                     const json_t *base_provenance)
{
    const struct uf_solved_plate *p = &s->plate[i];
    const struct uf_fit *f = p->fit;
    json_t *out = json_object();
    const char *place = uf_place_name(s->rig->plate[i].place);
    int failed = json_object_set_new(out, "plate", json_string(place));
    if (!p->solved) {
        failed |= json_object_set_new(out, "taken_from", json_string(base_name));
        failed |= take_over(out, place, base_provenance);
    } else {
        json_t *channels = json_array();
        for (int j = 0; j < f->channels; j++)
            failed |= json_array_append_new(channels, json_integer(f->channel[j]));
        failed |= json_object_set_new(out, "channels", channels);
        failed |= json_object_set_new(out, "model", json_string(uf_model_name(f->model)));
        failed |= json_object_set_new(out, "left_out_score", number(f->left_out_score));
        failed |= json_object_set_new(out, "other_model_score", number(p->other_score));
        if (f->curve.tried)
            failed |= json_object_set_new(out, "curved",
                                          json_pack("{s:b, s:f, s:f, s:f}", "taken", f->curve.taken,
                                                    "straight_pct", f->curve.straight_pct,
                                                    "curved_pct", f->curve.curved_pct,
                                                    "gain_se_pct", f->curve.gain_se_pct));
        failed |= json_object_set_new(out, "rank", json_integer(f->loads.rank));
        failed |= json_object_set_new(out, "condition", number(f->loads.condition));
        failed |= json_object_set_new(out, "residual_scale", number(f->scale));
        failed |= json_object_set_new(out, "reading_pct", number(f->reading_pct));
        failed |= json_object_set_new(out, "loads", loads(s, f));
        failed |= json_object_set_new(out, "quality", quality(&p->quality, p->creep_pct));
        failed |= json_object_set_new(out, "findings", findings(&p->findings));
        failed |= json_object_set_new(out, "leftover", uf_leftover_to_json(&f->leftover));
        /* one standard uncertainty of the matrix each, independent of each other */
        failed |= json_object_set_new(out, "error_patterns", patterns(f));
    }
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}

json_t *uf_session_provenance(const struct uf_session *s, const char *base_name,
                              const json_t *base_provenance, int64_t made_utc_us)
{
    json_t *out = json_object(), *plates = json_array();
    int failed = 0;
    for (int i = 0; i < s->rig->plates; i++)
        failed |= json_array_append_new(plates, plate(s, i, base_name, base_provenance));
    failed |= json_object_set_new(out, "made_utc_us", json_integer(made_utc_us));
    failed |= json_object_set_new(out, "program", json_string("underfoot-calib " UF_VERSION));
    failed |= json_object_set_new(out, "plates", plates);
    failed |= json_object_set(out, "session", s->document->json);
    if (!failed)
        return out;
    json_decref(out);
    return NULL;
}
