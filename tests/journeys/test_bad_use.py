"""What bad use gets through the real doors: a sentence with a stable code, nothing half done, and never a 5xx."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from threading import Barrier
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.utils import timezone

from qcapp.audit.models import Entry
from qcapp.inspections.models import Result, StageSignOff
from qcapp.people.models import Person
from qcapp.production.services import add_family
from tests.cast import PASSWORD, PIN, Cast
from tests.factories.inspections import PLAN, SERIAL, Workshop, release_plan
from tests.unchanged import rows_of

Json = dict[str, Any]
ClientOf = Callable[[Person], Client]
ROOMS = ("inspections", "nonconformance", "production", "plans", "certificates")
OTHER_PLAN = PLAN.replace("head_angle", "yoke_angle").replace("left_length", "arm_length")
FORTY_DIGITS = "1234567890" * 4
MEBIBYTE = 1024 * 1024


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """FR-200-0147 on the bench as of now, because the API takes the server's time."""
    return Workshop.opened(cast, timezone.now())


@contextmanager
def nothing_changes() -> Iterator[None]:
    """Every row of the rooms and of the audit chain is the same afterwards."""
    before = rows_of(*ROOMS)
    yield
    assert rows_of(*ROOMS) == before


def post(client: Client, path: str, body: Any, content_type: str = "application/json") -> tuple[int, Json]:
    """Status and JSON of what the API answers."""
    sent = body if isinstance(body, bytes) else json.dumps(body)
    response = client.post(f"/api/v1/{path}", sent, content_type=content_type)
    return response.status_code, response.json()


def send(client: Client, *operations: object) -> list[Json]:
    status, body = post(client, "operations", {"device": "tablet 7", "operations": list(operations)})
    assert status == 200, body
    answers: list[Json] = body["operations"]
    return answers


def assert_sentence(body: Json) -> None:
    """A message for people: begins with a capital, a quote or a number, and ends as a sentence does."""
    assert body["message"].strip().endswith((".", "?")), body
    assert len(body["message"].split()) > 3, body
    assert "Traceback" not in body["message"]
    assert body["code"] == body["code"].lower().replace(" ", "_")


# ------------------------------------------------------------------------------------------------- what is typed


@pytest.mark.django_db
def test_names_near_serials_to_an_unknown_one(workshop: Workshop, client_of: ClientOf) -> None:
    client = client_of(workshop.cast.inspector)
    with nothing_changes():
        (answer,) = send(client, workshop.operation("head_angle", "61.94", serial="FR-200-0174"))
        pages = [client.get(f"/units/FR-200-0174/{page}") for page in ("", "bench/", "release/")]
        bench = client.get("/api/v1/units/FR-200-0174/bench")
    assert (answer["outcome"], answer["code"]) == ("rejected", "serial_unknown")
    assert SERIAL in answer["message"]
    assert (bench.status_code, bench.json()["code"]) == (404, "serial_unknown")
    assert [page.status_code for page in pages] == [404, 404, 404]
    assert all(SERIAL in page.content.decode() for page in pages)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("250.1 cm", "value_unit_unexpected"),
        ('1/2"', "value_fraction"),
        ("½", "value_fraction"),
        ("NaN", "value_not_a_number"),
        ("inf", "value_not_a_number"),
        ("2.5e2", "value_not_a_number"),
        ("1,250.0", "value_two_marks"),
        ("250,", "value_unfinished"),
        ("", "value_empty"),
        ("  ", "value_empty"),
        (FORTY_DIGITS, "value_too_long"),
        ("250.0000001", "value_too_fine"),
        ("250.1\0", "nul_character"),
        ("250.1\x1b[31m", "value_unit_unexpected"),
        ("٢٥٠", "value_not_a_number"),
        (250.1, "number_not_text"),
        (True, "field_type"),
        ([], "field_type"),
    ],
)
def test_refuses_a_value_that_is_no_plain_number(
    workshop: Workshop, client_of: ClientOf, typed: object, code: str
) -> None:
    client = client_of(workshop.cast.inspector)
    with nothing_changes():
        (answer,) = send(client, workshop.operation("left_length", {"value": typed}))
    assert answer["outcome"] == "rejected"
    assert_sentence(answer)
    assert answer["code"] == code


