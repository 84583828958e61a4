/* SPDX-License-Identifier: MIT
 * Gathers what stands in a report: see report.h. Curves are made again from the raw counts, with
 * the calibration and the settings of each swing's current derivation. */
#include "cli/report.h"
#include "store/calibrations.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NO_MEMORY "no memory for the report"
/* Board id of the simulator: "SIM" (src/sim). */
#define SIMULATOR "53494d"

void uf_report_free(struct uf_report *r)
{
    if (!r)
        return;
    for (size_t i = 0; i < r->swings; i++)
        free(r->swing[i].curve);
    free(r->swing);
    uf_comparison_free(r->comparison);
    free(r);
}

/* ---- queries ---- */

static int fail_db(struct uf_store *s, struct uf_error *err)
{
    return uf_fail(err, UF_EIO, "cannot read the lesson: %s", sqlite3_errmsg(uf_store_db(s)));
}

static int query(struct uf_store *s, sqlite3_stmt **q, const char *sql, const int64_t *v, int n,
                 struct uf_error *err)
{
    if (sqlite3_prepare_v2(uf_store_db(s), sql, -1, q, NULL) != SQLITE_OK)
        return fail_db(s, err);
    for (int i = 0; i < n; i++)
        sqlite3_bind_int64(*q, i + 1, v[i]);
    return UF_OK;
}

/* Finalizes; the last step's result becomes ours. */
static int end(struct uf_store *s, sqlite3_stmt *q, int step, struct uf_error *err)
{
    int rc = step == SQLITE_DONE || step == SQLITE_ROW ? UF_OK : fail_db(s, err);
    sqlite3_finalize(q);
    return rc;
}

static void copy(char *out, size_t size, sqlite3_stmt *q, int column)
{
    const char *text = (const char *)sqlite3_column_text(q, column);
    snprintf(out, size, "%s", text ? text : "");
}

static double real(sqlite3_stmt *q, int column)
{
    return sqlite3_column_type(q, column) == SQLITE_NULL ? NAN : sqlite3_column_double(q, column);
}

/* ---- session, player, blocks ---- */

static int read_session(struct uf_store *s, struct uf_report *r, struct uf_error *err)
{
    sqlite3_stmt *q;
    int64_t player = 0;
    int rc = query(s, &q,
                   "SELECT started_utc_us, ended_utc_us, note, player_id, rig_id FROM session"
                   " WHERE id = ?1",
                   &r->session_id, 1, err);
    if (rc)
        return rc;
    int step = sqlite3_step(q);
    if (step == SQLITE_ROW) {
        r->started_utc_us = sqlite3_column_int64(q, 0);
        r->ended_utc_us = sqlite3_column_int64(q, 1);
        copy(r->note, sizeof r->note, q, 2);
        player = sqlite3_column_int64(q, 3);
        r->rig_id = sqlite3_column_int64(q, 4);
    }
    rc = end(s, q, step, err);
    if (rc == 0)
        rc = uf_focus_get(s, r->session_id, &r->focus, err);
    if (rc == 0)
        rc = uf_store_rig_get(s, r->rig_id, &r->rig, err);
    r->has_player = player != 0;
    if (rc == 0 && player)
        rc = uf_player_get(s, player, &r->player, err);
    return rc;
}

static int read_blocks(struct uf_store *s, struct uf_report *r, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = query(s, &q,
                   "SELECT block.id, count(swing.id) - count(excluded_reason) FROM block"
                   " LEFT JOIN swing ON swing.block_id = block.id"
                   " WHERE block.session_id = ?1 GROUP BY block.id ORDER BY block.id",
                   &r->session_id, 1, err);
    int step = SQLITE_DONE;
    if (rc)
        return rc;
    while (rc == 0 && (step = sqlite3_step(q)) == SQLITE_ROW) {
        if (r->blocks == UF_REPORT_BLOCKS) {
            r->more_blocks++;
            continue;
        }
        rc = uf_block_get(s, sqlite3_column_int64(q, 0), &r->block[r->blocks], err);
        r->block_swings[r->blocks++] = (size_t)sqlite3_column_int64(q, 1);
    }
    int ended = end(s, q, step, err);
    return rc ? rc : ended;
}

/* ---- the two sides ---- */

