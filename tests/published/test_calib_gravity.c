/* SPDX-License-Identifier: MIT
 * Gravity, buoyancy, tolerances of weights and of load cells against published values. Tags: READ
 * seen in the source, CALC arithmetic on it, MEM recalled. */
#include "calib/load.h"
#include "calib/quality.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "../unit/calib_near.h"

static double at(double latitude_deg, double height_m)
{
    struct uf_gravity g;
    assert_int_equal(uf_gravity_at(latitude_deg, height_m, &g, NULL), UF_OK);
    return g.g_m_s2;
}

/* GRS80: Moritz; 0, 45 and 90 degrees as in the docstring of the seawater toolbox (READ) */
static void grs80(void **state)
{
    (void)state;
    assert_near(uf_gravity_normal_m_s2(UF_GRS80, 0), 9.780326772, 1e-9);
    assert_near(uf_gravity_normal_m_s2(UF_GRS80, 45), 9.806199203, 1e-9);
    assert_near(uf_gravity_normal_m_s2(UF_GRS80, 90), 9.832186368, 1e-9);
    assert_near(uf_gravity_normal_m_s2(UF_GRS80, -45), 9.806199203, 1e-9);
}

/* WGS84: equator and pole (READ), the rest by the same closed form elsewhere (CALC) */
static void wgs84(void **state)
{
    (void)state;
    static const double row[][2] = {{0, 9.7803253359},    {15, 9.7837849624}, {30, 9.7932472692},
                                    {40, 9.8016968628},   {45, 9.8061977694}, {50, 9.8107021356},
                                    {51.5, 9.8120335750}, {55, 9.8150729472}, {60, 9.8191769531},
                                    {75, 9.8286966275},   {90, 9.8321849379}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
        assert_near(uf_gravity_normal_m_s2(UF_WGS84, row[i][0]), row[i][1], 1.01e-10);
}

/* 55 degrees, 5000 m: 9.7997 (READ, documentation of a WGS84 Taylor series), 9.79966698 (CALC);
 * 50 degrees, 100 m: 9.8103936253 (CALC) */
static void height(void **state)
{
    (void)state;
    assert_near(at(55, 5000), 9.7997, 5e-5);
    assert_near(at(55, 5000), 9.79966698, 1e-8);
    assert_near(at(50, 100), 9.8103936253, 1e-9);
    /* free air: -3.086e-6 a metre (READ) */
    assert_near((at(45, 100) - at(45, 0)) / 100, -3.086e-6, 2e-9);
}

/* A school table of measured values (READ), latitudes in whole degrees: within what the standard
 * uncertainty (5e-4) allows, twice over */
static void measured(void **state)
{
    (void)state;
    static const double row[][3] = {
        {59, 45, 9.818},   {51, 102, 9.811}, {51, 1376, 9.808}, {41, 38, 9.803}, {42, 182, 9.803},
        {40, 1638, 9.796}, {38, 114, 9.800}, {9, 6, 9.782},     {-6, 7, 9.782},  {70, 20, 9.825}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        struct uf_gravity g;
        uf_gravity_at(row[i][0], row[i][1], &g, NULL);
        /* half a degree of latitude and half a unit of the last digit on top */
        assert_near(g.g_m_s2, row[i][2], 2 * g.sd_m_s2 + 0.0005);
    }
}

/* 20 kg at 45 degrees at the sea: 196.12396 N without buoyancy, 196.09454 N with it, x 0.99985
 * (CALC; conventional mass: OIML R 111, D 28) */
static void buoyancy(void **state)
{
    (void)state;
    double g = at(45, 0);
    assert_near(20 * g, 196.12396, 5e-6);
    assert_near(uf_gravity_weight_n(g, 20), 196.09454, 5e-6);
    assert_near(uf_gravity_weight_n(g, 1) / g, 0.99985, 1e-15);
}

/* OIML R 111 maximum permissible errors: 1 to 5 kg READ in a maker's table, 10 to 50 kg MEM */
static void weight_classes(void **state)
{
    (void)state;
    assert_near(uf_weight_class_tolerance_kg("M1", 5), 250e-6, 1e-15);
    assert_near(uf_weight_class_tolerance_kg("E2", 1), 1.6e-6, 1e-18);
    assert_near(uf_weight_class_tolerance_kg("F1", 2), 10e-6, 1e-15);
    assert_near(uf_weight_class_tolerance_kg("M3", 1), 500e-6, 1e-15);
    assert_near(uf_weight_class_tolerance_kg("M1", 20), 1e-3, 1e-15);
    assert_near(uf_weight_class_tolerance_kg("M2", 10), 1.6e-3, 1e-15);
    assert_near(uf_weight_class_tolerance_kg("M1", 50), 2.5e-3, 1e-15);
    assert_true(isnan(uf_weight_class_tolerance_kg("M1", 7)));
    assert_true(isnan(uf_weight_class_tolerance_kg("M9", 5)));
}

/* OIML R 60, class C, p_LC 0.7: the text's own examples for C3 at full load (3000 v): creep 0.735 v
 * in 30 min, 0.1575 v from 20 to 30 min; envelope 0.5 / 1 / 1.5 v times p_LC (READ) */
static void load_cells(void **state)
{
    (void)state;
    assert_near(uf_r60_creep_30min_v(3000), 0.735, 1e-12);
    assert_near(uf_r60_creep_20_30min_v(3000), 0.1575, 1e-12);
    assert_near(uf_r60_mpe_v(500), 0.35, 1e-12);
    assert_near(uf_r60_mpe_v(501), 0.7, 1e-12);
    assert_near(uf_r60_mpe_v(2000), 0.7, 1e-12);
    assert_near(uf_r60_mpe_v(2001), 1.05, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(grs80),     cmocka_unit_test(wgs84),    cmocka_unit_test(height),
        cmocka_unit_test(measured),  cmocka_unit_test(buoyancy), cmocka_unit_test(weight_classes),
        cmocka_unit_test(load_cells)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
