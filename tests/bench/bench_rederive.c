/* SPDX-License-Identifier: MIT
 * A database of simulated swings derived again: seconds of the processor and of the clock, by part,
 * and as a ratio to the same analysis of some of these swings in numpy and scipy in the same run.
 *   bench_rederive [SWINGS [path of chain_numpy.py]]      default 1000
 * Swings are of ten golfers of both hands, twenty each; each is stored as often as SWINGS asks. */
#include "lesson.h"
#include "store/store.h"

#include <unistd.h>

#define GOLFERS 10
#define EACH    20
#define NUMPYS  40 /* swings that numpy is given */

struct stock {
    struct uf_store *store;
    const struct uf_config *config;
    int64_t rig_id, session_id;
    struct uf_capture *capture[GOLFERS * EACH];
    struct uf_calibration cal; /* nominal: what the database has */
    int n;
};

static void take(void *context, struct uf_capture *c)
{
    struct stock *t = context;
    if (t->n < GOLFERS * EACH)
        t->capture[t->n++] = c;
    else
        uf_capture_free(c);
}

static void play(struct stock *t, int number)
{
    struct uf_sim_step steps[3 * EACH + 3];
    size_t n = 0;
    steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 4};
    steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
    for (int i = 0; i < EACH; i++) {
        steps[n++] = (struct uf_sim_step){UF_SIM_ADDRESS, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_BALL, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 0};
    }
    struct uf_sim_settings s;
    uf_sim_defaults(&s);
    uf_sim_golfer_random(&s.golfer, 61000 + (uint64_t)number);
    s.rig = t->config->rig;
    s.seed = s.golfer.seed;
    struct lesson l;
    lesson_make(&l, &s, steps, n, 0);
    struct uf_pipeline_settings pipeline = t->config->pipeline;
    pipeline.hand = s.golfer.hand;
    lesson_play(&l, &pipeline, &s.rig, take, t);
    lesson_free(&l);
}

static double clock_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void store_all(struct stock *t, int swings)
{
    struct uf_error err;
    if (uf_store_rig(t->store, &t->config->rig, &t->rig_id, &err) ||
        uf_store_session_open(t->store, t->rig_id, 1000000, &t->session_id, &err))
        give_up(err.text);
    for (int i = 0; i < swings; i++) {
        int64_t at_us = 1000000 * (int64_t)(i + 10), id;
        struct uf_swing_meta meta = {
            .session_id = t->session_id, .rig_id = t->rig_id, .trigger_utc_us = at_us};
        if (uf_store_swing_add(t->store, &meta, t->capture[i % t->n], NULL, at_us, &id, &err))
            give_up(err.text);
    }
}

/* One record a swing: see read() of chain_numpy.py. */
static void write_swing(FILE *f, const struct stock *t, const struct uf_capture *c)
{
    const struct uf_rig *rig = &t->config->rig;
    double to_trigger_s = 1e-6 * (double)(c->trigger_dev_us - c->start_dev_us);
    int64_t head[5] = {(int64_t)c->samples, rig->channels, c->board.rate_hz,
                       c->hand == UF_RIGHT_HANDED, (int64_t)(to_trigger_s * c->board.rate_hz)};
    fwrite(head, sizeof head, 1, f);
    fwrite(c->tare_raw, sizeof(double), (size_t)rig->channels, f);
    for (int p = 0; p < rig->plates; p++)
        for (int k = 0; k < UF_COMPONENTS; k++)
            fwrite(t->cal.plate[p].c[k], sizeof(double), (size_t)rig->channels, f);
    for (int p = 0; p < rig->plates; p++) {
        const struct uf_plate *plate = &rig->plate[p];
        double mount[3] = {plate->centre_x_mm, plate->centre_y_mm, plate->surface_mm};
        fwrite(mount, sizeof mount, 1, f);
    }
    for (size_t i = 0; i < c->samples; i++)
        fwrite(c->counts_raw + i * c->board.channels, sizeof(int32_t), (size_t)rig->channels, f);
}

