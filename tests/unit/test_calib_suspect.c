/* SPDX-License-Identifier: MIT
 * Wrong sets of loads are named: each test spoils a good session in one way and wants that way, and
 * only that, to be found. */
#include "calib_plate.h"

#include "calib/plan.h"
#include "calib/suspect.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#define LOADS 14

struct session {
    struct uf_rig rig;
    struct uf_load_setup setup;
    struct uf_fit_settings settings;
    struct made_plate made;
    struct made_person person;
    int n;
    struct uf_reading r[LOADS];
};

static void start(struct session *s, uint64_t seed)
{
    struct uf_plan_settings plan;
    struct uf_plan_step step[LOADS];
    const struct made_spread spread = made_usual();
    memset(s, 0, sizeof *s);
    uf_rig_example(&s->rig);
    made_setup(&s->setup, 0.0005);
    uf_fit_defaults(&s->settings);
    uf_plan_defaults(&plan);
    plan.most = LOADS;
    s->n = uf_plan_make(&s->rig.plate[0], 0, &s->setup, &plan, step, NULL);
    assert_int_equal(s->n, LOADS);
    made_build(&s->made, &s->rig.plate[0], &spread, seed);
    made_person(&s->person, &s->setup, &s->made.rng);
    for (int i = 0; i < s->n; i++)
        made_capture(&s->made, &s->person, &step[i].load, &s->r[i]);
}

static void look(struct session *s, struct uf_findings *out)
{
    struct uf_error err = {0, ""};
    struct uf_fit *fit;
    memset(out, 0, sizeof *out);
    if (uf_fit_best(&fit, NULL, &s->rig, 0, &s->setup, s->r, s->n, &s->settings, &err) != UF_OK ||
        uf_suspect(&s->rig, 0, &s->setup, s->r, NULL, s->n, &s->settings, 24, fit, out, &err) !=
            UF_OK)
        fail_msg("%s", err.text);
    uf_fit_free(fit);
}

/* Exactly one grave finding, of that kind, with that word in it. */
static void expect(struct session *s, enum uf_finding_kind kind, const char *word)
{
    struct uf_findings f;
    int grave = 0;
    look(s, &f);
    for (int i = 0; i < f.n; i++) {
        if (!f.finding[i].grave)
            continue;
        if (f.finding[i].kind != kind || !strstr(f.finding[i].text, word))
            fail_msg("wanted kind %d with \"%s\", got kind %d: %s", (int)kind, word,
                     (int)f.finding[i].kind, f.finding[i].text);
        grave++;
    }
    if (grave != 1)
        fail_msg("wanted one grave finding of kind %d (\"%s\"), got %d of %d", (int)kind, word,
                 grave, f.n);
}

static void swap(struct session *s, int a, int b)
{
    for (int i = 0; i < s->n; i++) {
        double t = s->r[i].above_raw[a];
        s->r[i].above_raw[a] = s->r[i].above_raw[b];
        s->r[i].above_raw[b] = t;
    }
}

static void good_sessions_pass(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 6; seed++) {
        struct session s;
        struct uf_findings f;
        start(&s, seed);
        look(&s, &f);
        for (int i = 0; i < f.n; i++)
            fail_msg("seed %d: %s", (int)seed, f.finding[i].text);
    }
}

static void swapped_cables(void **state)
{
    (void)state;
    static const int pair[][2] = {{2, 8}, {1, 7}, {2, 4}};
    for (size_t i = 0; i < sizeof pair / sizeof pair[0]; i++) {
        struct session s;
        char word[16];
        start(&s, 20 + i);
        swap(&s, pair[i][0], pair[i][1]);
        snprintf(word, sizeof word, "channel %d ", pair[i][1]);
        expect(&s, UF_FINDING_SWAPPED, word);
    }
}

static void swapped_cells(void **state)
{
    (void)state;
    struct session s;
    start(&s, 31);
    for (int k = 0; k < 3; k++)
        swap(&s, 3 + k, 9 + k);
    expect(&s, UF_FINDING_SWAPPED, "cells 2 and 4");
}

static void swapped_axis(void **state)
{
    (void)state;
    struct session s;
    start(&s, 32); /* one cell's x and y */
    swap(&s, 6, 7);
    expect(&s, UF_FINDING_SWAPPED, "x of cell 3");
    start(&s, 33); /* all cells' */
    for (int c = 0; c < 4; c++)
        swap(&s, 3 * c, 3 * c + 1);
    expect(&s, UF_FINDING_SWAPPED, "x and y outputs of all cells");
}

static void mirrored_plate(void **state)
{
    (void)state;
    struct session s;
    start(&s, 41);
    for (int i = 0; i < s.n; i++) {
        s.r[i].load.x_mm = -s.r[i].load.x_mm;
        s.r[i].load.towards_deg = 180 - s.r[i].load.towards_deg;
    }
    expect(&s, UF_FINDING_MIRRORED, "mirrored left to right");
    start(&s, 42);
    for (int i = 0; i < s.n; i++) {
        s.r[i].load.y_mm = -s.r[i].load.y_mm;
        s.r[i].load.towards_deg = -s.r[i].load.towards_deg;
    }
    expect(&s, UF_FINDING_MIRRORED, "mirrored front to back");
    start(&s, 43);
    for (int i = 0; i < s.n; i++) {
        s.r[i].load.x_mm = -s.r[i].load.x_mm;
        s.r[i].load.y_mm = -s.r[i].load.y_mm;
        s.r[i].load.towards_deg += 180;
    }
    expect(&s, UF_FINDING_MIRRORED, "180 degrees");
}

