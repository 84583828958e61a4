/* SPDX-License-Identifier: MIT
 * Plate matrices composed from cells, against statics written out anew, and the JSON form. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "plate/calibration.h"
#include "plate/wrench.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double number(void)
{
    return 2.0 * rand() / RAND_MAX - 1;
}

/* Four vertical corner cells, and horizontal ones at the places given: x outputs, then y outputs.
 */
static bool knows_turn(const double x_at_mm[][2], int n_x, const double y_at_mm[][2], int n_y)
{
    struct uf_plate plate = {.cells = 4 + n_x + n_y};
    struct uf_cell_matrix cells[UF_CELLS_MAX];
    memset(cells, 0, sizeof cells);
    for (int i = 0; i < plate.cells; i++) {
        struct uf_cell *c = &plate.cell[i];
        int axis = i < 4 ? 2 : i < 4 + n_x ? 0 : 1;
        c->x_mm = i < 4 ? (i % 2 ? 150 : -150) : axis == 0 ? x_at_mm[i - 4][0] : 0;
        c->y_mm = i < 4 ? (i / 2 ? 200 : -200) : axis == 0 ? x_at_mm[i - 4][1] : 0;
        if (axis == 1) {
            c->x_mm = y_at_mm[i - 4 - n_x][0];
            c->y_mm = y_at_mm[i - 4 - n_x][1];
        }
        c->channel[0] = c->channel[1] = c->channel[2] = -1;
        c->channel[axis] = i;
        cells[i].k[axis][axis] = 1e-3;
    }
    struct uf_plate_matrix m;
    uf_compose_cells(&plate, cells, &m);
    assert_true(m.known[UF_FX] && m.known[UF_FY] && m.known[UF_FZ]);
    return m.known[UF_MZ];
}

/* A moment about z is seen only where the horizontal lines of action do not meet in one point. */
static void test_turn_needs_lines_apart(void **state)
{
    (void)state;
    static const double x_left[][2] = {{-150, 0}}, x_corner[][2] = {{-150, 180}};
    static const double y_on_a_line[][2] = {{0, -200}, {0, 200}};
    static const double y_apart[][2] = {{-150, 0}, {150, 0}};
    static const double x_pair[][2] = {{0, -200}, {0, 200}}, y_one[][2] = {{150, 0}};
    assert_false(knows_turn(x_left, 1, y_on_a_line, 2));   /* all through the middle */
    assert_false(knows_turn(x_corner, 1, y_on_a_line, 2)); /* all through (0, 180) */
    assert_true(knows_turn(x_left, 1, y_apart, 2));
    assert_true(knows_turn(x_pair, 2, y_one, 1));
    assert_false(knows_turn(x_left, 1, y_one, 1)); /* two lines always meet */
}

static void absurd(const struct uf_rig *rig, const struct uf_calibration *cal, const char *words)
{
    struct uf_error err;
    assert_int_equal(uf_calibration_plausible(rig, cal, &err), UF_EINVAL);
    if (!strstr(err.text, words))
        fail_msg("\"%s\" does not say \"%s\"", err.text, words);
}

static void test_absurd_calibrations(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_calibration good, bad;
    uf_calibration_nominal(&rig, &good);
    assert_int_equal(uf_calibration_plausible(&rig, &good, NULL), UF_OK);
    int ch = rig.plate[1].cell[2].channel[2];
    bad = good;
    bad.plate[1].c[UF_FZ][ch] *= -1;
    absurd(&rig, &bad, "the sign is turned round");
    bad = good;
    bad.plate[1].c[UF_FZ][ch] = 0;
    absurd(&rig, &bad, "right plate, cell 3");
    bad = good;
    for (int c = 0; c < 24; c++)
        bad.plate[0].c[UF_FZ][c] /= 9.81; /* kg for N */
    absurd(&rig, &bad, "0.102 times");
    bad = good;
    for (int c = 0; c < 24; c++)
        bad.plate[0].c[UF_MX][c] *= 1000;
    absurd(&rig, &bad, "not N mm");
    bad = good; /* a component that is not known is no fault */
    bad.plate[0].known[UF_MX] = false;
    bad.plate[0].c[UF_MX][0] = 1e30;
    assert_int_equal(uf_calibration_plausible(&rig, &bad, NULL), UF_OK);
}

