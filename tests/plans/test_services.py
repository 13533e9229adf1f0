"""A plan's way from draft to released, and who may take which step."""

from __future__ import annotations

import json
from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.db import connection

from qcapp.audit.models import Payload
from qcapp.audit.queries import entries_about
from qcapp.core.errors import QcError
from qcapp.people.models import Signature
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof
from qcapp.plans import queries, services
from qcapp.plans.models import RevisionStatus
from tests.cast import FIXED_NOW, Cast
from tests.factories.people import PersonFactory
from tests.factories.plans import attribute, draft, in_review, plan_text, released
from tests.unchanged import refused

ROOMS = ("plans", "people.Signature")
MAJOR = {"criticality": "major"}
PLAIN = plan_text(MAJOR)  # nothing critical: the engineer is not needed


def release(proof, card, at=FIXED_NOW):
    return services.release(proof=proof, revision_uuid=card.uuid, at=at)


def approve(proof, card, at=FIXED_NOW):
    return services.approve(proof=proof, revision_uuid=card.uuid, at=at)


def kinds(card):
    return [event.kind for event in reversed(queries.events_of(card.id))]


# --- the whole way -----------------------------------------------------------------------------------------


def test_goes_from_draft_over_review_and_approval_to_released(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now)
    assert (card.state, card.released_at) == ("released", fixed_now)
    assert kinds(card) == ["import", "send_for_review", "approve", "release"]
    assert queries.released_revision("FR-200") == card
    signed = [(signature.person, signature.role) for signature in Signature.objects.order_by("id")]
    assert signed == [(cast.engineer, "engineer"), (cast.second_quality_manager, "quality_manager")]
    assert len({signature.covers for signature in Signature.objects.all()}) == 2


def test_every_event_names_the_same_content(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now)
    assert {event.content_digest for event in queries.events_of(card.id)} == {queries.content_digest(card.id)}


def test_the_audit_entry_of_a_release_holds_the_difference(cast, proof_of, fixed_now):
    released(cast, proof_of, fixed_now, plan_text({}, attribute(102)))
    released(cast, proof_of, fixed_now, plan_text({"limits": "±0.10"}, attribute(103)), letter="B")
    assert entries_about("plan FR-200 B")[0].verb == "plan.released"
    payload = json.loads(Payload.objects.order_by("-id").first().body)
    assert (payload["supersedes"], payload["compared_with"]) == ("A", "A")
    assert [(one["change"], one["number"]) for one in payload["differences"]] == [
        ("changed", 101), ("added", 103), ("removed", 102),
    ]  # fmt: skip


def test_supersedes_the_revision_released_before(cast, proof_of, fixed_now):
    first = released(cast, proof_of, fixed_now, PLAIN)
    second = released(cast, proof_of, fixed_now, PLAIN, letter="B")
    assert queries.released_revision("FR-200").letter == "B"
    assert queries.revision_by_id(first.id).state == "superseded"
    assert kinds(first)[-1] == "supersede"
    assert queries.previous_of(second.id).letter == "A"


def test_goes_back_to_draft_and_loses_its_approval(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, plan_text())
    approve(proof_of(cast.engineer), card)
    back = services.return_to_draft(by=cast.engineer, revision_uuid=card.uuid, reason="wrong datum", at=fixed_now)
    assert (back.state, queries.events_of(card.id)[0].reason) == ("draft", "wrong datum")
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    assert queries.approval_of(card.id) is None
    with refused("engineer_missing", *ROOMS):
        release(proof_of(cast.second_quality_manager), card)


def test_withdraws_a_released_revision_so_that_no_unit_is_opened_with_it(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now, PLAIN)
    services.withdraw(
        proof=proof_of(cast.quality_manager), revision_uuid=card.uuid, reason="wrong drawing", at=fixed_now
    )
    assert queries.revision_by_id(card.id).state == "withdrawn"
    with refused("no_released_plan", *ROOMS):
        queries.released_revision("FR-200")
    assert entries_about("plan FR-200 A")[0].verb == "plan.withdrawn"


# --- who may -----------------------------------------------------------------------------------------------


def test_refuses_a_release_by_the_author(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, PLAIN)
    with refused("released_by_author", *ROOMS):
        release(proof_of(cast.quality_manager), card)


