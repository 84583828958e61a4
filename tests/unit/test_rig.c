/* SPDX-License-Identifier: MIT
 * Rig descriptions: each thing that cannot be has its own sentence. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "plate/rig.h"

#include <math.h>
#include <string.h>

static void refused(struct uf_rig *rig, const char *part, int at_plate, int at_cell)
{
    struct uf_error err = {0};
    int plate, cell;
    assert_int_equal(uf_rig_check(rig, &err), UF_EINVAL);
    if (!strstr(err.text, part))
        print_error("\"%s\" lacks \"%s\"\n", err.text, part);
    assert_non_null(strstr(err.text, part));
    assert_int_equal(err.code, UF_EINVAL);
    assert_int_equal(uf_rig_check_at(rig, &plate, &cell, NULL), UF_EINVAL);
    assert_int_equal(plate, at_plate);
    assert_int_equal(cell, at_cell);
    uf_rig_example(rig);
}

static void test_example(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_error err;
    uf_rig_example(&rig);
    rig.channels = 0;
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
    assert_int_equal(rig.channels, 24);
    assert_int_equal(rig.plates, 2);
    for (int p = 0; p < 2; p++) {
        assert_int_equal(rig.plate[p].cells, 4);
        assert_true(rig.plate[p].size_x_mm == 400 && rig.plate[p].size_y_mm == 600);
    }
    /* the origin lies midway, and cell i of the right plate mirrors cell i of the left one */
    assert_true(rig.plate[0].centre_x_mm == -rig.plate[1].centre_x_mm);
    for (int i = 0; i < 4; i++) {
        assert_true(rig.plate[0].cell[i].x_mm == -rig.plate[1].cell[i].x_mm);
        assert_true(rig.plate[0].cell[i].y_mm == rig.plate[1].cell[i].y_mm);
    }
}

static void test_cells(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    rig.plate[0].cell[1].x_mm = 201;
    refused(&rig, "cell 2 of the left plate: its place 201, -250 mm is outside the plate of 400 x",
            0, 1);
    rig.plate[1].cell[3].y_mm = -301;
    refused(&rig, "cell 4 of the right plate: its place 160, -301 mm is outside", 1, 3);
    rig.plate[1].cell[0].x_mm = NAN;
    refused(&rig, "cell 1 of the right plate: its place or its turn is not a number", 1, 0);
    rig.plate[0].cell[2].turn_deg = INFINITY;
    refused(&rig, "cell 3 of the left plate: its place or its turn is not a number", 0, 2);
    rig.plate[0].cell[2].channel[1] = 48;
    refused(&rig, "cell 3 of the left plate: its y output is on channel 48; channels are 0 to 47",
            0, 2);
    rig.plate[0].cell[2].n_per_count[1] = 0;
    refused(&rig, "cell 3 of the left plate: its y output has a channel but no scale", 0, 2);
    rig.plate[0].cell[2].n_per_count[0] = NAN;
    refused(&rig, "cell 3 of the left plate: its x output has a channel but no scale", 0, 2);
    rig.plate[0].cell[2].rated_n[2] = -1;
    refused(&rig, "cell 3 of the left plate: the rated load of its z output is -1 N", 0, 2);
    for (int k = 0; k < 3; k++)
        rig.plate[0].cell[2].channel[k] = -1;
    refused(&rig, "cell 3 of the left plate has no channel", 0, 2);
    strcpy(rig.plate[1].cell[3].name, "1");
    refused(&rig, "the right plate has two cells with the name 1", 1, 3);
    /* no channel: the scale does not matter */
    struct uf_error err;
    rig.plate[0].cell[2].channel[1] = -1;
    rig.plate[0].cell[2].n_per_count[1] = 0;
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
}

