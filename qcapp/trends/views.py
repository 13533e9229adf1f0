"""Pages of trends: what to watch in a family, and everything about one characteristic."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from qcapp.core.errors import NotFound
from qcapp.core.statistics.intervals import Interval
from qcapp.lib.site_days import site_day
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.plans.queries.sizes import family_of_the_largest_plan
from qcapp.production.queries import FamilyCard, families

from .asking import sees_people, wanted_of, whole
from .capability import TARGET
from .characteristic import Characteristic
from .file_views import NO_PICTURE, csv_file, download, picture_as
from .listing import point_rows, rows_of, watched_row
from .pictures.charted import control_picture, spread_picture
from .pictures.paired import paired_picture
from .pictures.small import small_picture
from .pictures.spread_out import common_ends, histogram_picture, split_picture
from .pictures.weekly import weekly_picture
from .plain import as_csv
from .queries import (
    LONGEST,
    USUAL,
    USUAL_WEEKS,
    believability_page,
    distortion_page,
    month_report,
    page_of,
    watch_of,
    yield_page,
)
from .readings import RULE
from .reporting import report_pdf
from .sampling import GROUPS, MOST_SAMPLES, SAMPLE_SIZE, USUAL_SAMPLES
from .yielding import RULE as YIELD_RULE
from .yielding import FamilyWeek, StageYield

WINDOWS = (25, 50, USUAL, 200, LONGEST)
COUNTS, SIZES = (USUAL_SAMPLES, 50, MOST_SAMPLES), (SAMPLE_SIZE, 20, 50)  # of samples, and units in one


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def watch(request: HttpRequest) -> HttpResponse:
    """Every characteristic of a family in one grid, worst first; of the largest plan when none is named."""
    known = families()
    code = _family(request, known)
    card = next((one for one in known if one.code == code), None)
    found = watch_of(card or code) if code else None
    entries = [(entry, shown_drawing(small_picture(entry))) for entry in found.entries] if found else []
    context: dict[str, object] = {
        "families": known,
        "watch": found,
        "entries": entries,
        "sees_believable": _sees_believable(request),
    }
    context["table"] = [watched_row(entry, written=True) for entry in found.entries] if found else []
    today = site_day()
    context |= {"this_month": f"{today:%Y-%m}", "last_month": f"{today.replace(day=1) - timedelta(days=1):%Y-%m}"}
    return render(request, "trends/watch.html", context)


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def distortion(request: HttpRequest) -> HttpResponse:
    """The same dimensions before and after welding, the largest shift against its band first."""
    known = families()
    code = _family(request, known)
    people = sees_people(request.user, timezone.now())
    found = distortion_page(code, people=people) if code else None
    pairs = [
        (
            one,
            shown_drawing(paired_picture(one)),
            [
                (
                    split,
                    said,
                    shown_drawing(split_picture(one.differences, split, name=f"{one.after.key}-{split.factor}")),
                )
                for split, said in one.splits
            ],
        )
        for one in (found.pairs if found else ())
    ]
    context = {"families": known, "page": found, "pairs": pairs, "rule": RULE, "people": people}
    context["sees_believable"] = _sees_believable(request)
    return render(request, "trends/distortion.html", context)


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def yields(request: HttpRequest) -> HttpResponse:
    """What passes the first time, by stage and week."""
    known = families()
    code = _family(request, known)
    weeks = whole(request.GET, "weeks") or USUAL_WEEKS
    page = yield_page(code, at=timezone.now(), weeks=weeks) if code else None
    found = page.found if page else None
    stages = [(_row(one), shown_drawing(weekly_picture(one, found.weeks))) for one in found.stages] if found else []
    context: dict[str, object] = {
        "families": known, "page": page, "found": found, "stages": stages, "rule": YIELD_RULE,
        "sees_believable": _sees_believable(request),
        "choices": (4, 8, USUAL_WEEKS, 26, 52), "rows": [row for row, _ in stages],
    }  # fmt: skip
    if found and found.rolled:
        context |= {"rolled": _share_row(found.rolled), "by_week": [_week_row(one) for one in found.by_week]}
    return render(request, "trends/yield.html", context)


def _sees_believable(request: HttpRequest) -> bool:
    return may(request.user, Act.LOOK_AT_BELIEVABILITY, timezone.now())


def _row(stage: StageYield) -> dict[str, object]:
    weeks = [(week, _share_row(week.share)) for week in stage.weeks]
    return {"stage": stage, "share": _share_row(stage.share), "weeks": weeks}


def _week_row(week: FamilyWeek) -> dict[str, object]:
    return {"week": week, "rolled": _share_row(week.rolled)}


def _share_row(share: Interval) -> dict[str, str]:
    """A share and its interval in percent."""
    return {"is": _percent(share.estimate), "low": _percent(share.lower), "high": _percent(share.upper)}


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _family(request: HttpRequest, known: list[FamilyCard]) -> str:
    """The family asked for, or the one with the largest plan, where most is to be watched; empty without any."""
    asked = request.GET.get("family", "").strip()
    if asked or not known:
        return asked
    return family_of_the_largest_plan() or known[0].code


@require_safe
@needs(Act.LOOK_AT_BELIEVABILITY)
def believable(request: HttpRequest) -> HttpResponse:
    """What stands out in how values were recorded: for the quality manager only."""
    known = families()
    code = _family(request, known)
    page = believability_page(code) if code else None
    context = {"families": known, "page": page, "found": page.found if page else None, "sees_believable": True}
    return render(request, "trends/believable.html", context)


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def characteristic(request: HttpRequest, family: str, key: str) -> HttpResponse:
    """The page of one characteristic."""
    people = sees_people(request.user, timezone.now())
    found = page_of(family, key, wanted_of(request.GET), people=people)
    ends = common_ends(found.series)
    context = {
        "found": found,
        "series": found.series,
        "chart": found.chart,
        "chart_picture": shown_drawing(control_picture(found.series, found.chart, axis=found.wanted.axis)),
        "spread_picture": shown_drawing(spread_picture(found.series, found.chart, axis=found.wanted.axis)),
        "histogram_picture": shown_drawing(histogram_picture(found.series, found.histogram)) if found.histogram else "",
        "splits": [(said, shown_drawing(split_picture(found.series, said.split, ends))) for said in found.splits],
        "same": [said for said in found.splits if len(said.split.levels) < 2],
        "rule": RULE,
        "target": TARGET,
        "windows": WINDOWS,
        "counts": COUNTS,
        "groups": GROUPS.items(),
        "sizes": sorted({*SIZES, found.wanted.size}),
        "points": point_rows(found.chart) if found.sampled else [],
        "listed": found.series.readings[-LONGEST:],
        "wanted": found.wanted,
        "people": people,
        "asked": request.GET.urlencode(),
        "expected": _share(found.fitness.expected_out_of_band) if found.fitness else "",
        "bars": _bars(found),
    }
    return render(request, "trends/characteristic.html", context)


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def values_csv(request: HttpRequest, family: str, key: str) -> HttpResponse:
    """The values of the window as CSV."""
    found = _found(request, family, key)
    text = as_csv(found, people=sees_people(request.user, timezone.now()))
    return download(text.encode("utf-8-sig"), "text/csv; charset=utf-8", f"{found.series.family_code}-{key}.csv")


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def numbers_csv(request: HttpRequest, family: str, key: str, which: str) -> HttpResponse:
    """The numbers behind one picture of the page. Raises NotFound `picture_unknown`."""
    found = _found(request, family, key)
    columns, rows = rows_of(found, which)
    if not rows:
        raise NotFound("picture_unknown", NO_PICTURE)
    return csv_file(columns, rows, f"{found.series.family_code}-{key}-{which}.csv")


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def picture_file(request: HttpRequest, family: str, key: str, which: str, form: str) -> HttpResponse:
    """One picture of the page as SVG or PNG that stands alone. Raises NotFound `picture_unknown`."""
    found = _found(request, family, key)
    said = f"{found.series.family_code}, limits {found.series.limits_text}. {found.summary}"
    name = f"{found.series.family_code}-{key}-{which}.{form}"
    return picture_as(_picture(found, which), form, name, said, RULE)


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def report(request: HttpRequest, family: str, month: str) -> HttpResponse:
    """A family's month as PDF."""
    found = month_report(family, month, at=timezone.now())
    return download(report_pdf(found), "application/pdf", f"{found.family.code}-{found.first:%Y-%m}.pdf")


