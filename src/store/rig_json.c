/* SPDX-License-Identifier: MIT
 * See rig_json.h. */
#include "store/rig_json.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

static json_t *cell_to_json(const struct uf_cell *c)
{
    return json_pack("{s:s, s:f, s:f, s:f, s:f, s:[i,i,i], s:[f,f,f], s:[f,f,f]}", "cell", c->name,
                     "x_mm", c->x_mm, "y_mm", c->y_mm, "z_mm", c->z_mm, "turn_deg", c->turn_deg,
                     "channel_xyz", c->channel[0], c->channel[1], c->channel[2], "n_per_count_xyz",
                     c->n_per_count[0], c->n_per_count[1], c->n_per_count[2], "rated_n_xyz",
                     c->rated_n[0], c->rated_n[1], c->rated_n[2]);
}

static json_t *plate_to_json(const struct uf_plate *p)
{
    json_t *cells = json_array();
    for (int i = 0; i < p->cells; i++)
        json_array_append_new(cells, cell_to_json(&p->cell[i]));
    return json_pack("{s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:o}", "plate",
                     uf_place_name(p->place), "centre_x_mm", p->centre_x_mm, "centre_y_mm",
                     p->centre_y_mm, "rotation_deg", p->rotation_deg, "size_x_mm", p->size_x_mm,
                     "size_y_mm", p->size_y_mm, "surface_mm", p->surface_mm, "rated_n", p->rated_n,
                     "cells", cells);
}

char *uf_rig_to_text(const struct uf_rig *rig)
{
    json_t *plates = json_array();
    for (int i = 0; i < rig->plates; i++)
        json_array_append_new(plates, plate_to_json(&rig->plate[i]));
    json_t *json = json_pack("{s:s, s:o}", "name", rig->name, "plates", plates);
    char *text = json_dumps(json, JSON_COMPACT | JSON_SORT_KEYS | JSON_REAL_PRECISION(17));
    json_decref(json);
    return text;
}

static int copy_name(char *out, size_t size, const char *name)
{
    return snprintf(out, size, "%s", name) < (int)size ? 0 : -1;
}

static int cell_from_json(json_t *json, struct uf_cell *c, json_error_t *why)
{
    const char *name;
    /* F takes whole numbers as well: a person may have edited it */
    if (json_unpack_ex(json, why, 0, "{s:s, s:F, s:F, s:F, s:F, s:[i,i,i], s:[F,F,F], s:[F,F,F]}",
                       "cell", &name, "x_mm", &c->x_mm, "y_mm", &c->y_mm, "z_mm", &c->z_mm,
                       "turn_deg", &c->turn_deg, "channel_xyz", &c->channel[0], &c->channel[1],
                       &c->channel[2], "n_per_count_xyz", &c->n_per_count[0], &c->n_per_count[1],
                       &c->n_per_count[2], "rated_n_xyz", &c->rated_n[0], &c->rated_n[1],
                       &c->rated_n[2]))
        return -1;
    return copy_name(c->name, sizeof c->name, name);
}

static int place_from_name(const char *name, enum uf_place *place)
{
    static const enum uf_place all[] = {UF_PLACE_LEFT, UF_PLACE_RIGHT, UF_PLACE_SINGLE};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (strcmp(name, uf_place_name(all[i])) == 0) {
            *place = all[i];
            return 0;
        }
    return -1;
}

static int plate_from_json(json_t *json, struct uf_plate *p, json_error_t *why)
{
    const char *place;
    json_t *cells;
    if (json_unpack_ex(json, why, 0, "{s:s, s:F, s:F, s:F, s:F, s:F, s:F, s:F, s:o}", "plate",
                       &place, "centre_x_mm", &p->centre_x_mm, "centre_y_mm", &p->centre_y_mm,
                       "rotation_deg", &p->rotation_deg, "size_x_mm", &p->size_x_mm, "size_y_mm",
                       &p->size_y_mm, "surface_mm", &p->surface_mm, "rated_n", &p->rated_n, "cells",
                       &cells) ||
        place_from_name(place, &p->place) || !json_is_array(cells) ||
        json_array_size(cells) > UF_CELLS_MAX)
        return -1;
    p->cells = (int)json_array_size(cells);
    for (int i = 0; i < p->cells; i++)
        if (cell_from_json(json_array_get(cells, (size_t)i), &p->cell[i], why))
            return -1;
    return 0;
}

static int rig_from_json(json_t *json, struct uf_rig *rig, json_error_t *why)
{
    const char *name;
    json_t *plates;
    if (json_unpack_ex(json, why, 0, "{s:s, s:o}", "name", &name, "plates", &plates) ||
        copy_name(rig->name, sizeof rig->name, name) || !json_is_array(plates) ||
        json_array_size(plates) > UF_PLATES_MAX)
        return -1;
    rig->plates = (int)json_array_size(plates);
    for (int i = 0; i < rig->plates; i++)
        if (plate_from_json(json_array_get(plates, (size_t)i), &rig->plate[i], why))
            return -1;
    return 0;
}

int uf_rig_from_text(const char *text, struct uf_rig *out, struct uf_error *err)
{
    json_error_t why = {.text = ""};
    memset(out, 0, sizeof *out);
    json_t *json = json_loads(text, 0, &why);
    int rc = json ? rig_from_json(json, out, &why) : -1;
    json_decref(json);
    if (rc)
        return uf_fail(err, UF_ECORRUPT,
                       "the stored description of the rig cannot be read: %s; it must not be "
                       "edited by hand",
                       why.text[0] ? why.text : "a plate or a cell is not as it was written");
    struct uf_error inner;
    if (uf_rig_check(out, &inner))
        return uf_fail(err, UF_ECORRUPT, "the stored description of the rig is wrong: %.300s",
                       inner.text);
    return UF_OK;
}
