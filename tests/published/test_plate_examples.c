/* SPDX-License-Identifier: MIT
 * Worked examples of force plates with digits, from public test data (numbers only), turned into
 * our frame: x right, y forward, z up, force of the ground on the golfer. Units of the examples are
 * mm and N mm; ours are mm and N m. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "plate/wrench.h"

#include <math.h>
#include <string.h>

static void close_to(double got, double want, double within)
{
    if (!(fabs(got - want) <= within))
        print_error("%.12g, not %.12g within %g\n", got, want, within);
    assert_true(fabs(got - want) <= within);
}

/* A signal that is no whole number of counts goes in as the zero it stands above. */
static void wrench_of_volts(const struct uf_plate_matrix *m, const double *volts, int channels,
                            struct uf_wrench *out)
{
    int32_t counts_raw[UF_CHANNELS_MAX] = {0};
    double tare_raw[UF_CHANNELS_MAX] = {0};
    for (int ch = 0; ch < channels; ch++)
        tare_raw[ch] = -volts[ch];
    uf_wrench_of(m, counts_raw, tare_raw, channels, out);
}

/* Example A: six channels and a full cross-talk matrix, C3D sample set 10, plate type 4 (READ in a
 * public reader's test data; 2e-7 N and 7e-5 N mm CALC). No turning of axes: it is the product
 * that is checked. */
static void test_six_by_six(void **state)
{
    (void)state;
    static const double c[6][6] = {
        {1.526645006, -0.004636592, 0.0000894631, -0.00000590651, 0.002252567, -0.001781886},
        {0.013982191, 1.538609925, -0.009134669, 0.002290844, -0.00114751, -0.004845061},
        {0.045523381, -0.018507568, 5.98816363, -0.0000240358, 0.0000689594, -0.002341907},
        {-4.284280896, 17.15964209, 13.23298715, 741.8712923, -1.68202255, -3.250343829},
        {-5.494209837, 5.667772272, 13.25026349, -0.539397315, 739.6307731, -0.593823663},
        {2.856023631, -9.638938674, -4.609498183, -0.597238765, 2.041639708, 391.879169}};
    static const struct {
        double in[6], out[6];
    } rows[] = {
        {{-116.4625608, 0, 0, 0, 0, 0},
         {-177.7969868, -1.628401763, -5.301769525, 498.9583242, 639.869747, -332.6198257}},
        {{0, -116.4625608, 0, 0, 0, 0},
         {0.539989329, -179.1904518, 2.155438772, -1998.45586, -660.0832727, 1122.575481}},
        {{0, 0, -116.3976784, 0, 0, 0},
         {-0.010413302, 1.063254319, -697.0083441, -1540.288983, -1542.299908, 536.5348869}},
        {{0, 0, 0, -116.4625608, 0, 0},
         {0.000687888, -0.266797539, 0.002799273, -86400.23046, 62.81959263, 69.55595595}},
        {{0, 0, 0, 0, -116.4625608, 0},
         {-0.262339768, 0.133641951, -0.008031187, 195.8926534, -86139.29386, -237.7745886}},
        {{0, 0, 0, 0, 0, -116.4625608},
         {0.207522954, 0.564268206, 0.27274449, 378.5433657, 69.15822443, -45639.25153}},
        {{0, 250.1562034, 0, 0, -250.400616, 0},
         {-1.723916413, 385.1801546, -4.647050437, 4713.770401, -183786.1728, -2922.468144}}};
    struct uf_plate_matrix m;
    memset(&m, 0, sizeof m);
    for (int r = 0; r < 6; r++) {
        m.known[r] = true;
        for (int ch = 0; ch < 6; ch++)
            m.c[r][ch] = c[r][ch] / (r < UF_MX ? 1 : 1000);
    }
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct uf_wrench w;
        wrench_of_volts(&m, rows[i].in, 6, &w);
        const double got[6] = {w.fx_n,         w.fy_n,         w.fz_n,
                               1000 * w.mx_nm, 1000 * w.my_nm, 1000 * w.mz_nm};
        for (int r = 0; r < 6; r++)
            close_to(got[r], rows[i].out[r], r < 3 ? 4e-7 : 7e-5);
    }
}

/* Example B: eight channels, 6 x 8 matrix, sensors 16.33887 mm below the top, plate type 5 (READ in
 * a public reader's test data, its own limits 5e-4 N, 1e-4 N m, 7.5e-4 mm). The plate's axes have
 * z down and C v is the reaction; turned by 180 deg about x it stands in our frame: y and z change
 * sign, of forces, moments and places. */
