/* SPDX-License-Identifier: MIT
 * A browser that is none, at the page of a daemon that runs in this process. The input is a script:
 * heads made of good and bad parts, raw bytes, websocket frames of any kind. Only a head that is
 * right in all its parts opens the socket; every answer has a status that is ours and the strict
 * headers; every frame that comes back is whole, and its text a JSON object with a type; the page
 * answers the next browser all the same. */
#include "daemon_near.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <sys/socket.h>

#define TURNS_MAX 40000
#define STEPS_MAX 24
#define TRIES_MAX 200

struct talk {
    struct uf_daemon *d;
    int fd;
    char *got;
    size_t n, sent;
    bool ended, may_open; /* a head was sent that opens the socket, */
    bool must_open;       /* .. and before anything else */
};

static uint64_t turned_away(const struct uf_daemon *d)
{
    struct uf_server_counts counts;
    int clients;
    uf_page_counts(d->page, &counts, &clients);
    return counts.turned_away;
}

/* For 5 s after its end the server still counts a connection that was cut hard: with so many in a
 * second it is full at times, and is asked again; so it is when libFuzzer's alarm comes between. */
static void begin(struct talk *t)
{
    struct sockaddr_in to = {.sin_family = AF_INET,
                             .sin_port = htons((uint16_t)uf_page_port(t->d->page))};
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    for (int tries = 0; tries < TRIES_MAX; tries++) {
        uint64_t before = turned_away(t->d);
        t->fd = socket(AF_INET, SOCK_STREAM, 0);
        REQUIRE(t->fd >= 0);
        bool connected = connect(t->fd, (struct sockaddr *)&to, sizeof to) == 0;
        REQUIRE(connected || errno == EINTR);
        for (int i = 0; i < 3; i++)
            daemon_turn(t->d);
        if (connected && turned_away(t->d) == before)
            return;
        close(t->fd);
        for (int i = 0; i < 50; i++) {
            usleep(1000);
            daemon_turn(t->d);
        }
    }
    abort(); /* it never came back */
}

static void hear(struct talk *t)
{
    char part[65536];
    ssize_t n;
    daemon_turn(t->d);
    while ((n = recv(t->fd, part, sizeof part, MSG_DONTWAIT)) > 0) {
        t->got = realloc(t->got, t->n + (size_t)n + 1);
        REQUIRE(t->got);
        memcpy(t->got + t->n, part, (size_t)n);
        t->n += (size_t)n;
        t->got[t->n] = '\0';
    }
    t->ended = t->ended || n == 0 || (n < 0 && errno != EAGAIN);
}

static void say(struct talk *t, const void *bytes, size_t n)
{
    if (!t->ended && n > 0)
        (void)send(t->fd, bytes, n, MSG_NOSIGNAL | MSG_DONTWAIT);
    t->sent += n;
    hear(t);
}

static void end(struct talk *t)
{
    struct linger at_once = {.l_onoff = 1};
    setsockopt(t->fd, SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once);
    close(t->fd);
    for (int i = 0; i < 6; i++)
        daemon_turn(t->d);
    free(t->got);
}

/* ---- steps ---- */

static void say_head(struct talk *t, struct fuzz_script *s)
{
    static const char *const methods[] = {"GET", "HEAD", "POST", "OPTIONS"};
    static const char *const paths[] = {"/live",          "/",        "/page.js",
                                        "/../etc/passwd", "/%2e%2e/", "//"};
    static const char *const protocols[] = {"underfoot", "other", "", "underfoot, other"};
    char host[5][40], head[1200];
    int port = uf_page_port(t->d->page);
    snprintf(host[0], sizeof host[0], "127.0.0.1:%d", port);
    snprintf(host[1], sizeof host[1], "localhost:%d", port);
    snprintf(host[2], sizeof host[2], "evil.example:%d", port);
    snprintf(host[3], sizeof host[3], "127.0.0.1:%d", port + 1);
    snprintf(host[4], sizeof host[4], "%s", "");
    uint8_t a = fuzz_take(s), b = fuzz_take(s), c = fuzz_take(s);
    const char *method = methods[a % 4], *path = paths[(a >> 2) % 6];
    const char *protocol = protocols[(b >> 4) % 4];
    const char *at = host[b % 5], *from = host[c % 5];
    bool origin = c & 0x80, upgrade = a & 0x80, old = a & 0x40;
    int n = snprintf(head, sizeof head, "%s %s HTTP/1.%d\r\nHost: %s\r\n", method, path, !old, at);
    if (origin)
        n += snprintf(head + n, sizeof head - (size_t)n, "Origin: http://%s\r\n", from);
    if (upgrade)
        n += snprintf(
            head + n, sizeof head - (size_t)n,
            "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Protocol: %s\r\n",
            protocol);
    n += snprintf(head + n, sizeof head - (size_t)n, "\r\n");
    bool first = t->sent == 0;
    t->may_open = t->may_open || (a % 4 == 0 && (a >> 2) % 6 == 0 && upgrade && origin &&
                                  b % 5 < 2 && c % 5 == b % 5 && (b >> 4) % 4 == 0);
    t->must_open = t->must_open || (first && t->may_open && !old);
    say(t, head, (size_t)n);
}

