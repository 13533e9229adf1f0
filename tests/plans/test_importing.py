"""A plan file becomes a draft, all of it or nothing, and goes out again as the same file."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import IntegrityError
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Problems
from qcapp.plans import queries, services
from qcapp.plans.cards import RevisionCard
from qcapp.plans.models import Characteristic, PlanRevision, RevisionStatus
from qcapp.plans.plan_file import COLUMNS
from qcapp.plans.plan_rules import Numbering, read_plan
from qcapp.plans.queries import drafts
from tests.factories.gauges import every_gauge_kind
from tests.factories.plans import FR200, attribute, draft, in_review, numbered, plan_text, released
from tests.factories.production import FamilyFactory
from tests.plans.test_plan_rows import GAUGE_KINDS
from tests.unchanged import refused


def test_imports_the_frame_plan_as_a_draft(cast, fixed_now, django_assert_max_num_queries):
    FamilyFactory()
    every_gauge_kind()
    values = {"by": cast.quality_manager, "family_code": "FR-200", "letter": "D", "filename": "FR-200.csv"}
    with django_assert_max_num_queries(35):
        card = services.import_plan(text_or_bytes=FR200.read_bytes(), change_note="first issue", at=fixed_now, **values)
    assert (card.state, card.letter, card.checkpoint_count) == ("draft", "D", 164)
    assert [(stage.name, stage.hold_point) for stage in card.stages][:2] == [
        ("Tube kit", False),
        ("Tack-up", True),
    ]
    assert (card.author_name, card.change_note) == (cast.quality_manager.name, "first issue")
    assert [event.kind for event in queries.events_of(card.id)] == ["import"]
    assert [entry.verb for entry in entries_about("plan FR-200 D")] == ["plan.imported"]


def test_keeps_number_and_identity_of_a_checkpoint_over_revisions(cast, proof_of, fixed_now):
    first = released(cast, proof_of, fixed_now, plan_text({}, attribute(102)))
    second = released(cast, proof_of, fixed_now, plan_text({}, attribute(103)), letter="B")
    identities = [
        {card.key: card.characteristic_id for card in queries.checkpoints_of(revision.id)}
        for revision in (first, second)
    ]
    assert identities[0]["head_angle"] == identities[1]["head_angle"]
    assert queries.numbers_given(first.family_id) == {
        101: "head_angle", 102: "checkpoint_102", 103: "checkpoint_103",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"text": plan_text({"nominal": "x"})}, "plan_file_has_errors"),
        ({"text": b"PK\x03\x04"}, "plan_file_has_errors"),
        ({"letter": "d"}, "letter_unreadable"),
        ({"letter": "ABC"}, "letter_unreadable"),
        ({"letter": "A\0"}, "letter_unreadable"),
        ({"family_code": "ZZ-9"}, "family_unknown"),
        ({"change_note": "x" * 301}, "text_too_long"),
    ],
)
def test_imports_nothing_when_anything_is_wrong(cast, fixed_now, changes, code):
    FamilyFactory()
    every_gauge_kind()
    with refused(code, "plans"):
        draft(cast, fixed_now, **changes)


def test_refuses_a_letter_that_is_taken_and_names_the_next(cast, fixed_now):
    draft(cast, fixed_now, plan_text())
    with refused("letter_taken", "plans") as caught:
        draft(cast, fixed_now, plan_text())
    assert caught.value.details["free"] == "B"


def test_refuses_a_second_revision_that_does_not_say_what_it_changes(cast, proof_of, fixed_now):
    early = draft(cast, fixed_now, plan_text(), "B", change_note="")  # before anything was released
    released(cast, proof_of, fixed_now, plan_text())
    with refused("change_note_missing", "plans"):
        draft(cast, fixed_now, plan_text(), "C", change_note=" ")
    services.send_for_review(by=cast.quality_manager, revision_uuid=early.uuid, at=fixed_now)
    proof = proof_of(cast.second_quality_manager, fixed_now)
    with refused("change_note_missing", "plans"):
        services.release(proof=proof, revision_uuid=early.uuid, at=fixed_now)


def test_refuses_who_may_not_import(cast, fixed_now):
    FamilyFactory()
    every_gauge_kind()
    with refused("not_permitted", "plans"):
        draft(cast, fixed_now, by=cast.inspector)


def test_refuses_a_release_whose_numbers_another_release_gave_a_moment_ago(cast, proof_of, fixed_now, monkeypatch):
    """The table's constraint decides, when two releases read the numbers before either had written its own."""
    plain = {"criticality": "major"}
    second = in_review(cast, fixed_now, plan_text(plain | {"key": "tail_angle"}), letter="B")
    released(cast, proof_of, fixed_now, plan_text(plain))
    proof = proof_of(cast.second_quality_manager)
    with refused("draft_unfinished", "plans", "people.Signature"):
        services.release(proof=proof, revision_uuid=second.uuid, at=fixed_now)
    monkeypatch.setattr(drafts, "numbers_given", lambda family_id: {})
    with refused("numbers_given_meanwhile", "plans", "people.Signature"):
        services.release(proof=proof, revision_uuid=second.uuid, at=fixed_now)


def test_lists_every_finding_with_line_and_column_at_once(cast, fixed_now):
    FamilyFactory()
    every_gauge_kind()
    text = plan_text({"nominal": "x", "joint": "y"}, numbered(102, limits="?"), attribute(101))
    with pytest.raises(Problems) as caught:
        draft(cast, fixed_now, text)
    assert [(finding["line"], finding["column"]) for finding in caught.value.findings] == [
        (2, "joint"), (2, "nominal"), (3, "limits"), (4, "number"),
    ]  # fmt: skip
    assert "4 errors; nothing was imported" in caught.value.message


