/* SPDX-License-Identifier: MIT
 * Speed of the whole chain, bytes to metrics, on one core: as a multiple of real time, by stage,
 * and as a ratio to the same computation in numpy and scipy from decoded counts in the same run.
 *   bench_chain [SWINGS [RATE_HZ [path of chain_numpy.py]]]      default 20 1000 */
#include "lesson.h"
#include "swing/analysis.h"

#include <math.h>
#include <unistd.h>

#define STEPS_MAX 400
#define TURNS     5

/* Numbers that tell whether numpy's computation is the same. */
static const enum uf_metric checked[] = {UF_M_total_vertical_peak_n, UF_M_lead_vertical_peak_n,
                                         UF_M_target_peak_n, UF_M_turn_peak_nm};
enum { CHECKED = sizeof checked / sizeof checked[0] };

struct work {
    const struct uf_rig *rig;
    const struct uf_calibration *cal;
    const struct uf_analysis_settings *settings;
    bool analyse;
    double analysis_s;
    int swings;
    double value[CHECKED][STEPS_MAX], u[CHECKED][STEPS_MAX];
};

static void take(void *context, struct uf_capture *c)
{
    struct work *w = context;
    if (w->analyse) {
        double begin = now_s();
        struct uf_analysis *a;
        struct uf_error err;
        if (uf_analyse(c, w->rig, w->cal, w->settings, &a, &err))
            give_up(err.text);
        for (int k = 0; k < CHECKED && w->swings < STEPS_MAX; k++) {
            w->value[k][w->swings] = a->value[checked[k]];
            w->u[k][w->swings] = a->sd[checked[k]];
        }
        uf_analysis_free(a);
        w->analysis_s += now_s() - begin;
    }
    w->swings++;
    uf_capture_free(c);
}

static double decode_only(const struct lesson *l)
{
    struct uf_wire *wire;
    struct uf_wire_event e;
    if (uf_wire_new(&wire, UF_FORM_AUTO, NULL))
        give_up("no memory");
    double begin = now_s();
    for (size_t at = 0; at < l->n;)
        at += uf_wire_feed(wire, l->bytes + at, l->n - at, &e);
    double took = now_s() - begin;
    uf_wire_free(wire);
    return took;
}

/* What chain_numpy.py reads: see its read(). */
static void write_counts(const char *path, const struct lesson *l, const struct uf_rig *rig,
                         const struct uf_calibration *cal, bool right_handed, double rate_hz)
{
    FILE *f = fopen(path, "wb");
    if (!f)
        give_up("cannot write the counts for numpy");
    struct uf_wire *wire;
    struct uf_wire_event e;
    if (uf_wire_new(&wire, UF_FORM_AUTO, NULL))
        give_up("no memory");
    int64_t head[5] = {0, rig->channels, (int64_t)rate_hz, right_handed, 0};
    fwrite(head, sizeof head, 1, f);
    double tare[UF_CHANNELS_MAX] = {0}, mount[UF_PLATES_MAX][3];
    long tare_at = ftell(f);
    fwrite(tare, sizeof tare[0], (size_t)rig->channels, f);
    for (int p = 0; p < rig->plates; p++)
        for (int k = 0; k < UF_COMPONENTS; k++)
            fwrite(cal->plate[p].c[k], sizeof(double), (size_t)rig->channels, f);
    for (int p = 0; p < rig->plates; p++) {
        mount[p][0] = rig->plate[p].centre_x_mm;
        mount[p][1] = rig->plate[p].centre_y_mm;
        mount[p][2] = rig->plate[p].surface_mm;
    }
    fwrite(mount, sizeof mount, 1, f);
    for (size_t at = 0; at < l->n;) {
        at += uf_wire_feed(wire, l->bytes + at, l->n - at, &e);
        if (e.kind != UF_WIRE_SAMPLE)
            continue;
        if (head[0] < 2000) /* the lesson begins with empty plates */
            for (int c = 0; c < rig->channels; c++)
                tare[c] += e.frame.counts_raw[c] / 2000.0;
        fwrite(e.frame.counts_raw, sizeof(int32_t), (size_t)rig->channels, f);
        head[0]++;
    }
    fseek(f, 0, SEEK_SET);
    fwrite(head, sizeof head, 1, f);
    fseek(f, tare_at, SEEK_SET);
    fwrite(tare, sizeof tare[0], (size_t)rig->channels, f);
    if (fclose(f))
        give_up("cannot write the counts for numpy");
    uf_wire_free(wire);
}

static int nearest(const double *of, int n, double value)
{
    int best = 0;
    for (int i = 1; i < n && i < STEPS_MAX; i++)
        if (fabs(of[i] - value) < fabs(of[best] - value))
            best = i;
    return best;
}

