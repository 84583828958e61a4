/* SPDX-License-Identifier: MIT
 * Deriving again: the same bits for the same key, a new row beside the old one otherwise, damage
 * told apart from difference. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "store/derivation.h"
#include "stored_swing.h"

struct bay {
    struct place *place;
    struct uf_store *s;
    struct studio t;
};

static int set_up(void **state)
{
    struct bay *b = calloc(1, sizeof *b);
    b->place = place_new();
    b->s = open_store(b->place, UF_STORE_CREATE);
    studio_set_up(&b->t, b->s);
    *state = b;
    return 0;
}

static int tear_down(void **state)
{
    struct bay *b = *state;
    uf_store_close(b->s);
    place_free(b->place);
    free(b);
    return 0;
}

static void rederive(struct bay *b, const int64_t *which, size_t n, int64_t since_us,
                     const struct uf_analysis_settings *settings, int64_t made, int64_t same)
{
    struct uf_rederive_counts c;
    struct uf_error err;
    if (uf_store_rederive(b->s, which, n, since_us, settings, 5000000, &c, &err))
        fail_msg("%s", err.text);
    assert_int_equal(c.made, made);
    assert_int_equal(c.same, same);
    assert_int_equal(c.differ, 0);
    assert_int_equal(c.failed, 0);
    assert_int_equal(c.swings, made + same);
}

/* Ids, values and reasons of everything derived, as one text. */
static char *everything(struct uf_store *s)
{
    sqlite3_str *out = sqlite3_str_new(uf_store_db(s));
    static const char *const queries[] = {"SELECT * FROM derivation", "SELECT * FROM swing_metric",
                                          "SELECT * FROM swing_metric_null",
                                          "SELECT * FROM swing_event"};
    for (size_t i = 0; i < sizeof queries / sizeof queries[0]; i++) {
        sqlite3_stmt *q;
        assert_int_equal(sqlite3_prepare_v2(uf_store_db(s), queries[i], -1, &q, NULL), SQLITE_OK);
        while (sqlite3_step(q) == SQLITE_ROW)
            for (int c = 0; c < sqlite3_column_count(q); c++) {
                if (sqlite3_column_type(q, c) == SQLITE_FLOAT) {
                    double v = sqlite3_column_double(q, c);
                    uint64_t bits;
                    memcpy(&bits, &v, sizeof bits);
                    sqlite3_str_appendf(out, "%llx,", (unsigned long long)bits);
                } else {
                    const char *text = (const char *)sqlite3_column_text(q, c);
                    sqlite3_str_appendf(out, "%s,", text ? text : "NULL");
                }
            }
        sqlite3_finalize(q);
    }
    return sqlite3_str_finish(out);
}

static void same_bits(void **state)
{
    struct bay *b = *state;
    add_swing(&b->t, b->s, 800, true, 1000);
    add_swing(&b->t, b->s, 612.3, false, 1100);
    char *before = everything(b->s);
    rederive(b, NULL, 0, 0, &b->t.settings, 0, 2);
    uf_store_close(b->s); /* and from another process's point of view */
    b->s = open_store(b->place, UF_STORE_WRITE);
    rederive(b, NULL, 0, INT64_MIN, &b->t.settings, 0, 2);
    char *after = everything(b->s);
    assert_string_equal(before, after);
    sqlite3_free(before);
    sqlite3_free(after);
}

static int64_t add_calibration(struct bay *b, double gain, const char *name)
{
    struct uf_calibration cal = b->t.nominal;
    int64_t id;
    struct uf_error err;
    cal.nominal = false;
    snprintf(cal.name, sizeof cal.name, "%s", name);
    for (int p = 0; p < cal.plates; p++)
        for (int k = 0; k < UF_COMPONENTS; k++)
            for (int c = 0; c < UF_CHANNELS_MAX; c++)
                cal.plate[p].c[k][c] *= gain;
    if (uf_store_calibration_add(b->s, b->t.rig_id, &b->t.rig, &cal, NULL, 1, &id, &err))
        fail_msg("%s", err.text);
    return id;
}

static void activate(struct bay *b, int64_t id)
{
    assert_int_equal(uf_store_calibration_activate(b->s, id, NULL), 0);
}