/* As the view session_change: blocks that have a swing that counts. */
static int usual_sides(struct uf_store *s, struct uf_report *r, int64_t *first, int64_t *last,
                       struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = query(s, &q,
                   "SELECT coalesce(min(iif(kind = 'baseline', block.id, NULL)), min(block.id)),"
                   " coalesce(max(iif(kind = 'retest', block.id, NULL)), max(block.id)) FROM block"
                   " WHERE session_id = ?1 AND EXISTS (SELECT 1 FROM swing JOIN derivation ON"
                   " swing_id = swing.id AND current = 1 WHERE block_id = block.id AND"
                   " excluded_reason IS NULL)",
                   &r->session_id, 1, err);
    if (rc)
        return rc;
    int step = sqlite3_step(q);
    if (step == SQLITE_ROW) {
        *first = sqlite3_column_int64(q, 0);
        *last = sqlite3_column_int64(q, 1);
    }
    return end(s, q, step, err);
}

/* A block that was asked for: of this session, or a baseline of another one of this player. */
static int asked_block(struct uf_store *s, const struct uf_report *r, int64_t id, bool before,
                       struct uf_error *err)
{
    sqlite3_stmt *q;
    const int64_t v[] = {id, r->session_id, r->has_player ? r->player.id : 0};
    int rc = query(s, &q,
                   "SELECT session.id = ?2, player_id = ?3 FROM block"
                   " JOIN session ON session.id = session_id WHERE block.id = ?1",
                   v, 3, err);
    if (rc)
        return rc;
    int step = sqlite3_step(q);
    bool found = step == SQLITE_ROW;
    bool own = found && sqlite3_column_int(q, 0), same = found && sqlite3_column_int(q, 1);
    rc = end(s, q, step, err);
    if (rc == 0 && !found)
        rc = uf_fail(err, UF_ENOTFOUND, "there is no block %lld; see: underfoot block list",
                     (long long)id);
    else if (rc == 0 && !own && !before)
        rc = uf_fail(err, UF_EINVAL, "block %lld is not of session %lld; a retest is",
                     (long long)id, (long long)r->session_id);
    else if (rc == 0 && !own && !same)
        rc = uf_fail(err, UF_EINVAL,
                     "block %lld is of another player than session %lld: nothing to compare",
                     (long long)id, (long long)r->session_id);
    return rc;
}

static int choose_sides(struct uf_store *s, struct uf_report *r, int64_t baseline, int64_t retest,
                        struct uf_error *err)
{
    int64_t id[2] = {0, 0};
    int rc = usual_sides(s, r, &id[0], &id[1], err);
    if (rc == 0 && baseline)
        rc = asked_block(s, r, id[0] = baseline, true, err);
    if (rc == 0 && retest)
        rc = asked_block(s, r, id[1] = retest, false, err);
    if (rc == 0 && baseline && baseline == retest)
        rc = uf_fail(err, UF_EINVAL, "block %lld against itself shows nothing: give two",
                     (long long)baseline);
    if (rc)
        return rc;
    if (id[0] && id[1] && id[0] != id[1]) {
        r->sides = 2;
        rc = uf_comparison_blocks(s, id[0], id[1], &r->comparison, err);
    } else if (id[0] || id[1]) {
        r->sides = 1;
        id[0] = id[0] ? id[0] : id[1];
    }
    for (int i = 0; rc == 0 && i < r->sides; i++)
        rc = uf_block_get(s, id[i], &r->side[i].block, err);
    return rc;
}

/* ---- swings ---- */

static int add_swing(struct uf_report *r, sqlite3_stmt *q, struct uf_error *err)
{
    struct uf_report_swing *more = realloc(r->swing, (r->swings + 1) * sizeof *more);
    if (!more)
        return uf_fail(err, UF_ENOMEM, NO_MEMORY);
    r->swing = more;
    struct uf_report_swing *w = &more[r->swings++];
    memset(w, 0, sizeof *w);
    w->id = sqlite3_column_int64(q, 0);
    w->block_id = sqlite3_column_int64(q, 1);
    w->excluded = sqlite3_column_int(q, 2) != 0;
    w->club_speed_mps = real(q, 3);
    w->weight_n = NAN;
    w->side = -1;
    for (int i = 0; i < r->sides; i++)
        if (w->block_id == r->side[i].block.id)
            w->side = i;
    if (w->block_id == 0)
        r->outside++;
    return UF_OK;
}

