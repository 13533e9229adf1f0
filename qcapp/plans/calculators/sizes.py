"""A notation with its size, read into limits, met by a value where one was typed, and put into words.

The page "Limits" and the commands `limits` and `judge` both speak through here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from urllib.parse import urlencode

from qcapp.core.checkpoints.limits import Limits, describe, read_limits, with_unit, written
from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band, read_notation
from qcapp.core.metrology.decision import Judgement, Rule, Verdict, judge
from qcapp.core.metrology.quantities import as_text, parse_value
from qcapp.lib.band_picture import word

UNITS_OF_MEASURE = ("mm", "in", "µm", "µin", "°", "m", "N·m", "kPa", "bar", "kg", "s")
_SIZE_FIRST = re.compile(
    r"[⌀Øø]? ?(?P<size>[+\-−]?[0-9]+(?:[.,][0-9]+)?)"
    rf"(?: ?(?P<unit>{'|'.join(UNITS_OF_MEASURE)})(?= ))?(?: |(?=[^0-9.,\s]))(?P<notation>\S.*)"
)


@dataclass(frozen=True)
class Wanted:
    """A notation as it stands on a drawing, the size it stands beside (None without one), and the unit of
    measure of both.
    """

    nominal: Decimal | None
    notation: str
    unit_of_measure: str

    @property
    def asked(self) -> str:
        """`30 H7`, `max 0.5`."""
        return self.notation if self.nominal is None else f"{as_text(self.nominal)} {self.notation}"


def read_query(text: str, unit_of_measure: str = "mm") -> Wanted:
    """What `30 H7`, `400 ISO 13920-B`, `25 mm ±0.2` or `max 0.5` ask for.

    Raises Invalid: `notation_missing` for a size alone, and the codes of `read_notation` for the rest.
    """
    text = " ".join(text.split())
    try:
        read_notation(None, text, unit_of_measure)
    except Invalid:
        sized = _SIZE_FIRST.fullmatch(text)
        if sized is None:
            _refuse_size_alone(text)
            raise
        return Wanted(parse_value(sized["size"]), sized["notation"], sized["unit"] or unit_of_measure)
    return Wanted(None, text, unit_of_measure)


def _refuse_size_alone(text: str) -> None:
    if re.fullmatch(r"[+\-−]?[0-9.,]*", text):
        raise Invalid("notation_missing", "Write the tolerance beside the size, for example 30 H7 or 400 ISO 13920-B.")


@dataclass(frozen=True)
class Sized:
    """The limits of a notation, and the verdict on a value where one was given."""

    wanted: Wanted
    limits: Limits
    value: Decimal | None = None
    expanded_uncertainty: Decimal | None = None
    judgement: Judgement | None = None

    @property
    def band(self) -> Band:
        """The band; a notation always has one."""
        assert self.limits.band is not None, "only a value for reference has no band"  # noqa: S101
        return self.limits.band

    @property
    def guard(self) -> Decimal:
        """The guard zone that the verdict kept at each limit."""
        return self.expanded_uncertainty or Decimal(0)

    @property
    def headline(self) -> str:
        """`30.000 to 30.021 mm`, `max 3 mm`."""
        return describe(self.limits)

    @property
    def lower_text(self) -> str:
        if self.band.lower is None:
            return ""
        natural = "lower" in self.band.natural  # zero itself, not a number that somebody measures up to
        return written(self.band.lower, 0 if natural else self.limits.decimals)

    @property
    def upper_text(self) -> str:
        return "" if self.band.upper is None else written(self.band.upper, self.limits.decimals)

    @property
    def width_text(self) -> str:
        """Upper minus lower limit with its unit of measure; empty when a side is open."""
        width = self.band.width
        return "" if width is None else with_unit(written(width, self.limits.decimals), self.limits)

    @property
    def deviations_text(self) -> str:
        """`0 / +0.021 mm`, `-0.020 / -0.007 mm` from the size; empty without a size or with an open side."""
        band = self.band
        if band.nominal is None or band.lower is None or band.upper is None:
            return ""
        pair = " / ".join(signed(limit - band.nominal, self.limits.decimals) for limit in (band.lower, band.upper))
        return with_unit(pair, self.limits)

    @property
    def source(self) -> str:
        """Standard, edition and table, or that the limits are as drawn."""
        return self.limits.source or "as drawn"

    @property
    def copy_text(self) -> str:
        """One line for a message or a note: what was asked, the limits, their source."""
        return f"{self.wanted.asked}: {self.headline} ({self.source})"

    @property
    def copy_cells(self) -> str:
        """The cells nominal, limits, lower, upper, guard and unit_of_measure of a plan file, with tabs between."""
        nominal = "" if self.band.nominal is None else as_text(self.band.nominal)
        cells = (nominal, self.wanted.notation, self.lower_text, self.upper_text, "")
        return "\t".join((*cells, self.limits.unit_of_measure))

    @property
    def verdict(self) -> str:
        """The verdict's key, such as `in_band`; empty without a value."""
        return "" if self.judgement is None else str(self.judgement.verdict)

    @property
    def verdict_sentence(self) -> str:
        """What the verdict says about the value, in words; empty without one."""
        if self.judgement is None or self.value is None:
            return ""
        sentence = f"{self._measure(self.value)} is {word(self.verdict)}"
        return f"{sentence}{self._how_far(self.judgement, self.value)}."

    @property
    def rule_sentence(self) -> str:
        """Which decision rule the verdict followed."""
        if self.expanded_uncertainty is None:
            return (
                "The limits themselves decide; a value on a limit is in band (simple acceptance, JCGM 106:2012, 8.2)."
            )
        guard = self._measure(self.expanded_uncertainty)
        return f"A guard zone of U = {guard} lies inside each limit (ISO 14253-1:2013, w\u00a0=\u00a0U)."

    def _how_far(self, judgement: Judgement, value: Decimal) -> str:
        side = judgement.nearest_limit
        limit = {"lower": self.band.lower, "upper": self.band.upper, None: None}[side]
        if limit is None:
            return ""
        if judgement.verdict is Verdict.OUT_OF_BAND:
            beyond = "below" if side == "lower" else "above"
            return f": {self._distance(judgement.excess)} {beyond} the {side} limit"
        if value == limit:
            return f", on the {side} limit"
        return f", {self._distance(abs(limit - value))} from the {side} limit"

    def _distance(self, length: Decimal) -> str:
        return with_unit(written(length, self.limits.decimals), self.limits)

    def _measure(self, value: Decimal) -> str:
        return with_unit(as_text(value), self.limits)


