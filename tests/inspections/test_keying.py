"""Results keyed in from paper: whose they are, what they count for, and the second person's check."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from qcapp.audit.models import Entry
from qcapp.inspections.models import PaperSheet, Result
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.proof import unproven_in
from qcapp.inspections.services.keying import Keyed, check_keying, key_in
from qcapp.people.services import demonstration_proof
from tests.cast import PIN
from tests.evidence.files import pdf, picture
from tests.factories.inspections import SERIAL, Workshop
from tests.unchanged import refused

FIRST = (
    Keyed("head_angle", "61.94", "AG-01"),
    Keyed("left_length", "250.1", "CA-01"),
    Keyed("tack_look", "conforms"),
)


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


@pytest.fixture
def workshop(cast, fixed_now) -> Workshop:
    return Workshop.opened(cast, fixed_now)


@pytest.fixture
def key(cast, workshop, fixed_now):
    """`key(answers=…)`: the second inspector keys the first one's sheet of stage 1, measured two hours ago."""

    def perform(**changes):
        known = {
            "by": cast.second_inspector, "serial": SERIAL, "stage_number": 1, "measured_by": cast.inspector.badge,
            "measured_at": fixed_now - timedelta(hours=2), "answers": FIRST, "scan": pdf(), "scan_name": "stage1.pdf",
            "at": fixed_now,
        }  # fmt: skip
        return key_in(**(known | changes))

    return perform


@pytest.fixture
def check(fixed_now):
    def perform(person, sheet, **changes):
        known = {"proof": demonstration_proof(person, fixed_now), "sheet_uuid": sheet.uuid, "at": fixed_now}
        return check_keying(**(known | changes))

    return perform


def test_records_the_answers_as_those_of_who_measured(cast, key, fixed_now) -> None:
    sheet = key()
    rows = Result.objects.filter(operation__in=sheet.operations).order_by("id")
    assert [(row.person_id, row.sent_by_id, row.device) for row in rows] == [
        (cast.inspector.pk, cast.second_inspector.pk, "paper")
    ] * 3
    assert {row.recorded_at for row in rows} == {fixed_now - timedelta(hours=2)}
    assert (sheet.keyed_by_name, sheet.measured_by_name) == (cast.second_inspector.name, cast.inspector.name)
    assert [entry.verb for entry in Entry.objects.order_by("-id")[:2]] == ["paper.keyed", "results.recorded"]


def test_counts_for_nothing_until_another_person_held_it_against_the_sheet(cast, key, check) -> None:
    sheet = key()
    about = {one.about for one in unproven_in(inspection_of(SERIAL))}
    assert about == {"keyed_from_paper"}
    checked = check(cast.quality_manager, sheet)
    assert checked.checked_by_name == cast.quality_manager.name
    assert unproven_in(inspection_of(SERIAL)) == []
    assert Entry.objects.latest("id").verb == "paper.checked"


def test_does_not_accept_what_differs_from_the_sheet(cast, key, check) -> None:
    sheet = key()
    checked = check(cast.inspector, sheet, differing=[sheet.operations[1]], reason="The sheet says 250.2.")
    assert checked.differing == (sheet.operations[1],)
    open_ones = unproven_in(inspection_of(SERIAL))
    assert [(one.checkpoint_number, one.decided) for one in open_ones] == [(102, True)]


def test_takes_all_answers_of_a_sheet_or_none(key) -> None:
    wrong = (*FIRST, Keyed("right_length", "long", "CA-01"), Keyed("weld_w7", "conforms"), Keyed("tack_look", "ok"))
    with refused("paper_not_taken", "inspections", "evidence") as caught:
        key(answers=wrong)
    assert {one["checkpoint"] for one in caught.value.findings} == {"weld_w7", "tack_look"}
    with refused("paper_not_taken", "inspections", "evidence") as caught:
        key(answers=(*FIRST, Keyed("right_length", "long", "CA-01")))
    assert [one["checkpoint"] for one in caught.value.findings] == ["right_length"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"answers": ()}, "nothing_keyed"),
        ({"stage_number": 7}, "stage_unknown"),
        ({"measured_by": "9999"}, "badge_unknown"),
        ({"serial": "FR-200-9999"}, "serial_unknown"),
        ({"scan": b"no scan"}, "picture_not_read"),
        ({"scan": b""}, "file_empty"),
    ],
)
def test_refuses_a_sheet(key, changes, code) -> None:
    with refused(code, "inspections", "evidence"):
        key(**changes)


def test_refuses_what_was_measured_after_it_was_keyed(key, fixed_now) -> None:
    with refused("measured_later", "inspections"):
        key(measured_at=fixed_now + timedelta(minutes=1))


def test_only_who_records_results_keys_them(cast, key) -> None:
    with refused("not_permitted", "inspections", "evidence"):
        key(by=cast.customer_service)


