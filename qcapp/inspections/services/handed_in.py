"""Entries that come another way than a tablet's own sending: a file saved on it, or kept aside and accepted."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, BinaryIO, Protocol

from django.db import transaction

from qcapp.core.errors import Invalid, QcError, Refused
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


BESIDE = "beside"  # the kind of what a revoked tablet keeps beside its results, when it is kept aside


class BesideTaker(Protocol):
    """Takes in a photo, remark, weld … by the address it was to be sent to; True when it is new. Raises QcError."""

    def __call__(
        self, *, address: str, body: Mapping[str, Any], proof: object, at: datetime, judged: bool = False
    ) -> bool: ...


_takers: list[BesideTaker] = []


def take_beside_by(taker: BesideTaker) -> None:
    """Say who takes in what is kept beside the results: the API, which knows the shape behind each address."""
    _takers[:] = [taker]


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
    return found + [_beside(one, at) for one in body.get("beside", [])]


def _beside(row: object, at: datetime) -> HandedIn:
    """What became of one thing beside the results. Only its owner's key can say whose it is."""
    said: dict[str, Any] = row if isinstance(row, dict) else {}
    body = said.get("body")
    told: dict[str, Any] = body if isinstance(body, dict) else {}
    named = str(told.get("id", ""))[:64]
    try:
        new = _take_beside(said, at)
        verdict = Verdictlet(named, "applied" if new else "duplicate")
    except QcError as error:
        verdict = Verdictlet(named, "rejected", error.code, error.message)
    serial, checkpoint = (str(told.get(name, ""))[:80] for name in ("serial", "checkpoint"))
    return HandedIn(serial, checkpoint, str(said.get("label", ""))[:80], str(said.get("owner", ""))[:80], verdict)


def _take_beside(said: Mapping[str, Any], at: datetime, *, judged: bool = False) -> bool:
    body = said.get("body")
    if not _takers or not isinstance(body, dict):
        raise Invalid("entry_unreadable", "This entry cannot be read; it is not one that a tablet saved.")
    whole = body | ({"content": said["content"]} if said.get("content") else {})
    return _takers[0](address=str(said.get("address")), body=whole, proof=said.get("proof"), at=at, judged=judged)


def judge_aside(*, by: Person, entry_id: int, accepted: bool, reason: str, at: datetime) -> Verdictlet | None:
    """Accept an entry of a revoked tablet, which records it, or refuse it; with the reason, for good.

    Raises as `decide_aside`, and Refused (`entry_not_recorded`) when the rules refuse an accepted one: then nothing
    is decided.
    """
    with transaction.atomic():
        body = decide_aside(by=by, entry_id=entry_id, accepted=accepted, reason=reason, at=at)
        if not accepted:
            return None
        verdict = _judged(by, body, at)
        if verdict.rejected:
            raise Refused("entry_not_recorded", f"It cannot be recorded: {verdict.message}", rule=verdict.code)
        return verdict


def _judged(by: Person, body: dict[str, Any], at: datetime) -> Verdictlet:
    if body.get("kind") != BESIDE:
        return record_operations(sent_by=by, device="kept aside", operations=[body], at=at)[0]
    try:
        return Verdictlet(str(body["id"]), "applied" if _take_beside(body, at, judged=True) else "duplicate")
    except QcError as error:
        return Verdictlet(str(body["id"]), "rejected", error.code, error.message)


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
    known = isinstance(body, dict) and body.get("kind") == KIND
    known = known and all(isinstance(body.get(name, []), list) for name in ("operations", "beside"))
    known = known and "operations" in body
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
