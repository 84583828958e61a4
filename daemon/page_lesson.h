/* SPDX-License-Identifier: MIT
 * What the page's lesson view needs of the database beside the state: the players to choose from,
 * the clubs that were named lately, and the blocks of the open lesson. As page_read.h. */
#ifndef UF_DAEMON_PAGE_LESSON_H
#define UF_DAEMON_PAGE_LESSON_H

#include "base/error.h"

#include <jansson.h>

#define UF_PAGE_PLAYERS_MAX 500 /* the latest here first */
#define UF_PAGE_CLUBS_MAX   20

/* New reference. */
int uf_page_read_lesson(const char *database, json_t **out, struct uf_error *err);

#endif
