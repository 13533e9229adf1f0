"""Readers of the chain: what was done to a thing, how far the chain goes, and whether it still holds."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Max, Q

from qcapp.core.errors import Invalid
from qcapp.core.sealing import START, Break, Broken, canonical, digest, first_broken
from qcapp.core.sealing import Entry as ChainEntry

from . import anchors
from .models import ChainHead, Entry
from .verbs import Verb

ROWS_AT_ONCE = 2000
ANCHORS_AT_ONCE = 500
PAGE = 50
NOT_REDACTED: frozenset[str] = frozenset()
COLUMNS = (
    "number",
    "at",
    "verb",
    "actor",
    "subject",
    "header",
    "payload_digest",
    "previous_digest",
    "digest",
    "payload__body",
)


@dataclass(frozen=True)
class EntryRow:
    """One act as screens show it. `actor` is a person's uuid as text, empty for the system itself."""

    number: int
    at: datetime
    verb: str
    actor: str
    subject: str
    payload: dict[str, Any]
    digest: str


@dataclass(frozen=True)
class Head:
    """How far the chain goes: number 0 before the first act. `epoch` is empty then."""

    number: int
    digest: str
    epoch: str


@dataclass(frozen=True)
class Life:
    """A life of the chain that a restore ended. Entries after `kept_to` and up to `known_to` were lost by it."""

    kept_to: int
    known_to: int


@dataclass(frozen=True)
class ChainReport:
    """What a walk over the chain found. `anchor_problem` is a sentence, empty when every anchor fits."""

    entries: int
    broken: Broken | None
    anchors_checked: int
    anchor_problem: str

    @property
    def holds(self) -> bool:
        """True when neither the chain nor an anchor shows a change."""
        return self.broken is None and not self.anchor_problem


def entries_about(subject: str, limit: int | None = None) -> list[EntryRow]:
    """The acts on exactly this subject, newest first: every one, or the last of them."""
    return _rows(Entry.objects.filter(subject=subject), limit)


def entries_of(actor: str, subject: str) -> Iterator[dict[str, Any]]:
    """Every act of this person's uuid and every act on this subject, oldest first, as plain data."""
    found = Entry.objects.filter(Q(actor=actor) | Q(subject=subject)).order_by("number")
    columns = ("number", "at", "verb", "actor", "subject", "payload__body", "digest")
    for *told, body, seal in found.values_list(*columns).iterator(chunk_size=ROWS_AT_ONCE):
        yield dict(zip(columns[:5], told, strict=True)) | {"payload": _payload(body), "digest": seal}


def entries_page(*, fragment: str = "", before: int | None = None, size: int = PAGE) -> list[EntryRow]:
    """The newest acts whose subject or verb holds `fragment`; with `before` only those of lower numbers."""
    found = Entry.objects.all()
    if fragment:
        found = found.filter(subject__icontains=fragment) | found.filter(verb__icontains=fragment)
    if before is not None:
        found = found.filter(number__lt=before)
    return _rows(found, size)


def _rows(found: Any, size: int | None = None) -> list[EntryRow]:
    columns = ("number", "at", "verb", "actor", "subject", "payload__body", "digest")
    return [
        EntryRow(number, at, verb, actor, subject, _payload(body), seal)
        for number, at, verb, actor, subject, body, seal in found.order_by("-number").values_list(*columns)[:size]
    ]


def _payload(body: str | None) -> dict[str, Any]:
    """The payload; what an intruder left in its place is shown as it is, for `check_chain` to name."""
    try:
        payload = json.loads(body or "{}")
    except ValueError:
        payload = None
    return payload if isinstance(payload, dict) else {"unreadable": body}


def head() -> Head:
    """The last entry's number and digest as the head row names them."""
    row = ChainHead.objects.first()
    return Head(row.number, row.digest, str(row.epoch)) if row else Head(0, START, "")


def head_number(using: str = DEFAULT_DB_ALIAS) -> int:
    """The number of the last entry as one database knows it, a copy for example."""
    return ChainHead.objects.using(using).values_list("number", flat=True).first() or 0