static void reversed_signs(void **state)
{
    (void)state;
    struct session s;
    start(&s, 51);
    for (int i = 0; i < s.n; i++)
        s.r[i].above_raw[5] = -s.r[i].above_raw[5];
    expect(&s, UF_FINDING_REVERSED, "channel 5");
    start(&s, 52);
    for (int i = 0; i < s.n; i++)
        for (int ch = 0; ch < 12; ch++)
            s.r[i].above_raw[ch] = -s.r[i].above_raw[ch];
    expect(&s, UF_FINDING_REVERSED, "all channels");
}

static void wrong_units(void **state)
{
    (void)state;
    struct session s;
    start(&s, 61);
    for (int w = 0; w < s.setup.weights; w++) {
        s.setup.weight[w].mass_kg *= 9.80665;
        s.setup.weight[w].tolerance_kg *= 9.80665;
    }
    expect(&s, UF_FINDING_UNIT, "newtons");
    start(&s, 62);
    for (int w = 0; w < s.setup.weights; w++) {
        s.setup.weight[w].mass_kg /= 0.45359237;
        s.setup.weight[w].tolerance_kg /= 0.45359237;
    }
    expect(&s, UF_FINDING_UNIT, "pounds");
    start(&s, 63);
    for (int i = 0; i < s.n; i++) {
        s.r[i].load.x_mm /= 10;
        s.r[i].load.y_mm /= 10;
    }
    expect(&s, UF_FINDING_UNIT, "centimetres");
}

static void dead_channel(void **state)
{
    (void)state;
    struct session s;
    start(&s, 71);
    for (int i = 0; i < s.n; i++)
        s.r[i].above_raw[5] = 0.3 * (i % 2);
    expect(&s, UF_FINDING_DEAD, "channel 5 (z of cell 2");
    start(&s, 72); /* stuck at a value that is not zero: no noise */
    for (int i = 0; i < s.n; i++)
        s.r[i].noise_raw[3] = 0;
    expect(&s, UF_FINDING_DEAD, "channel 3 (x of cell 2");
}

static void saturated_channel(void **state)
{
    (void)state;
    struct session s;
    start(&s, 73);
    s.r[4].zero_raw[8] = 8388000 - s.r[4].above_raw[8];
    expect(&s, UF_FINDING_RAIL, "channel 8 (z of cell 3, left plate) is at the end");
}

static int vertical_load(const struct session *s)
{
    int i = 0;
    while (s->r[i].load.kind != UF_LOAD_VERTICAL || s->r[i].load.x_mm == 0)
        i++;
    return i;
}

static void leaning_person(void **state)
{
    (void)state;
    struct session s;
    start(&s, 81);
    int at = vertical_load(&s);
    double raw[UF_CHANNELS_MAX] = {0}, lean[6] = {4, -3, 60, 60 * 0.25, 60 * 0.15, 0};
    made_read(&s.made, lean, raw);
    for (int ch = 0; ch < 12; ch++) {
        s.r[at].above_raw[ch] += raw[ch];
        s.r[at].noise_raw[ch] *= 12; /* nobody stands like a weight */
    }
    char word[64];
    snprintf(word, sizeof word, "load %d does not belong", at + 1);
    expect(&s, UF_FINDING_LOAD, word);
    expect(&s, UF_FINDING_LOAD, "lean on the plate");
}

static void wrong_weight(void **state)
{
    (void)state;
    struct session s;
    start(&s, 82);
    int at = vertical_load(&s);
    /* written down: all four; there lay the two of 20 kg and the one of 5 */
    struct uf_load wrong = s.r[at].load;
    assert_int_equal(wrong.pieces, 4);
    struct uf_load really = wrong;
    int kept = 0;
    for (int i = 0; i < wrong.pieces; i++)
        if (s.setup.weight[wrong.piece[i]].mass_kg != 10)
            really.piece[kept++] = wrong.piece[i];
    really.pieces = kept;
    made_capture(&s.made, &s.person, &really, &s.r[at]);
    s.r[at].load = wrong;
    expect(&s, UF_FINDING_LOAD, "\"A\" and \"B\" and \"D\" would fit");
}

static void wrong_place(void **state)
{
    (void)state;
    struct session s;
    start(&s, 83);
    int at = vertical_load(&s);
    struct uf_load wrong = s.r[at].load, really = wrong;
    really.x_mm = -wrong.x_mm;
    made_capture(&s.made, &s.person, &really, &s.r[at]);
    s.r[at].load = wrong;
    expect(&s, UF_FINDING_LOAD, "see whether its place");
}

static void unidentified_components(void **state)
{
    (void)state;
    struct session s;
    struct uf_findings f;
    start(&s, 91);
    int kept = 0;
    for (int i = 0; i < s.n; i++)
        if (s.r[i].load.kind == UF_LOAD_VERTICAL)
            s.r[kept++] = s.r[i];
    s.n = kept;
    look(&s, &f);
    assert_int_equal(f.n, 1);
    assert_int_equal(f.finding[0].kind, UF_FINDING_WEAK);
    assert_non_null(strstr(f.finding[0].text, "Fx, Fy, Mz of the left plate are not identified"));
    assert_non_null(strstr(f.finding[0].text, "two pulls along x at different y"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(good_sessions_pass),
                                       cmocka_unit_test(swapped_cables),
                                       cmocka_unit_test(swapped_cells),
                                       cmocka_unit_test(swapped_axis),
                                       cmocka_unit_test(mirrored_plate),
                                       cmocka_unit_test(reversed_signs),
                                       cmocka_unit_test(wrong_units),
                                       cmocka_unit_test(dead_channel),
                                       cmocka_unit_test(saturated_channel),
                                       cmocka_unit_test(leaning_person),
                                       cmocka_unit_test(wrong_weight),
                                       cmocka_unit_test(wrong_place),
                                       cmocka_unit_test(unidentified_components)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
