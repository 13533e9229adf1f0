"""What goes wrong most, when and where on the drawing, what it costs, and the settings."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import QcError
from qcapp.lib.site_days import site_day
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.lib.tables import CSV, XLSX, Cell, as_csv, as_xlsx
from qcapp.nonconformance.queries import report_row
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.production.queries import families
from qcapp.trends.queries import yield_page

from . import forms
from .pictures.concentrated import concentration
from .pictures.ranked import number_of, pareto_picture
from .pictures.weekly import weeks_picture
from .posting import performed
from .queries.actions import action, costs_of_report
from .queries.drawings import drawn
from .queries.seeing import (
    BY,
    MEASURES,
    Pareto,
    Wanted,
    cost_of_actions,
    costs_by_cause,
    pareto,
    reports_with,
    weeks,
)
from .queries.settings import setting
from .services.costs import record_cost, reverse_cost
from .services.settings import set_improvement
from .words import money, percent


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def seeing(request: HttpRequest) -> HttpResponse:
    """The Pareto chart, reports by week, and what passes the first time, each with its table."""
    wanted = _wanted(request)
    found, by_week = pareto(wanted), weeks(wanted)
    context = _choices(wanted) | {
        "found": found, "rows": _rows(found), "chart": shown_drawing(pareto_picture(found)), "weeks": by_week,
        "weeks_chart": shown_drawing(weeks_picture(by_week, wanted)), "yield": _yield(wanted),
    }  # fmt: skip
    return render(request, "improvement/seeing.html", context)


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def seeing_file(request: HttpRequest, form: str) -> HttpResponse:
    """The table of the Pareto chart as a file."""
    wanted = _wanted(request)
    found = pareto(wanted)
    head = [found.by, "reports", "cost", "share", "together"]
    bars = [*found.bars, *([found.others] if found.others else [])]
    rows: list[list[Cell]] = [[b.label, b.count, b.cents / 100, b.share, b.cumulative] for b in bars]
    kind, data = (XLSX, as_xlsx("Pareto", head, rows)) if form == "xlsx" else (CSV, as_csv(head, rows))
    name = f'attachment; filename="by-{found.by}.{form}"'
    return HttpResponse(data, content_type=kind, headers={"Content-Disposition": name})


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def reports_behind(request: HttpRequest) -> HttpResponse:
    """The reports behind one bar."""
    wanted = _wanted(request)
    value = request.GET.get("value", "")[:120]
    context = _choices(wanted) | {"rows": reports_with(wanted.by, value, wanted), "value": value}
    return render(request, "improvement/reports.html", context)


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def where(request: HttpRequest) -> HttpResponse:
    """The concentration picture of a family."""
    known = families()
    wanted = _wanted(request)
    if not wanted.family and known:
        query = request.GET.copy()
        query["family"] = known[0].code
        wanted = Wanted.read(query.dict(), site_day(timezone.now()))
    found = drawn(wanted) if wanted.family else None
    sheets = (
        [(sheet, shown_drawing(concentration(marks, sheet)), marks) for sheet, marks in found.sheets] if found else []
    )
    context = _choices(wanted) | {"found": found, "sheets": sheets}
    return render(request, "improvement/where.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LOOK_AT_IMPROVEMENT, post=Act.RECORD_COST)
def costs(request: HttpRequest) -> HttpResponse:
    """What it costs by cause, and the form to record a cost."""
    about = request.GET.get("about", "")[:20]
    form = forms.CostForm(request.POST or None, initial={"about": about})
    status: int = HTTPStatus.OK
    if request.method == "POST":
        status = performed(form, lambda data, at: record_cost(by=request.user, at=at, **data))
        if status == HTTPStatus.OK:
            messages.success(request, f"The cost of {form.cleaned_data['about']} is recorded.", extra_tags="in")
            return redirect(f"{request.path}?about={form.cleaned_data['about']}")
    return _costs(request, form, about, status)


@require_POST
@needs(Act.RECORD_COST)
def take_back(request: HttpRequest, entry_id: int) -> HttpResponse:
    """Take a wrong entry back; both stay."""
    about = request.POST.get("about", "")[:20]
    reverse_cost(by=request.user, entry_id=entry_id, reason=request.POST.get("reason", ""), at=timezone.now())
    return redirect(f"/improvement/costs/?about={about}")


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LOOK_AT_IMPROVEMENT, post=Act.SET_IMPROVEMENT)
def settings_page(request: HttpRequest) -> HttpResponse:
    """The rate, the threshold and the number of units."""
    now = setting()
    names = ("rate_per_hour", "currency", "similar_count", "similar_days", "units_wanted")
    form = forms.SettingForm(request.POST or None, initial={name: getattr(now, name) for name in names})
    status: int = HTTPStatus.OK
    if request.method == "POST":
        status = performed(form, lambda data, at: set_improvement(by=request.user, at=at, **data))
        if status == HTTPStatus.OK:
            messages.success(request, "This holds from now on.", extra_tags="in")
            return redirect("improvement:settings")
    sets = may(request.user, Act.SET_IMPROVEMENT, timezone.now())
    return render(request, "improvement/settings.html", {"form": form, "setting": now, "sets": sets}, status=status)


def _costs(request: HttpRequest, form: forms.CostForm, about: str, status: int) -> HttpResponse:
    wanted = _wanted(request)
    currency = setting().currency
    by_cause = costs_by_cause(wanted)
    entries, problem = _entries(about)
    context = _choices(wanted) | {
        "form": form, "about": about, "entries": entries, "problem": problem, "setting": setting(),
        "by_cause": [(one, money(one.cents, currency)) for one in by_cause],
        "total": money(sum(one.cents for one in by_cause), currency), "actions": money(cost_of_actions(), currency),
        "records": may(request.user, Act.RECORD_COST, timezone.now()),
    }  # fmt: skip
    return render(request, "improvement/costs.html", context, status=status)


def _entries(about: str) -> tuple[list[Any], str]:
    """The entries of a report or an action, or why there are none."""
    if not about:
        return [], ""
    try:
        if about.upper().startswith("CA-"):
            return action(about).costs, ""
        return costs_of_report(report_row(about).pk), ""
    except QcError as error:
        return [], error.message


def _wanted(request: HttpRequest) -> Wanted:
    return Wanted.read(request.GET.dict(), site_day(timezone.now()))


def _choices(wanted: Wanted) -> dict[str, Any]:
    return {
        "wanted": wanted, "families": families(), "asked": wanted.words(), "measures": MEASURES.items(),
        "ways": [(by, by, wanted.words(by=by)) for by in BY],
    }  # fmt: skip


def _rows(found: Pareto) -> list[dict[str, object]]:
    bars = [*found.bars, *([found.others] if found.others else [])]
    return [
        {
            "bar": bar,
            "number": number_of(found, bar),
            "share": percent(bar.share),
            "together": percent(bar.cumulative),
        }
        for bar in bars
    ]


def _yield(wanted: Wanted) -> dict[str, Any]:
    """First-pass yield by stage, from trends, of the family asked for."""
    if not wanted.family:
        return {}
    page = yield_page(wanted.family, at=timezone.now())
    stages = page.found.stages if page.found else ()
    rows = [(one, percent(one.share.estimate), percent(one.share.lower), percent(one.share.upper)) for one in stages]
    return {"weeks": page.weeks, "rows": rows, "refusal": page.refusal}
