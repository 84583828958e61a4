/* SPDX-License-Identifier: MIT
 * The views for people. Their text follows from the program (metric names, flag words), so they
 * are made anew at each writable opening where it differs; nothing but reading depends on them. */
#include "store/schema.h"

#include <string.h>

#define DOING "make the views of the database"

const struct uf_view_metric uf_view_metrics[] = {
    {"weight_n", 1},
    {"trail_share_address_pct", 1},
    {"trail_share_max_pct", 1},
    {"trail_share_min_pct", 1},
    {"total_vertical_peak_bw", 3},
    {"total_vertical_peak_to_impact_ms", 1},
    {"lead_vertical_peak_bw", 3},
    {"lead_vertical_peak_to_impact_ms", 1},
    {"trail_vertical_peak_bw", 3},
    {"trail_vertical_peak_to_impact_ms", 1},
    {"target_peak_bw", 3},
    {"target_peak_to_impact_ms", 1},
    {"lead_heel_peak_bw", 3},
    {"lead_heel_peak_to_impact_ms", 1},
    {"trail_toe_peak_bw", 3},
    {"trail_toe_peak_to_impact_ms", 1},
    {"turn_peak_nm", 1},
    {"turn_peak_to_impact_ms", 1},
    {"vertical_impulse_ns", 1},
    {"target_impulse_ns", 1},
    {"turn_impulse_nms", 2},
    {NULL, 0},
};

static void swings_sql(sqlite3_str *sql)
{
    sqlite3_str_appendall(
        sql,
        "CREATE VIEW swings AS\n"
        "-- One row a swing: what a coach asks for, rounded for reading. NULL: not measurable; "
        "view\n"
        "-- swing_missing says why. All numbers, unrounded: table swing_metric.\n"
        "SELECT\n"
        "  swing.id AS id,\n"
        "  datetime(coalesce(swing.trigger_utc_us, swing.stored_utc_us) / 1000000, 'unixepoch',\n"
        "    'localtime') AS local_time,\n"
        "  swing.session_id AS session,\n"
        "  player.name AS player,\n"
        "  block.id AS block,\n"
        "  block.kind AS kind, -- baseline, drill, retest, ...\n"
        "  block.ball AS ball, -- 1: with a ball\n"
        "  block.club AS club,\n"
        "  swing.excluded_reason AS excluded, -- NULL: it counts\n"
        "  swing.starred AS starred,\n"
        "  swing.comment AS comment,\n"
        "  round(club_speed.value, 2) AS club_speed_mps, -- of another instrument\n"
        "  swing.hand AS hand,\n"
        "  round(swing_metric.weight_n / 9.80665, 1) AS weight_kg, -- at standard gravity\n");
    for (const struct uf_view_metric *m = uf_view_metrics; m->name; m++)
        sqlite3_str_appendf(sql, "  round(swing_metric.%s, %d) AS %s,\n", m->name, m->digits,
                            m->name);
    sqlite3_str_appendall(sql,
                          "  round(impact.t_s, 4) AS impact_s, -- from the swing's first sample; "
                          "NULL: neither sensed nor marked\n"
                          "  substr(");
    for (int bit = 0; bit < UF_FLAGS; bit++)
        sqlite3_str_appendf(sql, "%sCASE WHEN derivation.flags & %u THEN ', %q' ELSE '' END",
                            bit ? " ||\n    " : "", 1u << bit, uf_flag_name(bit));
    sqlite3_str_appendall(
        sql, ",\n    3) AS flags, -- what is wrong with the swing, in words\n"
             "  CASE WHEN derivation.id IS NULL THEN NULL\n"
             "    ELSE coalesce(calibration.name, 'data sheet') END AS calibration,\n"
             "  swing.uuid AS uuid\n"
             "FROM swing\n"
             "JOIN session ON session.id = swing.session_id\n"
             "LEFT JOIN player ON player.id = session.player_id\n"
             "LEFT JOIN block ON block.id = swing.block_id\n"
             "LEFT JOIN swing_extra AS club_speed\n"
             "  ON club_speed.swing_id = swing.id AND club_speed.name = 'club_speed'\n"
             "LEFT JOIN derivation ON derivation.swing_id = swing.id AND derivation.current = 1\n"
             "LEFT JOIN calibration ON calibration.id = derivation.calibration_id\n"
             "LEFT JOIN swing_metric ON swing_metric.derivation_id = derivation.id\n"
             "LEFT JOIN swing_event AS impact\n"
             "  ON impact.derivation_id = derivation.id AND impact.kind = 'impact'\n"
             "  AND impact.source <> 'estimate'");
}

static void missing_sql(sqlite3_str *sql)
{
    sqlite3_str_appendall(
        sql, "CREATE VIEW swing_missing AS\n"
             "-- Why a number of a swing is NULL, in words. One row a missing number.\n"
             "SELECT derivation.swing_id AS swing, swing_metric_null.metric AS metric,\n"
             "  metric.meaning AS meaning, reason.meaning AS why\n"
             "FROM derivation\n"
             "JOIN swing_metric_null ON swing_metric_null.derivation_id = derivation.id\n"
             "JOIN reason ON reason.code = swing_metric_null.reason\n"
             "LEFT JOIN metric ON metric.name = swing_metric_null.metric\n"
             "WHERE derivation.current = 1");
}

static const struct {
    const char *name;
    void (*build)(sqlite3_str *sql);
} views[] = {{"swings", swings_sql},
             {"swing_missing", missing_sql},
             {"session_change", uf_view_session_change},
             {"player_history", uf_view_player_history},
             {"plate_health", uf_view_plate_health}};

static int is_same(struct uf_store *s, const char *name, const char *sql, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT sql FROM sqlite_master WHERE type = 'view' AND name = ?1",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, name, -1, SQLITE_STATIC);
    rc = uf_db_step(s, q, DOING, err);
    if (rc > 0)
        rc = strcmp(uf_store_text(q, 0), sql) == 0;
    sqlite3_finalize(q);
    return rc;
}

int uf_schema_views(struct uf_store *s, struct uf_error *err)
{
    int rc = UF_OK;
    for (size_t i = 0; rc >= 0 && i < sizeof views / sizeof views[0]; i++) {
        sqlite3_str *built = sqlite3_str_new(s->db);
        views[i].build(built);
        char *sql = sqlite3_str_finish(built), *change = NULL;
        rc = sql ? is_same(s, views[i].name, sql, err)
                 : uf_fail(err, UF_ENOMEM, "cannot " DOING ": no memory");
        if (rc == 0) {
            change = sqlite3_mprintf("DROP VIEW IF EXISTS %s; %s", views[i].name, sql);
            rc = change ? uf_db_exec(s, change, DOING, err)
                        : uf_fail(err, UF_ENOMEM, "cannot " DOING ": no memory");
        }
        sqlite3_free(change);
        sqlite3_free(sql);
    }
    return rc < 0 ? rc : UF_OK;
}
