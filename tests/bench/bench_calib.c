/* SPDX-License-Identifier: MIT
 * How good a calibration with known weights is: 200 simulated plates (5 % gain spread, 3 %
 * cross-talk, cells 2 mm off, noise, creep, 0.1 % non-linearity), 0.05 % masses placed within
 * 0.5 mm by the plan, against what one would do by hand; and whether the stated uncertainties
 * are honest. Usage: bench_calib [plates] */
#include "../unit/calib_plate.h"
#include "calib/plan.h"

#include <stdio.h>
#include <stdlib.h>

#define VERTICAL_N   400.0
#define HORIZONTAL_N 100.0
#define FREE_NM      20.0
#define GRID         7
#define LEVELS       8

enum quantity { COP, VERTICAL, HORIZONTAL, TURN, QUANTITIES };
enum stated { COP_X, COP_Y, FZ, FX, FY, MZ, STATED };
static const char *const stated_name[STATED] = {"COP x", "COP y", "Fz", "Fx", "Fy", "Mz"};

struct tally {
    double *error[QUANTITIES];
    size_t n[QUANTITIES];
    size_t within[STATED], of[STATED];
    double square[STATED]; /* of errors in stated standard uncertainties */
    int whole, curved, fits;
};

static void note(struct tally *t, enum quantity q, double error)
{
    t->error[q][t->n[q]++] = error;
}

