/* SPDX-License-Identifier: MIT
 * A lesson played sample by sample: plans all acts when it begins, then walks through them. Owns
 * the plan and the plates. Everything is computed in the golfer's frame and mirrored at the very
 * end, so a left-handed golfer is the mirror image of a right-handed one to the last bit. Pure. */
#include "sim/hardware.h"
#include "sim/plan.h"
#include "sim/truth.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STRIKE_S    0.004 /* the strike bit stays up so long */
#define COP_LEAST_N 1.0   /* below it the sample's COP does not exist */

struct uf_sim {
    struct uf_sim_settings s;
    struct body body;
    struct hardware hardware;
    struct sway sway, truth_sway; /* the second is asked at other times */
    int plate[FEET];              /* index of the plate under the lead and the trail foot */
    double side;                  /* x = side * target-ward */
    struct planned *act;
    size_t acts, now;
    struct term *term;
    uint64_t count; /* samples given out */
    double period_s;
};

void uf_sim_defaults(struct uf_sim_settings *s)
{
    *s = (struct uf_sim_settings){.golfer = {.seed = 1,
                                             .mass_kg = 78,
                                             .height_m = 1.78,
                                             .hand = UF_RIGHT_HANDED,
                                             .skill = 0.7,
                                             .speed = 0.6,
                                             .style = UF_SIM_TURNER,
                                             .g_m_s2 = 9.81},
                                  .rate_hz = 1000,
                                  .adc_bits = 24,
                                  .noise_n = 0.15,
                                  .drift_n_per_h = 1,
                                  .gain_spread = 0.01,
                                  .crosstalk = 0.01,
                                  .seed = 1};
    uf_rig_example(&s->rig);
}

struct range {
    const char *name;
    double value, lo, hi;
};

static int check(struct uf_sim_settings *s, struct uf_error *err)
{
    const struct uf_sim_golfer *g = &s->golfer;
    const struct range ranges[] = {
        {"the mass of the golfer (kg)", g->mass_kg, 20, 250},
        {"the height of the golfer (m)", g->height_m, 1.0, 2.3},
        {"the skill of the golfer", g->skill, 0, 1},
        {"the speed of the golfer", g->speed, 0, 1},
        {"gravity (m/s2)", g->g_m_s2, 9.7, 9.9},
        {"the rate of samples (Hz)", s->rate_hz, 20, 20000},
        {"the bits of the converter", s->adc_bits, 16, 24},
        {"the noise (N)", s->noise_n, 0, 1000},
        {"the drift (N an hour)", s->drift_n_per_h, 0, 10000},
        {"the spread of gains", s->gain_spread, 0, 0.2},
        {"the cross-talk", s->crosstalk, 0, 0.2},
        {"the error of the clock (ppm)", s->clock_ppm, -10000, 10000},
    };
    for (size_t i = 0; i < sizeof ranges / sizeof ranges[0]; i++)
        if (!(ranges[i].value >= ranges[i].lo && ranges[i].value <= ranges[i].hi))
            return uf_fail(err, UF_EINVAL, "%s is %g: it must be from %g to %g", ranges[i].name,
                           ranges[i].value, ranges[i].lo, ranges[i].hi);
    if ((unsigned)g->style >= UF_SIM_STYLES || (unsigned)g->hand > UF_LEFT_HANDED)
        return uf_fail(err, UF_EINVAL, "the golfer's style or hand is not a known one");
    return uf_rig_check(&s->rig, err);
}

/* ---- planning ---- */

/* on_before: 1 somebody must be on the plates, 0 nobody, -1 either. */
struct act_row {
    uf_sim_planner *planner;
    int on_before;
};

static const struct act_row act_rows[UF_SIM_ACTS] = {
    [UF_SIM_EMPTY] = {uf_sim_plan_empty, 0},
    [UF_SIM_WALK_ON] = {uf_sim_plan_walk_on, 0},
    [UF_SIM_STAND] = {uf_sim_plan_stand, 1},
    [UF_SIM_ADDRESS] = {uf_sim_plan_address, 1},
    [UF_SIM_BALL] = {uf_sim_plan_ball, 1},
    [UF_SIM_NO_BALL] = {uf_sim_plan_no_ball, 1},
    [UF_SIM_WAGGLE] = {uf_sim_plan_waggle, 1},
    [UF_SIM_HALF] = {uf_sim_plan_half, 1},
    [UF_SIM_ROCK] = {uf_sim_plan_rock, 1},
    [UF_SIM_SWAY] = {uf_sim_plan_sway, 1},
    [UF_SIM_TEE_UP] = {uf_sim_plan_tee_up, 1},
    [UF_SIM_JUMP] = {uf_sim_plan_jump, 1},
    [UF_SIM_STEP_DRILL] = {uf_sim_plan_step_drill, 1},
    [UF_SIM_DROP_CLUB] = {uf_sim_plan_drop_club, -1},
    [UF_SIM_KICK] = {uf_sim_plan_kick, -1},
    [UF_SIM_FIDGET] = {uf_sim_plan_fidget, 1},
    [UF_SIM_STEP_OFF] = {uf_sim_plan_step_off, 1},
};

