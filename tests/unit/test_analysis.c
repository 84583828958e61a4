/* SPDX-License-Identifier: MIT
 * Analysis of hand-made captures whose answers are known by construction: Gaussian pulses of known
 * height, place and area on quiet standing. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "script.h"

#include <stdlib.h>
#include <string.h>

static struct uf_analysis *analyse(const struct uf_capture *c, const struct uf_rig *rig)
{
    struct uf_calibration cal;
    uf_calibration_nominal(rig, &cal);
    cal.nominal = false; /* the plates of these tests are exactly as described */
    struct uf_analysis_settings settings;
    uf_analysis_defaults(&settings);
    struct uf_analysis *a;
    struct uf_error err;
    int rc = uf_analyse(c, rig, &cal, &settings, &a, &err);
    if (rc)
        fail_msg("%s", err.text);
    return a;
}

static struct uf_analysis *analyse_script(const struct script *s)
{
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(s, &rig);
    struct uf_analysis *a = analyse(c, &rig);
    uf_capture_free(c);
    return a;
}

static void near(const struct uf_analysis *a, enum uf_metric m, double want, double within)
{
    if (a->reason[m])
        fail_msg("%s: no value (%s), wanted %g", uf_metric_row(m)->name,
                 uf_reason_code(a->reason[m]), want);
    if (!(fabs(a->value[m] - want) <= within))
        fail_msg("%s: %.6g, wanted %.6g +- %g", uf_metric_row(m)->name, a->value[m], want, within);
}

static void lacks(const struct uf_analysis *a, enum uf_metric m, enum uf_reason reason)
{
    if (a->reason[m] != reason || !isnan(a->value[m]))
        fail_msg("%s: value %g, reason \"%s\", wanted NULL for \"%s\"", uf_metric_row(m)->name,
                 a->value[m], uf_reason_code(a->reason[m]), uf_reason_code(reason));
}

static void gives_what_was_put_in(void **state)
{
    (void)state;
    struct uf_analysis *a = analyse_script(&usual);
    near(a, UF_M_weight_n, 800, 0.01);
    near(a, UF_M_trail_share_address_pct, 50, 0.01);
    near(a, UF_M_lead_share_address_pct, 50, 0.01);
    near(a, UF_M_lead_vertical_peak_n, 960, 1.5);
    near(a, UF_M_lead_vertical_peak_bw, 1.2, 0.002);
    near(a, UF_M_lead_vertical_peak_s, 2.0, 0.0005);
    near(a, UF_M_lead_vertical_peak_to_impact_ms, -50.5, 0.6);
    near(a, UF_M_target_peak_n, 120, 0.3);
    near(a, UF_M_target_peak_s, 1.9, 0.0005);
    near(a, UF_M_lead_heel_peak_n, -160, 1);
    near(a, UF_M_trail_toe_peak_n, 140, 1);
    near(a, UF_M_trail_toe_peak_s, 1.95, 0.0005);
    /* area of a Gaussian: height sigma sqrt(2 pi) */
    near(a, UF_M_target_impulse_ns, 120 * 0.07 * sqrt(2 * acos(-1)), 0.1);
    near(a, UF_M_vertical_closure_ns, 0, 0.1);
    assert_false(a->flags & UF_FLAG_NOT_CLOSED);
    near(a, UF_M_lost_samples, 0, 0);
    /* COP where it was put, from the middle between the plates, golfer frame: target is -x */
    struct uf_rig rig;
    uf_rig_example(&rig);
    near(a, UF_M_lead_cop_target_at_lead_vertical_peak_mm, -(rig.plate[0].centre_x_mm - 20), 0.05);
    near(a, UF_M_lead_cop_toe_at_lead_vertical_peak_mm, 35, 0.05);
    near(a, UF_M_trail_cop_target_at_target_peak_mm, -(rig.plate[1].centre_x_mm + 15), 0.1);
    near(a, UF_M_trail_cop_toe_at_target_peak_mm, -40, 0.1);
    assert_int_equal(a->event[UF_EVENT_IMPACT].source, UF_SOURCE_SENSOR);
    assert_true(fabs(a->event[UF_EVENT_IMPACT].t_s - 2.0505) < 1e-9);
    uf_analysis_free(a);
}

