/* SPDX-License-Identifier: MIT
 * See predictor.h. The fit is least squares by the covariance method over the blocks of one class,
 * each channel weighed by its own noise; the classes are found by two rounds of "each block to
 * the predictor that serves it better". */
#include "store/predictor.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ORDER = UF_PREDICT_ORDER, SIDE = ORDER + 1, BLOCK = UF_PREDICT_BLOCK };

#define ROUNDS       2
#define BUSY_LAG     16  /* samples over which a block's movement is judged at first */
#define BUSY_RATIO   3.0 /* more movement than this times the quietest block's is busy */
#define SUM_SENSIBLE 100 /* of |coefficients|: no sensible predictor has more */

/* Division by 2^24, rounded down, without shifting a negative number. */
static int64_t scale_down(int64_t v)
{
    const int64_t one = INT64_C(1) << UF_PREDICT_SHIFT;
    int64_t q = v / one;
    return v % one < 0 ? q - 1 : q;
}

uint32_t uf_predict(const struct uf_predictors *p, int choice, const int32_t *y, size_t t)
{
    if (choice == 0 || t == 0)
        return 0;
    uint32_t a = (uint32_t)y[t - 1];
    if (choice == 1 || t == 1)
        return a;
    uint32_t b = (uint32_t)y[t - 2];
    if (choice == 2 || t == 2)
        return 2 * a - b;
    if (choice == 3)
        return 3 * a - 3 * b + (uint32_t)y[t - 3];
    if (t < ORDER)
        return a;
    const int32_t *coef = p->coef[choice - UF_PREDICT_FIXED];
    int64_t sum = 0;
    for (size_t i = 0; i < ORDER; i++)
        sum += (int64_t)coef[i] * y[t - 1 - i];
    return (uint32_t)scale_down(sum);
}

/* Sum of the folded residuals of one block; into z when it is not NULL. */
static double block_sum(const struct uf_predictors *p, int choice, const int32_t *y, size_t from,
                        size_t to, uint32_t *z)
{
    double sum = 0;
    for (size_t t = from; t < to; t++) {
        uint32_t folded = uf_zigzag((uint32_t)y[t] - uf_predict(p, choice, y, t));
        sum += folded;
        if (z)
            z[t] = folded;
    }
    return sum;
}

double uf_predict_residuals(const struct uf_predictors *p, const int32_t *y, size_t n, uint32_t *z,
                            uint8_t *choice)
{
    double all = 0;
    for (size_t from = 0, block = 0; from < n; from += BLOCK, block++) {
        size_t to = n - from < BLOCK ? n : from + BLOCK;
        double least = INFINITY;
        for (int c = 0; c < UF_PREDICT_FIXED + p->fitted; c++) {
            double sum = block_sum(p, c, y, from, to, NULL);
            if (sum < least) {
                least = sum;
                choice[block] = (uint8_t)c;
            }
        }
        all += block_sum(p, choice[block], y, from, to, z);
    }
    return all;
}

/* ---- fitting ---- */

/* Adds weight * y[t - i] y[t - j], i <= j <= ORDER, summed over t = from..to - 1, to phi. */
static void add_covariance(double *phi, const int32_t *y, size_t from, size_t to, double weight)
{
    double sums[SIDE][SIDE];
    for (size_t j = 0; j < SIDE; j++) {
        double sum = 0;
        for (size_t t = from; t < to; t++)
            sum += (double)y[t] * y[t - j];
        sums[0][j] = sum;
    }
    for (size_t i = 0; i < ORDER; i++)
        for (size_t j = i; j < ORDER; j++)
            sums[i + 1][j + 1] = sums[i][j] + (double)y[from - 1 - i] * y[from - 1 - j] -
                                 (double)y[to - 1 - i] * y[to - 1 - j];
    for (size_t i = 0; i < SIDE; i++)
        for (size_t j = i; j < SIDE; j++)
            phi[i * SIDE + j] += weight * sums[i][j];
}

/* Solves phi's square 1..ORDER for its row 0, by Cholesky, in place of phi. */
static int solve(double *phi, double *a)
{
    double trace = 0;
    for (size_t i = 1; i < SIDE; i++)
        trace += phi[i * SIDE + i];
    for (size_t i = 1; i < SIDE; i++) { /* phi = U'U, U in the upper triangle */
        for (size_t j = i; j < SIDE; j++) {
            double v = phi[i * SIDE + j] + (i == j ? 1e-14 * trace : 0);
            for (size_t k = 1; k < i; k++)
                v -= phi[k * SIDE + i] * phi[k * SIDE + j];
            if (i == j && !(v > 0))
                return -1;
            phi[i * SIDE + j] = i == j ? sqrt(v) : v / phi[i * SIDE + i];
        }
    }
    for (size_t i = 1; i < SIDE; i++) {
        double v = phi[i];
        for (size_t k = 1; k < i; k++)
            v -= phi[k * SIDE + i] * a[k - 1];
        a[i - 1] = v / phi[i * SIDE + i];
    }
    for (size_t i = ORDER; i >= 1; i--) {
        double v = a[i - 1];
        for (size_t k = i + 1; k < SIDE; k++)
            v -= phi[i * SIDE + k] * a[k - 1];
        a[i - 1] = v / phi[i * SIDE + i];
    }
    return 0;
}

