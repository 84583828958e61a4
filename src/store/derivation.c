/* SPDX-License-Identifier: MIT
 * See derivation.h. */
#include "store/derivation.h"

#include <math.h>
#include <string.h>

#define DOING_WRITE "store the numbers of a swing"
#define DOING_READ  "read the numbers of a swing"

void uf_derived_of(const struct uf_analysis *a, struct uf_derived *out)
{
    memcpy(out->value, a->value, sizeof out->value);
    memcpy(out->sd, a->sd, sizeof out->sd);
    memcpy(out->reason, a->reason, sizeof out->reason);
    memcpy(out->event, a->event, sizeof out->event);
    out->flags = a->flags;
}

static bool same_bits(double a, double b)
{
    a += 0.0; /* -0.0 is stored as 0.0 */
    b += 0.0;
    return (isnan(a) && isnan(b)) || memcmp(&a, &b, sizeof a) == 0;
}

static bool is_younger(const struct uf_derived *stored, int metric)
{
    return isnan(stored->value[metric]) && stored->reason[metric] == UF_REASON_NONE;
}

bool uf_derived_same(const struct uf_derived *stored, const struct uf_derived *derived,
                     int *younger)
{
    *younger = 0;
    bool same = stored->flags == derived->flags;
    for (int i = 0; i < UF_METRICS; i++) {
        if (is_younger(stored, i))
            ++*younger;
        else if (stored->reason[i] != derived->reason[i] ||
                 !same_bits(stored->value[i], derived->value[i]) ||
                 !same_bits(stored->sd[i], derived->sd[i]))
            same = false;
    }
    for (int i = 0; i < UF_EVENTS; i++)
        if (stored->event[i].source != derived->event[i].source ||
            !same_bits(stored->event[i].t_s, derived->event[i].t_s) ||
            !same_bits(stored->event[i].u_s, derived->event[i].u_s))
            same = false;
    return same;
}

/* ---- writing ---- */

static int add_events(struct uf_store *s, int64_t id, const struct uf_derived *d,
                      struct uf_error *err)
{
    int rc = UF_OK;
    for (int i = 0; rc == 0 && i < UF_EVENTS; i++) {
        if (d->event[i].source == UF_SOURCE_NONE)
            continue;
        sqlite3_stmt *q;
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO swing_event (derivation_id, kind, t_s, source, u_s)"
                           " VALUES (?1, ?2, ?3, ?4, ?5)",
                           DOING_WRITE, err);
        if (rc)
            break;
        sqlite3_bind_int64(q, 1, id);
        sqlite3_bind_text(q, 2, uf_event_name((enum uf_event_kind)i), -1, SQLITE_STATIC);
        uf_db_bind_real(q, 3, d->event[i].t_s);
        sqlite3_bind_text(q, 4, uf_source_name(d->event[i].source), -1, SQLITE_STATIC);
        uf_db_bind_real(q, 5, d->event[i].u_s);
        rc = uf_db_run(s, q, DOING_WRITE, err);
    }
    return rc;
}

static int add_reason(struct uf_store *s, int64_t id, int metric, enum uf_reason reason,
                      struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "INSERT INTO swing_metric_null (derivation_id, metric, reason)"
                           " VALUES (?1, ?2, ?3)",
                           DOING_WRITE, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    sqlite3_bind_text(q, 2, uf_metric_row((enum uf_metric)metric)->name, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 3, uf_reason_code(reason), -1, SQLITE_STATIC);
    return uf_db_run(s, q, DOING_WRITE, err);
}

static int prepare_built(struct uf_store *s, sqlite3_stmt **q, sqlite3_str *built,
                         struct uf_error *err)
{
    char *sql = sqlite3_str_finish(built);
    int rc = sql ? uf_db_prepare(s, q, sql, DOING_WRITE, err)
                 : uf_fail(err, UF_ENOMEM, "cannot " DOING_WRITE ": no memory");
    sqlite3_free(sql);
    return rc;
}

