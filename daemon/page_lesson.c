/* SPDX-License-Identifier: MIT
 * Rows to JSON: see page_lesson.h. */
#include "daemon/page_lesson.h"

#include "base/clock.h"
#include "daemon/page_query.h"
#include "store/lessons.h"

static json_t *column_json(sqlite3_stmt *q, int column)
{
    switch (sqlite3_column_type(q, column)) {
    case SQLITE_INTEGER:
        return json_integer(sqlite3_column_int64(q, column));
    case SQLITE_FLOAT:
        return json_real(sqlite3_column_double(q, column));
    case SQLITE_TEXT:
        return uf_store_text_json(q, column);
    default:
        return json_null();
    }
}

/* An object a row, named by the columns. */
static int rows_json(struct uf_store *s, const char *sql, int64_t id, json_t *out,
                     struct uf_error *err)
{
    sqlite3_stmt *q = NULL;
    int rc = sqlite3_prepare_v2(uf_store_db(s), sql, -1, &q, NULL);
    if (rc == SQLITE_OK)
        sqlite3_bind_int64(q, 1, id);
    while (rc == SQLITE_OK && (rc = sqlite3_step(q)) == SQLITE_ROW) {
        json_t *row = json_object();
        for (int i = 0; i < sqlite3_column_count(q); i++)
            json_object_set_new(row, sqlite3_column_name(q, i), column_json(q, i));
        json_array_append_new(out, row);
        rc = SQLITE_OK;
    }
    sqlite3_finalize(q);
    return rc == SQLITE_DONE ? UF_OK
                             : uf_fail(err, UF_EIO, "the lesson cannot be read: %s",
                                       sqlite3_errmsg(uf_store_db(s)));
}

int uf_page_read_lesson(const char *database, json_t **out, struct uf_error *err)
{
    struct uf_store *s = NULL;
    struct uf_lesson open = {0};
    json_t *players = json_array(), *clubs = json_array(), *blocks = json_array();
    *out = NULL;
    int rc = uf_page_open(&s, database, err);
    if (rc == 0)
        rc = uf_lesson_now(s, 0, uf_clock_utc_us(), &open, err);
    if (rc == 0)
        rc = rows_json(s,
                       "SELECT player.id, name, player.hand, foot_length_mm, cautions,"
                       " count(session.id) AS sessions, max(started_utc_us) AS last_utc_us"
                       " FROM player LEFT JOIN session ON player_id = player.id GROUP BY player.id"
                       " ORDER BY max(coalesce(started_utc_us, 0), made_utc_us) DESC, player.id"
                       " LIMIT ?1",
                       UF_PAGE_PLAYERS_MAX, players, err);
    if (rc == 0)
        rc = rows_json(s,
                       "SELECT club FROM block WHERE club IS NOT NULL GROUP BY club"
                       " ORDER BY max(id) DESC LIMIT ?1",
                       UF_PAGE_CLUBS_MAX, clubs, err);
    if (rc == 0)
        rc = rows_json(s,
                       "SELECT block.id, kind, ball, club, note, started_utc_us, ended_utc_us,"
                       " count(swing.id) - count(excluded_reason) AS swings,"
                       " count(excluded_reason) AS excluded"
                       " FROM block LEFT JOIN swing ON block_id = block.id"
                       " WHERE block.session_id = ?1 GROUP BY block.id ORDER BY block.id",
                       open.session_id, blocks, err);
    if (rc == 0)
        *out = json_pack("{s:s, s:O, s:O, s:O}", "type", "lesson", "players", players, "clubs",
                         clubs, "blocks", blocks);
    if (rc == 0 && !*out)
        rc = uf_fail(err, UF_ENOMEM, "no memory to read the lesson");
    json_decref(players);
    json_decref(clubs);
    json_decref(blocks);
    uf_store_close(s);
    return rc;
}
