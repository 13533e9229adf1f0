"""What to look at before a plan goes to review. One function for each thing; none of them stands against a release.

The whole list, with what the rows themselves refuse, stands in `review_list`.

The advice where a gauge is too coarse is a better gauge or another method, never a wider limit.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from qcapp.core.formulas import references
from qcapp.core.metrology.quantities import as_text
from qcapp.core.variants import NOT, read_options

from .cards import CheckpointCard, PreReleaseFinding
from .draft_edits import NEW_TITLE
from .gauge_fit import AWAY, Fit, as_ratio, resolution_in
from .review_list import severity_of

_FORM = re.compile(r"\b(flatness|parallel\w*|straightness|run-?out|roundness|ovality|perpendicular\w*)\b", re.I)
_WELD = re.compile(r"\bweld(s|ed)?\b", re.I)
_QUALIFIED = re.compile(r"\bqualif", re.I)
_STAMP = re.compile(r"\b(serial|VIN)\b.*\bstamp|\bstamp\w*\b.*\b(serial|VIN)\b", re.I)
_PRESSURE_UNITS = frozenset({"Pa", "kPa", "MPa", "bar", "mbar"})
_PRESSURE = re.compile(r"\b(pressure|leak|proof)\b", re.I)


@dataclass(frozen=True)
class Plan:
    """The checkpoints in order, with what the gauges at hand make of them."""

    cards: Sequence[CheckpointCard]
    fits: Mapping[str, Fit] = field(default_factory=dict)

    @property
    def by_key(self) -> dict[str, CheckpointCard]:
        return {card.key: card for card in self.cards}


Check = Callable[[CheckpointCard, Plan], Iterator[PreReleaseFinding]]


def look_at(cards: Sequence[CheckpointCard], fits: Mapping[str, Fit] | None = None) -> list[PreReleaseFinding]:
    """Everything to look at, in the order of the plan."""
    plan = Plan(cards, fits or {})
    titles = Counter(card.title for card in cards)
    return [
        finding
        for card in cards
        for finding in (*_title(card, titles), *(found for check in CHECKS for found in check(card, plan)))
    ]


def _finding(card: CheckpointCard, code: str, column: str, words: str) -> PreReleaseFinding:
    message = f"{card.number} {card.title} {words}"
    return PreReleaseFinding(code, card.number, message, card.key, column, severity_of(code))


def _title(card: CheckpointCard, titles: Mapping[str, int]) -> Iterator[PreReleaseFinding]:
    if card.title.startswith(NEW_TITLE):
        yield _finding(card, "title_not_written", "title", "still has to be named.")
    elif titles[card.title] > 1:
        yield _finding(card, "title_twice", "title", "has a title that another checkpoint has; tell them apart.")


def critical_without_second(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """Nobody but the first inspector looks at a critical checkpoint."""
    if card.critical and card.kind != "derived" and not card.second_inspection:
        yield _finding(
            card, "critical_without_second", "second_inspection", "is critical, but has no second inspection."
        )


def measured_without_gauge(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """No kind of gauge is asked for, so that none is recorded."""
    if card.kind == "measured" and not card.gauge_kinds:
        yield _finding(card, "measured_without_gauge", "gauge_kinds", "is measured, but names no kind of gauge.")


def ratio_too_small(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """The best gauge of the kinds asked for is too uncertain for the band."""
    fit = plan.fits.get(card.key)
    if fit and not fit.enough:
        of = f"{fit.gauge.number}{_and_temperature(card, fit)}"
        words = f"has a test uncertainty ratio of {fit.text} with {of}; {fit.asked:f} : 1 is asked."
        if fit.better and fit.better_ratio:
            kind = fit.better.kind_name.lower()
            words += f" {fit.better.number} ({kind}) would give {as_ratio(fit.better_ratio, fit.asked)}, if it suits."
        else:
            words += " Find a better gauge or method."
        yield _finding(card, "ratio_too_small", "gauge_kinds", words)


def _and_temperature(card: CheckpointCard, fit: Fit) -> str:
    if not fit.added:
        return ""
    return f" and ± {fit.added} {card.unit_of_measure} from the temperature of a part {AWAY} K from its reference"


def temperature_without_uncertainty(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """A length is corrected, and nobody knows how well: only the gauge's uncertainty would count."""
    asked = getattr(card.spec, "temperature", None)
    if asked is not None and asked.expansion is not None and not asked.says_how_well:
        words = (
            "is corrected for the part's temperature, but does not say how well coefficient and temperature are known; "
            f"write it behind them, corrected {as_text(asked.expansion)} ±1 thermometer ±0.5 for example, or only the "
            "gauge's uncertainty counts."
        )
        yield _finding(card, "temperature_without_uncertainty", "temperature", words)


