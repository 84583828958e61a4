/* SPDX-License-Identifier: MIT
 * Opening and closing: refusals, connection settings, migration. */
#include "store/store.h"

#include "store/schema.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define BUSY_TIMEOUT_MS 5000
#define FILE_MODE       0640 /* players' data: the owner writes, the group reads */

/* Per connection, so set at each opening. FULL: in WAL mode NORMAL does not sync at a commit, and a
 * power cut could take back a swing that was reported as stored; one sync a swing costs nothing.
 * A checkpoint each 1000 pages (4 MB, some 30 swings); the WAL keeps at most 16 MB afterwards. */
#define WRITER_SETTINGS                                                                            \
    "PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = 1000;"                                 \
    "PRAGMA journal_size_limit = 16777216;"

static int folder_check(const char *path, struct uf_error *err)
{
    char folder[PATH_MAX];
    const char *slash = strrchr(path, '/');
    if (!slash)
        strcpy(folder, ".");
    else if (slash == path)
        strcpy(folder, "/");
    else {
        memcpy(folder, path, (size_t)(slash - path));
        folder[slash - path] = '\0';
    }
    struct stat st;
    if (stat(folder, &st) || !S_ISDIR(st.st_mode))
        return uf_fail(err, UF_ENOTFOUND,
                       "the folder %s for the database does not exist; make it (mkdir -p %s) or "
                       "name another file with daemon.database or --database",
                       folder, folder);
    if (access(folder, W_OK | X_OK) && errno == EROFS)
        return uf_fail(
            err, UF_EPERM,
            "the file system of %s is mounted read-only, often after an error of the disk: "
            "look at dmesg, then mount it writable again",
            folder);
    if (access(folder, W_OK | X_OK))
        return uf_fail(err, UF_EPERM,
                       "the folder %s may not be written by this user, and the database needs "
                       "files beside it; change its owner (chown) or run as the user of underfootd",
                       folder);
    return UF_OK;
}

/* What can be said before SQLite is asked: its own errors are less clear. */
static int path_check(const char *path, enum uf_store_mode mode, struct uf_error *err)
{
    struct stat st;
    if (strlen(path) == 0 || strlen(path) >= PATH_MAX)
        return uf_fail(err, UF_EINVAL, "the path of the database is %s",
                       *path ? "too long" : "empty; set daemon.database or --database");
    if (stat(path, &st)) {
        if (errno != ENOENT && errno != ENOTDIR)
            return uf_fail(err, errno == EACCES ? UF_EPERM : UF_EIO,
                           "cannot look at the database %s: %s", path, strerror(errno));
        if (mode != UF_STORE_CREATE)
            return uf_fail(err, UF_ENOTFOUND,
                           "there is no database %s; underfootd makes it when it starts. Name "
                           "another file with --database or daemon.database",
                           path);
        int rc = folder_check(path, err);
        if (rc)
            return rc;
        /* ours before SQLite makes it, so that nobody else may read it even for a moment */
        int fd = open(path, O_CREAT | O_RDWR | O_CLOEXEC, FILE_MODE);
        if (fd < 0)
            return uf_fail(err, UF_EIO, "cannot make the database %s: %s", path, strerror(errno));
        close(fd);
        return UF_OK;
    }
    if (!S_ISREG(st.st_mode))
        return uf_fail(err, UF_EINVAL,
                       "%s is not a file; name the database's file with daemon.database or "
                       "--database",
                       path);
    if (access(path, mode == UF_STORE_READ ? R_OK : R_OK | W_OK) && errno != EROFS)
        return uf_fail(err, UF_EPERM,
                       "the database %s may not be %s by this user; change its owner or mode, or "
                       "run as the user of underfootd",
                       path, mode == UF_STORE_READ ? "read" : "written");
    return mode == UF_STORE_READ ? UF_OK : folder_check(path, err);
}

