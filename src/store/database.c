/* SPDX-License-Identifier: MIT
 * See database.h. */
#include "store/database.h"

#include "base/utf8.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

int uf_db_fail(struct uf_store *s, const char *doing, struct uf_error *err)
{
    const char *said = sqlite3_errmsg(s->db);
    switch (sqlite3_errcode(s->db) & 0xFF) {
    case SQLITE_NOMEM:
        return uf_fail(err, UF_ENOMEM, "cannot %s: no memory", doing);
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return uf_fail(err, UF_EBUSY,
                       "cannot %s: another program keeps %s locked; end it (an sqlite3 shell with "
                       "an open transaction, a copy under way) and try again",
                       doing, s->path);
    case SQLITE_FULL:
        return uf_fail(err, UF_EFULL, "cannot %s: the disk that holds %s is full; make room", doing,
                       s->path);
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return uf_fail(err, UF_EPERM,
                       "cannot %s: %s, its folder or the -wal and -shm files beside it may not be "
                       "written by this user; run as the user of underfootd, or change the owner",
                       doing, s->path);
    case SQLITE_CANTOPEN:
        return uf_fail(err, UF_EPERM,
                       "cannot %s: %s or the -wal and -shm files beside it cannot be opened by "
                       "this user; check who may read the file and write its folder",
                       doing, s->path);
    case SQLITE_INTERRUPT:
        return uf_fail(err, UF_EBUSY,
                       "cannot %s: it takes too long; look for tables, views and triggers in %s "
                       "that Underfoot did not make",
                       doing, s->path);
    case SQLITE_NOTADB:
        return uf_fail(err, UF_ECORRUPT,
                       "%s is not a database (SQLite does not know it): damaged, or another file; "
                       "put a backup in its place, or name another file with daemon.database or "
                       "--database",
                       s->path);
    case SQLITE_CORRUPT:
        return uf_fail(err, UF_ECORRUPT,
                       "cannot %s: the database %s is damaged (%s); keep a copy, then rescue what "
                       "can be read with: sqlite3 %s .recover",
                       doing, s->path, said, s->path);
    case SQLITE_CONSTRAINT:
        return uf_fail(err, UF_ESTATE, "cannot %s: %s (in %s)", doing, said, s->path);
    case SQLITE_IOERR:
        return uf_fail(err, UF_EIO,
                       "cannot %s: the disk that holds %s failed (%s); look at the system's log, "
                       "and copy the file away",
                       doing, s->path, said);
    default:
        return uf_fail(err, UF_EIO, "cannot %s: %s (in %s)", doing, said, s->path);
    }
}

int uf_db_exec(struct uf_store *s, const char *sql, const char *doing, struct uf_error *err)
{
    if (sqlite3_exec(s->db, sql, NULL, NULL, NULL) != SQLITE_OK)
        return uf_db_fail(s, doing, err);
    return UF_OK;
}

int uf_db_prepare(struct uf_store *s, sqlite3_stmt **out, const char *sql, const char *doing,
                  struct uf_error *err)
{
    *out = NULL;
    if (sqlite3_prepare_v2(s->db, sql, -1, out, NULL) != SQLITE_OK)
        return uf_db_fail(s, doing, err);
    return UF_OK;
}

int uf_db_step(struct uf_store *s, sqlite3_stmt *q, const char *doing, struct uf_error *err)
{
    int rc = sqlite3_step(q);
    return rc == SQLITE_ROW ? 1 : rc == SQLITE_DONE ? 0 : uf_db_fail(s, doing, err);
}

int uf_db_run(struct uf_store *s, sqlite3_stmt *q, const char *doing, struct uf_error *err)
{
    int rc = sqlite3_step(q) == SQLITE_DONE ? UF_OK : uf_db_fail(s, doing, err);
    sqlite3_finalize(q);
    return rc;
}

int uf_db_pragma(struct uf_store *s, const char *sql, int64_t *value, struct uf_error *err)
{
    sqlite3_stmt *q;
    int rc = uf_db_prepare(s, &q, sql, "read the database", err);
    if (rc == 0)
        rc = uf_db_step(s, q, "read the database", err);
    if (rc > 0)
        *value = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    return rc < 0 ? rc : UF_OK;
}

int uf_db_begin(struct uf_store *s, const char *doing, struct uf_error *err)
{
    return uf_db_exec(s, "BEGIN IMMEDIATE", doing, err);
}

int uf_db_end(struct uf_store *s, int rc, const char *doing, struct uf_error *err)
{
    if (rc == 0 && s->slow_ms) {
        struct timespec t = {(time_t)(s->slow_ms / 1000), (long)(s->slow_ms % 1000) * 1000000};
        while (nanosleep(&t, &t) && errno == EINTR)
            ;
    }
    if (rc == 0)
        rc = uf_db_exec(s, "COMMIT", doing, err);
    if (rc && !sqlite3_get_autocommit(s->db)) /* some errors have rolled back already */
        sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
    return rc;
}

void uf_db_bind_real(sqlite3_stmt *q, int at, double value)
{
    if (isnan(value))
        sqlite3_bind_null(q, at);
    else
        sqlite3_bind_double(q, at, value + 0.0);
}

double uf_db_real(sqlite3_stmt *q, int column)
{
    return sqlite3_column_type(q, column) == SQLITE_NULL ? NAN : sqlite3_column_double(q, column);
}

void uf_db_text(sqlite3_stmt *q, int column, char *out, size_t size)
{
    snprintf(out, size, "%s", uf_store_text(q, column));
    uf_utf8_lines(out);
}

int uf_uuid(char out[37], struct uf_error *err)
{
    unsigned char b[16];
    if (getrandom(b, sizeof b, 0) != (ssize_t)sizeof b)
        return uf_fail(err, UF_EIO, "the system gives no random bytes for an identifier: %s",
                       strerror(errno));
    b[6] = (unsigned char)((b[6] & 0x0F) | 0x40);
    b[8] = (unsigned char)((b[8] & 0x3F) | 0x80);
    snprintf(out, 37, "%02x%02x%02x%02x-%02x%02x-%02x%02x-%02x%02x-%02x%02x%02x%02x%02x%02x", b[0],
             b[1], b[2], b[3], b[4], b[5], b[6], b[7], b[8], b[9], b[10], b[11], b[12], b[13],
             b[14], b[15]);
    return UF_OK;
}