@pytest.mark.django_db
@pytest.mark.parametrize("typed", ["250,1", "250.1 mm", " 250.1", "+250.1"])
def test_reads_a_decimal_comma_and_the_unit_that_is_shown(workshop: Workshop, client_of: ClientOf, typed: str) -> None:
    (answer,) = send(client_of(workshop.cast.inspector), workshop.operation("left_length", {"value": typed}, raw=typed))
    assert (answer["outcome"], answer["verdict"]) == ("applied", "in_band")
    stored = Result.objects.get()
    assert (json.loads(stored.answer), stored.raw) == ({"value": "250.1"}, typed.strip())


@pytest.mark.django_db
def test_reads_a_comma_never_as_a_thousand(workshop: Workshop, client_of: ClientOf) -> None:
    (answer,) = send(client_of(workshop.cast.inspector), workshop.operation("left_length", "12,5"))
    assert (answer["verdict"], answer["excess"]) == ("out_of_band", "237.2")


@pytest.mark.django_db
def test_refuses_a_value_for_a_checkpoint_of_another_plan(workshop: Workshop, client_of: ClientOf) -> None:
    cast, at = workshop.cast, workshop.at
    add_family(
        by=cast.quality_manager, code="FK-30", name="Fork", serial_pattern="FK-30-{number:4}", certificate_prefix="FK",
        at=at,
    )  # fmt: skip
    other = str(release_plan(cast, family_code="FK-30", letter="A", text=OTHER_PLAN, at=at))
    client = client_of(cast.inspector)
    with nothing_changes():
        answers = send(
            client,
            workshop.operation("yoke_angle", "61.94"),
            workshop.operation("yoke_angle", "61.94", revision=other),
            workshop.operation("head_angle", "61.94", revision="01a211f7-a8d4-734b-84d4-3a0fe6cf052f"),
        )
    assert [one["code"] for one in answers] == ["checkpoint_unknown", "plan_of_other_family", "revision_unknown"]
    for answer in answers:
        assert_sentence(answer)


@pytest.mark.django_db
def test_keeps_a_reading_of_an_overdue_gauge_but_takes_it_for_no_proof(workshop: Workshop, client_of: ClientOf) -> None:
    overdue = workshop.operation("left_length", "250.1", gauge="CA-02")
    (answer,) = send(client_of(workshop.cast.inspector), overdue)
    assert (answer["outcome"], answer["verdict"], answer["flags"]) == ("applied", "in_band", ["gauge_overdue"])
    state = client_of(workshop.cast.quality_manager).get(f"/api/v1/releases/{SERIAL}").json()
    (proof,) = [check for check in state["checks"] if check["code"] == "answers_are_proof"]
    assert proof["ok"] is False
    assert "past its calibration date" in proof["sentence"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"recorded_at": "2026-03-17T09:30:00"}, "time_unreadable"),
        ({"recorded_at": "17.03.2026"}, "time_unreadable"),
        ({"recorded_at": "9999-12-31T23:59:59+00:00"}, "time_unreadable"),
        ({"recorded_at": 1773739800}, "time_unreadable"),
        ({"round": 10**30}, "integer_too_large"),
        ({"round": 99}, "round_not_open"),
        ({"round": -1}, "field_type"),
        ({"inspection": 4}, "field_type"),
        ({"gauge": "CA-99"}, "gauge_unknown"),
        ({"gauge": "x" * 10_000}, "operation_too_long"),
        ({"recorded_by": "0000"}, "badge_unknown"),
        ({"reason": "two\nlines\x07"}, "text_not_plain"),
        ({"serial": "FR-200-0147\0"}, "nul_character"),
        ({"raw": "\ud800"}, "half_character"),
        ({"answer": {"value": {"value": {}}}}, "field_type"),
        ({"answer": ["61.94"]}, "field_type"),
        ({"extra": 1}, "field_unknown"),
        ({"id": "not-a-uuid"}, "identifier_unreadable"),
        ({"v": 2}, "version_unknown"),
        ({"purpose": "repeat"}, "reason_missing"),
    ],
)
def test_refuses_an_operation_that_says_something_impossible(
    workshop: Workshop, client_of: ClientOf, changes: Json, code: str
) -> None:
    client = client_of(workshop.cast.inspector)
    with nothing_changes():
        (answer,) = send(client, workshop.operation("left_length", "250.1") | changes)
    assert answer["outcome"] == "rejected"
    assert_sentence(answer)
    assert answer["code"] == code


