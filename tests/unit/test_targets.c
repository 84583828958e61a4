/* SPDX-License-Identifier: MIT
 * Early, on time, late: windows between moments, tolerance, and when the answer is not sure. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "swing/targets.h"

#include <math.h>

static const struct uf_target window = {.label = "test",
                                        .metric = "turn_peak_s",
                                        .from = UF_EVENT_TOP,
                                        .to = UF_EVENT_IMPACT,
                                        .from_pct = 40,
                                        .to_pct = 60,
                                        .tolerance_ms = 10};

static void events(struct uf_event *e, double u_s)
{
    for (int i = 0; i < UF_EVENTS; i++)
        e[i] = (struct uf_event){NAN, NAN, UF_SOURCE_NONE};
    e[UF_EVENT_TOP] = (struct uf_event){1.0, u_s, UF_SOURCE_MARK};
    e[UF_EVENT_IMPACT] = (struct uf_event){1.3, u_s, UF_SOURCE_SENSOR};
}

/* window 1.12 .. 1.18 s */
static void early_on_time_late(void **state)
{
    (void)state;
    static const struct {
        double t_s;
        enum uf_timing timing;
        double off_ms;
    } rows[] = {{1.00, UF_TIMING_EARLY, -120},  {1.105, UF_TIMING_EARLY, -15},
                {1.113, UF_TIMING_ON_TIME, -7}, {1.15, UF_TIMING_ON_TIME, 0},
                {1.188, UF_TIMING_ON_TIME, 8},  {1.195, UF_TIMING_LATE, 15}};
    struct uf_event e[UF_EVENTS];
    events(e, 0);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct uf_judgement j;
        uf_target_judge(&window, rows[i].t_s, 0, e, &j);
        assert_int_equal(j.timing, rows[i].timing);
        assert_true(fabs(j.off_ms - rows[i].off_ms) < 1e-6);
        assert_true(j.sure);
    }
}

static void near_an_edge_it_is_not_sure(void **state)
{
    (void)state;
    struct uf_event e[UF_EVENTS];
    struct uf_judgement j;
    events(e, 0.010);
    uf_target_judge(&window, 1.105, 0.001, e, &j);
    assert_int_equal(j.timing, UF_TIMING_EARLY);
    assert_false(j.sure);
    /* 40 % edge: 0.6 of the one, 0.4 of the other */
    assert_true(fabs(j.u_ms - sqrt(36 + 16 + 1)) < 1e-6);
    uf_target_judge(&window, 1.02, 0.001, e, &j);
    assert_true(j.sure);
}

static void what_is_not_known_is_not_judged(void **state)
{
    (void)state;
    struct uf_event e[UF_EVENTS];
    struct uf_judgement j;
    events(e, 0);
    uf_target_judge(&window, NAN, 0, e, &j);
    assert_int_equal(j.timing, UF_TIMING_UNKNOWN);
    e[UF_EVENT_TOP].source = UF_SOURCE_NONE;
    uf_target_judge(&window, 1.1, 0, e, &j);
    assert_int_equal(j.timing, UF_TIMING_UNKNOWN);
    assert_true(isnan(j.off_ms));
}

static void defaults_name_real_metrics(void **state)
{
    (void)state;
    size_t n;
    const struct uf_target *t = uf_targets(&n);
    assert_true(n >= 3);
    for (size_t i = 0; i < n; i++) {
        assert_true(uf_metric_find(t[i].metric) >= 0);
        assert_string_equal(uf_metric_row((enum uf_metric)uf_metric_find(t[i].metric))->unit, "s");
        assert_string_equal(t[i].source, "common practice");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(early_on_time_late),
        cmocka_unit_test(near_an_edge_it_is_not_sure),
        cmocka_unit_test(what_is_not_known_is_not_judged),
        cmocka_unit_test(defaults_name_real_metrics),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
