"""The next draft from any revision, and a draft that is discarded without using anything up."""

from __future__ import annotations

from uuid import uuid4

import pytest

from qcapp.audit.queries import entries_about
from qcapp.plans import queries, services
from qcapp.plans.models import Characteristic, DraftStep
from qcapp.plans.services import editing
from tests.factories.plans import attribute, draft, in_review, numbered, plan_text, released
from tests.unchanged import refused

PLAIN = plan_text({"criticality": "major"}, attribute(102))


def revise(card, by, at, **values):
    return services.revise(by=by, revision_uuid=card.uuid, at=at, **{"change_note": "next"} | values)


def test_revises_a_released_revision_to_the_same_content(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now)
    new = revise(card, cast.quality_manager, fixed_now, change_note="air gauge")
    assert (new.letter, new.state, new.change_note, new.checkpoint_count) == ("B", "draft", "air gauge", 164)
    assert queries.content_digest(new.id) == queries.content_digest(card.id)
    assert queries.differences(card.id, new.id) == []
    assert [event.kind for event in queries.events_of(new.id)] == ["revise"]
    assert entries_about("plan FR-200 B")[0].verb == "plan.revised"
    assert queries.released_card("FR-200").letter == "A"


@pytest.mark.parametrize("state", ["draft", "in_review", "superseded", "withdrawn"])
def test_revises_a_revision_in_any_state(cast, proof_of, fixed_now, state):
    if state == "draft":
        card = draft(cast, fixed_now, PLAIN)
    elif state == "in_review":
        card = in_review(cast, fixed_now, PLAIN)
    else:
        card = released(cast, proof_of, fixed_now, PLAIN)
    if state == "superseded":
        released(cast, proof_of, fixed_now, PLAIN, letter="B")
    if state == "withdrawn":
        proof = proof_of(cast.quality_manager)
        services.withdraw(proof=proof, revision_uuid=card.uuid, reason="wrong", at=fixed_now)
    new = revise(card, cast.engineer, fixed_now)
    assert (new.state, new.author_name) == ("draft", cast.engineer.name)
    assert queries.content_digest(new.id) == queries.content_digest(card.id)


def test_refuses_a_revision_by_who_may_not_write_plans_and_of_what_is_not_there(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now, PLAIN)
    with refused("not_permitted", "plans"):
        revise(card, cast.inspector, fixed_now)
    with refused("revision_unknown", "plans"):
        services.revise(by=cast.quality_manager, revision_uuid=uuid4(), at=fixed_now)
    with refused("text_too_long", "plans"):
        revise(card, cast.quality_manager, fixed_now, change_note="x" * 301)


def test_who_changed_a_draft_cannot_release_it(cast, proof_of, fixed_now):
    card = draft(cast, fixed_now, PLAIN)
    editing.set_cell(
        by=cast.second_quality_manager, revision_uuid=card.uuid, row_id=1, column="title", text="Angle",
        was="Head angle", at=fixed_now,
    )  # fmt: skip
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    with refused("released_by_author", "plans", "people.Signature"):
        services.release(proof=proof_of(cast.second_quality_manager), revision_uuid=card.uuid, at=fixed_now)
    assert services.release(proof=proof_of(cast.deputy), revision_uuid=card.uuid, at=fixed_now).state == "released"


# --- discarding --------------------------------------------------------------------------------------------


def discard(card, by, at, reason="began anew"):
    return services.discard(by=by, revision_uuid=card.uuid, reason=reason, at=at)


def test_a_discarded_draft_frees_its_letter_its_numbers_and_its_keys(cast, proof_of, fixed_now):
    released(cast, proof_of, fixed_now, PLAIN)
    card = draft(cast, fixed_now, plan_text({"criticality": "major"}, numbered(150, key="trail")), letter="B")
    gone = discard(card, cast.quality_manager, fixed_now)
    assert (gone.state, queries.events_of(gone.id)[0].reason) == ("discarded", "began anew")
    assert entries_about("plan FR-200 B")[0].verb == "plan.discarded"
    assert queries.next_letter("FR-200") == "B"
    again = draft(cast, fixed_now, plan_text({"criticality": "major"}, numbered(150, key="rake")), letter="B")
    assert queries.revision_of("FR-200", "B") == again
    assert not Characteristic.objects.filter(number=150).exists()
    assert [one.letter for family in queries.families_with_plans() for one in family.coming] == ["B"]


def test_the_rows_of_a_discarded_draft_can_still_be_read_and_its_steps_are_gone(cast, fixed_now):
    card = draft(cast, fixed_now, PLAIN)
    editing.delete_rows(by=cast.quality_manager, revision_uuid=card.uuid, ids=[2], at=fixed_now)
    discard(card, cast.quality_manager, fixed_now)
    assert [one.key for one in queries.checkpoints_of(card.id)] == ["head_angle"]
    assert not DraftStep.objects.exists()
    with refused("not_a_draft", "plans"):
        editing.undo(by=cast.quality_manager, revision_uuid=card.uuid, version=2, at=fixed_now)


def test_the_author_and_the_quality_manager_discard_and_nobody_else(cast, fixed_now):
    managers = draft(cast, fixed_now, PLAIN)
    with refused("discard_by_another", "plans"):
        discard(managers, cast.engineer, fixed_now)
    with refused("not_permitted", "plans"):
        discard(managers, cast.inspector, fixed_now)
    assert discard(managers, cast.second_quality_manager, fixed_now).state == "discarded"
    engineers = draft(cast, fixed_now, PLAIN, by=cast.engineer)
    assert discard(engineers, cast.engineer, fixed_now).state == "discarded"


def test_refuses_to_discard_what_is_no_draft_and_without_a_reason(cast, proof_of, fixed_now):
    card = draft(cast, fixed_now, PLAIN)
    with refused("text_missing", "plans"):
        discard(card, cast.quality_manager, fixed_now, reason=" ")
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    with refused("transition_not_allowed", "plans"):
        discard(card, cast.quality_manager, fixed_now)
    done = released(cast, proof_of, fixed_now, PLAIN, letter="B")
    with refused("transition_not_allowed", "plans"):
        discard(done, cast.quality_manager, fixed_now)


def test_formulas_are_held_to_their_units_of_measure(cast, fixed_now):
    length = numbered(102, unit_of_measure="mm", nominal="10", limits="±1")
    mixed = numbered(
        103, kind="derived", formula="head_angle + checkpoint_102", nominal="0", limits="±1", gauge_kinds=None
    )
    with refused("plan_file_has_errors", "plans") as caught:
        draft(cast, fixed_now, plan_text({}, length, mixed))
    assert [(finding["column"], finding["code"]) for finding in caught.value.findings] == [("formula", "unit_mismatch")]