/* Cells anywhere, turned anyhow, with cross-talk: the wrench of random counts is the sum of each
 * cell's turned force and r x F. */
static void test_compose(void **state)
{
    (void)state;
    srand(3);
    for (int round = 0; round < 200; round++) {
        struct uf_plate plate = {.cells = 6};
        struct uf_cell_matrix cells[UF_CELLS_MAX];
        double counts[UF_CHANNELS_MAX], want[6] = {0};
        int ch = 47;
        for (int i = 0; i < plate.cells; i++) {
            struct uf_cell *c = &plate.cell[i];
            c->x_mm = 300 * number();
            c->y_mm = 300 * number();
            c->z_mm = 40 * number();
            c->turn_deg = 180 * number();
            double f[3] = {0};
            for (int k = 0; k < 3; k++) {
                c->channel[k] = ch;
                counts[ch] = 1e5 * number();
                for (int r = 0; r < 3; r++) {
                    cells[i].k[r][k] = 1e-3 * number();
                    f[r] += cells[i].k[r][k] * counts[ch];
                }
                ch--;
            }
            double a = c->turn_deg * acos(-1) / 180;
            double fx = cos(a) * f[0] - sin(a) * f[1], fy = sin(a) * f[0] + cos(a) * f[1];
            double x = c->x_mm * 1e-3, y = c->y_mm * 1e-3, z = c->z_mm * 1e-3;
            double w[6] = {fx, fy, f[2], y * f[2] - z * fy, z * fx - x * f[2], x * fy - y * fx};
            for (int r = 0; r < 6; r++)
                want[r] += w[r];
        }
        struct uf_plate_matrix m;
        uf_compose_cells(&plate, cells, &m);
        for (int r = 0; r < UF_COMPONENTS; r++) {
            double got = 0;
            for (int k = 0; k < UF_CHANNELS_MAX; k++) {
                if (k <= ch)
                    assert_true(m.c[r][k] == 0);
                else
                    got += m.c[r][k] * counts[k];
            }
            assert_true(m.known[r]);
            assert_true(fabs(got - want[r]) < 1e-9);
        }
    }
}

static void expect_known(const struct uf_plate *p, const char *want)
{
    static const char names[] = "xyzXYZ";
    struct uf_cell_matrix cells[UF_CELLS_MAX];
    struct uf_plate_matrix m;
    for (int i = 0; i < UF_CELLS_MAX; i++)
        for (int k = 0; k < 9; k++)
            cells[i].k[k / 3][k % 3] = 1e-3 * (k + 1);
    uf_compose_cells(p, cells, &m);
    for (int r = 0; r < UF_COMPONENTS; r++) {
        assert_int_equal(m.known[r], strchr(want, names[r]) != NULL);
        for (int ch = 0; !m.known[r] && ch < UF_CHANNELS_MAX; ch++)
            assert_true(m.c[r][ch] == 0);
    }
}

/* What no cell measures is not known, and neither is a moment that rests on it. */
static void test_known(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    struct uf_plate *p = &rig.plate[0];
    expect_known(p, "xyzXYZ");
    for (int i = 0; i < 4; i++)
        p->cell[i].channel[0] = -1;
    expect_known(p, "yzXY"); /* Mz rests on Fx; My does not, for the cells lie at z = 0 */
    p->cell[1].z_mm = 4;
    expect_known(p, "yzX");
    p->cell[2].turn_deg = 30; /* this y output now sees x too */
    expect_known(p, "xyzXYZ");
    p->cell[2].turn_deg = 0;
    for (int i = 0; i < 4; i++)
        p->cell[i].turn_deg = 90; /* all y outputs measure along -x */
    expect_known(p, "xzY");
    for (int i = 0; i < 4; i++) {
        p->cell[i].turn_deg = 0;
        p->cell[i].channel[1] = -1;
    }
    p->cell[1].z_mm = 0;
    expect_known(p, "zXY"); /* four bathroom-scale cells */
    for (int i = 0; i < 4; i++)
        p->cell[i].channel[2] = -1;
    expect_known(p, "");
}