static int by_start(const void *a, const void *b)
{
    double x = ((const struct term *)a)->from_s, y = ((const struct term *)b)->from_s;
    return (x > y) - (x < y);
}

static void know_feet(struct plan *p)
{
    const struct traits *traits = &p->body->traits;
    struct uf_sim_truth *t = &p->act->truth;
    for (int foot = 0; foot < FEET; foot++) {
        t->foot_target_mm[foot] = p->level[CH_LEAD_X + 2 * foot];
        t->foot_toe_mm[foot] = p->level[CH_LEAD_Y + 2 * foot];
        t->toe_out_deg[foot] = traits->toe_out_deg[foot];
    }
    t->foot_length_mm = traits->foot_length_mm;
    t->foot_width_mm = traits->foot_width_mm;
}

static int plan_act(struct uf_sim *sim, struct plan *p, const struct uf_sim_step *step, size_t i,
                    struct uf_error *err)
{
    if ((unsigned)step->act >= UF_SIM_ACTS || !(step->duration_s >= 0 && step->duration_s <= 36000))
        return uf_fail(err, UF_EINVAL, "step %zu of the lesson: no such act, or a bad duration",
                       i + 1);
    int before = act_rows[step->act].on_before;
    if (before >= 0 && before != (int)p->on)
        return uf_fail(err, UF_EINVAL,
                       before ? "step %zu of the lesson, %s, needs somebody on the plates: put "
                                "walk_on before it"
                              : "step %zu of the lesson, %s, needs empty plates: put step_off "
                                "before it",
                       i + 1, uf_sim_act_name(step->act));
    p->act = &sim->act[i];
    p->act->first = p->terms;
    memcpy(p->act->base, p->level, sizeof p->level);
    uf_sim_truth_clear(&p->act->truth, step->act);
    uf_sim_rng_seed(&p->rng, sim->s.golfer.seed * 0x100000001B3u + i * 2654435761u + 17);
    p->wanted_s = step->duration_s;
    p->end_s = p->now_s;
    p->act->truth.start_s = p->now_s;
    act_rows[step->act].planner(p);
    uf_sim_plan_until(p, p->now_s + p->wanted_s);
    if (p->no_memory)
        return uf_fail(err, UF_ENOMEM, "no memory for the lesson's plan");
    p->act->terms = p->terms - p->act->first;
    p->act->truth.end_s = p->now_s = p->end_s;
    if (p->on)
        know_feet(p);
    if (p->act->terms)
        qsort(p->term + p->act->first, p->act->terms, sizeof *p->term, by_start);
    return UF_OK;
}

/* A lesson that begins with an act of a person begins with the person on the plates. */
static bool begins_on(const struct uf_sim_step *steps, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if ((unsigned)steps[i].act < UF_SIM_ACTS && act_rows[steps[i].act].on_before >= 0)
            return act_rows[steps[i].act].on_before == 1;
    return false;
}

static int plan_lesson(struct uf_sim *sim, const struct uf_sim_step *steps, struct uf_error *err)
{
    struct plan p = {.body = &sim->body};
    const struct uf_rig *rig = &sim->s.rig;
    for (int foot = 0; foot < FEET; foot++) {
        const struct uf_plate *plate = &rig->plate[sim->plate[foot]];
        p.home_mm[foot][0] = sim->side * plate->centre_x_mm;
        p.home_mm[foot][1] = plate->centre_y_mm;
        p.reach_mm[foot][0] = plate->size_x_mm / 2;
        p.reach_mm[foot][1] = plate->size_y_mm / 2;
        if (rig->plates == 1) { /* half of it for each foot */
            p.reach_mm[foot][0] = plate->size_x_mm / 4;
            p.home_mm[foot][0] += (foot == LEAD ? 1 : -1) * plate->size_x_mm / 4;
        }
    }
    int rc = UF_OK;
    if (begins_on(steps, sim->acts)) {
        uf_sim_rng_seed(&p.rng, sim->s.golfer.seed + 3);
        uf_sim_plan_feet(&p);
        uf_sim_plan_pose(&p);
    }
    for (size_t i = 0; i < sim->acts && !rc; i++)
        rc = plan_act(sim, &p, &steps[i], i, err);
    sim->term = p.term;
    return rc;
}

