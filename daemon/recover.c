/* SPDX-License-Identifier: MIT
 * Playing the spool: see recover.h. Owns one segment in memory at a time. */
#include "daemon/recover.h"

#include "base/bytes.h"
#include "base/clock.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAD_IN_S                                                                                  \
    60.0 /* played before the last CLEAR, so that the chain knows weight and stance                \
          */
#define CLOCKMAP_S 60.0

struct place {
    size_t segment; /* index in the list */
    size_t at;      /* behind the record */
};

struct recovery {
    const char *folder;
    const struct uf_config *config;
    const struct uf_store_start *start;
    void (*swing)(void *who, struct uf_job *job);
    void *who;
    struct uf_spool_segment *list;
    size_t n;
    uint8_t *bytes; /* of one segment */
    size_t loaded;

    bool has_clear;
    struct place clear; /* the last one */
    int64_t clear_utc_us, clear_mono_us;
    int64_t stored_id; /* newest swing in the database at that time */

    struct uf_pipeline *pipeline;
    struct uf_clockmap *clockmap;
    bool clock_fed, after_clear;
    struct uf_spool_state state;
    int64_t newest_dev_us;
    uint64_t chain; /* 1 for the first, in the upper half of each stand */
    struct uf_spool_record last;
    int64_t first_utc_us;
    int swings;
};

static int load(struct recovery *r, size_t segment, size_t most, struct uf_error *err)
{
    return uf_spool_load(r->folder, r->list[segment].number, r->bytes, most, &r->loaded, err);
}

/* ---- where to begin ---- */

/* The last CLEAR of the newest segment that has one. */
static int find_clear(struct recovery *r, struct uf_error *err)
{
    int rc = UF_OK;
    for (size_t i = r->n; rc == UF_OK && !r->has_clear && i-- > 0 && r->list[i].sequence > 0;) {
        size_t at = UF_SPOOL_HEADER_BYTES;
        struct uf_spool_record record;
        rc = load(r, i, UF_SPOOL_SEGMENT_BYTES, err);
        while (rc == UF_OK &&
               uf_spool_next(r->bytes, r->loaded, r->list[i].sequence, &at, &record)) {
            if (record.kind != UF_SPOOL_CLEAR || record.n != 8)
                continue;
            r->has_clear = true;
            r->clear = (struct place){i, at};
            r->clear_utc_us = record.utc_us;
            r->clear_mono_us = record.mono_us;
            r->stored_id = (int64_t)uf_get_u64(record.bytes);
        }
    }
    return rc;
}

/* The state that a segment begins with; false where it has none. */
static bool first_state(struct recovery *r, size_t segment, struct uf_spool_record *record,
                        struct uf_spool_state *state)
{
    struct uf_error err;
    size_t at = UF_SPOOL_HEADER_BYTES;
    return load(r, segment, UF_SPOOL_HEADER_BYTES + UF_SPOOL_RECORD_BYTES + UF_SPOOL_STATE_BYTES,
                &err) == UF_OK &&
           uf_spool_next(r->bytes, r->loaded, r->list[segment].sequence, &at, record) &&
           (record->kind == UF_SPOOL_STATE || record->kind == UF_SPOOL_START) &&
           uf_spool_get_state(record->bytes, record->n, state);
}

/* The segment to begin with: far enough before the CLEAR, and with a zero where there is one. */
static size_t first_segment(struct recovery *r)
{
    size_t i = r->has_clear ? r->clear.segment : 0;
    while (i < r->n && r->list[i].sequence == 0)
        i++;
    for (; r->has_clear && i > 0; i--) {
        struct uf_spool_record record;
        struct uf_spool_state state = {0};
        bool good = first_state(r, i, &record, &state);
        double lead_s = 1e-6 * (double)(r->clear_utc_us - r->list[i].utc_us);
        double mono_s = 1e-6 * (double)(r->clear_mono_us - record.mono_us);
        if (good && mono_s >= 0 && mono_s < lead_s) /* the wall clock was set forth in between */
            lead_s = mono_s;
        if (good && (record.kind == UF_SPOOL_START || (lead_s >= LEAD_IN_S && state.has_tare)))
            break;
        if (r->list[i - 1].sequence + 1 != r->list[i].sequence)
            break;
    }
    return i;
}

/* ---- playing ---- */

static int new_chain(struct recovery *r, struct uf_error *err)
{
    const struct uf_config *c = r->config;
    struct uf_pipeline_settings settings = c->pipeline;
    settings.hand = r->state.hand;
    uf_pipeline_free(r->pipeline);
    r->pipeline = NULL;
    r->chain += UINT64_C(1) << 32;
    r->newest_dev_us = -1;
    uf_clockmap_reset(r->clockmap);
    r->clock_fed = false;
    return uf_pipeline_new(&r->pipeline, &settings, &c->rig, &r->start->calibration,
                           r->state.has_tare ? r->state.tare_raw : NULL, err);
}