/* Whose file is it, and of which version? A new one has no tables. */
static int identity_check(struct uf_store *s, struct uf_error *err)
{
    int64_t application = 0, version = 0, tables = 0;
    int rc = uf_db_pragma(s, "PRAGMA application_id", &application, err);
    if (rc == 0)
        rc = uf_db_pragma(s, "PRAGMA user_version", &version, err);
    if (rc == 0)
        rc = uf_db_pragma(s, "SELECT count(*) FROM sqlite_master", &tables, err);
    if (rc)
        return rc;
    if (application != UF_APPLICATION_ID && (tables > 0 || application != 0))
        return uf_fail(err, UF_EINVAL,
                       "%s is a database of another program (application_id %lld); nothing was "
                       "changed in it. Name another file with daemon.database or --database",
                       s->path, (long long)application);
    if (version > uf_schema_version() || version < 0)
        return uf_fail(err, UF_EVERSION,
                       "%s was made by a newer version of Underfoot (its user_version is %lld, "
                       "this program knows up to %d); install that version",
                       s->path, (long long)version, uf_schema_version());
    if (!s->writable && version < uf_schema_version())
        return uf_fail(err, UF_EVERSION,
                       "%s was made by an older version of Underfoot, or is empty (its "
                       "user_version is %lld); start underfootd once: it brings the file up to "
                       "date",
                       s->path, (long long)version);
    return UF_OK;
}

static int writer_setup(struct uf_store *s, struct uf_error *err)
{
    /* A new file becomes a WAL database by way of a rollback journal. Should a power cut bring that
     * journal back, the next opening would roll the file back to nothing, whatever the WAL holds by
     * then; EXTRA syncs the folder after the journal is deleted. */
    int rc = uf_db_exec(s, "PRAGMA synchronous = EXTRA", "set up the database", err);
    /* Changing to WAL does not wait for another program that does the same: ask again. */
    for (int left = 100; rc == 0 || (rc == UF_EBUSY && left > 0); left--) {
        rc = uf_db_exec(s, "PRAGMA journal_mode = WAL", "set up the database", err);
        if (rc == 0)
            break;
        usleep(20000);
    }
    if (rc)
        return rc;
    /* The -wal and -shm files stay at a clean end: without them, a user who may read the file but
     * not write its folder could read it only while the daemon runs. */
    int on = 1;
    sqlite3_file_control(s->db, "main", SQLITE_FCNTL_PERSIST_WAL, &on);
    rc = uf_db_exec(s, WRITER_SETTINGS, "set up the database", err);
    return rc ? rc : uf_schema_migrate(s, err);
}

int uf_store_open(struct uf_store **out, const char *path, enum uf_store_mode mode,
                  struct uf_error *err)
{
    *out = NULL;
    int rc = path_check(path, mode, err);
    if (rc)
        return rc;
    struct uf_store *s = calloc(1, sizeof *s);
    if (!s)
        return uf_fail(err, UF_ENOMEM, "no memory to open the database %s", path);
    strcpy(s->path, path);
    s->writable = mode != UF_STORE_READ;
    int flags = s->writable ? SQLITE_OPEN_READWRITE : SQLITE_OPEN_READONLY;
    if (sqlite3_open_v2(path, &s->db, flags | SQLITE_OPEN_NOMUTEX, NULL) != SQLITE_OK) {
        rc = s->db ? uf_db_fail(s, "open the database", err)
                   : uf_fail(err, UF_ENOMEM, "no memory to open the database %s", path);
        goto fail;
    }
    sqlite3_extended_result_codes(s->db, 1);
    sqlite3_busy_timeout(s->db, BUSY_TIMEOUT_MS);
    rc = uf_db_exec(s, "PRAGMA foreign_keys = ON", "open the database", err);
    if (rc == 0)
        rc = identity_check(s, err);
    if (rc == 0 && s->writable)
        rc = writer_setup(s, err);
    if (rc)
        goto fail;
    *out = s;
    return UF_OK;
fail:
    uf_store_close(s);
    return rc;
}

void uf_store_close(struct uf_store *s)
{
    if (!s)
        return;
    sqlite3_close_v2(s->db); /* NULL is fine */
    free(s);
}

sqlite3 *uf_store_db(struct uf_store *s)
{
    return s->db;
}

void uf_store_slow_ms(struct uf_store *s, unsigned ms)
{
    s->slow_ms = ms;
}