static int list_swings(struct uf_store *s, struct uf_report *r, struct uf_error *err)
{
    sqlite3_stmt *q;
    const int64_t v[] = {r->session_id, r->sides == 2 ? r->side[0].block.id : 0};
    int step = SQLITE_DONE;
    int rc = query(s, &q,
                   "SELECT swing.id, block_id, excluded_reason IS NOT NULL, swing_extra.value"
                   " FROM swing LEFT JOIN swing_extra ON swing_id = swing.id AND"
                   " name = 'club_speed' AND unit = 'm/s'"
                   " WHERE session_id = ?1 OR block_id = ?2"
                   " ORDER BY coalesce(trigger_utc_us, stored_utc_us), swing.id",
                   v, 2, err);
    if (rc)
        return rc;
    while (rc == 0 && (step = sqlite3_step(q)) == SQLITE_ROW)
        rc = add_swing(r, q, err);
    int ended = end(s, q, step, err);
    if (rc == 0)
        rc = ended;
    if (r->sides == 0 && r->swings) { /* no blocks: the swings outside of them */
        r->sides = 1;
        for (size_t i = 0; i < r->swings; i++)
            r->swing[i].side = r->swing[i].block_id == 0 ? 0 : -1;
    }
    return rc;
}

/* What one swing is made of, while its curves are made. */
struct parts {
    struct uf_swing_row row;
    struct uf_rig rig;
    struct uf_calibration calibration;
    struct uf_given given;
    char basis[UF_BASIS_SIZE];
    struct uf_capture *capture;
    struct uf_analysis *analysis;
};

static int analyse(struct uf_store *s, struct uf_report_swing *w, struct parts *p,
                   struct uf_error *err)
{
    int rc = uf_store_rig_get(s, p->row.rig_id, &p->rig, err);
    if (rc == 0)
        rc = uf_store_calibration_get(s, p->row.calibration_id, &p->rig, &p->calibration, err);
    if (rc == 0)
        rc = uf_store_capture(s, w->id, &p->capture, err);
    struct uf_given_of of;
    if (rc == 0)
        rc = uf_store_given_of(s, w->id, &of, err);
    if (rc == 0)
        rc = uf_store_given(s, &of, &p->given, p->basis, err);
    if (rc == 0)
        rc = uf_analyse_given(p->capture, &p->rig, &p->calibration, &p->row.settings, &p->given,
                              &p->analysis, err);
    if (rc == 0)
        rc = uf_report_align(w, p->capture, p->analysis, &p->given, err);
    uf_analysis_free(p->analysis);
    uf_capture_free(p->capture);
    p->analysis = NULL;
    p->capture = NULL;
    return rc;
}

static int read_swing(struct uf_store *s, struct uf_report *r, struct uf_report_swing *w,
                      struct parts *p, struct uf_error *err)
{
    int rc = uf_store_swing_row(s, w->id, &p->row, err);
    if (rc == UF_ENOTFOUND) /* raw counts only: underfoot rederive makes its numbers */
        return UF_OK;
    if (rc)
        return rc;
    w->derived = true;
    w->d = p->row.derived;
    w->weight_n = p->row.derived.value[UF_M_weight_n];
    w->calibration_id = p->row.calibration_id;
    w->rate_hz = p->row.rate_hz;
    w->hand = p->row.hand;
    w->simulated = strncmp(p->row.board_id, SIMULATOR, strlen(SIMULATOR)) == 0;
    r->simulated = r->simulated || w->simulated;
    if (w->side < 0)
        return UF_OK;
    if (w->excluded)
        r->side[w->side].excluded++;
    else
        r->side[w->side].swings++;
    return w->excluded ? UF_OK : analyse(s, w, p, err);
}

static int read_swings(struct uf_store *s, struct uf_report *r, struct uf_error *err)
{
    struct parts *p = calloc(1, sizeof *p);
    if (!p)
        return uf_fail(err, UF_ENOMEM, NO_MEMORY);
    int rc = UF_OK;
    for (size_t i = 0; rc == 0 && i < r->swings; i++)
        rc = read_swing(s, r, &r->swing[i], p, err);
    free(p);
    return rc;
}

/* ---- plates ---- */

/* Rms place error of loads that the fit had not seen, the greatest of the plates. */
static double cop_error_mm(const json_t *provenance)
{
    const json_t *plates = json_object_get(provenance, "plates");
    double most = NAN;
    for (size_t i = 0; i < json_array_size(plates); i++) {
        const json_t *quality = json_object_get(json_array_get(plates, i), "quality");
        const json_t *v = json_object_get(quality, "cop_left_out_rms_mm");
        if (json_is_number(v))
            most = fmax(most, json_number_value(v));
    }
    return most;
}

