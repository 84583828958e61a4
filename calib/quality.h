/* SPDX-License-Identifier: MIT
 * How good an instrument is, by the common definitions. Pure functions over series of (load,
 * output) pairs; each says where its definition is from. No compliance with a standard is claimed:
 * their clauses on procedure are not followed to the letter. */
#ifndef UF_CALIB_QUALITY_H
#define UF_CALIB_QUALITY_H

#include "calib/fit.h"

/* A straight line by least squares, y = intercept + slope x. With s the standard deviation about it
 * (n - 2), sd of both and their correlation (GUM H.3). NAN where n < 3 or all x are equal (slope
 * and intercept exist from n = 2 on). */
struct uf_line {
    double intercept, slope;
    double intercept_sd, slope_sd, correlation;
    double s;
};
void uf_line_fit(const double *x, const double *y, int n, struct uf_line *out);
/* Standard uncertainty of the line at x (GUM H.3.5). */
double uf_line_sd(const struct uf_line *l, double x);

/* Greatest deviations of output from a reference line, in units of the output: above and below. */
void uf_deviation(const struct uf_line *line, const double *x, const double *y, int n, double *most,
                  double *least);

/* Linearity: greatest |deviation| from the least-squares line, % of span (the greatest output of
 * the line over the range of x). */
double uf_linearity_pct(const double *x, const double *y, int n);

/* Repeatability: greatest spread of outputs at one load in one direction (same load: within
 * 1e-6 of it; direction[i] equal), in units of the output. 0 where no load occurs twice. Wheeler &
 * Ganji take half of it as +-; OIML R 60 the whole. */
double uf_repeatability(const double *x, const double *y, const int *direction, int n);

/* Hysteresis: greatest difference between the mean outputs at one load going down and going up, in
 * units of the output; NAN where no load was met both ways. */
double uf_hysteresis(const double *x, const double *y, const int *direction, int n);

/* Reversibility by the common definition of ISO 376: mean over loads met both ways of
 * 100 |down - up| / up, %. NAN where there is none. */
double uf_reversibility_pct(const double *x, const double *y, const int *direction, int n);

/* Zero return: (zero after - zero before) / output at the load, % (ISO 376: residual of zero f0).
 */
double uf_zero_return_pct(double before, double after, double loaded);

/* Creep: outputs y at t_s under a load that does not change; 100 |y(to) - y(from)| / y(to), %, by
 * linear interpolation (ISO 376: 30 s and 300 s after loading). NAN where the times lie outside. */
double uf_creep_pct(const double *t_s, const double *y, int n, double from_s, double to_s);

/* OIML R 60 limits of a load cell of class C, p_LC 0.7, in verification intervals v (Emax / n). */
double uf_r60_mpe_v(double load_v);            /* envelope: 0.35, 0.7, 1.05 */
double uf_r60_creep_30min_v(double load_v);    /* 0.7 of it */
double uf_r60_creep_20_30min_v(double load_v); /* 0.15 of it */

/* ---- of a fitted plate ---- */

struct uf_quality {
    double rms[UF_COMPONENTS], most[UF_COMPONENTS]; /* residuals, N and N m */
    double left_out_rms[UF_COMPONENTS];
    double cop_rms_mm, cop_most_mm; /* of vertical loads above 50 N: fitted place - place */
    double left_out_cop_rms_mm;
    double crosstalk_pct[3][3]; /* [pure load along][seen along], % of the load, rms; NAN: no load
                                   along it. The diagonal is the error of the force itself */
    double linearity_pct;       /* Fz against load, at the place with most different loads */
    double hysteresis_pct;      /* of the greatest load of an up-and-down series */
    double repeatability_pct;
    double zero_return_pct; /* greatest */
    int hysteresis_loads, repeats, zeros;
};
void uf_quality_of(const struct uf_fit *f, const struct uf_plate *plate, const struct uf_reading *r,
                   struct uf_quality *out);

/* Within what the centre of pressure (the worse of x and y, mm) and the vertical force (N) of a
 * vertical force somewhere on the plate lie in 95 of 100 cases. Counts by the fitted plate's own
 * readings: the mean way in which it answers. NAN where it is not known. */
int uf_quality_map(const struct uf_fit *f, const struct uf_plate *plate, double x_mm, double y_mm,
                   double vertical_n, double *cop_mm, double *vertical_u_n, struct uf_error *err);

#endif
