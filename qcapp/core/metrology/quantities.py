"""Values that a person typed or a gauge sent: reading, converting between units of measure, rounding.

Everything here is exact decimal arithmetic. `static/js/verdict.js` reads values by the same rules with the
same codes; `tests/vectors/verdict_twin.json` holds both to it.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Final, Literal

from qcapp.core.errors import Invalid

if TYPE_CHECKING:
    import pint

MAX_TEXT: Final = 64
"""Longest text, in characters, that is looked at; anything longer was not typed by a person."""

_BLANKS: Final = " \t\r\n\u00a0\u2007\u2009\u202f"
_VULGAR: Final = frozenset("½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞⁄/")
_SIGNS: Final = "+-−"
_EXPONENT: Final = re.compile(r"[eE][+\-−]?[0-9]")
_ARITHMETIC: Final = frozenset("0123456789+-−*^×÷()=<>±.,")
_ROUNDING: Final = {"half_even": ROUND_HALF_EVEN, "half_up": ROUND_HALF_UP}
_WIDE: Final = Context(prec=200)
_SIGNIFICANT: Final = Context(prec=28, rounding=ROUND_HALF_EVEN)
_MAX_PLACES: Final = 100


def parse_value(
    text: str,
    *,
    decimal_mark: Literal[".", ","] | None = None,
    units: Collection[str] = (),
    max_digits: int = 18,
) -> Decimal:
    """Give the exact number in `text`, with the trailing zeros that were typed.

    One comma or one dot is the decimal mark, unless `decimal_mark` names the only one allowed: '1,250' is one
    and a quarter, never a thousand. Blanks around the number and one of the suffixes in `units` are taken
    off; the sign may be '+', '-' or '−'. Minus zero becomes zero. `max_digits` counts the digits from the
    first non-zero one of the whole part to the last decimal, which is what a scaled integer needs. Raises
    `Invalid` with one of the codes `value_not_text`, `value_empty`, `value_too_long`, `value_two_marks`,
    `value_fraction`, `value_mark_unexpected`, `value_unfinished`, `value_unit_unexpected`,
    `value_not_a_number`.
    """
    sign, number, suffix = _split(text)
    mark = _check_number(number, decimal_mark, of_letters=bool(suffix) and not _is_unit(suffix, units))
    _check_suffix(suffix, units)
    whole, _, decimals = number.partition(mark)
    if len(whole.lstrip("0")) + len(decimals) > max_digits:
        raise Invalid(
            "value_too_long",
            f"The value has more than {max_digits} digits; type it with fewer decimals.",
            max_digits=max_digits,
        )
    value = Decimal(f"{sign}{whole or '0'}.{decimals}" if decimals else f"{sign}{whole}")
    return value if value else value.copy_abs()


def _split(text: str) -> tuple[str, str, str]:
    """Sign as '' or '-', the digits with their marks, and what follows them."""
    if not isinstance(text, str):
        raise Invalid("value_not_text", "A value travels as text, for example '12.50', so that no digit is lost.")
    trimmed = text.strip(_BLANKS)
    if not trimmed:
        raise Invalid("value_empty", "No value was given; type the number that the gauge shows.")
    if len(trimmed) > MAX_TEXT:
        raise Invalid("value_too_long", f"The text is longer than {MAX_TEXT} characters; type the number only.")
    if not _VULGAR.isdisjoint(trimmed):
        raise Invalid("value_fraction", "A fraction is not read; type it as a decimal, for example 0.5 for 1/2.")
    signed = trimmed[0] in _SIGNS
    body = trimmed[1:].lstrip(_BLANKS) if signed else trimmed
    suffix = body.lstrip("0123456789.,")
    number = body[: len(body) - len(suffix)]
    return ("-" if signed and trimmed[0] != "+" else ""), number, suffix.lstrip(_BLANKS)


def _check_number(number: str, decimal_mark: str | None, *, of_letters: bool) -> str:
    """The decimal mark of `number`; a dot when it has none. `of_letters`: what follows it is no unit, as in '62,x'."""
    marks = [character for character in number if character in ".,"]
    if len(number) == len(marks):
        raise Invalid("value_not_a_number", "That is not a number; type digits with one decimal mark, as in 12.50.")
    if len(marks) > 1:
        raise Invalid(
            "value_two_marks",
            "The value has more than one comma or dot; type it without marks between thousands.",
        )
    if marks and decimal_mark is not None and marks[0] != decimal_mark:
        raise Invalid("value_mark_unexpected", f"The decimal mark here is '{decimal_mark}'; type the value with it.")
    if marks and number.endswith(marks[0]):
        if of_letters:
            raise Invalid("value_not_a_number", "That is not a number; type digits with one decimal mark, as in 12.50.")
        raise Invalid("value_unfinished", "The value ends with its decimal mark; type the decimals or leave it out.")
    return marks[0] if marks else "."


def _check_suffix(suffix: str, units: Collection[str]) -> None:
    if not suffix or _is_unit(suffix, units):
        return
    if suffix[0] in _ARITHMETIC or _EXPONENT.match(suffix):
        raise Invalid(
            "value_not_a_number",
            "That is not one plain number; type digits with one decimal mark, as in 12.50.",
        )
    if names := ", ".join(_names(units)):
        raise Invalid(
            "value_unit_unexpected",
            f"After the number stands '{suffix}'; type the number alone, or with {names}.",
            suffix=suffix,
        )
    raise Invalid("value_unit_unexpected", f"After the number stands '{suffix}'; type the number alone.", suffix=suffix)


def _is_unit(suffix: str, units: Collection[str]) -> bool:
    return _same_letters(suffix) in map(_same_letters, _names(units))


def _names(units: Collection[str]) -> list[str]:
    """One name is not a list of letters."""
    return [units] if isinstance(units, str) else list(units)


def _same_letters(suffix: str) -> str:
    """The Greek mu and the micro sign look alike and mean the same here."""
    return suffix.replace("\u03bc", "\u00b5")


def as_text(value: Decimal) -> str:
    """The number in plain digits, no exponent, no sign on a zero: what is stored, sent and printed."""
    return format(value if value else value.copy_abs(), "f")


def round_value(value: Decimal, step: Decimal, *, rule: Literal["half_even", "half_up"] = "half_even") -> Decimal:
    """`value` rounded to the nearest multiple of `step`, in one go, written with the decimals of `step`.

    A tie goes to the even multiple (`half_even`, ISO 80000-1:2009 Annex B rule A) or to the greater one in
    magnitude (`half_up`, rule B). The rounding method of ASTM E29 is this followed by a comparison. Raises
    `Invalid` for a step that is not above zero (`step_not_positive`) or an unknown rule (`rule_unknown`).
    """
    if not (step.is_finite() and step > 0):
        raise Invalid("step_not_positive", "The rounding step must be above zero, for example 0.01.")
    if rule not in _ROUNDING:
        raise Invalid("rule_unknown", "Rounding is 'half_even' or 'half_up'.")
    _check_places(value)
    _check_places(step)
    multiple = _nearest(Fraction(value) / Fraction(step), rule)
    return _WIDE.multiply(Decimal(multiple), step)


def _nearest(quotient: Fraction, rule: str) -> int:
    if rule == "half_even":
        return round(quotient)  # Python rounds a fraction's tie to the even integer
    magnitude = int(abs(quotient) + Fraction(1, 2))
    return -magnitude if quotient < 0 else magnitude


def _check_places(value: Decimal) -> None:
    if not value.is_finite():
        raise Invalid("value_not_a_number", "That is not a number; type digits with one decimal mark, as in 12.50.")
    exponent = value.as_tuple().exponent
    if not (isinstance(exponent, int) and exponent > -_MAX_PLACES and value.adjusted() < _MAX_PLACES):
        raise Invalid("value_too_long", "The value is too large or too small to be a measured one; check its unit.")


def convert(value: Decimal, from_unit: str, to_unit: str) -> Decimal:
    """`value` in `to_unit`: exact when the result has an end, otherwise rounded to 28 significant digits.

    Factors come from the unit registry of pint and are kept as fractions, so 1 inch is 25.4 mm and 17.78 mm
    is 0.7 inch exactly. Raises `Invalid` for a name that is no unit (`unit_unknown`) or for units of
    different kinds (`unit_mismatch`).
    """
    _check_places(value)
    if from_unit == to_unit:
        return value
    import pint

    try:
        with _ONE_AT_A_TIME:
            source, target = _unit(from_unit), _unit(to_unit)
            result = _registry().Quantity(Fraction(value), source).to(target).magnitude
    except (pint.DimensionalityError, pint.OffsetUnitCalculusError) as error:
        raise Invalid(
            "unit_mismatch",
            f"'{from_unit}' cannot be converted to '{to_unit}': they measure different things.",
        ) from error
    return _decimal(Fraction(result))


def _decimal(number: Fraction) -> Decimal:
    """Exact if the fraction ends within the wide context, else 28 significant digits."""
    numerator, denominator = Decimal(number.numerator), Decimal(number.denominator)
    rest = number.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return (_WIDE if rest == 1 else _SIGNIFICANT).divide(numerator, denominator)


_ONE_AT_A_TIME: Final = Lock()
"""Two threads that met an empty cache would each load a registry, and units of two registries do not mix."""


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Fraction]:
    """Loading pint takes most of a second, so nothing but a conversion pays for it."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


_SPELLINGS: Final = {
    "′": "arcminute",
    "″": "arcsecond",
    "US gal": "US_liquid_gallon",
    "mil": "thou",
    "%": "percent",
}
"""Spellings of the trade that the registry reads otherwise or not at all; no factors here."""

_UNIT_NAME: Final = re.compile(r"(?!.*\d\d)[^\W\d_][\w ·.*/²³°%′″]{0,31}|[°%′″][A-Za-z]?")
_POWER: Final = re.compile(r"(?<=[^\W\d_])([23])(?!\w)")


@lru_cache(maxsize=256)
def _unit(name: str) -> pint.Unit:
    import pint

    unknown = Invalid("unit_unknown", f"'{name}' is not a known unit of measure; write for example mm, in, N·m or °.")
    if not _UNIT_NAME.fullmatch(name):
        raise unknown
    try:
        return _registry().Unit(_SPELLINGS.get(name) or _POWER.sub(r"**\1", name))
    except (
        pint.UndefinedUnitError,
        pint.DefinitionSyntaxError,
        ValueError,
        TypeError,
        AttributeError,
        AssertionError,  # a name that ends in an operator, "mm/"
    ) as error:
        raise unknown from error
