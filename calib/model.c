/* SPDX-License-Identifier: MIT
 * Plate models: see model.h. Pure. */
#include "calib/model.h"

#include "calib/least_squares.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NOISE_FLOOR_N 0.02

const char *uf_model_name(enum uf_model m)
{
    return m == UF_MODEL_CELLS ? "cells" : "whole";
}

/* ---- cells ---- */

/* Unknowns in order: for each cell, output b, axis a: k[a][b]; then the shifts, 3 a cell. */

struct arm {
    double r_m[3];
    struct uf_turn turn;
};

static struct arm arm_of(const struct uf_model_state *m, int cell)
{
    const struct uf_cell *c = &m->plate->cell[cell];
    const double *moved = m->moved_mm[cell];
    return (struct arm){
        {(c->x_mm + moved[0]) / 1000, (c->y_mm + moved[1]) / 1000, (c->z_mm + moved[2]) / 1000},
        uf_turn_of(c->turn_deg)};
}

/* [f; r x f / length] of a force along the cell's axis a. */
static void unit_wrench(const struct arm *arm, int a, double length_m, double w[UF_COMPONENTS])
{
    double f[3] = {0, 0, 0};
    if (a == 0) {
        f[0] = arm->turn.cos;
        f[1] = arm->turn.sin;
    } else if (a == 1) {
        f[0] = -arm->turn.sin;
        f[1] = arm->turn.cos;
    } else {
        f[2] = 1;
    }
    const double *r = arm->r_m;
    w[0] = f[0];
    w[1] = f[1];
    w[2] = f[2];
    w[3] = (r[1] * f[2] - r[2] * f[1]) / length_m;
    w[4] = (r[2] * f[0] - r[0] * f[2]) / length_m;
    w[5] = (r[0] * f[1] - r[1] * f[0]) / length_m;
}

/* Scaled moment of a shift of the cell by 1 mm along axis a, for a force f in the plate's axes. */
static void shift_wrench(const double f[3], int a, double length_m, double w[UF_COMPONENTS])
{
    double d[3] = {a == 0, a == 1, a == 2}, s = 1 / (1000 * length_m);
    w[0] = w[1] = w[2] = 0;
    w[3] = (d[1] * f[2] - d[2] * f[1]) * s;
    w[4] = (d[2] * f[0] - d[0] * f[2]) * s;
    w[5] = (d[0] * f[1] - d[1] * f[0]) * s;
}

static void add(double *to, const double *w, double by, int stride)
{
    for (int r = 0; r < UF_COMPONENTS; r++)
        to[r * stride] += by * w[r];
}

static void cells_columns(const struct uf_model_state *m, const double *above_raw, double *columns,
                          double offset[UF_COMPONENTS])
{
    int j = 0, n = m->unknowns, place = n - 3 * m->plate->cells;
    for (int i = 0; i < m->plate->cells; i++) {
        const struct uf_cell *cell = &m->plate->cell[i];
        struct arm arm = arm_of(m, i);
        double f[3] = {0, 0, 0};
        for (int b = 0; b < 3; b++) {
            if (cell->channel[b] < 0)
                continue;
            double newton = above_raw[cell->channel[b]] * cell->n_per_count[b];
            for (int a = 0; a < 3; a++, j++) {
                double w[UF_COMPONENTS];
                unit_wrench(&arm, a, m->length_m, w);
                add(columns + j, w, newton, n);
                for (int k = 0; k < 3; k++)
                    f[k] += w[k] * newton * m->k[i][a][b];
            }
        }
        for (int a = 0; a < 3; a++) {
            double w[UF_COMPONENTS];
            shift_wrench(f, a, m->length_m, w);
            add(columns + place + 3 * i + a, w, 1, n);
            add(offset, w, m->moved_mm[i][a], 1);
        }
    }
}

