"""The number of the request being answered: in the log, in the answer's header, on a refusal."""

from __future__ import annotations

import logging
import secrets
from contextvars import ContextVar

_current: ContextVar[str] = ContextVar("request_id", default="-")


def current_request_id() -> str:
    """The number of this thread's request; `-` outside a request."""
    return _current.get()


def begin() -> str:
    """Give this thread's request its own number. None is taken from outside: it could forge log lines."""
    number = secrets.token_hex(6)
    _current.set(number)
    return number


def end(**signal: object) -> None:
    """Forget the number, so that work of this thread between requests does not carry it."""
    _current.set("-")


class RequestIdFilter(logging.Filter):
    """Puts `request_id` on each log record."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = current_request_id()
        return True
