/* SPDX-License-Identifier: MIT
 * Lines that come and go, on a real loop: waits that grow, sentences that are said once, FIFOs,
 * ptys, a TCP server and recordings; nothing spins, and the loop closes clean each time. */
#define _XOPEN_SOURCE 700 /* posix_openpt */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "daemon/backoff.h"
#include "daemon/link.h"

#include <fcntl.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

struct bench {
    uv_loop_t loop;
    uv_timer_t timer;
    struct uf_link_settings s;
    struct uf_link *l;
    char folder[32];
    int opened, lost, failed, ended, stopped;
    bool stop_on_opened, stop_on_lost, stop_on_failed;
    size_t want_bytes; /* stop the loop at so many */
    char sentence[480];
    char bytes[300000];
    size_t n;
    int64_t newest_dev_us, us_per_byte;
    size_t gap_at; /* an hour's gap in device time after so many bytes */
    int turns;     /* of the loop while it ran: a spinning one has thousands */
    uv_prepare_t prepare;
};

static void opened(void *who)
{
    struct bench *b = who;
    b->opened++;
    if (b->stop_on_opened)
        uv_stop(&b->loop);
}

static void bytes(void *who, const uint8_t *p, size_t n)
{
    struct bench *b = who;
    assert_true(b->n + n <= sizeof b->bytes);
    memcpy(b->bytes + b->n, p, n);
    b->newest_dev_us += b->us_per_byte * (int64_t)n;
    if (b->gap_at > b->n && b->gap_at <= b->n + n)
        b->newest_dev_us += INT64_C(3600000000);
    b->n += n;
    if (b->want_bytes && b->n >= b->want_bytes)
        uv_stop(&b->loop);
}

static void note(struct bench *b, const char *sentence)
{
    snprintf(b->sentence, sizeof b->sentence, "%s", sentence ? sentence : "");
}

static void lost(void *who, const char *sentence)
{
    struct bench *b = who;
    b->lost++;
    note(b, sentence);
    if (b->stop_on_lost)
        uv_stop(&b->loop);
}

static void failed(void *who, const char *sentence)
{
    struct bench *b = who;
    b->failed++;
    note(b, sentence);
    if (b->stop_on_failed)
        uv_stop(&b->loop);
}

static void ended(void *who, const char *sentence)
{
    struct bench *b = who;
    b->ended++;
    note(b, sentence);
    uv_stop(&b->loop);
}

static int64_t newest_dev_us(void *who)
{
    struct bench *b = who;
    return b->newest_dev_us;
}

static void stopped(void *who)
{
    struct bench *b = who;
    b->stopped++;
    uv_stop(&b->loop);
}

static void time_is_up(uv_timer_t *timer)
{
    uv_stop(timer->loop);
}

static void turn(uv_prepare_t *prepare)
{
    ((struct bench *)prepare->data)->turns++;
}

/* Runs the loop until something stops it, so many ms at most. */
static void run(struct bench *b, uint64_t most_ms)
{
    b->turns = 0;
    uv_update_time(&b->loop);
    uv_timer_start(&b->timer, time_is_up, most_ms, 0);
    uv_run(&b->loop, UV_RUN_DEFAULT);
    uv_timer_stop(&b->timer);
}

static int setup(void **state)
{
    struct bench *b = calloc(1, sizeof *b);
    if (!b || uv_loop_init(&b->loop) != 0)
        return -1;
    strcpy(b->folder, "/tmp/uf_link_XXXXXX");
    if (!mkdtemp(b->folder))
        return -1;
    uv_timer_init(&b->loop, &b->timer);
    uv_prepare_init(&b->loop, &b->prepare);
    b->prepare.data = b;
    uv_prepare_start(&b->prepare, turn);
    b->newest_dev_us = -1;
    b->s.type = UF_LINK_RAW;
    b->s.pace = UF_PACE_FAST;
    snprintf(b->s.device, sizeof b->s.device, "%s/board", b->folder);
    *state = b;
    return 0;
}