@pytest.mark.django_db
def test_keeps_a_reading_of_a_clock_that_runs_ahead_but_takes_it_for_no_proof(
    workshop: Workshop, client_of: ClientOf
) -> None:
    ahead = (timezone.now() + timedelta(days=3)).isoformat()
    (answer,) = send(client_of(workshop.cast.inspector), workshop.operation("tack_look", recorded_at=ahead))
    assert (answer["outcome"], answer["flags"]) == ("applied", ["clock_off"])


# -------------------------------------------------------------------------------------------------- what is sent


@pytest.mark.django_db
def test_stores_a_submission_once_however_often_it_comes(workshop: Workshop, client_of: ClientOf) -> None:
    client = client_of(workshop.cast.inspector)
    body = [workshop.operation("left_length", "250.1"), workshop.operation("head_angle", "62.20")]
    first = send(client, *body)
    with nothing_changes():
        again = send(client, *body)
    assert [one["outcome"] for one in again] == ["duplicate", "duplicate"]
    assert [one["verdict"] for one in again] == [one["verdict"] for one in first]
    assert again[1]["report"] == first[1]["report"]


@pytest.mark.django_db
def test_refuses_another_body_under_the_same_identifier(workshop: Workshop, client_of: ClientOf) -> None:
    client = client_of(workshop.cast.inspector)
    body = workshop.operation("left_length", "250.1")
    send(client, body)
    with nothing_changes():
        (answer,) = send(client, body | {"answer": {"value": "250.2"}})
    assert (answer["outcome"], answer["code"]) == ("rejected", "key_reused")
    assert_sentence(answer)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content", "content_type", "status", "code"),
    [
        (b"device=tablet", "application/x-www-form-urlencoded", 415, "media_type_unsupported"),
        (b"<device/>", "application/xml", 415, "media_type_unsupported"),
        (b'{"device": "t", "operations": [', "application/json", 400, "json_unreadable"),
        (b'{"device": "t", "operations": [NaN]}', "application/json", 400, "json_unreadable"),
        (b'{"operations": ' + b"[" * 9999 + b"]" * 9999 + b"}", "application/json", 400, "json_unreadable"),
        (b'{"device": "t", "operations": [' + b"9" * 9999 + b"]}", "application/json", 400, "json_unreadable"),
        (b'{"device": "t", "operations": {"a": 1}}', "application/json", 400, "operations_unreadable"),
        ('{"device": "t", "operations": []}'.encode("utf-16"), "application/json", 400, "json_unreadable"),
    ],
)  # fmt: skip
def test_refuses_a_body_that_cannot_be_read(
    workshop: Workshop, client_of: ClientOf, content: bytes, content_type: str, status: int, code: str
) -> None:
    client = client_of(workshop.cast.inspector)
    with nothing_changes():
        found, body = post(client, "operations", content, content_type)
    assert (found, body["code"]) == (status, code)
    assert_sentence(body)


class Zeros:
    """A body of so many bytes that is made while it is read."""

    def __init__(self, size: int) -> None:
        self.left = size

    def read(self, size: int = -1) -> bytes:
        piece = self.left if size < 0 else min(size, self.left)
        self.left -= piece
        return bytes(piece)

    def readline(self, size: int = -1) -> bytes:
        return self.read(size)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("path", "content_type"),
    [("/plans/import/", "multipart/form-data; boundary=x"), ("/api/v1/operations", "application/json")],
)
def test_refuses_fifty_megabytes_before_it_keeps_them(
    workshop: Workshop, client_of: ClientOf, path: str, content_type: str
) -> None:
    size = 50 * MEBIBYTE
    sent = {"PATH_INFO": path, "REQUEST_METHOD": "POST", "CONTENT_TYPE": content_type, "CONTENT_LENGTH": str(size)}
    with nothing_changes():
        client = client_of(workshop.cast.quality_manager)
        response = client.request(**sent, **{"wsgi.input": Zeros(size), "HTTP_ACCEPT": "application/json"})
    assert (response.status_code, response.json()["code"]) == (413, "upload_too_large")
    assert_sentence(response.json())


