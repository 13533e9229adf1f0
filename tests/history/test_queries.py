"""Everything about one serial on one screen: complete, newest first, and silent about what is still a secret."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from qcapp.config.demonstration import cast as demonstration
from qcapp.config.demonstration import player
from qcapp.config.demonstration.stories import FRAMES, Story
from qcapp.core.errors import NotFound
from qcapp.history.queries import UnitHistory, unit_history
from qcapp.inspections.queries import counting_answer
from qcapp.inspections.services.keying import Keyed, key_in
from qcapp.nonconformance.cards import SECRET
from qcapp.people.models import Person
from qcapp.people.roles import Role
from qcapp.production.services import hold_unit
from qcapp.production.services.components import use_material

from ..cast import FIXED_NOW
from ..evidence.files import pdf
from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..goods.conftest import decide, enter

pytestmark = pytest.mark.django_db
Count = Callable[[int], Any]


def history(workshop: Workshop, viewer: Person | None = None) -> UnitHistory:
    """As customer service sees it, unless told otherwise."""
    return unit_history(workshop.serial, viewer=viewer or workshop.cast.customer_service, at=FIXED_NOW)


def texts(found: UnitHistory) -> list[str]:
    return [line.text for line in found.lines]


def test_tells_the_whole_story_newest_first(workshop: Workshop) -> None:
    case = Case.out_of_band(workshop)
    case.correct_the_entry().withdraw()
    workshop.send(*[workshop.operation(key) for key in ("left_length", "right_length", "tack_look")])
    workshop.sign(1)
    for stage in (2, 3):
        workshop.answer_stage(stage)
        workshop.sign(stage)
    certified(release_unit(workshop))
    found = history(workshop)
    assert [line.at for line in found.lines] == sorted((line.at for line in found.lines), reverse=True)
    told = texts(found)
    assert told[:3] == ["Certificate FR-2026-0001 issue 1 issued", "Released", "NCR-2026-0001: withdrawn"]
    assert told[-1] == "Opened on plan revision D, order A-1"
    for text in (
        "W7 welded by Casimir Voss, WP-3",
        "Head angle: 62.40 °, out of band, limits 61.85 to 62.15 °",
        "Head angle: 62.04 °, in band, limits 61.85 to 62.15 °",
        "NCR-2026-0001 raised: 101 Head angle: 62.40 ° (61.85 to 62.15 °)",
        "NCR-2026-0001: withdrawal signed",
        "3 answers recorded",
        "Stage 1 Tack-up signed, 5 answers covered",
        "Stage 3 Alignment signed, 1 answer covered",
    ):
        assert text in told, text
    assert any(line.detail.endswith(" · correction: Digits exchanged.") for line in found.lines)
    released = next(line for line in found.lines if line.text == "Released")
    assert (released.detail, released.outcome) == ("Isolde Brandt · quality manager", "conforms")
    paper = found.lines[0]
    assert (paper.url, paper.link) == ("/certificates/FR-2026-0001/1.pdf", "PDF")


def test_keeps_both_readings_where_something_was_measured_again(workshop: Workshop) -> None:
    case = Case.out_of_band(workshop)
    other = workshop.cast.second_inspector
    repeat = {"purpose": "repeat", "reason": "dirt on the plate", "person": other}
    workshop.send(workshop.operation("head_angle", "62.01", **repeat), by=other)
    found = history(workshop)
    told = texts(found)
    assert any(line.detail.endswith(" · measured again: dirt on the plate") for line in found.lines)
    assert "Head angle: 62.40 °, out of band, limits 61.85 to 62.15 °" in told
    assert "Head angle: 62.01 °, in band, limits 61.85 to 62.15 °" in told
    assert case.state == "open"


def test_tells_both_rounds_and_what_was_done_between(workshop: Workshop) -> None:
    case = Case.out_of_band(workshop).decide().start().finish()
    case.inspect_again("62.149").close()
    found = history(workshop)
    told = texts(found)
    steps = ["closed", "correction finished", "correction started", "decided", "disposition proposed", "contained"]
    places = [told.index(f"NCR-2026-0001: {step}") for step in steps]
    assert places == sorted(places)
    answer = next(line for line in found.lines if line.text.startswith("Head angle: 62.149 °, near limit"))
    assert (answer.outcome, answer.nearest_limit, answer.kind) == ("near_limit", "upper", "measured")
    assert answer.detail == "101 · Barnaby Quill · AG-01 · round 2"
    assert found.running_reports == []


def test_shows_holds_reports_concessions_and_welds(workshop: Workshop) -> None:
    Case.out_of_band(workshop).decide("use_as_is")
    told = {"source": "Heat 7K4412", "reason": "In doubt.", "from_stage": None, "at": FIXED_NOW}
    hold_unit(by=workshop.cast.quality_manager, serial=workshop.serial, **told)
    found = history(workshop)
    assert [hold.source for hold in found.open_holds] == ["NCR-2026-0001", "Heat 7K4412"]
    assert [report.number for report in found.running_reports] == ["NCR-2026-0001"]
    assert [one.number for one in found.concessions] == ["CN-2026-0001"]
    (weld,) = found.welds
    assert (weld.joint, weld.welder_name, weld.welder_stamp) == ("W7", "Casimir Voss", "W11")
    assert "Put on hold, Heat 7K4412: In doubt." in texts(found)


def test_draws_what_is_near_or_out_of_band_with_the_family_behind_it(workshop: Workshop) -> None:
    for number, value in enumerate(("61.90", "61.95", "62.00")):
        unit = workshop.another_unit(f"FR-200-{number + 1:04}")
        unit.send(unit.operation("head_angle", value))
    workshop.send(workshop.operation("head_angle", "62.40"), workshop.operation("left_length", "250.295"))
    first, second = history(workshop).watched
    assert (first.checkpoint.card.number, first.values) == (101, [61.90, 61.95, 62.00, 62.40])
    assert (second.checkpoint.card.number, second.values) == (102, [250.295])


def test_draws_the_last_answer_of_a_checkpoint_that_is_open_again(workshop: Workshop) -> None:
    Case.out_of_band(workshop).decide().start().finish()
    (watched,) = history(workshop).watched
    assert (watched.answer.described, watched.checkpoint.round) == ("62.40 °", 2)


@pytest.mark.parametrize("serial", ["FR-200-9999", "", "FR\0", "x" * 200])
def test_says_that_a_serial_is_not_known(workshop: Workshop, serial: str) -> None:
    with pytest.raises(NotFound) as caught:
        unit_history(serial, viewer=workshop.cast.customer_service, at=FIXED_NOW)
    assert caught.value.code == "serial_unknown"


# ----------------------------------------------------------------------------------------------------- secrets


def test_keeps_a_first_answer_from_who_still_owes_the_second(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    workshop.sign(1)
    Case.out_of_band(workshop, "throat_w7", "2.2").contain()
    found = history(workshop, workshop.cast.second_inspector)
    everything = " ".join(f"{line.text} {line.detail}" for line in found.lines)
    assert "2.2" not in everything
    assert f"NCR-2026-0001 raised: {SECRET}" in everything
    assert found.watched == []
    for viewer in (workshop.cast.inspector, workshop.cast.engineer, workshop.cast.customer_service):
        assert any(text.startswith("Throat of W7: 2.2 mm, out of band") for text in texts(history(workshop, viewer)))


def test_keeps_a_corrected_first_answer_back_as_well(workshop: Workshop) -> None:
    """The replaced reading tells as much as the one that took its place."""
    workshop.answer_stage(1)
    Case.out_of_band(workshop, "throat_w7", "2.2").correct_the_entry("2.4", "throat_w7")
    workshop.send(
        workshop.operation(
            "tack_look",
            purpose="correction",
            reason="wrong side",
            base=str(counting_answer(workshop.item_id, "tack_look").base),
        )
    )
    lines = history(workshop, workshop.cast.second_inspector).lines
    told = " ".join(f"{line.text} {line.detail}" for line in lines)
    assert "2.2 mm" not in told
    assert "2.4 mm" not in told
    assert "wrong side" in told


# ------------------------------------------------------------------------------------------------------ queries


@pytest.fixture
def frame(monkeypatch: pytest.MonkeyPatch, settings: Any) -> Story:
    """A frame of the demonstration's plan with 164 checkpoints: released, with a report, a repair round, two issues."""
    settings.QCAPP_DEMO = True
    now = timezone.now()
    parallel = next(story for story in FRAMES if story.incidents and story.released)
    story = Story("FR-200", parallel.number, 30, order="S-1165", incidents=parallel.incidents, issues=2)
    monkeypatch.setattr(player, "FAMILIES", player.FAMILIES[:1])
    people = demonstration.make_people(now - timedelta(days=60))
    demonstration.make_gauges(people, now - timedelta(days=60), now)
    player.make_plans(people, now - timedelta(days=50))
    player.play_units((story,), people, now, now, lambda: None)
    return story


