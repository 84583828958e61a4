/* SPDX-License-Identifier: MIT
 * See page_people.h. What is averaged is what counts: excluded swings are listed, and nothing else.
 */
#include "daemon/page_people.h"

#include "daemon/page_query.h"
#include "store/comparison_words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TEXT_(x) #x
#define TEXT(x)  TEXT_(x)

/* ---- sessions ---- */

#define SESSION_SQL                                                                                \
    "SELECT session.id AS id, started_utc_us AS utc_us, ended_utc_us, session.note AS note,"       \
    " player.id AS player_id, player.name AS player,"                                              \
    " (SELECT count(*) FROM swing WHERE session_id = session.id) AS swings,"                       \
    " (SELECT count(*) FROM swing WHERE session_id = session.id AND excluded_reason IS NOT NULL)"  \
    " AS excluded,"                                                                                \
    " (SELECT count(*) FROM swing WHERE session_id = session.id AND starred = 1) AS starred,"      \
    " (SELECT count(*) FROM block WHERE session_id = session.id) AS blocks"                        \
    " FROM session LEFT JOIN player ON player.id = session.player_id "

/* A session in which nothing happened is no lesson: the daemon opens one at each start. */
#define HAS_SOMETHING                                                                              \
    " (player_id IS NOT NULL OR EXISTS (SELECT 1 FROM swing WHERE session_id = session.id)"        \
    " OR EXISTS (SELECT 1 FROM block WHERE session_id = session.id)) "

static int rows_message(const char *database, const char *type, const char *sql, json_t **out,
                        struct uf_error *err)
{
    struct uf_store *s = NULL;
    json_t *rows = json_array();
    *out = NULL;
    int rc = uf_page_open(&s, database, err);
    if (rc == UF_OK)
        rc = uf_page_rows(s, sql, 0, "list what the page shows", rows, err);
    if (rc == UF_OK && !(*out = json_pack("{s:s, s:O}", "type", type, "rows", rows)))
        rc = uf_fail(err, UF_ENOMEM, "no memory for a list");
    json_decref(rows);
    uf_store_close(s);
    return rc;
}

int uf_page_read_sessions(const char *database, json_t **out, struct uf_error *err)
{
    return rows_message(database, "sessions",
                        SESSION_SQL "WHERE" HAS_SOMETHING
                                    "ORDER BY started_utc_us DESC, session.id DESC"
                                    " LIMIT " TEXT(UF_PAGE_SESSIONS_MAX),
                        out, err);
}

static json_t *columns_json(const enum uf_metric *m)
{
    json_t *a = json_array();
    for (; *m != UF_METRICS; m++) {
        const struct uf_metric_row *row = uf_metric_row(*m);
        json_array_append_new(a, json_pack("{s:s, s:s, s:s}", "name", row->name, "unit", row->unit,
                                           "meaning", row->meaning));
    }
    return a;
}

/* Columns of the metrics, for a SELECT. NULL without memory; sqlite3_free. */
static char *metric_columns(const enum uf_metric *m)
{
    sqlite3_str *sql = sqlite3_str_new(NULL);
    for (; *m != UF_METRICS; m++)
        sqlite3_str_appendf(sql, ", swing_metric.%s", uf_metric_row(*m)->name);
    return sqlite3_str_finish(sql);
}

/* What the list of a session shows: as the list of all swings. */
static const enum uf_metric listed[] = {
    UF_M_trail_share_max_pct,
    UF_M_total_vertical_peak_bw,
    UF_M_lead_vertical_peak_bw,
    UF_M_lead_vertical_peak_to_impact_ms,
    UF_M_target_peak_bw,
    UF_M_turn_peak_nm,
    UF_METRICS,
};

#define LISTED_FROM 7 /* first column of a metric */

