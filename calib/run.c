/* SPDX-License-Identifier: MIT
 * Walking through a session: see walk.h; and the command run. */
#include "base/clock.h"
#include "calib/walk.h"
#include "daemon/gate.h"
#include "daemon/link.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <string.h>
#include <unistd.h>
#include <uv.h>

#define FOLLOW_MS 50

struct walk {
    FILE *out;
    const char *path;
    struct uf_document *document;
    struct uf_procedure *procedure;
    struct uf_wire *wire;
    struct uf_gate *gate;
    bool live; /* the clock of the host is that of the loads */
    int64_t newest_dev_us;

    uv_loop_t loop;
    bool loop_made;
    uv_signal_t on_int, on_term;
    uv_timer_t timer; /* follows a file */
    struct uf_link *link;
    int fd;
    bool stopping, interrupted;
    int rc;
    struct uf_error err;
};

/* ---- for the procedure ---- */

static void say(void *who, const char *sentence)
{
    struct walk *w = who;
    fprintf(w->out, "%s\n", sentence);
    fflush(w->out);
}

static int keep(void *who, struct uf_error *err)
{
    struct walk *w = who;
    return w->path ? uf_document_write(w->document->json, w->path, err) : UF_OK;
}

static int64_t utc_us(void *who)
{
    const struct walk *w = who;
    return w->live ? uf_clock_utc_us() : 0;
}

/* ---- the end ---- */

static void close_handle(uv_handle_t *h)
{
    if (h->loop && !uv_is_closing(h))
        uv_close(h, NULL);
}

static void let_go(struct walk *w)
{
    close_handle((uv_handle_t *)&w->on_int);
    close_handle((uv_handle_t *)&w->on_term);
    close_handle((uv_handle_t *)&w->timer);
}

static void stop(struct walk *w)
{
    if (w->stopping)
        return;
    w->stopping = true;
    if (w->link)
        uf_link_stop(w->link);
    else
        let_go(w);
}

static void fail_with(struct walk *w, int rc, const struct uf_error *err)
{
    if (w->rc == UF_OK) {
        w->rc = rc;
        w->err = *err;
    }
    stop(w);
}

static void on_signal(uv_signal_t *handle, int number)
{
    struct walk *w = handle->data;
    (void)number;
    w->interrupted = true;
    stop(w);
}

/* ---- bytes ---- */

static void feed_wire(struct walk *w, const uint8_t *bytes, size_t n)
{
    struct uf_wire_event event;
    struct uf_error err = {0, ""};
    while (n > 0 && !w->stopping) {
        size_t used = uf_wire_feed(w->wire, bytes, n, &event);
        bytes += used;
        n -= used;
        if (event.kind == UF_WIRE_HELLO && event.hello_changed)
            fprintf(w->out, "Board: %d channels of %d bits, %d samples a second, firmware %d.\n",
                    event.hello.channels, event.hello.adc_bits, event.hello.rate_hz,
                    event.hello.firmware);
        if (event.kind != UF_WIRE_SAMPLE)
            continue;
        w->newest_dev_us = event.frame.t_dev_us;
        int rc = uf_procedure_feed(w->procedure, &event.frame, &err);
        if (rc != UF_OK)
            fail_with(w, rc, &err);
        else if (uf_procedure_done(w->procedure))
            stop(w);
    }
}

static void on_bytes(void *who, const uint8_t *bytes, size_t n)
{
    struct walk *w = who;
    struct uf_error err = {0, ""};
    while (n > 0 && !w->stopping) {
        size_t part = n < UF_GATE_FEED_MAX ? n : UF_GATE_FEED_MAX;
        const uint8_t *through = bytes;
        size_t passed = part;
        enum uf_gate_verdict v = uf_gate_feed(w->gate, &through, &passed, &err);
        if (v == UF_GATE_PASS)
            feed_wire(w, through, passed);
        else if (v == UF_GATE_REFUSE)
            fail_with(w, err.code, &err);
        bytes += part;
        n -= part;
    }
}

static void on_opened(void *who)
{
    struct walk *w = who;
    uf_gate_shut(w->gate);
    uf_wire_line_cut(w->wire);
}

static void on_trouble(void *who, const char *sentence)
{
    struct walk *w = who;
    fprintf(w->out,
            "The line to the board: %s\nWhen underfootd has the line, let it record "
            "(daemon.record) and give that file with --follow.\n",
            sentence);
    fflush(w->out);
}

static void on_ended(void *who, const char *sentence)
{
    struct walk *w = who;
    struct uf_error err = {UF_EIO, ""};
    if (sentence) {
        uf_fail(&err, UF_EIO, "%s", sentence);
        fail_with(w, UF_EIO, &err);
    }
    stop(w);
}

static int64_t newest_dev_us(void *who)
{
    return ((const struct walk *)who)->newest_dev_us;
}

static void on_stopped(void *who)
{
    let_go(who);
}

static void on_timer(uv_timer_t *handle)
{
    struct walk *w = handle->data;
    uint8_t bytes[16384];
    ssize_t n;
    while (!w->stopping && (n = read(w->fd, bytes, sizeof bytes)) > 0)
        on_bytes(w, bytes, (size_t)n);
}

/* ---- start ---- */

static int open_follow(struct walk *w, const char *path, struct uf_error *err)
{
    w->fd = open(path, O_RDONLY | O_CLOEXEC);
    if (w->fd < 0)
        return uf_fail(err, UF_EIO, "cannot open %s: %s", path, strerror(errno));
    lseek(w->fd, 0, SEEK_END); /* from now on */
    w->live = true;
    uv_timer_init(&w->loop, &w->timer);
    w->timer.data = w;
    uv_timer_start(&w->timer, on_timer, 0, FOLLOW_MS);
    return UF_OK;
}

