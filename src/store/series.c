/* SPDX-License-Identifier: MIT
 * See series.h. Layout of one series (little-endian):
 *   s32 first value; u8 zeros (all values differ from the first by a multiple of 2^zeros); u8 k;
 *   u32 z; z bytes of zstd; then the k lower bits of every residual, packed from bit 0 up.
 * The zstd frame holds n bytes, the folded residual >> k where that is below 255; a byte for each
 * block, its choice of predictor; and one u32 for each of the n bytes that is 255. */
#include "store/series.h"

#include "base/bytes.h"

#include <math.h>
#include <stdlib.h>

#define ESCAPE       255u
#define HEADER_BYTES 10
#define ZEROS_MAX    30
#define K_MAX        31
/* What zstd's entropy coder costs beyond the entropy, measured on noise: bits a used symbol for its
 * table, and bits a number for each bit that the entropy falls below FEW_BITS. */
#define SYMBOL_BITS 3.0
#define FEW_BITS    3.0
#define FEW_COST    0.4
#define FINE_LEVEL  19 /* of zstd, tried where symbols are few */

uint8_t *uf_bytes_room(struct uf_bytes *b, size_t n)
{
    if (n > SIZE_MAX / 4 || b->n > SIZE_MAX / 4)
        return NULL;
    if (b->n + n > b->room) {
        size_t room = 2 * b->room + n + 256;
        uint8_t *data = realloc(b->data, room);
        if (!data)
            return NULL;
        b->data = data;
        b->room = room;
    }
    return b->data + b->n;
}

ZSTD_CCtx *uf_series_zstd(void)
{
    ZSTD_CCtx *zstd = ZSTD_createCCtx();
    if (zstd) { /* noise has no repeats: a chance one costs more than its bytes' own codes */
        ZSTD_CCtx_setParameter(zstd, ZSTD_c_strategy, ZSTD_fast);
        ZSTD_CCtx_setParameter(zstd, ZSTD_c_minMatch, 7);
    }
    return zstd;
}

int uf_series_reduce(const int32_t *x, size_t n, int32_t *y)
{
    uint32_t any = 0, first = (uint32_t)x[0];
    for (size_t i = 1; i < n; i++)
        any |= (uint32_t)x[i] - first;
    int zeros = 0;
    for (; any && !(any & 1) && zeros < ZEROS_MAX; zeros++)
        any >>= 1;
    for (size_t i = 0; i < n; i++) /* exact, so a division, and the sign stays */
        y[i] = (int32_t)((uint32_t)x[i] - first) / (int32_t)(1u << zeros);
    return zeros;
}

/* ---- encoding ---- */

/* Bits that z[n] takes when split at bit k. */
static double split_bits(const uint32_t *z, size_t n, int k)
{
    size_t count[ESCAPE + 1] = {0};
    for (size_t i = 0; i < n; i++) {
        uint32_t high = z[i] >> k;
        count[high < ESCAPE ? high : ESCAPE]++;
    }
    double bits = 0, table = 0;
    for (size_t s = 0; s <= ESCAPE; s++)
        if (count[s]) {
            bits += (double)count[s] * log2((double)n / (double)count[s]);
            table += SYMBOL_BITS;
        }
    if (bits < FEW_BITS * (double)n)
        table += FEW_COST * (FEW_BITS * (double)n - bits);
    return (double)n * k + bits + table + 32.0 * (double)count[ESCAPE];
}

static int best_split(const uint32_t *z, size_t n, double sum)
{
    int around = sum > 0 ? (int)log2(sum / (double)n + 1) : 0;
    int from = around > 7 ? around - 7 : 0, to = around + 2 < K_MAX ? around + 2 : K_MAX,
        best = from;
    double least = INFINITY;
    for (int k = from; k <= to; k++) {
        double bits = split_bits(z, n, k);
        if (bits < least) {
            least = bits;
            best = k;
        }
    }
    return best;
}

