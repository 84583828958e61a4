/* SPDX-License-Identifier: MIT
 * The live watch over what no load can make: a golfer's forces never trip it, a dead cell, a loose
 * foot and a weak cell do, and it calms down when they are mended. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "load.h"
#include "plate/monitor.h"
#include "shape.h"
#include "sim_lesson.h"

#include <math.h>
#include <string.h>

#define RATE_HZ  1000
#define WEIGHT_N 800.0

struct scene {
    struct uf_rig rig;
    struct uf_leftover leftover[UF_PLATES_MAX];
    bool known[UF_PLATES_MAX];
    struct uf_monitor monitor;
    double tare_raw[UF_CHANNELS_MAX];
    uint32_t noise;
    void (*fault)(const struct uf_plate *left, double *above_raw); /* NULL: none */
    int changes;
};

/* The six ways of a plate from six loads, made orthonormal. */
static void find_ways(const struct uf_plate *plate, struct uf_leftover *l)
{
    static const double load[UF_COMPONENTS][6] = {{0, 0, 500, 0, 0, 0},   {0, 0, 500, 120, 0, 0},
                                                  {0, 0, 500, 0, 200, 0}, {200, 0, 500, 0, 0, 0},
                                                  {0, 200, 500, 0, 0, 0}, {0, 0, 500, 0, 0, 40}};
    memset(l, 0, sizeof *l);
    l->channels = uf_plate_channels(plate, l->channel);
    for (int i = 0, j = 0; i < plate->cells; i++)
        for (int k = 0; k < 3; k++)
            l->n_per_count[j++] = fabs(plate->cell[i].n_per_count[k]);
    l->reading_pct = 0.05;
    l->noise_n = 0.01;
    for (int w = 0; w < UF_COMPONENTS; w++) {
        int32_t counts[UF_CHANNELS_MAX] = {0};
        double above[UF_CHANNELS_MAX], n[UF_CHANNELS_MAX], rest[UF_CHANNELS_MAX];
        put_load(plate, load[w][0], load[w][1], load[w][2], load[w][3], load[w][4], load[w][5],
                 NULL, counts);
        for (int c = 0; c < UF_CHANNELS_MAX; c++)
            above[c] = counts[c];
        uf_leftover_newtons(l, above, n);
        double length = sqrt(uf_leftover_rest(l, n, rest));
        assert_true(length > 1);
        for (int j = 0; j < l->channels; j++)
            l->way[w][j] = rest[j] / length;
        l->ways = w + 1;
    }
}

static void start(struct scene *s)
{
    memset(s, 0, sizeof *s);
    uf_rig_example(&s->rig);
    for (int p = 0; p < s->rig.plates; p++) {
        find_ways(&s->rig.plate[p], &s->leftover[p]);
        s->known[p] = true;
    }
    for (int c = 0; c < s->rig.channels; c++)
        s->tare_raw[c] = 4000 - 300.0 * c;
    s->noise = 7;
    uf_monitor_start(&s->monitor, &s->rig, s->leftover, s->known);
}

/* One sample: vertical forces with a toe-heel and a sideways couple that follow them. */
static unsigned one(struct scene *s, double left_n, double right_n)
{
    int32_t counts[UF_CHANNELS_MAX] = {0};
    double above[UF_CHANNELS_MAX];
    put_load(&s->rig.plate[0], 0.1 * left_n, -0.15 * left_n, left_n, -10, 60, 0.02 * left_n, NULL,
             counts);
    put_load(&s->rig.plate[1], -0.1 * right_n, 0.15 * right_n, right_n, 20, -50, -0.01 * right_n,
             NULL, counts);
    for (int c = 0; c < s->rig.channels; c++)
        above[c] = counts[c];
    if (s->fault)
        s->fault(&s->rig.plate[0], above);
    for (int c = 0; c < s->rig.channels; c++) {
        s->noise = s->noise * 1664525u + 1013904223u;
        counts[c] = (int32_t)lround(s->tare_raw[c] + above[c]) + (int32_t)(s->noise >> 24) - 128;
    }
    unsigned changed = uf_monitor_feed(&s->monitor, counts, s->tare_raw, RATE_HZ);
    s->changes += changed != 0;
    return changed;
}

