/* SPDX-License-Identifier: MIT
 * A captured load: what lay on the plate and what the channels said. Plain values. */
#ifndef UF_CALIB_READING_H
#define UF_CALIB_READING_H

#include "calib/load.h"

#define UF_READINGS_MAX 400

/* Which part of a series a load is, for hysteresis and repeatability. */
enum uf_series { UF_SERIES_ONCE, UF_SERIES_UP, UF_SERIES_DOWN, UF_SERIES_REPEAT, UF_SERIES };
const char *uf_series_name(enum uf_series s);

struct uf_reading {
    struct uf_load load;
    enum uf_series series;
    double watch_s; /* watched for creep for so long after it was taken; 0: not */
    /* mean counts of the still load, above the zero between the zeros before and after it; all
     * channels of the board */
    double above_raw[UF_CHANNELS_MAX];
    double sd_raw[UF_CHANNELS_MAX];    /* standard uncertainty of that mean from noise */
    double zero_raw[UF_CHANNELS_MAX];  /* the zero that was taken off */
    double moved_raw[UF_CHANNELS_MAX]; /* zero after it - zero before it; NAN: not taken */
    double noise_raw[UF_CHANNELS_MAX]; /* standard deviation of the samples; NAN: not given */
};

/* Channels of a plate in the order of its cells, into channel[UF_CHANNELS_MAX], how many. */
int uf_plate_channels(const struct uf_plate *plate, int *channel);

/* Numbers the places of readings on plate p: group[i] is the same for loads at the same place and
 * direction, from 0 on, -1 for other plates. Returns how many places. */
int uf_reading_places(const struct uf_reading *r, int n, int plate, int *group);

#endif
