"""Pareto, weeks and costs, recomputed in plain Python over the exported table of reports."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Callable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from qcapp.core.errors import Invalid, NotFound
from qcapp.improvement.cards import Mark, Sheet
from qcapp.improvement.pictures.concentrated import concentration
from qcapp.improvement.pictures.ranked import pareto_picture
from qcapp.improvement.pictures.weekly import weeks_picture
from qcapp.improvement.queries.drawings import drawn
from qcapp.improvement.queries.seeing import BY, Wanted, pareto, reports_with, weeks
from qcapp.improvement.services.costs import record_cost
from qcapp.nonconformance.models import Report
from qcapp.nonconformance.services import raising
from qcapp.nonconformance.services.by_hand import raise_by_hand, raise_on_item
from qcapp.people.models import Person
from qcapp.production.models import Item, Unit

from ..cast import FIXED_NOW
from ..factories.improvement import LATER, frame
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case

pytestmark = pytest.mark.django_db
Browser = Callable[[Person], Client]
TODAY = FIXED_NOW.date()


@pytest.fixture
def mixed(workshop: Workshop) -> Workshop:
    """Reports at several checkpoints, over three weeks, with causes and costs; one was raised in error."""
    for place in range(4):
        frame(workshop, 10 + place, "62.40", FIXED_NOW - timedelta(days=15 - 5 * place))
    for place in range(2):
        unit = frame(workshop, 20 + place, "62.00", FIXED_NOW)
        Case.out_of_band(unit, "pores", {"count": 9}).decide(cause="method")
    dear = Case.out_of_band(frame(workshop, 30, "62.00", FIXED_NOW), "twist", "0.80").decide(cause="material")
    wrong = Case.out_of_band(frame(workshop, 40, "62.00", FIXED_NOW), "twist", "0.90")
    wrong.correct_the_entry("0.10", "twist").withdraw()
    Case.by_hand(workshop)
    manager = workshop.cast.quality_manager
    record_cost(by=manager, about=dear.number, what="Scrapped", minutes=30, material=Decimal("900.10"), at=LATER)
    record_cost(by=manager, about="NCR-2026-0001", what="Straightened", minutes=45, material=Decimal(0), at=LATER)
    return workshop


def exported(client_of: Browser, person: Person) -> list[dict[str, str]]:
    """The queue's file, as anybody has it: what the counts are checked against."""
    data = client_of(person).get("/nonconformances/export.csv?state=all").content
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
    return [row for row in rows if row["state"] != "withdrawn"]


@pytest.mark.parametrize("by", ["checkpoint", "cause", "joint"])
def test_counts_as_plain_python_does_over_the_export(mixed: Workshop, client_of: Browser, by: str) -> None:
    rows = exported(client_of, mixed.cast.customer_service)
    expected = Counter(row[by] for row in rows if row[by])
    found = pareto(Wanted(by=by))
    labels = {bar.label.split()[0] if by == "checkpoint" else bar.label: bar.count for bar in found.bars}
    assert labels == dict(expected)
    assert [bar.count for bar in found.bars] == sorted(expected.values(), reverse=True)
    total = sum(expected.values())
    assert found.total == total
    assert found.unsaid == len(rows) - total
    running = 0.0
    for bar in found.bars:
        running += expected_share(bar.count, total)
        assert bar.share == pytest.approx(expected_share(bar.count, total))
        assert bar.cumulative == pytest.approx(running)


@pytest.mark.parametrize("by", ["fixture", "supplier"])
def test_counts_by_what_the_facts_say(mixed: Workshop, monkeypatch: pytest.MonkeyPatch, by: str) -> None:
    """What the export has no column for is recomputed from the facts as each report keeps them."""
    items = Item.objects.filter(unit__isnull=False).order_by("id").values_list("pk", flat=True)
    built_in = dict(zip(items, ("WF-3", "WF-3", "WF-4"), strict=False))
    monkeypatch.setattr(raising, "text_of", lambda item_id, key: built_in.get(item_id, ""))
    for serial in Unit.objects.filter(item__in=built_in).order_by("id").values_list("serial", flat=True):
        told = {"by": mixed.cast.inspector, "serial": serial, "title": "Scratch", "description": ""}
        raise_by_hand(severity="minor", at=LATER, **told)
    family = Item.objects.get(pk=mixed.item_id).family
    for supplier in ("Millbrook Tube", "Tidewell Tube Works", "Millbrook Tube"):
        lot = Item.objects.create(kind="lot", family=family)
        told = {"by": mixed.cast.goods_in, "item_uuid": lot.uuid, "title": "Rust", "description": ""}
        raise_on_item(severity="minor", quantity=3, supplier=supplier, at=LATER, **told)
    facts = Report.objects.exclude(status__state="withdrawn").values_list("facts", flat=True)
    expected = Counter(str(json.loads(one).get(by, "")) for one in facts)
    expected.pop("", None)
    assert expected
    assert {bar.label: bar.count for bar in pareto(Wanted(by=by)).bars} == dict(expected)


