/* SPDX-License-Identifier: MIT
 * See focus.h. */
#include "store/focus.h"

#include "base/setting.h"
#include "store/database.h"

#define DOING "read or change what a session is about"

int uf_focus_metric(const char *name, int *metric, struct uf_error *err)
{
    const char *nearest = NULL;
    size_t best = SIZE_MAX;
    *metric = uf_metric_find(name);
    for (int i = 0; *metric < 0 && i < UF_METRICS; i++) {
        const char *other = uf_metric_row((enum uf_metric)i)->name;
        size_t d = uf_setting_distance(name, other);
        if (d < best) {
            best = d;
            nearest = other;
        }
    }
    if (*metric >= 0)
        return UF_OK;
    return uf_fail(err, UF_EINVAL,
                   "there is no number \"%.80s\"%s%s; their names and meanings: sqlite3 FILE "
                   "\"SELECT name, meaning FROM metric\"",
                   name, best <= 2 * UF_SETTING_HINT ? ", did you mean " : "",
                   best <= 2 * UF_SETTING_HINT ? nearest : "");
}

static int no_session(int64_t id, struct uf_error *err)
{
    return uf_fail(err, UF_ENOTFOUND, "there is no session %lld; see: underfoot session list",
                   (long long)id);
}

int uf_focus_set(struct uf_store *s, int64_t session_id, const char *fault, const char *metric,
                 struct uf_error *err)
{
    char words[UF_NAME_BYTES] = "";
    sqlite3_stmt *q;
    int unused, rc = UF_OK;
    if (fault)
        rc = uf_person_text(words, sizeof words, fault, "the fault", err);
    if (rc == 0 && metric && *metric)
        rc = uf_focus_metric(metric, &unused, err);
    if (rc == 0)
        rc = uf_db_begin(s, DOING, err);
    if (rc)
        return rc;
    rc = uf_db_prepare(s, &q,
                       "UPDATE session SET fault = iif(?2, nullif(?3, ''), fault),"
                       " focus_metric = iif(?4, nullif(?5, ''), focus_metric) WHERE id = ?1",
                       DOING, err);
    if (rc == 0) {
        sqlite3_bind_int64(q, 1, session_id);
        sqlite3_bind_int(q, 2, fault != NULL);
        sqlite3_bind_text(q, 3, words, -1, SQLITE_STATIC);
        sqlite3_bind_int(q, 4, metric != NULL);
        sqlite3_bind_text(q, 5, metric ? metric : "", -1, SQLITE_STATIC);
        rc = uf_db_run(s, q, DOING, err);
    }
    if (rc == 0 && sqlite3_changes(s->db) == 0)
        rc = no_session(session_id, err);
    return uf_db_end(s, rc, DOING, err);
}

int uf_focus_get(struct uf_store *s, int64_t session_id, struct uf_focus *out, struct uf_error *err)
{
    char name[64];
    sqlite3_stmt *q;
    *out = (struct uf_focus){.metric = -1};
    int rc =
        uf_db_prepare(s, &q, "SELECT fault, focus_metric FROM session WHERE id = ?1", DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, session_id);
    rc = uf_db_step(s, q, DOING, err);
    if (rc > 0) {
        uf_db_text(q, 0, out->fault, sizeof out->fault);
        uf_db_text(q, 1, name, sizeof name);
        out->metric = *name ? uf_metric_find(name) : -1;
    }
    sqlite3_finalize(q);
    return rc > 0 ? UF_OK : rc < 0 ? rc : no_session(session_id, err);
}