static void start(struct bench *b)
{
    const struct uf_link_owner owner = {b,      opened, bytes,         lost,
                                        failed, ended,  newest_dev_us, stopped};
    struct uf_error err = {0};
    const struct uf_backoff waits = {.first_ms = 10, .longest_ms = 200};
    assert_int_equal(uf_link_new(&b->l, &b->loop, &b->s, &owner, &waits, &err), UF_OK);
    uf_link_start(b->l);
}

static int teardown(void **state)
{
    struct bench *b = *state;
    if (b->l) {
        uf_link_stop(b->l);
        for (int i = 0; i < 200 && !b->stopped; i++)
            run(b, 50);
        if (b->stopped != 1)
            return -1;
        uf_link_free(b->l);
    }
    uv_close((uv_handle_t *)&b->timer, NULL);
    uv_close((uv_handle_t *)&b->prepare, NULL);
    uv_run(&b->loop, UV_RUN_DEFAULT);
    int rc = uv_loop_close(&b->loop);
    char path[64]; /* not s.device: a test may have pointed it elsewhere */
    snprintf(path, sizeof path, "%s/board", b->folder);
    unlink(path);
    rmdir(b->folder);
    free(b);
    return rc;
}

/* A pty with a symlink at the device's path, raw, its slave kept open. */
struct pty {
    int master, slave;
};

static void make_pty(struct pty *p, const char *path)
{
    struct termios t;
    p->master = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(p->master >= 0);
    assert_int_equal(grantpt(p->master), 0);
    assert_int_equal(unlockpt(p->master), 0);
    const char *name = ptsname(p->master);
    p->slave = open(name, O_RDWR | O_NOCTTY);
    assert_true(p->slave >= 0);
    assert_int_equal(tcgetattr(p->slave, &t), 0);
    unlink(path);
    assert_int_equal(symlink(name, path), 0);
}

static void unplug(struct pty *p)
{
    close(p->slave);
    close(p->master);
}

static void test_waits_grow(void **state)
{
    (void)state;
    struct uf_backoff b = {.first_ms = 250, .longest_ms = 5000};
    const uint64_t expected[] = {250, 500, 1000, 2000, 4000, 5000, 5000};
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++)
        assert_int_equal(uf_backoff_next(&b), expected[i]);
    uf_backoff_reset(&b);
    assert_int_equal(uf_backoff_next(&b), 250);
    uf_backoff_slow(&b);
    assert_int_equal(uf_backoff_next(&b), 5000);
}

/* Not there: said once, though tried several times; then it comes. */
static void test_missing_then_there(void **state)
{
    struct bench *b = *state;
    struct pty p;
    start(b);
    run(b, 100); /* tries at 0, 10, 30, 70 ms */
    assert_int_equal(b->failed, 1);
    assert_non_null(strstr(b->sentence, b->s.device));
    assert_non_null(strstr(b->sentence, "waiting for it"));
    assert_true(b->turns < 20);
    make_pty(&p, b->s.device);
    b->stop_on_opened = true;
    run(b, 2000);
    assert_int_equal(b->opened, 1);
    unplug(&p);
}

/* Zero bytes, control characters, all of it comes through, though the pty was not made raw. */
static void test_pty_is_made_raw(void **state)
{
    struct bench *b = *state;
    struct pty p;
    char all[256];
    for (int i = 0; i < 256; i++)
        all[i] = (char)i;
    make_pty(&p, b->s.device);
    start(b);
    b->stop_on_opened = true;
    run(b, 2000);
    assert_int_equal(write(p.master, all, sizeof all), sizeof all);
    b->want_bytes = sizeof all;
    run(b, 2000);
    assert_int_equal(b->n, sizeof all);
    assert_memory_equal(b->bytes, all, sizeof all);
    struct termios t;
    assert_int_equal(tcgetattr(p.slave, &t), 0);
    assert_int_equal(t.c_cflag & HUPCL, 0);
    assert_int_equal(t.c_cc[VMIN], 1);
    unplug(&p);
}

