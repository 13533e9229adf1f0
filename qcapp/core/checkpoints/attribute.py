"""Attribute checkpoints: the part conforms or does not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.checkpoints import fields
from qcapp.core.checkpoints.assessment import Assessment, Kind, Outcome


@dataclass(frozen=True)
class AttributeSpec:
    """Nothing beyond the checkpoint's own text, which says what conforming means."""

    @property
    def gives_number(self) -> bool:
        return False

    def to_json(self) -> dict[str, object]:
        return {}


@dataclass(frozen=True)
class AttributeAnswer:
    """The inspector's verdict and, if given, what was seen."""

    conforms: bool
    note: str | None = None

    def to_json(self) -> dict[str, object]:
        return {"conforms": self.conforms} | ({"note": self.note} if self.note else {})

    def number(self) -> Decimal | None:
        return None


class Attribute(Kind[AttributeSpec, AttributeAnswer]):
    """The spec has no keys. Answer: `{"conforms": true}` or `{"conforms": false, "note": "…"}`."""

    name = "attribute"
    label = "Conforms or does not"

    @classmethod
    def read_spec(cls, data: Mapping[str, object]) -> AttributeSpec:
        fields.only(data, set())
        return AttributeSpec()

    @classmethod
    def read_answer(cls, data: Mapping[str, object], spec: AttributeSpec) -> AttributeAnswer:
        fields.only(data, {"conforms", "note"})
        conforms = fields.flag(data, "conforms")
        fields.needed(conforms, "conforms", "say true or false")
        return AttributeAnswer(conforms is True, fields.text(data, "note", longest=1000, one_line=True))

    @classmethod
    def assess(
        cls, answer: AttributeAnswer, spec: AttributeSpec, *, expanded_uncertainty: Decimal | None = None
    ) -> Assessment:
        return Assessment(Outcome.CONFORMS if answer.conforms else Outcome.DOES_NOT_CONFORM)

    @classmethod
    def describe_limits(cls, spec: AttributeSpec) -> str:
        return "conforms"

    @classmethod
    def describe_answer(cls, answer: AttributeAnswer, spec: AttributeSpec) -> str:
        verdict = "conforms" if answer.conforms else "does not conform"
        return f"{verdict} ({answer.note})" if answer.note else verdict
