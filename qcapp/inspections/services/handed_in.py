"""Entries that come another way than a tablet's own sending: a file saved on it, or kept aside and accepted."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, BinaryIO

from django.db import transaction

from qcapp.core.errors import Invalid, Refused
from qcapp.people.roles import Act
from qcapp.people.services import decide_aside, require
from qcapp.people.services.entry_proofs import proven_operations

from . import record_operations
from .operations import MAX_OPERATIONS
from .recording import Verdictlet

if TYPE_CHECKING:
    from qcapp.people.models import Person

KIND = "qcapp unsent entries"
LARGEST = 20 * 1024 * 1024  # bytes: a week of a busy tablet is less than two


@dataclass(frozen=True)
class HandedIn:
    """One entry of a file and what became of it."""

    serial: str
    checkpoint: str
    raw: str
    recorded_by: str
    verdict: Verdictlet


def take_in_file(*, by: Person, stream: BinaryIO, at: datetime) -> list[HandedIn]:
    """What became of each unsent entry in the file that a tablet saved. Taking it in twice changes nothing.

    An entry that its owner's key signed counts as the owner's own; any other is kept and marked as sent by
    somebody else. Raises NotAllowed `not_permitted`; Invalid `file_unreadable`, `file_too_large`.
    """
    require(by, Act.JUDGE_ASIDE, at)
    body = _read(stream)
    operations = body["operations"]
    proven = proven_operations(operations, body.get("proofs"))
    device = str(body.get("device", ""))[:50]
    found: list[HandedIn] = []
    for first in range(0, len(operations), MAX_OPERATIONS):
        part = operations[first : first + MAX_OPERATIONS]
        verdicts = record_operations(sent_by=by, device=f"file {device}".strip(), operations=part, at=at, proven=proven)
        found += [_entry(one, verdict) for one, verdict in zip(part, verdicts, strict=True)]
    return found


def judge_aside(*, by: Person, entry_id: int, accepted: bool, reason: str, at: datetime) -> Verdictlet | None:
    """Accept an entry of a revoked tablet, which records it, or refuse it; with the reason, for good.

    Raises as `decide_aside`, and Refused (`entry_not_recorded`) when the rules refuse an accepted one: then nothing
    is decided.
    """
    with transaction.atomic():
        body = decide_aside(by=by, entry_id=entry_id, accepted=accepted, reason=reason, at=at)
        if not accepted:
            return None
        (verdict,) = record_operations(sent_by=by, device="kept aside", operations=[body], at=at)
        if verdict.rejected:
            raise Refused("entry_not_recorded", f"It cannot be recorded: {verdict.message}", rule=verdict.code)
        return verdict


def judge_all_aside(
    *, by: Person, entry_ids: Sequence[int], accepted: bool, reason: str, at: datetime
) -> list[Verdictlet | None]:
    """As `judge_aside` for several entries, all or none: one that cannot be recorded leaves every one undecided."""
    with transaction.atomic():
        known = {"by": by, "accepted": accepted, "reason": reason, "at": at}
        return [_one_of_all(entry_id, known) for entry_id in entry_ids]


def _one_of_all(entry_id: int, known: dict[str, Any]) -> Verdictlet | None:
    try:
        return judge_aside(entry_id=entry_id, **known)
    except Refused as error:
        message = f"None is decided. Judge them one by one: {error.message}"
        raise Refused(error.code, message, entry=entry_id, **error.details) from error


def _read(stream: BinaryIO) -> dict[str, Any]:
    content = stream.read(LARGEST + 1)
    if len(content) > LARGEST:
        raise Invalid("file_too_large", "The file is larger than 20 MB; it is not one that a tablet saved.")
    try:
        body = json.loads(content)
    except (ValueError, RecursionError):
        body = None
    known = isinstance(body, dict) and body.get("kind") == KIND and isinstance(body.get("operations"), list)
    if not known:
        message = "This is not a file of unsent entries. On the tablet: tap what is where, then Save to a file."
        raise Invalid("file_unreadable", message)
    return body


def _entry(operation: object, verdict: Verdictlet) -> HandedIn:
    said = operation if isinstance(operation, dict) else {}
    serial, checkpoint, raw, recorded_by = (
        str(said.get(name, ""))[:80] for name in ("serial", "checkpoint", "raw", "recorded_by")
    )
    return HandedIn(serial, checkpoint, raw, recorded_by, verdict)
