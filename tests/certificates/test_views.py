"""The pages of release and certificate, and the public check, as a browser meets them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from qcapp.certificates.queries import CertificateCard, certificate, certificates_of, content_of
from qcapp.certificates.services import rendering
from qcapp.improvement.queries.field import field_action
from qcapp.improvement.services.field import follow_unit, list_units, open_field_action
from qcapp.inspections.queries import counting_answer
from qcapp.people.models import Person
from qcapp.production.queries import unit_by_serial

from ..cast import PIN
from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import rows_of
from .test_issuing import take_issue_back
from .test_releasing import take_back

pytestmark = pytest.mark.django_db
Browser = Callable[[Person], Client]
Count = Callable[[int], Any]
PAGE = "/units/FR-200-0147/release/"
ROOMS = ("certificates", "production", "inspections")


@pytest.fixture(autouse=True)
def _in_march(monkeypatch: pytest.MonkeyPatch, fixed_now: Any) -> None:
    """The pages ask the clock; the cast plays in March 2026."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now + timedelta(hours=8))  # after the release


@pytest.fixture
def issued(ready: Workshop, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Any) -> CertificateCard:
    """A certificate; its layout is a stand-in, because these tests are about the pages."""
    settings.QCAPP_DATA_DIR = tmp_path
    monkeypatch.setattr(rendering, "render", lambda card, at, look=None: b"%PDF of " + card.number.encode())
    return certified(release_unit(ready))


# ------------------------------------------------------------------------------------------------ the release page


def test_lists_what_stands_against_the_release_with_links(
    workshop: Workshop, client_of: Browser, django_assert_max_num_queries: Count
) -> None:
    Case.out_of_band(workshop)
    client = client_of(workshop.cast.quality_manager)
    client.get(PAGE)
    with django_assert_max_num_queries(20):
        page = client.get(PAGE).text
    assert "6 of 15 checks stand against it" in page
    assert "10 of 11 are open: 102, 103, 104, 105, 201, 202 and 4 more." in page
    assert 'href="/units/FR-200-0147/bench/?checkpoint=left_length"' in page
    assert 'href="/nonconformances/NCR-2026-0001/"' in page
    assert "No certificate is issued yet. It is issued after the release." in page
    assert "release/give/" not in page


def test_leads_from_ready_to_released_to_certified(ready: Workshop, client_of: Browser) -> None:
    client = client_of(ready.cast.quality_manager)
    assert "Release FR-200-0147</button>" in client.get(PAGE).text
    assert client.post(f"{PAGE}give/", {"pin": PIN})["Location"] == PAGE
    page = client.get(PAGE).text
    assert "FR-200-0147 is released." in page
    assert "Isolde Brandt, quality manager" in page
    assert client.post(f"{PAGE}issue/", {"change_note": ""})["Location"] == PAGE
    page = client.get(PAGE).text
    assert "FR-2026-0001 issue 1" in page
    assert 'href="/certificates/FR-2026-0001/1.pdf"' in page
    assert client.post(f"{PAGE}withdraw/", {"pin": PIN, "reason": "Dent found."}).status_code == 302
    page = client.get(PAGE).text
    assert "Release withdrawn" in page
    assert "under review" in page
    assert unit_by_serial(ready.serial).state == "in_build"


def test_offers_the_acts_to_those_who_may_only(ready: Workshop, client_of: Browser) -> None:
    for part in ("inspector", "engineer", "customer_service"):
        page = client_of(getattr(ready.cast, part)).get(PAGE).text
        assert "/release/give/" not in page
        assert "/release/issue/" not in page


@pytest.mark.parametrize("act", ["give", "withdraw", "issue", "decide"])
def test_refuses_the_act_of_somebody_who_may_not(ready: Workshop, client_of: Browser, act: str) -> None:
    client, before = client_of(ready.cast.inspector), rows_of(*ROOMS)
    answer = client.post(f"{PAGE}{act}/", {"pin": PIN, "reason": "x"})
    assert (answer.status_code, "not_permitted" in answer.text) == (403, True)
    assert rows_of(*ROOMS) == before
    assert Client().post(f"{PAGE}{act}/", {"pin": PIN})["Location"].startswith("/sign-in/")


def test_refuses_a_blocked_release_and_says_what_is_missing(workshop: Workshop, client_of: Browser) -> None:
    client, before = client_of(workshop.cast.quality_manager), rows_of(*ROOMS)
    answer = client.post(f"{PAGE}give/", {"pin": PIN})
    assert answer.status_code == 409
    assert "FR-200-0147 cannot be released. Not proven: Every checkpoint that is due is answered" in answer.text
    assert rows_of(*ROOMS) == before


