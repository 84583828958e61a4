/* SPDX-License-Identifier: MIT
 * For LD_PRELOAD in tests: the FAIL_N-th call of the kind FAIL_CALL fails once (FAIL_FOR: so many
 * in a row). alloc: malloc, calloc and realloc give NULL. write: write, pwrite and their kin;
 * fsync; read: read and pread. Files only: lines and sockets are not disks. At the end FAIL_REPORT,
 * a file, is told how many calls there were. With FAIL_STACK, a hash, and FAIL_SIZE the
 * N-th allocation of that size with that call stack is meant, so that threads may take turns as
 * they like (the size spares looking at most stacks); FAIL_STACK=all counts them, for the report.
 * Addresses must not be random then (setarch -R).
 * FAIL_TRACE: where it failed, on stderr. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FRAMES 12
#define STACKS 65536u

enum call { NONE, ALLOC, WRITE, FSYNC, READ };

static enum call kind;
static long first, last;
static atomic_long seen;
static int by_stack;
static unsigned long wanted;
static size_t wanted_size; /* 0: all are counted */
static struct {
    atomic_ulong key; /* of stack and size; 0: free */
    unsigned long stack;
    size_t size;
    atomic_long times, first, last; /* which allocation of all */
} place[STACKS];                    /* open addressing */
static _Thread_local int inside;    /* backtrace may allocate */

/* In glibc; no header has them. */
void *__libc_malloc(size_t n);
void *__libc_calloc(size_t n, size_t size);
void *__libc_realloc(void *p, size_t n);

__attribute__((constructor)) static void begin(void)
{
    static const char *const names[] = {"", "alloc", "write", "fsync", "read"};
    const char *call = getenv("FAIL_CALL"), *n = getenv("FAIL_N"), *run = getenv("FAIL_FOR");
    first = n ? atol(n) : 0;
    last = first + (run ? atol(run) : 1) - 1;
    for (int i = 1; call && i < 5; i++)
        if (strcmp(call, names[i]) == 0)
            kind = (enum call)i;
    const char *one = getenv("FAIL_STACK");
    if (!one)
        return;
    void *frame[2];
    inside = 1; /* loads libgcc now */
    backtrace(frame, 2);
    inside = 0;
    by_stack = 1;
    wanted = strtoul(one, NULL, 16);
    wanted_size = getenv("FAIL_SIZE") ? strtoul(getenv("FAIL_SIZE"), NULL, 10) : 0;
}

/* How often the caller's stack asked for this size, with this time. */
static long count_stack(size_t size, long now, unsigned long *hash)
{
    void *frame[FRAMES + 3];
    inside = 1;
    int n = backtrace(frame, FRAMES + 3);
    inside = 0;
    unsigned long h = 1469598103934665603ul;
    for (int i = 3; i < n; i++) /* without our own three */
        h = (h ^ (unsigned long)frame[i]) * 1099511628211ul;
    *hash = h;
    unsigned long key = (h ^ size) * 1099511628211ul;
    for (unsigned at = (unsigned)(key >> 20) % STACKS;; at = (at + 1) % STACKS) {
        unsigned long was = 0;
        if (!atomic_compare_exchange_strong(&place[at].key, &was, key) && was != key)
            continue;
        place[at].stack = h;
        place[at].size = size;
        place[at].last = now;
        if (was == 0)
            place[at].first = now;
        return atomic_fetch_add(&place[at].times, 1) + 1;
    }
}

__attribute__((destructor)) static void report(void)
{
    const char *path = getenv("FAIL_REPORT");
    enum call was = kind;
    kind = NONE;
    FILE *f = path && was ? fopen(path, "w") : NULL;
    if (f) {
        fprintf(f, "%ld\n", atomic_load(&seen));
        for (unsigned i = 0; by_stack && i < STACKS; i++)
            if (place[i].key)
                fprintf(f, "%lx %zu %ld %ld %ld\n", place[i].stack, place[i].size, place[i].times,
                        place[i].first, place[i].last);
        fclose(f);
    }
}

static int fails(enum call call, size_t size)
{
    if (call != kind || inside)
        return 0;
    long n = atomic_fetch_add(&seen, 1) + 1;
    if (by_stack) {
        unsigned long hash = 0;
        if (wanted_size && size != wanted_size)
            return 0;
        n = count_stack(size, n, &hash);
        if (hash != wanted)
            return 0;
    }
    if (n < first || n > last)
        return 0;
    if (getenv("FAIL_TRACE")) {
        void *frame[40];
        inside = 1;
        backtrace_symbols_fd(frame, backtrace(frame, 40), 2);
        inside = 0;
    }
    return 1;
}

void *malloc(size_t n)
{
    return fails(ALLOC, n) ? (errno = ENOMEM, NULL) : __libc_malloc(n);
}

void *calloc(size_t n, size_t size)
{
    return fails(ALLOC, n * size) ? (errno = ENOMEM, NULL) : __libc_calloc(n, size);
}

void *realloc(void *p, size_t n)
{
    return fails(ALLOC, n) ? (errno = ENOMEM, NULL) : __libc_realloc(p, n);
}

static int is_file(int fd)
{
    struct stat st;
    int before = errno;
    int yes = kind != NONE && fstat(fd, &st) == 0 && S_ISREG(st.st_mode);
    errno = before;
    return yes;
}

#define REAL(type, name, ...) ((type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, name))

ssize_t write(int fd, const void *p, size_t n)
{
    if (fd > 2 && is_file(fd) && fails(WRITE, 0))
        return errno = ENOSPC, -1;
    return REAL(ssize_t, "write", int, const void *, size_t)(fd, p, n);
}

ssize_t pwrite64(int fd, const void *p, size_t n, off64_t at)
{
    if (is_file(fd) && fails(WRITE, 0))
        return errno = ENOSPC, -1;
    return REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t)(fd, p, n, at);
}

ssize_t pwrite(int fd, const void *p, size_t n, off_t at)
{
    return pwrite64(fd, p, n, at);
}

int fsync(int fd)
{
    if (is_file(fd) && fails(FSYNC, 0))
        return errno = EIO, -1;
    return REAL(int, "fsync", int)(fd);
}

int fdatasync(int fd)
{
    if (is_file(fd) && fails(FSYNC, 0))
        return errno = EIO, -1;
    return REAL(int, "fdatasync", int)(fd);
}

ssize_t read(int fd, void *p, size_t n)
{
    if (is_file(fd) && fails(READ, 0))
        return errno = EIO, -1;
    return REAL(ssize_t, "read", int, void *, size_t)(fd, p, n);
}

ssize_t pread64(int fd, void *p, size_t n, off64_t at)
{
    if (is_file(fd) && fails(READ, 0))
        return errno = EIO, -1;
    return REAL(ssize_t, "pread64", int, void *, size_t, off64_t)(fd, p, n, at);
}

ssize_t pread(int fd, void *p, size_t n, off_t at)
{
    return pread64(fd, p, n, at);
}
