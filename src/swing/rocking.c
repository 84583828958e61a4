/* SPDX-License-Identifier: MIT
 * See rocking.h. The stream is averaged into bins of 20 ms. A run is a row of turning points of the
 * mean toe-ward place of both feet, each reached by both feet together, none late. Pure. */
#include "swing/rocking.h"

#include "swing/curves.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BIN_US       20000
#define PATH_HZ      50.0
#define FOOT_LEAST_N 80.0 /* each foot carries so much at least */
#define BACK_MM      25.0 /* a place is a turning point when the mean comes back by so much */
#define FOOT_LEAST_MM                                                                              \
    45.0                  /* each foot travels so far between two; so does the player who          \
                             does not go as far as he can */
#define WAY_PART     0.6  /* of the longest way of the run: a shorter one is none of it */
#define HALF_LEAST_S 0.25 /* time between two turning points, at least .. */
#define HALF_MOST_S  2.0  /* .. and at most */
#define TURNS_LEAST  5    /* of a run: two of either side, and one that is seen only half */
#define RUN_LEAST_S  3.6  /* from the first to the last; the lead-in and the end come to it */
#define RUN_MOST_S   8.0  /* then it is long enough */
#define LEAD_IN_S    0.4  /* before the first turning point: how it got there */
#define AFTER_S      0.35 /* .. and behind the last */

/* ---- in the stream ---- */

void uf_rocking_start(struct uf_rocking *r)
{
    memset(r, 0, sizeof *r);
    r->asked_dev_us = -1;
}

static void forget_run(struct uf_rocking *r)
{
    r->turns = 0;
    r->way = 0;
    r->seen = r->ended = false;
}

void uf_rocking_break(struct uf_rocking *r)
{
    forget_run(r);
    r->begun = false;
}

void uf_rocking_ask(struct uf_rocking *r)
{
    forget_run(r);
    r->ask = true;
}

bool uf_rocking_is_asked(const struct uf_rocking *r)
{
    return r->ask || r->asked_dev_us >= 0;
}

static double seconds(int64_t from_us, int64_t to_us)
{
    return 1e-6 * (double)(to_us - from_us);
}

static bool is_long_enough(const struct uf_rocking *r)
{
    return r->turns >= TURNS_LEAST && seconds(r->first_dev_us, r->last_dev_us) >= RUN_LEAST_S;
}

static double mean_mm(const double *place_mm)
{
    return 0.5 * (place_mm[0] + place_mm[1]);
}

/* A turning point, seen now: it goes on with the run, or begins another one. */
static void take_turn(struct uf_rocking *r, int64_t t_dev_us, const double *place_mm, int way)
{
    double half_s = seconds(r->last_dev_us, t_dev_us);
    bool goes_on = r->turns > 0 && half_s >= HALF_LEAST_S && half_s <= HALF_MOST_S;
    for (int foot = 0; goes_on && foot < UF_FEET; foot++)
        goes_on = way * (place_mm[foot] - r->turn_mm[foot]) >= FOOT_LEAST_MM;
    double way_mm = way * (mean_mm(place_mm) - mean_mm(r->turn_mm));
    if (r->turns > 1 && way_mm < WAY_PART * r->most_mm) /* to rest: the rocking is over */
        goes_on = false;
    if (!goes_on) {
        r->ended = is_long_enough(r);
        r->ended_first_dev_us = r->first_dev_us;
        r->ended_last_dev_us = r->last_dev_us;
        r->turns = 0;
        r->first_dev_us = t_dev_us;
        way_mm = 0;
    }
    r->most_mm = fmax(r->turns ? r->most_mm : 0, way_mm);
    r->turns++;
    r->last_dev_us = t_dev_us;
    memcpy(r->turn_mm, place_mm, sizeof r->turn_mm);
}

static void set_place(double *to_mm, int64_t *to_dev_us, const double *place_mm, int64_t t_dev_us)
{
    memcpy(to_mm, place_mm, sizeof(double) * UF_FEET);
    *to_dev_us = t_dev_us;
}

