"""Where a value meets its band. Worked edges with their sources stand in tests/vectors/decision.json."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal, localcontext
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import VERDICTS, Judgement, Verdict, judge, judge_many
from tests.core.metrology.vectors import load

UNHURRIED = settings(deadline=None)  # a busy machine is not a failure
VECTORS = load("decision.json")
BANDS = {name: Band.from_json(data) for name, data in VECTORS["bands"].items()}
SEVERITY = {verdict: position for position, verdict in enumerate(VERDICTS)}


def number(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def as_written(row: dict[str, Any]) -> dict[str, Any]:
    uncertainty = number(row.get("expanded_uncertainty"))
    return {"rule": row.get("rule", "simple"), "expanded_uncertainty": uncertainty}


@pytest.mark.parametrize("row", VECTORS["cases"], ids=lambda row: f"{row['band']} {row['value']} {row['why']}")
def test_judges_each_worked_edge(row: dict[str, Any]) -> None:
    judgement = judge(Decimal(row["value"]), BANDS[row["band"]], **as_written(row))
    expected = Judgement(
        Verdict(row["verdict"]), number(row["deviation"]), Decimal(row["excess"]), row["nearest_limit"]
    )
    assert judgement == expected
    assert str(judgement.deviation) == str(row["deviation"])


@pytest.mark.parametrize("row", VECTORS["refused_judgements"], ids=lambda row: row["code"])
def test_refuses_to_judge_without_what_the_rule_needs(row: dict[str, Any]) -> None:
    band = BANDS[row["band"]]
    with pytest.raises(Invalid) as refused:
        judge(Decimal(row["value"]), band, **as_written(row))
    assert refused.value.code == row["code"]
    with pytest.raises(Invalid) as refused:
        judge_many(np.array([250], dtype=np.int64), band, 1, **as_written(row))
    assert refused.value.code == row["code"]


@pytest.mark.parametrize("value", [25.0, 25, "25", None, Decimal("NaN"), Decimal("sNaN"), Decimal("Infinity")])
def test_refuses_a_value_that_is_no_plain_decimal(value: Any) -> None:
    with pytest.raises(Invalid) as refused:
        judge(value, BANDS["plain"])
    assert refused.value.code == "value_not_decimal"


@pytest.mark.parametrize("uncertainty", [0.1, Decimal("NaN"), "0.1"])
def test_refuses_an_uncertainty_that_is_no_plain_decimal(uncertainty: Any) -> None:
    with pytest.raises(Invalid) as refused:
        judge(Decimal(25), BANDS["plain"], rule="guarded", expanded_uncertainty=uncertainty)
    assert refused.value.code == "value_not_decimal"


def test_does_not_depend_on_the_precision_of_the_thread() -> None:
    with localcontext() as context:
        context.prec = 3
        judgement = judge(Decimal("125.2000000000000001"), BANDS["plain"])
    assert judgement.excess == Decimal("100.0000000000000001")
    assert judgement.deviation == Decimal("100.2000000000000001")


def test_verdicts_have_the_names_that_are_stored() -> None:
    assert [str(verdict) for verdict in VERDICTS] == ["in_band", "near_limit", "out_of_band"]


@pytest.mark.parametrize("module", ["decision", "bands", "quantities", "notations", "fits", "general_tolerances"])
def test_loads_no_heavy_library_before_it_is_needed(module: str) -> None:
    program = f"import sys, qcapp.core.metrology.{module}; print(*sorted(sys.modules))"
    loaded = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert {"numpy", "scipy", "pint", "django"}.isdisjoint(loaded.split())


PLACES = 3
NUMBERS = st.decimals(min_value=-100, max_value=100, places=PLACES)
WIDTHS = st.decimals(min_value=0, max_value=20, places=PLACES)
SIDES = st.frozensets(st.sampled_from(["lower", "upper"]))


@st.composite
def bands(draw: st.DrawFn) -> Band:
    lower, width = draw(NUMBERS), draw(WIDTHS)
    natural = draw(SIDES)
    guarded = 2 - len(natural)
    guard = draw(st.decimals(min_value=0, max_value=width / 2 if guarded else width, places=PLACES + 1))
    is_open = draw(st.sampled_from(["", "", "lower", "upper"]))
    return Band(
        None if is_open == "lower" else lower,
        None if is_open == "upper" else lower + width,
        guard=guard,
        natural=frozenset(natural),
    )


@st.composite
def rules(draw: st.DrawFn) -> dict[str, Any]:
    if draw(st.booleans()):
        return {}
    return {"rule": "guarded", "expanded_uncertainty": draw(WIDTHS)}


@UNHURRIED
@given(bands(), rules(), st.lists(NUMBERS, min_size=2, max_size=10))
def test_moving_further_out_never_makes_the_verdict_better(
    band: Band, rule: dict[str, Any], values: list[Decimal]
) -> None:
    if band.lower is None or band.upper is None:
        limit = band.upper if band.lower is None else band.lower
        ordered = sorted(values, reverse=band.upper is None)
        assert limit is not None
    else:
        middle = (band.lower + band.upper) / 2
        ordered = sorted(value for value in values if value >= middle)
    severities = [SEVERITY[judge(value, band, **rule).verdict] for value in ordered]
    assert severities == sorted(severities)


@UNHURRIED
@given(bands(), rules())
def test_both_limits_belong_inside(band: Band, rule: dict[str, Any]) -> None:
    step = Decimal("1e-18")
    for limit, outwards in ((band.lower, -step), (band.upper, step)):
        if limit is not None:
            on_limit, beyond = judge(limit, band, **rule), judge(limit + outwards, band, **rule)
            assert on_limit.verdict is not Verdict.OUT_OF_BAND
            assert on_limit.excess == 0
            assert beyond.verdict is Verdict.OUT_OF_BAND
            assert beyond.excess == step


@UNHURRIED
@given(bands(), rules(), NUMBERS)
def test_excess_says_how_far_to_the_limit_that_is_broken(band: Band, rule: dict[str, Any], value: Decimal) -> None:
    judgement = judge(value, band, **rule)
    assert (judgement.excess > 0) == (judgement.verdict is Verdict.OUT_OF_BAND)
    if judgement.excess:
        back = judgement.excess if judgement.nearest_limit == "lower" else -judgement.excess
        assert value + back == (band.lower if judgement.nearest_limit == "lower" else band.upper)


@UNHURRIED
@given(bands(), NUMBERS, WIDTHS, WIDTHS)
def test_more_uncertainty_never_makes_the_verdict_better(
    band: Band, value: Decimal, first: Decimal, second: Decimal
) -> None:
    small, large = sorted((first, second))
    better = judge(value, band, rule="guarded", expanded_uncertainty=small)
    worse = judge(value, band, rule="guarded", expanded_uncertainty=large)
    assert SEVERITY[better.verdict] <= SEVERITY[worse.verdict]
    assert (better.excess, better.nearest_limit) == (worse.excess, worse.nearest_limit)


@UNHURRIED
@given(bands(), NUMBERS, st.sampled_from(["1000", "0.001", "25.4", "0.45359237"]), WIDTHS)
def test_measuring_in_another_unit_never_changes_the_verdict(
    band: Band, value: Decimal, factor: str, guard: Decimal
) -> None:
    """A conversion multiplies value, limits, guard and uncertainty by one exact factor."""
    by = Decimal(factor)
    scaled = Band(
        None if band.lower is None else band.lower * by,
        None if band.upper is None else band.upper * by,
        guard=band.guard * by,
        natural=band.natural,
    )
    assert judge(value, band).verdict is judge(value * by, scaled).verdict
    before = judge(value, band, rule="guarded", expanded_uncertainty=guard)
    after = judge(value * by, scaled, rule="guarded", expanded_uncertainty=guard * by)
    assert (before.verdict, before.nearest_limit) == (after.verdict, after.nearest_limit)
    assert before.excess * by == after.excess


@UNHURRIED
@given(bands(), NUMBERS, st.integers(0, 12))
def test_trailing_zeros_never_change_the_verdict(band: Band, value: Decimal, zeros: int) -> None:
    longer = value.quantize(Decimal(1).scaleb(-PLACES - zeros))
    assert judge(longer, band) == judge(value, band)


@UNHURRIED
@given(bands(), NUMBERS)
def test_the_mirror_image_has_the_mirrored_verdict(band: Band, value: Decimal) -> None:
    other = {"lower": "upper", "upper": "lower"}
    mirrored = Band(
        None if band.upper is None else -band.upper,
        None if band.lower is None else -band.lower,
        guard=band.guard,
        natural=frozenset(other[side] for side in band.natural),  # type: ignore[misc]
    )
    assert judge(value, band).verdict is judge(-value, mirrored).verdict


@UNHURRIED
@given(bands(), rules(), st.lists(NUMBERS, max_size=30))
def test_many_values_get_the_verdicts_of_one_by_one(band: Band, rule: dict[str, Any], values: list[Decimal]) -> None:
    edges = [limit for limit in (band.lower, band.upper) if limit is not None]
    every = values + edges + [edge + band.guard.quantize(Decimal("0.001")) for edge in edges]
    scaled = np.array([int(value.scaleb(PLACES)) for value in every], dtype=np.int64)
    many = judge_many(scaled, band, PLACES, **rule)
    assert many.dtype == np.int8
    assert [VERDICTS[code] for code in many] == [judge(value, band, **rule).verdict for value in every]


@UNHURRIED
@given(st.integers(-(2**63), 2**63 - 1), st.integers(0, 18), st.sampled_from(["upper", "lower"]))
def test_many_values_may_fill_the_integers(value: int, decimals: int, side: str) -> None:
    limits = {"lower": None, "upper": None, side: Decimal("1E+19") if decimals % 2 else Decimal("-1E+19")}
    band = Band(**limits)  # type: ignore[arg-type]
    one = judge(Decimal(value).scaleb(-decimals), band).verdict
    assert VERDICTS[judge_many(np.array([value], dtype=np.int64), band, decimals)[0]] is one


def test_many_values_keep_their_shape() -> None:
    scaled = np.array([[248, 252], [247, 253]], dtype=np.int64)
    assert judge_many(scaled, BANDS["plain"], 1).tolist() == [[0, 0], [2, 2]]


@pytest.mark.parametrize("values", [[24.8], ["24.8"]])
def test_refuses_many_values_that_are_not_scaled(values: list[Any]) -> None:
    with pytest.raises(Invalid) as refused:
        judge_many(np.array(values), BANDS["plain"], 1)
    assert refused.value.code == "values_not_scaled"


@UNHURRIED
@given(bands(), NUMBERS)
def test_names_the_limit_with_less_distance_left(band: Band, value: Decimal) -> None:
    assume(not band.natural and band.lower is not None and band.upper is not None)
    judgement = judge(value, band)
    assert band.lower is not None
    assert band.upper is not None
    assert judgement.nearest_limit == ("lower" if value - band.lower < band.upper - value else "upper")
