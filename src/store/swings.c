/* SPDX-License-Identifier: MIT
 * Swings in and out: one transaction a swing; the raw data is compressed before it begins. */
#include "store/swings.h"

#include "store/derivation.h"
#include "store/lessons.h"
#include "store/raw_codec.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DOING_WRITE "store a swing"
#define DOING_READ  "read a swing"

static const char *hand_name(enum uf_hand hand)
{
    return hand == UF_LEFT_HANDED ? "left" : "right";
}

static enum uf_hand hand_of(sqlite3_stmt *q, int column)
{
    return strcmp(uf_store_text(q, column), "left") == 0 ? UF_LEFT_HANDED : UF_RIGHT_HANDED;
}

/* ---- writing ---- */

static int add_swing(struct uf_store *s, const struct uf_swing_meta *meta,
                     const struct uf_capture *c, int64_t made_utc_us, int64_t *id,
                     struct uf_error *err)
{
    char uuid[37], board[17];
    sqlite3_stmt *q;
    struct uf_lesson lesson = {.session_id = meta->session_id, .block_id = meta->block_id};
    int64_t hit_utc_us = meta->hit_utc_us       ? meta->hit_utc_us
                         : meta->trigger_utc_us ? meta->trigger_utc_us
                                                : made_utc_us;
    int rc = uf_uuid(uuid, err);
    if (rc == 0 && lesson.session_id == 0)
        rc = uf_lesson_claim(s, meta->rig_id, hit_utc_us, made_utc_us, &lesson, err);
    if (rc == 0)
        rc = uf_db_prepare(
            s, &q,
            "INSERT INTO swing (uuid, session_id, rig_id, trigger_utc_us, stored_utc_us,"
            " start_dev_us, trigger_dev_us, clock_drift_ppm, hand, shape_hand, ended_still,"
            " samples, channels, rate_hz, duration_us, board_id, firmware, block_id, rocking_id)"
            " VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17,"
            " nullif(?18, 0), nullif(?19, 0))",
            DOING_WRITE, err);
    if (rc)
        return rc;
    for (size_t i = 0; i < 8; i++)
        snprintf(board + 2 * i, 3, "%02x", c->board.board_id[i]);
    sqlite3_bind_text(q, 1, uuid, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 2, lesson.session_id);
    sqlite3_bind_int64(q, 3, meta->rig_id);
    if (meta->trigger_utc_us)
        sqlite3_bind_int64(q, 4, meta->trigger_utc_us);
    sqlite3_bind_int64(q, 5, made_utc_us);
    sqlite3_bind_int64(q, 6, c->start_dev_us);
    sqlite3_bind_int64(q, 7, c->trigger_dev_us);
    uf_db_bind_real(q, 8, meta->clock_drift_ppm);
    sqlite3_bind_text(q, 9, hand_name(c->hand), -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 10, hand_name(c->shape_hand), -1, SQLITE_STATIC);
    sqlite3_bind_int(q, 11, c->ended_still);
    sqlite3_bind_int64(q, 12, (int64_t)c->samples);
    sqlite3_bind_int(q, 13, c->board.channels);
    sqlite3_bind_int(q, 14, c->board.rate_hz);
    sqlite3_bind_int64(q, 15, c->offset_us[c->samples - 1]);
    sqlite3_bind_text(q, 16, board, -1, SQLITE_STATIC);
    sqlite3_bind_int(q, 17, c->board.firmware);
    sqlite3_bind_int64(q, 18, lesson.block_id);
    sqlite3_bind_int64(q, 19, meta->rocking_id);
    rc = uf_db_run(s, q, DOING_WRITE, err);
    *id = sqlite3_last_insert_rowid(s->db);
    return rc;
}

