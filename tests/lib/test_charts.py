"""Charts with axes, drawn in a process of its own."""

from __future__ import annotations

import logging
from typing import Any
from xml.etree import ElementTree

import pytest

from qcapp.lib import charts
from qcapp.lib.charts import chart


def line(*heights: float, **changed: Any) -> dict[str, Any]:
    """A line through the heights, one step apart."""
    values = [{"x": place, "y": height} for place, height in enumerate(heights)]
    encoding = {"x": {"field": "x", "type": "quantitative"}, "y": {"field": "y", "type": "quantitative"}}
    return {
        "data": {"values": values},
        "mark": {"type": "line", "color": "var(--accent)"},
        "encoding": encoding,
    } | changed


def test_draws_in_the_page_s_own_colours_without_styles() -> None:
    svg = chart(line(1, 3, 2), spoken='three values, "up" and down')
    root = ElementTree.fromstring(svg)  # noqa: S314 - our own text
    assert root.get("aria-label") == 'three values, "up" and down'
    assert 'stroke="var(--accent)"' in svg
    assert "style=" not in svg
    assert "<style" not in svg


def test_draws_the_same_chart_once() -> None:
    first = chart(line(5, 6, 7), spoken="a line")
    before = charts.WORKER.made
    assert chart(line(5, 6, 7), spoken="a line") == first
    assert charts.WORKER.made == before


def test_leaves_the_table_alone_when_a_chart_cannot_be_drawn(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR):
        assert chart({"mark": "no such mark", "data": {"values": []}}, spoken="nothing") == ""
    assert "chart_failed" in caplog.text
    assert chart(line(1, 2, 4), spoken="the next one is drawn again")


def test_goes_on_after_its_process_died() -> None:
    assert chart(line(1, 2, 5), spoken="before")
    assert charts.WORKER.process is not None
    charts.WORKER.process.kill()
    charts.WORKER.process.wait()
    assert chart(line(1, 2, 6), spoken="after")


def test_follows_no_address_in_a_description(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR):
        assert chart(line(data={"url": "http://127.0.0.1:9/values.json"}), spoken="elsewhere") == ""
    assert "chart_failed" in caplog.text
