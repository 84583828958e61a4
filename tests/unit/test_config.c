/* SPDX-License-Identifier: MIT
 * underfoot.conf: defaults, reading, a sentence with file and line for each kind of mistake, and
 * printing that reads back to the same. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/setting.h"
#include "config/config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define PLATE_LEFT                                                                                 \
    "[plate left]\ncentre_mm = -210, 0\nsize_mm = 400, 600\nsurface_mm = 60\n"                     \
    "[cell left 1]\nat_mm = -160, -250\nchannels = z:0\nn_per_count = z:4e-4\n"                    \
    "[cell left 2]\nat_mm = 160, -250\nchannels = z:1\nn_per_count = z:4e-4\n"                     \
    "[cell left 3]\nat_mm = 160, 250\nchannels = z:2\nn_per_count = z:4e-4\n"
#define PLATE_RIGHT                                                                                \
    "[plate right]\ncentre_mm = 210, 0\nsize_mm = 400, 600\nsurface_mm = 60\n"                     \
    "[cell right 1]\nat_mm = -160, -250\nchannels = z:3\nn_per_count = z:4e-4\n"                   \
    "[cell right 2]\nat_mm = 160, -250\nchannels = z:4\nn_per_count = z:4e-4\n"                    \
    "[cell right 3]\nat_mm = 160, 250, 5\nchannels = x:6, y:7 z:5\n"                               \
    "n_per_count = x:1e-4 y:-2e-4 z:4e-4\nrated_n = z:2000\nturn_deg = 90\n"

static int read_text(struct uf_config *c, const char *text, struct uf_error *err)
{
    return uf_config_read_text(c, "underfoot.conf", text, strlen(text), err);
}

/* The text is refused with this sentence, or one that begins so, and nothing has changed. */
static void refused(const char *text, const char *sentence)
{
    struct uf_config c, before;
    struct uf_error err = {0};
    uf_config_defaults(&c);
    uf_config_defaults(&before);
    int rc = read_text(&c, text, &err);
    if (rc != UF_EINVAL || strncmp(err.text, sentence, strlen(sentence)))
        print_error("%s\n-> %d %s\nnot %s\n", text, rc, err.text, sentence);
    assert_int_equal(rc, UF_EINVAL);
    assert_memory_equal(err.text, sentence, strlen(sentence));
    assert_memory_equal(&c, &before, sizeof c);
}

/* The fields of a struct whose comment ends in its default, as in `double x_s; (0.5)`: each is a
 * key of the section, with that default. Returns how many. */
static int documented(const char *header, const char *name, const char *section)
{
    char path[512], line[300], start[80], key[60], number[60], want[130];
    snprintf(path, sizeof path, "%s/../src/%s", UF_TESTS_DIR, header);
    snprintf(start, sizeof start, "struct %s {", name);
    FILE *in = fopen(path, "r");
    assert_non_null(in);
    struct uf_config c;
    char *text = NULL;
    size_t n = 0;
    uf_config_defaults(&c);
    FILE *out = open_memstream(&text, &n);
    uf_config_print(&c, out);
    fclose(out);
    snprintf(line, sizeof line, "\n[%s]\n", section);
    char *from = strstr(text, line);
    assert_non_null(from);
    *strstr(from, "\n\n") = '\0';
    bool inside = false;
    int count = 0;
    while (fgets(line, sizeof line, in)) {
        if (!strncmp(line, start, strlen(start)))
            inside = true;
        else if (line[0] == '}')
            inside = false;
        char *open = strrchr(line, '(');
        if (!inside || !open || sscanf(line, " double %59[a-z_];", key) != 1 ||
            sscanf(open, "(%59[0-9.]) */", number) != 1)
            continue;
        snprintf(want, sizeof want, "\n%s = %s", key, number);
        char *found = strstr(from, want);
        if (!found || (found[strlen(want)] != '\n' && found[strlen(want)] != '\0'))
            fail_msg("%s says (%s) of %s, and [%s] has another default", header, number, key,
                     section);
        count++;
    }
    fclose(in);
    free(text);
    return count;
}

