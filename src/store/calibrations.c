/* SPDX-License-Identifier: MIT
 * Rows of rig and calibration. */
#include "store/calibrations.h"

#include "plate/matrix_error.h"
#include "store/database.h"
#include "store/rig_json.h"
#include "store/schema.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int no_text(struct uf_error *err)
{
    return uf_fail(err, UF_ENOMEM, "no memory to write JSON");
}

/* ---- rigs ---- */

static int rig_find(struct uf_store *s, const char *text, int64_t *rig_id, struct uf_error *err)
{
    static const char doing[] = "look the rig up";
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT id FROM rig WHERE description_json = ?1", doing, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, text, -1, SQLITE_STATIC);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0)
        *rig_id = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    return rc;
}

static int rig_insert(struct uf_store *s, const struct uf_rig *rig, const char *text,
                      int64_t *rig_id, struct uf_error *err)
{
    static const char doing[] = "store the rig";
    char uuid[37];
    sqlite3_stmt *q;
    int rc = uf_uuid(uuid, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO rig (uuid, name, plates, channels, description_json)"
                           " VALUES (?1, ?2, ?3, ?4, ?5)",
                           doing, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, uuid, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 2, rig->name, -1, SQLITE_STATIC);
    sqlite3_bind_int(q, 3, rig->plates);
    sqlite3_bind_int(q, 4, rig->channels);
    sqlite3_bind_text(q, 5, text, -1, SQLITE_STATIC);
    rc = uf_db_run(s, q, doing, err);
    *rig_id = sqlite3_last_insert_rowid(s->db);
    return rc;
}

int uf_store_rig(struct uf_store *s, const struct uf_rig *rig, int64_t *rig_id,
                 struct uf_error *err)
{
    static const char doing[] = "store the rig";
    char *text = uf_rig_to_text(rig);
    if (!text)
        return no_text(err);
    int rc = rig_find(s, text, rig_id, err); /* usually there: no write, and no waiting for one */
    if (rc == 0) {
        rc = uf_db_begin(s, doing, err);
        if (rc == 0) {
            int found = rig_find(s, text, rig_id, err);
            if (found == 0)
                found = rig_insert(s, rig, text, rig_id, err);
            rc = uf_db_end(s, found > 0 ? UF_OK : found, doing, err);
        }
    }
    free(text);
    return rc > 0 ? UF_OK : rc;
}

int uf_store_rig_get(struct uf_store *s, int64_t rig_id, struct uf_rig *out, struct uf_error *err)
{
    static const char doing[] = "read the rig";
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT description_json FROM rig WHERE id = ?1", doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0)
        rc = uf_rig_from_text(uf_store_text(q, 0), out, err);
    else if (rc == 0)
        rc = uf_fail(err, UF_ENOTFOUND, "there is no rig %lld in %s", (long long)rig_id, s->path);
    sqlite3_finalize(q);
    return rc;
}

/* ---- calibrations ---- */

static int refuse_known(struct uf_store *s, const char *uuid, const char *doing,
                        struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT name FROM calibration WHERE uuid = ?1", doing, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, uuid, -1, SQLITE_STATIC);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0)
        rc = uf_fail(err, UF_ESTATE,
                     "the calibration %s (\"%s\") is already in %s, and a calibration is never "
                     "overwritten: give a changed one another uuid",
                     uuid, uf_store_text(q, 0), s->path);
    sqlite3_finalize(q);
    return rc;
}