static void test_nominal(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration cal;
    uf_rig_example(&rig);
    rig.plate[1].cell[0].n_per_count[2] = -3e-4;
    rig.plate[1].cell[0].channel[0] = -1;
    rig.plate[1].cell[0].n_per_count[0] = 7; /* of no output */
    uf_calibration_nominal(&rig, &cal);
    assert_true(cal.nominal);
    assert_int_equal(cal.plates, 2);
    assert_string_equal(cal.uuid, "");
    assert_true(cal.plate[0].c[UF_FZ][2] == 4e-4);
    assert_true(cal.plate[0].c[UF_FX][0] == 2e-4);
    assert_true(cal.plate[0].c[UF_MX][2] == -0.25 * 4e-4);
    assert_true(cal.plate[0].c[UF_MY][2] == 0.16 * 4e-4); /* cell 1 lies at x = -160 mm */
    assert_true(cal.plate[0].c[UF_MZ][0] == 0.25 * 2e-4);
    assert_true(cal.plate[1].c[UF_FZ][14] == -3e-4);
    for (int r = 0; r < UF_COMPONENTS; r++)
        for (int ch = 0; ch < 12; ch++) {
            assert_true(cal.plate[1].c[r][ch] == 0);
            assert_true(cal.plate[0].c[r][12 + ch] == 0);
            assert_true(cal.plate[1].c[r][12] == 0);
        }
}

/* ---- JSON ---- */

static void round_trip(const struct uf_rig *rig, const struct uf_calibration *cal)
{
    json_t *json = uf_calibration_to_json(rig, cal);
    assert_non_null(json);
    char *text = json_dumps(json, JSON_REAL_PRECISION(17) | JSON_COMPACT);
    json_decref(json);
    json = json_loads(text, 0, NULL);
    free(text);
    assert_non_null(json);
    struct uf_calibration back;
    struct uf_error err = {0};
    memset(&back, 0xee, sizeof back);
    int rc = uf_calibration_from_json(rig, json, &back, &err);
    json_decref(json);
    if (rc)
        print_error("%s\n", err.text);
    assert_int_equal(rc, UF_OK);
    assert_string_equal(back.uuid, cal->uuid);
    assert_string_equal(back.name, cal->name);
    assert_int_equal(back.nominal, cal->nominal);
    assert_int_equal(back.plates, cal->plates);
    for (int p = 0; p < rig->plates; p++) {
        assert_memory_equal(back.plate[p].c, cal->plate[p].c, sizeof back.plate[p].c);
        assert_memory_equal(back.plate[p].known, cal->plate[p].known, sizeof back.plate[p].known);
        assert_int_equal(back.plate[p].curved, cal->plate[p].curved);
        assert_memory_equal(back.plate[p].curve, cal->plate[p].curve, sizeof back.plate[p].curve);
    }
}

static void test_json_round_trip(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration cal;
    uf_rig_example(&rig);
    uf_calibration_nominal(&rig, &cal);
    round_trip(&rig, &cal);
    strcpy(cal.uuid, "0b9c7e1a-12ab-4cde-8f01-23456789abcd");
    strcpy(cal.name, "bay 2, \"spring\" \xc3\xa9t\xc3\xa9");
    cal.nominal = false;
    srand(5);
    for (int round = 0; round < 100; round++) {
        for (int p = 0; p < 2; p++)
            for (int r = 0; r < UF_COMPONENTS; r++)
                for (int ch = 0; ch < 12; ch++)
                    cal.plate[p].c[r][12 * p + ch] = ldexp(number(), rand() % 60 - 50);
        round_trip(&rig, &cal);
    }
    cal.plate[1].known[UF_FX] = cal.plate[1].known[UF_MZ] = false;
    memset(cal.plate[1].c[UF_FX], 0, sizeof cal.plate[1].c[UF_FX]);
    memset(cal.plate[1].c[UF_MZ], 0, sizeof cal.plate[1].c[UF_MZ]);
    round_trip(&rig, &cal);
    cal.plate[1].curved = true;
    for (int ch = 12; ch < 24; ch++)
        cal.plate[1].curve[ch] = 1e-10 * number();
    round_trip(&rig, &cal);
    cal.plate[0].c[UF_FY][3] = NAN;
    assert_null(uf_calibration_to_json(&rig, &cal));
}