static void test_defaults(void **state)
{
    (void)state;
    struct uf_config c;
    uf_config_defaults(&c);
    assert_int_equal(c.link.type, UF_LINK_SERIAL);
    assert_int_equal(c.link.baud, 921600);
    assert_int_equal(c.link.form, UF_FORM_AUTO);
    assert_true(c.link.stale_s == 0.5);
    assert_string_equal(c.daemon.database, "/var/lib/underfoot/underfoot.db");
    assert_string_equal(c.daemon.control, "/run/underfoot/control");
    assert_string_equal(c.daemon.record, "");
    assert_int_equal(c.daemon.queue, 64);
    assert_int_equal(c.pipeline.hand, UF_RIGHT_HANDED);
    assert_true(c.pipeline.live_cutoff_hz == 20);
    assert_true(documented("plate/tare.h", "uf_tare_settings", "zero") >= 5);
    assert_true(documented("swing/segment.h", "uf_segment_settings", "trigger") >= 8);
    struct uf_analysis_settings a;
    uf_analysis_defaults(&a);
    assert_true(c.analysis.cutoff_hz == a.cutoff_hz && c.analysis.order == a.order);
    assert_true(c.analysis.cop_min_n == a.cop_min_n);
    struct uf_rig example;
    uf_rig_example(&example);
    assert_memory_equal(&c.rig, &example, sizeof example);
    struct uf_error err;
    assert_int_equal(uf_rig_check(&c.rig, &err), UF_OK);
}

static void test_reads(void **state)
{
    (void)state;
    struct uf_config c;
    struct uf_error err;
    uf_config_defaults(&c);
    assert_int_equal(read_text(&c,
                               "\xef\xbb\xbf# a studio\r\n[ link ]\r\n  type=tcp ; a bridge\r\n"
                               "device = bay2:4000\r\n\tform : text\r\nboard_id = 00112233AABBCCDD"
                               "\r\n\r\n[golfer]\nhandedness = left\n[zero]\nempty_n = 1.25e1",
                               &err),
                     UF_OK);
    assert_int_equal(c.link.type, UF_LINK_TCP);
    assert_string_equal(c.link.device, "bay2:4000");
    assert_int_equal(c.link.form, UF_FORM_TEXT);
    assert_int_equal(c.pipeline.form, UF_FORM_TEXT);
    assert_string_equal(c.link.board_id, "00112233aabbccdd");
    assert_int_equal(c.pipeline.hand, UF_LEFT_HANDED);
    assert_true(c.pipeline.tare.empty_n == 12.5);
    assert_int_equal(c.rig.plates, 2); /* the example's */
    assert_string_equal(c.rig.name, "example");
    /* on top of what is there */
    assert_int_equal(read_text(&c, "", &err), UF_OK);
    assert_int_equal(c.link.type, UF_LINK_TCP);
}

static void test_reads_a_rig(void **state)
{
    (void)state;
    struct uf_config c;
    struct uf_error err;
    uf_config_defaults(&c);
    assert_int_equal(read_text(&c, PLATE_RIGHT PLATE_LEFT, &err), UF_OK);
    assert_string_equal(c.rig.name, "rig"); /* not the example's any more */
    assert_int_equal(c.rig.plates, 2);
    assert_int_equal(c.rig.channels, 8);
    assert_int_equal(c.rig.plate[0].place, UF_PLACE_LEFT);
    const struct uf_plate *p = &c.rig.plate[1];
    assert_int_equal(p->place, UF_PLACE_RIGHT);
    assert_true(p->centre_x_mm == 210 && p->centre_y_mm == 0 && p->size_x_mm == 400);
    assert_true(p->size_y_mm == 600 && p->surface_mm == 60 && p->rotation_deg == 0);
    assert_int_equal(p->cells, 3);
    const struct uf_cell *cell = &p->cell[2];
    assert_string_equal(cell->name, "3");
    assert_true(cell->x_mm == 160 && cell->y_mm == 250 && cell->z_mm == 5 && cell->turn_deg == 90);
    assert_int_equal(cell->channel[0], 6);
    assert_int_equal(cell->channel[1], 7);
    assert_int_equal(cell->channel[2], 5);
    assert_true(cell->n_per_count[0] == 1e-4 && cell->n_per_count[1] == -2e-4);
    assert_true(cell->rated_n[0] == 0 && cell->rated_n[2] == 2000);
    assert_int_equal(p->cell[0].channel[0], -1);
    assert_int_equal(p->cell[0].channel[1], -1);

    /* one plate alone, sections in any order, the cell first, its section in two parts */
    uf_config_defaults(&c);
    assert_int_equal(
        read_text(&c,
                  "[cell single a]\nat_mm=-100,-100\n[rig]\nname=mine\n[cell single b]\n"
                  "at_mm=100,-100\nchannels=z:1\nn_per_count=z:1\n[cell single c]\nat_mm=0,100\n"
                  "channels=z:2\nn_per_count=z:1\n[cell single a]\nchannels=z:0\nn_per_count=z:1\n"
                  "[plate single]\ncentre_mm=0,0\nsize_mm=300,300\nsurface_mm=0\n",
                  &err),
        UF_OK);
    assert_int_equal(c.rig.plates, 1);
    assert_string_equal(c.rig.name, "mine");
    assert_int_equal(c.rig.plate[0].cells, 3);
    assert_int_equal(c.rig.plate[0].place, UF_PLACE_SINGLE);
}

