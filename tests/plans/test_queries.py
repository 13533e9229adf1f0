"""Reading inspection plans: cards, their cache, and the list of families."""

from __future__ import annotations

import pytest

from qcapp.core.errors import NotFound
from qcapp.plans import queries, services
from tests.factories.gauges import CalibrationFactory, GaugeFactory
from tests.factories.plans import FR200, attribute, draft, in_review, plan_text, released
from tests.factories.production import FamilyFactory

PLAIN = plan_text({"criticality": "major"})


def test_gives_each_checkpoint_with_its_parsed_specification(cast, fixed_now):
    cards = {card.number: card for card in queries.checkpoints_of(draft(cast, fixed_now).id)}
    bore = cards[508]
    assert (bore.title, bore.kind, bore.notation, bore.unit_of_measure) == (
        "Pivot bore",
        "measured",
        "H7",
        "mm",
    )
    assert (bore.nominal_text, bore.lower_text, bore.upper_text) == ("30.000", "30.000", "30.021")
    assert (bore.critical, bore.second_inspection, bore.stage_number) == (True, True, 5)
    assert (bore.gauge_kinds, bore.gauge_text) == (("bore_gauge", "air_gauge"), "bore gauge, air gauge")
    assert (bore.document_number, bore.document_revision, bore.document_kind) == (
        "AQ-FR200-05",
        "C",
        "drawing",
    )
    assert str(bore.spec.band.upper) == "30.021"
    flat = cards[507]
    assert (flat.lower_text, flat.upper_text) == ("", "0.40")  # zero is a natural boundary, not a limit
    assert (cards[501].setup, cards[501].setup_label, cards[501].paired_with) == (
        "free",
        "free",
        "head_angle_before",
    )
    assert (cards[111].notation, cards[511].limits_text) == ("ISO 2768-m", "conforms")
    assert [card.position for card in cards.values()] == list(range(1, 165))


def test_reads_a_frozen_revision_once_and_a_draft_each_time(cast, proof_of, fixed_now, django_assert_num_queries):
    frozen = released(cast, proof_of, fixed_now, PLAIN)
    queries.checkpoints_of(frozen.id)
    with django_assert_num_queries(1):
        assert queries.checkpoints_of(frozen.id)[0].key == "head_angle"
    open_one = draft(cast, fixed_now, PLAIN, letter="B")
    with django_assert_num_queries(7):
        queries.checkpoints_of(open_one.id)


def test_a_list_that_was_given_can_be_changed_without_changing_the_next(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now, PLAIN)
    queries.checkpoints_of(card.id).clear()
    assert len(queries.checkpoints_of(card.id)) == 1


def test_lists_families_with_what_is_released_coming_and_past(cast, proof_of, fixed_now, django_assert_max_num_queries):
    FamilyFactory(code="FK-30", name="girder fork")
    released(cast, proof_of, fixed_now, PLAIN)
    second = released(cast, proof_of, fixed_now, PLAIN, letter="B")
    in_review(cast, fixed_now, PLAIN, letter="C")
    draft(cast, fixed_now, PLAIN, letter="D")
    with django_assert_max_num_queries(4):
        fork, frame = queries.families_with_plans()
    assert (fork.family_code, fork.released, fork.coming, fork.past) == ("FK-30", None, (), ())
    assert frame.released.uuid == second.uuid
    assert [card.letter for card in frame.coming] == ["D", "C"]
    assert [card.letter for card in frame.past] == ["A"]


def test_finds_a_revision_by_uuid_key_and_letter_and_no_other(cast, fixed_now):
    card = draft(cast, fixed_now, PLAIN)
    assert queries.revision_card(card.uuid) == queries.revision_by_id(card.id) == queries.revision_of("fr-200", "A")
    assert queries.revision_card(str(card.uuid)).subject == "plan FR-200 A"
    for search in (
        lambda: queries.revision_card("not a uuid"),
        lambda: queries.revision_by_id(0),
        lambda: queries.revision_of("FR-200", "Z\0"),
    ):
        with pytest.raises(NotFound) as caught:
            search()
        assert caught.value.code == "revision_unknown"
    for search in (queries.released_revision, queries.released_card):
        with pytest.raises(NotFound) as caught:
            search("FR-200")
        assert caught.value.code == "no_released_plan"


def test_proposes_the_next_letter_and_leaves_out_those_that_are_misread(cast, fixed_now):
    FamilyFactory()
    assert queries.next_letter("FR-200") == "A"
    for letter, expected in {"A": "B", "H": "J", "N": "P", "Z": "AA", "AA": "AB"}.items():
        draft(cast, fixed_now, PLAIN, letter=letter)
        assert queries.next_letter("FR-200") == expected


def test_a_revision_is_held_against_the_one_released_before_it(cast, proof_of, fixed_now):
    first = released(cast, proof_of, fixed_now, PLAIN)
    assert queries.previous_of(first.id) is None
    other_draft = draft(cast, fixed_now, PLAIN, letter="B")
    second = released(cast, proof_of, fixed_now, PLAIN, letter="C")
    third = released(cast, proof_of, fixed_now, PLAIN, letter="D")
    found = {card.letter: queries.previous_of(card.id).letter for card in (other_draft, second, third)}
    assert found == {"B": "D", "C": "A", "D": "C"}
    assert queries.previous_of(0) is None


def test_says_which_steps_are_possible(cast, fixed_now):
    card = draft(cast, fixed_now, PLAIN)
    assert queries.possible_moves(card.id) == ["send_for_review", "discard"]
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    assert queries.possible_moves(card.id) == ["return", "approve", "release"]


def test_advises_a_second_inspection_and_a_gauge_without_standing_against_a_release(cast, proof_of, fixed_now):
    text = plan_text({"gauge_kinds": None}, attribute(102, criticality="critical", second_inspection="yes"))
    card = released(cast, proof_of, fixed_now, text)
    found = queries.findings_before_release(card, queries.checkpoints_of(card.id), fixed_now)
    assert [(finding.code, finding.number) for finding in found] == [
        ("critical_without_second", 101), ("measured_without_gauge", 101),
    ]  # fmt: skip


def test_the_frame_plan_has_things_to_look_at_before_release(cast, fixed_now):
    card = draft(cast, fixed_now, FR200.read_bytes())
    found = queries.findings_before_release(card, queries.checkpoints_of(card.id), fixed_now)
    assert found
    assert queries.review_of(card, fixed_now).findings == tuple(found)


def test_holds_a_plan_in_review_against_the_gauges_at_hand_and_the_sites_own_ratio(cast, fixed_now, settings):
    """A band of 0.15 each side and U = 0.05 is 3 : 1; where the site asks for 3 that is enough."""
    card = draft(cast, fixed_now, plan_text({"second_inspection": "yes"}))
    angle = GaugeFactory(number="AN-07", kind__key="angle_gauge", unit_of_measure="°")
    CalibrationFactory(gauge=angle, expanded_uncertainty="0.05")
    (finding,) = queries.findings_before_release(card, queries.checkpoints_of(card.id), fixed_now)
    assert (finding.code, finding.severity, finding.key) == ("ratio_too_small", "advice", "head_angle")
    assert "3.0 : 1 with AN-07; 4 : 1 is asked. Find a better gauge or method." in finding.message
    settings.QCAPP_UNCERTAINTY_RATIO = 3
    assert queries.review_of(card, fixed_now).findings == ()
