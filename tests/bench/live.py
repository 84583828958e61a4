#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The daemon at 2 kHz x 24 channels on a pty, for some minutes, while every commit of the store is
slowed down: how many samples are lost, what it costs, and whether all swings are in the database.
  tests/bench/live.py BUILD [MINUTES] [MS]      default: 10 minutes, 5000 ms a commit"""
import contextlib
import os
import signal
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "e2e"))
import e2e  # noqa: E402

RATE_HZ = 2000
CYCLE = "waggle:1,address,ball"
CYCLE_S = 7  # about


def threads_cpu_s(pid):
    """CPU seconds of each thread, the loop's first."""
    found = []
    for tid in sorted(int(t) for t in os.listdir(f"/proc/{pid}/task")):
        with open(f"/proc/{pid}/task/{tid}/stat") as f:
            fields = f.read().rsplit(")", 1)[1].split()
        found.append((int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"))
    return found


def peak_rss_mb(pid):
    with open(f"/proc/{pid}/status") as f:
        for line in f:
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    return float("nan")


def main():
    minutes = float(sys.argv[2]) if len(sys.argv) > 2 else 10
    slow_ms = int(sys.argv[3]) if len(sys.argv) > 3 else 5000
    del sys.argv[2:]
    place = e2e.Place()
    try:
        daemon = place.daemon(["daemon.queue=4"], ["--record", place.path("kept.ufr")],
                              env={"UNDERFOOT_TEST_SLOW_COMMIT_MS": str(slow_ms)})
        daemon.wait_log("waiting:")
        cycles = int(minutes * 60 / CYCLE_S) + 30
        sim = place.sim("--pty", place.path("board"), "--rate", str(RATE_HZ), "--truth",
                        place.path("truth.jsonl"), "--lesson",
                        "empty:4,walk_on,stand:1" + ("," + CYCLE) * cycles, wait=False)
        # The simulator stands for a board, which is never late whatever else the machine does.
        priority = "plain"
        with contextlib.suppress(PermissionError):
            os.setpriority(os.PRIO_PROCESS, sim.pid, -15)
            priority = "nice -15"
        daemon.wait_log("receiving:")
        time.sleep(2)
        # What the pty could not hold before the daemon had opened it is not its loss.
        first, begun, cpu = daemon.ask(), time.monotonic(), threads_cpu_s(daemon.process.pid)
        most, slowest_s = 0, 0.0
        while time.monotonic() - begun < minutes * 60:
            time.sleep(0.5)
            asked = time.monotonic()
            status = daemon.ask()
            slowest_s = max(slowest_s, time.monotonic() - asked)
            most = max(most, status["queue"])
            e2e.check(sim.poll() is None, "the simulator ended")
        took_s = time.monotonic() - begun
        last, cpu_end = daemon.ask(), threads_cpu_s(daemon.process.pid)
        rss = peak_rss_mb(daemon.process.pid)
        sim.send_signal(signal.SIGTERM)
        sim.wait()
        # a swing counts once its act is over and its window was seen before the end
        daemon.wait_log("hung up")
        daemon.signal(signal.SIGTERM)
        log = daemon.wait_end(timeout_s=600)
        made = len(e2e.swings_of(place.truth()))
        stored = e2e.one(daemon.database, "SELECT count(*) FROM swing")
        with open(place.path("sim.log")) as f:
            report = "; ".join(line.split(": ", 1)[1] for line in f.read().splitlines()[1:])

        def counted(key):
            return last["counters"][key] - first["counters"][key]
        samples = last["samples"] - first["samples"]
        lost = last["lost"] - first["lost"]
        loop = (cpu_end[0] - cpu[0]) / took_s
        rest = (sum(cpu_end) - sum(cpu)) / took_s - loop
        table = [
            ("time", f"{took_s:.0f} s"),
            ("samples received", f"{samples}"),
            ("rate", f"{samples / took_s:.1f} Hz x {last['channels']} channels"),
            ("samples lost", f"{lost}"),
            ("loop late by more than 40 ms", f"{counted('loop_stalls')} times, at most "
                                             f"{last['counters']['loop_latest_ms']} ms"),
            ("simulator's priority", priority),
            ("simulator's report", report),
            ("bad packets", f"{last['bad'] - first['bad']}"),
            ("each commit slowed by", f"{slow_ms} ms"),
            ("recorded, lost bytes", f"{last['counters']['recorded_bytes']}, "
                                     f"{last['counters']['record_lost_bytes']}"),
            ("swings made, stored", f"{made}, {stored}"),
            ("most swings waiting", f"{max(most, last['counters']['store_most_waiting'])}"),
            ("slowest answer on the socket", f"{1000 * slowest_s:.0f} ms"),
            ("CPU, loop thread", f"{100 * loop:.1f} % of a core"),
            ("CPU, other threads", f"{100 * rest:.1f} % of a core"),
            ("memory, greatest", f"{rss:.1f} MB"),
        ]
        print(f"underfootd on a pty, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
        for what, value in table:
            print(f"  {what:30} {value}")
        ok = lost == 0 and abs(stored - made) <= 1 and "lost:" not in log
        print("  " + ("good" if ok else "NOT GOOD\n" + log))
        return 0 if ok else 1
    finally:
        place.end()


sys.exit(main())
