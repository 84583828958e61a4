/* SPDX-License-Identifier: MIT
 * Inside src/store: one series of 32-bit numbers (a channel's counts, the times, the inputs of a
 * swing) to few bytes and back, without loss. Prediction leaves the noise; its residual is split
 * where the bits stop being compressible: the lower ones are packed as they are, the upper part
 * goes through zstd's entropy coder. Pure; any thread. */
#ifndef UF_STORE_SERIES_H
#define UF_STORE_SERIES_H

#include "store/predictor.h"

#include <zstd.h>

/* Grows as needed; free(data) by the caller. */
struct uf_bytes {
    uint8_t *data;
    size_t n, room;
};
/* Space for n more bytes at data + b->n; NULL without memory. The caller moves b->n on. */
uint8_t *uf_bytes_room(struct uf_bytes *b, size_t n);

/* The form in which series are predicted: y[t] = (x[t] - x[0]) / 2^zeros, zeros the greatest for
 * which that is exact. Returns zeros. y may be x. */
int uf_series_reduce(const int32_t *x, size_t n, int32_t *y);

/* Appends x[n] to out. zstd is set up by uf_series_zstd. */
int uf_series_encode(struct uf_bytes *out, ZSTD_CCtx *zstd, const int32_t *x, size_t n,
                     const struct uf_predictors *predictors, struct uf_error *err);
/* A context whose literals, not repeats, do the work; NULL without memory. */
ZSTD_CCtx *uf_series_zstd(void);

/* Reads n numbers into x[n] from bytes; *used is how many bytes the series took. UF_ECORRUPT on
 * anything that uf_series_encode does not write. */
int uf_series_decode(const uint8_t *bytes, size_t length, size_t *used, ZSTD_DCtx *zstd, int32_t *x,
                     size_t n, const struct uf_predictors *predictors, struct uf_error *err);

#endif