/* Toe-heel couple about the net COP, by hand from r x F at the instant of the peak. */
static void turn_is_the_couple(void **state)
{
    (void)state;
    struct script s = usual;
    s.target.height = s.brake.height = 0;
    s.lead_z.height = s.trail_z.height = 0;
    s.lead_x_mm = s.trail_x_mm = s.lead_y_mm = s.trail_y_mm = 0;
    s.lead_toe.height = -150;
    s.trail_toe.height = 150;
    struct uf_analysis *a = analyse_script(&s);
    struct uf_rig rig;
    uf_rig_example(&rig);
    double apart_m = (rig.plate[1].centre_x_mm - rig.plate[0].centre_x_mm) / 1000;
    near(a, UF_M_turn_peak_nm, 150 * apart_m, 0.5);
    near(a, UF_M_turn_from_toe_at_turn_peak_nm, 150 * apart_m, 0.5);
    near(a, UF_M_turn_from_target_at_turn_peak_nm, 0, 0.01);
    near(a, UF_M_turn_from_free_at_turn_peak_nm, 0, 0.05);
    near(a, UF_M_turn_peak_s, 1.95, 0.0005);
    uf_analysis_free(a);
}

/* The same counts on plates that are the mirror image in x are a left-handed golfer who mirrors the
 * right-handed one: the same golfer-frame numbers, to the last bit. */
static void mirrored_golfer_is_the_same(void **state)
{
    (void)state;
    struct uf_rig rig, mirror;
    uf_rig_example(&rig);
    mirror_rig(&rig, &mirror);
    struct script s = usual;
    s.lead_x_mm = -21.37; /* nothing round */
    s.trail_toe.height = 137.77;
    struct uf_capture *c = perform(&s, &rig);
    struct uf_analysis *right = analyse(c, &rig);
    c->hand = c->shape_hand = UF_LEFT_HANDED;
    struct uf_analysis *left = analyse(c, &mirror);
    for (int i = 0; i < UF_METRICS; i++) {
        if (memcmp(&right->value[i], &left->value[i], sizeof right->value[i]) != 0)
            fail_msg("%s: %.17g right-handed, %.17g mirrored",
                     uf_metric_row((enum uf_metric)i)->name, right->value[i], left->value[i]);
        assert_int_equal(right->reason[i], left->reason[i]);
        if (memcmp(&right->sd[i], &left->sd[i], sizeof right->sd[i]) != 0)
            fail_msg("%s: standard uncertainty %.17g right-handed, %.17g mirrored",
                     uf_metric_row((enum uf_metric)i)->name, right->sd[i], left->sd[i]);
    }
    size_t n = right->curves.n;
    assert_memory_equal(right->curves.turn_nm, left->curves.turn_nm, n * sizeof(double));
    assert_memory_equal(right->curves.net_target_mm, left->curves.net_target_mm,
                        n * sizeof(double));
    uf_analysis_free(right);
    uf_analysis_free(left);
    uf_capture_free(c);
}

static void no_strike_no_time_to_impact(void **state)
{
    (void)state;
    struct script s = usual;
    s.strike_s = 0;
    struct uf_analysis *a = analyse_script(&s);
    lacks(a, UF_M_lead_vertical_peak_to_impact_ms, UF_REASON_NO_IMPACT);
    lacks(a, UF_M_turn_peak_to_impact_ms, UF_REASON_NO_IMPACT);
    near(a, UF_M_lead_vertical_peak_s, 2.0, 0.0005);
    uf_analysis_free(a);
}

