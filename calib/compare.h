/* SPDX-License-Identifier: MIT
 * What two calibrations of a plate say about the same loads: the size of a change in units that a
 * person knows. Pure. */
#ifndef UF_CALIB_COMPARE_H
#define UF_CALIB_COMPARE_H

#include "plate/calibration.h"

/* Of a plate, over a grid of 5 x 5 places on its inner 80 %. NAN where one of the two does not know
 * a component that it needs. */
struct uf_compare {
    double vertical_pct;   /* greatest difference of a vertical force, of it */
    double horizontal_pct; /* the same of a horizontal force of 100 N along x and along y */
    double place_mm;       /* greatest distance of the two centres of pressure at 400 N */
    double turn_nm;        /* greatest difference of Mz of a free moment and of pulls of 100 N */
    double crosstalk_pct;  /* greatest horizontal force that a vertical one makes in b, as a sees
                              it pure, of it */
};

/* Counts are those that a's plate gives for the loads: a's matrix inverted in the least-norm
 * sense, each channel in its data-sheet newtons. Error: a knows too little to say. */
int uf_compare_plates(const struct uf_plate *plate, const struct uf_plate_matrix *a,
                      const struct uf_plate_matrix *b, struct uf_compare *out,
                      struct uf_error *err);

#endif
