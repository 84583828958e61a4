/* SPDX-License-Identifier: MIT
 * For LD_PRELOAD in tests: one pty passes for a serial port, so that libserialport opens it. The
 * library looks a port up under /sys/class/tty and asks for its modem lines; both questions are
 * answered here for the pty named in PTY_AS_SERIAL (its real path), all others by the system. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

/* Is path the one under /sys/class/tty that stands for our pty ("pts/7" after /dev/)? */
static int is_ours(const char *path)
{
    const char *pty = getenv("PTY_AS_SERIAL");
    return pty && strncmp(path, "/sys/class/tty/", 15) == 0 && strncmp(pty, "/dev/", 5) == 0 &&
           strncmp(path + 15, pty + 5, strlen(pty + 5)) == 0;
}

/* lstat, as libserialport's build calls it. It wants a symlink. */
int __lxstat(int version, const char *path, struct stat *st);
int __lxstat(int version, const char *path, struct stat *st)
{
    int (*real)(int, const char *, struct stat *) =
        (int (*)(int, const char *, struct stat *))dlsym(RTLD_NEXT, "__lxstat");
    return real(version, is_ours(path) ? "/proc/self/exe" : path, st);
}

ssize_t readlink(const char *path, char *to, size_t size)
{
    ssize_t (*real)(const char *, char *, size_t) =
        (ssize_t(*)(const char *, char *, size_t))dlsym(RTLD_NEXT, "readlink");
    static const char device[] = "../../devices/platform/serial8250/tty/ttyS0";
    if (!is_ours(path))
        return real(path, to, size);
    size_t n = sizeof device - 1 < size ? sizeof device - 1 : size;
    memcpy(to, device, n);
    return (ssize_t)n;
}

int ioctl(int fd, unsigned long request, ...)
{
    int (*real)(int, unsigned long, ...) =
        (int (*)(int, unsigned long, ...))dlsym(RTLD_NEXT, "ioctl");
    va_list args;
    va_start(args, request);
    void *argument = va_arg(args, void *);
    va_end(args);
    int rc = real(fd, request, argument);
    if (rc == 0 || errno != ENOTTY || !getenv("PTY_AS_SERIAL"))
        return rc;
    if (request == TIOCMGET) {
        *(int *)argument = TIOCM_DTR | TIOCM_RTS | TIOCM_CTS;
        return 0;
    }
    return request == TIOCMSET || request == TIOCMBIS || request == TIOCMBIC ? 0 : rc;
}
