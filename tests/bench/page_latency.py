#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""From the last byte of a sample to the websocket message that shows it: page_latency.py BUILD [SECONDS]

A board on a pty sends 24 channels at 1 kHz; each sample's device time is looked up when a live value
with that time arrives. Values go out when samples come and 1/60 s has passed, so the wait for the
next turn is not in it; the way through the pty, the daemon, the loopback socket and this program is.
Says the percentiles; fails when the 99th is 5 ms or more."""
import binascii
import os
import struct
import sys
import threading
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
seconds = int(sys.argv.pop(2)) if len(sys.argv) > 2 else 20

from browser import Socket  # noqa: E402
from e2e import check, run  # noqa: E402

CHANNELS, RATE_HZ, LIMIT_MS = 24, 1000, 5.0


def packet(payload):
    data = payload + struct.pack("<I", binascii.crc32(payload))
    out = bytearray()
    block = bytearray()
    for byte in data + b"\0":  # COBS
        if byte:
            block.append(byte)
        if byte == 0 or len(block) == 254:
            out += bytes([len(block) + 1]) + block
            block.clear()
    return bytes(out) + b"\0"


def hello():
    return packet(struct.pack("<BBBBBHH8s", 1, 1, CHANNELS, 24, 0, RATE_HZ, 1, b"latency!"))


def sample(seq, t_us):
    counts = b"".join((1000 + 7 * c + seq % 5).to_bytes(3, "little") for c in range(CHANNELS))
    return packet(struct.pack("<BHIBB", 2, seq & 0xffff, t_us & 0xffffffff, 0, 0) + counts)


def latency(place):
    board = place.board()
    daemon = place.daemon()
    port = daemon.ask()["page_port"]
    sent, stop = {}, threading.Event()

    def play():
        start, seq = time.monotonic(), 0
        while not stop.is_set():
            due = start + seq / RATE_HZ
            time.sleep(max(0, due - time.monotonic()))
            t_us = seq * 1000
            data = (hello() if seq % RATE_HZ == 0 else b"") + sample(seq, t_us)
            try:
                os.write(board.master, data)
            except BlockingIOError:
                pass
            sent[t_us] = time.monotonic()
            seq += 1

    player = threading.Thread(target=play)
    took = []
    with Socket(port) as s:
        player.start()
        first = None
        end = time.monotonic() + seconds + 3
        while time.monotonic() < end:
            m = s.message()
            now = time.monotonic()
            if m["type"] != "live":
                continue
            first = first or now
            if now - first > 2 and m["t_dev_us"] in sent:
                took.append(1e3 * (now - sent[m["t_dev_us"]]))
    measured_s = time.monotonic() - first - 2
    stop.set()
    player.join()
    daemon.stop()
    took.sort()
    rate = len(took) / measured_s

    def at(share):
        return took[min(len(took) - 1, int(share * len(took)))]
    print(f"{len(took)} live values ({rate:.0f} a second): median {at(0.5):.2f} ms, "
          f"95 % {at(0.95):.2f} ms, 99 % {at(0.99):.2f} ms, most {took[-1]:.2f} ms")
    check(rate > 30, "too few values")
    check(at(0.99) < LIMIT_MS, f"the 99th percentile is not below {LIMIT_MS} ms")


run(latency)