def expected_share(count: int, total: int) -> float:
    return count / total


def test_counts_weeks_as_plain_python_does(mixed: Workshop, client_of: Browser) -> None:
    rows = exported(client_of, mixed.cast.customer_service)
    days = [datetime.fromisoformat(row["raised"]).date() for row in rows]
    expected = Counter("{}-W{:02}".format(*day.isocalendar()[:2]) for day in days)
    found = weeks(Wanted())
    assert {week.name: week.count for week in found if week.count} == dict(expected)
    assert sum(week.critical for week in found) == sum(row["severity"] == "critical" for row in rows)
    mondays = [week.monday for week in found]
    assert mondays == [mondays[0] + timedelta(days=7 * place) for place in range(len(mondays))]


def test_ranks_by_cost_as_well(mixed: Workshop) -> None:
    found = pareto(Wanted(measure="cost"))
    assert [(bar.label.split()[0], bar.cents) for bar in found.bars] == [("301", 93010), ("101", 4500)]
    assert (found.total, found.currency) == (97510, "EUR")
    assert pareto(Wanted(by="supplier", measure="cost")).bars == ()


def test_narrows_by_family_and_time(mixed: Workshop) -> None:
    assert pareto(Wanted(since=TODAY - timedelta(days=8), until=TODAY - timedelta(days=1))).total == 1
    assert pareto(Wanted(family="AX-200")).total == 0
    assert pareto(Wanted(since=TODAY + timedelta(days=1))).bars == ()


