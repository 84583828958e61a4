#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""What --record keeps is the board's stream, byte for byte, and gives the same numbers when it is
played, to the last bit, at any pace, however slow the disk is."""
import contextlib
import os
import signal
import time

from e2e import Failed, check, columns, one, rows, run, swings_of, wait_until

IDS = ("id", "uuid", "swing_id", "session_id", "rig_id", "derivation_id", "calibration_id",
       "trigger_utc_us", "stored_utc_us", "made_utc_us", "clock_drift_ppm", "current")
TABLES = {"swing": "start_dev_us", "swing_metric": "1", "swing_metric_sd": "1", "swing_event": "1",
          "swing_metric_null": "1", "swing_raw": "data"}


def numbers(database):
    """Everything of the swings that is not an id or a time of day."""
    found = {}
    have = {n for (n,) in rows(database, "SELECT name FROM sqlite_master WHERE type = 'table'")}
    for table in TABLES:
        if table not in have:
            continue
        names = columns(database, table, IDS)
        key = ", ".join(f'"{n}"' for n in names)
        found[table] = rows(database, f"SELECT {key} FROM {table} ORDER BY {key}")
    return found


def record(place, *sim):
    sent, _ = place.recording(*sim)
    board = place.board()
    daemon = place.daemon(args=["--record", place.path("kept.ufr")])
    board.send(sent)
    daemon.stop()
    board.unplug()
    return daemon.database


def replay(place, name, *settings, env=None, args=(), code=0):
    database = place.path(name)
    daemon = place.daemon(["link.type=replay", f"link.device={place.path('kept.ufr')}",
                           "link.pace=fast", *settings], env=env, database=database, args=args)
    log = daemon.wait_end(code)
    check("done:" in log, "no summary:", log)
    return database, log


def test_identical(place):
    live = record(place)
    with open(place.path("kept.ufr"), "rb") as kept, open(place.path("sim.ufr"), "rb") as sent:
        check(kept.read() == sent.read(), "the recording is not what the board sent")
    again, log = replay(place, "again.db")
    check(one(live, "SELECT count(*) FROM swing") == len(swings_of(place.truth())) == 2, "swings")
    a, b = numbers(live), numbers(again)
    check(set(a) >= {"swing", "swing_metric", "swing_raw"}, "tables", list(a))
    check(all(len(a[t]) > 0 for t in ("swing", "swing_metric", "swing_raw")), "empty tables")
    for table in a:
        check(a[table] == b[table], table, "differs between the live run and the replay")
    # nobody knows when the recording was made, and its zeros are not today's
    check(one(again, "SELECT count(*) FROM swing WHERE trigger_utc_us IS NOT NULL") == 0, "UTC")
    check(one(again, "SELECT count(*) FROM tare") == 0, "a zero of a recording was stored")
    # into the same database, which has a zero of the live run: still the recording's own zero
    os.rename(live, place.path("same.db"))
    same, _ = replay(place, "same.db")
    check(one(same, "SELECT count(*) FROM swing") == 4, "swings")
    twice = numbers(same)
    for table in b:
        check(twice[table] == sorted(b[table] * 2, key=twice[table].index), table,
              "differs where a zero was stored before")


def test_identical_on_a_bad_line(place):
    live = record(place, "--fault", "damage=0.005,burst=0.2")
    again, _ = replay(place, "again.db")
    check(one(live, "SELECT count(*) FROM swing") == 2, "swings")
    check(numbers(live) == numbers(again), "the live run and the replay differ")


def test_real_pace(place):
    """Two seconds of it, against the clock."""
    record(place)
    size = os.path.getsize(place.path("kept.ufr"))
    with open(place.path("kept.ufr"), "r+b") as f:
        f.truncate(size * 3 // 27)
    _, log = replay(place, "again.db", "link.pace=real")
    host_s = float(log.split("s by the board, ")[1].split(" s")[0])
    check(2.5 < host_s < 10, "a recording of 3 s took", host_s, "s")


def test_slow_disk(place):
    """The queue is full at once: the recording waits, nothing is lost."""
    live = record(place)
    with open(place.path("kept.ufr"), "rb") as f:
        once = f.read()
    with open(place.path("kept.ufr"), "wb") as f:
        f.write(once * 4)
    again = place.path("again.db")
    daemon = place.daemon(["link.type=replay", f"link.device={place.path('kept.ufr')}",
                           "link.pace=fast", "daemon.queue=1"], database=again,
                          env={"UNDERFOOT_TEST_SLOW_COMMIT_MS": "400"})
    most = 0
    while daemon.process.poll() is None:
        with contextlib.suppress(Failed, OSError, ValueError):
            most = max(most, daemon.ask()["counters"]["store_most_waiting"])
        time.sleep(0.05)
    log = daemon.wait_end()
    check(most == 1, "the recording did not wait for the store:", most, "swings waited")
    check(one(again, "SELECT count(*) FROM swing") == 8, "8 swings were recorded:\n", log)
    check("lost" in log and "stale" not in log, "a recording that waits is not stale:\n", log)
    names = ", ".join(columns(live, "swing_metric", IDS))
    first = rows(live, f"SELECT {names} FROM swing_metric ORDER BY 1")
    check(set(first) <= set(rows(again, f"SELECT {names} FROM swing_metric")), "numbers differ")


def test_endings(place):
    """Missing, empty, not a recording, cut in the middle."""
    daemon = place.daemon(["link.type=replay", f"link.device={place.path('none.ufr')}"])
    check("cannot open the recording" in daemon.wait_end(1), "missing")
    with open(place.path("kept.ufr"), "wb"):
        pass
    _, log = replay(place, "empty.db", code=1)
    check("0 swings stored" in log and "it is no recording" in log, "empty", log)
    with open(place.path("kept.ufr"), "wb") as f:
        f.write(os.urandom(3_000_000))
    _, log = replay(place, "noise.db", code=1)
    check("0 swings stored" in log and "it is no recording" in log, "noise", log)
    data, truth = place.recording()
    with open(place.path("kept.ufr"), "wb") as f:
        f.write(data[:len(data) // 2])
    database, log = replay(place, "half.db")
    check(one(database, "SELECT count(*) FROM swing") <= len(swings_of(truth)), "half", log)
    _, log = replay(place, "other.db", "link.board_id=0000000000000001", code=1)
    check("is not the one of this rig" in log, "another board's recording", log)


def test_ended_by_hand(place):
    """SIGTERM while it plays at the board's pace."""
    data, _ = place.recording()
    with open(place.path("kept.ufr"), "wb") as f:
        f.write(data)
    daemon = place.daemon(["link.type=replay", f"link.device={place.path('kept.ufr')}"])
    daemon.wait_log("receiving:")
    status = daemon.ask()
    check(status["link"] == "replay" and status["drift_ppm"] is None, status)
    daemon.stop()


