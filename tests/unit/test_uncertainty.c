/* SPDX-License-Identifier: MIT
 * Standard uncertainties: closed forms for one cause at a time, the formula for a COP, and a Monte
 * Carlo run (JCGM 101) as judge of all causes together. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "table.h"

#include <string.h>

static struct uf_analysis *analyse(const struct table *t)
{
    struct uf_analysis *a;
    struct uf_error err;
    if (uf_analyse_given(t->capture, &t->rig, &t->cal, &t->settings, &t->given, &a, &err))
        fail_msg("%s", err.text);
    return a;
}

static void sd_is(const struct uf_analysis *a, enum uf_metric m, double want, double within)
{
    if (!(fabs(a->sd[m] - want) <= within))
        fail_msg("%s: standard uncertainty %g, wanted %g +- %g", uf_metric_row(m)->name, a->sd[m],
                 want, within);
}

static void one_cause_at_a_time(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct uf_plate_u *u = t.given.system.plate;
    /* zeros of both plates, independent */
    u[0].zero[UF_FZ] = u[1].zero[UF_FZ] = 2;
    struct uf_analysis *a = analyse(&t);
    sd_is(a, UF_M_weight_n, 2 * sqrt(2), 0.01);
    sd_is(a, UF_M_lead_vertical_peak_n, 2, 0.05);
    uf_analysis_free(a);
    /* gain of the lead plate: of the 960 N under it; in body weights the weight moves too */
    memset(u, 0, sizeof t.given.system.plate);
    u[0].error[UF_FZ][UF_FZ] = 0.01;
    a = analyse(&t);
    sd_is(a, UF_M_lead_vertical_peak_n, 9.6, 0.1);
    sd_is(a, UF_M_lead_vertical_peak_bw, 1.2 * 0.01 * (1 - 0.5), 0.0002);
    sd_is(a, UF_M_trail_share_address_pct, 100 * 0.5 * 0.5 * 0.01, 0.01);
    uf_analysis_free(a);
    /* the lead plate lies elsewhere */
    memset(u, 0, sizeof t.given.system.plate);
    u[0].x_mm = 3;
    a = analyse(&t);
    sd_is(a, UF_M_lead_cop_target_at_lead_vertical_peak_mm, 3, 0.05);
    sd_is(a, UF_M_trail_cop_target_at_lead_vertical_peak_mm, 0, 0.2);
    uf_analysis_free(a);
    /* measurement-notes.md 2.2 (CALC from the GUM): u_x = u_My / Fz at constant load */
    memset(u, 0, sizeof t.given.system.plate);
    u[0].zero[UF_MY] = 1;
    a = analyse(&t);
    sd_is(a, UF_M_lead_cop_target_at_lead_vertical_peak_mm, 1000.0 / 960, 0.05);
    uf_analysis_free(a);
    uf_capture_free(t.capture);
}

/* Numbers about the signal itself have none; NULLs have none; all others do. */
static void who_has_one(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    t.given.system_known = false; /* the defaults */
    struct uf_analysis *a = analyse(&t);
    assert_true(isnan(a->sd[UF_M_lost_samples]) && isnan(a->sd[UF_M_quiet_noise_n]));
    assert_true(isnan(a->sd[UF_M_lead_cop_along_at_impact_pct]));
    assert_int_equal(a->reason[UF_M_lead_cop_along_at_impact_pct], UF_REASON_NO_FEET);
    for (int i = 0; i < UF_METRICS; i++) {
        if (a->reason[i])
            assert_true(isnan(a->sd[i]));
        else if (*uf_metric_row((enum uf_metric)i)->unit &&
                 strcmp(uf_metric_row((enum uf_metric)i)->unit, "N s"))
            if (!(a->sd[i] > 0) && i != UF_M_quiet_noise_n)
                fail_msg("%s has no uncertainty", uf_metric_row((enum uf_metric)i)->name);
    }
    double good = a->sd[UF_M_target_peak_n];
    uf_analysis_free(a);
    t.cal.nominal = true;
    a = analyse(&t);
    assert_true(a->reason[UF_M_target_peak_n] || a->sd[UF_M_target_peak_n] > 2 * good);
    uf_analysis_free(a);
    uf_capture_free(t.capture);
}

static void too_uncertain_is_null(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    t.given.system.plate[0].x_mm = 60;
    struct uf_analysis *a = analyse(&t);
    assert_int_equal(a->reason[UF_M_lead_cop_target_at_lead_vertical_peak_mm], UF_REASON_UNCERTAIN);
    assert_true(isnan(a->value[UF_M_lead_cop_target_at_lead_vertical_peak_mm]));
    assert_int_equal(a->reason[UF_M_lead_vertical_peak_n], UF_REASON_NONE);
    uf_analysis_free(a);
    uf_capture_free(t.capture);
}

/* ---- Monte Carlo ---- */

static double uniform(uint64_t *x)
{
    *x ^= *x << 13;
    *x ^= *x >> 7;
    *x ^= *x << 17;
    return (double)(*x >> 11) * 0x1p-53;
}

