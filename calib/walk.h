/* SPDX-License-Identifier: MIT
 * Inside underfoot-calib: the loads of a document captured from the board's line, a recording, or
 * a file that a running daemon records to, as the options say. One loop, one thread. */
#ifndef UF_CALIB_WALK_H
#define UF_CALIB_WALK_H

#include "calib/command.h"
#include "calib/procedure.h"

struct uf_walk_result {
    int captured, open; /* loads: now, still to do */
    bool interrupted;   /* by Ctrl-C or SIGTERM */
};

/* path: where the document is kept after each load; NULL: nowhere. settings: --recording makes
 * patience and drift 0. Prints what is to be done to out. */
int uf_walk(const struct uf_calib_args *args, struct uf_config *config, struct uf_document *d,
            const char *path, struct uf_procedure_settings *settings, FILE *out,
            struct uf_walk_result *result, struct uf_error *err);

#endif
