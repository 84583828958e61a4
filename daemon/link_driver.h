/* SPDX-License-Identifier: MIT
 * What a kind of line must be able to do, and what link.c does for it. A new kind is one file with
 * one of these tables, named in the array of link.c. Loop thread. */
#ifndef UF_DAEMON_LINK_DRIVER_H
#define UF_DAEMON_LINK_DRIVER_H

#include "daemon/link.h"

struct uf_link_driver {
    const char *name;
    bool ends; /* a recording: its end is the end, and it is never tried again */
    /* What is wrong with the settings, without opening anything; may be NULL. */
    int (*check)(const struct uf_link_settings *s, struct uf_error *err);
    /* Begins to open. 0: uf_link_report_open or uf_link_report_loss will come, perhaps before it
     * returns. Negative: it could not even begin, nothing is left open. */
    int (*open)(struct uf_link *l, struct uf_error *err);
    /* Lets go of everything and calls uf_link_report_closed, now or from the loop. Called once for
     * each open that gave 0. */
    void (*close)(struct uf_link *l);
    void (*pause)(struct uf_link *l, bool pause); /* may be NULL */
};

extern const struct uf_link_driver uf_link_serial, uf_link_raw, uf_link_tcp, uf_link_replay;

/* For drivers. */
uv_loop_t *uf_link_loop(struct uf_link *l);
const struct uf_link_settings *uf_link_settings(const struct uf_link *l);
/* The driver's own memory between open and closed. */
void uf_link_set_state(struct uf_link *l, void *state);
void *uf_link_state(const struct uf_link *l);
/* UF_LINK_READ_BYTES to read into, one for all. */
uint8_t *uf_link_buffer(struct uf_link *l);

void uf_link_report_open(struct uf_link *l);
/* False: the owner let go of the line on these bytes; return to the loop, read no more. */
bool uf_link_report_bytes(struct uf_link *l, const uint8_t *bytes, size_t n);
/* It hung up, or did not open after all, or (a recording) it broke: closes. */
void uf_link_report_loss(struct uf_link *l, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* A recording was read to its end: closes. */
void uf_link_report_end(struct uf_link *l);
/* Another writer on the same FIFO: the line was cut, and is open again. */
void uf_link_report_cut(struct uf_link *l, const char *sentence);
void uf_link_report_closed(struct uf_link *l);
int64_t uf_link_newest_dev_us(struct uf_link *l);

#endif
