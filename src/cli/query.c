/* SPDX-License-Identifier: MIT
 * See query.h. */
#include "cli/query.h"

#include "cli/text.h"

#include <string.h>

#define COLUMNS_MAX 40
#define HEAD_MAX    64

int uf_query(struct uf_cli *c, struct uf_store *s, const char *sql, const int64_t *value, size_t n,
             sqlite3_stmt **out)
{
    if (sqlite3_prepare_v2(uf_store_db(s), sql, -1, out, NULL) != SQLITE_OK)
        return uf_cli_fail(c, UF_EXIT_FAILED, "cannot read %s: %s", c->database,
                           sqlite3_errmsg(uf_store_db(s)));
    for (size_t i = 0; i < n; i++)
        sqlite3_bind_int64(*out, (int)i + 1, value[i]);
    return UF_EXIT_DONE;
}

static json_t *cell_json(sqlite3_stmt *q, int i)
{
    switch (sqlite3_column_type(q, i)) {
    case SQLITE_INTEGER:
        return json_integer(sqlite3_column_int64(q, i));
    case SQLITE_FLOAT:
        return json_real(sqlite3_column_double(q, i));
    case SQLITE_TEXT:
        return uf_store_text_json(q, i);
    default:
        return json_null();
    }
}

json_t *uf_query_json(sqlite3_stmt *q)
{
    json_t *all = json_array();
    int rc;
    while ((rc = sqlite3_step(q)) == SQLITE_ROW) {
        json_t *row = json_object();
        for (int i = 0; i < sqlite3_column_count(q); i++)
            if (json_object_set_new(row, sqlite3_column_name(q, i), cell_json(q, i)))
                rc = SQLITE_NOMEM;
        if (json_array_append_new(all, row) || rc == SQLITE_NOMEM)
            break;
    }
    if (rc == SQLITE_DONE)
        return all;
    json_decref(all);
    return NULL;
}

static bool is_time(const char *name)
{
    size_t n = strlen(name);
    return n > 7 && strcmp(name + n - 7, "_utc_us") == 0;
}

static void add_heading(struct uf_columns *t, const char *name)
{
    char head[HEAD_MAX];
    snprintf(head, sizeof head, "%.*s", (int)(strlen(name) - (is_time(name) ? 7 : 0)), name);
    for (char *p = head; *p; p++)
        if (*p == '_')
            *p = ' ';
    uf_columns_add(t, "%s", head);
}

static void add_cell(struct uf_columns *t, sqlite3_stmt *q, int i)
{
    char text[UF_CLI_SENTENCE_MAX];
    switch (sqlite3_column_type(q, i)) {
    case SQLITE_NULL:
        snprintf(text, sizeof text, "-");
        break;
    case SQLITE_FLOAT:
        snprintf(text, sizeof text, "%.6g", sqlite3_column_double(q, i));
        break;
    case SQLITE_INTEGER:
        if (is_time(sqlite3_column_name(q, i))) {
            uf_text_local(sqlite3_column_int64(q, i), text, sizeof text);
            break;
        }
        /* fall through */
    default:
        snprintf(text, sizeof text, "%s", uf_store_text(q, i));
    }
    for (char *p = text; *p; p++)
        if (*p == '\n')
            *p = ' ';
    uf_columns_add(t, "%s", text);
}

int uf_query_print(struct uf_cli *c, sqlite3_stmt *q, const char *indent, const char *none)
{
    char align[COLUMNS_MAX + 1] = "";
    struct uf_columns t;
    int columns = sqlite3_column_count(q), rows = 0, rc;
    if (columns > COLUMNS_MAX)
        columns = COLUMNS_MAX;
    while ((rc = sqlite3_step(q)) == SQLITE_ROW) {
        if (rows++ == 0) { /* numbers of the first row are on the right */
            for (int i = 0; i < columns; i++)
                align[i] = (sqlite3_column_type(q, i) == SQLITE_INTEGER ||
                            sqlite3_column_type(q, i) == SQLITE_FLOAT) &&
                                   !is_time(sqlite3_column_name(q, i))
                               ? 'r'
                               : 'l';
            uf_columns_begin(&t, align);
            for (int i = 0; i < columns; i++)
                add_heading(&t, sqlite3_column_name(q, i));
        }
        for (int i = 0; i < columns; i++)
            add_cell(&t, q, i);
    }
    int status = UF_EXIT_DONE;
    if (rc != SQLITE_DONE)
        status = uf_cli_fail(c, UF_EXIT_FAILED, "cannot read %s: %s", c->database,
                             sqlite3_errmsg(sqlite3_db_handle(q)));
    sqlite3_finalize(q);
    if (rows == 0 && status == UF_EXIT_DONE)
        fprintf(c->out, "%s%s\n", indent, none);
    if (rows && uf_columns_print(&t, indent, c->out))
        status = uf_cli_fail(c, UF_EXIT_FAILED, "no memory");
    return status;
}

int uf_query_list(struct uf_cli *c, struct uf_store *s, const char *sql, const int64_t *value,
                  size_t n, const char *none)
{
    sqlite3_stmt *q;
    int rc = uf_query(c, s, sql, value, n, &q);
    if (rc)
        return rc;
    if (!uf_cli_option(c, "--json"))
        return uf_query_print(c, q, "", none);
    json_t *json = uf_query_json(q);
    sqlite3_finalize(q);
    return uf_cli_print_json(c, json);
}
