"""Readings brought to the reference temperature and averaged: by the server, by the tablet, and what is refused."""

from __future__ import annotations

import json
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path
from statistics import mean as plain_mean
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qcapp.core.checkpoints.assessment import Outcome
from qcapp.core.checkpoints.counted import (
    PartTemperature,
    counted,
    counted_numbers,
    read_part_temperature,
    temperature_uncertainty,
    together,
)
from qcapp.core.checkpoints.measured import Measured
from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import as_text
from qcapp.core.metrology.uncertainty import Component, combine, from_expanded, from_half_width

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
VECTORS = ROOT / "tests" / "vectors" / "counted.json"
CASES: list[dict[str, Any]] = json.loads(VECTORS.read_text(encoding="utf-8"))["cases"]
UNCERTAIN = VECTORS.with_name("temperature_uncertainty.json")
UNCERTAIN_CASES: list[dict[str, Any]] = json.loads(UNCERTAIN.read_text(encoding="utf-8"))["cases"]
TUBE = {"nominal": "196.20", "notation": "±0.03", "unit_of_measure": "mm", "decimals": 2}
WARM = TUBE | {"temperature": "corrected 11.5"}
BORE = {"nominal": "25", "notation": "H7", "unit_of_measure": "mm", "readings": 3}


def by_server(row: dict[str, Any]) -> list[str]:
    asked = read_part_temperature({"temperature": written(row)}, "mm")
    warmth = Decimal(row["temperature"]) if row["temperature"] else None
    values = [Decimal(value) for value in row["values"]]
    found = counted(values, row["decimals"], mean=row["mean"], asked=asked, temperature=warmth)
    return [as_text(value) for value in found]


def written(row: dict[str, Any]) -> str:
    return f"corrected {row['expansion']} to {row['reference']}" if row["expansion"] else ""


def refusal(read: Any, *args: Any) -> tuple[str, str]:
    with pytest.raises(Invalid) as refused:
        read(*args)
    return refused.value.code, str(refused.value.details.get("field"))


# ------------------------------------------------------------------------------------------------- both halves


@pytest.mark.parametrize("row", CASES, ids=lambda row: row["name"])
def test_the_server_counts_as_the_case_says(row: dict[str, Any]) -> None:
    assert by_server(row) == row["counted"]


def test_the_tablet_counts_as_the_server_does() -> None:
    node = shutil.which("node")
    if node is None:
        pytest.fail("node is not on the PATH: install Node.js 18 or later to run the tablet's half of this test")
    assert by_tablet(node, VECTORS) == [row["counted"] for row in CASES]
    assert by_tablet(node, UNCERTAIN) == [[row["added"], row["together"]] for row in UNCERTAIN_CASES]


def by_tablet(node: str, vectors: Path) -> Any:
    command = [node, str(HERE / "run_counted.mjs"), str(ROOT / "static/js/counted.js"), str(vectors)]
    done = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=True)
    return json.loads(done.stdout)


def decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def stated(row: dict[str, Any]) -> PartTemperature:
    widths = decimal(row["expansion_limit"]), decimal(row["thermometer"])
    return PartTemperature(decimal(row["expansion"]), Decimal(row["reference"]), *widths)


@pytest.mark.parametrize("row", UNCERTAIN_CASES, ids=lambda row: row["name"])
def test_the_server_adds_what_the_temperature_brings_as_the_case_says(row: dict[str, Any]) -> None:
    counts = [Decimal(value) for value in row["counts"]]
    added = temperature_uncertainty(counts, row["decimals"], stated(row), decimal(row["temperature"]))
    whole = together(decimal(row["gauge"]), added, row["decimals"])
    said = [None if one is None else as_text(one) for one in (added, whole)]
    assert said == [row["added"], row["together"]]


def test_agrees_with_the_uncertainty_budget_of_the_core() -> None:
    """The same three lines through `combine` (JCGM 100:2008 5.1.2), which the core holds against the GUM's examples."""
    budget = combine([
        Component(from_half_width(0.5), sensitivity=599.9941 * 11.5e-6, name="thermometer"),
        Component(from_half_width(1e-6), sensitivity=599.9941 * 11, name="coefficient"),
        Component(from_expanded(0.01, 2), name="gauge"),
    ])  # fmt: skip
    asked = PartTemperature(Decimal("11.5"), expansion_limit=Decimal(1), thermometer=Decimal("0.5"))
    added = temperature_uncertainty([Decimal("599.9941")], 2, asked, Decimal(31))
    assert float(together(Decimal("0.01"), added, 2) or 0) == pytest.approx(budget.expanded, abs=2e-5)


