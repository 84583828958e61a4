/* SPDX-License-Identifier: MIT
 * Fields of JSON objects: see fields.h. */
#include "calib/fields.h"

#include <math.h>
#include <string.h>

int uf_field_number(const json_t *object, const char *key, double min, double max, double initial,
                    double *out, const struct uf_field_place *at, struct uf_error *err)
{
    const json_t *value = json_object_get(object, key);
    if (!value && !isnan(initial)) {
        *out = initial;
        return UF_OK;
    }
    if (!json_is_number(value))
        return uf_fail(err, UF_EINVAL,
                       value ? "%s: \"%s\" must be a number" : "%s: \"%s\" is missing", at->text,
                       key);
    *out = json_number_value(value);
    if (!(*out >= min && *out <= max))
        return uf_fail(err, UF_EINVAL, "%s: \"%s\" is %g; give %g to %g", at->text, key, *out, min,
                       max);
    return UF_OK;
}

int uf_field_numbers(const json_t *object, const struct uf_field *table, size_t rows, void *base,
                     const struct uf_field_place *at, struct uf_error *err)
{
    for (size_t i = 0; i < rows; i++) {
        double *out = (double *)((char *)base + table[i].offset);
        int rc = uf_field_number(object, table[i].key, table[i].min, table[i].max, table[i].initial,
                                 out, at, err);
        if (rc != UF_OK)
            return rc;
    }
    return UF_OK;
}

int uf_field_keys(const json_t *object, const char *keys, const struct uf_field_place *at,
                  struct uf_error *err)
{
    const char *key;
    json_t *value;
    if (!json_is_object(object))
        return uf_fail(err, UF_EINVAL, "%s must be an object in braces", at->text);
    json_object_foreach((json_t *)object, key, value)
    {
        size_t n = strlen(key);
        const char *p = keys;
        while (n && (p = strstr(p, key)) != NULL &&
               !((p == keys || p[-1] == ' ') && (p[n] == ' ' || p[n] == '\0')))
            p += n;
        if (!p || !n)
            return uf_fail(err, UF_EINVAL, "%s has a field \"%.40s\" that means nothing; known: %s",
                           at->text, key, keys);
    }
    return UF_OK;
}

int uf_field_tolerances(const json_t *object, const struct uf_tolerances *usual,
                        struct uf_tolerances *out, const struct uf_field_place *at,
                        struct uf_error *err)
{
    const struct uf_field table[] = {
        {"place_mm", offsetof(struct uf_tolerances, place_mm), 0, 100, usual->place_mm},
        {"height_mm", offsetof(struct uf_tolerances, height_mm), 0, 100, usual->height_mm},
        {"towards_deg", offsetof(struct uf_tolerances, towards_deg), 0, 20, usual->towards_deg},
        {"angle_deg", offsetof(struct uf_tolerances, angle_deg), 0, 20, usual->angle_deg},
    };
    return uf_field_numbers(object, table, UF_ROWS(table), out, at, err);
}
