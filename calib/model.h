/* SPDX-License-Identifier: MIT
 * Inside calib: the two ways to write a plate's matrix with few unknowns. Pure.
 *
 * CELLS: each cell has its own matrix around its data sheet, and stands where it was measured, give
 *   or take. Prior knowledge fills what few loads leave open.
 * WHOLE: any 6 x N matrix. A rigid plate moves its N > 6 channels in six ways only; those are found
 *   from the readings themselves (their leading singular directions, channels weighted by noise),
 * and the matrix is fitted on them: the same as fitting counts from loads and inverting that with
 * the channels' noise. */
#ifndef UF_CALIB_MODEL_H
#define UF_CALIB_MODEL_H

#include "calib/reading.h"

enum uf_model { UF_MODEL_CELLS, UF_MODEL_WHOLE, UF_MODELS };
const char *uf_model_name(enum uf_model m);

/* Standard deviations of what is built around what is described. */
struct uf_model_prior {
    double gain_pct;      /* a cell's gain against its data sheet (10) */
    double crosstalk_pct; /* one axis of a cell in another (5) */
    double cell_place_mm; /* where a cell stands, each axis (2) */
};

#define UF_UNKNOWNS_MAX (12 * UF_CELLS_MAX)

/* Wrenches here are scaled: moments divided by length_m, so that all are newtons. */
struct uf_model_state {
    enum uf_model model;
    const struct uf_plate *plate;
    struct uf_model_prior prior;
    double length_m;
    int channels, channel[UF_CHANNELS_MAX];
    int unknowns;
    /* CELLS: matrix relative to the data sheet, and shift of the cell (mm) */
    double k[UF_CELLS_MAX][3][3], moved_mm[UF_CELLS_MAX][3];
    /* WHOLE: ways[i] over the plate's channels, and the matrix on them */
    int ways;
    double way[UF_COMPONENTS][UF_CHANNELS_MAX], a[UF_COMPONENTS][UF_COMPONENTS];
};

/* rank: of the loads, 1..6. Starts at the data sheet (WHOLE: at zero). */
int uf_model_start(struct uf_model_state *m, enum uf_model model, const struct uf_plate *plate,
                   const struct uf_model_prior *prior, const struct uf_reading *r, int n, int rank,
                   struct uf_error *err);

/* At the present state: scaled wrench of a reading = columns[6][unknowns] unknowns - offset[6]. */
void uf_model_columns(const struct uf_model_state *m, const double *above_raw, double *columns,
                      double offset[UF_COMPONENTS]);
/* Prior of unknown j; sd INFINITY where there is none. */
void uf_model_prior_of(const struct uf_model_state *m, int j, double *mean, double *sd);
/* Takes a solution. */
void uf_model_update(struct uf_model_state *m, const double *unknown);

/* Scaled 6 x N matrix c[6][channels] by plate channels, and its change along d[unknowns]. */
void uf_model_matrix(const struct uf_model_state *m, double *c);
void uf_model_change(const struct uf_model_state *m, const double *d, double *c);

#endif
