"""The writers of messages. `tell` belongs to the transaction of what it tells of; nothing here waits for a server."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import TYPE_CHECKING, cast

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotFound
from qcapp.people.queries import people_with_role
from qcapp.people.roles import Role

from ..kinds import Kind
from ..models import MailChoice, Message

if TYPE_CHECKING:
    from qcapp.people.models import Person

LONGEST_SUBJECT, LONGEST_TEXT = 160, 1000


def tell(
    *,
    to: Person | Role | Iterable[Person],
    subject: str,
    text: str,
    at: datetime,
    link: str = "",
    about: str = "",
    kind: Kind = Kind.OTHER,
    key: str = "",
    leave_out: Person | None = None,
) -> None:
    """Put a message into the inbox of a person, of several, or of everybody who holds a role at that time.

    It stands or falls with the caller's transaction; e-mail, for whoever chose it, is sent by `deliver_messages`. The
    same `key` (without one: kind, subject and what it is about) tells nobody twice, however often it is called.
    `link` is an address of this site. `leave_out` spares whoever did it themselves.
    """
    people = [person for person in _people(to, at) if leave_out is None or person.pk != leave_out.pk]
    if not people:
        return
    chosen = MailChoice.objects.filter(person__in=people).values_list("person_id", "kinds")
    by_mail = {person for person, kinds in chosen if kind in kinds}
    known = key or f"{kind} {about} {subject}"
    rows = [
        Message(
            to=person, key=known[:160], kind=kind, subject=_cut(subject, LONGEST_SUBJECT),
            text=_cut(text, LONGEST_TEXT), link=link[:200], about=about[:120], at=at,
            mail_due=at if person.pk in by_mail else None,
        )
        for person in people
    ]  # fmt: skip
    Message.objects.bulk_create(rows, ignore_conflicts=True)  # only (to, key) can conflict, and that is the point


def _people(to: Person | Role | Iterable[Person], at: datetime) -> list[Person]:
    if isinstance(to, Role):
        return people_with_role(to, at)
    # The person of a request is a lazy object, which says that it can be iterated over: ask for what people have.
    return [cast("Person", to)] if hasattr(to, "badge") else list(to)


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"


@transaction.atomic
def mark_read(*, by: Person, message_id: int | None = None, at: datetime) -> str:
    """Mark one message of the person as read, or all of them; gives the link of the one. Raises NotFound.

    A message that is read stays read: the first time counts.
    """
    mine = Message.objects.filter(to=by)
    if message_id is None:
        mine.filter(read_at=None).update(read_at=at)
        return ""
    row = mine.filter(pk=message_id).first()
    if row is None:
        raise NotFound("message_unknown", "There is no such message to you; look at your messages.")
    mine.filter(pk=message_id, read_at=None).update(read_at=at)
    return row.link


@transaction.atomic
def choose_mail(*, by: Person, kinds: Collection[str], at: datetime) -> None:
    """For which kinds the person wants e-mail as well, from now on. Raises Invalid `kind_unknown`."""
    unknown = set(kinds) - set(Kind)
    if unknown:
        raise Invalid("kind_unknown", f"There is no kind of message “{min(unknown)[:40]}”; choose from the list.")
    chosen = [kind.value for kind in Kind if kind in kinds]
    MailChoice.objects.update_or_create(person=by, defaults={"kinds": chosen})
    audit.record(
        verb=Verb.PERSON_MAIL_CHOSEN, actor=by.uuid, subject=f"person {by.badge}", at=at, payload={"kinds": chosen}
    )
