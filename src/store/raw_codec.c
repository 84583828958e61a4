/* SPDX-License-Identifier: MIT
 * See raw_codec.h. Layout (little-endian):
 *   "UFRW"; u8 format; u32 checksum of the content; u32 h; h bytes of zstd: the head;
 *   the series (series.h): offset_us, lost_before, inputs, status, then each channel's counts.
 * The head is HEAD_BYTES and after them the fitted predictors: u8 how many, s32 coefficients. The
 * content, for the checksum (crc_of), is the head and the numbers of the series, decoded: so it
 * also proves that the transform was undone rightly. */
#include "store/raw_codec.h"

#include "base/bytes.h"
#include "store/series.h"
#include "wire/crc32.h"

#include <stdlib.h>
#include <string.h>

#define PREFIX_BYTES 13
#define HEAD_BYTES   (56 + 16 * UF_CHANNELS_MAX)
#define HEAD_MAX     (HEAD_BYTES + 1 + 4 * UF_PREDICT_FITTED * UF_PREDICT_ORDER)
#define HEAD_LEVEL   9
#define SIDE_SERIES  4 /* offset_us, lost_before, inputs, status */

static const uint8_t magic[4] = {'U', 'F', 'R', 'W'};

static int corrupt(struct uf_error *err, const char *what)
{
    return uf_fail(err, UF_ECORRUPT, "the raw data of the swing is damaged: %s", what);
}

/* ---- the head ---- */

static void put_double(uint8_t *p, double v)
{
    uint64_t u;
    memcpy(&u, &v, sizeof u);
    uf_put_u64(p, u);
}

static double get_double(const uint8_t *p)
{
    uint64_t u = uf_get_u64(p);
    double v;
    memcpy(&v, &u, sizeof v);
    return v;
}

static void head_put(uint8_t *p, const struct uf_capture *c)
{
    memset(p, 0, HEAD_BYTES);
    uf_put_u32(p, (uint32_t)c->samples);
    p[4] = c->board.protocol;
    p[5] = c->board.channels;
    p[6] = c->board.adc_bits;
    p[7] = c->board.flags;
    uf_put_u16(p + 8, c->board.rate_hz);
    uf_put_u16(p + 10, c->board.firmware);
    memcpy(p + 12, c->board.board_id, 8);
    p[20] = (uint8_t)c->hand;
    p[21] = (uint8_t)c->shape_hand;
    p[22] = c->ended_still;
    p[23] = c->quiet_known;
    uf_put_u64(p + 24, (uint64_t)c->start_dev_us);
    uf_put_u64(p + 32, (uint64_t)c->trigger_dev_us);
    uf_put_u64(p + 40, (uint64_t)c->quiet_from_dev_us);
    uf_put_u64(p + 48, (uint64_t)c->quiet_to_dev_us);
    for (size_t i = 0; i < UF_CHANNELS_MAX; i++) {
        put_double(p + 56 + 16 * i, c->tare_raw[i]);
        put_double(p + 64 + 16 * i, c->quiet_raw[i]);
    }
}

static int head_get(const uint8_t *p, struct uf_capture **out, struct uf_error *err)
{
    size_t samples = uf_get_u32(p);
    struct uf_hello board = {.protocol = p[4],
                             .channels = p[5],
                             .adc_bits = p[6],
                             .flags = p[7],
                             .rate_hz = uf_get_u16(p + 8),
                             .firmware = uf_get_u16(p + 10)};
    memcpy(board.board_id, p + 12, 8);
    if (board.channels < 1 || board.channels > UF_CHANNELS_MAX || samples < 1 ||
        samples > UF_RAW_SAMPLES_MAX || p[20] > UF_LEFT_HANDED || p[21] > UF_LEFT_HANDED ||
        p[22] > 1 || p[23] > 1)
        return corrupt(err, "its head is impossible");
    struct uf_capture *c;
    int rc = uf_capture_new(&c, &board, samples, err);
    if (rc)
        return rc;
    c->hand = (enum uf_hand)p[20];
    c->shape_hand = (enum uf_hand)p[21];
    c->ended_still = p[22];
    c->quiet_known = p[23];
    c->start_dev_us = (int64_t)uf_get_u64(p + 24);
    c->trigger_dev_us = (int64_t)uf_get_u64(p + 32);
    c->quiet_from_dev_us = (int64_t)uf_get_u64(p + 40);
    c->quiet_to_dev_us = (int64_t)uf_get_u64(p + 48);
    for (size_t i = 0; i < UF_CHANNELS_MAX; i++) {
        c->tare_raw[i] = get_double(p + 56 + 16 * i);
        c->quiet_raw[i] = get_double(p + 64 + 16 * i);
    }
    *out = c;
    return UF_OK;
}

