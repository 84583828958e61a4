#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The computation of the measuring chain in numpy and scipy, from counts that are decoded already.

Called by bench_chain with a file that it wrote (by bench_rederive with a file of swings and the word
"swings": their analysis alone). On one core:
  stream     blocks of 16 samples as they arrive, as a live instrument in Python would have to
  recording  everything at once over the whole recording, as an offline script would
  values     the same without the uncertainties
All end in the same analysis of each swing: zero-phase low-pass (and the softer one), curves, peaks
by a polynomial fitted to the crest, moments, what is read at peaks and moments, impulses, travel,
the couple; then all of it again for each of 36 changes of calibration, zero and mounting, 10
records of noise, the softer low-pass and 10 shifts of moments. Seconds are of the processor. Prints
`way seconds` lines and, for the check that it is the same computation, some numbers of each swing.
"""
import os
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ[name] = "1"
import struct
import sys
import time

import numpy as np
from scipy import signal

BIN = 4  # samples of a 4 ms bin at 1 kHz


def read(path):
    """Records of a recording, or of a swing with the sample number of its trigger."""
    with open(path, "rb") as f:
        while head := f.read(40):
            n, channels, rate, right, trigger = struct.unpack("<5q", head)
            tare = np.frombuffer(f.read(8 * channels), "<f8")
            matrix = np.frombuffer(f.read(8 * 2 * 6 * channels), "<f8").reshape(2, 6, channels)
            mount = np.frombuffer(f.read(8 * 6), "<f8").reshape(2, 3)  # centre x, y, surface (mm)
            counts = np.frombuffer(f.read(4 * n * channels), "<i4").reshape(n, channels)
            yield counts, tare, matrix, mount, bool(right), rate, trigger


def ground(wrench, mount):
    """COP (rig frame, mm) and free moment of one plate; wrench is (n, 6)."""
    fx, fy, fz, mx, my, mz = wrench.T
    h = mount[2] / 1000
    with np.errstate(all="ignore"):
        x = np.where(fz >= 25, (-my + h * fx) / fz, np.nan)
        y = np.where(fz >= 25, (mx + h * fy) / fz, np.nan)
    tz = mz - x * fy + y * fx
    return 1000 * x + mount[0], 1000 * y + mount[1], tz


def both(w0, w1, g0, g1):
    fz = w0[:, 2] + w1[:, 2]
    a, b = np.nan_to_num(g0[0]), np.nan_to_num(g1[0])
    c, d = np.nan_to_num(g0[1]), np.nan_to_num(g1[1])
    with np.errstate(all="ignore"):
        x = (w0[:, 2] * a + w1[:, 2] * b) / fz
        y = (w0[:, 2] * c + w1[:, 2] * d) / fz
    toe = ((a - x) * w0[:, 1] + (b - x) * w1[:, 1]) / 1000
    target = -((c - y) * w0[:, 0] + (d - y) * w1[:, 0]) / 1000
    return x, y, toe + target + np.nan_to_num(g0[2]) + np.nan_to_num(g1[2]), toe, target


def bins_of(left, right):
    n = len(left) // BIN * BIN
    return left[:n].reshape(-1, BIN).mean(1), right[:n].reshape(-1, BIN).mean(1)


def rolling(x, width):
    """Mean and SD of the last `width` bins."""
    s = np.concatenate(([0.0], np.cumsum(x)))
    q = np.concatenate(([0.0], np.cumsum(x * x)))
    mean = (s[width:] - s[:-width]) / width
    sd = np.sqrt(np.maximum((q[width:] - q[:-width]) / width - mean * mean, 0))
    return mean, sd


def find(left, right, right_handed):
    """Triggers, as sample numbers: the same thresholds as the segmenter, on whole arrays."""
    total = left + right
    width = int(0.5 / 0.004)
    mean, sd = rolling(total, width)
    sd_left, sd_right = rolling(left, width)[1], rolling(right, width)[1]
    still = (mean > 150) & (sd < 0.015 * mean) & (sd_left < 0.015 * mean) & (sd_right < 0.015 * mean)
    weight = np.full(len(total), np.nan)
    at = np.where(still)[0] + width - 1
    weight[at] = mean[still]
    index = np.where(np.isnan(weight), 0, np.arange(len(weight)))
    weight = weight[np.maximum.accumulate(index)]
    weight[total < 105] = np.nan
    lead, trail = (left, right) if right_handed else (right, left)
    slope = np.full(len(lead), -np.inf)
    slope[12:] = (lead[12:] - lead[:-12]) / 0.048 / weight[12:]
    triggers, after = [], 0
    for i in np.where(slope >= 2.5)[0]:
        if i < after:
            continue
        k = i + int(np.argmax(slope[i:i + 87])) - 6
        w = weight[k]
        before = slice(max(k - 200, 0), k + 1)
        if (trail[max(k - 325, 0):k + 12].max() / w < 0.6 or lead[before].min() / w > 0.6
                or lead[before].min() / w < 0.02 or total[max(k - 400, 0):k - 150].mean() / w < 0.8
                or lead[k:k + 100].max() / w < 0.7 or total[k - 75:k + 100].min() / w < 0.4):
            continue
        triggers.append(k * BIN)
        after = k + 375
    return triggers


LEAD_V, TRAIL_V, TOTAL_V, TARGET, LEAD_T, TRAIL_T, LEAD_F, TRAIL_F, TURN, SHARE = range(10)
FROM_TOE, FROM_TARGET, FREE, NET_T, NET_F = range(10, 15)  # then 4 rows of the feet's COPs
PEAKS = ((SHARE, 1), (SHARE, -1), (TOTAL_V, 1), (LEAD_V, 1), (TRAIL_V, 1), (TARGET, 1), (TARGET, -1),
         (LEAD_T, 1), (TRAIL_T, 1), (LEAD_F, -1), (LEAD_F, 1), (TRAIL_F, 1), (TRAIL_F, -1), (TURN, 1))


def plate_curves(w, mount, s):
    """Rows: vertical, target, toe, COP target, COP toe, free moment of a foot, golfer frame."""
    fx, fy, fz, mx, my, mz = w
    h = mount[2] / 1000
    with np.errstate(all="ignore"):
        x, y = (-my + h * fx) / fz, (mx + h * fy) / fz
    off = fz < 25
    x[off] = y[off] = np.nan
    tz = mz - x * fy + y * fx
    return np.stack((fz, s * fx, fy, s * (1000 * x + mount[0]), 1000 * y + mount[1], -s * tz))


def join(lead, trail):
    total = lead[0] + trail[0]
    a, b = np.nan_to_num(lead), np.nan_to_num(trail)
    with np.errstate(all="ignore"):
        there = np.where(a[3] != 0, a[0], 0) + np.where(b[3] != 0, b[0], 0)
        x = (a[0] * a[3] + b[0] * b[3]) / there
        y = (a[0] * a[4] + b[0] * b[4]) / there
        share = 100 * trail[0] / total
    toe = -((a[3] - x) * a[2] + (b[3] - x) * b[2]) / 1000
    target = ((a[4] - y) * a[1] + (b[4] - y) * b[1]) / 1000
    free = a[5] + b[5]
    return np.stack((lead[0], trail[0], total, lead[1] + trail[1], lead[1], trail[1], lead[2],
                     trail[2], toe + target + free, share, toe, target, free, x, y, lead[3],
                     lead[4], trail[3], trail[4]))


def peak(y, sign, lo, hi, near=None):
    """Place and value of an extreme, by a polynomial of the fourth degree over its crest."""
    y = sign * y
    if near is None:
        part = y[lo:hi + 1]
        k, least = lo + int(np.nanargmax(part)), np.nanmin(part)
    else:
        a = max(near[0] - 40, lo)
        k, least = a + int(np.nanargmax(y[a:min(near[0] + 41, hi + 1)])), near[3]
    if k <= lo or k >= hi:
        return k, float(k), sign * y[k], least
    a, b = max(k - 80, lo), min(k + 80, hi)
    low = y[a:b + 1] < y[k] - 0.03 * (y[k] - least)
    left, right = low[:k - a][::-1], low[k - a + 1:]
    left = int(np.argmax(left)) if left.any() else len(left)
    right = int(np.argmax(right)) if right.any() else len(right)
    width = max(left, right, 1)
    t = np.arange(-left, right + 1) / width
    degree = 4 if left + right >= 8 else 2
    if left + right < 2:
        return k, float(k), sign * y[k], least
    v = np.vander(t, degree + 1)
    c = np.linalg.solve(v.T @ v, v.T @ (y[k - left:k + right + 1] - y[k])).tolist()
    places = np.linspace(-left / width, right / width, 17)
    x = float(places[np.argmax(np.polyval(c, places))])
    for _ in range(4):
        slope = bend = value = 0.0
        for q in c:
            bend = bend * x + 2 * slope
            slope = slope * x + value
            value = value * x + q
        if not bend < 0:
            return k, float(k), sign * y[k], least
        x -= slope / bend
    value = 0.0
    for q in c:
        value = value * x + q
    return k, k + x * width, sign * (y[k] + value), least


def moments(c, trigger, rate, address):
    """First movement, top, arm, shaft, impact: grid positions, and their uncertainties."""
    def at(row, before, after, sign=1):
        a = max(trigger - int(before * rate), 0)
        return a + int(np.nanargmax(sign * c[row][a:trigger + int(after * rate)]))
    couple, target = at(FROM_TOE, 0.3, 0.35), at(TARGET, 0.5, 0.2)
    vertical = at(TOTAL_V, 0.2, 0.4)
    greatest = int(np.nanargmax(c[SHARE][:trigger + 1]))
    rise = c[SHARE][greatest] - address
    first = [np.flatnonzero(c[SHARE][:greatest] <= address + part * rise) for part in (0.2, 0.5)]
    first = [float(f[-1]) if len(f) else 0.0 for f in first]
    start = first[0] - 1.9748 * (first[1] - first[0]) - 0.0439 * rate
    impact = couple - 0.0906 * (target - couple) + 0.3857 * (vertical - couple) + 0.0943 * rate
    top = couple + 0.7503 * (target - couple) - 0.053 * rate
    down = impact - top
    place = np.array([max(start, 0), top, top + 0.579 * down, top + 0.83 * down, impact])
    return place, rate * np.array([0.0254, 0.0114, 0.008, 0.008, 0.0085])


def lobe(y, k, level, rate):
    y = y - level
    sign = np.sign(y[k])
    out = np.flatnonzero(sign * y <= 0)
    i = np.searchsorted(out, k)
    a = out[i - 1] + 1 if i > 0 else 0
    b = out[i] if i < len(out) else len(y)
    inner = y[a:b].sum() - 0.5 * (y[a] + y[b - 1])
    if a > 0:
        inner += 0.5 * y[a] ** 2 / (y[a] - y[a - 1])
    if b < len(y):
        inner += 0.5 * y[b - 1] ** 2 / (y[b - 1] - y[b])
    return inner / rate


def measure(c, event, weight, quiet, lo, hi, rate, near=None):
    """All numbers of a swing as one array; and the peaks."""
    found = [peak(c[row], sign, lo, hi, near[i] if near else None)
             for i, (row, sign) in enumerate(PEAKS)]
    place = np.array([f[1] for f in found])
    value = np.array([f[2] for f in found])
    start, top, _, _, impact = event
    anchors = np.concatenate((place[[2, 3, 4, 5, 13]], event[1:]))
    i = anchors.astype(int)
    part = anchors - i
    read = c[:, i] + part * (c[:, i + 1] - c[:, i])
    line = np.degrees(np.arctan2(read[16] - read[18], read[15] - read[17]))
    a, t, b = int(start + 0.5), int(top + 0.5), int(impact + 0.5)
    way = np.hypot(np.diff(c[NET_T, a:b + 1]), np.diff(c[NET_F, a:b + 1]))
    steep = []
    for row, n in ((TOTAL_V, 2), (LEAD_V, 3), (TURN, 13)):
        k = found[n][0]
        y = c[row][max(k - int(0.5 * rate), lo):k + 1]
        steep.append((y[30:] - y[:-30]).max() / 0.03)
    turn = c[[TURN, FROM_TOE, FROM_TARGET, FREE], t:b + 1]
    push, pull = np.maximum(-c[LEAD_F, t:b + 1], 0), np.maximum(c[TRAIL_F, t:b + 1], 0)
    return np.concatenate((
        [weight], 100 * quiet / weight, value, value / weight, place / rate, (place - impact) / rate,
        (place - top) / rate, 100 * (place - top) / (impact - top), steep,
        [lobe(c[TOTAL_V], found[2][0], weight, rate), lobe(c[TARGET], found[5][0], 0, rate),
         lobe(c[TURN], found[13][0], 0, rate)],
        (turn.sum(1) - 0.5 * (turn[:, 0] + turn[:, -1])) / rate,
        [place[11] - place[9], np.minimum(push, pull).sum() / np.maximum(push, pull).sum(),
         top - start, impact - top, (top - start) / (impact - top), place[13] - place[5],
         place[2] - place[13], np.nanmax(c[SHARE, a:t + 1]), way.sum(), way.max() * rate,
         np.ptp(c[NET_T, a:b + 1]), np.ptp(c[NET_F, a:b + 1])],
        read[[NET_T, NET_F, 15, 16, 17, 18, FROM_TOE, FROM_TARGET, FREE, SHARE]].ravel(), line)), found


def analyse(counts, tare, matrix, mount, right_handed, rate, trigger, uncertain):
    s = -1.0 if right_handed else 1.0
    feet = (0, 1) if right_handed else (1, 0)  # plate under the lead, the trail foot
    x = (counts - tare).T
    raw = np.concatenate((matrix[0] @ x, matrix[1] @ x))
    w, soft = (signal.sosfiltfilt(zero_phase(rate, part), raw, axis=1) for part in (1, 0.5 ** 0.25))
    foot = [plate_curves(w[6 * p:6 * p + 6], mount[p], s) for p in feet]
    c = join(*foot)
    still = [raw[6 * p:6 * p + 6, :500].mean(1) for p in feet]
    quiet = np.array([still[0][2], still[1][2]])
    weight = quiet.sum()
    lo, hi = max(trigger - int(1.4 * rate), 1), min(trigger + int(0.6 * rate), c.shape[1] - 2)
    event, event_u = moments(c, trigger, rate, 100 * quiet[1] / weight)
    value, found = measure(c, event, weight, quiet, lo, hi, rate)
    variance = np.zeros_like(value)
    if not uncertain:
        return value, variance

    def changed(curves, part=1.0, q=quiet):
        return part * (measure(curves, event, q.sum(), q, lo, hi, rate, found)[0] - value) ** 2

    pairs = [(r, r, u) for r, u in ((0, .01), (1, .01), (5, .01), (2, .003))]
    pairs += [(0, 2, .003), (1, 2, .003), (3, 2, .001), (4, 2, .001)]
    for k, p in enumerate(feet):
        mine = w[6 * p:6 * p + 6]
        for row, column, gain in pairs + [(row, None, .5 if row < 3 else .05) for row in range(6)]:
            other = mine.copy()
            q = quiet.copy()
            other[row] += gain * mine[column] if column is not None else gain
            if row == 2:
                q[k] += gain * quiet[k] if column is not None else gain
            one = [plate_curves(other, mount[p], s) if j == k else foot[j] for j in range(2)]
            variance += changed(join(*one), q=q)
        for row in range(3):
            other = mount[p].copy()
            other[row] += 1
            one = [plate_curves(mine, other, s) if j == k else foot[j] for j in range(2)]
            variance += changed(join(*one))
        a = np.radians(0.2)
        other = foot[k].copy()
        for i, j in ((1, 2), (3, 4)):
            other[i] = np.cos(a) * foot[k][i] - np.sin(a) * foot[k][j]
            other[j] = np.sin(a) * foot[k][i] + np.cos(a) * foot[k][j]
        variance += changed(join(*[other if j == k else foot[j] for j in range(2)]))
    noise_sd = np.sqrt((np.diff(raw[:, :500], 3, axis=1) ** 2).mean(1) / 20)
    rng = np.random.default_rng(1)
    n = w.shape[1]
    long = signal.sosfiltfilt(zero_phase(rate, 1), rng.standard_normal(n + 120 * 97))
    for r in range(10):
        noise = np.stack([long[(12 * r + k) * 97:][:n] for k in range(12)]) * noise_sd[:, None]
        one = [plate_curves(w[6 * p:6 * p + 6] + noise[6 * p:6 * p + 6], mount[p], s) for p in feet]
        variance += changed(join(*one), 0.1)
    variance += changed(join(*[plate_curves(soft[6 * p:6 * p + 6], mount[p], s) for p in feet]))
    for k in range(5):
        both = []
        for side in (-1, 1):
            moved = event.copy()
            moved[k] += side * event_u[k]
            both.append(measure(c, moved, weight, quiet, lo, hi, rate, found)[0])
        variance += (0.5 * (both[1] - both[0])) ** 2
    return value, np.sqrt(variance)


def zero_phase(rate, part):
    """Butterworth of order 2 for two passes with -3 dB at part * 50 Hz together."""
    wc = np.tan(np.pi * 50 * part / rate) / (2 ** 0.5 - 1) ** 0.25
    return signal.butter(2, np.arctan(wc) / np.pi * 2, output="sos")


def live_filter(rate):
    return signal.butter(2, 20, fs=rate, output="sos")


def swings(counts, triggers, rest, rate, uncertain):
    out = []
    for t in triggers:
        a, b = max(t - int(1.8 * rate), 0), min(t + int(1.5 * rate), len(counts))
        out.append(analyse(counts[a:b], *rest, t - a, uncertain))
    return out


def recording(counts, tare, matrix, mount, right_handed, rate, uncertain=True):
    w = [(counts - tare) @ matrix[p].T for p in range(2)]
    smooth = [signal.sosfilt(live_filter(rate), x, axis=0) for x in w]
    g = [ground(x, m) for x, m in zip(smooth, mount)]
    both(smooth[0], smooth[1], g[0], g[1])
    rolling(smooth[0][:, 2] + smooth[1][:, 2], 2 * rate)  # zero and drift
    np.abs(counts).max(axis=1)  # rails
    left, right = bins_of(w[0][:, 2], w[1][:, 2])
    return swings(counts, find(left, right, right_handed),
                  (tare, matrix, mount, right_handed, rate), rate, uncertain)


def values(*rest):
    return recording(*rest, uncertain=False)


def stream(counts, tare, matrix, mount, right_handed, rate):
    sos = live_filter(rate)
    state = [np.zeros((1, 2, 6)), np.zeros((1, 2, 6))]
    lefts, rights, history = [], [], np.zeros((2, 125))
    for i in range(0, len(counts), 16):
        block = counts[i:i + 16]
        w = []
        for p in range(2):
            x = (block - tare) @ matrix[p].T
            y, state[p] = signal.sosfilt(sos, x, axis=0, zi=state[p])
            w.append((x, y))
        g = [ground(w[p][1][-1:], mount[p]) for p in range(2)]
        both(w[0][1][-1:], w[1][1][-1:], g[0], g[1])
        left, right = bins_of(w[0][0][:, 2], w[1][0][:, 2])
        history = np.concatenate((history[:, len(left):], [left, right]), axis=1)
        history.std(axis=1), (history[0] + history[1]).std()  # still?
        lefts.append(left)
        rights.append(right)
    left, right = np.concatenate(lefts), np.concatenate(rights)
    return swings(counts, find(left, right, right_handed),
                  (tare, matrix, mount, right_handed, rate), rate, True)


def main():
    records = list(read(sys.argv[1]))
    if sys.argv[2:] == ["swings"]:
        begin = time.process_time()
        for record in records:
            analyse(*record, uncertain=True)
        print("swings", time.process_time() - begin)
        return
    *recorded, _ = records[0]
    for way, turns in ((stream, 1), (values, 3), (recording, 2)):
        best = np.inf
        for _ in range(turns):
            begin = time.process_time()
            found = way(*recorded)
            best = min(best, time.process_time() - begin)
        print(way.__name__, best)
    first = 3  # of the peaks' values: after the weight and both shares
    for value, u in found:
        for name, i in (("total_vertical_peak_n", 2), ("lead_vertical_peak_n", 3), ("target_peak_n", 5),
                        ("turn_peak_nm", 13)):
            print(name, value[first + i])
            print("u_" + name, u[first + i])


main()
