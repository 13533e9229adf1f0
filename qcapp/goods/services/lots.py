"""Lots: opened, sampled, judged, sorted when refused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.core.statistics.frequency import draw
from qcapp.core.statistics.sampling import SamplingPlan, Severity, decide_lot, single_plan, zero_acceptance
from qcapp.core.statistics.sampling_tables import acceptance_levels
from qcapp.inspections.services.pieces import open_pieces
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import family_by_code
from qcapp.production.queries.as_built import LotCard, heat_by_number, lot_by_code
from qcapp.production.services.lots import check_in_the_house, create_lot, lock_lot, move_lot, take_out
from qcapp.production.states import LotState

from ..models import LotSample, LotSorting, LotVerdict
from ..queries.lots import (
    ISOLATED,
    PieceCard,
    SampleCard,
    drawn_pieces,
    next_inspections,
    plan_aqls,
    sample_of,
    supplier_of,
)
from .holding import refuse_held_heat

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof

AQLS: Mapping[str, str] = {"major": "1.0", "minor": "2.5"}
LIMITING_QUALITY, CONSUMER_RISK = 0.05, 0.10
STRICTNESS = ("reduced", "normal", "tightened", ISOLATED)
ALONE = "An isolated lot: its own quality is asked for, not that of a series."


@transaction.atomic
def open_lot(
    *, by: Person, family_code: str, quantity: int, heat_numbers: Sequence[str], at: datetime
) -> LotCard:  # fmt: skip
    """A new lot made from accepted heats.

    Raises as `create_lot`, Invalid `heats_missing`, NotFound `family_unknown`, Refused `delivery_on_hold`.
    """
    require(by, Act.KEEP_GOODS, at)
    if not heat_numbers:
        raise Invalid("heats_missing", "A lot of our own is made from at least one accepted heat; name it.")
    for number in heat_numbers:
        refuse_held_heat(heat_by_number(number))
    lot = create_lot(by=by, family=family_by_code(family_code), quantity=quantity, heat_numbers=heat_numbers, at=at)
    payload = {"quantity": quantity, "heats": list(heat_numbers)}
    audit.record(verb=Verb.LOT_OPENED, actor=by.uuid, subject=f"lot {lot.code}", at=at, payload=payload)
    return lot


# -------------------------------------------------------------------------------------------------- sampling


@transaction.atomic
def sample_lot(
    *, by: Person, lot_code: str, at: datetime, aqls: Mapping[str, str] | None = None, level: str = "II",
    steady: bool = False, reduced_wanted: bool = False, isolated: bool = False, resumed: str = "",
) -> SampleCard:  # fmt: skip
    """The pieces to inspect, drawn by the plan that the last lots of this source lead to.

    The AQL of each class is that of the inspection plan; `aqls` is for a plan that samples nothing (AQLS without it).
    An isolated lot goes by limiting quality instead: no nonconforming piece in a sample that a lot with 5 % of them
    passes with a probability of at most 10 %. After five lots that were not accepted on tightened inspection the
    quality manager alone goes on, tightened, and `resumed` says what was corrected. Raises Conflict
    `lot_sampled_already`; Refused `inspection_discontinued`, `lot_not_open`; Invalid `aql_of_plan`, `class_unknown`,
    `nothing_to_resume`, of `single_plan`, of `plain_text`; NotAllowed; NotFound.
    """
    require(by, Act.KEEP_GOODS, at)
    lot = lock_lot(lot_by_code(lot_code).id)
    _check_not_sampled(lot)
    asked = _aqls(lot, aqls)
    following = _severities(lot, list(asked), steady, reduced_wanted)
    following = _resumed(by, lot, following, resumed, at)
    if isolated:
        following = dict.fromkeys(asked, (ISOLATED, ALONE))
    plans = {name: _plan(lot.quantity, aql, level, following[name][0]) for name, aql in asked.items()}
    seed = f"{lot.item_uuid}"
    numbers = draw(lot.quantity, max(plan.sample_size for plan in plans.values()), seed=seed)
    open_pieces(by=by, lot=lot, numbers=numbers, at=at)
    told = {
        name: _told(plan, numbers, f"{seed} {name}")
        | {"severity": following[name][0], "tighter_accept": _tighter_accept(lot.quantity, plan, level)}
        for name, plan in plans.items()
    }
    severity, reason = _in_all(following)
    LotSample.objects.create(
        lot_id=lot.id, severity=severity, reason=reason, plans=told, pieces=list(numbers), seed=seed, by=by, at=at
    )
    payload = {"severity": severity, "reason": reason, "pieces": list(numbers)}
    audit.record(verb=Verb.LOT_SAMPLED, actor=by.uuid, subject=f"lot {lot.code}", at=at, payload=payload)
    return _sample(lot)


def _check_not_sampled(lot: LotCard) -> None:
    check_in_the_house(lot)
    if sample_of(lot.id) is not None:
        raise Conflict("lot_sampled_already", f"The sample of lot {lot.code} is drawn already; inspect its pieces.")
    if lot.state != LotState.OPEN:
        raise Refused("lot_not_open", f"Lot {lot.code} is {lot.state_label}; it is sampled once.")


def _aqls(lot: LotCard, typed: Mapping[str, str] | None) -> Mapping[str, str]:
    planned = plan_aqls(lot.family_code)
    if planned and typed and dict(typed) != planned:
        said = ", ".join(f"{name} {aql}" for name, aql in planned.items())
        raise Invalid("aql_of_plan", f"The inspection plan of {lot.family_code} says the AQL: {said}. Revise the plan.")
    chosen = planned or typed or AQLS
    if not set(chosen) <= set(AQLS):
        raise Invalid("class_unknown", f"Lots are sampled in the classes {' and '.join(AQLS)}.")
    return chosen


def _severities(lot: LotCard, classes: Sequence[str], steady: bool, reduced_wanted: bool) -> dict[str, tuple[str, str]]:
    """How the lot is inspected in each class, and why."""
    supplier = supplier_of(lot.id)
    found = next_inspections(lot.family_id, classes, supplier=supplier, steady=steady, reduced_wanted=reduced_wanted)
    return {name: (one.severity.value, one.reason) for name, one in found.items()}


def _resumed(
    by: Person, lot: LotCard, following: Mapping[str, tuple[str, str]], resumed: str, at: datetime
) -> dict[str, tuple[str, str]]:
    """The same, where inspection of a class is discontinued with what the quality manager resumes it on."""
    stopped = {name: reason for name, (severity, reason) in following.items() if severity == Severity.DISCONTINUED}
    if not stopped and resumed.strip():
        raise Invalid(
            "nothing_to_resume", f"Inspection of {lot.family_code} goes on as it is; nothing was discontinued."
        )
    if stopped and not resumed.strip():
        name, reason = next(iter(stopped.items()))
        message = (
            f"Inspection of {lot.family_code} is discontinued in class {name}: {reason} "
            "A corrective action comes first; the quality manager resumes then."
        )
        raise Refused("inspection_discontinued", message)
    if not stopped:
        return dict(following)
    require(by, Act.RESUME_SAMPLING, at)
    what = plain_text("What was corrected", resumed, longest=120)
    return {**following, **dict.fromkeys(stopped, (Severity.TIGHTENED.value, f"Resumed after: {what}"))}


def _in_all(following: Mapping[str, tuple[str, str]]) -> tuple[str, str]:
    """The strictest of the classes, and why each is inspected as it is."""
    severity = max((one for one, _ in following.values()), key=STRICTNESS.index)
    reasons = dict.fromkeys(reason for _, reason in following.values())
    if len(reasons) == 1:
        return severity, next(iter(reasons))
    return severity, " ".join(f"{name.capitalize()}: {reason}" for name, (_, reason) in following.items())[:200]


def _plan(quantity: int, aql: str, level: str, severity: str) -> SamplingPlan:
    if severity == ISOLATED:
        return zero_acceptance(quantity, LIMITING_QUALITY, CONSUMER_RISK)
    return single_plan(quantity, aql=aql, level=level, severity=severity)


def _told(plan: SamplingPlan, numbers: Sequence[int], seed: str) -> dict[str, Any]:
    """The plan as kept, with the pieces that count for it: where it needs fewer, some of those drawn."""
    chosen = draw(len(numbers), plan.sample_size, seed=seed)
    return {
        "aql": str(plan.aql) if plan.aql is not None else "",
        "sample_size": plan.sample_size,
        "accept": plan.accept,
        "reject": plan.reject,
        "source": plan.source,
        "pieces": [numbers[position - 1] for position in chosen],
    }


def _sample(lot: LotCard) -> SampleCard:
    found = sample_of(lot.id)
    if found is None:
        raise NotFound("lot_not_sampled", f"No sample of lot {lot.code} is drawn yet; draw it first.")
    return found


# --------------------------------------------------------------------------------------------------- judging


@transaction.atomic
def judge_lot(*, by: Person, lot_code: str, at: datetime) -> SampleCard:
    """What the sample says of the lot: accepted or refused, by nonconforming pieces in each class.

    Pieces found bad are taken out even where the lot passes. Raises Refused `pieces_open`, Conflict
    `lot_judged_already`, NotFound `lot_not_sampled`.
    """
    require(by, Act.KEEP_GOODS, at)
    lot = lock_lot(lot_by_code(lot_code).id)
    sample = _sample(lot)
    if sample.accepted is not None:
        raise Conflict("lot_judged_already", f"Lot {lot.code} is judged already: {sample.sentence}")
    pieces = drawn_pieces(lot.id)
    waiting = [piece.number for piece in pieces if not piece.done]
    if waiting:
        some = ", ".join(str(number) for number in waiting[:6])
        raise Refused("pieces_open", f"{len(waiting)} of {len(pieces)} drawn pieces are not fully answered: {some}.")
    verdict = _judged(lot, sample, pieces)
    LotVerdict.objects.create(sample_id=sample.id, by=by, at=at, **verdict)
    move_lot(lot_id=lot.id, move="accept" if verdict["accepted"] else "refuse")
    take_out(lot_id=lot.id, count=min(len(verdict["removed"]), lot.quantity - 1))
    audit.record(verb=Verb.LOT_JUDGED, actor=by.uuid, subject=f"lot {lot.code}", at=at, payload=verdict)
    return _sample(lot)


def _judged(lot: LotCard, sample: SampleCard, pieces: Sequence[PieceCard]) -> dict[str, Any]:
    found = dict.fromkeys(sample.plans, 0)
    accepted, tighter, between = True, True, False
    for name, told in sample.plans.items():
        among = set(told["pieces"])
        found[name] = sum(name in piece.nonconforming for piece in pieces if piece.number in among)
        plan = SamplingPlan(
            None, told["sample_size"], told["accept"], told["reject"], severity=told["severity"],
            aql=Decimal(told["aql"]) if told["aql"] else None,
        )  # fmt: skip
        decision = decide_lot(plan, found[name])
        accepted, between = accepted and decision.accepted, between or decision.back_to_normal
        tighter = tighter and found[name] <= (told.get("tighter_accept") or 0)
    critical = sum("critical" in piece.nonconforming for piece in pieces)
    if critical:
        found["critical"], accepted, tighter = critical, False, False
    removed = [piece.number for piece in pieces if piece.nonconforming]
    return {
        "accepted": accepted, "found": found, "tighter": tighter and accepted, "between": between, "removed": removed,
        "sentence": _sentence(lot, sample, found, accepted, removed),
    }  # fmt: skip


def _tighter_accept(quantity: int, plan: SamplingPlan, level: str) -> int | None:
    """What would be accepted at the next lower AQL, for the switching score; None where there is no such plan."""
    lower = [one for one in acceptance_levels() if plan.aql is not None and one < plan.aql]
    if plan.aql is None:
        return None
    return single_plan(quantity, aql=max(lower), level=level, severity=plan.severity).accept if lower else 0


def _sentence(
    lot: LotCard, sample: SampleCard, found: Mapping[str, int], accepted: bool, removed: Sequence[int]
) -> str:
    counts = ", ".join(
        f"{found[name]} {name} of {told['sample_size']} (accept {told['accept']})"
        for name, told in sample.plans.items()
    )
    if found.get("critical"):
        counts += f", {found['critical']} critical"
    said = [f"Lot {lot.code} is {'accepted' if accepted else 'refused'}: {counts}."]
    return " ".join([*said, f"{len(removed)} taken out."] if removed else said)


@transaction.atomic
def sort_lot(*, proof: Proof, lot_code: str, removed: int, remark: str, at: datetime) -> LotCard:
    """The refused lot after every piece was looked at; what is left may be used. A signed act.

    Raises Invalid `removed_invalid`, of `plain_text`; Refused `lot_is_out`; TransitionNotAllowed for a lot that
    is not refused; NotFound.
    """
    person = proof.person
    require(person, Act.KEEP_GOODS, at)
    lot = lock_lot(lot_by_code(lot_code).id)
    check_in_the_house(lot)
    remark = plain_text("What was sorted for", remark, longest=300)
    if not 0 <= removed < lot.quantity:
        message = f"Lot {lot.code} has {lot.quantity} pieces; say how many of them were taken out, and leave one."
        raise Invalid("removed_invalid", message)
    move_lot(lot_id=lot.id, move="sort")
    payload = {"checked": lot.quantity, "removed": removed, "remark": remark}
    signature = write_signature(
        proof=proof, act=Act.KEEP_GOODS, subject=f"lot {lot.code}", covers=digest(canonical(payload)), at=at,
        meaning=f"All {lot.quantity} pieces of lot {lot.code} were looked at; {removed} were taken out.",
    )  # fmt: skip
    LotSorting.objects.create(
        lot_id=lot.id, checked=lot.quantity, removed=removed, remark=remark, signature=signature, at=at
    )
    left = take_out(lot_id=lot.id, count=removed)
    audit.record(verb=Verb.LOT_SORTED, actor=person.uuid, subject=f"lot {lot.code}", at=at, payload=payload)
    return left