def test_widens_the_zone_near_a_limit_by_what_the_temperature_adds() -> None:
    """600.012 at 20 °C is 0.018 from the limit 600.03: outside a gauge's 0.01, inside 0.0202 with the temperature's."""
    tube = {"nominal": "600.00", "notation": "±0.03", "unit_of_measure": "mm", "decimals": 2}
    outcomes = []
    for temperature in ("corrected 11.5", "corrected 11.5 ±2 thermometer ±0.5"):
        spec = Measured.read_spec(tube | {"temperature": temperature})
        answer = Measured.read_answer({"value": "600.088", "temperature": "31"}, spec)
        outcomes.append(str(Measured.assess(answer, spec, expanded_uncertainty=Decimal("0.01")).outcome))
    assert outcomes == ["in_band", "near_limit"]
    assert answer.to_json()["temperature_uncertainty"] == "0.01576"
    assert Measured.describe_answer(answer, spec) == (
        "600.0121 mm at 20 °C (measured 600.088 at 31 °C; temperature uncertainty ± 0.01576 mm)"
    )
    believed = Measured.read_answer(answer.to_json() | {"temperature_uncertainty": "0"}, spec)
    assert believed == answer


# --------------------------------------------------------------------------------------------------- verdicts


def test_judges_the_length_at_20_degrees_and_keeps_the_reading() -> None:
    """196.24 mm at 31 °C is out of 196.17 to 196.23, and in band at 20 °C: 196.24 / (1 + 11.5e-6 · 11) = 196.2152."""
    spec = Measured.read_spec(WARM)
    answer = Measured.read_answer({"value": "196.24", "temperature": "31"}, spec)
    assert Measured.assess(answer, spec).outcome is Outcome.IN_BAND
    assert answer.to_json() == {"value": "196.24", "temperature": "31", "counted": ["196.2152"]}
    assert answer.number() == Decimal("196.2152")
    assert Measured.describe_answer(answer, spec) == "196.2152 mm at 20 °C (measured 196.24 at 31 °C)"
    plain = Measured.read_spec(TUBE)
    assert Measured.assess(Measured.read_answer({"value": "196.24"}, plain), plain).outcome is Outcome.OUT_OF_BAND


def test_finds_a_cold_part_too_long_that_reads_well() -> None:
    spec = Measured.read_spec(WARM)
    answer = Measured.read_answer({"value": "196.23", "temperature": "4"}, spec)
    found = Measured.assess(answer, spec)
    assert (found.outcome, found.excess) == (Outcome.OUT_OF_BAND, Decimal("0.0361"))


def test_records_a_temperature_that_corrects_nothing() -> None:
    spec = Measured.read_spec(TUBE | {"temperature": "asked"})
    answer = Measured.read_answer({"value": "196.21", "temperature": "31"}, spec)
    assert answer.to_json() == {"value": "196.21", "temperature": "31"}
    assert Measured.describe_answer(answer, spec) == "196.21 mm at 31 °C"


def test_counts_readings_one_by_one_unless_the_plan_takes_their_mean() -> None:
    readings = {"values": ["25.010", "25.012", "25.022"]}
    each, mean = Measured.read_spec(BORE), Measured.read_spec(BORE | {"mean": True})
    assert Measured.assess(Measured.read_answer(readings, each), each).outcome is Outcome.OUT_OF_BAND
    answer = Measured.read_answer(readings, mean)
    assert Measured.assess(answer, mean).outcome is Outcome.IN_BAND
    assert (each.gives_number, mean.gives_number) == (False, True)
    assert answer.number() == Decimal("25.01467")
    assert answer.to_json()["values"] == ["25.010", "25.012", "25.022"]
    assert Measured.describe_answer(answer, mean) == "mean 25.01467 mm (of 25.010, 25.012, 25.022)"


@settings(deadline=None)
@given(st.lists(st.decimals("10", "20", places=2), min_size=2, max_size=9))
def test_means_as_the_standard_library_does(values: list[Decimal]) -> None:
    """Python's statistics.mean over exact decimals."""
    (found,) = counted(values, 2, mean=True, asked=None, temperature=None)
    assert abs(found - plain_mean(values)) <= Decimal("0.00005")


