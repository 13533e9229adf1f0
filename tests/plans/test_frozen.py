"""A released revision cannot change, not in the database either; what got past the guards is found."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection, transaction

from qcapp.lib.guards import lifted
from qcapp.plans import queries, services
from qcapp.plans.models import Checkpoint, Draft, Stage
from tests.factories.plans import draft, in_review, plan_text, released
from tests.unchanged import refused, rows_of

WORDS = {"drawing": "AQ-1", "drawing_revision": "C"}
TABLES = ("plans_stage", "plans_document", "plans_checkpoint")
STATEMENTS = [
    "UPDATE plans_checkpoint SET specified = '{}'",
    "UPDATE plans_checkpoint SET criticality = 'minor'",
    "UPDATE plans_stage SET hold_point = NOT hold_point",
    "UPDATE plans_document SET document_revision = 'Z'",
    "DELETE FROM plans_checkpoint",
    "INSERT INTO plans_document (revision_id, kind, number, document_revision) "
    "SELECT revision_id, kind, 'AQ-2', document_revision FROM plans_document",
    "INSERT INTO plans_stage (revision_id, number, name, hold_point, witness_point) "
    "SELECT revision_id, 99, name, hold_point, witness_point FROM plans_stage",
    "UPDATE plans_planrevision SET letter = 'Z'",
    "UPDATE plans_planrevision SET author_id = author_id + 1",
    "DELETE FROM plans_revisionevent",
    "UPDATE plans_revisionevent SET content_digest = ''",
    "UPDATE plans_characteristic SET number = number + 1",
]


def run(statement: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.mark.parametrize("statement", STATEMENTS)
def test_refuses_raw_sql_on_a_released_revision(cast, proof_of, fixed_now, statement):
    released(cast, proof_of, fixed_now, plan_text(WORDS))
    before = rows_of("plans")
    with pytest.raises(IntegrityError, match=r"is frozen|is write-once"):
        run(statement)
    assert rows_of("plans") == before


def test_stays_frozen_after_it_is_superseded_and_withdrawn(cast, proof_of, fixed_now):
    first = released(cast, proof_of, fixed_now, plan_text(WORDS))
    released(cast, proof_of, fixed_now, plan_text(WORDS), letter="B")
    services.withdraw(
        proof=proof_of(cast.quality_manager), revision_uuid=first.uuid, reason="wrong drawing", at=fixed_now
    )
    with pytest.raises(IntegrityError, match="is frozen"):
        Checkpoint.objects.filter(revision=first.id).update(title="Other")


def test_refuses_a_change_through_the_models(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now, plan_text(WORDS))
    stage = Stage.objects.get(revision=card.id)
    stage.name = "Other"
    with pytest.raises(IntegrityError), transaction.atomic():
        stage.save()
    with pytest.raises(IntegrityError), transaction.atomic():
        Checkpoint.objects.filter(revision=card.id).update(title="Other")


def test_a_draft_has_no_tables_yet(cast, fixed_now):
    card = draft(cast, fixed_now, plan_text(WORDS))
    tables = ("plans.Stage", "plans.Checkpoint", "plans.Characteristic", "plans.Document")
    assert {name: rows_of(name)[name] for name in tables} == {name: [] for name in tables}
    assert queries.stages_of(card.id)[0].name == "Alignment"


def test_nothing_is_left_of_the_draft_after_its_release(cast, proof_of, fixed_now):
    card = released(cast, proof_of, fixed_now, plan_text(WORDS))
    assert not Draft.objects.exists()
    assert queries.verify_content(card.id) == queries.events_of(card.id)[0].content_digest


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE plans_checkpoint SET title = 'Other'",
        "UPDATE plans_checkpoint SET gauge_kinds = '[]'",
        "UPDATE plans_stage SET hold_point = NOT hold_point",
        "UPDATE plans_document SET document_revision = 'Z'",
        "DELETE FROM plans_checkpoint",
    ],
)
def test_a_plan_changed_past_the_guards_is_not_adopted(cast, proof_of, fixed_now, statement):
    released(cast, proof_of, fixed_now, plan_text(WORDS))
    with lifted("a test of what the digest finds", TABLES):
        run(statement)
    with refused("content_altered", "plans"):
        queries.released_revision("FR-200")


def test_a_draft_changed_past_the_services_goes_no_further(cast, fixed_now):
    card = draft(cast, fixed_now, plan_text(WORDS))
    run("UPDATE plans_draft SET rows = replace(rows, 'Head angle', 'Other')")
    with refused("content_altered", "plans", "people.Signature"):
        services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)


def test_a_plan_changed_in_review_is_neither_approved_nor_released(cast, proof_of, fixed_now):
    card = in_review(cast, fixed_now, plan_text(WORDS))
    manager, engineer = proof_of(cast.second_quality_manager), proof_of(cast.engineer)
    run("UPDATE plans_draft SET rows = replace(rows, 'Head angle', 'Other')")
    with refused("content_altered", "plans", "people.Signature"):
        services.approve(proof=engineer, revision_uuid=card.uuid, at=fixed_now)
    with refused("content_altered", "plans", "people.Signature"):
        services.release(proof=manager, revision_uuid=card.uuid, at=fixed_now)
    with refused("content_altered", "plans", "people.Signature"):
        services.return_to_draft(by=cast.quality_manager, revision_uuid=card.uuid, reason="x", at=fixed_now)
