/* SPDX-License-Identifier: MIT
 * The simulated golfer: mechanics (momentum, friction, feet), signs, mirror image, truth against
 * the samples, quiet standing, and that each confounder is what its name says. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "load.h"
#include "plate/wrench.h"
#include "sim/golfer.h"
#include "sim_lesson.h"

#include <math.h>
#include <string.h>

static double side_of(const struct uf_sim_settings *s)
{
    return s->golfer.hand == UF_RIGHT_HANDED ? -1 : 1;
}

/* Area, first moment and displacement that planners close momentum with, against sums. */
static void test_terms(void **state)
{
    (void)state;
    struct term term[4];
    uf_sim_term_pulse(&term[0], CH_TARGET, 1.3, 0.3, 0.7, 2);
    uf_sim_term_pulse(&term[1], CH_TARGET, 2.0, 0.5, 0.2, -1);
    uf_sim_term_step(&term[2], CH_TARGET, 0.4, 1.6, -1);
    uf_sim_term_step(&term[3], CH_TARGET, 2.2, 2.4, 1);
    double area = 0, moment = 0, sum = 0, weighed = 0;
    const double dt = 1e-4;
    for (int i = 0; i < 4; i++) {
        area += uf_sim_term_area(&term[i], 1);
        moment += uf_sim_term_moment(&term[i], 1);
        for (double t = 0; t < 4; t += dt) {
            double value[CHANNELS] = {0};
            uf_sim_terms_at(&term[i], 1, t, value);
            sum += value[CH_TARGET] * dt;
            weighed += value[CH_TARGET] * (t - 1) * dt;
        }
    }
    assert_true(fabs(area - sum) < 2e-4);
    assert_true(fabs(moment - weighed) < 2e-4);

    /* a move by 0.2 m, as acceleration in g: integrated twice */
    double speed = 0, place = 0;
    uf_sim_term_move(&term[0], CH_TOE, 0.5, 1.25, 0.2, 9.81);
    for (double t = 0; t < 2; t += dt) {
        double value[CHANNELS] = {0};
        uf_sim_terms_at(term, 1, t, value);
        speed += 9.81 * value[CH_TOE] * dt;
        place += speed * dt;
    }
    assert_true(fabs(speed) < 1e-6);
    assert_true(fabs(place - 0.2) < 1e-4);
    assert_true(fabs(9.81 * uf_sim_term_moment(&term[0], 7) + 0.2) < 1e-12);
}

/* From still to still the body ends as fast as it began: not at all. */
static void test_momentum_closes(void **state)
{
    (void)state;
    static const char *const acts[] = {"ball", "no_ball", "half",   "waggle",    "rock",
                                       "sway", "jump",    "fidget", "step_drill"};
    for (size_t a = 0; a < sizeof acts / sizeof acts[0]; a++)
        for (uint64_t golfer = 100; golfer < 106; golfer++) {
            struct uf_sim_settings s;
            struct uf_sim_sample x;
            golfer_settings(&s, golfer);
            struct uf_sim *sim = begin(&s, acts[a]);
            double sum[3] = {0, 0, 0}, weight = s.golfer.mass_kg * s.golfer.g_m_s2;
            while (uf_sim_next_forces(sim, &x)) {
                sum[0] += (x.fx_n[0] + x.fx_n[1]) / s.rate_hz;
                sum[1] += (x.fy_n[0] + x.fy_n[1]) / s.rate_hz;
                sum[2] += (x.fz_n[0] + x.fz_n[1] - weight) / s.rate_hz;
            }
            /* what is left is the sway's own speed */
            for (int i = 0; i < 3; i++)
                if (fabs(sum[i]) / s.golfer.mass_kg > 0.008)
                    fail_msg("%s of golfer %d: %.4f m/s left along %d", acts[a], (int)golfer,
                             sum[i] / s.golfer.mass_kg, i);
            uf_sim_free(sim);
        }
}

