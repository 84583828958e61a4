/* SPDX-License-Identifier: MIT
 * The verified copy: see keep.h. */
#include "store/keep.h"

#include "store/database.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define STEP_PAGES 512
#define PAUSE_MS   20
#define BUSY_MAX   1500 /* pauses in a row: half a minute */

static int copy_pages(struct uf_store *s, sqlite3 *to, const char *path, struct uf_error *err)
{
    sqlite3_backup *b = sqlite3_backup_init(to, "main", s->db, "main");
    if (!b)
        return uf_fail(err, UF_EIO, "cannot begin the backup %s: %s", path, sqlite3_errmsg(to));
    int busy = 0, rc;
    while ((rc = sqlite3_backup_step(b, STEP_PAGES)) != SQLITE_DONE) {
        bool wait = rc == SQLITE_BUSY || rc == SQLITE_LOCKED;
        if (rc != SQLITE_OK && !(wait && busy++ < BUSY_MAX))
            break;
        if (wait)
            sqlite3_sleep(PAUSE_MS);
        else
            busy = 0;
    }
    int finished = sqlite3_backup_finish(b);
    if (rc == SQLITE_DONE && finished == SQLITE_OK)
        return UF_OK;
    return uf_fail(err, rc == SQLITE_FULL ? UF_EFULL : UF_EIO,
                   "cannot write the backup %s: %s; is there room on that disk?", path,
                   sqlite3_errstr(rc == SQLITE_DONE ? finished : rc));
}

/* The one word that a healthy database answers. */
static bool says_ok(sqlite3 *db, const char *sql, const char *word)
{
    sqlite3_stmt *q = NULL;
    bool ok = false;
    if (sqlite3_prepare_v2(db, sql, -1, &q, NULL) == SQLITE_OK) {
        int rc = sqlite3_step(q);
        ok = word ? rc == SQLITE_ROW && strcmp(uf_store_text(q, 0), word) == 0 : rc == SQLITE_DONE;
    }
    sqlite3_finalize(q);
    return ok;
}

static int verify(sqlite3 *db, const char *path, int64_t *swings, struct uf_error *err)
{
    sqlite3_stmt *q = NULL;
    /* one file without -wal and -shm beside it, to be carried about */
    if (!says_ok(db, "PRAGMA journal_mode = DELETE", "delete") ||
        !says_ok(db, "PRAGMA integrity_check", "ok") ||
        !says_ok(db, "PRAGMA foreign_key_check", NULL))
        return uf_fail(err, UF_ECORRUPT,
                       "the backup %s fails its check and was thrown away: the database itself may "
                       "be damaged (sqlite3 FILE \"PRAGMA integrity_check\"), or that disk is",
                       path);
    if (sqlite3_prepare_v2(db, "SELECT count(*) FROM swing", -1, &q, NULL) != SQLITE_OK ||
        sqlite3_step(q) != SQLITE_ROW) {
        sqlite3_finalize(q);
        return uf_fail(err, UF_EIO, "the backup %s cannot be read", path);
    }
    *swings = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    return UF_OK;
}

static int write_copy(struct uf_store *s, const char *part, const char *path, int64_t *swings,
                      struct uf_error *err)
{
    sqlite3 *to = NULL;
    int rc;
    if (sqlite3_open_v2(part, &to, SQLITE_OPEN_READWRITE, NULL) != SQLITE_OK)
        rc = uf_fail(err, UF_EIO, "cannot open the backup %s: %s", path,
                     to ? sqlite3_errmsg(to) : "no memory");
    else
        rc = copy_pages(s, to, path, err);
    if (rc == 0)
        rc = verify(to, path, swings, err);
    sqlite3_close_v2(to);
    return rc;
}

int uf_backup(struct uf_store *s, const char *path, int64_t *swings, struct uf_error *err)
{
    char part[PATH_MAX];
    if (snprintf(part, sizeof part, "%s.part", path) >= (int)sizeof part || !*path)
        return uf_fail(err, UF_EINVAL, "the path of the backup is empty or too long");
    if (access(path, F_OK) == 0)
        return uf_fail(err, UF_ESTATE,
                       "%s exists, and a backup never overwrites: give another name, with the date "
                       "for example",
                       path);
    int fd = open(part, O_CREAT | O_EXCL | O_RDWR | O_CLOEXEC, 0600);
    if (fd < 0)
        return uf_fail(err, errno == EACCES || errno == EROFS ? UF_EPERM : UF_EIO,
                       errno == EEXIST
                           ? "cannot write the backup %s: %s (another backup under way, "
                             "or one that was cut off: delete the .part file)"
                           : "cannot write the backup %s: %s; does its folder exist, "
                             "and may you write there?",
                       path, strerror(errno));
    int rc = write_copy(s, part, path, swings, err);
    if (rc == 0 && fsync(fd))
        rc = uf_fail(err, UF_EIO, "cannot write the backup %s: %s", path, strerror(errno));
    close(fd);
    /* link, unlike rename, does not overwrite what came meanwhile */
    if (rc == 0 && link(part, path))
        rc = uf_fail(err, errno == EEXIST ? UF_ESTATE : UF_EIO, "cannot name the backup %s: %s",
                     path, strerror(errno));
    (void)unlink(part);
    return rc;
}
