/* SPDX-License-Identifier: MIT
 * What a calibration's errors make of the numbers of a swing: closed forms for patterns whose
 * effect is known by hand, and a Monte Carlo run over wrong matrices (JCGM 101) as judge. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "table.h"

#include "plate/matrix_error.h"

#include <string.h>

/* The entry of a plate without error patterns; its ways are not told. */
static json_t *entry_of(const struct uf_plate *plate)
{
    int channel[UF_CHANNELS_MAX], n = uf_plate_channels(plate, channel);
    json_t *channels = json_array(), *scales = json_array();
    for (int i = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++)
            json_array_append_new(scales, json_real(fabs(plate->cell[i].n_per_count[k])));
    for (int j = 0; j < n; j++)
        json_array_append_new(channels, json_integer(channel[j]));
    return json_pack("{s:s, s:o, s:[], s:{s:o, s:[], s:n, s:f}}", "plate",
                     uf_place_name(plate->place), "channels", channels, "error_patterns",
                     "leftover", "n_per_count", scales, "ways", "reading_pct", "noise_n", 0.01);
}

/* to[6][channels of the board]: a pattern more. */
static void add_pattern(json_t *entry, const struct uf_plate *plate,
                        double p[UF_COMPONENTS][UF_CHANNELS_MAX])
{
    int channel[UF_CHANNELS_MAX], n = uf_plate_channels(plate, channel);
    json_t *rows = json_array();
    for (int r = 0; r < UF_COMPONENTS; r++) {
        json_t *row = json_array();
        for (int j = 0; j < n; j++)
            json_array_append_new(row, json_real(p[r][channel[j]]));
        json_array_append_new(rows, row);
    }
    json_array_append_new(json_object_get(entry, "error_patterns"), rows);
}

static struct uf_analysis *analyse(struct table *t)
{
    struct uf_analysis *a;
    struct uf_error err;
    for (int p = 0; p < 2; p++)
        t->given.system.plate[p].matrix = t->cal.error[p].patterns ? &t->cal.error[p] : NULL;
    if (uf_analyse_given(t->capture, &t->rig, &t->cal, &t->settings, &t->given, &a, &err))
        fail_msg("%s", err.text);
    return a;
}

/* part: of the value. What noise, the low-pass and the moments add is taken off by `without`. */
static void sd_is(const struct uf_analysis *with, const struct uf_analysis *without,
                  enum uf_metric m, double want, double part)
{
    double got = sqrt(with->sd[m] * with->sd[m] - without->sd[m] * without->sd[m]);
    if (!(fabs(got - want) <= part * want + 1e-9))
        fail_msg("%s: standard uncertainty %g, wanted %g", uf_metric_row(m)->name, got, want);
}

