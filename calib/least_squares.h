/* SPDX-License-Identifier: MIT
 * Linear least squares by singular value decomposition (LAPACK's dgesdd): the minimum-norm
 * solution, its rank, its covariance, and what leaving rows out would do. Pure. */
#ifndef UF_CALIB_LEAST_SQUARES_H
#define UF_CALIB_LEAST_SQUARES_H

#include "base/error.h"

/* Filled by uf_lsq_solve; matrices by rows. All zeros is an empty one. */
struct uf_lsq {
    int rows, cols;
    int rank;              /* singular values above cutoff * the greatest */
    int values;            /* min(rows, cols) */
    double *singular;      /* [values], falling */
    double *x;             /* [cols], of least norm where rank < cols */
    double *residual;      /* [rows], b - a x */
    double *u;             /* [rows][rank]: the hat matrix is u u' */
    double *v;             /* [cols][rank]: right singular vectors that were used */
    double sum_of_squares; /* of residual */
};

/* Minimises |b - a x|: a[rows][cols], b[rows], each row already divided by its standard
 * uncertainty where they differ. cutoff 0: the machine's epsilon times the longer side. Error:
 * no row, no column, a value that is not finite, no memory. */
int uf_lsq_solve(struct uf_lsq *out, const double *a, const double *b, int rows, int cols,
                 double cutoff, struct uf_error *err);
void uf_lsq_free(struct uf_lsq *s);

/* Covariance of x for rows of variance 1 in the identified directions, (a'a)+, into
 * cov[cols][cols]. */
void uf_lsq_covariance(const struct uf_lsq *s, double *cov);

/* The residuals that rows from..from+n-1 would have had, had they been left out of the fit:
 * (1 - H)^-1 r of their block. Where the fit does not exist without them: NAN. */
int uf_lsq_left_out(const struct uf_lsq *s, int from, int n, double *residual,
                    struct uf_error *err);

/* Singular values of a[rows][cols], falling, into values[min(rows, cols)], and where v is not NULL
 * all right singular vectors as rows of v[cols][cols]. */
int uf_lsq_singular(const double *a, int rows, int cols, double *values, double *v,
                    struct uf_error *err);

/* In place: a[n][n] symmetric positive definite becomes its lower Cholesky factor (the rest zero).
 * Error: not positive definite. */
int uf_lsq_cholesky(double *a, int n, struct uf_error *err);

/* Solves l y = b in place for a lower triangular l[n][n] and one b[n]. */
void uf_lsq_forward(const double *l, int n, double *b);

#endif
