/* SPDX-License-Identifier: MIT
 * See comparison.h. */
#include "store/comparison.h"

#include "store/derivation.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DOING      "compare"
#define EXTRAS_MAX 32

/* The swings of one side: value[i * columns + column]. Columns: metrics, then extras. */
struct side {
    size_t n, excluded;
    double *value;
    int64_t *swing;
};

/* Names of other instruments' numbers, with the unit of each. */
struct extras {
    size_t n;
    char name[EXTRAS_MAX][64], unit[EXTRAS_MAX][32];
};

const char *uf_verdict_name(enum uf_verdict v)
{
    static const char *const names[] = {[UF_VERDICT_MISSING] = "not measured",
                                        [UF_VERDICT_FEW] = "too few swings",
                                        [UF_VERDICT_WITHIN] = "within noise",
                                        [UF_VERDICT_CHANGED] = "changed"};
    return names[v];
}

void uf_comparison_free(struct uf_comparison *c)
{
    if (!c)
        return;
    free(c->row);
    free(c);
}

static void side_free(struct side *side)
{
    free(side->value);
    free(side->swing);
    *side = (struct side){0};
}

/* ---- reading ---- */

static int read_extras(struct uf_store *s, struct extras *out, struct uf_error *err)
{
    sqlite3_stmt *q;
    out->n = 0;
    int rc = uf_db_prepare(
        s, &q, "SELECT name, unit FROM swing_extra GROUP BY name, unit ORDER BY name", DOING, err);
    if (rc)
        return rc;
    while ((rc = uf_db_step(s, q, DOING, err)) > 0 && out->n < EXTRAS_MAX) {
        uf_db_text(q, 0, out->name[out->n], sizeof out->name[0]);
        uf_db_text(q, 1, out->unit[out->n], sizeof out->unit[0]);
        out->n++;
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

/* The extras of one swing into value[]: NAN where it has none. */
static int swing_extras(struct uf_store *s, int64_t swing, const struct extras *extras,
                        double *value, struct uf_error *err)
{
    sqlite3_stmt *q;
    for (size_t i = 0; i < extras->n; i++)
        value[i] = NAN;
    int rc = uf_db_prepare(s, &q, "SELECT name, unit, value FROM swing_extra WHERE swing_id = ?1",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing);
    while ((rc = uf_db_step(s, q, DOING, err)) > 0)
        for (size_t i = 0; i < extras->n; i++)
            if (strcmp(uf_store_text(q, 0), extras->name[i]) == 0 &&
                strcmp(uf_store_text(q, 1), extras->unit[i]) == 0)
                value[i] = sqlite3_column_double(q, 2);
    sqlite3_finalize(q);
    return rc;
}

static int add_swing(struct uf_store *s, struct side *side, int64_t swing, int64_t derivation,
                     const struct extras *extras, struct uf_error *err)
{
    size_t columns = UF_METRICS + extras->n;
    double *value = realloc(side->value, (side->n + 1) * columns * sizeof *value);
    if (value)
        side->value = value;
    int64_t *id = realloc(side->swing, (side->n + 1) * sizeof *id);
    if (id)
        side->swing = id;
    if (!value || !id)
        return uf_fail(err, UF_ENOMEM, "no memory to compare");
    struct uf_derived derived;
    int rc = uf_derivation_read(s, derivation, &derived, err);
    if (rc)
        return rc;
    value += side->n * columns;
    memcpy(value, derived.value, sizeof derived.value);
    id[side->n++] = swing;
    return swing_extras(s, swing, extras, value + UF_METRICS, err);
}

/* The swings that count of a block, or of a session's swings without a block (block 0). */
static int read_side(struct uf_store *s, int64_t block, int64_t session,
                     const struct extras *extras, struct side *out, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc =
        uf_db_prepare(s, &q,
                      "SELECT swing.id, derivation.id, excluded_reason IS NOT NULL FROM swing"
                      " JOIN derivation ON swing_id = swing.id AND current = 1"
                      " WHERE coalesce(block_id, 0) = ?1 AND session_id = ?2 ORDER BY swing.id",
                      DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, block);
    sqlite3_bind_int64(q, 2, session);
    while ((rc = uf_db_step(s, q, DOING, err)) > 0) {
        if (sqlite3_column_int(q, 2)) {
            out->excluded++;
            continue;
        }
        rc = add_swing(s, out, sqlite3_column_int64(q, 0), sqlite3_column_int64(q, 1), extras, err);
        if (rc)
            break;
    }
    sqlite3_finalize(q);
    return rc;
}

static void spread(const struct side *side, size_t columns, size_t column, double *scratch,
                   struct uf_spread *out)
{
    for (size_t i = 0; i < side->n; i++)
        scratch[i] = side->value[i * columns + column];
    uf_spread_of(scratch, side->n, out);
}

/* ---- judging ---- */

static void judge_blocks(struct uf_comparison_row *r)
{
    struct uf_change change;
    uf_change_of(&r->a, &r->b, &change);
    r->difference = r->b.mean - r->a.mean;
    r->noise_sd = change.pooled_sd;
    r->needed = change.detectable;
    if (r->a.n == 0 || r->b.n == 0)
        r->verdict = UF_VERDICT_MISSING;
    else if (r->a.n < UF_COMPARISON_LEAST || r->b.n < UF_COMPARISON_LEAST)
        r->verdict = UF_VERDICT_FEW;
    else if (r->a.sd == 0 && r->b.sd == 0) /* counts, mostly: every difference is one */
        r->verdict = r->difference == 0 ? UF_VERDICT_WITHIN : UF_VERDICT_CHANGED;
    else
        r->verdict = fabs(r->difference) > r->needed ? UF_VERDICT_CHANGED : UF_VERDICT_WITHIN;
}

/* Two swings that differ by chance alone differ by more in 5 % of cases: t sqrt(2) sd. */
static void judge_swings(struct uf_comparison_row *r, const struct uf_spread *first,
                         const struct uf_spread *second)
{
    double dof = 0, sum = 0;
    const struct uf_spread *both[] = {first, second};
    for (int i = 0; i < 2; i++)
        if (both[i] && both[i]->n >= 2) {
            double d = (double)both[i]->n - 1;
            sum += d * both[i]->sd * both[i]->sd;
            dof += d;
        }
    bool known = dof >= UF_COMPARISON_LEAST - 1;
    r->difference = r->b.mean - r->a.mean;
    r->noise_sd = known ? sqrt(sum / dof) : NAN;
    r->needed = known ? uf_t_two_sided(0.95, dof) * sqrt(2) * r->noise_sd : NAN;
    if (r->a.n == 0 || r->b.n == 0)
        r->verdict = UF_VERDICT_MISSING;
    else if (!known)
        r->verdict = UF_VERDICT_FEW;
    else
        r->verdict = fabs(r->difference) > r->needed ? UF_VERDICT_CHANGED : UF_VERDICT_WITHIN;
}

/* How the two differ in other things. a and b are blocks, or swings. */
static int circumstances(struct uf_store *s, bool blocks, int64_t a, int64_t b,
                         struct uf_comparison *out, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(
        s, &q,
        blocks ? "SELECT count(DISTINCT coalesce(player_id, 0)) > 1,"
                 " count(DISTINCT session.id) > 1, count(DISTINCT coalesce(club, '')) > 1,"
                 " count(DISTINCT coalesce(ball, -1)) > 1,"
                 " count(DISTINCT coalesce(calibration_id, 0)) > 1"
                 " FROM block JOIN session ON session.id = block.session_id"
                 " LEFT JOIN swing ON swing.block_id = block.id AND excluded_reason IS NULL"
                 " LEFT JOIN derivation ON swing_id = swing.id AND current = 1"
                 " WHERE block.id IN (?1, ?2)"
               : "SELECT count(DISTINCT coalesce(player_id, 0)) > 1,"
                 " count(DISTINCT session.id) > 1, count(DISTINCT coalesce(club, '')) > 1,"
                 " count(DISTINCT coalesce(ball, -1)) > 1,"
                 " count(DISTINCT coalesce(calibration_id, 0)) > 1"
                 " FROM swing JOIN session ON session.id = swing.session_id"
                 " LEFT JOIN block ON block.id = block_id"
                 " LEFT JOIN derivation ON swing_id = swing.id AND current = 1"
                 " WHERE swing.id IN (?1, ?2)",
        DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, a);
    sqlite3_bind_int64(q, 2, b);
    rc = uf_db_step(s, q, DOING, err);
    if (rc > 0) {
        out->players = sqlite3_column_int(q, 0) != 0;
        out->sessions = sqlite3_column_int(q, 1) != 0;
        out->clubs = sqlite3_column_int(q, 2) != 0;
        out->balls = sqlite3_column_int(q, 3) != 0;
        out->calibrations = sqlite3_column_int(q, 4) != 0;
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

static int rows_new(struct uf_comparison **out, const struct extras *extras, struct uf_error *err)
{
    struct uf_comparison *c = calloc(1, sizeof *c);
    if (c)
        c->row = calloc(UF_METRICS + extras->n, sizeof *c->row);
    if (!c || !c->row) {
        free(c);
        return uf_fail(err, UF_ENOMEM, "no memory to compare");
    }
    c->n = UF_METRICS + extras->n;
    for (size_t i = 0; i < c->n; i++) {
        struct uf_comparison_row *r = &c->row[i];
        r->extra = i >= UF_METRICS;
        if (r->extra) {
            strcpy(r->name, extras->name[i - UF_METRICS]);
            strcpy(r->unit, extras->unit[i - UF_METRICS]);
        } else {
            const struct uf_metric_row *m = uf_metric_row((enum uf_metric)i);
            snprintf(r->name, sizeof r->name, "%s", m->name);
            snprintf(r->unit, sizeof r->unit, "%s", m->unit);
        }
    }
    *out = c;
    return UF_OK;
}

static int different(int64_t a, int64_t b, const char *what, struct uf_error *err)
{
    if (a != b)
        return UF_OK;
    return uf_fail(err, UF_EINVAL, "%s %lld against itself shows nothing: give two", what,
                   (long long)a);
}

/* ---- the two comparisons ---- */

int uf_comparison_blocks(struct uf_store *s, int64_t a, int64_t b, struct uf_comparison **out,
                         struct uf_error *err)
{
    struct extras *extras = calloc(1, sizeof *extras);
    struct uf_block *block = calloc(2, sizeof *block);
    struct side side[2] = {{0}, {0}};
    double *scratch = NULL;
    *out = NULL;
    int rc = extras && block ? different(a, b, "block", err)
                             : uf_fail(err, UF_ENOMEM, "no memory to compare");
    if (rc == 0)
        rc = uf_block_get(s, a, &block[0], err);
    if (rc == 0)
        rc = uf_block_get(s, b, &block[1], err);
    if (rc == 0)
        rc = read_extras(s, extras, err);
    for (int i = 0; rc == 0 && i < 2; i++)
        rc = read_side(s, block[i].id, block[i].session_id, extras, &side[i], err);
    if (rc == 0)
        rc = rows_new(out, extras, err);
    if (rc == 0)
        rc = circumstances(s, true, a, b, *out, err);
    if (rc == 0) {
        scratch = calloc(side[0].n + side[1].n + 1, sizeof *scratch);
        rc = scratch ? UF_OK : uf_fail(err, UF_ENOMEM, "no memory to compare");
    }
    for (size_t i = 0; rc == 0 && i < (*out)->n; i++) {
        struct uf_comparison_row *r = &(*out)->row[i];
        spread(&side[0], (*out)->n, i, scratch, &r->a);
        spread(&side[1], (*out)->n, i, scratch, &r->b);
        judge_blocks(r);
    }
    if (rc == 0) {
        (*out)->a_swings = side[0].n;
        (*out)->b_swings = side[1].n;
        (*out)->a_excluded = side[0].excluded;
        (*out)->b_excluded = side[1].excluded;
    } else {
        uf_comparison_free(*out);
        *out = NULL;
    }
    free(scratch);
    side_free(&side[0]);
    side_free(&side[1]);
    free(block);
    free(extras);
    return rc;
}

/* Where a swing belongs, and its derivation. */
struct home {
    int64_t block, session, derivation;
};

static int find_home(struct uf_store *s, int64_t swing, struct home *out, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_store_swing_known(s, swing, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "SELECT coalesce(block_id, 0), session_id, derivation.id FROM swing"
                           " JOIN derivation ON swing_id = swing.id AND current = 1"
                           " WHERE swing.id = ?1",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing);
    rc = uf_db_step(s, q, DOING, err);
    if (rc > 0)
        *out = (struct home){sqlite3_column_int64(q, 0), sqlite3_column_int64(q, 1),
                             sqlite3_column_int64(q, 2)};
    else if (rc == 0)
        rc = uf_fail(err, UF_ENOTFOUND, "swing %lld has no current derivation", (long long)swing);
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

int uf_comparison_swings(struct uf_store *s, int64_t a, int64_t b, struct uf_comparison **out,
                         struct uf_error *err)
{
    struct extras *extras = calloc(1, sizeof *extras);
    const int64_t swing[2] = {a, b};
    struct home home[2] = {{0}, {0}};
    struct side one[2] = {{0}, {0}}, around[2] = {{0}, {0}};
    double *scratch = NULL;
    *out = NULL;
    int rc =
        extras ? different(a, b, "swing", err) : uf_fail(err, UF_ENOMEM, "no memory to compare");
    for (int i = 0; rc == 0 && i < 2; i++)
        rc = find_home(s, swing[i], &home[i], err);
    if (rc == 0)
        rc = read_extras(s, extras, err);
    bool same = home[0].block == home[1].block && home[0].session == home[1].session;
    for (int i = 0; rc == 0 && i < 2; i++) {
        rc = add_swing(s, &one[i], swing[i], home[i].derivation, extras, err);
        if (rc == 0 && !(same && i == 1))
            rc = read_side(s, home[i].block, home[i].session, extras, &around[i], err);
    }
    if (rc == 0)
        rc = rows_new(out, extras, err);
    if (rc == 0)
        rc = circumstances(s, false, a, b, *out, err);
    if (rc == 0) {
        scratch = calloc(around[0].n + around[1].n + 1, sizeof *scratch);
        rc = scratch ? UF_OK : uf_fail(err, UF_ENOMEM, "no memory to compare");
    }
    for (size_t i = 0; rc == 0 && i < (*out)->n; i++) {
        struct uf_comparison_row *r = &(*out)->row[i];
        struct uf_spread noise[2];
        for (int k = 0; k < 2; k++)
            spread(&around[k], (*out)->n, i, scratch, &noise[k]);
        spread(&one[0], (*out)->n, i, scratch, &r->a);
        spread(&one[1], (*out)->n, i, scratch, &r->b);
        judge_swings(r, &noise[0], same ? NULL : &noise[1]);
    }
    if (rc == 0) {
        (*out)->a_swings = (*out)->b_swings = 1;
    } else {
        uf_comparison_free(*out);
        *out = NULL;
    }
    free(scratch);
    for (int i = 0; i < 2; i++) {
        side_free(&one[i]);
        side_free(&around[i]);
    }
    free(extras);
    return rc;
}
