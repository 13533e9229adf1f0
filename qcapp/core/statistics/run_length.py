"""How long a chart runs until it signals: the price of false alarms and the delay of true ones.

The average run length counts plotted points from a fresh start until the first signal, for independent
normal points whose mean has moved by `shift` standard deviations. Run rules: exact Markov chain (Champ and
Woodall 1987). Cumulative sums and weighted averages: integral equations (Page 1954; Crowder 1987), solved
with Gauss-Legendre nodes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import normal_below
from qcapp.core.statistics.readings import FloatArray
from qcapp.core.statistics.run_rules import USUAL_RULES, Pattern, Rule, find_rules

_NODES = 80
_ZONES_END = 40.0


@dataclass(frozen=True)
class _Watch:
    """A rule on one kind of point: `count` hits among `of`, a hit lying between `low` and `high`."""

    count: int
    of: int
    hits: tuple[tuple[float, float], ...]


_State: TypeAlias = tuple[int, ...]  # for each watch the last of - 1 hits as bits, the newest lowest


def rules_run_length(rules: Iterable[str | Rule] = USUAL_RULES, *, shift: float = 0.0) -> float:
    """Average number of points until one of the rules is broken.

    Raises Invalid `unknown_run_rule`, `rule_not_by_zone` for rules about rising, falling or alternating
    points.
    """
    watches = [watch for rule in find_rules(rules) for watch in _watches(rule)]
    chances = _zones(watches, shift)
    start = tuple(0 for _ in watches)
    places: dict[_State, int] = {start: 0}
    moves: list[tuple[int, int, float]] = []
    waiting = [start]
    while waiting:
        state = waiting.pop()
        for hits, chance in chances:
            after = _after(state, hits, watches)
            if after is None:
                continue
            if after not in places:
                places[after] = len(places)
                waiting.append(after)
            moves.append((places[state], places[after], chance))
    stay = numpy.eye(len(places))
    for origin, goal, chance in moves:
        stay[origin, goal] -= chance
    return float(numpy.linalg.solve(stay, numpy.ones(len(places)))[0])


def _watches(rule: Rule) -> list[_Watch]:
    far = rule.distance
    upper, lower = (far, _ZONES_END), (-_ZONES_END, -far)
    match rule.pattern:
        case Pattern.BEYOND_ONE_SIDE:
            return [_Watch(rule.count, rule.of, (upper,)), _Watch(rule.count, rule.of, (lower,))]
        case Pattern.BEYOND_EITHER_SIDE:
            return [_Watch(rule.count, rule.of, (lower, upper))]
        case Pattern.WITHIN:
            return [_Watch(rule.count, rule.of, ((-far, far),))]
    raise Invalid(
        "rule_not_by_zone",
        f"The run length of “{rule.words}” depends on neighbouring values and is not computed; leave it out.",
    )


def _zones(watches: list[_Watch], shift: float) -> list[tuple[tuple[bool, ...], float]]:
    """Between neighbouring lines every point is a hit for the same watches; equal ones are added up."""
    lines = sorted({edge for watch in watches for pair in watch.hits for edge in pair} | {-_ZONES_END, _ZONES_END})
    chances: dict[tuple[bool, ...], float] = {}
    for low, high in pairwise(lines):
        middle = (low + high) / 2.0
        hits = tuple(any(a < middle < b for a, b in watch.hits) for watch in watches)
        chances[hits] = chances.get(hits, 0.0) + _between(low - shift, high - shift)
    return list(chances.items())


def _between(low: float, high: float) -> float:
    if low > 0:  # the upper tail keeps its digits when turned round
        return normal_below(-low) - normal_below(-high)
    return normal_below(high) - normal_below(low)


def _after(state: _State, hits: tuple[bool, ...], watches: list[_Watch]) -> _State | None:
    """The next state, or None when a rule is broken."""
    following = []
    for bits, hit, watch in zip(state, hits, watches, strict=True):
        window = bits << 1 | hit
        if hit and window.bit_count() >= watch.count:
            return None
        following.append(_relevant(window & ((1 << (watch.of - 1)) - 1), watch))
    return tuple(following)


def _relevant(bits: int, watch: _Watch) -> int:
    """Drop old hits that can no longer be part of a broken rule, so that like situations are one state."""
    while bits:
        age = bits.bit_length()  # the oldest hit is this many points back from the next one
        if bits.bit_count() + watch.of - age >= watch.count:
            return bits
        bits &= (1 << (age - 1)) - 1
    return 0


def cusum_run_length(*, slack: float = 0.5, limit: float = 5.0, shift: float = 0.0) -> float:
    """Average number of points until one of the two cumulative sums, both started at 0, exceeds its limit.

    1/L = 1/L(upper) + 1/L(lower). Raises Invalid `slack_or_limit_out_of_range`.
    """
    if slack < 0 or limit <= 0:
        raise Invalid("slack_or_limit_out_of_range", "The slack must not be below zero, the limit above it.")
    sides = (_one_sum(slack, limit, shift), _one_sum(slack, limit, -shift))
    return 1.0 / sum(1.0 / side for side in sides)


def _one_sum(slack: float, limit: float, shift: float) -> float:
    """L(s) = 1 + L(0)·Φ(k - s - shift) + ∫ L(t)·φ(t - s + k - shift) dt over 0…limit."""
    nodes, weights = numpy.polynomial.legendre.leggauss(_NODES)
    t = numpy.concatenate([[0.0], limit / 2.0 * (nodes + 1.0)])
    weight = numpy.concatenate([[0.0], limit / 2.0 * weights])
    moves = weight[None, :] * _density(t[None, :] - t[:, None] + slack - shift)
    moves[:, 0] = [normal_below(slack - s - shift) for s in t.tolist()]
    return float(numpy.linalg.solve(numpy.eye(t.size) - moves, numpy.ones(t.size))[0])


def ewma_run_length(*, weight: float = 0.2, width: float = 3.0, shift: float = 0.0) -> float:
    """Average number of points until the weighted moving average, started at the centre, leaves its settled
    limits.

    Raises Invalid `weight_out_of_range`, `width_not_positive`.
    """
    if not 0.0 < weight <= 1.0:
        raise Invalid("weight_out_of_range", f"A weight of {weight} is not possible; give one above 0 up to 1.")
    if width <= 0:
        raise Invalid("width_not_positive", f"Limits {width} standard deviations away are none; give 3, say.")
    edge = width * math.sqrt(weight / (2.0 - weight))
    nodes, weights = numpy.polynomial.legendre.leggauss(_NODES + 1)  # an odd number has a node at the centre
    t = edge * nodes
    moves = edge * weights[None, :] / weight
    moves = moves * _density((t[None, :] - (1.0 - weight) * t[:, None]) / weight - shift)
    lengths = numpy.linalg.solve(numpy.eye(t.size) - moves, numpy.ones(t.size))
    return float(lengths[_NODES // 2])


def _density(x: FloatArray) -> FloatArray:
    return numpy.asarray(numpy.exp(-x * x / 2.0) / math.sqrt(2.0 * math.pi), dtype=numpy.float64)
