/* SPDX-License-Identifier: MIT
 * See remarks.h. */
#include "store/remarks.h"

#include "store/database.h"
#include "store/swings.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define DOING         "mark a swing"
#define SPEED_MAX_MPS 150.0

/* ---- marks ---- */

static int session_check(struct uf_store *s, int64_t swing, const struct uf_block *block,
                         struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT session_id FROM swing WHERE id = ?1", DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing);
    rc = uf_db_step(s, q, DOING, err);
    int64_t session = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    if (rc > 0 && session != block->session_id)
        return uf_fail(
            err, UF_ESTATE,
            "swing %lld is of session %lld, and block %lld of session %lld: a swing "
            "stays in its session. Add a block there with: underfoot block add %lld KIND",
            (long long)swing, (long long)session, (long long)block->id,
            (long long)block->session_id, (long long)session);
    return rc < 0 ? rc : UF_OK;
}

/* sql has the swing as ?1; then number (?2) or text (?3) where it uses them. */
static int mark_all(struct uf_store *s, const int64_t *swing, size_t n, const char *sql,
                    int64_t number, const char *text, const struct uf_block *block,
                    struct uf_error *err)
{
    sqlite3_stmt *q = NULL;
    int rc = uf_db_begin(s, DOING, err);
    if (rc)
        return rc;
    rc = uf_db_prepare(s, &q, sql, DOING, err);
    for (size_t i = 0; rc == 0 && i < n; i++) {
        rc = uf_store_swing_known(s, swing[i], err);
        if (rc == 0 && block)
            rc = session_check(s, swing[i], block, err);
        if (rc)
            break;
        sqlite3_bind_int64(q, 1, swing[i]);
        if (sqlite3_bind_parameter_index(q, "?2"))
            sqlite3_bind_int64(q, 2, number);
        if (sqlite3_bind_parameter_index(q, "?3"))
            sqlite3_bind_text(q, 3, text ? text : "", -1, SQLITE_STATIC);
        rc = uf_db_step(s, q, DOING, err);
        sqlite3_reset(q);
    }
    sqlite3_finalize(q);
    return uf_db_end(s, rc, DOING, err);
}

int uf_remark_block(struct uf_store *s, const int64_t *swing, size_t n, int64_t block_id,
                    struct uf_error *err)
{
    struct uf_block block;
    int rc = block_id ? uf_block_get(s, block_id, &block, err) : UF_OK;
    if (rc)
        return rc;
    return mark_all(s, swing, n, "UPDATE swing SET block_id = nullif(?2, 0) WHERE id = ?1",
                    block_id, NULL, block_id ? &block : NULL, err);
}

int uf_remark_excluded(struct uf_store *s, const int64_t *swing, size_t n, const char *reason,
                       struct uf_error *err)
{
    return mark_all(s, swing, n, "UPDATE swing SET excluded_reason = nullif(?3, '') WHERE id = ?1",
                    0, reason, NULL, err);
}

int uf_remark_starred(struct uf_store *s, const int64_t *swing, size_t n, bool starred,
                      struct uf_error *err)
{
    return mark_all(s, swing, n, "UPDATE swing SET starred = ?2 WHERE id = ?1", starred, NULL, NULL,
                    err);
}

int uf_remark_comment(struct uf_store *s, const int64_t *swing, size_t n, const char *comment,
                      struct uf_error *err)
{
    return mark_all(s, swing, n, "UPDATE swing SET comment = nullif(?3, '') WHERE id = ?1", 0,
                    comment, NULL, err);
}

int uf_remark_hand(struct uf_store *s, const int64_t *swing, size_t n, enum uf_hand hand,
                   struct uf_error *err)
{
    return mark_all(s, swing, n,
                    "UPDATE swing SET captured_hand = nullif(coalesce(captured_hand, hand), ?3),"
                    " hand = ?3 WHERE id = ?1",
                    0, hand == UF_LEFT_HANDED ? "left" : "right", NULL, err);
}

/* ---- numbers of other instruments ---- */

static const struct {
    const char *unit;
    double mps;
} speeds[] = {{"m/s", 1},
              {"mph", 0.44704}, /* 1609.344 m / 3600 s */
              {"km/h", 1 / 3.6},
              {"kmh", 1 / 3.6},
              {"kph", 1 / 3.6}};

/* A factor to m/s, or 0 for a unit that is no speed's. */
static double speed_factor(const char *unit)
{
    for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++)
        if (strcasecmp(unit, speeds[i].unit) == 0)
            return speeds[i].mps;
    return 0;
}