static double normal(uint64_t *x)
{
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += uniform(x);
    return sum;
}

#define DRAWS 40

/* Calibrations and mountings drawn from what is assumed, one analysis each: their spread must be
 * the stated uncertainty. With 40 draws a spread is known to 11 %: three of these are allowed. */
static void monte_carlo_agrees(void **state)
{
    (void)state;
    static const enum uf_metric judged[] = {UF_M_lead_vertical_peak_n,
                                            UF_M_total_vertical_peak_bw,
                                            UF_M_target_peak_n,
                                            UF_M_lead_heel_peak_n,
                                            UF_M_turn_peak_nm,
                                            UF_M_trail_share_min_pct,
                                            UF_M_lead_cop_target_at_lead_vertical_peak_mm,
                                            UF_M_lead_cop_toe_at_lead_vertical_peak_mm,
                                            UF_M_cop_line_at_turn_peak_deg};
    enum { JUDGED = sizeof judged / sizeof judged[0] };
    struct table t;
    set_table(&t);
    uf_system_u_defaults(&t.cal, &t.given.system);
    for (int p = 0; p < 2; p++) /* zeros are judged above */
        memset(t.given.system.plate[p].zero, 0, sizeof t.given.system.plate[p].zero);
    struct uf_analysis *stated = analyse(&t);
    double sum[JUDGED] = {0}, square[JUDGED] = {0};
    uint64_t seed = 0x1234567u;
    for (int d = 0; d < DRAWS; d++) {
        struct table wrong = t;
        for (int p = 0; p < 2; p++) {
            const struct uf_plate_u *u = &t.given.system.plate[p];
            for (int r = 0; r < UF_COMPONENTS; r++)
                for (int k = 0; k < UF_COMPONENTS; k++) {
                    double e = normal(&seed) * u->error[r][k];
                    for (int c = 0; c < UF_CHANNELS_MAX; c++)
                        wrong.cal.plate[p].c[r][c] += e * t.cal.plate[p].c[k][c];
                }
            wrong.rig.plate[p].centre_x_mm += normal(&seed) * u->x_mm;
            wrong.rig.plate[p].centre_y_mm += normal(&seed) * u->y_mm;
            wrong.rig.plate[p].rotation_deg += normal(&seed) * u->rotation_deg;
            wrong.rig.plate[p].surface_mm += normal(&seed) * u->surface_mm;
        }
        memset(&wrong.given.system, 0, sizeof wrong.given.system);
        struct uf_analysis *a = analyse(&wrong);
        for (int i = 0; i < JUDGED; i++) {
            double off = a->value[judged[i]] - stated->value[judged[i]];
            sum[i] += off;
            square[i] += off * off;
        }
        uf_analysis_free(a);
    }
    for (int i = 0; i < JUDGED; i++) {
        double sd = sqrt((square[i] - sum[i] * sum[i] / DRAWS) / (DRAWS - 1));
        double ratio = sd / stated->sd[judged[i]];
        if (!(ratio > 0.67 && ratio < 1.33))
            fail_msg("%s: spread %g, stated %g", uf_metric_row(judged[i])->name, sd,
                     stated->sd[judged[i]]);
    }
    uf_analysis_free(stated);
    uf_capture_free(t.capture);
}

/* Converter noise of 40 counts on every channel, drawn anew: the spread of values and of times of
 * peaks must be the stated uncertainty, in which then is nothing but noise (a Gaussian pulse loses
 * none of its place in a low-pass). */
static void monte_carlo_of_noise(void **state)
{
    (void)state;
    static const enum uf_metric judged[] = {UF_M_lead_vertical_peak_s, UF_M_target_peak_s,
                                            UF_M_trail_toe_peak_s, UF_M_turn_peak_s,
                                            UF_M_cop_line_at_turn_peak_deg};
    enum { JUDGED = sizeof judged / sizeof judged[0] };
    struct table t;
    set_table(&t);
    struct uf_capture *clean = t.capture;
    double sum[JUDGED] = {0}, square[JUDGED] = {0}, stated[JUDGED] = {0};
    uint64_t seed = 0x7654321u;
    for (int d = 0; d < DRAWS; d++) {
        t.capture = perform(&usual, &t.rig);
        for (size_t i = 0; i < t.capture->samples * 24; i++)
            t.capture->counts_raw[i] += (int32_t)lround(40 * normal(&seed));
        struct uf_analysis *a = analyse(&t);
        for (int i = 0; i < JUDGED; i++) {
            sum[i] += a->value[judged[i]];
            square[i] += a->value[judged[i]] * a->value[judged[i]];
            stated[i] += a->sd[judged[i]] / DRAWS;
        }
        uf_analysis_free(a);
        uf_capture_free(t.capture);
    }
    for (int i = 0; i < JUDGED; i++) {
        double sd = sqrt((square[i] - sum[i] * sum[i] / DRAWS) / (DRAWS - 1));
        if (!(sd / stated[i] > 0.6 && sd / stated[i] < 1.4))
            fail_msg("%s: spread %g, stated %g", uf_metric_row(judged[i])->name, sd, stated[i]);
    }
    uf_capture_free(clean);
}

