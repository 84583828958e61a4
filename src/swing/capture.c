/* SPDX-License-Identifier: MIT
 * Memory of a captured swing: see capture.h. One block for all five arrays; any thread. */
#include "swing/capture.h"

#include <stdlib.h>
#include <string.h>

#define SAME_SAMPLES 32u /* counts of so many samples in a row are never equal by chance */

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

bool uf_capture_same(const struct uf_capture *a, const struct uf_capture *b)
{
    size_t channels = a->board.channels, n = SAME_SAMPLES, trigger = 0;
    if (memcmp(a->board.board_id, b->board.board_id, sizeof a->board.board_id) != 0 ||
        channels != b->board.channels)
        return false;
    if (n > a->samples)
        n = a->samples;
    while (trigger + 1 < a->samples && a->start_dev_us + a->offset_us[trigger] < a->trigger_dev_us)
        trigger++;
    size_t from = trigger > n / 2 ? trigger - n / 2 : 0;
    if (from + n > a->samples)
        from = a->samples - n;
    const int32_t *piece = a->counts_raw + from * channels;
    for (size_t at = 0; at + n <= b->samples; at++)
        if (memcmp(b->counts_raw + at * channels, piece, n * channels * sizeof *piece) == 0)
            return true;
    return false;
}
