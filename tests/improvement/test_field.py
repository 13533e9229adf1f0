"""Field actions: units that have left, letters, and what became of each."""

from __future__ import annotations

import io

import pypdf
import pytest
from django.db import transaction

from qcapp.core.errors import TransitionNotAllowed
from qcapp.improvement.queries.field import field_action, field_actions
from qcapp.improvement.services.field import follow_unit, letters_pdf, list_units, open_field_action, write_letter
from qcapp.production.services import move_unit

from ..factories.improvement import LATER
from ..factories.inspections import Workshop
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def left(workshop: Workshop, number: int) -> str:
    """A frame that was released and dispatched."""
    unit = workshop.another_unit(f"FR-200-{number:04}")
    with transaction.atomic():
        for move in ("release", "dispatch"):
            move_unit(by=workshop.cast.quality_manager, unit_id=unit.unit_id, move=move, reason="", at=LATER)
    return unit.serial


@pytest.fixture
def number(workshop: Workshop) -> str:
    """A field action with three units of two customers."""
    cast = workshop.cast
    found = open_field_action(by=cast.quality_manager, title="Clamp bolt", reason="May come loose.", at=LATER)
    mine = [left(workshop, 60), left(workshop, 61)]
    told = {"by": cast.quality_manager, "number": found, "at": LATER}
    list_units(serials=mine, customer="Orchard Lane Farm", address="Orchard Lane 4", **told)  # type: ignore[arg-type]
    list_units(serials=[left(workshop, 62)], **told)  # type: ignore[arg-type]
    return found


def follow(workshop: Workshop, number: str, serial: str, kind: str) -> None:
    units = {unit.serial: unit.id for one in field_action(number).customers for unit in one.units}
    follow_unit(by=workshop.cast.customer_service, number=number, unit_id=units[serial], kind=kind, at=LATER)


def test_lists_units_by_customer(number: str) -> None:
    found = [(one.customer, [unit.serial for unit in one.units]) for one in field_action(number).customers]
    assert found == [
        ("Customer not known", ["FR-200-0062"]),
        ("Orchard Lane Farm", ["FR-200-0060", "FR-200-0061"]),
    ]


def test_counts_how_far_each_customer_is(workshop: Workshop, number: str) -> None:
    for kind in ("notified", "answered", "to_correct", "answered", "corrected"):
        follow(workshop, number, "FR-200-0060", kind)
    follow(workshop, number, "FR-200-0061", "notified")
    follow(workshop, number, "FR-200-0062", "fine")
    one, two = field_action(number).customers
    assert (one.notified, one.answered, one.checked, one.corrected, one.closed) == (0, 0, 1, 0, 1)
    assert (two.notified, two.answered, two.checked, two.corrected, two.closed) == (2, 1, 1, 1, 1)
    (card,) = field_actions()
    assert (card.units, card.closed, card.share_closed) == (3, 2, 66)


def test_corrects_nothing_unchecked_and_leaves_closed_units_alone(workshop: Workshop, number: str) -> None:
    with refused("transition_not_allowed", "improvement"):
        follow(workshop, number, "FR-200-0060", "corrected")
    follow(workshop, number, "FR-200-0060", "fine")
    for kind in ("notified", "to_correct", "fine"):
        with pytest.raises(TransitionNotAllowed) as caught:
            follow(workshop, number, "FR-200-0060", kind)
        assert "nothing more, it is closed" in caught.value.message


def test_lists_only_what_has_left_and_once(workshop: Workshop, number: str) -> None:
    told = {"by": workshop.cast.quality_manager, "number": number, "at": LATER}
    for serials, code in (
        (["FR-200-0147"], "unit_has_not_left"),
        (["FR-200-0060"], "unit_listed"),
        (["FR-200-9999"], "serial_unknown"),
        ([" "], "serials_missing"),
    ):
        with refused(code, "improvement"):
            list_units(serials=serials, **told)  # type: ignore[arg-type]


def test_refuses_who_may_not(workshop: Workshop, number: str) -> None:
    cast = workshop.cast
    with refused("not_permitted", "improvement"):
        open_field_action(by=cast.customer_service, title="x", reason="y", at=LATER)
    with refused("not_permitted", "improvement"):
        write_letter(by=cast.engineer, number=number, subject="x", text="y", at=LATER)
    with refused("unit_not_listed", "improvement"):
        follow_unit(by=cast.customer_service, number=number, unit_id=0, kind="fine", at=LATER)
    unit = field_action(number).customers[0].units[0].id
    with refused("event_unknown", "improvement"):
        follow_unit(by=cast.customer_service, number=number, unit_id=unit, kind="eaten", at=LATER)
    with refused("not_permitted", "improvement"):
        follow_unit(by=cast.welder, number=number, unit_id=unit, kind="fine", at=LATER)


def test_writes_a_letter_for_each_customer(workshop: Workshop, number: str) -> None:
    with refused("letter_missing", "improvement"):
        letters_pdf(number=number)
    manager = workshop.cast.quality_manager
    for text in ("Dear customer", "Dear customer,\n\nplease stop using the trike.\nWe come to you."):
        write_letter(by=manager, number=number, subject="Your trike", text=text, at=LATER)
    data = letters_pdf(number=number)
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]
    assert len(pages) == 2
    assert "Customer not known" in pages[0]
    assert "FR-200-0062" in pages[0]
    assert "FR-200-0060" in pages[1]
    assert "please stop using the trike." in pages[1]
    assert "of 2" not in pages[0]  # a customer's letter is not a page of somebody else's
    assert pages[1].count("Orchard Lane Farm") == 2
    assert letters_pdf(number=number) == data
    (only,) = pypdf.PdfReader(io.BytesIO(letters_pdf(number=number, customer="Orchard Lane Farm"))).pages
    assert "Orchard Lane 4" in only.extract_text()
    assert "page 1 of 1" in only.extract_text()
    with refused("units_missing", "improvement"):
        letters_pdf(number=number, customer="Nobody")
    with refused("letter_length", "improvement"):
        write_letter(by=manager, number=number, subject="x", text=" \n ", at=LATER)
