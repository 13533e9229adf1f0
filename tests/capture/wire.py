"""A line between tablet and server that misbehaves on command: cut, hung, cut after the server has answered."""

from __future__ import annotations

import http.client
import random
import ssl
import threading
from contextlib import closing, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import urlsplit

SENT = "/api/v1/operations"
OWN = {"connection", "transfer-encoding", "content-length", "keep-alive"}


class Wire:
    """Forwards loopback requests to the server at `address`.

    `state` is "open", "hung" (takes requests, never answers), "cut", or "portal" (answers everything with a redirect
    to a sign-in, as the Wi-Fi of a hotel does). `faults` is the share of submissions that go wrong, by the seed: half
    of them before the server has stored anything, half after.
    """

    def __init__(self, address: str, seed: int = 0) -> None:
        self.server = urlsplit(address)
        self.state, self.scheme = "open", "http"
        self.faults = 0.0
        self.drop_answers = 0
        self.hold_answers = False  # stored, and the answer does not arrive before the line is released
        self.submissions = 0
        self.fates: list[str] = []  # of the next submissions, one by one
        self.random = random.Random(seed)
        self._released = threading.Event()
        self._listener = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._listener.daemon_threads = True
        self._listener.block_on_close = False
        threading.Thread(target=self._listener.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()

    @property
    def address(self) -> str:
        return f"{self.scheme}://127.0.0.1:{self._listener.server_address[1]}"

    def encrypt(self, pem: str) -> None:
        """From now on by TLS, with the key and certificate in this file."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(pem)
        self._listener.socket = context.wrap_socket(self._listener.socket, server_side=True)
        self.scheme = "https"

    def hang(self) -> None:
        self._released.clear()
        self.state = "hung"

    def release(self) -> None:
        self.state = "open"
        self._released.set()

    def close(self) -> None:
        self.release()
        self._listener.shutdown()
        self._listener.server_close()

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        wire = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                wire.carry(self)

            def do_POST(self) -> None:
                wire.carry(self)

            def log_message(self, *args: Any) -> None:
                """Keeps the test's output clean."""

        return Handler

    def carry(self, request: BaseHTTPRequestHandler) -> None:
        """Take one request, and answer it as the state of the line allows."""
        body = request.rfile.read(int(request.headers.get("Content-Length", 0)))
        if self.state == "hung":
            self._released.wait(30)
        if self.state != "open":
            return self._refuse(request)
        fate = self._fate(request.path)
        if fate == "cut before":
            return self._cut(request)
        if fate == "500 before":
            return self._answer(request, 500, [], b"fault")
        try:
            status, headers, data = self._ask(request, body)
        except (OSError, http.client.HTTPException):  # the server is down, or was killed with the request in hand
            return self._cut(request)
        if self.hold_answers and request.path == SENT:
            self._released.wait(30)
        if fate == "cut after":
            return self._cut(request)
        return self._answer(request, 500 if fate == "500 after" else status, headers, data)

    def _fate(self, path: str) -> str:
        if path != SENT:
            return "good"
        self.submissions += 1
        if self.fates:
            return self.fates.pop(0)
        if self.drop_answers:
            self.drop_answers -= 1
            return "cut after"
        if self.random.random() >= self.faults:
            return "good"
        return self.random.choice(["cut before", "500 before", "cut after", "500 after"])

    def _refuse(self, request: BaseHTTPRequestHandler) -> None:
        if self.state == "portal":
            self._answer(request, 302, [("Location", "/sign-in/")], b"")
        else:
            self._cut(request)

    def _ask(self, request: BaseHTTPRequestHandler, body: bytes) -> tuple[int, list[tuple[str, str]], bytes]:
        line = http.client.HTTPConnection(self.server.hostname or "", self.server.port, timeout=30)
        headers = {name: value for name, value in request.headers.items() if name.lower() not in OWN}
        with closing(line):
            line.request(request.command, request.path, body=body or None, headers=headers)
            answer = line.getresponse()
            return answer.status, answer.getheaders(), answer.read()

    @staticmethod
    def _answer(request: BaseHTTPRequestHandler, status: int, headers: list[tuple[str, str]], data: bytes) -> None:
        request.send_response_only(status)
        for name, value in headers:
            if name.lower() not in OWN:
                request.send_header(name, value)
        request.send_header("Content-Length", str(len(data)))
        with suppress(ConnectionError):  # the tablet may have given up waiting
            request.end_headers()
            request.wfile.write(data)

    @staticmethod
    def _cut(request: BaseHTTPRequestHandler) -> None:
        request.close_connection = True
        request.connection.close()
