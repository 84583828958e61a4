/* SPDX-License-Identifier: MIT
 * HTTP and websocket on one port, on the daemon's loop: the page's files, and JSON text both ways
 * with each browser that has it open. Knows connections, rights, limits and queues; what is said is
 * daemon/page.c's affair. Loop thread. */
#ifndef UF_DAEMON_SERVER_H
#define UF_DAEMON_SERVER_H

#include "daemon/access.h"

#include <jansson.h>
#include <stdint.h>
#include <uv.h>

#define UF_SERVER_CONNECTIONS_MAX 64      /* HTTP and websocket together */
#define UF_SERVER_CLIENTS_MAX     24      /* websockets */
#define UF_SERVER_HEADERS_MAX     4096    /* bytes of a request's head */
#define UF_SERVER_QUESTION_MAX    8192    /* bytes of a client's message */
#define UF_SERVER_QUESTIONS_S     20      /* a client's messages a second, */
#define UF_SERVER_QUESTIONS_BURST 40      /* .. and at once */
#define UF_SERVER_QUEUE_MAX       32      /* messages that wait for a slow client, */
#define UF_SERVER_UNREAD_MAX      4194304 /* .. and their bytes: then it is cut off */
#define UF_SERVER_HEAD_S          5       /* a request's head must be complete, and */
#define UF_SERVER_ENTER_S         5       /* .. a token must have come in this time */

/* What is not told to everybody goes to a client by its number, which is never used again. */
typedef uint64_t uf_client;

struct uf_server_counts {
    uint64_t connections, requests, refused_requests, refused_upgrades;
    uint64_t turned_away;   /* beyond the limits on connections and clients */
    uint64_t cut_off;       /* clients that did not read, or asked too much */
    uint64_t bad_questions; /* not JSON, too long, not allowed */
    uint64_t live_skipped;  /* live values that a slow client did not get */
};

struct uf_server_config {
    uv_loop_t *loop;
    const struct uf_page_settings *settings;
    struct uf_access *access; /* its port is filled in */
    /* A client has the right to read. */
    void (*entered)(void *who, uf_client client, enum uf_right right);
    /* An object that it sent. */
    void (*asked)(void *who, uf_client client, enum uf_right right, const json_t *question);
    void *who;
};

struct uf_server;

/* Listens. UF_EBUSY when the port is in use. */
int uf_server_new(struct uf_server **out, const struct uf_server_config *config,
                  struct uf_error *err);
/* Closes all connections; not from inside one of our callbacks. Then run the loop until its handles
 * are closed, and free. */
void uf_server_stop(struct uf_server *s);
void uf_server_free(struct uf_server *s);

/* A message that several clients share. */
struct uf_message;
/* Takes json; NULL without memory. */
struct uf_message *uf_message_new(json_t *json);
/* Copies; NULL without memory. */
struct uf_message *uf_message_text(const char *text, size_t n);
void uf_message_free(struct uf_message *m); /* NULL is fine; those who wait for it keep it */

/* To one client, or to all of them (0). */
void uf_server_send(struct uf_server *s, uf_client client, struct uf_message *m);
/* To all: takes the place of the one before where that still waits. */
void uf_server_send_live(struct uf_server *s, struct uf_message *m);

int uf_server_clients(const struct uf_server *s); /* that have entered */
void uf_server_counts(const struct uf_server *s, struct uf_server_counts *out);

#endif
