/* SPDX-License-Identifier: MIT
 * Second-order terms of channels: see curve.h. Pure. */
#include "calib/curve.h"

#include "calib/least_squares.h"
#include "calib/leftover.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ROUNDS       4
#define FEWEST_LOADS 16   /* of that plate */
#define PLACES_LEAST 8    /* to leave out */
#define CURVE_SD     0.02 /* of the reading at rated load: before any load */
#define UNRATED      4 /* a cell without a rated load is rated for so much of its greatest reading */

struct work {
    int n, cols, ways;
    double *a;                     /* [n][cols] readings, data-sheet newtons */
    int *place;                    /* [n] */
    double prior[UF_CHANNELS_MAX]; /* 1 SD of each curve, 1/N */
    /* room */
    double *used, *straight, *v, *values, *left, *equations, *rhs;
};

/* The curves of the rows that are in use, and the ways that they leave. */
struct found {
    double b[UF_CHANNELS_MAX], sd[UF_CHANNELS_MAX]; /* 1/N */
    double way[UF_COMPONENTS][UF_CHANNELS_MAX];
};

static double straightened(double n, double b)
{
    return n + b * n * n;
}

static int ways_of(struct work *w, const double *rows, int n, struct found *out,
                   struct uf_error *err)
{
    int rc = uf_lsq_singular(rows, n, w->cols, w->values, w->v, err);
    for (int k = 0; k < w->ways && rc == UF_OK; k++)
        memcpy(out->way[k], w->v + k * w->cols, (size_t)w->cols * sizeof *w->v);
    return rc;
}

static double rest_of(const struct work *w, const struct found *f, const double *row, double *rest)
{
    double square = 0;
    memcpy(rest, row, (size_t)w->cols * sizeof *rest);
    for (int k = 0; k < w->ways; k++) {
        double along = 0;
        for (int j = 0; j < w->cols; j++)
            along += f->way[k][j] * row[j];
        for (int j = 0; j < w->cols; j++)
            rest[j] -= along * f->way[k][j];
    }
    for (int j = 0; j < w->cols; j++)
        square += rest[j] * rest[j];
    return square;
}

/* One round: how the curves must change for the rows to leave least over. To first order a change D
 * of the rows changes what is left over by (1 - U U') D (1 - V V'), for the ways go along. */
static int improve(struct work *w, int n, struct found *f, struct uf_error *err)
{
    int cols = w->cols, rows = n * cols + cols;
    double left = 0, rest[UF_CHANNELS_MAX];
    for (int i = 0; i < n; i++)
        left += rest_of(w, f, w->straight + i * cols, w->left + i * cols);
    double noise = sqrt(left / ((cols - w->ways) * fmax(1, n - w->ways)));
    memset(w->equations, 0, (size_t)(rows * cols) * sizeof *w->equations);
    for (int j = 0; j < cols; j++) {
        double along[UF_COMPONENTS] = {0}, unit[UF_CHANNELS_MAX] = {0};
        unit[j] = 1;
        (void)rest_of(w, f, unit, rest); /* column j of 1 - V V' */
        for (int k = 0; k < w->ways; k++)
            for (int i = 0; i < n; i++) {
                double u = 0;
                for (int c = 0; c < cols; c++)
                    u += w->straight[i * cols + c] * f->way[k][c];
                along[k] += u / w->values[k] * pow(w->used[i * cols + j], 2);
            }
        for (int i = 0; i < n; i++) {
            double q = pow(w->used[i * cols + j], 2);
            for (int k = 0; k < w->ways; k++) {
                double u = 0;
                for (int c = 0; c < cols; c++)
                    u += w->straight[i * cols + c] * f->way[k][c];
                q -= along[k] * u / w->values[k];
            }
            for (int c = 0; c < cols; c++)
                w->equations[(i * cols + c) * cols + j] = q * rest[c];
        }
        w->equations[(n * cols + j) * cols + j] = noise / w->prior[j];
        w->rhs[n * cols + j] = -f->b[j] * noise / w->prior[j];
    }
    for (int i = 0; i < n * cols; i++)
        w->rhs[i] = -w->left[i];
    struct uf_lsq lsq = {0};
    double cov[UF_CHANNELS_MAX * UF_CHANNELS_MAX];
    int rc = uf_lsq_solve(&lsq, w->equations, w->rhs, rows, cols, 0, err);
    if (rc == UF_OK)
        uf_lsq_covariance(&lsq, cov);
    for (int j = 0; j < cols && rc == UF_OK; j++) {
        f->b[j] += lsq.x[j];
        f->sd[j] = noise * sqrt(cov[j * cols + j]);
    }
    uf_lsq_free(&lsq);
    return rc;
}

/* Of all rows but those of a place (-1: of all). curved false: the ways of straight channels. */
static int find(struct work *w, int without, bool curved, struct found *f, struct uf_error *err)
{
    int n = 0, rc = UF_OK;
    memset(f, 0, sizeof *f);
    for (int i = 0; i < w->n; i++)
        if (w->place[i] != without)
            memcpy(w->used + n++ * w->cols, w->a + i * w->cols, (size_t)w->cols * sizeof *w->a);
    for (int round = 0; round <= (curved ? ROUNDS : 0) && rc == UF_OK; round++) {
        for (int i = 0; i < n; i++)
            for (int j = 0; j < w->cols; j++)
                w->straight[i * w->cols + j] = straightened(w->used[i * w->cols + j], f->b[j]);
        rc = ways_of(w, w->straight, n, f, err);
        if (rc == UF_OK && round < ROUNDS && curved)
            rc = improve(w, n, f, err);
    }
    return rc;
}

