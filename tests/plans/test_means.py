"""The mean of several readings counts only by the engineer's signed choice, at any checkpoint."""

from __future__ import annotations

import pytest

from qcapp.people.models import Signature
from qcapp.plans import queries, services
from tests.factories.plans import attribute, draft, in_review, numbered, plan_text, released
from tests.unchanged import refused

MINOR = {"criticality": "minor", "readings": "3", "unit_of_measure": "mm", "nominal": "25", "limits": "H7"}
EACH, MEAN = MINOR, MINOR | {"mean": "yes"}
ROOMS = ("plans", "people.Signature")


@pytest.fixture
def before(cast, proof_of, fixed_now):
    """Revision A, in which readings count one by one."""
    return released(cast, proof_of, fixed_now, plan_text(EACH))


def test_needs_the_engineer_for_a_mean_at_a_minor_checkpoint(cast, proof_of, fixed_now, before):
    assert queries.needs_engineer(before.id) == []
    card = in_review(cast, fixed_now, plan_text(MEAN), "B")
    assert queries.needs_engineer(card.id) == [101]
    assert queries.review_of(card, fixed_now).means == (101,)
    proof = proof_of(cast.second_quality_manager, fixed_now)
    with refused("engineer_missing", *ROOMS):
        services.release(proof=proof, revision_uuid=card.uuid, at=fixed_now)


def test_the_engineer_signs_that_the_mean_counts(cast, proof_of, fixed_now, before):
    card = in_review(cast, fixed_now, plan_text(MEAN, numbered(102)), "B")
    services.approve(proof=proof_of(cast.engineer, fixed_now), revision_uuid=card.uuid, at=fixed_now)
    assert Signature.objects.latest("id").meaning == (
        "I approve limits and methods of the critical checkpoints 102, and that the mean of the readings counts at 101."
    )
    release = proof_of(cast.second_quality_manager, fixed_now)
    assert services.release(proof=release, revision_uuid=card.uuid, at=fixed_now).state == "released"


@pytest.mark.parametrize("change", [{"mean": None}, {"readings": "5"}])
def test_needs_the_engineer_when_a_mean_ceases_or_is_of_another_number(cast, proof_of, fixed_now, change):
    released(cast, proof_of, fixed_now, plan_text(MEAN))
    assert queries.needs_engineer(draft(cast, fixed_now, plan_text(MEAN | change), letter="B").id) == [101]


def test_needs_nobody_for_a_mean_that_was_signed_for_before(cast, proof_of, fixed_now):
    released(cast, proof_of, fixed_now, plan_text(MEAN))
    assert queries.needs_engineer(draft(cast, fixed_now, plan_text(MEAN, attribute(102)), letter="B").id) == []


def test_the_comparison_names_mean_and_temperature(cast, fixed_now):
    old = draft(cast, fixed_now, plan_text(EACH))
    new = draft(cast, fixed_now, plan_text(MEAN | {"temperature": "corrected 11,5"}), letter="B")
    (difference,) = queries.differences(old.id, new.id)
    changed = {one.field: (one.before, one.after) for one in difference.fields}
    assert changed == {"mean": ("", "counts"), "part temperature": ("", "corrected 11.5")}


def test_a_change_of_the_part_temperature_at_a_critical_checkpoint_is_one_of_method(cast, proof_of, fixed_now):
    critical = {"unit_of_measure": "mm"}
    released(cast, proof_of, fixed_now, plan_text(critical))
    changed = draft(cast, fixed_now, plan_text(critical | {"temperature": "asked"}), letter="B")
    assert queries.needs_engineer(changed.id) == [101]


def test_a_file_gives_mean_and_temperature_back_as_they_were(cast, fixed_now):
    card = draft(cast, fixed_now, plan_text(MEAN | {"temperature": "corrected 11.5 to 23"}))
    (cells,) = services.export_cells(card.id)
    assert (cells["mean"], cells["temperature"], cells["readings"]) == ("yes", "corrected 11.5 to 23", "3")
    again = draft(cast, fixed_now, services.export_plan(card.id), letter="B")
    assert queries.content_digest(again.id) == queries.content_digest(card.id)
