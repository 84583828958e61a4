/* SPDX-License-Identifier: MIT
 * Where the bytes go: a pseudo-terminal with a name, a file, or one client of a loopback socket. A
 * board cannot be told to wait, so what a slow reader does not take in time is dropped and
 * counted, unless the sink is told to be patient. A pty that nobody has opened yet is emptied when
 * it is full, as a closed serial port would be: the first reader finds fresh bytes. */
#ifndef UF_SIM_PROGRAM_SINK_H
#define UF_SIM_PROGRAM_SINK_H

#include "base/error.h"

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct sink {
    enum { SINK_PTY, SINK_FILE, SINK_TCP } kind;
    const char *path; /* link of the pty, file */
    int fd;           /* pty master, file, client; -1: none now */
    int slave;        /* kept open, so that settings and data outlive a reader's restart */
    int listener;
    int patience_ms;                    /* waits so long for a slow reader; -1: for ever */
    const volatile sig_atomic_t *ended; /* set by a signal: no more waiting; may be NULL */
    char slave_name[64];
    uint64_t dropped_bytes, sent_bytes;
    uint64_t taken_bytes; /* by the pty since it was plugged in or emptied */
};

int sink_open_pty(struct sink *s, const char *link, struct uf_error *err);
int sink_open_file(struct sink *s, const char *path, struct uf_error *err);
/* port 0: any free one; says on stderr which. */
int sink_open_tcp(struct sink *s, int port, struct uf_error *err);

/* Whole packets; all of it, or as much as fits. Errors of a file only. */
int sink_write(struct sink *s, const uint8_t *bytes, size_t n, struct uf_error *err);
/* tcp: takes a client that has come; waits for one if asked. */
void sink_accept(struct sink *s, bool wait);

/* Pulls the plug, and puts it in again (a pty of another number behind the same name). */
void sink_unplug(struct sink *s);
int sink_plug(struct sink *s, struct uf_error *err);

/* Waits until a pty's reader has taken all, at most so long; closes, removes the link. */
int sink_close(struct sink *s, double most_s, struct uf_error *err);

#endif
