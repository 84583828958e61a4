/* SPDX-License-Identifier: MIT
 * The fit: exact where there is no noise, honest where there is, and silent about what the loads do
 * not tell. */
#include "calib_plate.h"

#include "calib/least_squares.h"
#include "calib/plan.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "calib_near.h"

#define LOADS 16

struct session {
    struct uf_rig rig;
    struct uf_load_setup setup;
    struct uf_fit_settings settings;
    struct made_plate made;
    struct made_person person;
    int n;
    struct uf_reading r[LOADS];
};

/* perfect: a straight plate, a person without error; only the cells are off. */
static void start(struct session *s, bool perfect, uint64_t seed)
{
    struct uf_plan_settings plan;
    struct uf_plan_step step[LOADS];
    struct made_spread spread = made_usual();
    memset(s, 0, sizeof *s);
    uf_rig_example(&s->rig);
    made_setup(&s->setup, 0.0005);
    uf_fit_defaults(&s->settings);
    uf_plan_defaults(&plan);
    plan.most = LOADS;
    if (perfect)
        spread.curve = spread.creep = spread.noise_n = spread.zero_n = 0;
    s->n = uf_plan_make(&s->rig.plate[0], 0, &s->setup, &plan, step, NULL);
    assert_int_equal(s->n, LOADS);
    made_build(&s->made, &s->rig.plate[0], &spread, seed);
    struct uf_load_setup exact = s->setup;
    if (perfect) {
        for (int i = 0; i < exact.weights; i++)
            exact.weight[i].tolerance_kg = 0;
        exact.gravity.sd_m_s2 = exact.pulley_tol_pct = exact.level_tol_deg = 0;
        exact.drawing_tol_mm = exact.drawing_tol_deg = 0;
    }
    made_person(&s->person, &exact, &s->made.rng);
    for (int i = 0; i < s->n; i++) {
        struct uf_load l = step[i].load;
        if (perfect)
            l.place_tol_mm = l.height_tol_mm = l.towards_tol_deg = l.angle_tol_deg = 0;
        made_capture(&s->made, &s->person, &l, &s->r[i]);
        s->r[i].load = step[i].load;
    }
}

static struct uf_fit *fit(struct session *s, enum uf_model model)
{
    struct uf_error err = {0, ""};
    struct uf_fit *f;
    if (uf_fit_new(&f, model, &s->rig, 0, &s->setup, s->r, s->n, &s->settings, &err) != UF_OK)
        fail_msg("%s", err.text);
    return f;
}

static void got(struct session *s, const struct uf_fit *f, const double w[6], double out[6])
{
    double raw[UF_CHANNELS_MAX] = {0};
    struct uf_wrench wrench;
    made_read(&s->made, w, raw);
    uf_fit_wrench(f, raw, &wrench);
    const double v[6] = {wrench.fx_n,  wrench.fy_n,  wrench.fz_n,
                         wrench.mx_nm, wrench.my_nm, wrench.mz_nm};
    memcpy(out, v, sizeof v);
}

static const double mixed[6] = {40, -60, 500, 30, -45, 8};

static void whole_matrix_is_exact_without_noise(void **state)
{
    (void)state;
    struct session s;
    double out[6];
    start(&s, true, 5);
    struct uf_fit *f = fit(&s, UF_MODEL_WHOLE);
    got(&s, f, mixed, out);
    for (int k = 0; k < 6; k++)
        assert_near(out[k], mixed[k], 1e-6);
    assert_int_equal(f->loads.rank, 6);
    for (int i = 0; i < f->readings; i++)
        for (int k = 0; k < 6; k++) {
            assert_near(f->reading[i].residual[k], 0, 1e-6);
            assert_near(f->reading[i].left_out[k], 0, 1e-6);
        }
    uf_fit_free(f);
}

/* Prior knowledge may pull, but not further than it is stated. */
static void cells_come_close_with_few_loads(void **state)
{
    (void)state;
    struct session s;
    double out[6];
    start(&s, true, 6);
    struct uf_fit *f = fit(&s, UF_MODEL_CELLS);
    got(&s, f, mixed, out);
    for (int k = 0; k < 3; k++)
        assert_near(out[k], mixed[k], 0.5);
    for (int k = 3; k < 6; k++)
        assert_near(out[k], mixed[k], 0.15);
    /* far better than the data sheet, which is off by 5 % a cell */
    uf_fit_free(f);
}

/* The closed form against fitting again without the place: a straight plate, places that are off,
 * nothing that loads share. */
