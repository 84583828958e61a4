/* SPDX-License-Identifier: MIT
 * The last seconds of raw frames: see ring.h. Allocates in new and for a capture only. */
#include "swing/ring.h"

#include <stdlib.h>
#include <string.h>

struct slot {
    int64_t t_dev_us;
    uint32_t lost_before;
    uint8_t inputs, status;
};

struct uf_ring {
    int channels;
    size_t size;
    uint64_t count; /* frames ever pushed since the last clear */
    struct slot *slot;
    int32_t *counts_raw; /* [size][channels] */
};

int uf_ring_new(struct uf_ring **out, int channels, size_t frames, struct uf_error *err)
{
    *out = NULL;
    struct uf_ring *r = calloc(1, sizeof *r);
    if (!r)
        return uf_fail(err, UF_ENOMEM, "no memory for the ring of frames");
    r->channels = channels;
    r->size = frames;
    r->slot = calloc(frames, sizeof *r->slot);
    r->counts_raw = calloc(frames, sizeof *r->counts_raw * (size_t)channels);
    if (!r->slot || !r->counts_raw) {
        uf_ring_free(r);
        return uf_fail(err, UF_ENOMEM, "no memory for a ring of %zu frames", frames);
    }
    *out = r;
    return UF_OK;
}

void uf_ring_free(struct uf_ring *r)
{
    if (!r)
        return;
    free(r->slot);
    free(r->counts_raw);
    free(r);
}

void uf_ring_clear(struct uf_ring *r)
{
    r->count = 0;
}

void uf_ring_push(struct uf_ring *r, const struct uf_frame *frame)
{
    size_t i = (size_t)(r->count++ % r->size);
    r->slot[i] = (struct slot){frame->t_dev_us, frame->lost_before, frame->inputs, frame->status};
    memcpy(r->counts_raw + i * (size_t)r->channels, frame->counts_raw,
           sizeof *r->counts_raw * (size_t)r->channels);
}

static uint64_t oldest(const struct uf_ring *r)
{
    return r->count > r->size ? r->count - r->size : 0;
}

/* Number of the first kept frame at or after t. */
static uint64_t first_at(const struct uf_ring *r, int64_t t_dev_us)
{
    uint64_t lo = oldest(r), hi = r->count;
    while (lo < hi) {
        uint64_t mid = lo + (hi - lo) / 2;
        if (r->slot[mid % r->size].t_dev_us < t_dev_us)
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo;
}

int uf_ring_capture(const struct uf_ring *r, const struct uf_hello *board, int64_t from_dev_us,
                    int64_t to_dev_us, struct uf_capture **out, struct uf_error *err)
{
    *out = NULL;
    uint64_t first = first_at(r, from_dev_us), last = first_at(r, to_dev_us + 1);
    if (first >= last)
        return uf_fail(err, UF_ENOTFOUND, "no frame of the swing's window is in memory any more");
    int rc = uf_capture_new(out, board, (size_t)(last - first), err);
    if (rc)
        return rc;
    struct uf_capture *c = *out;
    c->start_dev_us = r->slot[first % r->size].t_dev_us;
    for (uint64_t k = first; k < last; k++) {
        size_t from = (size_t)(k % r->size), to = (size_t)(k - first);
        const struct slot *s = &r->slot[from];
        c->offset_us[to] = (uint32_t)(s->t_dev_us - c->start_dev_us);
        c->lost_before[to] = s->lost_before < UINT16_MAX ? (uint16_t)s->lost_before : UINT16_MAX;
        c->inputs[to] = s->inputs;
        c->status[to] = s->status;
        memcpy(c->counts_raw + to * board->channels, r->counts_raw + from * (size_t)r->channels,
               sizeof *c->counts_raw * board->channels);
    }
    c->lost_before[0] = 0;
    return UF_OK;
}

size_t uf_ring_mean(const struct uf_ring *r, int64_t from_dev_us, int64_t to_dev_us,
                    double *mean_raw)
{
    uint64_t first = first_at(r, from_dev_us), last = first_at(r, to_dev_us + 1);
    /* whole numbers below 2^24 * 2^29 sum without rounding */
    for (int c = 0; c < r->channels; c++)
        mean_raw[c] = 0;
    for (uint64_t k = first; k < last; k++)
        for (int c = 0; c < r->channels; c++)
            mean_raw[c] += r->counts_raw[(size_t)(k % r->size) * (size_t)r->channels + (size_t)c];
    for (int c = 0; c < r->channels && first < last; c++)
        mean_raw[c] /= (double)(last - first);
    return (size_t)(last - first);
}
