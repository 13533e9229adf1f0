"""Tablets: made by the keeper, enrolled by a code, people on them, revoked; and what a revoked one still sends."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.core import signing
from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text

from .. import queries, tablet_keys
from ..models import AsideDecision, AsideEntry, Person, Tablet, TabletKey
from ..roles import Act
from . import attempts
from .proofs import Proof, tablet_proof
from .rights import require

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that is taken for another
CODE_LENGTH = 8  # 32^8, and tries are throttled
CODE_LASTS = timedelta(minutes=30)
NONCE_LASTS = 120  # seconds
FOR_SWITCH = "qcapp tablet switch"


def add_tablet(*, by: Person, name: str, place: str, at: datetime) -> tuple[Tablet, str]:
    """A tablet that waits to be enrolled, and the code for it. Raises Conflict (`tablet_name_taken`)."""
    require(by, Act.KEEP_TABLETS, at)
    name, place = plain_text("The name", name, longest=60), plain_text("The place", place, longest=60, needed=False)
    code = _new_code()
    with transaction.atomic():
        if Tablet.objects.filter(name__iexact=name).exists():
            raise Conflict("tablet_name_taken", f"A tablet is called “{name}” already; choose another name.")
        tablet = Tablet.objects.create(
            name=name, place=place, made_by=by, code_digest=_digest(code), code_until=at + CODE_LASTS
        )
        audit.record(verb=Verb.TABLET_ADDED, actor=by.uuid, subject=f"tablet {name}", at=at, payload={"place": place})
    return tablet, shown_code(code)


def new_code(*, by: Person, tablet: Tablet, at: datetime) -> str:
    """Another code for a tablet that is not enrolled yet. Raises Refused (`tablet_enrolled`, `tablet_revoked`)."""
    require(by, Act.KEEP_TABLETS, at)
    code = _new_code()
    with transaction.atomic():
        row = Tablet.objects.select_for_update().get(pk=tablet.pk)
        _refuse_revoked(row)
        if row.enrolled_at:
            raise Refused("tablet_enrolled", f"{row.name} is enrolled already. Revoke it, and add it under a new name.")
        row.code_digest, row.code_until = _digest(code), at + CODE_LASTS
        row.save(update_fields=["code_digest", "code_until"])
        audit.record(
            verb=Verb.TABLET_ADDED, actor=by.uuid, subject=f"tablet {row.name}", at=at, payload={"place": row.place}
        )
    return shown_code(code)


def enrol(*, code: str, at: datetime, address: str) -> tuple[Tablet, str]:
    """The tablet that the code is for, and the token that its cookie holds from now on. A code works once.

    Raises NotAllowed (`code_unknown`) and Throttled. Counts failures in transactions of its own.
    """
    keys = attempts.keys_of(f"tablet code from {address}", address)
    before = attempts.take_a_try(keys, at)
    token = secrets.token_urlsafe(32)
    given = _digest("".join(letter for letter in code.upper() if letter in LETTERS))
    with transaction.atomic():
        tablet = Tablet.objects.select_for_update().filter(code_digest=given, code_until__gte=at).first()
        if tablet is None or tablet.revoked_at:
            raise NotAllowed("code_unknown", "This code is not valid: mistyped, used, or older than half an hour.")
        tablet.code_digest, tablet.token_digest, tablet.enrolled_at = "", _digest(token), at
        tablet.save(update_fields=["code_digest", "token_digest", "enrolled_at"])
        payload = {"place": tablet.place, "address": address}
        audit.record(verb=Verb.TABLET_ENROLLED, actor=None, subject=f"tablet {tablet.name}", at=at, payload=payload)
    attempts.give_the_try_back(keys, at, before)
    return tablet, token


def revoke_tablet(*, by: Person, tablet: Tablet, reason: str, at: datetime) -> None:
    """From now on the tablet opens nothing, and what it sends is kept aside. Raises Conflict (`tablet_revoked`)."""
    require(by, Act.KEEP_TABLETS, at)
    reason = plain_text("The reason", reason, longest=300)
    with transaction.atomic():
        row = Tablet.objects.select_for_update().get(pk=tablet.pk)
        _refuse_revoked(row)
        row.revoked_at, row.code_digest = at, ""
        row.save(update_fields=["revoked_at", "code_digest"])
        audit.record(
            verb=Verb.TABLET_REVOKED, actor=by.uuid, subject=f"tablet {row.name}", at=at, payload={"reason": reason}
        )


def add_person_to_tablet(*, proof: Proof, tablet: Tablet, entry_key: str, sign_key: str, at: datetime) -> TabletKey:
    """The public keys of a person who just proved the PIN on this tablet. Raises Invalid (`key_unreadable`)."""
    person = proof.person
    with transaction.atomic():
        row = Tablet.objects.select_for_update().get(pk=tablet.pk)
        _refuse_revoked(row)
        key = TabletKey(
            tablet=row,
            person=person,
            entry_key=tablet_keys.check_key(entry_key),
            sign_key=tablet_keys.check_key(sign_key),
            pin_print=queries.pin_print(person),
            at=at,
        )
        key.save()
        payload = {"badge": person.badge, "key": str(key.uuid), "keys": digest(f"{entry_key} {sign_key}")}
        audit.record(
            verb=Verb.TABLET_PERSON_ADDED, actor=person.uuid, subject=f"tablet {row.name}", at=at, payload=payload
        )
    return key


def nonce_for(tablet: Tablet) -> str:
    """What a tablet signs to show who unlocked it; valid for two minutes, on this tablet."""
    return signing.TimestampSigner(salt=FOR_SWITCH).sign(str(tablet.uuid))


def person_by_key(*, tablet: Tablet, key: str, nonce: str, signature: str, at: datetime) -> Proof:
    """Who unlocked the tablet with the PIN. Raises NotAllowed (`key_refused`): then badge and PIN are asked online."""
    row = queries.tablet_key(key)
    try:
        named = signing.TimestampSigner(salt=FOR_SWITCH).unsign(nonce, max_age=NONCE_LASTS)
    except signing.BadSignature:
        named = ""
    if row is None or not _unlocks(row, tablet, named, nonce, signature, at):
        raise NotAllowed("key_refused", "The PIN was changed, or this tablet is not yours. Give badge and PIN again.")
    return tablet_proof(row.person, at)


def _unlocks(key: TabletKey, tablet: Tablet, named: str, nonce: str, signature: str, at: datetime) -> bool:
    fits = key.tablet_id == tablet.pk and named == str(tablet.uuid) and queries.opens_sessions(key, at)
    return fits and tablet_keys.is_signed(key.entry_key, tablet_keys.SWITCH, nonce, signature)


def tablet_contact(
    *, tablet: Tablet, at: datetime, unsent: int = 0, since: datetime | None = None, version: str | None = None
) -> None:
    """What the tablet said of itself; None keeps the version said before. No act, so no audit entry."""
    said: dict[str, Any] = {"unsent": max(0, min(unsent, 10**6)), "unsent_since": since if unsent > 0 else None}
    said |= {} if version is None else {"version": version[:40]}
    Tablet.objects.filter(pk=tablet.pk).update(last_contact_at=at, **said)


# ------------------------------------------------------------------------------------------------------- kept aside


def keep_aside(*, tablet: Tablet, operations: Sequence[object], at: datetime) -> list[dict[str, Any]]:
    """Entries of a revoked tablet, stored as they are for a person to judge; one answer for each. Harmless twice."""
    rows = [_aside(body, AsideEntry.Why.REVOKED, at, tablet=tablet) for body in operations]
    with transaction.atomic():
        known = set(AsideEntry.objects.filter(body_digest__in=[r.body_digest for r in rows]).values_list("body_digest"))
        fresh = {row.body_digest: row for row in rows if (row.body_digest,) not in known}
        for row in fresh.values():
            row.save()
        if fresh:
            payload = {"entries": [[row.operation, row.body_digest] for row in fresh.values()]}
            audit.record(
                verb=Verb.TABLET_ENTRIES_KEPT_ASIDE, actor=None, subject=f"tablet {tablet.name}", at=at, payload=payload
            )
    message = "This tablet was revoked. The entry is kept aside, and the quality manager judges it."
    return [
        {"id": row.operation, "outcome": "kept_aside", "code": "tablet_revoked", "message": message} for row in rows
    ]


def discard_entry(*, by: Person, body: Mapping[str, Any], reason: str, tablet: Tablet | None, at: datetime) -> None:
    """A refused entry that a person gave up, with the reason, for good in the audit. Sent twice it is written once.

    Raises NotAllowed `not_permitted`, Invalid of `plain_text`.
    """
    require(by, Act.RECORD_RESULT, at)
    reason = plain_text("The reason", reason, longest=300)
    row = _aside(body, AsideEntry.Why.DISCARDED, at, tablet=tablet, by=by, reason=reason)
    with transaction.atomic():
        if AsideEntry.objects.filter(
            operation=row.operation, body_digest=row.body_digest, why=AsideEntry.Why.DISCARDED
        ).exists():
            return
        try:
            with transaction.atomic():
                row.save()
        except IntegrityError:
            return  # the same from another tab, a moment ago
        payload = {"operation": row.operation, "body": row.body_digest, "reason": reason}
        audit.record(
            verb=Verb.TABLET_ENTRY_DISCARDED,
            actor=by.uuid,
            subject=_about(body),
            at=at,
            payload=payload,
        )


def decide_aside(*, by: Person, entry_id: int, accepted: bool, reason: str, at: datetime) -> dict[str, Any]:
    """The decision about one kept entry, inside the caller's transaction, which records an accepted one.

    Gives the entry's body. Raises NotFound (`entry_unknown`), Conflict (`already_decided`).
    """
    require(by, Act.JUDGE_ASIDE, at)
    reason = plain_text("The reason", reason, longest=300)
    entry = AsideEntry.objects.select_for_update().filter(pk=entry_id, why=AsideEntry.Why.REVOKED).first()
    if entry is None:
        raise NotFound("entry_unknown", "This entry is not kept here. Load the page again.")
    if AsideDecision.objects.filter(entry=entry).exists():
        raise Conflict("already_decided", "This entry was judged before; a decision stands.")
    AsideDecision.objects.create(entry=entry, accepted=accepted, reason=reason, by=by, at=at)
    payload = {"operation": entry.operation, "body": entry.body_digest, "accepted": accepted, "reason": reason}
    name = entry.tablet.name if entry.tablet else ""
    audit.record(verb=Verb.TABLET_ENTRY_DECIDED, actor=by.uuid, subject=f"tablet {name}", at=at, payload=payload)
    return dict(json.loads(entry.body))


def _about(body: Mapping[str, Any]) -> str:
    """What an entry is about, as the audit names it: a unit, or the gauge that it sets aside or checks."""
    kind = "gauge" if body.get("gauge") and not body.get("serial") else "unit"
    return f"{kind} {str(body.get('gauge' if kind == 'gauge' else 'serial', ''))[:60]}"


def _aside(body: object, why: str, at: datetime, **given: Any) -> AsideEntry:
    if not isinstance(body, Mapping) or not isinstance(body.get("id"), str):
        raise Invalid("operation_malformed", "An entry is an object with an “id”.")
    text = canonical(dict(body))
    return AsideEntry(operation=body["id"][:64], body_digest=digest(text), body=text, why=why, at=at, **given)


def _refuse_revoked(tablet: Tablet) -> None:
    if tablet.revoked_at:
        raise Conflict("tablet_revoked", f"{tablet.name} is revoked; nothing of it can be changed any more.")


def _new_code() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))


def shown_code(code: str) -> str:
    """In two groups, as it is read out."""
    return f"{code[:4]}-{code[4:]}"


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
