"""The part's temperature with a reading, and means by the plan: what is judged, what stays on record, who sees it."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from qcapp.api.v1.bench import bench_json
from qcapp.certificates.qif import qif_of
from qcapp.certificates.queries import content_of
from qcapp.certificates.services.rendering import page_of
from qcapp.inspections.models import Result
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.adopting import preview_of
from qcapp.inspections.queries.by_gauge import readings_of_gauge
from qcapp.inspections.queries.trying import tried_on
from qcapp.inspections.services import import_results
from qcapp.inspections.services.keying import Keyed, key_in
from qcapp.inspections.services.results_file import ImportReport
from qcapp.nonconformance.queries import open_reports
from qcapp.plans.queries import checkpoints_of, revision_card
from qcapp.production.queries import unit_by_serial
from tests.cast import Cast
from tests.evidence.files import pdf
from tests.factories.certificates import certified, finished, release_unit
from tests.factories.inspections import PLAN, SERIAL, Workshop, release_plan
from tests.unchanged import rows_of

pytestmark = pytest.mark.django_db
WARMTH = "corrected 11.5"


def plan(**cells: dict[str, str]) -> str:
    """The small plan, with further columns for some keys."""
    rows = list(csv.DictReader(io.StringIO(PLAN)))
    names = [*rows[0], "readings", "mean", "temperature"]
    target = io.StringIO()
    writer = csv.DictWriter(target, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(row | cells.get(row["key"], {}) for row in rows)
    return target.getvalue()


@pytest.fixture
def warm(cast: Cast, fixed_now: Any) -> Workshop:
    """Both lengths are corrected for the part's temperature."""
    asked = {"temperature": WARMTH}
    return Workshop.opened(cast, fixed_now, plan=plan(left_length=asked, right_length=asked))


def told(value: str, temperature: str = "40") -> dict[str, str]:
    return {"value": value, "temperature": temperature}


# ---------------------------------------------------------------------------------------------------- judging


def test_judges_the_value_at_20_degrees_and_keeps_what_was_read(warm: Workshop) -> None:
    """250.35 mm at 40 °C is 250.35 / (1 + 11.5e-6 · 20) = 250.2924 mm at 20 °C: inside 249.7 to 250.3, nearer
    to it than the caliper's 0.01 mm.
    """
    verdict = warm.send_one("left_length", told("250.35"))
    assert (verdict.outcome, verdict.verdict) == ("applied", "near_limit")
    stored = Result.objects.get(checkpoint__characteristic__key="left_length")
    assert json.loads(stored.answer) == {"value": "250.35", "temperature": "40", "counted": ["250.292"]}
    assert stored.plot == 250.292
    assert not open_reports(warm.item_id)
    (view,) = [one for one in inspection_of(SERIAL).checkpoints if one.card.key == "left_length"]
    assert view.counts is not None
    assert view.counts.described == "250.292 mm at 20 °C (measured 250.35 at 40 °C)"


def test_raises_a_report_for_what_is_out_at_20_degrees_only(warm: Workshop) -> None:
    verdict = warm.send_one("left_length", told("250.3", "2"))
    assert (verdict.verdict, verdict.excess, verdict.nearest_limit) == ("out_of_band", "0.052", "upper")
    assert verdict.report is not None
    assert "250.352 mm at 20 °C (measured 250.3 at 2 °C) is out of band" in verdict.message


def test_computes_a_derived_value_from_lengths_at_one_temperature(warm: Workshop) -> None:
    """The same tube, measured on its warm and on its cooled side: the difference is what is left at 20 °C."""
    warm.send_one("left_length", told("250.06", "40"))
    (computed,) = warm.send_one("right_length", told("250.00", "20")).computed
    assert (computed.checkpoint, computed.value) == ("length_difference", "0.002 mm")


@pytest.mark.parametrize(
    ("answer", "code"),
    [({"value": "250.1"}, "temperature_missing"), (told("250.1", "180"), "temperature_out_of_range")],
)
def test_takes_no_reading_without_the_temperature_that_is_asked(
    warm: Workshop, answer: dict[str, str], code: str
) -> None:
    before = rows_of("inspections")
    verdict = warm.send_one("left_length", answer)
    assert (verdict.outcome, verdict.code) == ("rejected", code)
    assert rows_of("inspections") == before