static void test_mistakes_in_lines(void **state)
{
    (void)state;
    refused("[links]\n", "underfoot.conf:1: there is no section [links]; did you mean [link]?");
    refused("# x\n\n[swing]\n", "underfoot.conf:3: there is no section [swing]");
    refused("[]\n", "underfoot.conf:1: there is no section []");
    refused("[lnik]\nbaud = 5\n",
            "underfoot.conf:1: there is no section [lnik]; did you mean [link]");
    refused("[link\nbaud = 5\n", "underfoot.conf:1: the section has no ]");
    refused("[link] baud = 5\n", "underfoot.conf:1: there is something after the section's ]");
    refused("baud = 5\n", "underfoot.conf:1: the key stands before the first [section]");
    refused("[link]\nbaud 9600\n", "underfoot.conf:2: this is neither a [section], a key = value");
    refused("[link]\nbuad = 9600\n",
            "underfoot.conf:2: [link] has no key \"buad\"; did you mean baud?");
    refused("[link]\nqueue = 9\n",
            "underfoot.conf:2: [link] has no key \"queue\"; it belongs to [daemon]");
    refused("[link]\nsomething = 9\n", "underfoot.conf:2: [link] has no key \"something\"; ");
    refused("[link]\n = 9\n", "underfoot.conf:2: [link] has no key \"\"");
    refused("[link]\nbaud = 9600\n[daemon]\n[link]\nbaud = 9600\n",
            "underfoot.conf:5: [link] baud was already given in line 2; keep one of them");
    refused("[link]\nbaud = 9600\x01\n", "underfoot.conf:2: the line holds the byte 0x01");
    const char with_nul[] = "[link]\nbaud = 96\0"
                            "00\n";
    struct uf_config c;
    struct uf_error err;
    uf_config_defaults(&c);
    assert_int_equal(uf_config_read_text(&c, "u", with_nul, sizeof with_nul - 1, &err), UF_EINVAL);
    assert_string_equal(err.text, "u:2: the line holds the byte 0x00, which is not text");
    /* the first mistake is the one that is told */
    refused("[link]\nwhat\nbaud = x\n", "underfoot.conf:2: this is neither");
    refused("[link]\nbaud = x\nwhat\n", "underfoot.conf:2: [link] baud: \"x\"");
}

static void test_long_lines(void **state)
{
    (void)state;
    char text[400] = "[daemon]\ndatabase = /";
    size_t n = strlen(text);
    memset(text + n, 'a', 159);
    strcpy(text + n + 159, "\n");
    struct uf_config c;
    struct uf_error err;
    uf_config_defaults(&c);
    assert_int_equal(read_text(&c, text, &err), UF_OK);
    assert_int_equal(strlen(c.daemon.database), UF_SETTING_TEXT_MAX);
    strcpy(text + n + 159, "a\n");
    refused(text, "underfoot.conf:2: [daemon] database: ");
    memset(text + n, 'a', 250);
    strcpy(text + n + 250, "\n[link]\n");
    refused(text, "underfoot.conf:2: the line has 262 characters; a line can have 198");
    /* as a comment too: inih would read its rest as a line */
    text[9] = '#';
    refused(text, "underfoot.conf:2: the line has 262 characters");
}

