/* SPDX-License-Identifier: MIT
 * How many bytes a stored channel-sample takes, beside the entropy of its noise: no lossless code
 * can do better than log2(sigma sqrt(2 pi e)) bits on white Gaussian noise of sigma counts. Signals
 * are invented: quiet standing, and the pulses of a swing. Prints a table; arguments: none. */
#include "store/raw_codec.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define CHANNELS 24
#define RATE_HZ  1000

struct chance {
    uint64_t state;
};

static double uniform(struct chance *c)
{
    c->state += 0x9E3779B97F4A7C15u; /* splitmix64 */
    uint64_t z = c->state;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    z ^= z >> 31;
    return ((double)(z >> 11) + 0.5) / 9007199254740992.0;
}

static double normal(struct chance *c)
{
    return sqrt(-2 * log(uniform(c))) * cos(6.283185307179586 * uniform(c));
}

static double gauss(double t, double at, double width)
{
    double u = (t - at) / width;
    return exp(-0.5 * u * u);
}

/* Counts of one channel at t without noise: an offset, sway, and with swing pulses of a golfer, of
 * up to span counts. */
static double signal(int channel, double t, double span, int swing)
{
    double share = 0.3 + 0.7 * fabs(sin(channel + 1.0)), offset = 20000 * sin(3.0 * channel);
    double v = offset + span * share * (0.4 + 0.004 * sin(2 * t) + 0.002 * sin(7.3 * t + channel));
    if (swing)
        v += span * share *
             (0.5 * gauss(t, 2.6, 0.25) + 0.9 * gauss(t, 3.25, 0.06) - 0.4 * gauss(t, 3.0, 0.08) +
              0.1 * gauss(t, 3.32, 0.008) * sin(400 * t));
    return v;
}

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static struct uf_capture *make(size_t samples, double sigma, double span, int swing, int step)
{
    struct uf_hello board = {
        .protocol = 1, .channels = CHANNELS, .adc_bits = 24, .rate_hz = RATE_HZ};
    struct uf_capture *c;
    struct chance chance = {samples + (uint64_t)(1000 * sigma)};
    if (uf_capture_new(&c, &board, samples, NULL))
        exit(1);
    c->quiet_known = true;
    for (int k = 0; k < CHANNELS; k++) {
        c->tare_raw[k] = 2000 + 300 * normal(&chance);
        c->quiet_raw[k] = 9000 + 300 * normal(&chance);
    }
    for (size_t i = 0; i < samples; i++) {
        c->offset_us[i] = (uint32_t)(1000 * i + (size_t)(3 * uniform(&chance)));
        c->inputs[i] = i > samples / 2 && i < samples / 2 + 4;
        for (int k = 0; k < CHANNELS; k++) {
            double v = signal(k, (double)i / RATE_HZ, span, swing) + sigma * normal(&chance);
            c->counts_raw[i * CHANNELS + (size_t)k] = (int32_t)lround(v / step) * step;
        }
    }
    return c;
}

int main(void)
{
    static const double sigmas[] = {0, 0.5, 3, 20, 150, 630, 5000};
    printf("raw codec: %d channels at %d Hz, 24-bit counts\n", CHANNELS, RATE_HZ);
    printf("%-16s %7s %8s | %9s %9s %7s | %8s %8s\n", "signal", "samples", "noise", "noise",
           "stored", "over", "encode", "decode");
    printf("%-16s %7s %8s | %9s %9s %7s | %8s %8s\n", "", "", "counts", "bytes/ch", "bytes/ch",
           "bits", "ms", "ms");
    for (size_t lines = 0; lines < 4; lines++)
        for (size_t i = 0; i < sizeof sigmas / sizeof sigmas[0]; i++) {
            static const char *const names[] = {"quiet standing", "swing", "long swing",
                                                "16-bit, swing"};
            size_t samples = lines == 2 ? 8000 : 4000;
            int step = lines == 3 ? 256 : 1;
            double sigma = sigmas[i] * step;
            struct uf_capture *c = make(samples, sigma, 8e5, lines > 0, step), *back;
            uint8_t *bytes;
            size_t n;
            struct uf_error err;
            double t0 = now_s();
            if (uf_raw_encode(c, &bytes, &n, &err)) {
                fprintf(stderr, "%s\n", err.text);
                return 1;
            }
            double t1 = now_s();
            if (uf_raw_decode(bytes, n, &back, &err) || !uf_capture_equal(c, back)) {
                fprintf(stderr, "not the same: %s\n", err.text);
                return 1;
            }
            double t2 = now_s();
            /* in steps: quantisation adds 1/12 of a step's square */
            double s = sqrt(sigmas[i] * sigmas[i] + 1.0 / 12);
            double bits = log2(s * sqrt(6.283185307179586 * 2.718281828459045));
            double stored = (double)n / (double)(samples * CHANNELS);
            if (sigmas[i] < 0.3)
                bits = 0; /* no noise: the formula does not hold */
            printf("%-16s %7zu %8.1f | %9.3f %9.3f %7.2f | %8.1f %8.1f\n", names[lines], samples,
                   sigma, bits / 8, stored, 8 * stored - bits, 1e3 * (t1 - t0), 1e3 * (t2 - t1));
            free(bytes);
            uf_capture_free(c);
            uf_capture_free(back);
        }
    return 0;
}
