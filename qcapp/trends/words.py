"""What a chart shows, in sentences without numbers of rules: "Eight frames in a row above the centre since …"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qcapp.core.statistics.control_chart import ControlChart
from qcapp.core.statistics.run_rules import Signal

NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty",
)  # fmt: skip


@dataclass(frozen=True)
class Spoken:
    """One episode of a broken rule. `first` and `last` are places (from 0); `running` when it reaches the end."""

    rule: str
    sentence: str
    first: int
    last: int
    points: tuple[int, ...]
    running: bool


def number_word(number: int) -> str:
    """The number in words up to twenty, then in digits."""
    return NUMBERS[number] if 0 <= number < len(NUMBERS) else str(number)


def spoken_signals(chart: ControlChart, names: Sequence[str], noun: str = "units") -> tuple[Spoken, ...]:
    """Every episode of every signal as a sentence that names its points, the latest first."""
    center = chart.at(chart.center).tolist()
    found = [
        _episode(chart, signal, episode, names, noun, center)
        for signal in chart.signals
        for episode in _episodes(signal)
    ]
    return tuple(sorted(found, key=lambda one: (-one.last, one.first)))


def _episodes(signal: Signal) -> list[list[int]]:
    """Completed points that overlap or touch, put together."""
    groups: list[list[int]] = []
    for point in signal.points:
        if groups and point - groups[-1][-1] <= (signal.window if signal.window > 1 else 0):
            groups[-1].append(point)
        else:
            groups.append([point])
    return groups


def _episode(
    chart: ControlChart, signal: Signal, points: list[int], names: Sequence[str], noun: str, center: Sequence[float]
) -> Spoken:
    first = max(0, points[0] - signal.window + 1)
    last, end = points[-1], len(chart.points) - 1
    above = chart.points[last] > center[last]
    first = _back_to_start(chart, first, last, above, center) if signal.rule.endswith("on_one_side") else first
    words = _words(signal, last - first + 1, noun, above)
    sentence = f"{words[0].upper()}{words[1:]} {_where(names, first, last, end)}."
    return Spoken(signal.rule, sentence, first, last, tuple(points), last == end)


def _back_to_start(chart: ControlChart, first: int, last: int, above: bool, center: Sequence[float]) -> int:
    """A run's own beginning, where the rule only asks for a part of it."""
    while (
        first > 0
        and (chart.points[first - 1] > center[first - 1]) == above
        and chart.points[first - 1] != center[first - 1]
    ):
        first -= 1
    return first


def _words(signal: Signal, count: int, noun: str, above: bool) -> str:
    side = "above" if above else "below"
    if signal.rule == "beyond_limits":
        return f"one {'above the upper' if above else 'below the lower'} control limit:"
    if signal.rule == "two_of_three_far_out":
        return f"two of three {noun} in a row far {side} the centre,"
    if signal.rule == "four_of_five_off_centre":
        return f"four of five {noun} in a row well {side} the centre,"
    if signal.rule.endswith("on_one_side"):
        return f"{number_word(count)} {noun} in a row {side} the centre"
    if signal.rule == "six_rising_or_falling":
        return f"{number_word(count)} {noun} in a row steadily rising or falling"
    return f"{signal.words}:"


def _where(names: Sequence[str], first: int, last: int, end: int) -> str:
    if first == last:
        return names[last]
    return f"since {names[first]}" if last == end else f"from {names[first]} to {names[last]}"