/* Mean square of y[t] - y[t - lag] (lag 1: of the second difference) over whole block b > 0. */
static double movement(const int32_t *y, size_t b, size_t lag)
{
    double sum = 0;
    for (size_t t = b * BLOCK; t < (b + 1) * BLOCK; t++) {
        double d = lag > 1 ? (double)y[t] - y[t - lag] : (double)y[t] - 2.0 * y[t - 1] + y[t - 2];
        sum += d * d;
    }
    return sum / BLOCK;
}

static double least_movement(const int32_t *y, size_t blocks, size_t lag)
{
    double least = INFINITY;
    for (size_t b = 1; b < blocks; b++) {
        double m = movement(y, b, lag);
        if (m < least)
            least = m;
    }
    return least > 0.5 ? least : 0.5; /* quantisation is noise too */
}

/* One predictor from all blocks of its class; false when there are too few or they give none. */
static int fit_class(struct uf_predictors *p, int which, const int32_t *y, size_t series, size_t n,
                     const uint8_t *class, const double *weight)
{
    double phi[SIDE * SIDE] = {0}, a[ORDER], sum = 0;
    size_t blocks = n / BLOCK, members = 0;
    for (size_t s = 0; s < series; s++)
        for (size_t b = 1; b < blocks; b++)
            if (class[s * blocks + b] == which) {
                add_covariance(phi, y + s * n, b * BLOCK, (b + 1) * BLOCK, weight[s]);
                members++;
            }
    if (members < 2 || solve(phi, a))
        return -1;
    for (size_t i = 0; i < ORDER; i++)
        sum += fabs(a[i]);
    if (!(sum < SUM_SENSIBLE))
        return -1;
    for (size_t i = 0; i < ORDER; i++)
        p->coef[which][i] = (int32_t)lround(a[i] * (1 << UF_PREDICT_SHIFT));
    return 0;
}

static void assign(const struct uf_predictors *p, const int32_t *y, size_t series, size_t n,
                   uint8_t *class)
{
    size_t blocks = n / BLOCK;
    for (size_t s = 0; s < series; s++)
        for (size_t b = 1; b < blocks; b++) {
            double quiet =
                block_sum(p, UF_PREDICT_FIXED, y + s * n, b * BLOCK, (b + 1) * BLOCK, NULL);
            double busy =
                block_sum(p, UF_PREDICT_FIXED + 1, y + s * n, b * BLOCK, (b + 1) * BLOCK, NULL);
            class[s * blocks + b] = busy < quiet;
        }
}

int uf_predictors_fit(struct uf_predictors *p, const int32_t *y, size_t series, size_t n,
                      struct uf_error *err)
{
    memset(p, 0, sizeof *p);
    size_t blocks = n / BLOCK;
    if (blocks < 4)
        return UF_OK;
    uint8_t *class = malloc(series * blocks);
    double *weight = malloc(sizeof *weight * series);
    if (!class || !weight) {
        free(class);
        free(weight);
        return uf_fail(err, UF_ENOMEM, "no memory to compress a swing of %zu samples", n);
    }
    for (size_t s = 0; s < series; s++) {
        weight[s] = 1 / least_movement(y + s * n, blocks, 1);
        double still = least_movement(y + s * n, blocks, BUSY_LAG);
        for (size_t b = 1; b < blocks; b++)
            class[s * blocks + b] = movement(y + s * n, b, BUSY_LAG) > BUSY_RATIO * still;
    }
    for (int round = 0; round < ROUNDS; round++) {
        int quiet = fit_class(p, 0, y, series, n, class, weight);
        int busy = fit_class(p, 1, y, series, n, class, weight);
        if (quiet && busy) {
            p->fitted = 0;
            break;
        }
        if (quiet || busy) /* all of one kind: one predictor, twice */
            memcpy(p->coef[quiet ? 0 : 1], p->coef[quiet ? 1 : 0], sizeof p->coef[0]);
        p->fitted = UF_PREDICT_FITTED;
        if (round + 1 < ROUNDS)
            assign(p, y, series, n, class);
    }
    free(class);
    free(weight);
    return UF_OK;
}
