"""The main job through the REST API alone: from the plan file to a certificate, a history and an audit that holds."""

from __future__ import annotations

import io
import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pypdf
import pytest
from django.core.management import call_command
from django.utils import timezone

from qcapp.lib.site_days import site_day

from .by_api import (
    AUTHOR,
    ENGINEER,
    INSPECTOR,
    MANAGER,
    SECOND,
    SERVICE,
    THIRD,
    WELDER,
    WELDING,
    Caller,
    Json,
    release_plan,
    set_up_shop,
)

pytestmark = pytest.mark.django_db(transaction=True)
SERIAL = "FR-200-0147"
DISTURBED = ["axle_distance", "head_angle", "head_twist"]  # by cold-straightening, so measured again


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Path) -> Path:
    """Anchors and certificates of this journey alone."""
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def test_takes_a_frame_from_the_plan_file_to_its_certificate_by_the_api_alone() -> None:
    set_up_shop()
    _refuses_a_release_by_the_author()
    plan = release_plan("FR-200", "D")
    assert (plan["state"], plan["checkpoint_count"]) == ("released", 164)

    inspector, second = Caller(INSPECTOR), Caller(SECOND)
    unit = inspector.do("units", family="FR-200", serial=SERIAL, order_number="S-1184")
    assert unit["state"] == "in_build"
    assert inspector.get("units/next", family="FR-200").body["serial"] == "FR-200-0148"

    stages = [stage["number"] for stage in inspector.bench(SERIAL)["stages"]]
    assert stages == list(range(1, 10))
    number = ""
    for stage in stages:
        if stage == 3:
            _weld()
        number += _answer(inspector, second, stage)
        if stage == 5:
            _correct(number)
        if stage == 4:
            inspector.do(f"units/{SERIAL}/witnesses", stage=4, what="present", whom="The customer's inspector")
        signed = inspector.sign(f"units/{SERIAL}/sign-offs", stage=stage)
        assert (signed["state"], signed["signed_by"]) == ("signed", "Imogen Marlowe")

    _release()
    card, pdf = _certify()
    _look_up(number, card)
    assert SERIAL in pdf
    _audit_holds()


def _refuses_a_release_by_the_author() -> None:
    """A plan that is thrown away again: its author asks to release it, which takes another person."""
    author = Caller(AUTHOR)
    text = (Path(__file__).resolve().parents[2] / "fixtures" / "plans" / "FT-14.csv").read_text(encoding="utf-8")
    plan = author.do("plans", family="FT-14", letter="A", text=text)
    author.do(f"plans/{plan['uuid']}/review")
    early = Caller(MANAGER).post(f"plans/{plan['uuid']}/release", pin="271845")
    assert early.status in (403, 409)
    Caller(ENGINEER).sign(f"plans/{plan['uuid']}/approve")
    own = author.post(f"plans/{plan['uuid']}/release", pin="271845")
    assert (own.status, own.code) == (403, "released_by_author")


def _weld() -> None:
    welder = Caller(WELDER)
    joints = sorted({c["joint"] for c in welder.bench(SERIAL)["checkpoints"] if c["joint"]})
    told = {"welder": WELDER, "joints": joints, "procedure": "WPS-07"}
    unchecked = welder.post(f"units/{SERIAL}/welds", **told)
    assert (unchecked.status, unchecked.code) == (409, "weld_not_checked")
    told |= {"thickness": "2.5", "base_grade": "25CrMo4", "filler_lot": "F-2231", "machine": "TIG-1"}
    _qualify()
    body = welder.do(f"units/{SERIAL}/welds", **told)
    assert {weld["joint"] for weld in body["welds"]} == set(joints)
    assert body["report"] is None
    assert Caller(WELDER).bench(SERIAL)["checkpoints"]


def _qualify() -> None:
    """The procedure, and that the welder is qualified for it; 141 is TIG in ISO 4063 (from memory)."""
    coordinator, today = Caller(WELDING), site_day(timezone.now())
    scope = {"process": "141", "thickness_from": "1.0", "thickness_to": "3.0"}
    told = {"number": "WPS-07", "revision": "C", "title": "Tube to tube", "base_grades": ["25CrMo4", "S235"]}
    coordinator.do("weld-procedures", **told, **scope)
    days = {"issued_on": str(today - timedelta(30)), "expires_on": str(today + timedelta(300))}
    coordinator.do("welder-qualifications", welder=WELDER, certificate="Q-2214", **days, **scope)


def _answer(inspector: Caller, second: Caller, stage: int) -> str:
    """Both inspections of a stage; gives the report's number where a value was out of band."""
    wrong = {"axle_parallel": {"value": "0.38"}} if stage == 5 else {}
    first = inspector.answer_stage(SERIAL, stage, wrong)
    assert {one["outcome"] for one in first} == {"applied"}, [one for one in first if one["outcome"] != "applied"]
    assert [one for one in first if one["flags"]] == []
    hidden = [c for c in second.bench(SERIAL)["checkpoints"] if c["stage"] == stage and c["task"] == "second"]
    assert [c["key"] for c in hidden if c["answer"] or c["value"] or c["outcome"] or c["excess"]] == []
    again = second.answer_stage(SERIAL, stage, wrong)
    assert len(again) == len(hidden)
    assert {one["outcome"] for one in again} <= {"applied"}, again
    numbers = {one["report"] for one in [*first, *again] if one["report"]}
    assert len(numbers) == (1 if wrong else 0)
    return "".join(numbers)


