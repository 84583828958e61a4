/* SPDX-License-Identifier: MIT
 * The page's side of the conversation: see page.h. */
#include "daemon/page.h"

#include "base/clock.h"
#include "base/log.h"
#include "daemon/page_compare.h"
#include "daemon/page_lesson.h"
#include "daemon/page_live.h"
#include "daemon/page_people.h"
#include "daemon/page_read.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A question to the database: one at a time is at work on another thread. */
struct read {
    enum {
        READ_SWING,
        READ_LIST,
        READ_LESSON,
        READ_COMPARE_SWINGS,
        READ_COMPARE_BLOCKS,
        READ_SESSIONS,
        READ_SESSION,
        READ_PLAYERS,
        READ_PLAYER,
        READ_REMARKS
    } kind;
    uf_client client; /* 0: all */
    int64_t id;       /* where one is named; 0: the newest */
    int64_t other;    /* COMPARE: what it is compared with */
};

struct uf_page {
    struct uf_page_config c;
    struct uf_access access;
    struct uf_server *server;
    uv_timer_t heartbeat;
    bool heartbeat_open, stopping;
    int64_t live_due_us; /* monotonic */
    int64_t live_dev_us; /* of the last one that was sent */
    int64_t last_swing;  /* that the page was told of */
    uint64_t reads_refused;

    struct read reads[UF_PAGE_READS_MAX]; /* a ring; the first is at work while working */
    int first_read, waiting_reads;
    bool working;
    uv_work_t work;
    char *text; /* what came of it */
};

/* ---- messages ---- */

static void send_json(struct uf_page *p, uf_client client, json_t *json)
{
    struct uf_message *m = uf_message_new(json);
    uf_server_send(p->server, client, m);
    uf_message_free(m);
}

static void send_problem(struct uf_page *p, uf_client client, const char *text)
{
    send_json(p, client, json_pack("{s:s, s:s}", "type", "problem", "text", text));
}

static json_t *state_json(const struct uf_page *p)
{
    json_t *state = uf_status_json(p->c.sources);
    json_object_del(state, "live");
    json_object_set_new(state, "type", json_string("state"));
    return state;
}

void uf_page_samples(struct uf_page *p)
{
    int64_t now_us = uf_clock_mono_us();
    if (!p || p->stopping || now_us < p->live_due_us || uf_server_clients(p->server) == 0)
        return;
    struct uf_acquire_status a;
    uf_acquire_status(p->c.sources->acquire, &a);
    if (a.live->t_dev_us == p->live_dev_us)
        return;
    int64_t every_us = 1000000 / p->c.config->page.rate_hz;
    p->live_due_us += every_us;
    if (p->live_due_us <= now_us) /* after a pause: no burst to catch up */
        p->live_due_us = now_us + every_us;
    p->live_dev_us = a.live->t_dev_us;
    struct uf_message *m =
        uf_message_new(uf_page_live_json(a.live, &p->c.config->rig, a.hand, a.feet_now));
    uf_server_send_live(p->server, m);
    uf_message_free(m);
}

/* ---- the database ---- */

static void next_read(struct uf_page *p);

static int read_kind(const char *database, const struct read *r, json_t **json,
                     struct uf_error *err)
{
    switch (r->kind) {
    case READ_SWING:
        return uf_page_read_swing(database, r->id, json, err);
    case READ_LIST:
        return uf_page_read_list(database, json, err);
    case READ_LESSON:
        return uf_page_read_lesson(database, json, err);
    case READ_COMPARE_SWINGS:
    case READ_COMPARE_BLOCKS:
        return uf_page_read_compare(database, r->kind == READ_COMPARE_BLOCKS, r->id, r->other, json,
                                    err);
    case READ_SESSIONS:
        return uf_page_read_sessions(database, json, err);
    case READ_SESSION:
        return uf_page_read_session(database, r->id, json, err);
    case READ_PLAYERS:
        return uf_page_read_players(database, json, err);
    case READ_REMARKS:
        return uf_page_read_remarks(database, r->id, json, err);
    case READ_PLAYER:
        return uf_page_read_player(database, r->id, json, err);
    }
    return UF_OK;
}

/* On another thread: touches only what next_read has set. */
static void read_now(uv_work_t *work)
{
    struct uf_page *p = work->data;
    const struct read *r = &p->reads[p->first_read];
    struct uf_error err = {0};
    json_t *json = NULL;
    if (read_kind(p->c.config->daemon.database, r, &json, &err))
        json = json_pack("{s:s, s:s}", "type", "problem", "text", err.text);
    p->text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(6)) : NULL;
    json_decref(json);
}

