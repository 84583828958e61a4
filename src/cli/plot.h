/* SPDX-License-Identifier: MIT
 * Inside src/cli: curves of a swing in a terminal. Braille dots where the locale is UTF-8, else
 * ASCII. The lead foot is drawn solid (orange), the trail foot dotted (violet): shape and label
 * tell them apart without colour too. */
#ifndef UF_CLI_PLOT_H
#define UF_CLI_PLOT_H

#include "swing/analysis.h"

#include <stdio.h>

struct uf_plot_style {
    bool ascii;
    bool colour;
    int columns; /* of the screen */
};

/* As out, the locale and the environment (NO_COLOR, COLUMNS) ask for. */
void uf_plot_style_of(struct uf_plot_style *style, FILE *out, bool ascii);

/* Vertical force of each foot, target-ward force and turn moment around the swing, with the marks
 * of its events. trigger_s: from the first sample. -1 without memory. */
int uf_plot_swing(const struct uf_analysis *a, double trigger_s, const struct uf_plot_style *style,
                  FILE *out);

#endif
