"""Whether the recording is believable: made-up cheating is found, honest recording is left alone."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qcapp.core.metrology.bands import Band
from qcapp.trends.believing import CHANCE, Checked, Typed, believability_of, seconds_between
from qcapp.trends.copied import copied_units
from tests.cast import Cast

from .line import FAMILY, Line, measured

BAND = Band(Decimal("49"), Decimal("51"), Decimal("50"))
ONE = {"size": Checked("size", 101, "Size", "measured", BAND)}
START = datetime(2026, 3, 2, 6, tzinfo=UTC)


def typed(values: list[str], gauge: str = "HG-07", seconds: float | None = 20.0) -> list[Typed]:
    return [Typed("size", "measured", Decimal(value), gauge, seconds) for value in values]


def honest(count: int, seed: int, sd: float = 0.2) -> list[str]:
    source = random.Random(seed)
    return [f"{source.gauss(50, sd):.2f}" for _ in range(count)]


def kinds(answers: list[Typed]) -> set[str]:
    return {one.hint.kind for one in believability_of(answers, ONE).doubts}


def test_leaves_honest_recording_alone() -> None:
    # 400 families of one checkpoint: with the false discovery rate held at CHANCE a family without any cheating lists
    # something with probability CHANCE at most. 400 × 0.05 = 20; 34 is exceeded with probability 0.001 (binomial).
    listed = sum(bool(kinds(typed(honest(120, seed)))) for seed in range(400))
    assert listed <= stats.binom.ppf(0.999, 400, CHANCE)


@pytest.mark.parametrize("seed", range(5))
def test_finds_values_rounded_by_hand(seed: int) -> None:
    rounded = [value if number % 3 else value[:-1] + "0" for number, value in enumerate(honest(200, seed))]
    assert "last_digit_preference" in kinds(typed(rounded))


@pytest.mark.parametrize("seed", range(5))
def test_finds_values_moved_just_inside_a_limit(seed: int) -> None:
    wide = honest(300, seed, 0.7)
    moved = ["50.98" if Decimal(value) > 51 else value for value in wide]
    assert "heaping_inside_upper_limit" in kinds(typed(moved))


@pytest.mark.parametrize("seed", range(5))
def test_finds_a_value_typed_again_and_again(seed: int) -> None:
    values = honest(100, seed)
    stuck = values[:40] + [values[40]] * 8 + values[48:]
    assert "repeated_values" in kinds(typed(stuck))


def test_finds_answers_faster_than_the_check() -> None:
    quick = typed(honest(40, 1), seconds=0.4)
    assert "answered_too_fast" in kinds(quick)
    assert "answered_too_fast" not in kinds(typed(honest(40, 1), seconds=9))


def test_looks_at_each_gauge_by_itself() -> None:
    fine, coarse = honest(150, 2), [value[:-1] + "0" for value in honest(150, 3)]
    doubts = believability_of([*typed(fine, "HG-07"), *typed(coarse, "HG-09")], ONE).doubts
    assert {one.gauge for one in doubts if one.hint.kind == "last_digit_preference"} <= {"HG-09"}


def test_measures_time_from_the_same_persons_answer_on_the_same_unit() -> None:
    def at(seconds: int) -> datetime:
        return START + timedelta(seconds=seconds)

    order = [("A", 1, at(0)), ("B", 1, at(2)), ("A", 1, at(30)), ("A", 2, at(31)), ("A", 1, at(4000))]
    assert seconds_between(order) == [None, None, 30.0, None, None]


@given(st.lists(st.tuples(st.sampled_from("AB"), st.integers(1, 3), st.integers(0, 5000)), max_size=30))
def test_never_gives_a_negative_time(rows: list[tuple[str, int, int]]) -> None:
    gaps = seconds_between([(who, item, START + timedelta(seconds=second)) for who, item, second in rows])
    assert len(gaps) == len(rows)
    assert all(gap is None or 0 <= gap <= 1800 for gap in gaps)


def units(count: int, seed: int) -> dict[str, dict[str, str]]:
    source = random.Random(seed)
    return {
        f"U{number:03}": {f"c{key}": f"{source.gauss(10 * key, 1):.1f}" for key in range(40)} for number in range(count)
    }


def test_finds_a_unit_copied_from_the_one_before() -> None:
    made = units(30, 1)
    made["U017"] = made["U016"] | {"c1": "10.4", "c2": "20.9", "c3": "29.9"}
    hints = dict(copied_units(made, sorted(made)))
    assert hints["U017"].p_value < 1e-9
    assert "those of U016" in hints["U017"].words
    assert min(hint.p_value for serial, hint in hints.items() if serial != "U017") > 1e-4


def test_bounds_the_chance_of_equal_values_from_above() -> None:
    # The exact tail of a sum of unlike coin tosses, by convolution, is never above the bound. Hoeffding 1956.
    chances = [0.05, 0.1, 0.2, 0.3, 0.02, 0.4]
    exact = [1.0]
    for chance in chances:
        exact = [
            (exact[n] if n < len(exact) else 0.0) * (1 - chance) + (exact[n - 1] * chance if n else 0.0)
            for n in range(len(exact) + 1)
        ]
    for equal in range(3, 7):
        assert sum(exact[equal:]) <= stats.poisson.sf(equal - 1, sum(chances)) + 1e-12


def test_says_nothing_about_units_that_share_few_values() -> None:
    few = {name: dict(list(values.items())[:10]) for name, values in units(5, 2).items()}
    assert copied_units(few, sorted(few)) == []


def test_shows_the_page_to_the_quality_manager_only(cast: Cast, client_of: Callable[..., Client]) -> None:
    line = Line.with_plan(cast, measured(decimals="2"))
    line.play("size", [value[:-1] + "0" if number % 2 else value for number, value in enumerate(honest(80, 4))])
    client = client_of(cast.quality_manager)
    page = client.get(f"/trends/believable/?family={FAMILY}").content.decode()
    for text in ("Last digits are not even", "A scale or display whose marks favour some digits", "one in twenty"):
        assert text in page
    assert cast.inspector.name not in page
    assert client_of(cast.engineer).get(f"/trends/believable/?family={FAMILY}").status_code == 403
    assert "Believable?" not in client_of(cast.engineer).get(f"/trends/?family={FAMILY}").content.decode()
    answer = client.get(f"/api/v1/believable/{FAMILY}").json()
    assert answer["hints"][0]["kind"] == "last_digit_preference"
    assert answer["answers"] == 80


def test_says_when_there_is_nothing_to_look_at(cast: Cast, client_of: Callable[..., Client]) -> None:
    client = client_of(cast.quality_manager)
    assert "no part family yet" in client.get("/trends/believable/").content.decode()
    line = Line.with_plan(cast, measured())
    assert "No result has been recorded" in client.get("/trends/believable/").content.decode()
    line.play("size", ["50.000"])
    assert "Nothing stands out" in client.get("/trends/believable/").content.decode()
