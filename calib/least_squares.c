/* SPDX-License-Identifier: MIT
 * Least squares by SVD: see least_squares.h. Pure. */
#include "calib/least_squares.h"

#include <float.h>
#include <lapacke.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static int no_memory(struct uf_error *err)
{
    return uf_fail(err, UF_ENOMEM, "no memory for the least-squares fit");
}

static double *doubles(int rows, int cols)
{
    size_t n = (size_t)rows * (size_t)cols;
    return calloc(n ? n : 1, sizeof(double));
}

static int check(const double *a, int rows, int cols, struct uf_error *err)
{
    if (rows < 1 || cols < 1)
        return uf_fail(err, UF_EINVAL, "a fit needs at least one load and one unknown");
    for (size_t i = 0; i < (size_t)rows * (size_t)cols; i++)
        if (!isfinite(a[i]))
            return uf_fail(err, UF_EINVAL, "a value of the fit is not a finite number");
    return UF_OK;
}

/* a = u diag(s) vt; u[rows][k], vt[k][cols], k = min(rows, cols); a is kept. */
static int decompose(const double *a, int rows, int cols, double *s, double *u, double *vt,
                     struct uf_error *err)
{
    int k = rows < cols ? rows : cols;
    double *work = doubles(rows, cols);
    if (!work)
        return no_memory(err);
    memcpy(work, a, (size_t)rows * (size_t)cols * sizeof *a);
    lapack_int info =
        LAPACKE_dgesdd(LAPACK_ROW_MAJOR, 'S', rows, cols, work, cols, s, u, k, vt, cols);
    free(work);
    if (info != 0)
        return uf_fail(err, info < 0 ? UF_ENOMEM : UF_EINVAL,
                       "the singular value decomposition did not end well (LAPACK says %d)",
                       (int)info);
    return UF_OK;
}

int uf_lsq_solve(struct uf_lsq *out, const double *a, const double *b, int rows, int cols,
                 double cutoff, struct uf_error *err)
{
    memset(out, 0, sizeof *out);
    int rc = check(a, rows, cols, err);
    if (rc == UF_OK)
        rc = check(b, rows, 1, err);
    if (rc != UF_OK)
        return rc;
    int k = rows < cols ? rows : cols;
    out->rows = rows;
    out->cols = cols;
    out->values = k;
    out->singular = doubles(k, 1);
    out->x = doubles(cols, 1);
    out->residual = doubles(rows, 1);
    out->u = doubles(rows, k);
    out->v = doubles(cols, k);
    double *u = doubles(rows, k), *vt = doubles(k, cols);
    if (!out->singular || !out->x || !out->residual || !out->u || !out->v || !u || !vt) {
        rc = no_memory(err);
        goto done;
    }
    rc = decompose(a, rows, cols, out->singular, u, vt, err);
    if (rc != UF_OK)
        goto done;
    if (!(cutoff > 0))
        cutoff = DBL_EPSILON * (rows > cols ? rows : cols);
    while (out->rank < k && out->singular[out->rank] > cutoff * out->singular[0])
        out->rank++;
    for (int r = 0; r < out->rank; r++) {
        double ub = 0;
        for (int i = 0; i < rows; i++) {
            out->u[i * out->rank + r] = u[i * k + r];
            ub += u[i * k + r] * b[i];
        }
        for (int j = 0; j < cols; j++) {
            out->v[j * out->rank + r] = vt[r * cols + j];
            out->x[j] += vt[r * cols + j] * ub / out->singular[r];
        }
    }
    for (int i = 0; i < rows; i++) {
        double e = b[i];
        for (int j = 0; j < cols; j++)
            e -= a[(size_t)i * (size_t)cols + (size_t)j] * out->x[j];
        out->residual[i] = e;
        out->sum_of_squares += e * e;
    }
done:
    free(u);
    free(vt);
    if (rc != UF_OK)
        uf_lsq_free(out);
    return rc;
}

