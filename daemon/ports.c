/* SPDX-License-Identifier: MIT
 * The ports of a folder, in turn: see ports.h. */
#include "daemon/ports.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static int shown(const struct dirent *e)
{
    return e->d_name[0] != '.';
}

static bool put_path(struct uf_ports *p, const char *folder, const char *name)
{
    int n = snprintf(p->path, sizeof p->path, "%s/%s", folder, name);
    return n > 0 && (size_t)n < sizeof p->path;
}

int uf_ports_next(struct uf_ports *p, const char *device, bool stay, struct uf_error *err)
{
    struct stat st;
    struct dirent **list = NULL;
    if (stat(device, &st) != 0 || !S_ISDIR(st.st_mode)) {
        p->count = 1;
        snprintf(p->path, sizeof p->path, "%s", device);
        return UF_OK;
    }
    int n = scandir(device, &list, shown, alphasort);
    if (n < 0)
        return uf_fail(err, UF_EIO, "cannot look for boards in %s: %s", device, strerror(errno));
    const char *slash = strrchr(p->path, '/');
    const char *last = slash ? slash + 1 : "";
    int next = 0;
    p->count = n < UF_PORTS_MAX ? n : UF_PORTS_MAX;
    for (int i = p->count - 1; i >= 0; i--) {
        int order = strcmp(list[i]->d_name, last);
        if (order > 0 || (stay && order == 0))
            next = i;
    }
    int rc = UF_OK;
    if (n == 0)
        rc = uf_fail(err, UF_ENOTFOUND,
                     "there is no board in %s: waiting for one (plug it in, or set link.device)",
                     device);
    else if (!put_path(p, device, list[next]->d_name))
        rc = uf_fail(err, UF_EINVAL, "the name of a port in %s is too long: set link.device",
                     device);
    for (int i = 0; i < n; i++)
        free(list[i]);
    free(list);
    return rc;
}
