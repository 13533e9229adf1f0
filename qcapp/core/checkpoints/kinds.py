"""The registry: the kind's stored name to its class. A new kind is one module and one line here.

>>> measured = kind("measured")
>>> spec = measured.read_spec({"nominal": "62.00", "notation": "±0.15", "unit_of_measure": "°"})
>>> measured.describe_limits(spec)
'61.85 to 62.15 °'
>>> answer = measured.read_answer({"value": "61.94"}, spec)
>>> measured.assess(answer, spec).outcome
<Outcome.IN_BAND: 'in_band'>
"""

from __future__ import annotations

from typing import Any

from qcapp.core.checkpoints.assessment import Answer, Assessment, Kind, Outcome, Spec, passes
from qcapp.core.checkpoints.attribute import Attribute
from qcapp.core.checkpoints.count import Count
from qcapp.core.checkpoints.derived import Derived
from qcapp.core.checkpoints.measured import Measured
from qcapp.core.checkpoints.record import Record
from qcapp.core.errors import Invalid

__all__ = ["KINDS", "Answer", "Assessment", "Kind", "Outcome", "Spec", "kind", "passes"]

KINDS: dict[str, type[Kind[Any, Any]]] = {entry.name: entry for entry in (Measured, Attribute, Count, Record, Derived)}


def kind(name: str) -> type[Kind[Any, Any]]:
    """The class of the kind. Raises Invalid `kind_unknown`."""
    try:
        return KINDS[name]
    except KeyError:
        known = ", ".join(KINDS)
        raise Invalid("kind_unknown", f"There is no kind of checkpoint “{name}”; there are {known}.") from None
