"""Was it an outlier? Shares, fences and words, against a worked example and a general library."""

from __future__ import annotations

import json
import re
import statistics
from pathlib import Path

import numpy
import pytest

from qcapp.core.errors import NotFound
from qcapp.history.pictures import spread_picture
from qcapp.inspections.queries.outliers import FENCE, spread, value_view
from tests.cast import FIXED_NOW, Cast
from tests.trends.line import Line, measured

from ..factories.inspections import Workshop

VECTORS = json.loads((Path(__file__).parents[1] / "vectors" / "outliers.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("case", VECTORS["cases"], ids=lambda case: case["name"])
def test_finds_the_outliers_of_a_worked_example(case: dict) -> None:
    values = [float(value) for value in case["values"]]
    low, _, high = statistics.quantiles(values, n=4)  # the handbook's quartiles: N + 1 parts
    assert (low, high, high + FENCE * (high - low)) == (
        float(case["lower_quartile"]), float(case["upper_quartile"]), float(case["upper_inner_fence"]),
    )  # fmt: skip
    found = [value for value in values if spread(values, value).outlier]
    assert found == [float(value) for value in case["outliers"]]


@pytest.mark.parametrize("count", [8, 9, 10, 33, 500])
def test_sets_its_fences_as_another_library_does(count: int) -> None:
    values = list(numpy.random.default_rng(count).normal(62, 0.05, count))
    low, high = numpy.percentile(values, [25, 75])  # numpy's default is linear interpolation too
    fences = spread(values, 62.0).fences
    assert fences == pytest.approx((low - FENCE * (high - low), high + FENCE * (high - low)))


def test_counts_who_lies_below_above_and_the_same() -> None:
    found = spread([1.0, 2.0, 2.0, 3.0], 2.0)
    assert (found.below, found.same, found.above, found.percentile, found.outlier) == (1, 2, 1, 50, None)
    assert spread([], 1.0).percentile is None
    assert spread([1.0] * 9, 1.0).outlier is False
    assert spread([1.0] * 9, 1.1).outlier is True


@pytest.fixture
def line(cast: Cast) -> Line:
    made = Line.with_plan(cast, measured())
    made.play("size", [f"50.0{digit}0" for digit in range(10)] + ["55.000", "50.045"])
    return made


def test_says_it_on_one_page_with_picture_and_numbers(line: Line, client_of) -> None:
    client = client_of(line.cast.customer_service)
    page = client.get(f"/units/{line.serials[10]}/values/size/").content.decode()
    for text in ("Yes, an outlier: unusually high", "55.000", "11 other units 11 lie below, 0 above, 0 the same",
                 "percentile 100", "40.000 to 60.000"):  # fmt: skip
        assert text in page, text
    assert "No, not an outlier" in client.get(f"/units/{line.serials[11]}/values/size/").content.decode()
    history = client.get(f"/units/{line.serials[10]}/").content.decode()
    assert f'href="/units/{line.serials[10]}/values/size/"' in history
    assert client.get(f"/units/{line.serials[10]}/values/nothing/").status_code == 404


def test_says_it_by_the_api(line: Line, client_of) -> None:
    told = client_of(line.cast.customer_service).get(f"/api/v1/units/{line.serials[10]}/values/size").json()
    assert (told["value"], told["outlier"], told["percentile"]) == ("55.000 mm", True, 100)


def test_draws_every_value_and_names_the_one(line: Line) -> None:
    view = value_view(line.serials[10], "size", viewer=line.cast.customer_service, at=FIXED_NOW)
    svg = spread_picture(view)
    assert sum(int(count) for count in re.findall(r"<title>(\d+)</title>", svg)) == 11
    assert "55.000 mm" in svg
    assert "style=" not in svg


def test_says_that_there_are_too_few(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", ["50.000", "50.010"])
    view = value_view(line.serials[0], "size", viewer=cast.customer_service, at=FIXED_NOW)
    assert view.verdict == "Too few to say: 1 other unit of the family, 8 are needed."
    assert view.usual == ""


def test_keeps_a_first_answer_from_who_still_owes_the_second(workshop: Workshop) -> None:
    workshop.answer_stage(1)
    with pytest.raises(NotFound) as caught:
        value_view(workshop.serial, "throat_w7", viewer=workshop.cast.second_inspector, at=FIXED_NOW)
    assert caught.value.code == "value_unknown"
