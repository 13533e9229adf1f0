"""What all kinds of checkpoint share: the outcome of an answer, and the methods a kind must have.

It lies below the kinds so that they can name it; other rooms import it through `kinds`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import ClassVar, Generic, Protocol, TypeVar


class Outcome(StrEnum):
    """What an answer came to. The values are stored and never change."""

    IN_BAND = "in_band"
    NEAR_LIMIT = "near_limit"
    OUT_OF_BAND = "out_of_band"
    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does_not_conform"
    RECORDED = "recorded"


_FAILING = frozenset({Outcome.OUT_OF_BAND, Outcome.DOES_NOT_CONFORM})


def passes(outcome: Outcome | str) -> bool:
    """True unless the outcome is out of band or does not conform; near limit passes. Unknown: ValueError."""
    return Outcome(outcome) not in _FAILING


@dataclass(frozen=True)
class Assessment:
    """An answer held against its specification.

    `deviation` is value minus nominal and `excess` the distance outside the limit (zero inside), both in the
    checkpoint's unit of measure; `nearest_limit` is "lower", "upper" or None. With several readings they are
    those of the reading that decides, the worst. `plot` is that reading as a float, for charts only. `rule`
    is the decision rule that was applied, "simple" or "guarded", and None where no band was met.
    """

    outcome: Outcome
    deviation: Decimal | None = None
    excess: Decimal | None = None
    nearest_limit: str | None = None
    plot: float | None = None
    rule: str | None = None


class Spec(Protocol):
    """What is specified for one checkpoint, frozen."""

    @property
    def gives_number(self) -> bool:
        """True when an answer is one number that a derived checkpoint may read."""
        ...

    def to_json(self) -> dict[str, object]:
        """Plain values, decimals as text, which `read_spec` reads back to an equal spec."""
        ...


class Answer(Protocol):
    """What was answered to one checkpoint, frozen."""

    def to_json(self) -> dict[str, object]:
        """Plain values, decimals as text, which `read_answer` reads back to an equal answer."""
        ...

    def number(self) -> Decimal | None:
        """The one number a derived checkpoint reads, None when there is none or more than one."""
        ...


S = TypeVar("S", bound=Spec)
A = TypeVar("A", bound=Answer)


class Kind(ABC, Generic[S, A]):
    """One kind of checkpoint: how it is specified, answered and assessed. Never instantiated."""

    name: ClassVar[str]
    label: ClassVar[str]

    @classmethod
    @abstractmethod
    def read_spec(cls, data: Mapping[str, object]) -> S:
        """The specification in `data`. Raises Invalid with the field in `details["field"]`."""

    @classmethod
    @abstractmethod
    def read_answer(cls, data: Mapping[str, object], spec: S) -> A:
        """The answer in `data`. Raises Invalid with the field in `details["field"]`."""

    @classmethod
    @abstractmethod
    def assess(cls, answer: A, spec: S, *, expanded_uncertainty: Decimal | None = None) -> Assessment:
        """The answer held against the spec; the uncertainty is in the checkpoint's unit of measure."""

    @classmethod
    @abstractmethod
    def describe_limits(cls, spec: S) -> str:
        """What is asked for, in a few words for people."""

    @classmethod
    @abstractmethod
    def describe_answer(cls, answer: A, spec: S) -> str:
        """What was answered, in a few words for people."""
