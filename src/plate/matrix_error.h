/* SPDX-License-Identifier: MIT
 * How wrong a calibrated matrix may be, as its loads tell: the error patterns of a calibration's
 * provenance (counts to N and N m, one standard uncertainty each, independent) and what each
 * channel is off by (reading_pct), brought into the form that swings are analysed with. Pure. */
#ifndef UF_PLATE_MATRIX_ERROR_H
#define UF_PLATE_MATRIX_ERROR_H

#include "plate/leftover.h"

/* From the entry of a plate in a provenance: "channels", "error_patterns", "reading_pct",
 * "leftover". A pattern P changes the wrench of counts n by P n. Loads move the counts in as many
 * ways as there are components, n = F w, so that this is (P F) w; F from the ways of the
 * left-over where they are as many as the known components, else the one of least norm in
 * data-sheet newtons. The covariance of the elements of P F is then written as few independent
 * patterns (a pivoted Cholesky decomposition), in which a thousandth of the variance of each row
 * may be missing. False: the entry has none, or it does not fit; *out has no patterns then. */
bool uf_matrix_error_from_json(const json_t *entry, const struct uf_plate *plate,
                               const struct uf_plate_matrix *matrix, struct uf_matrix_error *out);

/* Those of all plates, from the whole provenance, into cal->error. */
void uf_matrix_error_all(const json_t *provenance, const struct uf_rig *rig,
                         struct uf_calibration *cal);

#endif