def test_sums_up_what_does_not_fit(mixed: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("qcapp.improvement.queries.seeing.SHOWN", 2)
    found = pareto(Wanted())
    assert found.others is not None
    assert (found.others.label, found.others.count, found.others.cumulative) == ("1 others", 1, 1.0)


def test_lists_the_reports_behind_a_bar(mixed: Workshop) -> None:
    for by in ("checkpoint", "cause", "joint"):
        for bar in pareto(Wanted(by=by)).bars:
            assert len(reports_with(by, bar.value, Wanted(by=by))) == bar.count
    with pytest.raises(Invalid):
        reports_with("weather", "rain", Wanted())


def test_reads_what_is_asked_for_from_the_address(mixed: Workshop) -> None:
    wanted = Wanted.read({"by": "cause", "family": "fr-200", "until": "2026-03-17"}, TODAY)
    assert (wanted.family, wanted.until, wanted.since) == ("FR-200", date(2026, 3, 17), date(2025, 9, 16))
    assert "by=joint" in wanted.words(by="joint")
    with pytest.raises(Invalid):
        Wanted.read({"by": "weather"}, TODAY)
    with pytest.raises(Invalid):
        Wanted.read({"since": "soon"}, TODAY)
    with pytest.raises(NotFound):
        Wanted.read({"family": "XX"}, TODAY)


def test_draws_links_into_the_reports(mixed: Workshop) -> None:
    wanted = Wanted(by="cause", since=TODAY - timedelta(days=30))
    picture = pareto_picture(pareto(wanted))
    assert 'href="/nonconformances/?state=all&amp;cause=method&amp;since=2026-02-15"' in picture
    assert "/improvement/reports/?" in pareto_picture(pareto(Wanted()))
    weekly = weeks_picture(weeks(wanted), wanted)
    assert "since=2026-03-16&amp;until=2026-03-22" in weekly
    assert "style=" not in picture + weekly
    assert pareto_picture(pareto(Wanted(family="XX"))) == ""
    assert weeks_picture([], wanted) == ""


def test_leads_from_each_bar_to_as_many_reports(
    mixed: Workshop, client_of: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    client = client_of(mixed.cast.quality_manager)
    for by in BY:
        for bar in pareto(Wanted(by=by)).bars:
            page = client.get(bar.address).text
            listed = page.count('<td class="nowrap"><a href="/nonconformances/NCR') + page.count(
                '<td><a href="/nonconformances/NCR'
            )
            withdrawn = page.count(">withdrawn</span>")
            assert listed - withdrawn == bar.count, bar


def test_says_when_there_is_no_drawing(mixed: Workshop) -> None:
    found = drawn(Wanted(family="FR-200"))
    assert "no drawing with balloons" in found.refusal
    assert (found.sheets, found.nowhere) == ([], 8)


def test_marks_reports_on_a_sheet() -> None:
    sheet = Sheet("s1", "FR-200-01 rev B, sheet 1", 1000, 700, "/files/1")
    marks = [
        Mark(0.5, 0.25, 4, "W7 <b>: NCR-1", "/nonconformances/NCR-1/", exact=False),
        Mark(0.1, 1.0, 1, "Dent: NCR-2", "/nonconformances/NCR-2/", exact=True),
    ]
    picture = concentration(marks, sheet)
    assert 'cx="500" cy="175"' in picture
    assert 'cx="100" cy="700"' in picture
    assert "5 marks at 2 places" in picture
    assert "W7 &lt;b&gt;" in picture
    assert picture.count("stroke-dasharray") == 1
    radii = [float(part.split('"')[0]) for part in picture.split(' r="')[1:]]
    assert radii[0] > radii[1]


def test_shows_every_page(mixed: Workshop, client_of: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    client = client_of(mixed.cast.quality_manager)
    page = client.get("/improvement/seeing/").text
    assert "101 Head angle" in page
    assert "3 reports say nothing" not in page
    assert "1 report says nothing about the checkpoint and is not in the chart." in page
    assert "975.10 EUR" in client.get("/improvement/costs/").text
    assert "Scrapped" in client.get("/improvement/costs/?about=NCR-2026-0007").text
    assert "There is no report NCR-1" in client.get("/improvement/costs/?about=NCR-1").text
    assert "no drawing with balloons" in client.get("/improvement/where/").text
    assert client.get("/improvement/seeing/?since=soon").status_code == 400
    text = client.get("/improvement/seeing/pareto.csv?by=cause").content.decode("utf-8-sig")
    assert text.splitlines()[0] == "cause,reports,cost,share,together"
    assert client.get("/improvement/seeing/pareto.xlsx").content[:2] == b"PK"
    assert client_of(mixed.cast.welder).get("/improvement/seeing/").status_code == 403


def test_says_so_where_nothing_went_wrong(workshop: Workshop, client_of: Browser) -> None:
    client = client_of(workshop.cast.engineer)
    assert "No report was raised in this time." in client.get("/improvement/seeing/").text
    assert "No cost is recorded" in client.get("/improvement/seeing/?measure=cost").text
    assert client.get("/improvement/seeing/?family=FR-200").status_code == 200


def test_sets_records_and_takes_back_by_the_pages(mixed: Workshop, client_of: Browser, monkeypatch: Any) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    client = client_of(mixed.cast.quality_manager)
    values = {"rate_per_hour": "72.50", "currency": "EUR", "similar_count": 4, "similar_days": 60, "units_wanted": 30}
    assert client.post("/improvement/settings/", values).status_code == 302
    assert "72.50" in client.get("/improvement/settings/").text
    assert client.post("/improvement/settings/", values | {"similar_days": 999}).status_code == 400
    told = {"about": "NCR-2026-0002", "what": "Looked again", "minutes": "12"}
    assert client.post("/improvement/costs/", told).status_code == 302
    assert "14.50 EUR" in client.get("/improvement/costs/?about=NCR-2026-0002").text
    assert client.post("/improvement/costs/", told | {"about": "NCR-9"}).status_code == 404
    from qcapp.improvement.models import CostEntry

    key = CostEntry.objects.latest("id").pk
    assert client.post(f"/improvement/costs/{key}/take-back/", {"reason": "wrong"}).status_code == 302
    assert CostEntry.objects.filter(reverses=key).exists()
    assert "The quality manager sets these." in client_of(mixed.cast.engineer).get("/improvement/settings/").text