int uf_store_calibration_add(struct uf_store *s, int64_t rig_id, const struct uf_rig *rig,
                             const struct uf_calibration *cal, const json_t *provenance,
                             int64_t made_utc_us, int64_t *id, struct uf_error *err)
{
    static const char doing[] = "store the calibration";
    char uuid[37], *matrices = NULL, *how = NULL;
    sqlite3_stmt *q;
    int rc = UF_OK;
    if (cal->uuid[0])
        snprintf(uuid, sizeof uuid, "%s", cal->uuid);
    else
        rc = uf_uuid(uuid, err);
    if (rc)
        return rc;
    json_t *json = uf_calibration_to_json(rig, cal);
    if (json && json_object_set_new(json, "uuid", json_string(uuid)) == 0)
        matrices = json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(17));
    if (provenance)
        how = json_dumps(provenance, JSON_COMPACT | JSON_ENCODE_ANY | JSON_REAL_PRECISION(17));
    rc = matrices && (how || !provenance) ? uf_db_begin(s, doing, err) : no_text(err);
    if (rc)
        goto done;
    rc = refuse_known(s, uuid, doing, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO calibration (uuid, rig_id, name, nominal, matrices_json,"
                           " provenance_json, made_utc_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                           doing, err);
    if (rc == 0) {
        sqlite3_bind_text(q, 1, uuid, -1, SQLITE_STATIC);
        sqlite3_bind_int64(q, 2, rig_id);
        sqlite3_bind_text(q, 3, cal->name, -1, SQLITE_STATIC);
        sqlite3_bind_int(q, 4, cal->nominal);
        sqlite3_bind_text(q, 5, matrices, -1, SQLITE_STATIC);
        sqlite3_bind_text(q, 6, how, -1, SQLITE_STATIC);
        sqlite3_bind_int64(q, 7, made_utc_us);
        rc = uf_db_run(s, q, doing, err);
        *id = sqlite3_last_insert_rowid(s->db);
    }
    if (rc == 0)
        rc = uf_schema_calibration_loads(s, *id, err);
    rc = uf_db_end(s, rc, doing, err);
done:
    free(how);
    free(matrices);
    json_decref(json);
    return rc;
}

int uf_store_calibration_activate(struct uf_store *s, int64_t id, struct uf_error *err)
{
    static const char doing[] = "activate the calibration";
    static const char *const steps[] = {
        "UPDATE calibration SET active = 0 WHERE active = 1"
        " AND rig_id = (SELECT rig_id FROM calibration WHERE id = ?1) AND id <> ?1",
        "UPDATE calibration SET active = 1 WHERE id = ?1"};
    int rc = uf_db_begin(s, doing, err);
    if (rc)
        return rc;
    for (size_t i = 0; rc == 0 && i < sizeof steps / sizeof steps[0]; i++) {
        sqlite3_stmt *q;
        rc = uf_db_prepare(s, &q, steps[i], doing, err);
        if (rc == 0) {
            sqlite3_bind_int64(q, 1, id);
            rc = uf_db_run(s, q, doing, err);
        }
    }
    if (rc == 0 && sqlite3_changes(s->db) == 0)
        rc = uf_fail(err, UF_ENOTFOUND, "there is no calibration %lld in %s", (long long)id,
                     s->path);
    return uf_db_end(s, rc, doing, err);
}

/* From a row of id, nominal, name, uuid, matrices_json, provenance_json. Where the last cannot be
 * read, only the uncertainty of the matrix is not known. */
static int calibration_from_row(sqlite3_stmt *q, const struct uf_rig *rig,
                                struct uf_calibration *out, struct uf_error *err)
{
    json_error_t why;
    struct uf_error inner = {.text = ""};
    json_t *json = json_loads(uf_store_text(q, 4), 0, &why);
    int rc = json ? uf_calibration_from_json(rig, json, out, &inner)
                  : uf_fail(&inner, UF_ECORRUPT, "%s", why.text);
    json_decref(json);
    if (rc)
        return uf_fail(err, UF_ECORRUPT, "the calibration %lld cannot be used: %.300s",
                       (long long)sqlite3_column_int64(q, 0), inner.text);
    out->nominal = sqlite3_column_int(q, 1) != 0;
    uf_db_text(q, 2, out->name, sizeof out->name);
    uf_db_text(q, 3, out->uuid, sizeof out->uuid);
    const char *how = (const char *)sqlite3_column_text(q, 5);
    json = how ? json_loads(how, 0, NULL) : NULL;
    uf_matrix_error_all(json, rig, out);
    json_decref(json);
    return UF_OK;
}

int uf_store_calibration_active(struct uf_store *s, int64_t rig_id, const struct uf_rig *rig,
                                struct uf_calibration *out, int64_t *id, struct uf_error *err)
{
    static const char doing[] = "read the active calibration";
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT id, nominal, name, uuid, matrices_json,"
                           " provenance_json FROM calibration"
                           " WHERE rig_id = ?1 AND active = 1",
                           doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0) {
        *id = sqlite3_column_int64(q, 0);
        rc = calibration_from_row(q, rig, out, err);
    } else if (rc == 0) {
        rc = uf_fail(err, UF_ENOTFOUND,
                     "the rig \"%s\" has no active calibration; make one with underfoot-calib",
                     rig->name);
    }
    sqlite3_finalize(q);
    return rc;
}

