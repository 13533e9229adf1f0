"""What a tablet keeps beside its results goes out under its owner's name, whoever sends it and however it comes."""

from __future__ import annotations

import base64
import hashlib
import io
import json
from typing import Any

import pytest
from django.utils import timezone
from PIL import Image

from qcapp.audit.models import Entry
from qcapp.core.errors import NotAllowed
from qcapp.gauges.queries import gauge_by_number
from qcapp.inspections.queries.beside import photos_of, remarks_of
from qcapp.inspections.services.handed_in import judge_aside, take_in_file
from qcapp.lib.fields import uuid7
from qcapp.people import services
from qcapp.people.models import Person
from qcapp.people.queries import aside_cards, tablet_keys_by_uuid

from ..factories.inspections import Workshop
from ..factories.tablets import OnTablet, enrolled, put_on
from ..unchanged import refused

pytestmark = pytest.mark.django_db
HEAD = "HTTP_X_ENTRY_PROOF"


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


@pytest.fixture
def owner(workshop: Workshop) -> OnTablet:
    """The inspector on a tablet, where somebody else is signed in by now."""
    tablet, _ = enrolled(workshop.cast.keeper, workshop.at)
    return put_on(tablet, workshop.cast.inspector, workshop.at)


def remark(workshop: Workshop, **changes: Any) -> dict[str, Any]:
    told = {"id": str(uuid7()), "serial": workshop.serial, "checkpoint": "tack_look", "device": "tablet-7"}
    told |= {"round": 1, "inspection": 1, "recorded_at": timezone.now().isoformat(), "kind": "note"}
    return told | {"text": "scale on the tube"} | changes


def photo(workshop: Workshop) -> tuple[dict[str, Any], str]:
    """What the tablet signs, and the picture that goes with it."""
    written = io.BytesIO()
    Image.new("RGB", (64, 48), "red").save(written, "JPEG")
    body = remark(workshop, marks=[], note="", name="p.jpg", sha256=hashlib.sha256(written.getvalue()).hexdigest())
    del body["kind"], body["text"]
    return body, base64.b64encode(written.getvalue()).decode()


def send(client: Any, address: str, body: dict[str, Any], proof: dict[str, str] | None = None) -> Any:
    head = {HEAD: f"{proof['key']} {proof['signature']}"} if proof else {}
    return client.post(address, json.dumps(body), content_type="application/json", **head)


class TestSending:
    def test_records_a_remark_a_photo_and_a_doubt_under_the_owners_name(
        self, workshop: Workshop, owner: OnTablet, client_of: Any
    ) -> None:
        client = client_of(workshop.cast.second_inspector)
        said = remark(workshop)
        taken, content = photo(workshop)
        doubt = {"id": str(uuid7()), "reason": "Dropped"}
        for address, body, more in (
            ("/api/v1/remarks", said, {}),
            ("/api/v1/photos", taken, {"content": content}),
            ("/api/v1/gauges/CA-01/doubt", doubt, {}),
        ):
            for _ in range(2):
                answer = send(client, address, body | more, owner.beside(address, body))
                assert answer.status_code == 200, answer.content
        name = workshop.cast.inspector.name
        assert [(one.person_name, one.text) for one in remarks_of(workshop.item_id)] == [(name, said["text"])]
        assert [one.person_name for one in photos_of(workshop.item_id)] == [name]
        assert not gauge_by_number("CA-01", timezone.now()).usable
        actors = Entry.objects.filter(verb__in=("remark.written", "photo.kept", "gauge.taken_out_of_use"))
        assert {one.actor for one in actors} == {str(workshop.cast.inspector.uuid)}

    def test_writes_down_a_discarding_under_the_name_of_who_discarded(
        self, workshop: Workshop, owner: OnTablet, client_of: Any
    ) -> None:
        body = {"operation": workshop.operation("head_angle", "61.94"), "reason": "Entered twice"}
        proof = owner.beside("/api/v1/discards", body)
        answer = send(client_of(workshop.cast.second_inspector), "/api/v1/discards", body, proof)
        assert answer.status_code == 204
        assert Entry.objects.get(verb="tablet.entry_discarded").actor == str(workshop.cast.inspector.uuid)

    def test_refuses_another_text_address_key_or_picture(
        self, workshop: Workshop, owner: OnTablet, client_of: Any
    ) -> None:
        client = client_of(workshop.cast.second_inspector)
        said = remark(workshop)
        good = owner.beside("/api/v1/remarks", said)
        taken, _ = photo(workshop)
        other = base64.b64encode(b"another picture").decode()
        tries = [
            ("/api/v1/remarks", said | {"text": "all is well"}, good, "entry_proof_refused"),
            ("/api/v1/remarks", said, owner.beside("/api/v1/photos", said), "entry_proof_refused"),
            ("/api/v1/remarks", said, good | {"key": str(uuid7())}, "entry_proof_refused"),
            ("/api/v1/remarks", said, owner.proof(said), "entry_proof_refused"),  # made for results
            ("/api/v1/photos", taken | {"content": other}, owner.beside("/api/v1/photos", taken), "content_changed"),
            ("/api/v1/photos", taken | {"content": other}, None, "content_changed"),
        ]
        for address, body, proof, code in tries:
            assert send(client, address, body, proof).json()["code"] == code
        assert remarks_of(workshop.item_id) == []
        assert photos_of(workshop.item_id) == []

    def test_refuses_the_key_of_a_revoked_tablet_and_an_owner_without_the_right(
        self, workshop: Workshop, owner: OnTablet, client_of: Any
    ) -> None:
        client, said = client_of(workshop.cast.second_inspector), remark(workshop)
        tablet, _ = enrolled(workshop.cast.keeper, workshop.at, "Bench 4")
        stranger = put_on(tablet, workshop.cast.customer_service, workshop.at)
        answer = send(client, "/api/v1/remarks", said, stranger.beside("/api/v1/remarks", said))
        assert answer.json()["code"] == "not_permitted"
        row = tablet_keys_by_uuid({owner.key})[owner.key].tablet
        services.revoke_tablet(by=workshop.cast.keeper, tablet=row, reason="lost", at=workshop.at)
        answer = send(client, "/api/v1/remarks", said, owner.beside("/api/v1/remarks", said))
        assert answer.json()["code"] == "entry_proof_refused"
        assert remarks_of(workshop.item_id) == []


