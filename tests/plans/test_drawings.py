"""Sheets, balloons and reference pictures of a draft, and what becomes of them at the release and in the next draft."""

from __future__ import annotations

from pathlib import Path
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction

from qcapp.audit.models import Entry
from qcapp.core.errors import Refused
from qcapp.plans import queries, services
from qcapp.plans.models import Balloon, DrawingSheet, ReferencePicture, RevisionSheet
from qcapp.plans.queries.drafts import writers_of
from qcapp.plans.queries.marks import marks_of, sheets_of
from qcapp.plans.services import drawings, editing
from tests.evidence.files import pdf, picture
from tests.factories.plans import attribute, draft, plan_text
from tests.unchanged import refused

PLAN = plan_text({}, attribute(102), attribute(103))
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 297"><path d="M0 0h9"/></svg>'


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


@pytest.fixture
def card(cast, fixed_now):
    return draft(cast, fixed_now, PLAN)


@pytest.fixture
def add(cast, card, fixed_now):
    """`add(sheet=2)`: a sheet in the draft."""

    def perform(**changes):
        known = {"number": "FR-200-001", "document_revision": "C", "content": SVG, "name": "frame.svg"} | changes
        return drawings.add_sheets(
            **({"by": cast.quality_manager, "revision_uuid": card.uuid, "at": fixed_now} | known)
        ).cards

    return perform


@pytest.fixture
def place(cast, card, fixed_now):
    def perform(key, sheet, across=50_000, down=25_000, **changes):
        known = {"by": cast.quality_manager, "revision_uuid": card.uuid, "at": fixed_now} | changes
        return drawings.place_balloon(key=key, sheet_uuid=sheet.uuid, across=across, down=down, **known)

    return perform


def release(cast, proof_of, at, card):
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=at)
    if queries.needs_engineer(card.id):
        services.approve(proof=proof_of(cast.engineer, at), revision_uuid=card.uuid, at=at)
    return services.release(proof=proof_of(cast.second_quality_manager, at), revision_uuid=card.uuid, at=at)


# --- sheets ------------------------------------------------------------------------------------------------


def test_adds_a_sheet_with_its_digest_in_the_chain(card, add) -> None:
    (sheet,) = add(title="Side view")
    assert sheets_of(card.id) == [sheet]
    assert (sheet.title, sheet.media_type, sheet.width) == ("Side view", "image/svg+xml", 2000)
    assert Entry.objects.latest("id").verb == "plan.drawing_added"


def test_adds_pages_as_sheets_that_count_on(add) -> None:
    sheets = add(content=pdf(3), pages="1, 3", sheet=4)
    assert [(one.sheet, one.title, one.media_type) for one in sheets] == [
        (4, "Sheet 4", "image/png"),
        (5, "Sheet 5", "image/png"),
    ]


def test_says_what_was_left_out_of_a_drawing(cast, card, fixed_now) -> None:
    content = SVG.replace(b"<path", b"<script>x</script><path")
    added = drawings.add_sheets(
        by=cast.engineer, revision_uuid=card.uuid, number="D", document_revision="A", content=content, name="d.svg",
        at=fixed_now,
    )  # fmt: skip
    assert added.left_out == {"script": 1}
    assert cast.engineer.pk in writers_of(card.id)


def test_a_newer_sheet_takes_over_the_balloons(card, add, place) -> None:
    (old,) = add()
    place("head_angle", old)
    (new,) = add(document_revision="D", content=picture("PNG"), takes_place_of=old.uuid)
    assert sheets_of(card.id) == [new]
    assert marks_of(card.id).balloons["head_angle"].sheet == new


