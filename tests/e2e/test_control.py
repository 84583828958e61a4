#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The control socket: its questions, its limits; and what systemd is told."""
import json
import os
import re
import signal
import socket
import stat
import time

from e2e import check, run, wait_until

FIELDS = """page_port state state_text stopping link device board_id firmware channels rate_hz measured_rate_hz
drift_ppm clock_step_ms samples lost bad counters stance weight_n hand tared tare_age_s calibration database session lesson
swings_stored last_swing last_swing_utc_us queue queue_limit queue_bytes store_state store_problem
recording plates spool uptime_s version live feet""".split()


def exchange(s, text):
    s.sendall(text if isinstance(text, bytes) else text.encode())
    with s.makefile() as f:
        return json.loads(f.readline())


def is_cut(s):
    try:
        return s.recv(1) == b""
    except ConnectionResetError:  # some of what we sent was not read
        return True


def test_status(place):
    data, _ = place.recording(lesson="empty:4,walk_on,stand:3")
    board = place.board()
    daemon = place.daemon()
    before = daemon.ask()
    check(sorted(before) == sorted(FIELDS), "fields:", set(before) ^ set(FIELDS))
    for key in ("board_id", "firmware", "rate_hz", "measured_rate_hz", "drift_ppm", "clock_step_ms", "weight_n",
                "tare_age_s", "last_swing", "store_problem", "recording"):
        check(before[key] is None, key, "is not null before anything is known:", before[key])
    check(before["live"]["left_n"] is None and before["live"]["total_n"] is None, before["live"])
    check(before["link"] == "raw" and before["device"] == place.path("board"), before)
    check(before["calibration"]["nominal"] is True and before["session"] == 1, before)
    check(stat.S_IMODE(os.stat(daemon.control).st_mode) == 0o660, "mode of the socket")
    board.send(data)
    after = daemon.ask()
    check(after["firmware"] == 1 and after["channels"] == 24 and after["rate_hz"] == 1000, after)
    check(after["samples"] > 5000 and after["tared"] is True, after)
    check(after["stance"] in ("still", "on", "moving") and 700 < after["weight_n"] < 830, after)
    live = after["live"]
    check(abs(live["left_n"] + live["right_n"] - live["total_n"]) < 1e-6, live)
    check(-300 < live["cop_x_mm"] < 300, live)
    check(0 < after["tare_age_s"] < 60 and 0 < after["uptime_s"] < 60, after)
    check(re.fullmatch(r"\d+\.\d+\.\d+", after["version"]), after)
    daemon.stop()
    check(not os.path.exists(daemon.control), "the socket file is left behind")


def test_questions(place):
    daemon = place.daemon()
    with daemon.connect() as s:
        check(exchange(s, '{"ask":"hand","hand":"left"}\n') == {"ok": True, "hand": "left"}, "hand")
        check(exchange(s, '{"ask":"status"}\n')["hand"] == "left", "hand in the status")
        check("hand" in exchange(s, '{"ask":"hand","hand":"both"}\n')["error"], "a third hand")
        check("hand" in exchange(s, '{"ask":"hand"}\n')["error"], "no hand")
        check(exchange(s, '{"ask":"tare"}\n')["ok"] is True, "tare")
        for bad in ('{"ask":"reboot"}', "{}", '{"ask":7}', "[]", "7", "status", "", "{", "\0",
                    '{"ask":"status"', '"\\ud800"', "\xff\xfe"):
            check("error" in exchange(s, bad.encode("latin-1") + b"\n"), "taken for good:", bad)
        check(exchange(s, '{"ask":"status"}\n')["counters"]["control_bad_questions"] == 14, "count")
        # two at once, and one in pieces
        s.sendall(b'{"ask":"status"}\n{"ask":"tare"}\n{"ask"')
        time.sleep(0.1)
        s.sendall(b':"tare"}\n')
        with s.makefile() as f:
            check("state" in json.loads(f.readline()), "first of two")
            check(json.loads(f.readline())["ok"], "second of two")
            check(json.loads(f.readline())["ok"], "one in pieces")
    daemon.stop()


