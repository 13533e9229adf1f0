"""Units, sign-offs, decisions, plans, reports, releases, certificates and gauges through the API."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.urls import URLPattern

from qcapp.api.urls import urlpatterns
from qcapp.inspections.models import ResultDecision, StageSignOff
from qcapp.people.access import PUBLIC
from qcapp.people.roles import ACTS, Act

from ..cast import PIN, Cast
from ..factories.inspections import PLAN, SERIAL, Workshop
from .conftest import PREFIX, Api, description

pytestmark = pytest.mark.django_db


# --------------------------------------------------------------------------------------------------- the walk


def addresses() -> Iterator[tuple[str, str, Any]]:
    """Every address of the API with its method and its view."""
    nobody = "00000000-0000-7000-8000-000000000000"
    values = {
        "serial": SERIAL,
        "uuid": nobody,
        "sheet": nobody,
        "number": "NCR-2026-0001",
        "issue": "1",
        "message_id": "1",
        "article": nobody,
        "calibration": "1",
        "study": "1",
        "ending": "csv",
    }
    for pattern in urlpatterns:
        assert isinstance(pattern, URLPattern)
        path = str(pattern.pattern).removeprefix("v1/")
        path = re.sub(r"<\w+:(\w+)>", lambda found: values.get(found[1], "x"), path)
        view = pattern.callback.cls  # type: ignore[attr-defined]
        for method in view.act:
            yield method, path, view


@pytest.mark.parametrize(("method", "path", "view"), list(addresses()))
def test_names_an_act_for_each_method_and_turns_strangers_away(
    stranger: Api, method: str, path: str, view: Any
) -> None:
    handlers = {name.upper() for name in ("get", "post", "delete") if hasattr(view, name)}
    assert set(view.act) == handlers
    answer = getattr(stranger.client, method.lower())(PREFIX + path, content_type="application/json")
    if view.act[method] == PUBLIC:
        assert answer.status_code != 401
    else:
        assert (answer.status_code, answer.json()["code"]) == (401, "signed_out")


@pytest.mark.parametrize(("method", "path", "view"), list(addresses()))
def test_refuses_whoever_has_no_role_for_the_act(api_of: Any, cast: Cast, method: str, path: str, view: Any) -> None:
    act = view.act[method]
    if not isinstance(act, Act):
        return
    client = api_of(cast.stranger_to_all_roles).client
    answer = getattr(client, method.lower())(PREFIX + path, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (403, "not_permitted")
    assert ACTS[act]


@pytest.mark.parametrize("path", ["units/%00", "units?q=%00", "reports/NCR%00", "certificates?serial=%00"])
def test_refuses_a_nul_in_the_address(api_of: Any, cast: Cast, path: str) -> None:
    answer = api_of(cast.quality_manager).client.get(PREFIX + path)
    assert (answer.status_code, answer.json()["code"]) == (400, "nul_character")


def test_describes_itself_in_openapi_without_a_warning(
    api_of: Any, cast: Cast, capsys: pytest.CaptureFixture[str]
) -> None:
    from drf_spectacular.drainage import GENERATOR_STATS

    GENERATOR_STATS.reset()
    description.cache_clear()
    assert description()["openapi"].startswith("3.1")
    GENERATOR_STATS.emit_summary()
    told = capsys.readouterr().err
    assert "Warning" not in told, told
    assert "Error" not in told, told
    answer = api_of(cast.inspector).client.get(PREFIX + "schema")
    assert answer.status_code == 200
    assert b"/api/v1/operations" in answer.content


# ------------------------------------------------------------------------------------------------------- units


def test_finds_a_unit_by_any_part_of_its_serial(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.customer_service)
    (found,) = api.get("units", q="147")["units"]
    assert (found["serial"], found["family"], found["progress"]["due"]) == (SERIAL, "FR-200", 11)
    assert api.get("units", q="nothing like it")["units"] == []


def test_proposes_the_next_serial_and_opens_it_once(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    serial = api.get("units/next", family="FR-200")["serial"]
    assert serial == "FR-200-0148"
    body = {"family": "FR-200", "serial": serial, "order_number": "A-2"}
    assert api.post("units", body)["order_number"] == "A-2"
    assert api.status == 201
    assert api.post("units", body)["code"] == "serial_taken"
    assert api.status == 409
    assert api.post("units", body | {"serial": "XY"})["code"] == "serial_does_not_fit"
    assert api.post("units", {"family": "FR-200"})["details"]["fields"].keys() == {"serial"}


def test_tells_everything_about_a_unit(workshop: Workshop, api_of: Any) -> None:
    workshop.finish(upto=1)
    api = api_of(workshop.cast.customer_service)
    body = api.get(f"units/{SERIAL}")
    assert {one["checkpoint"] for one in body["results"]} >= {"head_angle", "length_difference"}
    assert [one["what"] for one in body["happenings"]][:2] == ["signed", "recorded"]
    assert body["acts"][0]["verb"] == "stage.signed"
    assert body["acts"][0]["by"] == workshop.cast.inspector.name
    assert body["welds"][0]["joint"] == "W7"
    assert api.get("units/FR-200-9999")["code"] == "serial_unknown"
    assert api.status == 404


# --------------------------------------------------------------------------------------------------- signed acts


def test_signs_a_stage_by_pin(workshop: Workshop, api_of: Any) -> None:
    workshop.answer_stage(1)
    api = api_of(workshop.cast.inspector)
    body = api.signed(f"units/{SERIAL}/sign-offs", stage=1)
    assert (api.status, body["state"], body["signed_by"]) == (201, "signed", workshop.cast.inspector.name)
    assert body["covers"] == StageSignOff.objects.get().covers
    assert api.signed(f"units/{SERIAL}/sign-offs", stage=1)["code"] == "stage_already_signed"


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"stage": 1, "pin": "000000"}, 403, "identity_not_proven"),
        ({"stage": 1}, 400, "fields_invalid"),
        ({"pin": PIN}, 400, "fields_invalid"),
        ({"stage": "one", "pin": PIN}, 400, "fields_invalid"),
        ({"stage": 2, "pin": PIN}, 409, "stage_incomplete"),
        ({"stage": 9, "pin": PIN}, 404, "stage_unknown"),
    ],
)
def test_signs_nothing_without_the_right_pin_and_stage(
    workshop: Workshop, api_of: Any, body: dict[str, Any], status: int, code: str
) -> None:
    workshop.answer_stage(1)
    api = api_of(workshop.cast.inspector)
    assert (api.post(f"units/{SERIAL}/sign-offs", body)["code"], api.status) == (code, status)
    assert not StageSignOff.objects.exists()


def test_decides_about_a_flagged_result(workshop: Workshop, api_of: Any) -> None:
    reading = workshop.operation("left_length", gauge="CA-02")
    workshop.send(reading)
    api = api_of(workshop.cast.quality_manager)
    decision = {
        "operation": reading["id"],
        "about": "gauge_overdue",
        "accepted": True,
        "reason": "calibrated the day after, nothing found",
    }
    assert api.signed("decisions", **decision | {"operation": str(uuid4())})["code"] == "operation_unknown"
    assert api.post("decisions", decision | {"pin": "000000"})["code"] == "identity_not_proven"
    assert not ResultDecision.objects.exists()
    body = api.signed("decisions", **decision)
    assert (api.status, body["decided_by"]) == (201, workshop.cast.quality_manager.name)
    assert api.signed("decisions", **decision)["code"] == "already_decided"


# ------------------------------------------------------------------------------------------------------- plans


def test_takes_a_plan_from_file_to_release(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    author, engineer, manager = (
        api_of(person) for person in (cast.quality_manager, cast.engineer, cast.second_quality_manager)
    )
    changed = PLAN.replace("62.00,±0.15", "62.00,±0.20")
    draft = author.post("plans", {"family": "FR-200", "letter": "E", "text": changed, "change_note": "wider"})
    assert (author.status, draft["state"]) == (201, "draft")
    detail = author.get(f"plans/{draft['uuid']}")
    assert [one["number"] for one in detail["differences"]] == [101]
    assert detail["needs_engineer"] == [101]
    assert author.post(f"plans/{draft['uuid']}/review")["state"] == "in_review"
    assert author.post(f"plans/{draft['uuid']}/return", {"reason": "typo"})["state"] == "draft"
    author.post(f"plans/{draft['uuid']}/review")
    assert manager.signed(f"plans/{draft['uuid']}/release")["code"] == "engineer_missing"
    assert engineer.signed(f"plans/{draft['uuid']}/approve")["state"] == "in_review"
    assert author.signed(f"plans/{draft['uuid']}/release")["code"] == "released_by_author"
    assert manager.signed(f"plans/{draft['uuid']}/release")["state"] == "released"
    (family,) = author.get("plans")["plans"]
    assert (family["released"]["letter"], [one["letter"] for one in family["past"]]) == ("E", ["D"])
    assert manager.signed(f"plans/{draft['uuid']}/withdraw", reason="wrong drawing")["state"] == "withdrawn"


def test_lists_every_error_of_a_plan_file_and_imports_nothing(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.quality_manager)
    wrong = PLAN.replace("±0.15", "plus a bit").replace(",every,yes,W7", ",every,maybe,W7")
    body = api.post("plans", {"family": "FR-200", "letter": "E", "text": wrong})
    assert (api.status, body["code"]) == (400, "plan_file_has_errors")
    assert {finding["line"] for finding in body["details"]["findings"]} >= {2, 7, 8}
    (family,) = api.get("plans")["plans"]
    assert family["coming"] == []
    assert api.get(f"plans/{uuid4()}")["code"] == "revision_unknown"


# ----------------------------------------------------------------------------------------------------- reports


def test_takes_a_report_from_the_floor_to_its_end(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    inspector, manager, engineer = (api_of(person) for person in (cast.inspector, cast.quality_manager, cast.engineer))
    workshop.send(workshop.operation("left_length", "251.0", person=cast.second_inspector), by=cast.second_inspector)
    (line,) = inspector.get("reports", state="active")["reports"]
    number = line["number"]
    body = inspector.post(f"reports/{number}/contain", {"note": "frame set aside"})
    assert (body["state"], body["facts"]["answer"]) == ("contained", "251.0 mm")
    proposal = {"disposition": "rework", "instruction": "grind to length", "reinspect": ["right_length"]}
    assert manager.post(f"reports/{number}/propose", proposal)["proposal"]["missing"]
    for api, role in ((manager, "quality_manager"), (engineer, "engineer")):
        if role in manager.get(f"reports/{number}")["proposal"]["missing"]:
            body = api.signed(f"reports/{number}/sign", role=role)
    assert body["state"] == "decided"
    assert inspector.post(f"reports/{number}/start")["state"] == "in_correction"
    assert inspector.post(f"reports/{number}/step", {"position": 1})["steps"][0]["by_name"]
    assert inspector.post(f"reports/{number}/finish", {"note": "ground"})["state"] == "to_be_verified"
    refusal = manager.signed(f"reports/{number}/close", corrective_action="stop added")
    assert (manager.status, refusal["code"]) == (409, "not_proven")
    for key in ("left_length", "right_length"):
        again = workshop.operation(key, "250.0", round=2, person=cast.second_inspector)
        workshop.send(again, by=cast.second_inspector)
    assert manager.signed(f"reports/{number}/close", corrective_action="stop added")["state"] == "closed"
    assert inspector.get("reports", state="active")["reports"] == []


def test_raises_a_report_by_hand(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    body = {"serial": SERIAL, "title": "Dent in the left rail", "severity": "minor"}
    report = api.post("reports", body)
    assert (api.status, report["state"], report["serial"]) == (201, "open", SERIAL)
    assert api.post("reports", body | {"severity": "huge"})["code"] == "fields_invalid"
    assert api.get("reports", state="nowhere")["code"] == "state_unknown"
    assert api.get("reports/NCR-1999-0001")["code"] == "report_unknown"


@pytest.mark.parametrize("limit", ["NaN", "1e5", "much", "1" * 40])
def test_refuses_a_concession_limit_that_is_no_number(workshop: Workshop, api_of: Any, limit: str) -> None:
    api = api_of(workshop.cast.quality_manager)
    number = api.post("reports", {"serial": SERIAL, "title": "Dent", "severity": "minor"})["number"]
    api.post(f"reports/{number}/contain", {"note": "set aside"})
    body = {"disposition": "use_as_is", "instruction": "cosmetic", "concession_upper": limit}
    answer = api.post(f"reports/{number}/propose", body)
    assert api.status == 400
    assert answer["code"].startswith("value_")
    assert api.get(f"reports/{number}")["proposal"] is None


# ----------------------------------------------------------------------------------- releases and certificates


def test_releases_a_unit_only_when_everything_is_proven_and_certifies_it(workshop: Workshop, api_of: Any) -> None:
    manager = api_of(workshop.cast.quality_manager)
    state = manager.get(f"releases/{SERIAL}")
    assert (state["ready"], state["released"]) == (False, False)
    assert all(check["sentence"] for check in state["checks"])
    refusal = manager.signed(f"releases/{SERIAL}")
    assert (manager.status, refusal["code"]) == (409, "release_blocked")
    assert manager.post("certificates", {"serial": SERIAL})["code"] == "not_released"
    workshop.finish()
    assert manager.get(f"releases/{SERIAL}")["ready"] is True
    assert manager.signed(f"releases/{SERIAL}")["released"] is True
    card = manager.post("certificates", {"serial": SERIAL})
    assert (manager.status, card["issue"], card["standing"]) == (201, 1, "current")
    (listed,) = manager.get("certificates", serial=SERIAL)["certificates"]
    assert listed == card
    assert manager.get("certificates", since=card["issued_at"])["certificates"] == [card]
    assert manager.get("certificates", since="2999-01-01T00:00:00Z")["certificates"] == []
    for wrong in ("yesterday", "2026-01-01T00:00:00", "2026-13-01T00:00:00Z"):
        assert manager.get("certificates", since=wrong)["code"] == "time_unreadable"
    assert b"FR-200-0147" in manager.get(f"certificates/{card['number']}/1/qif")
    content = manager.get(f"certificates/{card['number']}/1")["content"]
    assert SERIAL in str(content)
    pdf = manager.get(f"certificates/{card['number']}/1/pdf")
    assert pdf.startswith(b"%PDF")
    assert manager.get(f"certificates/{card['number']}/1/pdf") == pdf
    assert manager.get(f"certificates/{card['number']}/2")["code"] == "certificate_unknown"
    body = manager.signed(f"releases/{SERIAL}/withdraw", reason="found a dent")
    assert body["released"] is False


def test_lists_gauges_that_may_not_be_used_first(workshop: Workshop, api_of: Any) -> None:
    gauges = api_of(workshop.cast.inspector).get("gauges")["gauges"]
    assert [gauge["number"] for gauge in gauges][:2] == ["CA-02", "CA-03"]
    assert gauges[0]["reason"] == "gauge_overdue"
    assert gauges[-1]["expanded_uncertainty"] == "0.01"
