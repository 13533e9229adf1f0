"""Screws: proof loads and tightening torque.

Proof loads: ISO 898-1:2013 Table 5, in `fastener_tables.py`. Torque: T = K·D·F, the nut factor method of
handbooks; K scatters by a quarter and more with surface and lubricant, so a torque proves a preload only
roughly.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.fastener_tables import BOLTS, PROOF_STRESS, SOURCE, BoltRow
from qcapp.core.metrology.inputs import PI, Number, positive


@dataclass(frozen=True, slots=True)
class Bolt:
    """One size and property class: loads in N, stress in MPa, stress area in mm²."""

    size: str
    property_class: str
    pitch: Decimal
    stress_area: Decimal
    proof_stress: Decimal
    proof_load: Decimal
    ultimate_load: Decimal | None
    source: str = SOURCE


def bolt(size: str, property_class: str) -> Bolt:
    """The table's row for a coarse thread such as M10 and a property class such as 8.8.

    Raises `Invalid`: `thread_not_tabulated`, `property_class_not_tabulated`.
    """
    row = _row(size)
    if property_class not in PROOF_STRESS:
        raise Invalid(
            "property_class_not_tabulated",
            f"Property class {property_class} is not in the table; it has {', '.join(PROOF_STRESS)}.",
        )
    load, ultimate = row.loads[property_class]
    return Bolt(
        row.size,
        property_class,
        Decimal(row.pitch),
        Decimal(row.stress_area),
        PROOF_STRESS[property_class],
        Decimal(load),
        Decimal(ultimate) if ultimate else None,
    )


def _row(size: str) -> BoltRow:
    name = size.strip().upper()
    for row in BOLTS:
        if name in (row.size, f"{row.size}X{row.pitch}"):
            return row
    sizes = ", ".join(row.size for row in BOLTS)
    raise Invalid("thread_not_tabulated", f"{size} is not in the table of coarse threads; it has {sizes}.")


def proof_load(size: str, property_class: str) -> Decimal:
    """Proof load in N (ISO 898-1:2013 Table 5, coarse thread). Raises `Invalid` as `bolt`."""
    return bolt(size, property_class).proof_load


def stress_area(diameter: Number, pitch: Number) -> Decimal:
    """Nominal stress area π/4·(d - 0.9382·P)² in mm² (ISO 898-1:2013 9.1.6.1).

    Raises `Invalid` (`pitch_too_large`).
    """
    core = positive(diameter, "thread diameter") - Decimal("0.9382") * positive(pitch, "pitch")
    if core <= 0:
        raise Invalid("pitch_too_large", "The pitch leaves no core; check diameter and pitch.")
    return PI / 4 * core * core


def tightening_torque(nut_factor: Number, diameter: Number, preload: Number) -> Decimal:
    """Torque in N·m from the nut factor K, the nominal diameter in mm and the preload in N: K·D·F/1000.

    Raises `Invalid`: `nut_factor_out_of_range` outside 0.05 to 0.5, `number_not_positive`.
    """
    factor = positive(nut_factor, "nut factor")
    if not Decimal("0.05") <= factor <= Decimal("0.5"):
        raise Invalid(
            "nut_factor_out_of_range",
            f"A nut factor of {factor} is outside 0.05 to 0.5; usual are 0.12 (lubricated) to 0.20 (dry).",
        )
    return factor * positive(diameter, "thread diameter") * positive(preload, "preload") / 1000


def preload(size: str, property_class: str, *, share: Number = Decimal("0.75")) -> Decimal:
    """Preload in N as a share of the proof load; 0.75 is common practice, no source.

    Raises `Invalid`: as `bolt`; `share_out_of_range` outside 0 to 1.
    """
    part = positive(share, "share of the proof load")
    if part > 1:
        raise Invalid("share_out_of_range", f"A share of {part} is above the proof load; choose 1 or less.")
    return part * proof_load(size, property_class)
