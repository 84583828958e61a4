/* SPDX-License-Identifier: MIT
 * SVG drawings: the placement drawing to lay on a plate (1 mm is 1 mm in print), and the pictures
 * of the report. */
#ifndef UF_CALIB_DRAWING_H
#define UF_CALIB_DRAWING_H

#include "calib/session.h"

/* Outline, centre cross, each place with its numbers (loads of that plate, first_number counted
 * from 1), pulls as arrows, which side is front, and a bar of 100 mm to check the print. */
void uf_drawing_places(FILE *out, const struct uf_rig *rig, int plate, const struct uf_load *load,
                       const int *number, int n);

/* Loads on the plate with arrows of the residual of their place, magnified. */
void uf_drawing_residuals(FILE *out, const struct uf_session *s, int plate);

/* Error of the vertical force against the load, N. */
void uf_drawing_errors(FILE *out, const struct uf_session *s, int plate);

/* A map over the plate as coloured fields with their numbers. */
void uf_drawing_map(FILE *out, const struct uf_plate *plate,
                    const double value[UF_MAP_CELLS][UF_MAP_CELLS], const char *unit, int digits);

#endif
