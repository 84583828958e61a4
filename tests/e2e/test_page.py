#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""The live page's server: what it serves, whom it lets in, what it tells, what it bears, and that it
ends cleanly with browsers connected."""
import os
import signal
import socket
import time

from browser import Refused, Socket, get, http
from e2e import Failed, check, one, run, swings_of, wait_until


def start(place, *settings, **more):
    daemon = place.daemon(settings, **more)
    return daemon, daemon.ask()["page_port"]


def refused(port, **more):
    try:
        Socket(port, **more).socket.close()
    except Refused:
        return True
    return False


def test_files(place):
    place.board()
    daemon, port = start(place)
    for path, kind in (("/", "text/html"), ("/page.css", "text/css"),
                       ("/page.js", "text/javascript")):
        status, fields, body = get(port, path)
        check(status == 200 and len(body) == int(fields["content-length"]) > 500, path, status)
        check(fields["content-type"].startswith(kind), path, fields)
        csp = fields["content-security-policy"]
        check("default-src 'none'" in csp and "unsafe" not in csp and "*" not in csp, csp)
        check(fields["x-content-type-options"] == "nosniff", fields)
    status, fields, body = get(port, method="HEAD")
    check(status == 200 and body == b"" and int(fields["content-length"]) > 500, "HEAD", fields)
    for path in ("/nothing", "/../underfoot.db", "/%2e%2e/underfoot.db", "/live",
                 "/index.html/", "/?a=b/../c"):
        check(get(port, path)[0] == (200 if path[1] == "?" else 404), path, get(port, path)[0])
    for method in ("POST", "PUT", "DELETE", "OPTIONS", "PATCH"):
        status = get(port, method=method, headers=("Content-Length: 0",))[0]
        check(status in (400, 404, 405), method, status)
    daemon.stop()


def test_names(place):
    place.board()
    daemon, port = start(place)
    for host in ("evil.example", f"evil.example:{port}", "127.0.0.1", f"127.0.0.1:{port + 1}",
                 f"192.168.1.2:{port}", f"localhost.evil.example:{port}", f"localhost:{port}x", ":"):
        check(get(port, host=host)[0] == 403, host)
        check(refused(port, host=host), "socket", host)
    check(get(port, host=f"localhost:{port}")[0] == 200, "localhost")
    Socket(port, host=f"LOCALHOST:{port}").socket.close()
    for origin in (None, "null", "http://evil.example", f"http://evil.example:{port}",
                   f"https://127.0.0.1:{port}", "http://127.0.0.1", f"http://127.0.0.1:{port}/",
                   f"http://localhost:{port}"):
        check(refused(port, origin=origin), "origin", origin)
    check(get(port, headers=("Origin: http://evil.example",))[0] == 403, "origin of a request")
    check(refused(port, path="/"), "path")
    check(refused(port, protocol=None) and refused(port, protocol="http"), "protocol")
    counters = daemon.ask()["counters"]
    check(counters["page_refused_upgrades"] >= 16 and counters["page_refused_requests"] >= 9,
          counters)
    daemon.stop()


def test_lesson(place):
    """Live values, and the swing with the numbers that are stored."""
    daemon, port = start(place)
    with Socket(port) as s:
        hello = s.message()
        check(hello["type"] == "hello" and hello["may_write"] and len(hello["plates"]) == 2, hello)
        check(s.message()["type"] == "state", "the state comes next")
        s.send({"ask": "swing"})
        check("no swing is stored" in s.wait("problem")["text"], "nothing yet")
        place.sim("--lesson", "empty:4,walk_on,address,ball,stand:4", "--pty", place.path("board"),
                  wait=False)
        s.wait("state", lambda m: m["state"] == "receiving")
        stood = s.wait("live", lambda m: m["stance"] == "still" and
                       m["lead"]["vertical_n"] > 200 and m["trail"]["vertical_n"] > 200)
        check(abs(stood["lead"]["vertical_n"] + stood["trail"]["vertical_n"] - stood["total_n"]) < 1,
              stood)
        check(abs(stood["total_n"] / stood["weight_n"] - 1) < 0.05, stood)
        check(stood["lead"]["cop_target_mm"] > 0 > stood["trail"]["cop_target_mm"], stood)
        last, swing, live = stood["t_dev_us"], None, 0
        begun = time.monotonic()
        while swing is None:
            m = s.message()
            if m["type"] == "live":
                live += 1
                check(m["t_dev_us"] > last, "device time runs on")
                last = m["t_dev_us"]
            if m["type"] == "swing":
                swing = m
                end_s = m["utc_us"] / 1e6 + m["duration_s"] - m["trigger_s"]
                late_ms = 1e3 * (time.time() - end_s)
                print(f"        the swing came {late_ms:.0f} ms after its end")
                check(late_ms < 2000, "late") # sanitizers, a busy machine
        rate = live / (time.monotonic() - begun)
        check(25 < rate < 63, "live values a second:", rate)
        metrics = {m["name"]: m for m in swing["metrics"]}
        stored = one(daemon.database, "SELECT turn_peak_nm FROM swing_metric")
        check(abs(metrics["turn_peak_nm"]["value"] / stored - 1) < 1e-5, "turn peak")
        check(all((m["value"] is None) == ("why" in m and m["why"] is not None)
                  for m in metrics.values()), "each missing number has its reason")
        curves = swing["curves"]
        n = len(curves["turn_nm"])
        check(n * curves["step_s"] > 1 and all(len(c) == n for k, c in curves.items()
                                               if k != "step_s"), "curves of one length")
        peak = max(v for v in curves["turn_nm"] if v is not None)
        check(abs(peak / stored - 1) < 0.02, "the curve has the peak", peak, stored)
        check(any(e["name"] == "impact" for e in swing["events"]), swing["events"])
        check([r["id"] for r in s.wait("swings")["rows"]] == [swing["id"]], "the list")
    daemon.stop()


def test_commands(place):
    place.board()
    daemon, port = start(place)
    with Socket(port) as a, Socket(port) as b:
        a.send({"ask": "hand", "hand": "left"})
        check(a.wait("answer")["ask"] == "hand", "answered")
        check(b.wait("state", lambda m: m["hand"] == "left"), "the other browser sees it")
        a.send({"ask": "hand", "hand": "<b>both</b>"})
        check('"left" or "right"' in a.wait("problem")["text"], "hand")
        a.send({"ask": "tare"})
        check("zero" in a.wait("answer")["text"], "tare")
        for bad in ({"ask": "status2"}, {"ask": 7}, {}, {"ask": "swing", "id": -1},
                    {"ask": "swing", "id": "1; DROP TABLE swing"}, {"ask": "swing", "id": 2**62}):
            a.send(bad)
            check(a.wait("problem")["text"], bad)
    daemon.stop()


def test_limits(place):
    place.board()
    daemon, port = start(place)
    for payload, why in ((b"[]", "not a JSON object"), (b"\xff", "not a JSON object"),
                         (b"x" * 9000, "too long"), (b"", "not a JSON object")):
        with Socket(port) as s:
            s.send_frame(1, payload)
            closed = s.wait_close()
            check(why in closed or closed == "", payload[:10], closed)
    with Socket(port) as s:
        s.send_frame(2, b"{}")
        s.wait_close()
    cut = daemon.ask()["counters"]["page_cut_off"]
    with Socket(port) as s:  # one question in pieces
        s.send_frame(1, b'{"ask":', final=False)
        s.send_frame(0, b'"nothing"}')
        check(s.wait("problem"), "in pieces")
        try:
            for _ in range(60):
                s.send({"ask": "nothing"})
        except OSError:
            pass
        s.wait_close() # its reason may be lost: what we sent too much is answered with a reset
    check(daemon.ask()["counters"]["page_cut_off"] == cut + 1, "rate")
    everybody = []
    for _ in range(24):
        everybody.append(Socket(port))
    with Socket(port) as s:
        check("too many browsers" in s.wait_close(), "clients")
    check(daemon.ask()["counters"]["page_clients"] == 24, "24 are in")
    for s in everybody:
        s.socket.close()
    daemon.wait_status(lambda s: s["counters"]["page_clients"] == 0, "all are gone")
    with Socket(port) as s:
        check(s.message()["type"] == "hello", "and one may come again")
    idle = [socket.create_connection(("127.0.0.1", port)) for _ in range(70)]
    daemon.wait_status(lambda s: s["counters"]["page_turned_away"] >= 6, "connections are limited")
    for s in idle:
        s.close()
    wait_until(lambda: get_or_none(port), "free again")
    daemon.stop()


def get_or_none(port):
    try:
        return get(port)[0] == 200
    except (Failed, OSError):
        return None


def test_token(place):
    """Beyond loopback: nothing without a token, and one that may only look."""
    place.board()
    daemon, port = start(place, "page.listen=0.0.0.0", "page.name=bay1.lan")
    tokens = {}
    for right in ("read", "write"):
        path = place.path(f"page-{right}.token")
        check(os.stat(path).st_mode & 0o777 == 0o600, path)
        with open(path) as f:
            tokens[right] = f.read().strip()
        check(tokens[right] not in daemon.log(), "no token in a log")
    check(tokens["read"] != tokens["write"] and len(tokens["read"]) == 64, "two tokens")
    check(get(port, host=f"bay1.lan:{port}")[0] == 200, "its name")
    check(get(port, host=f"192.0.2.7:{port}")[0] == 200, "an address")
    check(get(port, host=f"bay2.lan:{port}")[0] == 403, "another's name")
    for bad in ({"ask": "swings"}, {"token": "0" * 64}, {"token": tokens["read"][:-1]},
                {"token": 7}, {"token": ""}):
        with Socket(port) as s:
            s.send(bad)
            check("no such token" in s.wait_close(), bad)
    with Socket(port) as s:
        s.send({"token": tokens["read"]})
        check(not s.wait("hello")["may_write"], "look only")
        s.send({"ask": "tare"})
        check("not change" in s.wait("problem")["text"], "tare")
        s.send({"ask": "swings"})
        check(s.wait("swings")["rows"] == [], "swings")
    with Socket(port, host=f"bay1.lan:{port}") as s:
        s.send({"token": tokens["write"]})
        check(s.wait("hello")["may_write"], "may change")
        s.send({"ask": "tare"})
        s.wait("answer")
    begun = time.monotonic()
    with Socket(port) as s:
        check("no token came" in s.wait_close(), "silence")
        check(3 < time.monotonic() - begun < 30, "after 5 s")
    daemon.stop()
    daemon, port = start(place, "page.listen=0.0.0.0")
    with Socket(port) as s:
        s.send({"token": tokens["read"]})
        check(s.message()["type"] == "hello", "the token stays")
    daemon.stop()
    os.chmod(place.path("page-write.token"), 0o640)
    daemon = place.daemon(["page.listen=0.0.0.0"])
    check("mode 0600" in daemon.wait_end(1), "others may read it")
    for bad in ("localhost", "300.1.1.1", "::1", "0.0.0.0x"):
        daemon = place.daemon([f"page.listen={bad}"])
        check("page.listen" in daemon.wait_end(daemon.process.wait(30)), bad)


def test_port_in_use(place):
    place.board()
    with socket.create_server(("127.0.0.1", 0)) as taken:
        daemon = place.daemon([f"page.port={taken.getsockname()[1]}"])
        check("page.port" in daemon.wait_end(1), "says what to do")
    daemon = place.daemon(["page.serve=off"])
    check(daemon.ask()["page_port"] is None, "no page")
    daemon.stop()


def test_rude(place):
    """Malformed, oversized and slow senders: no sample is lost, and the page is still there."""
    daemon, port = start(place)
    sim = place.sim("--rate", "250", "--lesson", "walk_on,stand:12", "--pty", place.path("board"), wait=False)
    before = daemon.wait_status(lambda s: s["samples"] > 100, "receiving")
    slow = []
    for i in range(20):  # heads that never end
        s = socket.create_connection(("127.0.0.1", port))
        s.sendall(b"GET / HTTP/1.1\r\nHost: 127" if i % 2 else b"")
        slow.append(s)
    lazy = [Socket(port) for _ in range(4)]  # never read
    for request in (b"\0" * 5000, b"GET " + b"/" * 100000 + b" HTTP/1.1\r\n\r\n", b"\r\n" * 1000,
                    b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 5000 + b"\r\n", b"GET / HTTP/9.9\r\n\r\n",
                    b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", b"\x16\x03\x01\x02\x00\x01",
                    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", b"GET / HTTP/1.1\nHost: x\n\n",
                    b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 99999999999999999999\r\n\r\n" +
                    b"x" * 100000, b"GET /live HTTP/1.1\r\nUpgrade: h2c\r\n\r\n",
                    b"GET http://127.0.0.1/ HTTP/1.1\r\n\r\n", b"GET\r\n\r\n", b"%s%n%s\r\n\r\n"):
        try:
            http(port, request, timeout_s=0.3)
        except OSError:
            pass
    state = os.urandom
    for _ in range(150):
        try:
            http(port, state(200), timeout_s=0.02)
            with Socket(port) as s:
                s.socket.sendall(state(400))
        except (OSError, Refused):
            pass
    for s in slow:
        s.settimeout(20)
        try:
            check(s.recv(1000) is not None, "closed")
        except ConnectionResetError:
            pass
        s.close()
    check(sim.wait(60) == 0, "the simulator ends")
    status = daemon.ask()
    check(status["samples"] > 2500 and (status["lost"], status["bad"]) ==
          (before["lost"], before["bad"]), status["samples"], status["lost"], status["bad"])
    check(get(port)[0] == 200, "the page is still there")
    for s in lazy:
        s.socket.close()
    daemon.stop()


def test_end(place):
    """uv_loop_close is content, with browsers connected, half a request, and a question at work."""
    place.board()
    for number in (signal.SIGTERM, signal.SIGINT):
        daemon, port = start(place)
        clients = [Socket(port) for _ in range(3)]
        half = socket.create_connection(("127.0.0.1", port))
        half.sendall(b"GET / HTT")
        for c in clients:
            c.send({"ask": "swings"})
            c.send({"ask": "swing", "id": 1})
        daemon.signal(number)
        check("did not end cleanly" not in daemon.wait_end(), "the loop")
        for c in clients:
            check(c.wait_close() is not None, "closed")
            c.socket.close()
        half.close()


def test_end_unplugged(place):
    """The board is pulled out in a swing, browsers are connected: the end is in order, and (built with
    AddressSanitizer) nothing leaks, or the code is not 0."""
    data, truth = place.recording()
    board = place.board()
    daemon, port = start(place)
    clients = [Socket(port) for _ in range(3)]
    board.send(data[:int(len(data) * (swings_of(truth)[0]["start_s"] + 0.5) / truth[-1]["end_s"])])
    daemon.wait_log("receiving:")
    board.unplug()
    daemon.wait_log("hung up")
    daemon.signal(signal.SIGTERM)
    check("did not end cleanly" not in daemon.wait_end(), "the loop")
    for c in clients:
        check(c.wait_close() is not None, "closed")
        c.socket.close()


run(test_files, test_names, test_lesson, test_commands, test_limits, test_token, test_port_in_use,
    test_rude, test_end, test_end_unplugged)
