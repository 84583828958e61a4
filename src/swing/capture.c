/* SPDX-License-Identifier: MIT
 * Memory of a captured swing: see capture.h. One block for all five arrays; any thread. */
#include "swing/capture.h"

#include <stdlib.h>

int uf_capture_new(struct uf_capture **out, const struct uf_hello *board, size_t samples,
                   struct uf_error *err)
{
    *out = NULL;
    size_t row = sizeof(int32_t) * (board->channels + 1u) + sizeof(uint16_t) + 2;
    if (board->channels < 1 || board->channels > UF_CHANNELS_MAX || samples < 1 ||
        samples > (SIZE_MAX - sizeof(struct uf_capture)) / row)
        return uf_fail(err, UF_EINVAL, "a capture needs 1..%d channels and at least one sample",
                       UF_CHANNELS_MAX);
    struct uf_capture *c = calloc(1, sizeof *c);
    uint8_t *block = calloc(samples, row);
    if (!c || !block) {
        free(c);
        free(block);
        return uf_fail(err, UF_ENOMEM, "no memory for a swing of %zu samples", samples);
    }
    c->board = *board;
    c->samples = samples;
    /* widest first, so that each array is aligned */
    c->counts_raw = (int32_t *)(void *)block;
    block += sizeof(int32_t) * samples * board->channels;
    c->offset_us = (uint32_t *)(void *)block;
    block += sizeof(uint32_t) * samples;
    c->lost_before = (uint16_t *)(void *)block;
    block += sizeof(uint16_t) * samples;
    c->inputs = block;
    c->status = block + samples;
    *out = c;
    return UF_OK;
}

void uf_capture_free(struct uf_capture *c)
{
    if (!c)
        return;
    free(c->counts_raw);
    free(c);
}