static void stand(struct scene *s, double seconds, double left_n, double right_n)
{
    for (int i = 0; i < seconds * RATE_HZ; i++)
        one(s, left_n, right_n);
}

static void swing(struct scene *s)
{
    for (int i = 0; i < 9 * RATE_HZ; i++) {
        double lead, trail;
        shape(swing_shape, sizeof swing_shape / sizeof swing_shape[0], i / 1000.0, &lead, &trail);
        one(s, 1.6 * lead * WEIGHT_N, 1.6 * trail * WEIGHT_N);
    }
}

static void dead_cell(const struct uf_plate *left, double *above_raw)
{
    for (int k = 0; k < 3; k++)
        above_raw[left->cell[2].channel[k]] = 0;
}

/* The foot under cell 1 hangs: the two beside it carry its part, the one across gives as much. */
static void loose_foot(const struct uf_plate *left, double *above_raw)
{
    const struct uf_cell *loose = &left->cell[1];
    double share_n = above_raw[loose->channel[2]] * loose->n_per_count[2];
    for (int i = 0; i < left->cells; i++) {
        const struct uf_cell *c = &left->cell[i];
        bool along = (c->x_mm > 0) == (loose->x_mm > 0),
             across = (c->y_mm > 0) == (loose->y_mm > 0);
        above_raw[c->channel[2]] += (along == across ? -share_n : share_n) / c->n_per_count[2];
    }
}

/* A cell's vertical output at half its gain. Which of the four it is, their one combination cannot
 * tell. */
static void weak_cell(const struct uf_plate *left, double *above_raw)
{
    above_raw[left->cell[3].channel[2]] *= 0.5;
}

static void a_golfer_is_no_fault(void **state)
{
    (void)state;
    struct scene s;
    start(&s);
    stand(&s, 3, 0, 0);
    assert_true(isnan(s.monitor.plate[0].left_n)); /* empty plates say nothing */
    for (int i = 0; i < 3; i++)
        swing(&s);
    assert_int_equal(s.changes, 0);
    assert_true(s.monitor.plate[0].left_n < 0.2 * s.monitor.plate[0].limit_n);
}

/* Walking on, swings with and without a ball, steps, a jump and off again, of several golfers. */
static void simulated_golfers_are_no_fault(void **state)
{
    (void)state;
    for (uint64_t golfer = 1; golfer <= 3; golfer++) {
        struct scene s;
        struct uf_sim_settings settings;
        struct uf_sim_sample sample;
        double most_n = 0;
        unsigned changed = 0;
        start(&s);
        golfer_settings(&settings, golfer);
        settings.perfect = true;
        memset(s.tare_raw, 0, sizeof s.tare_raw);
        struct uf_sim *sim =
            begin(&settings,
                  "empty:1,walk_on,address,ball,no_ball,step_drill,jump,ball,step_off,empty:1");
        while (uf_sim_next(sim, &sample)) {
            changed |= uf_monitor_feed(&s.monitor, sample.counts_raw, s.tare_raw, RATE_HZ);
            for (int p = 0; p < 2; p++)
                most_n = fmax(most_n, s.monitor.plate[p].left_n); /* NAN: not yet */
        }
        uf_sim_free(sim);
        assert_int_equal(changed, 0);
        assert_true(most_n < 0.5);
        assert_true(s.monitor.plate[1].left_n >= 0);
    }
}

/* A swing on a plate that bends under speed: much is left over for a third of a second. */
static void a_short_rest_is_no_fault(void **state)
{
    (void)state;
    struct scene s;
    start(&s);
    for (int i = 0; i < 20; i++) {
        s.fault = NULL;
        stand(&s, 0.5, 400, 400);
        s.fault = dead_cell;
        stand(&s, 0.8, 400, 400);
    }
    assert_int_equal(s.changes, 0);
}

