/* SPDX-License-Identifier: MIT
 * A database that somebody else has written: the one of a lesson, of which the tables demand
 * nothing any more (no NOT NULL, no CHECK, no STRICT), with values put into it by a script of
 * steps: which table, which column, which kind of value, its bytes. Then one command of
 * `underfoot`, or what the page asks. No crash; a status of ours; what is printed is plain text, or
 * JSON. */
#include "studio_near.h"

#include "daemon/page_read.h"

#define STEPS_MAX   6
#define TABLES_MAX  64
#define COLUMNS_MAX 160

static char *template;
static size_t template_n;
static struct {
    char name[64];
    int columns;
    char column[COLUMNS_MAX][64];
} table[TABLES_MAX];
static int tables;

static const char *const commands[][5] = {
    {"swings"},
    {"swings", "--json"},
    {"swing", "1"},
    {"swing", "last", "--json"},
    {"player", "list"},
    {"player", "show", "A. N. Other"},
    {"session", "list"},
    {"session", "show"},
    {"session", "show", "1", "--json"},
    {"block", "list"},
    {"compare", "swings", "1", "2"},
    {"compare", "blocks", "1", "2"},
    {"rederive", "1"},
    {"mark", "2", "--top", "1.5"},
    {"swing", "extra", "1", "spin", "2500"},
    {"swing", "label", "2", "1"},
    {"erase", "A. N. Other", "--yes"},
    {"doctor"},
    {"session", "start", "A. N. Other"},
    {"block", "start", "drill"},
};
#define COMMANDS (sizeof commands / sizeof commands[0])

static void run_db(sqlite3 *db, const char *sql)
{
    char *why = NULL;
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK) {
        fprintf(stderr, "%s: %s\n", sql, why);
        abort();
    }
}

static sqlite3 *open_raw(void)
{
    sqlite3 *db;
    REQUIRE(sqlite3_open(studio_place->db, &db) == SQLITE_OK);
    run_db(db, "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON");
    return db;
}

static void list_columns(sqlite3 *db)
{
    sqlite3_stmt *q;
    REQUIRE(
        sqlite3_prepare_v2(db,
                           "SELECT m.name, c.name FROM sqlite_master m, pragma_table_info(m.name)"
                           " c WHERE m.type = 'table' ORDER BY m.name, c.cid",
                           -1, &q, NULL) == SQLITE_OK);
    while (sqlite3_step(q) == SQLITE_ROW) {
        const char *name = (const char *)sqlite3_column_text(q, 0);
        if (tables == 0 || strcmp(table[tables - 1].name, name) != 0) {
            REQUIRE(tables < TABLES_MAX);
            snprintf(table[tables++].name, 64, "%s", name);
        }
        int *n = &table[tables - 1].columns;
        if (*n < COLUMNS_MAX)
            snprintf(table[tables - 1].column[(*n)++], 64, "%s",
                     (const char *)sqlite3_column_text(q, 1));
    }
    sqlite3_finalize(q);
}

static void make_template(char config[96])
{
    studio_near(config);
    sqlite3 *db = open_raw();
    run_db(db, "PRAGMA writable_schema = ON;"
               "DELETE FROM sqlite_master WHERE type = 'trigger';"
               "UPDATE sqlite_master SET sql = replace(replace(replace(sql, 'NOT NULL', ''),"
               " ') STRICT', ')'), ', WITHOUT ROWID', ' WITHOUT ROWID') WHERE type = 'table';"
               "PRAGMA writable_schema = RESET; PRAGMA wal_checkpoint(TRUNCATE);"
               "PRAGMA journal_mode = DELETE; VACUUM");
    list_columns(db);
    sqlite3_close(db);
    FILE *f = fopen(studio_place->db, "rb");
    REQUIRE(f && fseek(f, 0, SEEK_END) == 0);
    template_n = (size_t)ftell(f);
    rewind(f);
    template = malloc(template_n);
    REQUIRE(template && fread(template, 1, template_n, f) == template_n);
    fclose(f);
}

static void bind(sqlite3_stmt *q, int kind, const uint8_t *p, size_t n)
{
    static const double odd[] = {-1, 1e308, -1e-320, 0.5, 1e18, 4294967296.0};
    int64_t v = 0;
    memcpy(&v, p, n < sizeof v ? n : sizeof v);
    switch (kind) {
    case 0:
        sqlite3_bind_null(q, 1);
        break;
    case 1:
        sqlite3_bind_int64(q, 1, v);
        break;
    case 2:
        sqlite3_bind_double(q, 1, n ? odd[p[0] % 6] : (double)INFINITY);
        break;
    case 3:
        sqlite3_bind_text(q, 1, (const char *)p, (int)n, SQLITE_STATIC);
        break;
    case 4:
        sqlite3_bind_blob(q, 1, n ? p : (const uint8_t *)"", (int)n, SQLITE_STATIC);
        break;
    default:
        sqlite3_bind_zeroblob(q, 1, 100000);
    }
}

