/* SPDX-License-Identifier: MIT
 * For the fuzz targets of the database: a folder with a database of a whole lesson, made once:
 * player, session, blocks, two swings (one with remarks, marks and other instruments' numbers), a
 * calibration in force, a zero, feet, a remembered mapping. All invented. */
#ifndef UF_TESTS_FUZZ_STUDIO_NEAR_H
#define UF_TESTS_FUZZ_STUDIO_NEAR_H

#include "fuzz.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "../unit/cli_run.h"
#include "../unit/stored_swing.h"

static struct place *studio_place;

static inline void studio_gone(void)
{
    place_free(studio_place);
}

/* With the words that come first: which settings, which database. */
static inline struct said studio_run(const char *config, const char *const *words)
{
    const char *all[40] = {"--config", config, "--database", studio_place->db};
    for (int i = 0; words[i]; i++)
        all[4 + i] = words[i];
    return run(all);
}

static inline void studio_do(const char *config, const char *const *words)
{
    struct said r = studio_run(config, words);
    if (r.rc)
        fprintf(stderr, "%s %s: %s\n", words[0], words[1] ? words[1] : "", r.err);
    REQUIRE(r.rc == 0);
    done(r);
}
#define STUDIO(...) studio_do(config, (const char *const[]){__VA_ARGS__, NULL})

/* A fifth of the hand-made swing's samples: whatever is done with it takes a fifth of the time. */
static inline struct uf_capture *short_swing(const struct uf_rig *rig, bool strike)
{
    struct uf_capture *c = make_swing(rig, 800, strike);
    c->board.rate_hz /= 5;
    c->samples /= 5;
    for (size_t i = 0; i < c->samples; i++) {
        c->offset_us[i] = c->offset_us[5 * i];
        c->inputs[i] = c->inputs[5 * i];
        memmove(c->counts_raw + 24 * i, c->counts_raw + 24 * 5 * i, 24 * sizeof *c->counts_raw);
    }
    return c;
}

/* *config: an empty file of settings beside it. */
static inline void studio_near(char config[96])
{
    struct studio t;
    struct uf_error err;
    setenv("TZ", "UTC", 1);
    studio_place = place_new();
    atexit(studio_gone);
    snprintf(config, 96, "%.64s/c.conf", studio_place->folder);
    FILE *f = fopen(config, "w");
    REQUIRE(f);
    fprintf(f, "[daemon]\ncontrol = %s/none\n[link]\ndevice = %s/none\n", studio_place->folder,
            studio_place->folder);
    fclose(f);
    struct uf_store *s = open_store(studio_place, UF_STORE_CREATE);
    studio_set_up(&t, s);
    struct uf_calibration cal = t.nominal;
    strcpy(cal.uuid, "01234567-89ab-4cde-8f01-23456789abcd");
    strcpy(cal.name, "spring");
    cal.nominal = false;
    int64_t id = 0;
    json_t *from = json_pack("{s:[{s:s, s:s}]}", "plates", "plate", "left", "taken_from", "x");
    REQUIRE(
        !uf_store_calibration_add(s, t.rig_id, &t.rig, &cal, from, 1772375000000000, &id, &err) &&
        !uf_store_calibration_activate(s, id, &err));
    json_decref(from);
    uf_store_close(s);
    STUDIO("player", "add", "A. N. Other", "--hand", "right");
    STUDIO("session", "start", "A. N. Other", "--note", "wind <from> the left");
    STUDIO("block", "start", "baseline");
    s = open_store(studio_place, UF_STORE_WRITE);
    t.session_id = 0;
    for (int i = 0; i < 2; i++) {
        struct uf_capture *c = short_swing(&t.rig, i == 0);
        struct uf_swing_meta meta = {.rig_id = t.rig_id,
                                     .calibration_id = id,
                                     .trigger_utc_us = 1772375400000000 + i * 60000000,
                                     .clock_drift_ppm = 12.5};
        struct uf_analysis *a;
        int64_t swing;
        REQUIRE(!uf_analyse(c, &t.rig, &cal, &t.settings, &a, &err) &&
                !uf_store_swing_add(s, &meta, c, a, meta.trigger_utc_us + 2000000, &swing, &err));
        uf_analysis_free(a);
        uf_capture_free(c);
    }
    REQUIRE(!uf_store_link_event(s, 1772375000000000, "hello", "board 1", &err));
    uf_store_close(s);
    STUDIO("swing", "comment", "1", "a good one");
    STUDIO("swing", "extra", "1", "club_speed", "101.5", "mph");
    STUDIO("swing", "star", "1");
    STUDIO("mark", "1", "--impact", "2.05");
    STUDIO("block", "start", "retest");
}

#endif