static void test_json_cells(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_calibration nominal, cal;
    struct uf_error err;
    uf_rig_example(&rig);
    for (int p = 0; p < 2; p++) {
        rig.plate[p].cells = 3;
        rig.plate[p].cell[2].channel[0] = -1;
    }
    uf_calibration_nominal(&rig, &nominal);
    const char *cells = "[{\"cell\":\"3\",\"matrix\":[[0,0,0],[0,2e-4,0],[0,0,4e-4]]},"
                        "{\"cell\":\"1\",\"matrix\":[[2e-4,0,0],[0,2e-4,0],[0,0,4e-4]]},"
                        "{\"cell\":\"2\",\"matrix\":[[2e-4,0,0],[0,2e-4,0],[0,0,4e-4]]}]";
    char text[1000];
    snprintf(text, sizeof text,
             "{\"name\":\"n\",\"plates\":[{\"plate\":\"right\",\"cells\":%s},{\"plate\":\"left\","
             "\"cells\":%s}]}",
             cells, cells);
    json_t *json = json_loads(text, 0, NULL);
    assert_int_equal(uf_calibration_from_json(&rig, json, &cal, &err), UF_OK);
    json_decref(json);
    for (int p = 0; p < 2; p++)
        assert_memory_equal(&cal.plate[p], &nominal.plate[p], sizeof cal.plate[p]);
    assert_false(cal.nominal);
    assert_string_equal(cal.name, "n");
}

static struct uf_rig small;

static void refused(const char *text, const char *sentence)
{
    json_error_t where;
    json_t *json = json_loads(text, JSON_DECODE_ANY, &where);
    if (!json)
        print_error("%s: %s\n", text, where.text);
    assert_non_null(json);
    struct uf_calibration cal, before;
    memset(&cal, 0xee, sizeof cal);
    before = cal;
    struct uf_error err = {0};
    int rc = uf_calibration_from_json(&small, json, &cal, &err);
    json_decref(json);
    if (rc != UF_EINVAL || strncmp(err.text, sentence, strlen(sentence)))
        print_error("%s\n-> %d %s\nnot %s\n", text, rc, err.text, sentence);
    assert_int_equal(rc, UF_EINVAL);
    assert_memory_equal(err.text, sentence, strlen(sentence));
    assert_memory_equal(&cal, &before, sizeof cal);
}

/* The plate entry inside a calibration of the small rig. */
static void plate_refused(const char *entry, const char *sentence)
{
    char text[1000];
    snprintf(text, sizeof text, "{\"plates\":[%s]}", entry);
    refused(text, sentence);
}

#define CELL(name) "{\"cell\":\"" name "\",\"matrix\":[[0,0,0],[0,0,0],[0,0,1]]}"
#define ROW        "[0,1,2]"

/* Counts above the zero become a + curve a^2 before the matrix; straight channels keep their bits.
 */