static void left_out_is_what_a_new_fit_says(void **state)
{
    (void)state;
    struct session s;
    start(&s, true, 7);
    for (int i = 0; i < s.setup.weights; i++)
        s.setup.weight[i].tolerance_kg = 0;
    s.setup.gravity.sd_m_s2 = s.setup.pulley_tol_pct = s.setup.level_tol_deg = 0;
    s.setup.drawing_tol_mm = s.setup.drawing_tol_deg = 0;
    for (int i = 0; i < s.n; i++) {
        s.r[i].load.x_mm += uf_sim_rng_uniform(&s.made.rng, -1, 1);
        s.r[i].load.y_mm += uf_sim_rng_uniform(&s.made.rng, -1, 1);
    }
    struct uf_fit *f = fit(&s, UF_MODEL_WHOLE);
    for (int i = 0; i < f->readings; i++) {
        const struct uf_fit_reading *r = &f->reading[i];
        struct session rest = s;
        struct uf_wrench w;
        rest.n = 0;
        for (int j = 0; j < s.n; j++)
            if (j != r->reading)
                rest.r[rest.n++] = s.r[j];
        struct uf_fit *g = fit(&rest, UF_MODEL_WHOLE);
        uf_fit_wrench(g, s.r[r->reading].above_raw, &w);
        uf_fit_free(g);
        const double e[6] = {w.fx_n - r->known[0],  w.fy_n - r->known[1],  w.fz_n - r->known[2],
                             w.mx_nm - r->known[3], w.my_nm - r->known[4], w.mz_nm - r->known[5]};
        for (int k = 0; k < 6; k++) /* the weights rest on a fit each: nearly equal */
            assert_near(r->left_out[k], e[k], 0.005 + 0.02 * fabs(e[k]));
    }
    uf_fit_free(f);
}

static void left_out_closed_form_is_exact(void **state)
{
    (void)state;
    enum { ROWS = 20, COLS = 4, FROM = 6, GONE = 3 };
    double a[ROWS * COLS], b[ROWS], less[ROWS * COLS], lb[ROWS], left[GONE];
    struct uf_sim_rng rng;
    struct uf_lsq all, rest;
    int n = 0;
    uf_sim_rng_seed(&rng, 3);
    for (int i = 0; i < ROWS; i++) {
        b[i] = uf_sim_rng_normal(&rng, 0, 1);
        for (int j = 0; j < COLS; j++)
            a[i * COLS + j] = uf_sim_rng_normal(&rng, 0, 1);
        if (i >= FROM && i < FROM + GONE)
            continue;
        memcpy(less + n * COLS, a + i * COLS, COLS * sizeof *a);
        lb[n++] = b[i];
    }
    assert_int_equal(uf_lsq_solve(&all, a, b, ROWS, COLS, 0, NULL), UF_OK);
    assert_int_equal(uf_lsq_solve(&rest, less, lb, n, COLS, 0, NULL), UF_OK);
    assert_int_equal(uf_lsq_left_out(&all, FROM, GONE, left, NULL), UF_OK);
    for (int i = 0; i < GONE; i++) {
        double e = b[FROM + i];
        for (int j = 0; j < COLS; j++)
            e -= a[(FROM + i) * COLS + j] * rest.x[j];
        assert_near(left[i], e, 1e-12);
    }
    /* a row that alone sees an unknown cannot be left out */
    for (int i = 0; i < ROWS; i++)
        a[i * COLS] = i == FROM;
    uf_lsq_free(&all);
    assert_int_equal(uf_lsq_solve(&all, a, b, ROWS, COLS, 0, NULL), UF_OK);
    assert_int_equal(uf_lsq_left_out(&all, FROM, GONE, left, NULL), UF_OK);
    assert_true(isnan(left[0]));
    uf_lsq_free(&all);
    uf_lsq_free(&rest);
}

static void vertical_loads_leave_the_rest_unknown(void **state)
{
    (void)state;
    struct session s;
    struct uf_wrench w;
    double raw[UF_CHANNELS_MAX] = {0}, cov[6][6];
    start(&s, false, 8);
    int kept = 0;
    for (int i = 0; i < s.n; i++)
        if (s.r[i].load.kind == UF_LOAD_VERTICAL)
            s.r[kept++] = s.r[i];
    s.n = kept;
    for (int m = 0; m < UF_MODELS; m++) {
        struct uf_fit *f = fit(&s, (enum uf_model)m);
        const bool known[6] = {false, false, true, true, true, false};
        assert_int_equal(f->loads.rank, 3);
        assert_memory_equal(f->matrix.known, known, sizeof known);
        made_read(&s.made, mixed, raw);
        uf_fit_wrench(f, raw, &w);
        assert_true(isnan(w.fx_n) && isnan(w.fy_n) && isnan(w.mz_nm));
        assert_true(!isnan(w.fz_n) && !isnan(w.mx_nm));
        uf_fit_covariance(f, raw, NULL, cov);
        assert_true(isnan(cov[UF_FX][UF_FX]) && !isnan(cov[UF_FZ][UF_FZ]));
        uf_fit_free(f);
    }
}