static int open_link(struct walk *w, const struct uf_link_settings *s, struct uf_error *err)
{
    const struct uf_link_owner owner = {.who = w,
                                        .opened = on_opened,
                                        .bytes = on_bytes,
                                        .lost = on_trouble,
                                        .failed = on_trouble,
                                        .ended = on_ended,
                                        .newest_dev_us = newest_dev_us,
                                        .stopped = on_stopped};
    w->live = s->type != UF_LINK_REPLAY;
    int rc = uf_link_new(&w->link, &w->loop, s, &owner, NULL, err);
    if (rc == UF_OK)
        uf_link_start(w->link);
    return rc;
}

static int start(struct walk *w, const struct uf_calib_args *args, struct uf_config *config,
                 const struct uf_procedure_settings *settings, struct uf_error *err)
{
    const char *recording = args->option[UF_OPT_RECORDING], *follow = args->option[UF_OPT_FOLLOW];
    const struct uf_procedure_owner owner = {w, say, keep, utc_us};
    if (recording) {
        if (strlen(recording) >= sizeof config->link.device)
            return uf_fail(err, UF_EINVAL, "the name of the recording is too long");
        config->link.type = UF_LINK_REPLAY;
        config->link.pace = UF_PACE_FAST;
        strcpy(config->link.device, recording);
    }
    int rc = uf_procedure_new(&w->procedure, &config->rig, w->document, settings, &owner, err);
    if (rc == UF_OK)
        rc = uf_wire_new(&w->wire, config->link.form, err);
    if (rc == UF_OK)
        rc = uf_gate_new(&w->gate, config->link.form, config->link.board_id, &config->rig, err);
    if (rc != UF_OK)
        return rc;
    uf_procedure_begin(w->procedure);
    if (uf_procedure_done(w->procedure))
        return UF_OK;
    if (uv_loop_init(&w->loop) != 0)
        return uf_fail(err, UF_ENOMEM, "no memory for the event loop");
    w->loop_made = true;
    uv_signal_init(&w->loop, &w->on_int);
    uv_signal_init(&w->loop, &w->on_term);
    w->on_int.data = w->on_term.data = w;
    uv_signal_start(&w->on_int, on_signal, SIGINT);
    uv_signal_start(&w->on_term, on_signal, SIGTERM);
    rc = follow ? open_follow(w, follow, err) : open_link(w, &config->link, err);
    if (rc != UF_OK)
        let_go(w);
    return rc;
}

static void finish(struct walk *w)
{
    if (w->loop_made) {
        uf_link_free(w->link);
        uv_run(&w->loop, UV_RUN_DEFAULT);
        uv_loop_close(&w->loop);
    }
    if (w->fd >= 0)
        close(w->fd);
    uf_gate_free(w->gate);
    uf_wire_free(w->wire);
    uf_procedure_free(w->procedure);
}

int uf_walk(const struct uf_calib_args *args, struct uf_config *config, struct uf_document *d,
            const char *path, struct uf_procedure_settings *settings, FILE *out,
            struct uf_walk_result *result, struct uf_error *err)
{
    struct walk w;
    memset(&w, 0, sizeof w);
    memset(result, 0, sizeof *result);
    w.out = out;
    w.path = path;
    w.document = d;
    w.fd = -1;
    w.newest_dev_us = -1;
    if (args->option[UF_OPT_RECORDING] && args->option[UF_OPT_FOLLOW])
        return uf_fail(err, UF_EINVAL,
                       "give --recording (read to its end) or --follow (from its "
                       "end on), not both");
    if (args->option[UF_OPT_RECORDING]) /* nobody can put anything right, or wait */
        settings->patience_s = settings->drift_s = 0;
    int rc = uf_calib_number(args, UF_OPT_SECONDS, 0.5, 600, settings->still.take_s,
                             &settings->still.take_s, err);
    if (rc == UF_OK)
        rc = uf_calib_number(args, UF_OPT_DRIFT, 0, 3600, settings->drift_s, &settings->drift_s,
                             err);
    if (rc == UF_OK)
        rc = start(&w, args, config, settings, err);
    if (rc == UF_OK && w.loop_made) {
        uv_run(&w.loop, UV_RUN_DEFAULT);
        if (w.rc != UF_OK) {
            rc = w.rc;
            *err = w.err;
        }
    }
    if (w.procedure) {
        result->captured = uf_procedure_captured(w.procedure);
        result->open = uf_procedure_open(w.procedure);
        result->interrupted = w.interrupted;
    }
    finish(&w);
    return rc;
}

int uf_calib_run(const struct uf_calib_args *args, FILE *out, struct uf_error *err)
{
    struct uf_config config;
    struct uf_document document;
    struct uf_procedure_settings settings;
    struct uf_walk_result result;
    const char *path = args->operand[0];
    memset(&document, 0, sizeof document);
    uf_procedure_defaults(&settings);
    int rc = uf_calib_config(args, &config, err);
    if (rc == UF_OK)
        rc = uf_document_read(&document, path, &config.rig, err);
    if (rc == UF_OK) {
        rc = uf_walk(args, &config, &document, path, &settings, out, &result, err);
        fprintf(out, "%d captured now, %d to go%s. File: %s\n", result.captured, result.open,
                result.interrupted && result.open ? "; run goes on from here" : "", path);
    }
    uf_document_free(&document);
    return rc;
}