static void strikes_are_told_apart(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    /* a bounce of the same strike, 20 ms later: one strike */
    c->inputs[2070] = UF_INPUT_STRIKE;
    struct uf_analysis *a = analyse(c, &rig);
    assert_false(a->flags & UF_FLAG_TWO_STRIKES);
    uf_analysis_free(a);
    c->inputs[2200] = UF_INPUT_STRIKE; /* 150 ms later: another */
    a = analyse(c, &rig);
    assert_true(a->flags & UF_FLAG_TWO_STRIKES);
    assert_true(fabs(a->event[UF_EVENT_IMPACT].t_s - 2.0505) < 1e-9);
    uf_analysis_free(a);
    /* far from the swing: not its strike */
    memset(c->inputs, 0, c->samples);
    c->inputs[500] = UF_INPUT_STRIKE;
    a = analyse(c, &rig);
    lacks(a, UF_M_lead_vertical_peak_to_impact_ms, UF_REASON_NO_IMPACT);
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void no_quiet_no_body_weights(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    c->quiet_known = false;
    struct uf_analysis *a = analyse(c, &rig);
    assert_true(a->flags & UF_FLAG_NO_QUIET);
    lacks(a, UF_M_weight_n, UF_REASON_NO_WEIGHT);
    lacks(a, UF_M_lead_vertical_peak_bw, UF_REASON_NO_WEIGHT);
    lacks(a, UF_M_vertical_impulse_ns, UF_REASON_NO_WEIGHT);
    near(a, UF_M_lead_vertical_peak_n, 960, 1.5); /* newtons need no weight */
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void not_still_after_no_closure(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    c->ended_still = false;
    struct uf_analysis *a = analyse(c, &rig);
    lacks(a, UF_M_vertical_closure_ns, UF_REASON_NOT_STILL_AFTER);
    uf_analysis_free(a);
    uf_capture_free(c);
}

/* Removes samples from..from+n-1, as if they were lost on the line. */
static void lose(struct uf_capture *c, size_t from, size_t n)
{
    size_t rest = c->samples - from - n;
    memmove(c->offset_us + from, c->offset_us + from + n, rest * sizeof *c->offset_us);
    memmove(c->inputs + from, c->inputs + from + n, rest);
    memmove(c->status + from, c->status + from + n, rest);
    memmove(c->lost_before + from, c->lost_before + from + n, rest * sizeof *c->lost_before);
    memmove(c->counts_raw + from * 24, c->counts_raw + (from + n) * 24,
            rest * 24 * sizeof *c->counts_raw);
    c->samples -= n;
    c->lost_before[from] = (uint16_t)(c->lost_before[from] + n);
}

static void single_lost_samples_do_no_harm(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    for (size_t i = 3900; i > 100; i -= 97)
        lose(c, i, 1);
    struct uf_analysis *a = analyse(c, &rig);
    assert_true(a->flags & UF_FLAG_LOST);
    assert_false(a->flags & UF_FLAG_GAP);
    near(a, UF_M_lost_samples, 40, 0);
    near(a, UF_M_lead_vertical_peak_n, 960, 1.5);
    near(a, UF_M_lead_vertical_peak_s, 2.0, 0.0005);
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void a_gap_at_a_peak_is_not_bridged(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    lose(c, 1985, 30); /* over the vertical peak at 2.0 s */
    struct uf_analysis *a = analyse(c, &rig);
    assert_true(a->flags & UF_FLAG_GAP);
    lacks(a, UF_M_lead_vertical_peak_n, UF_REASON_GAP);
    lacks(a, UF_M_lead_cop_toe_at_lead_vertical_peak_mm, UF_REASON_GAP);
    near(a, UF_M_target_peak_n, 120, 0.5); /* 1.9 s: far from it */
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void a_channel_at_its_rail_spoils_the_peaks(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    c->counts_raw[2000 * 24 + 2] = 8388607;
    struct uf_analysis *a = analyse(c, &rig);
    assert_true(a->flags & UF_FLAG_SATURATED);
    lacks(a, UF_M_lead_vertical_peak_n, UF_REASON_SATURATED);
    near(a, UF_M_weight_n, 800, 0.01); /* measured elsewhere */
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void a_dead_channel_is_noticed(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    for (size_t i = 0; i < c->samples; i++)
        c->counts_raw[i * 24 + 5] = 77;
    struct uf_analysis *a = analyse(c, &rig);
    assert_true(a->flags & UF_FLAG_DEAD_CHANNEL);
    lacks(a, UF_M_lead_vertical_peak_n, UF_REASON_DEAD_CHANNEL);
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void an_unknown_component_gives_null(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    struct uf_calibration cal;
    uf_calibration_nominal(&rig, &cal);
    cal.plate[0].known[UF_FX] = false;
    cal.nominal = false;
    struct uf_analysis_settings settings;
    uf_analysis_defaults(&settings);
    struct uf_analysis *a;
    assert_int_equal(uf_analyse(c, &rig, &cal, &settings, &a, NULL), 0);
    lacks(a, UF_M_target_peak_n, UF_REASON_NOT_CALIBRATED);
    near(a, UF_M_lead_vertical_peak_n, 960, 1.5);
    assert_false(a->flags & UF_FLAG_NOMINAL);
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void the_other_hand_is_flagged(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    c->shape_hand = UF_LEFT_HANDED;
    struct uf_analysis *a = analyse(c, &rig);
    assert_true(a->flags & UF_FLAG_HAND);
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void drift_does_not_close(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct script s = usual;
    s.brake.height = s.settle.height = 0;
    /* momentum closes: the push up equals the unweighting */
    s.lead_z = (struct pulse){400, 2.0, 0.06};
    s.trail_z = (struct pulse){-300, 2.0, 0.08};
    struct uf_capture *c = perform(&s, &rig);
    struct uf_analysis *a = analyse(c, &rig);
    near(a, UF_M_vertical_closure_ns, 0, 0.1);
    /* target-ward impulse of the script does not close: it is flagged for that */
    assert_true(a->flags & UF_FLAG_NOT_CLOSED);
    uf_analysis_free(a);
    uf_capture_free(c);
    s.target.height = 0;
    s.lead_toe.height = -140;
    c = perform(&s, &rig);
    a = analyse(c, &rig);
    assert_false(a->flags & UF_FLAG_NOT_CLOSED);
    uf_analysis_free(a);
    uf_capture_free(c);
}

/* Plenty of force, but the plate's horizontal force is not known and its top lies above the cells.
 */
static void a_cop_that_is_not_known_says_why(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    struct uf_calibration cal;
    uf_calibration_nominal(&rig, &cal);
    cal.plate[0].known[UF_FX] = false;
    struct uf_analysis_settings settings;
    uf_analysis_defaults(&settings);
    struct uf_analysis *a;
    assert_int_equal(uf_analyse(c, &rig, &cal, &settings, &a, NULL), 0);
    lacks(a, UF_M_lead_cop_target_at_lead_vertical_peak_mm, UF_REASON_NOT_CALIBRATED);
    uf_analysis_free(a);
    settings.cop_min_n = 990; /* now the force is too small for it, on both plates */
    assert_int_equal(uf_analyse(c, &rig, &cal, &settings, &a, NULL), 0);
    lacks(a, UF_M_trail_cop_target_at_trail_vertical_peak_mm, UF_REASON_BELOW_THRESHOLD);
    uf_analysis_free(a);
    uf_capture_free(c);
}

/* The cut-off gives way to a slow board, and the analysis says which one was in force. */
static void a_cutoff_beyond_the_rate_gives_way(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    struct uf_calibration cal;
    uf_calibration_nominal(&rig, &cal);
    struct uf_analysis_settings settings;
    uf_analysis_defaults(&settings);
    settings.cutoff_hz = 1000;
    struct uf_analysis *a;
    assert_int_equal(uf_analyse(c, &rig, &cal, &settings, &a, NULL), 0);
    assert_true(a->settings.cutoff_hz == 400);
    near(a, UF_M_lead_vertical_peak_n, 960, 2);
    uf_analysis_free(a);
    uf_capture_free(c);
}

static void another_rig_is_refused(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    rig.channels = 30;
    struct uf_calibration cal;
    uf_calibration_nominal(&rig, &cal);
    struct uf_analysis_settings settings;
    uf_analysis_defaults(&settings);
    struct uf_analysis *a;
    struct uf_error err;
    assert_int_equal(uf_analyse(c, &rig, &cal, &settings, &a, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "another rig"));
    assert_null(a);
    uf_capture_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gives_what_was_put_in),
        cmocka_unit_test(turn_is_the_couple),
        cmocka_unit_test(mirrored_golfer_is_the_same),
        cmocka_unit_test(no_strike_no_time_to_impact),
        cmocka_unit_test(strikes_are_told_apart),
        cmocka_unit_test(no_quiet_no_body_weights),
        cmocka_unit_test(not_still_after_no_closure),
        cmocka_unit_test(single_lost_samples_do_no_harm),
        cmocka_unit_test(a_gap_at_a_peak_is_not_bridged),
        cmocka_unit_test(a_channel_at_its_rail_spoils_the_peaks),
        cmocka_unit_test(a_dead_channel_is_noticed),
        cmocka_unit_test(an_unknown_component_gives_null),
        cmocka_unit_test(the_other_hand_is_flagged),
        cmocka_unit_test(drift_does_not_close),
        cmocka_unit_test(a_cop_that_is_not_known_says_why),
        cmocka_unit_test(a_cutoff_beyond_the_rate_gives_way),
        cmocka_unit_test(another_rig_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