static void too_few_loads(void **state)
{
    (void)state;
    struct session s;
    struct uf_fit *f;
    struct uf_error err = {0, ""};
    start(&s, false, 9);
    assert_int_equal(uf_fit_new(&f, UF_MODEL_CELLS, &s.rig, 0, &s.setup, s.r, 2, &s.settings, &err),
                     UF_EINVAL);
    assert_null(f);
    assert_non_null(strstr(err.text, "there are 2 loads on the left plate"));
    assert_int_equal(
        uf_fit_new(&f, UF_MODEL_CELLS, &s.rig, 1, &s.setup, s.r, s.n, &s.settings, &err),
        UF_EINVAL);
    assert_non_null(strstr(err.text, "there are 0 loads on the right plate"));
}

/* A plate whose cells also feel what they cannot say (bending): prediction of left-out places is
 * better by the whole matrix, and it is taken. */
static void model_is_chosen_by_prediction(void **state)
{
    (void)state;
    struct session s;
    struct uf_fit *best, *other;
    start(&s, true, 10);
    struct made_plate bent = s.made;
    for (int comp = 0; comp < 6; comp++)
        for (int i = 0; i < 12; i++)
            bent.share[comp][i] *= 1 + 0.2 * ((comp + i) % 3 - 1) * (comp > 2);
    s.made = bent;
    for (int i = 0; i < s.n; i++) {
        struct uf_load l = s.r[i].load, exact = l;
        exact.place_tol_mm = exact.height_tol_mm = exact.towards_tol_deg = exact.angle_tol_deg = 0;
        made_capture(&s.made, &s.person, &exact, &s.r[i]);
        s.r[i].load = l;
    }
    assert_int_equal(uf_fit_best(&best, &other, &s.rig, 0, &s.setup, s.r, s.n, &s.settings, NULL),
                     UF_OK);
    assert_int_equal(best->model, UF_MODEL_WHOLE);
    assert_true(best->left_out_score < other->left_out_score);
    uf_fit_free(best);
    uf_fit_free(other);
}

/* Four corner cells of equal noise: u_x = 2 u_f sqrt(a^2 + x^2) / Fz (GUM; a: half distance) */
static void cop_uncertainty_of_corner_cells(void **state)
{
    (void)state;
    double a = 0.25, x = 0.1, u = 0.25, fz = 400, cov[6][6] = {{0}};
    struct uf_wrench w = {0, 0, fz, 0, -x * fz, 0};
    struct uf_cop_sd sd;
    cov[UF_FZ][UF_FZ] = 4 * u * u;
    cov[UF_MY][UF_MY] = cov[UF_MX][UF_MX] = 4 * a * a * u * u;
    uf_cop_sd_of(&w, cov, 0, 25, &sd);
    assert_near(sd.x_mm, 1000 * 2 * u * sqrt(a * a + x * x) / fz, 1e-9);
    assert_near(sd.y_mm, 1000 * 2 * u * a / fz, 1e-9);
    w.fz_n = 20; /* below the threshold there is no place, and so no error of it */
    uf_cop_sd_of(&w, cov, 0, 25, &sd);
    assert_true(isnan(sd.x_mm) && isnan(sd.y_mm) && isnan(sd.tz_nm));
}

/* Factors of the sum of a rectangular and a normal error by scipy 1.10 (quad over the density,
 * brentq). A plate that may stand askew by 1 degree: what that adds to the horizontal force of a
 * weight is all there is, and rectangular; the vertical force knows nothing of it. */
