/* SPDX-License-Identifier: MIT
 * How well swings are found: simulated golfers of both hands, all styles, 45-130 kg, slow to very
 * fast, with swings and with what must not be taken for one. Prints a table by kind.
 *   bench_segment [GOLFERS [SWINGS each [CONFOUNDERS each [DAMAGED [SEED]]]]]
 * default 50 20 100, no damage, seed 40000 (the limits of the segmenter were chosen on seeds
 * 1000..1199). Without DAMAGED the true forces go straight to the segmenter. With it, the lesson
 * goes through plates, encoder, line, decoder and zero, and that part of the packets has a flipped
 * bit (0.01: 1
 * %). */
#include "lesson.h"

#include <math.h>

#define STEPS_MAX 1000

struct tally {
    int acts, found, extra;
    int refused[UF_REFUSALS];
};

struct detection {
    double trigger_s;
    bool left_is_lead, used;
};

static const enum uf_sim_act confounders[] =
    {
        UF_SIM_WAGGLE, UF_SIM_HALF,       UF_SIM_ROCK,     UF_SIM_SWAY,
        UF_SIM_TEE_UP, UF_SIM_JUMP,       UF_SIM_KICK,     UF_SIM_DROP_CLUB,
        UF_SIM_FIDGET, UF_SIM_STEP_DRILL, UF_SIM_STEP_OFF, /* followed by walking on again */
};
#define CONFOUNDERS (sizeof confounders / sizeof confounders[0])

static size_t swing_lesson(struct uf_sim_step *steps, int swings, uint64_t seed)
{
    size_t n = 0;
    steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 4};
    steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
    for (int i = 0; i < swings && n + 4 < STEPS_MAX; i++) {
        if ((seed + (uint64_t)i) % 3 == 0)
            steps[n++] = (struct uf_sim_step){UF_SIM_WAGGLE, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_ADDRESS, 0};
        steps[n++] =
            (struct uf_sim_step){(seed + (uint64_t)i) % 4 == 3 ? UF_SIM_NO_BALL : UF_SIM_BALL, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 0};
    }
    steps[n++] = (struct uf_sim_step){UF_SIM_STEP_OFF, 0};
    return n;
}

static size_t confounder_lesson(struct uf_sim_step *steps, int acts, uint64_t seed)
{
    size_t n = 0;
    struct uf_sim_rng rng;
    uf_sim_rng_seed(&rng, seed ^ 0x5eed);
    steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 4};
    steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
    for (int i = 0; i < acts && n + 4 < STEPS_MAX; i++) {
        enum uf_sim_act act = confounders[uf_sim_rng_u64(&rng) % CONFOUNDERS];
        if (uf_sim_rng_u64(&rng) % 2)
            steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 0};
        steps[n++] = (struct uf_sim_step){act, 0};
        if (act == UF_SIM_STEP_OFF) {
            steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 2};
            steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
        }
    }
    steps[n++] = (struct uf_sim_step){UF_SIM_STEP_OFF, 0};
    return n;
}

/* Act of a lesson at a time: the last one that began before it. */
static size_t act_at(const struct uf_sim *sim, double t_s)
{
    size_t at = 0;
    for (size_t i = 0; i < uf_sim_truths(sim); i++)
        if (uf_sim_truth(sim, i)->start_s <= t_s)
            at = i;
    return at;
}

static void compare(const struct uf_sim *sim, struct detection *seen, size_t n, bool right_handed,
                    struct tally *tally, uint64_t seed, bool verbose)
{
    for (size_t i = 0; i < uf_sim_truths(sim); i++) {
        const struct uf_sim_truth *t = uf_sim_truth(sim, i);
        tally[t->act].acts++;
        if (!t->is_swing)
            continue;
        bool hit = false;
        for (size_t k = 0; k < n; k++)
            if (!seen[k].used && seen[k].left_is_lead == right_handed &&
                seen[k].trigger_s > t->top_s - 0.3 && seen[k].trigger_s < t->impact_s + 0.3) {
                seen[k].used = hit = true;
                tally[t->act].found++;
                break;
            }
        if (!hit && verbose)
            printf("  missed: golfer %llu, %s at %.2f s\n", (unsigned long long)seed,
                   uf_sim_act_name(t->act), t->start_s);
    }
    for (size_t k = 0; k < n; k++)
        if (!seen[k].used) {
            enum uf_sim_act act = uf_sim_truth(sim, act_at(sim, seen[k].trigger_s))->act;
            tally[act].extra++;
            if (verbose)
                printf("  false: golfer %llu, %.2f s, during %s\n", (unsigned long long)seed,
                       seen[k].trigger_s, uf_sim_act_name(act));
        }
}

static struct detection found[STEPS_MAX];
static size_t n_found;

static void note(int64_t trigger_dev_us, bool left_is_lead)
{
    if (n_found < STEPS_MAX)
        found[n_found++] = (struct detection){1e-6 * (double)trigger_dev_us, left_is_lead, false};
}

static void take(void *context, struct uf_capture *c)
{
    (void)context;
    note(c->trigger_dev_us, c->shape_hand == UF_RIGHT_HANDED);
    uf_capture_free(c);
}

