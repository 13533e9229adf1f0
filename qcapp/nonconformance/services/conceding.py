"""The limits of a concession, its end, and the deviation permit that may stand in for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.core.errors import Invalid, NotFound, Refused
from qcapp.inspections.queries import counting_answer
from qcapp.lib.plain_text import shown
from qcapp.lib.site_days import site_day
from qcapp.production.queries import units_of_items

from ..cards import ConcessionCard, PermitCard, numbers_in, within
from ..models import Concession, ConcessionUse, Report
from ..queries import concessions_for, report_row
from ..queries.details import count_of, item_ids_of, permit, permits_for
from ..states import NEEDS_CONCESSION, Disposition

if TYPE_CHECKING:
    from qcapp.inspections.queries import CheckpointView

Limit = Decimal | None


@dataclass(frozen=True)
class Conceded:
    """What a concession is asked for: its limits as given, its last day, for how many units, what allows it already."""

    lower: Limit = None
    upper: Limit = None
    ends_on: date | None = None
    permit: str = ""
    units_at_most: int | None = None


def conceded(report: Report, chosen: Disposition, asked: Conceded, at: datetime) -> tuple[Limit, Limit]:
    """Both limits of the concession; None for a disposition that needs none, or a checkpoint without a number.

    Raises Invalid `concession_not_needed`, `limits_crossed`, `concession_without_number`, `concession_without_limits`,
    `concession_too_narrow`, `concession_ends_before_it_begins`, `name_each_unit`, `units_too_few`.
    """
    given = asked.lower is not None or asked.upper is not None
    if chosen not in NEEDS_CONCESSION:
        if given or asked.ends_on or asked.units_at_most is not None:
            message = "Only use as is and repair carry limits of a concession; leave them out."
            raise Invalid("concession_not_needed", message)
        return None, None
    _check_shape(asked, at)
    _check_count(report, asked.units_at_most)
    numbers = _numbers_at_issue(report)
    if not numbers:
        if given:
            raise Invalid("concession_without_number", "There is no number to limit here; leave the limits out.")
        return None, None
    if not given:
        raise Invalid("concession_without_limits", "Say up to which value this concession holds, such as max 0.36.")
    lower, upper = _sides_from_plan(report, asked.lower, asked.upper)
    if chosen is Disposition.USE_AS_IS and not within(numbers, lower, upper):
        values = ", ".join(map(str, numbers))
        raise Invalid("concession_too_narrow", f"{values} lies outside the limits of this concession; widen them.")
    return lower, upper


def _check_shape(asked: Conceded, at: datetime) -> None:
    if asked.lower is not None and asked.upper is not None and asked.lower > asked.upper:
        raise Invalid("limits_crossed", "The lower limit of the concession is above its upper limit; swap them.")
    if asked.ends_on is not None and asked.ends_on < site_day(at):
        message = "The last day of the concession is past; name today or a later day."
        raise Invalid("concession_ends_before_it_begins", message)


def _check_count(report: Report, wanted: int | None) -> None:
    if wanted is None:
        return
    if report.severity == "critical":
        message = "Critical units are conceded one by one; leave the number of units out and name them in the report."
        raise Invalid("name_each_unit", message)
    if wanted < count_of(report):
        message = f"The report is about {count_of(report)} already; allow as many, or leave the number out."
        raise Invalid("units_too_few", message)


def _counting(report: Report, item_id: int) -> CheckpointView | None:
    """The checkpoint that the report is about as it stands; None for a report about none, or none of the plan now."""
    if report.checkpoint is None:
        return None
    try:
        return counting_answer(item_id, report.checkpoint.characteristic.key)
    except NotFound:
        return None


def _numbers_at_issue(report: Report) -> list[Decimal]:
    """The numbers that a concession has to cover: of the answers that count, or of the first one found."""
    found: list[Decimal] = []
    for item_id in units_of_items(item_ids_of(report)):
        view = _counting(report, item_id)
        counts = view.counts if view else None
        if counts is not None and not counts.passes:
            found += numbers_in(counts.answer)
    return found or numbers_in(report.result_answer)


def _sides_from_plan(report: Report, lower: Limit, upper: Limit) -> tuple[Limit, Limit]:
    """Both limits: a side that the concession leaves out stays the plan's. A natural boundary needs none."""
    view = _counting(report, report.item_id)
    band = getattr(view.card.spec, "band", None) if view else None
    if band is None:
        return lower, upper
    if lower is None and "lower" not in band.natural:
        lower = band.lower
    if upper is None and "upper" not in band.natural:
        upper = band.upper
    return lower, upper


