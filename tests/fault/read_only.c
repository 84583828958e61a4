/* SPDX-License-Identifier: MIT
 * For LD_PRELOAD in tests: while the file READ_ONLY_WHILE exists, the folder READ_ONLY_UNDER is on
 * a file system that is mounted read-only: whatever would change it fails with EROFS. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define REAL(type, name, ...) ((type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, name))

static int is_read_only(const char *path)
{
    const char *under = getenv("READ_ONLY_UNDER"), *flag = getenv("READ_ONLY_WHILE");
    int before = errno;
    int yes = under && flag && strncmp(path, under, strlen(under)) == 0 &&
              REAL(int, "access", const char *, int)(flag, F_OK) == 0;
    errno = before;
    return yes;
}

static int is_read_only_fd(int fd)
{
    char link[40], path[PATH_MAX];
    int before = errno;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    errno = before;
    if (n < 0)
        return 0;
    path[n] = '\0';
    return is_read_only(path);
}

static int open_it(const char *name, const char *path, int flags, mode_t mode)
{
    struct stat st;
    int changes = (flags & O_ACCMODE) != O_RDONLY || flags & O_TRUNC ||
                  (flags & O_CREAT && stat(path, &st) != 0);
    if (changes && is_read_only(path))
        return errno = EROFS, -1;
    return REAL(int, name, const char *, int, ...)(path, flags, mode);
}

#include "open_calls.h"

int mkdir(const char *path, mode_t mode)
{
    struct stat st;
    if (is_read_only(path) && stat(path, &st) != 0)
        return errno = EROFS, -1;
    return REAL(int, "mkdir", const char *, mode_t)(path, mode);
}

int access(const char *path, int how)
{
    if (how & W_OK && is_read_only(path))
        return errno = EROFS, -1;
    return REAL(int, "access", const char *, int)(path, how);
}

int unlink(const char *path)
{
    return is_read_only(path) ? (errno = EROFS, -1) : REAL(int, "unlink", const char *)(path);
}

ssize_t write(int fd, const void *p, size_t n)
{
    if (fd > 2 && is_read_only_fd(fd))
        return errno = EROFS, -1;
    return REAL(ssize_t, "write", int, const void *, size_t)(fd, p, n);
}

ssize_t pwrite64(int fd, const void *p, size_t n, off64_t at)
{
    if (is_read_only_fd(fd))
        return errno = EROFS, -1;
    return REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t)(fd, p, n, at);
}

ssize_t pwrite(int fd, const void *p, size_t n, off_t at)
{
    return pwrite64(fd, p, n, at);
}
