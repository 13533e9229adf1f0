"""Pages of a PDF as pictures, drawn in a process of its own with a limit of time and memory.

What somebody uploads decides how long a page takes and how much it needs; the process that answers requests must not
depend on it.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from qcapp.core.errors import Invalid

TIME_LIMIT = 30.0  # seconds for all pages asked for
REPOSITORY = Path(__file__).resolve().parent.parent.parent


@dataclass(frozen=True)
class PagePicture:
    """One page as a PNG; `width` and `height` in pixels."""

    page: int
    content: bytes
    width: int
    height: int


def page_pictures(
    content: bytes, pages: Sequence[int], *, longest_edge: int, time_limit: float = TIME_LIMIT
) -> list[PagePicture]:
    """These pages, counted from 1, each at most `longest_edge` pixels long.

    Raises Invalid `pages_not_drawn` when the document cannot be drawn or needs more than it may.
    """
    job = {"pages": list(pages), "longest_edge": longest_edge, "length": len(content)}
    command = [sys.executable, "-m", "qcapp.lib.pdf_page_worker"]
    try:
        answer = subprocess.run(  # noqa: S603 - our own module, no shell
            command, input=json.dumps(job).encode() + b"\n" + content, capture_output=True, timeout=time_limit,
            check=True, cwd="/", env={"PYTHONPATH": str(REPOSITORY), "LC_ALL": "C.UTF-8"},
        )  # fmt: skip
    except subprocess.TimeoutExpired as error:
        message = f"Drawing these pages took longer than {time_limit:g} seconds. Choose fewer, or export them simpler."
        raise Invalid("pages_not_drawn", message) from error
    except subprocess.CalledProcessError as error:
        message = "These pages cannot be drawn: the document is damaged or needs too much memory. Export it simpler."
        raise Invalid("pages_not_drawn", message) from error
    return _taken_apart(answer.stdout)


def _taken_apart(answer: bytes) -> list[PagePicture]:
    head, _, body = answer.partition(b"\n")
    found = []
    for page, width, height, length in json.loads(head):
        found.append(PagePicture(page, body[:length], width, height))
        body = body[length:]
    return found
