/* SPDX-License-Identifier: MIT
 * Inside src/store: linear prediction of integer series, block by block. Two predictors are fitted
 * to all channels of a swing together, one for its quiet blocks and one for its busy ones (they
 * share their noise's colour, and coefficients cost bytes); polynomial ones need no coefficients.
 * Fitting is in floating point and happens once; predicting is in integers, the same on every
 * machine. Pure; any thread. */
#ifndef UF_STORE_PREDICTOR_H
#define UF_STORE_PREDICTOR_H

#include "base/error.h"

#include <stddef.h>
#include <stdint.h>

#define UF_PREDICT_ORDER 32
#define UF_PREDICT_SHIFT 24
#define UF_PREDICT_BLOCK 128 /* samples that share one choice of predictor */

/* Choices: 0..3 the polynomial of that order, then the fitted ones. */
#define UF_PREDICT_FIXED   4
#define UF_PREDICT_FITTED  2
#define UF_PREDICT_CHOICES (UF_PREDICT_FIXED + UF_PREDICT_FITTED)

/* Prediction = (sum coef[i] * y[t - 1 - i]) / 2^24, rounded down. */
struct uf_predictors {
    int fitted; /* 0 or UF_PREDICT_FITTED */
    int32_t coef[UF_PREDICT_FITTED][UF_PREDICT_ORDER];
};

/* The sum of |coef| of one must stay below this, or 64 bits could overflow on 32-bit values. */
#define UF_PREDICT_SUM_MAX (INT64_C(1) << 31)

/* Prediction of y[t] from the values before it, modulo 2^32. choice < UF_PREDICT_FIXED + fitted. */
uint32_t uf_predict(const struct uf_predictors *p, int choice, const int32_t *y, size_t t);

/* Residuals, folded to 0, -1, 1, -2, ...: small numbers for small residuals. */
static inline uint32_t uf_zigzag(uint32_t r)
{
    return (r << 1) ^ (0u - (r >> 31));
}
static inline uint32_t uf_unzigzag(uint32_t z)
{
    return (z >> 1) ^ (0u - (z & 1));
}

/* y[0..series - 1] of n values each, one after another. None is fitted when n is too small to
 * gain. Fails only without memory. */
int uf_predictors_fit(struct uf_predictors *p, const int32_t *y, size_t series, size_t n,
                      struct uf_error *err);

/* Folded residuals of the best choice for each block: z[n], choice[blocks]. Returns the sum. */
double uf_predict_residuals(const struct uf_predictors *p, const int32_t *y, size_t n, uint32_t *z,
                            uint8_t *choice);

static inline size_t uf_predict_blocks(size_t n)
{
    return (n + UF_PREDICT_BLOCK - 1) / UF_PREDICT_BLOCK;
}

#endif
