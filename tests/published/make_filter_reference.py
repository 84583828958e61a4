#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Makes tests/published/data/filter_scipy.txt with scipy.signal: butter(output="sos"), sosfiltfilt
and sosfilt from the steady state of the first sample, over one noise series.

  make_filter_reference.py            all samples of each case, for a live comparison
  make_filter_reference.py 23         each 23rd sample (and both ends), for the file

Lines: "version <scipy>", "input <n>" and n numbers, then for each case
"case <order> <cutoff Hz> <rate Hz> <pad>" and its lines "<sample> <zero phase> <causal>".
The pad is found by trying: the greatest length that sosfiltfilt refuses.
Exit code 77: there is no scipy here."""

import sys

try:
    import numpy as np
    import scipy
    from scipy import signal
except ImportError:
    sys.exit(77)

RATE_HZ = 1000.0
N = 400
CUTOFFS_HZ = [4.0, 12.5, 50.0, 62.1, 200.0, 450.0]


def pad_of(sos):
    n = 1
    while True:
        try:
            signal.sosfiltfilt(sos, np.zeros(n))
            return n - 1
        except ValueError:
            n += 1


def main():
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    rng = np.random.default_rng(20240611)
    t = np.arange(N) / RATE_HZ
    x = 400 + 300 * np.sin(2 * np.pi * 3 * t) + 50 * rng.standard_normal(N)
    x = np.array([float("%.6g" % v) for v in x])
    print("version", scipy.__version__)
    print("input", N)
    for v in x:
        print("%.6g" % v)
    for order in range(1, 9):
        for cutoff_hz in CUTOFFS_HZ:
            sos = signal.butter(order, cutoff_hz, fs=RATE_HZ, output="sos")
            zero = signal.sosfiltfilt(sos, x)
            causal, _ = signal.sosfilt(sos, x, zi=signal.sosfilt_zi(sos) * x[0])
            print("case %d %.17g %.17g %d" % (order, cutoff_hz, RATE_HZ, pad_of(sos)))
            for i in range(N):
                if i % every == 0 or i == N - 1:
                    print("%d %.17g %.17g" % (i, zero[i], causal[i]))


main()
