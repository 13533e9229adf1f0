"""Weld maps: joints placed on the sheets of a plan, and what a unit's weld map says of each."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.utils import timezone

from qcapp.audit.queries import entries_about
from qcapp.core.errors import QcError
from qcapp.inspections.queries.weld_map import unit_weld_map
from qcapp.inspections.services import open_unit
from qcapp.lib.fields import uuid7
from qcapp.plans import services as plans
from qcapp.plans.cards import RevisionCard
from qcapp.plans.queries import revision_card
from qcapp.plans.queries.marks import sheets_of
from qcapp.plans.queries.weld_maps import placed_on_older_sheets, weld_map
from qcapp.plans.services import drawings
from qcapp.plans.services.weld_maps import place_joint, take_joint_away
from qcapp.production.services import record_weld
from qcapp.production.services.welding import Arc, Range, add_procedure, add_qualification, start_weld
from tests.cast import FIXED_NOW, Cast
from tests.factories.plans import attribute, draft, plan_text
from tests.unchanged import refused

pytestmark = pytest.mark.django_db
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 300"><path d="M9 9h300v200" stroke="black"/></svg>'
TEXT = plan_text(
    {},
    attribute(102, title="Root gap, W10 pivot tube left", joint="W10"),
    attribute(103, title="W2 head tube to top tube, visual", joint="W2"),
)


@pytest.fixture
def card(cast: Cast, proof_of: Any, settings: Any, tmp_path: Path) -> RevisionCard:
    """A released plan with one sheet, which names the joints W2 and W10."""
    settings.QCAPP_DATA_DIR = tmp_path
    found = draft(cast, FIXED_NOW, TEXT)
    add_sheet(cast, found.uuid, "C")
    return let_go(cast, proof_of, found.uuid)


def add_sheet(cast: Cast, uuid: UUID, letter: str, **options: Any) -> None:
    drawings.add_sheets(
        by=cast.quality_manager, revision_uuid=uuid, number="FR-1", document_revision=letter, title="Side view",
        content=SVG, name="f.svg", at=FIXED_NOW, **options,
    )  # fmt: skip


def let_go(cast: Cast, proof_of: Any, uuid: UUID) -> RevisionCard:
    plans.send_for_review(by=cast.quality_manager, revision_uuid=uuid, at=FIXED_NOW)
    plans.approve(proof=proof_of(cast.engineer, FIXED_NOW), revision_uuid=uuid, at=FIXED_NOW)
    return plans.release(proof=proof_of(cast.second_quality_manager, FIXED_NOW), revision_uuid=uuid, at=FIXED_NOW)


def place(cast: Cast, card: RevisionCard, joint: str = "W2", **changes: Any) -> Any:
    told = {"sheet_uuid": sheets_of(card.id)[0].uuid, "across": 25_000, "down": 50_000, "was": None}
    return place_joint(
        **{"by": cast.welding_coordinator, "revision_uuid": card.uuid, "joint": joint, "at": FIXED_NOW} | told | changes
    )


def places(card: RevisionCard) -> dict[str, tuple[int, int]]:
    return {joint: (one.across, one.down) for joint, one in weld_map(card).places.items()}


class TestPlacing:
    def test_names_the_joints_of_the_plan_in_order_with_what_they_join(self, card: RevisionCard) -> None:
        found = weld_map(card)
        assert list(found.joints.items()) == [("W2", "head tube to top tube"), ("W10", "pivot tube left")]
        assert found.missing == ["W2", "W10"]

    def test_sets_moves_and_takes_away_and_keeps_every_step_in_the_chain(self, cast: Cast, card: RevisionCard) -> None:
        place(cast, card)
        place(cast, card, "W10", across=0, down=100_000)
        place(cast, card, across=30_000, by=cast.engineer)
        assert places(card) == {"W2": (30_000, 50_000), "W10": (0, 100_000)}
        take_joint_away(by=cast.engineer, revision_uuid=card.uuid, joint="W2", at=FIXED_NOW)
        assert places(card) == {"W10": (0, 100_000)}
        told = [entry.payload["across"] for entry in entries_about("family FR-200") if entry.verb == "joint.placed"]
        assert sorted(told, key=str) == [0, 25_000, 30_000, None]

    def test_refuses_what_was_moved_meanwhile_and_what_is_none_of_it(self, cast: Cast, card: RevisionCard) -> None:
        seen = place(cast, card).seen
        with refused("changed_meanwhile", "production") as caught:
            place(cast, card, was="")
        assert caught.value.details["now"] == seen
        place(cast, card, was=seen)
        with refused("joint_unknown", "production"):
            place(cast, card, "W3")
        with refused("sheet_unknown", "production"):
            place(cast, card, sheet_uuid=uuid7())
        for wrong in ({"across": -1}, {"down": 100_001}):
            with refused("place_unreadable", "production"):
                place(cast, card, **wrong)
        with refused("not_permitted", "production"):
            place(cast, card, by=cast.inspector)

    def test_lets_an_older_revision_keep_its_places_and_asks_for_those_of_a_new_drawing(
        self, cast: Cast, proof_of: Any, card: RevisionCard
    ) -> None:
        place(cast, card)
        newer = plans.revise(by=cast.quality_manager, revision_uuid=card.uuid, at=FIXED_NOW, change_note="next")
        assert places(newer) == {"W2": (25_000, 50_000)}  # the same sheet
        add_sheet(cast, newer.uuid, "D", takes_place_of=sheets_of(card.id)[0].uuid)
        assert places(newer) == {}
        assert placed_on_older_sheets(weld_map(newer)) == ["W2"]
        place(cast, newer, across=70_000)
        assert places(newer) == {"W2": (70_000, 50_000)}
        assert places(revision_card(card.uuid)) == {"W2": (25_000, 50_000)}


class TestPage:
    def test_shows_the_joints_and_lets_only_those_place_them_who_may(
        self, cast: Cast, card: RevisionCard, client_of: Any
    ) -> None:
        place(cast, card)
        page = client_of(cast.welding_coordinator).get(f"/plans/{card.uuid}/weld-map/").content.decode()
        assert "1 of 2 joints without a mark" in page
        assert 'data-edits="yes"' in page
        assert 'class="balloon" data-key="W2"' in page
        assert 'data-edits="no"' in client_of(cast.inspector).get(f"/plans/{card.uuid}/weld-map/").content.decode()

    def test_answers_with_the_place_or_with_why_it_was_not_kept(
        self, cast: Cast, card: RevisionCard, client_of: Any
    ) -> None:
        client, address = client_of(cast.engineer), f"/plans/{card.uuid}/weld-map/joint/"
        sheet = str(sheets_of(card.id)[0].uuid)
        told = {"key": "W2", "was": "", "sheet": sheet, "across": "12000", "down": "34000"}
        assert client.post(address, told).json() == {"seen": f"{sheet} 12000 34000", "across": 12000, "down": 34000}
        refusal = client.post(address, told)
        assert (refusal.status_code, refusal.json()["code"]) == (409, "changed_meanwhile")
        assert client.post(address, {"key": "W2", "was": f"{sheet} 12000 34000", "act": "remove"}).json() == {
            "seen": ""
        }
        assert places(card) == {}
        assert client.post(address, told | {"across": "a lot"}).json()["code"] == "place_unreadable"
        assert client.post(address, told | {"sheet": "none"}).json()["code"] == "sheet_unknown"

    def test_says_what_is_missing_where_no_drawing_and_no_joint_is(self, cast: Cast, client_of: Any) -> None:
        bare = draft(cast, FIXED_NOW, plan_text({}))
        page = client_of(cast.engineer).get(f"/plans/{bare.uuid}/weld-map/").content.decode()
        assert "The plan names no joints." in page
        assert 'id="view"' not in page


@pytest.fixture
def welded(cast: Cast, card: RevisionCard) -> str:
    """A unit with W2 welded, said before the arc, and W10 open; W2 is placed."""
    now = timezone.now()
    scope = Range("141", Decimal("1.0"), Decimal("3.0"))
    told = {"number": "WP-3", "revision": "A", "title": "Tube to tube", "base_grades": ["25CrMo4"]}
    procedure = add_procedure(by=cast.welding_coordinator, scope=scope, at=now, **told)
    days = {"issued_on": now.date(), "expires_on": now.date().replace(year=now.year + 1, day=1)}
    add_qualification(by=cast.welding_coordinator, welder=cast.welder, certificate="Q-1", scope=scope, at=now, **days)
    unit = open_unit(by=cast.inspector, family_code="FR-200", serial="FR-200-0147", order_number="", variant="", at=now)
    place(cast, card)
    arc = Arc(
        operation=uuid7(), serial=unit.serial, joints=("W2",), procedure=procedure, thickness=Decimal("2.0"),
        base_grade="25CrMo4", filler_lot="F-2231", machine="TIG-2", fixture="",
    )  # fmt: skip
    start_weld(by=cast.welder, arc=arc, unqualified="refuse", at=now)
    return unit.serial


class TestUnit:
    def test_says_of_each_joint_who_welded_it_with_what_or_that_it_is_open(self, cast: Cast, welded: str) -> None:
        found = unit_weld_map(welded)
        first, second = found.joints
        assert first.weld is not None
        assert (first.weld.welder_stamp, first.weld.procedure, first.weld.filler_lot, first.weld.machine) == (
            cast.welder.stamp, "WP-3 rev A", "F-2231", "TIG-2",
        )  # fmt: skip
        assert (second.joint, second.weld, second.place) == ("W10", None, None)
        assert (found.open, found.unplaced) == (["W10"], ["W10"])

    def test_lets_the_last_record_of_a_joint_count_and_shows_one_that_the_plan_does_not_name(
        self, cast: Cast, welded: str
    ) -> None:
        record_weld(
            by=cast.second_welder, welder=cast.second_welder, serial=welded, joints=["W2", "W3"], at=timezone.now()
        )
        first, extra, _ = unit_weld_map(welded).joints
        assert first.weld is not None
        assert (first.weld.welder_name, first.weld.filler_lot, first.weld.times) == (cast.second_welder.name, "", 2)
        assert (extra.joint, extra.planned) == ("W3", False)

    def test_shows_the_drawing_the_table_and_a_pdf_of_both(self, cast: Cast, welded: str, client_of: Any) -> None:
        client = client_of(cast.customer_service)
        page = client.get(f"/units/{welded}/weld-map/").content.decode()
        assert "1 of 2 joints open" in page
        assert "F-2231" in page
        assert 'data-key="W2"' in page
        assert "Not on the drawing: W10" in page
        assert "/weld-map/" in client.get(f"/units/{welded}/").content.decode()
        pdf = client.get(f"/units/{welded}/weld-map.pdf")
        assert pdf.content.startswith(b"%PDF")
        assert pdf.content == client.get(f"/units/{welded}/weld-map.pdf").content

    def test_refuses_a_serial_that_nobody_knows(self, db: None) -> None:
        with pytest.raises(QcError) as caught:
            unit_weld_map("FR-200-9999")
        assert caught.value.code == "serial_unknown"


class TestApi:
    def test_gives_and_places_joints_as_the_pages_do(
        self, cast: Cast, card: RevisionCard, welded: str, client_of: Any
    ) -> None:
        client = client_of(cast.welding_coordinator)
        planned = client.get(f"/api/v1/plans/{card.uuid}/weld-map").json()
        assert planned["without_mark"] == ["W10"]
        assert planned["joints"][0]["place"]["across"] == "0.25000"
        body = {"sheet": planned["sheets"][0]["uuid"], "across": "0.4", "down": "0.6", "was": ""}
        address = f"/api/v1/plans/{card.uuid}/weld-map/W10"
        assert client.post(address, body, content_type="application/json").json()["without_mark"] == []
        assert client.post(address, body, content_type="application/json").status_code == 409
        assert client.delete(address).json()["without_mark"] == ["W10"]
        told = client.get(f"/api/v1/units/{welded}/weld-map").json()
        assert told["open"] == ["W10"]
        assert [one["weld"] and one["weld"]["filler_lot"] for one in told["joints"]] == ["F-2231", None]
        assert client_of(cast.inspector).delete(address).status_code == 403
