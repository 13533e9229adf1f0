"""The validation protocol (docs/validation.md) is true: its plan, its values and its refusals, line by line as written.

What a person does on the machine or with a battery in the hand (A, C1, C9, D) has its tests elsewhere; what rules and
verdicts decide is walked here through the API, the expected words read from the page itself.
"""

from __future__ import annotations

import io
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from qcapp.certificates.services.checking import check_pdf
from qcapp.config.demonstration import cast as demo
from qcapp.config.helping import DOCUMENTS
from qcapp.lib.site_days import site_day

from .by_api import AUTHOR, ENGINEER, INSPECTOR, MANAGER, SECOND, WELDER, WELDING, Caller, Json, release_plan

pytestmark = pytest.mark.django_db(transaction=True)
PAGE = (DOCUMENTS / "validation.md").read_text(encoding="utf-8")
PLAN = (DOCUMENTS / "validation-plan.csv").read_text(encoding="utf-8")
ROW = re.compile(r"(?m)^\| (B\d) \| (\d+) \| ([\d.,]+) \| (in band|near limit|out of band)")
UNIT, OTHER, DISPATCH = "TRAIN-0001", "TRAIN-0002", "1014"


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Path) -> Path:
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def begin() -> None:
    """As the page says under "Before you begin"."""
    demo.make_people(timezone.now() - timedelta(days=90))
    Caller(AUTHOR).do(
        "families", code="TRAIN", name="training part", serial_pattern="TRAIN-{number:4}", certificate_prefix="TRAIN"
    )
    plan = release_plan("TRAIN", "A", PLAN)
    assert plan["state"] == "released"
    scope = {"process": "141", "thickness_from": "1", "thickness_to": "3"}
    coordinator, today = Caller(WELDING), site_day(timezone.now())
    told = {"number": "TRAIN-1", "revision": "A", "title": "Training weld", "base_grades": ["S235"]}
    coordinator.do("weld-procedures", **told, **scope)
    days = {"issued_on": str(today - timedelta(30)), "expires_on": str(today + timedelta(300))}
    coordinator.do("welder-qualifications", welder=WELDER, certificate="TRAIN-Q", **days, **scope)
    for serial in (UNIT, OTHER):
        Caller(INSPECTOR).do("units", family="TRAIN", serial=serial)


def answer(person: Caller, number: int, serial: str = UNIT, **changes: Any) -> Json:
    """The person's answer to a checkpoint by its number on the page."""
    bench = person.bench(serial)
    (asked,) = [one for one in bench["checkpoints"] if one["number"] == number]
    (said,) = person.submit([person.operation(bench, asked, **changes)])
    return said


def test_is_true_line_by_line() -> None:
    begin()
    first, second, welder = Caller(INSPECTOR), Caller(SECOND), Caller(WELDER)
    above, below = _verdicts(first)
    _people(first, second, welder, below)
    _release(first, above, below)


def _verdicts(first: Caller) -> tuple[str, str]:
    """B: gives the two reports."""
    rows = ROW.findall(PAGE)
    assert [row[0] for row in rows] == [f"B{n}" for n in range(1, 8)]
    reports = {}
    for name, number, typed, expected in rows:
        said = answer(first, int(number), answer={"value": typed.replace(",", ".")}, raw=typed)
        assert (said["outcome"], said["verdict"]) == ("applied", expected.replace(" ", "_")), name
        reports[name] = said["report"]
        if "," not in typed:
            _by_command(typed, expected)
    assert {name for name, report in reports.items() if report} == {"B4", "B6"}
    seen = next(one for one in first.bench(UNIT)["checkpoints"] if one["number"] == 104)
    better = {"answer": {"value": "10.05"}, "purpose": "correction", "base": seen["base"], "reason": "Typed wrong"}
    assert answer(first, 104, **better)["verdict"] == "in_band"  # B8
    assert first.get(f"reports/{reports['B4']}").body["state"] == "open"
    return reports["B4"], reports["B6"]


def _by_command(value: str, expected: str) -> None:
    """B9."""
    told = io.StringIO()
    call_command("judge", value, "--notation", "±0.10", "--nominal", "10.00", "--uncertainty", "0.02", stdout=told)
    assert expected in told.getvalue().lower()