static size_t predictors_put(uint8_t *p, const struct uf_predictors *predictors)
{
    uint8_t *begin = p;
    *p++ = (uint8_t)predictors->fitted;
    for (int k = 0; k < predictors->fitted; k++)
        for (int i = 0; i < UF_PREDICT_ORDER; i++, p += 4)
            uf_put_u32(p, (uint32_t)predictors->coef[k][i]);
    return (size_t)(p - begin);
}

static int predictors_get(const uint8_t *p, size_t n, struct uf_predictors *predictors,
                          struct uf_error *err)
{
    if (n < 1 || (p[0] != 0 && p[0] != UF_PREDICT_FITTED) ||
        n != 1 + 4 * (size_t)p[0] * UF_PREDICT_ORDER)
        return corrupt(err, "its predictors have a wrong length");
    predictors->fitted = *p++;
    for (int k = 0; k < predictors->fitted; k++) {
        int64_t sum = 0;
        for (int i = 0; i < UF_PREDICT_ORDER; i++, p += 4) {
            predictors->coef[k][i] = (int32_t)uf_get_u32(p);
            sum += llabs((long long)predictors->coef[k][i]);
        }
        if (sum >= UF_PREDICT_SUM_MAX)
            return corrupt(err, "its predictors are impossible");
    }
    return UF_OK;
}

/* ---- series and arrays of a capture ---- */

/* Numbers of series s into x[samples]. */
static void series_get(const struct uf_capture *c, size_t s, int32_t *x)
{
    for (size_t i = 0; i < c->samples; i++) {
        switch (s) {
        case 0:
            x[i] = (int32_t)c->offset_us[i];
            break;
        case 1:
            x[i] = c->lost_before[i];
            break;
        case 2:
            x[i] = c->inputs[i];
            break;
        case 3:
            x[i] = c->status[i];
            break;
        default:
            x[i] = c->counts_raw[i * c->board.channels + s - SIDE_SERIES];
        }
    }
}

static int series_put(struct uf_capture *c, size_t s, const int32_t *x, struct uf_error *err)
{
    int32_t most = s == 1 ? UINT16_MAX : UINT8_MAX;
    for (size_t i = 0; i < c->samples; i++) {
        if (s >= 1 && s < SIDE_SERIES && (x[i] < 0 || x[i] > most))
            return corrupt(err, "a number is out of its range");
        switch (s) {
        case 0:
            c->offset_us[i] = (uint32_t)x[i];
            break;
        case 1:
            c->lost_before[i] = (uint16_t)x[i];
            break;
        case 2:
            c->inputs[i] = (uint8_t)x[i];
            break;
        case 3:
            c->status[i] = (uint8_t)x[i];
            break;
        default:
            c->counts_raw[i * c->board.channels + s - SIDE_SERIES] = x[i];
        }
    }
    return UF_OK;
}

/* Checksum of all that came before and of x[n]: each chunk is led by the checksum so far. */
static uint32_t crc_of(uint32_t crc, const int32_t *x, size_t n)
{
    uint8_t chunk[1024];
    size_t held = 4;
    for (size_t i = 0; i < n; i++) {
        uf_put_u32(chunk + held, (uint32_t)x[i]);
        held += 4;
        if (held == sizeof chunk || i + 1 == n) {
            uf_put_u32(chunk, crc);
            crc = uf_crc32(chunk, held);
            held = 4;
        }
    }
    return crc;
}

