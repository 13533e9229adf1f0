"""Tube steel: a heat's chemistry and test values against their limits, tube tolerances, carbon equivalent.

The tables stand in `tables.py` with source, edition and confidence. All arithmetic is exact decimal. A limit
itself conforms; limits are those of the heat analysis, without the allowance that standards give a product
analysis. What a certificate does not report is not proven and never counts as conforming. These limits are
the mill's, not those of an inspection plan, so they are compared here and not by `metrology.decision.judge`.
"""

from qcapp.core.materials.composition import ElementFinding, check_composition, grades
from qcapp.core.materials.strength import PropertyFinding, check_mechanical
from qcapp.core.materials.tubes import TubeLimits, tube_limits
from qcapp.core.materials.weldability import (
    CarbonEquivalent,
    Parent,
    carbon_equivalent,
    cracking_note,
    explain_carbon_equivalent,
)

__all__ = [
    "CarbonEquivalent",
    "ElementFinding",
    "Parent",
    "PropertyFinding",
    "TubeLimits",
    "carbon_equivalent",
    "check_composition",
    "check_mechanical",
    "cracking_note",
    "explain_carbon_equivalent",
    "grades",
    "tube_limits",
]
