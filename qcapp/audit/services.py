"""The only writers of the audit chain, the gapless counters and the anchors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connection, connections, models, transaction

from qcapp.core.errors import Invalid
from qcapp.core.sealing import START, canonical, chain, digest
from qcapp.lib.fields import uuid7
from qcapp.lib.guards import lifted

from . import anchors
from .models import ChainHead, Counter, Entry, Payload
from .verbs import Verb

HEAD = 1  # the one row of ChainHead
AFTER_RESTORE = "after restore"  # the series that hold where a new series of a year begins after a restore


class Act(NamedTuple):
    """One act as it is to be recorded; see `record`."""

    verb: Verb
    actor: UUID | str | None
    subject: str
    at: datetime
    payload: dict[str, Any]


def record(*, verb: Verb, actor: UUID | str | None, subject: str, at: datetime, payload: dict[str, Any]) -> int:
    """Append one act to the chain and give its number; it stands or falls with the caller's transaction.

    Call it as the last statement: the head stays locked until the commit, and every other writer waits for
    it. `actor` is a person's uuid, None for the system itself. Raises Invalid when `at` has no zone or the
    payload has no canonical text, and RuntimeError outside a transaction.
    """
    return record_all([Act(verb, actor, subject, at, payload)])


def record_all(acts: Sequence[Act]) -> int:
    """Append several acts of one transaction in this order, and give the number of the last; as `record` otherwise."""
    headers, bodies = zip(*(_header(act) for act in acts), strict=True)
    head = _locked_head()
    number, previous = head.number, head.digest
    entries: list[Entry] = []
    for act, header in zip(acts, headers, strict=True):
        number += 1
        entries.append(_entry(header, number, act.at, canonical(header | {"number": number}), previous))
        previous = entries[-1].digest
    Entry.objects.bulk_create(entries)
    Payload.objects.bulk_create(Payload(entry=entry, body=body) for entry, body in zip(entries, bodies, strict=True))
    ChainHead.objects.filter(pk=HEAD).update(number=number, digest=previous)
    return number


def _header(act: Act) -> tuple[dict[str, str], str]:
    """What the chain says about an act, and its payload as canonical text."""
    body = canonical(act.payload)
    header = {
        "actor": "" if act.actor is None else str(act.actor),
        "at": utc_text(act.at),
        "payload": digest(body),
        "subject": act.subject,
        "verb": Verb(act.verb).value,
    }
    return header, body


def next_number(*, series: str) -> int:
    """The next number of a series, from 1, without gaps: it is given back when the caller's transaction
    fails.

    The counter stays locked until the commit. Raises RuntimeError outside a transaction.
    """
    _require_transaction()
    if (given := _counted_on(series)) is not None:
        return given
    counter = Counter.objects.select_for_update().filter(series=series).first()
    if counter is None:
        # On PostgreSQL two first takers meet here; the second waits for the first and then inserts nothing.
        begin = Counter(series=series, last=_given_before_restore(series))
        Counter.objects.bulk_create([begin], ignore_conflicts=True)
        counter = Counter.objects.select_for_update().get(series=series)
    Counter.objects.filter(pk=counter.pk).update(last=models.F("last") + 1)
    return counter.last + 1


def _counted_on(series: str) -> int | None:
    """The next number of a series that has begun, its counter locked by the one statement; None for a new series."""
    with connection.cursor() as cursor:
        cursor.execute("UPDATE audit_counter SET last = last + 1 WHERE series = %s RETURNING last", [series])
        row = cursor.fetchone()
    return None if row is None else int(row[0])


def begin_epoch(*, at: datetime, margin: int, years: list[int], payload: dict[str, Any]) -> int:
    """Begin another life of the chain after a restore, and give the number of the entry that says so.

    Papers issued after the backup are in the world, so every counter jumps by `margin`, and a series of one of
    `years` that the backup did not know begins behind it. `payload` says what was restored; the counters as they
    were are added. Raises RuntimeError outside a transaction.
    """
    _require_transaction()
    before = dict(Counter.objects.select_for_update().order_by("series").values_list("series", "last"))
    Counter.objects.update(last=models.F("last") + margin)
    for year in years:
        Counter.objects.get_or_create(series=f"{AFTER_RESTORE} {year}", defaults={"last": margin})
    _locked_head()
    ChainHead.objects.filter(pk=HEAD).update(epoch=uuid7())
    said = payload | {"counters": before, "margin": margin}
    return record(verb=Verb.SITE_RESTORED, actor=None, subject="site", at=at, payload=said)


def _given_before_restore(series: str) -> int:
    """What a new series may not give again: it may have been begun between a backup and its restore."""
    floor = Counter.objects.filter(series=f"{AFTER_RESTORE} {series[-4:]}").first()
    return floor.last if floor else 0


def anchor(*, at: datetime) -> bool:
    """Write the committed head of the chain into the anchor file. False when there was nothing new to write.

    Call it outside a transaction; services use `anchor_on_commit`. Raises OSError when the disk refuses.
    """
    head = ChainHead.objects.filter(pk=HEAD).first()
    if head is None or head.number == 0:
        return False
    return anchors.append(epoch=str(head.epoch), number=head.number, digest=head.digest, at=utc_text(at))


def anchor_on_commit(*, at: datetime) -> None:
    """Anchor the chain once the caller's transaction has been committed.

    The act is done by then, so a full disk is logged and not raised; the next anchor covers this act too.
    """
    transaction.on_commit(lambda: anchor(at=at), robust=True)


def redact(*, bodies: Mapping[int, dict[str, Any]], at: datetime, reason: str, using: str = DEFAULT_DB_ALIAS) -> int:
    """Put payloads without names in place of those of these entries, and give how many were replaced.

    An entry that names the new digests comes first, in a transaction of its own: when the work stops between the
    two, the chain holds and the same call finishes it. `using` is the owner of the tables where the settings name
    one; the guard of the payloads is lifted for the one statement. Call it outside a transaction.
    """
    told = {number: canonical(body) for number, body in bodies.items()}
    if not told:
        return 0
    payload = {"payloads": {str(number): digest(body) for number, body in told.items()}, "reason": reason}
    with transaction.atomic():
        record(verb=Verb.PAYLOADS_REDACTED, actor=None, subject="audit", at=at, payload=payload)
    keys = dict(Entry.objects.filter(number__in=told).values_list("number", "pk"))
    table = Payload._meta.db_table
    with lifted(reason, [table], using), connections[using].cursor() as cursor:
        for number, body in told.items():
            cursor.execute(f"UPDATE {table} SET body = %s WHERE entry_id = %s", [body, keys[number]])  # noqa: S608
    return len(told)


def utc_text(at: datetime) -> str:
    """The instant as it stands in headers and anchors. Raises Invalid when `at` names no zone."""
    if at.tzinfo is None:
        raise Invalid("time_without_zone", "A time without a zone cannot be recorded; give it one.")
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def _entry(header: dict[str, str], number: int, at: datetime, text: str, previous: str) -> Entry:
    return Entry(
        number=number,
        at=at,
        verb=header["verb"],
        actor=header["actor"],
        subject=header["subject"],
        header=text,
        payload_digest=header["payload"],
        previous_digest=previous,
        digest=chain(previous, number, text),
    )


def _locked_head() -> ChainHead:
    _require_transaction()
    head = ChainHead.objects.select_for_update().filter(pk=HEAD).first()
    if head is None:
        # Created at the first act: a flush of the database takes the row away, and two first writers may
        # meet.
        ChainHead.objects.bulk_create([ChainHead(pk=HEAD, digest=START)], ignore_conflicts=True)
        head = ChainHead.objects.select_for_update().get(pk=HEAD)
    return head


def _require_transaction() -> None:
    if not connection.in_atomic_block:
        raise RuntimeError("The audit chain is written inside the transaction of the act that it records.")
