/* SPDX-License-Identifier: MIT
 * See imports.h. */
#include "store/imports.h"

#include "store/database.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DOING       "import numbers"
#define DAY_US      INT64_C(86400000000)
#define WITHIN_S    10.0
#define PAIRS_LIMIT 4000000

/* ---- mappings ---- */

int uf_mapping_get(struct uf_store *s, const char *name, struct uf_mapping *out,
                   struct uf_error *err)
{
    memset(out, 0, sizeof *out);
    snprintf(out->name, sizeof out->name, "%s", name);
    strcpy(out->date_order, "ymd");
    out->within_s = WITHIN_S;
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q,
                           "SELECT time_column, date_order, within_s, ahead_s FROM import_mapping"
                           " WHERE name = ?1",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, name, -1, SQLITE_STATIC);
    rc = uf_db_step(s, q, DOING, err);
    if (rc > 0) {
        uf_db_text(q, 0, out->time_column, sizeof out->time_column);
        uf_db_text(q, 1, out->date_order, sizeof out->date_order);
        out->within_s = sqlite3_column_double(q, 2);
        out->ahead_s = sqlite3_column_double(q, 3);
    }
    sqlite3_finalize(q);
    if (rc == 0)
        return uf_fail(err, UF_ENOTFOUND, "no mapping \"%s\" is remembered", name);
    if (rc < 0)
        return rc;
    rc = uf_db_prepare(s, &q,
                       "SELECT heading, name, unit FROM import_column WHERE mapping = ?1"
                       " ORDER BY name",
                       DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, name, -1, SQLITE_STATIC);
    while (out->n < UF_MAPPING_COLUMNS_MAX && (rc = uf_db_step(s, q, DOING, err)) > 0) {
        uf_db_text(q, 0, out->column[out->n].heading, sizeof out->column[0].heading);
        uf_db_text(q, 1, out->column[out->n].name, sizeof out->column[0].name);
        uf_db_text(q, 2, out->column[out->n].unit, sizeof out->column[0].unit);
        out->n++;
    }
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

static int put_column(struct uf_store *s, const struct uf_mapping *m, size_t i,
                      struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(
        s, &q, "INSERT INTO import_column (mapping, heading, name, unit) VALUES (?1, ?2, ?3, ?4)",
        DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, m->name, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 2, m->column[i].heading, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 3, m->column[i].name, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 4, m->column[i].unit, -1, SQLITE_STATIC);
    return uf_db_run(s, q, DOING, err);
}

static int put_mapping(struct uf_store *s, const struct uf_mapping *m, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, "DELETE FROM import_mapping WHERE name = ?1", DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, m->name, -1, SQLITE_STATIC);
    rc = uf_db_run(s, q, DOING, err);
    if (rc == 0)
        rc = uf_db_prepare(s, &q,
                           "INSERT INTO import_mapping (name, time_column, date_order, within_s,"
                           " ahead_s) VALUES (?1, ?2, ?3, ?4, ?5)",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_text(q, 1, m->name, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 2, m->time_column, -1, SQLITE_STATIC);
    sqlite3_bind_text(q, 3, m->date_order, -1, SQLITE_STATIC);
    sqlite3_bind_double(q, 4, m->within_s);
    sqlite3_bind_double(q, 5, m->ahead_s);
    rc = uf_db_run(s, q, DOING, err);
    for (size_t i = 0; rc == 0 && i < m->n; i++)
        rc = put_column(s, m, i, err);
    return rc;
}

/* ---- which swing ---- */

struct swing {
    int64_t id, utc_us;
    bool taken;
};

struct pair {
    size_t line, swing;
    int64_t off_us; /* absolute */
};

static int by_time(const void *a, const void *b)
{
    const struct swing *x = a, *y = b;
    return (x->utc_us > y->utc_us) - (x->utc_us < y->utc_us);
}

/* Equal distances: the earlier line, then the earlier swing. */
static int by_distance(const void *a, const void *b)
{
    const struct pair *x = a, *y = b;
    if (x->off_us != y->off_us)
        return x->off_us < y->off_us ? -1 : 1;
    if (x->line != y->line)
        return x->line < y->line ? -1 : 1;
    return (x->swing > y->swing) - (x->swing < y->swing);
}