/* Friction below 0.7 and feet that only push, in everything that a person does. */
static void test_friction(void **state)
{
    (void)state;
    for (uint64_t golfer = 200; golfer < 206; golfer++) {
        struct uf_sim_settings s;
        struct uf_sim_sample x;
        golfer_settings(&s, golfer);
        struct uf_sim *sim = begin(&s, "empty:1,walk_on,stand,address,ball,waggle,half,rock,sway,"
                                       "tee_up,no_ball,jump,step_drill,fidget,address,step_off");
        double greatest = 0;
        while (uf_sim_next_forces(sim, &x))
            for (int p = 0; p < 2; p++) {
                assert_true(x.fz_n[p] >= 0);
                double aside = hypot(x.fx_n[p], x.fy_n[p]);
                assert_true(aside <= 0.7 * x.fz_n[p] + 1e-9);
                if (x.fz_n[p] > 100)
                    greatest = fmax(greatest, aside / x.fz_n[p]);
            }
        assert_true(greatest > 0.2); /* and it is really there */
        uf_sim_free(sim);
    }
}

/* Whatever the channels say, a foot's COP stays inside its outline, friction holds, and the two
 * feet together have the force of the body. */
static void test_body_holds_for_any_channels(void **state)
{
    (void)state;
    struct uf_sim_rng r;
    uf_sim_rng_seed(&r, 5);
    for (int i = 0; i < 4000; i++) {
        struct uf_sim_golfer g;
        struct body b;
        struct foot_load f[FEET];
        struct sway_value still;
        double v[CHANNELS];
        memset(&still, 0, sizeof still);
        uf_sim_golfer_random(&g, (uint64_t)i % 50);
        uf_sim_body_new(&b, &g);
        for (int c = 0; c < CHANNELS; c++)
            v[c] = uf_sim_rng_uniform(&r, -4, 4);
        v[CH_VERTICAL] = uf_sim_rng_uniform(&r, -0.8, 1);
        v[CH_TARGET] = uf_sim_rng_uniform(&r, -0.3, 0.3) * (1 + v[CH_VERTICAL]);
        v[CH_TOE] = uf_sim_rng_uniform(&r, -0.3, 0.3) * (1 + v[CH_VERTICAL]);
        v[CH_LOAD] = uf_sim_rng_uniform(&r, 0, 1);
        v[CH_SHARE] = uf_sim_rng_uniform(&r, -0.1, 1.1);
        uf_sim_body_at(&b, v, &still, f);
        double weight = b.weight_n * v[CH_LOAD], sum[3] = {0, 0, 0};
        for (int foot = 0; foot < FEET; foot++) {
            double out =
                (foot == LEAD ? 1 : -1) * (f[foot].cop_target_mm - v[CH_LEAD_X + 2 * foot]);
            double toe = f[foot].cop_toe_mm - v[CH_LEAD_Y + 2 * foot];
            double angle = b.traits.toe_out_deg[foot] * acos(-1.0) / 180;
            double along = out * sin(angle) + toe * cos(angle);
            double across = out * cos(angle) - toe * sin(angle);
            assert_true(hypot(along / (b.traits.foot_length_mm / 2),
                              across / (b.traits.foot_width_mm / 2)) < 1);
            assert_true(hypot(f[foot].target_n, f[foot].toe_n) <= 0.7 * f[foot].vertical_n + 1e-9);
            sum[0] += f[foot].target_n;
            sum[1] += f[foot].toe_n;
            sum[2] += f[foot].vertical_n;
        }
        assert_true(fabs(sum[0] - weight * v[CH_TARGET]) < 1e-9 * b.weight_n);
        assert_true(fabs(sum[1] - weight * v[CH_TOE]) < 1e-9 * b.weight_n);
        assert_true(fabs(sum[2] - weight * (1 + v[CH_VERTICAL])) < 1e-9 * b.weight_n);
    }
}

