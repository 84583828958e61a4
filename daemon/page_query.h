/* SPDX-License-Identifier: MIT
 * Rows of the database as JSON, for what the page shows. NULL becomes null, times stay whole
 * numbers. Any thread. */
#ifndef UF_DAEMON_PAGE_QUERY_H
#define UF_DAEMON_PAGE_QUERY_H

#include "store/store.h"

/* The database for one question of the page, and not for longer than a person waits: the next one
 * waits behind it. */
int uf_page_open(struct uf_store **out, const char *database, struct uf_error *err);

/* null for NAN and the infinities. */
json_t *uf_page_number(double v);
/* A column by its type. */
json_t *uf_page_column(sqlite3_stmt *q, int column);

/* Calls row with each row of a reading query in which ?1 is id; doing completes "cannot ...". */
int uf_page_each(struct uf_store *s, const char *sql, int64_t id, const char *doing,
                 int (*row)(sqlite3_stmt *q, void *who, struct uf_error *err), void *who,
                 struct uf_error *err);
/* The rows as objects, named as their columns, appended to array. */
int uf_page_rows(struct uf_store *s, const char *sql, int64_t id, const char *doing, json_t *array,
                 struct uf_error *err);
/* The first row as an object; UF_ENOTFOUND with none, "there is no WHAT ID". New reference. */
int uf_page_row(struct uf_store *s, const char *sql, int64_t id, const char *what, json_t **out,
                struct uf_error *err);

#endif
