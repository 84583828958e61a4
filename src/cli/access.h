/* SPDX-License-Identifier: MIT
 * Inside src/cli: what the daemon's user may do with a file, by owner, groups and mode, whoever
 * asks. */
#ifndef UF_CLI_ACCESS_H
#define UF_CLI_ACCESS_H

#include <stdbool.h>
#include <sys/types.h>

#define UF_DAEMON_USER "underfoot"

struct uf_reader {
    char name[64];
    uid_t uid;
    gid_t groups[64];
    int n;
};

/* of_service: the user that the package makes for it; where there is none, and for settings of a
 * person's own, the present user. */
void uf_reader_of_daemon(struct uf_reader *r, bool of_service);
/* mode: R_OK, W_OK, X_OK or a sum; 0: it may. Else an errno: ENOENT, EACCES, EROFS, ... Folders on
 * the way must be passable, too. */
int uf_reader_may(const struct uf_reader *r, const char *path, int mode);

#endif
