"""The suspect population of a report, checked against one counted by hand."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from qcapp.affected.suspects import Population, population
from qcapp.gauges.services import record_calibration
from qcapp.inspections.queries import counting_answer
from qcapp.nonconformance.services import deciding
from qcapp.production.queries import open_holds
from qcapp.production.services import record_weld

from ..cast import FIXED_NOW, Cast
from ..factories.inspections import PLAN, Workshop
from ..factories.nonconformance import LATER, Case

pytestmark = pytest.mark.django_db
WITH_FIXTURE = PLAN + "1,Tack-up,no,106,fixture,Weld fixture,record,,,,,,text,minor,,every,no,\n"
Browser = Callable[[Any], Client]


@pytest.fixture
def line(cast: Cast) -> dict[str, Workshop]:
    """Seven frames in turn on two fixtures; the fifth is out of band at the head angle."""
    for name in ("quality_manager", "welder", "engineer", "second_inspector", "customer_service"):
        getattr(cast, name)
    first = Workshop.opened(cast, serial="FR-200-0141", plan=WITH_FIXTURE)
    units = {"0141": first} | {f"01{n}": first.another_unit(f"FR-200-01{n}") for n in range(42, 48)}
    fixtures = ("TF-1", "TF-1", "TF-2", "TF-1", "TF-1", "TF-1", "TF-2")
    angles = ("62.00", "61.99", "62.01", "62.145", "62.40", None, None)
    for unit, fixture, angle in zip(units.values(), fixtures, angles, strict=True):
        send(unit, "fixture", {"text": fixture})
        if angle:
            send(unit, "head_angle", angle)
    return units


def send(unit: Workshop, key: str, answer: Any, **changes: Any) -> str:
    (verdict,) = unit.send(unit.operation(key, answer, **changes))
    assert verdict.applied, verdict.message
    return str(verdict.report or "")


def found_for(line: dict[str, Workshop], number: str = "NCR-2026-0001") -> Population:
    return population(number, viewer=line["0141"].cast.customer_service, at=LATER)


def source(found: Population, key: str) -> tuple[str, list[int]]:
    one = next(one for one in found.sources if one.key == key)
    return one.sentence, sorted(one.items)


def items(line: dict[str, Workshop], *ends: str) -> list[int]:
    return sorted(line[end].item_id for end in ends)


def test_names_the_fixture_since_its_last_clearly_good_value(line: dict[str, Workshop]) -> None:
    """0142 was clearly good; 0144 was near its limit and so is suspect, 0146 came after on the same fixture."""
    sentence, named = source(found_for(line), "fixture")
    assert named == items(line, "0144", "0145", "0146")
    assert sentence == "Welded on it since the last clearly good value, on FR-200-0142."


def test_leaves_the_reports_own_unit_out_and_proposes_what_is_not_clearly_good(line: dict[str, Workshop]) -> None:
    found = found_for(line)
    proposed = {one.unit.serial[-4:]: one.chosen for one in found.suspects}
    assert "0145" not in proposed
    assert (proposed["0144"], proposed["0146"]) == (True, True)
    assert proposed["0143"] is False  # measured with the same gauge, and clearly good itself


def test_names_what_the_gauge_measured_since_its_last_good_calibration(line: dict[str, Workshop]) -> None:
    sentence, named = source(found_for(line), "gauge")
    assert named == items(line, "0141", "0142", "0143", "0144", "0145")
    assert sentence == "Measured with it since its last good calibration on 12 January 2026."


def test_begins_at_a_later_calibration_that_passed(line: dict[str, Workshop]) -> None:
    at = FIXED_NOW.replace(hour=8)
    record_calibration(
        by=line["0141"].cast.metrology, number="AG-01", done_on=at.date(), outcome="passed", done_by="Gauge room",
        at=at,
        expanded_uncertainty=Decimal("0.01"),
    )  # fmt: skip
    sentence, _ = source(found_for(line), "gauge")
    assert sentence.endswith("17 March 2026.")


def test_names_every_unit_from_now_until_the_stated_number_is_good(line: dict[str, Workshop]) -> None:
    told = {"number": "NCR-2026-0001", "note": "Fixture stopped.", "good_needed": 2, "at": LATER}
    deciding.contain(by=line["0141"].cast.quality_manager, **told)
    sentence, named = source(found_for(line), "next")
    assert (sentence, named) == ("Until 2 in a row are clearly good: 0 of 2 so far.", items(line, "0146", "0147"))
    send(line["0146"], "head_angle", "62.00")
    send(line["0147"], "head_angle", "62.01")
    later = line["0141"].another_unit("FR-200-0160")
    sentence, named = source(found_for(line), "next")
    assert sentence == "2 in a row are clearly good; the watch ended."
    assert later.item_id not in named


def test_names_the_same_joint_by_the_same_welder_since_the_last_accepted_one(line: dict[str, Workshop]) -> None:
    cast = line["0141"].cast
    welders = ("welder", "welder", "second_welder", "welder", "welder", "welder", "welder")
    for unit, name in zip(line.values(), welders, strict=True):
        person = getattr(cast, name)
        record_weld(by=person, welder=person, serial=unit.serial, joints=["W7"], procedure="WP-3", at=FIXED_NOW)
    send(line["0141"], "throat_w7", "3.4")
    send(line["0142"], "throat_w7", "3.5")
    send(line["0143"], "throat_w7", "3.4")
    number = send(line["0144"], "throat_w7", "2.4")
    sentence, named = source(found_for(line, number), "welder")
    assert named == items(line, "0144", "0145", "0146", "0147")
    assert sentence.endswith("since the last accepted inspection, on FR-200-0142.")


def test_goes_back_to_the_last_good_sample(line: dict[str, Workshop]) -> None:
    ends = list(line)
    good, bad = [end for end in ends if counting_answer(line[end].item_id, "sampled_gap").state != "not_due"]
    send(line[good], "sampled_gap", {"value": "2.1"}, gauge="CA-01")
    number = send(line[bad], "sampled_gap", {"value": "3.1"}, gauge="CA-01")
    sentence, named = source(found_for(line, number), "sample")
    assert named == items(line, *ends[ends.index(good) + 1 :])
    assert f"after the last good one, FR-200-{good} may" in sentence


def test_names_the_same_heat(line: dict[str, Workshop]) -> None:
    for end in ("0141", "0143", "0145"):
        send(line[end], "heat", {"text": "7K4412"})
    send(line["0142"], "heat", {"text": "7K4418"})
    _, named = source(found_for(line), "heat")
    assert named == items(line, "0141", "0143", "0145")


def test_holds_the_chosen_ones_from_the_page(line: dict[str, Workshop], client_of: Browser) -> None:
    cast = line["0141"].cast
    page = client_of(cast.inspector).get("/nonconformances/NCR-2026-0001/suspects/").text
    assert "Fixture TF-1" in page
    told = {"serial": ["FR-200-0144", "FR-200-0146"], "reason": "Same fixture."}
    answer = client_of(cast.inspector).post("/nonconformances/NCR-2026-0001/suspects/hold/", told)
    assert answer.status_code == 302
    assert [hold.source for hold in open_holds(line["0144"].item_id)] == ["NCR-2026-0001"]
    refused = client_of(cast.inspector).post("/nonconformances/NCR-2026-0001/suspects/hold/", {"reason": "x"})
    assert (refused.status_code, "Choose from 1" in refused.text) == (400, True)


def test_names_nobody_while_the_finding_is_kept_back(line: dict[str, Workshop]) -> None:
    number = send(line["0145"], "throat_w7", "2.4")
    viewer = line["0141"].cast.second_inspector
    assert population(number, viewer=viewer, at=LATER).suspects == ()


def test_finds_nothing_to_go_by_for_a_report_by_hand(workshop_alone: Workshop) -> None:
    case = Case.by_hand(workshop_alone)
    assert population(case.number, viewer=workshop_alone.cast.quality_manager, at=LATER).suspects == ()


@pytest.fixture
def workshop_alone(cast: Cast) -> Workshop:
    for name in ("quality_manager", "assembler"):
        getattr(cast, name)
    return Workshop.opened(cast)
