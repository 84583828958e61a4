/* SPDX-License-Identifier: MIT
 * See feet.h. */
#include "daemon/feet.h"

#include "base/log.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define PI 3.14159265358979323846

static const char *const foot_names[UF_FEET] = {[UF_LEAD] = "lead", [UF_TRAIL] = "trail"};

static void log_feet(const struct uf_feet *f)
{
    for (int foot = 0; foot < UF_FEET; foot++) {
        const struct uf_foot_pose *p = &f->pose[foot];
        if (p->known)
            uf_log(UF_LOG_NOTICE, "%s foot: %.1f deg out, %.0f mm long%s, heel within %.0f mm",
                   foot_names[foot], p->toe_out_deg, p->length_mm,
                   p->length_from == UF_LENGTH_GUESS ? " (a guess)" : "", 1.96 * p->end_u_mm);
        else
            uf_log(UF_LOG_NOTICE, "%s foot: %s", foot_names[foot],
                   uf_foot_state_text(f->state[foot]));
    }
}

void uf_feet_state_take(struct uf_feet_state *f, const struct uf_job *job)
{
    f->tries++;
    f->asked = job->asked;
    f->problem[0] = '\0';
    if (!job->has_feet) {
        snprintf(f->problem, sizeof f->problem,
                 "the rocking could not be stored: see the log of the daemon");
        return;
    }
    log_feet(&job->feet);
    f->last = job->feet;
    if (!uf_rocking_counts(&job->feet))
        return;
    f->known = true;
    f->feet = job->feet;
    f->stand = job->stand;
}

const struct uf_feet *uf_feet_now(const struct uf_feet_state *f, uint64_t stand, enum uf_hand hand)
{
    return f->known && f->stand == stand && f->feet.hand == hand ? &f->feet : NULL;
}

/* ---- JSON ---- */

static json_t *number(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

static json_t *foot_json(const struct uf_foot_pose *p, enum uf_foot foot)
{
    static const char *const from[] = {[UF_LENGTH_GIVEN] = "player",
                                       [UF_LENGTH_OF_HEIGHT] = "height",
                                       [UF_LENGTH_GUESS] = "guess"};
    if (!p->known)
        return json_null();
    double rad = p->toe_out_deg * PI / 180, out = foot == UF_LEAD ? 1 : -1;
    return json_pack("{s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:s}", "heel_target_mm",
                     p->heel_target_mm, "heel_toe_mm", p->heel_forward_mm, "toes_target_mm",
                     p->heel_target_mm + out * p->length_mm * sin(rad), "toes_toe_mm",
                     p->heel_forward_mm + p->length_mm * cos(rad), "length_mm", p->length_mm,
                     "width_mm", p->width_mm, "toe_out_deg", p->toe_out_deg, "axis_u_deg",
                     p->axis_u_deg, "end_u_mm", p->end_u_mm, "length_from", from[p->length_from]);
}

json_t *uf_feet_json(const struct uf_feet *feet)
{
    struct uf_stance_shape shape;
    uf_feet_stance(feet->pose, &shape);
    return json_pack("{s:o, s:o, s:o, s:o}", "lead", foot_json(&feet->pose[UF_LEAD], UF_LEAD),
                     "trail", foot_json(&feet->pose[UF_TRAIL], UF_TRAIL), "width_mm",
                     number(shape.width_mm), "toe_line_deg", number(shape.toe_line_deg));
}

static json_t *try_json(const struct uf_feet_state *f, int foot)
{
    if (f->tries == 0 || *f->problem)
        return json_null();
    return json_pack("{s:s, s:s}", "state", uf_foot_state_name(f->last.state[foot]), "text",
                     uf_foot_state_text(f->last.state[foot]));
}

json_t *uf_feet_state_json(const struct uf_feet_state *f, bool looking, const struct uf_feet *now)
{
    return json_pack("{s:I, s:b, s:b, s:o, s:o, s:o, s:o}", "tries", (json_int_t)f->tries,
                     "looking", looking, "asked", f->asked, "problem",
                     *f->problem ? json_string(f->problem) : json_null(), "lead",
                     try_json(f, UF_LEAD), "trail", try_json(f, UF_TRAIL), "now",
                     now ? uf_feet_json(now) : json_null());
}
