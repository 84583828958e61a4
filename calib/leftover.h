/* SPDX-License-Identifier: MIT
 * Finds, from the loads of a calibration, the combinations of a plate's channels that no load
 * moves: see plate/leftover.h. Pure. */
#ifndef UF_CALIB_LEFTOVER_H
#define UF_CALIB_LEFTOVER_H

#include "calib/reading.h"
#include "plate/leftover.h"

/* r[n]: readings of all plates. rank: of the loads. Error: no reading of that plate, no memory. */
int uf_leftover_find(const struct uf_plate *plate, int plate_index, const struct uf_reading *r,
                     int n, int rank, struct uf_leftover *out, struct uf_error *err);

#endif