static void say_raw(struct talk *t, struct fuzz_script *s)
{
    size_t n = 1 + 4 * (size_t)fuzz_take(s);
    n = n < s->left ? n : s->left;
    say(t, s->p, n);
    s->p += n;
    s->left -= n;
}

/* A frame with what follows as its payload; the mask may be missing, the length may lie. */
static void say_frame(struct talk *t, struct fuzz_script *s, bool honest)
{
    uint8_t frame[14 + 2048], first = fuzz_take(s), kind = honest ? 0 : fuzz_take(s);
    size_t n = honest ? fuzz_take(s) : 16 * (size_t)fuzz_take(s), at = 2;
    n = n < s->left ? n : s->left;
    n = n < 2048 ? n : 2048;
    size_t told = kind & 2 ? n + 3 : n;
    frame[0] = honest ? (uint8_t)(0x81 | (first & 0x80)) : first;
    if (told < 126) {
        frame[1] = (uint8_t)told;
    } else {
        frame[1] = 126;
        frame[at++] = (uint8_t)(told >> 8);
        frame[at++] = (uint8_t)told;
    }
    if (!(kind & 1)) {
        frame[1] |= 0x80;
        memset(frame + at, 0, 4); /* a mask of zeros */
        at += 4;
    }
    memcpy(frame + at, s->p, n);
    s->p += n;
    s->left -= n;
    say(t, frame, at + n);
}

/* ---- what came back ---- */

static void judge_frames(const uint8_t *p, size_t left)
{
    while (left >= 2) {
        size_t n = p[1] & 0x7F, at = 2;
        REQUIRE(!(p[1] & 0x80) && !(p[0] & 0x70));
        if (n == 126 && left >= 4) {
            n = (size_t)p[2] << 8 | p[3];
            at = 4;
        } else if (n >= 126) {
            return; /* not all of it has come; longer ones are not asked for here */
        }
        if (left < at + n)
            return;
        if (p[0] == 0x81) {
            json_t *json = json_loadb((const char *)p + at, n, 0, NULL);
            REQUIRE(json_is_object(json) && json_string_value(json_object_get(json, "type")));
            json_decref(json);
        } else {
            REQUIRE(p[0] == 0x88 || p[0] == 0x89 || p[0] == 0x8A || p[0] == 0x01 || p[0] == 0x80);
        }
        p += at + n;
        left -= at + n;
    }
}

static void judge(const struct talk *t)
{
    REQUIRE(t->n >= 12 || !t->must_open);
    if (t->n < 12)
        return;
    REQUIRE(!strncmp(t->got, "HTTP/1.", 7));
    int status = atoi(t->got + 9);
    const char *body = strstr(t->got, "\r\n\r\n");
    if (status == 101) {
        REQUIRE(t->may_open && body);
        judge_frames((const uint8_t *)body + 4, t->n - (size_t)(body + 4 - t->got));
        return;
    }
    REQUIRE(!t->must_open);
    REQUIRE(status == 200 || (status >= 400 && status < 500));
    if (status == 200)
        REQUIRE(strstr(t->got, "content-security-policy: default-src 'none'") &&
                strstr(t->got, "x-content-type-options: nosniff"));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct uf_daemon *d;
    static unsigned runs;
    if (!d)
        d = daemon_near();
    struct fuzz_script s = {data, size};
    struct talk t = {.d = d};
    begin(&t);
    for (int i = 0; i < STEPS_MAX && s.left > 0 && !t.ended; i++) {
        uint8_t op = fuzz_take(&s);
        if (op % 4 == 0)
            say_head(&t, &s);
        else if (op % 4 == 1)
            say_raw(&t, &s);
        else
            say_frame(&t, &s, op % 4 == 2);
    }
    for (int i = 0; i < (t.must_open && t.n < 12 ? TURNS_MAX : 3) && !t.ended; i++)
        hear(&t);
    judge(&t);
    end(&t);

    if (++runs % 64 == 0) { /* somebody else gets the page */
        struct talk next = {.d = d};
        char head[80];
        begin(&next);
        int n = snprintf(head, sizeof head, "GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n",
                         uf_page_port(d->page));
        say(&next, head, (size_t)n);
        for (int i = 0; i < TURNS_MAX && next.n < 20 && !next.ended; i++)
            hear(&next);
        REQUIRE(next.n >= 20 && !strncmp(next.got, "HTTP/1.1 200", 12));
        end(&next);
    }
    return 0;
}
