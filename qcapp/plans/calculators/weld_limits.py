"""What ISO 5817 permits of one imperfection, at the three quality levels side by side."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.metrology.quantities import as_text
from qcapp.core.metrology.weld_tables import ROWS
from qcapp.core.metrology.welds import LEVELS, Limit, WeldVerdict, assess, names, weld_rule

CAUTION = (
    "Which level a joint needs, and limits for structural welds, re-welding and repair, are the responsible "
    "engineer's and welding coordinator's."
)
SHORT = (
    "Short imperfections: in total at most 25 mm in any 100 mm of weld, or 25 % of a shorter weld "
    "(ISO 5817:2014 clause 3, from memory)."
)
LEVEL_WORDS = {"B": "stringent", "C": "intermediate", "D": "moderate"}
_LETTER = re.compile(r"[\d.] ([sab])\b")
_DIMENSIONS = {"s": "weld_thickness", "a": "throat", "b": "width"}
_VERDICTS = {
    WeldVerdict.CONFORMS: ("conforms", "conforms"),
    WeldVerdict.CONFORMS_IF_SHORT: ("near_limit", "conforms only as short imperfections"),
    WeldVerdict.DOES_NOT_CONFORM: ("does_not_conform", "does not conform"),
    WeldVerdict.BY_AGREEMENT: ("", "is a matter of agreement"),
}

__all__ = ["CAUTION", "LEVELS", "SHORT", "WeldLimits", "dimensions_of", "names", "weld_limits"]


def dimensions_of(imperfection: str) -> tuple[str, ...]:
    """Which sizes besides the thickness the limits of an imperfection depend on: `weld_thickness`, `throat`,
    `width`.
    """
    cells = [cell for row in ROWS if row.name == imperfection for cell in (row.level_b, row.level_c, row.level_d)]
    letters = {letter for cell in cells for letter in _LETTER.findall(cell)}
    return tuple(name for letter, name in _DIMENSIONS.items() if letter in letters)


@dataclass(frozen=True)
class Level:
    """One quality level's limit in words."""

    limit: Limit
    chosen: bool

    @property
    def word(self) -> str:
        return LEVEL_WORDS[self.limit.level]

    @property
    def text(self) -> str:
        """`max 0.2 mm`, `not permitted`, `by agreement`, `no limit`."""
        limit = self.limit
        if limit.by_agreement:
            return "by agreement"
        if not limit.permitted:
            return "not permitted"
        if limit.lower is not None:
            return f"min {as_text(limit.lower)} {limit.unit_of_measure}"
        if limit.upper is None:
            return "no limit"
        return f"max {limit.upper.normalize():f} {limit.unit_of_measure}"


@dataclass(frozen=True)
class WeldLimits:
    """The chosen level's limit, all three beside it, and the verdict on a measured imperfection."""

    levels: tuple[Level, ...]
    measured: Decimal | None = None
    verdict: WeldVerdict | None = None

    @property
    def chosen(self) -> Level:
        return next(level for level in self.levels if level.chosen)

    @property
    def headline(self) -> str:
        return self.chosen.text

    @property
    def limit(self) -> Limit:
        return self.chosen.limit

    @property
    def drawn(self) -> bool:
        """Whether the limit is a length from zero up that can be drawn."""
        return self.limit.lower is None and bool(self.limit.upper) and self.limit.unit_of_measure == "mm"

    @property
    def copy_text(self) -> str:
        return self.limit.sentence

    @property
    def outcome(self) -> str:
        return "" if self.verdict is None else _VERDICTS[self.verdict][0]

    @property
    def verdict_sentence(self) -> str:
        if self.verdict is None or self.measured is None:
            return ""
        return f"{as_text(self.measured)} {self.limit.unit_of_measure} {_VERDICTS[self.verdict][1]}."


def weld_limits(
    imperfection: str,
    level: str,
    *,
    thickness: Decimal,
    throat: Decimal | None = None,
    width: Decimal | None = None,
    weld_thickness: Decimal | None = None,
    measured: Decimal | None = None,
) -> WeldLimits:
    """The limits at levels B, C and D, in mm. Raises Invalid as `welds.weld_rule` and `welds.assess` do."""
    limits = [
        weld_rule(imperfection, each, thickness=thickness, throat=throat, width=width, weld_thickness=weld_thickness)
        for each in LEVELS
    ]
    levels = tuple(Level(limit, limit.level == level) for limit in limits)
    answer = WeldLimits(levels)
    if measured is None:
        return answer
    return WeldLimits(levels, measured, assess(answer.limit, measured))