def test_refuses_one_person_for_approval_and_release(cast, proof_of, fixed_now):
    both = PersonFactory(roles=[Role.ENGINEER, Role.QUALITY_MANAGER])
    card = in_review(cast, fixed_now, plan_text())
    approve(proof_of(both), card)
    with refused("one_person_twice", *ROOMS):
        release(proof_of(both), card)
    assert release(proof_of(cast.second_quality_manager), card).state == "released"


def test_a_deputy_of_the_quality_manager_releases_and_the_signature_says_so(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, PLAIN)
    release(proof_of(cast.deputy), card)
    assert Signature.objects.get().deputy_for == cast.quality_manager


@pytest.mark.parametrize("who", ["inspector", "engineer", "keeper", "customer_service"])
def test_refuses_a_release_or_withdrawal_by_who_may_not(cast, proof_of, fixed_now, who):
    person = getattr(cast, who)
    card = in_review(cast, fixed_now, PLAIN)
    with refused("not_permitted", *ROOMS):
        release(proof_of(person), card)
    with refused("not_permitted", *ROOMS):
        services.withdraw(proof=proof_of(person), revision_uuid=card.uuid, reason="no", at=fixed_now)


def test_refuses_approval_and_sending_by_who_may_not(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, plan_text())
    with refused("not_permitted", *ROOMS):
        approve(proof_of(cast.quality_manager), card)
    with refused("not_permitted", *ROOMS):
        services.send_for_review(by=cast.inspector, revision_uuid=card.uuid, at=fixed_now)
    with refused("not_permitted", *ROOMS):
        services.return_to_draft(by=cast.inspector, revision_uuid=card.uuid, reason="no", at=fixed_now)


# --- when --------------------------------------------------------------------------------------------------


def test_refuses_steps_that_the_state_does_not_permit(cast, proof_of, fixed_now):
    card = draft(cast, fixed_now, plan_text())
    manager, engineer = proof_of(cast.second_quality_manager), proof_of(cast.engineer)
    with refused("transition_not_allowed", *ROOMS):
        release(manager, card)
    with refused("transition_not_allowed", *ROOMS):
        approve(engineer, card)
    with refused("transition_not_allowed", *ROOMS):
        services.return_to_draft(by=cast.quality_manager, revision_uuid=card.uuid, reason="no", at=fixed_now)
    with refused("transition_not_allowed", *ROOMS):
        services.withdraw(proof=manager, revision_uuid=card.uuid, reason="no", at=fixed_now)
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    with refused("transition_not_allowed", *ROOMS):
        services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)


def test_a_released_revision_is_never_released_returned_or_approved_again(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now, plan_text())
    with refused("transition_not_allowed", *ROOMS):
        release(proof_of(cast.second_quality_manager), card)
    with refused("transition_not_allowed", *ROOMS):
        approve(proof_of(cast.engineer), card)
    with refused("transition_not_allowed", *ROOMS):
        services.return_to_draft(by=cast.quality_manager, revision_uuid=card.uuid, reason="no", at=fixed_now)


def test_refuses_reasons_that_are_missing_and_revisions_that_are_not_there(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, PLAIN)
    manager = proof_of(cast.second_quality_manager)
    with refused("text_missing", *ROOMS):
        services.return_to_draft(by=cast.quality_manager, revision_uuid=card.uuid, reason=" ", at=fixed_now)
    with refused("text_missing", *ROOMS):
        services.withdraw(proof=manager, revision_uuid=card.uuid, reason="", at=fixed_now)
    with refused("revision_unknown", *ROOMS):
        services.release(proof=manager, revision_uuid=uuid4(), at=fixed_now)


# --- the engineer ------------------------------------------------------------------------------------------


def test_the_engineer_is_needed_for_every_critical_checkpoint_of_a_first_plan(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, plan_text({}, attribute(102)))
    assert queries.needs_engineer(card.id) == [101]
    with refused("engineer_missing", *ROOMS) as caught:
        release(proof_of(cast.second_quality_manager), card)
    assert caught.value.details["numbers"] == [101]


