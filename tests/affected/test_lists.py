"""Kept lists: what was known when, the files made of them, and the holds and field actions that refer to them."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pypdf import PdfReader
from python_calamine import CalamineWorkbook

from qcapp.affected.models import KeptList, ListUse
from qcapp.affected.papers import ABOUT
from qcapp.affected.queries import kept_list, since_kept
from qcapp.affected.services import hold_listed, keep_list, write_to_owners
from qcapp.audit.models import Entry
from qcapp.audit.queries import entries_about
from qcapp.core.errors import Refused
from qcapp.core.sealing import digest
from qcapp.customers.services import dispatch
from qcapp.improvement.queries.field import field_action
from qcapp.improvement.services.field import letters_pdf, write_letter
from qcapp.nonconformance.queries import report
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Consumption, Unit
from qcapp.production.queries import open_holds, unit_by_serial
from tests.cast import FIXED_NOW, Cast
from tests.customers.conftest import certified, workshop  # noqa: F401 - a frame with an order, released and certified
from tests.factories.inspections import Workshop
from tests.unchanged import refused

from .records import Records, make

pytestmark = pytest.mark.django_db
PLACES = ("affected", "nonconformance", "production", "improvement")
LATER = FIXED_NOW + timedelta(days=30)
QUESTION = "heat 7K4412 or welder W11"


@pytest.fixture
def records(cast: Cast) -> Records:
    return make(cast)


@pytest.fixture
def sent(certified: Workshop) -> Workshop:  # noqa: F811
    """The frame handed over to Orchard Rise Growers."""
    dispatch(
        proof=demonstration_proof(certified.cast.dispatch, FIXED_NOW), serial=certified.serial, order_number="S-1184",
        certificate_number="FR-2026-0001", issue=1, at=FIXED_NOW,
    )  # fmt: skip
    return certified


def keep(cast: Cast, question: str = QUESTION, **changes) -> str:
    given = {"by": cast.quality_manager, "name": "Wrong chromium", "question": question, "at": LATER}
    return keep_list(**(given | changes))


def test_keeps_the_question_with_what_was_known_then(records: Records, cast: Cast) -> None:
    number = keep(cast)
    assert number == "AL-2026-0001"
    then = kept_list(number)
    assert since_kept(then).same
    free = Unit.objects.filter(item__kind="unit").exclude(serial__in=[row.serial for row in then.answer.rows]).first()
    heat = Consumption.objects.filter(heat__number="7K4412").first().heat
    Consumption.objects.create(item=free.item, heat=heat, by=cast.inspector, at=LATER)
    scrapped = then.answer.rows[0]
    Unit.objects.filter(serial=scrapped.serial).update(state="scrapped")
    again = kept_list(number)
    assert again.answer == then.answer
    since = since_kept(again)
    assert free.serial in {row.serial for row in since.came}
    assert [(was.standing, now.standing) for was, now in since.moved if was.serial == scrapped.serial] == [
        ("in build", "scrapped")
    ]


def test_writes_the_digest_of_the_answer_into_the_audit_chain(records: Records, cast: Cast) -> None:
    number = keep(cast)
    row = KeptList.objects.get(number=number)
    (entry,) = entries_about(f"list {number}")
    assert (entry.verb, entry.payload["question"], entry.payload["answer"]) == (
        "affected.listed", QUESTION, digest(row.answer),
    )  # fmt: skip
    for change in (lambda: KeptList.objects.update(name="x"), row.save, row.delete):
        with pytest.raises(Refused) as caught:
            change()
        assert caught.value.code == "write_once"


def test_refuses_to_keep_what_nobody_may_or_can(records: Records, cast: Cast) -> None:
    for changes, code in (
        ({"by": cast.customer_service}, "not_permitted"),
        ({"by": cast.inspector}, "not_permitted"),
        ({"name": " "}, "text_missing"),
        ({"name": "x" * 121}, "text_too_long"),
        ({"question": "heat"}, "question_not_readable"),
        ({"question": "heat 9Z"}, "nothing_of_that_name"),
    ):
        with refused(code, *PLACES):
            keep(cast, **changes)


def hold(cast: Cast, number: str, serials: list[str], **changes) -> str:
    given = {
        "by": cast.quality_manager, "number": number, "serials": serials, "title": "Chromium below the grade",
        "reason": "Analysed again.", "severity": "critical", "at": LATER,
    }  # fmt: skip
    return hold_listed(**(given | changes))


def test_holds_the_chosen_units_under_one_report_that_names_the_list(records: Records, cast: Cast) -> None:
    number = keep(cast)
    first, second, third, *_ = [row.serial for row in kept_list(number).answer.rows]
    made = hold(cast, number, [first, second.lower()])
    assert [unit_by_serial(serial).on_hold for serial in (first, second, third)] == [True, True, False]
    assert report(made).facts["source"] == f"list {number}"
    assert [(use.paper, use.units) for use in kept_list(number).uses] == [(made, 2)]
    assert Entry.objects.order_by("-number").first().verb == "affected.list_used"


def test_refuses_to_hold_what_is_not_on_the_list(records: Records, cast: Cast) -> None:
    number = keep(cast)
    on_it = [row.serial for row in kept_list(number).answer.rows]
    strange = Unit.objects.exclude(serial__in=on_it).first().serial
    with refused("no_units", *PLACES):
        hold(cast, number, [" "])
    with refused("not_listed", *PLACES):
        hold(cast, number, [on_it[0], strange])
    with refused("list_unknown", *PLACES):
        hold(cast, "AL-1999-0001", on_it[:1])
    with refused("severity_unknown", *PLACES):
        hold(cast, number, on_it[:1], severity="bad")
    with refused("not_permitted", *PLACES):
        hold(cast, number, on_it[:1], by=cast.customer_service)
    with refused("none_has_left", *PLACES):
        write_to_owners(by=cast.quality_manager, number=number, title="Frames", reason="May crack.", at=LATER)


def test_names_customer_and_day_of_what_was_shipped_and_writes_to_the_owner(sent: Workshop) -> None:
    cast = sent.cast
    number = keep(cast, "family FR-200 and dispatched from 2026-03-01 to 2026-03-31")
    (row,) = kept_list(number).answer.rows
    assert (row.serial, row.standing, row.customer, row.shipped_at) == (sent.serial, "shipped", "C-104", FIXED_NOW)
    assert "Orchard" not in KeptList.objects.get().answer
    paper = write_to_owners(by=cast.quality_manager, number=number, title="Weld W7", reason="May crack.", at=LATER)
    (share,) = field_action(paper).customers
    assert (share.customer, [unit.serial for unit in share.units]) == ("Orchard Rise Growers", [sent.serial])
    assert ListUse.objects.get().paper == paper
    assert field_action(paper).list_number == number
    write_letter(by=cast.quality_manager, number=paper, subject="Please stop", text="Do not ride it.", at=LATER)
    printed = PdfReader(io.BytesIO(letters_pdf(number=paper))).pages[0].extract_text()
    assert f"{paper}, list {number}" in printed


@pytest.mark.parametrize("member", ["quality_manager", "metrology"])
def test_gives_the_list_as_files_with_customers_for_who_may_see_them(sent: Workshop, client_of, member: str) -> None:
    number = keep(sent.cast, f"component {sent.serial}")
    client, sees = client_of(getattr(sent.cast, member)), member == "quality_manager"
    text = client.get(f"/affected/{number}/list.csv").content.decode("utf-8-sig")
    (line,) = csv.DictReader(io.StringIO(text))
    assert (line["serial"], line["standing"], line["shipped_at"]) == (sent.serial, "shipped", "2026-03-17T10:30+01:00")
    assert (line.get("customer") == "Orchard Rise Growers") is sees
    book = CalamineWorkbook.from_filelike(io.BytesIO(client.get(f"/affected/{number}/list.xlsx").content))
    heads, values = book.get_sheet_by_index(0).to_python()  # read by another library than the one that wrote it
    told = dict(zip(heads, values, strict=True))
    assert {name: text for name, text in line.items() if name not in ABOUT} == told
    facts = dict(book.get_sheet_by_index(1).to_python())
    assert {name: facts[name] for name in ABOUT} == {name: line[name] for name in ABOUT}
    assert (line["list"], line["question"]) == (number, f"component {sent.serial}")
    assert (line["list_name"], facts["units"]) == ("Wrong chromium", 1)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d[+]0[12]:00", line["known_at"])
    pages = PdfReader(io.BytesIO(client.get(f"/affected/{number}/list.pdf").content)).pages
    printed = " ".join(page.extract_text() for page in pages)
    for text in (number, sent.serial, "Wrong chromium"):
        assert text in printed
    assert ("Orchard Rise Growers" in printed) is sees
    assert ("Orchard Rise Growers" in client.get(f"/affected/{number}/").content.decode()) is sees
    assert client.get(f"/affected/{number}/list.doc").status_code == 404


# -------------------------------------------------------------------------------------------- pages, API, command


def test_asks_by_rows_keeps_and_holds_on_the_page(records: Records, cast: Cast, client_of) -> None:
    client = client_of(cast.quality_manager)
    rows = {"join": ["with", "and not", "and"], "by": ["family", "welder", ""], "value": ["DX-1", "W11", "x"],
            "from": ["", "2026-03-17", ""], "to": ["", "", ""]}  # fmt: skip
    answer = client.get("/affected/", rows)
    assert answer.status_code == 302
    page = client.get(answer.headers["Location"]).content.decode()
    question = "family DX-1 and not welder W11 from 2026-03-17"
    assert f'value="{question}"' in page
    kept = client.post("/affected/keep/", {"name": "Not <W11>", "ask": question})
    assert kept.headers["Location"] == "/affected/AL-2026-0001/" or kept.status_code == 302
    address = kept.headers["Location"]
    page = client.get(address).content.decode()
    assert "Not &lt;W11&gt;" in page
    serial = kept_list(address.split("/")[2]).answer.rows[0].serial
    told = {"serial": [serial], "title": "Doubt", "reason": "", "severity": "minor"}
    assert client.post(f"{address}hold/", told).status_code == 400
    assert client.post(f"{address}hold/", told | {"reason": "Why not."}).status_code == 302
    assert open_holds(unit_by_serial(serial).item_id)
    assert "NCR-" in client.get(address).content.decode()


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"ask": "heat"}, "is missing"),
        ({"ask": "heat 9Z"}, "No heat 9Z is recorded"),
        ({"ask": "x" * 5000}, "longer than 2000"),
        ({"by": ["heat"], "value": [""]}, "at least one row"),
        ({"by": ["gauge"], "value": ["CA-01"], "from": ["soon"]}, "is not a day"),
        ({"by": ["gauge"]}, "at least one row"),
    ],
)
def test_shows_what_is_wrong_with_a_question(records: Records, cast: Cast, client_of, query: dict, said: str) -> None:
    answer = client_of(cast.customer_service).get("/affected/", query)
    assert answer.status_code in (400, 404)
    assert said in answer.content.decode()


def test_asks_keeps_and_holds_by_the_api(records: Records, cast: Cast, client_of) -> None:
    client = client_of(cast.quality_manager)

    def post(address: str, body: dict) -> dict:
        answer = client.post(f"/api/v1/{address}", json.dumps(body), content_type="application/json")
        assert answer.status_code == 201, answer.content
        return answer.json()

    found = client.get("/api/v1/affected", {"ask": QUESTION}).json()
    assert found["question"] == QUESTION
    assert sum(found["counts"].values()) == len(found["units"])
    kept = post("affected-lists", {"name": "By API", "ask": QUESTION})
    assert kept["answer"] == found
    number = kept["list"]["number"]
    made = post(
        f"affected-lists/{number}/hold", {"serials": [found["units"][0]["serial"]], "title": "D", "reason": "d"}
    )
    assert client.get(f"/api/v1/affected-lists/{number}").json()["uses"][0]["paper"] == made["paper"]
    assert client.get("/api/v1/affected-lists").json()["lists"][0]["name"] == "By API"
    assert client.get(f"/api/v1/affected-lists/{number}/list.csv").content.startswith(b"\xef\xbb\xbfserial")
    assert client.get("/api/v1/affected", {"ask": "heat"}).json()["code"] == "question_not_readable"
    assert "customer" not in client_of(cast.metrology).get("/api/v1/affected", {"ask": QUESTION}).json()["units"][0]


def test_answers_on_the_command_line(records: Records, cast: Cast, tmp_path: Path, capsys) -> None:
    call_command("affected", QUESTION)
    printed = capsys.readouterr().out
    assert printed.startswith(QUESTION)
    target = tmp_path / "list.csv"
    call_command("affected", QUESTION, keep="Command", by="1041", to=str(target))
    assert "Kept as AL-" in capsys.readouterr().out
    assert len(target.read_text("utf-8-sig").splitlines()) == KeptList.objects.get().units + 1
    for wrong in ({"keep": "x"}, {"to": "x.csv"}, {"keep": "x", "by": "1001"}, {"keep": "x", "by": "9"}):
        with pytest.raises(CommandError):
            call_command("affected", QUESTION, **wrong)
    assert KeptList.objects.count() == 1