static void by_hand(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct uf_analysis *none = analyse(&t), *a;
    double p[UF_COMPONENTS][UF_CHANNELS_MAX], plate_n = WEIGHT_N / 2;
    const struct uf_plate *lead = &t.rig.plate[0];

    /* all gains of the lead foot's plate by 0.5 % */
    json_t *entry = entry_of(lead);
    for (int r = 0; r < UF_COMPONENTS; r++)
        for (int c = 0; c < UF_CHANNELS_MAX; c++)
            p[r][c] = 0.005 * t.cal.plate[0].c[r][c];
    add_pattern(entry, lead, p);
    assert_true(uf_matrix_error_from_json(entry, lead, &t.cal.plate[0], &t.cal.error[0]));
    assert_int_equal(t.cal.error[0].patterns, 1);
    a = analyse(&t);
    sd_is(a, none, UF_M_weight_n, 0.005 * plate_n, 1e-3);
    sd_is(a, none, UF_M_lead_vertical_peak_n, 0.005 * a->value[UF_M_lead_vertical_peak_n], 1e-3);
    /* share of the trail foot: 100 T / (T + L), changes by -share * L / (L + T) * 0.005 */
    double share = a->value[UF_M_trail_share_address_pct];
    sd_is(a, none, UF_M_trail_share_address_pct, share * 0.005 * (1 - share / 100), 5e-3);
    /* a COP is a quotient of both */
    sd_is(a, none, UF_M_lead_cop_target_at_lead_vertical_peak_mm, 0, 0);
    uf_analysis_free(a);

    /* besides, a moment My of 2 mm times Fz: the COP lies wrong by 2 mm in x at any load. A second
     * pattern of the very same kind and 1.5 mm makes it 2.5 mm */
    memset(p, 0, sizeof p);
    for (int c = 0; c < UF_CHANNELS_MAX; c++)
        p[UF_MY][c] = 0.002 * t.cal.plate[0].c[UF_FZ][c];
    add_pattern(entry, lead, p);
    for (int c = 0; c < UF_CHANNELS_MAX; c++)
        p[UF_MY][c] *= 0.75;
    add_pattern(entry, lead, p);
    assert_true(uf_matrix_error_from_json(entry, lead, &t.cal.plate[0], &t.cal.error[0]));
    assert_int_equal(t.cal.error[0].patterns, 2);
    a = analyse(&t);
    sd_is(a, none, UF_M_lead_cop_target_at_lead_vertical_peak_mm, 2.5, 1e-3);
    sd_is(a, none, UF_M_lead_vertical_peak_n, 0.005 * a->value[UF_M_lead_vertical_peak_n], 1e-3);
    uf_analysis_free(a);

    /* 1 % of the reading of each channel, independent: a quarter of the load on each of four cells
     * gives half of 1 %; the place adds what it adds */
    json_array_clear(json_object_get(entry, "error_patterns"));
    memset(p, 0, sizeof p);
    add_pattern(entry, lead, p);
    json_object_set_new(entry, "reading_pct", json_real(1));
    assert_true(uf_matrix_error_from_json(entry, lead, &t.cal.plate[0], &t.cal.error[0]));
    double square = 0, a_mm = fabs(lead->cell[0].x_mm), b_mm = fabs(lead->cell[0].y_mm);
    for (int i = 0; i < 4; i++) {
        double carried = 0.25 + usual.lead_x_mm / (4 * a_mm) * (lead->cell[i].x_mm > 0 ? 1 : -1) +
                         usual.lead_y_mm / (4 * b_mm) * (lead->cell[i].y_mm > 0 ? 1 : -1);
        square += carried * carried;
    }
    a = analyse(&t);
    sd_is(a, none, UF_M_weight_n, 0.01 * plate_n * sqrt(square), 0.02);
    uf_analysis_free(a);
    json_decref(entry);
    uf_analysis_free(none);
    uf_capture_free(t.capture);
}

/* Ways that say that one cell hardly carries: its error hardly counts. With the answer of least
 * norm it would count as a quarter. */
static void ways_say_who_carries(void **state)
{
    (void)state;
    struct table t;
    set_table(&t);
    struct uf_plate *plate = &t.rig.plate[0];
    for (int i = 0; i < plate->cells; i++)
        plate->cell[i].channel[0] = plate->cell[i].channel[1] = -1;
    uf_calibration_nominal(&t.rig, &t.cal);
    /* four vertical outputs; a load in the middle is carried by the cells of one diagonal, one
     * along x or y by all: orthonormal rows */
    static const double ways[3][4] = {{0, M_SQRT1_2, 0, M_SQRT1_2}, {0}, {0}};
    json_t *entry = entry_of(plate), *channels = json_array(), *scales = json_array();
    json_t *rows = json_array();
    double at[4][2], v[3][4];
    for (int j = 0; j < 4; j++) {
        at[j][0] = plate->cell[j].x_mm;
        at[j][1] = plate->cell[j].y_mm;
        json_array_append_new(channels, json_integer(plate->cell[j].channel[2]));
        json_array_append_new(scales, json_real(fabs(plate->cell[j].n_per_count[2])));
    }
    memcpy(v[0], ways[0], sizeof v[0]);
    for (int w = 1; w < 3; w++) { /* x and y of the cells, made orthogonal to what is before */
        double size = 0;
        for (int j = 0; j < 4; j++)
            v[w][j] = at[j][w - 1];
        for (int b = 0; b < w; b++) {
            double along = 0;
            for (int j = 0; j < 4; j++)
                along += v[w][j] * v[b][j];
            for (int j = 0; j < 4; j++)
                v[w][j] -= along * v[b][j];
        }
        for (int j = 0; j < 4; j++)
            size += v[w][j] * v[w][j];
        for (int j = 0; j < 4; j++)
            v[w][j] /= sqrt(size);
    }
    for (int w = 0; w < 3; w++)
        json_array_append_new(rows, json_pack("[f, f, f, f]", v[w][0], v[w][1], v[w][2], v[w][3]));
    json_object_set_new(entry, "channels", channels);
    json_object_set_new(json_object_get(entry, "leftover"), "n_per_count", scales);
    json_object_set_new(json_object_get(entry, "leftover"), "ways", rows);
    double p[UF_COMPONENTS][UF_CHANNELS_MAX] = {{0}};
    int first = plate->cell[0].channel[2];
    p[UF_FZ][first] = 0.01 * t.cal.plate[0].c[UF_FZ][first]; /* 1 % of cell 1 */
    add_pattern(entry, plate, p);
    assert_true(uf_matrix_error_from_json(entry, plate, &t.cal.plate[0], &t.cal.error[0]));
    assert_int_equal(t.cal.error[0].patterns, 1);
    assert_float_equal(t.cal.error[0].pattern[0][UF_FZ][UF_FZ], 0, 1e-9);
    assert_float_equal(t.cal.error[0].pattern[0][UF_FX][UF_FZ], 0, 0);
    json_object_set_new(json_object_get(entry, "leftover"), "ways", json_array());
    assert_true(uf_matrix_error_from_json(entry, plate, &t.cal.plate[0], &t.cal.error[0]));
    assert_float_equal(fabs(t.cal.error[0].pattern[0][UF_FZ][UF_FZ]), 0.0025, 1e-9);
    json_decref(entry);
    uf_capture_free(t.capture);
}

