/* SPDX-License-Identifier: MIT
 * See ask.h. */
#include "cli/ask.h"

#include "cli/cli.h"

#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#define ANSWER_MS  3000
#define ANSWER_MAX 262144

static int connect_to(const char *path, int *fd, struct uf_error *err)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (strlen(path) >= sizeof address.sun_path)
        return uf_fail(
            err, UF_EINVAL,
            "the control socket's path %s is too long: daemon.control may have %zu bytes", path,
            sizeof address.sun_path - 1);
    strcpy(address.sun_path, path);
    *fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (*fd < 0)
        return uf_fail(err, UF_EIO, "cannot make a socket: %s", strerror(errno));
    if (connect(*fd, (struct sockaddr *)&address, sizeof address) == 0)
        return UF_OK;
    int why = errno;
    close(*fd);
    if (why == EACCES || why == EPERM)
        return uf_fail(err, UF_EPERM,
                       "this user may not ask the daemon at %s; run as root or as a member of the "
                       "daemon's group",
                       path);
    return uf_fail(err, UF_ENOTFOUND,
                   "no daemon answers at %s (%s); start it with: systemctl start underfootd, or "
                   "underfootd --config FILE. Another socket: daemon.control in the settings",
                   path, strerror(why));
}

static int64_t now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* Reads until the newline into text (ANSWER_MAX bytes). */
static int read_line(int fd, char *text, size_t *n, const char *path, struct uf_error *err)
{
    int64_t until = now_ms() + ANSWER_MS;
    *n = 0;
    for (;;) {
        int64_t left = until - now_ms();
        struct pollfd p = {.fd = fd, .events = POLLIN};
        int ready = left > 0 ? poll(&p, 1, (int)left) : 0;
        if (ready < 0 && errno == EINTR)
            continue;
        if (ready <= 0)
            return uf_fail(err, UF_EBUSY,
                           "the daemon at %s does not answer within %d s; look at its log: "
                           "journalctl -u underfootd",
                           path, ANSWER_MS / 1000);
        ssize_t got = read(fd, text + *n, ANSWER_MAX - *n);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0)
            return uf_fail(err, UF_EIO, "the daemon at %s hung up instead of answering", path);
        char *end = memchr(text + *n, '\n', (size_t)got);
        *n += (size_t)got;
        if (end) {
            *n = (size_t)(end - text);
            return UF_OK;
        }
        if (*n == ANSWER_MAX)
            return uf_fail(err, UF_EINVAL, "the answer from %s is too long to be the daemon's",
                           path);
    }
}

void uf_cli_tell_daemon(struct uf_cli *c)
{
    json_t *answer = NULL;
    struct uf_error err;
    int rc = uf_ask(c->config.daemon.control, "lesson", &answer, &err);
    json_decref(answer);
    if (rc && rc != UF_ENOTFOUND)
        uf_cli_fail(
            c, rc,
            "stored, but the daemon has not been told of it, and keeps the hand that it had: %s",
            err.text);
}

int uf_ask(const char *socket_path, const char *question, json_t **out, struct uf_error *err)
{
    *out = NULL;
    int fd = -1;
    int rc = connect_to(socket_path, &fd, err);
    if (rc)
        return rc;
    char *text = malloc(ANSWER_MAX);
    json_t *ask = json_pack("{s:s}", "ask", question);
    char *line = json_dumps(ask, JSON_COMPACT);
    json_decref(ask);
    size_t n = 0;
    if (!text || !line)
        rc = uf_fail(err, UF_ENOMEM, "no memory to ask the daemon");
    else if (send(fd, line, strlen(line), MSG_NOSIGNAL) != (ssize_t)strlen(line) ||
             send(fd, "\n", 1, MSG_NOSIGNAL) != 1)
        rc = uf_fail(err, UF_EIO, "the daemon at %s hung up instead of answering", socket_path);
    else
        rc = read_line(fd, text, &n, socket_path, err);
    if (rc == 0) {
        json_error_t why;
        *out = json_loadb(text, n, 0, &why);
        const char *refusal = json_string_value(json_object_get(*out, "error"));
        if (!json_is_object(*out))
            rc = uf_fail(err, UF_EINVAL, "what answers at %s is not the daemon", socket_path);
        else if (refusal)
            rc = uf_fail(err, UF_EINVAL, "the daemon at %s refused: %.200s", socket_path, refusal);
    }
    if (rc) {
        json_decref(*out);
        *out = NULL;
    }
    free(line);
    free(text);
    close(fd);
    return rc;
}
