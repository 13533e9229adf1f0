"""What a person writes on a drawing for a tolerance, turned into limits. `bands.parse_band` is the way in.

Each reader takes a `Request` and gives `Limits`, or None when the notation is not its kind; READERS lists
them in the order in which they are asked. Numbers take a decimal comma or dot, signs '+', '-' and '−'.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from typing import Final, Literal

from qcapp.core.errors import Invalid
from qcapp.core.metrology import fits, general_tolerances
from qcapp.core.metrology.quantities import convert, parse_value

Side = Literal["lower", "upper"]

AS_DRAWN: Final = "as drawn"
MAXIMUM_MATERIAL: Final = "maximum"

_EXACT: Final = Context(prec=250)
_INWARD_STEP: Final = Decimal("0.000001")
_SIGNIFICANT: Final = 28  # digits to which `convert` rounds what has no end
_ANGLES: Final = frozenset({"°", "deg", "degree", "′", "″", "arcmin", "arcsec", "rad", "mrad"})
_SUFFIXES: Final = {"in": ("in", '"', "″"), "°": ("°", "deg")}
_ROUGHNESS_UNITS: Final = {"µm": "µm", "mm": "µm", "µin": "µin", "in": "µin"}

EXAMPLES: Final = (
    "±0.2, +0.3/-0.1, +0.3/0, ±5 %, 25.0 to 25.4, max 0.5, min 2.0, H7, g6, ISO 2768-m, "
    "ISO 13920-BF flatness 640, ±0°30′, flatness 0.4, position ⌀0.4 (M), Ra 3.2"
)


@dataclass(frozen=True, slots=True)
class Request:
    nominal: Decimal | None
    notation: str
    unit_of_measure: str


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits in the unit of measure asked for, where they are from, and remarks that a screen must show."""

    lower: Decimal | None
    upper: Decimal | None
    source: str = AS_DRAWN
    natural: frozenset[Side] = frozenset()
    outside_nominal: bool = False
    notes: tuple[str, ...] = ()
    material_condition: str | None = None


def read_limits(nominal: Decimal | None, notation: str, unit_of_measure: str) -> Limits:
    """The limits that a notation means. Raises `Invalid` with a code of `bands.read_notation`."""
    request = Request(nominal, _tidy(notation, unit_of_measure), unit_of_measure)
    for reader in READERS:
        limits = reader(request)
        if limits is not None:
            return limits
    if _OTHER_UNIT.search(request.notation):
        raise Invalid(
            "notation_unit_unexpected",
            f"Write the tolerance in {unit_of_measure}, as the checkpoint is measured.",
        )
    raise Invalid("notation_unknown", f"The tolerance '{notation}' is not understood; write {EXAMPLES}.")


_OTHER_UNIT: Final = re.compile(r"[0-9] ?(?:[mµc]?m|µ?in|inch|[\"°′″])(?!\w)")
_BLANKS: Final = re.compile(r"[ \t\u00a0\u2007\u2009\u202f]+")
_SAME_SIGNS: Final = (
    ("−", "-"),
    ("+/-", "±"),
    ("+-", "±"),
    ("Ø", "⌀"),
    ("ø", "⌀"),
    ("Ⓜ", "(M)"),
    ("<=", "≤"),
    (">=", "≥"),
    ("'", "′"),
    ("μ", "µ"),
)


def _tidy(notation: str, unit_of_measure: str) -> str:
    """One spelling of signs and blanks, without the unit of measure that may follow each number."""
    if len(notation) > 80:
        raise Invalid("notation_unknown", "The tolerance is longer than 80 characters; write one notation only.")
    text = _BLANKS.sub(" ", notation).strip()
    for written, sign in _SAME_SIGNS:
        text = text.replace(written, sign)
    in_parts = unit_of_measure in _ANGLES and re.search("[°′″]", text.replace(unit_of_measure, ""))
    if not unit_of_measure or in_parts or general_tolerances.names_standard(text):
        return text
    spellings = "|".join(re.escape(name) for name in _SUFFIXES.get(unit_of_measure, (unit_of_measure,)))
    return re.sub(rf"(?<=\d) ?(?:{spellings})(?!\w)", "", text)