def test_keeps_what_was_typed_and_not_the_pin(issued: CertificateCard, ready: Workshop, client_of: Browser) -> None:
    client, before = client_of(ready.cast.quality_manager), rows_of("certificates")["certificates.Release"]
    answer = client.post(f"{PAGE}withdraw/", {"pin": "111222", "reason": "A dent in the down tube."})
    assert answer.status_code == 403
    assert "A dent in the down tube." in answer.text
    assert "111222" not in answer.text
    assert rows_of("certificates")["certificates.Release"] == before


def test_asks_what_changed_before_a_further_issue(issued: CertificateCard, ready: Workshop, client_of: Browser) -> None:
    client = client_of(ready.cast.quality_manager)
    answer = client.post(f"{PAGE}issue/", {"change_note": ""})
    assert answer.status_code == 409
    assert "FR-2026-0001 issue 1 is current for FR-200-0147" in answer.text
    assert client.post(f"{PAGE}issue/", {"change_note": "Order number corrected."}).status_code == 302
    page = client.get(PAGE).text
    assert "FR-2026-0001 issue 2" in page
    assert "Order number corrected." in page
    assert [card.standing for card in certificates_of(ready.item_id)] == ["current", "replaced"]


def test_answers_an_unknown_serial_with_a_page_that_says_so(ready: Workshop, client_of: Browser) -> None:
    answer = client_of(ready.cast.inspector).get("/units/FR-200-9999/release/")
    assert (answer.status_code, "serial_unknown" in answer.text) == (404, True)


# ------------------------------------------------------------------------------------------------------ decisions


def test_decides_about_an_answer_that_waits(workshop: Workshop, client_of: Browser) -> None:
    workshop.send(workshop.operation("head_angle", "62.145"), workshop.operation("left_length", gauge="CA-02"))
    client = client_of(workshop.cast.engineer)
    page = client.get(PAGE).text
    assert "62.145 ° is near its limit (61.85 to 62.15 °)." in page
    assert "The gauge was past its calibration date." in page
    operation = str(counting_answer(workshop.item_id, "head_angle").counts.operation)  # type: ignore[union-attr]
    fields = {"operation": operation, "about": "near_limit", "accepted": "yes", "reason": "Far from the bearing."}
    refusal = client.post(f"{PAGE}decide/", fields | {"pin": "111222"})
    assert refusal.status_code == 403
    assert refusal.text.count("Far from the bearing.") == 1
    assert client.post(f"{PAGE}decide/", fields | {"pin": PIN}).status_code == 302
    assert "62.145 ° is near its limit" not in client.get(PAGE).text
    again = client.post(f"{PAGE}decide/", fields | {"pin": PIN})
    assert (again.status_code, "a decision stands" in again.text) == (409, True)


def test_keeps_a_first_answer_back_that_waits_for_the_second(workshop: Workshop, client_of: Browser) -> None:
    workshop.send(workshop.operation("throat_w7", "3.005"))
    page = client_of(workshop.cast.second_inspector).get(PAGE).text
    assert "3.005" not in page


# --------------------------------------------------------------------------------------------------- certificates


def test_gives_the_file_and_the_frozen_content(
    issued: CertificateCard, ready: Workshop, client_of: Browser, django_assert_max_num_queries: Count
) -> None:
    client = client_of(ready.cast.customer_service)
    client.get("/certificates/FR-2026-0001/1.pdf")
    with django_assert_max_num_queries(20):
        answer = client.get("/certificates/FR-2026-0001/1.pdf")
    assert (answer.content, answer["Content-Type"]) == (b"%PDF of FR-2026-0001", "application/pdf")
    assert answer["Content-Disposition"] == 'inline; filename="FR-2026-0001-issue-1.pdf"'
    assert answer["Cache-Control"] == "private, no-store"
    frozen = client.get("/certificates/FR-2026-0001/1.json")
    assert json.loads(frozen.content)["identity"]["serial"] == "FR-200-0147"


def test_gives_no_file_to_somebody_who_may_not(issued: CertificateCard, ready: Workshop, client_of: Browser) -> None:
    for end in ("pdf", "json"):
        assert client_of(ready.cast.inspector).get(f"/certificates/FR-2026-0001/1.{end}").status_code == 403


@pytest.mark.parametrize("address", ["FR-2026-0002/1.pdf", "FR-2026-0001/2.pdf", "FR-2026-0002/1.json"])
def test_answers_an_unknown_certificate_with_a_page_that_says_so(
    issued: CertificateCard, ready: Workshop, client_of: Browser, address: str
) -> None:
    answer = client_of(ready.cast.quality_manager).get(f"/certificates/{address}")
    assert (answer.status_code, "certificate_unknown" in answer.text) == (404, True)