static int add_swing(sqlite3_stmt *q, void *who, struct uf_error *err)
{
    json_t *values = json_array();
    for (int i = LISTED_FROM; i < sqlite3_column_count(q); i++)
        json_array_append_new(values, uf_page_column(q, i));
    json_t *o = json_object();
    for (int i = 0; i < LISTED_FROM; i++)
        json_object_set_new(o, sqlite3_column_name(q, i), uf_page_column(q, i));
    json_object_set_new(o, "values", values);
    return json_array_append_new(who, o) ? uf_fail(err, UF_ENOMEM, "no memory for a session")
                                         : UF_OK;
}

static int read_session_swings(struct uf_store *s, int64_t id, json_t *swings, struct uf_error *err)
{
    char *columns = metric_columns(listed);
    char *sql = sqlite3_mprintf(
        "SELECT swing.id AS id, coalesce(trigger_utc_us, stored_utc_us) AS utc_us,"
        " block_id AS block, starred, excluded_reason AS excluded, comment, flags%s FROM swing"
        " LEFT JOIN derivation ON derivation.swing_id = swing.id AND current = 1"
        " LEFT JOIN swing_metric ON derivation_id = derivation.id WHERE session_id = ?1"
        " ORDER BY swing.id DESC LIMIT " TEXT(UF_PAGE_SESSION_MAX),
        columns ? columns : "");
    int rc = columns && sql
                 ? uf_page_each(s, sql, id, "read the swings of a session", add_swing, swings, err)
                 : uf_fail(err, UF_ENOMEM, "no memory for a session");
    sqlite3_free(sql);
    sqlite3_free(columns);
    return rc;
}

int uf_page_read_session(const char *database, int64_t id, json_t **out, struct uf_error *err)
{
    struct uf_store *s = NULL;
    json_t *about = NULL, *blocks = json_array(), *swings = json_array();
    *out = NULL;
    int rc = uf_page_open(&s, database, err);
    if (rc == UF_OK && id > 0) {
        rc = uf_page_row(s, SESSION_SQL "WHERE session.id = ?1", id, "session", &about, err);
    } else if (rc == UF_OK) {
        rc = uf_page_row(s,
                         SESSION_SQL "WHERE" HAS_SOMETHING "AND ?1 = 0"
                                     " ORDER BY started_utc_us DESC, session.id DESC LIMIT 1",
                         0, "session", &about, NULL);
        if (rc)
            rc = uf_fail(err, UF_ENOTFOUND, "no session is stored yet");
    }
    if (rc == UF_OK) {
        id = json_integer_value(json_object_get(about, "id"));
        rc = uf_page_rows(s,
                          "SELECT id, kind, ball, club, note, started_utc_us AS utc_us,"
                          " ended_utc_us FROM block WHERE session_id = ?1 ORDER BY id",
                          id, "read the blocks of a session", blocks, err);
    }
    if (rc == UF_OK)
        rc = read_session_swings(s, id, swings, err);
    if (rc == UF_OK && !(*out = json_pack("{s:s, s:I, s:O, s:O, s:o, s:O}", "type", "session", "id",
                                          (json_int_t)id, "about", about, "blocks", blocks,
                                          "columns", columns_json(listed), "rows", swings)))
        rc = uf_fail(err, UF_ENOMEM, "no memory for a session");
    json_decref(about);
    json_decref(blocks);
    json_decref(swings);
    uf_store_close(s);
    return rc;
}

int uf_page_read_remarks(const char *database, int64_t id, json_t **out, struct uf_error *err)
{
    struct uf_store *s = NULL;
    json_t *blocks = json_array(), *extras = json_array();
    *out = NULL;
    int rc = uf_page_open(&s, database, err);
    if (rc == UF_OK)
        rc = uf_page_row(s,
                         "SELECT 'remarks' AS type, swing.id AS id, starred, comment,"
                         " excluded_reason AS excluded, block_id AS block, session_id AS session,"
                         " started_utc_us AS session_utc_us, player_id, player.name AS player"
                         " FROM swing JOIN session ON session.id = session_id"
                         " LEFT JOIN player ON player.id = player_id WHERE swing.id = ?1",
                         id, "swing", out, err);
    if (rc == UF_OK)
        rc = uf_page_rows(s,
                          "SELECT id, kind, ball, club FROM block WHERE session_id ="
                          " (SELECT session_id FROM swing WHERE id = ?1) ORDER BY id",
                          id, "read the blocks of a session", blocks, err);
    if (rc == UF_OK)
        rc = uf_page_rows(s,
                          "SELECT name, value, unit, original, source FROM swing_extra"
                          " WHERE swing_id = ?1 ORDER BY name",
                          id, "read the numbers of other instruments", extras, err);
    if (rc == UF_OK) {
        json_object_set(*out, "blocks", blocks);
        json_object_set(*out, "extras", extras);
    } else {
        json_decref(*out);
        *out = NULL;
    }
    json_decref(blocks);
    json_decref(extras);
    uf_store_close(s);
    return rc;
}

