/* SPDX-License-Identifier: MIT
 * link.device may name a folder of ports, /dev/underfoot: which of them is tried next? So a board
 * is found in whichever socket and under whichever name it comes back. Loop thread. */
#ifndef UF_DAEMON_PORTS_H
#define UF_DAEMON_PORTS_H

#include "config/config.h"

#define UF_PORTS_MAX 64 /* of a folder: the first so many by name */

struct uf_ports {
    char path[UF_PATH_MAX]; /* the one to open; empty: none yet */
    int count;              /* of ports at the last look; 1 where device is no folder */
};

/* Fills p->path: device itself where it is no folder (also where nothing is there), else the port
 * after the last one by name, or that one again (stay) if it is there. UF_ENOTFOUND: none is. */
int uf_ports_next(struct uf_ports *p, const char *device, bool stay, struct uf_error *err);

#endif