/* By the calendar, at the swing's own time: derived again later, it is not older. */
static void the_age_of_a_calibration(void **state)
{
    struct bay *b = *state;
    int64_t id = add_calibration(b, 1, "from 1970");
    activate(b, id);
    add_swing(&b->t, b->s, 800, true, 100 * 86400.0);
    add_swing(&b->t, b->s, 800, true, 400 * 86400.0);
    rederive(b, NULL, 0, INT64_MIN, &b->t.settings, 2, 0);
    struct uf_swing_row row;
    for (int64_t swing = 1; swing <= 2; swing++) {
        assert_int_equal(uf_store_swing_row(b->s, swing, &row, NULL), 0);
        assert_int_equal((row.derived.flags & UF_FLAG_OLD) != 0, swing == 2);
    }
    struct uf_analysis_settings patient = b->t.settings;
    patient.old_days = 500; /* a setting: another derivation, and the first one stays */
    rederive(b, NULL, 0, INT64_MIN, &patient, 2, 0);
    rederive(b, NULL, 0, INT64_MIN, &patient, 0, 2);
    assert_int_equal(uf_store_swing_row(b->s, 2, &row, NULL), 0);
    assert_false(row.derived.flags & UF_FLAG_OLD);
    rederive(b, NULL, 0, INT64_MIN, &b->t.settings, 0, 2);
    assert_int_equal(uf_store_swing_row(b->s, 2, &row, NULL), 0);
    assert_true(row.derived.flags & UF_FLAG_OLD);
}

static void a_new_calibration_makes_new_rows(void **state)
{
    struct bay *b = *state;
    add_swing(&b->t, b->s, 800, true, 1000);
    int64_t two = add_calibration(b, 1.02, "heavier");
    activate(b, two);
    rederive(b, NULL, 0, 0, &b->t.settings, 1, 0);
    struct uf_swing_row row;
    struct uf_error err;
    assert_int_equal(uf_store_swing_row(b->s, 1, &row, &err), 0);
    assert_string_equal(row.calibration, "heavier");
    assert_true(fabs(row.derived.value[UF_M_weight_n] - 816) < 0.5);
    assert_int_equal(row.made_utc_us, 5000000);
    assert_false(row.derived.flags & UF_FLAG_NOMINAL);
    /* the old numbers are still there, and not the current ones */
    assert_int_equal(number(b->s, "SELECT count(*) FROM derivation JOIN swing_metric"
                                  " ON derivation_id = id WHERE current = 0"
                                  " AND abs(weight_n - 800) < 0.5 AND calibration_id IS NULL"),
                     1);
    assert_int_equal(number(b->s, "SELECT count(*) FROM swings"), 1);
    rederive(b, NULL, 0, 0, &b->t.settings, 0, 1);
    /* back and forth makes no further rows */
    int64_t three = add_calibration(b, 0.99, "lighter");
    activate(b, three);
    rederive(b, NULL, 0, 0, &b->t.settings, 1, 0);
    activate(b, two);
    rederive(b, NULL, 0, 0, &b->t.settings, 0, 1);
    assert_int_equal(uf_store_swing_row(b->s, 1, &row, &err), 0);
    assert_string_equal(row.calibration, "heavier");
    assert_int_equal(number(b->s, "SELECT count(*) FROM derivation"), 3);
    assert_int_equal(number(b->s, "SELECT sum(current) FROM derivation"), 1);
}

static void other_settings_make_new_rows(void **state)
{
    struct bay *b = *state;
    add_swing(&b->t, b->s, 800, true, 1000);
    struct uf_analysis_settings s = b->t.settings;
    s.cutoff_hz = 30.1;
    rederive(b, NULL, 0, 0, &s, 1, 0);
    rederive(b, NULL, 0, 0, &s, 0, 1);
    s.order = 4;
    rederive(b, NULL, 0, 0, &s, 1, 0);
    s.cop_min_n = 40;
    rederive(b, NULL, 0, 0, &s, 1, 0);
    run_sql(b->s, "UPDATE derivation SET algorithm = 0 WHERE current = 1");
    rederive(b, NULL, 0, 0, &s, 1, 0);
    assert_int_equal(number(b->s, "SELECT count(*) FROM derivation"), 5);
}

