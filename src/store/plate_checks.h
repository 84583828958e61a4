/* SPDX-License-Identifier: MIT
 * The daily checks of the plates, written and read. */
#ifndef UF_STORE_PLATE_CHECKS_H
#define UF_STORE_PLATE_CHECKS_H

#include "store/store.h"

struct uf_plate_check {
    int64_t calibration_id; /* 0: data sheet */
    enum uf_place plate;
    int64_t at_utc_us;
    double x_mm, y_mm; /* NAN: a person */
    double known_n, vertical_n;
    double horizontal_n;   /* NAN: not known */
    double place_error_mm; /* NAN: not known */
    bool passed;
};

/* All of them or none. */
int uf_store_checks_add(struct uf_store *s, int64_t rig_id, const struct uf_plate_check *check,
                        size_t n, struct uf_error *err);

/* One day's check of a plate, in short. */
struct uf_check_day {
    int64_t at_utc_us;         /* of its first load */
    double vertical_error_pct; /* the greatest by size, signed */
    double place_error_mm;     /* the greatest; NAN: not known */
    bool passed;               /* all of them */
};

/* The last n days (UTC) with checks of that plate, oldest first, into day[n]; how many. */
int uf_store_check_days(struct uf_store *s, int64_t rig_id, enum uf_place plate,
                        struct uf_check_day *day, size_t n, size_t *found, struct uf_error *err);

/* What the database knows of a rig's health. */
struct uf_rig_health {
    int64_t calibrated_utc_us; /* when the active calibration was made; 0: none is active */
    bool checked[UF_PLATES_MAX];
    struct uf_check_day check[UF_PLATES_MAX]; /* the last day with one, where checked */
};
int uf_store_rig_health(struct uf_store *s, int64_t rig_id, const struct uf_rig *rig,
                        struct uf_rig_health *out, struct uf_error *err);

#endif
