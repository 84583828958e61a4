/* SPDX-License-Identifier: MIT
 * The signs that the forces of simulated swings show, and the true moments, one line a swing: what
 * tests/bench/learn_events fits the estimates to.
 *   bench_events [GOLFERS [SWINGS each [SEED]]]     default 200 5 90000 */
#include "lesson.h"
#include "swing/events.h"

#include <math.h>

struct job {
    const struct lesson *lesson;
    const struct uf_config *config;
    const struct uf_calibration *cal;
    int golfer;
};

static void take(void *context, struct uf_capture *c)
{
    const struct job *j = context;
    struct uf_analysis *a;
    struct uf_error err;
    if (uf_analyse(c, &j->config->rig, j->cal, &j->config->analysis, &a, &err))
        give_up(err.text);
    double start_s = 1e-6 * (double)c->start_dev_us;
    double trigger_s = 1e-6 * (double)(c->trigger_dev_us - c->start_dev_us);
    for (size_t i = 0; i < uf_sim_truths(j->lesson->sim); i++) {
        const struct uf_sim_truth *t = uf_sim_truth(j->lesson->sim, i);
        double at_s = start_s + trigger_s;
        if (!t->is_swing || at_s < t->top_s - 0.3 || at_s > t->impact_s + 0.3)
            continue;
        double sign_s[UF_SIGNS];
        size_t trigger = (size_t)(trigger_s * a->curves.rate_hz);
        uf_signs_find(&a->curves, a->value[UF_M_trail_share_address_pct], trigger, sign_s);
        printf("%d", j->golfer);
        for (int s = 0; s < UF_SIGNS; s++)
            printf(" %.6f", sign_s[s]);
        printf(" %.6f %.6f %.6f %.6f %.6f %.6f\n", t->first_move_s - start_s, t->top_s - start_s,
               t->lead_arm_level_s - start_s, t->shaft_level_s - start_s, t->impact_s - start_s,
               t->finish_s - start_s);
        break;
    }
    uf_analysis_free(a);
    uf_capture_free(c);
}

int main(int argc, char **argv)
{
    int golfers = argc > 1 ? atoi(argv[1]) : 200;
    int swings = argc > 2 ? atoi(argv[2]) : 5;
    uint64_t seed = argc > 3 ? (uint64_t)atoll(argv[3]) : 90000;
    struct uf_config config;
    uf_config_defaults(&config);
    for (int g = 0; g < golfers; g++) {
        struct uf_sim_step steps[64];
        size_t n = 0;
        steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 3};
        steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
        for (int i = 0; i < swings && n + 3 < 64; i++) {
            steps[n++] = (struct uf_sim_step){UF_SIM_ADDRESS, 0};
            steps[n++] = (struct uf_sim_step){i % 4 == 3 ? UF_SIM_NO_BALL : UF_SIM_BALL, 0};
            steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 0};
        }
        struct uf_sim_settings s;
        uf_sim_defaults(&s);
        uf_sim_golfer_random(&s.golfer, seed + (uint64_t)g);
        s.rig = config.rig;
        s.seed = s.golfer.seed;
        struct lesson l;
        lesson_make(&l, &s, steps, n, 0);
        struct uf_calibration cal;
        uf_sim_true_calibration(l.sim, &cal);
        config.pipeline.hand = s.golfer.hand;
        struct job j = {&l, &config, &cal, g};
        lesson_play(&l, &config.pipeline, &config.rig, take, &j);
        lesson_free(&l);
    }
    return 0;
}
