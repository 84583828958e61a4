/* SPDX-License-Identifier: MIT
 * The tables of settings: one row a setting. A setting's whole life (reading, range, default,
 * --print-config) comes from its row. */
#include "config/sections.h"

#include <ctype.h>
#include <string.h>

static const char *const link_types[] = {"serial", "raw", "tcp", "replay", NULL};
static const char *const forms[] = {"auto", "binary", "text", NULL};
static const char *const paces[] = {"real", "fast", NULL};
static const char *const serves[] = {"off", "on", NULL};
static const char *const hands[] = {"right", "left", NULL};

#define AT(member)      offsetof(struct uf_config, member)
#define PLATE_AT(first) offsetof(struct uf_plate, first)
#define CELL_AT(first)  offsetof(struct uf_cell, first)

#define NUMBER(section, key, member, min, max, initial, help)                                      \
    {                                                                                              \
        section, key, UF_SETTING_NUMBER, AT(member), 1, 1, min, max, initial, NULL, help           \
    }
#define WHOLE(section, key, member, min, max, initial, help)                                       \
    {                                                                                              \
        section, key, UF_SETTING_WHOLE, AT(member), 1, 1, min, max, initial, NULL, help            \
    }
#define CHOICE(section, key, member, choices, initial, help)                                       \
    {                                                                                              \
        section, key, UF_SETTING_CHOICE, AT(member), 1, 1, 0, 0, initial, choices, help            \
    }
#define TEXT(section, key, member, size, fewest, initial, help)                                    \
    {                                                                                              \
        section, key, UF_SETTING_TEXT, AT(member), 1, size, fewest, 0, initial, NULL, help         \
    }

