/* SPDX-License-Identifier: MIT
 * Captured loads: see reading.h. Pure. */
#include "calib/reading.h"

static const char *const series_names[UF_SERIES] = {"once", "up", "down", "repeat"};

const char *uf_series_name(enum uf_series s)
{
    return series_names[s];
}

int uf_reading_places(const struct uf_reading *r, int n, int plate, int *group)
{
    int places = 0;
    for (int i = 0; i < n; i++) {
        group[i] = -1;
        if (r[i].load.plate != plate)
            continue;
        for (int j = 0; j < i && group[i] < 0; j++)
            if (group[j] >= 0 && uf_load_same_place(&r[i].load, &r[j].load))
                group[i] = group[j];
        if (group[i] < 0)
            group[i] = places++;
    }
    return places;
}