/* A row of swing_metric or of its sister table. */
static int add_row(struct uf_store *s, const char *table, int64_t id, const double *value,
                   struct uf_error *err)
{
    sqlite3_str *sql = sqlite3_str_new(s->db);
    sqlite3_str_appendf(sql, "INSERT INTO %s (derivation_id", table);
    for (int i = 0; i < UF_METRICS; i++)
        sqlite3_str_appendf(sql, ", \"%w\"", uf_metric_row((enum uf_metric)i)->name);
    sqlite3_str_appendall(sql, ") VALUES (?1");
    for (int i = 0; i < UF_METRICS; i++)
        sqlite3_str_appendf(sql, ", ?%d", i + 2);
    sqlite3_str_appendall(sql, ")");
    sqlite3_stmt *q;
    int rc = prepare_built(s, &q, sql, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    for (int i = 0; i < UF_METRICS; i++)
        uf_db_bind_real(q, i + 2, value[i]);
    return uf_db_run(s, q, DOING_WRITE, err);
}

static int add_metrics(struct uf_store *s, int64_t id, const struct uf_derived *d,
                       struct uf_error *err)
{
    int rc = add_row(s, "swing_metric", id, d->value, err);
    if (rc == 0)
        rc = add_row(s, "swing_metric_sd", id, d->sd, err);
    for (int i = 0; rc == 0 && i < UF_METRICS; i++)
        if (d->reason[i])
            rc = add_reason(s, id, i, d->reason[i], err);
    return rc;
}

static int drop_current(struct uf_store *s, int64_t swing_id, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "UPDATE derivation SET current = 0 WHERE swing_id = ?1 AND current = 1",
                           DOING_WRITE, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, swing_id);
    return uf_db_run(s, q, DOING_WRITE, err);
}

