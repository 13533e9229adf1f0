"""From when on a released revision is effective: at once, from a day, or from a running number of the serial."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from qcapp.plans import services
from qcapp.plans.models import Effectivity
from qcapp.plans.queries.effective import effective_from, effective_revision
from tests.factories.plans import plan_text, released
from tests.unchanged import refused

pytestmark = pytest.mark.django_db


def second(cast, proof_of, at, **effective):
    """Revision A released at once, revision B with another title, effective as told."""
    first = released(cast, proof_of, at, plan_text())
    card = services.revise(by=cast.quality_manager, revision_uuid=first.uuid, at=at, change_note="Title.")
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=at)
    proof = proof_of(cast.second_quality_manager)
    return services.release(proof=proof, revision_uuid=card.uuid, at=at, **effective)


def letter(number, at):
    return effective_revision("FR-200", number, at).letter


def test_is_effective_at_once_unless_told_otherwise(cast, proof_of, fixed_now):
    card = second(cast, proof_of, fixed_now)
    assert letter(1, fixed_now) == "B"
    assert effective_from(card.id) == ""


def test_is_effective_from_a_day_on(cast, proof_of, fixed_now):
    card = second(cast, proof_of, fixed_now, from_day=date(2026, 4, 1))
    assert letter(1, fixed_now) == "A"
    assert letter(1, fixed_now + timedelta(days=20)) == "B"
    assert effective_from(card.id) == "units opened from 2026-04-01"


def test_is_effective_from_a_running_number_on(cast, proof_of, fixed_now):
    second(cast, proof_of, fixed_now, from_number=200)
    assert [letter(number, fixed_now) for number in (199, 200)] == ["A", "B"]


def test_refuses_a_day_that_has_passed(cast, proof_of, fixed_now):
    first = released(cast, proof_of, fixed_now, plan_text())
    card = services.revise(by=cast.quality_manager, revision_uuid=first.uuid, at=fixed_now, change_note="Title.")
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    proof = proof_of(cast.second_quality_manager)
    with refused("effective_in_the_past", "plans", "people.Signature"):
        services.release(proof=proof, revision_uuid=card.uuid, at=fixed_now, from_day=date(2026, 3, 1))
    assert not Effectivity.objects.exists()
