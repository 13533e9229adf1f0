"""Charts of the pages of watch, distortion and yield as files: SVG and PNG that stand alone, their numbers as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from qcapp.core.errors import NotFound
from qcapp.lib.tables import harmless
from qcapp.people.access import needs
from qcapp.people.roles import Act

from .asking import sees_people, whole
from .listing import POINTS, WATCHED, point_rows, watched_row
from .pairs import Distortion
from .pictures.inks import as_png, inked
from .pictures.paired import paired_picture
from .pictures.small import small_picture
from .pictures.spread_out import split_picture
from .pictures.weekly import weekly_picture
from .queries import USUAL_WEEKS, distortion_page, watch_of, yield_page
from .readings import RULE
from .yielding import RULE as YIELD_RULE
from .yielding import StageYield

SHIFTS = ("serial", "after_minus_before", "unit_of_measure", "fixture", "welder")
WEEKS = ("week", "units", "right_first_time", "share", "from", "to")
KEPT_WIDTH, KEPT_HEIGHT = 720, 200  # of a small chart that is kept: room for the words above it
NO_PICTURE = "There is no such picture of these values; choose one on the page."
DEMONSTRATION = "Demonstration data, invented. Nothing here is valid."


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def watch_file(request: HttpRequest, family: str, key: str, form: str) -> HttpResponse:
    """One small chart of the watch page. Raises NotFound `picture_unknown`."""
    watch = watch_of(family)
    one = next((one for one in watch.entries if one.series.key == key), None)
    if one is None:
        raise NotFound("picture_unknown", "There is no such small chart; choose one on the watch page.")
    name = f"{watch.family.code}-{key}-watch.{form}"
    if form == "csv":
        return csv_file(POINTS, point_rows(one.chart), name)
    said = f"{watch.family.code}, limits {one.series.limits_text}. {one.said}"
    return picture_as(small_picture(one, width=KEPT_WIDTH, height=KEPT_HEIGHT), form, name, said, RULE)


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def watch_csv(request: HttpRequest, family: str) -> HttpResponse:
    """Every small chart of the watch page as one line, worst first."""
    watch = watch_of(family)
    return csv_file(WATCHED, map(watched_row, watch.entries), f"{watch.family.code}-watch.csv")


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def distortion_file(request: HttpRequest, family: str, key: str, which: str, form: str) -> HttpResponse:
    """The pairs of one dimension, or its shifts by one split. Raises NotFound `picture_unknown`."""
    people = sees_people(request.user, timezone.now())
    page = distortion_page(family, people=people)
    one = next((one for one in page.pairs if one.after.key == key), None)
    if one is None:
        raise NotFound("picture_unknown", "There is no such pair of values; choose one on the page.")
    name = f"{page.family.code}-{key}-{which}.{form}"
    if form == "csv":
        return csv_file(SHIFTS, _shifts(one, people), name)
    return picture_as(_drawn(one, which), form, name, f"{page.family.code}. {one.sentence}", RULE)


def _shifts(one: Distortion, people: bool) -> Iterable[Sequence[object]]:
    unit = one.after.unit_of_measure
    for reading in one.differences.readings:
        yield reading.serial, reading.text, unit, reading.fixture, reading.welder if people else ""


def _drawn(one: Distortion, which: str) -> str:
    if which == "pairs":
        return paired_picture(one)
    for split, _ in one.splits:
        if split.factor == which:
            return split_picture(one.differences, split, name=f"{one.after.key}-{which}")
    return ""


@require_safe
@needs(Act.LOOK_AT_TRENDS)
def yield_file(request: HttpRequest, family: str, stage: int, form: str) -> HttpResponse:
    """One stage's first-pass yield by week. Raises NotFound `picture_unknown`."""
    weeks = whole(request.GET, "weeks") or USUAL_WEEKS
    page = yield_page(family, at=timezone.now(), weeks=weeks)
    found = next((one for one in (page.found.stages if page.found else ()) if one.number == stage), None)
    if found is None or page.found is None:
        raise NotFound("picture_unknown", "No yield of this stage is known; choose one on the page.")
    name = f"{page.family.code}-yield-{stage}.{form}"
    if form == "csv":
        return csv_file(WEEKS, _weeks(found), name)
    return picture_as(weekly_picture(found, page.found.weeks), form, name, f"{page.family.code}.", YIELD_RULE)


def _weeks(found: StageYield) -> Iterable[Sequence[object]]:
    for week in found.weeks:
        share = (f"{number:.4f}" for number in (week.share.estimate, week.share.lower, week.share.upper))
        yield week.name, week.units, week.right, *share


def picture_as(svg: str, form: str, name: str, *said: str) -> HttpResponse:
    """A picture with what is to be said about it, as SVG or PNG that stands alone. Raises NotFound
    `picture_unknown` where there is none.
    """
    if not svg:
        raise NotFound("picture_unknown", NO_PICTURE)
    notes = [*said, DEMONSTRATION] if settings.QCAPP_DEMO else list(said)
    if form == "png":
        return download(as_png(svg, notes=notes), "image/png", name)
    return download(inked(svg, notes=notes).encode(), "image/svg+xml", name)


def download(content: bytes, kind: str, name: str) -> HttpResponse:
    """A file to keep, under this name."""
    return HttpResponse(content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def csv_file(columns: Sequence[str], rows: Iterable[Sequence[object]], name: str) -> HttpResponse:
    """Rows as a CSV file that a spreadsheet opens without harm."""
    output = io.StringIO()
    writer = csv.writer(output)
    writer.writerow(columns)
    writer.writerows([harmless(str(value)) for value in row] for row in rows)
    return download(output.getvalue().encode("utf-8-sig"), "text/csv; charset=utf-8", name)