static void have_read(uv_work_t *work, int status)
{
    struct uf_page *p = work->data;
    struct read r = p->reads[p->first_read];
    p->first_read = (p->first_read + 1) % UF_PAGE_READS_MAX;
    p->waiting_reads--;
    p->working = false;
    if (status == 0 && p->text && !p->stopping) {
        struct uf_message *m = uf_message_text(p->text, strlen(p->text));
        uf_server_send(p->server, r.client, m);
        uf_message_free(m);
    }
    free(p->text);
    p->text = NULL;
    next_read(p);
}

static void next_read(struct uf_page *p)
{
    if (p->working || p->stopping || p->waiting_reads == 0)
        return;
    p->work.data = p;
    p->working = uv_queue_work(p->c.loop, &p->work, read_now, have_read) == 0;
}

static void read_soon(struct uf_page *p, struct read r)
{
    for (int i = p->working; i < p->waiting_reads; i++) {
        const struct read *other = &p->reads[(p->first_read + i) % UF_PAGE_READS_MAX];
        if (other->kind == r.kind && other->client == r.client && other->id == r.id &&
            other->other == r.other)
            return; /* waits already */
    }
    if (p->waiting_reads == UF_PAGE_READS_MAX) {
        p->reads_refused++;
        send_problem(p, r.client, "too many questions wait for the database: ask again later");
        return;
    }
    p->reads[(p->first_read + p->waiting_reads++) % UF_PAGE_READS_MAX] = r;
    next_read(p);
}

void uf_page_state(struct uf_page *p)
{
    if (!p || p->stopping)
        return;
    struct uf_store_status store;
    uf_store_thread_status(p->c.sources->store, &store);
    bool anybody = uf_server_clients(p->server) > 0;
    if (anybody)
        send_json(p, 0, state_json(p));
    if (store.last_swing_id == p->last_swing)
        return;
    p->last_swing = store.last_swing_id;
    if (!anybody)
        return;
    read_soon(p, (struct read){READ_SWING, 0, store.last_swing_id, 0});
    read_soon(p, (struct read){READ_LIST, 0, 0, 0});
}

static void on_heartbeat(uv_timer_t *timer)
{
    uf_page_state(timer->data);
}

/* ---- what a browser asks ---- */

/* True when it has a number in "id". */
static bool ask_id(struct uf_page *p, uf_client client, const json_t *question, const char *what,
                   bool needed, int64_t *id)
{
    const json_t *given = json_object_get(question, "id");
    *id = json_integer_value(given);
    if ((!given && !needed) || (json_is_integer(given) && *id > 0))
        return true;
    char text[80];
    snprintf(text, sizeof text, "\"id\" must be the number of a %s", what);
    send_problem(p, client, text);
    return false;
}

static void ask_swing(struct uf_page *p, uf_client client, const json_t *question)
{
    int64_t id;
    if (ask_id(p, client, question, "swing", false, &id))
        read_soon(p, (struct read){READ_SWING, client, id, 0});
}

static void ask_list(struct uf_page *p, uf_client client, const json_t *question)
{
    (void)question;
    read_soon(p, (struct read){READ_LIST, client, 0, 0});
}

static void ask_sessions(struct uf_page *p, uf_client client, const json_t *question)
{
    (void)question;
    read_soon(p, (struct read){READ_SESSIONS, client, 0, 0});
}

static void ask_session(struct uf_page *p, uf_client client, const json_t *question)
{
    int64_t id;
    if (ask_id(p, client, question, "session", false, &id))
        read_soon(p, (struct read){READ_SESSION, client, id, 0});
}

static void ask_players(struct uf_page *p, uf_client client, const json_t *question)
{
    (void)question;
    read_soon(p, (struct read){READ_PLAYERS, client, 0, 0});
}

static void ask_player(struct uf_page *p, uf_client client, const json_t *question)
{
    int64_t id;
    if (ask_id(p, client, question, "player", true, &id))
        read_soon(p, (struct read){READ_PLAYER, client, id, 0});
}

static void ask_remarks(struct uf_page *p, uf_client client, const json_t *question)
{
    int64_t id;
    if (ask_id(p, client, question, "swing", true, &id))
        read_soon(p, (struct read){READ_REMARKS, client, id, 0});
}

static void ask_compare(struct uf_page *p, uf_client client, const json_t *question)
{
    const json_t *blocks = json_object_get(question, "blocks");
    const json_t *pair = blocks ? blocks : json_object_get(question, "swings");
    const json_t *a = json_array_get(pair, 0), *b = json_array_get(pair, 1);
    if (json_array_size(pair) != 2 || json_integer_value(a) < 1 || json_integer_value(b) < 1)
        send_problem(p, client, "\"swings\" or \"blocks\" must be two numbers, as in [3, 7]");
    else
        read_soon(p, (struct read){blocks ? READ_COMPARE_BLOCKS : READ_COMPARE_SWINGS, client,
                                   json_integer_value(a), json_integer_value(b)});
}