static void test_curve(void **state)
{
    (void)state;
    struct uf_plate_matrix m = {.known = {true, true, true, true, true, true}};
    int32_t counts_raw[2] = {1001000, -502000};
    const double tare_raw[2] = {1000, -2000}, above_raw[2] = {1000000, -500000};
    struct uf_wrench straight, curved, mean;
    m.c[UF_FZ][0] = 1e-3;
    m.c[UF_FX][1] = 2e-3;
    uf_wrench_of(&m, counts_raw, tare_raw, 2, &straight);
    assert_true(straight.fz_n == 1e-3 * 1000000);
    m.curve[0] = 1e-8;
    m.curve[1] = -4e-8;
    uf_wrench_of(&m, counts_raw, tare_raw, 2, &curved);
    assert_memory_equal(&curved, &straight, sizeof straight); /* not said to be curved */
    m.curved = true;
    uf_wrench_of(&m, counts_raw, tare_raw, 2, &curved);
    uf_wrench_of_mean(&m, above_raw, 2, &mean);
    assert_true(fabs(curved.fz_n - 1e-3 * (1000000 + 1e-8 * 1e12)) < 1e-9);
    assert_true(fabs(curved.fx_n - 2e-3 * (-500000 - 4e-8 * 25e10)) < 1e-9);
    assert_memory_equal(&mean, &curved, sizeof mean);
}

