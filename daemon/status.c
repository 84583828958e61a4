/* SPDX-License-Identifier: MIT
 * The daemon's state as JSON and as a line: see status.h. */
#include "daemon/status.h"

#include "base/clock.h"
#include "daemon/page.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Takes value; false without memory. */
static bool put(json_t *object, const char *key, json_t *value)
{
    return json_object_set_new(object, key, value) == 0;
}

static json_t *number(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

static json_t *whole(uint64_t v)
{
    return json_integer((json_int_t)v);
}

static json_t *id_or_null(int64_t id)
{
    return id > 0 ? json_integer(id) : json_null();
}

static uint64_t bad_of(const struct uf_wire_counts *c)
{
    return c->bad_cobs + c->bad_crc + c->bad_length + c->bad_field + c->too_long;
}

static json_t *board_id(const struct uf_acquire_status *a)
{
    char id[17];
    if (!a->greeted)
        return json_null();
    for (size_t i = 0; i < sizeof a->hello.board_id; i++)
        snprintf(id + 2 * i, 3, "%02x", a->hello.board_id[i]);
    return json_string(id);
}

/* One row a counter. */
static json_t *counters_json(const struct uf_status_sources *s, const struct uf_acquire_status *a,
                             const struct uf_store_status *store)
{
    struct uf_control_counts control = {0};
    struct uf_recorder_status recorder = {0};
    struct uf_server_counts page = {0};
    int page_clients = 0;
    if (s->control)
        uf_control_counts(s->control, &control);
    if (s->recorder)
        uf_recorder_status(s->recorder, &recorder);
    if (s->page)
        uf_page_counts(s->page, &page, &page_clients);
    const struct uf_wire_counts *w = &a->counts;
    const struct {
        const char *name;
        uint64_t value;
    } rows[] = {
        {"bytes", w->bytes},
        {"hellos", w->hellos},
        {"notes", w->notes},
        {"duplicates", w->duplicates},
        {"reboots", w->reboots},
        {"bad_cobs", w->bad_cobs},
        {"bad_crc", w->bad_crc},
        {"bad_length", w->bad_length},
        {"bad_field", w->bad_field},
        {"too_long", w->too_long},
        {"unknown_type", w->unknown_type},
        {"unknown_protocol", w->unknown_protocol},
        {"before_hello", w->before_hello},
        {"unknown_bytes", a->unknown_bytes},
        {"boards_refused", a->boards_refused},
        {"samples_at_rail", a->doubts.rail},
        {"samples_overrun", a->doubts.overrun},
        {"samples_excitation", a->doubts.excitation},
        {"link_losses", a->link_losses},
        {"strikes", a->strikes},
        {"lone_strikes", a->lone_strikes},
        {"swings_found", a->swings},
        {"notes_hushed", a->notes_hushed},
        {"loop_stalls", s->loop_stalls},
        {"loop_latest_ms", s->loop_latest_ms},
        {"store_retries", store->retries},
        {"store_swings_lost", store->lost},
        {"store_notes_lost", store->notes_lost},
        {"store_most_waiting", (uint64_t)store->most_waiting},
        {"recorded_bytes", recorder.written},
        {"record_lost_bytes", recorder.lost},
        {"control_questions", control.questions},
        {"control_bad_questions", control.bad_questions},
        {"control_turned_away", control.turned_away},
        {"control_made_room", control.made_room},
        {"control_cut_off", control.cut_off},
        {"page_clients", (uint64_t)page_clients},
        {"page_connections", page.connections},
        {"page_requests", page.requests},
        {"page_refused_requests", page.refused_requests},
        {"page_refused_upgrades", page.refused_upgrades},
        {"page_turned_away", page.turned_away},
        {"page_cut_off", page.cut_off},
        {"page_bad_questions", page.bad_questions},
        {"page_live_skipped", page.live_skipped},
    };
    json_t *o = json_object();
    bool good = o != NULL;
    for (size_t i = 0; good && i < sizeof rows / sizeof rows[0]; i++)
        good = put(o, rows[i].name, whole(rows[i].value));
    json_t *refused = json_object();
    for (int r = UF_REFUSE_NONE + 1; good && r < UF_REFUSALS; r++)
        good = put(refused, uf_refusal_name((enum uf_refusal)r), whole(a->refused[r]));
    if (good)
        good = put(o, "not_swings", refused);
    else
        json_decref(refused);
    if (good)
        return o;
    json_decref(o);
    return NULL;
}

static json_t *live_json(const struct uf_status_sources *s, const struct uf_live *live)
{
    json_t *o = json_object();
    bool good = o != NULL;
    for (int p = 0; good && p < s->config->rig.plates; p++) {
        const char *place = uf_place_name(s->config->rig.plate[p].place);
        const struct uf_ground *g = &live->ground[p];
        const struct {
            const char *unit;
            double value;
        } rows[] = {{"n", g->fz_n}, {"cop_x_mm", g->cop_x_mm}, {"cop_y_mm", g->cop_y_mm}};
        for (size_t i = 0; good && i < sizeof rows / sizeof rows[0]; i++) {
            char key[40];
            snprintf(key, sizeof key, "%s_%s", place, rows[i].unit);
            good = put(o, key, number(live->tared ? rows[i].value : (double)NAN));
        }
    }
    const struct uf_both *b = &live->both;
    const struct {
        const char *key;
        double value;
    } rows[] = {{"total_n", b->fz_n},      {"fx_n", b->fx_n},         {"fy_n", b->fy_n},
                {"cop_x_mm", b->cop_x_mm}, {"cop_y_mm", b->cop_y_mm}, {"turn_nm", b->turn_nm}};
    for (size_t i = 0; good && i < sizeof rows / sizeof rows[0]; i++)
        good = put(o, rows[i].key, number(live->tared ? rows[i].value : (double)NAN));
    if (good)
        return o;
    json_decref(o);
    return NULL;
}

static json_t *check_json(const struct uf_rig_health *h, int plate)
{
    const struct uf_check_day *c = &h->check[plate];
    if (!h->checked[plate])
        return json_null();
    return json_pack("{s:I, s:b, s:o, s:o}", "utc_us", (json_int_t)c->at_utc_us, "passed",
                     c->passed, "vertical_error_pct", number(c->vertical_error_pct),
                     "place_error_mm", number(c->place_error_mm));
}

/* An entry a plate. state: the watch over what no load can make; null: not watched. empty_n: what
 * an empty plate shows now; null: not empty, or no zero. */
static json_t *plates_json(const struct uf_status_sources *s, const struct uf_acquire_status *a,
                           const struct uf_rig_health *health)
{
    const struct uf_monitor *m = a->monitor;
    bool empty = a->live->tared && a->live->stance == UF_STANCE_EMPTY && a->state == UF_RECEIVING;
    json_t *out = json_array();
    for (int p = 0; p < m->plates; p++) {
        const struct uf_monitor_plate *w = &m->plate[p];
        const struct uf_plate *plate = &s->config->rig.plate[p];
        const char *state = !w->watched ? NULL : w->suspect ? "suspect" : "ok";
        json_t *entry = json_pack(
            "{s:s, s:s?, s:s?, s:o, s:o, s:o, s:o, s:o, s:o}", "plate", uf_place_name(plate->place),
            "state", state, "cell", w->suspect ? plate->cell[w->cell].name : NULL, "left_n",
            number(w->left_n), "limit_n", number(w->limit_n), "empty_n",
            number(empty ? a->live->ground[p].fz_n : (double)NAN), "drift_n", number(a->drift_n[p]),
            "total_drift_n", number(a->total_drift_n[p]), "check", check_json(health, p));
        if (json_array_append_new(out, entry) != 0) {
            json_decref(out);
            return NULL;
        }
    }
    return out;
}

static json_t *calibration_json(const struct uf_calibration *c, const struct uf_rig_health *health)
{
    return json_pack("{s:s, s:s, s:b, s:o}", "name", c->name, "uuid", c->uuid, "nominal",
                     c->nominal, "made_utc_us",
                     id_or_null(c->nominal ? 0 : health->calibrated_utc_us));
}

static json_t *text_or_null(const char *text)
{
    return *text ? json_string(text) : json_null();
}

static json_t *block_json(const struct uf_lesson_about *l)
{
    const struct uf_block *b = &l->block;
    if (b->id == 0)
        return json_null();
    return json_pack("{s:I, s:s, s:o, s:o, s:o, s:I, s:I}", "id", (json_int_t)b->id, "kind",
                     b->kind, "ball", b->ball < 0 ? json_null() : json_boolean(b->ball), "club",
                     text_or_null(b->club), "note", text_or_null(b->note), "started_utc_us",
                     (json_int_t)b->started_utc_us, "swings", (json_int_t)l->block_swings);
}

/* Where the next swing goes; null: into a session that is made for it. */
static json_t *lesson_json(const struct uf_lesson_about *l)
{
    const struct uf_lesson *n = &l->now;
    if (n->session_id == 0)
        return json_null();
    const char *hand = n->hand == UF_LEFT_HANDED ? "left" : "right";
    return json_pack("{s:I, s:o, s:o, s:s?, s:o, s:I, s:I, s:o}", "session",
                     (json_int_t)n->session_id, "player_id", id_or_null(n->player_id), "player",
                     text_or_null(l->player), "hand", n->player_id ? hand : NULL, "cautions",
                     text_or_null(l->cautions), "started_utc_us", (json_int_t)l->started_utc_us,
                     "swings", (json_int_t)l->swings, "block", block_json(l));
}

static json_t *recording_json(const struct uf_status_sources *s)
{
    struct uf_recorder_status r;
    if (!s->recorder)
        return json_null();
    uf_recorder_status(s->recorder, &r);
    return json_pack("{s:s, s:b, s:s}", "file", s->config->daemon.record, "failing", r.failing,
                     "problem", r.problem);
}

static json_t *spool_json(const struct uf_status_sources *s)
{
    struct uf_spool_status p = {.failing = true};
    if (s->spool)
        uf_spool_status(s->spool, &p);
    else if (*s->no_spool)
        memcpy(p.problem, s->no_spool, sizeof p.problem);
    else
        return json_null();
    return json_pack("{s:b, s:s, s:I, s:I, s:i}", "failing", p.failing, "problem", p.problem,
                     "bytes", (json_int_t)p.written, "lost_bytes", (json_int_t)p.lost, "segments",
                     p.segments);
}

json_t *uf_status_json(const struct uf_status_sources *s)
{
    struct uf_acquire_status a;
    struct uf_store_status store;
    uf_acquire_status(s->acquire, &a);
    uf_store_thread_status(s->store, &store);
    const struct {
        const char *key;
        json_t *value;
    } rows[] = {
        {"state", json_string(uf_acquire_state_name(a.state))},
        {"state_text", json_string(a.text)},
        {"stopping", json_boolean(s->stopping)},
        {"link", json_string(uf_link_name(s->link))},
        {"device", json_string(uf_link_path(s->link))},
        {"board_id", board_id(&a)},
        {"firmware", a.greeted ? json_integer(a.hello.firmware) : json_null()},
        {"channels", a.greeted ? json_integer(a.hello.channels) : json_null()},
        {"rate_hz", a.greeted ? json_integer(a.hello.rate_hz) : json_null()},
        {"measured_rate_hz", number(a.measured_rate_hz)},
        {"drift_ppm", number(a.drift_ppm)},
        {"clock_step_ms",
         number(a.doubts.clock_step_ms > 0 ? a.doubts.clock_step_ms : (double)NAN)},
        {"samples", whole(a.counts.samples)},
        {"lost", whole(a.counts.lost)},
        {"bad", whole(bad_of(&a.counts))},
        {"counters", counters_json(s, &a, &store)},
        {"stance", a.live->tared ? json_string(uf_stance_name(a.live->stance)) : json_null()},
        {"weight_n", number(a.live->weight_n)},
        {"hand", json_string(a.hand == UF_LEFT_HANDED ? "left" : "right")},
        {"tared", json_boolean(a.live->tared)},
        {"tare_age_s", number(a.tare_age_s)},
        {"calibration", calibration_json(a.calibration, &store.health)},
        {"database", json_string(s->config->daemon.database)},
        {"session", id_or_null(store.lesson.now.session_id)},
        {"lesson", lesson_json(&store.lesson)},
        {"swings_stored", whole(store.stored)},
        {"last_swing", id_or_null(store.last_swing_id)},
        {"last_swing_utc_us", id_or_null(store.last_swing_utc_us)},
        {"queue", json_integer(store.waiting)},
        {"queue_limit", json_integer(store.limit)},
        {"queue_bytes", whole(store.waiting_bytes)},
        {"store_state", json_string(uf_store_state_name(store.state))},
        {"store_problem", *store.problem ? json_string(store.problem) : json_null()},
        {"recording", recording_json(s)},
        {"spool", spool_json(s)},
        {"uptime_s", number(1e-6 * (double)(uf_clock_mono_us() - s->started_mono_us))},
        {"version", json_string(UF_VERSION)},
        {"page_port", s->page ? json_integer(uf_page_port(s->page)) : json_null()},
        {"live", live_json(s, a.live)},
        {"feet", uf_feet_state_json(a.feet, a.feet_asked, a.feet_now)},
        {"plates", plates_json(s, &a, &store.health)},
    };
    json_t *o = json_object();
    bool good = o != NULL;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        good = put(o, rows[i].key, rows[i].value) && good;
    if (good)
        return o;
    json_decref(o);
    return NULL;
}

void uf_status_line(const struct uf_status_sources *s, char *text, size_t size)
{
    struct uf_acquire_status a;
    struct uf_store_status store;
    uf_acquire_status(s->acquire, &a);
    uf_store_thread_status(s->store, &store);
    int n = snprintf(text, size, "%s%s: %s; %llu swing%s stored", s->stopping ? "stopping, " : "",
                     uf_acquire_state_name(a.state), a.text, (unsigned long long)store.stored,
                     store.stored == 1 ? "" : "s");
    if (n > 0 && (size_t)n < size && store.state != UF_STORE_OK)
        snprintf(text + n, size - (size_t)n, ", store %s, %d waiting",
                 uf_store_state_name(store.state), store.waiting);
}