def usable_permit(
    report: Report, chosen: Disposition, asked: Conceded, at: datetime
) -> PermitCard | ConcessionCard | None:
    """What is named as allowing it already, when it may be used for this report now; None when nothing is named.

    A deviation permit, or a concession for a number of units. Raises NotFound `permit_unknown`, Invalid
    `permit_not_needed`, Refused `permit_not_signed`, `permit_ended`, `permit_used_up`, `permit_for_others`,
    `concession_ended`, `concession_used_up`.
    """
    if not asked.permit:
        return None
    if chosen is not Disposition.USE_AS_IS:
        message = "What is permitted already accepts a part as it is; choose use as is, or leave the permission out."
        raise Invalid("permit_not_needed", message)
    if asked.permit.upper().startswith("CN-"):
        return usable_concession(report, asked.permit, at)
    card = permit(asked.permit, site_day(at))
    if card.problem:
        raise Refused(card.code, card.problem)
    if not covers_report(card, report):
        message = f"{card.number} is for another checkpoint or other units; read it, or decide without it."
        raise Refused("permit_for_others", message)
    return card


def usable_concession(report: Report, number: str, at: datetime) -> ConcessionCard:
    """The concession with this number, when units of this report may still be accepted under it.

    Raises Refused `permit_for_others`, `concession_ended`, `concession_used_up`, Invalid `name_each_unit`.
    """
    card = next((one for one in _concessions_on(report) if one.number == number.strip().upper()), None)
    if card is None:
        name = shown(number)
        message = f"{name} is not in force for this checkpoint and further units; read it, or decide without it."
        raise Refused("permit_for_others", message)
    if card.ended(site_day(at)):
        message = f"{card.number} ended on {card.ends_on:%-d %B %Y}; decide without it, or ask for a new one."
        raise Refused("concession_ended", message)
    if card.left < count_of(report):
        message = (
            f"{card.number} was for {card.units_at_most} units and {card.used} are used; decide without it, or ask for "
            "a new one."
        )
        raise Refused("concession_used_up", message)
    if "critical" in (report.severity, card.severity):
        raise Invalid("name_each_unit", "Critical units are conceded one by one; decide without the older concession.")
    return card


def _concessions_on(report: Report) -> list[ConcessionCard]:
    if report.checkpoint is None:
        return []
    return concessions_for(report.item.family_id, report.checkpoint.characteristic_id)


def use_concession(report: Report, number: str, at: datetime) -> None:
    """Count the units accepted under a concession, inside the deciding transaction; the last one is given once only.

    Raises what `usable_concession` raises.
    """
    row = Concession.objects.select_for_update().get(number=number)
    usable_concession(report, row.number, at)
    ConcessionUse.objects.create(concession=row, report=report, units=count_of(report), at=at)


def concessions_left(number: str, at: datetime | None = None) -> list[ConcessionCard]:
    """The concessions under which the units of a report may still be accepted."""
    report = report_row(number)
    if report.severity == "critical":
        return []
    day, count = site_day(at), count_of(report)
    return [one for one in _concessions_on(report) if not one.ended(day) and one.left >= count]


def permits_of(number: str, at: datetime | None = None) -> list[PermitCard]:
    """The permits in force that are about the checkpoint and the units of a report."""
    report = report_row(number)
    if report.checkpoint is None:
        return []
    found = permits_for(report.item.family_id, report.checkpoint.characteristic_id, site_day(at))
    return [card for card in found if covers_report(card, report)]


def covers_report(card: PermitCard, report: Report) -> bool:
    """Whether the permit is about this family, this checkpoint and these units."""
    own = report.checkpoint.characteristic_id if report.checkpoint else None
    serials = {unit.serial for unit in units_of_items(item_ids_of(report)).values()}
    named = not card.serials or serials <= set(card.serials)
    return (card.family_id, card.characteristic_id) == (report.item.family_id, own) and named
