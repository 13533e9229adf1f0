"""Asking who is affected, keeping the answer as a list, and the papers written from it: a report, a field action."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.services import next_number, record
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.customers.queries import customer_by_number
from qcapp.improvement.services.field import list_units, open_field_action
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.services.by_hand import raise_grouped
from qcapp.people.roles import Act
from qcapp.people.services import require

from .answering import Answer, answer
from .asking import read
from .models import KeptList, ListUse
from .queries import ASKED, ListView, kept_list, told_rows

if TYPE_CHECKING:
    from qcapp.people.models import Person

SERIES = "AL"
MOST_NAMED = 10_000  # serials that the audit names for one question; the digest covers all


def ask(*, by: Person | None, question: str, at: datetime, through: str) -> Answer:
    """Who is affected as the records stand now. That it was asked is recorded, with what was known.

    The audit keeps the question, how many units stand where, their serials, and the digest that a list kept of this
    answer would have. `through` says where it was asked; `by` is None for the program itself. Raises NotAllowed,
    Invalid of `read`, NotFound `nothing_of_that_name`; then nothing is recorded.
    """
    if by is not None:
        require(by, Act.ASK_AFFECTED, at)
    found = answer(read(question))
    serials: dict[str, list[str]] = {}
    for row in found.rows[:MOST_NAMED]:
        serials.setdefault(row.standing, []).append(row.serial)
    payload = {
        "question": found.question, "units": dict(found.counts), "on_hold": found.held, "serials": serials,
        "answer": digest(canonical(told_rows(found.rows))), "through": through,
    }  # fmt: skip
    actor = None if by is None else by.uuid
    with transaction.atomic():
        record(verb=Verb.AFFECTED_ASKED, actor=actor, subject=ASKED, at=at, payload=payload)
    return found


@transaction.atomic
def keep_list(*, by: Person, name: str, question: str, at: datetime) -> str:
    """The number of a new list: the question asked now, and its answer as the records stand.

    Raises NotAllowed, Invalid of `plain_text` and of `read`, NotFound `nothing_of_that_name`.
    """
    require(by, Act.KEEP_AFFECTED, at)
    name = plain_text("The name", " ".join(name.split()), longest=120)
    found = answer(read(question))
    told = canonical(told_rows(found.rows))
    year = site_day(at).year
    number = f"{SERIES}-{year}-{next_number(series=f'{SERIES}-{year}'):04}"
    row = KeptList.objects.create(
        number=number, name=name, question=found.question, answer=told, digest=digest(told), units=len(found.rows),
        by=by, at=at,
    )  # fmt: skip
    payload = {"name": name, "question": found.question, "answer": row.digest, "units": dict(found.counts)}
    record(verb=Verb.AFFECTED_LISTED, actor=by.uuid, subject=f"list {number}", at=at, payload=payload)
    return number


@transaction.atomic
def hold_listed(
    *, by: Person, number: str, serials: Sequence[str], title: str, reason: str, severity: str, at: datetime
) -> str:
    """One report over the chosen units of a list, which puts each on hold; gives the report's number.

    Raises NotAllowed, NotFound `list_unknown`, Invalid `not_listed`, `no_units`, and as `raise_grouped`.
    """
    require(by, Act.HOLD_LISTED, at)
    view = kept_list(number)
    chosen = _chosen(view, serials)
    paper = raise_grouped(
        by=by, serials=chosen, title=title, description=reason, severity=severity, source=f"list {view.card.number}",
        cause="unknown", at=at,
    )  # fmt: skip
    _use(view, ListUse.Kind.HOLD, paper, len(chosen), by, at)
    return paper


@transaction.atomic
def write_to_owners(*, by: Person, number: str, title: str, reason: str, at: datetime) -> str:
    """A field action over the units of a list that have left, with who has them; gives its number.

    Raises NotAllowed, NotFound `list_unknown`, Refused `none_has_left`, and as `open_field_action` and `list_units`.
    """
    view = kept_list(number)
    left = _by_customer(view)
    if not left:
        raise Refused(
            "none_has_left", f"No unit of {view.card.number} had been shipped; put the units on hold instead."
        )
    said = f"{reason.strip()} List {view.card.number}."
    paper = open_field_action(by=by, title=title, reason=said if reason.strip() else "", at=at)
    count = 0
    for number_of_customer, serials in left.items():
        who = customer_by_number(number_of_customer) if number_of_customer else None
        told = {"customer": who.name, "address": who.contact} if who else {}
        count += list_units(by=by, number=paper, serials=serials, at=at, **told)
    _use(view, ListUse.Kind.FIELD_ACTION, paper, count, by, at)
    return paper


def _by_customer(view: ListView) -> dict[str, list[str]]:
    """The serials of what had been shipped, each once, by the number of who has them; a component by its holder's."""
    found: dict[str, list[str]] = {}
    for row in view.answer.rows:
        serials = found.setdefault(row.customer, []) if row.standing == "shipped" else []
        if (serial := row.holder or row.serial) not in serials:
            serials.append(serial)
    return found


def _chosen(view: ListView, serials: Sequence[str]) -> list[str]:
    wanted = list(dict.fromkeys(serial.strip().upper() for serial in serials if serial.strip()))
    listed = {row.serial for row in view.answer.rows}
    if not wanted:
        raise Invalid("no_units", "Choose at least one unit of the list.")
    strange = [serial for serial in wanted if serial not in listed]
    if strange:
        raise Invalid("not_listed", f"{strange[0][:40]} is not on {view.card.number}; choose among its units.")
    return wanted


def _use(view: ListView, kind: str, paper: str, units: int, by: Person, at: datetime) -> None:
    ListUse.objects.create(kept_id=view.card.id, kind=kind, paper=paper, units=units, by=by, at=at)
    record(
        verb=Verb.AFFECTED_LIST_USED, actor=by.uuid, subject=f"list {view.card.number}", at=at,
        payload={"paper": paper, "units": units, "answer": view.card.digest},
    )  # fmt: skip
