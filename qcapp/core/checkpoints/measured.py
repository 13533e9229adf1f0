"""Measured checkpoints: one or more readings of a gauge against a band. Every reading counts.

Unless the plan, by the engineer's signed choice, takes their mean; and where the plan corrects for the part's
temperature, what counts is the value at the reference temperature (`counted`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.checkpoints import counted, fields, limits
from qcapp.core.checkpoints.assessment import Assessment, Kind
from qcapp.core.checkpoints.counted import PartTemperature
from qcapp.core.checkpoints.limits import Limits
from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.quantities import as_text

MAX_READINGS = 50
_KEYS = {"value", "values", "counted", "temperature_uncertainty"}
EXTRA_DECIMALS = 3  # a gauge may show more than the plan asks for, but not this many more


@dataclass(frozen=True)
class MeasuredSpec:
    """The limits, how many readings are asked for, whether their mean counts, and what is asked about the warmth."""

    limits: Limits
    readings: int = 1
    mean: bool = False
    temperature: PartTemperature | None = None

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
        return self.counts == 1

    @property
    def counts(self) -> int:
        """How many values of an answer meet the band."""
        return 1 if self.mean else self.readings

    def to_json(self) -> dict[str, object]:
        """What later versions added stands only where it is said: what was released before keeps its text."""
        mean = {"mean": True} if self.mean else {}
        warmth = {"temperature": str(self.temperature)} if self.temperature else {}
        return {**self.limits.to_json(), "readings": self.readings, **mean, **warmth}


@dataclass(frozen=True)
class MeasuredAnswer:
    """The readings in the order they were taken, with the zeros that were typed, and what they count as."""

    values: tuple[Decimal, ...]
    counts: tuple[Decimal, ...]
    temperature: Decimal | None = None
    added: Decimal | None = None  # expanded uncertainty (k = 2) that bringing it to the reference temperature adds

    def to_json(self) -> dict[str, object]:
        typed = [as_text(value) for value in self.values]
        said: dict[str, object] = {"value": typed[0]} if len(typed) == 1 else {"values": list(typed)}
        if self.temperature is not None:
            said["temperature"] = as_text(self.temperature)
        if self.counts != self.values:
            said["counted"] = [as_text(value) for value in self.counts]
        if self.added is not None:
            said["temperature_uncertainty"] = as_text(self.added)
        return said

    def number(self) -> Decimal | None:
        return self.counts[0] if len(self.counts) == 1 else None


class Measured(Kind[MeasuredSpec, MeasuredAnswer]):
    """Keys of the spec: `limits.KEYS`, `readings`, `mean`, `temperature`.

    Answer: `{"value": "61.94"}` or `{"values": […]}`, with `temperature` in °C where the plan asks for it. `counted` in
    a stored answer is what was made of the readings, `temperature_uncertainty` what that adds to the gauge's; both are
    computed here and never believed.
    """

    name = "measured"
    label = "Measured value"

    @classmethod
    def read_spec(cls, data: Mapping[str, object]) -> MeasuredSpec:
        fields.only(data, limits.KEYS | {"readings", "mean", "temperature"})
        readings = fields.whole(data, "readings", lowest=1, highest=MAX_READINGS) or 1
        mean = fields.flag(data, "mean") or False
        if mean and readings == 1:
            raise Invalid("mean_of_one", "A mean is of two readings or more; ask for more of them.", field="mean")
        found = limits.read_limits(data)
        return MeasuredSpec(found, readings, mean, counted.read_part_temperature(data, found.unit_of_measure))

    @classmethod
    def read_answer(cls, data: Mapping[str, object], spec: MeasuredSpec) -> MeasuredAnswer:
        fields.only(data, _KEYS | ({"temperature"} if spec.temperature else set()))
        typed = _typed(data)
        if len(typed) != spec.readings:
            message = f"{spec.readings} reading(s) are asked for, {len(typed)} given; every reading counts."
            raise Invalid("readings_differ", message, field="values", asked=spec.readings, given=len(typed))
        values = tuple(_reading(value, spec) for value in typed)
        warmth = _temperature(data) if spec.temperature else None
        counts = counted.counted(values, spec.decimals, mean=spec.mean, asked=spec.temperature, temperature=warmth)
        added = counted.temperature_uncertainty(counts, spec.decimals, spec.temperature, warmth)
        return MeasuredAnswer(values, counts, warmth, added)

    @classmethod
    def assess(
        cls, answer: MeasuredAnswer, spec: MeasuredSpec, *, expanded_uncertainty: Decimal | None = None
    ) -> Assessment:
        """`expanded_uncertainty` is the gauge's; what the temperature adds comes from the plan and the answer."""
        whole = counted.together(expanded_uncertainty, answer.added, spec.decimals)
        return limits.assess_values(answer.counts, spec.limits, whole)

    @classmethod
    def describe_limits(cls, spec: MeasuredSpec) -> str:
        return limits.describe(spec.limits)

    @classmethod
    def describe_answer(cls, answer: MeasuredAnswer, spec: MeasuredSpec) -> str:
        told = {"mean": spec.mean, "asked": spec.temperature, "temperature": answer.temperature, "added": answer.added}
        return counted.described(answer.values, answer.counts, spec.unit_of_measure, **told)


def _temperature(data: Mapping[str, object]) -> Decimal:
    if data.get("temperature") in (None, ""):
        message = "The plan asks for the part's temperature in °C with each reading; measure it and send it."
        raise Invalid("temperature_missing", message, field="temperature")
    return counted.read_temperature(data["temperature"])


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
