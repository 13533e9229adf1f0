"""Field actions: units that have left, what the quality manager writes about them, and what became of each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused, TransitionNotAllowed
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.plain_text import plain_text
from qcapp.lib.printing import paper
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import unit_by_serial
from qcapp.production.states import UnitState

from ..models import FieldAction, FieldEvent, FieldLetter, FieldUnit
from ..queries.actions import action_row
from ..queries.field import field_action, field_row, letter_of, list_named_in, state_of_unit
from ..queries.recipients import recipient_of
from ..states import FIELD_NEXT, FieldEventKind
from .steps_of_life import next_paper

if TYPE_CHECKING:
    from qcapp.people.models import Person

LONGEST_LETTER = 6000
LEFT = frozenset({UnitState.RELEASED, UnitState.DISPATCHED})  # a unit in build is held, not written about


@transaction.atomic
def open_field_action(*, by: Person, title: str, reason: str, action: str = "", at: datetime) -> str:
    """The number of a new field action, of a corrective action where one is named.

    Raises NotAllowed, NotFound `action_unknown`, Invalid of `plain_text`.
    """
    require(by, Act.LEAD_FIELD_ACTION, at)
    title = plain_text("The title", title, longest=160)
    reason = plain_text("The reason", " ".join(reason.split()), longest=600)
    belongs = action_row(action) if action.strip() else None
    row = FieldAction.objects.create(
        number=next_paper("FA", at), title=title, reason=reason, action=belongs, opened_by=by, opened_at=at
    )
    told = belongs.number if belongs else ""
    _enter(row, Verb.FIELD_ACTION_OPENED, by, at, {"title": title, "action": told})
    return row.number


@transaction.atomic
def list_units(
    *, by: Person, number: str, serials: Sequence[str], customer: str = "", address: str = "", at: datetime
) -> int:
    """Units that have left, with who has them: the customer given, else as dispatch knows it. Gives how many.

    Raises NotAllowed, NotFound `serial_unknown`, Refused `unit_has_not_left`, Conflict `unit_listed`, Invalid
    `serials_missing`; nothing is listed then.
    """
    require(by, Act.LEAD_FIELD_ACTION, at)
    row = field_row(number)
    customer = plain_text("The customer", customer, longest=160, needed=False)
    address = plain_text("The address", " ".join(address.split()), longest=300, needed=False)
    wanted = [one.strip() for one in serials if one.strip()]
    if not wanted:
        raise Invalid("serials_missing", "Name at least one serial number.")
    listed = [_listed(row, serial, customer, address) for serial in wanted]
    _enter(row, Verb.FIELD_ACTION_UNITS_LISTED, by, at, {"serials": listed})
    return len(listed)


def _listed(row: FieldAction, serial: str, customer: str, address: str) -> str:
    unit = unit_by_serial(serial)
    if unit.state not in LEFT:
        message = f"{unit.serial} is {unit.state_label}: it has not left, so put it on hold instead."
        raise Refused("unit_has_not_left", message, serial=unit.serial)
    if row.units.filter(item=unit.item_id).exists():
        raise Conflict("unit_listed", f"{unit.serial} is listed in {row.number} already.", serial=unit.serial)
    known = recipient_of(unit)
    FieldUnit.objects.create(
        field_action=row, item_id=unit.item_id, serial=unit.serial, customer=customer or known.name,
        address=address or known.address,
    )  # fmt: skip
    return unit.serial


@transaction.atomic
def write_letter(*, by: Person, number: str, subject: str, text: str, at: datetime) -> None:
    """What the customers are written, in place of an earlier letter, which stays. Raises NotAllowed, Invalid."""
    require(by, Act.LEAD_FIELD_ACTION, at)
    row = field_row(number)
    subject = plain_text("The subject", subject, longest=160)
    lines = [plain_text("A line", line, longest=LONGEST_LETTER, needed=False) for line in text.splitlines()]
    body = "\n".join(lines).strip()
    if not body or len(body) > LONGEST_LETTER:
        raise Invalid("letter_length", f"A letter has from one to {LONGEST_LETTER} characters.")
    FieldLetter.objects.create(field_action=row, subject=subject, text=body, by=by, at=at)
    _enter(row, Verb.FIELD_ACTION_LETTER_WRITTEN, by, at, {"subject": subject, "text": body})


@transaction.atomic
def follow_unit(*, by: Person, number: str, unit_id: int, kind: str, note: str = "", at: datetime) -> None:
    """What became of a unit: notified, answered, checked, corrected.

    Raises NotAllowed, NotFound `unit_not_listed`, Invalid `event_unknown` or of `plain_text`, TransitionNotAllowed.
    """
    require(by, Act.FOLLOW_FIELD_ACTION, at)
    row = field_row(number)
    unit = FieldUnit.objects.select_for_update().filter(field_action=row, pk=unit_id).first()
    if unit is None:
        raise NotFound("unit_not_listed", f"{row.number} does not list this unit; look at its page again.")
    if kind not in set(FieldEventKind):
        raise Invalid("event_unknown", "A unit is notified, answered, fine, to_correct or corrected; choose one.")
    possible = FIELD_NEXT[state_of_unit(unit)]
    if kind not in possible:
        told = ", ".join(one.label for one in possible) or "nothing more, it is closed"
        message = f"{unit.serial} cannot be {FieldEventKind(kind).label} now; possible: {told}."
        raise TransitionNotAllowed("transition_not_allowed", message, possible=[str(one) for one in possible])
    note = plain_text("The note", " ".join(note.split()), longest=300, needed=False)
    FieldEvent.objects.create(unit=unit, kind=kind, note=note, by=by, at=at)
    _enter(row, Verb.FIELD_ACTION_UNIT_FOLLOWED, by, at, {"serial": unit.serial, "event": kind, "note": note})


def letters_pdf(*, number: str, customer: str = "") -> bytes:
    """The letters, one sheet for each customer with its serial numbers; of one customer where it is named.

    Raises NotFound, Refused `letter_missing`, `units_missing`, and what `html_to_pdf` raises.
    """
    row = field_row(number)
    letter = letter_of(row)
    if letter is None:
        raise Refused("letter_missing", f"No letter is written for {row.number} yet.")
    customers = [one for one in field_action(number).customers if customer in ("", one.customer)]
    if not customers:
        raise Refused("units_missing", f"{row.number} lists no unit of such a customer yet.")
    context = {
        "number": row.number, "list": list_named_in(row.reason), "letter": letter, "customers": customers,
        "demonstration": settings.QCAPP_DEMO,
        "paragraphs": [part for part in letter.text.split("\n\n") if part.strip()],
        "site_name": settings.QCAPP_SITE_NAME, "site_place": settings.QCAPP_SITE_PLACE,
    }  # fmt: skip
    html = paper("improvement/letters.html", context)
    identifier = f"{row.number}-{letter.pk}-{'-'.join(str(unit.id) for one in customers for unit in one.units)}"
    return html_to_pdf(html, identifier=identifier[:200], created=letter.at, title=f"{row.number}: {letter.subject}")


def _enter(row: FieldAction, verb: Verb, by: Person, at: datetime, payload: dict[str, object]) -> None:
    audit.record(verb=verb, actor=by.uuid, subject=f"field action {row.number}", at=at, payload=payload)