/* In the downswing the ground pushes the lead foot heel-ward and the trail foot toe-ward, the pair
 * turns the golfer towards the target; target-ward first, then braking. */
static void test_signs(void **state)
{
    (void)state;
    for (uint64_t golfer = 300; golfer < 315; golfer++) {
        struct uf_sim_settings s;
        struct uf_sim_sample x;
        golfer_settings(&s, golfer);
        struct uf_sim *sim = begin(&s, "address,ball");
        const struct uf_sim_truth *t = uf_sim_truth(sim, 1);
        double side = side_of(&s), least_target_n = 0;
        int lead = side < 0 ? 0 : 1, trail = 1 - lead;
        while (uf_sim_next_forces(sim, &x)) {
            double middle = 0.5 * (t->top_s + t->impact_s);
            if (fabs(x.t_s - middle) < 0.0006) {
                assert_true(x.fy_n[lead] < -20);
                assert_true(x.fy_n[trail] > 20);
                /* anticlockwise from above for a right-handed golfer */
                double mz = (x.cop_x_mm[0] * x.fy_n[0] + x.cop_x_mm[1] * x.fy_n[1]) / 1000;
                assert_true(-side * mz > 10);
            }
            if (x.t_s > t->top_s && x.t_s < t->impact_s + 0.2)
                least_target_n = fmin(least_target_n, side * (x.fx_n[0] + x.fx_n[1]));
        }
        assert_true(t->target_peak_n > 0.05 * t->weight_n);
        assert_true(t->target_peak_s < t->impact_s);
        assert_true(least_target_n < -0.03 * t->weight_n);
        assert_true(t->lead_toe_min_n < 0 && t->trail_toe_max_n > 0 && t->turn_peak_nm > 20);
        assert_true(t->trail_share_max_pct > t->trail_share_address_pct + 10);
        assert_true(t->trail_share_min_pct < t->trail_share_address_pct - 10);
        uf_sim_free(sim);
    }
}

/* Left-handed: the mirror image in x to the last bit, counts of mirrored plates too. */
static void test_mirror(void **state)
{
    (void)state;
    for (uint64_t golfer = 400; golfer < 403; golfer++) {
        struct uf_sim_settings r, l;
        struct uf_sim_sample a, b;
        golfer_settings(&r, golfer);
        r.perfect = true;
        r.rig.plate[0].rotation_deg = 3;
        r.rig.plate[1].cell[2].turn_deg = 30;
        l = r;
        r.golfer.hand = UF_RIGHT_HANDED;
        l.golfer.hand = UF_LEFT_HANDED;
        mirror_rig(&r.rig, &l.rig);
        static const char lesson[] = "empty:0.5,walk_on,address,ball,drop_club,kick,step_off";
        struct uf_sim *right = begin(&r, lesson), *left = begin(&l, lesson);
        while (uf_sim_next(right, &a)) {
            assert_true(uf_sim_next(left, &b));
            for (int p = 0; p < 2; p++) {
                int q = 1 - p;
                assert_true(a.fx_n[p] == -b.fx_n[q]);
                assert_true(a.fy_n[p] == b.fy_n[q]);
                assert_true(a.fz_n[p] == b.fz_n[q]);
                bool none = isnan(a.cop_x_mm[p]);
                assert_true(none == isnan(b.cop_x_mm[q]));
                assert_true(none || a.cop_x_mm[p] == -b.cop_x_mm[q]);
                assert_true(none || a.cop_y_mm[p] == b.cop_y_mm[q]);
                assert_true(none || a.tz_nm[p] == -b.tz_nm[q]);
            }
            /* mirror_rig swaps the plates and keeps each cell's channels */
            assert_memory_equal(a.counts_raw, b.counts_raw,
                                (size_t)r.rig.channels * sizeof a.counts_raw[0]);
        }
        assert_false(uf_sim_next(left, &b));
        const struct uf_sim_truth *t = uf_sim_truth(right, 3), *u = uf_sim_truth(left, 3);
        assert_true(t->turn_peak_nm == u->turn_peak_nm && t->target_peak_s == u->target_peak_s);
        uf_sim_free(right);
        uf_sim_free(left);
    }
}

