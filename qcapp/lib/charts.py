"""Charts with axes as SVG text, drawn by vl-convert from a Vega-Lite description in a process of its own.

The library's engine holds the interpreter for 0.1 to 0.2 s a chart and for more than a second at the first one
(measured on two cores), and in a web thread every other request would wait as long. Its SVG has no style attributes,
which the content security policy would block; colours are the page's own variables, so inline charts follow the theme.
Small pictures without axes are our own (`band_picture.py`), a thousand times faster.
"""

from __future__ import annotations

import atexit
import json
import logging
import re
from collections.abc import Mapping
from functools import lru_cache
from html import escape
from typing import Any

from .pdf import PdfNotMade, Worker

log = logging.getLogger("qcapp.charts")

SCHEMA = "https://vega.github.io/schema/vega-lite/v5.json"  # names the grammar; nothing is fetched from there
TIME_LIMIT = 20.0  # seconds for one chart, the start of the process included
LOOK: dict[str, Any] = {
    "font": "system-ui, sans-serif",
    "aria": False,
    "view": {"stroke": None},
    "axis": {
        "domainColor": "var(--muted)", "gridColor": "var(--line)", "tickColor": "var(--muted)",
        "labelColor": "var(--ink)", "titleColor": "var(--muted)", "labelFontSize": 13, "titleFontSize": 13,
        "titleFontWeight": "normal", "tickCount": 6,
    },
}  # fmt: skip
"""How charts look where a description does not say otherwise: the page's own variables, so attributes, no styles."""

WORKER = Worker(module="qcapp.lib.chart_worker")
atexit.register(WORKER.stop)


def chart(description: Mapping[str, Any], *, spoken: str) -> str:
    """The SVG of a Vega-Lite description with its data inside; `spoken` is what a screen reader says.

    Gives an empty text, and logs why, when it cannot be drawn: a table with the numbers stands beside every chart.
    """
    whole = {"$schema": SCHEMA, "background": None, "padding": 4, "config": LOOK} | dict(description)
    try:
        return _drawn(json.dumps(whole, sort_keys=True), spoken)
    except PdfNotMade as trouble:
        log.error("a chart was not drawn: %s %s", trouble.code, trouble.message)
        return ""


def drawn_as_png(svg: str, *, scale: float = 2.0) -> bytes:
    """A drawing of ours that stands alone, as PNG; twice the size by default, for sharp print. Raises `PdfNotMade`."""
    return WORKER.render({"identifier": "picture", "svg": svg, "scale": scale}, TIME_LIMIT)


_OWN_ROLES = re.compile(r' (?:role|aria-[a-z]+)="[^"]*"')


@lru_cache(maxsize=256)
def _drawn(description: str, spoken: str) -> str:
    job = {"identifier": "chart", "description": description}
    svg = _OWN_ROLES.sub("", WORKER.render(job, TIME_LIMIT).decode())  # nothing inside speaks: the whole is one image
    return svg.replace("<svg ", f'<svg role="img" aria-label="{escape(spoken)}" ', 1)