def test_takes_no_temperature_where_none_is_asked(workshop: Workshop) -> None:
    assert workshop.send_one("left_length", told("250.1")).code == "field_unknown"


def test_judges_the_mean_only_where_the_plan_says_so(cast: Cast, fixed_now: Any) -> None:
    asked = {"readings": "3"}
    cells = plan(left_length=asked | {"mean": "yes"}, right_length=asked)
    workshop = Workshop.opened(cast, fixed_now, plan=cells)
    readings = {"values": ["250.1", "250.2", "250.4"]}
    by_mean, one_by_one = workshop.send_one("left_length", readings), workshop.send_one("right_length", readings)
    assert (by_mean.verdict, one_by_one.verdict) == ("in_band", "out_of_band")
    views = {view.card.key: view for view in inspection_of(SERIAL).checkpoints}
    assert views["left_length"].counts.described == "mean 250.233 mm (of 250.1, 250.2, 250.4)"
    assert views["right_length"].counts.described == "250.1, 250.2, 250.4 mm"


def test_widens_the_gauges_uncertainty_by_what_the_temperature_adds(cast: Cast, fixed_now: Any) -> None:
    """250.33 mm at 38 °C is 250.2782 at 20 °C, 0.022 from 250.3: farther than the caliper's own uncertainty, but a
    thermometer good for ± 10 °C adds 2·250.28·11.5e-6·10/√3 = 0.0333 mm.
    """
    stated = {"temperature": "corrected 11.5 thermometer ±10"}
    workshop = Workshop.opened(cast, fixed_now, plan=plan(left_length=stated, right_length={"temperature": WARMTH}))
    verdicts = [workshop.send_one(key, told("250.33", "38")).verdict for key in ("left_length", "right_length")]
    assert verdicts == ["near_limit", "in_band"]
    left, right = Result.objects.filter(gauge__isnull=False).order_by("id")
    assert json.loads(left.answer)["temperature_uncertainty"] == "0.0333"
    assert "temperature_uncertainty" not in json.loads(right.answer)
    assert left.expanded_uncertainty == right.expanded_uncertainty
    (view,) = [one for one in inspection_of(SERIAL).checkpoints if one.card.key == "left_length"]
    assert view.counts is not None
    assert view.counts.described.endswith("(measured 250.33 at 38 °C; temperature uncertainty ± 0.0333 mm)")
    shown = bench_json(inspection_of(SERIAL, viewer=cast.inspector), cast.inspector)
    (asked,) = [one["temperature"] for one in shown["checkpoints"] if one["key"] == "left_length"]
    assert (asked["expansion_limit"], asked["thermometer"]) == (None, "10")
    readings = readings_of_gauge(left.gauge_id, None, workshop.at + timedelta(days=1))
    assert [reading.added for reading in readings] == [Decimal("0.0333"), None]


# ------------------------------------------------------------------------------------------- other ways in