int uf_derivation_make_current(struct uf_store *s, int64_t swing_id, int64_t id,
                               struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = drop_current(s, swing_id, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q, "UPDATE derivation SET current = 1 WHERE id = ?1", DOING_WRITE,
                           err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    return uf_db_run(s, q, DOING_WRITE, err);
}

/* Values ?1..?7 of a key, as in the index derivation_once. */
static void bind_key(sqlite3_stmt *q, const struct uf_derivation_key *key)
{
    sqlite3_bind_int64(q, 1, key->swing_id);
    if (key->calibration_id)
        sqlite3_bind_int64(q, 2, key->calibration_id);
    sqlite3_bind_int(q, 3, key->algorithm);
    uf_db_bind_real(q, 4, key->settings.cutoff_hz);
    sqlite3_bind_int(q, 5, key->settings.order);
    uf_db_bind_real(q, 6, key->settings.cop_min_n);
    sqlite3_bind_text(q, 7, key->basis, -1, SQLITE_STATIC);
}

int uf_derivation_add(struct uf_store *s, const struct uf_derivation_key *key,
                      const struct uf_derived *d, int64_t made_utc_us, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = drop_current(s, key->swing_id, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO derivation (swing_id, calibration_id, algorithm, cutoff_hz,"
                           " filter_order, cop_min_n, basis, flags, program, made_utc_us,"
                           " current) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, 1)",
                           DOING_WRITE, err);
    if (rc)
        return rc;
    bind_key(q, key);
    sqlite3_bind_int64(q, 8, d->flags);
    sqlite3_bind_text(q, 9, UF_VERSION, -1, SQLITE_STATIC);
    sqlite3_bind_int64(q, 10, made_utc_us);
    rc = uf_db_run(s, q, DOING_WRITE, err);
    int64_t id = sqlite3_last_insert_rowid(s->db);
    if (rc == 0)
        rc = add_events(s, id, d, err);
    if (rc == 0)
        rc = add_metrics(s, id, d, err);
    return rc;
}

static int set_number(struct uf_store *s, const char *table, int64_t id, int metric, double value,
                      struct uf_error *err)
{
    sqlite3_str *sql = sqlite3_str_new(s->db);
    sqlite3_str_appendf(sql, "UPDATE %s SET \"%w\" = ?2 WHERE derivation_id = ?1", table,
                        uf_metric_row((enum uf_metric)metric)->name);
    sqlite3_stmt *q;
    int rc = prepare_built(s, &q, sql, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, id);
    uf_db_bind_real(q, 2, value);
    return uf_db_run(s, q, DOING_WRITE, err);
}

int uf_derivation_fill(struct uf_store *s, int64_t id, const struct uf_derived *stored,
                       const struct uf_derived *derived, struct uf_error *err)
{
    int rc = UF_OK;
    for (int i = 0; rc == 0 && i < UF_METRICS; i++) {
        if (!is_younger(stored, i))
            continue;
        if (derived->reason[i]) {
            rc = add_reason(s, id, i, derived->reason[i], err);
            continue;
        }
        rc = set_number(s, "swing_metric", id, i, derived->value[i], err);
        if (rc == 0)
            rc = set_number(s, "swing_metric_sd", id, i, derived->sd[i], err);
    }
    return rc;
}

/* ---- reading ---- */

int uf_derivation_find(struct uf_store *s, const struct uf_derivation_key *key, int64_t *id,
                       bool *current, struct uf_error *err)
{
    *id = 0;
    *current = false;
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT id, current FROM derivation WHERE swing_id = ?1"
                           " AND coalesce(calibration_id, 0) = coalesce(?2, 0) AND algorithm = ?3"
                           " AND cutoff_hz = ?4 AND filter_order = ?5 AND cop_min_n = ?6"
                           " AND basis = ?7",
                           DOING_READ, err);
    if (rc)
        return rc;
    bind_key(q, key);
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0) {
        *id = sqlite3_column_int64(q, 0);
        *current = sqlite3_column_int(q, 1) != 0;
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

static int prepare_of(struct uf_store *s, sqlite3_stmt **q, const char *sql, int64_t id,
                      struct uf_error *err)
{
    int rc = uf_db_prepare(s, q, sql, DOING_READ, err);
    if (rc == 0)
        sqlite3_bind_int64(*q, 1, id);
    return rc;
}

static int read_row(struct uf_store *s, const char *sql, int64_t id, double *value,
                    struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = prepare_of(s, &q, sql, id, err);
    if (rc)
        return rc;
    rc = uf_db_step(s, q, DOING_READ, err);
    /* by name: an older file lacks some, a newer program's file has more */
    for (int c = 1; rc > 0 && c < sqlite3_column_count(q); c++) {
        int i = uf_metric_find(sqlite3_column_name(q, c));
        if (i >= 0)
            value[i] = uf_db_real(q, c);
    }
    sqlite3_finalize(q);
    return rc;
}

static int read_metrics(struct uf_store *s, int64_t id, struct uf_derived *d, struct uf_error *err)
{
    int rc = read_row(s, "SELECT * FROM swing_metric WHERE derivation_id = ?1", id, d->value, err);
    if (rc == 0)
        return uf_fail(err, UF_ECORRUPT, "derivation %lld in %s has no metrics", (long long)id,
                       s->path);
    /* derivations of algorithm 1 have no uncertainties */
    if (rc > 0)
        rc = read_row(s, "SELECT * FROM swing_metric_sd WHERE derivation_id = ?1", id, d->sd, err);
    return rc < 0 ? rc : UF_OK;
}

static enum uf_reason reason_find(const char *code)
{
    for (int i = UF_REASON_NONE + 1; i < UF_REASONS; i++)
        if (strcmp(code, uf_reason_code((enum uf_reason)i)) == 0)
            return (enum uf_reason)i;
    return UF_REASON_NONE;
}

static int read_reasons(struct uf_store *s, int64_t id, struct uf_derived *d, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = prepare_of(
        s, &q, "SELECT metric, reason FROM swing_metric_null WHERE derivation_id = ?1", id, err);
    if (rc)
        return rc;
    while ((rc = uf_db_step(s, q, DOING_READ, err)) > 0) {
        int i = uf_metric_find(uf_store_text(q, 0));
        if (i >= 0)
            d->reason[i] = reason_find(uf_store_text(q, 1));
    }
    sqlite3_finalize(q);
    return rc;
}

static int read_events(struct uf_store *s, int64_t id, struct uf_derived *d, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = prepare_of(
        s, &q, "SELECT kind, t_s, source, u_s FROM swing_event WHERE derivation_id = ?1", id, err);
    if (rc)
        return rc;
    while ((rc = uf_db_step(s, q, DOING_READ, err)) > 0)
        for (int i = 0; i < UF_EVENTS; i++) {
            const char *kind = uf_store_text(q, 0);
            if (strcmp(kind, uf_event_name((enum uf_event_kind)i)) != 0)
                continue;
            d->event[i].t_s = sqlite3_column_double(q, 1);
            d->event[i].u_s = uf_db_real(q, 3);
            for (int k = UF_SOURCE_NONE; k <= UF_SOURCE_ESTIMATE; k++)
                if (strcmp(uf_store_text(q, 2), uf_source_name((enum uf_event_source)k)) == 0)
                    d->event[i].source = (enum uf_event_source)k;
        }
    sqlite3_finalize(q);
    return rc;
}

int uf_derivation_read(struct uf_store *s, int64_t id, struct uf_derived *d, struct uf_error *err)
{
    for (int i = 0; i < UF_METRICS; i++) {
        d->value[i] = d->sd[i] = NAN;
        d->reason[i] = UF_REASON_NONE;
    }
    for (int i = 0; i < UF_EVENTS; i++)
        d->event[i] = (struct uf_event){NAN, NAN, UF_SOURCE_NONE};
    sqlite3_stmt *q;
    int rc = prepare_of(s, &q, "SELECT flags FROM derivation WHERE id = ?1", id, err);
    if (rc)
        return rc;
    rc = uf_db_step(s, q, DOING_READ, err);
    if (rc > 0)
        d->flags = (uint32_t)sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    if (rc == 0)
        return uf_fail(err, UF_ENOTFOUND, "there is no derivation %lld in %s", (long long)id,
                       s->path);
    if (rc > 0)
        rc = read_metrics(s, id, d, err);
    if (rc == 0)
        rc = read_reasons(s, id, d, err);
    if (rc == 0)
        rc = read_events(s, id, d, err);
    return rc;
}
