/* SPDX-License-Identifier: MIT
 * underfoot.conf: every setting of every program, from tables (key, type, range, default, help),
 * and the rig. Unknown section, unknown key, bad value, missing plate: an error with file and line.
 */
#ifndef UF_CONFIG_CONFIG_H
#define UF_CONFIG_CONFIG_H

#include "plate/rig.h"
#include "swing/analysis.h"
#include "swing/pipeline.h"

#include <stdio.h>

#define UF_PATH_MAX 256

enum uf_link_type { UF_LINK_SERIAL, UF_LINK_RAW, UF_LINK_TCP, UF_LINK_REPLAY };
enum uf_serve { UF_SERVE_OFF, UF_SERVE_ON };
enum uf_pace { UF_PACE_REAL, UF_PACE_FAST };

struct uf_link_settings {     /* [link] */
    enum uf_link_type type;   /* serial | raw | tcp | replay; default serial */
    char device[UF_PATH_MAX]; /* serial, raw: path; tcp: host:port; replay: file */
    int baud;                 /* serial; default 921600 */
    enum uf_wire_form form;   /* auto | binary | text */
    enum uf_pace pace;        /* replay: real | fast */
    char board_id[17];        /* only this board (16 hex digits); empty: any */
    double stale_s;           /* no sample for so long: stale (0.5) */
};

struct uf_daemon_settings {     /* [daemon] */
    char database[UF_PATH_MAX]; /* /var/lib/underfoot/underfoot.db */
    char control[UF_PATH_MAX];  /* control socket, /run/underfoot/control */
    char record[UF_PATH_MAX];   /* keep the byte stream here; empty: no */
    int queue;                  /* swings waiting for the store (64) */
    double spool_hours;         /* of the byte stream kept for recovery (1); 0: none */
    int spool_mb;               /* most that it may take (1024) */
    char spool[UF_PATH_MAX];    /* folder; empty: beside the database */
};

struct uf_page_settings { /* [page] */
    enum uf_serve serve;  /* off | on; default on */
    char listen[16];      /* IPv4 address; 127.0.0.1 */
    int port;             /* 8420; 0: any free one */
    char name[64];        /* of this machine for other machines; empty: only addresses */
    int rate_hz;          /* live values a second (60) */
};

struct uf_config {
    struct uf_link_settings link;
    struct uf_daemon_settings daemon;
    struct uf_page_settings page;
    struct uf_pipeline_settings pipeline; /* [golfer] handedness, [live], [zero], [trigger] */
    struct uf_analysis_settings analysis; /* [analysis] */
    struct uf_rig rig;                    /* [rig], [plate left], [cell left 1], ... */
};

/* Defaults with the example rig of uf_rig_example. */
void uf_config_defaults(struct uf_config *c);

/* Where the spool lies: daemon.spool, or "<database>.spool". */
void uf_config_spool_folder(const struct uf_config *c, char folder[UF_PATH_MAX + 8]);

/* Reads path on top of the defaults. A file that describes a plate describes the whole rig: the
 * example rig is then gone. "-" is not special. */
int uf_config_read(struct uf_config *c, const char *path, struct uf_error *err);
/* The same from memory (fuzzing, tests); name stands in the sentences. */
int uf_config_read_text(struct uf_config *c, const char *name, const char *text, size_t n,
                        struct uf_error *err);
/* One "section.key=value" from a command line, e.g. "link.device=/dev/ttyACM0". */
int uf_config_set(struct uf_config *c, const char *assignment, struct uf_error *err);
/* What is in force, as a file that reads back to the same; each key with its help as a comment. */
void uf_config_print(const struct uf_config *c, FILE *out);
/* All settings with range, default and meaning, as subsections of a manual page. */
void uf_config_manual(FILE *out);

#endif