@pytest.mark.parametrize(
    ("rows", "numbers"),
    [
        ([{}, attribute(102)], []),
        ([{"title": "Angle of the head", "instruction": "slowly", "caution": "hot"}, attribute(102)], []),
        ([{}, attribute(102, method="lens")], []),
        ([{}, attribute(102), attribute(103)], []),
        ([{"limits": "±0.10"}, attribute(102)], [101]),
        ([{"nominal": "62.5"}, attribute(102)], [101]),
        ([{"guard": "0.02"}, attribute(102)], [101]),
        ([{"method": "by eye"}, attribute(102)], [101]),
        ([{"setup": "free"}, attribute(102)], [101]),
        ([{"gauge_kinds": "portable_arm"}, attribute(102)], [101]),
        ([{"readings": "3"}, attribute(102)], [101]),
        ([{"second_inspection": "yes"}, attribute(102)], [101]),
        ([{"criticality": "major"}, attribute(102)], [101]),
        ([{}, attribute(102, criticality="critical")], [102]),
        ([{}, attribute(102), attribute(103, criticality="critical")], [103]),
        ([attribute(102)], [101]),
    ],
)
def test_the_engineer_is_needed_where_limits_or_method_of_a_critical_checkpoint_change(
    cast, proof_of, fixed_now, rows, numbers
):
    released(cast, proof_of, fixed_now, plan_text({}, attribute(102)))
    card = in_review(cast, fixed_now, plan_text(*rows), letter="B")
    assert queries.needs_engineer(card.id) == numbers
    assert list(queries.review_of(card, fixed_now).needs_engineer) == numbers


def test_refuses_an_approval_that_is_not_needed_or_given_already(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, PLAIN)
    engineer = proof_of(cast.engineer)
    with refused("nothing_to_approve", *ROOMS):
        approve(engineer, card)
    other = in_review(cast, fixed_now, plan_text(), letter="B")
    approve(engineer, other)
    with refused("approved_already", *ROOMS):
        approve(engineer, other)


def test_the_engineer_may_write_the_plan_and_approve_it_but_another_releases(cast, proof_of, fixed_now):
    card = draft(cast, fixed_now, plan_text(), by=cast.engineer)
    services.send_for_review(by=cast.engineer, revision_uuid=card.uuid, at=fixed_now)
    approve(proof_of(cast.engineer), card)
    assert release(proof_of(cast.quality_manager), card).state == "released"


def test_what_was_withdrawn_does_not_stand_in_for_the_engineers_approval(cast, proof_of, fixed_now):
    first = released(cast, proof_of, fixed_now, plan_text())
    services.withdraw(
        proof=proof_of(cast.quality_manager), revision_uuid=first.uuid, reason="wrong angle", at=fixed_now
    )
    second = in_review(cast, fixed_now, plan_text(), letter="B")
    assert queries.previous_of(second.id) is None
    assert queries.needs_engineer(second.id) == [101]


def test_a_signature_under_many_checkpoints_still_has_a_meaning_that_fits(cast, proof_of, fixed_now):
    rows = [attribute(number, criticality="critical") for number in range(101, 200)]
    released(cast, proof_of, fixed_now, plan_text(*rows))
    meaning = Signature.objects.order_by("id").first().meaning
    assert len(meaning) <= 300
    assert "and more, 99 in all" in meaning


# --- two at once -------------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("same", [True, False], ids=["one revision", "two revisions"])
def test_of_two_releases_at_once_one_plan_is_released(same):
    cast = Cast()
    cards = [in_review(cast, FIXED_NOW, PLAIN, letter) for letter in ("A", "B")]
    proof = demonstration_proof(cast.second_quality_manager, FIXED_NOW)
    start, answers = Barrier(2), []

    def give(card) -> None:
        start.wait()
        try:
            answers.append(release(proof, card).state)
        except QcError as error:
            answers.append(error.code)
        finally:
            connection.close()

    threads = [Thread(target=give, args=(card,)) for card in ([cards[0]] * 2 if same else cards)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    expected = ["released", "transition_not_allowed"] if same else ["released", "released"]
    assert sorted(answers) == expected
    assert RevisionStatus.objects.filter(state="released").count() == 1
    assert len(Signature.objects.all()) == (1 if same else 2)
