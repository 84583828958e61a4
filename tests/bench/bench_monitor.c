/* SPDX-License-Identifier: MIT
 * The live watch on imperfect plates: each is built with the errors of home-built ones, calibrated
 * by the plan of 25 with a person's own errors, and then stands under a simulated lesson, once
 * without a fault and again with each fault. Counts false alarms and the faults that are found, and
 * says how near to the limit a healthy plate comes. Usage: bench_monitor [plates] */
#include "../unit/calib_plate.h"
#include "calib/fit.h"
#include "calib/plan.h"
#include "plate/monitor.h"
#include "sim/lesson.h"

#include <stdio.h>
#include <stdlib.h>

#define GOLFERS    5
#define EVERY      5 /* of 1000 samples a second */
#define RATE_HZ    200
#define CREEP_S    7.0 /* it comes and goes so slowly */
#define DRIFT_N    0.5 /* 1 SD of a channel's zero at the end of the lesson */
#define STEPS      64
#define PLACEMENTS 25

static const char lesson[] = "empty:2,walk_on,address,ball,no_ball,step_drill,jump,ball,step_off,"
                             "empty:2,walk_on,no_ball,rock,no_ball,step_off,empty:1";

/* What stands on the left plate in a lesson, sample by sample. */
struct forces {
    size_t n, room;
    double (*w)[UF_COMPONENTS];
};

static int forces_of(const struct uf_rig *rig, uint64_t golfer, struct forces *out)
{
    struct uf_sim_settings settings;
    struct uf_sim_step steps[STEPS];
    struct uf_sim *sim = NULL;
    struct uf_sim_sample sample;
    struct uf_calibration sheet;
    struct uf_error err = {0, ""};
    size_t n;
    uf_sim_defaults(&settings);
    uf_sim_golfer_random(&settings.golfer, golfer);
    settings.seed = golfer;
    settings.perfect = true;
    settings.rig = *rig;
    uf_calibration_nominal(rig, &sheet);
    if (uf_sim_steps_parse(lesson, steps, STEPS, &n, &err) ||
        uf_sim_new(&sim, &settings, steps, n, &err)) {
        fprintf(stderr, "%s\n", err.text);
        return 1;
    }
    for (size_t i = 0; uf_sim_next(sim, &sample); i++) {
        if (i % EVERY)
            continue;
        if (out->n == out->room) {
            out->room = 2 * out->room + 1000;
            double(*more)[UF_COMPONENTS] = realloc(out->w, out->room * sizeof *more);
            if (!more)
                return 1;
            out->w = more;
        }
        for (int k = 0; k < UF_COMPONENTS; k++) {
            out->w[out->n][k] = 0;
            for (int c = 0; c < rig->channels; c++)
                out->w[out->n][k] += sheet.plate[0].c[k][c] * sample.counts_raw[c];
        }
        out->n++;
    }
    uf_sim_free(sim);
    return 0;
}

enum fault { NONE, DEAD, LOOSE, HALF_LOOSE, WEAK_20, WEAK_5, FRAME, FAULTS };
static const char *const fault_name[FAULTS] = {
    "none",
    "a cell's vertical output dead",
    "a foot loose",
    "a foot gives way (a third as stiff)",
    "a vertical output 20 % weak",
    "a vertical output 5 % weak",
    "the frame carries 10 % at an edge",
};

/* Breaks cell 1; the frame touches at the plate's right edge, which is a load like another. */
static void break_it(struct made_plate *m, enum fault fault)
{
    const double gain[FAULTS] = {[DEAD] = 0, [WEAK_20] = 0.8, [WEAK_5] = 0.95};
    if (fault == LOOSE || fault == HALF_LOOSE) {
        m->stiff[1][2] *= fault == LOOSE ? 0 : 1.0 / 3;
        made_share(m);
    }
    for (int a = 0; a < 3 && gain[fault] < 1 && (fault == DEAD || gain[fault] > 0); a++)
        m->to_raw[1][6 + a] *= gain[fault];
    for (int i = 0; i < 3 * m->plate.cells && fault == FRAME; i++)
        m->share[UF_FZ][i] -=
            0.1 * (m->share[UF_FZ][i] - m->plate.size_x_mm / 2000 * m->share[UF_MY][i]);
}

struct result {
    bool suspect;
    double most; /* of what is left over against the limit, on a loaded plate */
};

