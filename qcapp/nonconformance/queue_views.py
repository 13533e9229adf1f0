"""The queue of reports: what waits for whom, filtered by the address, and as CSV and XLSX."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from qcapp.core.errors import Invalid
from qcapp.lib.site_days import site_day
from qcapp.lib.tables import CSV, XLSX, as_csv, as_xlsx
from qcapp.people.access import needs
from qcapp.people.queries import may, role_names
from qcapp.people.roles import Act, Role
from qcapp.production.queries import families

from .queries.queue import EXPORTED, ORDERS, QueueFilter, QueuePage, queue_page, queue_table, waiting_for
from .states import Disposition, ReportState

SEVERITIES = ("critical", "major", "minor")
CAUSES = ("unknown", "material", "method", "machine", "measurement", "person", "environment")
LISTED = ("inspector", "welder", "assembler", "quality_manager", "engineer", "welding_coordinator")


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def queue(request: HttpRequest) -> HttpResponse:
    """The queue, a page of it; filter, order and page stay in the address."""
    wanted = QueueFilter.read(request.GET)
    at = timezone.now()
    page = queue_page(wanted, viewer=request.user, at=at, after=_key(request.GET.get("after", "")))
    mine = [role for role in Role if role in role_names(request.user, at) and role in LISTED]
    context = {
        "page": page, "wanted": wanted, "states": _states(wanted, page), "choices": _choices(wanted),
        "roles": [(role, Role(role).label, _address(wanted, waiting=role)) for role in LISTED],
        "mine": [(role.label, waiting_for(role), _address(QueueFilter(), waiting=role)) for role in mine],
        "filtered": bool(wanted.words().keys() - {"state", "order"}), "asked": urlencode(wanted.words()),
        "raises": may(request.user, Act.RAISE_REPORT, at), "more": _address(wanted, after=page.more),
        "orders": ORDERS.items(), "first": "after" not in request.GET,
    }  # fmt: skip
    return render(request, "nonconformance/list.html", context)


@require_safe
@needs(Act.LOOK_AT_REPORTS)
def export(request: HttpRequest, form: str) -> HttpResponse:
    """What the filter lets through, all of it, as a file."""
    wanted = QueueFilter.read(request.GET)
    at = timezone.now()
    rows = queue_table(wanted, viewer=request.user, at=at)
    name = f"nonconformances-{site_day(at)}.{form}"
    head = {"Content-Disposition": f'attachment; filename="{name}"'}
    if form == "xlsx":
        return HttpResponse(as_xlsx("Nonconformances", EXPORTED, rows), content_type=XLSX, headers=head)
    return HttpResponse(as_csv(EXPORTED, rows), content_type=CSV, headers=head)


def _states(wanted: QueueFilter, page: QueuePage) -> list[tuple[str, str, int, str]]:
    """Value, words, how many, address; first what has not ended."""
    counted = [("active", "Not ended", page.active)]
    counted += [(s.value, s.label, page.counts[s.value]) for s in ReportState]
    counted += [("all", "All", page.total)]
    return [(value, label, count, _address(wanted, state=value)) for value, label, count in counted]


def _choices(wanted: QueueFilter) -> list[dict[str, Any]]:
    """The drop-downs of the filter: name, label, choices with the chosen one marked."""
    known = {
        "waiting": ("Waits for", [(role, Role(role).label) for role in LISTED]),
        "severity": ("Severity", [(one, one) for one in SEVERITIES]),
        "family": ("Family", [(one.code, one.code) for one in families()]),
        "cause": ("Cause", [(one, "not known yet" if one == "unknown" else one) for one in CAUSES]),
        "disposition": ("Disposition", [(one.value, one.label) for one in Disposition]),
    }
    return [
        {"name": name, "label": label, "choices": [(v, w, v == getattr(wanted, name)) for v, w in values]}
        for name, (label, values) in known.items()
    ]


def _address(wanted: QueueFilter, **changes: object) -> str:
    """The address of the same filter with something changed."""
    words = wanted.words() | {name: str(value) for name, value in changes.items() if value}
    return f"?{urlencode(words)}"


def _key(text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise Invalid("page_unknown", "There is no such page of the queue; go back to the first.")
    return int(text)
