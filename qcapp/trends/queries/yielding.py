"""The yield page: what passed the first time, by stage, family and week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from qcapp.core.errors import Invalid
from qcapp.inspections.queries.passes import stage_passes
from qcapp.lib.site_days import day_begins, site_day
from qcapp.production.queries import FamilyCard, family_by_code

from ..yielding import FamilyYield, family_yield, week_name

USUAL_WEEKS, MOST_WEEKS = 12, 53


@dataclass(frozen=True)
class YieldPage:
    """Yields of a family over the last weeks, this one included. `refusal` is a sentence where none was signed."""

    family: FamilyCard
    weeks: int
    found: FamilyYield | None
    refusal: str = ""


def yield_page(family_code: str, *, at: datetime, weeks: int = USUAL_WEEKS) -> YieldPage:
    """Raises NotFound `family_unknown`, Invalid `window_out_of_range`."""
    if not 1 <= weeks <= MOST_WEEKS:
        raise Invalid("window_out_of_range", f"Choose from 1 to {MOST_WEEKS} weeks.", weeks=weeks)
    family = family_by_code(family_code)
    today = site_day(at)
    first = today - timedelta(days=today.weekday() + 7 * (weeks - 1))
    names = [week_name(first + timedelta(days=7 * number)) for number in range(weeks)]
    passes = stage_passes(family.id, day_begins(first), day_begins(today + timedelta(days=1)))
    found = family_yield(passes, names)
    said = "" if found else f"No stage of {family.code} was signed in the last {weeks} weeks."
    return YieldPage(family, weeks, found, said)
