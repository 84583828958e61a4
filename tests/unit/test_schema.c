/* SPDX-License-Identifier: MIT
 * The schema as people see it: STRICT tables, units in names, comments kept, views that run; and
 * older files brought up to date without losing a row. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "store/schema.h"
#include "stored_swing.h"

#include "store/schema.h"

static void count_is(struct uf_store *s, const char *sql, int64_t want)
{
    int64_t got = number(s, sql);
    if (got != want)
        fail_msg("%s: %lld, wanted %lld", sql, (long long)got, (long long)want);
}

static void tables_are_strict(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    count_is(s,
             "SELECT count(*) FROM pragma_table_list WHERE type = 'table' AND schema = 'main'"
             " AND name NOT LIKE 'sqlite_%' AND NOT strict",
             0);
    assert_true(number(s, "SELECT count(*) FROM pragma_table_list WHERE strict") >= 14);
    uf_store_close(s);
}

/* Each REAL column is a physical value and says its unit; each time in a whole number says clock
 * and unit. */
static void names_end_in_units(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    static const char units[] =
        " _n _nm _ns _nms _kg _mm _m _hz _us _ms _s _deg _pct _bw _ppm _raw ";
    sqlite3_stmt *q;
    assert_int_equal(sqlite3_prepare_v2(uf_store_db(s),
                                        "SELECT t.name, c.name, c.type FROM pragma_table_list AS t,"
                                        " pragma_table_info(t.name) AS c WHERE t.schema = 'main'"
                                        " AND t.type = 'table' AND t.name NOT LIKE 'sqlite_%'",
                                        -1, &q, NULL),
                     SQLITE_OK);
    int checked = 0;
    while (sqlite3_step(q) == SQLITE_ROW) {
        const char *table = (const char *)sqlite3_column_text(q, 0);
        const char *column = (const char *)sqlite3_column_text(q, 1);
        const char *type = (const char *)sqlite3_column_text(q, 2);
        const char *end = strrchr(column, '_');
        char word[64];
        snprintf(word, sizeof word, " %s ", end ? end : "");
        if (strcmp(type, "INTEGER") == 0 && end && strcmp(end, "_us") == 0) {
            if (!strstr(column, "_utc_us") && !strstr(column, "_dev_us") &&
                !strstr(column, "duration_us"))
                fail_msg("%s.%s does not say its clock", table, column);
        }
        if (strcmp(type, "REAL") != 0 || strncmp(column, "plausible_", 10) == 0)
            continue; /* plausible_*: in the unit of the row */
        if (strcmp(table, "swing_extra") == 0)
            continue; /* value: the unit stands beside it */
        if (strcmp(column, "studentised") == 0)
            continue; /* a ratio */
        if (strncmp(table, "swing_metric", 12) == 0 &&
            uf_metric_row((enum uf_metric)uf_metric_find(column))->unit[0] == '\0')
            continue; /* a count */
        if (!strstr(units, word))
            fail_msg("%s.%s does not end in its unit", table, column);
        checked++;
    }
    sqlite3_finalize(q);
    assert_true(checked > 50);
    uf_store_close(s);
}

/* Every table, view and metric column carries its explanation into .schema. */
static void schema_reads_like_documentation(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    count_is(s,
             "SELECT count(*) FROM sqlite_master WHERE type IN ('table', 'view') AND name"
             " NOT LIKE 'sqlite_%' AND instr(sql, '-- ') = 0",
             0);
    count_is(s,
             "SELECT count(*) FROM metric, sqlite_master AS m WHERE m.name = 'swing_metric'"
             " AND instr(m.sql, metric.name || ' /* ' ||"
             " CASE unit WHEN '' THEN '' ELSE unit || ': ' END || meaning) = 0",
             0);
    count_is(s, "SELECT count(*) FROM metric", UF_METRICS);
    count_is(s, "SELECT count(*) FROM reason", UF_REASONS - 1);
    uf_store_close(s);
}

static void view_of_swings(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1700000000);
    add_swing(&t, s, 650, false, 1700000100);
    count_is(s, "SELECT count(*) FROM swings", 2);
    count_is(s,
             "SELECT count(*) FROM swings WHERE local_time ="
             " datetime(1700000000, 'unixepoch', 'localtime') AND hand = 'right'"
             " AND abs(weight_n - 800) < 1 AND abs(weight_kg - 81.6) < 0.2"
             " AND abs(lead_vertical_peak_bw - 1.2) < 0.01 AND abs(impact_s - 2.05) < 0.001"
             " AND calibration = 'data sheet' AND player IS NULL"
             " AND flags LIKE '%data-sheet calibration%' AND flags NOT LIKE ', %'",
             1);
    count_is(s,
             "SELECT count(*) FROM swings WHERE id = 2 AND impact_s IS NULL"
             " AND turn_peak_to_impact_ms IS NULL",
             1);
    /* each flag has its words */
    run_sql(s, "UPDATE derivation SET flags = 3 WHERE swing_id = 1;"
               "UPDATE derivation SET flags = 0 WHERE swing_id = 2");
    count_is(s, "SELECT count(*) FROM swings WHERE flags = 'lost samples, gap'", 1);
    count_is(s, "SELECT count(*) FROM swings WHERE flags = ''", 1);
    uf_store_close(s);
}