/* c += change by dk (relative to the data sheet) and by dr_mm, for all outputs of a cell. */
static void cell_change(const struct uf_model_state *m, int i, double dk[3][3],
                        const double dr_mm[3], int *at, double *c)
{
    const struct uf_cell *cell = &m->plate->cell[i];
    struct arm arm = arm_of(m, i);
    for (int b = 0; b < 3; b++) {
        if (cell->channel[b] < 0)
            continue;
        double f[3] = {0, 0, 0};
        for (int a = 0; a < 3; a++) {
            double w[UF_COMPONENTS];
            unit_wrench(&arm, a, m->length_m, w);
            add(c + *at, w, dk[a][b] * cell->n_per_count[b], m->channels);
            for (int k = 0; k < 3; k++)
                f[k] += w[k] * m->k[i][a][b] * cell->n_per_count[b];
        }
        for (int a = 0; a < 3 && dr_mm; a++) {
            double w[UF_COMPONENTS];
            shift_wrench(f, a, m->length_m, w);
            add(c + *at, w, dr_mm[a], m->channels);
        }
        ++*at;
    }
}

static void cells_split(const struct uf_model_state *m, const double *unknown,
                        double k[UF_CELLS_MAX][3][3], double moved_mm[UF_CELLS_MAX][3])
{
    int j = 0;
    memset(k, 0, UF_CELLS_MAX * sizeof *k);
    for (int i = 0; i < m->plate->cells; i++)
        for (int b = 0; b < 3; b++)
            for (int a = 0; a < 3 && m->plate->cell[i].channel[b] >= 0; a++)
                k[i][a][b] = unknown[j++];
    for (int i = 0; i < m->plate->cells; i++)
        for (int a = 0; a < 3; a++)
            moved_mm[i][a] = unknown[j++];
}

/* ---- whole ---- */

/* Leading directions of the readings in channel space, each channel in units of its noise. */
static int find_ways(struct uf_model_state *m, const struct uf_reading *r, int n, int rank,
                     struct uf_error *err)
{
    int cols = m->channels, rows = 0, rc;
    double unit[UF_CHANNELS_MAX] = {0};
    double *a = calloc((size_t)(n * cols), sizeof *a),
           *v = calloc((size_t)(cols * cols), sizeof *v);
    double *values = calloc((size_t)(n + cols), sizeof *values);
    if (!a || !v || !values) {
        rc = uf_fail(err, UF_ENOMEM, "no memory for the readings");
        goto done;
    }
    int j = 0;
    for (int i = 0; i < m->plate->cells; i++)
        for (int b = 0; b < 3; b++) {
            const struct uf_cell *cell = &m->plate->cell[i];
            if (cell->channel[b] < 0)
                continue;
            double sum = 0, newton = fabs(cell->n_per_count[b]);
            for (int l = 0; l < n; l++)
                sum += r[l].sd_raw[cell->channel[b]] * r[l].sd_raw[cell->channel[b]];
            unit[j++] = hypot(sqrt(sum / n), NOISE_FLOOR_N / newton);
        }
    for (int l = 0; l < n; l++) {
        for (j = 0; j < cols; j++)
            a[rows * cols + j] = r[l].above_raw[m->channel[j]] / unit[j];
        rows++;
    }
    rc = uf_lsq_singular(a, rows, cols, values, v, err);
    if (rc != UF_OK)
        goto done;
    int least = rows < cols ? rows : cols;
    m->ways = rank < least ? rank : least;
    while (m->ways > 0 && !(values[m->ways - 1] > 1e-9 * values[0]))
        m->ways--;
    if (m->ways == 0) {
        rc = uf_fail(err, UF_EINVAL,
                     "no channel of the %s plate answers to any load: look at the wiring",
                     uf_place_name(m->plate->place));
        goto done;
    }
    /* scaled so that a way is of the size of the loads: keeps the fit well conditioned */
    for (int w = 0; w < m->ways; w++)
        for (j = 0; j < cols; j++)
            m->way[w][j] = v[w * cols + j] / unit[j] * sqrt(rows) / values[w];
done:
    free(a);
    free(v);
    free(values);
    return rc;
}

static void ways_of(const struct uf_model_state *m, const double *above_raw,
                    double z[UF_COMPONENTS])
{
    for (int w = 0; w < m->ways; w++) {
        z[w] = 0;
        for (int j = 0; j < m->channels; j++)
            z[w] += m->way[w][j] * above_raw[m->channel[j]];
    }
}

/* ---- both ---- */