/* As the daemon does it when it is live (acquire.c), at the time of the record. */
static void take_capture(struct recovery *r, const struct uf_pipeline_event *event)
{
    struct uf_capture *capture = event->capture;
    bool swing = event->kind == UF_PIPE_SWING;
    struct uf_job *job = NULL;
    if (r->after_clear || !swing) /* feet of before hold for a swing behind */
        job = uf_job_new(swing ? UF_JOB_SWING : UF_JOB_ROCKING);
    if (!job) {
        uf_capture_free(capture); /* stored, by that CLEAR; or no memory, and the spool keeps it */
        return;
    }
    int64_t mono_us = 0;
    if (r->clock_fed) {
        (void)uf_clockmap_host_us(r->clockmap, capture->trigger_dev_us, &mono_us);
        job->utc_us = mono_us + (r->last.utc_us - r->last.mono_us);
    }
    job->capture = capture;
    job->stand = r->chain | event->stand;
    job->drift_ppm = uf_clockmap_drift_ppm(r->clockmap);
    job->calibration = r->start->calibration;
    job->calibration_id = r->start->calibration_id;
    job->maybe_stored = true;
    job->stored_after = r->stored_id;
    r->swings += swing;
    r->swing(r->who, job);
}

static void take_event(struct recovery *r, struct uf_pipeline_event *event)
{
    switch (event->kind) {
    case UF_PIPE_SAMPLE:
        r->newest_dev_us = event->t_dev_us;
        break;
    case UF_PIPE_SWING:
    case UF_PIPE_ROCKING:
        take_capture(r, event);
        break;
    case UF_PIPE_TARE:
        r->state.has_tare = true;
        r->state.tare_utc_us = r->last.utc_us;
        memcpy(r->state.tare_raw, event->tare.tare_raw, sizeof r->state.tare_raw);
        break;
    case UF_PIPE_HELLO:
        uf_clockmap_reset(r->clockmap);
        r->clock_fed = false;
        break;
    case UF_PIPE_NONE:
    case UF_PIPE_STANCE:
    case UF_PIPE_REFUSED:
    case UF_PIPE_STRIKE:
    case UF_PIPE_LONE_STRIKE:
    case UF_PIPE_NOTE:
    case UF_PIPE_PLATE:
    case UF_PIPE_ERROR: /* said again by the live chain */
        break;
    }
}

static void feed(struct recovery *r, const uint8_t *bytes, size_t n)
{
    struct uf_pipeline_event event = {0};
    struct uf_error err;
    int64_t before_dev_us = r->newest_dev_us;
    uint64_t reboots = uf_pipeline_counts(r->pipeline)->reboots;
    for (size_t at = 0; at < n || event.kind != UF_PIPE_NONE;) {
        event = (struct uf_pipeline_event){0};
        at += uf_pipeline_feed(r->pipeline, bytes + at, n - at, &event, &err);
        take_event(r, &event);
    }
    if (uf_pipeline_counts(r->pipeline)->reboots != reboots)
        uf_clockmap_reset(r->clockmap);
    if (r->newest_dev_us == before_dev_us)
        return;
    uf_clockmap_feed(r->clockmap, r->newest_dev_us, r->last.mono_us);
    r->clock_fed = true;
}

/* A swing that is long enough is one, although nothing follows. */
static void finish(struct recovery *r)
{
    struct uf_pipeline_event event;
    struct uf_error err;
    do {
        event = (struct uf_pipeline_event){0};
        uf_pipeline_finish(r->pipeline, &event, &err);
        take_event(r, &event);
    } while (event.kind != UF_PIPE_NONE);
}

static int take_record(struct recovery *r, const struct uf_spool_record *record,
                       struct uf_error *err)
{
    struct uf_spool_state state = {0};
    r->last = *record;
    r->last.bytes = NULL; /* the segment does not stay */
    if (!r->first_utc_us)
        r->first_utc_us = record->utc_us;
    switch (record->kind) {
    case UF_SPOOL_START:
    case UF_SPOOL_STATE:
        if (!uf_spool_get_state(record->bytes, record->n, &state))
            return UF_OK;
        if (r->pipeline && record->kind == UF_SPOOL_STATE) {
            r->state.hand = state.hand; /* the zero is found again by the chain itself */
            uf_pipeline_set_hand(r->pipeline, state.hand);
            return UF_OK;
        }
        if (r->pipeline)
            finish(r);
        r->state = state;
        return new_chain(r, err);
    case UF_SPOOL_BYTES:
        if (r->pipeline)
            feed(r, record->bytes, record->n);
        return UF_OK;
    case UF_SPOOL_CUT:
        if (r->pipeline)
            uf_pipeline_line_cut(r->pipeline);
        uf_clockmap_reset(r->clockmap);
        r->clock_fed = false;
        return UF_OK;
    case UF_SPOOL_ZERO:
        if (r->pipeline)
            uf_pipeline_request_tare(r->pipeline);
        return UF_OK;
    case UF_SPOOL_CLEAR:
    case UF_SPOOL_END:
    case UF_SPOOL_KINDS:
        break;
    }
    return UF_OK;
}

