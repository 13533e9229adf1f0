"""A gauge study as a drawing: what each person read on each part, or who judged which part right. Made here."""

from __future__ import annotations

from html import escape
from itertools import pairwise

from qcapp.lib.band_picture import Scale
from qcapp.lib.spoken import said

from .studying import WORDS, StudyCard

WIDTH, HEIGHT, FOOT, LEFT = 1000, 250, 44, 70
ROW = 30
STROKES = ("", "8 4", "2 4", "12 4 2 4", "4 4", "1 3")  # people are told apart without colour


def study_picture(card: StudyCard) -> str:
    """SVG with classes of static/css/trends.css; empty before the last reading and where nothing can be drawn."""
    if card.agreement is not None:
        return _verdicts(card)
    return _readings(card) if card.by_anova is not None else ""


def _readings(card: StudyCard) -> str:
    values = {(name, part): [float(value) for value in some] for name, part, some in card.rows}
    every = [value for some in values.values() for value in some]
    limits = [float(one) for one in (card.lower, card.upper) if one is not None]
    low, high = _ends(every, limits)
    y = Scale(low, high, HEIGHT - FOOT, 16)
    drawn = [_axis(card.parts)]
    drawn += [f'<path class="c-limit" d="M{LEFT} {y(one):g}H{WIDTH - 8}"/>' for one in limits if low <= one <= high]
    shown = [one for one in limits if low <= one <= high] or sorted({min(every), max(every)})
    drawn += [
        f'<text class="c-tick" x="{LEFT - 8}" y="{y(one) + 4:g}" text-anchor="end">{one:g}</text>' for one in shown
    ]
    names = sorted({name for name, _ in values})
    for turn, name in enumerate(names):
        own = [values[name, part] for part in range(1, card.parts + 1)]
        drawn.append(_person(card.parts, own, y, turn, len(names)))
    keys = "".join(_key(turn, name) for turn, name in enumerate(names))
    told = said(f"Readings of {len(names)} people on {card.parts} parts, {card.trials} times each.")
    return _svg(HEIGHT + 22 * len(names), told, "".join(drawn) + keys)


def _svg(height: int, told: str, inside: str) -> str:
    return f'<svg class="chart" viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(told)}">{inside}</svg>'


def _ends(values: list[float], limits: list[float]) -> tuple[float, float]:
    """Every reading, and the limits unless they lie far away."""
    low, high = min(values), max(values)
    span = (high - low) or max(abs(high) * 0.01, 1e-6)
    near = [one for one in limits if low - 2 * span <= one <= high + 2 * span]
    low, high = min([low, *near]), max([high, *near])
    return low - 0.06 * span, high + 0.06 * span


def _x(part: int, parts: int) -> float:
    return round(LEFT + (part - 0.5) * (WIDTH - 8 - LEFT) / parts, 1)


def _axis(parts: int) -> str:
    step = 1 if parts <= 20 else 5
    numbers = "".join(
        f'<text class="c-tick" x="{_x(part, parts):g}" y="{HEIGHT - FOOT + 16}" text-anchor="middle">{part}</text>'
        for part in range(1, parts + 1)
        if part % step == 0 or part == 1
    )
    word = (
        f'<text class="c-unit" x="{LEFT - 8}" y="{HEIGHT - FOOT + 16}" text-anchor="end">{escape(said("Part"))}</text>'
    )
    return f'<path class="c-axis" d="M{LEFT} {HEIGHT - FOOT}H{WIDTH - 8}"/>{word}{numbers}'


def _person(parts: int, values: list[list[float]], y: Scale, turn: int, people: int) -> str:
    """A person's readings beside those of the others, and a line through the means."""
    aside = 6 * (turn - (people - 1) / 2)
    places = [_x(part, parts) + aside for part in range(1, parts + 1)]
    dots = "".join(
        f'<circle class="c-plain" cx="{x:g}" cy="{y(value):g}" r="2.6"/>'
        for x, some in zip(places, values, strict=True)
        for value in some
    )
    means = [(x, y(sum(some) / len(some))) for x, some in zip(places, values, strict=True)]
    dash = f' stroke-dasharray="{STROKES[turn]}"' if STROKES[turn] else ""
    lines = "".join(f'<path class="c-line"{dash} d="M{a:g} {b:g}L{c:g} {d:g}"/>' for (a, b), (c, d) in pairwise(means))
    return lines + dots


def _key(turn: int, name: str) -> str:
    top = HEIGHT + 22 * turn + 8
    dash = f' stroke-dasharray="{STROKES[turn]}"' if STROKES[turn] else ""
    return (
        f'<path class="c-line"{dash} d="M{LEFT} {top}H{LEFT + 40}"/>'
        f'<text class="c-row" x="{LEFT + 48}" y="{top + 4}">{escape(name)}</text>'
    )


def _verdicts(card: StudyCard) -> str:
    names = sorted({name for name, _, _ in card.rows})
    right = {(name, part): [WORDS[value] == card.truth[part - 1] for value in some] for name, part, some in card.rows}
    left = 200
    step = (WIDTH - 8 - left) / card.parts
    drawn = []
    for turn, name in enumerate(names):
        y = 16 + ROW * turn
        drawn.append(f'<text class="c-row" x="0" y="{y + 4}">{escape(name[:26])}</text>')
        drawn += [_mark(right[name, part], left + (part - 0.5) * step, y) for part in range(1, card.parts + 1)]
    foot = 16 + ROW * len(names)
    for part, good in enumerate(card.truth, start=1):
        sign, at = "" if good else "×", left + (part - 0.5) * step
        drawn.append(f'<text class="c-tick" x="{at:.1f}" y="{foot + 4}" text-anchor="middle">{sign}</text>')
    drawn.append(f'<text class="c-tick" x="0" y="{foot + 4}">× {escape(said("does not conform"))}</text>')
    told = said(f"Who judged which of {card.parts} parts right.")
    return _svg(foot + 16, told, "".join(drawn))


def _mark(right: list[bool], x: float, y: float) -> str:
    """A dot where every verdict was right, a ring where some were, a cross where none was."""
    if all(right):
        return f'<circle class="c-plain" cx="{x:.1f}" cy="{y}" r="3"/>'
    if any(right):
        return f'<circle class="c-again" cx="{x:.1f}" cy="{y}" r="5"/>'
    return f'<path class="c-out" d="M{x - 5:.1f} {y - 5}l10 10m0 -10l-10 10"/>'
