"""Which units of a run a checkpoint is due on, and which pieces of a lot are drawn.

A frequency is the text a plan holds: `every`, `first of batch`, `1 in N`, or `AQL 1.0 of 50` for a sample of each lot
of 50 units in a row. A sample's size comes from `sampling.single_plan`, its pieces from `draw`.
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache

from qcapp.core.errors import Invalid
from qcapp.core.statistics.sampling import single_plan
from qcapp.core.statistics.sampling_plan import SamplingPlan

_SAMPLE = re.compile(r"aql ([0-9]{1,4}(?:\.[0-9]{1,3})?) of ([1-9][0-9]{0,5})")
_ONE_IN = re.compile(r"(?:1|one)\s+in\s+([1-9][0-9]{0,5})")


class FrequencyKind(StrEnum):
    EVERY = "every"
    FIRST_OF_BATCH = "first of batch"
    ONE_IN = "1 in N"
    SAMPLE = "AQL of a lot"


@dataclass(frozen=True)
class Frequency:
    """A frequency that was read from a plan; `every_nth` is N of `1 in N`, else 1."""

    kind: FrequencyKind
    every_nth: int = 1
    aql: str = ""
    lot_size: int = 0

    @property
    def sample(self) -> SamplingPlan | None:
        """How many of a lot are checked and how many found make it not accepted; None where lots are not sampled."""
        return _sample(self.aql, self.lot_size) if self.kind is FrequencyKind.SAMPLE else None

    def __str__(self) -> str:
        if self.kind is FrequencyKind.SAMPLE:
            return f"AQL {self.aql} of {self.lot_size}"
        return f"1 in {self.every_nth}" if self.kind is FrequencyKind.ONE_IN else self.kind.value


@lru_cache(maxsize=256)
def parse_frequency(text: str) -> Frequency:
    """The frequency a plan means by `text`; capitals and extra spaces do not matter.

    Raises Invalid `frequency_not_understood` for anything but `every` (also `every unit`), `first of batch`, `1 in N`
    with N from 1 to 999999, and `AQL a of N`; of `single_plan` for an AQL or a lot that the tables do not have.
    """
    words = " ".join(text.lower().split())
    if words in ("every", "every unit"):
        return Frequency(FrequencyKind.EVERY)
    if words == "first of batch":
        return Frequency(FrequencyKind.FIRST_OF_BATCH)
    if match := _ONE_IN.fullmatch(words):
        return Frequency(FrequencyKind.ONE_IN, int(match.group(1)))
    if match := _SAMPLE.fullmatch(words):
        _sample(match.group(1), int(match.group(2)))
        return Frequency(FrequencyKind.SAMPLE, aql=match.group(1), lot_size=int(match.group(2)))
    raise Invalid(
        "frequency_not_understood",
        f"The frequency “{text}” is not understood; write “every”, “first of batch”, “1 in 5” or “AQL 1.0 of 50”.",
        frequency=text,
    )


@lru_cache(maxsize=256)
def _sample(aql: str, lot_size: int) -> SamplingPlan:
    return single_plan(lot_size, aql=Decimal(aql))


def due(frequency: str, position: int, batch_position: int | None = None) -> bool:
    """Whether the checkpoint is due on the unit at `position`, counted from 1.

    `1 in N` is due on the first unit and then on every Nth after it (1, N+1, 2N+1 …), so a run starts with a
    check. Of a lot of N units in a row those are due that `draw` gives,
    seeded by the lot's place. `first of batch` looks at `batch_position`, the place within the batch counted from 1;
    without it, `position` is taken as the place within the batch. Common practice, no source.
    Raises Invalid `frequency_not_understood` or `position_below_one`.
    """
    parsed = parse_frequency(frequency)
    for place in (position, batch_position):
        if place is not None and place < 1:
            raise Invalid("position_below_one", f"Positions are counted from 1; {place} is none.", position=place)
    if parsed.kind is FrequencyKind.EVERY:
        return True
    if parsed.kind is FrequencyKind.FIRST_OF_BATCH:
        return (position if batch_position is None else batch_position) == 1
    if sample := parsed.sample:
        lot, place = divmod(position - 1, parsed.lot_size)
        return place + 1 in draw(parsed.lot_size, sample.sample_size, seed=f"lot {lot + 1}")
    return (position - 1) % parsed.every_nth == 0


def draw(lot_size: int, sample_size: int, *, seed: int | str) -> tuple[int, ...]:
    """Positions (from 1, ascending) of a random sample without replacement from a lot.

    The same seed gives the same pieces, so a stored seed proves which pieces were to be checked.
    Raises Invalid `sample_larger_than_lot` unless 1 <= sample_size <= lot_size.
    """
    if not 1 <= sample_size <= lot_size:
        raise Invalid(
            "sample_larger_than_lot",
            f"A lot of {lot_size} does not give a sample of {sample_size}; draw between 1 and {lot_size}.",
            lot_size=lot_size,
            sample_size=sample_size,
        )
    chooser = random.Random(str(seed))  # noqa: S311 - the draw must be repeatable; nobody attacks it
    return tuple(sorted(chooser.sample(range(1, lot_size + 1), sample_size)))
