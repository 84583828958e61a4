#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The computation of the measuring chain in numpy and scipy, from counts that are decoded already.

Called by bench_chain with a file that it wrote. Two ways, both on one core:
  stream     blocks of 16 samples as they arrive, as a live instrument in Python would have to
  recording  everything at once over the whole recording, as an offline script would
Both end in the same per-swing analysis (zero-phase low-pass, COP, free moment, turn, peaks). Prints
`name seconds` lines and, for the check that it is the same computation, each swing's greatest lead vertical
force in newtons.
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
    with open(path, "rb") as f:
        n, channels, rate, right = struct.unpack("<4q", f.read(32))
        tare = np.frombuffer(f.read(8 * channels), "<f8")
        matrix = np.frombuffer(f.read(8 * 2 * 6 * channels), "<f8").reshape(2, 6, channels)
        mount = np.frombuffer(f.read(8 * 6), "<f8").reshape(2, 3)  # centre x, y, surface (mm)
        counts = np.frombuffer(f.read(4 * n * channels), "<i4").reshape(n, channels)
    return n, channels, rate, bool(right), tare, matrix, mount, counts


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


def analyse(counts, tare, matrix, mount, right_handed, rate):
    s = -1.0 if right_handed else 1.0
    wc = np.tan(np.pi * 50 / rate) / (2 ** 0.5 - 1) ** 0.25
    sos = signal.butter(2, np.arctan(wc) / np.pi * 2, output="sos")
    w = [signal.sosfiltfilt(sos, (counts - tare) @ matrix[p].T, axis=0) for p in range(2)]
    g = [ground(w[p], mount[p]) for p in range(2)]
    net = both(w[0], w[1], g[0], g[1])
    lead, trail = (0, 1) if right_handed else (1, 0)
    total = w[0][:, 2] + w[1][:, 2]
    weight = total[:500].mean()
    curves = [w[lead][:, 2], w[trail][:, 2], total, s * (w[0][:, 0] + w[1][:, 0]),
              -w[lead][:, 1], w[trail][:, 1], -s * net[2], 100 * w[trail][:, 2] / total]
    out = []
    for y in curves:
        k = int(np.argmax(y))
        if 0 < k < len(y) - 1:
            bend = y[k - 1] - 2 * y[k] + y[k + 1]
            shift = 0.5 * (y[k - 1] - y[k + 1]) / bend
            out.append((y[k] - 0.25 * (y[k - 1] - y[k + 1]) * shift, (k + shift) / rate))
        else:
            out.append((y[k], k / rate))
        out.append([c[k] for c in (net[0], net[1], g[lead][0], g[lead][1], g[trail][0], g[trail][1])])
    out.append((total - weight).sum() / rate)
    return out


def live_filter(rate):
    return signal.butter(2, 20, fs=rate, output="sos")


def swings(triggers, n, rate):
    return [(max(t - int(1.8 * rate), 0), min(t + int(1.5 * rate), n)) for t in triggers]


def recording(counts, tare, matrix, mount, right_handed, rate):
    w = [(counts - tare) @ matrix[p].T for p in range(2)]
    smooth = [signal.sosfilt(live_filter(rate), x, axis=0) for x in w]
    g = [ground(x, m) for x, m in zip(smooth, mount)]
    both(smooth[0], smooth[1], g[0], g[1])
    rolling(smooth[0][:, 2] + smooth[1][:, 2], 2 * rate)  # zero and drift
    left, right = bins_of(w[0][:, 2], w[1][:, 2])
    return [analyse(counts[a:b], tare, matrix, mount, right_handed, rate)
            for a, b in swings(find(left, right, right_handed), len(counts), rate)]


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
    return [analyse(counts[a:b], tare, matrix, mount, right_handed, rate)
            for a, b in swings(find(left, right, right_handed), len(counts), rate)]


def main():
    n, channels, rate, right_handed, tare, matrix, mount, counts = read(sys.argv[1])
    for name, way in (("stream", stream), ("recording", recording)):
        best = np.inf
        for _ in range(3 if name == "recording" else 1):
            begin = time.perf_counter()
            found = way(counts, tare, matrix, mount, right_handed, rate)
            best = min(best, time.perf_counter() - begin)
        print(name, best)
    for s in found:
        print("lead_vertical_peak_n", s[0][0])


main()
