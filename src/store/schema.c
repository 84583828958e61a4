/* SPDX-License-Identifier: MIT
 * Migrations, and what follows from the metric table: columns and explanations. */
#include "store/schema.h"

#include "swing/targets.h"

#include <stdio.h>

#define DOING "bring the database up to date"

/* ---- swing_metric ---- */

static void append_comment(sqlite3_str *sql, const struct uf_metric_row *m)
{
    sqlite3_str_appendf(sql, "%s%s%s", m->unit, *m->unit ? ": " : "", m->meaning);
}

static const char about_metric[] =
    "  -- The numbers of a swing: one column a metric, made from the metric table of the\n"
    "  -- program. NULL: not measurable, with its reason in swing_metric_null. Lead: the\n"
    "  -- foot nearer the target. Target-ward and toe-ward forces are positive; the turn\n"
    "  -- moment is positive when it turns the golfer towards the target. _s: from the\n"
    "  -- swing's first sample; to_impact_ms: negative before impact; BW: body weights.\n";

static const char about_sd[] =
    "  -- How sure each number is: its standard uncertainty (GUM), in the unit of the same\n"
    "  -- column of swing_metric. NULL: no value, or a number about the signal itself.\n";

static int metric_table(struct uf_store *s, const char *table, const char *about,
                        struct uf_error *err)
{
    sqlite3_str *sql = sqlite3_str_new(s->db);
    sqlite3_str_appendf(
        sql,
        "CREATE TABLE %s (\n%s"
        "  derivation_id INTEGER PRIMARY KEY REFERENCES derivation (id) ON DELETE CASCADE",
        table, about);
    for (int i = 0; i < UF_METRICS; i++) {
        const struct uf_metric_row *m = uf_metric_row((enum uf_metric)i);
        sqlite3_str_appendf(sql, ",\n  %s /* ", m->name);
        append_comment(sql, m);
        sqlite3_str_appendall(sql, " */ REAL");
    }
    sqlite3_str_appendall(sql, "\n) STRICT");
    char *text = sqlite3_str_finish(sql);
    if (!text)
        return uf_fail(err, UF_ENOMEM, "cannot " DOING ": no memory");
    int rc = uf_db_exec(s, text, DOING, err);
    sqlite3_free(text);
    return rc;
}

/* Columns of metrics that the file does not know yet. */
static int metric_columns(struct uf_store *s, const char *table, struct uf_error *err)
{
    bool have[UF_METRICS] = {false};
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT name FROM pragma_table_info(?1)", DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, table, -1, SQLITE_STATIC);
    while ((rc = uf_db_step(s, q, DOING, err)) > 0) {
        int i = uf_metric_find(uf_store_text(q, 0));
        if (i >= 0)
            have[i] = true;
    }
    sqlite3_finalize(q);
    for (int i = 0; rc == 0 && i < UF_METRICS; i++) {
        if (have[i])
            continue;
        const struct uf_metric_row *m = uf_metric_row((enum uf_metric)i);
        sqlite3_str *sql = sqlite3_str_new(s->db);
        sqlite3_str_appendf(sql, "ALTER TABLE %s ADD COLUMN %s /* ", table, m->name);
        append_comment(sql, m);
        sqlite3_str_appendall(sql, " */ REAL");
        char *text = sqlite3_str_finish(sql);
        rc = text ? uf_db_exec(s, text, DOING, err)
                  : uf_fail(err, UF_ENOMEM, "cannot " DOING ": no memory");
        sqlite3_free(text);
    }
    return rc;
}

/* Rows of `metric` and `reason`; writes nothing where nothing differs. */
static int explain_metrics(struct uf_store *s, struct uf_error *err)
{
    for (int i = 0; i < UF_METRICS; i++) {
        const struct uf_metric_row *m = uf_metric_row((enum uf_metric)i);
        sqlite3_stmt *q;
        int rc = uf_db_prepare(
            s, &q,
            "INSERT INTO metric (name, position, unit, plausible_from, plausible_to, meaning)"
            " VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT (name) DO UPDATE SET position = ?2,"
            " unit = ?3, plausible_from = ?4, plausible_to = ?5, meaning = ?6"
            " WHERE (position, unit, plausible_from, plausible_to, meaning)"
            " IS NOT (?2, ?3, ?4, ?5, ?6)",
            DOING, err);
        if (rc)
            return rc;
        sqlite3_bind_text(q, 1, m->name, -1, SQLITE_STATIC);
        sqlite3_bind_int(q, 2, i + 1);
        sqlite3_bind_text(q, 3, m->unit, -1, SQLITE_STATIC);
        uf_db_bind_real(q, 4, m->lo);
        uf_db_bind_real(q, 5, m->hi);
        sqlite3_bind_text(q, 6, m->meaning, -1, SQLITE_STATIC);
        rc = uf_db_run(s, q, DOING, err);
        if (rc)
            return rc;
    }
    return UF_OK;
}