/* ---- players ---- */

int uf_page_read_players(const char *database, json_t **out, struct uf_error *err)
{
    return rows_message(
        database, "players",
        "SELECT player.id AS id, name, player.hand AS hand, count(session.id) AS sessions,"
        " max(started_utc_us) AS utc_us,"
        " (SELECT count(*) FROM swing JOIN session AS own ON own.id = session_id"
        "   WHERE own.player_id = player.id) AS swings"
        " FROM player LEFT JOIN session ON player_id = player.id GROUP BY player.id"
        " ORDER BY max(started_utc_us) IS NULL, max(started_utc_us) DESC, name"
        " LIMIT " TEXT(UF_PAGE_PEOPLE_MAX),
        out, err);
}

/* Swings of one session with one club, with or without a ball, on their way to means. */
struct months {
    const enum uf_metric *metric;
    size_t columns;
    int64_t session, utc_us;
    json_t *club, *ball; /* of the group; NULL: no group yet */
    double *value;       /* [n][columns] */
    size_t n, room;
    json_t *rows;
};

#define MONTHS_FROM 4 /* first column of a number */

static int end_group(struct months *m, struct uf_error *err)
{
    if (m->n == 0)
        return UF_OK;
    json_t *numbers = json_array();
    double *column = malloc(m->n * sizeof *column);
    for (size_t k = 0; column && k < m->columns; k++) {
        struct uf_spread spread;
        for (size_t i = 0; i < m->n; i++)
            column[i] = m->value[i * m->columns + k];
        uf_spread_of(column, m->n, &spread);
        json_array_append_new(numbers, json_pack("{s:I, s:o, s:o}", "n", (json_int_t)spread.n,
                                                 "mean", uf_page_number(spread.mean), "sd",
                                                 uf_page_number(spread.sd)));
    }
    json_t *row = json_pack("{s:I, s:I, s:O, s:O, s:I, s:o}", "session", (json_int_t)m->session,
                            "utc_us", (json_int_t)m->utc_us, "club", m->club, "ball", m->ball,
                            "swings", (json_int_t)m->n, "numbers", numbers);
    bool kept = column && json_array_append_new(m->rows, row) == 0;
    free(column);
    json_decref(m->club);
    json_decref(m->ball);
    m->club = m->ball = NULL;
    m->n = 0;
    return kept ? UF_OK : uf_fail(err, UF_ENOMEM, "no memory for a player's months");
}

static int add_month(sqlite3_stmt *q, void *who, struct uf_error *err)
{
    struct months *m = who;
    int64_t session = sqlite3_column_int64(q, 0);
    json_t *club = uf_page_column(q, 2), *ball = uf_page_column(q, 3);
    int rc = UF_OK;
    if (m->n && (session != m->session || !json_equal(club, m->club) || !json_equal(ball, m->ball)))
        rc = end_group(m, err);
    if (rc == UF_OK && m->n == m->room) {
        size_t room = m->room ? 2 * m->room : 64;
        double *value = realloc(m->value, room * m->columns * sizeof *value);
        if (value) {
            m->value = value;
            m->room = room;
        } else {
            rc = uf_fail(err, UF_ENOMEM, "no memory for a player's months");
        }
    }
    if (rc == UF_OK) {
        if (m->n == 0) {
            m->session = session;
            m->utc_us = sqlite3_column_int64(q, 1);
            m->club = json_incref(club);
            m->ball = json_incref(ball);
        }
        for (size_t k = 0; k < m->columns; k++) {
            int column = MONTHS_FROM + (int)k;
            bool known = sqlite3_column_type(q, column) != SQLITE_NULL;
            m->value[m->n * m->columns + k] =
                known ? sqlite3_column_double(q, column) : (double)NAN;
        }
        m->n++;
    }
    json_decref(club);
    json_decref(ball);
    return rc;
}