/* Runs numpy's version; prints its ratios and how well its numbers agree. */
static void against_numpy(const char *script, const char *path, double ours_s, double real_s,
                          const struct work *w)
{
    char command[1024];
    snprintf(command, sizeof command, "env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE %s %s", script,
             path);
    fflush(stdout);
    FILE *f = popen(command, "r");
    if (!f)
        give_up("cannot run chain_numpy.py");
    char name[64];
    double value, off[CHECKED] = {0}, u_off[CHECKED] = {0};
    int compared = 0, same = 0; /* our swing that numpy's is */
    while (fscanf(f, "%63s %lf", name, &value) == 2) {
        bool is_way = true;
        for (int k = 0; k < CHECKED; k++) {
            const char *ours = uf_metric_row(checked[k])->name;
            if (strcmp(name, ours) == 0) {
                if (k == 0) {
                    same = nearest(w->value[k], w->swings, value);
                    compared++;
                }
                off[k] = fmax(off[k], fabs(w->value[k][same] - value));
                is_way = false;
            } else if (strncmp(name, "u_", 2) == 0 && strcmp(name + 2, ours) == 0) {
                u_off[k] = fmax(u_off[k], 100 * fabs(w->u[k][same] / value - 1));
                is_way = false;
            }
        }
        if (is_way)
            printf("numpy/scipy, %-10s %9.3f s  %8.0f x real time; ours is %.1f times as fast\n",
                   name, value, real_s / value, value / ours_s);
    }
    if (pclose(f) != 0)
        give_up("chain_numpy.py failed");
    printf("same computation: %d swings found by numpy, %d by us\n", compared, w->swings);
    for (int k = 0; k < CHECKED; k++)
        printf("  %-24s agrees within %.3f %s, its uncertainty within %.0f %%\n",
               uf_metric_row(checked[k])->name, off[k], uf_metric_row(checked[k])->unit, u_off[k]);
}

int main(int argc, char **argv)
{
    int swings = argc > 1 ? atoi(argv[1]) : 20;
    double rate_hz = argc > 2 ? atof(argv[2]) : 1000;
    const char *script = argc > 3 ? argv[3] : NULL;
    struct uf_config config;
    uf_config_defaults(&config);
    struct uf_sim_step steps[STEPS_MAX];
    size_t n = 0;
    steps[n++] = (struct uf_sim_step){UF_SIM_EMPTY, 5};
    steps[n++] = (struct uf_sim_step){UF_SIM_WALK_ON, 0};
    for (int i = 0; i < swings && n + 5 < STEPS_MAX; i++) {
        steps[n++] = (struct uf_sim_step){UF_SIM_WAGGLE, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_ADDRESS, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_BALL, 0};
        steps[n++] = (struct uf_sim_step){UF_SIM_STAND, 4};
    }
    struct uf_sim_settings s;
    uf_sim_defaults(&s);
    uf_sim_golfer_random(&s.golfer, 7);
    s.golfer.hand = UF_RIGHT_HANDED;
    s.rig = config.rig;
    s.rate_hz = rate_hz;
    struct lesson l;
    lesson_make(&l, &s, steps, n, 0);
    struct uf_calibration cal;
    uf_sim_true_calibration(l.sim, &cal);

    double decode_s = INFINITY, whole_s = INFINITY, analysis_s = INFINITY;
    static struct work w; /* large */
    for (int turn = 0; turn < TURNS; turn++) {
        decode_s = fmin(decode_s, decode_only(&l));
        w = (struct work){
            .rig = &config.rig, .cal = &cal, .settings = &config.analysis, .analyse = true};
        double begin = now_s();
        lesson_play(&l, &config.pipeline, &config.rig, take, &w);
        whole_s = fmin(whole_s, now_s() - begin);
        analysis_s = fmin(analysis_s, w.analysis_s);
    }
    double real_s = (double)l.samples / rate_hz;
    double chain_s = whole_s - decode_s - analysis_s;
    printf("%.0f s of signal, %.0f samples a second x %d channels, %d swings, best of %d\n\n",
           real_s, rate_hz, config.rig.channels, w.swings, TURNS);
    printf("%-34s %9s %12s %12s\n", "stage", "s", "ns a sample", "x real time");
    const struct {
        const char *name;
        double s;
    } row[] = {{"bytes to frames (CRC, COBS)", decode_s},
               {"zero, forces, live filter, trigger", chain_s},
               {"analysis of the swings", analysis_s},
               {"whole chain", whole_s}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
        printf("%-34s %9.3f %12.0f %12.0f\n", row[i].name, row[i].s,
               1e9 * row[i].s / (double)l.samples, real_s / row[i].s);
    printf("analysis: %.0f us a swing\n\n", 1e6 * analysis_s / w.swings);
    if (script) {
        char path[] = "/tmp/underfoot-bench-XXXXXX";
        int fd = mkstemp(path);
        if (fd < 0)
            give_up("cannot make a temporary file");
        close(fd);
        write_counts(path, &l, &config.rig, &cal, true, rate_hz);
        against_numpy(script, path, whole_s, real_s, &w);
        unlink(path);
    }
    lesson_free(&l);
    return 0;
}