static void ask_lesson(struct uf_page *p, uf_client client, const json_t *question)
{
    (void)question;
    read_soon(p, (struct read){READ_LESSON, client, 0, 0});
}

static void send_answer(struct uf_page *p, uf_client client, const char *type, const char *ask,
                        const char *text)
{
    send_json(p, client, json_pack("{s:s, s:s, s:s}", "type", type, "ask", ask, "text", text));
}

static void ask_teach(struct uf_page *p, uf_client client, const json_t *question)
{
    const char *ask = json_string_value(json_object_get(question, "ask"));
    struct uf_error err = {0};
    struct uf_teach *teach;
    if (uf_teach_parse(&teach, question, &err)) {
        send_answer(p, client, "problem", ask, err.text);
        return;
    }
    teach->client = client;
    struct uf_job *job = uf_job_new(UF_JOB_TEACH);
    if (job) {
        job->teach = teach;
        job->utc_us = uf_clock_utc_us();
    } else {
        free(teach);
    }
    if (!job || !uf_store_thread_put(p->c.sources->store, job))
        send_answer(p, client, "problem", ask,
                    "the database cannot be written now: nothing is "
                    "changed; the daemon is ending, or too much waits");
}

void uf_page_taught(struct uf_page *p, const struct uf_teach *teach)
{
    static const char *const asks[] = {[UF_TEACH_BEGIN] = "begin",
                                       [UF_TEACH_END] = "end",
                                       [UF_TEACH_BLOCK] = "block",
                                       [UF_TEACH_BLOCK_END] = "block-end",
                                       [UF_TEACH_REMARK] = "remark"};
    if (!p || p->stopping)
        return;
    send_answer(p, teach->client, teach->rc ? "problem" : "answer", asks[teach->kind],
                teach->text); /* what has changed, all are told with the next state */
    if (teach->kind == UF_TEACH_REMARK) {
        read_soon(p, (struct read){READ_REMARKS, 0, teach->remark.swing, 0});
        read_soon(p, (struct read){READ_LIST, 0, 0, 0});
    }
}

/* A browser that kept a token, where none is asked for. */
static void ask_enter(struct uf_page *p, uf_client client, const json_t *question)
{
    (void)p;
    (void)client;
    (void)question;
}

static void ask_command(struct uf_page *p, uf_client client, const json_t *question)
{
    json_t *answer = p->c.command(p->c.who, question);
    const char *error = json_string_value(json_object_get(answer, "error"));
    if (error) {
        send_problem(p, client, error);
    } else {
        json_object_set_new(answer, "type", json_string("answer"));
        json_object_set(answer, "ask", json_object_get(question, "ask"));
        send_json(p, client, json_incref(answer));
        uf_page_state(p); /* for the other browsers */
    }
    json_decref(answer);
}

static void asked(void *who, uf_client client, enum uf_right right, const json_t *question)
{
    static const struct {
        const char *ask;
        enum uf_right needs;
        void (*handle)(struct uf_page *p, uf_client client, const json_t *question);
    } table[] = {
        {"enter", UF_RIGHT_READ, ask_enter},       {"swing", UF_RIGHT_READ, ask_swing},
        {"swings", UF_RIGHT_READ, ask_list},       {"tare", UF_RIGHT_WRITE, ask_command},
        {"hand", UF_RIGHT_WRITE, ask_command},     {"compare", UF_RIGHT_READ, ask_compare},
        {"sessions", UF_RIGHT_READ, ask_sessions}, {"session", UF_RIGHT_READ, ask_session},
        {"players", UF_RIGHT_READ, ask_players},   {"player", UF_RIGHT_READ, ask_player},
        {"lesson", UF_RIGHT_WRITE, ask_lesson},    {"begin", UF_RIGHT_WRITE, ask_teach},
        {"end", UF_RIGHT_WRITE, ask_teach},        {"block", UF_RIGHT_WRITE, ask_teach},
        {"block-end", UF_RIGHT_WRITE, ask_teach},  {"remark", UF_RIGHT_WRITE, ask_teach},
        {"remarks", UF_RIGHT_READ, ask_remarks},   {"feet", UF_RIGHT_WRITE, ask_command},
    };
    struct uf_page *p = who;
    const char *ask = json_string_value(json_object_get(question, "ask"));
    for (size_t i = 0; ask && i < sizeof table / sizeof table[0]; i++) {
        if (strcmp(ask, table[i].ask) != 0)
            continue;
        if (right < table[i].needs)
            send_problem(p, client, "this link may look, but not change anything");
        else
            table[i].handle(p, client, question);
        return;
    }
    send_problem(p, client, "\"ask\" must be one of the questions that DEVELOPERS.md lists");
}