static void test_mistakes_in_values(void **state)
{
    (void)state;
    refused("[link]\nbaud = fast\n", "underfoot.conf:2: [link] baud: \"fast\" is not a whole "
                                     "number; give a whole number, 1200 to 12000000");
    refused("[link]\nbaud = 115200x\n",
            "underfoot.conf:2: [link] baud: \"115200x\" is not a whole");
    refused("[link]\nbaud = 9600.5\n", "underfoot.conf:2: [link] baud: \"9600.5\" is not a whole");
    refused("[link]\nbaud =\n", "underfoot.conf:2: [link] baud: \"\" is not a whole number");
    refused("[link]\nbaud = 0x2580\n", "underfoot.conf:2: [link] baud: \"0x2580\" is not a whole");
    refused("[link]\nbaud = 99999999999999999999\n", "underfoot.conf:2: [link] baud: \"9999");
    refused("[link]\nbaud = 300\n", "underfoot.conf:2: [link] baud: \"300\" is out of range; give");
    refused("[link]\nbaud = 9600 # slow\n",
            "underfoot.conf:2: [link] baud: \"9600 # slow\" is not a whole number; give a whole "
            "number, 1200 to 12000000 (a comment after a value begins with ' ;')");
    const char *not_numbers[] = {"nan",  "NAN",  "inf",  "-inf", "infinity", "0x1p3", "1,5",
                                 "1.5s", "1e",   "",     "--1",  "1e999",    "1 2",   "e",
                                 ".",    "0x10", "1.5.", "+",    "1d3"};
    for (size_t i = 0; i < sizeof not_numbers / sizeof not_numbers[0]; i++) {
        char text[80];
        snprintf(text, sizeof text, "[zero]\nstill_s = %s\n", not_numbers[i]);
        refused(text, "underfoot.conf:2: [zero] still_s: \"");
    }
    refused("[zero]\nstill_s = 0.1\n",
            "underfoot.conf:2: [zero] still_s: \"0.1\" is out of range; give 0.2 to 60");
    refused("[zero]\nstill_s = 60.001\n", "underfoot.conf:2: [zero] still_s: \"60.001\" is out of");
    refused("[link]\ntype = usb\n", "underfoot.conf:2: [link] type: \"usb\" is not one of the "
                                    "choices; give serial | raw | tcp | replay");
    refused("[golfer]\nhandedness = Right\n",
            "underfoot.conf:2: [golfer] handedness: \"Right\" is");
    refused("[link]\nboard_id = 1234\n", "underfoot.conf:2: [link] board_id: \"1234\" is not such "
                                         "a number; give nothing, or 16 hex digits");
    refused("[link]\nboard_id = 00112233445566xx\n", "underfoot.conf:2: [link] board_id: ");
    refused("[link]\ndevice =\n", "underfoot.conf:2: [link] device: \"\" is empty; give text");
}

