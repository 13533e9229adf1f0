"""Entries that come by file or from a revoked tablet: each judged, each once."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest

from qcapp.core.errors import NotAllowed
from qcapp.inspections.models import Result
from qcapp.inspections.services.handed_in import judge_all_aside, judge_aside, take_in_file
from qcapp.people import services
from qcapp.people.queries import aside_cards

from ..factories.inspections import Workshop
from ..factories.tablets import enrolled, put_on
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def file_of(*operations: dict[str, Any], proofs: dict[str, Any] | None = None) -> io.BytesIO:
    body = {"kind": "qcapp unsent entries", "v": 1, "device": "tablet-7", "operations": operations}
    return io.BytesIO(json.dumps(body | {"proofs": proofs or {}}).encode())


class TestFile:
    @pytest.mark.django_db(transaction=True)
    def test_takes_in_each_entry_once_under_its_owners_name(self, workshop: Workshop) -> None:
        cast = workshop.cast
        tablet, _ = enrolled(cast.keeper, workshop.at)
        person = put_on(tablet, cast.inspector, workshop.at)
        operation = workshop.operation("head_angle", "61.94")
        other = workshop.operation("left_length", "250.1")
        for outcome in ("applied", "duplicate"):
            found = take_in_file(
                by=cast.quality_manager,
                stream=file_of(operation, other, proofs={operation["id"]: person.proof(operation)}),
                at=workshop.at,
            )
            assert [one.verdict.outcome for one in found] == [outcome, outcome]
        rows = {row.raw or row.checkpoint.characteristic.key: row for row in Result.objects.exclude(purpose="computed")}
        assert (rows["head_angle"].person, rows["head_angle"].flags) == (cast.inspector, [])
        assert rows["left_length"].flags == ["sent_by_other"]

    def test_believes_no_proof_of_another_text_or_person(self, workshop: Workshop) -> None:
        cast = workshop.cast
        operation = workshop.operation("head_angle", "61.94")
        changed = operation | {"answer": {"value": "61.95"}}
        with pytest.raises(NotAllowed):
            take_in_file(by=cast.inspector, stream=file_of(operation), at=workshop.at)
        (found,) = take_in_file(
            by=cast.quality_manager,
            stream=file_of(changed, proofs={operation["id"]: {"key": "x", "signature": "AAAA"}}),
            at=workshop.at,
        )
        assert found.verdict.flags == ("sent_by_other",)

    @pytest.mark.django_db(transaction=True)
    def test_is_taken_in_by_the_page_of_the_office(self, workshop: Workshop, client_of: Any) -> None:
        cast = workshop.cast
        tablet, _ = enrolled(cast.keeper, workshop.at)
        person = put_on(tablet, cast.inspector, workshop.at)
        operation = workshop.operation("head_angle", "61.94")
        content = file_of(operation, proofs={operation["id"]: person.proof(operation)}).read()
        client = client_of(cast.quality_manager)
        for said in ("1 recorded, 0 known already, 0 refused", "0 recorded, 1 known already, 0 refused"):
            page = client.post("/tablets/unsent-file/", {"file": io.BytesIO(content)})
            assert (page.status_code, said in page.text) == (200, True)
        assert [row.person for row in Result.objects.all()] == [cast.inspector]
        assert client.post("/tablets/unsent-file/", {"file": io.BytesIO(b"[]")}).status_code == 400
        assert client_of(cast.inspector).post("/tablets/unsent-file/", {"file": io.BytesIO(content)}).status_code == 403

    def test_refuses_a_file_that_no_tablet_saved(self, workshop: Workshop) -> None:
        manager = workshop.cast.quality_manager
        for content in (b"", b"[]", b"{}", b'{"kind": "qcapp unsent entries", "operations": 1}', b"\xff"):
            with refused("file_unreadable", "inspections"):
                take_in_file(by=manager, stream=io.BytesIO(content), at=workshop.at)


@pytest.mark.django_db(transaction=True)
class TestJudging:
    def kept(self, workshop: Workshop, *operations: dict[str, Any]) -> list[int]:
        tablet, _ = enrolled(workshop.cast.keeper, workshop.at)
        services.revoke_tablet(by=workshop.cast.keeper, tablet=tablet, reason="lost", at=workshop.at)
        services.keep_aside(tablet=tablet, operations=operations, at=workshop.at)
        return [card.id for card in aside_cards()]

    def test_records_what_is_accepted_and_marks_it(self, workshop: Workshop) -> None:
        (entry,) = self.kept(workshop, workshop.operation("head_angle", "61.94"))
        manager = workshop.cast.quality_manager
        judge_aside(by=manager, entry_id=entry, accepted=True, reason="the tablet was found", at=workshop.at)
        row = Result.objects.get()
        assert (row.person, row.flags) == (workshop.cast.inspector, ["sent_by_other"])
        with refused("already_decided", "inspections", "people"):
            judge_aside(by=manager, entry_id=entry, accepted=False, reason="no", at=workshop.at)

    def test_records_nothing_that_is_refused(self, workshop: Workshop) -> None:
        (entry,) = self.kept(workshop, workshop.operation("head_angle", "61.94"))
        judge_aside(by=workshop.cast.quality_manager, entry_id=entry, accepted=False, reason="not ours", at=workshop.at)
        assert not Result.objects.exists()
        assert aside_cards() == []

    def test_decides_nothing_about_what_the_rules_refuse(self, workshop: Workshop) -> None:
        (entry,) = self.kept(workshop, workshop.operation("head_angle", "61.94", serial="FR-200-9999"))
        manager = workshop.cast.quality_manager
        with refused("entry_not_recorded", "inspections", "people"):
            judge_aside(by=manager, entry_id=entry, accepted=True, reason="found", at=workshop.at)

    def test_decides_all_together_or_none(self, workshop: Workshop) -> None:
        good = [workshop.operation("head_angle", "61.94"), workshop.operation("left_length", "250.1")]
        entries = self.kept(workshop, *good, workshop.operation("right_length", "250.0", serial="FR-200-9999"))
        known = {"by": workshop.cast.quality_manager, "accepted": True, "reason": "found", "at": workshop.at}
        with refused("entry_not_recorded", "inspections", "people") as caught:
            judge_all_aside(entry_ids=entries, **known)
        assert caught.value.message.startswith("None is decided.")
        assert len(aside_cards()) == 3
        bad = next(card.id for card in aside_cards() if card.body["serial"] == "FR-200-9999")
        judge_all_aside(entry_ids=[entry for entry in entries if entry != bad], **known)
        assert Result.objects.exclude(purpose="computed").count() == 2
        assert [card.id for card in aside_cards()] == [bad]

    def test_leaves_judging_to_the_quality_manager(self, workshop: Workshop) -> None:
        (entry,) = self.kept(workshop, workshop.operation("head_angle", "61.94"))
        keeper = workshop.cast.keeper
        with refused("not_permitted", "inspections", "people"):
            judge_aside(by=keeper, entry_id=entry, accepted=True, reason="found", at=workshop.at)
