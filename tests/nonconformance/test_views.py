"""The pages of nonconformances, as a browser meets them."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from qcapp.inspections.services.beside import Spot, keep_photo
from qcapp.lib.fields import uuid7
from qcapp.nonconformance.cards import SECRET
from qcapp.nonconformance.models import Report
from qcapp.people.models import Person

from ..cast import PIN, Cast
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import rows_of

pytestmark = pytest.mark.django_db
Browser = Callable[[Person], Client]
Count = Callable[[int], Any]
ROOMS = ("nonconformance", "inspections", "production")
ACTS = ("contain", "propose", "sign", "start", "finish", "fail", "close", "withdraw")


@pytest.fixture(autouse=True)
def _in_march(monkeypatch: pytest.MonkeyPatch, fixed_now: Any) -> None:
    """The pages ask the clock; the cast plays in March 2026."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now)


def send(client: Client, case: Case, act: str, **fields: Any) -> Any:
    return client.post(f"/nonconformances/{case.number}/{act}/", fields)


def test_lists_reports_by_state(case: Case, client_of: Browser, django_assert_max_num_queries: Count) -> None:
    ended = Case.by_hand(case.workshop).withdraw()
    client = client_of(case.cast.customer_service)
    with django_assert_max_num_queries(20):
        page = client.get("/nonconformances/").text
    assert case.number in page
    assert ended.number not in page
    assert "101 Head angle: 62.40 ° (61.85 to 62.15 °)" in page
    assert ended.number in client.get("/nonconformances/?state=withdrawn").text
    everything = client.get("/nonconformances/?state=all").text
    assert case.number in everything
    assert ended.number in everything
    assert "No report in this state" in client.get("/nonconformances/?state=nonsense").text


def test_shows_a_report_with_what_may_be_done_by_whom(
    case: Case, client_of: Browser, django_assert_max_num_queries: Count
) -> None:
    client = client_of(case.cast.quality_manager)
    with django_assert_max_num_queries(20):
        page = client.get(f"/nonconformances/{case.number}/").text
    assert "FR-200-0147 is on hold." in page
    assert "out of band by 0.25 °" in page
    assert "Record containment" in page
    assert "Sign the withdrawal" in page
    assert "Start rework" not in page
    assert "Record containment" not in client_of(case.cast.welder).get(f"/nonconformances/{case.number}/").text


@pytest.mark.parametrize(("key", "answer", "bars"), [("head_angle", "62.40", 2), ("pores", {"count": 3}, 1)])
def test_draws_the_limits_that_the_checkpoint_has(
    workshop: Workshop, client_of: Browser, key: str, answer: Any, bars: int
) -> None:
    """A count has no lower limit, because nobody counts below zero."""
    case = Case.out_of_band(workshop, key, answer)
    page = client_of(case.cast.customer_service).get(f"/nonconformances/{case.number}/").text
    assert page.split("<dt>Answer</dt>")[1].split("</svg>")[0].count("<rect ") == bars


def test_says_the_limits_of_a_permit_with_their_unit(workshop: Workshop, client_of: Browser) -> None:
    told = {"family_code": "FR-200", "checkpoint_key": "head_angle", "upper": "62.50", "quantity": "1"}
    client = client_of(workshop.cast.engineer)
    assert client.post("/nonconformances/permits/propose/", told | {"statement": "Trail stays."}).status_code == 302
    assert "<dd>max 62.50 °</dd>" in client.get("/nonconformances/permits/").text


GROUPS = {"for-correction": {"steps", "reinspect"}, "for-concession": {"concession_lower", "ends_on"}}


def names_in(page: str, group: str) -> set[str]:
    part = page.split(f'<fieldset class="group {group}">')[1].split("</fieldset>")[0]
    return set(re.findall(r' name="(\w+)"', part))