static int add_raw(struct uf_store *s, int64_t id, const uint8_t *raw, size_t n,
                   struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc =
        uf_db_prepare(s, &q, "INSERT INTO swing_raw (swing_id, format, data) VALUES (?1, ?2, ?3)",
                      DOING_WRITE, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    sqlite3_bind_int(q, 2, UF_RAW_FORMAT);
    sqlite3_bind_blob64(q, 3, raw, n, SQLITE_STATIC);
    return uf_db_run(s, q, DOING_WRITE, err);
}

int uf_store_swing_add(struct uf_store *s, const struct uf_swing_meta *meta,
                       const struct uf_capture *capture, const struct uf_analysis *analysis,
                       int64_t made_utc_us, int64_t *id, struct uf_error *err)
{
    uint8_t *raw;
    size_t n;
    int rc = uf_raw_encode(capture, &raw, &n, err);
    if (rc)
        return rc;
    rc = uf_db_begin(s, DOING_WRITE, err);
    if (rc == 0) {
        int64_t swing_id = 0;
        struct uf_derived derived;
        if (analysis)
            uf_derived_of(analysis, &derived);
        rc = add_swing(s, meta, capture, made_utc_us, &swing_id, err);
        struct uf_derivation_key key = {.swing_id = swing_id,
                                        .calibration_id = meta->calibration_id,
                                        .algorithm = UF_ALGORITHM};
        if (analysis)
            key.settings = analysis->settings;
        snprintf(key.basis, sizeof key.basis, "%s", meta->basis ? meta->basis : "");
        if (rc == 0)
            rc = add_raw(s, swing_id, raw, n, err);
        if (rc == 0 && analysis)
            rc = uf_derivation_add(s, &key, &derived, made_utc_us, err);
        rc = uf_db_end(s, rc, DOING_WRITE, err);
        if (rc == 0)
            *id = swing_id;
    }
    free(raw);
    return rc;
}

/* ---- reading ---- */

int uf_store_swing_known(struct uf_store *s, int64_t id, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT count(*), min(id), max(id), sum(id = ?1) FROM swing",
                           DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc >= 0) {
        long long count = sqlite3_column_int64(q, 0);
        if (sqlite3_column_int64(q, 3) > 0)
            rc = UF_OK;
        else if (count == 0)
            rc = uf_fail(err, UF_ENOTFOUND, "there is no swing %lld: none is stored in %s yet",
                         (long long)id, s->path);
        else
            rc = uf_fail(err, UF_ENOTFOUND,
                         "there is no swing %lld in %s: it has %lld, from %lld to %lld; list them "
                         "with: underfoot swings",
                         (long long)id, s->path, count, (long long)sqlite3_column_int64(q, 1),
                         (long long)sqlite3_column_int64(q, 2));
    }
    sqlite3_finalize(q);
    return rc;
}

int uf_store_capture(struct uf_store *s, int64_t swing_id, struct uf_capture **out,
                     struct uf_error *err)
{
    *out = NULL;
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT data, hand FROM swing_raw JOIN swing ON swing.id = swing_id"
                           " WHERE swing_id = ?1",
                           DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing_id);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0) {
        const uint8_t *data = sqlite3_column_blob(q, 0);
        struct uf_error inner = {.text = ""};
        rc = uf_raw_decode(data, (size_t)sqlite3_column_bytes(q, 0), out, &inner);
        if (rc)
            uf_fail(err, rc, "swing %lld in %.120s: %.300s", (long long)swing_id, s->path,
                    inner.text);
        else
            (*out)->hand = hand_of(q, 1); /* what a person said of it counts */
    } else if (rc == 0) {
        rc = uf_store_swing_known(s, swing_id, err);
        if (rc == 0)
            rc = uf_fail(err, UF_ECORRUPT, "swing %lld in %s has lost its raw data",
                         (long long)swing_id, s->path);
    }
    sqlite3_finalize(q);
    return rc;
}

static void row_from(sqlite3_stmt *q, struct uf_swing_row *out)
{
    int c = 0;
    out->id = sqlite3_column_int64(q, c++);
    out->session_id = sqlite3_column_int64(q, c++);
    out->rig_id = sqlite3_column_int64(q, c++);
    uf_db_text(q, c++, out->uuid, sizeof out->uuid);
    out->trigger_utc_us = sqlite3_column_int64(q, c++);
    out->stored_utc_us = sqlite3_column_int64(q, c++);
    out->clock_drift_ppm = uf_db_real(q, c++);
    out->hand = hand_of(q, c++);
    out->shape_hand = hand_of(q, c++);
    out->ended_still = sqlite3_column_int(q, c++) != 0;
    out->samples = sqlite3_column_int64(q, c++);
    out->channels = sqlite3_column_int64(q, c++);
    out->rate_hz = sqlite3_column_int64(q, c++);
    out->duration_us = sqlite3_column_int64(q, c++);
    out->firmware = sqlite3_column_int64(q, c++);
    uf_db_text(q, c++, out->board_id, sizeof out->board_id);
    out->rocking_id = sqlite3_column_int64(q, c++);
    out->other_hand = sqlite3_column_int(q, c++) != 0;
    out->derivation_id = sqlite3_column_int64(q, c++);
    out->calibration_id = sqlite3_column_int64(q, c++);
    uf_db_text(q, c++, out->calibration, sizeof out->calibration);
    out->algorithm = sqlite3_column_int64(q, c++);
    out->made_utc_us = sqlite3_column_int64(q, c++);
    out->settings.cutoff_hz = sqlite3_column_double(q, c++);
    out->settings.order = sqlite3_column_int(q, c++);
    out->settings.cop_min_n = sqlite3_column_double(q, c++);
    out->settings.old_days = UF_OLD_DAYS_DEFAULT; /* only a flag hangs on it */
}

