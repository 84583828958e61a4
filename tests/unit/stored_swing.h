/* SPDX-License-Identifier: MIT
 * For tests: a temporary folder with a database in it, and a hand-made swing to store. The golfer
 * and all numbers are invented. */
#ifndef UF_TESTS_STORED_SWING_H
#define UF_TESTS_STORED_SWING_H

#include "load.h"
#include "store/store.h"
#include "store/swings.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct place {
    char folder[64], db[96];
};

static inline struct place *place_new(void)
{
    struct place *p = calloc(1, sizeof *p);
    /* in memory where there is such a place: hundreds of synced commits */
    snprintf(p->folder, sizeof p->folder, "%s/underfoot-test-XXXXXX",
             access("/dev/shm", W_OK) ? "/tmp" : "/dev/shm");
    assert_non_null(mkdtemp(p->folder));
    snprintf(p->db, sizeof p->db, "%s/underfoot.db", p->folder);
    return p;
}

static inline void place_free(struct place *p)
{
    DIR *d = opendir(p->folder);
    for (struct dirent *e; d && (e = readdir(d));) {
        char path[400];
        snprintf(path, sizeof path, "%s/%s", p->folder, e->d_name);
        unlink(path);
    }
    closedir(d);
    rmdir(p->folder);
    free(p);
}

static inline struct uf_store *open_store(const struct place *p, enum uf_store_mode mode)
{
    struct uf_store *s;
    struct uf_error err;
    if (uf_store_open(&s, p->db, mode, &err))
        fail_msg("%s", err.text);
    return s;
}

/* For cmocka: *state is a place, without anything or with an empty database of ours. */
static inline int place_set_up(void **state)
{
    *state = place_new();
    return 0;
}

static inline int empty_set_up(void **state)
{
    struct place *p = place_new();
    uf_store_close(open_store(p, UF_STORE_CREATE));
    *state = p;
    return 0;
}

static inline int place_tear_down(void **state)
{
    place_free(*state);
    return 0;
}

/* The number that one statement gives. */
static inline int64_t number(struct uf_store *s, const char *sql)
{
    sqlite3_stmt *q;
    if (sqlite3_prepare_v2(uf_store_db(s), sql, -1, &q, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(uf_store_db(s)));
    assert_int_equal(sqlite3_step(q), SQLITE_ROW);
    int64_t v = sqlite3_column_int64(q, 0);
    sqlite3_finalize(q);
    return v;
}

static inline void run_sql(struct uf_store *s, const char *sql)
{
    if (sqlite3_exec(uf_store_db(s), sql, NULL, NULL, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(uf_store_db(s)));
}

/* Few: what these tests take is by the sample. */
enum { SWING_RATE_HZ = 250, SWING_SAMPLES = 4 * SWING_RATE_HZ };

/* Four seconds of a right-handed golfer of weight_n: quiet, a pulse under the lead foot
 * and a dip under the trail foot at 2 s, quiet; impact at 2.05 s when strike is set. */
static inline struct uf_capture *make_swing(const struct uf_rig *rig, double weight_n, bool strike)
{
    struct uf_hello board = {.protocol = 1,
                             .channels = 24,
                             .adc_bits = 24,
                             .rate_hz = SWING_RATE_HZ,
                             .firmware = 7,
                             .board_id = {1, 2, 3, 4, 5, 6, 7, 0xab}};
    struct uf_capture *c;
    assert_int_equal(uf_capture_new(&c, &board, SWING_SAMPLES, NULL), 0);
    c->start_dev_us = 5000000;
    c->trigger_dev_us = c->start_dev_us + 1960000;
    c->ended_still = c->quiet_known = true;
    c->quiet_from_dev_us = c->start_dev_us;
    c->quiet_to_dev_us = c->start_dev_us + 1000000;
    for (int ch = 0; ch < 24; ch++)
        c->tare_raw[ch] = 1000.25 * (ch % 5) - 1500;
    uint32_t noise = 12345;
    for (int i = 0; i < SWING_SAMPLES; i++) {
        int32_t *counts = c->counts_raw + (size_t)i * 24;
        double t_s = (double)i / SWING_RATE_HZ, u = (t_s - 2) / 0.06, pulse = exp(-0.5 * u * u);
        put_load(&rig->plate[0], -60 * pulse, -120 * pulse, weight_n / 2 + 560 * pulse, -20, 35, 0,
                 c->tare_raw, counts);
        put_load(&rig->plate[1], -20 * pulse, 110 * pulse, weight_n / 2 - 240 * pulse, 15, -40, 0,
                 c->tare_raw, counts);
        for (int ch = 0; ch < 24; ch++) { /* a real converter never stands still */
            noise = noise * 1664525u + 1013904223u;
            counts[ch] += (int32_t)(noise >> 30) - 1;
        }
        c->offset_us[i] = (uint32_t)(i * (1000000 / SWING_RATE_HZ));
        c->inputs[i] = strike && t_s >= 2.05 && t_s < 2.058 ? UF_INPUT_STRIKE : 0;
    }
    for (int ch = 0; ch < 24; ch++)
        c->quiet_raw[ch] = c->counts_raw[ch] + 0.5;
    return c;
}

/* What a store needs around swings. */
struct studio {
    struct uf_rig rig;
    struct uf_calibration nominal;
    struct uf_analysis_settings settings;
    int64_t rig_id, session_id;
};

static inline void studio_set_up(struct studio *t, struct uf_store *s)
{
    uf_rig_example(&t->rig);
    uf_calibration_nominal(&t->rig, &t->nominal);
    uf_analysis_defaults(&t->settings);
    struct uf_error err;
    if (uf_store_rig(s, &t->rig, &t->rig_id, &err) ||
        uf_store_session_open(s, t->rig_id, 1000000, &t->session_id, &err))
        fail_msg("%s", err.text);
}

/* Analyses and stores; the time is that of the trigger in s since 1970. */
static inline int add_capture(const struct studio *t, struct uf_store *s,
                              const struct uf_capture *c, const struct uf_calibration *cal,
                              int64_t calibration_id, double time_s, int64_t *id,
                              struct uf_error *err)
{
    struct uf_swing_meta meta = {.session_id = t->session_id,
                                 .rig_id = t->rig_id,
                                 .calibration_id = calibration_id,
                                 .trigger_utc_us = (int64_t)(1e6 * time_s),
                                 .clock_drift_ppm = 12.5};
    struct uf_analysis *a;
    int rc = uf_analyse(c, &t->rig, cal, &t->settings, &a, err);
    if (rc)
        return rc;
    rc = uf_store_swing_add(s, &meta, c, a, (int64_t)(1e6 * time_s) + 2000000, id, err);
    uf_analysis_free(a);
    return rc;
}

static inline int64_t add_swing(const struct studio *t, struct uf_store *s, double weight_n,
                                bool strike, double time_s)
{
    struct uf_capture *c = make_swing(&t->rig, weight_n, strike);
    int64_t id = 0;
    struct uf_error err;
    if (add_capture(t, s, c, &t->nominal, 0, time_s, &id, &err))
        fail_msg("%s", err.text);
    uf_capture_free(c);
    return id;
}

#endif