@pytest.mark.django_db
def test_keeps_what_was_typed_out_when_the_session_is_gone_and_takes_it_after_a_new_sign_in(
    workshop: Workshop, client_of: ClientOf
) -> None:
    inspector = workshop.cast.inspector
    client = client_of(inspector)
    body = {"device": "tablet 7", "operations": [workshop.operation("left_length", "250.1")]}
    client.session.delete()
    with nothing_changes():
        status, answer = post(client, "operations", body)
        page = client.get(f"/units/{SERIAL}/bench/")
    assert (status, answer["code"]) == (401, "signed_out")
    assert_sentence(answer)
    assert page.headers["Location"].startswith("/sign-in/?next=")
    status, signed_in = post(client, "session", {"badge": inspector.badge, "password": PASSWORD})
    assert (status, signed_in["person"]["badge"]) == (200, inspector.badge)
    assert send(client, *body["operations"])[0]["outcome"] == "applied"


@pytest.mark.django_db
@pytest.mark.parametrize(
    "fragment", ["x" * 10_000, "0" * 10_000, "\0", "%", "_" * 50, "'; --", "\x1b[31m", "٠١٤٧", "%ff", "\ud83d"]
)
def test_finds_nothing_and_says_so_for_a_search_that_makes_no_sense(
    workshop: Workshop, client_of: ClientOf, fragment: str
) -> None:
    client = client_of(workshop.cast.customer_service)
    asked = fragment.encode("utf-8", "surrogatepass").decode("latin-1")
    for path in ("/units/", "/api/v1/units"):
        response = client.get(path, {"q": asked})
        assert response.status_code in (200, 400), (path, response.status_code)
        assert SERIAL not in response.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["units/{}/", "nonconformances/{}/", "gauges/{}/", "api/v1/units/{}", "check/{}/"])
@pytest.mark.parametrize("name", ["%00", "%0A", "..%2f..", "x" * 2000, "%F0%9F%9B%A0", "%ED%A0%80", "’"])
def test_knows_nothing_under_an_impossible_name(workshop: Workshop, client_of: ClientOf, path: str, name: str) -> None:
    response = client_of(workshop.cast.quality_manager).get(f"/{path.format(name)}")
    assert response.status_code in (400, 404)


# ----------------------------------------------------------------------------------------------------- files