int uf_store_swing_row(struct uf_store *s, int64_t id, struct uf_swing_row *out,
                       struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(
        s, &q,
        "SELECT swing.id, session_id, swing.rig_id, swing.uuid, trigger_utc_us, stored_utc_us,"
        " clock_drift_ppm, hand, shape_hand, ended_still, samples, channels, rate_hz, duration_us,"
        " firmware, board_id, coalesce(rocking_id, 0), captured_hand IS NOT NULL AND"
        " captured_hand <> hand, derivation.id, derivation.calibration_id,"
        " coalesce(calibration.name, 'data sheet'), algorithm, derivation.made_utc_us, cutoff_hz,"
        " filter_order, cop_min_n"
        " FROM swing JOIN derivation ON derivation.swing_id = swing.id AND current = 1"
        " LEFT JOIN calibration ON calibration.id = derivation.calibration_id WHERE swing.id = ?1",
        DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0)
        row_from(q, out);
    sqlite3_finalize(q);
    if (rc > 0)
        return uf_derivation_read(s, out->derivation_id, &out->derived, err);
    if (rc == 0)
        rc = uf_store_swing_known(s, id, err);
    if (rc == 0)
        rc = uf_fail(err, UF_ENOTFOUND,
                     "swing %lld has no current derivation; make one with: underfoot rederive %lld",
                     (long long)id, (long long)id);
    return rc;
}

int uf_store_swing_ids(struct uf_store *s, int64_t last, int64_t since_utc_us, int64_t **out,
                       size_t *n, struct uf_error *err)
{
    int64_t *list = NULL;
    size_t count = 0, room = 0;
    *out = NULL;
    *n = 0;
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT id FROM (SELECT id FROM swing"
                           " WHERE coalesce(trigger_utc_us, stored_utc_us) >= ?1"
                           " ORDER BY id DESC LIMIT ?2) ORDER BY id",
                           "list the swings", err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, since_utc_us);
    sqlite3_bind_int64(q, 2, last > 0 ? last : -1);
    while ((rc = uf_db_step(s, q, "list the swings", err)) > 0) {
        if (count == room) {
            room = 2 * room + 64;
            int64_t *more = realloc(list, room * sizeof *list);
            if (!more) {
                rc = uf_fail(err, UF_ENOMEM, "no memory to list the swings");
                break;
            }
            list = more;
        }
        list[count++] = sqlite3_column_int64(q, 0);
    }
    sqlite3_finalize(q);
    if (rc || count == 0) {
        free(list);
        return rc;
    }
    *out = list;
    *n = count;
    return UF_OK;
}

int uf_store_summary(struct uf_store *s, struct uf_store_summary *out, struct uf_error *err)
{
    static const char doing[] = "read the database";
    memset(out, 0, sizeof *out);
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT (SELECT count(*) FROM swing), id,"
                           " coalesce(trigger_utc_us, stored_utc_us) FROM swing"
                           " ORDER BY id DESC LIMIT 1",
                           doing, err);
    if (rc)
        return rc;
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0) {
        out->swings = sqlite3_column_int64(q, 0);
        out->last_swing = sqlite3_column_int64(q, 1);
        out->last_swing_utc_us = sqlite3_column_int64(q, 2);
    }
    sqlite3_finalize(q);
    if (rc < 0)
        return rc;
    rc = uf_db_prepare(s, &q,
                       "SELECT at_utc_us, kind, detail FROM link_event ORDER BY id DESC LIMIT 1",
                       doing, err);
    if (rc)
        return rc;
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0) {
        out->event_utc_us = sqlite3_column_int64(q, 0);
        uf_db_text(q, 1, out->event, sizeof out->event);
        uf_db_text(q, 2, out->detail, sizeof out->detail);
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}