QIF = """<?xml version="1.0"?><QIFDocument xmlns="http://qifstandards.org/xsd/qif3" versionQIF="3.0.0" idMax="9">
<FileUnits><PrimaryUnits><LinearUnit><UnitName>mm</UnitName><UnitConversion><Factor>0.001</Factor></UnitConversion>
</LinearUnit>{unit}</PrimaryUnits></FileUnits>
<MeasurementResources><MeasurementDevices n="1"><MeasurementDevice id="2"><Name>CA-01</Name></MeasurementDevice>
</MeasurementDevices></MeasurementResources>
<Characteristics><CharacteristicItems n="1"><LinearCharacteristicItem id="3"><CharacteristicDesignator>
<Designator>left_length</Designator></CharacteristicDesignator></LinearCharacteristicItem></CharacteristicItems>
</Characteristics>
<Results><MeasurementResultsSet n="1"><MeasurementResults id="4"><MeasuredCharacteristics>
<CharacteristicMeasurements n="1"><LinearCharacteristicMeasurement id="5"><CharacteristicItemId>3</CharacteristicItemId>
<TimeStamp>2026-03-17T08:00:00Z</TimeStamp><MeasurementDeviceIds n="1"><Id>2</Id></MeasurementDeviceIds>
<Value>250.35</Value></LinearCharacteristicMeasurement></CharacteristicMeasurements></MeasuredCharacteristics>
</MeasurementResults></MeasurementResultsSet><ActualComponentSets n="1"><ActualComponentSet n="1">
<ActualComponent id="6"><SerialNumber>{serial}</SerialNumber>{traceability}</ActualComponent>
</ActualComponentSet></ActualComponentSets></Results></QIFDocument>"""
CELSIUS = (
    "<TemperatureUnit><UnitName>Celsius</UnitName><UnitConversion><Factor>1.0</Factor><Offset>273.15</Offset>"
    "</UnitConversion></TemperatureUnit>"
)


def environment(*taken: str) -> str:
    """Temperatures of the part, the first an hour before the measurement, the next at it, and so on."""
    each = "".join(
        f"<Environment><ObjectTemperature>{one}</ObjectTemperature><AmbientTemperature>21</AmbientTemperature>"
        f"<DateAndTime>2026-03-17T0{hour}:00:00Z</DateAndTime></Environment>"
        for hour, one in enumerate(taken, start=7)
    )
    inside = f'<ProductEnvironments n="{len(taken)}">{each}</ProductEnvironments>'
    return f"<Traceability>{inside}</Traceability>" if taken else ""


@pytest.mark.parametrize(
    ("unit", "taken", "told_as"),
    [
        (CELSIUS, ("60", "40", "20"), {"temperature": "40.00", "counted": ["250.292"]}),
        ("", ("313.15",), {"temperature": "40.00", "counted": ["250.292"]}),
        (CELSIUS, (), "temperature_missing"),
        (CELSIUS, ("warm",), "temperature_missing"),
        ("", ("40",), "temperature_out_of_range"),  # without a unit it is kelvin, as Units.xsd says
    ],
)
def test_takes_the_temperature_from_a_measuring_machines_file(
    warm: Workshop, unit: str, taken: tuple[str, ...], told_as: dict[str, Any] | str
) -> None:
    """Source of the elements and of the units: Traceability.xsd and Units.xsd of ISO 23952:2020 (QIF 3.0)."""
    text = QIF.format(unit=unit, serial=SERIAL, traceability=environment(*taken))
    before = rows_of("inspections")
    report = import_results(by=warm.cast.inspector, stream=io.BytesIO(text.encode()), at=warm.at)
    if isinstance(told_as, str):
        assert ([one.code for one in report.rejects], report.applied) == ([told_as], 0)
        assert rows_of("inspections") == before
    else:
        assert (report.rejects, report.applied) == ([], 1)
        assert json.loads(Result.objects.get().answer).items() >= told_as.items()


def test_takes_the_temperature_from_a_results_file(warm: Workshop) -> None:
    header = "serial,checkpoint,value,gauge,recorded_at,badge,temperature\n"
    lines = f"{SERIAL},102,250.35,CA-01,2026-03-17 09:00,1001,40\n{SERIAL},103,250.1,CA-01,2026-03-17 09:01,1001,\n"
    file = io.BytesIO((header + lines).encode())
    report = import_results(by=warm.cast.quality_manager, stream=file, at=warm.at)
    assert isinstance(report, ImportReport)
    assert (report.applied, [(one.line, one.code) for one in report.rejects]) == (1, [(3, "temperature_missing")])