def test_a_sheet_goes_with_its_balloons(cast, card, add, place, fixed_now) -> None:
    first, second = add()[0], add(sheet=2)[0]
    place("head_angle", first)
    place("checkpoint_102", second)
    assert drawings.remove_sheet(by=cast.engineer, revision_uuid=card.uuid, sheet_uuid=first.uuid, at=fixed_now) == 1
    assert sheets_of(card.id) == [second]
    assert list(marks_of(card.id).balloons) == ["checkpoint_102"]
    assert DrawingSheet.objects.count() == 2


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, "sheet_twice"),
        ({"sheet": 0}, "sheet_unreadable"),
        ({"sheet": 2, "takes_place_of": uuid4()}, "sheet_unknown"),
        ({"number": " "}, "text_missing"),
        ({"sheet": 2, "content": b"no picture"}, "picture_not_read"),
        ({"sheet": 2, "content": pdf(61)}, "pages_too_many"),
    ],
)
def test_refuses_a_sheet(add, changes, code) -> None:
    add()
    with refused(code, "plans", "evidence"):
        add(**changes)


def test_one_page_takes_the_place_of_one_sheet(add) -> None:
    (old,) = add()
    with refused("one_page_asked", "plans", "evidence"):
        add(content=pdf(2), takes_place_of=old.uuid)


def test_only_who_writes_plans_adds_and_places(cast, card, add, place) -> None:
    (sheet,) = add()
    with refused("not_permitted", "plans", "evidence"):
        add(by=cast.inspector, sheet=2)
    with refused("not_permitted", "plans"):
        place("head_angle", sheet, by=cast.inspector)


# --- balloons ----------------------------------------------------------------------------------------------


def test_places_moves_and_takes_away_a_balloon(cast, card, add, place, fixed_now) -> None:
    (sheet,) = add()
    first = place("head_angle", sheet, was="")
    assert str(first) == "FR-200-001 sheet 1, 50.0 % across, 25.0 % down"
    place("head_angle", sheet, 10, 20, was=first.seen)
    (found,) = [one.balloon for one in queries.checkpoints_of(card.id) if one.balloon]
    assert (found.across, found.down) == (10, 20)
    drawings.remove_balloon(by=cast.engineer, revision_uuid=card.uuid, key="head_angle", was=found.seen, at=fixed_now)
    assert not marks_of(card.id).balloons


def test_tells_the_second_of_two_who_move_the_same_balloon(cast, card, add, place, fixed_now) -> None:
    (sheet,) = add()
    seen = place("head_angle", sheet).seen
    place("head_angle", sheet, 1, 1, was=seen, by=cast.engineer)
    with refused("changed_meanwhile", "plans"):
        place("head_angle", sheet, 2, 2, was=seen)
    with refused("changed_meanwhile", "plans"):
        drawings.remove_balloon(by=cast.engineer, revision_uuid=card.uuid, key="head_angle", was=seen, at=fixed_now)


def test_refuses_a_place_that_is_none(add, place) -> None:
    (sheet,) = add()
    with refused("place_unreadable", "plans"):
        place("head_angle", sheet, 100_001)
    with refused("checkpoint_unknown", "plans"):
        place("nothing", sheet)


def test_a_balloon_follows_its_checkpoint_through_edits(cast, card, add, place, fixed_now) -> None:
    (sheet,) = add()
    place("checkpoint_102", sheet)
    edit = {"by": cast.quality_manager, "revision_uuid": card.uuid, "at": fixed_now}
    editing.set_cell(row_id=2, column="key", text="renamed", was="checkpoint_102", **edit)
    assert list(marks_of(card.id).balloons) == ["renamed"]
    editing.delete_rows(ids=[2], **edit)
    found = marks_of(card.id)
    assert not found.balloons
    assert len(found.astray) == 1
    version = queries.drafts.draft_card(card.id, card.family_id).version
    editing.undo(version=version, **edit)
    assert list(marks_of(card.id).balloons) == ["renamed"]
    editing.delete_rows(ids=[2], **edit)
    assert drawings.remove_astray(**edit) == 1
    assert not marks_of(card.id).astray


# --- the release and after ---------------------------------------------------------------------------------


