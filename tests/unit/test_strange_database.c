/* SPDX-License-Identifier: MIT
 * A database file that somebody else has prepared: what its views, triggers and values can do to
 * the programs that open it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "cli_run.h"
#include "stored_swing.h"

/* As their owner's own program may: nothing of ours is in the way. */
static void prepare(const struct place *p, const char *sql)
{
    sqlite3 *db;
    char *why = NULL;
    assert_int_equal(sqlite3_open(p->db, &db), SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK)
        fail_msg("%s: %s", sql, why);
    sqlite3_close(db);
}

static void reach_out(sqlite3_context *c, int n, sqlite3_value **v)
{
    (void)n;
    (void)v;
    sqlite3_result_text(c, "reached", -1, SQLITE_STATIC);
}

static int said_by(struct uf_store *s, const char *sql, const char *words)
{
    int rc = sqlite3_exec(uf_store_db(s), sql, NULL, NULL, NULL);
    if (rc != SQLITE_OK && !strstr(sqlite3_errmsg(uf_store_db(s)), words))
        fail_msg("%s: %s (wanted: %s)", sql, sqlite3_errmsg(uf_store_db(s)), words);
    return rc;
}

/* A view or a trigger calls no function that reaches out of the file. */
static void its_sql_stays_inside(void **state)
{
    struct place *p = *state;
    prepare(p, "CREATE VIEW theirs AS SELECT reach_out();"
               "CREATE TRIGGER also_theirs AFTER INSERT ON link_event BEGIN"
               " INSERT INTO link_event (utc_us, kind, text) SELECT 1, 'x', reach_out(); END");
    struct uf_store *s = open_store(p, UF_STORE_WRITE);
    sqlite3_create_function(uf_store_db(s), "reach_out", 0, SQLITE_UTF8, NULL, reach_out, NULL,
                            NULL);
    assert_int_equal(said_by(s, "SELECT reach_out()", ""), SQLITE_OK); /* it is there */
    assert_int_not_equal(said_by(s, "SELECT * FROM theirs", "unsafe use of reach_out"), SQLITE_OK);
    uf_store_close(s);
}

/* SQL on our connection can neither rewrite the schema nor skip the check of pages. */
static void its_file_is_not_trusted(void **state)
{
    struct place *p = *state;
    for (int mode = UF_STORE_READ; mode <= UF_STORE_CREATE; mode++) {
        struct uf_store *s = open_store(p, (enum uf_store_mode)mode);
        assert_int_equal(number(s, "PRAGMA cell_size_check"), 1);
        assert_int_equal(number(s, "PRAGMA trusted_schema"), 0);
        said_by(s, "PRAGMA writable_schema = ON", "");
        assert_int_not_equal(said_by(s, "UPDATE sqlite_master SET sql = ''", ""), SQLITE_OK);
        uf_store_close(s);
    }
}

/* A trigger with wrong SQL makes each write fail with a sentence, not half a row. */
static void a_broken_trigger_is_said(void **state)
{
    struct place *p = *state;
    prepare(p, "CREATE TRIGGER theirs BEFORE INSERT ON link_event BEGIN"
               " SELECT * FROM there_is_none; END");
    struct uf_store *s = open_store(p, UF_STORE_WRITE);
    struct uf_error err = {0};
    assert_true(uf_store_link_event(s, 1, "hello", "board", &err) < 0);
    assert_non_null(strstr(err.text, "there_is_none"));
    assert_int_equal(number(s, "SELECT count(*) FROM link_event"), 0);
    uf_store_close(s);
}

/* What never ends is ended where somebody said how long he waits. */
static void what_never_ends_is_ended(void **state)
{
    struct place *p = *state;
    prepare(p,
            "DROP VIEW swing_missing; ALTER TABLE link_event RENAME TO kept;"
            "CREATE VIEW link_event AS WITH RECURSIVE n (v) AS"
            " (SELECT 1 UNION ALL SELECT v + 1 FROM n) SELECT v AS id, v AS at_utc_us, 'x' AS kind,"
            " 'x' AS detail FROM n WHERE v < 0");
    struct uf_store *s = open_store(p, UF_STORE_READ);
    struct uf_store_summary summary;
    struct uf_error err = {0};
    uf_store_patience(s, 0);
    assert_int_equal(uf_store_summary(s, &summary, &err), UF_EBUSY);
    assert_non_null(strstr(err.text, "it takes too long; look for tables, views and triggers"));
    uf_store_close(s);
}

/* NULL and wrong types where our schema has neither; text that writes on a terminal. */
static void values_of_any_kind(void **state)
{
    struct place *p = *state;
    struct studio t;
    struct uf_store *s = open_store(p, UF_STORE_WRITE);
    studio_set_up(&t, s);
    add_swing(&t, s, 800, true, 1000);
    uf_store_close(s);
    says(RUN("--database", p->db, "player", "add", "A. N. Other", "--hand", "right"), 0, "", "");
    prepare(p, "UPDATE target SET label = 'b' || char(27) || '[2J'");
    says(RUN("--database", p->db, "swing", "1"), 0, "  b?[2J: ", "");
    prepare(p, "PRAGMA writable_schema = ON;"
               "UPDATE sqlite_master SET sql = replace(replace(sql, 'NOT NULL', ''), ') STRICT',"
               " ')') WHERE type = 'table'; PRAGMA writable_schema = RESET");
    prepare(p,
            "PRAGMA ignore_check_constraints = ON; UPDATE target SET label = NULL, metric = NULL,"
            " from_event = x'00ff'; UPDATE swing_event SET source = NULL;"
            "UPDATE swing_metric_null SET reason = NULL;"
            "UPDATE swing SET hand = NULL, board_id = NULL;"
            "UPDATE player SET name = 'a' || char(27) || '[2J' || char(155) || x'ff', hand = NULL");
    says(RUN("--database", p->db, "player", "list"), 0, "a?[2J", "");
    says(RUN("--database", p->db, "player", "list", "--json"), 0, "a?[2J", "");
    struct said r = RUN("--database", p->db, "swing", "1");
    assert_true(r.rc == 0 || *r.err);
    done(r);
    r = RUN("--database", p->db, "swing", "1", "--json");
    assert_true(r.rc == 0 || *r.err);
    done(r);
    r = RUN("--database", p->db, "rederive", "1");
    assert_true(r.rc == 0 || *r.err);
    done(r);
}

#define T(f) cmocka_unit_test_setup_teardown(f, empty_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        T(its_sql_stays_inside),     T(its_file_is_not_trusted), T(a_broken_trigger_is_said),
        T(what_never_ends_is_ended), T(values_of_any_kind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
