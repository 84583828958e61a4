/* SPDX-License-Identifier: MIT
 * The daily check: a known weight on a plate, as a calibration reads it, against limits. Pure. */
#ifndef UF_CALIB_CHECK_H
#define UF_CALIB_CHECK_H

#include "calib/leftover.h"
#include "calib/reading.h"
#include "store/plate_checks.h"

struct uf_check_limits {
    double vertical_pct;   /* of the weight, on top of its own tolerance (0.5) */
    double place_mm;       /* on top of the tolerance of the place (3) */
    double horizontal_pct; /* of the weight, on top of how level the plate is (1) */
    double leftover_pct;   /* of the weight, rms of what no load can explain (1) */
};
void uf_check_defaults(struct uf_check_limits *l);

/* leftover: of the calibration; NULL: not known. person: the weight is a person's; the place is not
 * judged. Fills all but calibration and time of out, and a sentence: what was found, and what to do
 * where it did not pass. Error: the calibration does not know the vertical force. */
int uf_check_load(const struct uf_plate *plate, const struct uf_plate_matrix *matrix,
                  const struct uf_leftover *leftover, const struct uf_load_setup *setup,
                  const struct uf_reading *r, bool person, const struct uf_check_limits *limits,
                  struct uf_plate_check *out, char sentence[400], struct uf_error *err);

#endif
