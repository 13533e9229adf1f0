"""Certificates in numbered issues: frozen at issue, replaced by the next, withdrawn by a signed act."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connections
from lxml import html

from qcapp.audit.models import Counter
from qcapp.audit.queries import entries_about, head
from qcapp.certificates.models import Certificate
from qcapp.certificates.queries import CertificateCard, certificate, certificates_of, check_token, content_of
from qcapp.certificates.services import issuing
from qcapp.certificates.services.issuing import issue_certificate, withdraw_certificate
from qcapp.certificates.services.rendering import page_of
from qcapp.core.errors import NotFound, QcError, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.guards import lifted
from qcapp.people.services import demonstration_proof

from ..cast import Cast
from ..factories.certificates import ISSUED_AT, RELEASED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import refused
from .test_releasing import both_at_once, correction, take_back

ROOMS = ("certificates", "production", "people")


@pytest.fixture
def released(ready: Workshop) -> Workshop:
    return release_unit(ready)


def take_issue_back(
    workshop: Workshop, card: CertificateCard, reason: str = "Wrong order number.", **changes: Any
) -> None:
    proof = demonstration_proof(changes.get("by", workshop.cast.quality_manager), ISSUED_AT)
    withdraw_certificate(proof=proof, number=card.number, issue=card.issue, reason=reason, at=ISSUED_AT)


@pytest.mark.django_db
class TestIssue:
    def test_issues_the_certificate_of_a_released_unit(self, released: Workshop) -> None:
        card = certified(released)
        assert (card.number, card.issue, card.serial, card.standing) == ("FR-2026-0001", 1, "FR-200-0147", "current")
        assert len(card.token) == 43
        (entry,) = entries_about("certificate FR-2026-0001/1")
        assert (entry.verb, entry.payload["digest"]) == ("certificate.issued", card.digest)

    def test_refuses_a_unit_that_is_not_released(self, ready: Workshop) -> None:
        with refused("not_released", *ROOMS):
            certified(ready)

    def test_refuses_a_unit_whose_release_was_taken_back(self, released: Workshop) -> None:
        take_back(released)
        with refused("not_released", *ROOMS):
            certified(released)

    def test_refuses_a_unit_about_which_something_came_up_since(self, released: Workshop) -> None:
        certified(released)
        case = Case.by_hand(released)
        with refused("release_in_doubt", *ROOMS) as caught:
            certified(released, change_note="Order number corrected.")
        assert f"{case.number} is open" in caught.value.message
        assert caught.value.details["findings"] == ["reports_ended", "holds_lifted"]
        case.withdraw()
        assert certified(released, change_note="Order number corrected.").issue == 2

    @pytest.mark.parametrize("part", ["inspector", "engineer", "customer_service", "dispatch"])
    def test_refuses_somebody_who_may_not(self, released: Workshop, part: str) -> None:
        by = getattr(released.cast, part)
        with refused("not_permitted", *ROOMS):
            certified(released, by=by)

    def test_refuses_a_second_issue_that_changes_nothing(self, released: Workshop) -> None:
        certified(released)
        with refused("issued_already", *ROOMS) as caught:
            certified(released)
        assert "FR-2026-0001 issue 1 is current" in caught.value.message

    def test_issues_again_with_what_changed_and_replaces_the_first(self, released: Workshop) -> None:
        certified(released)
        second = certified(released, change_note="Order number corrected.", at=ISSUED_AT + timedelta(hours=1))
        assert (second.number, second.issue, second.standing) == ("FR-2026-0001", 2, "current")
        assert content_of(second.id)["identity"]["change_note"] == "Order number corrected."
        first = certificate("FR-2026-0001", 1)
        assert (first.standing, first.replaced_by) == ("replaced", 2)
        assert [card.issue for card in certificates_of(released.item_id)] == [2, 1]

    def test_asks_what_changed_after_a_new_release(self, released: Workshop) -> None:
        certified(released)
        take_back(released)
        released.send(correction(released))
        released.sign(1)
        release_unit(released, at=ISSUED_AT + timedelta(days=1))
        with refused("change_note_missing", *ROOMS):
            certified(released, at=ISSUED_AT + timedelta(days=2))
        again = certified(released, at=ISSUED_AT + timedelta(days=2), change_note="Head angle measured again.")
        assert (again.issue, again.standing) == (2, "current")

    def test_prints_no_change_on_the_first_issue(self, released: Workshop) -> None:
        card = certified(released, change_note="There was none before.")
        assert (card.change_note, content_of(card.id)["identity"]["change_note"]) == ("", "")

    @pytest.mark.parametrize(
        ("at", "number"),
        [
            (datetime(2026, 12, 31, 22, 59, tzinfo=UTC), "FR-2026-0001"),
            (datetime(2026, 12, 31, 23, 1, tzinfo=UTC), "FR-2027-0001"),  # past midnight in the workshop
        ],
    )
    def test_counts_numbers_in_the_year_of_the_site(self, released: Workshop, at: datetime, number: str) -> None:
        assert certified(released, at=at).number == number

    def test_refuses_while_the_clock_is_set_back(self, released: Workshop) -> None:
        """Before the release, before the issue that it would replace, and before the issue that is withdrawn."""
        with refused("clock_set_back", *ROOMS) as caught:
            certified(released, at=RELEASED_AT - timedelta(minutes=1))
        assert "set the clock right" in caught.value.message
        card = certified(released)
        with refused("clock_set_back", *ROOMS):
            certified(released, change_note="Order number corrected.", at=ISSUED_AT - timedelta(minutes=1))
        at = ISSUED_AT - timedelta(minutes=1)
        with refused("clock_set_back", *ROOMS):
            withdraw_certificate(
                proof=demonstration_proof(released.cast.quality_manager, at), number=card.number, issue=1,
                reason="Wrong order number.", at=at,
            )  # fmt: skip
        assert certified(released, change_note="Order number corrected.").issue == 2

    def test_has_every_field_of_a_suppliers_declaration(self, released: Workshop, settings: Any) -> None:
        """ISO/IEC 17050-1:2004, 6.1 (a) to (g), from memory: the frozen content has each, and so has the paper."""
        settings.QCAPP_SITE_PLACE = "Alder Quay"
        says = content_of(certified(released).id)
        identity, statement, signature = says["identity"], says["statement"], says["signatures"]["lines"][-1]
        page = " ".join(html.fromstring(page_of(says, "0" * 64)).text_content().split())
        fields = {
            "unique identification": identity["number"],
            "name of the issuer": identity["maker"],
            "object of the declaration": identity["serial"],
            "statement of conformity": statement["declaration"],
            "requirements": f"inspection plan {identity['family_code']}",
            "their revision": f"revision {identity['plan_revision']}",
            "date of issue": identity["issued"],
            "place of issue": identity["place"],
            "name of the signatory": statement["released_by"],
            "function of the signatory": statement["function"],
        }
        assert all(fields.values()), fields
        assert {name for name, text in fields.items() if text not in page} == set()
        assert signature["name"] == statement["released_by"]

    def test_uses_up_no_number_when_the_issue_fails(self, released: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
        def fail(**told: Any) -> None:
            raise OSError("disk full")

        monkeypatch.setattr(issuing.audit, "record", fail)
        with pytest.raises(OSError, match="disk full"):
            certified(released)
        monkeypatch.undo()
        assert not Certificate.objects.exists()
        assert not Counter.objects.filter(series__startswith="certificate").exists()
        assert certified(released).number == "FR-2026-0001"

    def test_gives_the_units_of_a_series_numbers_without_a_gap(self, released: Workshop) -> None:
        other = release_unit(released.another_unit("FR-200-0148").finish())
        assert [certified(unit).number for unit in (released, other)] == ["FR-2026-0001", "FR-2026-0002"]


@pytest.mark.django_db
class TestContent:
    def test_seals_its_text(self, released: Workshop) -> None:
        row = Certificate.objects.get(pk=certified(released).id)
        assert digest(row.content) == row.digest
        assert canonical(json.loads(row.content)) == row.content

    def test_says_what_the_records_say(self, released: Workshop) -> None:
        before = head()
        says = content_of(certified(released).id)
        assert list(says) == sorted(
            [
                "identity", "statement", "results", "statistics", "welds", "materials", "components",
                "nonconformances", "pictures", "drawing", "cautions", "sample", "signatures",
            ]
        )  # fmt: skip
        assert says["identity"]["check_address"].startswith("http://testserver/check/")
        assert (says["identity"]["chain_number"], says["identity"]["chain_digest"]) == (before.number, before.digest)
        assert says["statement"]["declaration"] == (
            "We declare that the Trike frame FR-200-0147 conforms to inspection plan FR-200 revision D and to the "
            "drawings and specifications that it cites."
        )
        assert says["statement"]["counts"] == (
            "11 checkpoints were due and answered; 11 conform. "
            "1 checkpoint was not due on this unit: checked on samples."
        )
        signed = [(line["what"], line["name"], line["function"]) for line in says["signatures"]["lines"]]
        assert signed[0] == ("Stage 1 Tack-up", "1001", "inspector")
        assert signed[-1] == ("Release", "Isolde Brandt", "quality manager")

    def test_says_of_each_result_what_the_record_says(self, released: Workshop) -> None:
        says = content_of(certified(released).id)
        first = says["results"]["stages"][0]["lines"][0]
        assert first == {
            "balloon": "",
            "number": 101,
            "title": "Head angle",
            "kind": "measured",
            "criticality": "critical",
            "nominal": "62.00",
            "notation": "±0.15",
            "limits": "61.85 to 62.15",
            "value": "61.94",
            "counted": [],
            "mean": False,
            "temperature": "",
            "corrected_to": "",
            "expansion": "",
            "unit_of_measure": "°",
            "gauge": "AG-01",
            "round": 1,
            "outcome": "in_band",
            "nearest_limit": "lower",
            "has_lower": True,
            "has_upper": True,
            "verdict": "conforms",
            "person": "1001",
            "recorded": "17 Mar 2026 10:30 +01:00",
            "second": [],
            "document": "",
            "key": "head_angle",
            "lower": "61.85",
            "upper": "62.15",
            "values": ["61.94"],
            "at": "2026-03-17T09:30:00Z",
            "concession": "",
        }
        assert says["results"]["stages"][1]["lines"][1]["second"] == [
            "second inspection: 3.4 mm, 1002, 17 Mar 2026 10:30 +01:00"
        ]
        assert says["results"]["stages"][2]["not_due"] == ["302 Gap at the bracket (1 in 5)"]

    def test_lists_nonconformances_and_excepts_what_is_conceded(self, workshop: Workshop) -> None:
        Case.out_of_band(workshop).decide("use_as_is").close_without_correction()
        for key in ("left_length", "right_length", "tack_look"):
            workshop.send(workshop.operation(key))
        workshop.sign(1)
        for stage in (2, 3):
            workshop.answer_stage(stage)
            workshop.sign(stage)
        mistyped = Case.by_hand(workshop).withdraw()
        says = content_of(certified(release_unit(workshop)).id)
        assert says["statement"]["declaration"].endswith(
            "it cites, except where concession CN-2026-0001 permits otherwise."
        )
        assert "10 conform, 1 covered by concession CN-2026-0001." in says["statement"]["counts"]
        (line, *_) = says["results"]["stages"][0]["lines"]
        assert (line["verdict"], line["outcome"]) == ("does not conform, concession CN-2026-0001", "out_of_band")
        reports = [(one["number"], one["disposition"], one["state"]) for one in says["nonconformances"]["reports"]]
        assert reports == [
            ("NCR-2026-0001", "use as is, procedure CS-3", "closed 17 Mar 2026"),
            (mistyped.number, "", "withdrawn 17 Mar 2026"),
        ]
        (permit,) = says["nonconformances"]["concessions"]
        assert (permit["number"], permit["limits"], permit["checkpoint"]) == ("CN-2026-0001", "61.85 to 62.50", "101")

    def test_changes_in_nothing_when_the_records_change_afterwards(self, released: Workshop) -> None:
        card = certified(released)
        before = Certificate.objects.values_list("content", "digest").get(pk=card.id)
        take_back(released)
        released.send(correction(released, "62.40"))
        Case.by_hand(released).contain()
        assert Certificate.objects.values_list("content", "digest").get(pk=card.id) == before
        assert content_of(card.id)["results"]["stages"][0]["lines"][0]["value"] == "61.94"

    def test_refuses_a_text_that_was_altered_behind_its_back(self, released: Workshop) -> None:
        card = certified(released)
        with lifted("a test of tampering", ["certificates_certificate"]):
            text = Certificate.objects.get(pk=card.id).content.replace("61.94", "61.95")
            _force(card.id, text)
        with pytest.raises(Refused) as caught:
            content_of(card.id)
        assert caught.value.code == "content_altered"

    def test_is_written_once(self, released: Workshop) -> None:
        row = Certificate.objects.get(pk=certified(released).id)
        for change in (row.save, row.delete):
            with pytest.raises(Refused, match="never changed"):
                change()

    def test_marks_the_demonstration(self, released: Workshop, settings: Any) -> None:
        settings.QCAPP_DEMO = True
        assert content_of(certified(released).id)["identity"]["demonstration"] is True


def _force(certificate_id: int, text: str) -> None:
    with connections["default"].cursor() as cursor:
        cursor.execute("UPDATE certificates_certificate SET content = %s WHERE id = %s", [text, certificate_id])


@pytest.mark.django_db
class TestStanding:
    def test_finds_an_issue_by_its_number_and_by_its_token(self, released: Workshop) -> None:
        card = certified(released)
        assert certificate(" fr-2026-0001", 1) == check_token(card.token) == card

    @pytest.mark.parametrize("number", ["FR-2026-0002", "", "FR\0", "x" * 300])
    def test_says_that_a_number_is_not_known(self, released: Workshop, number: str) -> None:
        with pytest.raises(NotFound) as caught:
            certificate(number, 1)
        assert caught.value.code == "certificate_unknown"

    @pytest.mark.parametrize("token", ["x" * 43, "", "x\0", "x" * 5000])
    def test_says_that_an_address_is_not_ours(self, released: Workshop, token: str) -> None:
        certified(released)
        with pytest.raises(NotFound, match="No certificate of this maker"):
            check_token(token)

    def test_is_withdrawn_by_a_signed_act_with_a_reason(self, released: Workshop) -> None:
        card = certified(released)
        take_issue_back(released, card)
        found = certificate(card.number, 1)
        assert (found.standing, found.withdrawn_reason) == ("withdrawn", "Wrong order number.")
        assert entries_about("certificate FR-2026-0001/1")[0].verb == "certificate.withdrawn"

    def test_refuses_a_second_withdrawal(self, released: Workshop) -> None:
        card = certified(released)
        take_issue_back(released, card)
        with refused("withdrawn_already", *ROOMS):
            take_issue_back(released, card)

    def test_refuses_a_withdrawal_without_a_reason_or_by_somebody_who_may_not(self, released: Workshop) -> None:
        card = certified(released)
        with refused("text_missing", *ROOMS):
            take_issue_back(released, card, "")
        with refused("not_permitted", *ROOMS):
            take_issue_back(released, card, by=released.cast.engineer)

    def test_asks_what_changed_after_a_withdrawn_issue(self, released: Workshop) -> None:
        take_issue_back(released, certified(released))
        with refused("change_note_missing", *ROOMS):
            certified(released)
        assert certified(released, change_note="Order number corrected.").issue == 2

    def test_is_under_review_while_the_release_is_taken_back(self, released: Workshop) -> None:
        card = certified(released)
        take_back(released)
        assert certificate(card.number, 1).standing == "under review"

    def test_is_under_review_while_the_unit_is_on_hold(self, released: Workshop) -> None:
        card = certified(released)
        case = Case.by_hand(released)
        assert check_token(card.token).standing == "under review"
        case.withdraw()
        assert check_token(card.token).standing == "current"

    def test_reads_every_issue_in_two_queries(self, released: Workshop, django_assert_max_num_queries: Any) -> None:
        certified(released)
        certified(released, change_note="Order number corrected.")
        with django_assert_max_num_queries(2):
            assert len(certificates_of(released.item_id)) == 2


@pytest.mark.django_db(transaction=True)
def test_gives_one_number_and_one_document_to_two_people_who_issue_at_the_same_time(cast: Cast) -> None:
    workshop = release_unit(Workshop.opened(cast).finish())
    people = [cast.quality_manager, cast.second_quality_manager]

    def issue(number: int) -> str:
        try:
            return issue_certificate(by=people[number], serial=workshop.serial, at=ISSUED_AT).number
        except QcError as refusal:
            return refusal.code

    assert sorted(both_at_once(lambda: issue(0), lambda: issue(1))) == ["FR-2026-0001", "issued_already"]
    assert Certificate.objects.count() == 1