static void test_mistakes_in_a_rig(void **state)
{
    (void)state;
    refused(PLATE_LEFT, "underfoot.conf:1: there is a [plate left] but no [plate right]");
    refused(PLATE_RIGHT, "underfoot.conf:1: there is a [plate right] but no [plate left]");
    refused(PLATE_LEFT PLATE_RIGHT "[plate single]\ncentre_mm=0,0\nsize_mm=1,1\nsurface_mm=0\n",
            "underfoot.conf:35: a rig has [plate left] and [plate right], or [plate single] alone");
    refused("[plate middle]\n", "underfoot.conf:1: [plate middle]: say which plate");
    refused("[plate]\n", "underfoot.conf:1: [plate]: say which plate: plate left, plate right");
    refused("[plate left 1]\n", "underfoot.conf:1: there is no section [plate left 1]; did you");
    refused("[cell left]\n", "underfoot.conf:1: [cell left]: name the cell with 1 to 15");
    refused("[cell left a.b]\n", "underfoot.conf:1: [cell left a.b]: name the cell");
    refused("[cell left 1 2]\n", "underfoot.conf:1: there is no section [cell left 1 2]");
    refused("[rig]\n[cell left 1]\n", "underfoot.conf:2: there is no [plate left] for this cell");
    refused("[plate left]\nsize_mm = 400, 600\nsurface_mm = 60\n",
            "underfoot.conf:1: [plate left] needs centre_mm: x, y of the centre");
    refused(PLATE_LEFT "[cell left 4]\nat_mm = 0, 0\nn_per_count = z:1\n",
            "underfoot.conf:17: [cell left 4] needs channels: ");
    refused(
        PLATE_LEFT "[cell left 4]\nat_mm = 0\n",
        "underfoot.conf:18: [cell left 4] at_mm: \"0\" has too few numbers; give 2 or 3 numbers");
    refused(PLATE_LEFT "[cell left 4]\nat_mm = 0, 1, 2, 3\n",
            "underfoot.conf:18: [cell left 4] at_mm: \"0, 1, 2, 3\" has too many numbers");
    refused(PLATE_LEFT "[cell left 4]\nat_mm = 0, , 2\n",
            "underfoot.conf:18: [cell left 4] at_mm: \"0, , 2\" holds what is not a number");
    const char *channels[][2] = {{"q:1", "is not of the form axis:number"},
                                 {"x", "is not of the form axis:number"},
                                 {"x:", "is not of the form axis:number"},
                                 {"7", "is not of the form axis:number"},
                                 {"x:1 x:2", "gives an axis twice"},
                                 {"x:1.5", "holds what is not a whole number"},
                                 {"x:48", "is out of range; give channels of 0 to 47"},
                                 {"x:-1", "is out of range"},
                                 {"", "names no axis"}};
    for (size_t i = 0; i < sizeof channels / sizeof channels[0]; i++) {
        char text[100], sentence[200];
        snprintf(text, sizeof text, "[cell left 4]\nchannels = %s\n", channels[i][0]);
        snprintf(sentence, sizeof sentence, "underfoot.conf:2: [cell left 4] channels: \"%s\" %s",
                 channels[i][0], channels[i][1]);
        refused(text, sentence);
    }
    refused("[cell left 4]\nn_per_count = x:nan\n",
            "underfoot.conf:2: [cell left 4] n_per_count: \"x:nan\" holds what is not a number");
    /* what only the whole shows: told at the cell's section */
    refused(
        PLATE_LEFT PLATE_RIGHT "[cell right 4]\nat_mm=0,0\nchannels=z:2\nn_per_count=z:1\n",
        "underfoot.conf:35: channel 2 is given twice: to z of cell 3 of the left plate and to z "
        "of cell 4 of the right plate");
    refused(PLATE_LEFT PLATE_RIGHT "[cell right 4]\nat_mm=0,301\nchannels=z:9\nn_per_count=z:1\n",
            "underfoot.conf:35: cell 4 of the right plate: its place 0, 301 mm is outside");
    refused(
        PLATE_LEFT PLATE_RIGHT "[cell right 4]\nat_mm=0,1\nchannels=z:9\nn_per_count=x:1\n",
        "underfoot.conf:35: cell 4 of the right plate: its z output has a channel but no scale");
    char many[4000] = PLATE_LEFT;
    for (int i = 4; i <= 13; i++)
        sprintf(many + strlen(many), "[cell left %d]\n", i);
    refused(many, "underfoot.conf:26: [cell left 13]: the left plate already has 12 cells");
}

/* Prints c and reads it back over the defaults. */
static void round_trip(const struct uf_config *c)
{
    char *text = NULL;
    size_t n = 0;
    FILE *out = open_memstream(&text, &n);
    assert_non_null(out);
    uf_config_print(c, out);
    fclose(out);
    struct uf_config back;
    struct uf_error err = {0};
    uf_config_defaults(&back);
    int rc = uf_config_read_text(&back, "printed", text, n, &err);
    if (rc)
        print_error("%s\n%s\n", text, err.text);
    assert_int_equal(rc, UF_OK);
    assert_memory_equal(&back, c, sizeof back);
    free(text);
}