static const struct uf_setting plain[] = {
    CHOICE("link", "type", link.type, link_types, "serial",
           "how the board is reached: a serial port, a raw tty or FIFO, a TCP bridge, a recording"),
    TEXT("link", "device", link.device, UF_PATH_MAX, 1, "/dev/ttyACM0",
         "serial, raw: path, or a folder of ports that are tried in turn; tcp: host:port; replay: "
         "file"),
    WHOLE("link", "baud", link.baud, 1200, 12000000, "921600", "serial only: bits a second"),
    CHOICE("link", "form", link.form, forms, "auto", "form of the stream"),
    CHOICE("link", "pace", link.pace, paces, "real",
           "replay only: at the board's own pace, or as fast as it goes"),
    {"link", "board_id", UF_SETTING_HEX, AT(link.board_id), 0, 17, 0, 0, "", NULL,
     "listen to this board only; empty: to any"},
    NUMBER("link", "stale_s", link.stale_s, 0.05, 3600, "0.5",
           "no sample for so long: the state is stale"),

    TEXT("daemon", "database", daemon.database, UF_PATH_MAX, 1, "/var/lib/underfoot/underfoot.db",
         "where swings are stored"),
    TEXT("daemon", "control", daemon.control, UF_PATH_MAX, 1, "/run/underfoot/control",
         "socket that the underfoot command talks to"),
    TEXT("daemon", "record", daemon.record, UF_PATH_MAX, 0, "",
         "keep the board's byte stream in this file; empty: do not"),
    WHOLE("daemon", "queue", daemon.queue, 1, 10000, "64", "swings that may wait for the store"),

    NUMBER(
        "daemon", "spool_hours", daemon.spool_hours, 0, 48, "1",
        "so much of the byte stream is kept, to find swings that a crash kept from being stored; "
        "0: none"),
    WHOLE("daemon", "spool_mb", daemon.spool_mb, 32, 1000000, "1024",
          "most disk space that this may take, in MB"),
    TEXT("daemon", "spool", daemon.spool, UF_PATH_MAX, 0, "",
         "folder for it; empty: beside the database, its name with .spool"),

    CHOICE("page", "serve", page.serve, serves, "on", "serve the live page to browsers"),
    TEXT("page", "listen", page.listen, 16, 7, "127.0.0.1",
         "address that browsers reach it at: 127.0.0.1 for this machine only, 0.0.0.0 for every "
         "network; beyond this machine a token is needed"),
    WHOLE("page", "port", page.port, 0, 65535, "8420", "port of the page; 0: any free one"),
    TEXT("page", "name", page.name, 64, 0, "",
         "name by which other machines may call this one, besides its address; empty: none"),
    WHOLE("page", "rate_hz", page.rate_hz, 1, 120, "60", "live values a second"),

    CHOICE("golfer", "handedness", pipeline.hand, hands, "right",
           "hand of the golfer: right has the target to the left"),

    NUMBER("live", "cutoff_hz", pipeline.live_cutoff_hz, 0.1, 1000, "20",
           "low-pass of the live values"),

    NUMBER("zero", "still_s", pipeline.tare.still_s, 0.2, 60, "2",
           "the plates must be still for so long"),
    NUMBER("zero", "still_n", pipeline.tare.still_n, 0.01, 1000, "1.5",
           "standard deviation of a plate's vertical force that counts as still"),
    NUMBER("zero", "empty_n", pipeline.tare.empty_n, 0.1, 1000, "15",
           "vertical force of a plate that can be an empty one"),
    NUMBER("zero", "warn_n", pipeline.tare.warn_n, 0.1, 10000, "40",
           "drift since the first zero that asks for a look at the plate"),
    NUMBER("zero", "min_between_s", pipeline.tare.min_between_s, 0, 86400, "30",
           "least time between two automatic zeros"),

    NUMBER("trigger", "on_n", pipeline.segment.on_n, 10, 2000, "150",
           "total vertical force that means somebody is on"),
    NUMBER("trigger", "still_s", pipeline.segment.still_s, 0.1, 10, "0.5",
           "length of quiet standing that gives the weight"),
    NUMBER("trigger", "still_pct", pipeline.segment.still_pct, 0.01, 50, "1.5",
           "standard deviation of the total, in percent of it, that counts as quiet"),
    NUMBER("trigger", "lead_rise_bw", pipeline.segment.lead_rise_bw, 0.01, 3, "0.45",
           "least rise of the lead foot's vertical force in a swing"),
    NUMBER("trigger", "lead_rate_bw_s", pipeline.segment.lead_rate_bw_s, 0.1, 100, "2",
           "least rate of that rise"),
    NUMBER("trigger", "before_s", pipeline.segment.before_s, 0, 5, "0.5",
           "kept before the first movement"),
    NUMBER("trigger", "after_s", pipeline.segment.after_s, 0.1, 10, "1.5",
           "kept after the trigger, when it is not still sooner"),
    NUMBER("trigger", "longest_s", pipeline.segment.longest_s, 1, 30, "6",
           "most that is kept before the trigger"),

    NUMBER("analysis", "cutoff_hz", analysis.cutoff_hz, 1, 1000, "50",
           "low-pass of stored swings: -3 dB of both passes together"),
    WHOLE("analysis", "order", analysis.order, 1, 8, "2", "order of one pass"),
    NUMBER("analysis", "cop_min_n", analysis.cop_min_n, 1, 1000, "25",
           "below this vertical force a foot has no centre of pressure"),
    NUMBER("analysis", "old_days", analysis.old_days, 1, 100000, "365",
           "a swing is flagged when its calibration was older than so many days"),

    TEXT("rig", "name", rig.name, 64, 1, "example", "name of the rig, kept with each swing"),
};

static const struct uf_setting plate[] = {
    {"plate", "centre_mm", UF_SETTING_NUMBER, PLATE_AT(centre_x_mm), 2, 2, -5000, 5000, NULL, NULL,
     "x, y of the centre of the top: x to the golfer's right, y towards the toes"},
    {"plate", "rotation_deg", UF_SETTING_NUMBER, PLATE_AT(rotation_deg), 1, 1, -360, 360, "0", NULL,
     "how far the plate is turned, anticlockwise from above"},
    {"plate", "size_mm", UF_SETTING_NUMBER, PLATE_AT(size_x_mm), 2, 2, 1, 5000, NULL, NULL,
     "x, y of the top"},
    {"plate", "surface_mm", UF_SETTING_NUMBER, PLATE_AT(surface_mm), 1, 1, 0, 1000, NULL, NULL,
     "height of the top, mat included, above the point that at_mm of the cells counts from"},
    {"plate", "rated_n", UF_SETTING_NUMBER, PLATE_AT(rated_n), 1, 1, 0, 1e6, "0", NULL,
     "rated vertical load; 0: not known"},
};