def test_freezes_with_the_release_and_carries_over_to_the_next_draft(
    cast, proof_of, card, add, place, fixed_now
) -> None:
    (sheet,) = add()
    place("head_angle", sheet)
    place("checkpoint_103", sheet, 1, 2)
    drawings.set_picture(
        by=cast.engineer, revision_uuid=card.uuid, key="head_angle", content=picture(), name="so.jpg", at=fixed_now
    )
    editing.delete_rows(by=cast.quality_manager, revision_uuid=card.uuid, ids=[3], at=fixed_now)
    released = release(cast, proof_of, fixed_now, card)
    (balloon,) = Balloon.objects.all()
    assert balloon.checkpoint.characteristic.key == "head_angle"
    with refused("not_a_draft", "plans"):
        place("head_angle", sheet, 3, 4)
    for model in (Balloon, RevisionSheet, ReferencePicture):
        with pytest.raises((DatabaseError, Refused)), transaction.atomic():
            model.objects.filter(revision=released.id).delete()
    following = services.revise(by=cast.quality_manager, revision_uuid=released.uuid, change_note="next", at=fixed_now)
    assert sheets_of(following.id) == [sheet]
    assert list(marks_of(following.id).balloons) == list(marks_of(following.id).pictures) == ["head_angle"]
    assert queries.differences(released.id, following.id) == []


def test_seals_balloons_with_what_was_signed(cast, proof_of, card, add, place, fixed_now) -> None:
    (sheet,) = add()
    before = queries.content_digest(card.id)
    place("head_angle", sheet)
    assert queries.content_digest(card.id) != before
    services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=fixed_now)
    Balloon.objects.update(across=7)
    with refused("content_altered", "plans"):
        services.release(proof=proof_of(cast.second_quality_manager, fixed_now), revision_uuid=card.uuid, at=fixed_now)


def test_counts_moved_balloons_in_the_comparison(cast, proof_of, card, add, place, fixed_now) -> None:
    (sheet,) = add()
    place("head_angle", sheet)
    place("checkpoint_102", sheet)
    released = release(cast, proof_of, fixed_now, card)
    following = services.revise(by=cast.quality_manager, revision_uuid=released.uuid, change_note="next", at=fixed_now)
    place("head_angle", sheet, 9, 9, revision_uuid=following.uuid)
    place("checkpoint_103", sheet, revision_uuid=following.uuid)
    drawings.remove_balloon(by=cast.engineer, revision_uuid=following.uuid, key="checkpoint_102", at=fixed_now)
    found = queries.differences(released.id, following.id)
    effects = {one.number: [(change.field, change.effect) for change in one.fields] for one in found}
    assert effects == {
        101: [("on the drawing", "balloon moved")],
        102: [("on the drawing", "balloon gone")],
        103: [("on the drawing", "balloon new")],
    }
    assert queries.needs_engineer(following.id) == []


def test_an_imported_revision_keeps_the_balloons_of_its_keys(cast, proof_of, card, add, place, fixed_now) -> None:
    (sheet,) = add()
    place("head_angle", sheet)
    release(cast, proof_of, fixed_now, card)
    following = draft(cast, fixed_now, PLAN, letter="B")
    assert list(marks_of(following.id).balloons) == ["head_angle"]


def test_keeps_and_takes_away_a_reference_picture(cast, card, fixed_now) -> None:
    known = {"by": cast.quality_manager, "revision_uuid": card.uuid, "key": "head_angle", "at": fixed_now}
    drawings.set_picture(content=picture(), name="so.jpg", **known)
    drawings.set_picture(content=picture("PNG"), name="better.png", **known)
    assert marks_of(card.id).pictures["head_angle"].name == "better.png"
    with refused("picture_not_read", "plans", "evidence"):
        drawings.set_picture(content=b"x", name="x", **known)
    drawings.remove_picture(**known)
    assert not marks_of(card.id).pictures
