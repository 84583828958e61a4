/* SPDX-License-Identifier: MIT
 * Tells systemd how the daemon is: sd_notify(3)'s protocol, one datagram a message, without
 * libsystemd. Everything is a no-op where nobody asked to be told. Loop thread. */
#ifndef UF_DAEMON_NOTIFY_H
#define UF_DAEMON_NOTIFY_H

#include "base/error.h"

#include <stdbool.h>
#include <stdint.h>

struct uf_notify;

/* Reads NOTIFY_SOCKET (a path, or '@' and an abstract name), WATCHDOG_USEC and WATCHDOG_PID. No
 * NOTIFY_SOCKET is no error: *out then sends nothing. */
int uf_notify_new(struct uf_notify **out, struct uf_error *err);
void uf_notify_free(struct uf_notify *n);

/* "READY=1", "STATUS=...", "WATCHDOG=1", "STOPPING=1", ...; never blocks. False when it was not
 * sent: nobody listens, or the receiver's buffer is full. */
bool uf_notify_send(struct uf_notify *n, const char *message);
/* "STATUS=" and the text on one line. */
bool uf_notify_status(struct uf_notify *n, const char *text);

/* How often WATCHDOG=1 is due, half of what systemd allows; 0: it does not watch. */
uint64_t uf_notify_watchdog_ms(const struct uf_notify *n);

#endif
