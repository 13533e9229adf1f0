"""What falls due: the list, the calendar feed read by another reader, and labels whose code is read back."""

from __future__ import annotations

import io
import re
import subprocess
from datetime import date, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
import vobject
import zxingcpp
from django.utils import timezone
from PIL import Image
from pypdf import PdfReader

from qcapp.gauges.due import BEGIN_OF, SOON, calendar_of, due_list, feed_key
from qcapp.lib.falling_due import Falling
from qcapp.people.services import mark_left
from tests.factories.gauges import CalibrationFactory, GaugeFactory


@pytest.fixture
def shelf(db, fixed_now):
    today = fixed_now.date()
    for number, days in (("CA-01", 200), ("CA-02", -3), ("CA-03", SOON)):
        CalibrationFactory(
            gauge__number=number, done_on=today - timedelta(days=300), due_on=today + timedelta(days=days)
        )
    GaugeFactory(number="CA-04")
    GaugeFactory(number="EY-01", needs_calibration=False)


def test_lists_the_overdue_first_and_leaves_out_what_needs_none(shelf, fixed_now):
    found = [(due.gauge.number, due.days, due.tone) for due in due_list(fixed_now)]
    assert found == [
        ("CA-04", None, "out"), ("CA-02", -3, "out"), ("CA-03", SOON, "near"), ("CA-01", 200, "plain"),
    ]  # fmt: skip


def test_lists_fixtures_and_qualifications_apart_each_under_its_own_heading(shelf, cast, client_of, monkeypatch):
    today = timezone.now().date()
    others = [
        Falling("fixture", "TF-09", "tack fixture", today, 0, "/welding/fixtures/TF-09/", uuid4()),
        Falling("qualification", "Q-77", "Wenda Carrow, process 141", today, 0, "/welding/qualifications/x/", uuid4()),
        Falling("authorisation", "1001", "Imogen Marlowe", today, 0, "/welding/inspectors/", uuid4(), "leak test"),
        Falling("eyesight", "1001", "Imogen Marlowe", None, None, "/welding/inspectors/", uuid4()),
    ]
    monkeypatch.setattr("qcapp.gauges.views.falling_due", lambda at: others)
    page = client_of(cast.metrology).get("/gauges/due/").content.decode()
    fixtures, qualifications = page.index('id="fixtures"'), page.index('id="qualifications"')
    assert fixtures < page.index("TF-09") < qualifications < page.index("Q-77")
    assert page.index("Q-77") < page.index('id="inspectors"') < page.index("leak test") < page.index("none that passed")
    read = vobject.readOne(calendar_of([], timezone.now(), others).decode())
    told = [event.summary.value for event in read.vevent_list]
    assert told == [
        "Verify fixture TF-09, tack fixture",
        "Confirm qualification Q-77, Wenda Carrow, process 141",
        "Renew authorisation of 1001, Imogen Marlowe, leak test",
    ]


def test_has_a_heading_for_every_kind_of_thing_that_falls_due():
    """A room that tells a new kind would be left out of the page unseen."""
    sources = "".join(path.read_text() for path in Path("qcapp").glob("*/queries/*.py"))
    assert set(re.findall(r'Falling\(\s*"(\w+)"', sources)) == set(BEGIN_OF)


def unfolded(text: str) -> list[str]:
    """Content lines of RFC 5545, section 3.1: a line that begins with a blank goes on."""
    return text.replace("\r\n ", "").split("\r\n")


def test_feeds_a_calendar_that_another_reader_understands(shelf, cast, client, client_of):
    page = client_of(cast.metrology).get("/gauges/due/").content.decode()
    (address,) = re.findall(r"/gauges/due/[^<\s]+\.ics", page)  # the key holds the second in which it was made
    answer = client.get(address)
    assert answer.headers["Content-Type"].startswith("text/calendar")
    lines = unfolded(answer.content.decode())
    # read by hand after RFC 5545, sections 3.4, 3.6.1 and 3.8: not by the library that wrote it
    assert (lines[0], lines[-2]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") == 3
    assert "VERSION:2.0" in lines
    starts = sorted(line.partition(":")[2] for line in lines if line.startswith("DTSTART"))
    ends = sorted(line.partition(":")[2] for line in lines if line.startswith("DTEND"))
    assert all(line.startswith("DTSTART;VALUE=DATE:") for line in lines if line.startswith("DTSTART"))
    for start, end in zip(starts, ends, strict=True):
        assert day_of(end) - day_of(start) == timedelta(days=1)
    assert len({line for line in lines if line.startswith("UID:")}) == 3
    assert all(len(line.encode()) <= 75 for line in answer.content.decode().split("\r\n"))


def test_feeds_a_calendar_that_another_library_reads(shelf, cast, client, client_of):
    """vobject reads what icalendar wrote: the same days and summaries."""
    page = client_of(cast.metrology).get("/gauges/due/").content.decode()
    (address,) = re.findall(r"/gauges/due/[^<\s]+\.ics", page)
    read = vobject.readOne(client.get(address).content.decode())
    told = {(event.dtstart.value, event.summary.value.split(",")[0]) for event in read.vevent_list}
    days = {due.gauge.number: due.gauge.due_on for due in due_list(timezone.now()) if due.gauge.due_on}
    assert len(told) == len(days) == 3
    assert {day for day, _ in told} == set(days.values())
    assert all(any(number in said for _, said in told) for number in days)


def day_of(text: str) -> date:
    return datetime.strptime(text, "%Y%m%d").date()  # noqa: DTZ007 - a day has no zone


def test_stops_feeding_who_left_and_who_guesses(shelf, cast, client, fixed_now):
    address = f"/gauges/due/{feed_key(cast.metrology)}.ics"
    assert client.get(address).status_code == 200
    assert client.get("/gauges/due/guess.ics").status_code == 404
    assert client.get(address.replace(".ics", "x.ics")).status_code == 404
    mark_left(by=cast.keeper, person=cast.metrology, at=fixed_now)
    assert client.get(address).status_code == 404


@pytest.mark.parametrize(("asked", "millimetres"), [("", 210), ("?width=62", 62), ("?width=29", 29)])
def test_prints_a_label_whose_code_leads_to_the_gauge(shelf, cast, client_of, tmp_path: Path, asked, millimetres):
    answer = client_of(cast.metrology).get(f"/gauges/CA-01/label.pdf{asked}")
    box = PdfReader(io.BytesIO(answer.content)).pages[0].mediabox
    assert float(box.width) / 72 * 25.4 == pytest.approx(millimetres, abs=0.5)
    (tmp_path / "label.pdf").write_bytes(answer.content)
    subprocess.run(["pdftoppm", "-r", "300", "-png", "label.pdf", "label"], cwd=tmp_path, check=True)
    with Image.open(next(tmp_path.glob("label*.png"))) as picture:
        assert zxingcpp.read_barcode(picture).text == "http://testserver/gauges/CA-01/"


@pytest.mark.parametrize("width", ["5", "999", "abc", "0", "-3", "٣٢"])
def test_refuses_a_width_that_no_roll_has(shelf, cast, client_of, width):
    answer = client_of(cast.metrology).get("/gauges/CA-01/label.pdf", {"width": width})
    assert answer.status_code == 400
