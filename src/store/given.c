/* SPDX-License-Identifier: MIT
 * What is known of a swing beside its raw counts: marks of its moments, and where the feet stood.
 * See store.h. */
#include "store/database.h"
#include "store/feet.h"
#include "store/swings.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define DOING_WRITE "store a mark"
#define DOING_READ  "read what is known of a swing"

int uf_store_mark(struct uf_store *s, int64_t swing_id, enum uf_event_kind kind, double t_s,
                  double u_s, int64_t made_utc_us, struct uf_error *err)
{
    int rc = uf_db_begin(s, DOING_WRITE, err);
    if (rc)
        return rc;
    sqlite3_stmt *q;
    rc = uf_db_prepare(s, &q,
                       isnan(t_s) ? "DELETE FROM mark WHERE swing_id = ?1 AND kind = ?2"
                                  : "INSERT INTO mark (swing_id, kind, t_s, u_s, made_utc_us)"
                                    " VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT (swing_id, kind)"
                                    " DO UPDATE SET t_s = ?3, u_s = ?4, made_utc_us = ?5",
                       DOING_WRITE, err);
    if (rc == 0) {
        sqlite3_bind_int64(q, 1, swing_id);
        sqlite3_bind_text(q, 2, uf_event_name(kind), -1, SQLITE_STATIC);
        if (!isnan(t_s)) {
            uf_db_bind_real(q, 3, t_s);
            uf_db_bind_real(q, 4, u_s);
            sqlite3_bind_int64(q, 5, made_utc_us);
        }
        rc = uf_db_run(s, q, DOING_WRITE, err);
    }
    return uf_db_end(s, rc, DOING_WRITE, err);
}

/* Adds to the text; what does not fit cannot happen: seven marks, two rows, a limit and a
 * hand at most. */
__attribute__((format(printf, 2, 3))) static void say(char *basis, const char *format, ...)
{
    va_list args;
    size_t n = strlen(basis);
    va_start(args, format);
    vsnprintf(basis + n, UF_BASIS_SIZE - n, format, args);
    va_end(args);
}

static int read_marks(struct uf_store *s, int64_t swing_id, struct uf_given *given, char *basis,
                      struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc =
        uf_db_prepare(s, &q, "SELECT kind, t_s, u_s FROM mark WHERE swing_id = ?1 ORDER BY kind",
                      DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing_id);
    while ((rc = uf_db_step(s, q, DOING_READ, err)) > 0)
        for (int i = 0; i < UF_EVENTS; i++) {
            const char *kind = uf_store_text(q, 0);
            if (strcmp(kind, uf_event_name((enum uf_event_kind)i)) != 0)
                continue;
            given->mark[i] =
                (struct uf_mark){sqlite3_column_double(q, 1), sqlite3_column_double(q, 2)};
            say(basis, "%s %.9g +- %.4g; ", kind, given->mark[i].t_s, given->mark[i].u_s);
        }
    sqlite3_finalize(q);
    return rc;
}

static int read_feet(struct uf_store *s, int64_t rocking_id, enum uf_hand hand,
                     struct uf_given *given, char *basis, struct uf_error *err)
{
    struct uf_feet feet;
    int64_t row[UF_FEET];
    int rc = uf_store_feet(s, rocking_id, hand, &feet, row, err);
    for (int foot = 0; rc == 0 && foot < UF_FEET; foot++) {
        if (!feet.pose[foot].known)
            continue;
        given->foot[foot] = feet.pose[foot];
        say(basis, "%s foot %lld; ", foot == UF_LEAD ? "lead" : "trail", (long long)row[foot]);
    }
    return rc;
}

/* By the calendar, at the time of the swing. */
static int read_age(struct uf_store *s, const struct uf_given_of *of, struct uf_given *given,
                    char *basis, struct uf_error *err)
{
    sqlite3_stmt *q;
    if (of->calibration_id == 0 || of->utc_us == 0)
        return UF_OK;
    int rc =
        uf_db_prepare(s, &q, "SELECT made_utc_us FROM calibration WHERE id = ?1", DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, of->calibration_id);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0)
        given->calibration_age_days =
            (double)(of->utc_us - sqlite3_column_int64(q, 0)) / (86400 * 1e6);
    sqlite3_finalize(q);
    if (fabs(of->old_days - UF_OLD_DAYS_DEFAULT) > 0)
        say(basis, "old after %.9g d; ", of->old_days);
    return rc < 0 ? rc : UF_OK;
}

int uf_store_given_of(struct uf_store *s, int64_t swing_id, struct uf_given_of *out,
                      struct uf_error *err)
{
    sqlite3_stmt *q;
    char hand[8], captured[8];
    memset(out, 0, sizeof *out);
    out->swing_id = swing_id;
    out->old_days = UF_OLD_DAYS_DEFAULT;
    int rc = uf_db_prepare(s, &q,
                           "SELECT hand, captured_hand, coalesce(rocking_id, 0),"
                           " coalesce(trigger_utc_us, 0) FROM swing WHERE id = ?1",
                           DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing_id);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0) {
        uf_db_text(q, 0, hand, sizeof hand);
        uf_db_text(q, 1, captured, sizeof captured);
        out->hand = strcmp(hand, "left") == 0 ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
        out->other_hand = *captured && strcmp(captured, hand) != 0;
        out->rocking_id = sqlite3_column_int64(q, 2);
        out->utc_us = sqlite3_column_int64(q, 3);
    }
    sqlite3_finalize(q);
    return rc > 0 ? UF_OK : rc < 0 ? rc : uf_store_swing_known(s, swing_id, err);
}

int uf_store_given(struct uf_store *s, const struct uf_given_of *of, struct uf_given *given,
                   char *basis, struct uf_error *err)
{
    uf_given_nothing(given);
    basis[0] = '\0';
    int rc = of->swing_id ? read_marks(s, of->swing_id, given, basis, err) : UF_OK;
    if (rc == 0 && of->rocking_id)
        rc = read_feet(s, of->rocking_id, of->hand, given, basis, err);
    if (rc == 0)
        rc = read_age(s, of, given, basis, err);
    if (rc == 0 && of->other_hand)
        say(basis, "as %s-handed; ", of->hand == UF_LEFT_HANDED ? "left" : "right");
    return rc;
}
