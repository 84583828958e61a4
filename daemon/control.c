/* SPDX-License-Identifier: MIT
 * Questions and answers on a Unix socket: see control.h. */
#include "daemon/control.h"

#include <assert.h>
#include <errno.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

struct client {
    uv_pipe_t pipe;
    struct uf_control *control;
    struct client *next;
    uint64_t heard_ms; /* by uv_now */
    size_t n;
    char line[UF_CONTROL_LINE_MAX];
};

struct uf_control {
    uv_loop_t *loop;
    uv_pipe_t listener;
    char path[sizeof((struct sockaddr_un *)0)->sun_path];
    uf_control_answer answer;
    void *who;
    struct client *clients;
    int client_count;
    int open_handles; /* listener and clients */
    struct uf_control_counts counts;
};

/* ---- closing ---- */

static void handle_gone(struct uf_control *c)
{
    if (--c->open_handles == 0)
        free(c);
}

static void client_closed(uv_handle_t *pipe)
{
    struct client *client = pipe->data;
    struct uf_control *c = client->control;
    free(client);
    handle_gone(c);
}

static void close_client(struct client *client)
{
    struct uf_control *c = client->control;
    if (uv_is_closing((uv_handle_t *)&client->pipe))
        return;
    for (struct client **p = &c->clients; *p; p = &(*p)->next)
        if (*p == client) {
            *p = client->next;
            c->client_count--;
            break;
        }
    uv_close((uv_handle_t *)&client->pipe, client_closed);
}

/* ---- answering ---- */

struct reply {
    uv_write_t write;
    bool last; /* close afterwards */
    char *text;
};

static void sent(uv_write_t *write, int status)
{
    struct reply *reply = write->data;
    struct client *client = write->handle->data;
    if (status < 0 || reply->last)
        close_client(client);
    free(reply->text);
    free(reply);
}

/* Takes json. */
static void send_json(struct client *client, json_t *json, bool last)
{
    struct reply *reply = calloc(1, sizeof *reply);
    char *text = json ? json_dumps(json, JSON_COMPACT) : NULL;
    json_decref(json);
    size_t n = text ? strlen(text) : 0;
    if (!reply || !text) {
        free(reply);
        free(text);
        close_client(client);
        return;
    }
    text[n] = '\n'; /* in place of the NUL */
    reply->text = text;
    reply->last = last;
    reply->write.data = reply;
    uv_buf_t buffer = uv_buf_init(text, (unsigned)n + 1);
    if (uv_write(&reply->write, (uv_stream_t *)&client->pipe, &buffer, 1, sent) < 0) {
        free(text);
        free(reply);
        close_client(client);
        return;
    }
    if (uv_stream_get_write_queue_size((uv_stream_t *)&client->pipe) > UF_CONTROL_UNREAD_MAX) {
        client->control->counts.cut_off++;
        close_client(client);
    }
}

static void answer_line(struct client *client, const char *line, size_t n)
{
    struct uf_control *c = client->control;
    json_error_t why;
    json_t *question = json_loadb(line, n, 0, &why);
    json_t *answer;
    c->counts.questions++;
    if (json_is_object(question)) {
        answer = c->answer(c->who, question);
    } else {
        answer =
            json_pack("{s:s}", "error", "send one JSON object a line, as in {\"ask\":\"status\"}");
    }
    if (!json_is_object(question) || json_object_get(answer, "error"))
        c->counts.bad_questions++;
    json_decref(question);
    send_json(client, answer, false);
}

static void allocate(uv_handle_t *pipe, size_t wanted, uv_buf_t *buffer)
{
    (void)wanted;
    struct client *client = pipe->data;
    *buffer = uv_buf_init(client->line + client->n, (unsigned)(sizeof client->line - client->n));
}

static void received(uv_stream_t *pipe, ssize_t n, const uv_buf_t *buffer)
{
    (void)buffer;
    struct client *client = pipe->data;
    if (n < 0) {
        close_client(client);
        return;
    }
    client->n += (size_t)n;
    client->heard_ms = uv_now(client->control->loop);
    size_t from = 0;
    for (char *end; (end = memchr(client->line + from, '\n', client->n - from)) != NULL;) {
        size_t length = (size_t)(end - client->line) - from;
        answer_line(client, client->line + from, length);
        if (uv_is_closing((uv_handle_t *)pipe))
            return;
        from += length + 1;
    }
    memmove(client->line, client->line + from, client->n - from);
    client->n -= from;
    if (client->n == sizeof client->line) {
        client->control->counts.cut_off++;
        uv_read_stop(pipe);
        send_json(client, json_pack("{s:s}", "error", "a question may have 4095 bytes"), true);
    }
}

