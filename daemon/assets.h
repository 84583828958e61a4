/* SPDX-License-Identifier: MIT
 * The files of daemon/page, as daemon/embed.cmake puts them into the program. */
#ifndef UF_DAEMON_ASSETS_H
#define UF_DAEMON_ASSETS_H

#include <stddef.h>

struct uf_asset {
    const char *path, *type;
    const unsigned char *data;
    size_t size;
};

extern const struct uf_asset uf_assets[];
extern const size_t uf_asset_count;

#endif
