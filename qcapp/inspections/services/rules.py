"""The rules that an operation meets: what is refused, and what is stored but does not count as proof.

Facts are never refused: a reading with an overdue gauge is kept and flagged. Refused is what cannot be read, what is
about something unknown, and what would break who may inspect what, and how often.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.core.checkpoints.kinds import passes
from qcapp.core.errors import Invalid, NotAllowed, QcError, Refused
from qcapp.core.identification import serial_pattern
from qcapp.core.metrology.quantities import convert, parse_value

from ..models import Result
from ..queries.slots import disagree, heads, name_of
from ..queries.standing import is_held
from ..states import Flag
from .circumstances import Bench, Row
from .operations import Operation

if TYPE_CHECKING:
    from qcapp.gauges.queries import GaugeCard
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard

CLOCK_TOLERANCE = timedelta(minutes=15)


# -------------------------------------------------------------------------------------------------- refusing


def check_place(operation: Operation, card: CheckpointCard, bench: Bench) -> None:
    """The unit takes results, the checkpoint is answered by people, it is due, and its round has been opened.

    Raises Refused `unit_not_in_build`, `checkpoint_is_computed`, `checkpoint_not_due`, `round_not_open`.
    """
    unit = bench.unit
    if unit.state != "in_build":
        message = f"{unit.serial} is {unit.state_label}; results are recorded while a unit is in build."
        raise Refused("unit_not_in_build", message)
    if card.kind == "derived":
        raise Refused("checkpoint_is_computed", f"{card.number} is computed from other checkpoints, not typed.")
    if not bench.is_due(card):
        message = f"{card.number} is not due on {unit.serial}: it is checked {card.when}."
        raise Refused("checkpoint_not_due", message)
    if operation.round > bench.round_of(card):
        message = f"Round {operation.round} of {card.number} was not opened; the round now is {bench.round_of(card)}."
        raise Refused("round_not_open", message)


def check_person(operation: Operation, card: CheckpointCard, bench: Bench, person: Person, *, may_record: bool) -> None:
    """The person had the right, and is another than whoever gave the other inspection or welded the joint.

    Raises NotAllowed `not_permitted`, `second_same_person`, `second_is_welder`, `own_weld`; Refused
    `second_not_asked`, `no_disagreement`.
    """
    if not may_record:
        raise NotAllowed("not_permitted", f"{person.name} had no right to record results on that day.")
    if operation.inspection > 1 and not card.second_inspection:
        raise Refused("second_not_asked", f"The plan asks no second inspection of {card.number}.")
    others = {n: bench.rows.get((card.id, operation.round, n), []) for n in (1, 2, 3) if n != operation.inspection}
    if any(row.person_id == person.pk for rows in others.values() for row in rows):
        message = f"{person.name} has given another inspection of {card.number}; it takes another person."
        raise NotAllowed("second_same_person", message)
    if any(_keyed_by(row, person) for n in others if n < operation.inspection for row in others[n]):
        message = f"{person.name} keyed another inspection of {card.number} from paper; it takes another person."
        raise NotAllowed("second_same_person", message)
    _check_welder(operation, card, bench, person)
    if operation.inspection == 3:
        _check_disagreement(card, heads(others[1]), heads(others[2]))


def _keyed_by(row: Row, person: Person) -> bool:
    """Whether the person knows the answer from keying it in."""
    if Flag.KEYED_FROM_PAPER not in row.flags:
        return False
    return Result.objects.filter(operation=row.operation, sent_by=person.pk).exists()


def _check_welder(operation: Operation, card: CheckpointCard, bench: Bench, person: Person) -> None:
    if not card.joint or bench.welders.get(card.joint) != person.pk:
        return
    if operation.inspection > 1:
        message = f"{person.name} welded {card.joint} and may not give the second inspection of {card.number}."
        raise NotAllowed("second_is_welder", message)
    # With a second inspection another person accepts the weld; a record states a fact and accepts nothing.
    if not card.second_inspection and card.kind != "record":
        message = f"{person.name} welded {card.joint}; somebody else accepts it at {card.number}."
        raise NotAllowed("own_weld", message)


def _check_disagreement(card: CheckpointCard, first: Sequence[Row], second: Sequence[Row]) -> None:
    if not (first and second and disagree(first[-1], second[-1])):
        message = f"The first and second inspection of {card.number} do not disagree; a third decides only then."
        raise Refused("no_disagreement", message)


def replaced_by(
    operation: Operation, card: CheckpointCard, bench: Bench, person: Person, gauge: GaugeCard | None
) -> tuple[str, ...]:
    """The operations whose place the new one takes; empty for a reading that followed nothing.

    A second reading, or a correction of what is no longer current, takes nobody's place: both stand, in conflict.
    Raises Invalid `reason_missing`, `base_missing`; Refused `already_answered`, `nothing_to_repeat`, `repeat_used`,
    `repeat_of_carried`, `repeat_same_person_and_gauge`.
    """
    rows = bench.rows.get((card.id, operation.round, operation.inspection), [])
    if operation.purpose == "reading":
        _check_first_reading(operation, card, rows)
        return ()
    if not operation.reason:
        raise Invalid("reason_missing", f"Say why {card.number} is answered again.", field="reason")
    if operation.purpose == "repeat":
        repeated = _repeated(operation, card, rows)
        _check_other_eyes(card, repeated, person, gauge)
        return (str(repeated.operation),)
    if not operation.base:
        raise Invalid("base_missing", "A correction names the answer it corrects in “base”.", field="base")
    return _named(operation, rows)


def _check_first_reading(operation: Operation, card: CheckpointCard, rows: Sequence[Row]) -> None:
    if operation.base and set(_named(operation, rows)) & {str(row.operation) for row in heads(rows)}:
        message = f"{card.number} is answered; send a correction with a reason, or measure again where that is open."
        raise Refused("already_answered", message)


def _named(operation: Operation, rows: Sequence[Row]) -> tuple[str, ...]:
    """The answers that `base` names: one, several, or by one name all that stand in conflict."""
    standing = [row.operation for row in heads(rows)]
    if len(standing) > 1 and operation.base == (name_of(standing),):
        return tuple(map(str, standing))
    return tuple(map(str, operation.base))


def _repeated(operation: Operation, card: CheckpointCard, rows: Sequence[Row]) -> Row:
    if any(row.purpose == "carried" for row in heads(rows)):
        message = f"{card.number} was carried over from another plan revision; a report decides about it."
        raise Refused("repeat_of_carried", message)
    if any(row.purpose == "repeat" for row in rows):
        message = f"{card.number} was measured again already in this round; a report decides now."
        raise Refused("repeat_used", message)
    standing = heads(rows)
    named = [row for row in standing if not operation.base or row.operation in operation.base]
    if len(named) != 1 or len(standing) != 1 or passes(named[0].outcome):
        message = f"{card.number} is measured again only after one answer that does not pass."
        raise Refused("nothing_to_repeat", message)
    return named[0]


def _check_other_eyes(card: CheckpointCard, repeated: Row, person: Person, gauge: GaugeCard | None) -> None:
    same_gauge = repeated.gauge_id == (gauge.id if gauge else None)
    if card.criticality == "critical" and same_gauge and repeated.person_id == person.pk:
        message = f"{card.number} is critical: another person or another gauge measures it again."
        raise Refused("repeat_same_person_and_gauge", message)


# -------------------------------------------------------------------------------------------------- flagging


def flags_of(
    operation: Operation,
    card: CheckpointCard,
    bench: Bench,
    gauge: GaugeCard | None,
    *,
    at: datetime,
    clock_off: timedelta,
    sent_by_other: bool,
    from_paper: bool = False,
    setup: str = "",
    authorised: bool = True,
) -> list[str]:
    """Why the result does not count as proof until somebody decided on it; usually nothing."""
    found = {
        Flag.GAUGE_MISSING: bool(card.gauge_kinds) and gauge is None,
        Flag.GAUGE_KIND_DIFFERS: bool(card.gauge_kinds and gauge and gauge.kind_key not in card.gauge_kinds),
        Flag.GAUGE_OUT_OF_RANGE: gauge is not None and not _reads(gauge, operation, card),
        Flag.FIXTURE_NOT_VERIFIED: card.setup == "in_fixture" and bench.in_unverified_fixture(operation.recorded_at),
        Flag.NOT_AUTHORISED: not authorised,
        Flag.STAGE_NOT_OPEN: not stage_is_open(card, bench),
        Flag.OLD_REVISION: operation.revision != bench.plan.revision.uuid,
        Flag.TOO_SOON_AFTER_WELD: _too_soon(operation, card, bench),
        Flag.SERIAL_DIFFERS: _other_serial(operation, card, bench),
        Flag.CLOCK_OFF: max(operation.recorded_at - at, clock_off) > CLOCK_TOLERANCE,
        Flag.SENT_BY_OTHER: sent_by_other,
        Flag.KEYED_FROM_PAPER: from_paper,
    }
    of_gauge = [reason for reason in (gauge.reason if gauge else "", setup) if reason]
    return of_gauge + [flag.value for flag, applies in found.items() if applies]


def _other_serial(operation: Operation, card: CheckpointCard, bench: Bench) -> bool:
    """Whether the unit's own serial was to be read on it and another was; the serial of a component is not asked."""
    pattern, text = getattr(card.spec, "pattern", None), str(operation.answer.get("text", ""))
    own = bool(pattern) and not serial_pattern(str(pattern)).check(bench.unit.serial)
    return own and text.strip().upper() != bench.unit.serial


