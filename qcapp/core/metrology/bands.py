"""Band: the interval between the limits, and how the notations of drawings become one.

`judge` in `decision.py` is the only place where a value meets a band; this module says only where the limits
are.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Context, Decimal
from typing import Any, Final

from qcapp.core.errors import Invalid
from qcapp.core.metrology.notations import Side, read_limits
from qcapp.core.metrology.quantities import MAX_TEXT, as_text

_EXACT: Final = Context(prec=250)
_MAX_PLACES: Final = 40
_PLAIN_NUMBER: Final = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")


@dataclass(frozen=True, slots=True)
class Band:
    """Lower and upper limit; one side may be open (None). The limits themselves are inside.

    `guard` is the guard zone kept at each limit, zero for none. `natural` names the sides that no part can
    cross, such as zero of a flatness: they have no guard zone. A nominal outside the limits is refused unless
    `allow_outside_nominal`, because it is usual for shaft and hole classes (25 g6) and a slip elsewhere.
    Raises `Invalid`: `limits_missing`, `limits_crossed`, `limit_not_decimal`, `guard_negative`,
    `guard_swallows_band`, `nominal_outside`, `natural_unknown`.
    """

    lower: Decimal | None
    upper: Decimal | None
    nominal: Decimal | None = None
    guard: Decimal = Decimal(0)
    natural: frozenset[Side] = frozenset()
    allow_outside_nominal: bool = False

    def __post_init__(self) -> None:
        _check_numbers(self)
        _check_limits(self)
        _check_guard(self)

    @property
    def width(self) -> Decimal | None:
        """Upper minus lower limit; None when a side is open."""
        if self.lower is None or self.upper is None:
            return None
        return _EXACT.subtract(self.upper, self.lower)

    def to_json(self) -> dict[str, Any]:
        """Plain values with numbers as text, in a fixed order, so that frozen content has one spelling."""
        return {
            "lower": None if self.lower is None else as_text(self.lower),
            "upper": None if self.upper is None else as_text(self.upper),
            "nominal": None if self.nominal is None else as_text(self.nominal),
            "guard": as_text(self.guard),
            "natural": sorted(self.natural),
            "allow_outside_nominal": self.allow_outside_nominal,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Band:
        """The band that `to_json` wrote. Raises `Invalid` as the constructor does; numbers must be text."""
        return cls(
            lower=_number(data.get("lower")),
            upper=_number(data.get("upper")),
            nominal=_number(data.get("nominal")),
            guard=_number(data.get("guard")) or Decimal(0),
            natural=_sides(data.get("natural")),
            allow_outside_nominal=data.get("allow_outside_nominal", False) is True,
        )


def _sides(names: object) -> frozenset[Side]:
    known: dict[object, Side] = {"lower": "lower", "upper": "upper"}
    listed = names if isinstance(names, list | tuple | frozenset) else [] if names is None else [names]
    if not all(isinstance(name, str) and name in known for name in listed):
        raise Invalid("natural_unknown", "A natural boundary is 'lower' or 'upper'.")
    return frozenset(known[name] for name in listed)


def _number(text: object) -> Decimal | None:
    if text is None:
        return None
    if not isinstance(text, str):
        raise Invalid("limit_not_decimal", "Limits travel as text, for example '12.50', so that no digit is lost.")
    if len(text) > MAX_TEXT or not _PLAIN_NUMBER.fullmatch(text):
        raise Invalid("limit_not_decimal", "A limit is written in plain digits with a decimal dot, such as 12.50.")
    number = Decimal(text)
    return number if number else number.copy_abs()


def _check_numbers(band: Band) -> None:
    for number in (band.lower, band.upper, band.nominal, band.guard):
        if number is None:
            continue
        if not isinstance(number, Decimal) or not number.is_finite():
            raise Invalid("limit_not_decimal", "Limits, nominal and guard are plain decimal numbers such as 12.50.")
        exponent = number.as_tuple().exponent
        if not (isinstance(exponent, int) and exponent > -_MAX_PLACES and number.adjusted() < _MAX_PLACES):
            raise Invalid("limit_not_decimal", "A limit is too large or too small to be meant; check its unit.")
    if not band.natural <= {"lower", "upper"}:
        raise Invalid("natural_unknown", "A natural boundary is 'lower' or 'upper'.")


def _check_limits(band: Band) -> None:
    if band.lower is None and band.upper is None:
        raise Invalid("limits_missing", "Give a lower or an upper limit; without one there is nothing to judge.")
    if band.lower is not None and band.upper is not None and band.lower > band.upper:
        raise Invalid(
            "limits_crossed",
            f"The lower limit {as_text(band.lower)} is above the upper {as_text(band.upper)}; exchange them.",
        )
    if band.nominal is None or band.allow_outside_nominal:
        return
    below = band.lower is not None and band.nominal < band.lower
    above = band.upper is not None and band.nominal > band.upper
    if below or above:
        raise Invalid(
            "nominal_outside",
            f"The nominal {as_text(band.nominal)} is outside the limits; correct it, or mark it as meant so.",
        )


def _check_guard(band: Band) -> None:
    if band.guard < 0:
        raise Invalid("guard_negative", "The guard zone cannot be below zero.")
    if band.width is None:
        return
    guarded = 2 - len(band.natural)
    if _EXACT.multiply(band.guard, Decimal(guarded)) > band.width:
        raise Invalid("guard_swallows_band", "The guard zones cover the whole band; choose a smaller guard.")


@dataclass(frozen=True, slots=True)
class ReadBand:
    """A notation read: the band, the standard with edition and table it comes from ('as drawn' for numbers).

    `notes` are remarks that stand beside the limits wherever they are shown; `material_condition` is
    'maximum' where the tolerance grows with the feature's size.
    """

    band: Band
    source: str
    notes: tuple[str, ...] = ()
    material_condition: str | None = None


def read_notation(nominal: Decimal | None, notation: str, unit_of_measure: str) -> ReadBand:
    """The band that a drawing's notation means, in `unit_of_measure`, with its source.

    `notations.EXAMPLES` shows one of each kind. Metric classes are computed in mm and converted. Raises
    `Invalid`: `notation_unknown`, `nominal_missing`, `class_unknown`, `edition_unknown`, `kind_unknown`,
    `length_missing`, `size_outside_table`, `limits_crossed`, `nominal_outside`, `unit_mismatch`,
    `unit_unknown`, or the codes of `parse_value` for a number that cannot be read.
    """
    limits = read_limits(nominal, notation, unit_of_measure)
    band = Band(
        limits.lower,
        limits.upper,
        nominal,
        natural=limits.natural,
        allow_outside_nominal=limits.outside_nominal,
    )
    return ReadBand(band, limits.source, limits.notes, limits.material_condition)


def parse_band(nominal: Decimal | None, notation: str, unit_of_measure: str) -> Band:
    """The band of `read_notation`, where its source is not asked for."""
    return read_notation(nominal, notation, unit_of_measure).band
