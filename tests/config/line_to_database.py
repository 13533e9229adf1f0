"""A line between a server and PostgreSQL that fails on command, at a byte that the test chooses, never by a clock."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress
from urllib.parse import parse_qs, urlsplit

PIECE = 1 << 16


class LineToDatabase:
    """Forwards a loopback port to the socket of the database in `url`.

    `gone` refuses everybody and cuts who is there, as a server that is stopped; `hang` takes everything and hands
    nothing on, as one that is frozen; `lose` cuts one connection at its COMMIT, before or after the database has it.
    """

    def __init__(self, url: str) -> None:
        parts = urlsplit(url)
        self._socket = f"{parse_qs(parts.query)['host'][0]}/.s.PGSQL.5432"
        self._name, self._user = parts.path.lstrip("/"), parts.username
        self._open = threading.Event()
        self._open.set()
        self.held = threading.Event()  # set once something waits in a line that hangs
        self._losing = ""
        self._pairs: list[tuple[socket.socket, socket.socket]] = []
        self.port = 0
        self.back()

    @property
    def url(self) -> str:
        """What a server is told as its database."""
        return f"postgresql://{self._user}@127.0.0.1:{self.port}/{self._name}?sslmode=disable&gssencmode=disable"

    def gone(self) -> None:
        with suppress(OSError):  # a thread that waits for a caller would let one more in
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._cut()

    def back(self) -> None:
        """At the same port as before."""
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._take, args=(self._listener,), daemon=True).start()

    def hang(self) -> None:
        self.held.clear()
        self._open.clear()

    def go_on(self) -> None:
        self._open.set()

    def lose(self, when: str) -> None:
        """The next COMMIT of results: "before" it reaches the database, or "after", without its answer."""
        self._losing = when

    def close(self) -> None:
        self.go_on()
        self.gone()

    # ---- the bytes

    def _take(self, listener: socket.socket) -> None:
        with suppress(OSError):
            while True:
                server, _ = listener.accept()
                database = socket.socket(socket.AF_UNIX)
                database.connect(self._socket)
                pair = (server, database)
                self._pairs.append(pair)
                threading.Thread(target=self._ask, args=pair, daemon=True).start()
                threading.Thread(target=self._answer, args=pair, daemon=True).start()

    def _ask(self, server: socket.socket, database: socket.socket) -> None:
        about_results = False
        with suppress(OSError):
            while piece := server.recv(PIECE):
                self._wait()
                about_results = about_results or b"inspections_result" in piece
                if about_results and b"COMMIT" in piece:
                    about_results = False
                    if self._lost(piece, database):
                        break
                database.sendall(piece)
        _end(server, database)

    def _lost(self, commit: bytes, database: socket.socket) -> bool:
        when, self._losing = self._losing, ""
        if when == "after":
            self._swallowing = database
            self._committed = threading.Event()
            database.sendall(commit)
            self._committed.wait(60)
        return bool(when)

    def _answer(self, server: socket.socket, database: socket.socket) -> None:
        with suppress(OSError):
            while piece := database.recv(PIECE):
                if getattr(self, "_swallowing", None) is database:
                    self._committed.set()
                    return
                self._wait()
                server.sendall(piece)
        _end(server, database)

    def _wait(self) -> None:
        if not self._open.is_set():
            self.held.set()
            self._open.wait()

    def _cut(self) -> None:
        pairs, self._pairs = self._pairs, []
        for pair in pairs:
            _end(*pair)


def _end(*sockets: socket.socket) -> None:
    for one in sockets:
        with suppress(OSError):
            one.shutdown(socket.SHUT_RDWR)
        one.close()