static const struct uf_setting cell[] = {
    {"cell", "at_mm", UF_SETTING_NUMBER, CELL_AT(x_mm), 2, 3, -5000, 5000, NULL, NULL,
     "x, y and, where it is not 0, z of the cell, from below the centre of the top"},
    {"cell", "turn_deg", UF_SETTING_NUMBER, CELL_AT(turn_deg), 1, 1, -360, 360, "0", NULL,
     "how far the cell's own axes are turned, anticlockwise from above"},
    {"cell", "channels", UF_SETTING_CHANNEL, CELL_AT(channel), 1, 3, 0, UF_CHANNELS_MAX - 1, NULL,
     NULL, "channel of each output that the cell has"},
    {"cell", "n_per_count", UF_SETTING_AXES, CELL_AT(n_per_count), 1, 3, -1e6, 1e6, NULL, NULL,
     "newtons a count of each output, from the data sheet; minus where it counts downwards"},
    {"cell", "rated_n", UF_SETTING_AXES, CELL_AT(rated_n), 0, 3, 0, 1e6, "", NULL,
     "rated load of each output; left out: not known"},
};

#define ROWS(table) (sizeof(table) / sizeof(table)[0])
_Static_assert(ROWS(plain) <= UF_ROWS_MAX, "UF_ROWS_MAX is too small");

const struct uf_section_table uf_section_table[UF_SECTION_KINDS] = {
    [UF_SECTION_PLAIN] = {plain, ROWS(plain)},
    [UF_SECTION_PLATE] = {plate, ROWS(plate)},
    [UF_SECTION_CELL] = {cell, ROWS(cell)},
};

/* ---- which section ---- */

static int no_section(const char *title, struct uf_error *err)
{
    const char *nearest = NULL;
    size_t best = UF_SETTING_HINT + 1;
    static const char *const others[] = {"plate left", "plate right", "plate single"};
    for (size_t i = 0; i < ROWS(plain) + ROWS(others); i++) {
        const char *name = i < ROWS(plain) ? plain[i].section : others[i - ROWS(plain)];
        size_t d = uf_setting_distance(title, name);
        if (d < best) {
            best = d;
            nearest = name;
        }
    }
    if (nearest)
        return uf_fail(err, UF_EINVAL, "there is no section [%s]; did you mean [%s]?", title,
                       nearest);
    return uf_fail(err, UF_EINVAL,
                   "there is no section [%s]; there are [link], [daemon], [page], [golfer], "
                   "[live], [zero], [trigger], [analysis], [rig], [plate left], [cell left 1], ...",
                   title);
}

static bool parse_place(const char *word, enum uf_place *out)
{
    for (int p = 0; p < UF_PLACES; p++)
        if (!strcmp(word, uf_place_name((enum uf_place)p))) {
            *out = (enum uf_place)p;
            return true;
        }
    return false;
}

static int parse_cell_name(const char *word, struct uf_section *out, struct uf_error *err)
{
    size_t n = strlen(word);
    bool good = n > 0 && n < sizeof out->cell;
    for (size_t i = 0; i < n; i++)
        good = good && (isalnum((unsigned char)word[i]) || word[i] == '_' || word[i] == '-');
    if (!good)
        return uf_fail(err, UF_EINVAL,
                       "[%s]: name the cell with 1 to %zu letters and digits, as in [cell left 1]",
                       out->title, sizeof out->cell - 1);
    strcpy(out->cell, word);
    return UF_OK;
}

