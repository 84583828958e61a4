/* SPDX-License-Identifier: MIT */
#include "daemon/start_memory.h"

#include "base/log.h"

#include <libwebsockets.h>
#include <stdbool.h>
#include <stdlib.h>
#include <unistd.h>
#include <uv.h>

static bool starting;

static void *got(void *p)
{
    if (!p && starting) {
        uf_log(UF_LOG_ERROR, "no memory to start with: the machine has none left, or a limit on "
                             "this service (systemd: MemoryMax=) is too low");
        _exit(EXIT_FAILURE); /* the libraries could not be taken down */
    }
    return p;
}

static void *get(size_t n)
{
    return got(malloc(n));
}

static void *get_zeros(size_t count, size_t n)
{
    return got(calloc(count, n));
}

static void *get_more(void *p, size_t n)
{
    return got(realloc(p, n));
}

/* libwebsockets has one function for all: a size of 0 gives back. */
static void *get_or_give_back(void *p, size_t n, const char *reason)
{
    (void)reason;
    if (n > 0)
        return get_more(p, n);
    free(p);
    return NULL;
}

void uf_start_memory_begin(void)
{
    starting = true;
    (void)uv_replace_allocator(get, get_more, get_zeros, free); /* fails on a NULL only */
    lws_set_allocator(get_or_give_back);
}

void uf_start_memory_end(void)
{
    starting = false;
}
