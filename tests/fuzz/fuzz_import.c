/* SPDX-License-Identifier: MIT
 * Any words and any file for `underfoot import`, beside the database of a lesson: the input begins
 * with words of the command line (each ends in a newline, an empty one ends them), the rest is the
 * CSV file. Always with --dry-run: whatever happens, not a byte of the database changes; what is
 * said is plain text, or JSON. */
#include "studio_near.h"

#define WORDS_MAX 20

static char *read_all(const char *path, size_t *n)
{
    FILE *f = fopen(path, "rb");
    REQUIRE(f && fseek(f, 0, SEEK_END) == 0);
    *n = (size_t)ftell(f);
    rewind(f);
    char *bytes = malloc(*n + 1);
    REQUIRE(bytes && fread(bytes, 1, *n, f) == *n);
    fclose(f);
    return bytes;
}

static void require_lines(const char *text)
{
    for (size_t left = strlen(text), n; left > 0; text += n, left -= n) {
        n = *text == '\n' ? 1 : uf_utf8_character((const uint8_t *)text, left);
        REQUIRE(n > 0);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static char config[96], csv[120], *before;
    static size_t before_n;
    if (!*config) {
        studio_near(config);
        snprintf(csv, sizeof csv, "%.64s/f.csv", studio_place->folder);
        before = read_all(studio_place->db, &before_n);
    }
    char *text = fuzz_text(data, size), *p = text;
    const char *words[WORDS_MAX + 4] = {"import", csv, "--dry-run"};
    int n = 3;
    bool json = false;
    while (n < WORDS_MAX && p < text + size && *p != '\n') {
        words[n] = p;
        p += strcspn(p, "\n");
        *p++ = '\0';
        json = json || !strcmp(words[n], "--json");
        if (strcmp(words[n], "--help") != 0 && strcmp(words[n], "--database") != 0 &&
            strncmp(words[n], "--database=", 11) != 0 && strncmp(words[n], "--config", 8) != 0)
            n++;
    }
    words[n] = NULL;
    p += p < text + size;
    FILE *f = fopen(csv, "wb");
    REQUIRE(f);
    size_t left = p < text + size ? (size_t)(text + size - p) : 0;
    REQUIRE(fwrite(p, 1, left, f) == left);
    fclose(f);
    struct said r = studio_run(config, words);
    REQUIRE(r.rc >= 0 && r.rc <= 3);
    require_lines(r.out);
    require_lines(r.err);
    REQUIRE(r.rc == 0 ? *r.out != '\0' : *r.err != '\0');
    if (r.rc == 0 && json) {
        json_t *said = json_loads(r.out, 0, NULL);
        REQUIRE(said && json_is_false(json_object_get(said, "written")));
        json_decref(said);
    }
    done(r);
    size_t after_n;
    char *after = read_all(studio_place->db, &after_n);
    REQUIRE(after_n == before_n && !memcmp(after, before, after_n));
    free(after);
    free(text);
    return 0;
}
