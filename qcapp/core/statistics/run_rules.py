"""Patterns in a row of plotted points that chance alone seldom makes.

Each rule says what is seen. Distances count in standard deviations of the plotted point, so the control
limits lie at 3. A point exactly on a line is not beyond it, and one exactly on the centre belongs to
neither side. Sources of the patterns: Statistical Quality Control Handbook (1956) for the first four;
Nelson (1984), Journal of Quality Technology 16(4), for the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

import numpy
from numpy.typing import NDArray

from qcapp.core.errors import Invalid
from qcapp.core.statistics.readings import FloatArray, Values, as_floats

Hits: TypeAlias = NDArray[numpy.bool_]
_ON_THE_LINE = 1e-9  # rounding of the arithmetic must not push a point over the line it lies on


class Pattern(StrEnum):
    BEYOND_ONE_SIDE = "beyond, same side"
    BEYOND_EITHER_SIDE = "beyond, either side"
    WITHIN = "within"
    STEADY = "rising or falling"
    ALTERNATING = "up and down"


@dataclass(frozen=True)
class Rule:
    """`count` points of the pattern among `of` in a row; `distance` in standard deviations of a point."""

    key: str
    words: str
    pattern: Pattern
    count: int
    of: int
    distance: float = 0.0


@dataclass(frozen=True)
class Signal:
    """A rule that was broken. `points` are the positions (from 0) at which the pattern was complete;
    `window` is how many points, ending there, make it up."""

    rule: str
    words: str
    points: tuple[int, ...]
    window: int

    @property
    def involved(self) -> tuple[int, ...]:
        """All positions within a completed pattern's window, for shading on a chart."""
        inside: set[int] = set()
        for point in self.points:
            inside.update(range(max(0, point - self.window + 1), point + 1))
        return tuple(sorted(inside))


def _rule(key: str, words: str, pattern: Pattern, count: int, of: int, distance: float = 0.0) -> Rule:
    return Rule(key, words, pattern, count, of, distance)


RULES: dict[str, Rule] = {
    rule.key: rule
    for rule in (
        _rule("beyond_limits", "one point outside the control limits", Pattern.BEYOND_ONE_SIDE, 1, 1, 3.0),
        _rule(
            "two_of_three_far_out",
            "two of three in a row more than two standard deviations from the centre, on the same side",
            Pattern.BEYOND_ONE_SIDE,
            2,
            3,
            2.0,
        ),
        _rule(
            "four_of_five_off_centre",
            "four of five in a row more than one standard deviation from the centre, on the same side",
            Pattern.BEYOND_ONE_SIDE,
            4,
            5,
            1.0,
        ),
        _rule("eight_on_one_side", "eight in a row on one side of the centre", Pattern.BEYOND_ONE_SIDE, 8, 8),
        _rule("nine_on_one_side", "nine in a row on one side of the centre", Pattern.BEYOND_ONE_SIDE, 9, 9),
        _rule("six_rising_or_falling", "six in a row steadily rising or falling", Pattern.STEADY, 6, 6),
        _rule(
            "fourteen_up_and_down",
            "fourteen in a row going up and down in turn",
            Pattern.ALTERNATING,
            14,
            14,
        ),
        _rule(
            "fifteen_close_to_centre",
            "fifteen in a row within one standard deviation of the centre",
            Pattern.WITHIN,
            15,
            15,
            1.0,
        ),
        _rule(
            "eight_away_from_centre",
            "eight in a row more than one standard deviation from the centre, on either side",
            Pattern.BEYOND_EITHER_SIDE,
            8,
            8,
            1.0,
        ),
    )
}
USUAL_RULES = ("beyond_limits", "two_of_three_far_out", "four_of_five_off_centre", "eight_on_one_side")
LIMITS_ONLY = ("beyond_limits",)
ALL_RULES = tuple(key for key in RULES if key != "nine_on_one_side")


