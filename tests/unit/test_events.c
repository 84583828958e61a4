/* SPDX-License-Identifier: MIT
 * Moments of a swing: what the inputs sense, what is estimated from which signs, what a mark does,
 * and that nothing is invented. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "script.h"
#include "swing/events.h"

static void signs_of(double sign_s[UF_SIGNS])
{
    /* of a downswing from 1.80 to 2.07 s, as simulated golfers show it */
    static const double usual_s[UF_SIGNS] = {
        [UF_SIGN_TRIGGER] = 1.95,  [UF_SIGN_SHARE_20] = 1.22, [UF_SIGN_SHARE_50] = 1.33,
        [UF_SIGN_SHARE_80] = 1.43, [UF_SIGN_TARGET] = 1.83,   [UF_SIGN_COUPLE] = 1.93,
        [UF_SIGN_VERTICAL] = 2.03, [UF_SIGN_AWAY] = 2.08,     [UF_SIGN_LEAD] = 2.03,
        [UF_SIGN_SETTLED] = 2.5};
    for (int i = 0; i < UF_SIGNS; i++)
        sign_s[i] = usual_s[i];
}

static void nothing_known(struct uf_event e[UF_EVENTS])
{
    for (int i = 0; i < UF_EVENTS; i++)
        e[i] = (struct uf_event){NAN, NAN, UF_SOURCE_NONE};
}

static void estimates_say_so(void **state)
{
    (void)state;
    double sign_s[UF_SIGNS];
    struct uf_event e[UF_EVENTS];
    signs_of(sign_s);
    nothing_known(e);
    uf_events_estimate(sign_s, e);
    for (int i = UF_EVENT_START; i <= UF_EVENT_FINISH; i++) {
        assert_int_equal(e[i].source, UF_SOURCE_ESTIMATE);
        assert_true(e[i].u_s > 0.003);
        if (i > 0)
            assert_true(e[i].t_s > e[i - 1].t_s);
    }
    assert_int_equal(e[UF_EVENT_END].source, UF_SOURCE_NONE);
    assert_true(fabs(e[UF_EVENT_TOP].t_s - 1.80) < 0.03);
    assert_true(fabs(e[UF_EVENT_IMPACT].t_s - 2.07) < 0.03);
}

static void a_known_moment_stays_and_helps(void **state)
{
    (void)state;
    double sign_s[UF_SIGNS];
    struct uf_event e[UF_EVENTS], blind[UF_EVENTS];
    signs_of(sign_s);
    nothing_known(blind);
    uf_events_estimate(sign_s, blind);
    nothing_known(e);
    e[UF_EVENT_IMPACT] = (struct uf_event){2.08, 0.0003, UF_SOURCE_SENSOR};
    uf_events_estimate(sign_s, e);
    assert_true(e[UF_EVENT_IMPACT].t_s >= 2.08 && e[UF_EVENT_IMPACT].t_s <= 2.08);
    assert_int_equal(e[UF_EVENT_IMPACT].source, UF_SOURCE_SENSOR);
    assert_true(e[UF_EVENT_TOP].u_s < blind[UF_EVENT_TOP].u_s);
    assert_true(e[UF_EVENT_SHAFT].u_s < blind[UF_EVENT_SHAFT].u_s);
    /* a marked top: the arm lies between the two, with little left to guess */
    nothing_known(e);
    e[UF_EVENT_IMPACT] = (struct uf_event){2.08, 0.0003, UF_SOURCE_SENSOR};
    e[UF_EVENT_TOP] = (struct uf_event){1.78, 0.002, UF_SOURCE_MARK};
    uf_events_estimate(sign_s, e);
    assert_true(fabs(e[UF_EVENT_ARM].t_s - (1.78 + 0.579 * 0.30)) < 1e-9);
    assert_true(e[UF_EVENT_ARM].u_s < 0.006);
    assert_int_equal(e[UF_EVENT_TOP].source, UF_SOURCE_MARK);
}

static void without_its_signs_no_estimate(void **state)
{
    (void)state;
    double sign_s[UF_SIGNS];
    struct uf_event e[UF_EVENTS];
    signs_of(sign_s);
    sign_s[UF_SIGN_COUPLE] = NAN;
    nothing_known(e);
    uf_events_estimate(sign_s, e);
    assert_int_equal(e[UF_EVENT_TOP].source, UF_SOURCE_NONE);
    assert_int_equal(e[UF_EVENT_IMPACT].source, UF_SOURCE_NONE);
    assert_int_equal(e[UF_EVENT_ARM].source, UF_SOURCE_NONE);
    assert_int_equal(e[UF_EVENT_START].source, UF_SOURCE_ESTIMATE);
}

