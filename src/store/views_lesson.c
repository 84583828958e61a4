/* SPDX-License-Identifier: MIT
 * Views of lessons: what changed within a session, a player's months, how the plates are. */
#include "store/schema.h"

#include "swing/variability.h"

/* Student's t for the views, which have no function for it: for 1 to 30 degrees of freedom, and
 * some beyond. The greatest that is not above the true number is taken, so an interval is never
 * too short. */
static void t_table(sqlite3_str *sql)
{
    static const double more[] = {35, 40, 50, 60, 80, 100, 120, 200, 500};
    sqlite3_str_appendall(sql, "student(dof, t) AS (VALUES");
    for (int dof = 1; dof <= 30; dof++)
        sqlite3_str_appendf(sql, "%s (%d, %.4f)", dof > 1 ? "," : "", dof,
                            uf_t_two_sided(0.95, dof));
    for (size_t i = 0; i < sizeof more / sizeof more[0]; i++)
        sqlite3_str_appendf(sql, ", (%.0f, %.4f)", more[i], uf_t_two_sided(0.95, more[i]));
    sqlite3_str_appendall(sql, ")");
}

void uf_view_session_change(sqlite3_str *sql)
{
    sqlite3_str_appendall(
        sql,
        "CREATE VIEW session_change AS\n"
        "-- Before and after of a session, one row a number: the first baseline block (none: the\n"
        "-- first block) against the last retest block (none: the last). Excluded swings and "
        "missing\n"
        "-- numbers don't count. change_needed: half the 95 % interval of a difference of means "
        "that\n"
        "-- vary as these do (Welch); a smaller change is within the player's own noise. Of "
        "twenty\n"
        "-- numbers one passes it by chance alone.\n"
        "WITH ");
    t_table(sql);
    sqlite3_str_appendall(
        sql, ",\n"
             "counted AS (\n"
             "  SELECT swing.session_id AS session, swing.block_id AS block, swing.id AS swing,\n"
             "    derivation.id AS derivation\n"
             "  FROM swing JOIN derivation ON derivation.swing_id = swing.id AND current = 1\n"
             "  WHERE swing.block_id IS NOT NULL AND swing.excluded_reason IS NULL),\n"
             "value(session, block, metric, x) AS (\n"
             "  SELECT session, block, 'club_speed_mps', swing_extra.value FROM counted\n"
             "  JOIN swing_extra ON swing_id = swing AND name = 'club_speed'");
    for (const struct uf_view_metric *m = uf_view_metrics; m->name; m++)
        sqlite3_str_appendf(sql,
                            "\n  UNION ALL SELECT session, block, '%s', %s FROM counted\n"
                            "  JOIN swing_metric ON derivation_id = derivation",
                            m->name, m->name);
    sqlite3_str_appendall(
        sql,
        "),\n"
        "mean AS (\n"
        "  SELECT block, metric, count(x) AS n, avg(x) AS mean FROM value GROUP BY block, "
        "metric),\n"
        "stat AS (\n"
        "  SELECT mean.block AS block, mean.metric AS metric, mean.n AS n, mean.mean AS mean,\n"
        "    iif(mean.n < 2, NULL, sum((x - mean.mean) * (x - mean.mean)) / (mean.n - 1)) AS var\n"
        "  FROM mean JOIN value ON value.block = mean.block AND value.metric = mean.metric\n"
        "  GROUP BY mean.block, mean.metric),\n"
        "ends AS (\n"
        "  SELECT counted.session AS session,\n"
        "    coalesce(min(iif(kind = 'baseline', block.id, NULL)), min(block.id)) AS first,\n"
        "    coalesce(max(iif(kind = 'retest', block.id, NULL)), max(block.id)) AS last\n"
        "  FROM counted JOIN block ON block.id = counted.block GROUP BY counted.session),\n"
        "pair AS (\n"
        "  SELECT ends.*, a.metric AS metric, a.n AS first_n, b.n AS last_n, a.mean AS "
        "first_mean,\n"
        "    b.mean AS last_mean, a.var / a.n + b.var / b.n AS u2,\n"
        "    a.var / a.n * (a.var / a.n) / (a.n - 1) + b.var / b.n * (b.var / b.n) / (b.n - 1)\n"
        "      AS below,\n"
        "    sqrt(((a.n - 1) * a.var + (b.n - 1) * b.var) / (a.n + b.n - 2)) AS noise_sd\n"
        "  FROM ends JOIN stat AS a ON a.block = ends.first\n"
        "  JOIN stat AS b ON b.block = ends.last AND b.metric = a.metric\n"
        "  WHERE ends.first <> ends.last),\n"
        "judged AS (\n"
        "  SELECT pair.*, last_mean - first_mean AS change, iif(u2 = 0, 0, sqrt(u2) *\n"
        "    (SELECT t FROM student WHERE dof <= u2 * u2 / below ORDER BY dof DESC LIMIT 1))\n"
        "    AS change_needed\n"
        "  FROM pair)\n"
        "SELECT judged.session AS session, player.name AS player, judged.metric AS metric,\n"
        "  coalesce(metric.unit, 'm/s') AS unit, first AS first_block, last AS last_block,\n"
        "  first_n, last_n, first_mean, last_mean, change, noise_sd, change_needed,\n"
        "  CASE WHEN change IS NULL THEN 'not measured'\n"
        "    WHEN first_n < 3 OR last_n < 3 THEN 'too few swings'\n"
        "    WHEN abs(change) > change_needed THEN 'changed' ELSE 'within noise' END AS verdict\n"
        "FROM judged JOIN session ON session.id = judged.session\n"
        "LEFT JOIN player ON player.id = session.player_id\n"
        "LEFT JOIN metric ON metric.name = judged.metric");
}