static void test_plates(void **state)
{
    (void)state;
    struct uf_rig rig;
    uf_rig_example(&rig);
    rig.plate[0].size_x_mm = 0;
    refused(&rig, "the left plate: its size is 0 x 600 mm; both must be above 0", 0, -1);
    rig.plate[1].size_y_mm = -600;
    refused(&rig, "the right plate: its size is 400 x -600 mm", 1, -1);
    rig.plate[1].size_y_mm = NAN;
    refused(&rig, "the right plate: its size is 400 x nan mm", 1, -1);
    rig.plate[0].surface_mm = -1;
    refused(&rig, "the left plate: surface_mm is -1", 0, -1);
    rig.plate[0].rated_n = -5;
    refused(&rig, "the left plate: its rated load is -5 N", 0, -1);
    rig.plate[1].centre_y_mm = NAN;
    refused(&rig, "the right plate: its centre or its rotation is not a number", 1, -1);
    rig.plate[0].cells = 0;
    refused(&rig, "the left plate has 0 cells; it can have 1 to 12", 0, -1);
    rig.plate[1].cells = UF_CELLS_MAX + 1;
    refused(&rig, "the right plate has 13 cells; it can have 1 to 12", 1, -1);
    rig.plates = 0;
    refused(&rig, "the rig has 0 plates", -1, -1);
    rig.plates = 3;
    refused(&rig, "the rig has 3 plates", -1, -1);
    rig.plates = 1;
    refused(&rig, "the rig has only a left plate: add the other one, or call it single", -1, -1);
}

static void test_vertical_outputs(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_error err;
    uf_rig_example(&rig);
    for (int i = 0; i < 4; i++)
        rig.plate[1].cell[i].channel[2] = -1;
    refused(&rig, "the right plate has no vertical output", 1, -1);
    /* on a line, though not along an axis */
    for (int i = 0; i < 4; i++) {
        rig.plate[0].cell[i].x_mm = -150 + 100 * i;
        rig.plate[0].cell[i].y_mm = 10 + 40 * i;
    }
    refused(&rig, "the left plate: its vertical outputs lie on one line", 0, -1);
    for (int i = 0; i < 4; i++)
        rig.plate[0].cell[i].x_mm = rig.plate[0].cell[i].y_mm = 0;
    refused(&rig, "the left plate: its vertical outputs lie on one line", 0, -1);
    rig.plate[0].cell[2].channel[2] = rig.plate[0].cell[3].channel[2] = -1;
    refused(&rig, "the left plate: its vertical outputs lie on one line (or are fewer than three)",
            0, -1);
    /* three are enough, and so is a small triangle; cells without z don't count */
    rig.plate[0].cell[3].channel[2] = -1;
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
    rig.plate[0].cell[0].x_mm = 0;
    rig.plate[0].cell[0].y_mm = 0;
    rig.plate[0].cell[1].x_mm = 100;
    rig.plate[0].cell[1].y_mm = 0;
    rig.plate[0].cell[2].x_mm = 50;
    rig.plate[0].cell[2].y_mm = 0.5;
    refused(&rig, "lie on one line", 0, -1);
}

static void test_channels(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_error err;
    uf_rig_example(&rig);
    rig.plate[1].cell[1].channel[0] = 5;
    refused(&rig,
            "channel 5 is given twice: to z of cell 2 of the left plate and to x of cell 2 "
            "of the right plate",
            1, 1);
    rig.plate[0].cell[0].channel[1] = 0;
    refused(&rig, "channel 0 is given twice: to x of cell 1 of the left plate and to y of cell 1",
            0, 0);
    rig.plate[0].cell[0].channel[1] = 47;
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
    assert_int_equal(rig.channels, 48);
}