/* ---- encoding ---- */

/* The predictors that fit all channels of the capture; x has room for all of them. */
static int fit(const struct uf_capture *c, int32_t *x, struct uf_predictors *predictors,
               struct uf_error *err)
{
    for (size_t k = 0; k < c->board.channels; k++) {
        int32_t *y = x + k * c->samples;
        series_get(c, SIDE_SERIES + k, y);
        uf_series_reduce(y, c->samples, y);
    }
    return uf_predictors_fit(predictors, x, c->board.channels, c->samples, err);
}

static int put_head(struct uf_bytes *out, const uint8_t *head, size_t n, struct uf_error *err)
{
    size_t bound = ZSTD_compressBound(n);
    uint8_t *p = uf_bytes_room(out, PREFIX_BYTES + bound);
    size_t packed = p ? ZSTD_compress(p + PREFIX_BYTES, bound, head, n, HEAD_LEVEL) : 0;
    if (!p || ZSTD_isError(packed))
        return uf_fail(err, UF_ENOMEM, "no memory to compress a swing");
    memcpy(p, magic, 4);
    p[4] = UF_RAW_FORMAT;
    uf_put_u32(p + 9, (uint32_t)packed);
    out->n += PREFIX_BYTES + packed;
    return UF_OK;
}

static int encode(const struct uf_capture *c, struct uf_bytes *out, ZSTD_CCtx *zstd, int32_t *x,
                  struct uf_error *err)
{
    struct uf_predictors predictors;
    uint8_t head[HEAD_MAX];
    int rc = fit(c, x, &predictors, err);
    if (rc)
        return rc;
    head_put(head, c);
    size_t head_bytes = HEAD_BYTES + predictors_put(head + HEAD_BYTES, &predictors);
    rc = put_head(out, head, head_bytes, err);
    uint32_t crc = uf_crc32(head, head_bytes);
    for (size_t s = 0; rc == 0 && s < SIDE_SERIES + (size_t)c->board.channels; s++) {
        series_get(c, s, x);
        crc = crc_of(crc, x, c->samples);
        rc = uf_series_encode(out, zstd, x, c->samples, &predictors, err);
    }
    if (rc == 0)
        uf_put_u32(out->data + 5, crc);
    return rc;
}

static int verify(const struct uf_capture *c, const struct uf_bytes *b, struct uf_error *err)
{
    struct uf_capture *back = NULL;
    int rc = uf_raw_decode(b->data, b->n, &back, err);
    if (rc == 0 && !uf_capture_equal(c, back))
        rc = uf_fail(err, UF_ECORRUPT,
                     "the compressed swing does not give the same counts back: this is a fault of "
                     "the program; the swing was not stored");
    uf_capture_free(back);
    return rc;
}

int uf_raw_encode(const struct uf_capture *c, uint8_t **out, size_t *n, struct uf_error *err)
{
    *out = NULL;
    *n = 0;
    if (c->samples < 1 || c->samples > UF_RAW_SAMPLES_MAX)
        return uf_fail(err, UF_EFULL, "a swing of %zu samples cannot be stored: 1 to %d can",
                       c->samples, UF_RAW_SAMPLES_MAX);
    struct uf_bytes b = {0};
    ZSTD_CCtx *zstd = uf_series_zstd();
    int32_t *x = malloc(sizeof *x * c->samples * c->board.channels);
    int rc = zstd && x ? encode(c, &b, zstd, x, err)
                       : uf_fail(err, UF_ENOMEM, "no memory to compress a swing");
    if (rc == 0)
        rc = verify(c, &b, err);
    if (rc == 0) {
        *out = b.data;
        *n = b.n;
        b.data = NULL;
    }
    free(b.data);
    free(x);
    ZSTD_freeCCtx(zstd);
    return rc;
}

/* ---- decoding ---- */