_NUMBER: Final = r"[0-9]*[.,]?[0-9]+"
_PLUS_MINUS: Final = re.compile(rf"± ?({_NUMBER})( ?%)?")
_PAIR: Final = re.compile(
    rf"((?:[+-] ?{_NUMBER}|0(?:[.,]0+)?))(?: ?/ ?| (?=[+-0]))((?:[+-] ?{_NUMBER}|0(?:[.,]0+)?))( ?%)?"
)
_RANGE: Final = re.compile(rf"(-? ?{_NUMBER}) ?(?:to|bis|…|\.\.\.?) ?(-? ?{_NUMBER})")  # German drawings say "bis"
_ONE_SIDED: Final = re.compile(
    rf"(?:(max|min)\.? ?|([≤≥]) ?)([+-]?{_NUMBER})|([+-]?{_NUMBER}) ?(max|min)\.?", re.IGNORECASE
)


def _nominal(request: Request) -> Decimal:
    if request.nominal is None:
        raise Invalid("nominal_missing", f"'{request.notation}' needs a nominal; give it, or write both limits.")
    return request.nominal


def _around(request: Request, below: Decimal, above: Decimal, source: str = AS_DRAWN, *notes: str) -> Limits:
    """Limits from two signed deviations, in the unit of measure; the nominal may lie outside them."""
    nominal = _nominal(request)
    lower, upper = _EXACT.add(nominal, below), _EXACT.add(nominal, above)
    return Limits(lower, upper, source, outside_nominal=not lower <= nominal <= upper, notes=notes)


def _percent(request: Request, deviation: Decimal, percent: str | None) -> Decimal:
    if not percent:
        return deviation
    return _EXACT.scaleb(_EXACT.multiply(abs(_nominal(request)), deviation), -2)


def read_plus_minus(request: Request) -> Limits | None:
    match = _PLUS_MINUS.fullmatch(request.notation)
    if match is None:
        return None
    deviation = _percent(request, parse_value(match[1]), match[2])
    return _around(request, deviation.copy_negate(), deviation)


def read_two_deviations(request: Request) -> Limits | None:
    """Upper and lower deviation in either order: their signs say which is which."""
    match = _PAIR.fullmatch(request.notation)
    if match is None:
        return None
    first, second = (_percent(request, parse_value(match[part]), match[3]) for part in (1, 2))
    return _around(request, min(first, second), max(first, second))


def read_range(request: Request) -> Limits | None:
    match = _RANGE.fullmatch(request.notation)
    if match is None:
        return None
    return Limits(parse_value(match[1]), parse_value(match[2]))


def read_one_sided(request: Request) -> Limits | None:
    match = _ONE_SIDED.fullmatch(request.notation)
    if match is None:
        return None
    limit = parse_value(match[3] or match[4])
    side = (match[1] or match[2] or match[5]).lower()
    return Limits(None, limit) if side in ("max", "≤") else Limits(limit, None)


_DEGREES: Final = re.compile(rf"± ?(?:({_NUMBER}) ?°)?(?: ?({_NUMBER}) ?′)?(?: ?({_NUMBER}) ?(?:″|′′|\"))?")


def read_angle(request: Request) -> Limits | None:
    """±0°30′, ±30′, ±0.5°: only where the unit of measure is an angle."""
    match = _DEGREES.fullmatch(request.notation) if request.unit_of_measure in _ANGLES else None
    if match is None or not any(match.groups()):
        return None
    degrees, minutes, seconds = (parse_value(part) if part else Decimal(0) for part in match.groups())
    total = _EXACT.fma(degrees, Decimal(3600), _EXACT.fma(minutes, Decimal(60), seconds))
    return _converted(request, total.copy_negate(), total, "arcsec", AS_DRAWN)


_FORM: Final = re.compile(
    r"(?i:flatness|straight(?:ness)?|round(?:ness)?|circularity|cylindricity|parallel(?:ism)?|"
    r"perpendicular(?:ity)?|square(?:ness)?|angularity|(?:total )?run-?out|symmetry|coaxial(?:ity)?|"
    rf"concentric(?:ity)?|profile|position) ?(?:⌀ ?)?({_NUMBER})(?: ?(\(M\)|MMC))?(?: [A-Z]){{0,3}}"
)
"""The letters at the end name datums; the set-up of the checkpoint says how they are realised."""


def read_form(request: Request) -> Limits | None:
    """Zones of ISO 1101 from the natural boundary zero; (M) is the maximum material condition of ISO 2692."""
    match = _FORM.fullmatch(request.notation)
    if match is None:
        return None
    width = parse_value(match[1])
    if match[2] is None:
        return _zone(width, AS_DRAWN)
    note = "Maximum material condition: what the size leaves is added to the tolerance, unit by unit."
    return _zone(width, AS_DRAWN, note, material_condition=MAXIMUM_MATERIAL)


