"""A defect marked on the drawing from the bench: beside the open report, on its page, in the concentration picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from qcapp.audit.queries import entries_about
from qcapp.improvement.queries.drawings import drawn
from qcapp.improvement.queries.seeing import Wanted
from qcapp.nonconformance.models import ReportMark
from qcapp.nonconformance.services.marking import mark_on_drawing
from qcapp.people.models import Person
from qcapp.plans.queries import checkpoints_of

from ..cast import Cast
from ..factories.improvement import LATER
from ..unchanged import refused
from .test_drawings import raised, serial_of
from .test_drawings import sheet as sheet  # the fixture

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "production")


@pytest.fixture
def told(cast: Cast, sheet: Any) -> dict[str, Any]:
    found, card = sheet
    key = checkpoints_of(card.id)[0].key
    known = {"by": cast.inspector, "serial": serial_of(card), "checkpoint_key": key, "sheet": found.uuid, "at": LATER}
    return known | {"mark": (250, 900)}


def test_stands_beside_the_report_and_in_the_concentration_picture(
    cast: Cast, sheet: Any, told: dict[str, Any], client_of: Callable[[Person], Client]
) -> None:
    found, card = sheet
    number = raised(cast, card, told["checkpoint_key"])
    assert mark_on_drawing(**told) == (number, True)
    ((_, (mark,)),) = drawn(Wanted(family=card.family_code)).sheets
    assert (mark.x, mark.y, mark.exact) == (0.25, 0.9, True)
    assert any(entry.verb == "report.place_marked" for entry in entries_about(f"report {number}"))
    page = client_of(cast.quality_manager).get(f"/nonconformances/{number}/").content.decode()
    assert f"/evidence/{found.file_uuid}/" in page
    assert f'cx="{found.width * 0.25:.1f}" cy="{found.height * 0.9:.1f}"' in page


def test_is_set_once_however_often_it_is_sent(cast: Cast, sheet: Any, told: dict[str, Any]) -> None:
    number = raised(cast, sheet[1], told["checkpoint_key"])
    assert [mark_on_drawing(**told) for _ in range(2)] == [(number, True), (number, False)]
    assert ReportMark.objects.count() == 1
    mark_on_drawing(**told | {"mark": (251, 900)})
    assert ReportMark.objects.count() == 2


def test_refuses_what_has_no_report_or_no_place(cast: Cast, sheet: Any, told: dict[str, Any]) -> None:
    with refused("no_report_to_mark", *ROOMS):
        mark_on_drawing(**told)
    raised(cast, sheet[1], told["checkpoint_key"])
    for code, wrong in (
        ("mark_outside", {"mark": (1001, 3)}),
        ("mark_outside", {"mark": (-1, 3)}),
        ("sheet_unknown", {"sheet": uuid4()}),
        ("checkpoint_unknown", {"checkpoint_key": "nothing"}),
        ("serial_unknown", {"serial": "XX-1"}),
        ("not_permitted", {"by": cast.stranger_to_all_roles}),
    ):
        with refused(code, *ROOMS):
            mark_on_drawing(**told | wrong)


def test_comes_from_a_tablet(
    cast: Cast, sheet: Any, told: dict[str, Any], client_of: Callable[[Person], Client]
) -> None:
    number = raised(cast, sheet[1], told["checkpoint_key"])
    body = {"id": str(uuid4()), "serial": told["serial"], "checkpoint": told["checkpoint_key"]}
    body |= {"drawing": str(told["sheet"]), "across": 250, "down": 900}
    client = client_of(cast.inspector)
    for outcome in ("applied", "duplicate"):
        answer = client.post("/api/v1/marks", body, content_type="application/json")
        assert answer.json() == {"report": number, "outcome": outcome}
