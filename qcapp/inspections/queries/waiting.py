"""At which stage each of many units stands, in a handful of queries: for the floor's lists."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max, QuerySet

from qcapp.plans.queries.stages import stages_of

from ..models import Adoption, CurrentAnswer, Reinspection, StageSignOff


@dataclass(frozen=True)
class StageAt:
    """The first stage of a unit that no signature covers."""

    number: int
    name: str


def stage_at(item_ids: Collection[int]) -> dict[int, StageAt]:
    """The stage at which each item waits; those with every stage signed, or on no plan, are left out.

    A stage counts as signed when nothing of it was answered or opened again after its last signature. A stage of
    which nothing is due is signed like any other.
    """
    adopted = dict(Adoption.objects.filter(item__in=item_ids).order_by("id").values_list("item", "revision"))
    signed = _latest(StageSignOff.objects.filter(item__in=item_ids), "stage", "at")
    changed = _latest(CurrentAnswer.objects.filter(item__in=item_ids), "checkpoint__stage", "result__received_at")
    reopened = _latest(Reinspection.objects.filter(item__in=item_ids), "checkpoint__stage", "at")
    stages = stages_of(set(adopted.values()))
    found = {}
    for item, revision in adopted.items():
        for stage in stages.get(revision, ()):
            at = signed.get((item, stage.id))
            later = [rows.get((item, stage.id)) for rows in (changed, reopened)]
            if at is None or any(one is not None and one > at for one in later):
                found[item] = StageAt(stage.number, stage.name)
                break
    return found


def _latest(rows: QuerySet[Any], stage: str, moment: str) -> dict[tuple[int, int], datetime]:
    """The last moment by item and stage."""
    return {(item, of): at for item, of, at in rows.values_list("item", stage).annotate(last=Max(moment))}