def test_groups_what_some_dispositions_ask_and_shows_all_once_it_was_refused(case: Case, client_of: Browser) -> None:
    case.contain()
    client = client_of(case.cast.quality_manager)
    page = client.get(f"/nonconformances/{case.number}/").text
    assert all(names <= names_in(page, group) for group, names in GROUPS.items())
    assert page.count('name="instruction"') == 1
    assert 'class="stack proposing"' in page
    told = {"disposition": "scrap", "instruction": "Cut up.", "cause": "method", "concession_upper": "62.50"}
    refused = send(client, case, "propose", **told)
    assert "Only use as is and repair carry limits of a concession" in refused.text
    assert 'class="stack proposing whole"' in refused.text


def test_prints_the_limits_of_a_concession_with_their_unit(case: Case, client_of: Browser) -> None:
    case.contain().propose("use_as_is").sign()
    answer = client_of(case.cast.quality_manager).get(f"/nonconformances/{case.number}/report.pdf")
    words = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages)
    assert "to 62.50 °." in words


def test_offers_a_signature_only_in_roles_that_the_person_holds(case: Case, client_of: Browser) -> None:
    case.contain().propose("repair")
    page = client_of(case.cast.engineer).get(f"/nonconformances/{case.number}/").text
    assert '<option value="engineer"' in page
    assert '<option value="welding_coordinator"' not in page
    assert "quality manager, engineer, welding coordinator" in page


def test_says_who_has_the_next_step(case: Case, client_of: Browser) -> None:
    client = client_of(case.cast.keeper)
    assert "Another role has the next step" in client.get(f"/nonconformances/{case.number}/").text
    case.correct_the_entry().withdraw()
    assert "Nothing more is to be done." in client.get(f"/nonconformances/{case.number}/").text


@pytest.mark.parametrize("number", ["NCR-2026-0999", "NCR%00"])
def test_answers_an_unknown_number_with_a_page_that_says_so(case: Case, client_of: Browser, number: str) -> None:
    answer = client_of(case.cast.inspector).get(f"/nonconformances/{number}/")
    assert answer.status_code == 404
    assert "report_unknown" in answer.text


def test_leads_a_report_from_open_to_closed(case: Case, client_of: Browser) -> None:
    cast = case.cast
    manager, engineer, welder = (client_of(getattr(cast, n)) for n in ("quality_manager", "engineer", "welder"))
    assert send(manager, case, "contain", note="Set aside.\r\nTagged.").status_code == 302
    proposal = {"disposition": "rework", "instruction": "Straighten.", "cause": "method", "reinspect": ["left_length"]}
    assert send(manager, case, "propose", **proposal).status_code == 302
    read = case.view.proposal.id  # type: ignore[union-attr]
    signed = {"pin": PIN, "proposal_id": read}
    assert send(manager, case, "sign", role="quality_manager", **signed).status_code == 302
    assert send(engineer, case, "sign", role="engineer", **signed).status_code == 302
    assert send(welder, case, "start").status_code == 302
    assert send(welder, case, "finish", note="Straightened once.").status_code == 409
    assert send(welder, case, "step", position="1", note="").status_code == 302
    assert send(welder, case, "finish", note="Straightened once.").status_code == 302
    refusal = send(manager, case, "close", corrective_action="New clamp.", pin=PIN)
    assert refusal.status_code == 409
    assert "102 Left length: not inspected in round 2 yet." in refusal.text
    assert "New clamp." in refusal.text
    case.inspect_again().inspect_again("250.1", "left_length").inspect_again("250.0", "right_length", round=1)
    assert send(manager, case, "close", corrective_action="New clamp.", pin=PIN).status_code == 302
    page = manager.get(f"/nonconformances/{case.number}/").text
    assert "signed (PIN)" in page
    assert "Set aside. Tagged." in page


def test_decides_again_after_a_correction_that_failed(case: Case, client_of: Browser) -> None:
    case.decide().start().finish()
    manager = client_of(case.cast.quality_manager)
    assert "Decide again" in manager.get(f"/nonconformances/{case.number}/").text
    assert send(manager, case, "fail", note="Twisted back.").status_code == 302
    assert case.state == "contained"