/* What the rows of a place leave over by that, summed. */
static double left_by(const struct work *w, const struct found *f, int place, int *rows)
{
    double sum = 0, row[UF_CHANNELS_MAX], rest[UF_CHANNELS_MAX];
    *rows = 0;
    for (int i = 0; i < w->n; i++) {
        if (w->place[i] != place)
            continue;
        for (int j = 0; j < w->cols; j++)
            row[j] = straightened(w->a[i * w->cols + j], f->b[j]);
        sum += rest_of(w, f, row, rest);
        (*rows)++;
    }
    return sum;
}

static int judge(struct work *w, int places, double read, struct uf_curve_choice *out,
                 struct uf_error *err)
{
    double straight = 0, curved = 0, gain = 0, gain2 = 0;
    for (int p = 0; p < places; p++) {
        struct found with, without;
        int rows, rc = find(w, p, false, &without, err);
        if (rc == UF_OK)
            rc = find(w, p, true, &with, err);
        if (rc != UF_OK)
            return rc;
        double a = left_by(w, &without, p, &rows), b = left_by(w, &with, p, &rows);
        straight += a;
        curved += b;
        gain += a - b;
        gain2 += (a - b) * (a - b);
    }
    double se = sqrt(fmax(gain2 - gain * gain / places, 0) * places / (places - 1));
    double scale = (w->cols - w->ways) * read;
    out->straight_pct = 100 * sqrt(straight / scale);
    out->curved_pct = 100 * sqrt(curved / scale);
    out->gain_se_pct = straight > 0 ? 100 * se / straight : 0;
    out->taken = gain > se && out->straight_pct > UF_CURVE_WORTH_PCT;
    return UF_OK;
}

static int allocate(struct work *w, int n, struct uf_error *err)
{
    size_t cells = (size_t)((n + 1) * w->cols);
    w->a = calloc(cells, sizeof *w->a);
    w->used = calloc(cells, sizeof *w->used);
    w->straight = calloc(cells, sizeof *w->straight);
    w->left = calloc(cells, sizeof *w->left);
    w->v = calloc((size_t)(w->cols * w->cols), sizeof *w->v);
    w->values = calloc((size_t)(n + w->cols), sizeof *w->values);
    w->equations = calloc(cells * (size_t)w->cols, sizeof *w->equations);
    w->rhs = calloc(cells, sizeof *w->rhs);
    w->place = calloc((size_t)n + 1, sizeof *w->place);
    return w->a && w->used && w->straight && w->left && w->v && w->values && w->equations &&
                   w->rhs && w->place
               ? UF_OK
               : uf_fail(err, UF_ENOMEM, "no memory for %d loads", n);
}

static void set_priors(struct work *w, const struct uf_plate *plate)
{
    int j = 0;
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++) {
            if (plate->cell[i].channel[k] < 0)
                continue;
            double most_n = 1, rated_n = plate->cell[i].rated_n[k];
            for (int row = 0; row < w->n; row++)
                most_n = fmax(most_n, fabs(w->a[row * w->cols + j]));
            w->prior[j++] = CURVE_SD / (rated_n > 0 ? rated_n : UNRATED * most_n);
        }
}

int uf_curve_choose(const struct uf_plate *plate, int plate_index, const struct uf_reading *r,
                    int n, int rank, struct uf_curve_choice *out, struct uf_error *err)
{
    struct uf_leftover scales;
    struct work w;
    memset(out, 0, sizeof *out);
    memset(&w, 0, sizeof w);
    int rc = uf_leftover_find(plate, plate_index, r, n, rank, &scales, err);
    if (rc != UF_OK)
        return rc;
    w.cols = scales.channels;
    w.ways = scales.ways;
    rc = allocate(&w, n, err);
    int *group = calloc((size_t)n + 1, sizeof *group);
    if (rc == UF_OK && !group)
        rc = uf_fail(err, UF_ENOMEM, "no memory for %d loads", n);
    if (rc != UF_OK)
        goto done;
    int places = uf_reading_places(r, n, plate_index, group);
    double read = 0;
    for (int i = 0; i < n; i++) {
        if (group[i] < 0)
            continue;
        uf_leftover_newtons(&scales, r[i].above_raw, w.a + w.n * w.cols);
        for (int j = 0; j < w.cols; j++)
            read += pow(w.a[w.n * w.cols + j], 2) / w.cols;
        w.place[w.n++] = group[i];
    }
    out->tried = rank == UF_COMPONENTS && w.cols > w.ways && w.n >= FEWEST_LOADS &&
                 places >= PLACES_LEAST && read > 0;
    if (!out->tried)
        goto done;
    struct found f;
    set_priors(&w, plate);
    rc = judge(&w, places, read, out, err);
    if (rc == UF_OK && out->taken)
        rc = find(&w, -1, true, &f, err);
    for (int j = 0; j < w.cols && rc == UF_OK && out->taken; j++) {
        out->curve[j] = f.b[j] * scales.n_per_count[j];
        out->curve_sd[j] = f.sd[j] * scales.n_per_count[j];
    }
done:
    free(group);
    free(w.a);
    free(w.used);
    free(w.straight);
    free(w.left);
    free(w.v);
    free(w.values);
    free(w.equations);
    free(w.rhs);
    free(w.place);
    return rc;
}