static int get_head(const uint8_t *bytes, size_t n, uint8_t *head, size_t *head_bytes, size_t *used,
                    struct uf_error *err)
{
    if (n < PREFIX_BYTES || memcmp(bytes, magic, 4) != 0)
        return corrupt(err, "it does not begin as raw data does");
    if (bytes[4] != UF_RAW_FORMAT)
        return uf_fail(err, UF_EVERSION,
                       "the raw data of the swing has format %d and this version knows %d: use the "
                       "version of Underfoot that stored it, or a newer one",
                       bytes[4], UF_RAW_FORMAT);
    size_t packed = uf_get_u32(bytes + 9);
    if (packed > n - PREFIX_BYTES)
        return corrupt(err, "it ends within its head");
    size_t got = ZSTD_decompress(head, HEAD_MAX, bytes + PREFIX_BYTES, packed);
    if (ZSTD_isError(got) || got < HEAD_BYTES)
        return corrupt(err, "its head does not decompress");
    *head_bytes = got;
    *used = PREFIX_BYTES + packed;
    return UF_OK;
}

static int decode(const uint8_t *bytes, size_t n, uint32_t crc,
                  const struct uf_predictors *predictors, struct uf_capture *c, ZSTD_DCtx *zstd,
                  int32_t *x, uint32_t wanted, struct uf_error *err)
{
    int rc = UF_OK;
    for (size_t s = 0; rc == 0 && s < SIDE_SERIES + (size_t)c->board.channels; s++) {
        size_t used = 0;
        rc = uf_series_decode(bytes, n, &used, zstd, x, c->samples, predictors, err);
        if (rc == 0)
            rc = series_put(c, s, x, err);
        if (rc == 0)
            crc = crc_of(crc, x, c->samples);
        bytes += used;
        n -= used;
    }
    if (rc == 0 && n > 0)
        rc = corrupt(err, "bytes follow its end");
    if (rc == 0 && crc != wanted)
        rc = corrupt(err, "its checksum does not fit");
    return rc;
}

int uf_raw_decode(const uint8_t *bytes, size_t n, struct uf_capture **out, struct uf_error *err)
{
    *out = NULL;
    uint8_t head[HEAD_MAX];
    size_t head_bytes = 0, used = 0;
    struct uf_predictors predictors;
    struct uf_capture *c = NULL;
    int rc = get_head(bytes, n, head, &head_bytes, &used, err);
    if (rc == 0)
        rc = predictors_get(head + HEAD_BYTES, head_bytes - HEAD_BYTES, &predictors, err);
    if (rc == 0)
        rc = head_get(head, &c, err);
    if (rc)
        return rc;
    ZSTD_DCtx *zstd = ZSTD_createDCtx();
    int32_t *x = malloc(sizeof *x * c->samples);
    rc = zstd && x ? decode(bytes + used, n - used, uf_crc32(head, head_bytes), &predictors, c,
                            zstd, x, uf_get_u32(bytes + 5), err)
                   : uf_fail(err, UF_ENOMEM, "no memory to read a swing");
    free(x);
    ZSTD_freeDCtx(zstd);
    if (rc == 0) {
        *out = c;
        c = NULL;
    }
    uf_capture_free(c);
    return rc;
}

bool uf_capture_equal(const struct uf_capture *a, const struct uf_capture *b)
{
    uint8_t x[HEAD_BYTES], y[HEAD_BYTES];
    head_put(x, a);
    head_put(y, b);
    size_t n = a->samples;
    return memcmp(x, y, sizeof x) == 0 &&
           memcmp(a->offset_us, b->offset_us, n * sizeof *a->offset_us) == 0 &&
           memcmp(a->lost_before, b->lost_before, n * sizeof *a->lost_before) == 0 &&
           memcmp(a->inputs, b->inputs, n) == 0 && memcmp(a->status, b->status, n) == 0 &&
           memcmp(a->counts_raw, b->counts_raw, n * a->board.channels * sizeof *a->counts_raw) == 0;
}