def test_reads_its_own_stored_answer_back_and_never_believes_what_it_came_to() -> None:
    spec = Measured.read_spec(WARM)
    stored = Measured.read_answer({"value": "196.24", "temperature": "31"}, spec).to_json()
    assert Measured.read_answer(stored, spec).to_json() == stored
    lied = Measured.read_answer(stored | {"counted": ["196.20"]}, spec)
    assert lied.to_json() == stored


def test_gives_charts_the_numbers_that_met_the_band() -> None:
    assert counted_numbers({"value": "1.0"}) == ["1.0"]
    assert counted_numbers({"values": ["1.0", "2.0"]}) == ["1.0", "2.0"]
    assert counted_numbers({"value": "1.0", "counted": ["0.9"]}) == ["0.9"]
    assert counted_numbers({"conforms": True}) == []


# -------------------------------------------------------------------------------------------------- specified


def test_leaves_the_text_of_what_was_released_before_as_it_was() -> None:
    assert {"mean", "temperature"} & Measured.read_spec(BORE).to_json().keys() == set()
    for given_spec in (WARM, BORE | {"mean": True, "temperature": "corrected 11.5 to 23"}):
        stored = Measured.read_spec(given_spec).to_json()
        assert Measured.read_spec(stored).to_json() == stored


@pytest.mark.parametrize(
    ("typed", "kept", "said"),
    [
        ("asked", "asked", "part temperature asked"),
        (" corrected  11,5 ", "corrected 11.5", "corrected to 20 °C with 11.5 µm per metre and kelvin"),
        ("corrected 16 to 23", "corrected 16 to 23", "corrected to 23 °C with 16 µm per metre and kelvin"),
        (
            "corrected 11,5 +/-1 to 23, thermometer ± 0,5",
            "corrected 11.5 ±1 to 23 thermometer ±0.5",
            "corrected to 23 °C with 11.5 ± 1 µm per metre and kelvin, thermometer ± 0.5 °C",
        ),
        (
            "corrected 11.5 thermometer +-0.5",
            "corrected 11.5 thermometer ±0.5",
            "corrected to 20 °C with 11.5 µm per metre and kelvin, thermometer ± 0.5 °C",
        ),
    ],
)
def test_reads_what_is_asked_about_the_warmth(typed: str, kept: str, said: str) -> None:
    found = read_part_temperature({"temperature": typed}, "mm")
    assert found is not None
    assert (str(found), found.text) == (kept, said)


@pytest.mark.parametrize(
    ("typed", "unit", "code"),
    [
        ("yes", "mm", "temperature_not_understood"),
        ("corrected", "mm", "temperature_not_understood"),
        ("corrected 0.0000115", "mm", "expansion_out_of_range"),
        ("corrected 1150", "mm", "expansion_out_of_range"),
        ("corrected 11.5 to 120", "mm", "temperature_out_of_range"),
        ("corrected 11.5 ±11.5", "mm", "expansion_out_of_range"),
        ("corrected 11.5 thermometer ±25", "mm", "temperature_out_of_range"),
        ("asked ±1", "mm", "temperature_not_understood"),
        ("corrected 11.5", "°", "correction_needs_length"),
        ("corrected 11.5", "N·m", "correction_needs_length"),
    ],
)
def test_refuses_a_correction_that_cannot_be_meant(typed: str, unit: str, code: str) -> None:
    assert refusal(read_part_temperature, {"temperature": typed}, unit) == (code, "temperature")


def test_refuses_a_mean_of_one_reading() -> None:
    assert refusal(Measured.read_spec, TUBE | {"mean": True}) == ("mean_of_one", "mean")


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"value": "196.24"}, "temperature_missing"),
        ({"value": "196.24", "temperature": ""}, "temperature_missing"),
        ({"value": "196.24", "temperature": "293.15"}, "temperature_out_of_range"),
        ({"value": "196.24", "temperature": "warm"}, "value_not_a_number"),
        ({"value": "196.24", "temperature": 31.5}, "field_type"),
    ],
)
def test_refuses_a_reading_without_the_temperature_that_is_asked(sent: dict[str, Any], code: str) -> None:
    assert refusal(Measured.read_answer, sent, Measured.read_spec(WARM)) == (code, "temperature")


def test_refuses_a_temperature_that_is_not_asked() -> None:
    sent = {"value": "196.24", "temperature": "31"}
    assert refusal(Measured.read_answer, sent, Measured.read_spec(TUBE)) == ("field_unknown", "temperature")
