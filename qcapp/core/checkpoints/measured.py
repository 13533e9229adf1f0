"""Measured checkpoints: one or more readings of a gauge against a band. Every reading counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.checkpoints import fields, limits
from qcapp.core.checkpoints.assessment import Assessment, Kind
from qcapp.core.checkpoints.limits import Limits
from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.quantities import as_text

MAX_READINGS = 50
EXTRA_DECIMALS = 3  # a gauge may show more than the plan asks for, but not this many more


@dataclass(frozen=True)
class MeasuredSpec:
    """The limits, and how many readings are asked for."""

    limits: Limits
    readings: int = 1

    @property
    def band(self) -> Band | None:
        """The band, None for a value recorded for reference."""
        return self.limits.band

    @property
    def unit_of_measure(self) -> str:
        return self.limits.unit_of_measure

    @property
    def decimals(self) -> int:
        return self.limits.decimals

    @property
    def gives_number(self) -> bool:
        return self.readings == 1

    def to_json(self) -> dict[str, object]:
        return {**self.limits.to_json(), "readings": self.readings}


@dataclass(frozen=True)
class MeasuredAnswer:
    """The readings in the order they were taken, with the zeros that were typed."""

    values: tuple[Decimal, ...]

    def to_json(self) -> dict[str, object]:
        typed = [as_text(value) for value in self.values]
        return {"value": typed[0]} if len(typed) == 1 else {"values": list(typed)}

    def number(self) -> Decimal | None:
        return self.values[0] if len(self.values) == 1 else None


class Measured(Kind[MeasuredSpec, MeasuredAnswer]):
    """Keys of the spec: `limits.KEYS`, `readings`. Answer: `{"value": "61.94"}` or `{"values": […]}`."""

    name = "measured"
    label = "Measured value"

    @classmethod
    def read_spec(cls, data: Mapping[str, object]) -> MeasuredSpec:
        fields.only(data, limits.KEYS | {"readings"})
        readings = fields.whole(data, "readings", lowest=1, highest=MAX_READINGS)
        return MeasuredSpec(limits.read_limits(data), 1 if readings is None else readings)

    @classmethod
    def read_answer(cls, data: Mapping[str, object], spec: MeasuredSpec) -> MeasuredAnswer:
        fields.only(data, {"value", "values"})
        typed = _typed(data)
        if len(typed) != spec.readings:
            message = f"{spec.readings} reading(s) are asked for, {len(typed)} given; every reading counts."
            raise Invalid("readings_differ", message, field="values", asked=spec.readings, given=len(typed))
        return MeasuredAnswer(tuple(_reading(value, spec) for value in typed))

    @classmethod
    def assess(
        cls, answer: MeasuredAnswer, spec: MeasuredSpec, *, expanded_uncertainty: Decimal | None = None
    ) -> Assessment:
        return limits.assess_values(answer.values, spec.limits, expanded_uncertainty)

    @classmethod
    def describe_limits(cls, spec: MeasuredSpec) -> str:
        return limits.describe(spec.limits)

    @classmethod
    def describe_answer(cls, answer: MeasuredAnswer, spec: MeasuredSpec) -> str:
        return limits.with_unit(", ".join(map(as_text, answer.values)), spec.limits)


def _typed(data: Mapping[str, object]) -> list[object]:
    value, values = data.get("value"), data.get("values")
    if (value is None) == (values is None):
        raise Invalid("field_missing", "Send “value” or, for several readings, “values”.", field="value")
    if values is None:
        return [value]
    if not isinstance(values, list | tuple):
        raise Invalid("field_type", "“values” must be a list of numbers sent as text.", field="values")
    return list(values)


def _reading(value: object, spec: MeasuredSpec) -> Decimal:
    reading = fields.one_number(value, "value", unit_of_measure=spec.unit_of_measure)
    finest = spec.decimals + EXTRA_DECIMALS
    if limits.places(reading) > finest:
        message = f"The value has more than {finest} decimals; type what the gauge shows."
        raise Invalid("value_too_fine", message, field="value", decimals=finest)
    return reading