def workbook() -> bytes:
    """What says of itself that it is a spreadsheet with a formula, and is none that can be opened."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as book:
        book.writestr("xl/worksheets/sheet1.xml", "<c r='A1'><f>1+1</f></c>")
    return stream.getvalue()


def with_formula() -> bytes:
    """A plan file whose title is a formula to a spreadsheet."""
    return PLAN.replace("Head angle", '"=HYPERLINK(""http://x"",""y"")"').encode()


def upload(client: Client, content: bytes) -> Any:
    file = SimpleUploadedFile("plan.csv", content)
    return client.post(
        "/plans/import/", {"family_code": "FR-200", "letter": "E", "change_note": "Tried.", "file": file}
    )


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content", "says"),
    [
        (workbook(), "workbook_unreadable"),
        (with_formula(), "formula"),
        (b"\xff\xfe\x00", "UTF-16"),
        (b"", "empty"),
        (PLAN.encode() + b"\0", "NUL"),
        (b"stage_number,stage_name\n1,\xff\xfe\n", "UTF-8"),
    ],
)
def test_refuses_a_plan_that_is_no_plain_csv(
    workshop: Workshop, client_of: ClientOf, content: bytes, says: str
) -> None:
    client = client_of(workshop.cast.quality_manager)
    with nothing_changes():
        page = upload(client, content)
    assert page.status_code == 400
    assert says in page.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "utf-16-le"])
def test_reads_a_plan_that_a_spreadsheet_saved(workshop: Workshop, client_of: ClientOf, encoding: str) -> None:
    client = client_of(workshop.cast.quality_manager)
    page = upload(client, PLAN.replace("\n", "\r\n").encode(encoding))
    assert page.status_code == 302
    drafts = client.get("/api/v1/plans").json()["plans"][0]["coming"]
    assert [(draft["letter"], draft["checkpoint_count"]) for draft in drafts] == [("E", 12)]


ROWS = [
    {"serial": SERIAL, "checkpoint": "left_length", "value": "250.1", "gauge": "CA-01", "badge": "1001"},
    {"serial": SERIAL, "checkpoint": "right_length", "value": "=1+249", "gauge": "CA-01", "badge": "1001"},
    {"serial": "FR-200-0174", "checkpoint": "left_length", "value": "250.1", "gauge": "CA-01", "badge": "1001"},
]


def results_file(path: Path, encoding: str = "utf-8", at: str = "2026-03-17 09:30") -> Path:
    text = io.StringIO()
    writer = csv.DictWriter(text, ["serial", "checkpoint", "value", "gauge", "recorded_at", "badge"])
    writer.writeheader()
    writer.writerows(row | {"recorded_at": at} for row in ROWS)
    path.write_bytes(text.getvalue().encode(encoding))
    return path


@pytest.mark.django_db
def test_takes_the_good_rows_of_a_results_file_and_names_the_others(workshop: Workshop, tmp_path: Path) -> None:
    told = io.StringIO()
    call_command("import_results", results_file(tmp_path / "r.csv"), by=workshop.cast.inspector.badge, stdout=told)
    assert "1 recorded, 0 known before, 2 rejected." in told.getvalue()
    rejects = list(csv.DictReader((tmp_path / "r.csv.rejects.csv").read_text(encoding="utf-8").splitlines()))
    assert [(row["line"], row["code"]) for row in rejects] == [("3", "value_not_a_number"), ("4", "serial_unknown")]
    assert Result.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize("content", [workbook(), b"\xff\xfe\x41\x00", b"serial,checkpoint\n", b"a,b\n\xff\n", b"\0"])
def test_refuses_a_results_file_that_cannot_be_read(workshop: Workshop, tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "r.csv"
    file.write_bytes(content)
    with nothing_changes(), pytest.raises(CommandError) as refusal:
        call_command("import_results", file, by=workshop.cast.inspector.badge)
    assert str(refusal.value).rstrip(")").split("(")[-1] in {
        "file_is_a_spreadsheet", "file_encoding", "columns_missing", "file_unreadable",
    }  # fmt: skip


# ----------------------------------------------------------------------------------------------------- signing


@pytest.mark.django_db(transaction=True)
def test_signs_a_stage_once_when_two_people_sign_at_the_same_moment(
    cast: Cast, settings: Any, tmp_path: Path, client_of: ClientOf
) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    workshop = Workshop.opened(cast, timezone.now())
    workshop.answer_stage(1)
    clients = [client_of(cast.inspector), client_of(cast.second_inspector)]
    together = Barrier(len(clients))

    def sign(client: Client) -> tuple[int, Json]:
        together.wait(10)
        try:
            return post(client, f"units/{SERIAL}/sign-offs", {"stage": 1, "pin": PIN})
        finally:
            connection.close()

    with ThreadPoolExecutor(len(clients)) as pool:
        answers = sorted(pool.map(sign, clients), key=lambda answer: answer[0])
    assert [status for status, _ in answers] == [201, 409]
    assert answers[1][1]["code"] == "stage_already_signed"
    assert_sentence(answers[1][1])
    assert StageSignOff.objects.count() == Entry.objects.filter(verb="stage.signed").count() == 1


@pytest.mark.django_db
def test_releases_nothing_that_is_blocked_and_says_what_is_missing(workshop: Workshop, client_of: ClientOf) -> None:
    client = client_of(workshop.cast.quality_manager)
    with nothing_changes():
        status, body = post(client, f"releases/{SERIAL}", {"pin": PIN})
        page = client.post(f"/units/{SERIAL}/release/give/", {"pin": PIN})
        certificate = post(client, "certificates", {"serial": SERIAL})
    assert (status, body["code"]) == (409, "release_blocked")
    against = {finding["code"]: finding for finding in body["details"]["findings"]}
    assert {"all_answered", "stages_signed"} <= set(against)
    assert all(finding["sentence"].endswith(".") and finding["links"] for finding in against.values())
    assert page.status_code == 409
    assert "cannot be released" in page.content.decode()
    assert (certificate[0], certificate[1]["code"]) == (409, "not_released")


@pytest.mark.django_db
@pytest.mark.parametrize("pin", ["", "000000", "x" * 10_000, "48\x0000", "４８０５９２"])
def test_signs_nothing_with_a_pin_that_does_not_fit(workshop: Workshop, client_of: ClientOf, pin: str) -> None:
    workshop.answer_stage(1)
    client = client_of(workshop.cast.inspector)
    status, body = post(client, f"units/{SERIAL}/sign-offs", {"stage": 1, "pin": pin})
    assert status in (400, 403)
    assert_sentence(body)
    assert StageSignOff.objects.count() == 0
