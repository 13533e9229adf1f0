"""The server as it runs in a workshop: gunicorn on a loopback port, in processes of its own."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import closing, suppress
from pathlib import Path
from types import TracebackType
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import get_user_model
from django.db import connection
from django.test import Client

PATIENCE = 60  # seconds that a start may take on a busy machine


class RealServer:
    """Serves this process's database and data folder; a context manager. `address` stays over a restart."""

    def __init__(self, *, workers: int = 3, threads: int = 4, **variables: str) -> None:
        self.port = _free_port()
        self._sizes = ["--preload", "--workers", str(workers), "--threads", str(threads)]
        self.variables = variables
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def __enter__(self) -> RealServer:
        self.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: object, trace: TracebackType | None) -> None:
        self.go_on()
        self.stop()

    def start(self) -> None:
        """Start it and wait until it answers. Raises RuntimeError when it does not."""
        command = [sys.executable, "-m", "gunicorn", "qcapp.config.wsgi:application", "--log-level", "warning"]
        bind = ["--bind", f"127.0.0.1:{self.port}", "--timeout", "60", "--graceful-timeout", "1"]
        self._process = subprocess.Popen(  # noqa: S603 - our own interpreter
            [*command, *bind, *self._sizes],
            cwd=settings.BASE_DIR,
            env=environment(self.address) | self.variables,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        self._wait()

    def _wait(self) -> None:
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            if self._process is None or self._process.poll() is not None:
                raise RuntimeError("The server stopped at its start.")
            if self._answers():
                return
            time.sleep(0.05)
        raise RuntimeError(f"The server does not answer after {PATIENCE} s.")

    def _answers(self) -> bool:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
        with closing(line), suppress(OSError, http.client.HTTPException):
            line.request("GET", "/health/live/")
            return line.getresponse().status == 200
        return False

    def stop(self) -> None:
        """End it in good order."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it as a power cut does: nothing that runs is finished."""
        self._end(signal.SIGKILL)

    def _end(self, how: signal.Signals) -> None:
        if self._process is None:
            return
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, how)
        try:
            self._process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(20)
        self._process = None

    def hang(self) -> None:
        """It takes connections and says nothing, until `go_on`."""
        self._signal(signal.SIGSTOP)

    def go_on(self) -> None:
        self._signal(signal.SIGCONT)

    def _signal(self, which: signal.Signals) -> None:
        if self._process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self._process.pid, which)


def environment(address: str) -> dict[str, str]:
    """The variables of a process that shares database, data folder and secret key with this one."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))}
    ours = {
        "QCAPP_DATA_DIR": str(settings.QCAPP_DATA_DIR),
        "QCAPP_DATABASE_URL": database_url(),
        "QCAPP_SECRET_KEY": settings.SECRET_KEY,
        "QCAPP_PUBLIC_URL": address,
        "QCAPP_DEMO": "yes" if settings.QCAPP_DEMO else "no",
        "QCAPP_LOOK_UPS_A_MINUTE": "0",  # one measured minute asks for more than people do
        "QCAPP_API_CALLS_A_MINUTE": "0",
    }
    return kept | ours


def database_url() -> str:
    """The address of the database that this process is on, which is not always the configured one."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return f"sqlite:///{Path(name).resolve()}"
    configured = urlsplit(os.environ.get("QCAPP_DATABASE_URL", ""))
    return configured._replace(path=f"/{name}").geturl()


def session_of(person: Any) -> str:
    """The cookie's value of a new session of this person."""
    client = Client()
    client.force_login(get_user_model().objects.get(pk=person.pk))
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def _free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])
