"""The sessions of one person: what a sign-in writes into its session, which ones are open, and their end."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.lib.fields import uuid7

from ..models import OpenSession, Person
from .keeping import record_change
from .proofs import Proof
from .session_store import BEGUN, DEVICE, SIGN_IN

LISTED = 100
BROWSERS = (("Edg", "Edge"), ("OPR", "Opera"), ("Firefox", "Firefox"), ("Chrom", "Chromium"), ("Safari", "Safari"))
SYSTEMS = ("Android", "iPhone", "iPad", "Windows", "Mac OS", "Linux")


@dataclass(frozen=True)
class SessionRow:
    """An open session as its owner may know it again."""

    sign_in: UUID | None
    device: str
    begun_at: datetime | None
    used_at: datetime | None


def begin_session(request: Any, at: datetime) -> None:
    """Write into the session that has just been opened what its list shows; its longest life counts from now."""
    tablet = getattr(request, "tablet", None)
    agent = request.META.get("HTTP_USER_AGENT", "")
    told = {SIGN_IN: str(uuid7()), BEGUN: int(at.timestamp()), DEVICE: tablet.name if tablet else device_of(agent)}
    request.session.update(told)
    request.session.pop("renewed_at", None)


def device_of(agent: str) -> str:
    """Browser and system by their usual words; a program that calls the API by the first word it says of itself."""
    browser = next((name for word, name in BROWSERS if word in agent), "")
    system = next((word for word in SYSTEMS if word in agent), "")
    if browser:
        return f"{browser}, {system}" if system else browser
    said = re.match(r"[\w.-]{1,40}", agent)
    return said[0] if said else ""


def sessions_of(person: Person, at: datetime) -> list[SessionRow]:
    """The person's sessions that are open, the last used first, at most a hundred."""
    found = OpenSession.objects.filter(person=person, expire_date__gt=at).order_by("-used_at", "session_key")
    columns = ("sign_in", "device", "begun_at", "used_at")
    return [SessionRow(*row) for row in found.values_list(*columns)[:LISTED]]


def end_sessions(*, proof: Proof, sign_ins: Collection[UUID], at: datetime) -> int:
    """End these sessions of the person who proved who they are; gives how many were open. Those of others stay."""
    with transaction.atomic():
        ended = OpenSession.objects.filter(person=proof.person, sign_in__in=sign_ins).delete()[0]
        if ended:
            record_change(Verb.PERSON_SESSIONS_ENDED, proof.person, proof.person, at, sessions=ended)
    return ended


def sessions_to_forget(at: datetime) -> int:
    """How many sessions have ended and are not deleted yet."""
    return OpenSession.objects.filter(expire_date__lt=at).count()


def forget_sessions(*, before: datetime) -> int:
    """Delete the sessions that ended before; gives how many."""
    return OpenSession.objects.filter(expire_date__lt=before).delete()[0]