def acts_missing(number: int) -> tuple[int, datetime | None]:
    """How many acts came after this one, and when the first of them was done: what a copy at that number lacks."""
    last = head_number()
    if last <= number:
        return 0, None
    return last - number, Entry.objects.filter(number=number + 1).values_list("at", flat=True).first()


def began_at() -> datetime | None:
    """When the first act was written; None before any."""
    return Entry.objects.filter(number=1).values_list("at", flat=True).first()


def last_anchor() -> anchors.Anchor | None:
    """The newest line of the anchor file, None when there is none or the file does not hold."""
    lines, problem = _read_anchors(anchors.read())
    return lines[-1] if lines and not problem else None


def check_chain(kept_elsewhere: Path | None = None) -> ChainReport:
    """Walk the whole chain, compare each entry with its payload and the anchors with the entries; those too that stand
    in a file from elsewhere. Raises Invalid (`no_anchor_there`).

    Reads while others write: what is appended after the start is not part of the answer.
    """
    theirs, foreign = _read_anchors(anchors.outside(kept_elsewhere)) if kept_elsewhere else ([], "")
    lines, unreadable = _read_anchors(anchors.read())  # before the head, which can then not be behind them
    known = head()
    walk = _Walk()
    broken = first_broken(walk.over(_stored(known.number)), head=_known(known))
    if walk.finding and (broken is None or walk.finding.number <= broken.number):
        broken = walk.finding
    broken = broken or _beyond_head()
    checked, problem = _compare_anchors(lines, known)
    outside, trouble = _compare_anchors(theirs, known)
    return ChainReport(walk.entries, broken, checked + outside, problem or unreadable or trouble or foreign)


def _known(known: Head) -> tuple[int, str] | None:
    return (known.number, known.digest) if known.number else None


def _stored(last: int) -> Iterator[tuple[Any, ...]]:
    rows = Entry.objects.filter(number__lte=last).order_by("number").values_list(*COLUMNS)
    return iter(rows.iterator(chunk_size=ROWS_AT_ONCE))


@dataclass
class _Walk:
    """Hands the chain's entries on and stops at the first whose columns or payload do not fit its header."""

    entries: int = 0
    finding: Broken | None = field(default=None)

    def over(self, rows: Iterable[tuple[Any, ...]]) -> Iterator[ChainEntry]:
        for number, at, verb, actor, subject, header, payload_digest, previous, seal, body in rows:
            wrong = self._wrong_payload(number, payload_digest, body) or _wrong_columns(
                header, (actor, at, number, payload_digest, subject, verb)
            )
            if wrong:
                self.finding = Broken(number, Break.ALTERED, f"Entry {number} was altered: {wrong}.")
                return
            self.entries += 1
            yield number, header, previous, seal

    @cached_property
    def redacted(self) -> dict[int, frozenset[str]]:
        """Read when the first payload differs."""
        return redactions()

    def _wrong_payload(self, number: int, payload_digest: str, body: str | None) -> str:
        if body is None:
            return "its payload is gone"
        found = digest(body)
        if found == payload_digest or found in self.redacted.get(number, NOT_REDACTED):
            return ""
        return "its payload does not give the digest in its header"


def redactions() -> dict[int, frozenset[str]]:
    """By number of an entry, the digests of the payloads without names that may stand in place of its own."""
    told = Entry.objects.filter(verb=Verb.PAYLOADS_REDACTED).order_by("number")
    return redactions_told(told.values_list("number", "payload__body"))


def redactions_told(entries: Iterable[tuple[int, str | None]]) -> dict[int, frozenset[str]]:
    """The same from the numbers and payloads of such entries. An entry speaks for earlier ones only.

    It is no way around the chain: who redacts has to append an entry that says so, which the walk then checks itself.
    """
    found: dict[int, frozenset[str]] = {}
    own = set()
    for number, body in entries:
        own.add(number)
        told = _payload(body).get("payloads")
        for name, seal in told.items() if isinstance(told, dict) else ():
            if name.isdigit() and int(name) < number:
                found[int(name)] = found.get(int(name), NOT_REDACTED) | {str(seal)}
    return {number: seals for number, seals in found.items() if number not in own}


