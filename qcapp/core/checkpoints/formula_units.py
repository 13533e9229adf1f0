"""Units of measure in formulas, checked while a plan is written.

Values are added, compared and averaged in one unit of measure, angles go into functions in degrees, and the
result has the unit that its checkpoint states. A bare number takes the unit of what it is added to; a factor
such as 1000 may stand for a conversion, so behind one only the kind of quantity is compared. Where a unit is
not in the registry (a hardness scale) nothing is claimed.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from qcapp.core import formulas
from qcapp.core.errors import Invalid
from qcapp.core.findings import Finding
from qcapp.core.metrology.quantities import convert

_FACTOR = re.compile(r"([^·*/²³0-9]+)([²³23]?)")
_EXPONENTS = {"": 1, "²": 2, "2": 2, "³": 3, "3": 3}
_RAISED = {1: "", 2: "²", 3: "³"}
_DEGREES = "°"


@dataclass(frozen=True)
class _Measure:
    """A product of units with exponents; empty for a plain number. `scaled` when a bare factor went in."""

    powers: Mapping[str, Fraction] = field(default_factory=dict)
    scaled: bool = False

    def name(self) -> str | None:
        """The product as a unit of measure is written, None when it cannot be."""
        above = [f"{unit}{_RAISED.get(int(n), '?')}" for unit, n in self.powers.items() if n > 0]
        below = [f"/{unit}{_RAISED.get(int(-n), '?')}" for unit, n in self.powers.items() if n < 0]
        whole = all(n.denominator == 1 for n in self.powers.values())
        if not self.powers:
            return "dimensionless"
        return "·".join(above) + "".join(below) if above and whole else None


class _Mismatch(Exception):
    """The sentence that says which units do not go together."""


def check_units(expressions: Mapping[str, str], units: Mapping[str, str]) -> list[Finding]:
    """One `unit_mismatch` for each formula whose units of measure do not go together.

    `units` holds the unit of measure of each checkpoint, the derived ones included; keys without one, and
    formulas that cannot be read, are left to `formulas.check`.
    """
    findings = []
    for key, expression in expressions.items():
        try:
            _check_result(formulas.parse(expression), units, units.get(key))
        except _Mismatch as mismatch:
            findings.append(Finding("unit_mismatch", f"{key}: {mismatch}", key))
        except Invalid:
            continue
    return findings


def _check_result(tree: ast.expr, units: Mapping[str, str], stated: str | None) -> None:
    result = _measure(tree, units)
    if result is None or stated is None or _go_together(result, _read(stated)):
        return
    raise _Mismatch(f"the formula gives {_shown(result)}, the checkpoint states {_shown(_read(stated))}.")


@lru_cache(maxsize=256)
def _read(unit_of_measure: str) -> _Measure:
    """The product in a unit's name; one that is not a plain product is taken as a whole."""
    powers: dict[str, Fraction] = {}
    sign = 1
    for part in re.split(r"([·*/])", unit_of_measure):
        found = _FACTOR.fullmatch(part)
        if part in ("·", "*", "/"):
            sign = -1 if part == "/" else 1
        elif found:
            powers[found[1]] = powers.get(found[1], Fraction(0)) + sign * _EXPONENTS[found[2]]
        elif part:
            return _Measure({unit_of_measure: Fraction(1)})
    return _Measure({unit: n for unit, n in powers.items() if n})


def _go_together(one: _Measure, other: _Measure) -> bool:
    """True for one unit under two names, for two of a kind behind a bare factor, and when unknown."""
    if one.powers == other.powers:
        return True
    names = one.name(), other.name()
    if names[0] is None or names[1] is None:
        return True
    try:
        factor = convert(Decimal(1), names[0], names[1])
    except Invalid as refusal:
        return refusal.code == "unit_unknown"
    return factor == 1 or one.scaled or other.scaled


def _shown(measure: _Measure) -> str:
    return (measure.name() or "another unit") if measure.powers else "a plain number"


# --------------------------------------------------------------------------------------- through the tree


def _measure(node: ast.expr, units: Mapping[str, str]) -> _Measure | None:
    """The unit of the node's value; None for a bare number or where nothing is known. Raises _Mismatch."""
    parts = [_measure(operand, units) for operand in formulas.operands(node)]
    match node:
        case ast.Name(id=name):
            return _read(units[name]) if name in units else None
        case ast.BinOp(op=ast.Mult() | ast.Div() as op, left=left, right=right):
            bare = [_is_bare(left), _is_bare(right)]
            return _product(parts, bare, -1 if isinstance(op, ast.Div) else 1)
        case ast.Call(func=ast.Name(id="sqrt")):
            return _root(parts[0])
        case ast.Call(func=ast.Name(id="sin" | "cos" | "tan" as name)):
            return _ratio(name, parts[0])
        case ast.Call(func=ast.Name(id="atan2")):
            _alike(parts)
            return _read(_DEGREES)
        case _:
            return _alike(parts)


def _is_bare(node: ast.expr) -> bool:
    return not any(isinstance(inner, ast.Name) for inner in formulas.walk(node))


def _product(parts: list[_Measure | None], bare: list[bool], sign: int) -> _Measure | None:
    if all(bare):
        return None
    left, right = (_Measure(scaled=True) if b else part for part, b in zip(parts, bare, strict=True))
    if left is None or right is None:
        return None
    if any(bare) and not (left.powers or right.powers):
        return None  # 276.4 * cos(angle): the bare number may be a length itself
    powers = dict(left.powers)
    for unit, n in right.powers.items():
        powers[unit] = powers.get(unit, Fraction(0)) + sign * n
    return _Measure({unit: n for unit, n in powers.items() if n}, left.scaled or right.scaled)


def _root(part: _Measure | None) -> _Measure | None:
    return part and _Measure({unit: n / 2 for unit, n in part.powers.items()}, part.scaled)


def _ratio(function: str, angle: _Measure | None) -> _Measure:
    if angle and not _go_together(angle, _read(_DEGREES)):
        raise _Mismatch(f"{function} takes degrees, not {_shown(angle)}; use a checkpoint in °.")
    return _Measure()


def _alike(parts: list[_Measure | None]) -> _Measure | None:
    known = [part for part in parts if part is not None]
    for part in known[1:]:
        if not _go_together(known[0], part):
            raise _Mismatch(f"it puts {_shown(known[0])} and {_shown(part)} together; bring them to one unit first.")
    if not known:
        return None
    return _Measure(known[0].powers, any(part.scaled for part in known))
