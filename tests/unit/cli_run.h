/* SPDX-License-Identifier: MIT
 * For tests: one run of the `underfoot` command within the process, and what it printed. */
#ifndef UF_TESTS_CLI_RUN_H
#define UF_TESTS_CLI_RUN_H

#include "cli/cli.h"

#include <stdlib.h>
#include <string.h>

/* What one run printed. */
struct said {
    int rc;
    char *out, *err;
};

static inline struct said run_in(FILE *in, const char *const *words)
{
    struct said r = {.rc = -1};
    size_t out_n, err_n;
    char *argv[32];
    int argc = 0;
    argv[argc++] = (char *)(uintptr_t) "underfoot";
    for (; words[argc - 1]; argc++)
        argv[argc] = (char *)(uintptr_t)words[argc - 1];
    FILE *out = open_memstream(&r.out, &out_n), *err = open_memstream(&r.err, &err_n);
    r.rc = uf_cli_main(argc, argv, in, out, err);
    fclose(out);
    fclose(err);
    return r;
}
static inline struct said run(const char *const *words)
{
    return run_in(NULL, words);
}
#define RUN(...) run((const char *const[]){__VA_ARGS__, NULL})

static inline void done(struct said r)
{
    free(r.out);
    free(r.err);
}

static inline void says(struct said r, int rc, const char *out, const char *err)
{
    if (r.rc != rc || !strstr(r.out, out) || !strstr(r.err, err))
        fail_msg("status %d, wanted %d\nout: %s\n(wanted: %s)\nerr: %s\n(wanted: %s)", r.rc, rc,
                 r.out, out, r.err, err);
    done(r);
}

#endif