static void follow_place(struct uf_rocking *r, const double *place_mm, int64_t t_dev_us)
{
    double mean = mean_mm(place_mm);
    if (!r->seen || mean < mean_mm(r->lowest_mm))
        set_place(r->lowest_mm, &r->lowest_dev_us, place_mm, t_dev_us);
    if (!r->seen || mean > mean_mm(r->highest_mm))
        set_place(r->highest_mm, &r->highest_dev_us, place_mm, t_dev_us);
    r->seen = true;
    if (r->way >= 0 && mean < mean_mm(r->highest_mm) - BACK_MM) {
        if (r->way > 0)
            take_turn(r, r->highest_dev_us, r->highest_mm, 1);
        r->way = -1;
        set_place(r->lowest_mm, &r->lowest_dev_us, place_mm, t_dev_us);
    } else if (r->way <= 0 && mean > mean_mm(r->lowest_mm) + BACK_MM) {
        if (r->way < 0)
            take_turn(r, r->lowest_dev_us, r->lowest_mm, -1);
        r->way = 1;
        set_place(r->highest_mm, &r->highest_dev_us, place_mm, t_dev_us);
    }
}

/* Is there a run that has ended, or is long enough? */
static bool run_is_over(struct uf_rocking *r, int64_t now_dev_us)
{
    double since_s = seconds(r->last_dev_us, now_dev_us);
    double long_s = seconds(r->first_dev_us, r->last_dev_us);
    if (!r->ended && is_long_enough(r) &&
        (since_s > HALF_MOST_S || (long_s >= RUN_MOST_S && since_s >= AFTER_S))) {
        r->ended = true;
        r->ended_first_dev_us = r->first_dev_us;
        r->ended_last_dev_us = r->last_dev_us;
    }
    return r->ended;
}

static int64_t shifted(int64_t t_dev_us, double by_s)
{
    return t_dev_us + (int64_t)(1e6 * by_s);
}

static void add(struct uf_wrench *sum, const struct uf_wrench *w)
{
    sum->fx_n += w->fx_n;
    sum->fy_n += w->fy_n;
    sum->fz_n += w->fz_n;
    sum->mx_nm += w->mx_nm;
    sum->my_nm += w->my_nm;
    sum->mz_nm += w->mz_nm;
}

static struct uf_wrench divided(const struct uf_wrench *sum, double n)
{
    return (struct uf_wrench){sum->fx_n / n,  sum->fy_n / n,  sum->fz_n / n,
                              sum->mx_nm / n, sum->my_nm / n, sum->mz_nm / n};
}

static bool follow_bin(struct uf_rocking *r, const struct uf_rig *rig,
                       struct uf_rocking_stretch *out)
{
    double place_mm[UF_FEET];
    bool stands = true;
    int64_t now_dev_us = r->bin_from_dev_us + BIN_US / 2;
    for (int p = 0; p < UF_FEET; p++) {
        struct uf_ground g;
        const struct uf_wrench w = divided(&r->sum[p], r->in_bin);
        uf_ground_of(&rig->plate[p], &w, FOOT_LEAST_N, &g);
        place_mm[p] = g.cop_y_mm;
        stands = stands && !isnan(g.cop_y_mm);
    }
    if (!stands)
        forget_run(r);
    else
        follow_place(r, place_mm, now_dev_us);
    if (run_is_over(r, now_dev_us)) {
        *out = (struct uf_rocking_stretch){shifted(r->ended_first_dev_us, -LEAD_IN_S),
                                           shifted(r->ended_last_dev_us, AFTER_S),
                                           r->asked_dev_us >= 0};
        int64_t earliest = shifted(now_dev_us, -UF_ROCKING_LONGEST_S);
        if (out->from_dev_us < earliest)
            out->from_dev_us = earliest;
        forget_run(r);
        r->asked_dev_us = -1;
        return true;
    }
    if (r->asked_dev_us < 0 || seconds(r->asked_dev_us, now_dev_us) < UF_ROCKING_ASKED_S)
        return false;
    *out =
        (struct uf_rocking_stretch){shifted(now_dev_us, -UF_ROCKING_LONGEST_S), now_dev_us, true};
    forget_run(r);
    r->asked_dev_us = -1;
    return true;
}

bool uf_rocking_feed(struct uf_rocking *r, const struct uf_rig *rig, const struct uf_wrench *wrench,
                     int64_t t_dev_us, struct uf_rocking_stretch *out)
{
    bool found = false;
    if (rig->plates != 2)
        return false;
    if (r->ask) {
        r->ask = false;
        r->asked_dev_us = t_dev_us;
    }
    if (r->asked_dev_us > t_dev_us) /* the board has begun anew */
        r->asked_dev_us = t_dev_us;
    if (r->begun && t_dev_us >= r->bin_from_dev_us + BIN_US) {
        found = follow_bin(r, rig, out);
        r->begun = false;
    }
    if (!r->begun) {
        r->begun = true;
        r->bin_from_dev_us = t_dev_us;
        r->in_bin = 0;
        memset(r->sum, 0, sizeof r->sum);
    }
    for (int p = 0; p < UF_FEET; p++)
        add(&r->sum[p], &wrench[p]);
    r->in_bin++;
    return found;
}

