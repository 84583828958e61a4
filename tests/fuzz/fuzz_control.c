/* SPDX-License-Identifier: MIT
 * Any bytes on the control socket of a daemon that runs in this process. Each line gets one answer,
 * a JSON object in a line; what is no object is told so; a line that is too long is told so, and
 * ends the connection; the daemon answers the next client all the same. */
#include "daemon_near.h"

#include <errno.h>
#include <fcntl.h>
#include <sys/socket.h>
#include <sys/un.h>

#define TURNS_MAX 20000
#define INPUT_MAX 6000

struct talk {
    struct uf_daemon *d;
    int fd;
    char *got;
    size_t n, lines;
    bool ended;
};

static void begin(struct talk *t)
{
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    snprintf(to.sun_path, sizeof to.sun_path, "%.100s", t->d->config.daemon.control);
    t->fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK, 0);
    REQUIRE(t->fd >= 0 && connect(t->fd, (struct sockaddr *)&to, sizeof to) == 0);
}

static void hear(struct talk *t)
{
    char part[65536];
    ssize_t n;
    daemon_turn(t->d);
    while ((n = read(t->fd, part, sizeof part)) > 0) {
        t->got = realloc(t->got, t->n + (size_t)n + 1);
        REQUIRE(t->got);
        memcpy(t->got + t->n, part, (size_t)n);
        for (ssize_t i = 0; i < n; i++)
            t->lines += part[i] == '\n';
        t->n += (size_t)n;
    }
    t->ended = t->ended || n == 0 || (n < 0 && errno != EAGAIN);
    if (t->got)
        t->got[t->n] = 0;
}

static void say(struct talk *t, const char *text, size_t n)
{
    while (n > 0 && !t->ended) {
        ssize_t sent = send(t->fd, text, n, MSG_NOSIGNAL);
        if (sent > 0) {
            text += sent;
            n -= (size_t)sent;
        }
        hear(t);
    }
}

static void end(struct talk *t)
{
    close(t->fd);
    for (int i = 0; i < 4; i++)
        daemon_turn(t->d);
    free(t->got);
}

/* What a client may ask for; each answer has its form. */
static void judge(const char *question, size_t n, const char *answer, size_t answer_n)
{
    json_t *a = json_loadb(answer, answer_n, 0, NULL), *q = json_loadb(question, n, 0, NULL);
    REQUIRE(json_is_object(a));
    const char *ask = json_string_value(json_object_get(q, "ask"));
    const char *error = json_string_value(json_object_get(a, "error"));
    bool status = json_is_object(q) && ask && !strcmp(ask, "status");
    bool known =
        status || (json_is_object(q) && ask &&
                   (!strcmp(ask, "tare") || !strcmp(ask, "lesson") || !strcmp(ask, "hand")));
    REQUIRE(known || error);
    REQUIRE(!status || json_object_get(a, "link"));
    if (error)
        require_plain(error);
    json_decref(a);
    json_decref(q);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct uf_daemon *d;
    static unsigned runs;
    if (!d)
        d = daemon_near();
    if (size > INPUT_MAX)
        return 0;
    struct talk t = {.d = d};
    size_t expected = 0, since = 0;
    bool too_long = false;
    for (size_t i = 0; i < size && !too_long; i++) {
        expected += data[i] == '\n';
        since = data[i] == '\n' ? 0 : since + 1;
        too_long = since == UF_CONTROL_LINE_MAX;
    }
    expected += too_long;
    begin(&t);
    say(&t, (const char *)data, size);
    for (int i = 0; i < TURNS_MAX && t.lines < expected && !t.ended; i++)
        hear(&t);
    bool cut_off = t.ended && !too_long; /* it did not read as fast as it asked */
    REQUIRE(t.lines == expected || cut_off);
    REQUIRE(!cut_off || expected > 20);

    const char *question = (const char *)data, *answer = t.got;
    for (size_t i = 0; i < t.lines - too_long && !cut_off; i++) {
        size_t q = (size_t)((char *)memchr(question, '\n', size) - question);
        size_t a = (size_t)(strchr(answer, '\n') - answer);
        judge(question, q, answer, a);
        question += q + 1;
        answer += a + 1;
    }
    end(&t);

    if (++runs % 16)
        return 0;
    struct talk next = {.d = d};
    static const char status[] = "{\"ask\":\"status\"}\n";
    begin(&next);
    say(&next, status, sizeof status - 1);
    for (int i = 0; i < TURNS_MAX && next.lines < 1; i++)
        hear(&next);
    REQUIRE(next.lines == 1);
    end(&next);
    return 0;
}