def _correct(number: str) -> None:
    """Contained, decided by all who have to, corrected, inspected again and closed."""
    inspector, manager = Caller(INSPECTOR), Caller(MANAGER)
    blocked = inspector.post(f"units/{SERIAL}/sign-offs", stage=6, pin="271845")
    assert blocked.code in ("stage_incomplete", "earlier_stage_unsigned", "stage_on_hold")
    inspector.do(f"reports/{number}/contain", note="Set aside with a hold tag; the two frames before it looked at.")
    report = manager.do(
        f"reports/{number}/propose", disposition="rework", procedure="CS-3", reinspect=DISTURBED, cause="method",
        instruction="Cold-straighten the left axle plate by CS-3, one attempt; wait overnight, then measure again.",
    )  # fmt: skip
    signers = {"quality_manager": manager, "engineer": Caller(ENGINEER)}
    missing = report["proposal"]["missing"]
    assert set(missing) == set(signers)
    for role in missing:
        report = signers[role].sign(f"reports/{number}/sign", role=role)
    assert report["state"] == "decided"
    welder = Caller(WELDER)
    welder.do(f"reports/{number}/start")
    welder.do(f"reports/{number}/step", position=1)
    report = welder.do(f"reports/{number}/finish", note="Straightened in the restraint, one attempt.")
    assert report["state"] == "to_be_verified"
    early = manager.post(f"reports/{number}/close", pin="271845", corrective_action="Second clamp at the station.")
    assert early.status == 409
    _inspect_again(number)
    closed = manager.sign(f"reports/{number}/close", corrective_action="Second clamp added to the axle-plate station.")
    assert closed["state"] == "closed"


def _inspect_again(number: str) -> None:
    third, second = Caller(THIRD), Caller(SECOND)
    reopened = [c["key"] for c in third.bench(SERIAL)["checkpoints"] if c["reopened_by"] == number]
    assert {"axle_parallel", *DISTURBED} <= set(reopened)
    answers = {"axle_parallel": {"value": "0.21"}}
    assert {one["outcome"] for one in third.answer_stage(SERIAL, 5, answers)} == {"applied"}
    second.answer_stage(SERIAL, 5, answers)


def _release() -> None:
    manager = Caller(MANAGER)
    state = manager.get(f"releases/{SERIAL}").body
    assert [check["sentence"] for check in state["checks"] if not check["ok"]] == []
    assert state["ready"] is True
    assert manager.sign(f"releases/{SERIAL}")["released"] is True
    again = manager.post(f"releases/{SERIAL}", pin="271845")
    assert (again.status, again.code) == (409, "released_already")


def _certify() -> tuple[Json, str]:
    """The certificate's card, and the text of its PDF, which is the same at every asking."""
    manager = Caller(MANAGER)
    card = manager.do("certificates", serial=SERIAL)
    assert (card["issue"], card["standing"]) == (1, "current")
    path = f"certificates/{card['number']}/{card['issue']}"
    first, again = manager.get(f"{path}/pdf"), Caller(SERVICE).get(f"{path}/pdf")
    assert (first.status, first.content[:5]) == (200, b"%PDF-")
    assert first.content == again.content
    says = manager.get(path).body["content"]
    assert len(says["results"]["stages"]) == 9
    pages = pypdf.PdfReader(io.BytesIO(first.content)).pages
    return card, "\n".join(page.extract_text() for page in pages)


def _look_up(number: str, card: Json) -> None:
    """Customer service types a part of the serial."""
    service = Caller(SERVICE)
    (found,) = service.get("units", q="200 0147").body["units"]
    assert (found["serial"], found["state"]) == (SERIAL, "released")
    history = service.get(f"units/{SERIAL}").body
    assert [one["number"] for one in history["reports"]] == [number]
    assert [one["number"] for one in history["certificates"]] == [card["number"]]
    assert [one["given"] for one in history["releases"]] == [True]
    assert {stage["state"] for stage in history["stages"]} == {"signed"}
    assert {one["described"] for one in history["results"] if one["checkpoint"] == "axle_parallel"} == {
        "0.38 mm", "0.21 mm",
    }  # fmt: skip
    verbs = [act["verb"] for act in history["acts"]]
    assert verbs.count("stage.signed") == 9
    assert {"unit.opened", "unit.welded", "results.recorded", "release.given"} <= set(verbs)


def _audit_holds() -> None:
    told = io.StringIO()
    call_command("verify_audit", "--json", stdout=told)
    report = json.loads(told.getvalue())
    assert report["holds"] is True
    assert report["entries"] > 50
    assert report["anchors_checked"] >= 12
