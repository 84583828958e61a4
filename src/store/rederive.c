/* SPDX-License-Identifier: MIT
 * Swings derived again from their raw counts: see uf_store_rederive. One transaction a swing, so
 * that a running daemon never waits long for its turn to write. */
#include "store/calibrations.h"
#include "store/derivation.h"
#include "store/feet.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The rig of the last swing and its calibration: neighbours share them. */
struct bench {
    int64_t rig_id; /* 0: none yet */
    int64_t calibration_id;
    struct uf_rig rig;
    struct uf_calibration calibration;
    int64_t rocking_id; /* whose feet are settled for all this, and .. */
    enum uf_hand hand;
};

static int set_up(struct uf_store *s, struct bench *b, int64_t rig_id, struct uf_error *err)
{
    if (b->rig_id == rig_id)
        return UF_OK;
    b->rig_id = b->rocking_id = 0;
    int rc = uf_store_rig_get(s, rig_id, &b->rig, err);
    if (rc)
        return rc;
    rc = uf_store_calibration_active(s, rig_id, &b->rig, &b->calibration, &b->calibration_id, err);
    if (rc == UF_ENOTFOUND) {
        b->calibration_id = 0;
        uf_calibration_nominal(&b->rig, &b->calibration);
        rc = UF_OK;
    }
    if (rc == 0)
        b->rig_id = rig_id;
    return rc;
}

/* The feet by the calibration in force and the player's lengths as they are now. */
static int settle_feet(struct uf_store *s, struct bench *b, const struct uf_given_of *of,
                       int64_t made_utc_us, struct uf_error *err)
{
    if (of->rocking_id == 0 || (of->rocking_id == b->rocking_id && of->hand == b->hand))
        return UF_OK;
    int rc = uf_store_feet_settle(s, of->rocking_id, of->hand, &b->rig, &b->calibration,
                                  b->calibration_id, made_utc_us, NULL, err);
    b->rocking_id = rc ? 0 : of->rocking_id;
    b->hand = of->hand;
    return rc;
}

static int derive(struct uf_store *s, struct bench *b, const struct uf_analysis_settings *settings,
                  int64_t swing_id, char *basis, int64_t made_utc_us, struct uf_derived *out,
                  struct uf_analysis_settings *in_force, struct uf_error *err)
{
    struct uf_capture *capture = NULL;
    struct uf_analysis *analysis = NULL;
    struct uf_given given;
    struct uf_given_of of;
    int rc = uf_store_capture(s, swing_id, &capture, err);
    if (rc == 0)
        rc = uf_store_given_of(s, swing_id, &of, err);
    if (rc == 0)
        rc = settle_feet(s, b, &of, made_utc_us, err);
    if (rc == 0) {
        of.calibration_id = b->calibration_id;
        of.old_days = settings->old_days;
        rc = uf_store_given(s, &of, &given, basis, err);
    }
    if (rc == 0)
        rc = uf_analyse_given(capture, &b->rig, &b->calibration, settings, &given, &analysis, err);
    if (rc == 0) {
        uf_derived_of(analysis, out);
        *in_force = analysis->settings;
    }
    uf_analysis_free(analysis);
    uf_capture_free(capture);
    return rc;
}

/* Within a transaction: compares with what is there, or adds. */
static int settle(struct uf_store *s, const struct uf_derivation_key *key,
                  const struct uf_derived *derived, int64_t made_utc_us,
                  struct uf_rederive_counts *counts, struct uf_error *err)
{
    int64_t id;
    bool current;
    int rc = uf_derivation_find(s, key, &id, &current, err);
    if (rc)
        return rc;
    if (id == 0) {
        counts->made++;
        return uf_derivation_add(s, key, derived, made_utc_us, err);
    }
    struct uf_derived *stored = malloc(sizeof *stored);
    if (!stored)
        return uf_fail(err, UF_ENOMEM, "no memory to compare a swing");
    int younger;
    rc = uf_derivation_read(s, id, stored, err);
    if (rc == 0 && !uf_derived_same(stored, derived, &younger))
        counts->differ++;
    else if (rc == 0) {
        counts->same++;
        if (younger)
            rc = uf_derivation_fill(s, id, stored, derived, err);
    }
    if (rc == 0 && !current)
        rc = uf_derivation_make_current(s, key->swing_id, id, err);
    free(stored);
    return rc;
}

static int rig_of_swing(struct uf_store *s, int64_t swing_id, int64_t *rig_id, struct uf_error *err)
{
    static const char doing[] = "look a swing up";
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "SELECT rig_id FROM swing WHERE id = ?1", doing, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing_id);
    rc = uf_db_step(s, q, doing, err);
    if (rc > 0)
        *rig_id = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    return rc > 0 ? UF_OK : rc < 0 ? rc : uf_store_swing_known(s, swing_id, err);
}

static int rederive_one(struct uf_store *s, struct bench *b, int64_t swing_id,
                        const struct uf_analysis_settings *settings, int64_t made_utc_us,
                        struct uf_rederive_counts *counts, struct uf_error *err)
{
    static const char doing[] = "store the numbers of a swing";
    struct uf_derived derived;
    struct uf_analysis_settings in_force;
    char basis[UF_BASIS_SIZE] = "";
    int64_t rig_id = 0;
    int rc = rig_of_swing(s, swing_id, &rig_id, err);
    if (rc == 0)
        rc = set_up(s, b, rig_id, err);
    if (rc == 0)
        rc = derive(s, b, settings, swing_id, basis, made_utc_us, &derived, &in_force, err);
    if (rc == 0)
        rc = uf_db_begin(s, doing, err);
    if (rc)
        return rc;
    struct uf_derivation_key key = {.swing_id = swing_id,
                                    .calibration_id = b->calibration_id,
                                    .algorithm = UF_ALGORITHM,
                                    .settings = in_force};
    memcpy(key.basis, basis, sizeof key.basis);
    struct uf_rederive_counts after = *counts;
    rc = uf_db_end(s, settle(s, &key, &derived, made_utc_us, &after, err), doing, err);
    if (rc == 0)
        *counts = after;
    return rc;
}

int uf_store_rederive(struct uf_store *s, const int64_t *which, size_t n, int64_t since_utc_us,
                      const struct uf_analysis_settings *settings, int64_t made_utc_us,
                      struct uf_rederive_counts *counts, struct uf_error *err)
{
    *counts = (struct uf_rederive_counts){0};
    int64_t *all = NULL;
    int rc = UF_OK;
    for (size_t i = 0; rc == 0 && which && i < n; i++)
        rc = uf_store_swing_known(s, which[i], err); /* before anything is written */
    if (rc == 0 && !which) {
        rc = uf_store_swing_ids(s, 0, since_utc_us, &all, &n, err);
        which = all;
    }
    struct bench *b = rc == 0 ? calloc(1, sizeof *b) : NULL;
    if (rc == 0 && !b)
        rc = uf_fail(err, UF_ENOMEM, "no memory to derive swings");
    for (size_t i = 0; b && i < n; i++) {
        struct uf_error inner = {.text = ""};
        int one = rederive_one(s, b, which[i], settings, made_utc_us, counts, &inner);
        counts->swings++;
        if (one == 0)
            continue;
        /* the others must not wait for a damaged one; the first failure is the one reported */
        if (counts->failed++ == 0)
            rc = uf_fail(err, one, "%s", inner.text);
        if (one == UF_EFULL || one == UF_EPERM || one == UF_EBUSY)
            break; /* nothing to hope for from the rest */
    }
    free(b);
    free(all);
    return rc;
}