static void test_eight_channels(void **state)
{
    (void)state;
    static const double c[8][6] = {
        {-1.6121, 0.976148, 105.019852, -19528.01563, -19094.32813, -158.667999},
        {2.450264, 3.797407, 102.728424, -19156.98047, 18638.98242, -155.205994},
        {-1.303078, 0.46725, 103.483261, 19787.05273, -18830.75977, -156.345993},
        {1.663982, 0.631969, 103.279465, 19710.96484, 18588.61719, -156.037994},
        {-1.019092, -49.462944, -0.851459, 0, 0, -13128.5293},
        {49.613453, -1.280832, -0.229795, 0, 0, 13479.35742},
        {-47.475616, 1.225642, -0.148471, 0, 0, 12898.53516},
        {-1.016865, -49.354858, 0.187208, 0, 0, 13099.8418}};
    static const struct {
        double volts[8];
        double force_n[3], moment_nm[3], cop_mm[2]; /* as published: minus C v, z down */
    } rows[] = {
        {{-0.162814, -0.066682, -0.043793, -0.07187, -0.013886, -0.067292, -0.048981, -0.027924},
         {0.934072, -1.613139, 35.874054},
         {-2.173685, -1.354635, 1.668103},
         {37.335437, -59.857415}},
        {{-0.210117, -0.080415, -0.052338, -0.083467, -0.017853, -0.065766, -0.04654, -0.027619},
         {0.936098, -1.685705, 44.33185},
         {-2.962837, -1.947222, 1.547178},
         {43.578775, -66.211856}},
        {{-0.203098, -0.0795, -0.058137, -0.08957, -0.030671, -0.066987, -0.080415, -0.058747},
         {-0.644618, -3.819845, 44.72067},
         {-2.573186, -1.825992, 2.239469},
         {41.066577, -56.143471}}};
    static const double turned[6] = {1, -1, -1, 1, -1, -1};
    struct uf_plate_matrix m;
    memset(&m, 0, sizeof m);
    for (int r = 0; r < 6; r++) {
        m.known[r] = true;
        for (int ch = 0; ch < 8; ch++)
            m.c[r][ch] = turned[r] * c[ch][r] / (r < UF_MX ? 1 : 1000);
    }
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct uf_wrench w;
        wrench_of_volts(&m, rows[i].volts, 8, &w);
        const double got[6] = {w.fx_n, w.fy_n, w.fz_n, w.mx_nm, w.my_nm, w.mz_nm};
        for (int r = 0; r < 3; r++) {
            close_to(got[r], -turned[r] * rows[i].force_n[r], 5e-4);
            close_to(got[3 + r], -turned[3 + r] * rows[i].moment_nm[r], 1e-4);
        }
        struct uf_cop cop;
        uf_cop_of(&w, 16.33887, 25, &cop);
        close_to(cop.x_mm, rows[i].cop_mm[0], 7.5e-4);
        close_to(cop.y_mm, -rows[i].cop_mm[1], 7.5e-4);
        if (i == 0) /* -1672.4048 N mm about the axis that points down (CALC) */
            close_to(cop.tz_nm, 1.6724048, 2e-5);
        /* the depth with the wrong sign would show */
        uf_cop_of(&w, -16.33887, 25, &cop);
        assert_true(fabs(cop.y_mm + rows[i].cop_mm[1]) > 1);
    }
}

/* Example C: plate type 2, wrench at the centre of the top in a frame with z up (READ in a public
 * reader's unit test). The force there is the golfer's on the plate: minus it is ours, and the free
 * moment changes sign with it. */
static void test_cop_and_free_moment(void **state)
{
    (void)state;
    static const double f_n[3] = {0.13992118835449219, 0.046148300170898438, -0.18352508544921872};
    static const double m_nmm[3] = {20.867615272954936, -4.622511359985765, -29.393223381101276};
    struct uf_wrench w = {-f_n[0],          -f_n[1],          -f_n[2],
                          -m_nmm[0] / 1000, -m_nmm[1] / 1000, -m_nmm[2] / 1000};
    struct uf_cop cop;
    uf_cop_of(&w, 0, 0.1, &cop);
    close_to(cop.x_mm, -25.187354353609, 1e-9);
    close_to(cop.y_mm, -113.704430224766, 1e-9);
    close_to(cop.tz_nm, 0.044140528790099872, 1e-15);
    struct uf_plate plate = {.centre_x_mm = 254, .centre_y_mm = 232};
    struct uf_ground g;
    uf_ground_of(&plate, &w, 0.1, &g);
    close_to(g.cop_x_mm, 228.81266090518048, 1e-4); /* corners are single precision there */
    close_to(g.cop_y_mm, 118.29556977523387, 1e-4);
}

/* Example D: a plate that is slightly tilted (READ). Its published free moment, -15.489373 N mm,
 * comes out only after turning the wrench upright; taken as level it is -15.5096 (CALC). Our
 * plates are taken as level, and the wiring notes ask for levelling: this is what a tilt costs. */
static void test_tilted_plate(void **state)
{
    (void)state;
    struct uf_wrench w = {-32.238374685, 158.773701635, 584.266779221,
                          -227.47816512, 121.25184987,  -45.51720904};
    struct uf_cop cop;
    uf_cop_of(&w, 0, 25, &cop);
    close_to(1000 * cop.tz_nm, -15.5096, 1e-3);
    assert_true(fabs(1000 * cop.tz_nm + 15.489373) < 0.03);
}

