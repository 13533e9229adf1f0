"""The plans' pages."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from qcapp.people.models import Attempts
from qcapp.plans import plan_file, queries
from tests.factories.gauges import every_gauge_kind
from tests.factories.plans import FR200, attribute, draft, in_review, plan_text, released
from tests.factories.production import FamilyFactory
from tests.unchanged import rows_of

PLAIN = plan_text({"criticality": "major"})


@pytest.fixture
def manager(cast, client_of):
    return client_of(cast.quality_manager)


@pytest.fixture
def inspector(cast, client_of):
    return client_of(cast.inspector)


@pytest.fixture
def releaser(cast, client_of):
    return client_of(cast.second_quality_manager)


@pytest.fixture
def engineer(cast, client_of):
    return client_of(cast.engineer)


def upload(client, data, **changes):
    FamilyFactory()
    every_gauge_kind()
    values = {
        "family_code": "FR-200",
        "letter": "D",
        "file": SimpleUploadedFile("FR-200.csv", data),
    } | changes
    return client.post("/plans/import/", values)


def text_of(answer):
    return answer.content.decode()


# --- the list ----------------------------------------------------------------------------------------------


def test_lists_each_family_with_its_revisions(cast, proof_of, fixed_now, manager, django_assert_max_num_queries):
    released(cast, proof_of, fixed_now, PLAIN)
    draft(cast, fixed_now, PLAIN, letter="B")
    FamilyFactory(code="FK-30", name="girder fork")
    with django_assert_max_num_queries(21):
        page = text_of(manager.get("/plans/"))
    assert "revision A" in page
    assert "revision B" in page
    assert "none: no unit can be opened" in page
    assert "Import a plan file" in page


def test_offers_no_import_to_who_may_only_look(cast, client_of):
    FamilyFactory()
    client = client_of(cast.inspector)
    assert "Import" not in text_of(client.get("/plans/"))
    assert client.get("/plans/import/").status_code == 403


# --- the import --------------------------------------------------------------------------------------------


def test_imports_an_uploaded_file_as_a_draft(manager):
    answer = upload(manager, FR200.read_bytes(), change_note="first issue")
    card = queries.revision_of("FR-200", "D")
    assert answer.headers["Location"] == f"/plans/{card.uuid}/"
    assert (card.state, card.checkpoint_count, card.change_note) == ("draft", 164, "first issue")


def test_shows_every_finding_with_line_and_column_and_imports_nothing(manager):
    before = rows_of("plans")
    answer = upload(manager, plan_text({"nominal": "<b>x", "joint": "y"}, attribute(101)).encode())
    page = text_of(answer)
    assert answer.status_code == 400
    assert "3 findings" in page
    assert "3 errors; nothing was imported" in page
    assert all(word in page for word in ("nominal", "joint", "I2", "number_twice"))
    assert "<b>x" not in page
    assert rows_of("plans") == before


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"PK\x03\x04 workbook", "The workbook cannot be read"),
        (b"\xd0\xcf\x11\xe0 workbook", "This is an old spreadsheet"),
        (b"x" * (plan_file.MAX_BYTES + 1), "larger than 5 MB"),
        (b"stage_number\0", "NUL character"),
        (b"", "empty"),
    ],
)
def test_says_in_a_sentence_why_a_file_is_refused(manager, data, sentence):
    answer = upload(manager, data)
    assert answer.status_code == 400
    assert sentence in text_of(answer)


def test_says_that_a_letter_is_taken(cast, fixed_now, manager):
    draft(cast, fixed_now, PLAIN)
    answer = upload(manager, PLAIN.encode(), letter="A")
    assert answer.status_code == 409
    assert "import this one as B" in text_of(answer)


def test_proposes_the_next_letter_of_the_family_asked_for(cast, fixed_now, manager):
    draft(cast, fixed_now, PLAIN)
    assert 'value="B"' in text_of(manager.get("/plans/import/?family=FR-200"))
    assert manager.get("/plans/import/?family=ZZ").status_code == 200


# --- one revision ------------------------------------------------------------------------------------------


def test_shows_one_stage_as_a_table(cast, fixed_now, inspector, django_assert_max_num_queries):
    card = draft(cast, fixed_now)
    with django_assert_max_num_queries(21):
        page = text_of(inspector.get(f"/plans/{card.uuid}/?stage=5"))
    assert page.count("<tbody>") >= 1
    for text in ("Pivot bore", "H7", "30.000", "30.021", "bore gauge, air gauge", "1 in 5", "conforms"):
        assert text in page
    assert "Cut-tube kit" not in page
    assert "AQ-FR200-05 rev C" in page
    assert "is critical, but has no second inspection" in page


def test_shows_the_first_stage_unless_asked_and_all_when_asked(cast, fixed_now, inspector):
    card = draft(cast, fixed_now)
    assert "Cut-tube kit" in text_of(inspector.get(f"/plans/{card.uuid}/"))
    everything = text_of(inspector.get(f"/plans/{card.uuid}/?stage=all"))
    assert "Cut-tube kit" in everything
    assert "Serial stamp, read back" in everything
    assert "There is no such stage" in text_of(inspector.get(f"/plans/{card.uuid}/?stage=77"))


def test_shows_one_checkpoint_with_band_caution_and_source(cast, fixed_now, inspector):
    card = draft(cast, fixed_now)
    page = text_of(inspector.get(f"/plans/{card.uuid}/?stage=5&checkpoint=508"))
    assert "ISO 286-1:2010" in page
    assert "<svg" in page
    page = text_of(inspector.get(f"/plans/{card.uuid}/?stage=6&checkpoint=604"))
    assert "Stored energy" in page
    assert "licensed or qualified persons decide" in page


def test_shows_what_differs_from_the_revision_before(cast, proof_of, fixed_now, manager):
    released(cast, proof_of, fixed_now, plan_text({}, attribute(102)))
    card = in_review(cast, fixed_now, plan_text({"limits": "±0.10"}), letter="B")
    page = text_of(manager.get(f"/plans/{card.uuid}/"))
    assert "Differences from revision A" in page
    assert "tightened" in page
    assert "removed" in page
    assert "The engineer has to approve 1 critical checkpoint first" in page
    assert "You wrote this revision" in page


def test_exports_the_plan_as_the_file_it_was(cast, fixed_now, client_of):
    card = draft(cast, fixed_now, PLAIN)
    answer = client_of(cast.inspector).get(f"/plans/{card.uuid}/plan.csv")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="FR-200-A.csv"'
    assert answer.content.decode("utf-8-sig").splitlines()[1].startswith("1,Alignment,,,101,head_angle")


def test_an_unknown_revision_is_not_found(manager):
    assert manager.get("/plans/01890000-0000-7000-8000-000000000000/").status_code == 404


# --- the acts ----------------------------------------------------------------------------------------------


def test_goes_the_whole_way_by_its_buttons(cast, fixed_now, manager, engineer, releaser):
    card = draft(cast, fixed_now, plan_text())
    address = f"/plans/{card.uuid}/"
    assert "Send for review" in text_of(manager.get(address))
    assert manager.post(f"{address}send-for-review/").headers["Location"] == address
    assert "Approve limits and methods" in text_of(engineer.get(address))
    assert engineer.post(f"{address}approve/", {"pin": cast.pin}).status_code == 302
    assert "Approved by Leopold Tarn" in text_of(releaser.get(address))
    assert releaser.post(f"{address}release/", {"pin": cast.pin}).status_code == 302
    page = text_of(releaser.get(address))
    assert "Released" in page
    assert "Withdraw this revision" in page
    assert releaser.post(f"{address}withdraw/", {"pin": cast.pin, "reason": "wrong"}).status_code == 302
    assert queries.revision_by_id(card.id).state == "withdrawn"


def test_puts_what_a_reviewer_looks_at_first_and_leads_to_what_it_would_have_done(
    cast, proof_of, fixed_now, manager, releaser, django_assert_max_num_queries
):
    released(cast, proof_of, fixed_now, plan_text())
    card = in_review(cast, fixed_now, plan_text({"limits": "±0.10"}), "B")
    releaser.get(f"/plans/{card.uuid}/")  # what is frozen is read once
    with django_assert_max_num_queries(20):
        page = text_of(releaser.get(f"/plans/{card.uuid}/"))
    assert page.index("Differences from revision A") < page.index('aria-label="Stage 1"')
    assert f'href="/plans/{card.uuid}/try/"' in page
    assert "?stage=all&amp;checkpoint=101" in page
    assert f'action="/plans/{card.uuid}/release/"' in page
    assert f'action="/plans/{card.uuid}/release/"' not in text_of(manager.get(f"/plans/{card.uuid}/"))


def test_returns_a_revision_with_a_reason(cast, fixed_now, engineer):
    card = in_review(cast, fixed_now, PLAIN)
    assert engineer.post(f"/plans/{card.uuid}/return/", {"reason": ""}).status_code == 400
    assert engineer.post(f"/plans/{card.uuid}/return/", {"reason": "wrong datum"}).status_code == 302
    assert "wrong datum" in text_of(engineer.get(f"/plans/{card.uuid}/"))


def test_a_wrong_pin_signs_nothing_and_is_counted(cast, fixed_now, releaser):
    card = in_review(cast, fixed_now, PLAIN)
    before = rows_of("plans", "people.Signature")["people.Signature"]
    answer = releaser.post(f"/plans/{card.uuid}/release/", {"pin": "000000"})
    assert answer.status_code == 403
    assert "000000" not in text_of(answer)
    assert queries.revision_by_id(card.id).state == "in_review"
    assert rows_of("people.Signature")["people.Signature"] == before
    assert Attempts.objects.exists()


def test_a_refusal_stands_on_the_plans_page_with_what_to_do(cast, fixed_now, manager, releaser):
    card = in_review(cast, fixed_now, plan_text())
    answer = releaser.post(f"/plans/{card.uuid}/release/", {"pin": cast.pin})
    assert answer.status_code == 409
    assert "The engineer has to approve checkpoints 101 first" in text_of(answer)
    answer = manager.post(f"/plans/{card.uuid}/release/", {"pin": cast.pin})
    assert answer.status_code == 403
    assert "another person has to release it" in text_of(answer)
    answer = manager.post(f"/plans/{card.uuid}/send-for-review/")
    assert "is not possible while the state is" in text_of(answer)
    assert queries.revision_by_id(card.id).state == "in_review"


@pytest.mark.parametrize("act", ["send-for-review", "return", "approve", "release", "withdraw"])
def test_refuses_each_act_to_who_may_only_look(cast, fixed_now, client_of, act):
    card = in_review(cast, fixed_now, PLAIN)
    client = client_of(cast.inspector)
    before = rows_of("plans", "people.Signature")
    assert client.post(f"/plans/{card.uuid}/{act}/", {"pin": cast.pin, "reason": "x"}).status_code == 403
    assert rows_of("plans", "people.Signature") == before
    assert "<button" not in text_of(client.get(f"/plans/{card.uuid}/")).partition("<main")[2]