static void test_print_reads_back(void **state)
{
    (void)state;
    struct uf_config c;
    struct uf_error err;
    uf_config_defaults(&c);
    round_trip(&c);
    c.link.type = UF_LINK_REPLAY;
    c.link.pace = UF_PACE_FAST;
    strcpy(c.link.device, "/srv/lessons/left handed; 3.bin");
    strcpy(c.link.board_id, "00ff00ff00ff00ff");
    c.link.stale_s = nextafter(0.3, 1);
    c.pipeline.segment.still_pct = 1.0 / 3;
    c.pipeline.tare.warn_n = 0.1 + 0.2;
    c.analysis.cutoff_hz = nextafter(50, 0);
    c.pipeline.hand = UF_LEFT_HANDED;
    c.rig.plate[0].rotation_deg = -1.0 / 7;
    c.rig.plate[1].cell[2].n_per_count[1] = -4e-4 / 3;
    c.rig.plate[1].cell[2].z_mm = 1e-3 / 3;
    round_trip(&c);
    assert_int_equal(read_text(&c, PLATE_LEFT PLATE_RIGHT, &err), UF_OK);
    round_trip(&c);
    assert_int_equal(uf_config_set(&c, "cell left 1.rated_n=x:-0 z:1", &err), UF_OK);
    assert_int_equal(uf_config_set(&c, "plate left.rotation_deg=-0.0", &err), UF_OK);
    round_trip(&c);
    srand(7);
    for (int i = 0; i < 200; i++) {
        for (int k = 0; k < 3; k++)
            c.rig.plate[0].cell[1].rated_n[k] = rand() * (1e6 / RAND_MAX) * (rand() % 4 > 0);
        c.rig.plate[0].cell[1].n_per_count[2] = 1e-7 * (1 + rand());
        round_trip(&c);
    }
}

static void test_print_explains(void **state)
{
    (void)state;
    struct uf_config c;
    uf_config_defaults(&c);
    char *text = NULL;
    size_t n = 0;
    FILE *out = open_memstream(&text, &n);
    uf_config_print(&c, out);
    fclose(out);
    assert_non_null(strstr(text, "[zero]\n# the plates must be still for so long (0.2 to 60; "
                                 "default 2)\nstill_s = 2\n"));
    assert_non_null(strstr(text, "(serial | raw | tcp | replay; default serial)\ntype = serial\n"));
    assert_non_null(strstr(text, "[cell right 4]\nat_mm = 160, 250, 0\nturn_deg = 0\n"
                                 "channels = x:21 y:22 z:23\n"
                                 "n_per_count = x:0.0002 y:0.0002 z:0.0004\n"));
    free(text);
}

static void set_refused(struct uf_config *c, const char *assignment, const char *sentence)
{
    struct uf_error err = {0};
    struct uf_config before = *c;
    assert_int_not_equal(uf_config_set(c, assignment, &err), UF_OK);
    if (strncmp(err.text, sentence, strlen(sentence)))
        print_error("%s\nnot %s\n", err.text, sentence);
    assert_memory_equal(err.text, sentence, strlen(sentence));
    assert_memory_equal(c, &before, sizeof before);
}

static void test_assignments(void **state)
{
    (void)state;
    struct uf_config c;
    struct uf_error err;
    uf_config_defaults(&c);
    assert_int_equal(uf_config_set(&c, "link.device=/dev/pts/3", &err), UF_OK);
    assert_string_equal(c.link.device, "/dev/pts/3");
    assert_int_equal(uf_config_set(&c, "link.device=/a.b/c=d", &err), UF_OK);
    assert_string_equal(c.link.device, "/a.b/c=d");
    assert_int_equal(uf_config_set(&c, "link.form=binary", &err), UF_OK);
    assert_int_equal(c.pipeline.form, UF_FORM_BINARY);
    assert_int_equal(uf_config_set(&c, "plate left.rated_n = 5000", &err), UF_OK);
    assert_true(c.rig.plate[0].rated_n == 5000);
    assert_int_equal(uf_config_set(&c, "cell right 2.channels=x:40 y:41 z:42", &err), UF_OK);
    assert_int_equal(c.rig.plate[1].cell[1].channel[2], 42);
    assert_int_equal(c.rig.channels, 43);
    set_refused(&c, "device=/dev/x", "\"device=/dev/x\" is not of the form section.key=value");
    set_refused(&c, "link.device", "\"link.device\" is not of the form");
    set_refused(&c, "lnk.device=x", "\"lnk.device=x\": there is no section [lnk]; did you mean");
    set_refused(&c, "link.baud=1", "\"link.baud=1\": baud: \"1\" is out of range");
    set_refused(&c, "link.device=a ;b", "\"link.device=a ;b\": device: \"a ;b\" begins or ends");
    set_refused(&c, "plate single.rated_n=1",
                "\"plate single.rated_n=1\": the rig \"example\" has "
                "no [plate single]");
    set_refused(&c, "cell left 9.turn_deg=1", "\"cell left 9.turn_deg=1\": the rig");
    set_refused(&c, "cell left 1.channels=z:42",
                "\"cell left 1.channels=z:42\": channel 42 is given twice");
    set_refused(&c, "plate left.centre_mm=400, 0",
                "\"plate left.centre_mm=400, 0\": the left plate (centre at x = 400 mm)");
}