def test_says_so_when_the_kept_file_was_altered(
    issued: CertificateCard, ready: Workshop, client_of: Browser, tmp_path: Any
) -> None:
    client = client_of(ready.cast.quality_manager)
    client.get("/certificates/FR-2026-0001/1.pdf")
    (file,) = tmp_path.glob("evidence/*/*.pdf")
    file.write_bytes(b"altered")
    answer = client.get("/certificates/FR-2026-0001/1.pdf")
    assert (answer.status_code, "was altered on disk" in answer.text) == (409, True)


def test_withdraws_an_issue(issued: CertificateCard, ready: Workshop, client_of: Browser) -> None:
    client = client_of(ready.cast.quality_manager)
    address = "/certificates/FR-2026-0001/1/withdraw/"
    assert client.post(address, {"pin": PIN, "reason": ""}).status_code == 400
    assert client_of(ready.cast.engineer).post(address, {"pin": PIN, "reason": "x"}).status_code == 403
    assert client.post(address, {"pin": PIN, "reason": "Wrong order number."})["Location"] == PAGE
    assert certificate("FR-2026-0001", 1).standing == "withdrawn"
    assert "Withdrawn: Wrong order number." in client.get(PAGE).text
    assert client.post("/certificates/FR-2026-0009/1/withdraw/", {"pin": PIN, "reason": "x"}).status_code == 404


# ----------------------------------------------------------------------------------------------- the public check


def check(card: CertificateCard) -> str:
    """The check page as somebody sees it who has the paper and no account."""
    answer = Client().get(f"/check/{card.token}/")
    assert answer.status_code == 200
    assert "no-store" in answer["Cache-Control"]
    assert all(word in answer.text for word in ("FR-2026-0001 issue 1", "FR-200-0147", card.digest))
    return answer.text


def test_says_to_anybody_that_a_certificate_is_real_and_current(
    issued: CertificateCard, django_assert_max_num_queries: Count
) -> None:
    with django_assert_max_num_queries(8):  # four of them count the turn, one reads the keys
        assert "Real and current" in check(issued)


def test_says_that_it_was_replaced(issued: CertificateCard, ready: Workshop) -> None:
    certified(ready, change_note="Order number corrected.")
    page = check(issued)
    assert "Real, but replaced" in page
    assert "replaced by issue 2" in page
    assert "Order number" not in page


def test_says_that_it_was_withdrawn_and_not_why(issued: CertificateCard, ready: Workshop) -> None:
    take_issue_back(ready, issued)
    page = check(issued)
    assert "Real, but withdrawn" in page
    assert "Wrong order number" not in page


def test_says_that_it_is_under_review(issued: CertificateCard, ready: Workshop) -> None:
    take_back(ready)
    page = check(issued)
    assert "Real, but under review" in page
    assert "dent" not in page


@pytest.mark.parametrize("severity", ["minor", "major"])
def test_is_under_review_while_a_later_report_has_not_ended(
    issued: CertificateCard, ready: Workshop, severity: str
) -> None:
    before = content_of(issued.id)
    Case.by_hand(ready, severity).withdraw()
    case = Case.by_hand(ready, severity, title="Scratch on the tank")
    assert "Real, but under review" in check(issued)
    assert "Scratch" not in check(issued)
    case.withdraw()
    assert "Real and current" in check(issued)
    assert content_of(issued.id) == before


def test_is_under_review_until_a_recalled_unit_was_looked_at(issued: CertificateCard, ready: Workshop) -> None:
    told: dict[str, Any] = {"by": ready.cast.quality_manager, "at": ISSUED_AT + timedelta(days=30)}
    number = open_field_action(title="Look at the fork", reason="A crack at one.", **told)
    list_units(number=number, serials=[ready.serial], **told)
    assert "Real, but under review" in check(issued)
    assert "crack" not in check(issued)
    (share,) = field_action(number).customers
    (unit,) = share.units
    follow_unit(number=number, unit_id=unit.id, kind="fine", note="No crack.", **told)
    assert "Real and current" in check(issued)


@pytest.mark.parametrize("token", ["A" * 43, "x", "%00", "z" * 2000])
def test_says_that_it_is_not_ours(issued: CertificateCard, token: str) -> None:
    answer = Client().get(f"/check/{token}/")
    assert answer.status_code == 404
    assert "Not ours" in answer.text
    assert "FR-200-0147" not in answer.text


def test_tells_nobody_s_name_on_the_check_page(issued: CertificateCard) -> None:
    page = check(issued)
    assert not any(name in page for name in ("Brandt", "Marsh", "Quill", "AG-01", "A-1"))
