/* SPDX-License-Identifier: MIT
 * How much a player's own numbers vary, and what change means something: mean, SD, typical error,
 * smallest detectable change, the difference of two blocks with its interval. A player is compared
 * with himself, never with a norm. NAN among the values is left out. Pure.
 * Sources: Hopkins 2000 (typical error), Weir 2005 (smallest detectable change), Bland & Altman
 * 1986, GUM G.4 (Welch-Satterthwaite). */
#ifndef UF_SWING_VARIABILITY_H
#define UF_SWING_VARIABILITY_H

#include <stddef.h>

/* t for a two-sided interval: P(|T| <= t) = level. Infinite degrees of freedom: the normal one.
 * NAN where dof is not positive or level not in (0, 1). */
double uf_t_two_sided(double level, double dof);

struct uf_spread {
    size_t n;               /* values that there are */
    double mean, sd;        /* NAN without any; sd NAN with one */
    double mean_u;          /* sd / sqrt n */
    double lo, hi;          /* 95 % interval of the mean, Student's t */
    double detectable;      /* smallest change of one swing against another that is more than the
                               player's own spread: 1.96 sqrt 2 sd */
    double detectable_of_n; /* the same of the means of two blocks of n: 1.96 sqrt 2 sd / sqrt n */
};
void uf_spread_of(const double *value, size_t n, struct uf_spread *out);

/* Second block against first: Welch, with both SDs; the standard uncertainty of a value that is the
 * same in both (calibration) drops out. NAN all where a block has fewer than two values. */
struct uf_change {
    double difference, u; /* second mean - first mean */
    double dof;           /* effective */
    double lo, hi;        /* 95 % interval */
    double pooled_sd;     /* within blocks */
    double detectable;    /* t sqrt 2-type: the half width of the interval */
};
void uf_change_of(const struct uf_spread *first, const struct uf_spread *second,
                  struct uf_change *out);

/* The same thing measured twice, in pairs (Bland & Altman; typical error SD / sqrt 2). Pairs with a
 * NAN are left out. */
struct uf_repeat {
    size_t n;
    double bias, sd;      /* of first - second */
    double bias_u;        /* sd / sqrt n */
    double lo, hi;        /* limits of agreement, bias +- 1.96 sd */
    double typical_error; /* sd / sqrt 2 */
    double within_sd;     /* sqrt(mean d^2 / 2): no bias taken off */
    double repeatability; /* 1.96 sqrt 2 within_sd */
    double detectable;    /* 1.96 sqrt 2 typical_error */
};
void uf_repeat_of(const double *first, const double *second, size_t n, struct uf_repeat *out);

/* Change that is beyond measurement error for one person, from a within-subject mean square. */
double uf_detectable_of_mean_square(double ms_error);

/* Effective degrees of freedom of a sum of n independent contributions (GUM G.4.1). */
double uf_effective_dof(const double *u, const double *dof, size_t n);

#endif
