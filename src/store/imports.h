/* SPDX-License-Identifier: MIT
 * Numbers of other instruments in bulk: how their files are read (remembered by name), which swing
 * a line belongs to, and writing all or nothing. */
#ifndef UF_STORE_IMPORTS_H
#define UF_STORE_IMPORTS_H

#include "store/remarks.h"

#define UF_MAPPING_COLUMNS_MAX 16
#define UF_MAPPING_WITHIN_MAX  600.0 /* s */

struct uf_mapping {
    char name[64];
    char time_column[UF_NAME_BYTES]; /* "": not known */
    char date_order[4];              /* ymd, dmy, mdy */
    double within_s, ahead_s;
    size_t n;
    struct {
        char heading[UF_NAME_BYTES], name[64], unit[32];
    } column[UF_MAPPING_COLUMNS_MAX];
};
/* UF_ENOTFOUND when none of that name is remembered: *out has the defaults then. */
int uf_mapping_get(struct uf_store *s, const char *name, struct uf_mapping *out,
                   struct uf_error *err);

/* One line of a file. */
struct uf_import_line {
    size_t row;       /* in the file, for people */
    int64_t utc_us;   /* by our clock */
    int64_t swing_id; /* result; 0: no swing */
    double off_s;     /* result: line minus trigger; of a line without a swing, to the nearest */
};
/* Pairs lines and swings, the nearest in time first, each at most once. off_s is NAN where there
 * is no swing within a day. */
int uf_import_match(struct uf_store *s, struct uf_import_line *line, size_t n, double within_s,
                    struct uf_error *err);

/* Writes the extras and remembers the mapping, in one transaction. try_only: takes it all back. */
int uf_import_write(struct uf_store *s, const struct uf_mapping *mapping,
                    const struct uf_extra *extra, size_t n, bool replace, bool try_only,
                    int64_t now_utc_us, struct uf_error *err);

#endif
