/* SPDX-License-Identifier: MIT
 * What the page shows of the database, as JSON text: one swing with its curves and all its numbers,
 * and the list of the newest swings. Opens the file for reading, and closes it again. Any thread;
 * slow: not on the loop. */
#ifndef UF_DAEMON_PAGE_READ_H
#define UF_DAEMON_PAGE_READ_H

#include "base/error.h"

#include <jansson.h>
#include <stdint.h>

#define UF_PAGE_LIST_MAX     200   /* swings in a list */
#define UF_PAGE_CURVE_HZ     250.0 /* greatest rate at which curves are sent */
#define UF_PAGE_CURVE_POINTS 2500  /* most points of one curve */

/* id 0: the newest. New reference. UF_ENOTFOUND: no such swing. */
int uf_page_read_swing(const char *database, int64_t id, json_t **out, struct uf_error *err);
/* The newest first. */
int uf_page_read_list(const char *database, json_t **out, struct uf_error *err);

#endif
