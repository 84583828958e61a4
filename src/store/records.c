/* SPDX-License-Identifier: MIT
 * Small rows of the daemon's life: zeros, events of the line. */
#include "store/database.h"

#include <stdlib.h>

/* ---- zeros ---- */

static char *counts_to_text(const double *tare_raw, int channels)
{
    json_t *json = json_array();
    for (int c = 0; c < channels; c++)
        json_array_append_new(json, json_real(tare_raw[c]));
    char *text = json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(17));
    json_decref(json);
    return text;
}

int uf_store_tare_add(struct uf_store *s, int64_t rig_id, const struct uf_tare_event *tare,
                      int channels, int64_t utc_us, struct uf_error *err)
{
    static const char doing[] = "store a zero";
    sqlite3_stmt *q;
    char *counts = counts_to_text(tare->tare_raw, channels);
    if (!counts)
        return uf_fail(err, UF_ENOMEM, "cannot %s: no memory", doing);
    int rc = uf_db_begin(s, doing, err);
    if (rc)
        goto done;
    rc = uf_db_prepare(s, &q,
                       "INSERT INTO tare (rig_id, taken_utc_us, t_dev_us, first, left_drift_n,"
                       " right_drift_n, left_total_drift_n, right_total_drift_n, was_loaded, look,"
                       " tare_raw_json) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
                       doing, err);
    if (rc == 0) {
        sqlite3_bind_int64(q, 1, rig_id);
        sqlite3_bind_int64(q, 2, utc_us);
        sqlite3_bind_int64(q, 3, tare->t_dev_us);
        sqlite3_bind_int(q, 4, tare->first);
        uf_db_bind_real(q, 5, tare->drift_n[0]);
        uf_db_bind_real(q, 6, tare->drift_n[1]);
        uf_db_bind_real(q, 7, tare->total_drift_n[0]);
        uf_db_bind_real(q, 8, tare->total_drift_n[1]);
        sqlite3_bind_int(q, 9, tare->was_loaded);
        sqlite3_bind_int(q, 10, tare->look);
        sqlite3_bind_text(q, 11, counts, -1, SQLITE_STATIC);
        rc = uf_db_run(s, q, doing, err);
    }
    rc = uf_db_end(s, rc, doing, err);
done:
    free(counts);
    return rc;
}

static int counts_from_text(const char *text, double *tare_raw)
{
    json_t *json = json_loads(text, 0, NULL);
    size_t n = json_array_size(json);
    int rc = json_is_array(json) && n <= UF_CHANNELS_MAX ? 0 : -1;
    for (size_t c = 0; rc == 0 && c < UF_CHANNELS_MAX; c++) {
        json_t *v = json_array_get(json, c);
        if (c < n && !json_is_number(v))
            rc = -1;
        tare_raw[c] = c < n ? json_number_value(v) : 0;
    }
    json_decref(json);
    return rc;
}

int uf_store_tare_last(struct uf_store *s, int64_t rig_id, double *tare_raw, int64_t *utc_us,
                       struct uf_error *err)
{
    static const char doing[] = "read the last zero";
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT taken_utc_us, tare_raw_json FROM tare WHERE rig_id = ?1"
                           " ORDER BY id DESC LIMIT 1",
                           doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0) {
        *utc_us = sqlite3_column_int64(q, 0);
        rc = counts_from_text(uf_store_text(q, 1), tare_raw)
                 ? uf_fail(err, UF_ECORRUPT, "the last zero in %s is not a list of counts", s->path)
                 : UF_OK;
    } else if (rc == 0) {
        rc = uf_fail(err, UF_ENOTFOUND, "no zero of this rig is stored in %s yet", s->path);
    }
    sqlite3_finalize(q);
    return rc;
}

/* ---- the line ---- */

int uf_store_link_event(struct uf_store *s, int64_t utc_us, const char *kind, const char *text,
                        struct uf_error *err)
{
    static const char doing[] = "store an event of the line";
    sqlite3_stmt *q;
    int rc = uf_db_begin(s, doing, err);
    if (rc)
        return rc;
    rc = uf_db_prepare(
        s, &q, "INSERT INTO link_event (at_utc_us, kind, detail) VALUES (?1, ?2, ?3)", doing, err);
    if (rc == 0) {
        sqlite3_bind_int64(q, 1, utc_us);
        sqlite3_bind_text(q, 2, kind, -1, SQLITE_STATIC);
        sqlite3_bind_text(q, 3, text, -1, SQLITE_STATIC);
        rc = uf_db_run(s, q, doing, err);
    }
    return uf_db_end(s, rc, doing, err);
}