# --- out again ---------------------------------------------------------------------------------------------


def test_an_exported_plan_reads_back_to_the_same_content(cast, fixed_now):
    first = draft(cast, fixed_now)
    text = services.export_plan(first.id)
    second = draft(cast, fixed_now, text, letter="B")
    assert queries.content_digest(first.id) == queries.content_digest(second.id)
    assert services.export_plan(second.id) == text
    assert queries.differences(first.id, second.id) == []


def test_every_kind_and_way_of_writing_limits_survives_the_round_trip(cast, fixed_now):
    rows = [
        {},
        numbered(102, limits=None, lower="61.850", upper="62.1", guard="0.020", nominal=None, decimals=None),
        numbered(103, limits="flatness 0.4", nominal=None, unit_of_measure="mm"),
        numbered(104, limits="reference", nominal=None, criticality="minor", frequency="one in 7"),
        numbered(105, nominal="30", limits="g6", unit_of_measure="mm", decimals="3", readings="4"),
        attribute(106, limits="conforms", caution="hot", instruction='say "no", loudly'),
        attribute(107, kind="count", lower="2", upper="4", unit_of_measure="pores", joint="W3"),
        attribute(108, kind="record", form="serial FR-{number:4}", drawing="spec:A-1", drawing_revision="B"),
        numbered(109, kind="derived", nominal="0", limits="±1", formula="head_angle - checkpoint_102",
                 gauge_kinds=None, setup="free", stage_number="2", stage_name="Later", witness_point="yes"),
    ]  # fmt: skip
    first = draft(cast, fixed_now, plan_text(*rows))
    second = draft(cast, fixed_now, services.export_plan(first.id).encode("utf-16"), letter="B")
    assert queries.content_digest(first.id) == queries.content_digest(second.id)


def test_the_content_digest_sees_every_stored_column(cast, fixed_now):
    """Each row changes one column of the plan file; every one of them gives another digest."""
    changes = [
        {}, {"stage_name": "Other"}, {"stage_number": "2"}, {"hold_point": "yes"}, {"witness_point": "yes"},
        {"title": "Other"}, {"limits": "±0.16"}, {"nominal": "62.01"}, {"guard": "0.01"}, {"decimals": "3"},
        {"readings": "2"}, {"unit_of_measure": "mm"}, {"criticality": "major"}, {"method": "by eye"},
        {"setup": "free"}, {"gauge_kinds": "caliper"}, {"criticality": "major", "frequency": "1 in 5"},
        {"second_inspection": "yes"}, {"joint": "W1"}, {"drawing": "AQ-1", "drawing_revision": "B"},
        {"drawing": "AQ-1", "drawing_revision": "C"}, {"instruction": "slowly"}, {"caution": "hot"},
    ]  # fmt: skip
    letters = [a + b for a in "AB" for b in "ABCDEFGHJKLM"]
    cards = [
        draft(cast, fixed_now, plan_text(change), letter=letter)
        for change, letter in zip(changes, letters, strict=False)
    ]
    assert len({queries.content_digest(card.id) for card in cards}) == len(changes)


# --- anything at all ---------------------------------------------------------------------------------------

cells = st.one_of(
    st.sampled_from(["", "1", "62.00", "±0.15", "H7", "max 0.5", "mm", "°", "yes", "critical", "measured",
                     "derived", "record", "count", "head_angle", "head_angle - 1", "W1", "1 in 5", "\0"]),
    st.text(max_size=12),
)  # fmt: skip
rows = st.lists(st.dictionaries(st.sampled_from(COLUMNS), cells, max_size=8), max_size=4)
quick = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def card_or_problems(source: str | bytes) -> bool:
    """Reading never raises, and a plan without findings has checkpoints."""
    plan = read_plan(source, gauge_kinds=GAUGE_KINDS, numbering=Numbering({101: "head_angle"}))
    assert bool(plan.checkpoints) or bool(plan.findings)
    return not plan.findings


@quick
@given(st.one_of(st.text(), st.binary(), st.text().map(lambda text: plan_text() + text)))
def test_reads_any_text_or_bytes_without_failing(source):
    card_or_problems(source)


@quick
@given(rows)
def test_reads_any_cells_without_failing(changes):
    card_or_problems(plan_text(*({key: value or None for key, value in row.items()} for row in changes)))


def _outcome(importing: Callable[[], RevisionCard]) -> RevisionCard | Problems:
    """The card, or the problems; anything else that is raised fails the test."""
    try:
        return importing()
    except Problems as problems:
        return problems


@settings(quick, max_examples=25)
@given(rows)
def test_any_file_becomes_a_draft_or_problems(cast, fixed_now, changes):
    """Through the database too: what the reader lets through, the tables take."""
    FamilyFactory()
    every_gauge_kind()
    before = PlanRevision.objects.count(), Characteristic.objects.count()
    letter = queries.next_letter("FR-200")
    outcome = _outcome(lambda: draft(cast, fixed_now, plan_text(*changes), letter=letter))
    if isinstance(outcome, Problems):
        assert outcome.findings
        assert (PlanRevision.objects.count(), Characteristic.objects.count()) == before
    else:
        assert queries.verify_content(outcome.id)


def test_one_letter_belongs_to_one_revision_in_the_database_too(cast, fixed_now):
    card = draft(cast, fixed_now, plan_text())
    other = PlanRevision.objects.create(
        family_id=card.family_id, letter="A", author=cast.quality_manager, created_at=fixed_now
    )
    with pytest.raises(IntegrityError):
        RevisionStatus.objects.create(revision=other, family_id=card.family_id, letter="A", state="draft")