/* Example F: four vertical and four horizontal outputs, by hand (READ in a public notebook, its
 * data file and its equations; its empirical COP polynomials left out, CALC). Its z points down and
 * its force is the golfer's: ours is minus that, turned by 180 deg about x, so Fx, Mx and the
 * place y change sign, and Fy, Fz, My, Mz do not. Here it is built as a
 * rig: vertical cells at the corners, cells along x midway between 1 and 2 and between 3 and 4,
 * cells along y midway between 1 and 4 and between 2 and 3. */
static void test_separate_cells(void **state)
{
    (void)state;
    enum { A = 120, B = 200 };
    static const struct {
        double x_mm, y_mm; /* ours */
        int axis;
        double volts, sensitivity; /* force = 1000 volts / sensitivity */
        double sign;               /* of the force, in our frame */
    } cells[8] = {{0, -B, 0, -0.045707, 38.117, -1}, {0, B, 0, -0.075820, 37.723, -1},
                  {A, 0, 1, 0.099988, 38.062, 1},    {-A, 0, 1, -0.207852, 38.008, 1},
                  {A, -B, 2, 0.745766, 3.898, 1},    {-A, -B, 2, 0.018508, 3.889, 1},
                  {-A, B, 2, 0.698777, 3.885, 1},    {A, B, 2, 0.236609, 3.891, 1}};
    struct uf_rig rig = {.name = "eight", .plates = 1};
    struct uf_plate *p = &rig.plate[0];
    p->place = UF_PLACE_SINGLE;
    p->size_x_mm = 2 * A + 160;
    p->size_y_mm = 2 * B + 200;
    p->surface_mm = 48;
    p->cells = 8;
    double volts[8];
    for (int i = 0; i < 8; i++) {
        struct uf_cell *c = &p->cell[i];
        c->name[0] = (char)('1' + i);
        c->x_mm = cells[i].x_mm;
        c->y_mm = cells[i].y_mm;
        c->channel[0] = c->channel[1] = c->channel[2] = -1;
        c->channel[cells[i].axis] = i;
        c->n_per_count[cells[i].axis] = cells[i].sign * 1000 / cells[i].sensitivity;
        volts[i] = cells[i].volts;
    }
    struct uf_error err = {0};
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
    struct uf_calibration cal;
    uf_calibration_nominal(&rig, &cal);
    struct uf_wrench w;
    wrench_of_volts(&cal.plate[0], volts, 8, &w);
    close_to(w.fx_n, 3.209038, 5e-7);
    close_to(w.fy_n, -2.841661, 5e-7);
    close_to(w.fz_n, 436.753911, 5e-7);
    close_to(w.mx_nm, 8.919091, 5e-7);
    close_to(w.my_nm, -8.100603, 5e-7);
    close_to(w.mz_nm, 0.809316, 5e-7);
    struct uf_cop cop;
    uf_cop_of(&w, p->surface_mm, 25, &cop);
    close_to(cop.x_mm, 18.8999720, 5e-7);
    close_to(cop.y_mm, 20.1090157, 5e-7);
    close_to(cop.tz_nm, 0.927553615, 5e-9);
}

/* Example G: four vertical cells at the corners of a board (a web answer, READ; CALC). The place is
 * known without any horizontal output, for the top is taken at the cells' height. */
static void test_four_scales(void **state)
{
    (void)state;
    static const double at_cm[4][2] = {{0, 0}, {70, 0}, {0, 80}, {70, 80}};
    static const double force_n[4] = {150, 180, 220, 210};
    struct uf_plate p = {.cells = 4};
    struct uf_cell_matrix k[UF_CELLS_MAX];
    memset(k, 0, sizeof k);
    for (int i = 0; i < 4; i++) {
        p.cell[i].x_mm = 10 * at_cm[i][0];
        p.cell[i].y_mm = 10 * at_cm[i][1];
        p.cell[i].channel[0] = p.cell[i].channel[1] = -1;
        p.cell[i].channel[2] = i;
        k[i].k[2][2] = 1;
    }
    struct uf_plate_matrix m;
    uf_compose_cells(&p, k, &m);
    struct uf_wrench w;
    struct uf_cop cop;
    wrench_of_volts(&m, force_n, 4, &w);
    uf_cop_of(&w, 0, 25, &cop);
    close_to(w.fz_n, 760, 1e-9);
    close_to(cop.x_mm, 359.21053, 5e-6);
    close_to(cop.y_mm, 452.63158, 5e-6);
    assert_true(isnan(cop.tz_nm));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_six_by_six),          cmocka_unit_test(test_eight_channels),
        cmocka_unit_test(test_cop_and_free_moment), cmocka_unit_test(test_tilted_plate),
        cmocka_unit_test(test_separate_cells),      cmocka_unit_test(test_four_scales),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