static void play(const struct made_plate *plate, const struct uf_rig *rig,
                 const struct uf_leftover *leftover, const struct forces *f, enum fault fault,
                 struct result *out)
{
    struct made_plate m = *plate, now;
    struct uf_monitor monitor;
    static const bool known[UF_PLATES_MAX] = {true, false};
    struct uf_leftover l[UF_PLATES_MAX];
    double tare_raw[UF_CHANNELS_MAX] = {0}, drift_raw[UF_CHANNELS_MAX] = {0};
    memset(l, 0, sizeof l);
    l[0] = *leftover;
    break_it(&m, fault);
    for (int i = 0; i < m.plate.cells; i++)
        for (int b = 0; b < 3; b++)
            drift_raw[m.plate.cell[i].channel[b]] =
                uf_sim_rng_normal(&m.rng, 0, DRIFT_N) / m.plate.cell[i].n_per_count[b];
    now = m;
    memset(now.creep, 0, sizeof now.creep);
    uf_monitor_start(&monitor, rig, l, known);
    *out = (struct result){false, 0};
    for (size_t i = 0; i < f->n; i++) {
        double above_raw[UF_CHANNELS_MAX] = {0};
        int32_t counts_raw[UF_CHANNELS_MAX] = {0};
        if (i % (size_t)(CREEP_S * RATE_HZ) == 0)
            for (int c = 0; c < m.plate.cells; c++)
                for (int b = 0; b < 3; b++) {
                    double more = 1 + m.creep[c][b] * uf_sim_rng_uniform(&m.rng, 0, 1);
                    for (int a = 0; a < 3; a++)
                        now.to_raw[c][3 * b + a] = m.to_raw[c][3 * b + a] * more;
                }
        made_read(&now, f->w[i], above_raw);
        for (int c = 0; c < rig->channels; c++)
            counts_raw[c] = (int32_t)lround(above_raw[c] + drift_raw[c] * (double)i / (double)f->n);
        uf_monitor_feed(&monitor, counts_raw, tare_raw, RATE_HZ);
        const struct uf_monitor_plate *p = &monitor.plate[0];
        out->suspect = out->suspect || p->suspect;
        if (p->left_n > out->most * p->limit_n)
            out->most = p->left_n / p->limit_n;
    }
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static int table(const char *title, const struct made_spread *spread, const struct uf_rig *rig,
                 const struct forces *forces, int plates)
{
    struct uf_load_setup setup;
    struct uf_fit_settings settings;
    struct uf_plan_settings plan;
    struct uf_plan_step step[UF_PLAN_MAX];
    struct uf_error err = {0, ""};
    int suspect[FAULTS] = {0};
    double *most = calloc((size_t)(plates * FAULTS), sizeof *most), reading = 0;
    if (!most)
        return 1;
    made_setup(&setup, 0.0005);
    uf_fit_defaults(&settings);
    uf_plan_defaults(&plan);
    plan.most = PLACEMENTS;
    int n = uf_plan_make(&rig->plate[0], 0, &setup, &plan, step, &err);
    for (int s = 0; s < plates && n > 0; s++) {
        struct made_plate m;
        struct made_person person;
        struct uf_reading r[UF_PLAN_MAX];
        struct uf_fit *fit;
        made_build(&m, &rig->plate[0], spread, 2000u + (uint64_t)s);
        made_person(&person, &setup, &m.rng);
        for (int i = 0; i < n; i++)
            made_capture(&m, &person, &step[i].load, &r[i]);
        if (uf_fit_best(&fit, NULL, rig, 0, &setup, r, n, &settings, &err) != UF_OK)
            break;
        reading += fit->leftover.reading_pct / plates;
        for (int fault = 0; fault < FAULTS; fault++) {
            struct result result;
            play(&m, rig, &fit->leftover, &forces[s % GOLFERS], (enum fault)fault, &result);
            suspect[fault] += result.suspect;
            most[fault * plates + s] = result.most;
        }
        uf_fit_free(fit);
    }
    if (n <= 0 || err.text[0]) {
        fprintf(stderr, "%s\n", err.text);
        free(most);
        return 1;
    }
    printf("%s\n  channels repeat themselves within %.3f %% of the reading, says the calibration\n"
           "  %-38s %9s   left over / limit: median, greatest\n",
           title, reading, "fault", "suspect");
    for (int fault = 0; fault < FAULTS; fault++) {
        double *of = most + fault * plates;
        qsort(of, (size_t)plates, sizeof *of, by_size);
        printf("  %-38s %3d of %3d   %6.2f %6.2f\n", fault_name[fault], suspect[fault], plates,
               of[plates / 2], of[plates - 1]);
    }
    free(most);
    return 0;
}

int main(int argc, char **argv)
{
    int plates = argc > 1 ? atoi(argv[1]) : 100, rc = 0;
    struct forces forces[GOLFERS];
    struct uf_rig rig;
    if (plates < 1) {
        fprintf(stderr, "usage: bench_monitor [plates]\n");
        return 2;
    }
    memset(forces, 0, sizeof forces);
    uf_rig_example(&rig);
    for (int g = 0; g < GOLFERS && rc == 0; g++)
        rc = forces_of(&rig, 1u + (uint64_t)g, &forces[g]);
    struct made_spread usual = made_usual(), bent = usual, curved = usual, creeping = usual;
    bent.bend = 0.02;
    curved.curve = 0.01;
    creeping.creep = 0.005;
    if (rc == 0)
        rc = table("usual plates: 0.1 % curvature, 0.05 % creep", &usual, &rig, forces, plates);
    if (rc == 0)
        rc = table("posts that bend (2 %)", &bent, &rig, forces, plates);
    if (rc == 0)
        rc = table("1 % curvature", &curved, &rig, forces, plates);
    if (rc == 0)
        rc = table("0.5 % creep", &creeping, &rig, forces, plates);
    for (int g = 0; g < GOLFERS; g++)
        free(forces[g].w);
    return rc;
}
