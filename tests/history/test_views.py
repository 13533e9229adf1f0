"""The start page, the search, and the history of a unit, as a browser meets them."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfReader

from qcapp.nonconformance.cards import SECRET
from qcapp.people.models import Person

from ..cast import Cast
from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case

pytestmark = pytest.mark.django_db
Browser = Callable[[Person], Client]
Count = Callable[[int], Any]


@pytest.fixture(autouse=True)
def _in_march(monkeypatch: pytest.MonkeyPatch, fixed_now: Any) -> None:
    """The pages ask the clock; the cast plays in March 2026."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now)


def test_shows_a_unit_with_everything_about_it(
    workshop: Workshop, client_of: Browser, django_assert_max_num_queries: Count
) -> None:
    Case.out_of_band(workshop)
    client = client_of(workshop.cast.customer_service)
    with django_assert_max_num_queries(30):  # the first reading of a plan, kept afterwards
        client.get("/units/FR-200-0147/")
    with django_assert_max_num_queries(20):
        page = client.get("/units/FR-200-0147/").text
    for text in (
        "FR-200-0147",
        "On hold",
        "1 report not ended",
        "Head angle: 62.40 °, out of band",
        'href="/nonconformances/NCR-2026-0001/"',
        "W7</dt><dd>Casimir Voss, stamp W11, WP-3",
        "None is issued yet.",
        "0 of 3 stages signed",
    ):
        assert text in page, text
    assert "Bench</a>" not in page


def test_offers_what_the_person_may_do(workshop: Workshop, client_of: Browser) -> None:
    page = client_of(workshop.cast.inspector).get("/units/FR-200-0147/").text
    assert 'href="/units/FR-200-0147/bench/"' in page
    assert 'href="/nonconformances/raise/?serial=FR-200-0147"' in page


def test_links_the_certificate_for_those_who_may_get_it(workshop: Workshop, client_of: Browser) -> None:
    certified(release_unit(workshop.finish()))
    link = 'href="/certificates/FR-2026-0001/1.pdf"'
    assert link in client_of(workshop.cast.customer_service).get("/units/FR-200-0147/").text
    page = client_of(workshop.cast.inspector).get("/units/FR-200-0147/").text
    assert link not in page
    assert "FR-2026-0001 issue 1" in page


def test_keeps_a_first_answer_from_who_still_owes_the_second(workshop: Workshop, client_of: Browser) -> None:
    workshop.answer_stage(1)
    Case.out_of_band(workshop, "throat_w7", "2.2")
    page = client_of(workshop.cast.second_inspector).get("/units/FR-200-0147/").text
    assert SECRET in page
    assert "kept for the second inspection" in page
    assert "2.2" not in page
    assert SECRET not in client_of(workshop.cast.engineer).get("/units/FR-200-0147/").text


def test_draws_in_the_timeline_the_limits_that_a_value_has(workshop: Workshop, client_of: Browser) -> None:
    """A throat has a least thickness and no greatest: one bar, as at the bench."""
    workshop.answer_stage(1)
    Case.out_of_band(workshop, "throat_w7", "2.2")
    page = client_of(workshop.cast.engineer).get("/units/FR-200-0147/").text
    lines = re.findall(r"<li><time.*?</li>", page, re.DOTALL)
    (throat,) = [line for line in lines if "Throat of W7: 2.2 mm, out of band" in line]
    assert throat.count("<rect") == 1


def test_answers_an_unknown_serial_with_a_page_that_says_so(workshop: Workshop, client_of: Browser) -> None:
    answer = client_of(workshop.cast.inspector).get("/units/FR-200-0148/")
    assert answer.status_code == 404
    assert "Near it: FR-200-0147." in answer.text


def test_finds_units_by_any_part_of_the_serial(
    workshop: Workshop, client_of: Browser, django_assert_max_num_queries: Count
) -> None:
    workshop.another_unit("FR-200-0148")
    client = client_of(workshop.cast.customer_service)
    with django_assert_max_num_queries(20):
        page = client.get("/units/?q=fr200014").text
    assert "FR-200-0147" in page
    assert "FR-200-0148" in page
    assert client.get("/units/?q=0147")["Location"] == "/units/FR-200-0147/"
    assert "No unit has “9999” in its serial, VIN, order or certificate." in client.get("/units/?q=9999").text
    assert client.get("/units/").status_code == 200


@pytest.mark.parametrize(("typed", "status"), [("x" * 61, 400), ("%00", 200), ("<script>", 200)])
def test_takes_whatever_is_typed_into_the_search(
    workshop: Workshop, client_of: Browser, typed: str, status: int
) -> None:
    answer = client_of(workshop.cast.inspector).get(f"/units/?q={typed}")
    assert answer.status_code == status
    assert "<script>" not in answer.text


def test_begins_with_what_waits(workshop: Workshop, client_of: Browser, django_assert_max_num_queries: Count) -> None:
    Case.out_of_band(workshop)
    client = client_of(workshop.cast.inspector)
    with django_assert_max_num_queries(20):
        page = client.get("/").text
    assert 'href="/units/FR-200-0147/"' in page
    assert "101 Head angle: 62.40 °" in page
    assert "To the floor" in page


def test_begins_for_somebody_without_a_role_as_well(cast: Cast, client_of: Browser) -> None:
    page = client_of(cast.stranger_to_all_roles).get("/")
    assert page.status_code == 200
    assert "Look up a unit</h1>" not in page.text


@pytest.mark.parametrize("address", ["/", "/units/", "/units/FR-200-0147/"])
def test_sends_a_stranger_to_sign_in(workshop: Workshop, client: Client, address: str) -> None:
    assert client.get(address)["Location"].startswith("/sign-in/")


def test_refuses_to_look_up_without_a_role(workshop: Workshop, client_of: Browser) -> None:
    client = client_of(workshop.cast.stranger_to_all_roles)
    assert client.get("/units/FR-200-0147/").status_code == 403


def test_prints_the_whole_history(workshop: Workshop, client_of: Browser) -> None:
    Case.out_of_band(workshop)
    answer = client_of(workshop.cast.customer_service).get("/units/FR-200-0147/history.pdf")
    assert answer["Content-Type"] == "application/pdf"
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
    for words in (
        "FR-200-0147",
        "on hold",
        "NCR-2026-0001",
        "62.40 °",
        "61.85 to 62.15",
        "out of band",
        "Casimir Voss",
    ):
        assert words in text, words


def test_finds_a_unit_by_the_api(workshop: Workshop, client_of: Browser) -> None:
    client = client_of(workshop.cast.inspector)
    (found,) = client.get("/api/v1/look-up", {"q": "fr 2oo 0147"}).json()["units"]
    assert (found["serial"], found["found_by"]) == ("FR-200-0147", "serial")
    assert "customer" not in found
    for fragment in ("%", "_", "x" * 10_000, "--"):
        assert client.get("/api/v1/look-up", {"q": fragment}).json() == {"units": []}