/* Unplugged and plugged in again under the same name, as another pty. */
static void test_unplug(void **state)
{
    struct bench *b = *state;
    struct pty p;
    make_pty(&p, b->s.device);
    start(b);
    b->stop_on_opened = true;
    run(b, 2000);
    unplug(&p);
    unlink(b->s.device);
    b->stop_on_lost = true;
    run(b, 2000);
    assert_int_equal(b->lost, 1);
    assert_non_null(strstr(b->sentence, "hung up"));
    run(b, 150);
    assert_true(b->turns < 20); /* no spinning */
    make_pty(&p, b->s.device);
    run(b, 3000);
    assert_int_equal(b->opened, 2);
    assert_int_equal(write(p.master, "again", 5), 5);
    b->want_bytes = 5;
    run(b, 2000);
    assert_memory_equal(b->bytes, "again", 5);
    unplug(&p);
}

static void test_held_by_another(void **state)
{
    struct bench *b = *state;
    struct pty p;
    make_pty(&p, b->s.device);
    int other = open(b->s.device, O_RDONLY | O_NOCTTY | O_NONBLOCK);
    assert_int_equal(flock(other, LOCK_EX | LOCK_NB), 0);
    start(b);
    b->stop_on_failed = true;
    run(b, 2000);
    assert_non_null(strstr(b->sentence, "in use by another program"));
    close(other);
    b->stop_on_opened = true;
    run(b, 2000);
    assert_int_equal(b->opened, 1);
    /* and now it is ours */
    other = open(b->s.device, O_RDONLY | O_NOCTTY | O_NONBLOCK);
    assert_int_not_equal(flock(other, LOCK_EX | LOCK_NB), 0);
    close(other);
    unplug(&p);
}

/* The last writer goes, another comes; a FIFO without writers costs no time. */
static void test_fifo(void **state)
{
    struct bench *b = *state;
    assert_int_equal(mkfifo(b->s.device, 0600), 0);
    start(b);
    b->stop_on_opened = true;
    run(b, 2000);
    b->stop_on_opened = false;
    for (int i = 1; i <= 3; i++) {
        int w = open(b->s.device, O_WRONLY | O_NONBLOCK);
        assert_true(w >= 0); /* there is always a reader */
        assert_int_equal(write(w, "abc", 3), 3);
        close(w);
        run(b, 50);
        assert_int_equal(b->n, (size_t)(3 * i));
        assert_int_equal(b->lost, i);
        assert_int_equal(b->opened, i + 1);
        assert_true(b->turns < 20);
    }
    assert_memory_equal(b->bytes, "abcabcabc", 9);
    int other = open(b->s.device, O_RDONLY | O_NONBLOCK);
    assert_int_not_equal(flock(other, LOCK_EX | LOCK_NB), 0); /* still locked */
    close(other);
}

static void test_wrong_kind(void **state)
{
    struct bench *b = *state;
    int fd = open(b->s.device, O_CREAT | O_WRONLY, 0600);
    close(fd);
    start(b);
    b->stop_on_failed = true;
    run(b, 2000);
    assert_non_null(strstr(b->sentence, "replay"));
    unlink(b->s.device);
    assert_int_equal(symlink("/dev/null", b->s.device), 0);
    run(b, 2000);
    assert_non_null(strstr(b->sentence, "neither a tty nor a FIFO"));
    unlink(b->s.device);
}

