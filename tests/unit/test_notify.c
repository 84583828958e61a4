/* SPDX-License-Identifier: MIT
 * What reaches systemd: on a path and on an abstract name, and what is refused or ignored. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/notify.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

/* A receiver like systemd's, at name ('@' first: abstract). */
static int receiver_at(const char *name)
{
    struct sockaddr_un a = {.sun_family = AF_UNIX};
    size_t n = strlen(name);
    memcpy(a.sun_path, name, n);
    if (name[0] == '@')
        a.sun_path[0] = '\0';
    int fd = socket(AF_UNIX, SOCK_DGRAM, 0);
    assert_true(fd >= 0);
    socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + n);
    if (name[0] != '@')
        size++;
    assert_int_equal(bind(fd, (struct sockaddr *)&a, size), 0);
    return fd;
}

static void assert_received(int fd, const char *message)
{
    char got[1000];
    ssize_t n = recv(fd, got, sizeof got - 1, MSG_DONTWAIT);
    assert_true(n > 0);
    got[n] = '\0';
    assert_string_equal(got, message);
}

static void clear_environment(void)
{
    unsetenv("NOTIFY_SOCKET");
    unsetenv("WATCHDOG_USEC");
    unsetenv("WATCHDOG_PID");
}

static void check_messages(const char *name)
{
    struct uf_error err = {0};
    struct uf_notify *n;
    int fd = receiver_at(name);
    setenv("NOTIFY_SOCKET", name, 1);
    assert_int_equal(uf_notify_new(&n, &err), UF_OK);
    assert_true(uf_notify_send(n, "READY=1"));
    assert_received(fd, "READY=1");
    assert_true(uf_notify_status(n, "receiving:\nboard"));
    assert_received(fd, "STATUS=receiving: board");
    assert_true(uf_notify_send(n, "STOPPING=1"));
    assert_received(fd, "STOPPING=1");
    close(fd);
    assert_false(uf_notify_send(n, "WATCHDOG=1")); /* nobody there: no signal, no block */
    uf_notify_free(n);
    clear_environment();
}

static void test_path(void **state)
{
    (void)state;
    char folder[] = "/tmp/uf_notify_XXXXXX", name[64];
    assert_non_null(mkdtemp(folder));
    snprintf(name, sizeof name, "%s/notify", folder);
    check_messages(name);
    unlink(name);
    rmdir(folder);
}

static void test_abstract(void **state)
{
    (void)state;
    char name[64];
    snprintf(name, sizeof name, "@uf-notify-%ld", (long)getpid());
    check_messages(name);
}

/* A receiver that does not read costs messages, never time. */
static void test_full_receiver(void **state)
{
    (void)state;
    struct uf_notify *n;
    char name[64];
    snprintf(name, sizeof name, "@uf-full-%ld", (long)getpid());
    int fd = receiver_at(name);
    setenv("NOTIFY_SOCKET", name, 1);
    assert_int_equal(uf_notify_new(&n, NULL), UF_OK);
    bool all = true;
    for (int i = 0; i < 100000 && all; i++)
        all = uf_notify_send(n, "WATCHDOG=1");
    assert_false(all);
    uf_notify_free(n);
    close(fd);
    clear_environment();
}

static void test_nobody_asked(void **state)
{
    (void)state;
    struct uf_notify *n;
    clear_environment();
    assert_int_equal(uf_notify_new(&n, NULL), UF_OK);
    assert_false(uf_notify_send(n, "READY=1"));
    assert_int_equal(uf_notify_watchdog_ms(n), 0);
    uf_notify_free(n);
    uf_notify_free(NULL);
}

static void assert_refused(const char *name)
{
    struct uf_error err = {0};
    struct uf_notify *n;
    setenv("NOTIFY_SOCKET", name, 1);
    assert_int_equal(uf_notify_new(&n, &err), UF_EINVAL);
    assert_null(n);
    assert_non_null(strstr(err.text, "NOTIFY_SOCKET"));
    clear_environment();
}

static void test_bad_names(void **state)
{
    (void)state;
    char longest[200];
    memset(longest, 'x', sizeof longest - 1);
    longest[0] = '/';
    longest[sizeof longest - 1] = '\0';
    assert_refused("relative/path");
    assert_refused("@");
    assert_refused(longest);
}

static uint64_t watchdog_of(const char *us, const char *pid)
{
    struct uf_notify *n;
    setenv("NOTIFY_SOCKET", "@uf-nobody", 1);
    if (us)
        setenv("WATCHDOG_USEC", us, 1);
    if (pid)
        setenv("WATCHDOG_PID", pid, 1);
    assert_int_equal(uf_notify_new(&n, NULL), UF_OK);
    uint64_t ms = uf_notify_watchdog_ms(n);
    uf_notify_free(n);
    clear_environment();
    return ms;
}

static void test_watchdog(void **state)
{
    (void)state;
    char mine[24], other[24];
    snprintf(mine, sizeof mine, "%ld", (long)getpid());
    snprintf(other, sizeof other, "%ld", (long)getpid() + 1);
    assert_int_equal(watchdog_of("10000000", NULL), 5000); /* half */
    assert_int_equal(watchdog_of("10000000", mine), 5000);
    assert_int_equal(watchdog_of("10000000", other), 0); /* another process is watched */
    assert_int_equal(watchdog_of("1500", NULL), 1);      /* never 0 when it is on */
    assert_int_equal(watchdog_of("0", NULL), 0);
    assert_int_equal(watchdog_of("-5", NULL), 0);
    assert_int_equal(watchdog_of("soon", NULL), 0);
    assert_int_equal(watchdog_of("10s", NULL), 0);
    assert_int_equal(watchdog_of("99999999999999999999999", NULL), 0);
    assert_int_equal(watchdog_of(NULL, NULL), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_path),          cmocka_unit_test(test_abstract),
        cmocka_unit_test(test_full_receiver), cmocka_unit_test(test_nobody_asked),
        cmocka_unit_test(test_bad_names),     cmocka_unit_test(test_watchdog),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