def payloads_with(words: Iterable[str], subject: str) -> Iterator[tuple[int, str, str]]:
    """Number, subject and payload of the entries about `subject` and of those whose payload holds one of the words."""
    wanted = Q(subject=subject)
    for word in words:
        wanted |= Q(payload__body__icontains=canonical(word)[1:-1])
    rows = Entry.objects.filter(wanted).exclude(verb=Verb.PAYLOADS_REDACTED).order_by("number")
    yield from rows.values_list("number", "subject", "payload__body").iterator(chunk_size=ROWS_AT_ONCE)


def _wrong_columns(header: str, columns: tuple[Any, ...]) -> str:
    names = ("actor", "at", "number", "payload", "subject", "verb")
    expected = dict(zip(names, columns, strict=True))
    try:
        expected["at"] = expected["at"].astimezone(UTC).isoformat(timespec="microseconds")
        says = canonical(expected)
    except (Invalid, AttributeError):  # a NUL character, or no time at all
        says = ""
    return "" if says == header else "its columns do not say what its header says"


def _beyond_head() -> Broken | None:
    """Entries past the head: nobody but the services moves both, and they move them together."""
    last = Entry.objects.aggregate(last=Max("number"))["last"] or 0
    number = head().number  # read after the entries, so that an act committed meanwhile is no finding
    if last <= number:
        return None
    return Broken(number + 1, Break.INSERTED, f"Entry {number + 1} stands beyond the head of the chain.")


def _read_anchors(found: Iterator[anchors.Anchor]) -> tuple[list[anchors.Anchor], str]:
    """The lines that hold, and a sentence about the first that does not."""
    lines: list[anchors.Anchor] = []
    try:
        for anchor in found:
            lines.append(anchor)
    except anchors.AnchorsNotOurs as error:
        return lines, error.message
    return lines, ""


def _compare_anchors(lines: list[anchors.Anchor], known: Head) -> tuple[int, str]:
    """How many anchors fit before the first that does not, and sentences about that one and since when it is so."""
    ended = ended_lives() if lines else {}
    since = ""
    for start in range(0, len(lines), ANCHORS_AT_ONCE):
        part = lines[start : start + ANCHORS_AT_ONCE]
        found = Entry.objects.filter(number__in=[anchor.number for anchor in part])
        digests = dict(found.values_list("number", "digest"))
        for place, anchor in enumerate(part, start=start):
            if problem := anchor_problem(anchor, known, digests, ended):
                return place, f"{problem}{since}"
            if digests.get(anchor.number) == anchor.digest:
                since = f" The anchor of {anchor.at} still fits: what was done lies after entry {anchor.number}."
    return len(lines), ""


def ended_lives() -> dict[str, Life]:
    """By epoch, the lives of the chain that a restore ended, as the entries of the restores say."""
    restores = Entry.objects.filter(verb=Verb.SITE_RESTORED).order_by("number")
    return lives_told(restores.values_list("payload__body", flat=True))


def lives_told(bodies: Iterable[str | None]) -> dict[str, Life]:
    """The same from the payloads of such entries, in the order of the chain."""
    ended: dict[str, Life] = {}
    for body in bodies:
        told = _payload(body).get("ended")
        for epoch, life in told.items() if isinstance(told, dict) else ():
            if isinstance(life, dict) and all(isinstance(life.get(name), int) for name in ("kept_to", "known_to")):
                ended[epoch] = Life(life["kept_to"], life["known_to"])
    return ended


def anchor_problem(anchor: anchors.Anchor, known: Head, digests: dict[int, str], ended: dict[str, Life]) -> str:
    """What the anchor shows against the entries' digests, as a sentence; empty when it fits."""
    where = f"The anchor of {anchor.at} (line {anchor.line})"
    life = ended.get(anchor.epoch)
    if anchor.epoch != known.epoch and life is None:
        return f"{where} belongs to another chain: this database was replaced or begun anew."
    if life and anchor.number > life.kept_to:
        lost = f"{where} knows entry {anchor.number}, which no restore named as lost."
        return "" if anchor.number <= life.known_to else lost
    if anchor.number not in digests:
        return f"{where} knows entry {anchor.number}, which is gone: the chain's end was cut off."
    if digests[anchor.number] != anchor.digest:
        return f"{where} knows another entry {anchor.number}: the chain was rewritten."
    return ""
