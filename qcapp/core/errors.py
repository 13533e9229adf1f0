"""What goes wrong, in words: every refusal has a code that never changes and a sentence that says what to do.

Raise one of the kinds below with a code in snake_case. The code is for programs, the sentence for people; screens
and the API show both unchanged. The kind tells the doors (pages, API, commands) how to answer.
"""

from __future__ import annotations

from datetime import datetime


class QcError(Exception):
    """A refusal. `code` is stable, `message` is a full sentence, `details` are plain values for programs."""

    def __init__(self, code: str, message: str, **details: object) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.details = details

    def __str__(self) -> str:
        return self.message


class Invalid(QcError):
    """What was sent cannot be read or is outside what the table, plan or field allows."""


class NotFound(QcError):
    """Nothing of that name is known."""


class NotAllowed(QcError):
    """The person may not do this, or not this one (their own work, for example)."""


class Refused(QcError):
    """Understood and permitted, but a rule of the work stands against it now."""


class Conflict(QcError):
    """Somebody else was first, or the same key came with another body."""


class TransitionNotAllowed(Refused):
    """The state does not permit the move. `details['possible']` lists the moves that are possible."""


class Throttled(QcError):
    """Too many attempts; `retry_at` says when the next one is heard."""

    def __init__(self, code: str, message: str, *, retry_at: datetime, **details: object) -> None:
        super().__init__(code, message, **details)
        self.retry_at = retry_at


class Problems(Invalid):
    """Several findings at once, each with its place. `findings` is a list of `Finding`-like dictionaries."""

    def __init__(self, code: str, message: str, findings: list[dict[str, object]]) -> None:
        super().__init__(code, message, findings=findings)
        self.findings = findings