def row_of(owner: OnTablet, address: str, body: dict[str, Any], content: str | None = None) -> dict[str, Any]:
    proof = owner.beside(address, body)
    return {"address": address, "body": body, "proof": proof, "owner": "1001", "label": "Note", "content": content}


def file_of(*rows: Any) -> io.BytesIO:
    body = {"kind": "qcapp unsent entries", "v": 1, "device": "tablet-7", "operations": [], "proofs": {}}
    return io.BytesIO(json.dumps(body | {"beside": rows}).encode())


class TestFile:
    def test_takes_in_each_once_under_its_owners_name(self, workshop: Workshop, owner: OnTablet) -> None:
        taken, content = photo(workshop)
        rows = [
            row_of(owner, "/api/v1/remarks", remark(workshop)),
            row_of(owner, "/api/v1/photos", taken, content),
        ]
        for outcome in ("applied", "duplicate"):
            found = take_in_file(by=workshop.cast.quality_manager, stream=file_of(*rows), at=timezone.now())
            assert [one.verdict.outcome for one in found] == [outcome, outcome]
        assert [one.person_name for one in photos_of(workshop.item_id)] == [workshop.cast.inspector.name]
        assert len(remarks_of(workshop.item_id)) == 1

    def test_says_of_each_other_why_not(self, workshop: Workshop, owner: OnTablet) -> None:
        said = remark(workshop)
        good = row_of(owner, "/api/v1/remarks", said)
        rows = {
            "entry_unreadable": 7,
            "entry_proof_refused": good | {"proof": None},
            "address_not_taken": row_of(owner, "/api/v1/units", said),
            "serial_unknown": row_of(owner, "/api/v1/remarks", remark(workshop, serial="FR-200-9999")),
            "fields_invalid": row_of(owner, "/api/v1/remarks", {"id": "x"}),
        }
        found = take_in_file(by=workshop.cast.quality_manager, stream=file_of(*rows.values()), at=timezone.now())
        assert [one.verdict.code for one in found] == list(rows)
        assert remarks_of(workshop.item_id) == []


@pytest.mark.django_db(transaction=True)
class TestKeptAside:
    def kept(self, workshop: Workshop, owner: OnTablet, **changes: Any) -> int:
        row = row_of(owner, "/api/v1/remarks", remark(workshop))
        key = tablet_keys_by_uuid({owner.key})[owner.key]
        services.revoke_tablet(by=workshop.cast.keeper, tablet=key.tablet, reason="lost", at=workshop.at)
        whole = {"id": row["body"]["id"], "kind": "beside", "serial": workshop.serial, **row, **changes}
        services.keep_aside(tablet=key.tablet, operations=[whole], at=workshop.at)
        (card,) = aside_cards()
        return card.id

    def test_is_recorded_under_its_owners_name_when_a_person_accepts_it(
        self, workshop: Workshop, owner: OnTablet
    ) -> None:
        entry = self.kept(workshop, owner)
        judge_aside(by=workshop.cast.quality_manager, entry_id=entry, accepted=True, reason="found", at=workshop.at)
        (said,) = remarks_of(workshop.item_id)
        assert said.person_name == workshop.cast.inspector.name

    def test_is_not_recorded_without_its_owners_proof(self, workshop: Workshop, owner: OnTablet) -> None:
        entry = self.kept(workshop, owner, proof=None)
        manager: Person = workshop.cast.quality_manager
        with refused("entry_not_recorded", "inspections", "people"):
            judge_aside(by=manager, entry_id=entry, accepted=True, reason="found", at=workshop.at)
        with pytest.raises(NotAllowed):
            judge_aside(by=workshop.cast.keeper, entry_id=entry, accepted=False, reason="no", at=workshop.at)
