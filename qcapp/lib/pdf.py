"""HTML to PDF: the same input gives the same bytes, in a process of its own.

A web thread that laid out a certificate itself would slow every other request. The worker (`pdf_worker.py`)
is started with the first document and kept. It sees no network and no file but the static ones, and two
Debian fonts (`pdf_fonts.conf`).
"""

from __future__ import annotations

import atexit
import base64
import json
import logging
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from qcapp.core.errors import QcError

log = logging.getLogger("qcapp.pdf")

REPOSITORY = Path(__file__).resolve().parent.parent.parent
TIME_LIMIT = 90.0  # seconds for one document
DOCUMENTS_PER_WORKER = 500  # then a new one, so that its memory stays bounded


class PdfNotMade(QcError):
    """The document could not be laid out; nothing was made. The code says why.

    `pdf_libraries_missing`, `pdf_fonts_missing`: the machine lacks a Debian package. `pdf_glyph_missing`: no
    font has a character of the text. `pdf_resource_missing`: the page names a file that may not or cannot be
    read. `pdf_timeout`, `pdf_failed`: see the log.
    """


@dataclass(frozen=True)
class Attached:
    """A file inside the document; `relationship` is what it is to it (ISO 32000-2, 7.11.3): Data, Alternative …"""

    name: str
    description: str
    data: bytes
    relationship: str = "Data"


def html_to_pdf(
    html: str,
    *,
    identifier: str,
    created: datetime,
    title: str,
    language: str = "en",
    variant: str | None = None,
    attached: Sequence[Attached] = (),
    time_limit: float = TIME_LIMIT,
) -> bytes:
    """The PDF of a page whose addresses begin with /static/ or data:.

    `identifier` becomes the file's own identifier and `created` its date (whole seconds, UTC), so they must
    come from the record and not from the clock. `variant` is a PDF profile such as `pdf/ua-1` or `pdf/a-3a`; with
    the latter the file says that it is PDF/UA-1 too. Attached files bear the document's own date.
    Equal input gives equal bytes for one version of the layout library and fonts; keep the bytes, not the
    promise. Raises `PdfNotMade`.
    """
    job = {
        "html": html,
        "identifier": identifier,
        "created": created.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "title": title,
        "language": language,
        "variant": variant,
        "attached": [
            [one.name, one.description, base64.b64encode(one.data).decode(), one.relationship] for one in attached
        ],
        "static_url": settings.STATIC_URL,
        "folders": [str(folder) for folder in [settings.STATIC_ROOT, *settings.STATICFILES_DIRS]],
    }
    return WORKER.render(job, time_limit)


@dataclass
class Worker:
    """The one process that lays out documents, one at a time; started when needed, also after a fork."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    process: subprocess.Popen[bytes] | None = None
    owner: int = 0
    made: int = 0
    module: str = "qcapp.lib.pdf_worker"

    def render(self, job: dict[str, Any], time_limit: float) -> bytes:
        """Raises `PdfNotMade`; a worker that hangs or dies is replaced at the next document."""
        with self.lock:
            process = self.running()
            hung = threading.Event()
            alarm = threading.Timer(time_limit, end, [process, hung])
            alarm.start()
            try:
                header, body = converse(process, job)
            except (OSError, ValueError) as error:
                self.stop()
                raise broken(hung.is_set(), time_limit) from error
            finally:
                alarm.cancel()
            self.made += 1
        if header["code"]:
            log.error("document %s: %s %s", job["identifier"], header["code"], header["message"])
            raise PdfNotMade(header["code"], header["message"])
        return body

    def running(self) -> subprocess.Popen[bytes]:
        """The live worker of this process."""
        if self.owner != os.getpid():
            self.process, self.owner = None, os.getpid()  # after a fork the parent's worker is the parent's
        if self.process is None or self.process.poll() is not None or self.made >= DOCUMENTS_PER_WORKER:
            self.stop()
            self.process, self.made = start(self.module), 0
        return self.process

    def stop(self) -> None:
        """End the worker; the next document starts a new one."""
        process, self.process = self.process, None
        if process is None or self.owner != os.getpid():
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe:
                try:
                    pipe.close()
                except BrokenPipeError:  # what was still buffered for a worker that is gone
                    log.debug("the worker went before it had read its document")
        process.wait()


def start(module: str = "qcapp.lib.pdf_worker") -> subprocess.Popen[bytes]:
    """A new worker with an environment that is the same on every machine; the benchmark names a barer one."""
    environment = {
        "PATH": os.environ.get("PATH", os.defpath),
        "PYTHONPATH": str(REPOSITORY),
        "PYTHONHASHSEED": "0",
        "LC_ALL": "C.UTF-8",
        "TZ": "UTC",
        "FONTCONFIG_FILE": str(Path(__file__).with_name("pdf_fonts.conf")),
        "XDG_CACHE_HOME": str(settings.QCAPP_DATA_DIR / "cache"),
    }
    command = [sys.executable, "-m", module]
    return subprocess.Popen(  # noqa: S603 - our own module, no shell
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, cwd="/"
    )


def end(process: subprocess.Popen[bytes], hung: threading.Event) -> None:
    """Kill a worker that took too long, so that whoever reads its answer goes on."""
    hung.set()
    process.kill()


def converse(process: subprocess.Popen[bytes], job: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
    """Send one job and read its answer. Raises `OSError` or `ValueError` when the worker goes silent."""
    if process.stdin is None or process.stdout is None:
        raise ValueError("the worker has no pipes")
    process.stdin.write(json.dumps(job).encode() + b"\n")
    process.stdin.flush()
    header = json.loads(process.stdout.readline())
    body = process.stdout.read(header["length"])
    if len(body) != header["length"]:
        raise ValueError("the answer is cut short")
    return header, body


def broken(hung: bool, time_limit: float) -> PdfNotMade:
    """The refusal for a worker that was stopped or died."""
    if hung:
        return PdfNotMade("pdf_timeout", f"The document was not ready within {time_limit:g} seconds. Try again.")
    return PdfNotMade("pdf_failed", "The process that lays out documents stopped. Try again; the log says why.")


WORKER = Worker()
atexit.register(WORKER.stop)