static void estimates_out_of_order_are_dropped(void **state)
{
    (void)state;
    double sign_s[UF_SIGNS];
    struct uf_event e[UF_EVENTS];
    signs_of(sign_s);
    nothing_known(e);
    e[UF_EVENT_TOP] = (struct uf_event){0.5, 0.002, UF_SOURCE_MARK}; /* before the first movement */
    uf_events_estimate(sign_s, e);
    assert_int_equal(e[UF_EVENT_TOP].source, UF_SOURCE_MARK);
    assert_int_equal(e[UF_EVENT_START].source, UF_SOURCE_NONE);
}

static void strike_and_beam(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_capture *c = perform(&usual, &rig);
    struct uf_event impact = {NAN, NAN, UF_SOURCE_NONE};
    uint32_t flags = 0;
    c->inputs[2030] = UF_INPUT_BEAM;
    uf_impact_sensed(c, &impact, &flags);
    assert_true(fabs(impact.t_s - 2.0505) < 1e-9); /* the strike is worth more than the beam */
    /* anywhere in the millisecond before: half of it by sqrt 3 */
    assert_true(fabs(impact.u_s - 0.0005 / sqrt(3)) < 1e-9);
    for (size_t i = 0; i < c->samples; i++)
        c->inputs[i] &= (uint8_t)~UF_INPUT_STRIKE;
    impact = (struct uf_event){NAN, NAN, UF_SOURCE_NONE};
    uf_impact_sensed(c, &impact, &flags);
    assert_true(fabs(impact.t_s - 2.0295) < 1e-9);
    assert_int_equal(impact.source, UF_SOURCE_SENSOR);
    c->inputs[2030] = 0;
    impact = (struct uf_event){NAN, NAN, UF_SOURCE_NONE};
    uf_impact_sensed(c, &impact, &flags);
    assert_int_equal(impact.source, UF_SOURCE_NONE);
    assert_int_equal(flags, 0);
    uf_capture_free(c);
}

/* The whole: a mark wins over the sensor, and the numbers that rest on it follow. */
static void marks_win(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration cal;
    struct uf_analysis_settings settings;
    struct uf_given given;
    struct uf_analysis *a, *b;
    uf_rig_example(&rig);
    uf_calibration_nominal(&rig, &cal);
    uf_analysis_defaults(&settings);
    uf_given_nothing(&given);
    struct uf_capture *c = perform(&usual, &rig);
    assert_int_equal(uf_analyse(c, &rig, &cal, &settings, &a, NULL), 0);
    given.mark[UF_EVENT_TOP] = (struct uf_mark){1.80, 0.002};
    given.mark[UF_EVENT_IMPACT] = (struct uf_mark){2.10, 0.002};
    given.mark[UF_EVENT_FINISH] = (struct uf_mark){99, 0.002}; /* beyond the swing: no mark */
    assert_int_equal(uf_analyse_given(c, &rig, &cal, &settings, &given, &b, NULL), 0);
    assert_int_equal(b->event[UF_EVENT_TOP].source, UF_SOURCE_MARK);
    assert_int_equal(b->event[UF_EVENT_IMPACT].source, UF_SOURCE_MARK);
    assert_int_not_equal(b->event[UF_EVENT_FINISH].source, UF_SOURCE_MARK);
    double moved_ms = b->value[UF_M_lead_vertical_peak_to_impact_ms] -
                      a->value[UF_M_lead_vertical_peak_to_impact_ms];
    assert_true(fabs(moved_ms + 49.5) < 1e-6);
    assert_true(fabs(b->value[UF_M_downswing_ms] - 300) < 1e-6);
    assert_true(fabs(b->sd[UF_M_downswing_ms] - 2 * sqrt(2)) < 1e-6);
    assert_true(fabs(b->value[UF_M_lead_vertical_peak_to_top_ms] - 200) < 0.6);
    assert_true(fabs(b->value[UF_M_lead_vertical_peak_downswing_pct] - 200.0 / 3) < 0.2);
    uf_analysis_free(a);
    uf_analysis_free(b);
    uf_capture_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(estimates_say_so),
        cmocka_unit_test(a_known_moment_stays_and_helps),
        cmocka_unit_test(without_its_signs_no_estimate),
        cmocka_unit_test(estimates_out_of_order_are_dropped),
        cmocka_unit_test(strike_and_beam),
        cmocka_unit_test(marks_win),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
