"""What goes wrong most, when, and what it costs: counted by the database over the places of reports.

Reports that were withdrawn were raised in error and are left out everywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Count, Min, Q, QuerySet, Sum
from django.db.models.functions import TruncWeek

from qcapp.core.errors import Invalid
from qcapp.lib.site_days import day_ends
from qcapp.nonconformance.queries.queue import withdrawn_reports
from qcapp.production.queries import family_by_code

from ..cards import BASES
from ..models import CostEntry, ReportPlace

# By what is counted: the column of the places, and the word that the queue's address filters by (none: it cannot).
BY: dict[str, tuple[str, str]] = {
    "checkpoint": ("characteristic", "checkpoint"),
    "joint": ("joint", "joint"),
    "cause": ("report__status__cause", "cause"),
    "fixture": ("fixture", ""),
    "supplier": ("supplier", ""),
}
MEASURES = {"reports": "reports", "cost": "cost"}
SHOWN = 15
UNSAID = {"checkpoint": "no checkpoint", "cause": "not known yet"}
USUAL_WEEKS = 26
Sums = tuple[int, int, int]  # reports, hundredths of the currency, the key of the first one's place


@dataclass(frozen=True)
class Wanted:
    """What is asked for, as the words of an address say it."""

    by: str = "checkpoint"
    measure: str = "reports"
    family: str = ""
    since: date | None = None
    until: date | None = None

    @classmethod
    def read(cls, asked: Mapping[str, str], today: date) -> Wanted:
        """From an address; the last 26 weeks unless it says otherwise. Raises Invalid `date_unreadable`, NotFound."""
        by, measure = asked.get("by", "") or "checkpoint", asked.get("measure", "") or "reports"
        if by not in BY or measure not in MEASURES:
            raise Invalid("choice_unknown", f"Count by {', '.join(BY)}, the reports or the cost.")
        family = asked.get("family", "").strip()
        code = family_by_code(family).code if family else ""
        usual = today - timedelta(weeks=USUAL_WEEKS)
        return cls(by, measure, code, _day(asked, "since") or usual, _day(asked, "until"))

    def words(self, **changes: str) -> str:
        """As the words of an address, with something changed."""
        mine = {"by": self.by, "measure": self.measure, "family": self.family}
        days = {"since": str(self.since or ""), "until": str(self.until or "")}
        return urlencode({name: value for name, value in (mine | days | changes).items() if value})


@dataclass(frozen=True)
class Bar:
    """One bar: how many reports, what they cost, which share, and the share of it and all larger ones."""

    label: str
    value: str
    count: int
    cents: int
    share: float
    cumulative: float
    address: str  # of the queue, or of the list of its reports


@dataclass(frozen=True)
class Pareto:
    """The bars, the largest first; `others` are summed up, `unsaid` reports say nothing about it."""

    by: str
    measure: str
    bars: tuple[Bar, ...]
    others: Bar | None
    unsaid: int
    total: int  # reports, or hundredths of the currency
    currency: str = ""


@dataclass(frozen=True)
class Week:
    """The reports raised in a week that begins on `monday`."""

    monday: date
    count: int
    critical: int

    @property
    def name(self) -> str:
        year, week, _ = self.monday.isocalendar()
        return f"{year}-W{week:02}"

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)


@dataclass(frozen=True)
class CauseCost:
    """What reports of one cause cost."""

    cause: str
    reports: int
    minutes: int
    material: Decimal
    cents: int


def pareto(wanted: Wanted) -> Pareto:
    """Where most reports, or most of the cost, come from; two queries and the titles."""
    column, _ = BY[wanted.by]
    counted = _counted(wanted, column)
    said = {value: sums for value, sums in counted.items() if value not in (None, "")}
    place = 1 if wanted.measure == "cost" else 0
    order = sorted(said.items(), key=lambda one: (-one[1][place], str(one[0])))
    order = [one for one in order if one[1][place] > 0]
    total = sum(sums[place] for _, sums in order)
    labels = _labels(wanted, order[:SHOWN])
    bars, so_far = [], 0
    for value, sums in order[:SHOWN]:
        so_far += sums[place]
        bars.append(_bar(wanted, labels.get(value, str(value)), value, sums, sums[place], so_far, total))
    rest = order[SHOWN:]
    others = _others(rest, place, total) if rest else None
    unsaid = sum(sums[0] for value, sums in counted.items() if value in (None, ""))
    return Pareto(wanted.by, wanted.measure, tuple(bars), others, unsaid, total, _currency(wanted))


def weeks(wanted: Wanted) -> list[Week]:
    """Reports by the week in which they were raised, weeks without one included."""
    zone = ZoneInfo(settings.QCAPP_SITE_ZONE)
    rows = places_of(wanted).annotate(week=TruncWeek("raised_at", tzinfo=zone)).values_list("week").order_by("week")
    critical = Count("id", filter=Q(report__severity="critical"))
    found = {week.date(): (n, grave) for week, n, grave in rows.annotate(n=Count("id"), grave=critical)}
    if not found:
        return []
    first, last = min(found), max(found)
    mondays = [first + timedelta(days=7 * place) for place in range((last - first).days // 7 + 1)]
    return [Week(monday, *found.get(monday, (0, 0))) for monday in mondays]


def costs_by_cause(wanted: Wanted) -> list[CauseCost]:
    """What reports cost by their cause, the dearest first. Material is added up exactly."""
    entries = CostEntry.objects.filter(report__in=places_of(wanted).values("report"))
    found: dict[str, list[Any]] = {}
    columns = ("report__status__cause", "report_id", "minutes", "material", "cents")
    for cause, report, minutes, material, cents in entries.values_list(*columns):
        sums = found.setdefault(cause, [set(), 0, Decimal(0), 0])
        sums[0].add(report)
        sums[1:] = [sums[1] + minutes, sums[2] + material, sums[3] + cents]
    rows = [CauseCost(UNSAID["cause"] if c == "unknown" else c, len(s[0]), s[1], s[2], s[3]) for c, s in found.items()]
    return sorted(rows, key=lambda one: (-one.cents, one.cause))


def cost_of_actions() -> int:
    """What corrective actions themselves cost so far, in hundredths."""
    return CostEntry.objects.filter(report=None).aggregate(sum=Sum("cents"))["sum"] or 0


def reports_with(basis: str, value: str, wanted: Wanted, limit: int = 200) -> list[tuple[str, str, datetime]]:
    """Number, serial and time of the reports behind one bar, the latest first."""
    column = BY[basis][0] if basis in BASES else ""
    if not column:
        raise Invalid("choice_unknown", f"Count by {', '.join(BY)}.")
    key: Any = (int(value) if value.isdigit() else -1) if basis == "checkpoint" else value
    rows = places_of(wanted).filter(**{column: key}).order_by("-report_id")
    columns = ("report__number", "report__item__unit__serial", "raised_at")
    return [(number, serial or "", at) for number, serial, at in rows.values_list(*columns)[:limit]]


def places_of(wanted: Wanted) -> QuerySet[ReportPlace]:
    """The places of the reports that are asked for, those withdrawn left out."""
    rows = ReportPlace.objects.exclude(report__in=withdrawn_reports())
    if wanted.family:
        rows = rows.filter(family__code=wanted.family)
    if wanted.since:
        rows = rows.filter(raised_at__gte=day_ends(wanted.since - timedelta(days=1)))
    return rows.filter(raised_at__lt=day_ends(wanted.until)) if wanted.until else rows


def _counted(wanted: Wanted, column: str) -> dict[Any, Sums]:
    """By value: how many reports, what they cost in hundredths where that is asked for, and the first one's place."""
    places = places_of(wanted).order_by()
    counts = places.values_list(column).annotate(n=Count("id"), first=Min("id"))
    cents: dict[Any, int] = {}
    if wanted.measure == "cost":
        entries = places.filter(report__costs__isnull=False).values_list(column)
        cents = dict(entries.annotate(sum=Sum("report__costs__cents")))
    return {value: (count, cents.get(value) or 0, first) for value, count, first in counts}


