"""A family's month in one document: yield, what to watch, capability, distortion, as the month ended."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from qcapp.core.errors import Invalid
from qcapp.lib.site_days import day_begins, site_day
from qcapp.production.queries import FamilyCard, family_by_code

from ..watch import DRIFT, QUIET, Watched
from .distorting import DistortionPage, distortion_page
from .watching import Watch, watch_of
from .yielding import YieldPage, yield_page

MONTH = re.compile(r"(\d{4})-(\d{2})")


@dataclass(frozen=True)
class MonthReport:
    """`until` is the end of the month, or now while it runs; `running` says which."""

    family: FamilyCard
    first: date
    until: datetime
    running: bool
    yields: YieldPage
    watch: Watch
    distortion: DistortionPage

    @property
    def name(self) -> str:
        return f"{self.first:%B %Y}"

    @property
    def to_look_at(self) -> list[Watched]:
        """What is not quiet: signals, surely not capable, drifting, and what somebody looked into."""
        return [entry for entry in self.watch.entries if entry.rank < QUIET]

    @property
    def urgent(self) -> int:
        return sum(entry.rank <= DRIFT for entry in self.watch.entries)

    @property
    def measured(self) -> list[Watched]:
        """Every characteristic with a capability, the least capable first."""
        found = [entry for entry in self.watch.entries if entry.fitness is not None and entry.fitness.deciding]
        return sorted(found, key=lambda entry: entry.fitness.deciding.estimate)  # type: ignore[union-attr]


def month_report(family_code: str, month: str, *, at: datetime) -> MonthReport:
    """The report of a month written as 2026-11. Raises NotFound `family_unknown`, Invalid `month_unknown`."""
    family = family_by_code(family_code)
    first = _first_day(month)
    today = site_day(at)
    if first > today:
        raise Invalid("month_unknown", "That month has not begun. Choose this month or one before it.")
    end = day_begins((first + timedelta(days=32)).replace(day=1))
    until = min(end, at)
    weeks = (site_day(until - timedelta(seconds=1)) - first).days // 7 + 1
    return MonthReport(
        family, first, until, end > at,
        yield_page(family.code, at=until - timedelta(seconds=1), weeks=min(6, weeks + 1)),
        watch_of(family, until=until),
        distortion_page(family.code, people=False, until=until),
    )  # fmt: skip


def _first_day(month: str) -> date:
    found = MONTH.fullmatch(month)
    if found is None or not (1 <= int(found[2]) <= 12 and 2000 <= int(found[1]) <= 2200):
        raise Invalid("month_unknown", "Write a month as year and month, such as 2026-11.")
    return date(int(found[1]), int(found[2]), 1)