/* True forces to the segmenter. */
static void run_forces(struct uf_sim *sim, const struct uf_segment_settings *settings,
                       double rate_hz, struct tally *tally)
{
    struct uf_error err;
    struct uf_segment *g;
    if (uf_segment_new(&g, settings, rate_hz, &err))
        give_up(err.text);
    struct uf_sim_sample sample;
    struct uf_segment_result r;
    while (uf_sim_next_forces(sim, &sample)) {
        struct uf_segment_sample in = {.t_dev_us = (int64_t)llround(1e6 * sample.t_s),
                                       .left_n = sample.fz_n[0],
                                       .right_n = sample.fz_n[1]};
        enum uf_segment_event e = uf_segment_feed(g, &in, &r);
        if (e == UF_SEG_SWING)
            note(r.trigger_dev_us, r.left_is_lead);
        if (e == UF_SEG_REFUSED)
            tally[uf_sim_truth(sim, act_at(sim, sample.t_s - 1.5))->act]
                .refused[uf_segment_last_refusal(g)]++;
    }
    uf_segment_free(g);
}

static void run(const struct uf_sim_golfer *golfer, const struct uf_sim_step *steps, size_t n_steps,
                struct tally *tally, double damaged, bool verbose)
{
    struct uf_config config;
    uf_config_defaults(&config);
    struct uf_sim_settings s;
    uf_sim_defaults(&s);
    s.golfer = *golfer;
    s.seed = golfer->seed;
    bool right_handed = golfer->hand == UF_RIGHT_HANDED;
    n_found = 0;
    if (damaged >= 0) {
        struct lesson l;
        lesson_make(&l, &s, steps, n_steps, damaged);
        lesson_play(&l, &config.pipeline, &config.rig, take, NULL);
        compare(l.sim, found, n_found, right_handed, tally, golfer->seed, verbose);
        lesson_free(&l);
        return;
    }
    struct uf_sim *sim;
    struct uf_error err;
    if (uf_sim_new(&sim, &s, steps, n_steps, &err))
        give_up(err.text);
    run_forces(sim, &config.pipeline.segment, s.rate_hz, tally);
    compare(sim, found, n_found, right_handed, tally, golfer->seed, verbose);
    uf_sim_free(sim);
}

/* Not a confounder: nothing happens in it. */
static bool is_quiet(enum uf_sim_act act)
{
    return act == UF_SIM_EMPTY || act == UF_SIM_STAND || act == UF_SIM_ADDRESS;
}

int main(int argc, char **argv)
{
    int golfers = argc > 1 ? atoi(argv[1]) : 50;
    int swings = argc > 2 ? atoi(argv[2]) : 20;
    int others = argc > 3 ? atoi(argv[3]) : 100;
    double damaged = argc > 4 ? atof(argv[4]) : -1;
    uint64_t seed = argc > 5 ? (uint64_t)atoll(argv[5]) : 40000;
    bool verbose = getenv("VERBOSE") != NULL;
    static struct uf_sim_step steps[STEPS_MAX];
    struct tally tally[UF_SIM_ACTS] = {0};
    double lightest = INFINITY, heaviest = 0;
    int left_handed = 0;
    for (int i = 0; i < golfers; i++) {
        struct uf_sim_golfer golfer;
        uf_sim_golfer_random(&golfer, seed + (uint64_t)i);
        lightest = fmin(lightest, golfer.mass_kg);
        heaviest = fmax(heaviest, golfer.mass_kg);
        left_handed += golfer.hand == UF_LEFT_HANDED;
        run(&golfer, steps, swing_lesson(steps, swings, golfer.seed), tally, damaged, verbose);
        run(&golfer, steps, confounder_lesson(steps, others, golfer.seed), tally, damaged, verbose);
    }
    printf("%d simulated golfers, %d left-handed, %.0f-%.0f kg\n\n", golfers, left_handed, lightest,
           heaviest);
    printf("%-12s %7s %7s %7s  refused candidates\n", "kind", "acts", "found", "false");
    int acts = 0, hits = 0, false_swings = 0, confounded = 0;
    for (int a = 0; a < UF_SIM_ACTS; a++) {
        const struct tally *t = &tally[a];
        if (t->acts == 0)
            continue;
        bool swing = a == UF_SIM_BALL || a == UF_SIM_NO_BALL;
        printf("%-12s %7d %7d %7d ", uf_sim_act_name((enum uf_sim_act)a), t->acts, t->found,
               t->extra);
        for (int r = 1; r < UF_REFUSALS; r++)
            if (t->refused[r])
                printf(" %s %d;", uf_refusal_name((enum uf_refusal)r), t->refused[r]);
        printf("\n");
        acts += swing ? t->acts : 0;
        hits += t->found;
        false_swings += t->extra;
        confounded += swing || is_quiet((enum uf_sim_act)a) ? 0 : t->acts;
    }
    printf("\nswings found: %d of %d (%.2f %%)\n", hits, acts, 100.0 * hits / acts);
    printf("false swings: %d in %d confounders (%.2f in 1,000)\n", false_swings, confounded,
           1000.0 * false_swings / confounded);
    return 0;
}