int uf_sim_new(struct uf_sim **out, const struct uf_sim_settings *settings,
               const struct uf_sim_step *steps, size_t n, struct uf_error *err)
{
    *out = NULL;
    struct uf_sim *sim = calloc(1, sizeof *sim);
    if (!sim)
        return uf_fail(err, UF_ENOMEM, "no memory for the simulation");
    sim->s = *settings;
    int rc = check(&sim->s, err);
    if (!rc && !n)
        rc = uf_fail(err, UF_EINVAL, "the lesson has no act");
    if (!rc && !(sim->act = calloc(n, sizeof *sim->act)))
        rc = uf_fail(err, UF_ENOMEM, "no memory for the lesson of %zu acts", n);
    if (rc)
        goto bad;
    sim->acts = n;
    sim->side = settings->golfer.hand == UF_RIGHT_HANDED ? -1 : 1;
    if (sim->s.rig.plates == 2) {
        sim->plate[LEAD] = settings->golfer.hand == UF_RIGHT_HANDED ? 0 : 1;
        sim->plate[TRAIL] = 1 - sim->plate[LEAD];
    }
    sim->period_s = 1 / (settings->rate_hz * (1 + 1e-6 * settings->clock_ppm));
    uf_sim_body_new(&sim->body, &settings->golfer);
    uf_sim_sway_new(&sim->sway, settings->golfer.seed, sim->body.traits.sway);
    sim->truth_sway = sim->sway;
    uf_sim_hardware_new(&sim->hardware, &sim->s);
    rc = plan_lesson(sim, steps, err);
    if (rc)
        goto bad;
    *out = sim;
    return UF_OK;
bad:
    uf_sim_free(sim);
    return rc;
}

void uf_sim_free(struct uf_sim *sim)
{
    if (!sim)
        return;
    free(sim->act);
    free(sim->term);
    free(sim);
}

/* ---- playing ---- */

static void values_at(const struct uf_sim *sim, const struct planned *act, double t_s,
                      double value[CHANNELS])
{
    memcpy(value, act->base, sizeof act->base);
    uf_sim_terms_at(sim->term + act->first, act->terms, t_s, value);
}

struct truth_context {
    struct uf_sim *sim;
    const struct planned *act;
};

static void truth_forces(void *context, double t_s, struct foot_load out[FEET])
{
    struct truth_context *c = context;
    double value[CHANNELS];
    struct sway_value sway;
    values_at(c->sim, c->act, t_s, value);
    uf_sim_sway_at(&c->sim->truth_sway, t_s, &sway);
    uf_sim_body_at(&c->sim->body, value, &sway, out);
}

static void act_over(struct uf_sim *sim, struct planned *act)
{
    struct truth_context c = {sim, act};
    if (act->truth.is_swing)
        uf_sim_truth_measure(&act->truth, sim->body.weight_n, truth_forces, &c);
}

/* Adds a force at a place of the top surface and a moment about the vertical: golfer frame in, rig
 * frame out. */
static void add_load(struct plate_wrench *w, double side, double target_n, double toe_n,
                     double vertical_n, double target_mm, double toe_mm, double turn_nm)
{
    double x = side * target_mm / 1000, y = toe_mm / 1000, fx = side * target_n;
    w->fx_n += fx;
    w->fy_n += toe_n;
    w->fz_n += vertical_n;
    w->mx_nm += y * vertical_n;
    w->my_nm -= x * vertical_n;
    w->mz_nm += x * toe_n - y * fx - side * turn_nm;
}

