/* SPDX-License-Identifier: MIT
 * See lessons.h. */
#include "store/lessons.h"

#include "store/database.h"

#include <string.h>

#define DOING_SESSION "change a session"
#define DOING_BLOCK   "change a block"
#define DOING_LOOK    "look for the open session"

/* One statement with up to four whole numbers, ?1 to ?4. */
static int run4(struct uf_store *s, const char *sql, const char *doing, const int64_t v[4],
                struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, sql, doing, err);
    if (rc)
        return rc;
    for (int i = 0; i < sqlite3_bind_parameter_count(q); i++)
        sqlite3_bind_int64(q, i + 1, v[i]);
    return uf_db_run(s, q, doing, err);
}

/* ---- what is open ---- */

/* When something last happened in the session of the row. */
#define ACTIVE                                                                                     \
    "max(session.started_utc_us,"                                                                  \
    " coalesce((SELECT max(stored_utc_us) FROM swing WHERE session_id = session.id), 0),"          \
    " coalesce((SELECT max(max(started_utc_us, coalesce(ended_utc_us, 0))) FROM block"             \
    " WHERE session_id = session.id), 0))"

#define LESSON "session.id, block.id, player.id, player.hand"

static void lesson_from(sqlite3_stmt *q, struct uf_lesson *out)
{
    char hand[8];
    out->session_id = sqlite3_column_int64(q, 0);
    out->block_id = sqlite3_column_int64(q, 1);
    out->player_id = sqlite3_column_int64(q, 2);
    uf_db_text(q, 3, hand, sizeof hand);
    out->hand = strcmp(hand, "left") == 0 ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
}

