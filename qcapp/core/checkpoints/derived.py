"""Derived checkpoints: a value computed from others, against a band like a measured one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core import formulas
from qcapp.core.checkpoints import fields, limits
from qcapp.core.checkpoints.assessment import Assessment, Kind
from qcapp.core.checkpoints.limits import Limits
from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.quantities import as_text, round_value

EXTRA_DECIMALS = 2  # a result is rounded to the plan's decimals and two more before it meets its band


@dataclass(frozen=True)
class DerivedSpec:
    """The formula over keys of checkpoints, and the limits of its result."""

    formula: str
    limits: Limits

    @property
    def band(self) -> Band | None:
        """The band, None for a value computed for reference."""
        return self.limits.band

    @property
    def unit_of_measure(self) -> str:
        return self.limits.unit_of_measure

    @property
    def decimals(self) -> int:
        return self.limits.decimals

    @property
    def gives_number(self) -> bool:
        return True

    @property
    def inputs(self) -> list[str]:
        """Keys of the checkpoints that the formula reads."""
        return formulas.references(self.formula)

    def to_json(self) -> dict[str, object]:
        return {**self.limits.to_json(), "formula": self.formula}


@dataclass(frozen=True)
class DerivedAnswer:
    """The rounded result, and the values it was computed from."""

    value: Decimal
    inputs: tuple[tuple[str, Decimal], ...]

    def to_json(self) -> dict[str, object]:
        return {"value": as_text(self.value), "inputs": {key: as_text(value) for key, value in self.inputs}}

    def number(self) -> Decimal | None:
        return self.value


class Derived(Kind[DerivedSpec, DerivedAnswer]):
    """Keys of the spec: `limits.KEYS` and `formula`. Answer: `{"inputs": {key: "…"}, "value": "…"}`."""

    name = "derived"
    label = "Derived value"

    @classmethod
    def read_spec(cls, data: Mapping[str, object]) -> DerivedSpec:
        fields.only(data, limits.KEYS | {"formula"})
        formula = fields.text(data, "formula", longest=formulas.MAX_LENGTH)
        if formula is None:
            raise Invalid("field_missing", "“formula” is missing; write one over checkpoint keys.", field="formula")
        with fields.naming("formula"):
            if not formulas.references(formula):
                raise Invalid("formula_constant", "The formula reads no checkpoint; name at least one key.")
        return DerivedSpec(formula, limits.read_limits(data))

    @classmethod
    def compute(cls, spec: DerivedSpec, values: Mapping[str, Decimal]) -> DerivedAnswer:
        """The answer from the values of the checkpoints it reads; values of others are left aside.

        Raises Invalid as `formulas.evaluate` does, `input_missing` first of all.
        """
        result = formulas.evaluate(spec.formula, values)
        exact = result if isinstance(result, Decimal) else Decimal(repr(result))
        step = Decimal(1).scaleb(-(spec.decimals + EXTRA_DECIMALS))
        return DerivedAnswer(round_value(exact, step), tuple((key, values[key]) for key in spec.inputs))

    @classmethod
    def read_answer(cls, data: Mapping[str, object], spec: DerivedSpec) -> DerivedAnswer:
        """The answer computed again from its inputs; `derived_value_differs` when another was sent."""
        fields.only(data, {"value", "inputs"})
        inputs = data.get("inputs")
        if not isinstance(inputs, Mapping):
            raise Invalid("field_missing", "“inputs” is missing; send the values.", field="inputs")
        fields.only(inputs, set(spec.inputs))
        values = {key: fields.one_number(value, "inputs") for key, value in inputs.items()}
        with fields.naming("inputs"):
            answer = cls.compute(spec, values)
        sent = fields.number(data, "value", unit_of_measure=spec.unit_of_measure)
        if sent is not None and sent != answer.value:
            message = f"The inputs give {as_text(answer.value)}, not {as_text(sent)}; a derived value is not typed."
            raise Invalid("derived_value_differs", message, field="value")
        return answer

    @classmethod
    def assess(
        cls, answer: DerivedAnswer, spec: DerivedSpec, *, expanded_uncertainty: Decimal | None = None
    ) -> Assessment:
        return limits.assess_values([answer.value], spec.limits, expanded_uncertainty)

    @classmethod
    def describe_limits(cls, spec: DerivedSpec) -> str:
        return limits.describe(spec.limits)

    @classmethod
    def describe_answer(cls, answer: DerivedAnswer, spec: DerivedSpec) -> str:
        return limits.with_unit(limits.written(answer.value, spec.decimals), spec.limits)


compute = Derived.compute