static void entered(void *who, uf_client client, enum uf_right right)
{
    struct uf_page *p = who;
    send_json(p, client,
              json_pack("{s:s, s:s, s:b, s:i, s:o}", "type", "hello", "version", UF_VERSION,
                        "may_write", right == UF_RIGHT_WRITE, "rate_hz", p->c.config->page.rate_hz,
                        "plates", uf_page_plates_json(&p->c.config->rig)));
    send_json(p, client, state_json(p));
    p->live_dev_us = -1; /* the newest values, even when the line is silent */
    uf_page_samples(p);
}

/* ---- life ---- */

/* Where another machine finds us. */
static void address_of(const struct uf_page *p, char *text, size_t size)
{
    const struct uf_page_settings *s = &p->c.config->page;
    uv_interface_address_t *all;
    int n;
    snprintf(text, size, "%s", *s->name && !p->access.loopback ? s->name : s->listen);
    if (strcmp(text, "0.0.0.0") != 0)
        return;
    snprintf(text, size, "127.0.0.1");
    if (uv_interface_addresses(&all, &n) != 0)
        return;
    for (int i = 0; i < n; i++)
        if (!all[i].is_internal && all[i].address.address4.sin_family == AF_INET) {
            uv_ip4_name(&all[i].address.address4, text, size);
            break;
        }
    uv_free_interface_addresses(all, n);
}

static void say_where(const struct uf_page *p, const bool made[UF_RIGHT_WRITE + 1])
{
    char address[80], path[UF_PATH_MAX + 32];
    address_of(p, address, sizeof address);
    uf_log(UF_LOG_NOTICE, "live page: http://%s:%d/", address, p->access.port);
    for (int right = UF_RIGHT_READ; right <= UF_RIGHT_WRITE; right++) {
        if (p->access.loopback)
            continue;
        const char *may = right == UF_RIGHT_WRITE ? "look and change" : "look only";
        uf_access_token_path(p->c.config->daemon.database, (enum uf_right)right, path, sizeof path);
        if (made[right] && isatty(STDERR_FILENO)) /* once, to a person: never into a journal */
            fprintf(stderr, "Link for those who may %s: http://%s:%d/#token=%s\n", may, address,
                    p->access.port, p->access.token[right]);
        else
            uf_log(UF_LOG_NOTICE,
                   "live page: those who may %s need the address with #token= and what is in %s",
                   may, path);
    }
}

int uf_page_new(struct uf_page **out, const struct uf_page_config *config, struct uf_error *err)
{
    *out = NULL;
    struct uf_page *p = calloc(1, sizeof *p);
    if (!p)
        return uf_fail(err, UF_ENOMEM, "no memory for the page");
    p->c = *config;
    *out = p;
    bool made[UF_RIGHT_WRITE + 1];
    int rc = uf_access_open(&p->access, &config->config->page, config->config->daemon.database,
                            made, err);
    const struct uf_server_config server = {.loop = config->loop,
                                            .settings = &config->config->page,
                                            .access = &p->access,
                                            .entered = entered,
                                            .asked = asked,
                                            .who = p};
    if (!rc)
        rc = uf_server_new(&p->server, &server, err);
    if (rc)
        return rc;
    uv_timer_init(config->loop, &p->heartbeat);
    p->heartbeat.data = p;
    p->heartbeat_open = true;
    uv_timer_start(&p->heartbeat, on_heartbeat, UF_PAGE_STATE_MS, UF_PAGE_STATE_MS);
    say_where(p, made);
    return UF_OK;
}

void uf_page_stop(struct uf_page *p)
{
    if (!p)
        return;
    p->stopping = true;
    if (p->heartbeat_open)
        uv_close((uv_handle_t *)&p->heartbeat, NULL);
    if (p->working)
        (void)uv_cancel((uv_req_t *)&p->work); /* at work already: its callback still comes */
    uf_server_stop(p->server);
}

void uf_page_free(struct uf_page *p)
{
    if (!p)
        return;
    uf_server_free(p->server);
    free(p);
}

void uf_page_counts(const struct uf_page *p, struct uf_server_counts *out, int *clients)
{
    uf_server_counts(p->server, out);
    *clients = uf_server_clients(p->server);
}

int uf_page_port(const struct uf_page *p)
{
    return p->access.port;
}