static double nearest(double best, double x, double sign)
{
    return sign * x > sign * best ? x : best;
}

/* The truth's peaks are those of a very fast recording of the forces. */
static void test_truth_is_the_samples(void **state)
{
    (void)state;
    for (uint64_t golfer = 500; golfer < 502; golfer++) {
        struct uf_sim_settings s;
        struct uf_sim_sample x;
        golfer_settings(&s, golfer);
        s.rate_hz = 10000;
        struct uf_sim *sim = begin(&s, "address:1.8,ball");
        const struct uf_sim_truth *t = uf_sim_truth(sim, 1);
        double side = side_of(&s), total = 0, lead_peak = 0, target = 0, heel = 0, turn = 0;
        double total_s = 0, share_max = 0, share_min = 100, net_x = 0, net_y = 0;
        int lead = side < 0 ? 0 : 1, trail = 1 - lead;
        assert_true(isnan(t->turn_peak_nm)); /* not before the act is over */
        while (uf_sim_next_forces(sim, &x)) {
            if (!(x.t_s >= t->first_move_s && x.t_s <= t->impact_s + 0.5))
                continue;
            struct uf_ground g[2];
            struct uf_both both;
            for (int p = 0; p < 2; p++)
                g[p] = (struct uf_ground){x.fx_n[p],     x.fy_n[p],     x.fz_n[p],
                                          x.cop_x_mm[p], x.cop_y_mm[p], x.tz_nm[p]};
            uf_both_of(&g[0], &g[1], 1, &both);
            if (both.fz_n > total) {
                total = both.fz_n;
                total_s = x.t_s;
                net_x = side * both.cop_x_mm;
                net_y = both.cop_y_mm;
            }
            lead_peak = nearest(lead_peak, x.fz_n[lead], 1);
            target = nearest(target, side * both.fx_n, 1);
            heel = nearest(heel, x.fy_n[lead], -1);
            turn = nearest(turn, -side * both.turn_nm, 1);
            share_max = nearest(share_max, 100 * x.fz_n[trail] / both.fz_n, 1);
            share_min = nearest(share_min, 100 * x.fz_n[trail] / both.fz_n, -1);
        }
        assert_true(fabs(t->total_vertical_peak_n - total) < 0.01);
        assert_true(fabs(t->total_vertical_peak_s - total_s) < 0.0003);
        assert_true(fabs(t->lead_vertical_peak_n - lead_peak) < 0.01);
        assert_true(fabs(t->target_peak_n - target) < 0.01);
        assert_true(fabs(t->lead_toe_min_n - heel) < 0.01);
        assert_true(fabs(t->turn_peak_nm - turn) < 0.01);
        assert_true(fabs(t->trail_share_max_pct - share_max) < 0.001);
        assert_true(fabs(t->trail_share_min_pct - share_min) < 0.001);
        assert_true(fabs(t->cop_target_mm[0][2] - net_x) < 0.2);
        assert_true(fabs(t->cop_toe_mm[0][2] - net_y) < 0.2);
        uf_sim_free(sim);
    }
}

