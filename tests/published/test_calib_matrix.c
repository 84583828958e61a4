/* SPDX-License-Identifier: MIT
 * Matrices and ranks against published work. Tags: READ seen in the source, CALC arithmetic on it.
 */
#include "calib/fit.h"
#include "calib/least_squares.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../unit/calib_near.h"

/* Re-calibration matrix after Cedraro, Cappello & Chiari, Gait Posture 28:488-494, 2008, as in a
 * teaching notebook (READ): acts on (Fx, Fy, Fz, Mx, My, Mz) in N and N m */
static const double published[6][6] = {{1.0354, -.0053, -.0021, -.0289, -.0402, .0081},
                                       {.0064, 1.0309, -.0031, .0211, .0135, -.0001},
                                       {.0000, -.0004, 1.0022, -.0005, -.0182, .0300},
                                       {-.0012, -.0385, .0002, .9328, .0007, .0017},
                                       {.0347, .0003, .0008, -.0002, .9325, -.0024},
                                       {-.0004, -.0013, -.0003, -.0023, .0035, 1.0592}};

/* What the plate would say for a true wrench: published^-1 w. */
static void said(const double w[6], double out[6])
{
    struct uf_lsq s;
    assert_int_equal(uf_lsq_solve(&s, &published[0][0], w, 6, 6, 0, NULL), UF_OK);
    memcpy(out, s.x, 6 * sizeof *out);
    uf_lsq_free(&s);
}

/* Loads at five sites turn about the vertical while they grow: Fx = 100 sin, Fy = 100 cos,
 * Fz = i/15 + 200 (every 40th of 6000); the fit must return the matrix. */
static void five_sites(void **state)
{
    (void)state;
    static const double site_m[5][3] = {{0, 0, -.124},
                                        {.112, .192, -.124},
                                        {.112, -.192, -.124},
                                        {-.112, .192, -.124},
                                        {-.112, -.192, -.124}};
    enum { PER_SITE = 150, ROWS = 5 * PER_SITE };
    double *a = calloc(ROWS * 6, sizeof *a), *b = calloc(6 * ROWS, sizeof *b);
    assert_true(a && b);
    for (int row = 0; row < ROWS; row++) {
        int i = 40 * (row % PER_SITE + 1);
        const double *r = site_m[row / PER_SITE];
        double turn = 5 * 2 * 3.14159265358979323846 * i / 6000;
        double f[3] = {100 * sin(turn), 100 * cos(turn), i / 15.0 + 200};
        double w[6] = {f[0],
                       f[1],
                       f[2],
                       r[1] * f[2] - r[2] * f[1],
                       r[2] * f[0] - r[0] * f[2],
                       r[0] * f[1] - r[1] * f[0]};
        said(w, a + 6 * row);
        for (int k = 0; k < 6; k++)
            b[k * ROWS + row] = w[k];
    }
    for (int k = 0; k < 6; k++) {
        struct uf_lsq s;
        assert_int_equal(uf_lsq_solve(&s, a, b + k * ROWS, ROWS, 6, 0, NULL), UF_OK);
        assert_int_equal(s.rank, 6);
        for (int j = 0; j < 6; j++)
            assert_near(s.x[j], published[k][j], 1e-10);
        assert_true(s.sum_of_squares < 1e-18);
        uf_lsq_free(&s);
    }
    free(a);
    free(b);
}

/* ---- rank of load sets (CALC, from w = [F; r x F]) ---- */

struct set {
    struct uf_rig rig;
    int n;
    double w[12][UF_COMPONENTS];
};

static void start(struct set *s)
{
    memset(s, 0, sizeof *s);
    uf_rig_example(&s->rig);
}

static void add(struct set *s, enum uf_load_kind kind, double x_mm, double y_mm, double towards_deg)
{
    const struct uf_load_setup setup = {
        .gravity = {9.81, 0}, .weights = 1, .weight = {{"A", 20, 0}}};
    const struct uf_load load = {
        .kind = kind, .pieces = 1, .x_mm = x_mm, .y_mm = y_mm, .towards_deg = towards_deg};
    struct uf_load_wrench w;
    uf_load_wrench_of(&setup, &s->rig.plate[0], &load, &w);
    memcpy(s->w[s->n++], w.w, sizeof w.w);
}

/* Three directions at one place. */
static void add_site(struct set *s, double x_mm, double y_mm)
{
    double x = x_mm / 1000, y = y_mm / 1000, z = 0.06;
    static const double f[3][3] = {{50, 0, 200}, {0, 50, 200}, {0, 0, 200}};
    for (int i = 0; i < 3; i++) {
        const double w[6] = {f[i][0],
                             f[i][1],
                             f[i][2],
                             y * f[i][2] - z * f[i][1],
                             z * f[i][0] - x * f[i][2],
                             x * f[i][1] - y * f[i][0]};
        memcpy(s->w[s->n++], w, sizeof w);
    }
}

static struct uf_load_rank rank(struct set *s)
{
    struct uf_load_rank r;
    assert_int_equal(uf_load_rank_of(&s->rig.plate[0], s->w, s->n, &r, NULL), UF_OK);
    return r;
}

static void vertical(struct set *s)
{
    add(s, UF_LOAD_VERTICAL, 0, 200, 0);
    add(s, UF_LOAD_VERTICAL, 150, -200, 0);
    add(s, UF_LOAD_VERTICAL, -150, -200, 0);
}

static void vertical_only(void **state)
{
    (void)state;
    struct set s;
    start(&s);
    vertical(&s);
    add(&s, UF_LOAD_VERTICAL, 0, 0, 0);
    add(&s, UF_LOAD_VERTICAL, 150, 200, 0);
    struct uf_load_rank r = rank(&s);
    assert_int_equal(r.rank, 3);
    const bool known[6] = {false, false, true, true, true, false};
    assert_memory_equal(r.known, known, sizeof known);
    start(&s); /* on one line */
    add(&s, UF_LOAD_VERTICAL, 0, 0, 0);
    add(&s, UF_LOAD_VERTICAL, 100, 100, 0);
    add(&s, UF_LOAD_VERTICAL, -100, -100, 0);
    assert_int_equal(rank(&s).rank, 2);
}

static void with_pulls(void **state)
{
    (void)state;
    struct set s;
    start(&s);
    vertical(&s);
    add(&s, UF_LOAD_PULL, 0, 150, 0);
    add(&s, UF_LOAD_PULL, 100, 0, 90);
    struct uf_load_rank r = rank(&s);
    assert_int_equal(r.rank, 5);
    assert_false(r.known[UF_MZ]);
    add(&s, UF_LOAD_PULL, 0, -150, 0); /* another y */
    r = rank(&s);
    assert_int_equal(r.rank, 6);
    for (int k = 0; k < 6; k++)
        assert_true(r.known[k]);
}

static void three_directions(void **state)
{
    (void)state;
    struct set s;
    start(&s);
    add_site(&s, 100, 150);
    assert_int_equal(rank(&s).rank, 3);
    add_site(&s, -100, -150);
    assert_int_equal(rank(&s).rank, 5); /* twist about the line between is not seen */
    add_site(&s, -100, 150);
    assert_int_equal(rank(&s).rank, 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(five_sites), cmocka_unit_test(vertical_only), cmocka_unit_test(with_pulls),
        cmocka_unit_test(three_directions)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