/* One step: a value into a column of all rows, or of the first; or bytes in the midst of what is
 * there; or the rows away. */
static void damage(sqlite3 *db, struct fuzz_script *s)
{
    char sql[600];
    int t = fuzz_take(s) % tables, c = fuzz_take(s) % table[t].columns;
    uint8_t how = fuzz_take(s);
    int cut = 2 * fuzz_take(s), from = 4 * fuzz_take(s);
    size_t n = fuzz_take(s);
    n = n < s->left ? n : s->left;
    const char *where = how & 0x80 ? " LIMIT 1" : "";
    const char *name = table[t].name, *column = table[t].column[c];
    if (how % 8 == 7)
        snprintf(sql, sizeof sql, "DELETE FROM \"%s\"", name);
    else if (how % 8 == 6)
        snprintf(sql, sizeof sql,
                 "UPDATE \"%s\" SET \"%s\" = CAST(substr(CAST(\"%s\" AS BLOB), 1, %d) || ?1 ||"
                 " substr(CAST(\"%s\" AS BLOB), %d) AS %s)",
                 name, column, column, cut, column, from, how & 0x40 ? "BLOB" : "TEXT");
    else if (*where)
        snprintf(sql, sizeof sql,
                 "UPDATE \"%s\" SET \"%s\" = ?1 WHERE \"%s\" = (SELECT min(\"%s\") FROM \"%s\")",
                 name, column, column, column, name);
    else
        snprintf(sql, sizeof sql, "UPDATE OR IGNORE \"%s\" SET \"%s\" = ?1", name, column);
    sqlite3_stmt *q;
    if (sqlite3_prepare_v2(db, sql, -1, &q, NULL) == SQLITE_OK) {
        if (how % 8 != 7)
            bind(q, how % 8 == 6 ? 4 : how % 8, s->p, n);
        (void)sqlite3_step(q);
    }
    sqlite3_finalize(q);
    s->p += n;
    s->left -= n;
}

static void require_lines(const char *text)
{
    for (size_t left = strlen(text), n; left > 0; text += n, left -= n) {
        n = *text == '\n' ? 1 : uf_utf8_character((const uint8_t *)text, left);
        REQUIRE(n > 0);
    }
}

static void ask(const char *config, const char *const *words)
{
    struct said r = studio_run(config, words);
    bool json = false;
    for (int i = 0; words[i]; i++)
        json = json || !strcmp(words[i], "--json");
    REQUIRE(r.rc >= 0 && r.rc <= 3);
    require_lines(r.err);
    require_lines(r.out);
    REQUIRE(r.rc == 0 || *r.err || *r.out);
    json_t *said = json && r.rc == 0 ? json_loads(r.out, 0, NULL) : NULL;
    REQUIRE(!json || r.rc || said);
    json_decref(said);
    done(r);
}

static void ask_page(void)
{
    struct uf_error err = {0};
    json_t *json = NULL;
    int rc = uf_page_read_list(studio_place->db, &json, &err);
    if (rc)
        require_refusal(rc, &err);
    REQUIRE(rc ? !json : json_is_object(json));
    json_decref(json);
    rc = uf_page_read_swing(studio_place->db, 0, &json, &err);
    if (rc)
        require_refusal(rc, &err);
    REQUIRE(rc ? !json : json_is_object(json));
    json_decref(json);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static char config[96];
    if (!*config)
        make_template(config);
    struct fuzz_script s = {data, size};
    size_t command = fuzz_take(&s) % (COMMANDS + 2);
    FILE *f = fopen(studio_place->db, "wb");
    REQUIRE(f && fwrite(template, 1, template_n, f) == template_n && fclose(f) == 0);
    char beside[120];
    snprintf(beside, sizeof beside, "%s-wal", studio_place->db);
    (void)unlink(beside);
    snprintf(beside, sizeof beside, "%s-shm", studio_place->db);
    (void)unlink(beside);
    sqlite3 *db = open_raw();
    run_db(db, "PRAGMA synchronous = OFF; BEGIN");
    for (int i = 0; i < STEPS_MAX && s.left > 0; i++)
        damage(db, &s);
    run_db(db, "COMMIT");
    sqlite3_close(db);
    if (command < COMMANDS)
        ask(config, commands[command]);
    else
        ask_page();
    return 0;
}