/* What the calibration left over says what is unusual: six times that, growing with the square of
 * loads beyond its own; and at least 2 N. */
static void the_limit_is_the_calibrations(void **state)
{
    (void)state;
    struct scene s;
    double limit_n[3];
    static const double load_n[3] = {400, 800, 1600};
    for (int i = 0; i < 3; i++) {
        start(&s);
        s.leftover[0].reading_pct = 1;
        s.leftover[0].noise_n = 0;
        s.leftover[0].read_n = 130; /* as of about 800 N */
        uf_monitor_start(&s.monitor, &s.rig, s.leftover, s.known);
        stand(&s, 1, load_n[i], 400);
        limit_n[i] = s.monitor.plate[0].limit_n;
        double n[UF_CHANNELS_MAX], above[UF_CHANNELS_MAX], square = 0;
        int32_t counts[UF_CHANNELS_MAX] = {0};
        put_load(&s.rig.plate[0], 0.1 * load_n[i], -0.15 * load_n[i], load_n[i], -10, 60,
                 0.02 * load_n[i], NULL, counts);
        for (int c = 0; c < UF_CHANNELS_MAX; c++)
            above[c] = counts[c];
        uf_leftover_newtons(&s.leftover[0], above, n);
        for (int j = 0; j < 12; j++)
            square += n[j] * n[j];
        double read_n = sqrt(square / 12);
        double want_n = 6 * 0.01 * read_n * (read_n > 130 ? read_n / 130 : 1);
        assert_true(fabs(limit_n[i] - want_n) < 0.02 * want_n);
        assert_true(s.monitor.plate[1].limit_n == 2); /* 0.05 % there */
    }
    assert_true(limit_n[2] > 3 * limit_n[1]);
}

/* cell: -1: any of the plate's. */
static void check_fault(void (*fault)(const struct uf_plate *, double *), int cell)
{
    struct scene s;
    start(&s);
    stand(&s, 3, 400, 400);
    s.fault = fault;
    stand(&s, 3, 400, 400);
    assert_int_equal(s.changes, 1);
    assert_true(s.monitor.plate[0].suspect);
    if (cell >= 0)
        assert_int_equal(s.monitor.plate[0].cell, cell);
    assert_in_range(s.monitor.plate[0].cell, 0, 3);
    assert_false(s.monitor.plate[1].suspect);
    stand(&s, 20, 0, 0); /* he steps off: nothing is known to be mended */
    swing(&s);
    assert_int_equal(s.changes, 1);
    s.fault = NULL;
    stand(&s, 3, 400, 400);
    assert_true(s.monitor.plate[0].suspect);
    stand(&s, 4, 400, 400);
    assert_false(s.monitor.plate[0].suspect);
    assert_int_equal(s.monitor.plate[0].cell, -1);
    assert_int_equal(s.changes, 2);
}

static void faults_are_found(void **state)
{
    (void)state;
    check_fault(dead_cell, 2);
    check_fault(loose_foot, 1);
    check_fault(weak_cell, -1);
}

/* Loads that only pressed down leave a golfer's horizontal forces over. */
static void poor_combinations_are_not_watched(void **state)
{
    (void)state;
    struct scene s;
    start(&s);
    s.leftover[0].ways = 3;
    s.known[1] = false;
    uf_monitor_start(&s.monitor, &s.rig, s.leftover, s.known);
    assert_false(s.monitor.plate[0].watched);
    assert_false(s.monitor.plate[1].watched);
    s.fault = dead_cell;
    stand(&s, 5, 400, 400);
    assert_int_equal(s.changes, 0);
    uf_monitor_start(&s.monitor, &s.rig, NULL, NULL);
    assert_false(s.monitor.plate[0].watched);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_golfer_is_no_fault),
        cmocka_unit_test(simulated_golfers_are_no_fault),
        cmocka_unit_test(a_short_rest_is_no_fault),
        cmocka_unit_test(the_limit_is_the_calibrations),
        cmocka_unit_test(faults_are_found),
        cmocka_unit_test(poor_combinations_are_not_watched),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
