"""Count checkpoints: how many of something were found, with at most or at least so many accepted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.checkpoints import fields
from qcapp.core.checkpoints.assessment import Assessment, Kind, Outcome
from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import judge

MAX_COUNT = 1_000_000


@dataclass(frozen=True)
class CountSpec:
    """At most `accept`, at least `at_least`; `counted` names what is counted, such as pores."""

    accept: int | None
    at_least: int | None = None
    counted: str | None = None

    @property
    def band(self) -> Band:
        """The accepted counts as a band. Zero is a natural boundary: nobody counts below it."""
        lower = Decimal(self.at_least or 0)
        upper = None if self.accept is None else Decimal(self.accept)
        return Band(lower, upper, natural=frozenset() if self.at_least else frozenset({"lower"}))

    @property
    def gives_number(self) -> bool:
        return True

    def to_json(self) -> dict[str, object]:
        return {"accept": self.accept, "at_least": self.at_least, "counted": self.counted}


@dataclass(frozen=True)
class CountAnswer:
    """How many were found."""

    count: int

    def to_json(self) -> dict[str, object]:
        return {"count": self.count}

    def number(self) -> Decimal | None:
        return Decimal(self.count)


class Count(Kind[CountSpec, CountAnswer]):
    """Keys of the spec: `accept`, `at_least` (one of them is needed), `counted`. Answer: `{"count": 2}`."""

    name = "count"
    label = "Count"

    @classmethod
    def read_spec(cls, data: Mapping[str, object]) -> CountSpec:
        fields.only(data, {"accept", "at_least", "counted"})
        accept, at_least = (fields.whole(data, k, lowest=0, highest=MAX_COUNT) for k in ("accept", "at_least"))
        if accept is None and not at_least:
            fields.needed(None, "accept", "say how many are accepted at most")
        if accept is not None and (at_least or 0) > accept:
            raise Invalid("limits_crossed", "“at_least” is above “accept”; exchange them.", field="at_least")
        return CountSpec(accept, at_least or None, fields.text(data, "counted", longest=40))

    @classmethod
    def read_answer(cls, data: Mapping[str, object], spec: CountSpec) -> CountAnswer:
        fields.only(data, {"count"})
        count = fields.whole(data, "count", lowest=0, highest=MAX_COUNT)
        fields.needed(count, "count", "say how many were found, 0 for none")
        return CountAnswer(count or 0)

    @classmethod
    def assess(cls, answer: CountAnswer, spec: CountSpec, *, expanded_uncertainty: Decimal | None = None) -> Assessment:
        judged = judge(Decimal(answer.count), spec.band)
        return Assessment(
            Outcome(judged.verdict), None, judged.excess, judged.nearest_limit, float(answer.count), "simple"
        )

    @classmethod
    def describe_limits(cls, spec: CountSpec) -> str:
        parts = [f"{spec.at_least} at least"] if spec.at_least else []
        parts += [f"{spec.accept} at most"] if spec.accept is not None else []
        first, *rest = parts
        number, _, words = first.partition(" ")
        return ", ".join([" ".join(filter(None, (number, spec.counted, words))), *rest])

    @classmethod
    def describe_answer(cls, answer: CountAnswer, spec: CountSpec) -> str:
        return f"{answer.count} {spec.counted or ''}".rstrip()
