/* SPDX-License-Identifier: MIT
 * See players.h. */
#include "store/players.h"

#include "base/setting.h"
#include "store/database.h"

#include <math.h>
#include <string.h>

#define FOOT_MM_MIN    100.0
#define FOOT_MM_MAX    420.0
#define STATURE_MM_MIN 500.0
#define STATURE_MM_MAX 2500.0

/* ---- writing ---- */

static int range_check(double v, double lo, double hi, const char *what, struct uf_error *err)
{
    if (isnan(v) || (v >= lo && v <= hi))
        return UF_OK;
    return uf_fail(err, UF_EINVAL, "%s of %g mm is not a person's: give millimetres, %g to %g",
                   what, v, lo, hi);
}

static int check(struct uf_store *s, const struct uf_player *p, const char *doing,
                 struct uf_error *err)
{
    if (!*p->name)
        return uf_fail(err, UF_EINVAL, "a player needs a name or a code");
    int rc = range_check(p->foot_length_mm, FOOT_MM_MIN, FOOT_MM_MAX, "a foot length", err);
    if (rc == 0)
        rc = range_check(p->stature_mm, STATURE_MM_MIN, STATURE_MM_MAX, "a stature", err);
    sqlite3_stmt *q;
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "SELECT name FROM player WHERE name = ?1 COLLATE NOCASE AND id <> ?2",
                           doing, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, p->name, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 2, p->id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0)
        rc = uf_fail(err, UF_ESTATE,
                     "there is a player \"%s\" already; give this one another name or code, or "
                     "change that one with: underfoot player edit",
                     uf_store_text(q, 0));
    sqlite3_finalize(q);
    return rc;
}

static void bind_note(sqlite3_stmt *q, int at, const char *text)
{
    if (*text)
        sqlite3_bind_text(q, at, text, -1, SQLITE_STATIC);
}

/* ?1 to ?6; the statement has its other values. */
static int write_row(struct uf_store *s, sqlite3_stmt *q, const struct uf_player *p,
                     const char *doing, struct uf_error *err)
{
    sqlite3_bind_text(q, 1, p->name, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 2, p->hand == UF_LEFT_HANDED ? "left" : "right", -1, SQLITE_STATIC);
    uf_db_bind_real(q, 3, p->foot_length_mm);
    uf_db_bind_real(q, 4, p->stature_mm);
    bind_note(q, 5, p->note);
    bind_note(q, 6, p->cautions);
    return uf_db_run(s, q, doing, err);
}

int uf_player_add(struct uf_store *s, struct uf_player *p, int64_t now_utc_us, struct uf_error *err)
{
    static const char doing[] = "add a player";
    sqlite3_stmt *q;
    p->id = 0;
    p->made_utc_us = now_utc_us;
    int rc = uf_uuid(p->uuid, err);
    if (rc == 0)
        rc = uf_db_begin(s, doing, err);
    if (rc)
        return rc;
    rc = check(s, p, doing, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO player (name, hand, foot_length_mm, stature_mm, note,"
                           " cautions, uuid, made_utc_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                           doing, err);
    if (rc == 0) {
        sqlite3_bind_text(q, 7, p->uuid, -1, SQLITE_STATIC);
        sqlite3_bind_int64(q, 8, now_utc_us);
        rc = write_row(s, q, p, doing, err);
        p->id = sqlite3_last_insert_rowid(s->db);
    }
    return uf_db_end(s, rc, doing, err);
}

int uf_player_change(struct uf_store *s, const struct uf_player *p, struct uf_error *err)
{
    static const char doing[] = "change a player";
    sqlite3_stmt *q;
    int rc = uf_db_begin(s, doing, err);
    if (rc)
        return rc;
    rc = check(s, p, doing, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "UPDATE player SET name = ?1, hand = ?2, foot_length_mm = ?3,"
                           " stature_mm = ?4, note = ?5, cautions = ?6 WHERE id = ?7",
                           doing, err);
    if (rc == 0) {
        sqlite3_bind_int64(q, 7, p->id);
        rc = write_row(s, q, p, doing, err);
    }
    if (rc == 0 && sqlite3_changes(s->db) == 0)
        rc = uf_fail(err, UF_ENOTFOUND, "\"%s\" has been erased meanwhile", p->name);
    return uf_db_end(s, rc, doing, err);
}

/* ---- reading ---- */

static int unknown(struct uf_store *s, const char *name, struct uf_error *err)
{
    char best[UF_NAME_BYTES] = "";
    size_t least = UF_SETTING_HINT;
    long long count = 0;
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT name FROM player", "look for a player", err);
    if (rc)
        return rc;
    while ((rc = uf_db_step(s, q, "look for a player", err)) > 0) {
        char other[UF_NAME_BYTES];
        uf_db_text(q, 0, other, sizeof other);
        size_t d = uf_setting_distance(name, other);
        if (d < least) {
            least = d;
            memcpy(best, other, sizeof best);
        }
        count++;
    }
    sqlite3_finalize(q);
    if (rc < 0)
        return rc;
    if (count == 0)
        return uf_fail(err, UF_ENOTFOUND,
                       "there is no player \"%.80s\", and no other yet; add one with: underfoot "
                       "player add NAME --hand right",
                       name);
    return uf_fail(err, UF_ENOTFOUND,
                   "there is no player \"%.80s\"%s%s%s; see: underfoot player list", name,
                   *best ? "; did you mean \"" : "", best, *best ? "\"" : "");
}

static void row_from(sqlite3_stmt *q, struct uf_player *out)
{
    memset(out, 0, sizeof *out);
    out->id = sqlite3_column_int64(q, 0);
    uf_db_text(q, 1, out->uuid, sizeof out->uuid);
    uf_db_text(q, 2, out->name, sizeof out->name);
    out->hand = strcmp(uf_store_text(q, 3), "left") == 0 ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
    out->foot_length_mm = uf_db_real(q, 4);
    out->stature_mm = uf_db_real(q, 5);
    uf_db_text(q, 6, out->note, sizeof out->note);
    uf_db_text(q, 7, out->cautions, sizeof out->cautions);
    out->made_utc_us = sqlite3_column_int64(q, 8);
}

#define COLUMNS                                                                                    \
    "SELECT id, uuid, name, hand, foot_length_mm, stature_mm, note, cautions, made_utc_us"         \
    " FROM player "

int uf_player_find(struct uf_store *s, const char *name, struct uf_player *out,
                   struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           COLUMNS "WHERE name = ?1 COLLATE NOCASE OR uuid = ?1"
                                   " ORDER BY name = ?1 DESC LIMIT 1",
                           "look for a player", err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, name, -1, SQLITE_STATIC);
    rc = uf_db_step(s, q, "look for a player", err);
    if (rc > 0)
        row_from(q, out);
    sqlite3_finalize(q);
    return rc > 0 ? UF_OK : rc < 0 ? rc : unknown(s, name, err);
}

int uf_player_get(struct uf_store *s, int64_t id, struct uf_player *out, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, COLUMNS "WHERE id = ?1", "look for a player", err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, "look for a player", err);
    if (rc > 0)
        row_from(q, out);
    sqlite3_finalize(q);
    return rc > 0 ? UF_OK
           : rc < 0
               ? rc
               : uf_fail(err, UF_ENOTFOUND, "there is no player of number %lld", (long long)id);
}
