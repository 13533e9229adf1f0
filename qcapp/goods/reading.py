"""What a mill certificate reports, as typed: decimal comma or dot, percent or parts per million, or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.materials.tables import ELEMENTS
from qcapp.core.metrology.quantities import parse_value

PPM = Decimal(10_000)  # parts per million in one percent
NOT_REPORTED = frozenset({"", "-", "–", "—", "n/a", "nr"})
PROPERTIES = ("yield_MPa", "ultimate_MPa", "elongation_2in_pct", "hardness_RB")


def read_composition(typed: Mapping[str, str]) -> dict[str, Decimal]:
    """Percent of mass by element; what is not reported is left out, never zero.

    "0,31", "0.31 %" and "3100 ppm" are the same. Raises Invalid `element_unknown`, `percent_invalid` and the codes of
    `parse_value`.
    """
    found = {}
    for element, text in typed.items():
        if element not in ELEMENTS:
            raise Invalid("element_unknown", f"“{element[:12]}” is no element of a steel analysis; use symbols as Mn.")
        if text.strip().lower() not in NOT_REPORTED:
            found[element] = _percent(element, text)
    return found


def _percent(element: str, text: str) -> Decimal:
    try:
        value = parse_value(text, units=("%", "ppm"))
    except Invalid as refusal:  # which of the ten it is
        raise Invalid(refusal.code, f"{element} {text.strip()[:20]}: {refusal.message}") from None
    if text.strip().lower().endswith("ppm"):
        value = value / PPM
    if not 0 <= value <= 100:
        raise Invalid("percent_invalid", f"{element} {text.strip()[:20]} is not between 0 and 100 %; read it again.")
    return value


def read_properties(typed: Mapping[str, str]) -> dict[str, Decimal]:
    """Test values by property, in MPa, % and Rockwell B. Raises Invalid `property_unknown` and as `parse_value`."""
    found = {}
    for name, text in typed.items():
        if name not in PROPERTIES:
            raise Invalid("property_unknown", f"“{name[:20]}” is not known; report {', '.join(PROPERTIES)}.")
        if text.strip().lower() not in NOT_REPORTED:
            found[name] = parse_value(text, units=("MPa", "%", "HRB"))
    return found