static void some_of_them(void **state)
{
    struct bay *b = *state;
    for (int i = 1; i <= 4; i++)
        add_swing(&b->t, b->s, 800, true, 1000.0 * i);
    rederive(b, (int64_t[]){2, 4}, 2, 0, &b->t.settings, 0, 2);
    rederive(b, NULL, 0, 3000000000, &b->t.settings, 0, 2);
    rederive(b, NULL, 0, 9000000000, &b->t.settings, 0, 0);
    struct uf_rederive_counts c;
    struct uf_error err;
    assert_int_equal(uf_store_rederive(b->s, (int64_t[]){1, 9}, 2, 0, &b->t.settings, 1, &c, &err),
                     UF_ENOTFOUND);
    assert_int_equal(c.swings, 0); /* nothing was done before the list was checked */
}

#define LOSE_TURN                                                                                  \
    "UPDATE swing_metric SET turn_peak_nm = NULL;"                                                 \
    "INSERT INTO swing_metric_null VALUES (1, 'turn_peak_nm', 'gap')"

/* Each kind of stored row, touched by hand, is seen, counted and kept. */
static void differences_are_counted_and_not_overwritten(void **state)
{
    struct bay *b = *state;
    add_swing(&b->t, b->s, 800, false, 1000);
    static const char *const touches[] = {
        "UPDATE swing_metric SET weight_n = weight_n * (1 + 3e-16)",
        LOSE_TURN,
        "UPDATE swing_metric_null SET reason = 'gap' WHERE metric = 'turn_peak_to_impact_ms'",
        "UPDATE swing_event SET t_s = t_s + 0.001 WHERE kind = 'still_again'",
        "DELETE FROM swing_event WHERE kind = 'still_again'",
        "UPDATE derivation SET flags = flags + 1",
    };
    for (size_t i = 0; i < sizeof touches / sizeof touches[0]; i++) {
        run_sql(b->s, "SAVEPOINT clean");
        run_sql(b->s, touches[i]);
        char *before = everything(b->s);
        run_sql(b->s, "RELEASE clean");
        struct uf_rederive_counts c;
        struct uf_error err;
        assert_int_equal(uf_store_rederive(b->s, NULL, 0, 0, &b->t.settings, 1, &c, &err), 0);
        if (c.differ != 1 || c.same != 0 || c.made != 0)
            fail_msg("%s was not seen", touches[i]);
        char *after = everything(b->s);
        assert_string_equal(before, after);
        sqlite3_free(before);
        sqlite3_free(after);
        run_sql(b->s, "DELETE FROM derivation"); /* begin again */
        rederive(b, NULL, 0, 0, &b->t.settings, 1, 0);
        run_sql(b->s, "UPDATE derivation SET id = 1; UPDATE swing_metric SET derivation_id = 1");
    }
}

static void a_damaged_swing_does_not_stop_the_others(void **state)
{
    struct bay *b = *state;
    for (int i = 0; i < 3; i++)
        add_swing(&b->t, b->s, 800, true, 1000 + i);
    run_sql(b->s, "DROP TRIGGER swing_raw_is_final;"
                  "UPDATE swing_raw SET data = x'00' WHERE swing_id = 2");
    struct uf_rederive_counts c;
    struct uf_error err;
    assert_int_equal(uf_store_rederive(b->s, NULL, 0, 0, &b->t.settings, 1, &c, &err), UF_ECORRUPT);
    assert_non_null(strstr(err.text, "swing 2"));
    assert_int_equal(c.same, 2);
    assert_int_equal(c.failed, 1);
    assert_int_equal(c.swings, 3);
}

