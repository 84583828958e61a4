/* SPDX-License-Identifier: MIT
 * Wrench, centre of pressure and free moment of one plate, and what two plates make together.
 * Formulas and signs: DEVELOPERS.md, "Axes" (ground reaction force, right-handed, z up). Pure. */
#ifndef UF_PLATE_WRENCH_H
#define UF_PLATE_WRENCH_H

#include "plate/calibration.h"
#include "plate/rig.h"

#define UF_COP_MIN_N_DEFAULT 25.0

/* Force on the golfer (N) and moment about the sensor origin (N m). Rows of a component that is
 * not known are NAN. */
struct uf_wrench {
    double fx_n, fy_n, fz_n;
    double mx_nm, my_nm, mz_nm;
};

/* Counts of a channel above tare as a straight channel would give them. */
static inline double uf_straight(const struct uf_plate_matrix *m, int channel, double above_raw)
{
    return m->curved ? above_raw + m->curve[channel] * above_raw * above_raw : above_raw;
}

/* From mean counts above tare; otherwise as uf_wrench_of. */
void uf_wrench_of_mean(const struct uf_plate_matrix *m, const double *above_raw, int channels,
                       struct uf_wrench *out);

/* Plate's axes, from counts (all channels of the board) and tare in counts. */
void uf_wrench_of(const struct uf_plate_matrix *m, const int32_t *counts_raw,
                  const double *tare_raw, int channels, struct uf_wrench *out);

/* The same for many samples: the plate's own channels only, in the order of the board, so that the
 * sums are the same bits. */
struct uf_weights {
    int n, channel[UF_CHANNELS_MAX];
    double c[UF_CHANNELS_MAX][UF_COMPONENTS];
    bool curved;
    double curve[UF_CHANNELS_MAX]; /* as in uf_plate_matrix, of each channel here */
    double start[UF_COMPONENTS];   /* 0, or NAN for a component that is not known */
};
void uf_weights_of(const struct uf_plate_matrix *m, int channels, struct uf_weights *out);
void uf_wrench_weighed(const struct uf_weights *w, const int32_t *counts_raw,
                       const double *tare_raw, struct uf_wrench *out);

/* x_mm, y_mm on the top surface, tz_nm the free moment. NAN all three where fz_n < min_n or a
 * component that the place needs is NAN; tz_nm also where one of its own is. */
struct uf_cop {
    double x_mm, y_mm, tz_nm;
};

/* In the plate's axes, from the centre of the top surface.
 * x = (-My + h Fx) / Fz, y = (Mx + h Fy) / Fz, Tz = Mz - x Fy + y Fx, h = surface height. */
void uf_cop_of(const struct uf_wrench *w, double surface_mm, double min_n, struct uf_cop *out);

/* One plate in the rig frame: forces and COP turned and moved by the plate's mounting. */
struct uf_ground {
    double fx_n, fy_n, fz_n;
    double cop_x_mm, cop_y_mm; /* rig frame; NAN below the threshold */
    double tz_nm;              /* free moment; NAN below the threshold */
};

void uf_ground_of(const struct uf_plate *plate, const struct uf_wrench *w, double min_n,
                  struct uf_ground *out);

/* Two plates together. A plate below the threshold adds its force and no moment part. NAN where
 * the sum of fz is below min_n. Turn moment about the vertical through the net COP
 * (N m, anticlockwise from above positive):
 *   turn = sum over feet of [ (r_i - r_net) x F_i ]_z + Tz_i, in three parts:
 *   from Fy: sum (x_i - x_net) Fy_i; from Fx: -sum (y_i - y_net) Fx_i; from Tz: sum Tz_i. */
struct uf_both {
    double fx_n, fy_n, fz_n;
    double cop_x_mm, cop_y_mm;
    double turn_nm, turn_from_fy_nm, turn_from_fx_nm, turn_from_tz_nm;
};

void uf_both_of(const struct uf_ground *a, const struct uf_ground *b, double min_n,
                struct uf_both *out);

#endif