static void test_pair(void **state)
{
    (void)state;
    struct uf_rig rig;
    struct uf_error err;
    uf_rig_example(&rig);
    rig.plate[0].centre_x_mm = 210;
    rig.plate[1].centre_x_mm = -210;
    refused(&rig,
            "the left plate (centre at x = 210 mm) does not lie left of the right one (x = "
            "-210 mm)",
            1, -1);
    rig.plate[0].place = UF_PLACE_RIGHT;
    rig.plate[1].place = UF_PLACE_LEFT;
    refused(&rig, "has a left and a right one, not right and left", 1, -1);
    rig.plate[0].place = UF_PLACE_SINGLE;
    refused(&rig, "has a left and a right one, not single and right", 1, -1);
    rig.plate[0].centre_x_mm = -189; /* 400 wide each: 399 apart */
    refused(&rig, "the left and the right plate overlap", 1, -1);
    rig.plate[0].centre_x_mm = -190; /* edge on edge */
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
    rig.plate[0].rotation_deg = 3; /* its corner now reaches over */
    refused(&rig, "the left and the right plate overlap", 1, -1);
    rig.plate[0].rotation_deg = 10; /* toes turned out: more room is needed, and there is */
    rig.plate[1].rotation_deg = -10;
    rig.plate[0].centre_x_mm = -260;
    rig.plate[1].centre_x_mm = 260;
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
    /* boxes around them cross, but they do not: a diagonal gap */
    rig.plate[0].rotation_deg = rig.plate[1].rotation_deg = 45;
    rig.plate[0].centre_x_mm = -145;
    rig.plate[1].centre_x_mm = 145;
    rig.plate[0].centre_y_mm = -145;
    rig.plate[1].centre_y_mm = 145;
    assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
    rig.plate[0].centre_y_mm = 145;
    refused(&rig, "overlap", 1, -1);
    /* only one side of one of the two shows the gap: each in turn */
    for (int turned = 0; turned < 2; turned++)
        for (int side = -1; side <= 1; side += 2) {
            rig.plate[0].size_y_mm = rig.plate[1].size_y_mm = 400;
            for (int p = 0; p < 2; p++)
                for (int i = 0; i < 4; i++)
                    rig.plate[p].cell[i].y_mm *= 0.5;
            rig.plate[turned].rotation_deg = 45;
            rig.plate[1].centre_x_mm = 150;
            rig.plate[1].centre_y_mm = side * 360; /* 482.8 mm apart along the diagonal at least */
            rig.plate[0].centre_x_mm = -180;
            assert_int_equal(uf_rig_check(&rig, &err), UF_OK);
            rig.plate[0].centre_x_mm = -170;
            rig.plate[1].centre_y_mm = side * 340;
            refused(&rig, "overlap", 1, -1);
        }
}

static void test_turn(void **state)
{
    (void)state;
    static const struct {
        double deg, cos, sin;
    } exact[] = {{0, 1, 0},     {90, 0, 1},   {-90, 0, -1}, {180, -1, 0},
                 {-180, -1, 0}, {270, 0, -1}, {-270, 0, 1}, {360, 1, 0}};
    for (size_t i = 0; i < sizeof exact / sizeof exact[0]; i++) {
        struct uf_turn t = uf_turn_of(exact[i].deg);
        assert_true(t.cos == exact[i].cos && t.sin == exact[i].sin);
    }
    for (double deg = -360; deg <= 360; deg += 0.37) {
        struct uf_turn t = uf_turn_of(deg), back = uf_turn_of(-deg);
        assert_true(fabs(t.cos - cos(deg * acos(-1) / 180)) < 1e-14);
        assert_true(fabs(t.sin - sin(deg * acos(-1) / 180)) < 1e-14);
        assert_true(t.cos == back.cos && t.sin == -back.sin);
    }
}

static void test_names(void **state)
{
    (void)state;
    assert_string_equal(uf_place_name(UF_PLACE_LEFT), "left");
    assert_string_equal(uf_place_name(UF_PLACE_RIGHT), "right");
    assert_string_equal(uf_place_name(UF_PLACE_SINGLE), "single");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_example),  cmocka_unit_test(test_cells),
        cmocka_unit_test(test_plates),   cmocka_unit_test(test_vertical_outputs),
        cmocka_unit_test(test_channels), cmocka_unit_test(test_pair),
        cmocka_unit_test(test_turn),     cmocka_unit_test(test_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