static int read_calibration(struct uf_store *s, int64_t id, struct uf_report_calibration *out,
                            struct uf_error *err)
{
    json_t *provenance = NULL;
    sqlite3_stmt *q;
    *out = (struct uf_report_calibration){.id = id, .cop_u_mm = NAN};
    if (id == 0)
        return UF_OK;
    int rc = query(s, &q, "SELECT name, made_utc_us FROM calibration WHERE id = ?1", &id, 1, err);
    if (rc)
        return rc;
    int step = sqlite3_step(q);
    if (step == SQLITE_ROW) {
        copy(out->name, sizeof out->name, q, 0);
        out->made_utc_us = sqlite3_column_int64(q, 1);
    }
    rc = end(s, q, step, err);
    if (rc == 0)
        rc = uf_store_calibration_provenance(s, id, &provenance, err);
    if (rc == 0)
        out->cop_u_mm = cop_error_mm(provenance);
    json_decref(provenance);
    return rc;
}

static int read_calibrations(struct uf_store *s, struct uf_report *r, struct uf_error *err)
{
    int rc = UF_OK;
    for (size_t i = 0; rc == 0 && i < r->swings; i++) {
        const struct uf_report_swing *w = &r->swing[i];
        size_t k = 0;
        if (!w->derived || w->side < 0)
            continue;
        while (k < r->calibrations && r->calibration[k].id != w->calibration_id)
            k++;
        if (k < r->calibrations)
            continue;
        if (k == UF_REPORT_CALIBRATIONS)
            r->more_calibrations = 1;
        else
            rc = read_calibration(s, w->calibration_id, &r->calibration[r->calibrations++], err);
    }
    return rc;
}

static int read_plates(struct uf_store *s, struct uf_report *r, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = UF_OK, step;
    int64_t until = r->ended_utc_us ? r->ended_utc_us : INT64_MAX;
    for (int p = 0; rc == 0 && p < r->rig.plates; p++) {
        const int64_t v[] = {r->rig_id, until};
        rc = query(s, &q,
                   "SELECT date(at_utc_us / 1000000, 'unixepoch', 'localtime') || iif(passed,"
                   " ' passed', ' NOT PASSED') FROM plate_check WHERE rig_id = ?1 AND"
                   " at_utc_us <= ?2 AND plate = ?3 ORDER BY at_utc_us DESC, id DESC LIMIT 1",
                   v, 2, err);
        if (rc)
            break;
        sqlite3_bind_text(q, 3, uf_place_name(r->rig.plate[p].place), -1, SQLITE_STATIC);
        step = sqlite3_step(q);
        if (step == SQLITE_ROW)
            copy(r->check[p], sizeof r->check[p], q, 0);
        rc = end(s, q, step, err);
    }
    const int64_t v[] = {r->rig_id, r->started_utc_us, until};
    if (rc == 0)
        rc = query(s, &q,
                   "SELECT max(max(abs(coalesce(left_drift_n, 0)), abs(coalesce(right_drift_n,"
                   " 0)))) FROM tare WHERE rig_id = ?1 AND taken_utc_us BETWEEN ?2 AND ?3 AND"
                   " first = 0",
                   v, 3, err);
    if (rc)
        return rc;
    step = sqlite3_step(q);
    r->drift_n = step == SQLITE_ROW ? real(q, 0) : NAN;
    return end(s, q, step, err);
}

int uf_report_read(struct uf_store *s, int64_t session, int64_t baseline, int64_t retest,
                   struct uf_report **out, struct uf_error *err)
{
    struct uf_report *r = *out = calloc(1, sizeof *r);
    if (!r)
        return uf_fail(err, UF_ENOMEM, NO_MEMORY);
    r->session_id = session;
    int rc = read_session(s, r, err);
    if (rc == 0)
        rc = read_blocks(s, r, err);
    if (rc == 0)
        rc = choose_sides(s, r, baseline, retest, err);
    if (rc == 0)
        rc = list_swings(s, r, err);
    if (rc == 0)
        rc = read_swings(s, r, err);
    if (rc == 0)
        rc = read_calibrations(s, r, err);
    return rc ? rc : read_plates(s, r, err);
}
