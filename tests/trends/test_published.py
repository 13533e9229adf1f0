"""Published data sets, imported as results of a made-up family, give the published limits and signals over REST.

Each data set's source stands in its file under tests/vectors.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from qcapp.people.models import Person

from ..cast import Cast
from .line import FIXTURE_ROW, Line, measured, row

MONDAY = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
Published = Callable[[str], dict[str, Any]]


@pytest.fixture
def page(cast: Cast, client_of: Callable[[Person], Client]) -> Callable[..., dict[str, Any]]:
    """`page("size", base=20)`: the characteristic's page as JSON, as the quality manager sees it."""

    def get(key: str, **asked: Any) -> dict[str, Any]:
        answer = client_of(cast.quality_manager).get(f"/api/v1/trends/DX-1/{key}", asked)
        assert answer.status_code == 200, answer.content
        return answer.json()  # type: ignore[no-any-return]

    return get


def test_gives_the_limits_of_the_flow_rate_example(cast: Cast, page: Any, published: Published) -> None:
    data = published("imr_nist_flowrate")
    Line.with_plan(cast, measured(limits="40 to 60", decimals="1")).import_file("size", data["data"])
    chart = page("size")["chart"]
    # printed with d2 rounded to 1.128: the exact factor moves the limits by less than 0.003
    assert chart["center"][0] == pytest.approx(50.81, abs=0.005)
    assert chart["upper"][0] == pytest.approx(55.8041, abs=0.003)
    assert chart["lower"][0] == pytest.approx(45.8159, abs=0.003)
    assert chart["signals"] == []


def test_gives_the_limits_of_the_loan_example_and_holds_them(cast: Cast, page: Any, published: Published) -> None:
    data = published("imr_montgomery_mortgage")
    line = Line.with_plan(cast, measured(limits="200 to 400", decimals="0"))
    line.import_file("size", data["data"])
    line.import_file("size", [300, 340])  # after the base period: the second lies above 321.22
    chart = page("size", base=20)["chart"]
    assert chart["center"] == [data["numbers"]["mean"]] * 22
    assert chart["upper"][-1] == pytest.approx(321.22, abs=0.02)
    assert chart["lower"][-1] == pytest.approx(279.78, abs=0.02)
    assert chart["spread"]["upper"][0] == pytest.approx(25.45, abs=0.02)
    assert [signal["sentence"] for signal in chart["signals"]] == ["One above the upper control limit: DX-1-00022."]


def test_gives_the_limits_and_signal_of_the_wafer_counts(cast: Cast, page: Any, published: Published) -> None:
    data = published("c_chart_nist_wafers")
    line = Line.with_plan(cast, row(101, "defects", "count", limits="max 60"))
    line.import_file("defects", data["data"])
    chart = page("defects")["chart"]
    assert (chart["center"][0], chart["upper"][0], chart["lower"][0]) == (
        data["numbers"]["c_bar"], data["numbers"]["ucl"], data["numbers"]["lcl"],
    )  # fmt: skip
    assert [point + 1 for signal in chart["signals"] for point in signal["points"]] == data["points_above_ucl"]


