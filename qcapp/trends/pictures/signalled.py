"""The picture that a message of a signal carries: the chart that signals, or several of them above each other."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..signals import Episode
from ..watch import Watched, chart_on
from .charted import HEIGHT, WIDTH, control_picture
from .frame import Frame, label, picture
from .inks import words_of

GAP = 40  # above each chart of several, for its name


def signal_picture(entry: Watched, episode: Episode) -> str:
    """The chart in which the signal stands: that of its fixture, or of all units. Empty where none can be drawn."""
    series, chart = chart_on(entry, episode.fixture)
    return control_picture(series, chart, f"signal-{episode.rule.replace('_', '-')}-{episode.first_result_id}")


def stacked(pictures: Sequence[str], identity: str, title: str) -> str:
    """Several charts as one picture, each under its own name; its description is all of theirs."""
    drawn = [one for one in pictures if one]
    if len(drawn) < 2:
        return "".join(drawn)
    parts = []
    for place, one in enumerate(drawn):
        top = place * (HEIGHT + GAP)
        named = words_of(one).split(". ", 1)[0]
        inner = re.sub(r"^<svg[^>]*><title[^>]*>.*?</title><desc[^>]*>.*?</desc>", "", one).removesuffix("</svg>")
        parts.append(label(68, top + 22, named, "c-row", "start"))
        parts.append(f'<g transform="translate(0 {top + GAP})">{inner}</g>')
    whole = Frame(WIDTH, len(drawn) * (HEIGHT + GAP))
    return picture(whole, identity, title, " ".join(words_of(one) for one in drawn), parts)
