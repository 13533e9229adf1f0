"""A reading of a recall tells which round and whose inspection it was."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace as Made

import pytest
from django.template.loader import render_to_string

from qcapp.core.metrology.rejudging import Finding
from qcapp.recall.judging import ReadingAgain

AT = datetime(2026, 3, 17, 9, 30, tzinfo=UTC)
FIRST = ReadingAgain(
    505, "Axle plates", "max 0.30 mm", "0.35", "0.00", "0.35", Finding.OUT_OF_BAND, "out_of_band", AT, 1, 1, False
)


def page(reading: ReadingAgain) -> str:
    unit = Made(
        serial="FR-200-0144", state="in build", on_hold=False, lot="", holder="", place="", shipped_at=None,
        readings=[reading],
    )  # fmt: skip
    return render_to_string("recall/units.html", {"units": [(unit, False)], "form": None, "names": {}})


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"inspection": 2}, "second inspection"),
        ({"inspection": 3}, "deciding third inspection"),
        ({"round": 2}, "round 2"),
        ({"computed": True}, "computed from it"),
    ],
)
def test_tells_a_reading_from_the_first_one(changes: dict[str, int], said: str) -> None:
    assert said in page(replace(FIRST, **changes))
    assert said not in page(FIRST)
