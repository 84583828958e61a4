/* SPDX-License-Identifier: MIT
 * From counts to newtons: one 6 x N matrix a plate, either composed from per-cell matrices or
 * solved whole. Plain values and pure functions; files and rows are elsewhere. */
#ifndef UF_PLATE_CALIBRATION_H
#define UF_PLATE_CALIBRATION_H

#include "plate/rig.h"

#include <jansson.h>

enum uf_component { UF_FX, UF_FY, UF_FZ, UF_MX, UF_MY, UF_MZ, UF_COMPONENTS };

struct uf_plate_matrix {
    /* N (rows FX..FZ) and N m (rows MX..MZ) a count above tare, of the force by the ground on the
     * golfer, in the plate's axes, about the sensor origin. Columns are channels of the board;
     * columns of other plates are zero. */
    double c[UF_COMPONENTS][UF_CHANNELS_MAX];
    bool known[UF_COMPONENTS]; /* false: the loads did not identify it; its values are NAN later */
    /* curved: channels are not straight; counts above tare a become a + curve a^2 (1/count) before
     * the matrix (uf_straight in wrench.h) */
    bool curved;
    double curve[UF_CHANNELS_MAX];
};

/* How wrong a plate's matrix may be: true wrench = (1 + sum of z_i pattern[i]) shown wrench, z
 * independent of spread 1. As uf_matrix_error_all reads it (matrix_error.h); of a data-sheet
 * calibration, and of one whose loads are not known, there is none. */
#define UF_MATRIX_PATTERNS (UF_COMPONENTS * UF_COMPONENTS)
struct uf_matrix_error {
    int patterns;
    double pattern[UF_MATRIX_PATTERNS][UF_COMPONENTS][UF_COMPONENTS];
};

struct uf_calibration {
    char uuid[37]; /* "" for the nominal one */
    char name[64];
    bool nominal; /* from data-sheet scales: a swing made with it is flagged */
    int plates;
    struct uf_plate_matrix plate[UF_PLATES_MAX];
    struct uf_matrix_error error[UF_PLATES_MAX]; /* no part of the JSON form: see provenance */
};

/* One cell's own matrix: force in the cell's axes (N) = k[3][3] * counts of its x, y, z outputs
 * above tare; columns of missing outputs are zero. */
struct uf_cell_matrix {
    double k[3][3];
};

/* wrench = sum over cells of [ R f ; r x R f ], f = k counts, R = rotation by turn_deg about z,
 * r = cell position (m). cells[] has plate->cells entries. A force component that no cell of the
 * plate measures, and each moment that rests on it, is not known; nor is Mz where the lines of
 * action of all horizontal outputs meet in one point. */
void uf_compose_cells(const struct uf_plate *plate, const struct uf_cell_matrix *cells,
                      struct uf_plate_matrix *out);

/* The data-sheet calibration: diagonal cell matrices from n_per_count. */
void uf_calibration_nominal(const struct uf_rig *rig, struct uf_calibration *out);

/* Is it of these plates at all? Each vertical output must weigh between half and twice its
 * data-sheet scale in Fz, with the same sign, and no output may have a longer lever than the plate
 * has. The sentence names the channel and what is likely wrong (kg for N, N mm for N m, a swapped
 * sign). */
int uf_calibration_plausible(const struct uf_rig *rig, const struct uf_calibration *cal,
                             struct uf_error *err);

/* JSON form, the one that underfoot-calib reads, stores and prints:
 *   { "uuid": "...", "name": "...", "plates": [
 *       { "plate": "left", "cells": [ { "cell": "1", "matrix": [[..],[..],[..]] }, ... ] }
 *     | { "plate": "left", "channels": [0,1,..], "matrix": [[..] x 6],
 *         "unknown": ["Fx", ...], "curve": [1/count, ..] } ] }
 * and "nominal": true for one from data-sheet scales. Matrix units as above; each plate of the rig
 * once. Errors name the plate, the cell and the field; *out is untouched then. */
int uf_calibration_from_json(const struct uf_rig *rig, const json_t *json,
                             struct uf_calibration *out, struct uf_error *err);
/* The whole 6 x N form, which reads back to the same bits (written with JSON_REAL_PRECISION(17)).
 * New reference, or NULL without memory or where a known coefficient is not finite. */
json_t *uf_calibration_to_json(const struct uf_rig *rig, const struct uf_calibration *cal);

#endif