static void judge(struct tally *t, enum stated s, double error, double sd, double factor)
{
    t->of[s]++;
    t->square[s] += error * error / (sd * sd);
    t->within[s] += fabs(error) <= factor * sd;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double part(struct tally *t, enum quantity q, double p)
{
    qsort(t->error[q], t->n[q], sizeof(double), by_size);
    return t->error[q][(size_t)(p * (double)(t->n[q] - 1))];
}

/* One true load, read by the plate and turned into numbers. fit NULL: no stated uncertainty. */
static void try_load(struct made_plate *m, const double w[6], const struct uf_plate_matrix *matrix,
                     const struct uf_fit *fit, struct tally *t)
{
    double raw[UF_CHANNELS_MAX] = {0}, sd_raw[UF_CHANNELS_MAX] = {0};
    double cov[UF_COMPONENTS][UF_COMPONENTS], h = m->plate.surface_mm / 1000;
    struct uf_wrench got;
    struct uf_cop cop;
    bool level = w[0] != 0 || w[1] != 0;
    made_read(m, w, raw);
    uf_wrench_of_mean(matrix, raw, UF_CHANNELS_MAX, &got);
    uf_cop_of(&got, m->plate.surface_mm, 25, &cop);
    double x_mm = 1000 * (-w[4] + h * w[0]) / w[2], y_mm = 1000 * (w[3] + h * w[1]) / w[2];
    if (!level) {
        note(t, COP, hypot(cop.x_mm - x_mm, cop.y_mm - y_mm));
        note(t, VERTICAL, 100 * fabs(got.fz_n / w[2] - 1));
    } else {
        note(t, HORIZONTAL, hypot(got.fx_n - w[0], got.fy_n - w[1]));
        note(t, TURN, fabs(got.mz_nm - w[5]));
    }
    if (!fit)
        return;
    for (int i = 0; i < m->plate.cells; i++)
        for (int b = 0; b < 3; b++)
            sd_raw[m->plate.cell[i].channel[b]] =
                hypot(m->noise_n, m->zero_n) / fabs(m->plate.cell[i].n_per_count[b]);
    struct uf_cop_sd sd;
    struct uf_cover cover;
    uf_fit_covariance(fit, raw, sd_raw, cov);
    uf_cop_sd_of(&got, cov, m->plate.surface_mm, 25, &sd);
    uf_fit_cover(fit, raw, cov, &got, m->plate.surface_mm, 25, &cover);
    if (!level) {
        judge(t, COP_X, cop.x_mm - x_mm, sd.x_mm, cover.x);
        judge(t, COP_Y, cop.y_mm - y_mm, sd.y_mm, cover.y);
        judge(t, FZ, got.fz_n - w[2], sqrt(cov[UF_FZ][UF_FZ]), cover.component[UF_FZ]);
    } else {
        judge(t, FX, got.fx_n - w[0], sqrt(cov[UF_FX][UF_FX]), cover.component[UF_FX]);
        judge(t, FY, got.fy_n - w[1], sqrt(cov[UF_FY][UF_FY]), cover.component[UF_FY]);
        judge(t, MZ, got.mz_nm - w[5], sqrt(cov[UF_MZ][UF_MZ]), cover.component[UF_MZ]);
    }
}

static void try_all(struct made_plate *m, const struct uf_plate_matrix *matrix,
                    const struct uf_fit *fit, struct tally *t)
{
    double h = m->plate.surface_mm / 1000;
    for (int i = 0; i < GRID * GRID; i++) {
        double x = 0.95 * m->plate.size_x_mm / 2000 * (2.0 * (i % GRID) / (GRID - 1) - 1);
        double y = 0.95 * m->plate.size_y_mm / 2000 * (2.0 * (i / GRID) / (GRID - 1) - 1);
        const double w[6] = {0, 0, VERTICAL_N, y * VERTICAL_N, -x * VERTICAL_N, 0};
        try_load(m, w, matrix, fit, t);
    }
    for (int i = 0; i < LEVELS; i++) { /* a foot that pushes, somewhere on the plate */
        double a = PLATE_RAD(360.0 * i / LEVELS),
               f[2] = {HORIZONTAL_N * cos(a), HORIZONTAL_N * sin(a)};
        double x = 0.1 * cos(3 * a), y = 0.2 * sin(2 * a + 0.5);
        const double w[6] = {f[0],
                             f[1],
                             VERTICAL_N,
                             y * VERTICAL_N - h * f[1],
                             h * f[0] - x * VERTICAL_N,
                             x * f[1] - y * f[0] + (i % 2 ? FREE_NM : -FREE_NM)};
        try_load(m, w, matrix, fit, t);
    }
}

/* A gain for each cell from one weight in the middle, a quarter each; the rest by data sheet. */
static void by_hand(struct made_plate *m, const struct made_person *p,
                    const struct uf_load_setup *setup, struct uf_plate_matrix *out)
{
    struct uf_load middle = {
        .kind = UF_LOAD_VERTICAL, .pieces = 2, .piece = {0, 1}, .place_tol_mm = 0.5};
    struct uf_reading r;
    struct uf_cell_matrix cells[UF_CELLS_MAX];
    memset(cells, 0, sizeof cells);
    made_capture(m, p, &middle, &r);
    double n = uf_gravity_weight_n(setup->gravity.g_m_s2, uf_load_mass_kg(setup, &middle));
    for (int i = 0; i < m->plate.cells; i++) {
        const struct uf_cell *c = &m->plate.cell[i];
        cells[i].k[0][0] = c->n_per_count[0];
        cells[i].k[1][1] = c->n_per_count[1];
        cells[i].k[2][2] = n / m->plate.cells / r.above_raw[c->channel[2]];
    }
    uf_compose_cells(&m->plate, cells, out);
}

static void print_row(const char *name, struct tally *t)
{
    printf("%-22s", name);
    for (int q = 0; q < QUANTITIES; q++)
        printf("  %7.3f %7.3f", part(t, (enum quantity)q, 0.5), part(t, (enum quantity)q, 0.95));
    putchar('\n');
}

static int tables(const char *title, const struct made_spread *spread, int plates, bool straight)
{
    static const int placements[] = {10, 25, 60};
    struct uf_rig rig;
    struct uf_load_setup setup;
    struct uf_fit_settings settings;
    struct uf_error err = {0, ""};
    struct tally tally[4];
    memset(tally, 0, sizeof tally);
    for (int t = 0; t < 4; t++)
        for (int q = 0; q < QUANTITIES; q++) {
            tally[t].error[q] = calloc((size_t)plates * GRID * GRID, sizeof(double));
            if (!tally[t].error[q])
                return 1;
        }
    uf_rig_example(&rig);
    made_setup(&setup, 0.0005);
    uf_fit_defaults(&settings);
    settings.straight = straight;
    printf("%s\n", title);
    for (int t = 0; t < 3; t++) {
        struct uf_plan_step step[UF_PLAN_MAX];
        struct uf_plan_settings plan;
        uf_plan_defaults(&plan);
        plan.most = placements[t];
        plan.place_tol_mm = 0.5;
        int n = uf_plan_make(&rig.plate[0], 0, &setup, &plan, step, &err);
        if (n < 0) {
            fprintf(stderr, "%s\n", err.text);
            return 1;
        }
        for (int s = 0; s < plates; s++) {
            struct made_plate m;
            struct made_person person;
            struct uf_reading r[UF_PLAN_MAX];
            made_build(&m, &rig.plate[0], spread, 1000u + (uint64_t)s);
            made_person(&person, &setup, &m.rng);
            if (t == 0) {
                struct uf_plate_matrix hand;
                by_hand(&m, &person, &setup, &hand);
                try_all(&m, &hand, NULL, &tally[3]);
            }
            for (int i = 0; i < n; i++)
                made_capture(&m, &person, &step[i].load, &r[i]);
            struct uf_fit *fit;
            if (uf_fit_best(&fit, NULL, &rig, 0, &setup, r, n, &settings, &err) != UF_OK) {
                fprintf(stderr, "%s\n", err.text);
                return 1;
            }
            tally[t].whole += fit->model == UF_MODEL_WHOLE;
            tally[t].curved += fit->matrix.curved;
            tally[t].fits++;
            try_all(&m, &fit->matrix, fit, &tally[t]);
            uf_fit_free(fit);
        }
        printf("  plan of %d: expected 95 %%: COP %.2f mm, vertical %.3f %%, horizontal %.2f %%, "
               "turn %.2f N m; condition %.1f\n",
               n, step[n - 1].cop_mm, step[n - 1].vertical_pct, step[n - 1].horizontal_pct,
               step[n - 1].turn_nm, step[n - 1].condition);
    }
    printf("\n  %d plates: errors, median and 95th percentile\n%-22s  %15s  %15s  %15s  %15s\n",
           plates, "", "COP 400 N, mm", "vertical, %", "horiz. 100 N, %", "turn, N m");
    print_row("by hand, 1 weight", &tally[3]);
    for (int t = 0; t < 3; t++) {
        char name[32];
        snprintf(name, sizeof name, "%d placements", placements[t]);
        print_row(name, &tally[t]);
    }
    printf("\n  within the stated 95 %% interval, %%\n%-22s", "");
    for (int s = 0; s < STATED; s++)
        printf("  %7s", stated_name[s]);
    printf("  %8s  whole matrix  curved\n", "all");
    for (int t = 0; t < 3; t++) {
        size_t in = 0, of = 0;
        printf("%-2d placements         ", placements[t]);
        for (int s = 0; s < STATED; s++) {
            printf("  %7.1f", 100.0 * (double)tally[t].within[s] / (double)tally[t].of[s]);
            in += tally[t].within[s];
            of += tally[t].of[s];
        }
        printf("  %8.1f  %d of %d      %d\n", 100.0 * (double)in / (double)of, tally[t].whole,
               tally[t].fits, tally[t].curved);
    }
    printf("\n  rms error in stated standard uncertainties\n");
    for (int t = 0; t < 3; t++) {
        printf("%-2d placements         ", placements[t]);
        for (int s = 0; s < STATED; s++)
            printf("  %7.2f", sqrt(tally[t].square[s] / (double)tally[t].of[s]));
        putchar('\n');
    }
    for (int t = 0; t < 4; t++)
        for (int q = 0; q < QUANTITIES; q++)
            free(tally[t].error[q]);
    return 0;
}

int main(int argc, char **argv)
{
    int plates = argc > 1 ? atoi(argv[1]) : 200;
    if (plates < 1) {
        fprintf(stderr, "usage: bench_calib [plates]\n");
        return 2;
    }
    struct made_spread spread = made_usual();
    int rc =
        tables("Plates as described: 5 % gain, 3 % cross-talk, cells 2 mm off, 0.1 % curvature",
               &spread, plates, false);
    spread.bend = 0.02;
    if (rc == 0)
        rc = tables("\nThe same, and cells that feel each load otherwise by 2 % (bending posts)",
                    &spread, plates, false);
    spread.bend = 0;
    spread.curve = 0.01;
    if (rc == 0)
        rc = tables("\n1 % curvature", &spread, plates, false);
    if (rc == 0)
        rc = tables("\n1 % curvature, and channels taken as straight all the same", &spread, plates,
                    true);
    return rc;
}