int uf_section_parse(const char *title, size_t n, struct uf_section *out, struct uf_error *err)
{
    memset(out, 0, sizeof *out);
    char word[3][UF_TITLE_MAX] = {{0}};
    size_t words = 0, used = 0;
    for (size_t i = 0; i < n; words++) {
        while (i < n && isspace((unsigned char)title[i]))
            i++;
        size_t from = i;
        while (i < n && !isspace((unsigned char)title[i]))
            i++;
        size_t length = i - from;
        if (length == 0)
            break;
        if (words == 3 || used + length + 1 >= sizeof out->title)
            return uf_fail(err, UF_EINVAL, "there is no section [%.*s]", (int)(n < 60 ? n : 60),
                           title);
        memcpy(word[words], title + from, length);
        if (used)
            out->title[used++] = ' ';
        memcpy(out->title + used, title + from, length);
        used += length;
    }
    if (words == 1)
        for (size_t i = 0; i < ROWS(plain); i++)
            if (!strcmp(word[0], plain[i].section)) {
                out->kind = UF_SECTION_PLAIN;
                out->name = plain[i].section;
                return UF_OK;
            }
    bool is_plate = !strcmp(word[0], "plate"), is_cell = !strcmp(word[0], "cell");
    if (!is_plate && !is_cell)
        return no_section(out->title, err);
    if (!parse_place(word[1], &out->place))
        return uf_fail(err, UF_EINVAL, "[%s]: say which plate: %s left, %s right or %s single",
                       out->title, word[0], word[0], word[0]);
    if (is_plate && words == 2) {
        out->kind = UF_SECTION_PLATE;
        return UF_OK;
    }
    if (is_plate)
        return no_section(out->title, err);
    out->kind = UF_SECTION_CELL;
    return parse_cell_name(word[2], out, err);
}

int uf_section_row(const struct uf_section *section, const char *key, const struct uf_setting **row,
                   struct uf_error *err)
{
    const struct uf_section_table *t = &uf_section_table[section->kind];
    const char *name = section->kind == UF_SECTION_PLAIN ? section->name : NULL;
    *row = uf_setting_find(t->row, t->rows, name, key);
    if (*row)
        return UF_OK;
    size_t best = UF_SETTING_HINT + 1;
    const char *nearest = NULL;
    for (size_t i = 0; i < t->rows; i++) {
        size_t d = uf_setting_distance(key, t->row[i].key);
        if (d < best && (!name || !strcmp(name, t->row[i].section))) {
            best = d;
            nearest = t->row[i].key;
        }
    }
    if (nearest)
        return uf_fail(err, UF_EINVAL, "[%s] has no key \"%.60s\"; did you mean %s?",
                       section->title, key, nearest);
    for (int kind = 0; kind < UF_SECTION_KINDS; kind++) {
        const struct uf_setting *other =
            uf_setting_find(uf_section_table[kind].row, uf_section_table[kind].rows, NULL, key);
        if (other)
            return uf_fail(err, UF_EINVAL, "[%s] has no key \"%.60s\"; it belongs to [%s%s]",
                           section->title, key, other->section,
                           kind == UF_SECTION_PLAIN ? "" : " ...");
    }
    return uf_fail(err, UF_EINVAL,
                   "[%s] has no key \"%.60s\"; underfootd --print-config shows all keys",
                   section->title, key);
}

/* ---- new ones ---- */

static void set_initial(enum uf_section_kind kind, void *base)
{
    const struct uf_section_table *t = &uf_section_table[kind];
    for (size_t i = 0; i < t->rows; i++)
        if (t->row[i].initial)
            uf_setting_assign(&t->row[i], base, t->row[i].initial, NULL);
}

void uf_section_new_plate(struct uf_plate *p, enum uf_place place)
{
    memset(p, 0, sizeof *p);
    p->place = place;
    set_initial(UF_SECTION_PLATE, p);
}

void uf_section_new_cell(struct uf_cell *c, const char *name)
{
    memset(c, 0, sizeof *c);
    strncpy(c->name, name, sizeof c->name - 1);
    c->channel[0] = c->channel[1] = c->channel[2] = -1;
    set_initial(UF_SECTION_CELL, c);
}

void uf_config_settle(struct uf_config *c)
{
    c->pipeline.form = c->link.form;
}

void uf_config_defaults(struct uf_config *c)
{
    memset(c, 0, sizeof *c);
    uf_rig_example(&c->rig);
    set_initial(UF_SECTION_PLAIN, c);
    uf_config_settle(c);
}