def _share(share: float | None) -> str:
    """A share as a shop says it: in a hundred, in a thousand, or fewer than one in a million."""
    if share is None:
        return "–"
    if share >= 0.005:
        return f"{100 * share:.1f} %"
    return f"{1_000_000 * share:.0f} in a million" if share >= 5e-7 else "fewer than one in a million"


def _bars(found: Characteristic) -> list[tuple[str, str, int]]:
    histogram = found.histogram
    if histogram is None:
        return []
    edges = [found.series.number_text(edge, 1) for edge in histogram.edges]
    return list(zip(edges, edges[1:], histogram.counts, strict=False))


def _picture(found: Characteristic, which: str) -> str:
    series = found.series
    svg = ""
    if which == "chart":
        svg = control_picture(series, found.chart, axis=found.wanted.axis)
    elif which == "spread":
        svg = spread_picture(series, found.chart, axis=found.wanted.axis)
    elif which == "histogram" and found.histogram:
        svg = histogram_picture(series, found.histogram)
    for said in found.splits:
        if said.split.factor == which:
            svg = split_picture(series, said.split, common_ends(series))
    return svg


def _found(request: HttpRequest, family: str, key: str) -> Characteristic:
    people = sees_people(request.user, timezone.now())
    return page_of(family, key, wanted_of(request.GET), people=people)