static int name_check(const char *name, size_t size, struct uf_error *err)
{
    size_t n = strlen(name);
    if (n == 0 || n >= size || strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789_") != n ||
        (name[0] >= '0' && name[0] <= '9'))
        return uf_fail(err, UF_EINVAL,
                       "\"%.80s\" is no name for a number: small letters, digits and _, as in "
                       "club_speed, and less than %zu bytes",
                       name, size);
    return UF_OK;
}

int uf_extra_take(struct uf_extra *e, const char *name, const char *value, const char *unit,
                  struct uf_error *err)
{
    char *end;
    int rc = name_check(name, sizeof e->name, err);
    if (rc == 0)
        rc = uf_person_text(e->unit, sizeof e->unit, unit, "the unit", err);
    if (rc)
        return rc;
    strcpy(e->name, name);
    size_t n = strlen(name);
    bool speed = n > 6 && strcmp(name + n - 6, "_speed") == 0;
    double factor = speed_factor(e->unit);
    if (speed && factor == 0)
        return uf_fail(err, UF_EINVAL, "a speed needs its unit: mph, km/h or m/s%s%s%s",
                       *e->unit ? ", not \"" : "", e->unit, *e->unit ? "\"" : "");
    errno = 0;
    e->value = strtod(value, &end);
    while (*end == ' ')
        end++;
    if (end == value || *end || strlen(value) > 40 || !isfinite(e->value) || strpbrk(value, "xXnN"))
        return uf_fail(err, UF_EINVAL, "\"%.60s\" is not a number (the decimal sign is a point)",
                       value);
    snprintf(e->original, sizeof e->original, "%s%s%s", value, *e->unit ? " " : "", e->unit);
    if (factor > 0) {
        e->value *= factor;
        strcpy(e->unit, "m/s");
        if (e->value < 0 || e->value > SPEED_MAX_MPS)
            return uf_fail(err, UF_EINVAL, "%s is no speed of a club or a ball: is the unit right?",
                           e->original);
    }
    return UF_OK;
}

/* 1: the swing has this very number; 0: none of this name; UF_ESTATE: another one. */
static int compare(struct uf_store *s, const struct uf_extra *e, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT value, unit, original, source FROM swing_extra"
                           " WHERE swing_id = ?1 AND name = ?2",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, e->swing_id);
    sqlite3_bind_text(q, 2, e->name, -1, SQLITE_STATIC);
    rc = uf_db_step(s, q, DOING, err);
    if (rc > 0 &&
        (sqlite3_column_double(q, 0) != e->value || strcmp(uf_store_text(q, 1), e->unit) != 0))
        rc = uf_fail(err, UF_ESTATE,
                     "swing %lld has a %s already, %.60s (%.80s), and %.60s is another; to put "
                     "it in its place give --replace",
                     (long long)e->swing_id, e->name, uf_store_text(q, 2), uf_store_text(q, 3),
                     e->original);
    sqlite3_finalize(q);
    return rc;
}

int uf_extra_insert(struct uf_store *s, const struct uf_extra *e, bool replace, int64_t now_utc_us,
                    struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = replace ? UF_OK : compare(s, e, err);
    if (rc)
        return rc < 0 ? rc : UF_OK;
    rc = uf_db_prepare(s, &q,
                       "INSERT OR REPLACE INTO swing_extra (swing_id, name, value, unit, original,"
                       " source, at_utc_us, made_utc_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                       DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, e->swing_id);
    sqlite3_bind_text(q, 2, e->name, -1, SQLITE_STATIC);
    sqlite3_bind_double(q, 3, e->value + 0.0);
    sqlite3_bind_text(q, 4, e->unit, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 5, e->original, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 6, e->source, -1, SQLITE_STATIC);
    if (e->at_utc_us)
        sqlite3_bind_int64(q, 7, e->at_utc_us);
    sqlite3_bind_int64(q, 8, now_utc_us);
    return uf_db_run(s, q, DOING, err);
}

int uf_extra_add(struct uf_store *s, const struct uf_extra *e, size_t n, bool replace,
                 int64_t now_utc_us, struct uf_error *err)
{
    int rc = uf_db_begin(s, DOING, err);
    if (rc)
        return rc;
    for (size_t i = 0; rc == 0 && i < n; i++) {
        rc = uf_store_swing_known(s, e[i].swing_id, err);
        if (rc == 0)
            rc = uf_extra_insert(s, &e[i], replace, now_utc_us, err);
    }
    return uf_db_end(s, rc, DOING, err);
}
