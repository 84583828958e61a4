/* SPDX-License-Identifier: MIT
 * What is built: plates, where they lie, where their cells are, which channel is which axis.
 * Plain values, filled from underfoot.conf (src/config). Axes and signs: DEVELOPERS.md, "Axes". */
#ifndef UF_PLATE_RIG_H
#define UF_PLATE_RIG_H

#include "base/error.h"
#include "wire/wire.h"

#include <stdbool.h>

#define UF_PLATES_MAX 2
#define UF_CELLS_MAX  12

enum uf_place { UF_PLACE_LEFT, UF_PLACE_RIGHT, UF_PLACE_SINGLE };

struct uf_cell {
    char name[16];
    double x_mm, y_mm, z_mm; /* in the plate's axes, from the sensor origin (below the centre of the
                                top by surface_mm) */
    double turn_deg;         /* rotation of the cell's own axes about z, anticlockwise from above */
    int channel[3];          /* channel of the cell's x, y, z output; -1 where there is none */
    double n_per_count[3];   /* data-sheet scale of each, N a count, signed; 0 where none */
    double rated_n[3];       /* rated load of each axis, N; 0 = not given */
};

struct uf_plate {
    enum uf_place place;
    double centre_x_mm, centre_y_mm; /* centre of the top surface in the rig frame */
    double rotation_deg;             /* of the plate's axes about z, anticlockwise from above */
    double size_x_mm, size_y_mm;     /* of the top surface */
    double surface_mm;               /* height of the top (mat included) above the sensor origin */
    double rated_n;                  /* rated vertical load */
    int cells;
    struct uf_cell cell[UF_CELLS_MAX];
};

struct uf_rig {
    char name[64];
    int plates; /* 1 (single) or 2 (index 0 left, 1 right) */
    struct uf_plate plate[UF_PLATES_MAX];
    int channels; /* channels that the board must send: highest mapped channel + 1 */
};

/* Checks what a description must hold (each channel used once, cells not on one line, sizes
 * positive, left really left of right, ...); the sentence names the plate and the cell. Fills
 * rig->channels. */
int uf_rig_check(struct uf_rig *rig, struct uf_error *err);

/* The same; with an error, *plate and *cell are the indexes of what it is about, -1 for the whole.
 */
int uf_rig_check_at(struct uf_rig *rig, int *plate, int *cell, struct uf_error *err);

/* A pair of 400 x 600 mm plates with four three-axis cells each (24 channels), as the
 * simulator and the tests use it. */
void uf_rig_example(struct uf_rig *rig);

/* Cosine and sine of a rotation about z; exact at quarter turns. */
struct uf_turn {
    double cos, sin;
};
struct uf_turn uf_turn_of(double deg);

/* "left", "right", "single". */
const char *uf_place_name(enum uf_place place);

/* Channels of a plate in the order of its cells, into channel[UF_CHANNELS_MAX], how many. */
int uf_plate_channels(const struct uf_plate *plate, int *channel);

#endif
