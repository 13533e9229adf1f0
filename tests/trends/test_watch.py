"""The watch page finds what moves, puts the worst first and says it in a sentence."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from statistics import NormalDist

import pytest
from django.test import Client

from qcapp.core.metrology.bands import Band
from qcapp.core.statistics.distributions import binomial_at_most
from qcapp.core.statistics.run_length import rules_run_length
from qcapp.people.models import Person
from qcapp.trends.readings import Reading, Series
from qcapp.trends.watch import RULES, Watched, watched, worst_first

from ..cast import FIXED_NOW, Cast
from .line import FIXTURE_ROW, Line, measured

ClientOf = Callable[[Person], Client]
BASE = 42  # readings in control on each fixture
SHIFT = 1.5  # standard deviations
SEEDS = 60


def series_of(values: Sequence[float], fixtures: Sequence[str] | None = None, **changes: object) -> Series:
    """A measured series of these values, one hour apart, on one fixture or those named."""
    band = Band(Decimal(40), Decimal(60))
    readings = tuple(
        Reading(
            serial=f"DX-1-{place:05}", item_id=place, result_id=place, text=f"{value:.4f}", value=value,
            values=(value,), outcome="in_band", recorded_at=FIXED_NOW + timedelta(hours=place), revision="A",
            band=band, fixture=fixtures[place - 1] if fixtures else "TF-1",
        )
        for place, value in enumerate(values, 1)
    )  # fmt: skip
    series = Series(
        family_code="DX-1", family_name="Trike frame", key="size", number=101, title="Head angle", kind="measured",
        unit_of_measure="mm", decimals=3, limits_text="40 to 60", band=band, asked_for=1, readings=readings,
    )  # fmt: skip
    return replace(series, **changes)  # type: ignore[arg-type]


def steady(count: int, seed: int = 1) -> list[float]:
    """Values in control about 50 with standard deviation 1, without a signal."""
    draw = random.Random(seed)
    return [50 + draw.gauss(0, 1) for _ in range(count)]


def drifting(seed: int, fixtures: Sequence[str]) -> list[str]:
    """Values about 50 with standard deviation 1; those of TF-2 lie SHIFT higher when both had BASE in control."""
    draw = random.Random(seed)
    return [
        f"{50 + draw.gauss(0, 1) + (SHIFT if fixture == 'TF-2' and place >= 2 * BASE else 0):.4f}"
        for place, fixture in enumerate(fixtures)
    ]


def named(one: Watched, fixture: str) -> bool:
    return any(found.fixture == fixture and found.signals for found in one.by_fixture)


def test_finds_a_shift_on_one_fixture_within_the_average_run_length(cast: Cast, client_of: ClientOf) -> None:
    """From recorded results to the watch page's JSON: sixty characteristics, each a draw of its own, on two fixtures.

    All are in control on 42 units of each fixture; then TF-2 alone shifts. The average run length of the two rules at
    this shift comes from the exact Markov chain (Champ and Woodall 1987). A run length lies at or under its average
    more often than not, so the number found in time is at least binomial with one half: fewer than 18 of 60 would come
    by chance in less than one case in a thousand. The median of the seeds lies in time when half of them do.
    """
    most = int(rules_run_length(RULES, shift=SHIFT))  # units of the shifted fixture; 7.75 in the table
    fixtures = ["TF-1", "TF-2"] * (BASE + most)
    answers = {f"size_{seed:02}": drifting(seed, fixtures) for seed in range(SEEDS)}
    rows = [measured(101 + place, key, decimals="4") for place, key in enumerate(answers)]
    Line.with_plan(cast, FIXTURE_ROW, *rows).copy_results(answers, fixtures)
    shown = client_of(cast.quality_manager).get("/api/v1/trends/DX-1").json()
    assert (shown["units"], len(shown["characteristics"])) == (len(fixtures), SEEDS)
    found = {
        one["key"]: {fixture["fixture"]: fixture["signals"] for fixture in one["fixtures"]}
        for one in shown["characteristics"]
    }
    in_time = sum(any(signal["last"] >= BASE for signal in one["TF-2"]) for one in found.values())
    least = next(count for count in range(SEEDS + 1) if binomial_at_most(count, SEEDS, 0.5) > 0.001)
    assert (most, least) == (7, 18)
    assert in_time >= least
    assert in_time >= SEEDS / 2
    assert all(one["why"] == "signal" for one in shown["characteristics"] if found[one["key"]]["TF-2"])
    assert [one["why"] for one in shown["characteristics"]].index("signal") == 0


def test_uses_rules_whose_run_lengths_are_published() -> None:
    """Champ and Woodall (1987), Table 1, rules 1 and 4: 152.73 in control (from memory, see tests/vectors)."""
    assert rules_run_length(RULES) == pytest.approx(152.73, abs=0.005)


def test_says_a_run_with_its_fixture_and_first_unit() -> None:
    values = steady(60)
    fixtures = ["TF-1", "TF-2"] * 50
    drawn = random.Random(3)
    values += [50 + (1.2 if place % 2 else 0) + drawn.uniform(-0.4, 0.4) for place in range(18)]
    one = watched(series_of(values, fixtures), base=60)
    assert one.rank == 0
    assert one.sentence.startswith("Head angle: ")
    assert "frames in a row above the centre since DX-1-" in one.sentence
    assert one.sentence.endswith("fixture TF-2 only.")
    assert not named(one, "TF-1")


def test_orders_signals_before_capability_before_drift_before_quiet() -> None:
    quiet = watched(series_of(steady(60)), base=40)
    signal = watched(series_of([*steady(60), 58.0]), base=40)
    narrow = Band(Decimal(49), Decimal(51))
    poor = watched(series_of(steady(60), band=narrow), base=40)
    few = watched(series_of([50.0]))
    assert [one.why for one in worst_first([few, quiet, poor, signal])] == [
        "signal", "not capable", "quiet", "too little",
    ]  # fmt: skip
    assert quiet.sentence == "Head angle: quiet."
    assert poor.sentence.startswith("Head angle: capability 0.")
    assert signal.sentence == "Head angle: one above the upper control limit: DX-1-00061."


def test_makes_no_signals_where_the_step_is_coarser_than_the_spread() -> None:
    values = [50.0] * 30 + [51.0] + [50.0] * 20
    coarse = series_of(values)
    coarse = replace(
        coarse, decimals=0, readings=tuple(replace(one, text=f"{one.value:.0f}") for one in coarse.readings)
    )
    one = watched(coarse, base=40)
    assert one.recent == ()
    assert any("coarser than their spread" in note for note in one.chart.notes)


def test_is_seldom_wrong_in_control() -> None:
    """Of 200 series in control with 40 readings after the base, at most as many call as the table's run length lets.

    One chart of n points calls with probability at most n/152.7 or so; three charts look at 10 recent points each, on
    limits that are themselves estimated from 60 readings and more. The bound is that with the binomial's 99.9 % margin.
    """
    calls = sum(watched(series_of(steady(160, seed), ["TF-1", "TF-2"] * 80), base=120).rank == 0 for seed in range(200))
    chance = 30 / rules_run_length(RULES) * 1.5  # half as much again for estimated limits: our allowance
    most = 200 * chance + NormalDist().inv_cdf(0.999) * (200 * chance * (1 - chance)) ** 0.5
    assert calls <= most


def test_shows_it_on_the_page_and_over_rest(cast: Cast, client_of: ClientOf) -> None:
    line = Line.with_plan(cast, FIXTURE_ROW, measured(limits="40 to 60"), measured(102, "other"))
    values = [f"{value:.3f}" for value in steady(44)] + ["53.1", "53.2"]
    line.play("size", values, fixture=["TF-1", "TF-2"] * 22 + ["TF-2", "TF-2"])
    client = client_of(cast.engineer)
    found = client.get("/api/v1/trends/DX-1").json()
    assert [one["key"] for one in found["characteristics"]] == ["size", "other"]
    first = found["characteristics"][0]
    assert first["why"] == "signal"
    assert "DX-1-00046" in str(first["signals"]) + first["sentence"]
    page = client.get("/trends/?family=DX-1").content.decode()
    assert page.index("Signals in the last ten units") < page.index("Too few values")
    assert first["sentence"].removeprefix("Size: ")[1:] in page


def test_looks_again_when_a_newer_result_arrives(cast: Cast, client_of: ClientOf) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", ["50.0", "50.1"])
    client = client_of(cast.engineer)
    assert client.get("/api/v1/trends/DX-1").json()["characteristics"][0]["values"] == 2
    line.play("size", ["50.2"])
    assert client.get("/api/v1/trends/DX-1").json()["characteristics"][0]["values"] == 3
