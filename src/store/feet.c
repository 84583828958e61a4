/* SPDX-License-Identifier: MIT
 * See feet.h. The writing connection only settles; what reads takes the rows as they are. */
#include "store/feet.h"

#include "store/database.h"
#include "store/lessons.h"
#include "store/raw_codec.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DOING_ROCKING "store rocking"
#define DOING_FEET    "store where the feet stand"
#define DOING_READ    "read where the feet stand"

static const char *const foot_names[UF_FEET] = {[UF_LEAD] = "lead", [UF_TRAIL] = "trail"};
static const char *const length_names[] = {
    [UF_LENGTH_GIVEN] = "player", [UF_LENGTH_OF_HEIGHT] = "height", [UF_LENGTH_GUESS] = "guess"};

static const char *hand_name(enum uf_hand hand)
{
    return hand == UF_LEFT_HANDED ? "left" : "right";
}

/* ---- rocking ---- */

static void board_text(const struct uf_capture *c, char out[17])
{
    for (size_t i = 0; i < sizeof c->board.board_id; i++)
        snprintf(out + 2 * i, 3, "%02x", c->board.board_id[i]);
}

/* *id 0: it is not there. */
static int find_rocking(struct uf_store *s, const struct uf_capture *c, const uint8_t *raw,
                        size_t n, int64_t *id, struct uf_error *err)
{
    char board[17];
    sqlite3_stmt *q;
    *id = 0;
    int rc = uf_db_prepare(
        s, &q, "SELECT id FROM rocking WHERE start_dev_us = ?1 AND board_id = ?2 AND data = ?3",
        DOING_ROCKING, err);
    if (rc)
        return rc;
    board_text(c, board);
    sqlite3_bind_int64(q, 1, c->start_dev_us);
    sqlite3_bind_text(q, 2, board, -1, SQLITE_STATIC);
    sqlite3_bind_blob64(q, 3, raw, n, SQLITE_STATIC);
    rc = uf_db_step(s, q, DOING_ROCKING, err);
    if (rc > 0)
        *id = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

static int insert_rocking(struct uf_store *s, const struct uf_rocking_meta *meta,
                          const struct uf_capture *c, const uint8_t *raw, size_t n,
                          int64_t made_utc_us, int64_t *id, struct uf_error *err)
{
    char uuid[37], board[17];
    sqlite3_stmt *q;
    struct uf_lesson lesson = {.session_id = meta->session_id};
    int rc = uf_uuid(uuid, err);
    if (rc == 0 && lesson.session_id == 0)
        rc = uf_lesson_claim(s, meta->rig_id, meta->hit_utc_us ? meta->hit_utc_us : made_utc_us,
                             made_utc_us, &lesson, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO rocking (uuid, session_id, rig_id, at_utc_us,"
                           " stored_utc_us, board_id, start_dev_us, format, data)"
                           " VALUES (?1, ?2, ?3, nullif(?4, 0), ?5, ?6, ?7, ?8, ?9)",
                           DOING_ROCKING, err);
    if (rc)
        return rc;
    board_text(c, board);
    sqlite3_bind_text(q, 1, uuid, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 2, lesson.session_id);
    sqlite3_bind_int64(q, 3, meta->rig_id);
    sqlite3_bind_int64(q, 4, meta->at_utc_us);
    sqlite3_bind_int64(q, 5, made_utc_us);
    sqlite3_bind_text(q, 6, board, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 7, c->start_dev_us);
    sqlite3_bind_int(q, 8, UF_RAW_FORMAT);
    sqlite3_bind_blob64(q, 9, raw, n, SQLITE_STATIC);
    rc = uf_db_run(s, q, DOING_ROCKING, err);
    *id = sqlite3_last_insert_rowid(s->db);
    return rc;
}

int uf_store_rocking_add(struct uf_store *s, const struct uf_rocking_meta *meta,
                         const struct uf_capture *capture, int64_t made_utc_us, int64_t *id,
                         struct uf_error *err)
{
    uint8_t *raw;
    size_t n;
    int rc = uf_raw_encode(capture, &raw, &n, err);
    if (rc)
        return rc;
    rc = uf_db_begin(s, DOING_ROCKING, err);
    if (rc == 0) {
        rc = find_rocking(s, capture, raw, n, id, err);
        if (rc == 0 && *id == 0)
            rc = insert_rocking(s, meta, capture, raw, n, made_utc_us, id, err);
        rc = uf_db_end(s, rc, DOING_ROCKING, err);
    }
    free(raw);
    return rc;
}

static int read_rocking(struct uf_store *s, int64_t id, int64_t *session_id,
                        struct uf_capture **out, struct uf_error *err)
{
    sqlite3_stmt *q;
    *out = NULL;
    int rc =
        uf_db_prepare(s, &q, "SELECT session_id, data FROM rocking WHERE id = ?1", DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0) {
        struct uf_error inner = {.text = ""};
        *session_id = sqlite3_column_int64(q, 0);
        rc = uf_raw_decode(sqlite3_column_blob(q, 1), (size_t)sqlite3_column_bytes(q, 1), out,
                           &inner);
        if (rc)
            uf_fail(err, rc, "rocking %lld in %.120s: %.300s", (long long)id, s->path, inner.text);
    } else if (rc == 0) {
        rc = uf_fail(err, UF_ENOTFOUND, "there is no rocking %lld in %s", (long long)id, s->path);
    }
    sqlite3_finalize(q);
    return rc;
}

int uf_store_foot_person(struct uf_store *s, int64_t session_id, struct uf_foot_person *out,
                         struct uf_error *err)
{
    sqlite3_stmt *q;
    *out = (struct uf_foot_person){NAN, NAN, NAN};
    int rc = uf_db_prepare(s, &q,
                           "SELECT foot_length_mm, stature_mm FROM player JOIN session"
                           " ON player_id = player.id WHERE session.id = ?1",
                           DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, session_id);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0) {
        out->foot_length_mm = uf_db_real(q, 0);
        out->height_m = uf_db_real(q, 1) / 1000;
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

/* ---- feet ---- */

/* The numbers of a row, in the order of its columns; [9] is the enum uf_foot_length. */
#define NUMBERS 9
#define NUMBER_COLUMNS                                                                             \
    "heel_target_mm, heel_toe_mm, length_mm, width_mm, toe_out_deg, axis_u_deg, end_u_mm,"         \
    " rest_along_pct, rest_across_pct"

static void numbers_of(const struct uf_foot_pose *p, double *out)
{
    const double v[NUMBERS] = {p->heel_target_mm, p->heel_forward_mm, p->length_mm,
                               p->width_mm,       p->toe_out_deg,     p->axis_u_deg,
                               p->end_u_mm,       p->rest_along_pct,  p->rest_across_pct};
    for (int i = 0; i < NUMBERS; i++)
        out[i] = p->known ? v[i] : (double)NAN;
}

/* state, NUMBER_COLUMNS, length_from, from column on. */
static void pose_from(sqlite3_stmt *q, int column, enum uf_foot_state *state,
                      struct uf_foot_pose *out)
{
    char text[16];
    double v[NUMBERS];
    uf_db_text(q, column, text, sizeof text);
    *state = UF_FOOT_SHORT;
    for (int i = 0; i < UF_FOOT_STATES; i++)
        if (strcmp(text, uf_foot_state_name((enum uf_foot_state)i)) == 0)
            *state = (enum uf_foot_state)i;
    for (int i = 0; i < NUMBERS; i++)
        v[i] = uf_db_real(q, column + 1 + i);
    uf_db_text(q, column + 1 + NUMBERS, text, sizeof text);
    enum uf_foot_length from = UF_LENGTH_GIVEN;
    for (int i = UF_LENGTH_GIVEN; i <= UF_LENGTH_GUESS; i++)
        if (strcmp(text, length_names[i]) == 0)
            from = (enum uf_foot_length)i;
    *out = (struct uf_foot_pose){
        *state == UF_FOOT_FOUND, v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8], from};
}

static bool is_same(const struct uf_foot_pose *a, const struct uf_foot_pose *b)
{
    double x[NUMBERS], y[NUMBERS];
    numbers_of(a, x);
    numbers_of(b, y);
    for (int i = 0; i < NUMBERS; i++) {
        x[i] += 0.0; /* -0.0 is stored as 0.0 */
        y[i] += 0.0;
        if (!(isnan(x[i]) && isnan(y[i])) && memcmp(&x[i], &y[i], sizeof x[i]) != 0)
            return false;
    }
    return a->known == b->known && (!a->known || a->length_from == b->length_from);
}

/* The row that says just this; *id 0: there is none. */
static int find_row(struct uf_store *s, int64_t rocking_id, const struct uf_feet *f, int foot,
                    int64_t calibration_id, int64_t *id, bool *current, struct uf_error *err)
{
    sqlite3_stmt *q;
    *id = 0;
    int rc = uf_db_prepare(s, &q,
                           "SELECT id, current, state, " NUMBER_COLUMNS ", length_from FROM stance"
                           " WHERE rocking_id = ?1 AND hand = ?2 AND foot = ?3"
                           " AND coalesce(calibration_id, 0) = ?4 ORDER BY id",
                           DOING_FEET, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rocking_id);
    sqlite3_bind_text(q, 2, hand_name(f->hand), -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 3, foot_names[foot], -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 4, calibration_id);
    while (*id == 0 && (rc = uf_db_step(s, q, DOING_FEET, err)) > 0) {
        struct uf_foot_pose pose;
        enum uf_foot_state state;
        pose_from(q, 2, &state, &pose);
        if (state != f->state[foot] || !is_same(&pose, &f->pose[foot]))
            continue;
        *id = sqlite3_column_int64(q, 0);
        *current = sqlite3_column_int(q, 1) != 0;
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

static int insert_row(struct uf_store *s, int64_t rocking_id, const struct uf_feet *f, int foot,
                      int64_t calibration_id, int64_t made_utc_us, int64_t *id,
                      struct uf_error *err)
{
    sqlite3_stmt *q;
    const struct uf_foot_pose *p = &f->pose[foot];
    double v[NUMBERS];
    int rc = uf_db_prepare(s, &q,
                           "INSERT INTO stance (rocking_id, hand, foot, calibration_id, state,"
                           " " NUMBER_COLUMNS ", length_from, made_utc_us, current)"
                           " VALUES (?1, ?2, ?3, nullif(?4, 0), ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12,"
                           " ?13, ?14, ?15, ?16, 0)",
                           DOING_FEET, err);
    if (rc)
        return rc;
    numbers_of(p, v);
    sqlite3_bind_int64(q, 1, rocking_id);
    sqlite3_bind_text(q, 2, hand_name(f->hand), -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 3, foot_names[foot], -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 4, calibration_id);
    sqlite3_bind_text(q, 5, uf_foot_state_name(f->state[foot]), -1, SQLITE_STATIC);
    for (int i = 0; i < NUMBERS; i++)
        uf_db_bind_real(q, 6 + i, v[i]);
    if (p->known)
        sqlite3_bind_text(q, 15, length_names[p->length_from], -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 16, made_utc_us);
    rc = uf_db_run(s, q, DOING_FEET, err);
    *id = sqlite3_last_insert_rowid(s->db);
    return rc;
}

/* Makes row id of that foot the current one, and no other. */
static int make_current(struct uf_store *s, int64_t id, struct uf_error *err)
{
    static const char *const steps[] = {
        "UPDATE stance SET current = 0 WHERE current = 1 AND (rocking_id, hand, foot) ="
        " (SELECT rocking_id, hand, foot FROM stance WHERE id = ?1)",
        "UPDATE stance SET current = 1 WHERE id = ?1"};
    int rc = UF_OK;
    for (int i = 0; rc == 0 && i < 2; i++) {
        sqlite3_stmt *q;
        rc = uf_db_prepare(s, &q, steps[i], DOING_FEET, err);
        if (rc)
            break;
        sqlite3_bind_int64(q, 1, id);
        rc = uf_db_run(s, q, DOING_FEET, err);
    }
    return rc;
}

/* Inside a transaction. */
static int settle(struct uf_store *s, int64_t rocking_id, const struct uf_feet *f,
                  int64_t calibration_id, int64_t made_utc_us, struct uf_error *err)
{
    int rc = UF_OK;
    for (int foot = 0; rc == 0 && foot < UF_FEET; foot++) {
        int64_t id;
        bool current = false;
        rc = find_row(s, rocking_id, f, foot, calibration_id, &id, &current, err);
        if (rc == 0 && id == 0)
            rc = insert_row(s, rocking_id, f, foot, calibration_id, made_utc_us, &id, err);
        if (rc == 0 && !current)
            rc = make_current(s, id, err);
    }
    return rc;
}

int uf_store_feet_settle(struct uf_store *s, int64_t rocking_id, enum uf_hand hand,
                         const struct uf_rig *rig, const struct uf_calibration *cal,
                         int64_t calibration_id, int64_t made_utc_us, struct uf_feet *out,
                         struct uf_error *err)
{
    struct uf_capture *capture = NULL;
    struct uf_foot_person who;
    struct uf_feet feet;
    int64_t session_id = 0;
    int rc = read_rocking(s, rocking_id, &session_id, &capture, err);
    if (rc == 0)
        rc = uf_store_foot_person(s, session_id, &who, err);
    if (rc == 0)
        rc = uf_rocking_find(capture, rig, cal, &who, hand, &feet, err);
    uf_capture_free(capture);
    if (rc == 0)
        rc = uf_db_begin(s, DOING_FEET, err);
    if (rc)
        return rc;
    rc = uf_db_end(s, settle(s, rocking_id, &feet, calibration_id, made_utc_us, err), DOING_FEET,
                   err);
    if (rc == 0 && out)
        *out = feet;
    return rc;
}

int uf_store_feet(struct uf_store *s, int64_t rocking_id, enum uf_hand hand, struct uf_feet *out,
                  int64_t *row_id, struct uf_error *err)
{
    sqlite3_stmt *q;
    memset(out, 0, sizeof *out);
    out->hand = hand;
    for (int foot = 0; foot < UF_FEET; foot++) {
        out->state[foot] = UF_FOOT_SHORT;
        if (row_id)
            row_id[foot] = 0;
    }
    int rc = uf_db_prepare(s, &q,
                           "SELECT foot, id, state, " NUMBER_COLUMNS ", length_from FROM stance"
                           " WHERE rocking_id = ?1 AND hand = ?2 AND current = 1",
                           DOING_READ, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, rocking_id);
    sqlite3_bind_text(q, 2, hand_name(hand), -1, SQLITE_STATIC);
    while ((rc = uf_db_step(s, q, DOING_READ, err)) > 0) {
        char name[8];
        uf_db_text(q, 0, name, sizeof name);
        int foot = strcmp(name, foot_names[UF_LEAD]) == 0 ? UF_LEAD : UF_TRAIL;
        if (row_id)
            row_id[foot] = sqlite3_column_int64(q, 1);
        pose_from(q, 2, &out->state[foot], &out->pose[foot]);
    }
    sqlite3_finalize(q);
    return rc;
}