def test_who_keyed_does_not_check_the_keying(cast, key, check) -> None:
    sheet = key()
    with refused("keyed_it_yourself", "inspections"):
        check(cast.second_inspector, sheet)
    check(cast.quality_manager, sheet)
    with refused("keying_checked_already", "inspections"):
        check(cast.inspector, sheet)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"differing": [uuid4()], "reason": "x"}, "operation_unknown"),
        ({"differing": [uuid4()]}, "text_missing"),
        ({"sheet_uuid": uuid4()}, "paper_unknown"),
    ],
)
def test_refuses_a_check(cast, key, check, changes, code) -> None:
    sheet = key()
    with refused(code, "inspections"):
        check(cast.quality_manager, sheet, **changes)


def test_the_checker_must_not_learn_what_a_second_inspection_must_not_know(cast, workshop, key, check) -> None:
    sheet = key(stage_number=2, answers=(Keyed("throat_w7", "3.4", "TG-01"),))
    with refused("second_comes_first", "inspections"):
        check(cast.quality_manager, sheet)
    check(cast.engineer, sheet)


def test_who_keyed_the_first_answer_does_not_give_the_second(cast, workshop, key, fixed_now) -> None:
    key(stage_number=2, answers=(Keyed("throat_w7", "3.4", "TG-01"),))
    given = {
        "answers": (Keyed("throat_w7", "3.5", "TG-01"),), "by": cast.quality_manager, "stage_number": 2,
        "inspection": 2,
    }  # fmt: skip
    with refused("paper_not_taken", "inspections", "evidence") as caught:
        key(measured_by=cast.second_inspector.badge, **given)
    assert "keyed another inspection" in caught.value.findings[0]["message"]
    key(measured_by=cast.quality_manager.badge, **given)
    assert PaperSheet.objects.count() == 2


def test_never_changes_a_sheet(key) -> None:
    from qcapp.core.errors import Refused

    key()
    with pytest.raises(Refused):
        PaperSheet.objects.update(inspection=2)


# --- the pages ---------------------------------------------------------------------------------------------


def fill(**changes):
    known = {
        "measured_by": "1001", "measured_at": "2026-03-17T08:10", "inspection": "1",
        "scan": SimpleUploadedFile("sheet.jpg", picture()),
        "v_head_angle_1": "61.94", "g_head_angle": "AG-01", "v_tack_look_1": "conforms",
    }  # fmt: skip
    return known | changes


def test_keys_in_by_the_page_and_checks_by_the_other(cast, client_of, workshop, django_assert_max_num_queries) -> None:
    keyer, checker = client_of(cast.second_inspector), client_of(cast.quality_manager)
    with django_assert_max_num_queries(22):
        page = keyer.get(f"/units/{SERIAL}/paper/1/").content.decode()
    assert "Head angle" in page
    assert "Left minus right" not in page
    answer = keyer.post(f"/units/{SERIAL}/paper/1/", fill(measured_by=cast.inspector.badge), follow=True)
    page = answer.content.decode()
    assert "2 answers taken over" in page
    sheet = PaperSheet.objects.get()
    assert sheet.measured_at.isoformat() == "2026-03-17T08:10:00+00:00" or sheet.measured_at.utcoffset() is not None
    address = f"/units/{SERIAL}/paper/{sheet.uuid}/"
    assert "You keyed this sheet" in keyer.get(address).content.decode()
    with django_assert_max_num_queries(20):
        page = checker.get(address).content.decode()
    assert "61.94" in page
    page = checker.post(address, {"pin": PIN}, follow=True).content.decode()
    assert "The keying was checked and signed" in page
    assert cast.quality_manager.name in page


def test_shows_why_an_answer_was_not_taken_beside_it(cast, client_of, workshop) -> None:
    keyer = client_of(cast.second_inspector)
    given = fill(measured_by=cast.inspector.badge, v_head_angle_1="steep")
    answer = keyer.post(f"/units/{SERIAL}/paper/1/", given)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "1 answer cannot be taken; nothing was recorded." in page
    assert 'value="steep"' in page
    assert 'class="wrong"' in page
    assert Result.objects.count() == 0


def test_prints_blank_sheets_for_the_unit_that_lead_back_to_keying(cast, client_of, workshop) -> None:
    import pypdfium2
    import zxingcpp

    client = client_of(cast.inspector)
    answer = client.get(f"/units/{SERIAL}/paper.pdf?stage=3")
    document = pypdfium2.PdfDocument(answer.content)
    text = document[0].get_textpage().get_text_bounded()
    assert SERIAL in text
    assert "Head twist" in text
    assert "Gap at the bracket" not in text  # one in five, and not this one
    (code,) = zxingcpp.read_barcodes(document[0].render(scale=3).to_pil())
    assert code.text == f"http://testserver/units/{SERIAL}/paper/3/"
    assert client.get(f"/units/{SERIAL}/paper/").status_code == 200
    assert client.get(f"/units/{SERIAL}/paper/{UUID(int=1)}/").status_code == 404
    assert client.get(f"/units/{SERIAL}/paper/9/").status_code == 404