def test_not_over_itself(place):
    data, _ = place.recording()
    with open(place.path("kept.ufr"), "wb") as f:
        f.write(data)
    os.symlink(place.path("kept.ufr"), place.path("alias.ufr"))
    daemon = place.daemon(["link.type=replay", f"link.device={place.path('kept.ufr')}"],
                          args=["--record", place.path("alias.ufr")])
    check("are the same file" in daemon.wait_end(1), "link.device and daemon.record")
    check(os.path.getsize(place.path("kept.ufr")) == len(data), "the recording was changed")


def test_moved_away(place):
    """SIGHUP: a new file, and the two together are the stream."""
    data, _ = place.recording(lesson="empty:6")
    board = place.board()
    daemon = place.daemon(args=["--record", place.path("kept.ufr")])
    board.send(data[:len(data) // 2])
    wait_until(lambda: os.path.getsize(place.path("kept.ufr")) == len(data) // 2, "flushed")
    os.rename(place.path("kept.ufr"), place.path("old.ufr"))
    daemon.signal(signal.SIGHUP)
    wait_until(lambda: os.path.exists(place.path("kept.ufr")), "a new file")
    board.send(data[len(data) // 2:])
    daemon.stop()
    with open(place.path("old.ufr"), "rb") as old, open(place.path("kept.ufr"), "rb") as new:
        check(old.read() + new.read() == data, "the two files are not the stream")


run(test_identical, test_identical_on_a_bad_line, test_real_pace, test_slow_disk, test_endings, test_ended_by_hand,
    test_not_over_itself, test_moved_away)