/* ---- the feet ---- */

/* Paths of both feet on even times: [foot][target-ward, toe-ward]. */
struct paths {
    size_t n;
    double *value[UF_FEET][2];
    double *memory;
};

static int paths_new(struct paths *p, size_t n, struct uf_error *err)
{
    p->n = n;
    p->memory = malloc(sizeof(double) * n * 2 * UF_FEET);
    if (!p->memory)
        return uf_fail(err, UF_ENOMEM, "no memory to look for the feet");
    for (size_t i = 0; i < 2 * UF_FEET; i++)
        p->value[i / 2][i % 2] = p->memory + i * n;
    return UF_OK;
}

/* Means over each PATH_HZ-th of a second, of forces and moments; a bin without a sample is a gap.
 */
static void fill_paths(const struct uf_capture *c, const struct uf_rig *rig,
                       const struct uf_calibration *cal, enum uf_hand hand, struct paths *p)
{
    double s = hand == UF_RIGHT_HANDED ? -1 : 1;
    size_t at = 0;
    for (size_t bin = 0; bin < p->n; bin++) {
        struct uf_wrench sum[UF_FEET];
        memset(sum, 0, sizeof sum);
        size_t from = at;
        double until_us = 1e6 * (double)(bin + 1) / PATH_HZ;
        for (; at < c->samples && c->offset_us[at] < until_us; at++)
            for (int foot = 0; foot < UF_FEET; foot++) {
                struct uf_wrench w;
                uf_wrench_of(&cal->plate[uf_plate_under(hand, foot)],
                             c->counts_raw + at * c->board.channels, c->tare_raw, c->board.channels,
                             &w);
                add(&sum[foot], &w);
            }
        for (int foot = 0; foot < UF_FEET; foot++) {
            const struct uf_wrench mean = divided(&sum[foot], fmax(1, (double)(at - from)));
            struct uf_ground g = {.cop_x_mm = NAN, .cop_y_mm = NAN};
            if (at > from)
                uf_ground_of(&rig->plate[uf_plate_under(hand, foot)], &mean, FOOT_LEAST_N, &g);
            p->value[foot][0][bin] = s * g.cop_x_mm;
            p->value[foot][1][bin] = g.cop_y_mm;
        }
    }
}

int uf_rocking_find(const struct uf_capture *c, const struct uf_rig *rig,
                    const struct uf_calibration *cal, const struct uf_foot_person *who,
                    enum uf_hand hand, struct uf_feet *out, struct uf_error *err)
{
    struct paths paths = {.n = 0};
    memset(out, 0, sizeof *out);
    if (rig->plates != 2)
        return uf_fail(err, UF_EINVAL,
                       "feet are found on two plates only, and the rig \"%s\" has one", rig->name);
    if (rig->channels > c->board.channels)
        return uf_fail(err, UF_EINVAL,
                       "the rocking has %d channels and the rig \"%s\" maps channel %d: it was "
                       "captured with another rig",
                       c->board.channels, rig->name, rig->channels - 1);
    size_t n = (size_t)(1e-6 * (double)c->offset_us[c->samples - 1] * PATH_HZ);
    int rc = paths_new(&paths, n ? n : 1, err);
    if (rc)
        return rc;
    fill_paths(c, rig, cal, hand, &paths);
    out->hand = hand;
    for (int foot = 0; foot < UF_FEET; foot++) {
        struct uf_foot_path path = {n, PATH_HZ, paths.value[foot][0], paths.value[foot][1]};
        struct uf_foot_ground ground =
            uf_foot_ground_of(&rig->plate[uf_plate_under(hand, foot)], hand);
        out->state[foot] = uf_foot_find(&path, (enum uf_foot)foot, who, &ground, &out->pose[foot]);
    }
    free(paths.memory);
    return UF_OK;
}

bool uf_rocking_counts(const struct uf_feet *feet)
{
    for (int foot = 0; foot < UF_FEET; foot++)
        if (feet->state[foot] != UF_FOOT_SHORT && feet->state[foot] != UF_FOOT_STILL &&
            feet->state[foot] != UF_FOOT_CROOKED)
            return true;
    return false;
}