def test_closes_use_as_is_under_a_concession_typed_with_a_comma(case: Case, client_of: Browser) -> None:
    case.contain()
    manager = client_of(case.cast.quality_manager)
    proposal = {"disposition": "use_as_is", "instruction": "Inside the travel.", "cause": "method"}
    answer = send(manager, case, "propose", **proposal, concession_upper="62,5 x")
    assert answer.status_code == 400
    assert "62,5 x" in answer.text
    assert send(manager, case, "propose", **proposal, concession_upper="62,50").status_code == 302
    case.sign()
    page = manager.get(f"/nonconformances/{case.number}/").text
    assert "CN-2026-0001" in page
    assert "to 62.50 °" in page
    assert send(manager, case, "close", corrective_action="None needed.", pin=PIN).status_code == 302


def test_withdraws_a_report_by_two_signatures(case: Case, client_of: Browser) -> None:
    case.correct_the_entry()
    for person in (case.cast.quality_manager, case.cast.engineer):
        assert send(client_of(person), case, "withdraw", reason="Mistyped.", pin=PIN).status_code == 302
    assert case.state == "withdrawn"


# -------------------------------------------------------------------------------------------------- refusals


def test_refuses_the_acts_of_somebody_who_may_not(case: Case, client_of: Browser) -> None:
    client = client_of(case.cast.customer_service)
    before = rows_of(*ROOMS)
    for act in ACTS:
        answer = send(client, case, act, note="x", reason="x", pin=PIN)
        assert (answer.status_code, "not_permitted" in answer.text) == (403, True), act
    assert rows_of(*ROOMS) == before


def test_sends_a_stranger_to_sign_in(case: Case, client: Client) -> None:
    before = rows_of(*ROOMS)
    for act in ACTS:
        assert send(client, case, act, note="x", reason="x", pin=PIN)["Location"].startswith("/sign-in/"), act
        assert client.get(f"/nonconformances/{case.number}/{act}/").status_code in (302, 405)
    assert rows_of(*ROOMS) == before


def test_keeps_what_was_typed_and_not_the_pin(case: Case, client_of: Browser) -> None:
    case.correct_the_entry()
    client = client_of(case.cast.quality_manager)
    before = rows_of(*ROOMS)[Report._meta.label]
    answer = send(client, case, "withdraw", reason="Digits exchanged at the bench.", pin="111222")
    assert answer.status_code == 403
    assert "Badge and PIN do not fit" in answer.text
    assert "Digits exchanged at the bench." in answer.text
    assert "111222" not in answer.text
    assert rows_of(*ROOMS)[Report._meta.label] == before
    assert case.state == "open"


def test_says_what_is_possible_when_the_state_stands_against_it(case: Case, client_of: Browser) -> None:
    answer = send(client_of(case.cast.welder), case, "finish", note="Done.")
    assert answer.status_code == 409
    assert (
        "“finish correction” is not possible while the state is “open”. Possible now: contain, withdraw." in answer.text
    )


def test_refuses_a_form_that_is_not_filled_in(case: Case, client_of: Browser) -> None:
    answer = send(client_of(case.cast.quality_manager), case, "contain", note="")
    assert answer.status_code == 400
    assert "This field is required." in answer.text


def test_refuses_a_signature_in_a_role_that_somebody_took_meanwhile(case: Case, client_of: Browser) -> None:
    case.contain().propose().sign("quality_manager")
    read = case.view.proposal.id  # type: ignore[union-attr]
    client = client_of(case.cast.second_quality_manager)
    answer = send(client, case, "sign", role="quality_manager", proposal_id=read, pin=PIN)
    assert answer.status_code == 409
    assert "Isolde Brandt has signed as quality manager already." in answer.text