def _zone(width: Decimal, source: str, *notes: str, material_condition: str | None = None) -> Limits:
    return Limits(Decimal(0), width, source, frozenset({"lower"}), notes=notes, material_condition=material_condition)


_ROUGHNESS: Final = re.compile(rf"R[aqz](?: max)? ?({_NUMBER})(?: to ({_NUMBER}))?")


def read_roughness(request: Request) -> Limits | None:
    """Ra, Rq or Rz as on drawings: in µm, or in µin where the unit of measure is an inch unit."""
    match = _ROUGHNESS.fullmatch(request.notation)
    if match is None:
        return None
    unit = request.unit_of_measure.replace("μ", "µ")
    written_in = _ROUGHNESS_UNITS.get(unit)
    if written_in is None:
        raise Invalid("unit_mismatch", f"Roughness is measured in µm or µin, not in {request.unit_of_measure}.")
    note = f"Read in {written_in}. Each reading counts: the rule that lets 16 % of readings exceed is not used."
    first = convert(parse_value(match[1]), written_in, unit)
    if match[2] is None:
        return _zone(first, AS_DRAWN, note)
    return Limits(first, convert(parse_value(match[2]), written_in, unit), notes=(note,))


def read_fit_class(request: Request) -> Limits | None:
    if not fits.is_class(request.notation):
        return None
    size = _in_mm(request, _nominal(request))
    lower, upper = fits.deviations(size, request.notation)
    return _converted(request, lower, upper, "mm", fits.source_of(request.notation))


def read_general_class(request: Request) -> Limits | None:
    """ISO 2768 and ISO 13920; without a kind, sizes are meant where a length is measured, else angles."""
    if not general_tolerances.names_standard(request.notation):
        return None
    written = general_tolerances.read_class(request.notation)
    angular = request.unit_of_measure in _ANGLES
    kind = written.kind or ("angle" if angular else "linear")
    if kind == "angle" and not angular:
        kind = "angle offset"
    size = written.size
    if kind in ("linear", "broken edge"):
        size = _in_mm(request, _nominal(request))
    found = general_tolerances.permitted(written.standard, kind, written.letters, size)
    return _from_table(request, found, size)


def _from_table(request: Request, found: general_tolerances.Permitted, size: Decimal | None) -> Limits:
    amount, unit = found.amount, "arcmin" if found.measure == "minute" else "mm"
    if found.measure == "mm per m" and size is not None:
        amount = amount * size / 1000
        request = replace(request, nominal=request.nominal or Decimal(0))
    if found.two_sided:
        return _converted(request, -amount, amount, unit, found.source)
    width = convert(amount, unit, request.unit_of_measure)
    cut = _cut(width, ROUND_FLOOR)
    return _zone(cut, found.source, *_remarks(request, unit, cut != width))


def _in_mm(request: Request, size: Decimal) -> Decimal:
    return convert(size, request.unit_of_measure, "mm")


def _converted(request: Request, below: Decimal, above: Decimal, unit: str, source: str) -> Limits:
    """Limits around the nominal from deviations in another unit, with a remark on the conversion."""
    lower = convert(below, unit, request.unit_of_measure)
    upper = convert(above, unit, request.unit_of_measure)
    inner_lower, inner_upper = _cut(lower, ROUND_CEILING), _cut(upper, ROUND_FLOOR)
    was_cut = (inner_lower, inner_upper) != (lower, upper)
    return _around(request, inner_lower, inner_upper, source, *_remarks(request, unit, was_cut))


def _cut(deviation: Decimal, rounding: str) -> Decimal:
    """Cuts a deviation without end to a millionth towards the inside: no limit grows by converting."""
    if len(deviation.as_tuple().digits) < _SIGNIFICANT:
        return deviation
    return deviation.quantize(_INWARD_STEP, rounding=rounding)


def _remarks(request: Request, unit: str, was_cut: bool) -> tuple[str, ...]:
    asked = request.unit_of_measure
    if was_cut:
        return (f"Computed in {unit} and converted to {asked}; limits cut to {_INWARD_STEP} {asked}, inwards.",)
    return (f"Computed in mm and converted to {asked}.",) if unit == "mm" != asked else ()


READERS: Final[tuple[Callable[[Request], Limits | None], ...]] = (
    read_general_class,
    read_roughness,
    read_fit_class,
    read_angle,
    read_plus_minus,
    read_two_deviations,
    read_range,
    read_one_sided,
    read_form,
)