def test_gives_the_limits_of_the_computers_by_week(cast: Cast, page: Any, published: Published) -> None:
    """The samples of five computers are the weeks here, each computer's count an even share of its sample's."""
    data = published("u_chart_montgomery_computers")
    line = Line.with_plan(cast, row(101, "defects", "count", limits="max 60"), at=MONDAY)
    size = data["units_per_sample"]
    for found in data["defects"]:
        shares = [found // size + (place < found % size) for place in range(size)]
        line.import_file("defects", shares)
        line.at += timedelta(days=7) - timedelta(hours=size)
    chart = page("defects", group="weeks")["chart"]
    assert [point["value"] for point in chart["points"]] == [found / size for found in data["defects"]]
    assert {"u_bar": chart["center"][0], "ucl": chart["upper"][0], "lcl": chart["lower"][0]} == data["numbers"]


def test_gives_the_limits_of_the_dyed_cloth_by_day(cast: Cast, page: Any, published: Published) -> None:
    """Ten rolls of 8 to 13 inspection units: a part is half of one here, so that a roll is a whole number of parts."""
    data = published("u_chart_variable_size_cloth")
    line = Line.with_plan(cast, row(101, "flaws", "count", limits="max 60"), at=MONDAY)
    line.step = timedelta(minutes=20)
    for day, (found, units) in enumerate(zip(data["defects"], data["units"], strict=True)):
        line.at = MONDAY + timedelta(days=day)
        parts = int(2 * units)
        line.import_file("flaws", [found // parts + (place < found % parts) for place in range(parts)])
    chart = page("flaws", group="days", samples=10)["chart"]
    assert [point["units"] for point in chart["points"]] == [2 * units for units in data["units"]]
    assert 2 * chart["center"][0] == data["numbers"]["u_bar"]
    for place, limits in enumerate(data["limits"]):
        for line_name, name in (("upper", "ucl"), ("lower", "lcl")):
            printed = limits[name]
            # printed from u-bar rounded to 1.42: the exact one, 1.4233, moves them by less than 0.005
            assert 2 * chart[line_name][place] == pytest.approx(printed["value"], abs=printed["tol"] + 5e-3)


def test_gives_the_limits_and_signals_of_the_chips_in_samples_of_fifty(
    cast: Cast, page: Any, published: Published
) -> None:
    """1,500 units: a window of thirty samples, as fifty units in a row (np) and as days (p)."""
    data = published("p_np_chart_30_samples_of_50")
    line = Line.with_plan(cast, row(101, "look", "attribute"), at=MONDAY)
    line.step = timedelta(minutes=5)
    size = data["n"]
    for day, found in enumerate(data["data"]):
        line.at = MONDAY + timedelta(days=day)
        line.import_file("look", ["does not conform"] * found + ["conforms"] * (size - found))
    above = [number - 1 for number in data["samples_above_ucl"]]
    numbers = page("look", samples=30, size=size)["chart"]
    assert [point["value"] for point in numbers["points"]] == data["data"]
    # printed from p-bar rounded to 0.2313: the exact one moves them by less than 0.003
    assert numbers["center"][0] == pytest.approx(11.565, abs=3e-3)
    assert (numbers["upper"][0], numbers["lower"][0]) == pytest.approx((20.51, 2.62), abs=3e-3)
    shares = page("look", samples=30, group="days")["chart"]
    assert [point["units"] for point in shares["points"]] == [size] * 30
    assert {"p_bar": shares["center"][0], "ucl": shares["upper"][0], "lcl": shares["lower"][0]} == {
        name: data["numbers"][name] for name in ("p_bar", "ucl", "lcl")
    }
    for chart in (numbers, shares):
        beyond = [one["points"] for one in chart["signals"] if one["rule"] == "beyond_limits"]
        assert sorted(point for points in beyond for point in points) == above


def test_gives_the_limits_of_the_flow_widths(cast: Cast, page: Any, published: Published) -> None:
    data = published("xbar_r_flow_width")
    line = Line.with_plan(cast, measured(limits="1 to 2", readings="5", decimals="4"))
    line.import_file("size", [[f"{value:.4f}" for value in group] for group in data["data"]])
    chart, numbers = page("size", limits="within")["chart"], data["numbers"]
    assert (chart["center"][0], chart["spread"]["center"][0]) == (numbers["grand_mean"], numbers["r_bar"])
    # printed with A2 rounded to 0.577 and D4 to 2.114: the exact factors move the limits by less than 0.0005
    assert chart["upper"][0] == pytest.approx(1.69325, abs=5e-4)
    assert chart["lower"][0] == pytest.approx(1.31795, abs=5e-4)
    assert chart["spread"]["upper"][0] == pytest.approx(0.68749, abs=5e-4)
    indices = {one["name"]: one["value"] for one in page("size")["capability"]["indices"]}
    assert indices["Cp"] == numbers["Cp"]


def test_gives_the_limits_of_the_piston_rings(cast: Cast, page: Any, published: Published) -> None:
    data = published("xbar_r_s_piston_rings")
    line = Line.with_plan(cast, measured(limits="73.9 to 74.1", readings="5"))
    rings = data["data"][: data["phase1_subgroups"]]
    line.import_file("size", [[f"{value:.3f}" for value in ring] for ring in rings])
    chart = page("size", limits="within")["chart"]
    numbers = data["numbers"]
    assert chart["center"][0] == numbers["grand_mean"]
    assert chart["spread"]["center"][0] == numbers["r_bar"]
    assert chart["spread"]["upper"][0] == pytest.approx(0.0491, abs=5e-5)
    assert chart["lower"][0] == numbers["xbar_lcl_from_r"]
    assert chart["signals"] == []
    assert chart["spread"]["beyond"] == []
    line.import_file("size", [[f"{value:.3f}" for value in ring] for ring in data["data"][data["phase1_subgroups"] :]])
    held = page("size", limits="within", base=data["phase1_subgroups"])["chart"]
    beyond = {point + 1 for one in held["signals"] if one["rule"] == "beyond_limits" for point in one["points"]}
    assert sorted(beyond) == data["phase2"]["expected_subgroups_above_ucl"]


def test_gives_the_variance_table_of_the_machines(cast: Cast, page: Any, published: Published) -> None:
    data = published("anova_nist_machines")
    values = [f"{value:.3f}" for group in data["data_groups"] for value in group]
    machines = [f"TF-{number}" for number, group in enumerate(data["data_groups"], 1) for _ in group]
    line = Line.with_plan(cast, FIXTURE_ROW, measured(limits="0.1 to 0.15"))
    line.import_file("size", values, fixture=machines)
    split = next(one for one in page("size")["splits"] if one["by"] == "fixture")
    table, numbers = split["variance_table"], data["numbers"]
    assert table["between"] == {"sum_of_squares": numbers["ss_machine"], "dof": 4}
    assert table["within"] == {"sum_of_squares": numbers["ss_residual"], "dof": 20}
    assert table["f"] == pytest.approx(5.20606060606061)  # computed, see the file
    # epsilon squared by hand: (0.00013722 - 4·0.0000065900)/0.00026901
    assert split["explained"] == pytest.approx((0.000137224 - 4 * 6.59e-6) / 0.000269024, abs=2e-3)


@pytest.mark.parametrize(
    ("name", "limits", "names"),
    [
        ("nist_strd_anova_sirstv", "195 to 197", ("ss_between", "ss_within", "F")),
        ("variance_tests_nist_gear", "0.9 to 1.1", ("ss_batch", "ss_residual", "F_anova")),
    ],
)
def test_gives_the_variance_table_of(
    cast: Cast, page: Any, published: Published, name: str, limits: str, names: tuple[str, str, str]
) -> None:
    """Certified by NIST, and printed in the e-Handbook. Instruments and batches are weld fixtures here."""
    data = published(name)
    printed = {
        one["quantity"]: pytest.approx(one["value"], abs=max(one.get("tol", 0), 1e-8)) for one in data["expected"]
    }
    groups = data["data_groups"]
    fixtures = [f"TF-{number:02}" for number, group in enumerate(groups, 1) for _ in group]
    line = Line.with_plan(cast, FIXTURE_ROW, measured(limits=limits, decimals="4"))
    line.import_file("size", [f"{value:.4f}" for group in groups for value in group], fixture=fixtures)
    table = next(one for one in page("size")["splits"] if one["by"] == "fixture")["variance_table"]
    found = (table["between"]["sum_of_squares"], table["within"]["sum_of_squares"], table["f"])
    assert found == tuple(printed[one] for one in names)


def test_gives_the_indices_of_the_handbook(cast: Cast, page: Any) -> None:
    """NIST/SEMATECH e-Handbook 6.1.6: mean 16, s 2, limits 8 and 20 give Cp 1.0, Cpk 0.6667 (k 0.3333).

    The values are made to have that mean and standard deviation, in pairs, so Pp and Ppk are theirs.
    """
    step = 2 * (29 / 30) ** 0.5
    values = [f"{16 + sign * step:.6f}" for sign in (1, -1) * 15]
    Line.with_plan(cast, measured(limits="8 to 20", decimals="6")).import_file("size", values)
    found = {one["name"]: one for one in page("size")["capability"]["indices"]}
    assert found["Pp"]["value"] == pytest.approx(1.0, abs=5e-5)
    assert found["Ppk"]["value"] == pytest.approx(0.6667, abs=5e-5)
    assert found["Ppk"]["from"] < found["Ppk"]["value"] < found["Ppk"]["to"]