/* The zstd frame's content into plane: upper parts of z[n], choices, escapes; returns its length.
 */
static size_t upper_plane(const uint32_t *z, size_t n, int k, const uint8_t *choice, uint8_t *plane)
{
    size_t length = n;
    for (size_t b = 0; b < uf_predict_blocks(n); b++)
        plane[length++] = choice[b];
    for (size_t i = 0; i < n; i++) {
        uint32_t high = z[i] >> k;
        plane[i] = (uint8_t)(high < ESCAPE ? high : ESCAPE);
        if (high >= ESCAPE) {
            uf_put_u32(plane + length, high);
            length += 4;
        }
    }
    return length;
}

static void pack_lower(const uint32_t *z, size_t n, int k, uint8_t *out)
{
    uint64_t hold = 0;
    int held = 0;
    uint32_t mask = k ? 0xFFFFFFFFu >> (32 - k) : 0;
    for (size_t i = 0; i < n; i++) {
        hold |= (uint64_t)(z[i] & mask) << held;
        for (held += k; held >= 8; held -= 8) {
            *out++ = (uint8_t)hold;
            hold >>= 8;
        }
    }
    if (held)
        *out = (uint8_t)hold;
}

static size_t lower_bytes(size_t n, int k)
{
    return (n * (size_t)k + 7) / 8;
}

/* The shortest frame that zstd makes of plane, at out (ZSTD_compressBound); 0 without memory. */
static size_t compress(ZSTD_CCtx *zstd, const uint8_t *plane, size_t length, int few, uint8_t *out,
                       size_t bound)
{
    size_t fine = SIZE_MAX, fast = ZSTD_compress2(zstd, out, bound, plane, length);
    if (ZSTD_isError(fast))
        return 0;
    if (few)
        fine = ZSTD_compress(out, bound, plane, length, FINE_LEVEL);
    if (few && (ZSTD_isError(fine) || fine > fast)) /* back to the first one */
        fast = ZSTD_compress2(zstd, out, bound, plane, length);
    return fine < fast ? fine : ZSTD_isError(fast) ? 0 : fast;
}

int uf_series_encode(struct uf_bytes *out, ZSTD_CCtx *zstd, const int32_t *x, size_t n,
                     const struct uf_predictors *predictors, struct uf_error *err)
{
    int rc = UF_OK;
    size_t blocks = uf_predict_blocks(n), room = 5 * n + blocks;
    int32_t *y = malloc(sizeof *y * n);
    uint32_t *z = malloc(sizeof *z * n);
    uint8_t *choice = malloc(blocks), *plane = malloc(room);
    if (!y || !z || !choice || !plane)
        goto no_memory;
    int zeros = uf_series_reduce(x, n, y);
    int k = best_split(z, n, uf_predict_residuals(predictors, y, n, z, choice));
    size_t length = upper_plane(z, n, k, choice, plane);
    size_t bound = ZSTD_compressBound(length), low = lower_bytes(n, k);
    uint8_t *p = uf_bytes_room(out, HEADER_BYTES + bound + low);
    size_t packed = p ? compress(zstd, plane, length, k == 0, p + HEADER_BYTES, bound) : 0;
    if (!packed)
        goto no_memory;
    uf_put_u32(p, (uint32_t)x[0]);
    p[4] = (uint8_t)zeros;
    p[5] = (uint8_t)k;
    uf_put_u32(p + 6, (uint32_t)packed);
    pack_lower(z, n, k, p + HEADER_BYTES + packed);
    out->n += HEADER_BYTES + packed + low;
    goto done;
no_memory:
    rc = uf_fail(err, UF_ENOMEM, "no memory to compress a series of %zu numbers", n);
done:
    free(plane);
    free(choice);
    free(z);
    free(y);
    return rc;
}

/* ---- decoding ---- */

static int corrupt(struct uf_error *err, const char *what)
{
    return uf_fail(err, UF_ECORRUPT, "the raw data of the swing is damaged: %s", what);
}