int uf_lesson_now(struct uf_store *s, int64_t rig_id, int64_t now_utc_us, struct uf_lesson *out,
                  struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(
        s, &q,
        "SELECT " LESSON ", " ACTIVE " FROM session"
        " LEFT JOIN block ON block.session_id = session.id AND block.ended_utc_us IS NULL"
        " LEFT JOIN player ON player.id = session.player_id"
        " WHERE session.ended_utc_us IS NULL AND (?1 = 0 OR session.rig_id = ?1)"
        " ORDER BY session.id DESC LIMIT 1",
        DOING_LOOK, err);
    memset(out, 0, sizeof *out);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    rc = uf_db_step(s, q, DOING_LOOK, err);
    if (rc > 0 && now_utc_us - sqlite3_column_int64(q, 4) < UF_SESSION_IDLE_US)
        lesson_from(q, out);
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

int uf_lesson_at(struct uf_store *s, int64_t rig_id, int64_t at_utc_us, bool or_last,
                 struct uf_lesson *out, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(
        s, &q,
        "SELECT " LESSON " FROM session"
        " LEFT JOIN block ON block.id = (SELECT id FROM block WHERE session_id = session.id"
        "  AND started_utc_us <= ?2 AND (ended_utc_us IS NULL OR ended_utc_us > ?2"
        "  OR (?4 AND ended_utc_us = session.ended_utc_us))"
        "  ORDER BY started_utc_us DESC, id DESC LIMIT 1)"
        " LEFT JOIN player ON player.id = session.player_id"
        " WHERE session.rig_id = ?1 AND session.started_utc_us <= ?2"
        " AND (?4 OR session.ended_utc_us > ?2"
        "  OR (session.ended_utc_us IS NULL AND ?2 - " ACTIVE " < ?3))"
        " ORDER BY session.started_utc_us DESC, session.id DESC LIMIT 1",
        DOING_LOOK, err);
    memset(out, 0, sizeof *out);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    sqlite3_bind_int64(q, 2, at_utc_us);
    sqlite3_bind_int64(q, 3, UF_SESSION_IDLE_US);
    sqlite3_bind_int(q, 4, or_last);
    rc = uf_db_step(s, q, DOING_LOOK, err);
    if (rc > 0)
        lesson_from(q, out);
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

int uf_lesson_about(struct uf_store *s, int64_t rig_id, int64_t now_utc_us,
                    struct uf_lesson_about *out, struct uf_error *err)
{
    memset(out, 0, sizeof *out);
    int rc = uf_lesson_now(s, rig_id, now_utc_us, &out->now, err);
    if (rc || out->now.session_id == 0)
        return rc;
    sqlite3_stmt *q;
    rc = uf_db_prepare(s, &q,
                       "SELECT player.name, player.cautions, started_utc_us,"
                       " (SELECT count(*) FROM swing WHERE session_id = session.id"
                       " AND excluded_reason IS NULL),"
                       " (SELECT count(*) FROM swing WHERE block_id = ?2"
                       " AND excluded_reason IS NULL)"
                       " FROM session LEFT JOIN player ON player.id = player_id"
                       " WHERE session.id = ?1",
                       DOING_LOOK, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, out->now.session_id);
    sqlite3_bind_int64(q, 2, out->now.block_id);
    rc = uf_db_step(s, q, DOING_LOOK, err);
    if (rc > 0) {
        uf_db_text(q, 0, out->player, sizeof out->player);
        uf_db_text(q, 1, out->cautions, sizeof out->cautions);
        out->started_utc_us = sqlite3_column_int64(q, 2);
        out->swings = sqlite3_column_int64(q, 3);
        out->block_swings = sqlite3_column_int64(q, 4);
    }
    sqlite3_finalize(q);
    if (rc >= 0 && out->now.block_id)
        rc = uf_block_get(s, out->now.block_id, &out->block, err);
    return rc < 0 ? rc : UF_OK;
}

/* Ends what is open of this rig: at now where it is still going on, else at its last activity
 * (the power was cut, or everybody went home). */
static int end_open(struct uf_store *s, int64_t rig_id, int64_t now_utc_us, struct uf_error *err)
{
    const int64_t v[4] = {rig_id, now_utc_us, UF_SESSION_IDLE_US};
    int rc = run4(s,
                  "UPDATE session SET ended_utc_us ="
                  " CASE WHEN ?2 - " ACTIVE " < ?3 THEN max(?2, " ACTIVE ") ELSE " ACTIVE " END"
                  " WHERE rig_id = ?1 AND ended_utc_us IS NULL",
                  DOING_SESSION, v, err);
    if (rc)
        return rc;
    return run4(s,
                "UPDATE block SET ended_utc_us = max(started_utc_us, (SELECT ended_utc_us FROM"
                " session WHERE id = session_id)) WHERE ended_utc_us IS NULL"
                " AND (SELECT ended_utc_us FROM session WHERE id = session_id) IS NOT NULL",
                DOING_BLOCK, v, err);
}

/* ended_utc_us 0: it is open. */
static int add_session(struct uf_store *s, int64_t rig_id, int64_t player_id, const char *note,
                       int64_t started_utc_us, int64_t ended_utc_us, int64_t *id,
                       struct uf_error *err)
{
    char uuid[37];
    sqlite3_stmt *q;
    int rc = uf_uuid(uuid, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO session (uuid, rig_id, started_utc_us, player_id, note,"
                           " opened_by, ended_utc_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                           DOING_SESSION, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, uuid, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 2, rig_id);
    sqlite3_bind_int64(q, 3, started_utc_us);
    if (player_id)
        sqlite3_bind_int64(q, 4, player_id);
    if (note && *note)
        sqlite3_bind_text(q, 5, note, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 6, player_id ? "person" : "daemon", -1, SQLITE_STATIC);
    if (ended_utc_us)
        sqlite3_bind_int64(q, 7, ended_utc_us);
    rc = uf_db_run(s, q, DOING_SESSION, err);
    *id = sqlite3_last_insert_rowid(s->db);
    return rc;
}

static int new_session(struct uf_store *s, int64_t rig_id, int64_t player_id, const char *note,
                       int64_t now_utc_us, int64_t *id, struct uf_error *err)
{
    int rc = end_open(s, rig_id, now_utc_us, err);
    return rc ? rc : add_session(s, rig_id, player_id, note, now_utc_us, 0, id, err);
}

/* One time of the rig's sessions; 0: there is none. ?1: the rig, ?2: at. */
static int session_time(struct uf_store *s, const char *sql, int64_t rig_id, int64_t at_utc_us,
                        int64_t *out, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, sql, DOING_LOOK, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    if (sqlite3_bind_parameter_count(q) > 1)
        sqlite3_bind_int64(q, 2, at_utc_us);
    rc = uf_db_step(s, q, DOING_LOOK, err);
    *out = rc > 0 ? sqlite3_column_int64(q, 0) : 0;
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

int uf_lesson_claim(struct uf_store *s, int64_t rig_id, int64_t at_utc_us, int64_t now_utc_us,
                    struct uf_lesson *out, struct uf_error *err)
{
    int64_t open_utc_us, next_utc_us;
    int rc = session_time(s,
                          "SELECT max(max(session.started_utc_us,"
                          " coalesce(block.started_utc_us, 0))) FROM session LEFT JOIN block"
                          " ON session_id = session.id AND block.ended_utc_us IS NULL"
                          " WHERE rig_id = ?1 AND session.ended_utc_us IS NULL",
                          rig_id, 0, &open_utc_us, err);
    if (rc == 0 && open_utc_us > now_utc_us) /* the clock was set back */
        at_utc_us = open_utc_us;
    if (rc == 0)
        rc = uf_lesson_at(s, rig_id, at_utc_us, false, out, err);
    if (rc || out->session_id)
        return rc;
    /* before a person's lesson: not a part of that one */
    rc = session_time(s,
                      "SELECT iif(opened_by = 'person', started_utc_us, 0) FROM session"
                      " WHERE rig_id = ?1 AND started_utc_us > ?2"
                      " ORDER BY started_utc_us, id LIMIT 1",
                      rig_id, at_utc_us, &next_utc_us, err);
    if (rc == 0 && next_utc_us)
        return add_session(s, rig_id, 0, NULL, at_utc_us, next_utc_us, &out->session_id, err);
    if (rc == 0)
        rc = uf_lesson_now(s, rig_id, now_utc_us, out, err);
    if (rc || out->session_id)
        return rc;
    return new_session(s, rig_id, 0, NULL, at_utc_us, &out->session_id, err);
}

/* ---- the daemon's start and end ---- */

/* When session or block id ended (0: it is open); UF_ENOTFOUND. */
static int ended_at(struct uf_store *s, const char *table, int64_t id, char when[32],
                    struct uf_error *err)
{
    sqlite3_stmt *q;
    when[0] = '\0';
    bool session = strcmp(table, "session") == 0;
    int rc = uf_db_prepare(s, &q,
                           session ? "SELECT datetime(ended_utc_us / 1000000, 'unixepoch',"
                                     " 'localtime') FROM session WHERE id = ?1"
                                   : "SELECT datetime(ended_utc_us / 1000000, 'unixepoch',"
                                     " 'localtime') FROM block WHERE id = ?1",
                           DOING_LOOK, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, DOING_LOOK, err);
    if (rc > 0)
        uf_db_text(q, 0, when, 32);
    sqlite3_finalize(q);
    if (rc == 0)
        return uf_fail(err, UF_ENOTFOUND, "there is no %s %lld; see: underfoot %s list", table,
                       (long long)id, table);
    return rc < 0 ? rc : UF_OK;
}

static int close_session(struct uf_store *s, int64_t id, int64_t now_utc_us, struct uf_error *err)
{
    const int64_t v[4] = {id, now_utc_us};
    int rc = run4(s, "UPDATE session SET ended_utc_us = max(started_utc_us, ?2) WHERE id = ?1",
                  DOING_SESSION, v, err);
    if (rc == 0)
        rc = run4(s,
                  "UPDATE block SET ended_utc_us = max(started_utc_us, ?2) WHERE session_id = ?1"
                  " AND ended_utc_us IS NULL",
                  DOING_SESSION, v, err);
    return rc;
}

static bool opened_by_person(struct uf_store *s, int64_t id)
{
    sqlite3_stmt *q;
    bool person = false;
    if (uf_db_prepare(s, &q, "SELECT opened_by = 'person' FROM session WHERE id = ?1", DOING_LOOK,
                      NULL))
        return false;
    sqlite3_bind_int64(q, 1, id);
    if (uf_db_step(s, q, DOING_LOOK, NULL) > 0)
        person = sqlite3_column_int(q, 0) != 0;
    sqlite3_finalize(q);
    return person;
}

int uf_store_session_open(struct uf_store *s, int64_t rig_id, int64_t utc_us, int64_t *id,
                          struct uf_error *err)
{
    struct uf_lesson open;
    int rc = uf_db_begin(s, DOING_SESSION, err);
    if (rc)
        return rc;
    rc = uf_lesson_now(s, rig_id, utc_us, &open, err);
    if (rc == 0 && open.session_id && opened_by_person(s, open.session_id))
        *id = open.session_id;
    else if (rc == 0)
        rc = new_session(s, rig_id, 0, NULL, utc_us, id, err);
    return uf_db_end(s, rc, DOING_SESSION, err);
}

int uf_store_session_close(struct uf_store *s, int64_t id, int64_t utc_us, struct uf_error *err)
{
    char when[32];
    int rc = uf_db_begin(s, DOING_SESSION, err);
    if (rc)
        return rc;
    rc = ended_at(s, "session", id, when, err);
    if (rc == 0 && !*when && !opened_by_person(s, id))
        rc = close_session(s, id, utc_us, err);
    return uf_db_end(s, rc, DOING_SESSION, err);
}

/* ---- sessions ---- */

int uf_session_start(struct uf_store *s, int64_t player_id, const char *note,
                     const struct uf_rig *rig, int64_t now_utc_us, int64_t *id,
                     struct uf_error *err)
{
    int64_t rig_id = 0;
    int rc = uf_db_pragma(s, "SELECT rig_id FROM session ORDER BY id DESC LIMIT 1", &rig_id, err);
    if (rc == 0 && rig_id == 0)
        rc = uf_store_rig(s, rig, &rig_id, err);
    if (rc == 0)
        rc = uf_db_begin(s, DOING_SESSION, err);
    if (rc)
        return rc;
    rc = new_session(s, rig_id, player_id, note, now_utc_us, id, err);
    return uf_db_end(s, rc, DOING_SESSION, err);
}

static int open_check(struct uf_store *s, const char *table, int64_t id, struct uf_error *err)
{
    char when[32];
    int rc = ended_at(s, table, id, when, err);
    if (rc == 0 && *when)
        rc =
            uf_fail(err, UF_ESTATE, "%s %lld has ended already, at %s", table, (long long)id, when);
    return rc;
}

int uf_session_end(struct uf_store *s, int64_t id, int64_t now_utc_us, int64_t *ended,
                   struct uf_error *err)
{
    int rc = uf_db_begin(s, DOING_SESSION, err);
    if (rc)
        return rc;
    struct uf_lesson open = {.session_id = id};
    if (id == 0)
        rc = uf_lesson_now(s, 0, now_utc_us, &open, err);
    if (rc == 0 && open.session_id == 0)
        rc = uf_fail(err, UF_ESTATE,
                     "no session is open; begin one with: underfoot session start "
                     "PLAYER");
    if (rc == 0)
        rc = open_check(s, "session", open.session_id, err);
    if (rc == 0)
        rc = close_session(s, open.session_id, now_utc_us, err);
    *ended = open.session_id;
    return uf_db_end(s, rc, DOING_SESSION, err);
}

int uf_session_change(struct uf_store *s, int64_t id, int64_t player_id, const char *note,
                      struct uf_error *err)
{
    char when[32];
    int rc = uf_db_begin(s, DOING_SESSION, err);
    if (rc)
        return rc;
    rc = ended_at(s, "session", id, when, err);
    const int64_t v[4] = {id, player_id};
    if (rc == 0 && player_id >= 0)
        rc = run4(s,
                  "UPDATE session SET player_id = nullif(?2, 0),"
                  " opened_by = iif(?2 = 0, opened_by, 'person') WHERE id = ?1",
                  DOING_SESSION, v, err);
    sqlite3_stmt *q;
    if (rc == 0 && note) {
        rc = uf_db_prepare(s, &q, "UPDATE session SET note = nullif(?2, '') WHERE id = ?1",
                           DOING_SESSION, err);
        if (rc == 0) {
            sqlite3_bind_int64(q, 1, id);
            sqlite3_bind_text(q, 2, note, -1, SQLITE_STATIC);
            rc = uf_db_run(s, q, DOING_SESSION, err);
        }
    }
    return uf_db_end(s, rc, DOING_SESSION, err);
}

/* ---- blocks ---- */

/* ?1 to ?4 of the statement: kind, ball, club, note. */
static int write_block(struct uf_store *s, sqlite3_stmt *q, const struct uf_block *b,
                       struct uf_error *err)
{
    sqlite3_bind_text(q, 1, b->kind, -1, SQLITE_STATIC);
    if (b->ball >= 0)
        sqlite3_bind_int(q, 2, b->ball);
    if (*b->club)
        sqlite3_bind_text(q, 3, b->club, -1, SQLITE_STATIC);
    if (*b->note)
        sqlite3_bind_text(q, 4, b->note, -1, SQLITE_STATIC);
    return uf_db_run(s, q, DOING_BLOCK, err);
}

static int kind_check(const struct uf_block *b, struct uf_error *err)
{
    if (!*b->kind)
        return uf_fail(err, UF_EINVAL,
                       "a block needs a kind: baseline, drill, retest, or a word of yours");
    return UF_OK;
}

static int insert_block(struct uf_store *s, struct uf_block *b, struct uf_error *err)
{
    char uuid[37];
    sqlite3_stmt *q;
    int rc = uf_uuid(uuid, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO block (kind, ball, club, note, uuid, session_id,"
                           " started_utc_us, ended_utc_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                           DOING_BLOCK, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 5, uuid, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 6, b->session_id);
    sqlite3_bind_int64(q, 7, b->started_utc_us);
    if (b->ended_utc_us)
        sqlite3_bind_int64(q, 8, b->ended_utc_us);
    rc = write_block(s, q, b, err);
    b->id = sqlite3_last_insert_rowid(s->db);
    return rc;
}

static int close_block(struct uf_store *s, int64_t id, int64_t now_utc_us, struct uf_error *err)
{
    const int64_t v[4] = {id, now_utc_us};
    return run4(s, "UPDATE block SET ended_utc_us = max(started_utc_us, ?2) WHERE id = ?1",
                DOING_BLOCK, v, err);
}

int uf_block_start(struct uf_store *s, struct uf_block *b, int64_t now_utc_us, int64_t *before,
                   struct uf_error *err)
{
    struct uf_lesson open;
    int rc = kind_check(b, err);
    if (rc == 0)
        rc = uf_db_begin(s, DOING_BLOCK, err);
    if (rc)
        return rc;
    rc = uf_lesson_now(s, 0, now_utc_us, &open, err);
    if (rc == 0 && open.session_id == 0)
        rc = uf_fail(err, UF_ESTATE,
                     "no session is open, and a block is a part of one; begin it "
                     "with: underfoot session start PLAYER");
    if (rc == 0 && open.block_id)
        rc = close_block(s, open.block_id, now_utc_us, err);
    *before = open.block_id;
    b->session_id = open.session_id;
    b->started_utc_us = now_utc_us;
    b->ended_utc_us = 0;
    if (rc == 0)
        rc = insert_block(s, b, err);
    return uf_db_end(s, rc, DOING_BLOCK, err);
}

int uf_block_add(struct uf_store *s, struct uf_block *b, struct uf_error *err)
{
    char when[32];
    sqlite3_stmt *q;
    int rc = kind_check(b, err);
    if (rc == 0)
        rc = uf_db_begin(s, DOING_BLOCK, err);
    if (rc)
        return rc;
    rc = ended_at(s, "session", b->session_id, when, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q, "SELECT started_utc_us FROM session WHERE id = ?1", DOING_BLOCK,
                           err);
    if (rc == 0) {
        sqlite3_bind_int64(q, 1, b->session_id);
        rc = uf_db_step(s, q, DOING_BLOCK, err);
        b->started_utc_us = b->ended_utc_us = sqlite3_column_int64(q, 0);
        sqlite3_finalize(q);
        rc = rc < 0 ? rc : insert_block(s, b, err);
    }
    return uf_db_end(s, rc, DOING_BLOCK, err);
}

/* For "no block is open": which was the last. */
static int none_open(struct uf_store *s, struct uf_error *err)
{
    char when[32] = "";
    int64_t last = 0;
    int rc = uf_db_pragma(s, "SELECT coalesce(max(id), 0) FROM block", &last, err);
    if (rc == 0 && last)
        rc = ended_at(s, "block", last, when, err);
    if (rc)
        return rc;
    if (*when)
        return uf_fail(err, UF_ESTATE,
                       "no block is open: the last one, %lld, ended at %s. Begin another with: "
                       "underfoot block start KIND",
                       (long long)last, when);
    return uf_fail(err, UF_ESTATE, "no block is open; begin one with: underfoot block start KIND");
}

int uf_block_end(struct uf_store *s, int64_t id, int64_t now_utc_us, int64_t *ended,
                 struct uf_error *err)
{
    int rc = uf_db_begin(s, DOING_BLOCK, err);
    if (rc)
        return rc;
    struct uf_lesson open = {.block_id = id};
    if (id == 0)
        rc = uf_lesson_now(s, 0, now_utc_us, &open, err);
    if (rc == 0 && open.block_id == 0)
        rc = none_open(s, err);
    if (rc == 0)
        rc = open_check(s, "block", open.block_id, err);
    if (rc == 0)
        rc = close_block(s, open.block_id, now_utc_us, err);
    *ended = open.block_id;
    return uf_db_end(s, rc, DOING_BLOCK, err);
}

int uf_block_change(struct uf_store *s, const struct uf_block *b, struct uf_error *err)
{
    char when[32];
    sqlite3_stmt *q;
    int rc = kind_check(b, err);
    if (rc == 0)
        rc = uf_db_begin(s, DOING_BLOCK, err);
    if (rc)
        return rc;
    rc = ended_at(s, "block", b->id, when, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "UPDATE block SET kind = ?1, ball = ?2, club = ?3, note = ?4"
                           " WHERE id = ?5",
                           DOING_BLOCK, err);
    if (rc == 0) {
        sqlite3_bind_int64(q, 5, b->id);
        rc = write_block(s, q, b, err);
    }
    return uf_db_end(s, rc, DOING_BLOCK, err);
}

int uf_block_get(struct uf_store *s, int64_t id, struct uf_block *out, struct uf_error *err)
{
    char when[32];
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT session_id, kind, coalesce(ball, -1), club, note,"
                           " started_utc_us, ended_utc_us FROM block WHERE id = ?1",
                           DOING_LOOK, err);
    if (rc)
        return rc;
    memset(out, 0, sizeof *out);
    out->id = id;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, DOING_LOOK, err);
    if (rc > 0) {
        out->session_id = sqlite3_column_int64(q, 0);
        uf_db_text(q, 1, out->kind, sizeof out->kind);
        out->ball = sqlite3_column_int(q, 2);
        uf_db_text(q, 3, out->club, sizeof out->club);
        uf_db_text(q, 4, out->note, sizeof out->note);
        out->started_utc_us = sqlite3_column_int64(q, 5);
        out->ended_utc_us = sqlite3_column_int64(q, 6);
    }
    sqlite3_finalize(q);
    return rc > 0 ? UF_OK : rc < 0 ? rc : ended_at(s, "block", id, when, err);
}