/* A folder of ports: in turn by name, round and round, with a short wait inside a round. */
static void test_folder_of_ports(void **state)
{
    struct bench *b = *state;
    static const char *const names[] = {"a", "c", "b"};
    char path[UF_PATH_MAX + 8];
    assert_int_equal(mkdir(b->s.device, 0700), 0);
    start(b);
    b->stop_on_failed = true;
    run(b, 2000);
    assert_non_null(strstr(b->sentence, "there is no board in"));
    for (int i = 0; i < 3; i++) {
        snprintf(path, sizeof path, "%s/%s", b->s.device, names[i]);
        close(open(path, O_CREAT | O_WRONLY, 0600));
    }
    static const char *const order[] = {"/a is", "/b is", "/c is", "/a is"};
    for (int i = 0; i < 4; i++) {
        run(b, 4000);
        assert_non_null(strstr(b->sentence, order[i]));
        assert_true(uf_link_has_others(b->l));
    }
    for (int i = 0; i < 3; i++) {
        snprintf(path, sizeof path, "%s/%s", b->s.device, names[i]);
        unlink(path);
    }
    rmdir(b->s.device);
}

/* libserialport takes no pty: a sentence, and the way out. */
static void test_serial_refuses_pty(void **state)
{
    struct bench *b = *state;
    struct pty p;
    make_pty(&p, b->s.device);
    b->s.type = UF_LINK_SERIAL;
    b->s.baud = 115200;
    start(b);
    b->stop_on_failed = true;
    run(b, 2000);
    assert_non_null(strstr(b->sentence, "link.type = raw"));
    unplug(&p);
    unlink(b->s.device);
    run(b, 2000);
    assert_non_null(strstr(b->sentence, "there is no board at"));
}

/* Let go of on purpose: no loss is told, and it is opened again. */
static void test_drop(void **state)
{
    struct bench *b = *state;
    struct pty p;
    make_pty(&p, b->s.device);
    start(b);
    b->stop_on_opened = true;
    run(b, 2000);
    uf_link_drop(b->l, false, "not ours");
    assert_false(uf_link_is_open(b->l));
    run(b, 2000);
    assert_int_equal(b->opened, 2);
    assert_int_equal(b->lost, 0);
    uf_link_drop(b->l, true, "not ours");
    run(b, 100); /* patiently: 200 ms */
    assert_int_equal(b->opened, 2);
    unplug(&p);
}

/* ---- recordings ---- */

static void write_file(const char *path, size_t n)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    for (size_t i = 0; i < n; i++)
        fputc((int)(i * 7 + i / 251) & 0xff, f);
    fclose(f);
}

static void test_replay(void **state)
{
    struct bench *b = *state;
    const size_t n = 200001;
    write_file(b->s.device, n);
    b->s.type = UF_LINK_REPLAY;
    start(b);
    run(b, 3000);
    assert_int_equal(b->ended, 1);
    assert_string_equal(b->sentence, "");
    assert_int_equal(b->n, n);
    for (size_t i = 0; i < n; i++)
        assert_int_equal((uint8_t)b->bytes[i], (i * 7 + i / 251) & 0xff);
}

/* Told to wait, it waits, and goes on where it was. */
static void test_replay_pause(void **state)
{
    struct bench *b = *state;
    write_file(b->s.device, 200000);
    b->s.type = UF_LINK_REPLAY;
    b->want_bytes = 1;
    start(b);
    run(b, 3000);
    b->want_bytes = 0;
    size_t n = b->n;
    uf_link_pause(b->l, true);
    run(b, 50);
    assert_int_equal(b->n, n);
    uf_link_pause(b->l, false);
    run(b, 3000);
    assert_int_equal(b->ended, 1);
    assert_int_equal(b->n, 200000);
}

/* At the board's own pace, by device time; an hour's gap in it is not waited for. */
static void test_replay_pace(void **state)
{
    struct bench *b = *state;
    write_file(b->s.device, 30000);
    b->s.type = UF_LINK_REPLAY;
    b->s.pace = UF_PACE_REAL;
    b->newest_dev_us = 0;
    b->us_per_byte = 10; /* 0.3 s in all */
    b->gap_at = 15000;
    start(b);
    uint64_t begun_ns = uv_hrtime();
    run(b, 5000);
    double took_s = 1e-9 * (double)(uv_hrtime() - begun_ns);
    assert_int_equal(b->ended, 1);
    assert_int_equal(b->n, 30000);
    assert_true(took_s > 0.25 && took_s < 2);
}