static void what_does_not_fit_is_not_known(void **state)
{
    (void)state;
    struct table t;
    struct uf_matrix_error e;
    struct uf_system_u u;
    set_table(&t);
    double p[UF_COMPONENTS][UF_CHANNELS_MAX] = {{0}};
    json_t *entry = entry_of(&t.rig.plate[0]);
    assert_false(uf_matrix_error_from_json(NULL, &t.rig.plate[0], &t.cal.plate[0], &e));
    assert_false(uf_matrix_error_from_json(entry, &t.rig.plate[0], &t.cal.plate[0], &e));
    p[UF_FX][0] = 1e-6;
    add_pattern(entry, &t.rig.plate[0], p);
    assert_false(uf_matrix_error_from_json(entry, &t.rig.plate[1], &t.cal.plate[1], &e));
    assert_true(uf_matrix_error_from_json(entry, &t.rig.plate[0], &t.cal.plate[0], &e));
    json_t *row = json_array_get(json_array_get(json_object_get(entry, "error_patterns"), 0), 0);
    json_array_set_new(row, 0, json_null());
    assert_false(uf_matrix_error_from_json(entry, &t.rig.plate[0], &t.cal.plate[0], &e));
    json_array_set_new(row, 0, json_real(1e300));
    assert_false(uf_matrix_error_from_json(entry, &t.rig.plate[0], &t.cal.plate[0], &e));
    assert_int_equal(e.patterns, 0);
    json_array_set_new(row, 0, json_real(1e-6));

    /* one plate of two: the other keeps what is assumed */
    json_t *provenance = json_pack("{s:[O, {s:s, s:s}]}", "plates", entry, "plate", "right",
                                   "taken_from", "data sheet");
    uf_matrix_error_all(provenance, &t.rig, &t.cal);
    assert_int_equal(t.cal.error[0].patterns, 1);
    assert_int_equal(t.cal.error[1].patterns, 0);
    uf_system_u_defaults(&t.cal, &u);
    assert_ptr_equal(u.plate[0].matrix, &t.cal.error[0]);
    assert_null(u.plate[1].matrix);
    assert_true(u.plate[1].error[UF_FZ][UF_FZ] > 0);
    uf_matrix_error_all(NULL, &t.rig, &t.cal);
    assert_int_equal(t.cal.error[0].patterns, 0);
    json_decref(provenance);
    json_decref(entry);
    uf_capture_free(t.capture);
}

#define DRAWS    60
#define PATTERNS 9