static void test_files(void **state)
{
    (void)state;
    struct uf_config c;
    struct uf_error err;
    uf_config_defaults(&c);
    assert_int_equal(uf_config_read(&c, "/nonexistent/underfoot.conf", &err), UF_ENOTFOUND);
    assert_string_equal(err.text, "cannot open the configuration /nonexistent/underfoot.conf: No "
                                  "such file or directory; name it with --config FILE, or make "
                                  "one with underfootd --print-config > FILE");
    assert_int_equal(uf_config_read(&c, "/tmp", &err), UF_EIO);
    char path[] = "/tmp/uf_config_XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    FILE *f = fdopen(fd, "w");
    fputs("[link]\nbaud = 115200", f);
    fclose(f);
    assert_int_equal(uf_config_read(&c, path, &err), UF_OK);
    assert_int_equal(c.link.baud, 115200);
    f = fopen(path, "w");
    for (int i = 0; i < 1 << 15; i++)
        fputs("# this is a very long comment file\n", f);
    fclose(f);
    assert_int_equal(uf_config_read(&c, path, &err), UF_EINVAL);
    assert_non_null(strstr(err.text, "has more than 1048576 bytes"));
    unlink(path);
}

/* Any text: no crash, and what is accepted is sound and prints back to itself. */
static void test_damaged_text(void **state)
{
    (void)state;
    struct uf_config c;
    char *text = NULL;
    size_t n = 0;
    uf_config_defaults(&c);
    FILE *out = open_memstream(&text, &n);
    uf_config_print(&c, out);
    fclose(out);
    srand(11);
    int accepted = 0;
    for (int i = 0; i < 1500; i++) {
        char *copy = malloc(n);
        assert_non_null(copy);
        memcpy(copy, text, n);
        for (int k = rand() % 3; k >= 0; k--)
            copy[(size_t)rand() % n] = "\n[]=:;#.,0 x\0\xff"[rand() % 14];
        uf_config_defaults(&c);
        struct uf_error err = {0};
        if (!uf_config_read_text(&c, "damaged", copy, n - (size_t)rand() % n, &err)) {
            accepted++;
            round_trip(&c);
        } else {
            assert_int_equal(strncmp(err.text, "damaged", 7), 0);
        }
        free(copy);
    }
    assert_true(accepted > 100);
    free(text);
}

static void test_distance(void **state)
{
    (void)state;
    assert_int_equal(uf_setting_distance("", "abc"), 3);
    assert_int_equal(uf_setting_distance("kitten", "sitting"), 3);
    assert_int_equal(uf_setting_distance("buad", "baud"), 1);
    assert_int_equal(uf_setting_distance("still_n", "still_n"), 0);
    assert_int_equal(uf_setting_distance("ca", "abc"), 3); /* no letter moves twice */
    char longest[80];
    memset(longest, 'a', 79);
    longest[79] = '\0';
    assert_true(uf_setting_distance(longest, "a") > 1000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_defaults),
        cmocka_unit_test(test_reads),
        cmocka_unit_test(test_reads_a_rig),
        cmocka_unit_test(test_mistakes_in_lines),
        cmocka_unit_test(test_long_lines),
        cmocka_unit_test(test_mistakes_in_values),
        cmocka_unit_test(test_mistakes_in_a_rig),
        cmocka_unit_test(test_print_reads_back),
        cmocka_unit_test(test_print_explains),
        cmocka_unit_test(test_assignments),
        cmocka_unit_test(test_files),
        cmocka_unit_test(test_damaged_text),
        cmocka_unit_test(test_distance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