def find_rules(rules: Iterable[str | Rule]) -> tuple[Rule, ...]:
    """The rules meant by their keys; rules of the caller's own making pass through.

    Raises Invalid `unknown_run_rule` with the keys that exist.
    """
    found = []
    for rule in rules:
        if isinstance(rule, str):
            if rule not in RULES:
                raise Invalid(
                    "unknown_run_rule",
                    f"There is no run rule “{rule}”; choose among {', '.join(RULES)}.",
                    possible=list(RULES),
                )
            rule = RULES[rule]
        found.append(rule)
    return tuple(found)


def run_rules(
    points: Values,
    center: float | FloatArray,
    sigma: float | FloatArray,
    rules: Iterable[str | Rule] = USUAL_RULES,
) -> tuple[Signal, ...]:
    """The rules that the points break, in the order asked for; a rule that holds is left out.

    `center` and `sigma` (of a plotted point) are one number or one per point.
    Raises Invalid `unknown_run_rule`, `sigma_not_positive`, `reading_not_a_number`.
    """
    chosen = find_rules(rules)
    if not numpy.all(numpy.asarray(sigma) > 0):
        raise Invalid(
            "sigma_not_positive",
            "The standard deviation of a point must be above zero; check the base period.",
        )
    z = as_floats(points) - center
    z /= sigma
    signals = ((rule, numpy.flatnonzero(_completed(rule, z))) for rule in chosen)
    return tuple(Signal(rule.key, rule.words, tuple(at.tolist()), rule.of) for rule, at in signals if at.size)


def _completed(rule: Rule, z: FloatArray) -> Hits:
    """For each point, whether the rule's pattern is complete there."""
    match rule.pattern:
        case Pattern.BEYOND_ONE_SIDE:
            far = rule.distance + _ON_THE_LINE
            return _enough(z > far, rule) | _enough(z < -far, rule)
        case Pattern.BEYOND_EITHER_SIDE:
            return _enough(numpy.abs(z) > rule.distance + _ON_THE_LINE, rule)
        case Pattern.WITHIN:
            return _enough(numpy.abs(z) < rule.distance - _ON_THE_LINE, rule)
        case Pattern.STEADY:
            return _steady(z, rule.count)
        case Pattern.ALTERNATING:
            return _alternating(z, rule.count)


def _enough(hits: Hits, rule: Rule) -> Hits:
    """True where a hit is the last of `count` hits among the `of` points that end there."""
    if rule.count == 1:
        return hits
    return _in_a_row(hits, rule.count) if rule.count == rule.of else _among(hits, rule.count, rule.of)


def _in_a_row(hits: Hits, count: int) -> Hits:
    """Where `count` hits in a row end. Row lengths are doubled, so eight in a row take three passes."""
    ends, length = hits, 1
    while length < count:
        step = min(length, count - length)
        longer = numpy.zeros_like(hits)
        numpy.logical_and(ends[step:], ends[:-step], out=longer[step:])
        ends, length = longer, length + step
    return ends


def _among(hits: Hits, count: int, of: int) -> Hits:
    """Where a hit is at least the `count`th within `of` points; a start shorter than `of` counts as it is."""
    at = numpy.flatnonzero(hits)
    done = numpy.zeros_like(hits)
    last, first = at[count - 1 :], at[: max(0, at.size - count + 1)]
    done[last[last - first < of]] = True
    return done


def _steady(z: FloatArray, count: int) -> Hits:
    rises = numpy.diff(z, prepend=z[:1])
    return _in_a_row(rises > 0, count - 1) | _in_a_row(rises < 0, count - 1)


def _alternating(z: FloatArray, count: int) -> Hits:
    rises = numpy.diff(z, prepend=z[:1])
    turns = numpy.zeros(z.size, dtype=numpy.bool_)
    turns[1:] = rises[1:] * rises[:-1] < 0
    return _in_a_row(turns, count - 2)
