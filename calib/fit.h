/* SPDX-License-Identifier: MIT
 * From captured loads to a plate's matrix: generalised least squares with every stated error of
 * the loads in it, the errors of the result, and how well loads are predicted that were left out.
 * Pure.
 *
 * Equations: known wrench + shared errors = matrix x counts + own errors. Errors that loads share
 * (a weight's mass, gravity, the pulley, how the drawing lies) are unknowns with a prior; loads at
 * one place have half of the variance of its error in common; a channel is off by its noise and by
 * reading_pct of what it reads (creep, non-linearity; told by what is left over, leftover.h). */
#ifndef UF_CALIB_FIT_H
#define UF_CALIB_FIT_H

#include "calib/curve.h"
#include "calib/leftover.h"
#include "calib/model.h"
#include "plate/wrench.h"

struct uf_fit_settings {
    struct uf_model_prior prior;
    double reading_pct; /* error of a channel, % of its reading, 1 SD: creep, non-linearity; where
                           the readings do not tell it themselves (0.05) */
    bool straight;      /* channels are never taken as curved */
};
void uf_fit_defaults(struct uf_fit_settings *s);

/* What the loads can tell: wrenches scaled (moments by half the plate's diagonal), each divided by
 * the greatest force. */
struct uf_load_rank {
    int rank;                       /* directions above 1/100 of the strongest */
    double singular[UF_COMPONENTS]; /* falling */
    double condition;               /* strongest / weakest; INFINITY below rank 6 */
    bool known[UF_COMPONENTS];      /* the component lies within what the loads tell */
    double weakest[UF_COMPONENTS];  /* unit vector (scaled): what they tell least or not at all */
};
int uf_load_rank_of(const struct uf_plate *plate, double wrench[][UF_COMPONENTS], int n,
                    struct uf_load_rank *out, struct uf_error *err);

struct uf_fit_reading {
    int reading;                    /* index in the caller's array */
    int place;                      /* number of its place, from 0 */
    double known[UF_COMPONENTS];    /* N, N m */
    double residual[UF_COMPONENTS]; /* fitted - known */
    double left_out[UF_COMPONENTS]; /* the same by the fit without that place; NAN: there is none */
    double studentised;             /* size of its residual against what is expected, from the
                                       fit without it: about 1; above 3 it does not belong */
};

struct uf_fit {
    enum uf_model model;
    int plate;
    struct uf_load_rank loads;
    struct uf_plate_matrix matrix;
    int channels, channel[UF_CHANNELS_MAX]; /* of the plate, in the order of its cells */

    /* Error of the matrix as independent patterns, one standard uncertainty each:
     * pattern[patterns][6][channels], N and N m a count. */
    int patterns;
    double *pattern;
    double *shared_pattern; /* [UF_SHARED_ERRORS][6][channels]: the part in that error of each error
                               that loads share, one standard uncertainty */
    struct uf_leftover leftover;
    struct uf_curve_choice curve; /* of uf_fit_best: whether channels are curved, and why */
    double reading_pct;           /* as the readings tell it, else as set */
    double scale; /* spread of the residuals against what the tolerances say, >= 1 where the
                     patterns were widened by it */

    /* shared errors of the loads, in standard uncertainties of what was stated: what the loads say
     * they are, and how sure that is (1: nothing was learnt); 0 where one does not matter */
    double shared[UF_SHARED_ERRORS], shared_sd[UF_SHARED_ERRORS];

    int readings, places;
    struct uf_fit_reading *reading; /* [readings], in the order of places */
    double left_out_score;          /* rms of left_out in expected standard uncertainties */
    struct uf_model_state state;
};

/* r[n]: readings of all plates; those of others are passed over. Error: fewer than 3 loads on this
 * plate, a dead plate, no memory. */
int uf_fit_new(struct uf_fit **out, enum uf_model model, const struct uf_rig *rig, int plate,
               const struct uf_load_setup *setup, const struct uf_reading *r, int n,
               const struct uf_fit_settings *s, struct uf_error *err);
void uf_fit_free(struct uf_fit *f);

/* First whether the channels are straight (curve.h); then both models; out is the one that predicts
 * left-out places better, other (may be NULL) the other. Within 5 % of each other it is WHOLE,
 * which assumes less. Below rank 6, and with fewer than 8 places, always CELLS. */
int uf_fit_best(struct uf_fit **out, struct uf_fit **other, const struct uf_rig *rig, int plate,
                const struct uf_load_setup *setup, const struct uf_reading *r, int n,
                const struct uf_fit_settings *s, struct uf_error *err);

/* ---- what the result is good for ---- */

/* Wrench of mean counts above zero (all channels of the board); NAN where not known. */
void uf_fit_wrench(const struct uf_fit *f, const double *above_raw, struct uf_wrench *out);

/* Covariance of that wrench: of the matrix, of the channels' reading_pct, and of noise sd_raw
 * (all channels; NULL: none). */
void uf_fit_covariance(const struct uf_fit *f, const double *above_raw, const double *sd_raw,
                       double cov[UF_COMPONENTS][UF_COMPONENTS]);

/* Standard uncertainties of uf_cop_of's results, by the law of propagation (GUM 5.2.2). NAN where
 * the place is. */
struct uf_cop_sd {
    double x_mm, y_mm, tz_nm;
};
void uf_cop_sd_of(const struct uf_wrench *w, double cov[UF_COMPONENTS][UF_COMPONENTS],
                  double surface_mm, double min_n, struct uf_cop_sd *out);

/* What a standard uncertainty is multiplied with for an interval that holds in 95 of 100
 * cases: 1.96 where many errors make it up; less where one rectangular error (of which only the
 * half-width is known) outweighs the others, down to 1.645 (GUM G.1.3, 4.3.7). rectangular: the
 * standard uncertainty of it, as part of the whole, 0..1. From the distribution of the sum of a
 * rectangular and a normal error. */
double uf_coverage_factor(double rectangular);

/* The factors of a wrench and its place. Errors that loads share are rectangular but for that of
 * gravity; several of them count as one of the same kurtosis. NAN where cov is. */
struct uf_cover {
    double component[UF_COMPONENTS];
    double x, y, tz;
};
void uf_fit_cover(const struct uf_fit *f, const double *above_raw,
                  double cov[UF_COMPONENTS][UF_COMPONENTS], const struct uf_wrench *w,
                  double surface_mm, double min_n, struct uf_cover *out);

#endif
