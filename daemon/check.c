/* SPDX-License-Identifier: MIT
 * What --check looks at, a function a thing: see check.h. */
#include "daemon/check.h"

#include "daemon/link_driver.h"
#include "store/store.h"

#include <errno.h>
#include <libgen.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool same_file(const char *a, const char *b)
{
    struct stat sa, sb;
    if (strcmp(a, b) == 0)
        return true;
    return stat(a, &sa) == 0 && stat(b, &sb) == 0 && sa.st_dev == sb.st_dev &&
           sa.st_ino == sb.st_ino;
}

int uf_check_paths(const struct uf_config *c, struct uf_error *err)
{
    const char *record = c->daemon.record;
    if (!*record)
        return UF_OK;
    if (same_file(record, c->daemon.database))
        return uf_fail(err, UF_EINVAL,
                       "daemon.record and daemon.database are the same file, %s: give the "
                       "recording another name",
                       record);
    if (same_file(record, c->link.device))
        return uf_fail(err, UF_EINVAL,
                       "daemon.record and link.device are the same file, %s: give the recording "
                       "another name",
                       record);
    return UF_OK;
}

/* Can files be made where path lies? */
static int folder_writable(const char *path, const char *setting, struct uf_error *err)
{
    char copy[UF_PATH_MAX];
    snprintf(copy, sizeof copy, "%s", path);
    const char *folder = dirname(copy);
    if (access(folder, W_OK | X_OK) == 0)
        return UF_OK;
    return uf_fail(err, UF_EPERM, "cannot make files in %s: %s; make it writable, or set %s",
                   folder, strerror(errno), setting);
}

static int check_settings(const struct uf_config *c, FILE *out, struct uf_error *err)
{
    int rc = uf_check_paths(c, err);
    if (!rc)
        fprintf(out, "settings: fine; rig \"%s\", %d plate%s, %d channels\n", c->rig.name,
                c->rig.plates, c->rig.plates == 1 ? "" : "s", c->rig.channels);
    return rc;
}

static int check_rows(const struct uf_config *c, struct uf_store *store, FILE *out,
                      struct uf_error *err)
{
    sqlite3_stmt *count = NULL;
    sqlite3 *db = uf_store_db(store);
    if (sqlite3_prepare_v2(db, "SELECT count(*) FROM swing", -1, &count, NULL) != SQLITE_OK ||
        sqlite3_step(count) != SQLITE_ROW) {
        sqlite3_finalize(count);
        return uf_fail(err, UF_EIO, "cannot read %s: %s", c->daemon.database, sqlite3_errmsg(db));
    }
    fprintf(out, "database: fine; %lld swings in %s\n", (long long)sqlite3_column_int64(count, 0),
            c->daemon.database);
    sqlite3_finalize(count);
    return UF_OK;
}

static int check_database(const struct uf_config *c, FILE *out, struct uf_error *err)
{
    const char *path = c->daemon.database;
    int rc = folder_writable(path, "daemon.database", err); /* the journal lies beside it */
    if (rc)
        return rc;
    if (access(path, F_OK) != 0) {
        fprintf(out, "database: will be made, %s\n", path);
        return UF_OK;
    }
    if (access(path, W_OK) != 0)
        return uf_fail(err, UF_EPERM,
                       "cannot write %s: %s; make it writable for the user that runs underfootd",
                       path, strerror(errno));
    struct uf_store *store;
    rc = uf_store_open(&store, path, UF_STORE_READ, err);
    if (rc)
        return rc;
    rc = check_rows(c, store, out, err);
    uf_store_close(store);
    return rc;
}

static int check_control(const struct uf_config *c, FILE *out, struct uf_error *err)
{
    int rc = folder_writable(c->daemon.control, "daemon.control", err);
    if (!rc)
        fprintf(out, "control socket: fine, %s\n", c->daemon.control);
    return rc;
}

static int check_record(const struct uf_config *c, FILE *out, struct uf_error *err)
{
    if (!*c->daemon.record)
        return UF_OK;
    int rc = folder_writable(c->daemon.record, "daemon.record", err);
    if (!rc)
        fprintf(out, "recording: fine, %s\n", c->daemon.record);
    return rc;
}

static int check_device(const struct uf_config *c, FILE *out, struct uf_error *err)
{
    const char *device = c->link.device;
    if (c->link.type == UF_LINK_TCP) {
        int rc = uf_link_tcp.check(&c->link, err);
        if (!rc)
            fprintf(out, "device: %s, not tried\n", device);
        return rc;
    }
    bool replay = c->link.type == UF_LINK_REPLAY;
    if (access(device, R_OK) == 0)
        fprintf(out, "device: there, %s; not opened\n", device);
    else if (replay)
        return uf_fail(err, UF_ENOTFOUND, "cannot read the recording %s: %s (link.device)", device,
                       strerror(errno));
    else if (errno == ENOENT)
        fprintf(out, "device: not there yet, %s; underfootd waits for it\n", device);
    else
        fprintf(out,
                "device: %s: %s; underfootd waits until it may read it (is its user in the group "
                "dialout?)\n",
                device, strerror(errno));
    return UF_OK;
}

int uf_check(const struct uf_config *c, FILE *out)
{
    static int (*const checks[])(const struct uf_config *, FILE *, struct uf_error *) = {
        check_settings, check_database, check_control, check_record, check_device};
    int worst = UF_OK;
    for (size_t i = 0; i < sizeof checks / sizeof checks[0]; i++) {
        struct uf_error err = {0};
        int rc = checks[i](c, out, &err);
        if (rc) {
            fprintf(out, "wrong: %s\n", err.text);
            worst = rc;
        }
    }
    return worst;
}
