/* SPDX-License-Identifier: MIT
 * Channels that are not straight: a second-order term for each, found from what no load can make.
 * Straight channels of a rigid plate leave nothing over beside their noise, wherever weights lie
 * and however wrong they are; crooked ones do. Pure. */
#ifndef UF_CALIB_CURVE_H
#define UF_CALIB_CURVE_H

#include "calib/reading.h"
#include "plate/calibration.h"

/* Whether a plate's channels are taken as curved. Places are left out one after another, and what
 * they leave over is predicted from the others, with straight channels and with curved ones. Curved
 * it is where the latter is less by more than its standard error over the places, and where
 * straight ones leave over more than UF_CURVE_WORTH of the reading: below it a cell is as good as
 * its stated repeatability, and twelve more numbers gain nothing. */
#define UF_CURVE_WORTH_PCT 0.04
struct uf_curve_choice {
    bool tried; /* more channels than ways, and enough loads */
    bool taken;
    double straight_pct, curved_pct; /* left over at places left out, % of the rms reading */
    double gain_se_pct;              /* standard error of the difference, % of straight_pct */
    /* of the plate's channels in the order of its cells: above + curve above^2; 1/count */
    double curve[UF_CHANNELS_MAX], curve_sd[UF_CHANNELS_MAX];
};

/* r[n]: readings of all plates. rank: of the loads. */
int uf_curve_choose(const struct uf_plate *plate, int plate_index, const struct uf_reading *r,
                    int n, int rank, struct uf_curve_choice *out, struct uf_error *err);

#endif
