/* SPDX-License-Identifier: MIT
 * For LD_PRELOAD in tests: somebody sets the wall clock. The file WALL_CLOCK holds so many seconds,
 * as text, that CLOCK_REALTIME is ahead; CLOCK_BOOTTIME and CLOCK_MONOTONIC stay true. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static long ahead_s(void)
{
    char text[24] = "";
    const char *path = getenv("WALL_CLOCK");
    int fd = path ? (int)syscall(SYS_openat, AT_FDCWD, path, O_RDONLY | O_CLOEXEC) : -1;
    if (fd < 0)
        return 0;
    ssize_t n = syscall(SYS_read, fd, text, sizeof text - 1);
    syscall(SYS_close, fd);
    return n > 0 ? atol(text) : 0;
}

int clock_gettime(clockid_t id, struct timespec *t)
{
    int rc = (int)syscall(SYS_clock_gettime, id, t);
    if (rc == 0 && id == CLOCK_REALTIME)
        t->tv_sec += ahead_s();
    return rc;
}

int gettimeofday(struct timeval *restrict t, void *restrict zone)
{
    struct timespec now;
    (void)zone;
    int rc = clock_gettime(CLOCK_REALTIME, &now);
    t->tv_sec = now.tv_sec;
    t->tv_usec = now.tv_nsec / 1000;
    return rc;
}

time_t time(time_t *out)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (out)
        *out = now.tv_sec;
    return now.tv_sec;
}