/* Two pushes of the lead foot, 300 ms apart: where neither is surely the greater, the time of the
 * greater is not known, though its value is. */
static void rivals(void **state)
{
    (void)state;
    static const struct {
        double second_n;
        bool sure;
    } rows[] = {{500, true}, {559.98, false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct table t;
        set_table(&t);
        uf_capture_free(t.capture);
        struct script two = usual;
        two.settle = (struct pulse){rows[i].second_n, 2.3, 0.06};
        t.given.system.plate[0].error[UF_FZ][UF_FX] = 0.002; /* of 60 N more or less */
        t.capture = perform(&two, &t.rig);
        struct uf_analysis *a = analyse(&t);
        enum uf_reason when = a->reason[UF_M_lead_vertical_peak_s];
        assert_int_equal(when, rows[i].sure ? UF_REASON_NONE : UF_REASON_UNCERTAIN);
        if (rows[i].sure)
            assert_true(a->sd[UF_M_lead_vertical_peak_s] < 0.001);
        assert_int_equal(a->reason[UF_M_lead_vertical_peak_n], UF_REASON_NONE);
        assert_true(a->sd[UF_M_lead_vertical_peak_n] < 1);
        uf_analysis_free(a);
        uf_capture_free(t.capture);
    }
}

/* Rocking found the feet where the plates are believed to be: when these lie elsewhere, so do the
 * feet, and the COP lies in the foot as before. For either hand, the calibration's part as elements
 * or as patterns. */
static void feet_with_plates(enum uf_hand hand, bool patterns)
{
    struct table t;
    set_table(&t);
    uf_capture_free(t.capture);
    struct script mirrored = usual;
    mirrored.hand = hand;
    t.capture = perform(&mirrored, &t.rig);
    struct uf_analysis *unknown = analyse(&t);
    for (int foot = 0; foot < UF_FEET; foot++) {
        struct uf_foot_pose *pose = &t.given.foot[foot];
        double target_mm = unknown->curves.cop_target_mm[foot][100];
        double toe_mm = unknown->curves.cop_toe_mm[foot][100];
        *pose = (struct uf_foot_pose){.known = true,
                                      .heel_target_mm = target_mm,
                                      .heel_forward_mm = toe_mm - 130,
                                      .length_mm = 270,
                                      .width_mm = 100,
                                      .toe_out_deg = 10};
        uf_foot_place(pose, (enum uf_foot)foot, target_mm, toe_mm, &pose->rest_along_pct,
                      &pose->rest_across_pct);
    }
    uf_analysis_free(unknown);
    struct uf_analysis *before = analyse(&t);
    struct uf_plate_u *u = &t.given.system.plate[hand == UF_RIGHT_HANDED ? 0 : 1]; /* the lead's */
    struct uf_matrix_error matrix = {.patterns = 2};
    matrix.pattern[0][UF_MX][UF_FZ] = matrix.pattern[1][UF_MY][UF_FZ] = 0.004;
    u->x_mm = u->y_mm = 5;
    u->rotation_deg = 1;
    if (patterns)
        u->matrix = &matrix;
    else
        u->error[UF_MX][UF_FZ] = u->error[UF_MY][UF_FZ] = 0.004;
    struct uf_analysis *a = analyse(&t);
    assert_int_equal(a->reason[UF_M_lead_cop_along_at_lead_vertical_peak_pct], UF_REASON_NONE);
    assert_true(a->sd[UF_M_lead_cop_toe_at_lead_vertical_peak_mm] > 6);
    double along = a->sd[UF_M_lead_cop_along_at_lead_vertical_peak_pct];
    double across = a->sd[UF_M_lead_cop_across_at_lead_vertical_peak_pct];
    if (!(along < before->sd[UF_M_lead_cop_along_at_lead_vertical_peak_pct] + 0.15 &&
          across < before->sd[UF_M_lead_cop_across_at_lead_vertical_peak_pct] + 0.3))
        fail_msg("hand %d, patterns %d: along %g, was %g; across %g, was %g", hand, patterns, along,
                 before->sd[UF_M_lead_cop_along_at_lead_vertical_peak_pct], across,
                 before->sd[UF_M_lead_cop_across_at_lead_vertical_peak_pct]);
    uf_analysis_free(before);
    uf_analysis_free(a);
    uf_capture_free(t.capture);
}

static void feet_go_with_their_plates(void **state)
{
    (void)state;
    for (int patterns = 0; patterns < 2; patterns++) {
        feet_with_plates(UF_RIGHT_HANDED, patterns != 0);
        feet_with_plates(UF_LEFT_HANDED, patterns != 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_cause_at_a_time),       cmocka_unit_test(who_has_one),
        cmocka_unit_test(too_uncertain_is_null),     cmocka_unit_test(monte_carlo_agrees),
        cmocka_unit_test(monte_carlo_of_noise),      cmocka_unit_test(rivals),
        cmocka_unit_test(feet_go_with_their_plates),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