/* A living body is not a weight: but it is still. */
static void test_quiet_standing(void **state)
{
    (void)state;
    for (uint64_t golfer = 700; golfer < 706; golfer++) {
        struct uf_sim_settings s;
        struct uf_sim_sample x;
        golfer_settings(&s, golfer);
        struct uf_sim *sim = begin(&s, "stand:1.3,stand:1.3,stand:1.3,stand:1.3,stand:1.3,stand:"
                                       "1.3,stand:1.3,stand:1.3,stand:1.3");
        double sum[3] = {0}, square[3] = {0};
        int n = 0, trail = s.golfer.hand == UF_RIGHT_HANDED ? 1 : 0;
        while (uf_sim_next_forces(sim, &x)) {
            double total = x.fz_n[0] + x.fz_n[1];
            double v[3] = {total / (s.golfer.mass_kg * s.golfer.g_m_s2), x.fz_n[trail] / total,
                           x.cop_y_mm[0] / 1000};
            for (int i = 0; i < 3; i++) {
                sum[i] += v[i];
                square[i] += v[i] * v[i];
            }
            n++;
        }
        double sd[3];
        for (int i = 0; i < 3; i++)
            sd[i] = sqrt(square[i] / n - sum[i] / n * sum[i] / n);
        assert_true(fabs(sum[0] / n - 1) < 0.002);
        assert_true(sd[0] > 0.0005 && sd[0] < 0.006);
        assert_true(sd[1] > 0.002 && sd[1] < 0.02);
        assert_true(sd[2] > 0.0005 && sd[2] < 0.01);
        uf_sim_free(sim);
    }
}

/* Each confounder is what its name says. */
static void test_confounders(void **state)
{
    (void)state;
    for (uint64_t golfer = 800; golfer < 810; golfer++) {
        struct uf_sim_settings s;
        struct uf_sim_sample x;
        golfer_settings(&s, golfer);
        struct uf_sim *sim = begin(&s, "stand:1,half,jump,step_drill,sway,step_off,drop_club");
        double weight = s.golfer.mass_kg * s.golfer.g_m_s2, greatest[UF_SIM_ACTS][2] = {{0}};
        double least_lead[UF_SIM_ACTS], in_air_s = 0, club_n = 0, club_s = 0;
        int lead = s.golfer.hand == UF_RIGHT_HANDED ? 0 : 1;
        for (int a = 0; a < UF_SIM_ACTS; a++)
            least_lead[a] = 1;
        size_t act = 0;
        while (uf_sim_next_forces(sim, &x)) {
            while (x.t_s >= uf_sim_truth(sim, act)->end_s)
                act++;
            enum uf_sim_act a = uf_sim_truth(sim, act)->act;
            for (int foot = 0; foot < 2; foot++) {
                double bw = x.fz_n[foot ? 1 - lead : lead] / weight;
                greatest[a][foot] = fmax(greatest[a][foot], bw);
            }
            least_lead[a] = fmin(least_lead[a], x.fz_n[lead] / weight);
            double total = x.fz_n[0] + x.fz_n[1];
            in_air_s += a == UF_SIM_JUMP && total < 1e-6 ? 1 / s.rate_hz : 0;
            club_n = fmax(club_n, a == UF_SIM_DROP_CLUB ? total : 0);
            club_s += a == UF_SIM_DROP_CLUB && total > club_n / 2 ? 1 / s.rate_hz : 0;
        }
        assert_true(greatest[UF_SIM_HALF][0] < 0.85 && greatest[UF_SIM_HALF][1] < 0.75);
        assert_true(in_air_s > 0.14 && in_air_s < 0.46);
        assert_true(greatest[UF_SIM_JUMP][0] + greatest[UF_SIM_JUMP][1] > 1.5);
        assert_true(least_lead[UF_SIM_STEP_DRILL] == 0 && greatest[UF_SIM_STEP_DRILL][1] > 0.95);
        assert_true(greatest[UF_SIM_SWAY][0] < 0.98 && greatest[UF_SIM_SWAY][1] < 0.98);
        assert_true(club_n > 40 && club_n <= 300.001 && club_s < 0.04);
        uf_sim_free(sim);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_terms),
        cmocka_unit_test(test_momentum_closes),
        cmocka_unit_test(test_friction),
        cmocka_unit_test(test_body_holds_for_any_channels),
        cmocka_unit_test(test_signs),
        cmocka_unit_test(test_mirror),
        cmocka_unit_test(test_truth_is_the_samples),
        cmocka_unit_test(test_quiet_standing),
        cmocka_unit_test(test_confounders),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