void uf_lsq_free(struct uf_lsq *s)
{
    free(s->singular);
    free(s->x);
    free(s->residual);
    free(s->u);
    free(s->v);
    memset(s, 0, sizeof *s);
}

void uf_lsq_covariance(const struct uf_lsq *s, double *cov)
{
    for (int i = 0; i < s->cols; i++)
        for (int j = 0; j <= i; j++) {
            double sum = 0;
            for (int r = 0; r < s->rank; r++)
                sum += s->v[i * s->rank + r] * s->v[j * s->rank + r] /
                       (s->singular[r] * s->singular[r]);
            cov[i * s->cols + j] = cov[j * s->cols + i] = sum;
        }
}

int uf_lsq_left_out(const struct uf_lsq *s, int from, int n, double *residual, struct uf_error *err)
{
    double *m = doubles(n, n);
    lapack_int *pivot = calloc((size_t)n, sizeof *pivot);
    if (!m || !pivot) {
        free(m);
        free(pivot);
        return no_memory(err);
    }
    for (int i = 0; i < n; i++) {
        residual[i] = s->residual[from + i];
        for (int j = 0; j < n; j++) {
            double h = 0;
            for (int r = 0; r < s->rank; r++)
                h += s->u[(from + i) * s->rank + r] * s->u[(from + j) * s->rank + r];
            m[i * n + j] = (i == j) - h;
        }
    }
    double norm = LAPACKE_dlange(LAPACK_ROW_MAJOR, '1', n, n, m, n), reciprocal = 0;
    lapack_int info = LAPACKE_dgetrf(LAPACK_ROW_MAJOR, n, n, m, n, pivot);
    if (info == 0)
        LAPACKE_dgecon(LAPACK_ROW_MAJOR, '1', n, m, n, norm, &reciprocal);
    bool exists = info == 0 && reciprocal > 1e-10;
    if (exists)
        info = LAPACKE_dgetrs(LAPACK_ROW_MAJOR, 'N', n, 1, m, n, pivot, residual, 1);
    for (int i = 0; i < n && !exists; i++)
        residual[i] = NAN;
    free(m);
    free(pivot);
    return UF_OK;
}

int uf_lsq_singular(const double *a, int rows, int cols, double *values, double *v,
                    struct uf_error *err)
{
    int rc = check(a, rows, cols, err);
    if (rc != UF_OK)
        return rc;
    double *work = doubles(rows, cols), *u = doubles(rows, rows), *vt = doubles(cols, cols);
    if (!work || !u || !vt) {
        rc = no_memory(err);
        goto done;
    }
    memcpy(work, a, (size_t)rows * (size_t)cols * sizeof *a);
    lapack_int info =
        LAPACKE_dgesdd(LAPACK_ROW_MAJOR, 'A', rows, cols, work, cols, values, u, rows, vt, cols);
    if (info != 0)
        rc = uf_fail(err, UF_EINVAL,
                     "the singular value decomposition did not end well (LAPACK says %d)",
                     (int)info);
    else if (v)
        memcpy(v, vt, (size_t)cols * (size_t)cols * sizeof *v);
done:
    free(work);
    free(u);
    free(vt);
    return rc;
}

int uf_lsq_cholesky(double *a, int n, struct uf_error *err)
{
    if (LAPACKE_dpotrf(LAPACK_ROW_MAJOR, 'L', n, a, n) != 0)
        return uf_fail(err, UF_EINVAL, "a covariance of the fit is not positive definite");
    for (int i = 0; i < n; i++)
        for (int j = i + 1; j < n; j++)
            a[i * n + j] = 0;
    return UF_OK;
}

void uf_lsq_forward(const double *l, int n, double *b)
{
    for (int i = 0; i < n; i++) {
        for (int j = 0; j < i; j++)
            b[i] -= l[i * n + j] * b[j];
        b[i] /= l[i * n + i];
    }
}
