"""What another plan would have said about recorded values, and from a drawing to its units; nothing changes by it."""

from __future__ import annotations

from dataclasses import replace
from statistics import mean, stdev

import pytest

from qcapp.core.checkpoints.kinds import KINDS
from qcapp.inspections.queries import adopted
from qcapp.inspections.queries.trying import tried_on, units_inspected_to
from qcapp.inspections.queries.trying_capability import changed_capability
from qcapp.inspections.services import open_unit
from qcapp.plans.queries import checkpoints_of, revision_card
from tests.cast import Cast
from tests.factories.inspections import PLAN, SERIAL, Workshop, release_plan
from tests.factories.plans import draft, plan_text, released
from tests.unchanged import rows_of

PLACES = ("inspections", "plans", "production")


def with_limits(cards, **limits):
    """The cards with other limits for some keys."""
    open_limits = {"lower": None, "upper": None}
    return [
        replace(card, spec=KINDS[card.kind].read_spec(card.spec_json | open_limits | {"notation": limits[card.key]}))
        if card.key in limits
        else card
        for card in cards
    ]


@pytest.fixture
def measured(workshop: Workshop, cast: Cast) -> Workshop:
    workshop.send_one("head_angle", {"value": "61.90"})
    workshop.send_one("left_length", {"value": "250.1"})
    return workshop


def cards_of(workshop: Workshop):
    card = revision_card(workshop.revision)
    return card, checkpoints_of(card.id)


def test_the_same_limits_give_the_same_verdicts(measured: Workshop) -> None:
    card, cards = cards_of(measured)
    tried = tried_on(card.family_id, cards, 40)
    assert (tried.units, tried.judged, tried.others) == ((SERIAL,), 2, ())


def test_names_the_values_that_tighter_limits_would_have_put_out_of_band(measured: Workshop) -> None:
    card, cards = cards_of(measured)
    before = rows_of(*PLACES)
    tried = tried_on(card.family_id, with_limits(cards, head_angle="±0.05"), 40)
    (other,) = tried.others
    assert (other.serial, other.number, other.before, other.after) == (SERIAL, 101, "in_band", "out_of_band")
    assert (other.nearest_after, other.worse, tried.fall_out) == ("lower", True, 1)
    assert (tried.units_changed, tried.by_checkpoint) == (1, [(101, "Head angle", 1)])
    assert rows_of(*PLACES) == before


def test_leaves_out_another_kind_and_units_beyond_the_last(measured: Workshop) -> None:
    card, cards = cards_of(measured)
    counts = [replace(one, kind="count") if one.key == "head_angle" else one for one in cards]
    assert tried_on(card.family_id, counts, 40).judged == 1
    measured.another_unit("FR-200-0148")
    latest = tried_on(card.family_id, cards, 1)
    assert (len(latest.units), len(tried_on(card.family_id, cards, 2).units)) == (1, 2)


def test_shows_its_page_and_changes_nothing(
    measured: Workshop, cast: Cast, client_of, django_assert_max_num_queries
) -> None:
    client = client_of(cast.quality_manager)
    before = rows_of(*PLACES)
    with django_assert_max_num_queries(20):
        page = client.get(f"/plans/{measured.revision}/try/?units=10").content.decode()
    assert "Every verdict would be the same" in page
    assert client.get(f"/plans/{measured.revision}/try/?units=x").status_code == 200
    assert client.post(f"/plans/{measured.revision}/try/").status_code == 405
    assert rows_of(*PLACES) == before


def test_finds_the_units_of_a_revision(measured: Workshop) -> None:
    card, _ = cards_of(measured)
    assert [one.serial for one in units_inspected_to([card.id])[card.id]] == [SERIAL]
    assert units_inspected_to([0]) == {}


def test_leads_from_a_drawing_to_revisions_and_units(
    cast: Cast, proof_of, fixed_now, client_of, django_assert_max_num_queries
) -> None:
    cited = {"drawing": "AQ-FR200-05", "drawing_revision": "C"}
    card = released(cast, proof_of, fixed_now, plan_text(cited))
    draft(cast, fixed_now, plan_text(cited | {"drawing_revision": "D"}), letter="B")
    open_unit(by=cast.inspector, family_code="FR-200", serial="FR-200-0150", order_number="", variant="", at=fixed_now)
    client = client_of(cast.customer_service)
    with django_assert_max_num_queries(20):
        page = client.get("/plans/drawings/?q=fr200-05").content.decode()
    for text in ("<strong>rev C</strong>", "<strong>rev D</strong>", "FR-200-0150", "101"):
        assert text in page, text
    only = client.get("/plans/drawings/?q=AQ-FR200-05 c").content.decode()
    assert "rev C" in only
    assert "rev D" not in only
    assert card.letter == "A"
    assert "No plan revision cites" in client.get("/plans/drawings/?q=<b>").content.decode()
    assert "<b>" not in client.get("/plans/drawings/?q=<b>").content.decode()
    assert client.get("/plans/drawings/?q=%00").status_code == 200


def test_keeps_first_answers_from_who_still_owes_the_second_inspection(workshop: Workshop, cast: Cast) -> None:
    workshop.answer_stage(1)
    workshop.sign(1)
    workshop.send_one("throat_w7", {"value": "3.4"})
    card, cards = cards_of(workshop)
    tighter = with_limits(cards, throat_w7="min 4.0")

    def seen_by(person) -> list[int]:
        return [one.number for one in tried_on(card.family_id, tighter, 40, viewer=person).others]

    assert seen_by(cast.second_inspector) == []
    assert seen_by(cast.inspector) == [202]
    assert seen_by(cast.engineer) == [202]


def test_holds_the_recorded_values_against_the_changed_limits(workshop: Workshop) -> None:
    """Ppk of 0.10, 0.11 … 0.29 mm to one upper limit: (limit - mean) / 3 s, with s of n - 1 (common practice)."""
    values = [0.10 + 0.01 * place for place in range(20)]
    for place, value in enumerate(values):
        one = workshop if place == 0 else workshop.another_unit(f"FR-200-0{200 + place}")
        one.send_one("twist", f"{value:.2f}")
    old = list(adopted(workshop.item_id).checkpoints)
    text = PLAN.replace("max 0.50", "max 0.40")
    uuid = release_plan(workshop.cast, family_code="FR-200", letter="E", text=text, at=workshop.at)
    card = revision_card(uuid)
    (found,) = changed_capability(card.family_id, old, checkpoints_of(card.id), 40)
    assert (found.number, found.count, found.worse) == (301, 20, True)
    for limit, index in ((0.50, found.before), (0.40, found.after)):
        assert index == pytest.approx((limit - mean(values)) / (3 * stdev(values)))
