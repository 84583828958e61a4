/* SPDX-License-Identifier: MIT
 * Watches plates for what no load can make (leftover.h), all the time: a loose foot, a dead or
 * weak cell. (What a frame takes over at one point is a load like another: only the daily check
 * sees it.) Averages blocks of samples, which a swing's dynamics hardly reach, and changes its mind
 * only after several blocks in a row. The limit is six times what the calibration's own left-over
 * makes expected at that load (uf_leftover_expected), and 2 N at least: so much a zero may drift
 * until the next one. tests/bench/bench_monitor tries it. A plain value; pure, no allocation. */
#ifndef UF_PLATE_MONITOR_H
#define UF_PLATE_MONITOR_H

#include "plate/leftover.h"

struct uf_monitor_plate {
    bool watched; /* the calibration gave combinations, and they hold for every load */
    bool suspect;
    int cell;         /* of the plate: where most is left over; -1 while not suspect */
    double left_n;    /* rms over the combinations, of the last block under load; NAN: none yet */
    double limit_n;   /* of that block */
    int above, below; /* blocks under load in a row above the limit, below half of it */
    int cell_of[UF_CHANNELS_MAX]; /* of each channel of the combinations */
    struct uf_leftover leftover;
};

struct uf_monitor {
    int plates, channels; /* of the rig */
    int samples;          /* in the block */
    double sum_raw[UF_CHANNELS_MAX];
    struct uf_monitor_plate plate[UF_PLATES_MAX];
};

/* leftover[p] where known[p]; both NULL: nothing is watched. Combinations of loads that did not
 * push in all directions that the plate feels are not watched: a golfer makes others. */
void uf_monitor_start(struct uf_monitor *m, const struct uf_rig *rig,
                      const struct uf_leftover *leftover, const bool *known);

/* A gap, or another zero: the block begins anew; what is known of the plates stands. */
void uf_monitor_cut(struct uf_monitor *m);

/* One good sample (none at its rail). Returns the plates whose state has changed, a bit each
 * (1 << index); 0 nearly always. */
unsigned uf_monitor_feed(struct uf_monitor *m, const int32_t *counts_raw, const double *tare_raw,
                         double rate_hz);

#endif
