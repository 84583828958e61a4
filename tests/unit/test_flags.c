/* SPDX-License-Identifier: MIT
 * What is wrong with a swing is flagged, and exactly what the flag spoils is NULL, with its reason;
 * nothing is invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "script.h"

#include <string.h>

struct table {
    struct uf_rig rig;
    struct uf_calibration cal;
    struct uf_given given;
};

static void set_table(struct table *t)
{
    uf_rig_example(&t->rig);
    uf_calibration_nominal(&t->rig, &t->cal);
    t->cal.nominal = false;
    uf_given_nothing(&t->given);
}

static struct uf_analysis *analyse(const struct table *t, struct uf_capture *c)
{
    struct uf_analysis_settings settings;
    struct uf_analysis *a;
    struct uf_error err;
    uf_analysis_defaults(&settings);
    if (uf_analyse_given(c, &t->rig, &t->cal, &settings, &t->given, &a, &err))
        fail_msg("%s", err.text);
    uf_capture_free(c);
    return a;
}

static void lacks(const struct uf_analysis *a, enum uf_metric m, enum uf_reason reason)
{
    if (a->reason[m] != reason || !isnan(a->value[m]) || !isnan(a->sd[m]))
        fail_msg("%s: value %g, reason \"%s\", wanted NULL for \"%s\"", uf_metric_row(m)->name,
                 a->value[m], uf_reason_code(a->reason[m]), uf_reason_code(reason));
}

static void has(const struct uf_analysis *a, enum uf_metric m)
{
    if (a->reason[m] || isnan(a->value[m]))
        fail_msg("%s: no value, \"%s\"", uf_metric_row(m)->name, uf_reason_code(a->reason[m]));
}

static void a_good_swing_has_no_flag(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct uf_analysis *a = analyse(&t, perform(&usual, &t.rig));
    assert_int_equal(a->flags, 0);
    has(a, UF_M_lead_vertical_peak_bw);
    uf_analysis_free(a);
}

static void a_foot_on_both_plates(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct script s = usual;
    s.lead_x_mm = 180; /* 20 mm from the inner edge */
    struct uf_analysis *a = analyse(&t, perform(&s, &t.rig));
    assert_int_equal(a->flags, UF_FLAG_FOOT_ACROSS);
    lacks(a, UF_M_lead_vertical_peak_n, UF_REASON_FOOT_ACROSS);
    lacks(a, UF_M_trail_share_max_pct, UF_REASON_FOOT_ACROSS);
    has(a, UF_M_total_vertical_peak_n); /* both plates together carry all */
    has(a, UF_M_weight_n);
    uf_analysis_free(a);
}

static void a_foot_over_an_outer_edge(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct script s = usual;
    s.trail_y_mm = -280;
    struct uf_analysis *a = analyse(&t, perform(&s, &t.rig));
    assert_int_equal(a->flags, UF_FLAG_FOOT_OFF);
    lacks(a, UF_M_total_vertical_peak_n, UF_REASON_FOOT_OFF);
    lacks(a, UF_M_weight_n, UF_REASON_FOOT_OFF);
    has(a, UF_M_lost_samples);
    uf_analysis_free(a);
}

static void a_stance_that_moved(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    double lead_t = -(t.rig.plate[0].centre_x_mm + usual.lead_x_mm);
    struct uf_foot_pose pose = {true, lead_t, usual.lead_y_mm - 130, 260, 100, 0, 0.5, 4,
                                50,   50,     UF_LENGTH_GIVEN};
    t.given.foot[UF_LEAD] = pose;
    struct uf_analysis *a = analyse(&t, perform(&usual, &t.rig));
    assert_int_equal(a->flags, 0);
    has(a, UF_M_lead_cop_along_at_lead_vertical_peak_pct);
    assert_true(fabs(a->value[UF_M_lead_cop_along_at_lead_vertical_peak_pct] - 50) < 0.2);
    assert_true(fabs(a->value[UF_M_lead_cop_across_at_lead_vertical_peak_pct] - 50) < 0.2);
    assert_true(fabs(a->value[UF_M_lead_cop_region_at_lead_vertical_peak] - UF_REGION_ARCH) < 0.1);
    lacks(a, UF_M_trail_cop_region_at_impact, UF_REASON_NO_FEET);
    uf_analysis_free(a);
    t.given.foot[UF_LEAD].heel_target_mm += 35;
    a = analyse(&t, perform(&usual, &t.rig));
    assert_int_equal(a->flags, UF_FLAG_STANCE_MOVED);
    lacks(a, UF_M_lead_cop_along_at_lead_vertical_peak_pct, UF_REASON_STANCE_MOVED);
    has(a, UF_M_lead_cop_toe_at_lead_vertical_peak_mm); /* plate coordinates still hold */
    uf_analysis_free(a);
}

