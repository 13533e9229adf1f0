"""The pages on which units adopt a revision, first articles are marked and checkpoints taken off a unit."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.inspections.queries import adopted
from qcapp.inspections.queries.first_articles import first_articles
from qcapp.production.queries import unit_by_serial

from ..cast import PIN
from ..factories.inspections import PLAN, Workshop, release_plan

pytestmark = pytest.mark.django_db


def released(workshop: Workshop, text: str = PLAN.replace("max 0.50", "max 0.30")) -> Any:
    return release_plan(workshop.cast, family_code="FR-200", letter="E", text=text, at=workshop.at)


def test_shows_what_adopting_does_and_adopts_signed(workshop: Workshop, client_of: Any) -> None:
    workshop.send_one("twist", "0.44")
    uuid = released(workshop)
    client = client_of(workshop.cast.engineer)
    page = client.get(f"/plans/{uuid}/units/{workshop.serial}/").content.decode()
    assert "raises a report" in page
    shown = client.get(f"/plans/{uuid}/units/")
    covers = shown.context["units"][0].preview.covers
    sent = {
        "unit": workshop.serial, f"covers:{workshop.serial}": covers, "choice": "adopt", "reason": "Drawing.",
        "pin": PIN,
    }  # fmt: skip
    assert client.post(f"/plans/{uuid}/units/choose/", sent).status_code == 302
    assert adopted(workshop.item_id).revision.uuid == uuid
    assert "Every unit of FR-200 in build" in client.get(f"/plans/{uuid}/units/").content.decode()


def test_moves_every_unit_that_the_page_lists_by_one_box(workshop: Workshop, client_of: Any) -> None:
    other = workshop.another_unit("FR-200-0148")
    uuid, client = released(workshop), client_of(workshop.cast.engineer)
    listed = client.get(f"/plans/{uuid}/units/").context["units"]
    sent = {f"covers:{one.preview.unit.serial}": one.preview.covers for one in listed}
    sent |= {"every": "yes", "choice": "adopt", "reason": "Drawing.", "pin": PIN}
    assert client.post(f"/plans/{uuid}/units/choose/", sent).status_code == 302
    assert [adopted(one.item_id).revision.uuid for one in (workshop, other)] == [uuid, uuid]


def test_says_so_when_the_preview_is_out_of_date(workshop: Workshop, client_of: Any) -> None:
    uuid = released(workshop)
    sent = {"unit": workshop.serial, f"covers:{workshop.serial}": "0", "choice": "adopt", "reason": "x", "pin": PIN}
    answer = client_of(workshop.cast.engineer).post(f"/plans/{uuid}/units/choose/", sent)
    assert answer.status_code == 409
    assert "look at the preview again" in answer.content.decode()


def test_shows_the_page_to_others_without_its_forms(workshop: Workshop, client_of: Any) -> None:
    uuid = released(workshop)
    page = client_of(workshop.cast.inspector).get(f"/plans/{uuid}/units/").content.decode()
    assert workshop.serial in page
    assert "Sign for these units" not in page


def test_shows_which_of_the_coming_units_get_what(workshop: Workshop, client_of: Any) -> None:
    page = client_of(workshop.cast.inspector).get(f"/plans/{workshop.revision}/when/").content.decode()
    assert "1 in 5" in page
    assert "11 checkpoints" in page


def test_marks_and_decides_a_first_article(workshop: Workshop, client_of: Any) -> None:
    client, base = client_of(workshop.cast.engineer), f"/plans/{workshop.revision}/first-articles/"
    sent = {"serial": workshop.serial, "stage_number": 1, "cause": "fixture", "about": "fixture TF-03"}
    assert client.post(f"{base}mark/", sent).status_code == 302
    (one,) = first_articles(unit_by_serial(workshop.serial).family_id)
    assert "fixture TF-03" in client.get(base).content.decode()
    said = client.post(f"{base}{one.uuid}/decide/", {"accepted": "yes", "reason": "Good.", "pin": PIN})
    assert "is not signed" in said.content.decode()
    sent = {"accepted": "no", "reason": "Twisted.", "pin": PIN}
    assert client.post(f"{base}{one.uuid}/decide/", sent).status_code == 302


def test_takes_a_checkpoint_off_the_unit(workshop: Workshop, client_of: Any) -> None:
    client, address = client_of(workshop.cast.engineer), f"/units/{workshop.serial}/applicability/"
    sent = {"key": "pores", "applies": "no", "reason": "Joint left out.", "pin": PIN}
    assert client.post(address, sent).status_code == 302
    assert "Joint left out." in client.get(address).content.decode()
    assert "already" in client.post(address, sent).content.decode()