def test_takes_the_temperature_from_a_sheet_of_paper(warm: Workshop, settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    key_in(
        by=warm.cast.second_inspector, serial=SERIAL, stage_number=1, measured_by=warm.cast.inspector.badge,
        measured_at=warm.at - timedelta(hours=2), answers=[Keyed("left_length", "250.35", "CA-01", "40")],
        scan=pdf(), scan_name="stage1.pdf", at=warm.at,
    )  # fmt: skip
    assert Result.objects.get().outcome == "near_limit"


# --------------------------------------------------------------------------------------------- who goes on with it


def test_tells_the_tablet_what_is_asked_and_what_was_given(warm: Workshop) -> None:
    warm.send_one("left_length", told("250.35"))
    shown = bench_json(inspection_of(SERIAL, viewer=warm.cast.inspector), warm.cast.inspector)
    by_key = {one["key"]: one for one in shown["checkpoints"]}
    left = by_key["left_length"]
    assert left["temperature"]["expansion"] == "11.5"
    assert left["temperature"]["reference"] == "20"
    assert left["given"] == {"value": "250.35", "temperature": "40", "counted": ["250.292"]}
    assert left["value"] == "250.292"
    assert (by_key["twist"]["temperature"], by_key["twist"]["given"]) == (None, None)


def test_gives_a_recall_the_value_that_was_judged(warm: Workshop) -> None:
    warm.send_one("left_length", told("250.35"))
    gauge = Result.objects.get(checkpoint__characteristic__key="left_length").gauge_id
    (reading,) = readings_of_gauge(gauge, None, warm.at + timedelta(days=1))
    assert [str(value) for value in reading.values] == ["250.292"]


def test_the_certificate_says_reading_temperature_and_what_counts(warm: Workshop) -> None:
    warm.send(warm.operation("left_length", told("250.35")), warm.operation("right_length", told("250.25", "38")))
    warm.send(warm.operation("head_angle"), warm.operation("tack_look"))
    warm.sign(1)
    for stage in (2, 3):
        warm.answer_stage(stage)
        warm.sign(stage)
    says = content_of(certified(release_unit(warm)).id)
    (line,) = [one for one in says["results"]["stages"][0]["lines"] if one["key"] == "left_length"]
    named = {name: line[name] for name in ("value", "values", "counted", "temperature", "corrected_to", "expansion")}
    assert named == {
        "value": "250.292", "values": ["250.35"], "counted": ["250.292"], "temperature": "40", "corrected_to": "20",
        "expansion": "11.5",
    }  # fmt: skip
    words = " ".join(page_of(says, "0" * 64).split())
    assert "measured 250.35 mm, part at 40 °C, brought to 20 °C with 11.5 µm/(m·K)" in words
    assert b"<Value>250.292</Value>" in qif_of(says)


def test_certificates_without_a_temperature_say_nothing_of_one(workshop: Workshop) -> None:
    says = content_of(certified(release_unit(finished(workshop))).id)
    assert "part at" not in page_of(says, "0" * 64)


# --------------------------------------------------------------------------------------------- other revisions


def other(workshop: Workshop, text: str) -> Any:
    return release_plan(workshop.cast, family_code="FR-200", letter="E", text=text, at=workshop.at)


def test_judges_a_reading_again_by_another_coefficient(warm: Workshop) -> None:
    warm.send_one("left_length", told("250.35"))
    revision = other(warm, plan(left_length={"temperature": "corrected 23"}))
    (carry,) = preview_of(unit_by_serial(SERIAL), revision_card(revision)).judged
    assert json.loads(carry.answer)["counted"] == ["250.235"]


def test_asks_anew_where_the_temperature_was_not_asked_before(workshop: Workshop) -> None:
    workshop.send_one("left_length", "250.1")
    revision = other(workshop, plan(left_length={"temperature": WARMTH}))
    preview = preview_of(unit_by_serial(SERIAL), revision_card(revision))
    assert ([one.key for one in preview.anew], preview.carries) == (["left_length"], ())


def test_tries_another_reference_temperature_on_what_was_recorded(warm: Workshop) -> None:
    warm.send_one("left_length", told("250.35"))
    card = revision_card(other(warm, plan(left_length={"temperature": "corrected 11.5 to 40"})))
    (found,) = tried_on(card.family_id, checkpoints_of(card.id), 10).others
    assert (found.before, found.after) == ("near_limit", "out_of_band")
    assert asdict(found)["described"] == "250.35 mm at 40 °C"
