"""How stages went the first time, counted by the database: for yields.

A unit counts for a stage when the stage is first signed, or when something first fails in it if that comes before: a
unit that is held or scrapped after a failure never gets its signature, and would otherwise be missed.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Min

from qcapp.core.checkpoints.kinds import Outcome, passes

from ..models import CurrentAnswer, StageSignOff

FAILING = tuple(outcome.value for outcome in Outcome if not passes(outcome))
Place = tuple[int, int]  # item, stage number
LONGEST_BUILD = timedelta(weeks=52)  # units opened longer before are not looked for: the whole history would be read


@dataclass(frozen=True)
class StagePass:
    """One stage of one unit: counted at `at`, with what was found in its first round."""

    item_id: int
    number: int
    name: str
    at: datetime
    answers: int
    failing: int

    @property
    def right_first_time(self) -> bool:
        return self.failing == 0


def stage_passes(family_id: int, since: datetime, until: datetime) -> list[StagePass]:
    """Every stage of a family's units that counts between two instants, in order of time; four queries.

    Answers are those of the first inspection that stand in the first round; failing ones did not pass when given.
    """
    begun = _first_failures(family_id, since, until)
    for place, (name, at) in _first_signatures(family_id, since, until).items():
        if place not in begun or at < begun[place][1]:
            begun[place] = (name, at)
    items = {item for item, _ in begun}
    answers, failing = _counted(items), _counted(items, failing=True)
    return [
        StagePass(place[0], place[1], name, at, answers.get(place, 0), failing.get(place, 0))
        for place, (name, at) in sorted(begun.items(), key=lambda entry: (entry[1][1], entry[0]))
    ]


def _first_signatures(family_id: int, since: datetime, until: datetime) -> dict[Place, tuple[str, datetime]]:
    signed = StageSignOff.objects.filter(item__family=family_id, item__unit__opened_at__gte=since - LONGEST_BUILD)
    rows = signed.values("item_id", "stage__number", "stage__name").annotate(first=Min("at"))
    found = rows.filter(first__gte=since, first__lt=until)
    return {(row["item_id"], row["stage__number"]): (row["stage__name"], row["first"]) for row in found}


def _first_failures(family_id: int, since: datetime, until: datetime) -> dict[Place, tuple[str, datetime]]:
    failed = CurrentAnswer.objects.filter(
        item__family=family_id, item__unit__opened_at__gte=since - LONGEST_BUILD, round=1, inspection=1,
        result__outcome__in=FAILING,
    )  # fmt: skip
    rows = failed.values("item_id", "checkpoint__stage__number", "checkpoint__stage__name")
    found = rows.annotate(first=Min("result__received_at")).filter(first__gte=since, first__lt=until)
    return {
        (row["item_id"], row["checkpoint__stage__number"]): (row["checkpoint__stage__name"], row["first"])
        for row in found
    }


def _counted(items: Collection[int], *, failing: bool = False) -> dict[tuple[int, int], int]:
    answers = CurrentAnswer.objects.filter(item__in=items, round=1, inspection=1)
    if failing:
        answers = answers.filter(result__outcome__in=FAILING)
    counted = answers.values("item_id", "checkpoint__stage__number").annotate(count=Count("id"))
    return {(row["item_id"], row["checkpoint__stage__number"]): row["count"] for row in counted}
