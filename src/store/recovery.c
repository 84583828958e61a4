/* SPDX-License-Identifier: MIT
 * See recovery.h. Reads only. */
#include "store/recovery.h"

#include "store/database.h"

int uf_store_swing_newest(struct uf_store *s, int64_t *id, struct uf_error *err)
{
    return uf_db_pragma(s, "SELECT coalesce(max(id), 0) FROM swing", id, err);
}

static bool is_taken(int64_t id, const int64_t *taken, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (taken[i] == id)
            return true;
    return false;
}

int uf_store_swing_find(struct uf_store *s, const struct uf_capture *capture, int64_t after_id,
                        const int64_t *taken, size_t n, int64_t *id, struct uf_error *err)
{
    static const char doing[] = "look for a swing";
    char board[17];
    sqlite3_stmt *q;
    bool found = false;
    int rc = uf_db_prepare(
        s, &q, "SELECT id FROM swing WHERE id > ?1 AND board_id = ?2 ORDER BY id", doing, err);
    if (rc)
        return rc;
    for (size_t i = 0; i < sizeof capture->board.board_id; i++)
        snprintf(board + 2 * i, 3, "%02x", capture->board.board_id[i]);
    sqlite3_bind_int64(q, 1, after_id);
    sqlite3_bind_text(q, 2, board, -1, SQLITE_STATIC);
    while (!found && (rc = uf_db_step(s, q, doing, err)) > 0) {
        struct uf_capture *other;
        *id = sqlite3_column_int64(q, 0);
        if (is_taken(*id, taken, n))
            continue;
        rc = uf_store_capture(s, *id, &other, err);
        if (rc)
            break;
        found = uf_capture_same(capture, other);
        uf_capture_free(other);
    }
    sqlite3_finalize(q);
    if (found || rc < 0)
        return found ? UF_OK : rc;
    return uf_fail(err, UF_ENOTFOUND, "the swing is not in %s yet", s->path);
}