static double numpy_s(const struct stock *t, const char *script)
{
    char path[] = "/tmp/underfoot-bench-XXXXXX", command[1024], name[64];
    int fd = mkstemp(path);
    FILE *f = fd < 0 ? NULL : fdopen(fd, "wb");
    if (!f)
        give_up("cannot write swings for numpy");
    for (int i = 0; i < NUMPYS; i++)
        write_swing(f, t, t->capture[(i * 7) % t->n]);
    if (fclose(f))
        give_up("cannot write swings for numpy");
    snprintf(command, sizeof command, "env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE %s %s swings",
             script, path);
    FILE *out = popen(command, "r");
    double s = 0;
    if (!out || fscanf(out, "%63s %lf", name, &s) != 2 || pclose(out) != 0)
        give_up("chain_numpy.py failed");
    unlink(path);
    return s / NUMPYS;
}

static void part(const char *name, double s, int swings)
{
    printf("%-44s %9.2f %12.0f\n", name, s, 1e6 * s / swings);
}

int main(int argc, char **argv)
{
    int swings = argc > 1 ? atoi(argv[1]) : 1000;
    static struct stock t;
    struct uf_config config;
    struct uf_error err;
    uf_config_defaults(&config);
    t.config = &config;
    uf_calibration_nominal(&config.rig, &t.cal);
    for (int g = 0; g < GOLFERS; g++)
        play(&t, g);
    char folder[] = "/tmp/underfoot-bench-XXXXXX", db[64];
    if (!mkdtemp(folder))
        give_up("cannot make a temporary folder");
    snprintf(db, sizeof db, "%s/underfoot.db", folder);
    if (uf_store_open(&t.store, db, UF_STORE_CREATE, &err))
        give_up(err.text);
    store_all(&t, swings);

    struct uf_rederive_counts counts;
    double began_s = now_s(), clock_began_s = clock_s();
    if (uf_store_rederive(t.store, NULL, 0, 0, &config.analysis, 5000000000, &counts, &err))
        give_up(err.text);
    double all_s = now_s() - began_s, clock_all_s = clock_s() - clock_began_s;
    if (counts.made != swings)
        give_up("not every swing was derived");
    double read_s = 0, analyse_s = 0;
    for (int i = 0; i < swings; i++) {
        struct uf_capture *c;
        struct uf_analysis *a;
        began_s = now_s();
        if (uf_store_capture(t.store, i + 1, &c, &err))
            give_up(err.text);
        read_s += now_s() - began_s;
        began_s = now_s();
        if (uf_analyse(c, &config.rig, &t.cal, &config.analysis, &a, &err))
            give_up(err.text);
        analyse_s += now_s() - began_s;
        uf_analysis_free(a);
        uf_capture_free(c);
    }
    printf("%d swings of %d golfers (%d of them different), %d numbers each\n\n", swings, GOLFERS,
           t.n < swings ? t.n : swings, UF_METRICS);
    printf("%-44s %9s %12s\n", "of the processor", "s", "us a swing");
    part("reading and unpacking raw counts", read_s, swings);
    part("analysis with uncertainties", analyse_s, swings);
    part("looking up and writing", all_s - read_s - analyse_s, swings);
    part("all", all_s, swings);
    part("by the clock, a commit each", clock_all_s, swings);
    if (argc > 2) {
        double s = numpy_s(&t, argv[2]);
        part("numpy/scipy, the analysis alone", s * swings, swings);
        printf("(from %d of the swings) our analysis is %.1f times as fast\n", NUMPYS,
               s * swings / analyse_s);
    }
    uf_store_close(t.store);
    for (int i = 0; i < t.n; i++)
        uf_capture_free(t.capture[i]);
    static const char *const ends[] = {"", "-wal", "-shm"};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        char path[80];
        snprintf(path, sizeof path, "%s%s", db, ends[i]);
        unlink(path);
    }
    rmdir(folder);
    return 0;
}
