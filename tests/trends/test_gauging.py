"""A gauge study stands on the page of the characteristic that the gauge has measured, and says its share."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from qcapp.gauges.studying import next_reading, plan_study, record_reading
from qcapp.people.models import Person

from ..cast import FIXED_NOW, Cast
from .line import Line, measured

# The handbook's worked study of ten parts, three people, three times; the file names its source.
VECTOR = Path(__file__).resolve().parents[1] / "vectors" / "statistics_grr_aiag_10x3x3.json"
VALUES = ["48.0", "52.5", "50.5", "47.0", "54.0", "50.0"]


@pytest.fixture
def manager(cast: Cast, client_of: Callable[[Person], Client]) -> Client:
    """The quality manager's browser."""
    return client_of(cast.quality_manager)


def played(cast: Cast) -> None:
    line = Line.with_plan(cast, measured(gauge_kinds="caliper"), gauges=True)
    line.play("size", VALUES, gauge=["CA-01"] * len(VALUES))


def studied(cast: Cast, *, stops_after: int | None = None) -> dict[str, Any]:
    """The published study, read with CA-01 by three people; the data with the numbers that it must give."""
    data: dict[str, Any] = json.loads(VECTOR.read_text(encoding="utf-8"))
    people = dict(zip("ABC", (cast.inspector, cast.second_inspector, cast.third_inspector), strict=True))
    row = plan_study(
        by=cast.metrology, number="CA-01", title="101 size", parts=10, trials=3, checkpoint="DX-1 101",
        badges=[person.badge for person in people.values()], at=FIXED_NOW,
    )  # fmt: skip
    left = stops_after if stops_after is not None else len(row.order)
    for letter, person in people.items():
        trials: dict[int, int] = {}
        while left and (following := next_reading(row.pk, person)) is not None:
            trial = trials[following.part] = trials.get(following.part, 0) + 1
            value = str(data["data_by_appraiser_trial_rows"][letter][trial - 1][following.part - 1])
            record_reading(by=person, study_id=row.pk, place=following.place, value=value, at=FIXED_NOW)
            left -= 1
    return data


def test_compares_the_published_gauge_spread_with_the_values_shown(cast: Cast, manager: Client) -> None:
    played(cast)
    published = {one["quantity"]: one for one in studied(cast)["anova_components_sd_interaction_pooled"]}["GRR"]
    tolerance = 100 * max(published["tol"], 1e-6)
    (found,) = manager.get("/api/v1/trends/DX-1/size").json()["gauge_studies"]
    spread = float(numpy.std([float(value) for value in VALUES], ddof=1))
    assert found["gauge"] == "CA-01"
    assert found["percent_of_values"] == pytest.approx(100 * published["value"] / spread, abs=tolerance)
    # six standard deviations against the band from 40 to 60
    assert found["percent_of_band"] == pytest.approx(100 * 6 * published["value"] / 20, abs=tolerance)


def test_says_the_share_on_the_page_with_a_link_to_the_study(cast: Cast, manager: Client) -> None:
    played(cast)
    studied(cast)
    page = manager.get("/trends/DX-1/size/").content.decode()
    assert "CA-01, 101 size</a>: " in page
    assert "of the spread in the study was gauge and people" in page
    assert "Gauge studies for this checkpoint" in page
    assert "of the spread is gauge and people; tells" in page


def test_tells_nothing_of_a_study_that_is_still_being_read(cast: Cast, manager: Client) -> None:
    played(cast)
    studied(cast, stops_after=40)
    assert manager.get("/api/v1/trends/DX-1/size").json()["gauge_studies"] == []
    assert (
        "No gauge study has been completed with a gauge of these values"
        in manager.get("/trends/DX-1/size/").content.decode()
    )


def test_says_when_the_values_spread_no_more_than_the_gauge_does(cast: Cast, manager: Client) -> None:
    line = Line.with_plan(cast, measured(gauge_kinds="caliper"), gauges=True)
    line.play("size", ["50.000", "50.001"] * 3, gauge=["CA-01"] * 6)
    studied(cast)
    (found,) = manager.get("/api/v1/trends/DX-1/size").json()["gauge_studies"]
    assert "The values shown spread no more than gauge and people alone do." in found["sentence"]


def test_leaves_a_study_in_another_unit_of_measure_out(cast: Cast, manager: Client) -> None:
    line = Line.with_plan(cast, measured(gauge_kinds="caliper", unit_of_measure="cm"), gauges=True)
    line.play("size", VALUES, gauge=["CA-01"] * len(VALUES))
    studied(cast)
    assert manager.get("/api/v1/trends/DX-1/size").json()["gauge_studies"] == []


def test_asks_for_all_studies_at_once(cast: Cast, manager: Client) -> None:
    played(cast)
    manager.get("/trends/DX-1/size/")
    with CaptureQueriesContext(connection) as without:
        manager.get("/trends/DX-1/size/")
    studied(cast)
    studied(cast)
    with CaptureQueriesContext(connection) as having:
        manager.get("/trends/DX-1/size/")
    assert len(having) - len(without) <= 1
    assert len(having) <= 20