static void test_replay_missing(void **state)
{
    struct bench *b = *state;
    b->s.type = UF_LINK_REPLAY;
    start(b);
    run(b, 2000);
    assert_int_equal(b->ended, 1);
    assert_non_null(strstr(b->sentence, "cannot open the recording"));
    assert_int_equal(b->failed, 0);
}

/* ---- TCP ---- */

static int server(struct bench *b)
{
    struct sockaddr_in a = {.sin_family = AF_INET};
    socklen_t size = sizeof a;
    a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
    assert_int_equal(listen(fd, 4), 0);
    assert_int_equal(getsockname(fd, (struct sockaddr *)&a, &size), 0);
    b->s.type = UF_LINK_TCP;
    snprintf(b->s.device, sizeof b->s.device, "127.0.0.1:%d", ntohs(a.sin_port));
    return fd;
}

static void test_tcp(void **state)
{
    struct bench *b = *state;
    int listener = server(b);
    start(b);
    b->stop_on_opened = true;
    run(b, 3000);
    assert_int_equal(b->opened, 1);
    int c = accept(listener, NULL, NULL);
    assert_int_equal(write(c, "hello", 5), 5);
    b->want_bytes = 5;
    run(b, 2000);
    assert_memory_equal(b->bytes, "hello", 5);
    close(c);
    b->stop_on_lost = true;
    run(b, 2000);
    assert_non_null(strstr(b->sentence, "closed the connection"));
    run(b, 2000); /* it comes back */
    assert_int_equal(b->opened, 2);
    close(listener);
}

static void test_tcp_refused(void **state)
{
    struct bench *b = *state;
    close(server(b));
    start(b);
    run(b, 100);
    assert_int_equal(b->failed, 1);
    assert_non_null(strstr(b->sentence, "connection refused"));
    assert_int_equal(b->opened, 0);
}

/* Stopped while it connects or looks for the host: teardown checks that all goes. */
static void test_tcp_stopped_early(void **state)
{
    struct bench *b = *state;
    b->s.type = UF_LINK_TCP;
    strcpy(b->s.device, "localhost:1");
    start(b);
    run(b, 1);
}

static void test_tcp_names(void **state)
{
    struct bench *b = *state;
    const struct uf_link_owner owner = {0};
    static const char *const bad[] = {"bridge",   "bridge:",   ":3001",        "bridge:0",
                                      "bridge:x", "bridge:1x", "bridge:70000", "fe80::1:3001",
                                      "[]:3001",  "",          "bridge:-1",    "bridge:3001 "};
    b->s.type = UF_LINK_TCP;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct uf_error err = {0};
        snprintf(b->s.device, sizeof b->s.device, "%s", bad[i]);
        assert_int_equal(uf_link_new(&b->l, &b->loop, &b->s, &owner, NULL, &err), UF_EINVAL);
        assert_non_null(strstr(err.text, "host:port"));
        assert_null(b->l);
    }
    snprintf(b->s.device, sizeof b->s.device, "[::1]:3001");
    assert_int_equal(uf_link_new(&b->l, &b->loop, &b->s, &owner, NULL, NULL), UF_OK);
    uf_link_free(b->l);
    b->l = NULL;
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_waits_grow),
        TEST(test_missing_then_there),
        TEST(test_pty_is_made_raw),
        TEST(test_unplug),
        TEST(test_held_by_another),
        TEST(test_fifo),
        TEST(test_wrong_kind),
        TEST(test_folder_of_ports),
        TEST(test_folder_of_ports),
        TEST(test_serial_refuses_pty),
        TEST(test_drop),
        TEST(test_replay),
        TEST(test_replay_pause),
        TEST(test_replay_pace),
        TEST(test_replay_missing),
        TEST(test_tcp),
        TEST(test_tcp_refused),
        TEST(test_tcp_stopped_early),
        TEST(test_tcp_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