static int play(struct recovery *r, struct uf_error *err)
{
    int rc = UF_OK;
    for (size_t i = first_segment(r); rc == UF_OK && i < r->n; i++) {
        size_t at = UF_SPOOL_HEADER_BYTES;
        struct uf_spool_record record;
        rc = load(r, i, UF_SPOOL_SEGMENT_BYTES, err);
        while (rc == UF_OK &&
               uf_spool_next(r->bytes, r->loaded, r->list[i].sequence, &at, &record)) {
            r->after_clear = !r->has_clear || i > r->clear.segment ||
                             (i == r->clear.segment && at > r->clear.at);
            rc = take_record(r, &record, err);
        }
    }
    return rc;
}

/* Is there anything to do: bytes behind the last CLEAR, or a run that did not end in order, whose
 * chain may go on? */
static int anything_new(struct recovery *r, bool *news, struct uf_error *err)
{
    int rc = UF_OK;
    bool ended = false;
    *news = !r->has_clear && r->n > 0;
    for (size_t i = r->clear.segment; rc == UF_OK && r->has_clear && !*news && i < r->n; i++) {
        size_t at = i == r->clear.segment ? r->clear.at : UF_SPOOL_HEADER_BYTES;
        struct uf_spool_record record;
        rc = load(r, i, UF_SPOOL_SEGMENT_BYTES, err);
        while (rc == UF_OK && !*news &&
               uf_spool_next(r->bytes, r->loaded, r->list[i].sequence, &at, &record)) {
            *news = record.kind == UF_SPOOL_BYTES;
            ended = record.kind == UF_SPOOL_END;
        }
    }
    *news = *news || !ended;
    return rc;
}

/* Without a CLEAR the state of the oldest segment says what is stored. */
static void take_oldest_id(struct recovery *r)
{
    struct uf_spool_record record;
    struct uf_spool_state state;
    size_t oldest = first_segment(r);
    if (!r->has_clear && oldest < r->n && first_state(r, oldest, &record, &state))
        r->stored_id = state.stored_id;
}

/* The chain goes on, or ends here. */
static void hand_over(struct recovery *r, struct uf_past *past)
{
    if (!r->pipeline)
        return;
    double ago_s = 1e-6 * (double)(uf_clock_utc_us() - r->last.utc_us);
    if (r->last.kind == UF_SPOOL_END || ago_s < 0 || ago_s > UF_RECOVER_WARM_S) {
        finish(r);
        return;
    }
    past->pipeline = r->pipeline;
    past->state = r->state;
    past->state.stored_id = r->stored_id;
    past->newest_dev_us = r->newest_dev_us;
    past->chain = r->chain;
    r->pipeline = NULL;
}

int uf_recover(const char *folder, const struct uf_config *config,
               const struct uf_store_start *start, void (*swing)(void *who, struct uf_job *job),
               void *who, struct uf_past *past, struct uf_recovered *out, struct uf_error *err)
{
    struct recovery r = {
        .folder = folder, .config = config, .start = start, .swing = swing, .who = who};
    bool news = false;
    memset(past, 0, sizeof *past);
    memset(out, 0, sizeof *out);
    int rc = uf_spool_list(folder, &r.list, &r.n, err);
    if (rc || r.n == 0 || r.list[r.n - 1].sequence == 0)
        goto done;
    r.bytes = malloc(UF_SPOOL_SEGMENT_BYTES);
    rc = r.bytes ? uf_clockmap_new(&r.clockmap, CLOCKMAP_S, err)
                 : uf_fail(err, UF_ENOMEM, "no memory to play the spool");
    if (rc == UF_OK)
        rc = find_clear(&r, err);
    if (rc == UF_OK)
        rc = anything_new(&r, &news, err);
    if (rc == UF_OK && news) {
        take_oldest_id(&r);
        rc = play(&r, err);
        hand_over(&r, past);
        out->looked = true;
    }
done:
    out->swings = r.swings;
    out->stored_id = r.stored_id;
    out->span_s = fmax(0, 1e-6 * (double)(r.last.utc_us - r.first_utc_us));
    uf_pipeline_free(r.pipeline);
    uf_clockmap_free(r.clockmap);
    free(r.bytes);
    free(r.list);
    return rc;
}
