/* SPDX-License-Identifier: MIT
 * Inside src/swing: the last seconds of raw frames, from which a swing's window is cut out. */
#ifndef UF_SWING_RING_H
#define UF_SWING_RING_H

#include "swing/capture.h"

struct uf_ring;

int uf_ring_new(struct uf_ring **out, int channels, size_t frames, struct uf_error *err);
void uf_ring_free(struct uf_ring *r);
void uf_ring_push(struct uf_ring *r, const struct uf_frame *frame);
/* Forgets all frames (reboot: their times no longer join on). */
void uf_ring_clear(struct uf_ring *r);

/* The frames of from..to (device time, both ends in) that are still kept, into a new capture:
 * board, start, arrays. UF_ENOTFOUND when none is kept. */
int uf_ring_capture(const struct uf_ring *r, const struct uf_hello *board, int64_t from_dev_us,
                    int64_t to_dev_us, struct uf_capture **out, struct uf_error *err);

/* Mean counts of the kept frames of from..to, into mean_raw[channels]; how many there were. */
size_t uf_ring_mean(const struct uf_ring *r, int64_t from_dev_us, int64_t to_dev_us,
                    double *mean_raw);

#endif
