/* SPDX-License-Identifier: MIT
 * Inside src/store: the connection, and the few verbs that all statements use. Each failure becomes
 * one sentence: what was being done, on which file, what was wrong, what to do. */
#ifndef UF_STORE_DATABASE_H
#define UF_STORE_DATABASE_H

#include "store/store.h"

#include <limits.h>

struct uf_store {
    sqlite3 *db;
    char path[PATH_MAX];
    unsigned slow_ms;
    int64_t until_mono_us; /* of uf_store_patience */
    bool writable;
};

/* What SQLite last said on this connection, as a code and a sentence; doing completes "cannot ...".
 */
int uf_db_fail(struct uf_store *s, const char *doing, struct uf_error *err);

/* One or more statements without values. */
int uf_db_exec(struct uf_store *s, const char *sql, const char *doing, struct uf_error *err);
int uf_db_prepare(struct uf_store *s, sqlite3_stmt **out, const char *sql, const char *doing,
                  struct uf_error *err);
/* 1: a row; 0: no (more) row; negative: error. */
int uf_db_step(struct uf_store *s, sqlite3_stmt *q, const char *doing, struct uf_error *err);
/* Steps a statement that gives no rows, and finalizes it. */
int uf_db_run(struct uf_store *s, sqlite3_stmt *q, const char *doing, struct uf_error *err);

/* The number that one statement gives, such as PRAGMA user_version. */
int uf_db_pragma(struct uf_store *s, const char *sql, int64_t *value, struct uf_error *err);

/* A write transaction that waits for its turn (BEGIN IMMEDIATE). */
int uf_db_begin(struct uf_store *s, const char *doing, struct uf_error *err);
/* Commits when rc is 0, else rolls back; returns what came of it. */
int uf_db_end(struct uf_store *s, int rc, const char *doing, struct uf_error *err);

/* NAN becomes NULL, and -0.0 becomes 0.0 (SQLite keeps no sign of zero). */
void uf_db_bind_real(sqlite3_stmt *q, int at, double value);
/* NULL becomes NAN. */
double uf_db_real(sqlite3_stmt *q, int column);
/* Copies a text column, cut to size, fit for a terminal and for JSON; NULL becomes "". */
void uf_db_text(sqlite3_stmt *q, int column, char *out, size_t size);

/* A random UUID (version 4). */
int uf_uuid(char out[37], struct uf_error *err);

#endif
