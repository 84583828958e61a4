/* SPDX-License-Identifier: MIT
 * For LD_PRELOAD in tests: writes down, in order, what is done to the files under POWER_UNDER, into
 * POWER_LOG: sizes, bytes, and which syncs began and ended. power_cut makes disks of it as a power
 * cut may leave them. Not seen: mmap (of SQLite only the -shm file, which is nobody's after a cut).
 * A record: kind, path length, number or offset, byte length, path, bytes. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#define REAL(type, name, ...) ((type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, name))

struct head {
    uint32_t kind, path_n;
    int64_t at;
    uint64_t n;
};

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int log_fd = -1;
static int64_t syncs;

static int is_ours(const char *path)
{
    const char *under = getenv("POWER_UNDER");
    size_t n = under ? strlen(under) : 0;
    return under && strncmp(path, under, n) == 0 && (path[n] == '/' || !path[n]) &&
           !strstr(path, " (deleted)");
}

static int path_of(int fd, char path[PATH_MAX])
{
    char link[40];
    int before = errno;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, PATH_MAX - 1);
    errno = before;
    path[n > 0 ? n : 0] = '\0';
    return is_ours(path);
}

static void put(char kind, const char *path, int64_t at, const void *bytes, size_t n)
{
    struct head h = {.kind = (uint32_t)kind, .path_n = (uint32_t)strlen(path), .at = at, .n = n};
    struct iovec parts[3] = {{&h, sizeof h}, {(void *)path, h.path_n}, {(void *)bytes, n}};
    int before = errno;
    pthread_mutex_lock(&lock);
    if (log_fd < 0)
        log_fd = REAL(int, "open", const char *, int, ...)(getenv("POWER_LOG"),
                                                           O_WRONLY | O_APPEND | O_CLOEXEC);
    if (writev(log_fd, parts, 3) < 0)
        abort();
    pthread_mutex_unlock(&lock);
    errno = before;
}

static int open_it(const char *name, const char *path, int flags, mode_t mode)
{
    struct stat st;
    int new = is_ours(path) && flags &O_CREAT &&stat(path, &st) != 0;
    int fd = REAL(int, name, const char *, int, ...)(path, flags, mode);
    if (fd >= 0 && is_ours(path) && (new || flags &O_TRUNC))
        put('t', path, 0, NULL, 0);
    return fd;
}

#include "open_calls.h"

ssize_t write(int fd, const void *p, size_t n)
{
    char path[PATH_MAX];
    if (fd > 2 && path_of(fd, path))
        put('w', path, lseek(fd, 0, SEEK_CUR), p, n);
    return REAL(ssize_t, "write", int, const void *, size_t)(fd, p, n);
}

ssize_t pwrite64(int fd, const void *p, size_t n, off64_t at)
{
    char path[PATH_MAX];
    if (path_of(fd, path))
        put('w', path, at, p, n);
    return REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t)(fd, p, n, at);
}

ssize_t pwrite(int fd, const void *p, size_t n, off_t at)
{
    return pwrite64(fd, p, n, at);
}

int ftruncate64(int fd, off64_t size)
{
    char path[PATH_MAX];
    if (path_of(fd, path))
        put('t', path, size, NULL, 0);
    return REAL(int, "ftruncate64", int, off64_t)(fd, size);
}

int ftruncate(int fd, off_t size)
{
    return ftruncate64(fd, size);
}

int posix_fallocate64(int fd, off64_t at, off64_t n)
{
    char path[PATH_MAX];
    if (path_of(fd, path))
        put('g', path, at + n, NULL, 0);
    return REAL(int, "posix_fallocate64", int, off64_t, off64_t)(fd, at, n);
}

int posix_fallocate(int fd, off_t at, off_t n)
{
    return posix_fallocate64(fd, at, n);
}

static int sync_it(const char *name, int fd)
{
    char path[PATH_MAX];
    int ours = path_of(fd, path);
    int64_t number = ours ? __atomic_add_fetch(&syncs, 1, __ATOMIC_RELAXED) : 0;
    if (ours)
        put('b', path, number, NULL, 0);
    int rc = REAL(int, name, int)(fd);
    if (ours && rc == 0)
        put('e', path, number, NULL, 0);
    return rc;
}

int fsync(int fd)
{
    return sync_it("fsync", fd);
}

int fdatasync(int fd)
{
    return sync_it("fdatasync", fd);
}

int unlink(const char *path)
{
    if (is_ours(path))
        put('u', path, 0, NULL, 0);
    return REAL(int, "unlink", const char *)(path);
}
