"""Anonymising somebody who left long ago: the row, the messages, and the names in the payloads of the audit chain."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Any

from qcapp.audit.queries import payloads_with
from qcapp.audit.services import redact
from qcapp.config.backup.loading import loading_alias
from qcapp.core.sealing import canonical
from qcapp.messages.services.forgetting import forget_messages_to
from qcapp.people.services import anonymise, forgettable, refuse_to_forget

if TYPE_CHECKING:
    from qcapp.people.models import Person

FIELDS = frozenset({"name", "initials", "email"})  # of entries about the person
GONE = "(anonymised)"
SHORTEST = 5  # letters of a name that is looked for in the payloads of others' entries


def forget_names(at: datetime) -> int:
    """Anonymise everybody who left longer ago than names are kept; gives how many."""
    people = forgettable(at)
    for person in people:
        anonymise_person(person, at)
    return len(people)


def anonymise_person(person: Person, at: datetime) -> int:
    """Anonymise one person; gives how many payloads of the chain lost a name. Raises as `refuse_to_forget`.

    The payloads come first: what stops half way is finished by the same call, as long as the row has its name.
    """
    refuse_to_forget(person, at)
    subject = f"person {person.badge}"
    words = sorted(_names(person, subject), key=len, reverse=True)
    bodies = dict(_changed(words, subject))
    count = redact(bodies=bodies, at=at, reason=f"badge {person.badge} is anonymised", using=loading_alias())
    forget_messages_to(person=person)
    anonymise(person=person, at=at)
    return count


def _names(person: Person, subject: str) -> set[str]:
    """The names and addresses that the person had, as the chain knows them, long enough to be found in a text."""
    known = {person.name, person.email}
    for _, about, body in payloads_with([], subject):
        told = json.loads(body)
        for said in (told, told.get("before")):
            if about == subject and isinstance(said, dict):
                known |= {str(said.get("name", "")), str(said.get("email", ""))}
    return {word for word in known if len(word) >= SHORTEST and word != GONE}


def _changed(words: list[str], subject: str) -> Iterator[tuple[int, dict[str, Any]]]:
    pattern = re.compile(r"|".join(rf"(?<!\w){re.escape(word)}(?!\w)" for word in words) or r"(?!)", re.IGNORECASE)
    for number, about, body in payloads_with(words, subject):
        before = json.loads(body)
        after = _without(before, pattern, FIELDS if about == subject else frozenset())
        if canonical(after) != body:
            yield number, after


def _without(told: Any, pattern: re.Pattern[str], fields: frozenset[str]) -> Any:
    """The same data with each name replaced, and each field of a person's own entry emptied."""
    if isinstance(told, str):
        return pattern.sub(GONE, told)
    if isinstance(told, list):
        return [_without(each, pattern, fields) for each in told]
    if isinstance(told, dict):
        return {
            key: GONE if key in fields and isinstance(value, str) and value else _without(value, pattern, fields)
            for key, value in told.items()
        }
    return told
