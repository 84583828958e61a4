/* SPDX-License-Identifier: MIT
 * Inside src/cli: the result of a query as a table for people or as JSON. Headings are the names of
 * its columns. */
#ifndef UF_CLI_QUERY_H
#define UF_CLI_QUERY_H

#include "cli/cli.h"

/* Prepares with whole numbers for ?1, ?2, ...; fails with a sentence. Finalize *out. */
int uf_query(struct uf_cli *c, struct uf_store *s, const char *sql, const int64_t *value, size_t n,
             sqlite3_stmt **out);

/* Rows as an array of objects. A time (column ..._utc_us) is a whole number as it is. New
 * reference; NULL without memory, or where the database fails. */
json_t *uf_query_json(sqlite3_stmt *q);

/* Prints the rows: a table, or the sentence none where there is no row. A column ..._utc_us becomes
 * a local time, NULL a "-". Finalizes q. */
int uf_query_print(struct uf_cli *c, sqlite3_stmt *q, const char *indent, const char *none);

/* uf_query, then uf_query_print, or with --json an array. */
int uf_query_list(struct uf_cli *c, struct uf_store *s, const char *sql, const int64_t *value,
                  size_t n, const char *none);

#endif
