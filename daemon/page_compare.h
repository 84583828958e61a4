/* SPDX-License-Identifier: MIT
 * Two swings or two blocks for the page: the rows and sentences of `underfoot compare`, and their
 * curves on one time. Any thread; slow: not on the loop. */
#ifndef UF_DAEMON_PAGE_COMPARE_H
#define UF_DAEMON_PAGE_COMPARE_H

#include "base/error.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#define UF_PAGE_DRAWN_MAX 12 /* swings of a block whose curves are read: the newest that count */

/* New reference. UF_ENOTFOUND: no such swing or block; UF_EINVAL: a against itself. */
int uf_page_read_compare(const char *database, bool blocks, int64_t a, int64_t b, json_t **out,
                         struct uf_error *err);

#endif
