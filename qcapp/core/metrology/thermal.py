"""Lengths at the reference temperature.

ISO 1:2022: dimensions hold at 20 °C. L20 = L / (1 + α·(T - 20)), linear expansion (JCGM 100:2008 H.1.2 uses
the same model). Temperatures in °C, α in 1/K, exact decimals up to the division.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import Final

from qcapp.core.errors import Invalid
from qcapp.core.metrology.inputs import Number, exact, not_negative, positive

REFERENCE: Final = Decimal(20)
"""ISO 1 standard reference temperature, °C."""

STEEL: Final = Decimal("0.0000115")
"""α of unalloyed steel near room temperature, 1/K: about 11.5 µm per metre and kelvin (common practice, no
source).
"""

COLDEST: Final = Decimal(-40)  # °C; outside one coefficient no longer holds
WARMEST: Final = Decimal(100)
_LARGEST_ALPHA: Final = Decimal("0.0002")


def at_reference(length: Number, temperature: Number, alpha: Number, *, reference: Number = REFERENCE) -> Decimal:
    """The length at `reference` of a part measured at `temperature`.

    Raises `Invalid`: `temperature_out_of_range` outside -40 to 100 °C, where one α no longer holds (let the
    weld cool); `expansion_out_of_range` for an α that was typed per metre or in µm; `number_not_positive` for
    the length.
    """
    return between_temperatures(length, temperature, reference, alpha)


def between_temperatures(length: Number, measured_at: Number, wanted_at: Number, alpha: Number) -> Decimal:
    """The length at `wanted_at` of a part measured at `measured_at`: by way of 20 °C, where α is defined.

    Raises `Invalid` as `at_reference`.
    """
    factor = _alpha(alpha)
    at_20 = positive(length, "length") / (1 + factor * (_temperature(measured_at) - REFERENCE))
    return at_20 * (1 + factor * (_temperature(wanted_at) - REFERENCE))


def at_temperature(value: Decimal, measured_at: Decimal, wanted_at: Decimal, alpha: Decimal) -> Fraction:
    """As `between_temperatures`, exactly, and for a coordinate of either sign too: zero stays zero.

    Raises `Invalid` `temperature_out_of_range`, `expansion_out_of_range`.
    """
    factor, kelvin = Fraction(_alpha(alpha)), Fraction(REFERENCE)
    warm, wanted = (1 + factor * (Fraction(_temperature(one)) - kelvin) for one in (measured_at, wanted_at))
    return Fraction(value) * wanted / warm


def temperature_uncertainty(length: Number, alpha: Number, uncertainty: Number) -> Decimal:
    """Standard uncertainty of a length from that of its temperature, L·α·u(T), for the uncertainty budget.

    Raises `Invalid`: `number_not_positive`, `number_negative`, `expansion_out_of_range`.
    """
    return positive(length, "length") * _alpha(alpha) * not_negative(uncertainty, "temperature uncertainty")


def expansion_variance(
    length: Decimal, kelvin: Decimal, alpha: Decimal, *, alpha_limit: Decimal, temperature_limit: Decimal
) -> Fraction:
    """u² of a length brought over `kelvin` to the reference: (L·α·u(T))² + (L·ΔT·u(α))², in the length's unit squared.

    JCGM 100:2008 5.1.2 and H.1.3; the model is L·(1 - α·ΔT). Both limits are half-widths within which the true value
    lies, so u = a/√3 (4.3.7; H.1.3.2 treats the coefficient of the gauge blocks so). The term of higher order (H.1.7),
    L·u(α)·u(T), adds about a thousandth for steel and is left out. Exact, so that a tablet finds the same.
    """
    of_temperature = Fraction(length) * Fraction(alpha) * Fraction(temperature_limit)
    of_alpha = Fraction(length) * Fraction(kelvin) * Fraction(alpha_limit)
    return (of_temperature**2 + of_alpha**2) / 3


def root_up(square: Fraction, places: int) -> Decimal:
    """The square root, rounded up to `places` decimals: an uncertainty is never made smaller by rounding."""
    scaled = square * 100**places
    root = math.isqrt(scaled.numerator // scaled.denominator)
    return Decimal(root if root * root == scaled else root + 1).scaleb(-places)


def _temperature(value: Number) -> Decimal:
    temperature = exact(value, "temperature")
    if not COLDEST <= temperature <= WARMEST:
        raise Invalid(
            "temperature_out_of_range",
            f"{temperature} °C is outside {COLDEST} to {WARMEST} °C, where one coefficient holds; "
            "let the part cool and measure again.",
        )
    return temperature


def _alpha(value: Number) -> Decimal:
    alpha = exact(value, "expansion coefficient")
    if not 0 <= alpha <= _LARGEST_ALPHA:
        raise Invalid(
            "expansion_out_of_range",
            f"An expansion coefficient of {alpha} per kelvin is not that of a solid; steel is 0.0000115.",
        )
    return alpha
