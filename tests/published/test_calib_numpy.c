/* SPDX-License-Identifier: MIT
 * The least-squares solver against numpy.linalg.lstsq and scipy.linalg (Debian's python3-numpy and
 * python3-scipy): weighted, and of least norm where the rank is short; to 1e-9. */
#include "calib/least_squares.h"
#include "sim/sim.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

#define ROWS 40
#define COLS 12

static const char script[] =
    "import sys, numpy as np, scipy.linalg as sl\n"
    "v = np.array([float(x) for x in open(sys.argv[1]).read().split()])\n"
    "m, n = int(v[0]), int(v[1]); a = v[2:2+m*n].reshape(m, n); b = v[2+m*n:2+m*n+m]\n"
    "w = v[2+m*n+m:]; aw = a * w[:, None]; bw = b * w\n"
    "x, _, r, s = np.linalg.lstsq(aw, bw, rcond=1e-10)\n"
    "y = sl.lstsq(aw, bw, cond=1e-10, lapack_driver='gelss')[0]\n"
    "c = np.linalg.pinv(aw.T @ aw, rcond=1e-20) if r == n else np.linalg.pinv(aw, rcond=1e-10)\n"
    "c = c if r == n else c @ c.T\n"
    "print(r)\n"
    "for q in (x, y, s, c.ravel(), bw - aw @ x): print(*['%.17g' % t for t in q])\n";

struct answer {
    int rank;
    double x[COLS], y[COLS], singular[COLS], cov[COLS * COLS], residual[ROWS];
};

static void read_list(FILE *in, double *out, int n)
{
    for (int i = 0; i < n; i++)
        assert_int_equal(fscanf(in, "%lf", &out[i]), 1);
}

static void ask(const double *a, const double *b, const double *w, struct answer *out)
{
    char data[] = "/tmp/uf-lstsq-XXXXXX", code[] = "/tmp/uf-lstsq-XXXXXX", command[128];
    int fd = mkstemp(data), fd2 = mkstemp(code);
    assert_true(fd >= 0 && fd2 >= 0);
    FILE *f = fdopen(fd, "w"), *g = fdopen(fd2, "w");
    fprintf(f, "%d %d\n", ROWS, COLS);
    for (int i = 0; i < ROWS * COLS; i++)
        fprintf(f, "%.17g ", a[i]);
    for (int i = 0; i < ROWS; i++)
        fprintf(f, "%.17g ", b[i]);
    for (int i = 0; i < ROWS; i++)
        fprintf(f, "%.17g ", w[i]);
    fputs(script, g);
    fclose(f);
    fclose(g);
    snprintf(command, sizeof command, "/usr/bin/python3 %s %s", code, data);
    FILE *in = popen(command, "r");
    assert_non_null(in);
    assert_int_equal(fscanf(in, "%d", &out->rank), 1);
    read_list(in, out->x, COLS);
    read_list(in, out->y, COLS);
    read_list(in, out->singular, COLS);
    read_list(in, out->cov, COLS * COLS);
    read_list(in, out->residual, ROWS);
    assert_int_equal(pclose(in), 0);
    unlink(data);
    unlink(code);
}

static double norm(const double *v, int n)
{
    double sum = 0;
    for (int i = 0; i < n; i++)
        sum += v[i] * v[i];
    return sqrt(sum);
}

static void near(const double *a, const double *b, int n, double relative)
{
    double d = 0;
    for (int i = 0; i < n; i++)
        d += (a[i] - b[i]) * (a[i] - b[i]);
    if (!(sqrt(d) <= relative * norm(b, n)))
        fail_msg("differs by %g of it", sqrt(d) / norm(b, n));
}

/* columns: how many are independent; the others are sums of those. */
static void compare(uint64_t seed, int independent)
{
    struct uf_sim_rng rng;
    double a[ROWS * COLS], b[ROWS], w[ROWS], aw[ROWS * COLS], bw[ROWS], cov[COLS * COLS];
    struct answer want;
    struct uf_lsq got;
    uf_sim_rng_seed(&rng, seed);
    for (int i = 0; i < ROWS; i++) {
        b[i] = uf_sim_rng_normal(&rng, 0, 100);
        w[i] = exp(uf_sim_rng_normal(&rng, 0, 1));
        for (int j = 0; j < COLS; j++)
            a[i * COLS + j] = j < independent ? uf_sim_rng_normal(&rng, 0, 1) * pow(10, j % 3)
                                              : a[i * COLS + j - independent] +
                                                    2 * a[i * COLS + (j + 1) % independent];
        bw[i] = b[i] * w[i];
    }
    for (int i = 0; i < ROWS * COLS; i++)
        aw[i] = a[i] * w[i / COLS];
    ask(a, b, w, &want);
    assert_int_equal(uf_lsq_solve(&got, aw, bw, ROWS, COLS, 1e-10, NULL), UF_OK);
    uf_lsq_covariance(&got, cov);
    assert_int_equal(got.rank, independent);
    assert_int_equal(got.rank, want.rank);
    near(got.x, want.x, COLS, 1e-9);
    near(got.x, want.y, COLS, 1e-9);
    near(got.singular, want.singular, COLS, 1e-9);
    near(got.residual, want.residual, ROWS, 1e-9);
    near(cov, want.cov, COLS * COLS, 1e-9);
    uf_lsq_free(&got);
}

static void weighted(void **state)
{
    (void)state;
    compare(1, COLS);
    compare(2, COLS);
}

static void short_rank(void **state)
{
    (void)state;
    compare(3, COLS - 1);
    compare(4, COLS / 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(weighted), cmocka_unit_test(short_rank)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