static void test_json_mistakes(void **state)
{
    (void)state;
    uf_rig_example(&small);
    small.plates = 1;
    small.plate[0].place = UF_PLACE_SINGLE;
    small.plate[0].cells = 3;
    for (int i = 0; i < 3; i++) {
        small.plate[0].cell[i].channel[0] = small.plate[0].cell[i].channel[1] = -1;
        small.plate[0].cell[i].channel[2] = i;
    }
    struct uf_error err;
    assert_int_equal(uf_rig_check(&small, &err), UF_OK);

    refused("[]", "the calibration is not a JSON object");
    refused("{}", "the calibration has no list \"plates\"");
    plate_refused(
        "{\"plate\":\"single\",\"channels\":[0,1,2],\"matrix\":[" ROW "," ROW "," ROW "," ROW
        "," ROW "," ROW "],\"curve\":[0,1e-9]}",
        "the calibration's plate single: \"curve\" must be a list of a number for each of");
    plate_refused(
        "{\"plate\":\"single\",\"channels\":[0,1,2],\"matrix\":[" ROW "," ROW "," ROW "," ROW
        "," ROW "," ROW "],\"curve\":[0,1e-9,0.01]}",
        "the calibration's plate single: entry 3 of \"curve\" is not a number of at most");
    refused("{\"plates\":[]}",
            "the calibration has no entry for the single plate of the rig \"exa");
    refused("{\"name\": \"two\\nlines\", \"plates\": []}",
            "the calibration's \"name\" holds a control character");
    refused("{\"uuid\":5,\"plates\":[]}", "the calibration's \"uuid\" must be text of at most 36");
    refused("{\"uuid\":\"0b9c7e1a-12ab-4cde-8f01-23456789abc\",\"plates\":[]}",
            "the calibration's \"uuid\" is \"0b9c7e1a-12ab-4cde-8f01-23456789abc\", not a UUID");
    refused("{\"nominal\":1,\"plates\":[]}", "the calibration's \"nominal\" must be true or false");
    plate_refused("5", "an entry of the calibration's \"plates\" is for \"\", and the rig");
    plate_refused(
        "{\"plate\":\"left\"}",
        "an entry of the calibration's \"plates\" is for \"left\", and the rig \"example\" "
        "has no such plate");
    plate_refused("{\"plate\":\"single\",\"cells\":[" CELL("1") "," CELL("2") "," CELL(
                      "3") "]},"
                           "{\"plate\":\"single\"}",
                  "the calibration's plate single is given twice");
    plate_refused("{\"plate\":\"single\",\"cells\":{}}",
                  "the calibration's plate single: \"cells\" must be a list");
    plate_refused(
        "{\"plate\":\"single\",\"cells\":[" CELL("1") "," CELL("9") "]}",
        "the calibration's plate single: entry 2 of \"cells\" names no cell of this plate "
        "(\"9\"); the rig has 3 cells there");
    plate_refused("{\"plate\":\"single\",\"cells\":[" CELL("1") "," CELL("1") "]}",
                  "the calibration's plate single, cell 1 is given twice");
    plate_refused("{\"plate\":\"single\",\"cells\":[" CELL("1") "," CELL("3") "]}",
                  "the calibration's plate single has no matrix for cell 2");
    plate_refused(
        "{\"plate\":\"single\",\"cells\":[{\"cell\":\"1\",\"matrx\":[]}]}",
        "the calibration's plate single, cell 1 has a field \"matrx\" that means nothing");
    plate_refused("{\"plate\":\"single\",\"cells\":[{\"cell\":\"1\",\"matrix\":[[1,2,3]]}]}",
                  "the calibration's plate single, cell 1: \"matrix\" must be a list of 3 rows");
    plate_refused(
        "{\"plate\":\"single\",\"cells\":[{\"cell\":\"1\",\"matrix\":[[1,2,3],[1,2],3]}]}",
        "the calibration's plate single, cell 1: row 2 of \"matrix\" must be a list of 3");
    plate_refused("{\"plate\":\"single\",\"cells\":[{\"cell\":\"1\",\"matrix\":[[0,0,1],[0,0,1],"
                  "[0,null,1]]}]}",
                  "the calibration's plate single, cell 1: row 3, column 2 of \"matrix\" is not a "
                  "number");
    plate_refused(
        "{\"plate\":\"single\",\"cells\":[{\"cell\":\"1\",\"matrix\":[[0,0,1],[0,0,1],"
        "[0,1e-3,1]]}]}",
        "the calibration's plate single, cell 1: column 2 of \"matrix\" must be 0, for the "
        "cell has no y output");
    plate_refused(
        "{\"plate\":\"single\"}",
        "the calibration's plate single: \"channels\" must be a list of 1 to 48 channels");
    plate_refused(
        "{\"plate\":\"single\",\"channels\":[0,1,3]}",
        "the calibration's plate single: entry 3 of \"channels\" is not a channel of this "
        "plate in this rig");
    plate_refused("{\"plate\":\"single\",\"channels\":[0,1.0]}",
                  "the calibration's plate single: entry 2 of \"channels\" is not");
    plate_refused("{\"plate\":\"single\",\"channels\":[-1]}",
                  "the calibration's plate single: entry 1 of \"channels\" is not");
    plate_refused("{\"plate\":\"single\",\"channels\":[0,1,0]}",
                  "the calibration's plate single: channel 0 is given twice");
    plate_refused("{\"plate\":\"single\",\"channels\":[0,1,2],\"matrix\":[" ROW "," ROW "]}",
                  "the calibration's plate single: \"matrix\" must be a list of 6 rows");
    plate_refused(
        "{\"plate\":\"single\",\"channels\":[0,1,2],\"matrix\":[" ROW "," ROW "," ROW "," ROW
        "," ROW ",[0,1]]}",
        "the calibration's plate single: row 6 of \"matrix\" must be a list of 3 numbers");
    plate_refused("{\"plate\":\"single\",\"channels\":[0,1,2],\"matrix\":[" ROW "," ROW "," ROW
                  "," ROW "," ROW "," ROW "],\"unknown\":[\"Fx\",\"Fw\"]}",
                  "the calibration's plate single: entry 2 of \"unknown\" is none of Fx, Fy, Fz");
    plate_refused("{\"plate\":\"single\",\"channels\":[0,1,2],\"matrix\":[" ROW "," ROW "," ROW
                  "," ROW "," ROW "," ROW "],\"unknown\":\"Fx\"}",
                  "the calibration's plate single: \"unknown\" must be a list");
    plate_refused("{\"plate\":\"single\",\"channels\":[0],\"matrix\":[],\"unkown\":[]}",
                  "the calibration's plate single has a field \"unkown\" that means nothing");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_compose),
        cmocka_unit_test(test_turn_needs_lines_apart),
        cmocka_unit_test(test_absurd_calibrations),
        cmocka_unit_test(test_known),
        cmocka_unit_test(test_nominal),
        cmocka_unit_test(test_json_round_trip),
        cmocka_unit_test(test_json_cells),
        cmocka_unit_test(test_curve),
        cmocka_unit_test(test_json_mistakes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
