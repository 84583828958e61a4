/* SPDX-License-Identifier: MIT
 * Players and sessions for the page: the lists, one player with his months, one session with its
 * blocks and swings. Any thread; slow: not on the loop. */
#ifndef UF_DAEMON_PAGE_PEOPLE_H
#define UF_DAEMON_PAGE_PEOPLE_H

#include "base/error.h"

#include <jansson.h>
#include <stdint.h>

#define UF_PAGE_SESSIONS_MAX 400  /* in a list, and in a player's months: the newest */
#define UF_PAGE_PEOPLE_MAX   1000 /* by the time of their last session */
#define UF_PAGE_SESSION_MAX  600  /* swings of one session: the newest */

/* New references. id 0: the newest (of a session). UF_ENOTFOUND: no such. */
int uf_page_read_sessions(const char *database, json_t **out, struct uf_error *err);
int uf_page_read_session(const char *database, int64_t id, json_t **out, struct uf_error *err);
int uf_page_read_players(const char *database, json_t **out, struct uf_error *err);
int uf_page_read_player(const char *database, int64_t id, json_t **out, struct uf_error *err);
/* What a person said of a swing, and the blocks that it could be in. */
int uf_page_read_remarks(const char *database, int64_t id, json_t **out, struct uf_error *err);

#endif
