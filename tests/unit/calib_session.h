/* SPDX-License-Identifier: MIT
 * A simulated calibration session as the JSON file of a person, for tests of calib (cmocka is
 * included before). */
#ifndef UF_CALIB_SESSION_TEST_H
#define UF_CALIB_SESSION_TEST_H

#include "calib_plate.h"

#include "calib/document.h"
#include "calib/plan.h"

static inline json_t *session_counts(const double *v, int n)
{
    json_t *out = json_array();
    for (int i = 0; i < n; i++)
        json_array_append_new(out, json_real(v[i]));
    return out;
}

/* counts of one load into its JSON: zero before, loaded, zero after, noise */
static inline void session_fill(json_t *load, struct made_plate *m, const struct made_person *p,
                                const struct uf_load *l, int channels)
{
    double zero[UF_CHANNELS_MAX], loaded[UF_CHANNELS_MAX], after[UF_CHANNELS_MAX];
    struct uf_reading r;
    made_capture(m, p, l, &r);
    for (int ch = 0; ch < channels; ch++) {
        /* the zero moves so far that zero_n is its error halfway, counts of about 0.0003 N */
        zero[ch] = 1000 * (ch - 10) + uf_sim_rng_normal(&m->rng, 0, 20);
        after[ch] = zero[ch] + uf_sim_rng_normal(&m->rng, 0, sqrt(12) * m->zero_n / 0.0003);
        loaded[ch] = r.above_raw[ch] + (zero[ch] + after[ch]) / 2;
        r.noise_raw[ch] = r.noise_raw[ch] > 0 ? r.noise_raw[ch] : 300;
    }
    json_object_set_new(load, "zero_raw", session_counts(zero, channels));
    json_object_set_new(load, "loaded_raw", session_counts(loaded, channels));
    json_object_set_new(load, "zero_after_raw", session_counts(after, channels));
    json_object_set_new(load, "noise_raw", session_counts(r.noise_raw, channels));
    json_object_set_new(load, "samples", json_integer(3000));
}

/* n placements on the left plate of the example rig by the plan, and a series up and down in the
 * middle; captured. New reference. made (may be NULL): the plate itself, for later loads. */
static inline json_t *session_json(int n, uint64_t seed, struct made_plate *made)
{
    struct uf_rig rig;
    struct uf_load_setup setup;
    struct uf_plan_settings plan;
    struct uf_plan_step step[UF_PLAN_MAX];
    struct made_plate m;
    struct made_person person;
    const struct made_spread spread = made_usual();
    uf_rig_example(&rig);
    made_setup(&setup, 0.0005);
    uf_plan_defaults(&plan);
    plan.most = n;
    plan.place_tol_mm = 1;
    n = uf_plan_make(&rig.plate[0], 0, &setup, &plan, step, NULL);
    made_build(&m, &rig.plate[0], &spread, seed);
    made_person(&person, &setup, &m.rng);
    json_t *out = json_object(), *weights = json_array(), *loads = json_array();
    for (int i = 0; i < setup.weights; i++)
        json_array_append_new(weights, json_pack("{s:s, s:f, s:f}", "name", setup.weight[i].name,
                                                 "kg", setup.weight[i].mass_kg, "tolerance_kg",
                                                 setup.weight[i].tolerance_kg));
    for (int i = 0; i < n + 8; i++) {
        static const int pieces[8] = {1, 2, 3, 4, 3, 2, 1, 4};
        static const enum uf_series series[8] = {UF_SERIES_UP,   UF_SERIES_UP,   UF_SERIES_UP,
                                                 UF_SERIES_UP,   UF_SERIES_DOWN, UF_SERIES_DOWN,
                                                 UF_SERIES_DOWN, UF_SERIES_UP};
        struct uf_load middle = {
            .pieces = i < n ? 0 : pieces[i - n], .piece = {0, 1, 2, 3}, .place_tol_mm = 1};
        const struct uf_load *l = i < n ? &step[i].load : &middle;
        json_t *load = uf_document_load(&rig, &setup, l, i < n ? UF_SERIES_ONCE : series[i - n]);
        session_fill(load, &m, &person, l, rig.channels);
        json_array_append_new(loads, load);
    }
    json_object_set_new(out, "form", json_string(UF_LOADS_FORM));
    json_object_set_new(out, "name", json_string("spring"));
    json_object_set_new(out, "by", json_string("A. N. Other <workshop>"));
    json_object_set_new(out, "temperature_c", json_real(21));
    json_object_set_new(out, "made_utc_us", json_integer(1767225600000000));
    json_object_set_new(out, "gravity", json_pack("{s:f, s:f}", "g_m_s2", 9.8120, "sd_m_s2", 5e-4));
    json_object_set_new(out, "weights", weights);
    json_object_set_new(out, "tolerances",
                        json_pack("{s:f, s:f}", "place_mm", 1.0, "pulley_pct", 0.5));
    json_object_set_new(out, "loads", loads);
    if (made)
        *made = m;
    return out;
}

#endif