/* Swings within a day of the lines, in order of time. */
static int read_swings(struct uf_store *s, int64_t from_us, int64_t to_us, struct swing **out,
                       size_t *n, struct uf_error *err)
{
    sqlite3_stmt *q;
    size_t room = 0;
    *out = NULL;
    *n = 0;
    int rc = uf_db_prepare(s, &q,
                           "SELECT id, coalesce(trigger_utc_us, stored_utc_us) AS t FROM swing"
                           " WHERE t BETWEEN ?1 AND ?2",
                           DOING, err);
    if (rc)
        return rc;
    sqlite3_bind_int64(q, 1, from_us - DAY_US);
    sqlite3_bind_int64(q, 2, to_us + DAY_US);
    while ((rc = uf_db_step(s, q, DOING, err)) > 0) {
        if (*n == room) {
            room = 2 * room + 64;
            struct swing *more = realloc(*out, room * sizeof *more);
            if (!more) {
                rc = uf_fail(err, UF_ENOMEM, "no memory to import");
                break;
            }
            *out = more;
        }
        (*out)[(*n)++] =
            (struct swing){sqlite3_column_int64(q, 0), sqlite3_column_int64(q, 1), false};
    }
    sqlite3_finalize(q);
    if (rc == 0 && *n)
        qsort(*out, *n, sizeof **out, by_time);
    return rc;
}

/* The first swing at or after t. */
static size_t lower_bound(const struct swing *swing, size_t n, int64_t t)
{
    size_t lo = 0, hi = n;
    while (lo < hi) {
        size_t mid = lo + (hi - lo) / 2;
        if (swing[mid].utc_us < t)
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo;
}

static void nearest(struct uf_import_line *line, const struct swing *swing, size_t n)
{
    size_t at = lower_bound(swing, n, line->utc_us);
    line->off_s = NAN;
    if (at < n)
        line->off_s = 1e-6 * (double)(line->utc_us - swing[at].utc_us);
    if (at > 0) {
        double before_s = 1e-6 * (double)(line->utc_us - swing[at - 1].utc_us);
        if (!(fabs(line->off_s) <= before_s))
            line->off_s = before_s;
    }
}

static int find_pairs(const struct uf_import_line *line, size_t n, const struct swing *swing,
                      size_t swings, int64_t within_us, struct pair **out, size_t *pairs,
                      struct uf_error *err)
{
    size_t room = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t k = lower_bound(swing, swings, line[i].utc_us - within_us);
             k < swings && swing[k].utc_us <= line[i].utc_us + within_us; k++) {
            if (*pairs == room) {
                room = 2 * room + 256;
                struct pair *more = room <= PAIRS_LIMIT ? realloc(*out, room * sizeof *more) : NULL;
                if (!more)
                    return uf_fail(err, UF_EFULL,
                                   "too many lines and swings are within the tolerance of each "
                                   "other; give a smaller --within");
                *out = more;
            }
            int64_t off_us = line[i].utc_us - swing[k].utc_us;
            (*out)[(*pairs)++] = (struct pair){i, k, off_us < 0 ? -off_us : off_us};
        }
    return UF_OK;
}

int uf_import_match(struct uf_store *s, struct uf_import_line *line, size_t n, double within_s,
                    struct uf_error *err)
{
    struct swing *swing = NULL;
    struct pair *pair = NULL;
    size_t swings = 0, pairs = 0;
    int64_t from_us = INT64_MAX, to_us = INT64_MIN;
    if (n == 0)
        return UF_OK;
    for (size_t i = 0; i < n; i++) {
        from_us = line[i].utc_us < from_us ? line[i].utc_us : from_us;
        to_us = line[i].utc_us > to_us ? line[i].utc_us : to_us;
    }
    int rc = read_swings(s, from_us, to_us, &swing, &swings, err);
    if (rc == 0)
        rc = find_pairs(line, n, swing, swings, llround(1e6 * within_s), &pair, &pairs, err);
    for (size_t i = 0; rc == 0 && i < n; i++) {
        line[i].swing_id = 0;
        nearest(&line[i], swing, swings);
    }
    if (rc == 0 && pairs)
        qsort(pair, pairs, sizeof *pair, by_distance);
    for (size_t i = 0; rc == 0 && i < pairs; i++) {
        struct uf_import_line *l = &line[pair[i].line];
        struct swing *w = &swing[pair[i].swing];
        if (l->swing_id || w->taken)
            continue;
        w->taken = true;
        l->swing_id = w->id;
        l->off_s = 1e-6 * (double)(l->utc_us - w->utc_us);
    }
    free(pair);
    free(swing);
    return rc;
}

/* ---- writing ---- */

int uf_import_write(struct uf_store *s, const struct uf_mapping *mapping,
                    const struct uf_extra *extra, size_t n, bool replace, bool try_only,
                    int64_t now_utc_us, struct uf_error *err)
{
    int rc = uf_db_begin(s, DOING, err);
    if (rc)
        return rc;
    rc = put_mapping(s, mapping, err);
    for (size_t i = 0; rc == 0 && i < n; i++)
        rc = uf_extra_insert(s, &extra[i], replace, now_utc_us, err);
    if (try_only && rc == 0) {
        sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
        return UF_OK;
    }
    return uf_db_end(s, rc, DOING, err);
}
