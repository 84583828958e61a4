/* SPDX-License-Identifier: MIT
 * Lists of acts: names, named lessons, and lessons written out on a command line. */
#ifndef UF_SIM_LESSON_H
#define UF_SIM_LESSON_H

#include "sim/sim.h"

#include <stdio.h>

/* "walk_on,stand:3,address,ball": act, or act:seconds, separated by commas; "ball*3" repeats.
 * Error: unknown act, bad number, more than max. */
int uf_sim_steps_parse(const char *text, struct uf_sim_step *steps, size_t max, size_t *n,
                       struct uf_error *err);

/* One line a named lesson: its name and what it is. */
void uf_sim_lessons_print(FILE *out);

#endif
