/* SPDX-License-Identifier: MIT
 * See page_query.h. */
#include "daemon/page_query.h"

#include <math.h>

#define PATIENCE_S 10

int uf_page_open(struct uf_store **out, const char *database, struct uf_error *err)
{
    int rc = uf_store_open(out, database, UF_STORE_READ, err);
    if (rc == UF_OK)
        uf_store_patience(*out, PATIENCE_S);
    return rc;
}

json_t *uf_page_number(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

json_t *uf_page_column(sqlite3_stmt *q, int column)
{
    switch (sqlite3_column_type(q, column)) {
    case SQLITE_INTEGER:
        return json_integer(sqlite3_column_int64(q, column));
    case SQLITE_FLOAT:
        return uf_page_number(sqlite3_column_double(q, column));
    case SQLITE_TEXT:
        return uf_store_text_json(q, column);
    default:
        return json_null();
    }
}

int uf_page_each(struct uf_store *s, const char *sql, int64_t id, const char *doing,
                 int (*row)(sqlite3_stmt *q, void *who, struct uf_error *err), void *who,
                 struct uf_error *err)
{
    sqlite3_stmt *q = NULL;
    int step = sqlite3_prepare_v2(uf_store_db(s), sql, -1, &q, NULL), rc = UF_OK;
    if (step == SQLITE_OK) {
        sqlite3_bind_int64(q, 1, id);
        while (rc == UF_OK && (step = sqlite3_step(q)) == SQLITE_ROW)
            rc = row(q, who, err);
    }
    if (rc == UF_OK && step != SQLITE_DONE)
        rc = uf_fail(err, UF_EIO, "cannot %s: %s", doing, sqlite3_errmsg(uf_store_db(s)));
    sqlite3_finalize(q);
    return rc;
}

static int add_row(sqlite3_stmt *q, void *who, struct uf_error *err)
{
    json_t *o = json_object();
    for (int i = 0; i < sqlite3_column_count(q); i++)
        json_object_set_new(o, sqlite3_column_name(q, i), uf_page_column(q, i));
    return json_array_append_new(who, o) ? uf_fail(err, UF_ENOMEM, "no memory for the page")
                                         : UF_OK;
}

int uf_page_rows(struct uf_store *s, const char *sql, int64_t id, const char *doing, json_t *array,
                 struct uf_error *err)
{
    return uf_page_each(s, sql, id, doing, add_row, array, err);
}

int uf_page_row(struct uf_store *s, const char *sql, int64_t id, const char *what, json_t **out,
                struct uf_error *err)
{
    json_t *rows = json_array();
    char doing[80];
    snprintf(doing, sizeof doing, "read %s %lld", what, (long long)id);
    int rc = uf_page_rows(s, sql, id, doing, rows, err);
    *out = json_incref(json_array_get(rows, 0));
    if (rc == UF_OK && !*out)
        rc = uf_fail(err, UF_ENOTFOUND, "there is no %s %lld", what, (long long)id);
    json_decref(rows);
    return rc;
}
