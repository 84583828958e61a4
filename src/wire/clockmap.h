/* SPDX-License-Identifier: MIT
 * Device clock to host clock, robust to late arrival. Arrival = offset + rate * device + delay with
 * delay >= 0, so the truth is the lower envelope: the edge of the lower convex hull over the mean
 * abscissa (Zhang, Liu & Xia, INFOCOM 2002; same optimum as Moon, Skelly & Towsley, INFOCOM 1999).
 * Pure: the caller gives both times. No allocation after new. */
#ifndef UF_WIRE_CLOCKMAP_H
#define UF_WIRE_CLOCKMAP_H

#include "base/error.h"

#include <stdbool.h>
#include <stdint.h>

struct uf_clockmap;

/* window_s: how far back the fit looks, 5..3600 (60 is usual). */
int uf_clockmap_new(struct uf_clockmap **out, double window_s, struct uf_error *err);
void uf_clockmap_free(struct uf_clockmap *m);

/* One pair: the device time of the newest sample in a read, and the host's time at that read, of
 * a clock that never steps (uf_clock_mono_us). Device times must grow; one that does not is
 * ignored. Cheap enough for each read: pairs are thinned to one candidate per 50 ms inside, and
 * the fit is made when such a stretch ends. */
void uf_clockmap_feed(struct uf_clockmap *m, int64_t t_dev_us, int64_t t_host_us);
/* After a reboot (a new epoch) or a jump: begin again. */
void uf_clockmap_reset(struct uf_clockmap *m);

/* Host time of a device time. Device times up to the newest one fed, mapped in their order, give
 * host times in order for as long as this returns true (but for a correction of more than 100 ms,
 * which is a jump).
 * False until two pairs at least 2 s apart were seen, and when the fit is off by more than
 * 1000 ppm, which is no clock's drift: then the host time has rate 1 and the least offset of the
 * last 2 s, and drift_ppm is NAN. */
bool uf_clockmap_host_us(const struct uf_clockmap *m, int64_t t_dev_us, int64_t *t_host_us);
/* (device rate error) 1e6 * (host seconds per device second - 1); NAN when not known. */
double uf_clockmap_drift_ppm(const struct uf_clockmap *m);

#endif