def _labels(wanted: Wanted, top: list[tuple[Any, Sums]]) -> dict[Any, str]:
    """Names of the bars; a checkpoint is named by its first report, with the family where there are several."""
    if wanted.by != "checkpoint":
        return {value: _word(wanted.by, str(value)) for value, _ in top}
    rows = ReportPlace.objects.filter(pk__in=[sums[2] for _, sums in top])
    columns = (
        "characteristic_id", "family__code", "characteristic__number", "report__checkpoint__title",
        "characteristic__key",
    )  # fmt: skip
    found = {key: (code, f"{number} {title or name}") for key, code, number, title, name in rows.values_list(*columns)}
    several = len({code for code, _ in found.values()}) > 1
    return {key: f"{code} {words}" if several else words for key, (code, words) in found.items()}


def _word(by: str, value: str) -> str:
    return UNSAID["cause"] if (by, value) == ("cause", "unknown") else value


def _bar(wanted: Wanted, label: str, value: Any, sums: Sums, mine: int, so_far: int, total: int) -> Bar:
    share, cumulative = mine / total, so_far / total
    return Bar(label, str(value), sums[0], sums[1], share, cumulative, _address(wanted, value))


def _address(wanted: Wanted, value: Any) -> str:
    """Where the reports behind a bar are listed."""
    _, word = BY[wanted.by]
    if not word or wanted.by == "checkpoint":
        return f"/improvement/reports/?{wanted.words(value=str(value))}"
    days = {"since": str(wanted.since or ""), "until": str(wanted.until or "")}
    words = {"state": "all", word: str(value), "family": wanted.family} | days
    return f"/nonconformances/?{urlencode({name: text for name, text in words.items() if text})}"


def _others(rest: list[tuple[Any, Sums]], place: int, total: int) -> Bar:
    count, cents = (sum(sums[index] for _, sums in rest) for index in (0, 1))
    return Bar(f"{len(rest)} others", "", count, cents, (count, cents)[place] / total, 1.0, "")


def _currency(wanted: Wanted) -> str:
    if wanted.measure != "cost":
        return ""
    return CostEntry.objects.order_by("-id").values_list("currency", flat=True).first() or ""


def _day(asked: Mapping[str, str], name: str) -> date | None:
    text = asked.get(name, "").strip()
    if not text:
        return None
    try:
        return date.fromisoformat(text[:20])
    except ValueError:
        raise Invalid("date_unreadable", "A day is written as 2026-03-17; correct it.") from None