def _people(first: Caller, second: Caller, welder: Caller, below: str) -> None:
    """C2 to C8."""
    wrong = first.post(f"units/{UNIT}/sign-offs", stage=1, pin="000000")
    assert wrong.status in (400, 403)
    assert first.sign(f"units/{UNIT}/sign-offs", stage=1)["state"] == "signed"
    first.answer_stage(OTHER, 1)
    first.sign(f"units/{OTHER}/sign-offs", stage=1)
    _weld(welder, OTHER)
    assert answer(welder, 202, OTHER)["code"] == "own_weld"
    assert answer(first, 201, OTHER)["outcome"] == "applied"
    (hidden,) = [one for one in second.bench(OTHER)["checkpoints"] if one["number"] == 201]
    assert not any(hidden[name] for name in ("answer", "value", "outcome"))
    assert answer(first, 201, OTHER, inspection=2)["code"] == "second_same_person"
    assert answer(welder, 201, OTHER, inspection=2)["code"] == "second_is_welder"
    assert answer(second, 201, OTHER)["outcome"] == "applied"
    manager, engineer = Caller(MANAGER), Caller(ENGINEER)
    first.do(f"reports/{below}/contain", note="Training part, set aside.")
    manager.do(
        f"reports/{below}/propose", disposition="use_as_is", instruction="A training part.", cause="method",
        concession_lower="9.85", concession_upper="10.10",
    )  # fmt: skip
    manager.sign(f"reports/{below}/sign", role="quality_manager")
    assert manager.post(f"reports/{below}/sign", role="engineer", pin=demo.PIN).status == 403
    engineer.sign(f"reports/{below}/sign", role="engineer")
    assert first.client.get("/people/").status_code == 403


def _weld(welder: Caller, serial: str) -> None:
    what = {"welder": WELDER, "joints": ["W1"], "procedure": "TRAIN-1", "thickness": "2", "base_grade": "S235"}
    welder.do(f"units/{serial}/welds", **what, filler_lot="F-1", machine="TIG-1")


def _release(first: Caller, above: str, below: str) -> None:
    """E1 to E7."""
    manager, dispatch = Caller(MANAGER), Caller(DISPATCH)
    against = [one["sentence"] for one in manager.get(f"releases/{UNIT}").body["checks"] if not one["ok"]]
    assert "301" in " ".join(against)
    assert above in " ".join(against)
    assert manager.post(f"releases/{UNIT}", pin=demo.PIN).status == 409
    for person in (manager, Caller(ENGINEER)):
        person.sign(f"reports/{above}/withdraw", reason="Typed wrong, corrected.")
    manager.sign(f"reports/{below}/close", corrective_action="None: a training part.")
    _weld(Caller(WELDER), UNIT)
    for stage in (2, 3):
        first.answer_stage(UNIT, stage)
        Caller(SECOND).answer_stage(UNIT, stage)
        first.sign(f"units/{UNIT}/sign-offs", stage=stage)
    assert [one for one in manager.get(f"releases/{UNIT}").body["checks"] if not one["ok"]] == []
    manager.sign(f"releases/{UNIT}")
    card = manager.do("certificates", serial=UNIT)
    path = f"certificates/{card['number']}/1"
    assert "9.85" in str(manager.get(path).body["content"])
    pdf = manager.get(f"{path}/pdf").content
    assert _checked(card) == "Real and current"
    middle = len(pdf) // 2
    assert check_pdf(pdf[:middle] + bytes([pdf[middle] ^ 1]) + pdf[middle + 1 :]).answer == "altered"
    first.do("reports", serial=UNIT, title="A scratch", severity="minor", description="")
    held = {"order_number": "T-1", "certificate_number": card["number"], "issue": 1}
    assert dispatch.post(f"units/{UNIT}/dispatch", **held, pin=demo.PIN).code == "unit_on_hold"
    assert _checked(card) == "Real, but under review"


def _checked(card: Json) -> str:
    """What the page behind the code on the paper says first."""
    page = Client().get(f"/check/{card['token']}/").content.decode()
    found = re.search(r'<h1 id="answer"><span[^>]*>([^<]+)', page)
    return found[1] if found else page