/* Programs that connected and have said nothing for long must not keep the others out. */
static void make_room(struct uf_control *c)
{
    struct client *oldest = NULL;
    for (struct client *client = c->clients; client; client = client->next)
        if (!oldest || client->heard_ms < oldest->heard_ms)
            oldest = client;
    if (!oldest || uv_now(c->loop) - oldest->heard_ms < UF_CONTROL_IDLE_MS)
        return;
    c->counts.made_room++;
    close_client(oldest);
}

static void connection(uv_stream_t *listener, int status)
{
    struct uf_control *c = listener->data;
    if (status < 0)
        return;
    struct client *client = calloc(1, sizeof *client);
    if (!client)
        return;
    if (c->client_count >= UF_CONTROL_CLIENTS_MAX)
        make_room(c);
    uv_pipe_init(c->loop, &client->pipe, 0);
    client->pipe.data = client;
    client->heard_ms = uv_now(c->loop);
    client->control = c;
    c->open_handles++;
    client->next = c->clients;
    c->clients = client;
    c->client_count++;
    if (uv_accept(listener, (uv_stream_t *)&client->pipe) < 0) {
        close_client(client);
        return;
    }
    if (c->client_count > UF_CONTROL_CLIENTS_MAX) {
        c->counts.turned_away++;
        send_json(client, json_pack("{s:s}", "error", "too many programs ask at once"), true);
        return;
    }
    uv_read_start((uv_stream_t *)&client->pipe, allocate, received);
}

/* ---- listening ---- */

/* Is somebody behind the socket file? Takes away one that a killed daemon left. */
static int make_way(const char *path, struct uf_error *err)
{
    struct stat st;
    if (lstat(path, &st) != 0)
        return UF_OK; /* none, or the bind will say what is wrong */
    if (!S_ISSOCK(st.st_mode))
        return uf_fail(err, UF_EINVAL,
                       "%s exists and is not a socket: set daemon.control to another path", path);
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    snprintf(to.sun_path, sizeof to.sun_path, "%s", path);
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (fd < 0)
        return uf_fail(err, UF_EIO, "no socket: %s", strerror(errno));
    int error = connect(fd, (const struct sockaddr *)&to, sizeof to) == 0 ? 0 : errno;
    close(fd);
    if (error == ECONNREFUSED || error == ENOENT) {
        (void)unlink(path);
        return UF_OK;
    }
    return uf_fail(err, UF_EBUSY,
                   "another underfootd answers at %s: stop that one, or give this one its own "
                   "daemon.control",
                   path);
}

static int listen_at(struct uf_control *c, struct uf_error *err)
{
    mode_t before =
        umask(0117); /* 0660 from the first moment on; no other thread makes files yet */
    int rc = uv_pipe_bind(&c->listener, c->path);
    umask(before);
    if (rc == 0)
        rc = uv_listen((uv_stream_t *)&c->listener, UF_CONTROL_CLIENTS_MAX, connection);
    if (rc < 0)
        return uf_fail(err, rc == UV_EACCES ? UF_EPERM : UF_EIO,
                       "cannot listen at %s: %s; make its folder, writable for the user that runs "
                       "underfootd, or set daemon.control",
                       c->path, uv_strerror(rc));
    return UF_OK;
}

static void listener_closed(uv_handle_t *listener)
{
    handle_gone(listener->data);
}

int uf_control_new(struct uf_control **out, uv_loop_t *loop, const char *path,
                   uf_control_answer answer, void *who, struct uf_error *err)
{
    *out = NULL;
    struct uf_control *c = calloc(1, sizeof *c);
    if (!c)
        return uf_fail(err, UF_ENOMEM, "no memory for the control socket");
    size_t n = strlen(path);
    if (n >= sizeof c->path) {
        free(c);
        return uf_fail(err, UF_EINVAL, "daemon.control has %zu characters, %zu are the most", n,
                       sizeof c->path - 1);
    }
    memcpy(c->path, path, n + 1);
    c->loop = loop;
    c->answer = answer;
    c->who = who;
    int rc = make_way(path, err);
    if (rc) {
        free(c);
        return rc;
    }
    uv_pipe_init(loop, &c->listener, 0);
    c->listener.data = c;
    c->open_handles = 1;
    rc = listen_at(c, err);
    if (rc) {
        uv_close((uv_handle_t *)&c->listener, listener_closed);
        return rc;
    }
    *out = c;
    return UF_OK;
}

void uf_control_free(struct uf_control *c)
{
    if (!c)
        return;
    while (c->clients)
        close_client(c->clients);
    uv_close((uv_handle_t *)&c->listener, listener_closed); /* libuv takes the file away */
}

void uf_control_counts(const struct uf_control *c, struct uf_control_counts *out)
{
    *out = c->counts;
}