def resolution_too_coarse(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """The band is narrower than ten steps of the best gauge (common practice, no source)."""
    fit = plan.fits.get(card.key)
    width = card.spec.band.width if fit and card.spec.band else None
    step = resolution_in(fit.gauge, card.unit_of_measure) if fit else None
    if fit and width is not None and step and width < 10 * step:
        words = f"has a band narrower than ten steps of {fit.gauge.number} ({step} {card.unit_of_measure} each)."
        yield _finding(card, "resolution_too_coarse", "gauge_kinds", words)


def natural_boundary_as_limit(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """A deviation of form from zero: a perfect part would be near the limit."""
    band = getattr(card.spec, "band", None)
    if card.kind == "measured" and band and band.lower == 0 and not band.natural and _FORM.search(card.title):
        words = "has zero as a lower limit, which no part can cross; write max and the upper limit."
        yield _finding(card, "natural_boundary_as_limit", "limits", words)


def stamp_not_read_back(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """The stamped serial or VIN is read back against the tag by another person, with a photo, or a slip goes unseen."""
    if card.kind != "record" or not _STAMP.search(card.title) or (card.second_inspection and card.photo):
        return
    column = "photo" if card.second_inspection else "second_inspection"
    words = "records what is stamped; a second person reads it back against the tag, with a photo."
    yield _finding(card, "stamp_not_read_back", column, words)


def weld_without_joint(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """Without the joint nobody knows whose own weld it is."""
    if _WELD.search(card.title) and not card.joint and card.kind != "record" and card.criticality != "minor":
        yield _finding(card, "weld_without_joint", "joint", "is about a weld, but names no joint.")


def pressure_without_caution(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """Stored energy without a word of warning."""
    if card.kind not in ("measured", "attribute") or card.caution:
        return
    if card.unit_of_measure in _PRESSURE_UNITS or _PRESSURE.search(card.title):
        yield _finding(card, "pressure_without_caution", "caution", "is under pressure, but shows no caution.")


def weld_without_qualification(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """A critical weld, and nothing in the plan asks for the welder's qualification; said once for each joint."""
    if not (card.critical and card.joint) or _first_critical(card, plan) is not card:
        return
    asked = (one for one in plan.cards if one.joint in ("", card.joint))
    if not any(_QUALIFIED.search(f"{one.title} {one.instruction}") for one in asked):
        words = f"is a critical weld, but no checkpoint asks for the welder's qualification for {card.joint}."
        yield _finding(card, "weld_without_qualification", "instruction", words)


def _first_critical(card: CheckpointCard, plan: Plan) -> CheckpointCard | None:
    return next((one for one in plan.cards if one.critical and one.joint == card.joint), None)


def no_unit_reaches(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """It is computed from checkpoints that are never due on one unit, or waits for a weld that it does not name."""
    if card.kind == "derived" and _excludes(_read_by(card, plan)):
        words = "is computed from checkpoints of which one is asked with an option and another without it."
        yield _finding(card, "no_unit_reaches", "formula", words)
    if card.after_weld_hours is not None and not card.joint:
        words = "waits for the time after welding, but names no joint that would start it."
        yield _finding(card, "no_unit_reaches", "joint", words)


def _read_by(card: CheckpointCard, plan: Plan) -> list[CheckpointCard]:
    keys = references(card.spec.formula)
    return [card, *(plan.by_key[key] for key in keys if key in plan.by_key)]


def _excludes(cards: Sequence[CheckpointCard]) -> bool:
    """Whether one of the conditions asks only for what another rules out."""
    conditions = [read_options(card.variants) for card in cards if card.variants]
    ruled_out = {option.removeprefix(NOT) for options in conditions for option in options if option.startswith(NOT)}
    asked = [[option for option in options if not option.startswith(NOT)] for options in conditions]
    return any(options and ruled_out.issuperset(options) for options in asked)


def mean_counts(card: CheckpointCard, plan: Plan) -> Iterator[PreReleaseFinding]:
    """A mean hides an oval bore: the engineer signs for it (common practice, no source)."""
    if card.mean:
        words = "judges the mean of its readings, which hides how far they lie apart; the engineer has to sign for it."
        yield _finding(card, "mean_counts", "mean", words)


CHECKS: tuple[Check, ...] = (
    critical_without_second,
    measured_without_gauge,
    ratio_too_small,
    resolution_too_coarse,
    natural_boundary_as_limit,
    stamp_not_read_back,
    weld_without_joint,
    pressure_without_caution,
    weld_without_qualification,
    no_unit_reaches,
    mean_counts,
    temperature_without_uncertainty,
)
