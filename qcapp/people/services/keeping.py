"""What every change of a person has in common: who may make it, what stops it, and its audit entry."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import NotAllowed, Refused

from .. import queries
from ..models import Person
from ..roles import Act, Role
from .rights import require


def require_keeper(by: Person | None, at: datetime) -> None:
    if by is not None:
        require(by, Act.KEEP_PEOPLE, at)


def require_self_or_keeper(by: Person | None, person: Person, at: datetime) -> None:
    if by is None or by.pk != person.pk:
        require_keeper(by, at)
    elif not queries.is_here(person, at):
        raise NotAllowed("not_permitted", f"{person.name} does not work here any more.")


def refuse_last_keeper(person: Person, at: datetime) -> None:
    keepers = queries.own_holders(Role.KEEPER, at)
    if [keeper.pk for keeper in keepers] == [person.pk]:
        raise Refused("last_keeper", f"{person.name} is the only keeper. Give somebody else the role first.")


def record_change(verb: Verb, by: Person | None, person: Person, at: datetime, **payload: Any) -> None:
    actor = by.uuid if by else None
    audit.record(verb=verb, actor=actor, subject=f"person {person.badge}", at=at, payload=payload)
