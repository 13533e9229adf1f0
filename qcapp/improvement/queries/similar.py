"""Similar reports: alike in checkpoint, joint, fixture, supplier or cause, inside a window of days.

A report that was withdrawn does not count, nor does one that an action of the same kind answers already.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from qcapp.core.errors import Invalid

from ..cards import BASES, Cluster, ReportLine
from ..models import ActionReport, ReportPlace
from .labels import titles_of
from .settings import setting

# In what reports are alike: the columns that name it, and what leaves a report out.
COLUMNS: dict[str, tuple[str, ...]] = {
    "checkpoint": ("family__code", "characteristic_id"),
    "joint": ("family__code", "joint"),
    "fixture": ("family__code", "fixture"),
    "supplier": ("supplier",),
    "cause": ("family__code", "report__status__cause"),
}
LEFT_OUT: dict[str, Q] = {
    "checkpoint": Q(characteristic=None),
    "joint": Q(joint=""),
    "fixture": Q(fixture=""),
    "supplier": Q(supplier=""),
    "cause": Q(report__status__cause="unknown"),
}
LEAST = 2  # two alike are offered, the threshold's number is proposed
LINE = ("report_id", "report__number", "report__item__unit__serial", "report__status__state", "raised_at")


def clusters(*, at: datetime, least: int = LEAST) -> list[Cluster]:
    """Every group of similar reports in the window of the setting, the largest first; one query for each kind."""
    now = setting()
    found: list[Cluster] = []
    for basis in BASES:
        rows = _countable(basis, at - timedelta(days=now.similar_days), at)
        groups = _grouped(rows, COLUMNS[basis])
        found += [_cluster(basis, n, some, now.similar_count) for n, some in groups.items() if len(some) >= least]
    titles = titles_of({one.family_code for one in found if one.basis == "checkpoint"})
    named_so = [_titled(one, titles) for one in found]
    return sorted(named_so, key=lambda one: (-len(one.reports), list(BASES).index(one.basis), one.label))


def _grouped(rows: QuerySet[ReportPlace], columns: tuple[str, ...]) -> dict[tuple[Any, ...], list[ReportLine]]:
    """The reports by what they are alike in, the first one first."""
    found: dict[tuple[Any, ...], list[ReportLine]] = defaultdict(list)
    wanted: Iterable[Any] = rows.order_by("report_id").values_list(*columns, *LINE)
    for row in wanted:
        key, number, serial, *rest = row[len(columns) :]
        found[tuple(row[: len(columns)])].append(ReportLine(key, number, serial or "", *rest))
    return found


def cluster_of(basis: str, value: str, family_code: str, *, at: datetime) -> Cluster:
    """One group by its name. Raises Invalid `basis_unknown`, `nothing_similar`."""
    if basis not in BASES:
        raise Invalid("basis_unknown", f"Reports are alike in {', '.join(BASES)}; choose one of them.")
    for one in clusters(at=at, least=1):
        if (one.basis, one.value, one.family_code) == (basis, value, family_code):
            return one
    raise Invalid("nothing_similar", "No report of the window is of this kind any more; look at the list again.")


def _countable(basis: str, since: datetime, until: datetime) -> QuerySet[ReportPlace]:
    answered = ActionReport.objects.filter(report=OuterRef("report"), action__basis=basis)
    rows = ReportPlace.objects.filter(raised_at__gt=since, raised_at__lte=until).exclude(LEFT_OUT[basis])
    return rows.exclude(report__status__state="withdrawn").filter(~Exists(answered))


def _cluster(basis: str, named: tuple[Any, ...], lines: list[ReportLine], threshold: int) -> Cluster:
    values = dict(zip(COLUMNS[basis], named, strict=True))
    last = named[-1]
    return Cluster(
        basis=basis, value=str(last), label=str(last), family_code=values.get("family__code", ""),
        characteristic_id=last if basis == "checkpoint" else None, reports=tuple(lines),
        over_threshold=len(lines) >= threshold,
    )  # fmt: skip


def _titled(one: Cluster, titles: dict[int, str]) -> Cluster:
    if one.characteristic_id is None:
        return one
    return replace(one, label=titles.get(one.characteristic_id, one.label))