static void plates_at(struct uf_sim *sim, const struct planned *act, double t_s,
                      struct plate_wrench w[UF_PLATES_MAX])
{
    double value[CHANNELS];
    struct sway_value sway;
    struct foot_load foot[FEET];
    values_at(sim, act, t_s, value);
    memset(w, 0, UF_PLATES_MAX * sizeof *w);
    if (value[CH_LOAD] > 0) {
        uf_sim_sway_at(&sim->sway, t_s, &sway);
        uf_sim_body_at(&sim->body, value, &sway, foot);
        for (int i = 0; i < FEET; i++)
            add_load(&w[sim->plate[i]], sim->side, foot[i].target_n, foot[i].toe_n,
                     foot[i].vertical_n, foot[i].cop_target_mm, foot[i].cop_toe_mm,
                     foot[i].turn_nm);
    }
    if (act->has_thing)
        for (int i = 0; i < FEET; i++) {
            const double *thing = &value[i == LEAD ? CH_THING_V : CH_THING_TRAIL_V];
            add_load(&w[sim->plate[i]], sim->side, thing[1], thing[2], thing[0],
                     act->thing_mm[i][0], act->thing_mm[i][1], 0);
        }
}

static void describe(const struct plate_wrench *w, int plate, struct uf_sim_sample *out)
{
    out->fx_n[plate] = w->fx_n;
    out->fy_n[plate] = w->fy_n;
    out->fz_n[plate] = w->fz_n;
    out->cop_x_mm[plate] = out->cop_y_mm[plate] = out->tz_nm[plate] = NAN;
    if (fabs(w->fz_n) >= COP_LEAST_N) {
        double x = -w->my_nm / w->fz_n, y = w->mx_nm / w->fz_n;
        out->cop_x_mm[plate] = 1000 * x;
        out->cop_y_mm[plate] = 1000 * y;
        out->tz_nm[plate] = w->mz_nm - x * w->fy_n + y * w->fx_n;
    }
}

static bool next(struct uf_sim *sim, struct uf_sim_sample *out, struct plate_wrench *w)
{
    double t_s = (double)sim->count * sim->period_s;
    while (sim->now < sim->acts && t_s >= sim->act[sim->now].truth.end_s) {
        act_over(sim, &sim->act[sim->now]);
        sim->now++;
    }
    if (sim->now == sim->acts)
        return false;
    const struct planned *act = &sim->act[sim->now];
    out->t_s = t_s;
    out->t_us = (uint32_t)(sim->s.clock_start_us +
                           (uint64_t)llround((double)sim->count * 1e6 / sim->s.rate_hz));
    out->seq = (uint16_t)sim->count;
    out->inputs = 0;
    out->status = 0;
    if (act->strikes && t_s >= act->truth.impact_s && t_s < act->truth.impact_s + STRIKE_S)
        out->inputs = UF_INPUT_STRIKE;
    plates_at(sim, act, t_s, w);
    for (int p = 0; p < UF_PLATES_MAX; p++)
        describe(&w[p], p, out);
    sim->count++;
    return true;
}

bool uf_sim_next_forces(struct uf_sim *sim, struct uf_sim_sample *out)
{
    struct plate_wrench w[UF_PLATES_MAX];
    return next(sim, out, w);
}

bool uf_sim_next(struct uf_sim *sim, struct uf_sim_sample *out)
{
    struct plate_wrench w[UF_PLATES_MAX];
    if (!next(sim, out, w))
        return false;
    out->status = uf_sim_hardware_convert(&sim->hardware, w, out->t_s, out->counts_raw);
    return true;
}

size_t uf_sim_truths(const struct uf_sim *sim)
{
    return sim->acts;
}

const struct uf_sim_truth *uf_sim_truth(const struct uf_sim *sim, size_t i)
{
    return &sim->act[i].truth;
}

void uf_sim_hello(const struct uf_sim *sim, struct uf_hello *out)
{
    *out = (struct uf_hello){.protocol = UF_PROTOCOL,
                             .channels = (uint8_t)sim->s.rig.channels,
                             .adc_bits = (uint8_t)sim->s.adc_bits,
                             .rate_hz = (uint16_t)lround(sim->s.rate_hz),
                             .firmware = 1,
                             .board_id = {'S', 'I', 'M'}};
    for (int i = 3; i < 8; i++)
        out->board_id[i] = (uint8_t)(sim->s.seed >> (8 * (7 - i)));
}

void uf_sim_true_calibration(const struct uf_sim *sim, struct uf_calibration *out)
{
    memset(out, 0, sizeof *out);
    snprintf(out->name, sizeof out->name, "true calibration of simulated plates");
    out->plates = sim->s.rig.plates;
    for (int p = 0; p < out->plates; p++)
        uf_compose_cells(&sim->s.rig.plate[p], sim->hardware.cell[p], &out->plate[p]);
}