static void intervals_know_rectangular_errors(void **state)
{
    (void)state;
    struct session s;
    double cov[6][6], raw[UF_CHANNELS_MAX] = {0};
    static const double down[6] = {0, 0, 500, 0, 0, 0};
    struct uf_wrench w;
    struct uf_cover cover;
    assert_near(uf_coverage_factor(0), 1.959963984540054, 1e-12);
    assert_near(uf_coverage_factor(0.3), 1.959175233610444, 1e-9);
    assert_near(uf_coverage_factor(0.6), 1.9411998541951245, 1e-9);
    assert_near(uf_coverage_factor(0.95), 1.7418141739007698, 1e-9);
    assert_near(uf_coverage_factor(1), 0.95 * sqrt(3), 1e-3);
    assert_true(isnan(uf_coverage_factor(NAN)));
    start(&s, true, 7);
    s.setup.level_tol_deg = 1;
    struct uf_fit *f = fit(&s, UF_MODEL_WHOLE);
    made_read(&s.made, down, raw);
    uf_fit_wrench(f, raw, &w);
    uf_fit_covariance(f, raw, NULL, cov);
    uf_fit_cover(f, raw, cov, &w, s.rig.plate[0].surface_mm, 25, &cover);
    /* 1 degree of 500 N, half-width to standard uncertainty */
    assert_near(sqrt(cov[UF_FX][UF_FX]), 500 * sin(PLATE_RAD(1)) / sqrt(3), 0.4);
    assert_near(cover.component[UF_FX], 0.95 * sqrt(3), 0.02);
    assert_near(cover.component[UF_FY], 0.95 * sqrt(3), 0.02);
    assert_true(cover.component[UF_FZ] > 1.9);
    uf_fit_free(f);
}

/* Law of propagation against trials, all components in play. */
static void cop_uncertainty_by_trials(void **state)
{
    (void)state;
    enum { TRIALS = 20000 };
    double l[6][6] = {{0}}, cov[6][6] = {{0}}, sum[3] = {0}, square[3] = {0};
    struct uf_sim_rng rng;
    struct uf_wrench w = {60, -80, 700, 40, -90, 12};
    struct uf_cop_sd sd;
    uf_sim_rng_seed(&rng, 11);
    for (int i = 0; i < 6; i++)
        for (int j = 0; j <= i; j++)
            l[i][j] = uf_sim_rng_normal(&rng, 0, i < 3 ? 0.5 : 0.1);
    for (int i = 0; i < 6; i++)
        for (int j = 0; j < 6; j++)
            for (int k = 0; k < 6; k++)
                cov[i][j] += l[i][k] * l[j][k];
    uf_cop_sd_of(&w, cov, 60, 25, &sd);
    for (int t = 0; t < TRIALS; t++) {
        double z[6], v[6] = {w.fx_n, w.fy_n, w.fz_n, w.mx_nm, w.my_nm, w.mz_nm};
        struct uf_cop c;
        for (int k = 0; k < 6; k++)
            z[k] = uf_sim_rng_normal(&rng, 0, 1);
        for (int i = 0; i < 6; i++)
            for (int k = 0; k < 6; k++)
                v[i] += l[i][k] * z[k];
        struct uf_wrench off = {v[0], v[1], v[2], v[3], v[4], v[5]};
        uf_cop_of(&off, 60, 25, &c);
        const double q[3] = {c.x_mm, c.y_mm, c.tz_nm};
        for (int k = 0; k < 3; k++) {
            sum[k] += q[k];
            square[k] += q[k] * q[k];
        }
    }
    const double want[3] = {sd.x_mm, sd.y_mm, sd.tz_nm};
    for (int k = 0; k < 3; k++) {
        double mean = sum[k] / TRIALS, spread = sqrt(square[k] / TRIALS - mean * mean);
        assert_near(spread, want[k], 0.02 * want[k]);
    }
}

/* What is left over: nothing for any load on a straight plate, much for a cell that fell off. */
static void leftovers(void **state)
{
    (void)state;
    struct session s;
    double raw[UF_CHANNELS_MAX] = {0}, rms_n, expected_n;
    start(&s, false, 12);
    struct uf_fit *f = fit(&s, UF_MODEL_CELLS);
    assert_true(f->leftover.reading_pct > 0.001 && f->leftover.reading_pct < 0.1);
    made_read(&s.made, mixed, raw);
    uf_leftover_of(&f->leftover, raw, &rms_n, &expected_n);
    assert_true(rms_n < 3 * expected_n);
    raw[5] *= 0.9; /* a cell that carries less than it should */
    uf_leftover_of(&f->leftover, raw, &rms_n, &expected_n);
    assert_true(rms_n > 10 * expected_n);
    uf_fit_free(f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(whole_matrix_is_exact_without_noise),
                                       cmocka_unit_test(cells_come_close_with_few_loads),
                                       cmocka_unit_test(left_out_is_what_a_new_fit_says),
                                       cmocka_unit_test(left_out_closed_form_is_exact),
                                       cmocka_unit_test(vertical_loads_leave_the_rest_unknown),
                                       cmocka_unit_test(too_few_loads),
                                       cmocka_unit_test(model_is_chosen_by_prediction),
                                       cmocka_unit_test(cop_uncertainty_of_corner_cells),
                                       cmocka_unit_test(intervals_know_rectangular_errors),
                                       cmocka_unit_test(cop_uncertainty_by_trials),
                                       cmocka_unit_test(leftovers)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
