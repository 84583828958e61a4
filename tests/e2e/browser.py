# SPDX-License-Identifier: MIT
"""A browser's part of HTTP and of a websocket (RFC 6455), as far as the tests need it, and a little
ruder than a browser: every byte can be chosen."""
import base64
import json
import os
import socket
import struct
import time

from e2e import PATIENCE_S, Failed, check


def http(port, request, timeout_s=PATIENCE_S):
    """The answer to these bytes, until the daemon closes or is silent."""
    with socket.create_connection(("127.0.0.1", port), timeout=timeout_s) as s:
        s.sendall(request)
        answer = b""
        try:
            while True:
                more = s.recv(65536)
                if not more:
                    return answer
                answer += more
        except (socket.timeout, ConnectionResetError):
            return answer


def get(port, path="/", host=None, headers=(), method="GET"):
    """Status, headers (lower case), body."""
    lines = [f"{method} {path} HTTP/1.1", f"Host: {host or f'127.0.0.1:{port}'}",
             "Connection: close", *headers, "", ""]
    answer = http(port, "\r\n".join(lines).encode())
    head, _, body = answer.partition(b"\r\n\r\n")
    first, *rest = head.decode().split("\r\n")
    check(first.startswith("HTTP/1."), "no HTTP answer:", answer[:200])
    fields = dict(line.lower().split(": ", 1) for line in rest if ": " in line)
    return int(first.split()[1]), fields, body


class Refused(Exception):
    pass


class Socket:
    def __init__(self, port, host=None, origin="same", path="/live", protocol="underfoot",
                 headers=()):
        host = host or f"127.0.0.1:{port}"
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
        lines = [f"GET {path} HTTP/1.1", f"Host: {host}", "Upgrade: websocket",
                 "Connection: Upgrade", "Sec-WebSocket-Version: 13",
                 "Sec-WebSocket-Key: " + base64.b64encode(os.urandom(16)).decode()]
        if origin:
            lines.append("Origin: " + (f"http://{host}" if origin == "same" else origin))
        if protocol:
            lines.append("Sec-WebSocket-Protocol: " + protocol)
        self.socket.sendall("\r\n".join([*lines, *headers, "", ""]).encode())
        self.data = b""
        while b"\r\n\r\n" not in self.data:
            more = self.receive_bytes()
            if not more:
                self.socket.close()
                raise Refused(self.data.decode(errors="replace"))
        head, self.data = self.data.split(b"\r\n\r\n", 1)
        if b" 101 " not in head.split(b"\r\n")[0]:
            self.socket.close()
            raise Refused(head.decode(errors="replace"))

    def __enter__(self):
        return self

    def __exit__(self, *what):
        self.socket.close()

    def receive_bytes(self):
        try:
            more = self.socket.recv(65536)
        except ConnectionResetError:
            more = b""
        self.data += more
        return more

    def need(self, n):
        while len(self.data) < n:
            if not self.receive_bytes():
                return None
        taken, self.data = self.data[:n], self.data[n:]
        return taken

    def frame(self):
        """Opcode and payload; (8, ...) when closed, also without a frame."""
        head = self.need(2)
        if not head:
            return 8, b""
        n = head[1] & 127
        if n == 126:
            n = struct.unpack(">H", self.need(2))[0]
        elif n == 127:
            n = struct.unpack(">Q", self.need(8))[0]
        payload = self.need(n)
        return (8, b"") if payload is None else (head[0] & 15, payload)

    def send_frame(self, opcode, payload, final=True):
        mask = os.urandom(4)
        n = len(payload)
        head = bytes([opcode | (128 if final else 0)])
        head += (bytes([128 | n]) if n < 126 else bytes([254]) + struct.pack(">H", n) if n < 65536
                 else bytes([255]) + struct.pack(">Q", n))
        self.socket.sendall(head + mask + bytes(b ^ mask[i % 4] for i, b in enumerate(payload)))

    def send(self, message):
        self.send_frame(1, json.dumps(message).encode())

    def message(self):
        """The next one, as an object; None when closed."""
        while True:
            opcode, payload = self.frame()
            if opcode == 8:
                return None
            if opcode == 9:
                self.send_frame(10, payload)
            if opcode == 1:
                return json.loads(payload)

    def wait(self, kind, condition=lambda m: True, timeout_s=PATIENCE_S):
        end = time.monotonic() + timeout_s
        while time.monotonic() < end:
            m = self.message()
            check(m is not None, "the daemon closed before:", kind)
            if m["type"] in ((kind,) if isinstance(kind, str) else kind) and condition(m):
                return m
        raise Failed(f"not within {timeout_s} s: {kind}")

    def wait_close(self):
        """Why it was closed."""
        while True:
            opcode, payload = self.frame()
            if opcode == 8:
                return payload[2:].decode(errors="replace")