def signed(deviation: Decimal, decimals: int = 0) -> str:
    """`0`, `+0.021`, `-0.020`: a deviation as drawings write it, with at least so many decimals unless zero."""
    text = written(deviation, decimals) if deviation else "0"
    return f"+{text}" if deviation > 0 else text


def sized(wanted: Wanted, *, value: Decimal | None = None, expanded_uncertainty: Decimal | None = None) -> Sized:
    """The limits that the notation means, with the verdict on `value`: guarded by the uncertainty, if given.

    Raises Invalid with the codes of `read_notation` and `judge`.
    """
    nominal = None if wanted.nominal is None else as_text(wanted.nominal)
    limits = read_limits(
        {
            "nominal": nominal,
            "notation": wanted.notation,
            "unit_of_measure": wanted.unit_of_measure,
        }
    )
    if value is None:
        return Sized(wanted, limits)
    answer = Sized(wanted, limits, value, expanded_uncertainty)
    rule: Rule = "simple" if expanded_uncertainty is None else "guarded"
    judgement = judge(value, answer.band, expanded_uncertainty=expanded_uncertainty, rule=rule)
    return Sized(wanted, limits, value, expanded_uncertainty, judgement)


@dataclass(frozen=True)
class Neighbour:
    """Another class for the same size, with the fields of the page that ask for it."""

    notation: str
    chosen: bool
    answer: Sized
    query: dict[str, str]

    @property
    def address(self) -> str:
        """The query of the page that asks for this class."""
        return "?" + urlencode({"part": "size"} | {name: text for name, text in self.query.items() if text})


def neighbours(choices: Iterable[tuple[Wanted, dict[str, str]]], chosen: str) -> list[Neighbour]:
    """The limits of other classes beside the chosen one; a class without a value for the size is left out."""
    rows = []
    for wanted, query in choices:
        try:
            answer = sized(wanted)
        except Invalid:
            continue
        rows.append(Neighbour(wanted.notation, wanted.notation == chosen, answer, query))
    return rows