int uf_model_start(struct uf_model_state *m, enum uf_model model, const struct uf_plate *plate,
                   const struct uf_model_prior *prior, const struct uf_reading *r, int n, int rank,
                   struct uf_error *err)
{
    memset(m, 0, sizeof *m);
    m->model = model;
    m->plate = plate;
    m->prior = *prior;
    m->length_m = hypot(plate->size_x_mm, plate->size_y_mm) / 2000;
    m->channels = uf_plate_channels(plate, m->channel);
    if (model == UF_MODEL_WHOLE) {
        int rc = find_ways(m, r, n, rank, err);
        m->unknowns = UF_COMPONENTS * m->ways;
        return rc;
    }
    m->unknowns = 3 * m->channels + 3 * plate->cells;
    for (int i = 0; i < plate->cells; i++)
        for (int b = 0; b < 3; b++)
            if (plate->cell[i].channel[b] >= 0)
                m->k[i][b][b] = 1;
    return UF_OK;
}

void uf_model_columns(const struct uf_model_state *m, const double *above_raw, double *columns,
                      double offset[UF_COMPONENTS])
{
    memset(columns, 0, (size_t)(UF_COMPONENTS * m->unknowns) * sizeof *columns);
    memset(offset, 0, UF_COMPONENTS * sizeof *offset);
    if (m->model == UF_MODEL_CELLS) {
        cells_columns(m, above_raw, columns, offset);
        return;
    }
    double z[UF_COMPONENTS];
    ways_of(m, above_raw, z);
    for (int r = 0; r < UF_COMPONENTS; r++)
        for (int w = 0; w < m->ways; w++)
            columns[r * m->unknowns + r * m->ways + w] = z[w];
}

void uf_model_prior_of(const struct uf_model_state *m, int j, double *mean, double *sd)
{
    *mean = 0;
    *sd = INFINITY;
    if (m->model == UF_MODEL_WHOLE)
        return;
    if (j >= m->unknowns - 3 * m->plate->cells) {
        *sd = m->prior.cell_place_mm;
        return;
    }
    for (int i = 0, at = 0; i < m->plate->cells; i++)
        for (int b = 0; b < 3; b++)
            for (int a = 0; a < 3 && m->plate->cell[i].channel[b] >= 0; a++, at++)
                if (at == j) {
                    *mean = a == b;
                    *sd = (a == b ? m->prior.gain_pct : m->prior.crosstalk_pct) / 100;
                }
}

void uf_model_update(struct uf_model_state *m, const double *unknown)
{
    if (m->model == UF_MODEL_CELLS) {
        cells_split(m, unknown, m->k, m->moved_mm);
        return;
    }
    for (int r = 0; r < UF_COMPONENTS; r++)
        for (int w = 0; w < m->ways; w++)
            m->a[r][w] = unknown[r * m->ways + w];
}

void uf_model_matrix(const struct uf_model_state *m, double *c)
{
    memset(c, 0, (size_t)(UF_COMPONENTS * m->channels) * sizeof *c);
    if (m->model == UF_MODEL_CELLS) {
        int at = 0;
        for (int i = 0; i < m->plate->cells; i++) {
            double k[3][3];
            memcpy(k, m->k[i], sizeof k);
            cell_change(m, i, k, NULL, &at, c);
        }
        return;
    }
    for (int r = 0; r < UF_COMPONENTS; r++)
        for (int w = 0; w < m->ways; w++)
            for (int j = 0; j < m->channels; j++)
                c[r * m->channels + j] += m->a[r][w] * m->way[w][j];
}

void uf_model_change(const struct uf_model_state *m, const double *d, double *c)
{
    memset(c, 0, (size_t)(UF_COMPONENTS * m->channels) * sizeof *c);
    if (m->model == UF_MODEL_CELLS) {
        double k[UF_CELLS_MAX][3][3], moved_mm[UF_CELLS_MAX][3];
        int at = 0;
        cells_split(m, d, k, moved_mm);
        for (int i = 0; i < m->plate->cells; i++)
            cell_change(m, i, k[i], moved_mm[i], &at, c);
        return;
    }
    for (int r = 0; r < UF_COMPONENTS; r++)
        for (int w = 0; w < m->ways; w++)
            for (int j = 0; j < m->channels; j++)
                c[r * m->channels + j] += d[r * m->ways + w] * m->way[w][j];
}
