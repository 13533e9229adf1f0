"""Normal, tightened and reduced over the history of the lots, each class by itself, as the standards publish it.

Sources: acceptance_switching_rules.json (ISO 2859-1:1999 9.3-9.4 and MIL-STD-105E 4.7-4.8, "apply per class of
nonconformity"); sample sizes and acceptance numbers from MIL-STD-105E Tables I and II.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from qcapp.goods.models import LotSample, LotVerdict
from qcapp.goods.queries.lots import next_inspections, sample_of
from qcapp.goods.services.lots import judge_lot, open_lot, sample_lot
from qcapp.production.queries.as_built import lot_by_code
from tests.cast import FIXED_NOW, Cast
from tests.goods.test_lots import answer, opened
from tests.unchanged import refused

ROOMS = ("goods", "production", "inspections")
RULES = json.loads((Path(__file__).parents[1] / "vectors/acceptance_switching_rules.json").read_text("utf-8"))
SCORED = RULES["rules"][2]
TO_REDUCED = {fact["how"]: fact["lots"] for fact in RULES["derived_counts"]}
WINDOW = SCORED["normal_to_tightened"]["window_consecutive_lots"]
RELAX = SCORED["tightened_to_normal"]["consecutive_accepted"]
STOP = SCORED["discontinue"]["cumulative_lots_not_accepted_on_tightened"]


def judged(cast: Cast, severity: str = "normal", accept: int = 0, **found: int) -> None:
    """A lot of our own that was sampled and judged with so many nonconforming pieces in each class."""
    lot = opened(cast, quantity=100)
    plans = {
        name: {"aql": "1.0", "sample_size": 20, "accept": accept, "reject": accept + 1, "source": "", "pieces": [],
               "severity": severity, "tighter_accept": max(accept - 1, 0)}
        for name in found
        if name != "critical"
    }  # fmt: skip
    sample = LotSample.objects.create(
        lot_id=lot.id, severity=severity, reason="", plans=plans, pieces=[], seed="s", by=cast.goods_in, at=FIXED_NOW
    )
    LotVerdict.objects.create(
        sample=sample, accepted=not any(found.values()), found=found, tighter=True, between=False, removed=[],
        sentence="", by=cast.goods_in, at=FIXED_NOW,
    )  # fmt: skip


def following(cast: Cast, *classes: str, **told: Any) -> Any:
    lot = lot_by_code("TK-200-L0001")
    found = next_inspections(lot.family_id, classes or ("major", "minor"), **told)
    return {name: one.severity.value for name, one in found.items()}


def test_switches_each_class_by_itself(cast: Cast, kit: str) -> None:
    judged(cast, major=1, minor=0)
    assert following(cast) == {"major": "normal", "minor": "normal"}
    judged(cast, major=1, minor=0)
    assert following(cast) == {"major": "tightened", "minor": "normal"}
    lot = opened(cast)
    card = sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    # A lot of 100 is letter F: tightened (Table II-B) at AQL 1.0, 20 pieces, accept 0; normal (II-A) at 2.5, accept 1.
    assert {name: (one["severity"], one["sample_size"], one["accept"]) for name, one in card.plans.items()} == {
        "major": ("tightened", 20, 0), "minor": ("normal", 20, 1),
    }  # fmt: skip
    assert card.severity == "tightened"
    assert card.reason.startswith("Major: Two of five lots in a row or fewer were not accepted. Minor: ")


def test_says_of_a_sample_of_before_why_it_was_inspected_as_it_was(cast: Cast, kit: str) -> None:
    lot = opened(cast)
    old = "Major: Two of five lots in a row or fewer were not accepted. Minor: Inspection starts like this."
    LotSample.objects.create(
        lot_id=lot.id, severity="tightened", reason=old, plans={}, pieces=[], seed="s", by=cast.goods_in, at=FIXED_NOW
    )
    card = sample_of(lot.id)
    assert card is not None
    assert card.reason.endswith("accepted. Minor: No earlier lot calls for tightened or reduced inspection.")


def test_tightens_by_the_last_five_lots_alone(cast: Cast, kit: str) -> None:
    judged(cast, major=1)
    for _ in range(WINDOW - 1):
        judged(cast, major=0)
    judged(cast, major=1)
    assert following(cast, "major") == {"major": "normal"}
    judged(cast, major=1)
    assert following(cast, "major") == {"major": "tightened"}
    for _ in range(RELAX - 1):
        judged(cast, "tightened", major=0)
    assert following(cast, "major") == {"major": "tightened"}
    judged(cast, "tightened", major=0)
    assert following(cast, "major") == {"major": "normal"}


@pytest.mark.parametrize(("accept", "lots"), [(2, TO_REDUCED["30/3"]), (0, TO_REDUCED["30/2"])])
def test_opens_reduced_inspection_at_thirty_points_to_whoever_wants_it(
    cast: Cast, kit: str, accept: int, lots: int
) -> None:
    """Ten lots with acceptance numbers of two and more, fifteen with 0 or 1, all accepted one AQL step tighter."""
    allowed = {"steady": True, "reduced_wanted": True}
    for _ in range(lots - 1):
        judged(cast, accept=accept, major=0)
    assert following(cast, "major", **allowed) == {"major": "normal"}
    judged(cast, accept=accept, major=0)
    assert following(cast, "major", **allowed) == {"major": "reduced"}
    assert following(cast, "major", steady=True) == following(cast, "major", reduced_wanted=True) == {"major": "normal"}
    judged(cast, accept=accept, major=0)  # inspected as normal once more: the score goes on
    assert following(cast, "major", **allowed) == {"major": "reduced"}
    judged(cast, "reduced", accept=accept, major=accept + 1)
    assert following(cast, "major", **allowed) == {"major": "normal"}


def test_goes_back_to_normal_between_the_numbers_of_a_reduced_plan(cast: Cast, kit: str) -> None:
    """MIL-STD-105E 4.8.4: the lot is accepted, the next one is inspected as normal."""
    for _ in range(TO_REDUCED["30/2"]):
        judged(cast, major=0)
    allowed = {"steady": True, "reduced_wanted": True}
    card = sample_lot(
        by=cast.goods_in, lot_code=opened(cast).code, at=FIXED_NOW, aqls={"major": "4.0"}, **allowed
    )  # fmt: skip
    # Table II-C, letter F at AQL 4.0: 8 pieces, accept 1, refuse 3.
    plan = card.plans["major"]
    assert (plan["severity"], plan["sample_size"], plan["accept"], plan["reject"]) == ("reduced", 8, 1, 3)
    lot = lot_by_code(f"TK-200-L{TO_REDUCED['30/2'] + 1:04}")
    answer(cast, lot, bad={0, 1})
    said = judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    assert (said.accepted, said.found) == (True, {"major": 2})
    assert following(cast, "major", **allowed) == {"major": "normal"}


def test_stops_after_five_lots_and_is_resumed_by_the_quality_manager_alone(cast: Cast, kit: str) -> None:
    for _ in range(2):
        judged(cast, major=1, minor=0)
    for _ in range(STOP):
        judged(cast, "tightened", major=1, minor=0)
    assert following(cast) == {"major": "discontinued", "minor": "normal"}
    told = {"lot_code": opened(cast).code, "at": FIXED_NOW}
    assert cast.quality_manager
    for more in ({}, {"isolated": True}):
        with refused("inspection_discontinued", *ROOMS):
            sample_lot(by=cast.goods_in, **told, **more)
    with refused("not_permitted", *ROOMS):
        sample_lot(by=cast.goods_in, resumed="Saw stop pinned.", **told)
    card = sample_lot(by=cast.quality_manager, resumed="Saw stop pinned.", **told)
    assert card.plans["major"]["severity"] == "tightened"
    assert "Resumed after: Saw stop pinned." in card.reason
    assert card.plans["minor"]["severity"] == "normal"


def test_has_nothing_to_resume_where_nothing_was_stopped(cast: Cast, kit: str) -> None:
    code, by = opened(cast).code, cast.quality_manager
    with refused("nothing_to_resume", *ROOMS):
        sample_lot(by=by, lot_code=code, resumed="Saw stop pinned.", at=FIXED_NOW)


def test_counts_a_critical_piece_against_every_class(cast: Cast, kit: str) -> None:
    for _ in range(2):
        judged(cast, major=0, minor=0, critical=1)
    assert following(cast) == {"major": "tightened", "minor": "tightened"}


def test_reads_samples_that_were_drawn_before_each_class_had_its_own(cast: Cast, kit: str) -> None:
    """Their plans say neither a severity nor what a tighter AQL would accept; the sample and its verdict do."""
    for number in range(TO_REDUCED["30/3"]):
        lot = opened(cast)
        old = {"aql": "4.0", "sample_size": 20, "accept": 2, "reject": 3, "source": "", "pieces": []}
        sample = LotSample.objects.create(
            lot_id=lot.id, severity="normal", reason="", plans={"major": old}, pieces=[], seed="s", by=cast.goods_in,
            at=FIXED_NOW,
        )  # fmt: skip
        LotVerdict.objects.create(
            sample=sample, accepted=True, found={"major": 1}, tighter=number > 0, between=False, removed=[],
            sentence="", by=cast.goods_in, at=FIXED_NOW,
        )  # fmt: skip
    card = sample_of(lot_by_code("TK-200-L0001").id)
    assert card is not None
    assert card.plans["major"]["severity"] == "normal"
    (found,) = next_inspections(lot_by_code("TK-200-L0001").family_id, ["major"]).values()
    assert found.score == 3 * (TO_REDUCED["30/3"] - 1)  # the first one would not have passed one step tighter


def test_refuses_a_lot_of_our_own_without_a_heat(cast: Cast, kit: str) -> None:
    with refused("heats_missing", *ROOMS):
        open_lot(by=cast.goods_in, family_code="TK-200", quantity=10, heat_numbers=[], at=FIXED_NOW)


def test_shows_each_class_before_the_draw_and_the_way_to_resume(cast: Cast, kit: str, client_of: Any) -> None:
    for _ in range(2):
        judged(cast, major=1, minor=0)
    lot = opened(cast)
    address = f"/goods/lots/{lot.code}/"
    page = client_of(cast.quality_manager).get(address).text
    assert "<dt>Major</dt><dd>tightened." in page
    assert "<dt>Minor</dt><dd>normal." in page
    assert "what was corrected" not in page
    for _ in range(STOP):
        judged(cast, "tightened", major=1, minor=0)
    manager = client_of(cast.quality_manager)
    assert "what was corrected" in manager.get(address).text
    sent = {"act": "sample", "major": "1.0", "minor": "2.5", "level": "II"}
    assert manager.post(address, sent).status_code == 409
    assert manager.post(address, sent | {"resumed": "Saw stop pinned."}).status_code == 302
