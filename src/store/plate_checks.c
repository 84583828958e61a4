/* SPDX-License-Identifier: MIT
 * Rows of plate_check. */
#include "store/plate_checks.h"

#include "store/database.h"

#include <string.h>

static int add_one(struct uf_store *s, int64_t rig_id, const struct uf_plate_check *c,
                   const char *doing, struct uf_error *err)
{
    char uuid[37];
    sqlite3_stmt *q;
    int rc = uf_uuid(uuid, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO plate_check (uuid, rig_id, calibration_id, plate,"
                           " at_utc_us, x_mm, y_mm, known_n, vertical_n, horizontal_n,"
                           " place_error_mm, passed) VALUES (?1, ?2, nullif(?3, 0), ?4, ?5, ?6, ?7,"
                           " ?8, ?9, ?10, ?11, ?12)",
                           doing, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, uuid, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 2, rig_id);
    sqlite3_bind_int64(q, 3, c->calibration_id);
    sqlite3_bind_text(q, 4, uf_place_name(c->plate), -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 5, c->at_utc_us);
    uf_db_bind_real(q, 6, c->x_mm);
    uf_db_bind_real(q, 7, c->y_mm);
    uf_db_bind_real(q, 8, c->known_n);
    uf_db_bind_real(q, 9, c->vertical_n);
    uf_db_bind_real(q, 10, c->horizontal_n);
    uf_db_bind_real(q, 11, c->place_error_mm);
    sqlite3_bind_int(q, 12, c->passed);
    return uf_db_run(s, q, doing, err);
}

int uf_store_checks_add(struct uf_store *s, int64_t rig_id, const struct uf_plate_check *check,
                        size_t n, struct uf_error *err)
{
    static const char doing[] = "store the check";
    int rc = uf_db_begin(s, doing, err);
    if (rc)
        return rc;
    for (size_t i = 0; rc == 0 && i < n; i++)
        rc = add_one(s, rig_id, &check[i], doing, err);
    return uf_db_end(s, rc, doing, err);
}

int uf_store_check_days(struct uf_store *s, int64_t rig_id, enum uf_place plate,
                        struct uf_check_day *day, size_t n, size_t *found, struct uf_error *err)
{
    static const char doing[] = "read the checks";
    sqlite3_stmt *q;
    *found = 0;
    int rc =
        uf_db_prepare(s, &q,
                      "SELECT * FROM ("
                      " SELECT min(at_utc_us) AS at, max(vertical_n / known_n) - 1, min(vertical_n "
                      "/ known_n) - 1,"
                      "  max(place_error_mm), min(passed)"
                      " FROM plate_check WHERE rig_id = ?1 AND plate = ?2"
                      " GROUP BY at_utc_us / 86400000000 ORDER BY at DESC LIMIT ?3) ORDER BY at",
                      doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    sqlite3_bind_text(q, 2, uf_place_name(plate), -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 3, (sqlite3_int64)n);
    while ((rc = uf_db_step(s, q, doing, err)) > 0 && *found < n) {
        struct uf_check_day *d = &day[(*found)++];
        double high = uf_db_real(q, 1), low = uf_db_real(q, 2);
        d->at_utc_us = sqlite3_column_int64(q, 0);
        d->vertical_error_pct = 100 * (high > -low ? high : low);
        d->place_error_mm = uf_db_real(q, 3);
        d->passed = sqlite3_column_int(q, 4) != 0;
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

int uf_store_rig_health(struct uf_store *s, int64_t rig_id, const struct uf_rig *rig,
                        struct uf_rig_health *out, struct uf_error *err)
{
    static const char doing[] = "read the age of the calibration";
    sqlite3_stmt *q;
    memset(out, 0, sizeof *out);
    int rc = uf_db_prepare(
        s, &q, "SELECT made_utc_us FROM calibration WHERE rig_id = ?1 AND active = 1", doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0)
        out->calibrated_utc_us = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    for (int p = 0; rc >= 0 && p < rig->plates; p++) {
        size_t found;
        rc = uf_store_check_days(s, rig_id, rig->plate[p].place, &out->check[p], 1, &found, err);
        out->checked[p] = rc == UF_OK && found > 0;
    }
    return rc < 0 ? rc : UF_OK;
}
