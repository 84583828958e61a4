/* SPDX-License-Identifier: MIT
 * Opening, losing and opening again, for all kinds of lines: see link.h. Owns the timer of the next
 * try and the buffer that the drivers read into. */
#include "daemon/link.h"

#include "daemon/link_driver.h"
#include "daemon/ports.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST_WAIT_MS   250
#define LONGEST_WAIT_MS 5000
/* A line that was open for less long did not go well: the waits go on growing. */
#define GOOD_MS 2000

enum state {
    IDLE,    /* not started, or over */
    WAITING, /* the timer runs */
    OPENING, /* the driver is at it */
    OPEN,
    CLOSING /* the driver is letting go */
};

struct uf_link {
    const struct uf_link_driver *driver;
    const struct uf_link_settings *s;
    struct uf_link_owner owner;
    uv_loop_t *loop;
    uv_timer_t timer;
    enum state state;
    bool stopping, ended;
    struct uf_backoff backoff;
    struct uf_ports ports;
    int tried;          /* of this round */
    bool stay;          /* the port was good: that one first */
    bool disliked;      /* by the owner */
    uint64_t opened_ms; /* loop time */
    char told[480];     /* the last sentence that failed() was given */
    char end_text[480]; /* why a recording ended early, or empty */
    void *driver_state;
    uint8_t buffer[UF_LINK_READ_BYTES];
};

static const struct uf_link_driver *const drivers[] = {
    [UF_LINK_SERIAL] = &uf_link_serial,
    [UF_LINK_RAW] = &uf_link_raw,
    [UF_LINK_TCP] = &uf_link_tcp,
    [UF_LINK_REPLAY] = &uf_link_replay,
};

int uf_link_new(struct uf_link **out, uv_loop_t *loop, const struct uf_link_settings *s,
                const struct uf_link_owner *owner, const struct uf_backoff *waits,
                struct uf_error *err)
{
    *out = NULL;
    const struct uf_link_driver *driver = drivers[s->type];
    int rc = driver->check ? driver->check(s, err) : UF_OK;
    if (rc)
        return rc;
    struct uf_link *l = calloc(1, sizeof *l);
    if (!l)
        return uf_fail(err, UF_ENOMEM, "no memory for the link to the board");
    l->driver = driver;
    l->s = s;
    l->owner = *owner;
    l->loop = loop;
    const struct uf_backoff usual = {.first_ms = FIRST_WAIT_MS, .longest_ms = LONGEST_WAIT_MS};
    l->backoff = waits ? *waits : usual;
    uv_timer_init(loop, &l->timer);
    l->timer.data = l;
    *out = l;
    return UF_OK;
}

static void free_link(uv_handle_t *timer)
{
    free(timer->data);
}

void uf_link_free(struct uf_link *l)
{
    if (!l)
        return;
    assert(l->state == IDLE);
    uv_close((uv_handle_t *)&l->timer, free_link);
}

/* ---- opening ---- */

static void tell_failure(struct uf_link *l, const char *sentence)
{
    if (strcmp(l->told, sentence) == 0)
        return;
    snprintf(l->told, sizeof l->told, "%s", sentence);
    l->owner.failed(l->owner.who, l->told);
}

static void end(struct uf_link *l)
{
    l->state = IDLE;
    l->ended = true;
    l->owner.ended(l->owner.who, *l->end_text ? l->end_text : NULL);
}

static void try_to_open(uv_timer_t *timer);

static void wait_for_next_try(struct uf_link *l)
{
    l->state = WAITING;
    bool round = l->stay || ++l->tried >= l->ports.count;
    if (round)
        l->tried = 0;
    uint64_t wait_ms = round ? uf_backoff_next(&l->backoff) : FIRST_WAIT_MS;
    uv_timer_start(&l->timer, try_to_open, wait_ms, 0);
}

static void try_to_open(uv_timer_t *timer)
{
    struct uf_link *l = timer->data;
    struct uf_error err = {0};
    l->state = OPENING;
    l->driver_state = NULL;
    int rc = uf_ports_next(&l->ports, l->s->device, l->stay, &err);
    l->stay = false;
    if (!rc && l->driver->open(l, &err) == UF_OK)
        return;
    if (l->driver->ends) {
        snprintf(l->end_text, sizeof l->end_text, "%s", err.text);
        end(l);
        return;
    }
    tell_failure(l, err.text);
    wait_for_next_try(l);
}