void uf_view_player_history(sqlite3_str *sql)
{
    sqlite3_str_appendall(
        sql, "CREATE VIEW player_history AS\n"
             "-- A player's months: one row a block (NULL: swings outside of blocks), means of "
             "the\n"
             "-- swings that count. Numbers of different clubs, or with and without a ball, are "
             "not\n"
             "-- comparable: look at club and ball.\n"
             "SELECT player.name AS player,\n"
             "  date(session.started_utc_us / 1000000, 'unixepoch', 'localtime') AS local_day,\n"
             "  session.id AS session, block.id AS block, block.kind AS kind, block.ball AS ball,\n"
             "  block.club AS club,\n"
             "  sum(swing.excluded_reason IS NULL) AS swings,\n"
             "  sum(swing.excluded_reason IS NOT NULL) AS excluded,\n"
             "  round(avg(iif(swing.excluded_reason IS NULL, club_speed.value, NULL)), 2)\n"
             "    AS club_speed_mps");
    for (const struct uf_view_metric *m = uf_view_metrics; m->name; m++)
        sqlite3_str_appendf(sql,
                            ",\n  round(avg(iif(swing.excluded_reason IS NULL, swing_metric.%s, "
                            "NULL)), %d) AS %s",
                            m->name, m->digits, m->name);
    sqlite3_str_appendall(
        sql, "\nFROM player JOIN session ON session.player_id = player.id\n"
             "JOIN swing ON swing.session_id = session.id\n"
             "LEFT JOIN block ON block.id = swing.block_id\n"
             "LEFT JOIN derivation ON derivation.swing_id = swing.id AND derivation.current = 1\n"
             "LEFT JOIN swing_metric ON swing_metric.derivation_id = derivation.id\n"
             "LEFT JOIN swing_extra AS club_speed\n"
             "  ON club_speed.swing_id = swing.id AND club_speed.name = 'club_speed'\n"
             "GROUP BY player.id, session.id, block.id\n"
             "ORDER BY player.name, session.started_utc_us, block.id");
}

void uf_view_plate_health(sqlite3_str *sql)
{
    sqlite3_str_appendall(
        sql,
        "CREATE VIEW plate_health AS\n"
        "-- How the plates are, one row a rig: last zero and its drift in N of vertical force, age "
        "of\n"
        "-- the calibration, swings with lost samples, last word of the line to the board.\n"
        "SELECT rig.id AS rig, rig.name AS name,\n"
        "  datetime(tare.taken_utc_us / 1000000, 'unixepoch', 'localtime') AS zero_local_time,\n"
        "  round(tare.left_drift_n, 2) AS left_drift_n, -- since the zero before\n"
        "  round(tare.right_drift_n, 2) AS right_drift_n,\n"
        "  round(tare.left_total_drift_n, 2) AS left_total_drift_n, -- since the daemon's start\n"
        "  round(tare.right_total_drift_n, 2) AS right_total_drift_n,\n"
        "  coalesce(tare.look, 0) AS look, -- 1: the drift is so large that a person should look\n"
        "  coalesce(calibration.name, 'data sheet') AS calibration,\n"
        "  round((unixepoch() - calibration.made_utc_us / 1e6) / 86400, 1)\n"
        "    AS calibration_age_days, -- NULL: not calibrated with weights\n"
        "  (SELECT plate || CASE passed WHEN 1 THEN ': passed' ELSE ': NOT PASSED' END\n"
        "    FROM plate_check WHERE plate_check.rig_id = rig.id ORDER BY id DESC LIMIT 1)\n"
        "    AS last_check, -- NULL: never checked\n"
        "  (SELECT datetime(at_utc_us / 1000000, 'unixepoch', 'localtime') FROM plate_check\n"
        "    WHERE plate_check.rig_id = rig.id ORDER BY id DESC LIMIT 1) AS "
        "last_check_local_time,\n"
        "  (SELECT count(*) FROM swing WHERE swing.rig_id = rig.id) AS swings,\n"
        "  (SELECT count(*) FROM swing JOIN derivation ON swing_id = swing.id AND current = 1\n"
        "    WHERE swing.rig_id = rig.id AND flags & ");
    sqlite3_str_appendf(sql, "%u", (unsigned)UF_FLAG_LOST);
    sqlite3_str_appendall(
        sql,
        ") AS swings_with_lost_samples,\n"
        "  (SELECT kind || coalesce(': ' || detail, '') FROM link_event ORDER BY id DESC LIMIT 1)\n"
        "    AS link, -- of the database's last daemon, whatever its rig\n"
        "  (SELECT datetime(at_utc_us / 1000000, 'unixepoch', 'localtime') FROM link_event\n"
        "    ORDER BY id DESC LIMIT 1) AS link_local_time\n"
        "FROM rig\n"
        "LEFT JOIN tare ON tare.id = (SELECT max(id) FROM tare WHERE tare.rig_id = rig.id)\n"
        "LEFT JOIN calibration ON calibration.rig_id = rig.id AND calibration.active = 1");
}
