/* SPDX-License-Identifier: MIT
 * What is known of a swing beside its raw counts: marks of its moments, and where the feet stood.
 * See store.h. */
#include "store/database.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define DOING_WRITE "store a mark"
#define DOING_READ  "read what is known of a swing"
#define DOING_FEET  "store where the feet stand"

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

static const char *foot_name(int foot)
{
    return foot == UF_LEAD ? "lead" : "trail";
}

int uf_store_stance_add(struct uf_store *s, int64_t session_id, int64_t from_utc_us,
                        const struct uf_foot_pose pose[UF_FEET], struct uf_error *err)
{
    int rc = uf_db_begin(s, DOING_FEET, err);
    if (rc)
        return rc;
    for (int foot = 0; rc == 0 && foot < UF_FEET; foot++) {
        const struct uf_foot_pose *p = &pose[foot];
        sqlite3_stmt *q;
        if (!p->known)
            continue;
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO stance (session_id, foot, from_utc_us, heel_target_mm,"
                           " heel_toe_mm, length_mm, width_mm, toe_out_deg, axis_u_deg, end_u_mm,"
                           " rest_along_pct, rest_across_pct)"
                           " VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
                           DOING_FEET, err);
        if (rc)
            break;
        sqlite3_bind_int64(q, 1, session_id);
        sqlite3_bind_text(q, 2, foot_name(foot), -1, SQLITE_STATIC);
        sqlite3_bind_int64(q, 3, from_utc_us);
        const double value[] = {p->heel_target_mm, p->heel_forward_mm, p->length_mm,
                                p->width_mm,       p->toe_out_deg,     p->axis_u_deg,
                                p->end_u_mm,       p->rest_along_pct,  p->rest_across_pct};
        for (int i = 0; i < 9; i++)
            uf_db_bind_real(q, 4 + i, value[i]);
        rc = uf_db_run(s, q, DOING_FEET, err);
    }
    return uf_db_end(s, rc, DOING_FEET, err);
}

/* Adds to the text; what does not fit cannot happen: seven marks and two rows at most. */
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

/* The feet as last found before the swing. */
static int read_stance(struct uf_store *s, int64_t swing_id, int64_t session_id, int foot,
                       struct uf_foot_pose *pose, char *basis, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(
        s, &q,
        "SELECT id, heel_target_mm, heel_toe_mm, length_mm, width_mm, toe_out_deg, axis_u_deg,"
        " end_u_mm, rest_along_pct, rest_across_pct FROM stance WHERE foot = ?3 AND"
        " session_id = coalesce((SELECT session_id FROM swing WHERE id = ?1), ?2) AND"
        " from_utc_us <= coalesce((SELECT coalesce(trigger_utc_us, stored_utc_us) FROM swing"
        " WHERE id = ?1), 9223372036854775807) ORDER BY from_utc_us DESC, id DESC LIMIT 1",
        DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing_id);
    sqlite3_bind_int64(q, 2, session_id);
    sqlite3_bind_text(q, 3, foot_name(foot), -1, SQLITE_STATIC);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0) {
        double v[9];
        for (int i = 0; i < 9; i++)
            v[i] = sqlite3_column_double(q, 1 + i);
        *pose = (struct uf_foot_pose){true, v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8]};
        say(basis, "%s foot %lld; ", foot_name(foot), (long long)sqlite3_column_int64(q, 0));
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

int uf_store_given(struct uf_store *s, int64_t swing_id, int64_t session_id, struct uf_given *given,
                   char *basis, struct uf_error *err)
{
    uf_given_nothing(given);
    basis[0] = '\0';
    int rc = read_marks(s, swing_id, given, basis, err);
    for (int foot = 0; rc == 0 && foot < UF_FEET; foot++)
        rc = read_stance(s, swing_id, session_id, foot, &given->foot[foot], basis, err);
    return rc;
}
