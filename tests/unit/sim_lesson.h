/* SPDX-License-Identifier: MIT
 * For tests: begins a simulated lesson, or fails the test with the sentence. */
#ifndef UF_TESTS_SIM_LESSON_H
#define UF_TESTS_SIM_LESSON_H

#include "sim/lesson.h"

#define STEPS 64

static inline struct uf_sim *begin(const struct uf_sim_settings *s, const char *lesson)
{
    struct uf_sim_step steps[STEPS];
    struct uf_error err = {0, ""};
    struct uf_sim *sim = NULL;
    size_t n;
    if (uf_sim_steps_parse(lesson, steps, STEPS, &n, &err) || uf_sim_new(&sim, s, steps, n, &err))
        fail_msg("%s", err.text);
    return sim;
}

static inline void golfer_settings(struct uf_sim_settings *s, uint64_t golfer)
{
    uf_sim_defaults(s);
    uf_sim_golfer_random(&s->golfer, golfer);
    s->seed = golfer;
}

#endif
