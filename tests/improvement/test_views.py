"""The pages of corrective actions and field actions, as a browser meets them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from qcapp.improvement.queries.actions import action
from qcapp.improvement.queries.field import field_action
from qcapp.improvement.services.opening import propose_by_threshold
from qcapp.people.models import Person
from qcapp.people.services.accounts import set_language

from ..cast import PIN
from ..factories.improvement import LATER, Led
from ..factories.inspections import Workshop
from .test_effect import AFTER, NOW, played

pytestmark = pytest.mark.django_db
Browser = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def _in_march(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)


def test_offers_similar_reports_and_opens_an_action(thrice: Workshop, client_of: Browser) -> None:
    client = client_of(thrice.cast.quality_manager)
    page = client.get("/improvement/").text
    assert "101 Head angle" in page
    assert "No corrective action in this state." in page
    address = page.split('href="/improvement/actions/open/?')[1].split('"')[0].replace("&amp;", "&")
    form = client.get(f"/improvement/actions/open/?{address}").text
    assert "3 reports at the same checkpoint" in form
    value = str(thrice.card("head_angle").characteristic_id)
    told = {"title": "Head angle", "problem": "Thrice.", "basis": "checkpoint", "value": value, "family_code": "FR-200"}
    assert client.post("/improvement/actions/open/", told | {"title": ""}).status_code == 400
    assert client.post("/improvement/actions/open/", told).headers["Location"] == "/improvement/actions/CA-2026-0001/"
    assert "No two reports of these days are alike" in client.get("/improvement/").text


def test_says_what_the_threshold_wrote_in_the_language_of_the_reader(thrice: Workshop, client_of: Browser) -> None:
    (number,) = propose_by_threshold(at=LATER)
    set_language(by=thrice.cast.quality_manager, language="de", at=LATER)
    client = client_of(thrice.cast.quality_manager)
    for address in ("/improvement/", f"/improvement/actions/{number}/"):
        page = client.get(address).text
        assert "3 gleichartige Berichte, Prüfpunkt: 101 Head angle (FR-200)" in page
        assert "at the same" not in page
        assert "head angle" not in page  # the checkpoint's title and not its key
    assert "<dt>Gleich in</dt><dd>Prüfpunkt 101 Head angle, FR-200</dd>" in page


def test_leads_an_action_from_open_to_watched(led: Led, client_of: Browser) -> None:
    client = client_of(led.cast.quality_manager)
    base = f"/improvement/actions/{led.number}/"

    def send(act: str, **fields: Any) -> int:
        return int(client.post(f"{base}{act}/", fields).status_code)

    assert send("agree") == 409
    assert send("explain", whys="It opens.\r\nThe clamp gives way.", cause="machine") == 302
    assert send("steps", text="New bolt", owner_badge="0000", due_on="2026-03-20") == 404
    assert send("steps", text="New bolt", owner_badge=led.cast.welder.badge, due_on="2026-03-20") == 302
    assert send("agree") == 302
    assert send("watch", effective_on="2026-03-17", units_wanted="14") == 409
    step = led.view.steps[0].id
    welder = client_of(led.cast.welder)
    assert "New bolt" in welder.get("/improvement/actions/mine/").text
    done = {"step_id": step, "name": "do", "note": "Renewed.", "mine": "1"}
    assert welder.post(f"{base}steps/move/", done).headers["Location"] == "/improvement/actions/mine/"
    assert welder.post(f"{base}steps/move/", done).status_code == 409
    assert send("steps/move", step_id=step, name="verify") == 302
    assert send("watch", effective_on="2026-03-17", units_wanted="14") == 302
    page = client.get(base).text
    assert "Not enough units yet: 0 of 14." in page
    assert "The clamp gives way." in page
    assert send("close", note="Holds.", pin=PIN) == 409
    assert "cannot be closed on its effect yet" in client.post(f"{base}close/", {"note": "x", "pin": PIN}).text
    assert send("look-again", note="No.") == 302
    assert send("drop", note="Covered elsewhere.") == 302
    assert "What is next" not in client.get(base).text


def test_accepts_what_the_threshold_proposed(thrice: Workshop, client_of: Browser) -> None:
    from qcapp.improvement.services.opening import propose_by_threshold

    (number,) = propose_by_threshold(at=LATER)
    client = client_of(thrice.cast.engineer)
    assert "Accept it" in client.get(f"/improvement/actions/{number}/").text
    assert client.post(f"/improvement/actions/{number}/accept/").status_code == 302
    assert action(number).card.owner_name == "Leopold Tarn"


def test_shows_the_effect_with_its_pictures_and_closes(
    thrice: Workshop, client_of: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = ("62.30", "62.25", "62.31", "62.28", "62.14", "62.26", "62.11", "62.29")
    led = played(thrice, AFTER, before=before)
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)
    client = client_of(thrice.cast.quality_manager)
    page = client.get(f"/improvement/actions/{led.number}/").text
    assert ">helped</span>" in page
    assert page.count('<svg class="chart"') == 2
    assert "6 of 8 before (75.0 %), 0 of 8 since (0.0 %)" in page
    closing = client.post(f"/improvement/actions/{led.number}/close/", {"note": "Holds.", "pin": PIN})
    assert closing.status_code == 302
    assert "closed, effective" in client.get("/improvement/?state=closed").text


def test_answers_what_is_not_there(led: Led, client_of: Browser) -> None:
    client = client_of(led.cast.quality_manager)
    assert client.get("/improvement/actions/CA-1999-0001/").status_code == 404
    assert client.get("/improvement/field/FA-1999-0001/").status_code == 404
    assert client.get("/improvement/actions/open/?basis=joint&value=W99").status_code == 400
    assert client_of(led.cast.welder).get("/improvement/").status_code == 403


def test_leads_a_field_action(workshop: Workshop, client_of: Browser) -> None:
    from .test_field import left

    serials = [left(workshop, number) for number in (60, 61)]
    client = client_of(workshop.cast.quality_manager)
    assert "No field action was opened yet." in client.get("/improvement/field/").text
    made = client.post("/improvement/field/open/", {"title": "Bolt of the clamp", "reason": "May come loose."})
    address = made.headers["Location"]
    assert address == "/improvement/field/FA-2026-0001/"
    assert client.get(f"{address}letters.pdf").status_code == 409
    assert client.post(f"{address}units/", {"serials": "FR-200-0147"}).status_code == 409
    told = {"serials": "\n".join(serials), "customer": "Orchard Lane Farm", "address": "Orchard Lane 4"}
    assert client.post(f"{address}units/", told).status_code == 302
    assert client.post(f"{address}letter/", {"subject": "Your trike", "text": "Dear customer"}).status_code == 302
    unit = field_action("FA-2026-0001").customers[0].units[0]
    service = client_of(workshop.cast.customer_service)
    told = {"unit_id": unit.id, "kind": "notified", "note": "by letter"}
    assert service.post(f"{address}follow/", told).status_code == 302
    assert service.post(f"{address}follow/", told | {"kind": "corrected"}).status_code == 409
    page = client.get(address).text
    assert "Orchard Lane Farm" in page
    assert "0 of 2 closed" in page
    assert "0 %" in client.get("/improvement/field/").text