int uf_store_calibration_get(struct uf_store *s, int64_t id, const struct uf_rig *rig,
                             struct uf_calibration *out, struct uf_error *err)
{
    static const char doing[] = "read a calibration";
    if (id == 0) {
        uf_calibration_nominal(rig, out);
        return UF_OK;
    }
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT id, nominal, name, uuid, matrices_json,"
                           " provenance_json FROM calibration"
                           " WHERE id = ?1",
                           doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0)
        rc = calibration_from_row(q, rig, out, err);
    else if (rc == 0)
        rc = uf_fail(err, UF_ENOTFOUND, "there is no calibration %lld in %s", (long long)id,
                     s->path);
    sqlite3_finalize(q);
    return rc;
}

int uf_store_calibration_provenance(struct uf_store *s, int64_t id, json_t **out,
                                    struct uf_error *err)
{
    static const char doing[] = "read a calibration";
    *out = NULL;
    sqlite3_stmt *q;
    int rc =
        uf_db_prepare(s, &q, "SELECT provenance_json FROM calibration WHERE id = ?1", doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0) {
        const char *text = (const char *)sqlite3_column_text(q, 0);
        *out = text ? json_loads(text, JSON_DECODE_ANY, NULL) : json_null();
        rc = *out ? UF_OK
                  : uf_fail(err, UF_ECORRUPT, "the provenance of calibration %lld is not JSON",
                            (long long)id);
    } else if (rc == 0) {
        rc = uf_fail(err, UF_ENOTFOUND, "there is no calibration %lld in %s", (long long)id,
                     s->path);
    }
    sqlite3_finalize(q);
    return rc;
}

int uf_store_calibration_list(struct uf_store *s, int64_t rig_id, struct uf_calibration_info **out,
                              size_t *n, struct uf_error *err)
{
    static const char doing[] = "list the calibrations";
    struct uf_calibration_info *list = NULL;
    size_t count = 0, room = 0;
    *out = NULL;
    *n = 0;
    sqlite3_stmt *q;
    int rc =
        uf_db_prepare(s, &q,
                      "SELECT id, rig_id, made_utc_us, uuid, name, nominal, active,"
                      " (SELECT count(*) FROM derivation WHERE calibration_id = calibration.id)"
                      " FROM calibration WHERE ?1 = 0 OR rig_id = ?1 ORDER BY id",
                      doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rig_id);
    while ((rc = uf_db_step(s, q, doing, err)) > 0) {
        if (count == room) {
            room = 2 * room + 8;
            struct uf_calibration_info *more = realloc(list, room * sizeof *list);
            if (!more) {
                rc = uf_fail(err, UF_ENOMEM, "no memory to list the calibrations");
                break;
            }
            list = more;
        }
        struct uf_calibration_info *c = &list[count++];
        c->id = sqlite3_column_int64(q, 0);
        c->rig_id = sqlite3_column_int64(q, 1);
        c->made_utc_us = sqlite3_column_int64(q, 2);
        uf_db_text(q, 3, c->uuid, sizeof c->uuid);
        uf_db_text(q, 4, c->name, sizeof c->name);
        c->nominal = sqlite3_column_int(q, 5) != 0;
        c->active = sqlite3_column_int(q, 6) != 0;
        c->derivations = sqlite3_column_int64(q, 7);
    }
    sqlite3_finalize(q);
    if (rc) {
        free(list);
        return rc;
    }
    *out = list;
    *n = count;
    return UF_OK;
}