static double normal(uint64_t *seed)
{
    double sum = 0;
    for (int k = 0; k < 12; k++) {
        *seed ^= *seed >> 12;
        *seed ^= *seed << 25;
        *seed ^= *seed >> 27;
        sum += (double)((*seed * 0x2545F4914F6CDD1Du) >> 11) * 0x1p-53;
    }
    return sum - 6;
}

/* Errors of every channel in every row, shared by channels in PATTERNS ways: a matrix drawn from
 * them is wrong in ways that no table of 36 independent elements can say. The spread of each
 * number over such matrices is its stated uncertainty; 60 draws know a spread to 9 %: three of
 * these and a half are allowed. */
static void monte_carlo_agrees(void **state)
{
    (void)state;
    static const enum uf_metric judged[] = {UF_M_weight_n,
                                            UF_M_trail_share_address_pct,
                                            UF_M_lead_vertical_peak_n,
                                            UF_M_total_vertical_peak_bw,
                                            UF_M_target_peak_n,
                                            UF_M_lead_heel_peak_n,
                                            UF_M_turn_peak_nm,
                                            UF_M_trail_share_min_pct,
                                            UF_M_lead_cop_target_at_lead_vertical_peak_mm,
                                            UF_M_lead_cop_toe_at_lead_vertical_peak_mm};
    enum { JUDGED = sizeof judged / sizeof judged[0] };
    static double p[2][PATTERNS][UF_COMPONENTS][UF_CHANNELS_MAX];
    struct table t;
    set_table(&t);
    struct uf_analysis *none = analyse(&t);
    uint64_t seed = 0x9876543u;
    for (int plate = 0; plate < 2; plate++) {
        json_t *entry = entry_of(&t.rig.plate[plate]);
        for (int i = 0; i < PATTERNS; i++) {
            for (int c = 0; c < UF_CHANNELS_MAX; c++) {
                double gain = 0.004 * normal(&seed), lever_m = 0.0005 * normal(&seed);
                for (int r = 0; r < UF_COMPONENTS; r++)
                    p[plate][i][r][c] = gain * t.cal.plate[plate].c[r][c] +
                                        (r >= UF_MX ? lever_m * t.cal.plate[plate].c[UF_FZ][c] : 0);
            }
            add_pattern(entry, &t.rig.plate[plate], p[plate][i]);
        }
        assert_true(uf_matrix_error_from_json(entry, &t.rig.plate[plate], &t.cal.plate[plate],
                                              &t.cal.error[plate]));
        assert_in_range(t.cal.error[plate].patterns, 6, PATTERNS);
        json_decref(entry);
    }
    struct uf_analysis *stated = analyse(&t);
    double sum[JUDGED] = {0}, square[JUDGED] = {0};
    for (int d = 0; d < DRAWS; d++) {
        struct table wrong = t;
        memset(wrong.cal.error, 0, sizeof wrong.cal.error);
        for (int plate = 0; plate < 2; plate++)
            for (int i = 0; i < PATTERNS; i++) {
                double z = normal(&seed);
                for (int r = 0; r < UF_COMPONENTS; r++)
                    for (int c = 0; c < UF_CHANNELS_MAX; c++)
                        wrong.cal.plate[plate].c[r][c] += z * p[plate][i][r][c];
            }
        struct uf_analysis *a = analyse(&wrong);
        for (int i = 0; i < JUDGED; i++) {
            double off = a->value[judged[i]] - stated->value[judged[i]];
            sum[i] += off;
            square[i] += off * off;
        }
        uf_analysis_free(a);
    }
    for (int i = 0; i < JUDGED; i++) {
        double sd = sqrt((square[i] - sum[i] * sum[i] / DRAWS) / (DRAWS - 1));
        double with = stated->sd[judged[i]], without = none->sd[judged[i]];
        double ratio = sd / sqrt(with * with - without * without);
        if (!(ratio > 0.68 && ratio < 1.32))
            fail_msg("%s: spread %g, stated %g", uf_metric_row(judged[i])->name, sd, sd / ratio);
    }
    uf_analysis_free(stated);
    uf_analysis_free(none);
    uf_capture_free(t.capture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(by_hand),
        cmocka_unit_test(ways_say_who_carries),
        cmocka_unit_test(what_does_not_fit_is_not_known),
        cmocka_unit_test(monte_carlo_agrees),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