def test_tare(place):
    """A zero on request, with somebody on the plates."""
    data, _ = place.recording(lesson="empty:4,walk_on,stand:10")
    cut = data.index(b"\0", len(data) * 2 // 3)
    board = place.board()
    daemon = place.daemon()
    board.send(data[:cut + 1])
    check(daemon.ask()["live"]["total_n"] > 700, "somebody stands there")
    daemon.ask({"ask": "tare"})
    board.send(data[cut + 1:])
    check(abs(daemon.ask()["live"]["total_n"]) < 60, "the new zero:", daemon.ask()["live"])
    daemon.stop()


def test_silent_ones_make_room(place):
    """Programs that connected and say nothing do not keep `underfoot status` out."""
    daemon = place.daemon()
    many = [daemon.connect() for _ in range(16)]
    for s in many:
        check("state" in exchange(s, '{"ask":"status"}\n'), "one of 16")
    time.sleep(5.2)
    for s in many[1:]:
        check("state" in exchange(s, '{"ask":"status"}\n'), "still there")
    check("state" in daemon.ask(), "the 17th is answered")
    check(is_cut(many[0]), "in the place of the silent one")
    check("state" in exchange(many[5], '{"ask":"status"}\n'), "who spoke stays")
    check(daemon.ask()["counters"]["control_made_room"] == 1, "and only one had to go")
    for s in many:
        s.close()
    daemon.stop()


def test_limits(place):
    daemon = place.daemon()
    with daemon.connect() as s:
        check("4095" in exchange(s, b"x" * 5000)["error"], "a line without an end")
        check(is_cut(s), "it is cut off")
    many = [daemon.connect() for _ in range(16)]
    for s in many:
        check("state" in exchange(s, '{"ask":"status"}\n'), "one of 16")
    with daemon.connect() as s, s.makefile() as f:
        check("too many" in json.loads(f.readline())["error"], "the 17th")
        check(is_cut(s), "it is turned away")
    for s in many:
        s.close()
    wait_until(lambda: "state" in daemon.ask(), "there is room again")
    # one that asks and never reads: cut off, and the others are served
    lazy = daemon.connect()
    lazy.settimeout(0.2)
    try:
        for _ in range(100000):
            lazy.sendall(b'{"ask":"status"}\n')
    except OSError:
        pass
    counters = daemon.wait_status(lambda s: s["counters"]["control_cut_off"] == 2, "cut")["counters"]
    check(counters["control_turned_away"] >= 1, counters)
    lazy.close()
    # clients that are still there when the daemon ends
    left = [daemon.connect() for _ in range(3)]
    daemon.stop()
    for s in left:
        s.close()


def test_systemd(place):
    name = "\0underfoot-e2e-" + str(os.getpid())
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(name)
        systemd.settimeout(20)
        data, _ = place.recording(lesson="empty:2")
        board = place.board()
        daemon = place.daemon(env={"NOTIFY_SOCKET": "@" + name[1:], "WATCHDOG_USEC": "400000"})
        heard = []

        def hear_until(start):
            while not (heard and heard[-1].startswith(start)):
                heard.append(systemd.recv(2000).decode())
        hear_until("READY=1")
        check(heard[:-1] == [] or all(h.startswith("WATCHDOG") or h.startswith("STATUS")
                                      for h in heard[:-1]), heard)
        board.send(data)
        hear_until("STATUS=receiving: board 53494d0000000001")
        begun = time.monotonic()
        beats = 0
        while time.monotonic() - begun < 2:
            beats += systemd.recv(2000) == b"WATCHDOG=1"
        check(6 <= beats <= 12, beats, "signs of life in 2 s, 10 are due")
        daemon.signal(signal.SIGTERM)
        hear_until("STOPPING=1")
        daemon.wait_end()


def test_systemd_gone(place):
    """A notify socket that is not there is no reason not to measure."""
    daemon = place.daemon(env={"NOTIFY_SOCKET": place.path("none"), "WATCHDOG_USEC": "100000"})
    daemon.wait_log("waiting:")
    daemon.stop()


run(test_status, test_questions, test_tare, test_silent_ones_make_room, test_limits, test_systemd, test_systemd_gone)