# ---------------------------------------------------------------------------------------------------- by hand


def test_raises_a_report_by_hand(workshop: Workshop, client_of: Browser) -> None:
    client = client_of(workshop.cast.assembler)
    page = client.get("/nonconformances/raise/?serial=FR-200-0147&checkpoint=105").text
    assert 'value="FR-200-0147"' in page
    assert 'value="105"' in page
    fields = {"serial": "fr-200-0147", "title": "Dent <b>3 mm</b>", "severity": "minor", "checkpoint_key": "105"}
    answer = client.post("/nonconformances/raise/", fields)
    assert answer["Location"] == "/nonconformances/NCR-2026-0001/"
    page = client.get(answer["Location"]).text
    assert "NCR-2026-0001 is open and the unit is on hold." in page
    assert "Dent &lt;b&gt;3 mm&lt;/b&gt;" in page


def test_raises_a_report_with_a_photo(workshop: Workshop, client_of: Browser, tmp_path: Path, settings: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    written = io.BytesIO()
    Image.new("RGB", (64, 48), "grey").save(written, "JPEG")
    photo = SimpleUploadedFile("dent.jpg", written.getvalue(), content_type="image/jpeg")
    fields = {"serial": "FR-200-0147", "title": "Dent", "severity": "minor", "photo": photo}
    client = client_of(workshop.cast.assembler)
    page = client.get(client.post("/nonconformances/raise/", fields)["Location"]).text
    assert '<h2 id="pictures">Photos</h2>' in page
    assert page.count('role="img" aria-label="Photo"') == 1


def test_keeps_what_was_typed_when_a_report_by_hand_is_refused(workshop: Workshop, client_of: Browser) -> None:
    client = client_of(workshop.cast.assembler)
    before = rows_of(*ROOMS)
    fields = {"serial": "FR-200-9999", "title": "Dent in the tube", "severity": "minor"}
    answer = client.post("/nonconformances/raise/", fields)
    assert answer.status_code == 404
    assert "There is no unit FR-200-9999." in answer.text
    assert "Dent in the tube" in answer.text
    assert client.post("/nonconformances/raise/", {"title": "only this"}).status_code == 400
    assert rows_of(*ROOMS) == before


def test_refuses_to_raise_for_who_only_looks(cast: Cast, client_of: Browser) -> None:
    assert client_of(cast.keeper).get("/nonconformances/raise/").status_code == 403


# ----------------------------------------------------------------------------------------------------- secrets


def test_keeps_a_first_answer_from_who_may_give_the_second(workshop: Workshop, client_of: Browser) -> None:
    workshop.answer_stage(1)
    workshop.sign(1)
    case = Case.out_of_band(workshop, "throat_w7", "2.2")
    case.contain()
    second, engineer = client_of(workshop.cast.second_inspector), client_of(workshop.cast.engineer)
    for address in ("/nonconformances/", f"/nonconformances/{case.number}/"):
        page = second.get(address).text
        assert SECRET in page
        assert "2.2" not in page
        assert "2.2 mm" in engineer.get(address).text


def test_shows_photos_of_the_checkpoint_with_their_marks(
    case: Case, client_of: Any, settings: Any, tmp_path: Path
) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    workshop = case.workshop
    written = io.BytesIO()
    Image.new("RGB", (64, 48), "grey").save(written, "JPEG")
    spot = Spot(uuid7(), workshop.serial, "head_angle", "tablet 7", workshop.at)
    told = {"by": workshop.cast.inspector, "content": written.getvalue(), "name": "a.jpg", "at": workshop.at}
    keep_photo(spot=spot, marks=[[120, 340]], note="burr at the gusset", **told)
    page = client_of(workshop.cast.quality_manager).get(f"/nonconformances/{case.number}/").content.decode()
    assert "Photos taken at the checkpoint" in page
    assert "burr at the gusset" in page
    assert 'cx="120" cy="340"' in page