/* Numbers of different clubs, or with and without a ball, are not comparable: a row each. The last
 * column is the club speed that another instrument measured. */
static int read_months(struct uf_store *s, int64_t id, json_t *rows, struct uf_error *err)
{
    struct months m = {.metric = uf_comparison_first(), .rows = rows};
    while (m.metric[m.columns] != UF_METRICS)
        m.columns++;
    m.columns++;
    char *columns = metric_columns(m.metric);
    char *sql = sqlite3_mprintf(
        "SELECT session.id, session.started_utc_us, club, ball%s, swing_extra.value"
        " FROM (SELECT * FROM session WHERE player_id = ?1 ORDER BY started_utc_us DESC"
        "   LIMIT " TEXT(
            UF_PAGE_SESSIONS_MAX) ") AS session"
                                  " JOIN swing ON swing.session_id = session.id AND "
                                  "excluded_reason IS NULL"
                                  " JOIN derivation ON derivation.swing_id = swing.id "
                                  "AND current = 1"
                                  " JOIN swing_metric ON derivation_id = derivation.id"
                                  " LEFT JOIN block ON block.id = swing.block_id"
                                  " LEFT JOIN swing_extra ON swing_extra.swing_id = "
                                  "swing.id AND swing_extra.name ="
                                  "   'club_speed'"
                                  " ORDER BY session.started_utc_us, session.id, club, ball",
        columns ? columns : "");
    int rc = columns && sql
                 ? uf_page_each(s, sql, id, "read the months of a player", add_month, &m, err)
                 : uf_fail(err, UF_ENOMEM, "no memory for a player's months");
    if (rc == UF_OK)
        rc = end_group(&m, err);
    json_decref(m.club);
    json_decref(m.ball);
    free(m.value);
    sqlite3_free(sql);
    sqlite3_free(columns);
    return rc;
}

int uf_page_read_player(const char *database, int64_t id, json_t **out, struct uf_error *err)
{
    struct uf_store *s = NULL;
    json_t *about = NULL, *sessions = json_array(), *months = json_array();
    json_t *columns = columns_json(uf_comparison_first());
    json_array_append_new(columns, json_pack("{s:s, s:s, s:s}", "name", "club_speed", "unit", "m/s",
                                             "meaning", "club speed, of another instrument"));
    *out = NULL;
    int rc = uf_page_open(&s, database, err);
    if (rc == UF_OK)
        rc = uf_page_row(s,
                         "SELECT id, name, hand, foot_length_mm, stature_mm, note, cautions,"
                         " made_utc_us AS utc_us FROM player WHERE id = ?1",
                         id, "player", &about, err);
    if (rc == UF_OK)
        rc = uf_page_rows(s,
                          SESSION_SQL "WHERE player_id = ?1 ORDER BY started_utc_us DESC,"
                                      " session.id DESC LIMIT " TEXT(UF_PAGE_SESSIONS_MAX),
                          id, "read the sessions of a player", sessions, err);
    if (rc == UF_OK)
        rc = read_months(s, id, months, err);
    if (rc == UF_OK && !(*out = json_pack("{s:s, s:I, s:O, s:O, s:O, s:O}", "type", "player", "id",
                                          (json_int_t)id, "about", about, "sessions", sessions,
                                          "columns", columns, "months", months)))
        rc = uf_fail(err, UF_ENOMEM, "no memory for a player");
    json_decref(about);
    json_decref(sessions);
    json_decref(months);
    json_decref(columns);
    uf_store_close(s);
    return rc;
}
