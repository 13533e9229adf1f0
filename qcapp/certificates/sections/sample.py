"""The tests of a lot on pieces drawn from it: how it was sampled, and each checkpoint with every piece's value."""

from __future__ import annotations

from dataclasses import dataclass

from .record import Record


@dataclass(frozen=True)
class SamplingPlan:
    """One class of checkpoints: how many pieces, how many nonconforming ones are accepted, and how many there were."""

    name: str
    aql: str
    pieces: int
    accept: int
    found: int
    source: str


@dataclass(frozen=True)
class SampleLine:
    """One checkpoint on the drawn pieces; numbers are text as printed, `values` the piece with its value."""

    number: int
    title: str
    nominal: str
    notation: str
    limits: str
    unit_of_measure: str
    tested: int
    conforming: int
    lowest: str
    highest: str
    gauges: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Sample:
    """A lot's tests; nothing on a unit's certificate."""

    shown: bool
    quantity: int
    drawn: int
    severity: str
    sentence: str
    sorting: str
    plans: tuple[SamplingPlan, ...]
    lines: tuple[SampleLine, ...]


NONE = Sample(False, 0, 0, "", "", "", (), ())


def build(record: Record) -> Sample:
    """A unit is inspected as a whole."""
    return NONE