def _reads(gauge: GaugeCard, operation: Operation, card: CheckpointCard) -> bool:
    band = getattr(card.spec, "band", None)
    to_zero = band is None or band.lower is None or band.lower <= 0 or "lower" in band.natural
    return reads(gauge, operation.answer, card.unit_of_measure, to_zero=to_zero)


def reads(gauge: GaugeCard, answer: object, unit_of_measure: str, *, to_zero: bool = False) -> bool:
    """Whether the gauge reads so far: every value of the answer lies in its range. True where that is not known.

    With `to_zero` only the far end counts, for a difference, or a gap that no leaf of a feeler gauge goes into.
    """
    told = answer if isinstance(answer, dict) else {}
    values = [told["value"]] if "value" in told else told.get("values", [])
    ends = (gauge.range_lower, gauge.range_upper)
    try:
        own = unit_of_measure or gauge.unit_of_measure
        low, high = (None if end is None else _in(end, gauge.unit_of_measure or own, own) for end in ends)
        numbers = [parse_value(str(value)) for value in values]
    except QcError:
        return True
    if to_zero:
        low, numbers = None, [abs(one) for one in numbers]
    return all((low is None or low <= one) and (high is None or one <= high) for one in numbers)


def _in(value: Decimal, from_unit: str, to_unit: str) -> Decimal:
    return value if from_unit == to_unit else convert(value, from_unit, to_unit)


def _too_soon(operation: Operation, card: CheckpointCard, bench: Bench) -> bool:
    """Whether the time after welding that the plan asks for had not passed; cracks may come hours later."""
    if card.after_weld_hours is None or not card.joint:
        return False
    welded = bench.welded_at.get(card.joint)
    return welded is None or operation.recorded_at < welded + timedelta(hours=card.after_weld_hours)


def stage_is_open(card: CheckpointCard, bench: Bench) -> bool:
    """Every earlier stage is signed, hold points among them, and no hold stands against this one."""
    first = bench.first_unsigned_stage
    return (first is None or card.stage_number <= first) and not is_held(card.stage_number, bench.holds)
