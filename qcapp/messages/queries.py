"""Readers of messages: a person's inbox, how many are unread, and what could not be delivered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from .kinds import Kind
from .models import MailChoice, Message

if TYPE_CHECKING:
    from qcapp.people.models import Person

PAGE = 50


@dataclass(frozen=True)
class MessageCard:
    """A message as its receiver sees it."""

    id: int
    kind: str
    kind_label: str
    subject: str
    text: str
    link: str
    about: str
    at: datetime
    read_at: datetime | None
    mail_sent_at: datetime | None
    mail_problem: str
    picture: str = ""  # SVG in the page's classes
    picture_alternative: str = ""

    @property
    def unread(self) -> bool:
        return self.read_at is None


@dataclass(frozen=True)
class Inbox:
    """A page of messages, the latest first; `older` is the key to go on from, None at the end."""

    messages: list[MessageCard]
    unread: int
    older: int | None


@dataclass(frozen=True)
class Undelivered:
    """An e-mail that was tried and is still owed."""

    id: int
    to_name: str
    to_badge: str
    address: str
    subject: str
    at: datetime
    attempts: int
    problem: str
    next_at: datetime


def unread_count(person: Person) -> int:
    """How many messages the person has not read; one query along its own index."""
    return Message.objects.filter(to=person, read_at=None).count()


def inbox(person: Person, *, unread_only: bool = False, before: int | None = None) -> Inbox:
    """The person's messages, the latest first; `before` is the key that an earlier page ended with."""
    rows = Message.objects.filter(to=person).select_related("picture").defer("picture__file").order_by("-id")
    if unread_only:
        rows = rows.filter(read_at=None)
    if before is not None:
        rows = rows.filter(id__lt=before)
    found = [_card(row) for row in rows[: PAGE + 1]]
    more = len(found) > PAGE
    return Inbox(found[:PAGE], unread_count(person), found[PAGE - 1].id if more else None)


def mail_kinds(person: Person) -> frozenset[Kind]:
    """For which kinds the person chose e-mail."""
    row = MailChoice.objects.filter(person=person).first()
    return frozenset(Kind(kind) for kind in (row.kinds if row else ()) if kind in set(Kind))


def undelivered(limit: int = 200) -> list[Undelivered]:
    """E-mails that were tried and not taken, the oldest first."""
    rows = Message.objects.filter(mail_due__isnull=False, mail_attempts__gt=0).select_related("to").order_by("id")
    return [_undelivered(row) for row in rows[:limit]]


def mail_counts() -> dict[str, int]:
    """How many e-mails wait for their first try, and how many were tried in vain."""
    owed = Message.objects.filter(mail_due__isnull=False)
    return {"waiting": owed.filter(mail_attempts=0).count(), "undelivered": owed.filter(mail_attempts__gt=0).count()}


def _undelivered(row: Message) -> Undelivered:
    return Undelivered(
        id=row.pk, to_name=row.to.name, to_badge=row.to.badge, address=row.to.email, subject=row.subject, at=row.at,
        attempts=row.mail_attempts, problem=row.mail_problem, next_at=row.mail_due or row.at,
    )  # fmt: skip


def _card(row: Message) -> MessageCard:
    return MessageCard(
        id=row.pk, kind=row.kind, kind_label=row.get_kind_display(), subject=row.subject, text=row.text,
        link=row.link, about=row.about, at=row.at, read_at=row.read_at, mail_sent_at=row.mail_sent_at,
        mail_problem=row.mail_problem,
        picture=row.picture.drawn if row.picture else "",
        picture_alternative=row.picture.alternative if row.picture else "",
    )  # fmt: skip
