"""The writers of messages. `tell` belongs to the transaction of what it tells of; nothing here waits for a server."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, cast

from django.db import connection, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotFound
from qcapp.lib.statements import Prepared
from qcapp.people.queries import keys_with_role
from qcapp.people.roles import Role

from ..kinds import Kind
from ..models import MailChoice, Message, Picture

if TYPE_CHECKING:
    from qcapp.people.models import Person

LONGEST_SUBJECT, LONGEST_TEXT = 160, 1000


@dataclass(frozen=True)
class Shown:
    """A picture to a message: SVG in the page's classes, the same standing alone, and what it shows in words."""

    drawn: str
    file: str
    alternative: str


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
    picture: Shown | None = None,
) -> None:
    """Put a message into the inbox of a person, of several, or of everybody who holds a role at that time.

    It stands or falls with the caller's transaction; e-mail, for whoever chose it, is sent by `deliver_messages`. The
    same `key` (without one: kind, subject and what it is about) tells nobody twice, however often it is called.
    `link` is an address of this site. `leave_out` spares whoever did it themselves. A `picture` is kept once for all.
    """
    keys = [one for one in _keys(to, at) if leave_out is None or one != leave_out.pk]
    if not keys:
        return
    by_mail = {person for person, kinds in _CHOICES() if kind in json.loads(kinds)}
    known = key or f"{kind} {about} {subject}"
    told = [known[:160], kind.value, _cut(subject, LONGEST_SUBJECT), _cut(text, LONGEST_TEXT), link[:200], about[:120]]
    when = connection.ops.adapt_datetimefield_value(at)
    shown = None if picture is None else Picture.objects.create(**asdict(picture), at=at).pk
    values = [value for one in keys for value in (one, *told, when, when if one in by_mail else None, shown)]
    with connection.cursor() as cursor:
        cursor.execute(_INSERT + ", ".join([_ROW] * len(keys)) + _ONCE, values)


_CHOICES = Prepared(lambda: MailChoice.objects.values_list("person_id", "kinds"))
_INSERT = (
    f"INSERT INTO {Message._meta.db_table} "  # noqa: S608 - a name of our own
    '(to_id, "key", kind, subject, text, link, about, at, mail_due, picture_id, mail_attempts, mail_problem) VALUES '
)
_ROW = "(%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, 0, '')"
_ONCE = ' ON CONFLICT (to_id, "key") DO NOTHING'


def _keys(to: Person | Role | Iterable[Person], at: datetime) -> list[int]:
    if isinstance(to, Role):
        return keys_with_role(to, at)
    # The person of a request is a lazy object, which says that it can be iterated over: ask for what people have.
    people = [cast("Person", to)] if hasattr(to, "badge") else list(to)
    return list(dict.fromkeys(person.pk for person in people))


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