def test_reads_a_frame_of_164_checkpoints_in_few_queries(
    frame: Story, client_of: Callable[[Person], Any], django_assert_max_num_queries: Count
) -> None:
    viewer = Person.objects.get(badge=demonstration.BADGES_BY_ROLE[Role.CUSTOMER_SERVICE][0])
    at = timezone.now()
    unit_history(frame.serial, viewer=viewer, at=at)
    with django_assert_max_num_queries(16):
        found = unit_history(frame.serial, viewer=viewer, at=at)
    assert len(found.inspection.checkpoints) == 164
    assert (len(found.reports), len(found.certificates)) == (1, 2)
    client = client_of(viewer)
    client.get(f"/units/{frame.serial}/")
    for address in ("", "release/"):
        with django_assert_max_num_queries(20):
            assert client.get(f"/units/{frame.serial}/{address}").status_code == 200


@pytest.fixture
def data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def test_lists_the_documents_that_the_plan_cites_and_the_mill_certificates_of_its_heats(
    workshop: Workshop, data_folder: None
) -> None:
    cited = history(workshop).documents
    assert {one.kind for one in cited} <= {"drawing", "specification"}
    for name in ("goods_in", "quality_manager"):
        getattr(workshop.cast, name)
    enter(workshop.cast)
    decide(workshop.cast.goods_in)
    use_material(by=workshop.cast.inspector, serial=workshop.serial, heat_number="H4711", use="head tube", at=FIXED_NOW)
    (paper,) = history(workshop).documents[len(cited) :]
    assert (paper.kind, paper.name) == ("mill certificate", "MC-1001, Millbrook Tube")
    assert paper.url.startswith("/evidence/")


def test_keeps_the_scan_of_a_stage_back_from_who_may_still_inspect_it_second(
    workshop: Workshop, data_folder: None
) -> None:
    told = {"serial": workshop.serial, "stage_number": 2, "measured_by": workshop.cast.inspector.badge}
    key_in(
        by=workshop.cast.inspector, measured_at=FIXED_NOW - timedelta(hours=2), at=FIXED_NOW, scan=pdf(),
        scan_name="stage1.pdf", answers=[Keyed("throat_w7", "3.4", "TG-01")], **told,
    )  # fmt: skip
    kinds = {person.badge: {one.kind for one in history(workshop, person).documents} for person in seers(workshop)}
    assert ["keyed sheet" in one for one in kinds.values()] == [True, False]


def seers(workshop: Workshop) -> tuple[Person, Person]:
    """Who has nothing to judge, and who may still give the second inspection."""
    return workshop.cast.customer_service, workshop.cast.second_inspector
