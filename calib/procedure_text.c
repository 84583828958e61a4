/* SPDX-License-Identifier: MIT
 * What a person is told to do: see procedure_text.h. Pure. */
#include "calib/procedure_text.h"

#include <stdarg.h>
#include <stdio.h>

#define HEAVY_KG 25

void uf_procedure_say(const struct uf_procedure_owner *owner, const char *format, ...)
{
    char text[600];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    owner->say(owner->who, text);
}

static void list_pieces(const struct uf_document *d, const struct uf_load *l, char *text,
                        size_t size)
{
    size_t used = 0;
    text[0] = '\0';
    for (int i = 0; i < l->pieces; i++) {
        int put = snprintf(text + used, size - used, "%s%s", used ? " + " : "",
                           d->setup.weight[l->piece[i]].name);
        if (put < 0 || (size_t)put >= size - used)
            return;
        used += (size_t)put;
    }
}

static void warn(const struct uf_rig *rig, const struct uf_load *l, double kg, bool *warned,
                 const struct uf_procedure_owner *owner)
{
    if (!warned[l->kind]) {
        if (l->kind == UF_LOAD_PULL)
            uf_procedure_say(
                owner,
                "Caution: a weight on a string swings and falls. Nobody's feet under it, eye "
                "protection, a string rated for ten times the load, the pulley clamped fast.");
        if (l->kind == UF_LOAD_TILT)
            uf_procedure_say(
                owner, "Caution: weights slide on a tilted plate. Put a stop on the downhill side. "
                       "The zero must be taken with the plate tilted just so.");
        if (l->kind == UF_LOAD_VERTICAL && rig->plate[l->plate].rated_n > 0)
            uf_procedure_say(
                owner, "Caution: the %s plate is rated for %.0f N; put weights down slowly.",
                uf_place_name(rig->plate[l->plate].place), rig->plate[l->plate].rated_n);
        warned[l->kind] = true;
    }
    if (kg > HEAVY_KG)
        uf_procedure_say(owner, "Caution: %g kg: piece by piece, or two people.", kg);
}

void uf_procedure_ask_load(const struct uf_rig *rig, const struct uf_document *d, int number,
                           bool *warned, const struct uf_procedure_owner *owner)
{
    const struct uf_load *l = &d->reading[number].load;
    const char *plate = uf_place_name(rig->plate[l->plate].place);
    double kg = uf_load_mass_kg(&d->setup, l);
    char pieces[160];
    list_pieces(d, l, pieces, sizeof pieces);
    warn(rig, l, kg, warned, owner);
    if (l->kind == UF_LOAD_PULL)
        uf_procedure_say(
            owner,
            "Load %d of %d, %s plate: hang %s (%g kg) on the string; it pulls the plate towards %g "
            "degrees (0: right, 90: front), %g mm above the top, over x %g, y %g mm.",
            number + 1, d->n, plate, pieces, kg, l->towards_deg, l->height_mm, l->x_mm, l->y_mm);
    else
        uf_procedure_say(owner,
                         "Load %d of %d, %s plate%s: put %s (%g kg) at x %g, y %g mm. Hands off.",
                         number + 1, d->n, plate, l->kind == UF_LOAD_TILT ? ", tilted" : "", pieces,
                         kg, l->x_mm, l->y_mm);
}
