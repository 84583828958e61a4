/* SPDX-License-Identifier: MIT
 * For LD_PRELOAD in tests: the FAIL_N-th call of the kind FAIL_CALL fails once (FAIL_FOR: so many
 * in a row). alloc: malloc, calloc and realloc give NULL. write: write, pwrite and their kin;
 * fsync; read: read and pread. Files only: lines and sockets are not disks. At the end FAIL_REPORT,
 * a file, is told how many calls there were. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum call { NONE, ALLOC, WRITE, FSYNC, READ };

static enum call kind;
static long first, last;
static atomic_long seen;

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
}

__attribute__((destructor)) static void report(void)
{
    const char *path = getenv("FAIL_REPORT");
    enum call was = kind;
    kind = NONE;
    FILE *f = path && was ? fopen(path, "w") : NULL;
    if (f) {
        fprintf(f, "%ld\n", atomic_load(&seen));
        fclose(f);
    }
}

static int fails(enum call call)
{
    if (call != kind)
        return 0;
    long n = atomic_fetch_add(&seen, 1) + 1;
    return n >= first && n <= last;
}

void *malloc(size_t n)
{
    return fails(ALLOC) ? (errno = ENOMEM, NULL) : __libc_malloc(n);
}

void *calloc(size_t n, size_t size)
{
    return fails(ALLOC) ? (errno = ENOMEM, NULL) : __libc_calloc(n, size);
}

void *realloc(void *p, size_t n)
{
    return fails(ALLOC) ? (errno = ENOMEM, NULL) : __libc_realloc(p, n);
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
    if (fd > 2 && is_file(fd) && fails(WRITE))
        return errno = ENOSPC, -1;
    return REAL(ssize_t, "write", int, const void *, size_t)(fd, p, n);
}

ssize_t pwrite64(int fd, const void *p, size_t n, off64_t at)
{
    if (is_file(fd) && fails(WRITE))
        return errno = ENOSPC, -1;
    return REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t)(fd, p, n, at);
}

ssize_t pwrite(int fd, const void *p, size_t n, off_t at)
{
    return pwrite64(fd, p, n, at);
}

int fsync(int fd)
{
    if (is_file(fd) && fails(FSYNC))
        return errno = EIO, -1;
    return REAL(int, "fsync", int)(fd);
}

int fdatasync(int fd)
{
    if (is_file(fd) && fails(FSYNC))
        return errno = EIO, -1;
    return REAL(int, "fdatasync", int)(fd);
}

ssize_t read(int fd, void *p, size_t n)
{
    if (is_file(fd) && fails(READ))
        return errno = EIO, -1;
    return REAL(ssize_t, "read", int, void *, size_t)(fd, p, n);
}

ssize_t pread64(int fd, void *p, size_t n, off64_t at)
{
    if (is_file(fd) && fails(READ))
        return errno = EIO, -1;
    return REAL(ssize_t, "pread64", int, void *, size_t, off64_t)(fd, p, n, at);
}

ssize_t pread(int fd, void *p, size_t n, off_t at)
{
    return pread64(fd, p, n, at);
}
