/* SPDX-License-Identifier: MIT
 * What an earlier run left: plays the spool through a measuring chain, from some time before the
 * last moment at which all swings were stored, and hands on each swing that may not be stored yet.
 * Where that run ended seconds ago without an orderly end, the chain goes on with the line, so that
 * a swing in the midst of which the daemon was killed is found whole. Before the loop runs, on its
 * thread. */
#ifndef UF_DAEMON_RECOVER_H
#define UF_DAEMON_RECOVER_H

#include "config/config.h"
#include "daemon/spool_format.h"
#include "daemon/store_sink.h"
#include "wire/clockmap.h"

#define UF_RECOVER_WARM_S 60.0 /* a run that ended longer ago is not gone on with */

/* A chain to go on with; all of it belongs to the receiver. */
struct uf_past {
    struct uf_pipeline *pipeline; /* NULL: begin anew */
    struct uf_spool_state state;
    int64_t newest_dev_us;
    uint64_t chain; /* upper half of its stands (uf_job.stand) */
};

struct uf_recovered {
    bool looked;       /* there was something to play */
    int swings;        /* found that may not be stored */
    double span_s;     /* of the stream that was played */
    int64_t stored_id; /* newest swing in the database, as the spool knows it; 0: it does not */
};

/* swing is given each swing and each rocking: a job that is maybe_stored; it takes it. On failure
 * (unreadable, no memory) what was found before is handed on all the same. */
int uf_recover(const char *folder, const struct uf_config *config,
               const struct uf_store_start *start, void (*swing)(void *who, struct uf_job *job),
               void *who, struct uf_past *past, struct uf_recovered *out, struct uf_error *err);

#endif
