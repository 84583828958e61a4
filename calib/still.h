/* SPDX-License-Identifier: MIT
 * Waits until the plates are still and takes means of all channels; says why it did not. Pure;
 * device time only. */
#ifndef UF_CALIB_STILL_H
#define UF_CALIB_STILL_H

#include "plate/calibration.h"

#define UF_STILL_BLOCK_S 0.25

struct uf_still_settings {
    double settle_s; /* still for so long before it begins (1) */
    double take_s;   /* taken for so long (3) */
    double move_n;   /* the mean of a quarter second may move by so much .. (0.4) */
    double move_pct; /* .. or by so much of the force on the plate (0.1) */
};
void uf_still_defaults(struct uf_still_settings *s);

struct uf_still_take {
    int64_t from_dev_us, to_dev_us;
    int samples;
    double mean_raw[UF_CHANNELS_MAX], noise_raw[UF_CHANNELS_MAX];
};

enum uf_still_event {
    UF_STILL_NOTHING,
    UF_STILL_BEGUN, /* it is still: the take has begun */
    UF_STILL_TAKEN, /* *take is filled; it goes on, and may take again at once */
    UF_STILL_MOVED, /* the take was thrown away: reason says why; it goes on */
    UF_STILL_BROKEN /* samples were lost, or the board started anew: reason */
};

struct uf_still;
/* Forces are judged by the rig's data sheet. */
int uf_still_new(struct uf_still **out, const struct uf_still_settings *s, const struct uf_rig *rig,
                 struct uf_error *err);
void uf_still_free(struct uf_still *t);
/* One frame in. reason[120] is filled with MOVED and BROKEN. */
enum uf_still_event uf_still_feed(struct uf_still *t, const struct uf_frame *f,
                                  struct uf_still_take *take, char reason[120]);

#endif