/* A metric that is younger than a derivation is filled in, without a new derivation. */
static void younger_metrics_are_filled_in(void **state)
{
    struct bay *b = *state;
    add_swing(&b->t, b->s, 800, false, 1000);
    char *before = everything(b->s);
    sqlite3_free(before);
    double want = 0;
    struct uf_swing_row row;
    struct uf_error err;
    assert_int_equal(uf_store_swing_row(b->s, 1, &row, &err), 0);
    want = row.derived.value[UF_M_turn_peak_nm];
    run_sql(b->s, "DROP VIEW swings; DROP VIEW session_change; DROP VIEW player_history; ALTER "
                  "TABLE swing_metric DROP COLUMN turn_peak_nm;"
                  "ALTER TABLE swing_metric DROP COLUMN turn_peak_to_impact_ms;"
                  "DELETE FROM swing_metric_null WHERE metric = 'turn_peak_to_impact_ms'");
    uf_store_close(b->s);
    b->s = open_store(b->place, UF_STORE_WRITE);
    assert_int_equal(uf_store_swing_row(b->s, 1, &row, &err), 0);
    assert_true(isnan(row.derived.value[UF_M_turn_peak_nm]));
    assert_int_equal(row.derived.reason[UF_M_turn_peak_nm], UF_REASON_NONE);
    rederive(b, NULL, 0, 0, &b->t.settings, 0, 1);
    assert_int_equal(uf_store_swing_row(b->s, 1, &row, &err), 0);
    assert_true(row.derived.value[UF_M_turn_peak_nm] == want);
    assert_int_equal(row.derived.reason[UF_M_turn_peak_to_impact_ms], UF_REASON_NO_IMPACT);
    assert_int_equal(number(b->s, "SELECT count(*) FROM derivation"), 1);
}

/* SQLite keeps no sign of zero: -0.0 in a fresh result is the 0.0 that was stored. */
static void zero_has_no_sign(void **state)
{
    struct bay *b = *state;
    struct uf_capture *c = make_swing(&b->t.rig, 800, true);
    struct uf_analysis *a;
    assert_int_equal(uf_analyse(c, &b->t.rig, &b->t.nominal, &b->t.settings, &a, NULL), 0);
    a->value[UF_M_toe_closure_ns] = -0.0;
    a->reason[UF_M_toe_closure_ns] = UF_REASON_NONE;
    struct uf_swing_meta meta = {.session_id = b->t.session_id,
                                 .rig_id = b->t.rig_id,
                                 .trigger_utc_us = 1,
                                 .clock_drift_ppm = NAN};
    int64_t id;
    int younger;
    assert_int_equal(uf_store_swing_add(b->s, &meta, c, a, 1, &id, NULL), 0);
    struct uf_derived stored, fresh;
    uf_derived_of(a, &fresh);
    assert_int_equal(uf_derivation_read(b->s, 1, &stored, NULL), 0);
    assert_true(uf_derived_same(&stored, &fresh, &younger));
    assert_int_equal(younger, 0);
    fresh.value[UF_M_toe_closure_ns] = 5e-324;
    assert_false(uf_derived_same(&stored, &fresh, &younger));
    uf_analysis_free(a);
    uf_capture_free(c);
}

/* Each swing by the rig it was captured with, not by today's. */
static void each_swing_by_its_own_rig(void **state)
{
    struct bay *b = *state;
    add_swing(&b->t, b->s, 800, true, 1000);
    struct studio other = b->t;
    for (int p = 0; p < 2; p++) {
        other.rig.plate[p].surface_mm += 30;
        for (int c = 0; c < other.rig.plate[p].cells; c++)
            for (int k = 0; k < 3; k++)
                other.rig.plate[p].cell[c].n_per_count[k] *= 1.5;
    }
    assert_int_equal(uf_store_rig(b->s, &other.rig, &other.rig_id, NULL), 0);
    uf_calibration_nominal(&other.rig, &other.nominal);
    add_swing(&other, b->s, 700, true, 1001);
    add_swing(&b->t, b->s, 600, true, 1002);
    rederive(b, NULL, 0, 0, &b->t.settings, 0, 3);
}

#define T(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        T(same_bits),
        T(the_age_of_a_calibration),
        T(a_new_calibration_makes_new_rows),
        T(other_settings_make_new_rows),
        T(some_of_them),
        T(differences_are_counted_and_not_overwritten),
        T(a_damaged_swing_does_not_stop_the_others),
        T(younger_metrics_are_filled_in),
        T(zero_has_no_sign),
        T(each_swing_by_its_own_rig),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