/* Columns of swing_metric, sorted, joined. */
static char *columns(struct uf_store *s)
{
    sqlite3_stmt *q;
    sqlite3_prepare_v2(uf_store_db(s),
                       "SELECT group_concat(name || ' ' || type, ',') FROM"
                       " (SELECT name, type FROM pragma_table_info('swing_metric') ORDER BY name)",
                       -1, &q, NULL);
    assert_int_equal(sqlite3_step(q), SQLITE_ROW);
    char *text = strdup((const char *)sqlite3_column_text(q, 0));
    sqlite3_finalize(q);
    return text;
}

/* A file made before some metrics existed. */
static void metrics_are_added_to_an_older_file(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    char *fresh = columns(s);
    struct studio t;
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1000);
    run_sql(s, "DROP VIEW swings; DROP VIEW session_change; DROP VIEW player_history;"
               "DELETE FROM metric WHERE name = 'turn_peak_nm';"
               "UPDATE metric SET meaning = 'old words' WHERE name = 'weight_n';"
               "DELETE FROM reason WHERE code = 'gap';"
               "ALTER TABLE swing_metric DROP COLUMN turn_peak_nm;"
               "ALTER TABLE swing_metric DROP COLUMN toe_closure_ns;"
               "CREATE VIEW swings AS SELECT 1 AS old");
    uf_store_close(s);
    uf_store_close(open_store(*state, UF_STORE_READ)); /* readable as it is */
    s = open_store(*state, UF_STORE_WRITE);
    char *migrated = columns(s);
    assert_string_equal(migrated, fresh);
    free(fresh);
    free(migrated);
    count_is(s, "SELECT count(*) FROM swing_metric WHERE turn_peak_nm IS NULL AND weight_n > 700",
             1);
    count_is(s, "SELECT count(*) FROM swings WHERE weight_n > 700 AND turn_peak_nm IS NULL", 1);
    count_is(s, "SELECT count(*) FROM metric WHERE meaning = 'old words'", 0);
    count_is(s, "SELECT count(*) FROM metric", UF_METRICS);
    count_is(s, "SELECT count(*) FROM reason", UF_REASONS - 1);
    count_is(s,
             "SELECT instr(sql, 'N m: greatest turn moment') > 0 FROM sqlite_master"
             " WHERE name = 'swing_metric'",
             1);
    uf_store_close(s);
}

/* An up-to-date file is not written to by opening it. */
static void opening_changes_nothing(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    int64_t version = number(s, "PRAGMA schema_version");
    struct uf_store *reader = open_store(*state, UF_STORE_READ);
    int64_t data = number(reader, "PRAGMA data_version");
    uf_store_close(s);
    s = open_store(*state, UF_STORE_CREATE);
    assert_int_equal(number(s, "PRAGMA schema_version"), version);
    assert_int_equal(number(reader, "PRAGMA data_version"), data);
    uf_store_close(s);
    uf_store_close(reader);
}

/* A file of the newest user_version without a single row; and one that says 0 after a cut-off first
 * start.
 */
static void an_empty_file(void **state)
{
    struct uf_store *s = open_store(*state, UF_STORE_CREATE);
    uf_store_close(s);
    s = open_store(*state, UF_STORE_WRITE);
    count_is(s, "PRAGMA user_version", uf_schema_version());
    uf_store_close(s);
    const struct place *p = *state;
    unlink(p->db);
    FILE *f = fopen(p->db, "w"); /* no byte in it yet */
    fclose(f);
    s = open_store(p, UF_STORE_CREATE);
    count_is(s, "PRAGMA user_version", uf_schema_version());
    count_is(s, "SELECT count(*) FROM swings", 0);
    uf_store_close(s);
}

/* A migration that fails half-way leaves the file as it was. */
static void a_failing_migration_leaves_nothing(void **state)
{
    const struct place *p = *state;
    struct uf_store *s = open_store(p, UF_STORE_CREATE);
    run_sql(s, "DROP VIEW swings; DROP VIEW swing_missing; DROP VIEW session_change;"
               "DROP VIEW player_history; DROP VIEW plate_health;"
               "ALTER TABLE swing_metric DROP COLUMN turn_peak_nm;"
               "CREATE TABLE swings (x INTEGER) STRICT"); /* where the view must go */
    uf_store_close(s);
    struct uf_error err;
    assert_int_not_equal(uf_store_open(&s, p->db, UF_STORE_WRITE, &err), 0);
    assert_non_null(strstr(err.text, "swings"));
    s = open_store(p, UF_STORE_READ);
    count_is(s,
             "SELECT count(*) FROM pragma_table_info('swing_metric') WHERE name ="
             " 'turn_peak_nm'",
             0);
    uf_store_close(s);
}

#define T(f) cmocka_unit_test_setup_teardown(f, place_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        T(tables_are_strict),
        T(names_end_in_units),
        T(schema_reads_like_documentation),
        T(view_of_swings),
        T(metrics_are_added_to_an_older_file),
        T(opening_changes_nothing),
        T(an_empty_file),
        T(a_failing_migration_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