void uf_link_start(struct uf_link *l)
{
    assert(l->state == IDLE && !l->stopping);
    l->state = WAITING;
    uv_timer_start(&l->timer, try_to_open, 0, 0);
}

/* ---- closing ---- */

static void begin_close(struct uf_link *l)
{
    if (l->state == OPEN && uv_now(l->loop) - l->opened_ms >= GOOD_MS)
        uf_backoff_reset(&l->backoff);
    l->stay = l->state == OPEN && !l->disliked;
    l->disliked = false;
    l->state = CLOSING;
    l->driver->close(l);
}

static void stopped_later(uv_timer_t *timer)
{
    struct uf_link *l = timer->data;
    l->owner.stopped(l->owner.who);
}

void uf_link_stop(struct uf_link *l)
{
    if (l->stopping)
        return;
    l->stopping = true;
    uv_timer_stop(&l->timer);
    if (l->state == OPENING || l->state == OPEN) {
        begin_close(l);
    } else if (l->state != CLOSING) {
        l->state = IDLE;
        uv_timer_start(&l->timer, stopped_later, 0, 0);
    }
}

void uf_link_drop(struct uf_link *l, bool patiently, const char *sentence)
{
    if (l->state != OPEN)
        return;
    if (l->driver->ends)
        snprintf(l->end_text, sizeof l->end_text, "%s", sentence);
    l->disliked = true;
    begin_close(l);
    if (patiently)
        uf_backoff_slow(&l->backoff);
}

void uf_link_pause(struct uf_link *l, bool pause)
{
    if (l->driver->pause && (l->state == OPEN || l->state == OPENING))
        l->driver->pause(l, pause);
}

bool uf_link_is_open(const struct uf_link *l)
{
    return l->state == OPEN;
}

bool uf_link_is_replay(const struct uf_link *l)
{
    return l->driver->ends;
}

const char *uf_link_path(const struct uf_link *l)
{
    return *l->ports.path ? l->ports.path : l->s->device;
}

bool uf_link_has_others(const struct uf_link *l)
{
    return l->ports.count > 1;
}

const char *uf_link_name(const struct uf_link *l)
{
    return l->driver->name;
}

/* ---- for drivers ---- */

uv_loop_t *uf_link_loop(struct uf_link *l)
{
    return l->loop;
}

const struct uf_link_settings *uf_link_settings(const struct uf_link *l)
{
    return l->s;
}

void uf_link_set_state(struct uf_link *l, void *state)
{
    l->driver_state = state;
}

void *uf_link_state(const struct uf_link *l)
{
    return l->driver_state;
}

uint8_t *uf_link_buffer(struct uf_link *l)
{
    return l->buffer;
}

void uf_link_report_open(struct uf_link *l)
{
    l->state = OPEN;
    l->opened_ms = uv_now(l->loop);
    l->told[0] = '\0';
    l->owner.opened(l->owner.who);
}

bool uf_link_report_bytes(struct uf_link *l, const uint8_t *bytes, size_t n)
{
    if (l->state != OPEN)
        return false;
    l->owner.bytes(l->owner.who, bytes, n);
    return l->state == OPEN;
}

void uf_link_report_loss(struct uf_link *l, const char *format, ...)
{
    if (l->state != OPENING && l->state != OPEN)
        return;
    char sentence[480];
    va_list args;
    va_start(args, format);
    vsnprintf(sentence, sizeof sentence, format, args);
    va_end(args);
    if (l->driver->ends)
        memcpy(l->end_text, sentence, sizeof l->end_text);
    else if (l->state == OPEN)
        l->owner.lost(l->owner.who, sentence);
    else
        tell_failure(l, sentence);
    begin_close(l);
}

void uf_link_report_end(struct uf_link *l)
{
    if (l->state == OPEN)
        begin_close(l);
}

void uf_link_report_cut(struct uf_link *l, const char *sentence)
{
    l->owner.lost(l->owner.who, sentence);
    l->owner.opened(l->owner.who);
}

void uf_link_report_closed(struct uf_link *l)
{
    assert(l->state == CLOSING);
    l->driver_state = NULL;
    if (l->stopping) {
        l->state = IDLE;
        uv_timer_start(&l->timer, stopped_later, 0, 0);
    } else if (l->driver->ends) {
        end(l);
    } else {
        wait_for_next_try(l);
    }
}

int64_t uf_link_newest_dev_us(struct uf_link *l)
{
    return l->owner.newest_dev_us(l->owner.who);
}
