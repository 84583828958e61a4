/* SPDX-License-Identifier: MIT
 * See access.h. */
#include "cli/access.h"

#include <errno.h>
#include <grp.h>
#include <limits.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

void uf_reader_of_daemon(struct uf_reader *r, bool of_service)
{
    const int most = (int)(sizeof r->groups / sizeof r->groups[0]);
    const struct passwd *p = of_service ? getpwnam(UF_DAEMON_USER) : NULL;
    memset(r, 0, sizeof *r);
    r->n = most;
    if (p) {
        snprintf(r->name, sizeof r->name, "%s", p->pw_name);
        r->uid = p->pw_uid;
        if (getgrouplist(p->pw_name, p->pw_gid, r->groups, &r->n) < 0)
            r->n = most;
        return;
    }
    r->uid = geteuid();
    p = getpwuid(r->uid);
    snprintf(r->name, sizeof r->name, "%s", p ? p->pw_name : "this user");
    r->n = getgroups(most - 1, r->groups);
    if (r->n < 0)
        r->n = 0;
    r->groups[r->n++] = getegid();
}

static bool in_group(const struct uf_reader *r, gid_t group)
{
    for (int i = 0; i < r->n; i++)
        if (r->groups[i] == group)
            return true;
    return false;
}

static int may_by_mode(const struct uf_reader *r, const char *path, int mode)
{
    struct stat st;
    if (stat(path, &st))
        return errno;
    unsigned shift = r->uid == st.st_uid ? 6 : in_group(r, st.st_gid) ? 3 : 0;
    unsigned granted = ((unsigned)st.st_mode >> shift) & 7; /* as R_OK, W_OK, X_OK: 4, 2, 1 */
    if (r->uid == 0)
        granted = 7;
    if ((granted & (unsigned)mode) != (unsigned)mode)
        return EACCES;
    struct statvfs fs;
    bool device = S_ISCHR(st.st_mode) || S_ISFIFO(st.st_mode);
    if ((mode & W_OK) && !device && statvfs(path, &fs) == 0 && (fs.f_flag & ST_RDONLY))
        return EROFS;
    return 0;
}

int uf_reader_may(const struct uf_reader *r, const char *path, int mode)
{
    char real[PATH_MAX];
    if (!realpath(path, real))
        return errno;
    int rc = may_by_mode(r, real, mode);
    for (char *slash = strrchr(real, '/'); rc == 0 && slash && slash > real;
         slash = strrchr(real, '/')) {
        *slash = '\0';
        rc = may_by_mode(r, real, X_OK);
    }
    return rc;
}
