"""Windows that are counted in samples, and what a sample is."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from qcapp.core.errors import Invalid
from qcapp.people.models import Person
from qcapp.people.services import demonstration_proof
from qcapp.trends.characteristic import Wanted
from qcapp.trends.queries import LONGEST
from qcapp.trends.queries import readings as module
from qcapp.trends.sampling import Sampled
from qcapp.trends.services import freeze_limits

from ..cast import FIXED_NOW, Cast
from ..goods.conftest import accepted, data_folder, decide, kit  # noqa: F401 - fixtures
from ..goods.test_lots import played
from ..unchanged import refused
from .line import Line, row

ClientOf = Callable[[Person], Client]


@pytest.fixture
def looked(cast: Cast) -> Line:
    """Seven days of a look, ten units a day, the first of each day not conforming."""
    line = Line.with_plan(cast, row(101, "look", "attribute"))
    line.step = timedelta(minutes=30)
    for day in range(7):
        line.at = FIXED_NOW + timedelta(days=day)
        line.play("look", [{"conforms": place > 0} for place in range(10)])
    return line


def chart(client: Client, **asked: Any) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/api/v1/trends/DX-1/look", asked).json()["chart"]
    return found


def test_reads_so_many_samples_however_many_answers_each_has(cast: Cast, looked: Line, client_of: ClientOf) -> None:
    client = client_of(cast.quality_manager)
    assert [point["units"] for point in chart(client, samples=3, size=20)["points"]] == [20] * 3
    days = chart(client, samples=5, group="days")
    assert [(point["units"], point["value"]) for point in days["points"]] == [(10, 0.1)] * 5
    assert days["name"] == "Share that does not conform, by day"
    assert days["center"][0] == pytest.approx(0.1)
    assert len(chart(client, last=30)["points"]) == 3  # a window of answers, where that is asked for
    page = client.get("/trends/DX-1/look/?group=days").content.decode()
    assert "Table of the samples" in page
    assert "Last samples" in page


def test_leaves_out_a_sample_whose_beginning_lies_before_what_was_read(
    cast: Cast, looked: Line, client_of: ClientOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "LONGEST", 15)
    monkeypatch.setattr(module, "MOST_ANSWERS", 25)
    points = chart(client_of(cast.quality_manager), samples=5, group="days", last=15)["points"]
    assert [point["units"] for point in points] == [10, 10]  # of a third day only five were read


@pytest.mark.parametrize("wanted", [Sampled(1), Sampled(101), Sampled(60, "units", 100)])
def test_refuses_a_window_that_one_page_does_not_take(wanted: Sampled) -> None:
    with pytest.raises(Invalid) as refusal:
        wanted.check()
    assert refusal.value.code == "window_out_of_range"


def test_answers_a_window_out_of_range_with_a_sentence(cast: Cast, looked: Line, client_of: ClientOf) -> None:
    answer = client_of(cast.quality_manager).get("/api/v1/trends/DX-1/look", {"samples": 500})
    assert (answer.status_code, answer.json()["code"]) == (400, "window_out_of_range")


def test_says_that_units_were_drawn_from_no_lot(cast: Cast, looked: Line, client_of: ClientOf) -> None:
    found = chart(client_of(cast.quality_manager), group="lots")
    assert (found["points"], found["refusal"]) == (
        [],
        "None of these units was drawn from a lot; choose another sample.",
    )


@pytest.mark.usefixtures("kit")
def test_takes_the_pieces_drawn_from_a_lot_as_one_sample(cast: Cast, client_of: ClientOf) -> None:
    played(cast)
    found = client_of(cast.quality_manager).get("/api/v1/trends/TK-200/burr", {"group": "lots"}).json()["chart"]
    assert found["points"] == [{"name": "TK-200-L0001", "value": 0.0, "units": 13}]
    assert found["refusal"] == "There is one point so far; control limits need at least 5."


def test_freezes_limits_over_days(cast: Cast, looked: Line, client_of: ClientOf) -> None:
    """Twenty points are needed; the seven days are too few, ten days more are enough."""
    told = {"family_code": "DX-1", "key": "look", "first_serial": "DX-1-00001", "reason": "as it should be"}
    at, how = looked.at, Wanted(group="days")
    proof = demonstration_proof(cast.quality_manager, at)
    with refused("base_too_short", "trends"):
        freeze_limits(proof=proof, last_serial=looked.serials[-1], at=at, wanted=how, **told)
    for day in range(7, 21):
        looked.at = FIXED_NOW + timedelta(days=day)
        looked.play("look", [{"conforms": True}, {"conforms": day % 3 > 0}])
    proof = demonstration_proof(cast.quality_manager, looked.at)
    base = freeze_limits(proof=proof, last_serial=looked.serials[-1], at=looked.at, wanted=how, **told)
    assert (base.chart, base.points) == ("p days", 21)
    held = chart(client_of(cast.quality_manager), group="days")
    assert "signed by" in held["limits_from"]
    assert held["center"][0] == pytest.approx((7 + 4) / (70 + 28))  # days 9, 12, 15 and 18 of the later ones
    assert LONGEST == 500
