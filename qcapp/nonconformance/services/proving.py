"""What a report asks to be proven before it may end, and who may not do what because they had a part in it."""

from __future__ import annotations

import json
from collections.abc import Collection
from datetime import datetime
from typing import TYPE_CHECKING

from django.db.models import Q

from qcapp.inspections.queries import inspection_of_unit
from qcapp.inspections.states import Flag
from qcapp.lib.site_days import site_day
from qcapp.production.queries import units_of_items

from ..cards import ConcessionCard
from ..models import Move, Report
from ..queries import concessions_of, moves_of
from ..queries.details import item_ids_of
from .steps import ALSO_FOUND

if TYPE_CHECKING:
    from qcapp.inspections.queries import CheckpointView, InspectionView
    from qcapp.production.queries import UnitCard

# Flags that leave open whether the part is as answered. A stage out of turn says nothing about the part: it is decided
# before release.
DOUBTFUL = frozenset(Flag) - {Flag.STAGE_NOT_OPEN}
CORRECTING = frozenset({"start_correction", "finish_correction", "step_confirmed"})


def own_work(report: Report) -> frozenset[int]:
    """Who raised the report or recorded an answer that it is about: they neither decide nor withdraw it."""
    people = {report.raised_by_id} | ({report.result.person_id} if report.result else set())
    moves = Move.objects.filter(report=report, name__in=[ALSO_FOUND, "fail_verification"])
    people |= {by for by, data in moves.values_list("by_id", "data") if "operation" in json.loads(data)}
    return frozenset(people)


def correctors_of(report: Report) -> frozenset[int]:
    """Who started or finished a correction of the report, or confirmed one of its steps."""
    return frozenset(move.by_id for move in moves_of(report.pk) if move.name in CORRECTING)


def attempts_made(report: Report, method: str) -> int:
    """How often a correction by this method was begun on these units at the same place, whatever report asked for it.

    The same place is the report's checkpoint or its joint: what was welded or bent twice under an earlier report was
    welded or bent twice. A report about neither counts its own attempts alone.
    """
    rows = Move.objects.filter(name="start_correction").filter(_at_the_same_place(report)).order_by("id").distinct()
    return sum(json.loads(data).get("method") == method for _, data in rows.values_list("id", "data"))


def _at_the_same_place(report: Report) -> Q:
    here = Q(report=report)
    items = item_ids_of(report)
    of_units = Q(report__item__in=items) | Q(report__further__item__in=items)
    if report.checkpoint is not None:
        here |= of_units & Q(report__checkpoint__characteristic=report.checkpoint.characteristic_id)
    if joint := joint_of(report):
        others = Report.objects.filter(Q(item__in=items) | Q(further__item__in=items)).select_related("checkpoint")
        here |= Q(report__in=[one.pk for one in others.distinct() if joint_of(one) == joint])
    return here


def joint_of(report: Report) -> str:
    """The joint that a report is about, from its facts or its checkpoint; empty for none."""
    told = str(json.loads(report.facts).get("joint", "")) or (report.checkpoint.joint if report.checkpoint else "")
    return told.strip().upper()


def not_proven(report: Report, at: datetime) -> list[str]:
    """A sentence for each checkpoint that the report answers for and that does not prove it may end.

    These are the checkpoint it was raised at, whatever revision the unit is inspected to now, and every one that its
    corrections opened again, on every unit that the report is about; each must stand answered, by nobody who
    corrected, and conform or be covered by the report's concession. A lot has no checkpoints of its own here: the
    confirmed steps and the second person prove it.
    """
    units = units_of_items(item_ids_of(report))
    found: list[str] = []
    for unit in units.values():
        missing = _not_proven_of(report, unit, at)
        found += [f"{unit.serial}: {one}" for one in missing] if len(units) > 1 else missing
    return found


def _not_proven_of(report: Report, unit: UnitCard, at: datetime) -> list[str]:
    view = inspection_of_unit(unit)
    permit = next((one for one in concessions_of(unit.item_id) if one.report_number == report.number), None)
    if permit is not None and permit.ended(site_day(at)):
        return [f"{permit.number} ended on {permit.ends_on:%-d %B %Y}; decide again."]
    correctors = correctors_of(report)
    own = report.checkpoint.characteristic_id if report.checkpoint else None
    found = _left_the_plan(report, view, permit)
    for one in view.checkpoints:
        if one.card.characteristic_id == own or one.was_reopened_by(report.number):
            problem = open_question(one) or _corrected_by(one, correctors) or _against(one, permit)
            found += [f"{one.card.number} {one.card.title}: {problem}"] if problem else []
    return found


def _left_the_plan(report: Report, view: InspectionView, permit: ConcessionCard | None) -> list[str]:
    """A finding is not cleared by a plan that no longer asks for it: it is conceded, or decided otherwise."""
    if report.checkpoint is None or permit is not None:
        return []
    if any(one.card.characteristic_id == report.checkpoint.characteristic_id for one in view.checkpoints):
        return []
    number = report.checkpoint.characteristic.number
    return [f"{number} {report.checkpoint.title}: no longer in the plan of this unit, so that nothing proves it."]


def open_question(one: CheckpointView) -> str:
    """Why a checkpoint cannot be judged yet: open, in conflict, or answered without proof; empty when it can."""
    if one.state == "in_conflict":
        return "two answers stand; correct one."
    if one.state != "answered" or one.counts is None:
        return f"not inspected in round {one.round} yet."
    for answer in one.given:
        for flag in answer.flags:
            decision = answer.decision_about(flag)
            if flag in DOUBTFUL and (decision is None or not decision.accepted):
                return f"does not count as proof. {Flag(flag).sentence}"
    return ""


def _corrected_by(one: CheckpointView, correctors: Collection[int]) -> str:
    for answer in one.given:
        if answer.person_id in correctors and one.card.kind != "derived":
            return f"inspected by {answer.person_name}, who carried out the correction; another person must inspect it."
    return ""


def _against(one: CheckpointView, concession: ConcessionCard | None) -> str:
    answer = one.counts
    if answer is None or answer.passes:
        return ""
    if concession is not None and concession.characteristic_id == one.card.characteristic_id:
        return "" if concession.covers(answer.answer) else f"{answer.described} is beyond {concession.number}."
    return f"still does not conform ({answer.described})."
