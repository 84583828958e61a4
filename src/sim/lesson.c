/* SPDX-License-Identifier: MIT
 * Names of acts, named lessons, lessons written out. Pure; any thread. */
#include "sim/lesson.h"

#include <stdlib.h>
#include <string.h>

static const char *const act_names[UF_SIM_ACTS] = {
    [UF_SIM_EMPTY] = "empty",
    [UF_SIM_WALK_ON] = "walk_on",
    [UF_SIM_STAND] = "stand",
    [UF_SIM_ADDRESS] = "address",
    [UF_SIM_BALL] = "ball",
    [UF_SIM_NO_BALL] = "no_ball",
    [UF_SIM_WAGGLE] = "waggle",
    [UF_SIM_HALF] = "half",
    [UF_SIM_ROCK] = "rock",
    [UF_SIM_SWAY] = "sway",
    [UF_SIM_TEE_UP] = "tee_up",
    [UF_SIM_JUMP] = "jump",
    [UF_SIM_STEP_DRILL] = "step_drill",
    [UF_SIM_DROP_CLUB] = "drop_club",
    [UF_SIM_KICK] = "kick",
    [UF_SIM_FIDGET] = "fidget",
    [UF_SIM_STEP_OFF] = "step_off",
};

const char *uf_sim_act_name(enum uf_sim_act a)
{
    return (unsigned)a < UF_SIM_ACTS ? act_names[a] : "?";
}

struct lesson {
    const char *name, *meaning, *steps;
};

static const struct lesson lessons[] = {
    {"short", "two ball swings, about 25 s",
     "empty:5,walk_on,stand:1,address,ball,address:2,ball,step_off,empty:1"},
    {"demo", "a lesson of about 90 s: three ball swings, one without, a half turn, retest",
     "empty:6,walk_on,stand:2,rock:7,address,ball,waggle:2,address,ball,waggle:2,address,ball,"
     "address,no_ball,half,tee_up,sway:5,address,ball,address,ball,address,ball,stand:1,step_off,"
     "empty:1"},
    {"confounders", "everything but swings, each twice",
     "empty:5,walk_on,stand,waggle,half,rock,sway,tee_up,jump,stand,step_drill,drop_club,kick,"
     "fidget,address,step_off,empty:3,drop_club,kick,walk_on,address,waggle,half,rock,sway,tee_up,"
     "jump,stand,step_drill,drop_club,kick,fidget,address,step_off,empty:2"},
    {"long", "37 swings with all that lies between them, about 9 minutes",
     "empty:5,walk_on,stand:3,rock,waggle,half*2,address,ball,address,ball,address,ball,address,"
     "ball,address,ball,step_off,empty:5,walk_on,sway,step_drill,address,no_ball,address,no_ball,"
     "address,no_ball,tee_up,address,ball,address,ball,address,ball,fidget,kick,address,ball,"
     "address,ball,address,ball,step_off,empty:40,walk_on,jump,stand,drop_club,waggle,address,ball,"
     "waggle,address,ball,waggle,address,ball,waggle,address,ball,half,address,no_ball,half,"
     "address,"
     "no_ball,half,address,no_ball,step_off,empty:5,walk_on,stand,tee_up,address,ball,tee_up,"
     "address,ball,tee_up,address,ball,fidget,address,ball,fidget,address,ball,fidget,address,ball,"
     "rock,address,ball,rock,address,ball,sway,address,ball,sway,address,ball,step_off,empty:40,"
     "walk_on,stand,address,ball,address,ball,address,ball,address,ball,address,ball,address,ball,"
     "step_off,empty:5"},
};

static int find_act(const char *name, size_t n)
{
    for (int a = 0; a < UF_SIM_ACTS; a++)
        if (strlen(act_names[a]) == n && !memcmp(act_names[a], name, n))
            return a;
    return -1;
}

/* One item without its comma; the sentence names it by its place. */
static int parse_item(const char *item, size_t length, size_t place, struct uf_sim_step *step,
                      size_t *times, struct uf_error *err)
{
    size_t name = strcspn(item, ":*,");
    int act = find_act(item, name);
    if (act < 0)
        return uf_fail(err, UF_EINVAL,
                       "act %zu of the lesson, \"%.*s\", is not known: underfoot-sim --help lists "
                       "the acts",
                       place, (int)(length > 60 ? 60 : length), item);
    *step = (struct uf_sim_step){(enum uf_sim_act)act, 0};
    *times = 1;
    const char *p = item + name, *end = item + length;
    while (p < end) {
        char *after;
        char mark = *p++;
        double value = strtod(p, &after);
        if (after == p || after > end || !(value > 0) ||
            (mark == ':' ? value > 3600 : value > 10000 || value != (double)(int)value))
            return uf_fail(err, UF_EINVAL,
                           "act %zu of the lesson, \"%.*s\": after ':' comes a length of 0 to 3600 "
                           "s, after '*' a whole number of times",
                           place, (int)(length > 60 ? 60 : length), item);
        if (mark == ':')
            step->duration_s = value;
        else
            *times = (size_t)value;
        p = after;
        if (p < end && *p != ':' && *p != '*')
            return uf_fail(err, UF_EINVAL,
                           "act %zu of the lesson, \"%.*s\", has something behind "
                           "its number: acts are separated by commas",
                           place, (int)(length > 60 ? 60 : length), item);
    }
    return UF_OK;
}

int uf_sim_steps_parse(const char *text, struct uf_sim_step *steps, size_t max, size_t *n,
                       struct uf_error *err)
{
    *n = 0;
    for (size_t place = 1;; place++) {
        size_t length = strcspn(text, ","), times = 0;
        struct uf_sim_step step;
        int rc = parse_item(text, length, place, &step, &times, err);
        if (rc)
            return rc;
        if (times > max - *n)
            return uf_fail(err, UF_EFULL, "the lesson has more than %zu acts", max);
        while (times--)
            steps[(*n)++] = step;
        if (!text[length])
            return UF_OK;
        text += length + 1;
    }
}

size_t uf_sim_lesson(const char *name, struct uf_sim_step *steps, size_t max)
{
    size_t n;
    for (size_t i = 0; i < sizeof lessons / sizeof lessons[0]; i++)
        if (!strcmp(lessons[i].name, name))
            return uf_sim_steps_parse(lessons[i].steps, steps, max, &n, NULL) ? 0 : n;
    return 0;
}

void uf_sim_lessons_print(FILE *out)
{
    for (size_t i = 0; i < sizeof lessons / sizeof lessons[0]; i++)
        fprintf(out, "  %-12s %s\n", lessons[i].name, lessons[i].meaning);
}
