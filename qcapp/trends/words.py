"""What a chart shows, in sentences without numbers of rules: "Eight frames in a row above the centre since …"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qcapp.core.statistics.control_chart import ControlChart
from qcapp.core.statistics.run_rules import Signal

NUMBER_WORDS = (
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
    return NUMBER_WORDS[number] if 0 <= number < len(NUMBER_WORDS) else str(number)


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
    sentence = _sentence(signal, last - first + 1, noun, above, _where(names, first, last, end))
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


def _sentence(signal: Signal, count: int, noun: str, above: bool, where: str) -> str:
    """Each sentence whole, so that other languages have it."""
    if signal.rule == "beyond_limits":
        return (
            f"One above the upper control limit: {where}." if above else f"One below the lower control limit: {where}."
        )
    if signal.rule == "two_of_three_far_out":
        if above:
            return f"Two of three {noun} in a row far above the centre, {where}."
        return f"Two of three {noun} in a row far below the centre, {where}."
    if signal.rule == "four_of_five_off_centre":
        if above:
            return f"Four of five {noun} in a row well above the centre, {where}."
        return f"Four of five {noun} in a row well below the centre, {where}."
    many = number_word(count).capitalize()
    if signal.rule.endswith("on_one_side"):
        if above:
            return f"{many} {noun} in a row above the centre {where}."
        return f"{many} {noun} in a row below the centre {where}."
    if signal.rule == "six_rising_or_falling":
        return f"{many} {noun} in a row steadily rising or falling {where}."
    return f"{signal.words[0].upper()}{signal.words[1:]}: {where}."


def _where(names: Sequence[str], first: int, last: int, end: int) -> str:
    if first == last:
        return names[last]
    return f"since {names[first]}" if last == end else f"from {names[first]} to {names[last]}"