/* The zstd part of a series: n bytes, choices, escapes; checked. */
static int upper_decode(const uint8_t *bytes, size_t length, ZSTD_DCtx *zstd, size_t n, int choices,
                        uint8_t **out, struct uf_error *err)
{
    *out = NULL;
    size_t blocks = uf_predict_blocks(n), escapes = 0;
    unsigned long long size = ZSTD_getFrameContentSize(bytes, length);
    if (size == ZSTD_CONTENTSIZE_ERROR || size == ZSTD_CONTENTSIZE_UNKNOWN || size < n + blocks ||
        size > 5 * (unsigned long long)n + blocks)
        return corrupt(err, "a series has a wrong size");
    uint8_t *plane = malloc((size_t)size);
    if (!plane)
        return uf_fail(err, UF_ENOMEM, "no memory to read a swing of %zu samples", n);
    size_t got = ZSTD_decompressDCtx(zstd, plane, (size_t)size, bytes, length);
    int good = !ZSTD_isError(got) && got == (size_t)size;
    for (size_t i = 0; good && i < n; i++)
        escapes += plane[i] == ESCAPE;
    for (size_t b = 0; good && b < blocks; b++)
        good = plane[n + b] < choices;
    if (!good || got != n + blocks + 4 * escapes) {
        free(plane);
        return corrupt(err, "a series does not decompress");
    }
    *out = plane;
    return UF_OK;
}

/* Undoes split and prediction: x[t] are the reduced values. */
static int restore(const uint8_t *plane, const uint8_t *lower, int k,
                   const struct uf_predictors *predictors, int32_t *x, size_t n,
                   struct uf_error *err)
{
    uint64_t hold = 0, mask = (UINT64_C(1) << k) - 1;
    int held = 0;
    const uint8_t *choice = plane + n, *escape = choice + uf_predict_blocks(n);
    for (size_t t = 0; t < n; t++) {
        for (; held < k; held += 8)
            hold |= (uint64_t)*lower++ << held;
        uint32_t low = (uint32_t)(hold & mask), high = plane[t];
        hold >>= k;
        held -= k;
        if (high == ESCAPE) {
            high = uf_get_u32(escape);
            escape += 4;
            if (high < ESCAPE)
                return corrupt(err, "an escaped number is too small");
        }
        if (k && high >> (32 - k))
            return corrupt(err, "a number is too large");
        x[t] = (int32_t)(uf_predict(predictors, choice[t / UF_PREDICT_BLOCK], x, t) +
                         uf_unzigzag(high << k | low));
    }
    return UF_OK;
}

int uf_series_decode(const uint8_t *bytes, size_t length, size_t *used, ZSTD_DCtx *zstd, int32_t *x,
                     size_t n, const struct uf_predictors *predictors, struct uf_error *err)
{
    if (length < HEADER_BYTES)
        return corrupt(err, "it ends within a series");
    uint32_t first = uf_get_u32(bytes);
    int zeros = bytes[4], k = bytes[5];
    size_t packed = uf_get_u32(bytes + 6);
    if (zeros > ZEROS_MAX || k > K_MAX)
        return corrupt(err, "a series has an impossible head");
    size_t low = lower_bytes(n, k);
    if (packed > length - HEADER_BYTES || low > length - HEADER_BYTES - packed)
        return corrupt(err, "it ends within a series");
    uint8_t *plane;
    int rc = upper_decode(bytes + HEADER_BYTES, packed, zstd, n,
                          UF_PREDICT_FIXED + predictors->fitted, &plane, err);
    if (rc)
        return rc;
    rc = restore(plane, bytes + HEADER_BYTES + packed, k, predictors, x, n, err);
    for (size_t t = 0; rc == 0 && t < n; t++)
        x[t] = (int32_t)(first + ((uint32_t)x[t] << zeros));
    free(plane);
    *used = HEADER_BYTES + packed + low;
    return rc;
}