static void a_foot_in_the_air(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct script s = usual;
    s.trail_z = (struct pulse){-398, 2.0, 0.3};
    struct uf_analysis *a = analyse(&t, perform(&s, &t.rig));
    assert_true(a->flags & UF_FLAG_STEP);
    lacks(a, UF_M_trail_cop_toe_at_lead_vertical_peak_mm, UF_REASON_BELOW_THRESHOLD);
    has(a, UF_M_lead_cop_toe_at_lead_vertical_peak_mm);
    assert_true(fabs(a->value[UF_M_trail_share_min_pct]) < 1); /* all on the lead foot */
    uf_analysis_free(a);
}

static void two_strikes(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct uf_capture *c = perform(&usual, &t.rig);
    c->inputs[2250] = UF_INPUT_STRIKE;
    struct uf_analysis *a = analyse(&t, c);
    assert_int_equal(a->flags, UF_FLAG_TWO_STRIKES);
    lacks(a, UF_M_lead_vertical_peak_to_impact_ms, UF_REASON_TWO_STRIKES);
    has(a, UF_M_lead_vertical_peak_s);
    uf_analysis_free(a);
    /* a mark says which it was */
    c = perform(&usual, &t.rig);
    c->inputs[2250] = UF_INPUT_STRIKE;
    t.given.mark[UF_EVENT_IMPACT] = (struct uf_mark){2.05, 0.002};
    a = analyse(&t, c);
    assert_int_equal(a->flags, 0);
    has(a, UF_M_lead_vertical_peak_to_impact_ms);
    uf_analysis_free(a);
}

static void the_other_hand(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct uf_capture *c = perform(&usual, &t.rig);
    c->shape_hand = UF_LEFT_HANDED;
    struct uf_analysis *a = analyse(&t, c);
    assert_int_equal(a->flags, UF_FLAG_HAND);
    lacks(a, UF_M_lead_vertical_peak_n, UF_REASON_HAND);
    lacks(a, UF_M_turn_peak_nm, UF_REASON_HAND);
    has(a, UF_M_total_vertical_peak_bw); /* knows no hand */
    uf_analysis_free(a);
}

static void no_impact_and_an_old_calibration(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct script s = usual;
    s.strike_s = 0;
    t.given.calibration_age_days = 400;
    struct uf_analysis *a = analyse(&t, perform(&s, &t.rig));
    assert_int_equal(a->flags, UF_FLAG_NO_IMPACT | UF_FLAG_OLD);
    lacks(a, UF_M_target_peak_to_impact_ms, UF_REASON_NO_IMPACT);
    assert_int_not_equal(a->event[UF_EVENT_IMPACT].source, UF_SOURCE_SENSOR);
    has(a, UF_M_lead_vertical_peak_bw);
    uf_analysis_free(a);
}

/* What a flag is said to spoil is what it spoils. */
static void the_table_of_flags_is_true(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct script s = usual;
    s.brake.height = 0; /* does not close */
    struct uf_analysis *good = analyse(&t, perform(&usual, &t.rig));
    struct uf_analysis *a = analyse(&t, perform(&s, &t.rig));
    assert_int_equal(a->flags, UF_FLAG_NOT_CLOSED);
    int spoiled = 0;
    for (int i = 0; i < UF_METRICS; i++) {
        bool said = uf_flag_spoils(5, (enum uf_metric)i);
        if (said && !good->reason[i]) {
            lacks(a, (enum uf_metric)i, UF_REASON_NOT_CLOSED);
            spoiled++;
        } else if (!good->reason[i] && a->reason[i] == UF_REASON_NOT_CLOSED)
            fail_msg("%s is spoiled, and it is not said", uf_metric_row((enum uf_metric)i)->name);
    }
    assert_true(spoiled >= 3);
    for (int bit = 0; bit < UF_FLAGS; bit++)
        assert_true(strlen(uf_flag_name(bit)) > 2);
    uf_analysis_free(good);
    uf_analysis_free(a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_good_swing_has_no_flag),
        cmocka_unit_test(a_foot_on_both_plates),
        cmocka_unit_test(a_foot_over_an_outer_edge),
        cmocka_unit_test(a_stance_that_moved),
        cmocka_unit_test(a_foot_in_the_air),
        cmocka_unit_test(two_strikes),
        cmocka_unit_test(the_other_hand),
        cmocka_unit_test(no_impact_and_an_old_calibration),
        cmocka_unit_test(the_table_of_flags_is_true),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
