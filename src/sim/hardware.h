/* SPDX-License-Identifier: MIT
 * Inside src/sim: the plates as they really are. A stiff top on cells: the wrench is shared out
 * with the least sum of squares that reproduces it exactly; each cell has its own true matrix (gain
 * error, cross-talk), offset, drift and noise; the converter rounds and clips. */
#ifndef UF_SIM_HARDWARE_H
#define UF_SIM_HARDWARE_H

#include "sim/sim.h"

/* Force on what stands on a plate, and moment about the rig's origin (top surface): rig frame. */
struct plate_wrench {
    double fx_n, fy_n, fz_n, mx_nm, my_nm, mz_nm;
};

struct hardware {
    struct uf_rig rig;
    struct uf_cell_matrix cell[UF_PLATES_MAX][UF_CELLS_MAX]; /* true */
    double per_wrench[UF_CHANNELS_MAX][UF_COMPONENTS];       /* counts, of the plate's own wrench */
    int plate_of[UF_CHANNELS_MAX];                           /* -1: channel not mapped */
    double offset_raw[UF_CHANNELS_MAX], drift_raw_s[UF_CHANNELS_MAX];
    double wander_raw[UF_CHANNELS_MAX], wander_phase[UF_CHANNELS_MAX];
    double noise_raw[UF_CHANNELS_MAX]; /* 1 SD */
    int32_t rail_raw;
    struct uf_sim_rng noise;
};

/* settings->rig has passed uf_rig_check. */
void uf_sim_hardware_new(struct hardware *h, const struct uf_sim_settings *settings);
/* One conversion; returns UF_STATUS_ bits. */
uint8_t uf_sim_hardware_convert(struct hardware *h, const struct plate_wrench *w, double t_s,
                                int32_t *counts_raw);

#endif
