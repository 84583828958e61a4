/* SPDX-License-Identifier: MIT
 * xoshiro256** (Blackman & Vigna 2018), seeded by splitmix64: the only source of chance of a
 * simulation. Pure; any thread. */
#include "sim/sim.h"

#include <math.h>

static uint64_t rotated(uint64_t x, int by)
{
    return (x << by) | (x >> (64 - by));
}

void uf_sim_rng_seed(struct uf_sim_rng *r, uint64_t seed)
{
    for (int i = 0; i < 4; i++) {
        uint64_t z = (seed += 0x9E3779B97F4A7C15u);
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
        r->s[i] = z ^ (z >> 31);
    }
}

uint64_t uf_sim_rng_u64(struct uf_sim_rng *r)
{
    uint64_t *s = r->s;
    uint64_t result = rotated(s[1] * 5, 7) * 9, t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotated(s[3], 45);
    return result;
}

double uf_sim_rng_uniform(struct uf_sim_rng *r, double lo, double hi)
{
    return lo + (hi - lo) * ((double)(uf_sim_rng_u64(r) >> 11) * 0x1p-53);
}

/* Polar method of Marsaglia; the second number of the pair is not kept, so that a generator is its
 * four words and nothing else. */
double uf_sim_rng_normal(struct uf_sim_rng *r, double mean, double sd)
{
    for (;;) {
        uint64_t bits = uf_sim_rng_u64(r);
        double u = (double)(int32_t)(uint32_t)bits * 0x1p-31;
        double v = (double)(int32_t)(uint32_t)(bits >> 32) * 0x1p-31;
        double q = u * u + v * v;
        if (q > 0 && q < 1)
            return mean + sd * u * sqrt(-2 * log(q) / q);
    }
}
