"""The list of bad use of nonconformances, item by item, through the API: a stable code, a sentence, nothing changed."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import timedelta
from threading import Barrier
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connections
from django.test import Client
from django.utils import timezone

from qcapp.lib.site_days import site_day
from qcapp.nonconformance.models import DispositionSignature, Report
from qcapp.people.models import Person
from qcapp.production.models import Hold, Item, PartFamily
from qcapp.production.queries import open_holds

from ..cast import PIN, Cast
from ..factories.inspections import SERIAL, Workshop
from ..factories.nonconformance import Case
from ..unchanged import unchanged

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people.Signature", "evidence", "improvement")
ClientOf = Callable[[Person], Client]
CLOSING = {"corrective_action": "Clamp renewed.", "pin": PIN}
FOUND = {"title": "Height gauge reads 0.06 mm high", "severity": "major", "cause": "measurement"}


def post(client: Client, path: str, **body: Any) -> tuple[int, dict[str, Any]]:
    """Status and JSON of what the API answers."""
    answer = client.post(f"/api/v1/{path}", json.dumps(body), content_type="application/json")
    return answer.status_code, answer.json()


@contextmanager
def refusing(code: str) -> Iterator[Callable[[tuple[int, dict[str, Any]]], None]]:
    """What the block hears is this refusal, and every row of the rooms is as it was."""
    heard: list[tuple[int, dict[str, Any]]] = []
    with unchanged(*ROOMS):
        yield heard.append
    assert heard
    for status, body in heard:
        assert (body["code"], 400 <= status < 500) == (code, True)
        assert body["message"].endswith((".", "?"))


def test_does_not_close_a_report_that_is_not_proven(case: Case, client_of: ClientOf) -> None:
    case.decide().start().finish()
    manager = client_of(case.cast.quality_manager)
    with refusing("not_proven") as hear:
        hear(post(manager, f"reports/{case.number}/close", **CLOSING))
    case.inspect_again("62.05")
    assert post(manager, f"reports/{case.number}/close", **CLOSING)[1]["state"] == "closed"


@pytest.mark.parametrize("state", ["open", "contained", "in correction"])
def test_does_not_close_a_report_out_of_turn(case: Case, client_of: ClientOf, state: str) -> None:
    if state != "open":
        case.contain()
    if state == "in correction":
        case.propose().sign().start()
    with refusing("transition_not_allowed") as hear:
        hear(post(client_of(case.cast.quality_manager), f"reports/{case.number}/close", **CLOSING))


@pytest.mark.parametrize("how", ["raised", "recorded"])
def test_lets_nobody_decide_their_own(workshop: Workshop, client_of: ClientOf, how: str) -> None:
    manager = workshop.cast.quality_manager
    if how == "raised":
        case = Case.by_hand(workshop, by=manager)
    else:
        (answer,) = workshop.send(workshop.operation("head_angle", "62.40", person=manager), by=manager)
        case = Case(workshop, answer.report)
    case.contain(by=workshop.cast.second_quality_manager).propose(by=workshop.cast.engineer, reinspect=["left_length"])
    with refusing("own_report") as hear:
        hear(post(client_of(manager), f"reports/{case.number}/sign", role="quality_manager", pin=PIN))


@pytest.mark.parametrize(
    ("parts", "code"),
    [
        ({"rework": 25, "return_to_supplier": 14}, "sum_differs"),
        ({"rework": 25, "return_to_supplier": 16}, "sum_differs"),
        ({"rework": 41, "return_to_supplier": -1}, "part_not_positive"),
        ({"rework": 40, "scrap": 0}, "part_not_positive"),
    ],
)
def test_does_not_split_a_lot_into_a_wrong_sum(
    workshop: Workshop, client_of: ClientOf, parts: dict[str, int], code: str
) -> None:
    item = Item.objects.create(kind="lot", family=PartFamily.objects.get(code="FR-200"))
    body = {"item": str(item.uuid), "named": "TK-200/118", "quantity": 40, "title": "2 mm short", "severity": "major"}
    number = post(client_of(workshop.cast.assembler), "reports/on-lot", **body)[1]["number"]
    manager = client_of(workshop.cast.quality_manager)
    post(manager, f"reports/{number}/contain", note="Box locked away.")
    with refusing(code) as hear:
        hear(post(manager, f"reports/{number}/propose", parts=parts, instruction="Sort by length."))
    assert open_holds(item.pk)


@pytest.mark.django_db(transaction=True)
def test_takes_one_decision_of_two_who_decide_at_once(cast: Cast, client_of: ClientOf) -> None:
    """Both send the last missing signature at the same moment: one decides, the other is told so."""
    people = [cast.quality_manager, cast.second_quality_manager]
    for name in ("engineer", "assembler"):
        getattr(cast, name)
    case = (
        Case.by_hand(Workshop.opened(cast, timezone.now()), severity="minor")
        .contain()
        .propose(reinspect=["left_length"])
    )
    clients, start = [client_of(person) for person in people], Barrier(2)

    def sign(turn: int) -> tuple[int, dict[str, Any]]:
        try:
            start.wait()
            return post(clients[turn], f"reports/{case.number}/sign", role="quality_manager", pin=PIN)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        answers = sorted(pool.map(sign, range(2)), key=lambda answer: answer[0])
    assert answers[0][0] == 200
    assert answers[1][1]["code"] in {"role_signed", "transition_not_allowed"}
    assert (case.state, DispositionSignature.objects.count()) == ("decided", 1)


def test_does_not_use_a_concession_after_its_end(case: Case, client_of: ClientOf, monkeypatch: Any) -> None:
    today = timezone.now()
    case.decide("use_as_is", ends_on=site_day(today), at=today)
    monkeypatch.setattr(timezone, "now", lambda: today + timedelta(days=2))
    with refusing("not_proven") as hear:
        status, body = post(client_of(case.cast.quality_manager), f"reports/{case.number}/close", **CLOSING)
        hear((status, body))
    assert "ended on" in body["message"]


def test_lets_nobody_lift_a_hold_who_may_not(case: Case, client_of: ClientOf) -> None:
    hold = Hold.objects.get()
    for person in (case.cast.inspector, case.cast.welder, case.cast.engineer, case.cast.customer_service):
        with refusing("not_permitted") as hear:
            hear(post(client_of(person), f"holds/{hold.uuid}/lift", reason="Looks fine.", pin=PIN))
    assert open_holds(case.workshop.item_id)


def test_does_not_take_the_inspection_of_who_corrected(case: Case, client_of: ClientOf) -> None:
    """The welder may not inspect; somebody who may both correct and inspect does not prove the own correction."""
    cast = case.cast
    case.decide().start(by=cast.assembler).finish(by=cast.assembler)
    case.inspect_again("62.05", person=cast.assembler)
    with refusing("not_proven") as hear:
        status, body = post(client_of(cast.quality_manager), f"reports/{case.number}/close", **CLOSING)
        hear((status, body))
    assert f"inspected by {cast.assembler.name}, who carried out the correction" in body["message"]
    assert post(client_of(cast.assembler), f"reports/{case.number}/close", **CLOSING)[1]["code"] == "not_permitted"


def test_offers_one_report_before_the_flood(workshop: Workshop, client_of: ClientOf) -> None:
    """Forty units measured with one bad gauge: the third report is refused in favour of one, which takes them all."""
    serials = [workshop.another_unit(f"FR-200-{number:04}").serial for number in range(148, 187)]
    inspector = client_of(workshop.cast.inspector)
    first = post(inspector, "reports", serial=SERIAL, **FOUND)[1]["number"]
    post(inspector, "reports", serial=serials[0], **FOUND)
    with refusing("group_instead") as hear:
        for serial in serials[1:]:
            status, body = post(inspector, "reports", serial=serial, **FOUND)
            hear((status, body))
    assert f"Add this unit to {first} instead" in body["message"]
    status, body = post(inspector, f"reports/{first}/units", serials=serials[1:], reason="Measured with HG-07.")
    assert (status, len(body["serials"])) == (200, 39)
    assert Report.objects.count() == 2
    assert all(open_holds(one) for one in Hold.objects.values_list("item_id", flat=True))
    assert Hold.objects.count() == 40


def test_knows_a_flood_by_checkpoint_and_cause_however_it_is_worded(workshop: Workshop, client_of: ClientOf) -> None:
    serials = [SERIAL, *(workshop.another_unit(f"FR-200-{number:04}").serial for number in (148, 149))]
    inspector = client_of(workshop.cast.inspector)
    told = FOUND | {"checkpoint": "head_angle"}
    for serial in serials[:2]:
        assert post(inspector, "reports", serial=serial, **told | {"title": f"Bad gauge, {serial}"})[0] == 201
    with refusing("group_instead") as hear:
        hear(post(inspector, "reports", serial=serials[2], **told | {"title": "Gauge again"}))
    other = told | {"cause": "person"}
    assert post(inspector, "reports", serial=serials[2], **other)[0] == 201


@pytest.mark.parametrize("door", ["beside", "with"])
def test_keeps_no_photo_that_is_none(case: Case, client_of: ClientOf, tmp_path: Any, settings: Any, door: str) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    content = base64.b64encode(b"%PDF-1.7 called a photo").decode()
    client = client_of(case.cast.assembler)
    with refusing("picture_not_read") as hear:
        if door == "beside":
            hear(post(client, f"reports/{case.number}/picture", name="dent.jpg", content=content))
        else:
            hear(post(client, "reports", serial=SERIAL, title="Dent", severity="minor", photo=content))
    assert not list(tmp_path.rglob("*.jpg"))


def test_raises_nothing_on_the_page_when_the_photo_is_none(case: Case, client_of: ClientOf) -> None:
    sent = {"serial": SERIAL, "title": "Dent", "severity": "minor", "separately": "on"}
    client = client_of(case.cast.assembler)
    with unchanged(*ROOMS):
        photo = SimpleUploadedFile("dent.jpg", b"GIF89a not a photo", content_type="image/jpeg")
        answer = client.post("/nonconformances/raise/", sent | {"photo": photo})
    assert answer.status_code == 400
    assert 'value="Dent"' in answer.text
