/* SPDX-License-Identifier: MIT
 * The erasure of a player: see keep.h. */
#include "store/keep.h"

#include "store/database.h"

#include <sys/stat.h>

#define DOING       "erase a player"
#define PATIENCE_MS 1500 /* for readers that keep the log */

static int64_t file_bytes(const struct uf_store *s)
{
    struct stat st;
    return stat(s->path, &st) == 0 ? (int64_t)st.st_size : 0;
}

int uf_erase_count(struct uf_store *s, int64_t player_id, struct uf_erased *out,
                   struct uf_error *err)
{
    sqlite3_stmt *q;
    *out = (struct uf_erased){.bytes_before = file_bytes(s)};
    int rc = uf_db_prepare(s, &q,
                           "WITH his AS (SELECT id FROM session WHERE player_id = ?1)"
                           " SELECT (SELECT count(*) FROM his),"
                           " (SELECT count(*) FROM block WHERE session_id IN his),"
                           " (SELECT count(*) FROM swing WHERE session_id IN his),"
                           " (SELECT count(*) FROM swing_extra WHERE swing_id IN"
                           " (SELECT id FROM swing WHERE session_id IN his))",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, player_id);
    rc = uf_db_step(s, q, DOING, err);
    if (rc > 0) {
        out->sessions = sqlite3_column_int64(q, 0);
        out->blocks = sqlite3_column_int64(q, 1);
        out->swings = sqlite3_column_int64(q, 2);
        out->extras = sqlite3_column_int64(q, 3);
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

static int delete_rows(struct uf_store *s, int64_t player_id, struct uf_error *err)
{
    /* what hangs on a swing goes with it */
    static const char *const steps[] = {
        "DELETE FROM swing WHERE session_id IN (SELECT id FROM session WHERE player_id = ?1)",
        "DELETE FROM rocking WHERE session_id IN (SELECT id FROM session WHERE player_id = ?1)",
        "DELETE FROM block WHERE session_id IN (SELECT id FROM session WHERE player_id = ?1)",
        "DELETE FROM session WHERE player_id = ?1",
        "DELETE FROM player WHERE id = ?1",
    };
    int rc = UF_OK;
    for (size_t i = 0; rc == 0 && i < sizeof steps / sizeof steps[0]; i++) {
        sqlite3_stmt *q;
        rc = uf_db_prepare(s, &q, steps[i], DOING, err);
        if (rc)
            break;
        sqlite3_bind_int64(q, 1, player_id);
        rc = uf_db_run(s, q, DOING, err);
    }
    if (rc == 0 && sqlite3_changes(s->db) == 0)
        rc = uf_fail(err, UF_ENOTFOUND, "the player has been erased already");
    return rc;
}

/* Everything out of the log and into the file, and the log cut to nothing. */
static int empty_log(struct uf_store *s, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "PRAGMA wal_checkpoint(TRUNCATE)", DOING, err);
    if (rc)
        return rc;
    bool busy = sqlite3_step(q) != SQLITE_ROW || sqlite3_column_int(q, 0) != 0;
    sqlite3_finalize(q);
    if (!busy)
        return UF_OK;
    return uf_fail(err, UF_EBUSY,
                   "the player is erased, but traces stay in %.120s-wal while another program "
                   "reads the database. End it (an sqlite3 shell, a copy under way), then run: "
                   "sqlite3 %.120s \"PRAGMA wal_checkpoint(TRUNCATE)\"",
                   s->path, s->path);
}

int uf_erase(struct uf_store *s, int64_t player_id, struct uf_erased *out, struct uf_error *err)
{
    int rc = uf_db_exec(s, "PRAGMA secure_delete = ON", DOING, err);
    if (rc == 0)
        rc = uf_db_begin(s, DOING, err);
    if (rc)
        return rc;
    rc = uf_erase_count(s, player_id, out, err);
    if (rc == 0)
        rc = delete_rows(s, player_id, err);
    rc = uf_db_end(s, rc, DOING, err);
    if (rc)
        return rc;
    sqlite3_busy_timeout(s->db, PATIENCE_MS);
    rc = uf_db_exec(s, "VACUUM", "pack the database after erasing a player (he is erased)", err);
    if (rc == 0)
        rc = empty_log(s, err);
    out->bytes_after = file_bytes(s);
    return rc;
}