static int explain_reasons(struct uf_store *s, struct uf_error *err)
{
    for (int i = UF_REASON_NONE + 1; i < UF_REASONS; i++) {
        sqlite3_stmt *q;
        int rc = uf_db_prepare(s, &q,
                               "INSERT INTO reason (code, meaning) VALUES (?1, ?2)"
                               " ON CONFLICT (code) DO UPDATE SET meaning = ?2"
                               " WHERE meaning <> ?2",
                               DOING, err);
        if (rc)
            return rc;
        sqlite3_bind_text(q, 1, uf_reason_code((enum uf_reason)i), -1, SQLITE_STATIC);
        sqlite3_bind_text(q, 2, uf_reason_text((enum uf_reason)i), -1, SQLITE_STATIC);
        rc = uf_db_run(s, q, DOING, err);
        if (rc)
            return rc;
    }
    return UF_OK;
}

/* ---- migrations ---- */

static int migrate_1(struct uf_store *s, struct uf_error *err)
{
    int rc = uf_db_exec(s, uf_schema_sql_1, DOING, err);
    return rc ? rc : metric_table(s, "swing_metric", about_metric, err);
}

static int add_targets(struct uf_store *s, struct uf_error *err)
{
    size_t n;
    const struct uf_target *t = uf_targets(&n);
    int rc = UF_OK;
    for (size_t i = 0; rc == 0 && i < n; i++) {
        sqlite3_stmt *q;
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO target (label, metric, from_event, to_event, from_pct,"
                           " to_pct, tolerance_ms, source) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                           DOING, err);
        if (rc)
            return rc;
        sqlite3_bind_text(q, 1, t[i].label, -1, SQLITE_STATIC);
        sqlite3_bind_text(q, 2, t[i].metric, -1, SQLITE_STATIC);
        sqlite3_bind_text(q, 3, uf_event_name(t[i].from), -1, SQLITE_STATIC);
        sqlite3_bind_text(q, 4, uf_event_name(t[i].to), -1, SQLITE_STATIC);
        uf_db_bind_real(q, 5, t[i].from_pct);
        uf_db_bind_real(q, 6, t[i].to_pct);
        uf_db_bind_real(q, 7, t[i].tolerance_ms);
        sqlite3_bind_text(q, 8, t[i].source, -1, SQLITE_STATIC);
        rc = uf_db_run(s, q, DOING, err);
    }
    return rc;
}

/* What the teacher reads: marks, feet, targets, uncertainties. */
static int migrate_2(struct uf_store *s, struct uf_error *err)
{
    int rc = uf_db_exec(s, uf_schema_sql_2, DOING, err);
    if (rc == 0)
        rc = metric_table(s, "swing_metric_sd", about_sd, err);
    return rc ? rc : add_targets(s, err);
}

/* Lessons: players in more detail, blocks, remarks. */
static int migrate_3(struct uf_store *s, struct uf_error *err)
{
    return uf_db_exec(s, uf_schema_sql_3, DOING, err);
}

/* The loads of calibrations; what a lesson is about; feet from rocking, the hand of a stored swing.
 */
static int migrate_4(struct uf_store *s, struct uf_error *err)
{
    static const char *const texts[] = {
        uf_schema_sql_4_calibration,
        uf_schema_sql_4_focus,
        uf_schema_sql_4_feet,
    };
    int rc = UF_OK;
    for (size_t i = 0; rc == 0 && i < sizeof texts / sizeof texts[0]; i++)
        rc = uf_db_exec(s, texts[i], DOING, err);
    return rc ? rc : uf_schema_calibration_loads(s, 0, err);
}

/* Number i + 1 makes user_version i + 1 of i. Never change one that has been released. */
static int (*const migrations[])(struct uf_store *s, struct uf_error *err) = {
    migrate_1,
    migrate_2,
    migrate_3,
    migrate_4,
};

int uf_schema_version(void)
{
    return (int)(sizeof migrations / sizeof migrations[0]);
}

static int migrate(struct uf_store *s, struct uf_error *err)
{
    /* again, now that nobody else can write: two programs may have opened a new file at once */
    int64_t version = 0;
    int rc = uf_db_pragma(s, "PRAGMA user_version", &version, err);
    for (int i = (int)version; rc == 0 && i < uf_schema_version(); i++)
        rc = migrations[i](s, err);
    if (rc == 0 && version < uf_schema_version()) {
        char sql[96];
        snprintf(sql, sizeof sql, "PRAGMA application_id = %d; PRAGMA user_version = %d",
                 UF_APPLICATION_ID, uf_schema_version());
        rc = uf_db_exec(s, sql, DOING, err);
    }
    if (rc == 0)
        rc = metric_columns(s, "swing_metric", err);
    if (rc == 0)
        rc = metric_columns(s, "swing_metric_sd", err);
    if (rc == 0)
        rc = explain_metrics(s, err);
    if (rc == 0)
        rc = explain_reasons(s, err);
    if (rc == 0)
        rc = uf_schema_views(s, err);
    return rc;
}

int uf_schema_migrate(struct uf_store *s, struct uf_error *err)
{
    int rc = uf_db_begin(s, DOING, err);
    return rc ? rc : uf_db_end(s, migrate(s, err), DOING, err);
}
