"""Photos and remarks at a checkpoint: kept once, said in the audit, asked before signing and release."""

from __future__ import annotations

import io
from typing import Any
from uuid import UUID

import pytest
from PIL import Image

from qcapp.audit.queries import entries_about
from qcapp.certificates.release_checks import photos_there
from qcapp.certificates.release_checks import standing_of as release_standing
from qcapp.inspections.queries.beside import photos_of, remarks_of
from qcapp.inspections.services.beside import Spot, keep_photo, write_remark
from qcapp.lib.fields import uuid7

from ..cast import Cast
from ..factories.inspections import PLAN, Workshop
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def picture(colour: str = "red") -> bytes:
    written = io.BytesIO()
    Image.new("RGB", (64, 48), colour).save(written, "JPEG")
    return written.getvalue()


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def spot(workshop: Workshop, key: str = "tack_look", **changes: Any) -> Spot:
    told: dict[str, Any] = {"operation": uuid7(), "serial": workshop.serial, "checkpoint": key, "device": "tablet 7"}
    return Spot(**told | {"said_at": workshop.at} | changes)


def keep(workshop: Workshop, where: Spot, **changes: Any) -> bool:
    told: dict[str, Any] = {"by": workshop.cast.inspector, "content": picture(), "name": "p.jpg", "at": workshop.at}
    return keep_photo(spot=where, **told | changes)


class TestPhoto:
    def test_keeps_the_picture_with_its_marks_and_says_so_in_the_audit(self, workshop: Workshop) -> None:
        of_result = UUID(workshop.operation("tack_look")["id"])
        assert keep(workshop, spot(workshop), marks=[[250, 700]], note="scratch", of_result=of_result)
        (photo,) = photos_of(workshop.item_id)
        assert (photo.number, photo.marks, photo.note, photo.of_result) == (105, ((250, 700),), "scratch", of_result)
        entry = entries_about(f"unit {workshop.serial}")[0]
        assert entry.verb == "photo.kept"
        assert photo.digest in str(entry.payload)

    def test_keeps_it_once_however_often_it_is_sent(self, workshop: Workshop) -> None:
        where = spot(workshop)
        assert [keep(workshop, where) for _ in range(3)] == [True, False, False]
        assert len(photos_of(workshop.item_id)) == 1

    def test_refuses_another_picture_under_the_same_identifier(self, workshop: Workshop) -> None:
        where = spot(workshop)
        keep(workshop, where)
        with refused("key_reused", "inspections", "evidence"):
            keep(workshop, where, content=picture("blue"))

    @pytest.mark.parametrize("marks", [[[1, 2, 3]], [[-1, 5]], [[5, 1001]], [[1, 1]] * 21])
    def test_refuses_marks_that_lie_nowhere_on_the_picture(self, workshop: Workshop, marks: Any) -> None:
        with refused("marks_unreadable", "inspections", "evidence"):
            keep(workshop, spot(workshop), marks=marks)

    def test_refuses_what_is_no_picture_or_belongs_nowhere(self, workshop: Workshop) -> None:
        with refused("picture_not_read", "inspections", "evidence"):
            keep(workshop, spot(workshop), content=b"no picture")
        with refused("checkpoint_unknown", "inspections", "evidence"):
            keep(workshop, spot(workshop, "nowhere"))
        with refused("serial_unknown", "inspections", "evidence"):
            keep(workshop, spot(workshop, serial="FR-200-9999"))

    def test_refuses_people_who_record_no_results(self, workshop: Workshop) -> None:
        with refused("not_permitted", "inspections", "evidence"):
            keep(workshop, spot(workshop), by=workshop.cast.customer_service)


class TestRemark:
    @pytest.mark.parametrize(
        ("kind", "text"),
        [("note", "Scale on the tube"), ("not_now", "Gauge is away"), ("setup", "restrained; 21.5 °C")],
    )
    def test_writes_down_what_was_said(self, workshop: Workshop, kind: str, text: str) -> None:
        where = spot(workshop)
        asked = {"by": workshop.cast.inspector, "spot": where, "kind": kind, "text": text, "at": workshop.at}
        assert [write_remark(**asked) for _ in range(2)] == [True, False]
        (remark,) = remarks_of(workshop.item_id)
        assert (remark.kind, remark.text, remark.person_name) == (kind, text, workshop.cast.inspector.name)
        assert entries_about(f"unit {workshop.serial}")[0].verb == "remark.written"

    def test_refuses_another_kind_an_empty_text_and_a_used_identifier(self, workshop: Workshop) -> None:
        where = spot(workshop)
        told: dict[str, Any] = {"by": workshop.cast.inspector, "spot": where, "at": workshop.at}
        write_remark(kind="note", text="one", **told)
        with refused("remark_kind_unknown", "inspections"):
            write_remark(kind="joke", text="one", **told | {"spot": spot(workshop)})
        with refused("text_missing", "inspections"):
            write_remark(kind="note", text=" ", **told | {"spot": spot(workshop)})
        with refused("key_reused", "inspections"):
            write_remark(kind="note", text="two", **told)


class TestAsking:
    @pytest.fixture
    def asking(self, cast: Cast) -> Workshop:
        """A plan that asks for a photo at 105."""
        heads, *rows = PLAN.strip().split("\n")
        rows = [f"{row},{'yes' if ',tack_look,' in row else ''}" for row in rows]
        return Workshop.opened(cast, plan="\n".join([f"{heads},photo", *rows]))

    def test_signs_the_stage_only_with_the_photo_that_the_plan_asks_for(self, asking: Workshop) -> None:
        asking.answer_stage(1)
        with refused("photo_missing", "inspections", "people.Signature") as caught:
            asking.sign(1)
        assert caught.value.details["checkpoints"] == [105]
        keep(asking, spot(asking))
        asking.sign(1)

    def test_shows_the_missing_photo_among_the_release_checks(self, asking: Workshop) -> None:
        found = photos_there(release_standing(asking.serial))
        assert (found.ok, found.sentence) == (False, "No photo yet: 105.")
        keep(asking, spot(asking))
        found = photos_there(release_standing(asking.serial))
        assert (found.ok, found.sentence) == (True, "1 taken at their checkpoints.")

    def test_does_not_take_a_photo_of_an_earlier_round_for_one_of_the_round_now(self, asking: Workshop) -> None:
        keep(asking, spot(asking, round=2))
        assert not photos_there(release_standing(asking.serial)).ok

    def test_asks_for_none_where_the_plan_asks_for_none(self, workshop: Workshop) -> None:
        assert photos_there(release_standing(workshop.serial)).sentence == "The plan asks for none."


def test_keeps_the_digest_of_a_plan_signed_before_there_were_photos(workshop: Workshop) -> None:
    from qcapp.plans.models import Checkpoint
    from qcapp.plans.queries.content import _checkpoint_content

    row = Checkpoint.objects.filter(photo=False).select_related("stage", "characteristic", "document")[0]
    assert "photo" not in _checkpoint_content(row)
    row.photo = True
    assert _checkpoint_content(row)["photo"] is True
